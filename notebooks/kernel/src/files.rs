//! Notebooks and pages as files.

use std::io::Write;
use std::path::Path;

use slewbook::file::{Inputs, Output, finish};
use slewbook_reader::{Notebook, export as pages, notebook};

use super::slot;

/// Reads a notebook.
///
/// # Errors
/// Not readable, no regular file, too large, not a notebook.
pub fn read(path: &Path, inputs: &mut Inputs) -> Result<Notebook, String> {
    let text = inputs
        .read_text("notebook", path, notebook::LARGEST)
        .map_err(|error| error.to_string())?;
    Notebook::parse(path, &text)
}

/// The file that a command is to write: none of those it has read.
///
/// # Errors
/// It is one of them, a symbolic link, or cannot be written.
pub fn output(path: &Path, inputs: &Inputs) -> Result<Output, String> {
    Output::new("-o", path, inputs).map_err(|error| error.to_string())
}

/// Writes the text of a file, whole or not at all.
///
/// # Errors
/// No room.
pub fn write(mut output: Output, path: &Path, text: &str) -> Result<(), String> {
    output
        .write_all(text.as_bytes())
        .map_err(|error| format!("{}: {error}", path.display()))?;
    finish(vec![output]).map_err(|error| error.to_string())
}

/// Writes a notebook as a page.
///
/// # Errors
/// A file that cannot be read or written, a page that cannot be made.
pub fn export(path: &Path, target: &Path) -> Result<(), String> {
    // Without it, what is unfinished would stay behind: nothing worse.
    let _ = slewbook::file::take_away_on_signals();
    let mut inputs = Inputs::default();
    let notebook = read(path, &mut inputs)?;
    let output = output(target, &inputs)?;
    let versions = slot::lock_hash().map_err(|error| format!("Cargo.lock: {error}"))?;
    let page = pages::page(&notebook, &versions)
        .map_err(|error| format!("{}: {error}", path.display()))?;
    write(output, target, &page)
}
