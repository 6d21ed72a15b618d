//! `verify`: a document computed again and compared.

use std::path::PathBuf;

use lexopt::prelude::*;
use slewbook::file::Inputs;
use slewbook::verify::{self, VerifyError};
use slewbook::visible::visible_json;

use super::sources::warn;
use super::{Failure, STANDARD, print};
use crate::progress;

const LARGEST: u64 = verify::LARGEST as u64;

pub fn run(mut parser: lexopt::Parser) -> Result<(), Failure> {
    let (mut file, mut as_json) = (None, false);
    while let Some(argument) = parser.next()? {
        match argument {
            Long("json") => as_json = true,
            Value(path) if file.is_none() => file = Some(PathBuf::from(path)),
            other => return Err(other.unexpected().into()),
        }
    }
    let path = file.ok_or_else(|| {
        Failure::Input(
            "slewbook: verify needs a document; `slewbook rationale SPEC` or `slewbook derive SPEC \
             --json` writes one"
                .to_owned(),
        )
    })?;
    let mut inputs = Inputs::default();
    let (name, text) = if path.as_os_str() == STANDARD {
        let text = inputs.read_standard_input("document", LARGEST)?;
        ("standard input".to_owned(), text)
    } else {
        let text = inputs.read_text("document", &path, LARGEST)?;
        (path.display().to_string(), text)
    };
    let failed = |error: VerifyError| {
        let message = format!("{name}: {error}");
        match error {
            VerifyError::Foreign(_) | VerifyError::Specification(_) => Failure::Input(message),
            _ => Failure::Other(message),
        }
    };
    warn(&name, &verify::specification(&text).map_err(failed)?);
    let report = verify::document(&text, &|done, all| progress::show("results", done, all))
        .map_err(failed)?;
    if as_json {
        // Plain texts and numbers: they always serialise.
        let json = serde_json::to_string_pretty(&report).unwrap_or_default();
        print(&(visible_json(&json) + "\n"))?;
    } else {
        print(&format!("{name}\n{}", report.text()))?;
    }
    if report.holds() {
        return Ok(());
    }
    Err(Failure::Unmet(format!(
        "{name} differs from what its specification gives: differences {}, the first: {}",
        report.differences.len(),
        report.differences[0].name()
    )))
}
