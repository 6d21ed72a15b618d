//! The names a notebook starts with.

/// The built-in prelude. Silent on purpose: what a prelude prints before anybody
/// listens stops the engine.
pub const NAMES: &str = "\
use slewbook::quantity::*;
use slewbook::quantity::unit::*;
use slewbook::equation::*;
use slewbook::display::{self, names::*};
";

/// The prelude: the built-in one, or the file named by `SLEWBOOK_PRELUDE`.
pub fn text() -> String {
    match std::env::var_os("SLEWBOOK_PRELUDE") {
        // A missing file shows as the reason when the first cell runs.
        Some(file) => std::fs::read_to_string(&file).unwrap_or_else(|error| {
            format!(
                "compile_error!({:?});",
                format!("{}: {error}", file.display())
            )
        }),
        None => NAMES.to_owned(),
    }
}
