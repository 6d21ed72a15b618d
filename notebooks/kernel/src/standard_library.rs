//! The sources of Rust's standard library.
//!
//! The engine's code analysis reads them to find the type of a plain `let`;
//! without them every `let` needs its type written out. Left alone it would
//! fetch them by itself when a session starts, so they are looked for first.

use std::path::{Path, PathBuf};
use std::process::Command;

/// The variable by which the engine is told where they are.
pub const VARIABLE: &str = "RUST_SRC_PATH";

/// What to do where there are none.
pub const REMEDY: &str = "run `rustup component add rust-src`, or on Debian `apt-get install rust-web-src`, \
     or set RUST_SRC_PATH to the folder `library` of Rust's sources";

/// The folder `library` of Rust's sources: the one named by `RUST_SRC_PATH`,
/// the toolchain's own, or one that a distribution installed.
pub fn find() -> Option<PathBuf> {
    let named = std::env::var_os(VARIABLE).map(PathBuf::from);
    named
        .into_iter()
        .chain(toolchains_own())
        .chain(distributions())
        .find(|folder| folder.join("core/src/lib.rs").is_file())
}

fn toolchains_own() -> Option<PathBuf> {
    let output = Command::new("rustc")
        .args(["--print", "sysroot"])
        .output()
        .ok()?;
    let sysroot = String::from_utf8(output.stdout).ok()?;
    Some(Path::new(sysroot.trim()).join("lib/rustlib/src/rust/library"))
}

/// `/usr/src/rustc-<version>/library`, the newest first.
fn distributions() -> Vec<PathBuf> {
    let mut found: Vec<(Vec<u32>, PathBuf)> = std::fs::read_dir("/usr/src")
        .into_iter()
        .flatten()
        .flatten()
        .filter_map(|entry| {
            let name = entry.file_name().into_string().ok()?;
            let version = name.strip_prefix("rustc-")?;
            let numbers = version
                .split('.')
                .filter_map(|part| part.parse().ok())
                .collect();
            Some((numbers, entry.path().join("library")))
        })
        .collect();
    found.sort();
    found.into_iter().rev().map(|(_, folder)| folder).collect()
}
