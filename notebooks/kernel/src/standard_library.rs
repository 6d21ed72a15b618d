//! The sources of Rust's standard library.
//!
//! The engine's code analysis reads them to find the type of a plain `let`;
//! without them every `let` needs its type written out. Left alone it would
//! fetch them by itself when a session starts, so they are looked for first.

use std::ffi::OsString;
use std::path::{Path, PathBuf};
use std::process::Command;
use std::{fs, io};

/// The variable by which the engine is told where they are.
pub const VARIABLE: &str = "RUST_SRC_PATH";

/// What to do where there are none.
pub const REMEDY: &str = "run `rustup component add rust-src`, or on Debian `apt-get install rust-web-src`, \
     or set RUST_SRC_PATH to the folder `library` of Rust's sources";

/// What the user's environment says about them.
pub fn named() -> Option<OsString> {
    std::env::var_os(VARIABLE)
}

/// The folder `library` of Rust's sources: the one named by `RUST_SRC_PATH`,
/// the toolchain's own, or one that a distribution installed.
pub fn find() -> Option<PathBuf> {
    named()
        .map(PathBuf::from)
        .into_iter()
        .chain(toolchains_own())
        .chain(distributions())
        .find(|folder| folder.join("core/src/lib.rs").is_file())
}

/// The crates whose names a program starts with, and what they are made of.
const CRATES: [&str; 6] = [
    "core",
    "alloc",
    "std",
    "proc_macro",
    "panic_unwind",
    "unwind",
];

/// The state of what [`gather`] leaves: another word, and every seed is made anew.
pub const STATE: &str = "without comments";

/// Copies what the analysis needs to a folder of its own. All that Rust's
/// sources hold beside these crates (tests, drivers, vendored packages, the
/// intrinsics of other processors) would be read at every start as well, and so
/// would their comments, which are half of the text and, in macros that make
/// every integer type, are expanded for each.
///
/// # Errors
/// A file that cannot be read or written.
pub fn gather(sources: &Path, folder: &Path) -> io::Result<()> {
    for name in CRATES {
        let from = sources.join(name).join("src");
        if from.is_dir() {
            copy_rust(&from, &folder.join(name).join("src"))?;
        }
    }
    Ok(())
}

/// Leaves a standard library without any content: enough to analyse an empty cell.
///
/// # Errors
/// A file that cannot be written.
pub fn stand_in(folder: &Path) -> io::Result<()> {
    let source = folder.join("core/src");
    fs::create_dir_all(&source)?;
    fs::write(source.join("lib.rs"), "")
}

/// Makes sources readable at another place as well.
///
/// # Errors
/// A link that cannot be made.
#[cfg(unix)]
pub fn link(from: &Path, to: &Path) -> io::Result<()> {
    std::os::unix::fs::symlink(from, to)
}

/// Makes sources readable at another place as well: where links need a privilege,
/// by a copy.
///
/// # Errors
/// A file that cannot be read or written.
#[cfg(not(unix))]
pub fn link(from: &Path, to: &Path) -> io::Result<()> {
    copy_rust(from, to)
}

fn copy_rust(from: &Path, to: &Path) -> io::Result<()> {
    fs::create_dir_all(to)?;
    for entry in fs::read_dir(from)? {
        let path = entry?.path();
        let target = to.join(path.file_name().unwrap_or_default());
        if path.is_dir() {
            copy_rust(&path, &target)?;
        } else if path.extension().is_some_and(|end| end == "rs") {
            fs::write(&target, without_comments(&fs::read_to_string(&path)?))?;
        }
    }
    Ok(())
}

/// The text without the lines that are nothing but a comment. No line of a text
/// in quotes begins like one in these crates, but in what documents them.
fn without_comments(source: &str) -> String {
    source
        .lines()
        .filter(|line| !line.trim_start().starts_with("//"))
        .flat_map(|line| [line, "\n"])
        .collect()
}

fn toolchains_own() -> Option<PathBuf> {
    Some(toolchain("sysroot")?.join("lib/rustlib/src/rust/library"))
}

/// A folder of the Rust toolchain in use, as `rustc --print` names it.
fn toolchain(folder: &str) -> Option<PathBuf> {
    let output = Command::new("rustc")
        .args(["--print", folder])
        .output()
        .ok()?;
    let path = String::from_utf8(output.stdout).ok()?;
    Some(PathBuf::from(path.trim()))
}

/// The variable by which a process is told where shared libraries are.
pub const LIBRARY_PATH: &str = if cfg!(target_os = "macos") {
    "DYLD_FALLBACK_LIBRARY_PATH"
} else {
    "LD_LIBRARY_PATH"
};

/// The value of [`LIBRARY_PATH`] for a process that loads cells: the toolchain's
/// shared standard library, before what the variable says already. A cell's own
/// search path is relative to the folder in which it was linked, and it is loaded
/// from another.
pub fn library_path() -> Option<OsString> {
    let folder = toolchain("target-libdir")?;
    let others = std::env::var_os(LIBRARY_PATH).unwrap_or_default();
    let others = std::env::split_paths(&others).filter(|path| !path.as_os_str().is_empty());
    std::env::join_paths(std::iter::once(folder).chain(others)).ok()
}

/// `/usr/src/rustc-<version>/library`, the newest first.
fn distributions() -> Vec<PathBuf> {
    let mut found: Vec<(Vec<u32>, PathBuf)> = fs::read_dir("/usr/src")
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
