//! Running the real program, for the tests of its commands.

use std::path::{Path, PathBuf};
use std::process::{Command, Output};

/// An empty folder of its own for one test.
pub fn folder(name: &str) -> PathBuf {
    let folder = Path::new(env!("CARGO_TARGET_TMPDIR")).join(name);
    // Left over from an earlier run, or not there yet.
    let _ = std::fs::remove_dir_all(&folder);
    std::fs::create_dir_all(&folder).unwrap();
    folder
}

/// Runs the program in a folder.
pub fn run(folder: &Path, arguments: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_slewbook"))
        .args(arguments)
        .current_dir(folder)
        .output()
        .unwrap()
}

/// Standard output of a run that ends well.
pub fn succeed(folder: &Path, arguments: &[&str]) -> String {
    let output = run(folder, arguments);
    let complaints = String::from_utf8_lossy(&output.stderr);
    assert_eq!(output.status.code(), Some(0), "{arguments:?}: {complaints}");
    assert_eq!(complaints, "", "{arguments:?}");
    String::from_utf8(output.stdout).unwrap()
}

/// Writes a specification and gives its file name.
pub fn write(folder: &Path, specification: &str) -> &'static str {
    std::fs::write(folder.join("specification.toml"), specification).unwrap();
    "specification.toml"
}
