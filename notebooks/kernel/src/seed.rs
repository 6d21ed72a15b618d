//! The seed of the build folders: the library compiled once for all sessions,
//! with the versions of the workspace's `Cargo.lock`.
//!
//! A process of its own makes it, under a lock that this process holds: who
//! waits for the seed may end, and the next one finds it made.

use std::ffi::OsStr;
use std::fs::{self, File};
use std::io;
use std::path::{Path, PathBuf};
use std::process::Command;

use sha2::{Digest, Sha256};
use slewbook::hash::hexadecimal;

use super::relay::Limits;
use super::slot::{cache, clear, enter, library, make_private};
use super::{generated, prelude, slot, standard_library, terminal};

/// How the builder compiles what cells use: the library as in a release, and
/// cells without the records of a build that is continued, since no cell is
/// compiled twice.
const BUILD_SETTINGS: &str = "\
[profile.dev]
incremental = false

[profile.dev.package.\"*\"]
opt-level = 2
debug-assertions = false
overflow-checks = false
";

/// Where, in the seed, the standard library is that the code analysis reads.
pub const ANALYSED: &str = "standard-library";

/// The internal command that makes the seed.
pub const MAKE: &str = "--make-seed";

/// The folder of the standard library that the code analysis reads.
///
/// # Errors
/// No cache folder is known.
pub fn standard_library() -> io::Result<PathBuf> {
    Ok(cache()?.join("seed").join(ANALYSED))
}

/// The folder of the seed, made if need be. `sources` is what the user's
/// environment says about the standard library's sources.
///
/// # Errors
/// No write access, no room, no sources of the standard library, a library that
/// does not compile.
pub fn ready(sources: Option<&OsStr>) -> io::Result<PathBuf> {
    let cache = cache()?;
    if is_current(&cache, &key()?) {
        return Ok(cache.join("seed"));
    }
    terminal::complain(
        "Preparing the build folder for notebooks (once per version of the library).",
    );
    let mut maker = Command::new(std::env::current_exe()?);
    maker.arg(MAKE).env_remove(generated::ROLE);
    match sources {
        Some(folder) => maker.env(standard_library::VARIABLE, folder),
        None => maker.env_remove(standard_library::VARIABLE),
    };
    let output = maker.output()?;
    if output.status.success() {
        return Ok(cache.join("seed"));
    }
    Err(io::Error::other(format!(
        "the build folder for notebooks cannot be prepared:\n{}",
        String::from_utf8_lossy(&output.stderr).trim()
    )))
}

fn mark(cache: &Path) -> PathBuf {
    cache.join("seed.key")
}

fn is_current(cache: &Path, key: &str) -> bool {
    fs::read_to_string(mark(cache)).is_ok_and(|own| own == key) && cache.join("seed").is_dir()
}

/// Makes the seed, unless another process has made it while this one waited.
///
/// # Errors
/// As [`ready`].
pub fn make() -> Result<(), String> {
    locked().map_err(|error| error.to_string())
}

fn locked() -> io::Result<()> {
    let cache = cache()?;
    make_private(&cache)?;
    let lock = File::create(cache.join("seed.lock"))?;
    lock.lock()?;
    let key = key()?;
    if is_current(&cache, &key) {
        return Ok(());
    }
    let sources = standard_library::find().ok_or_else(|| {
        io::Error::other(format!(
            "the sources of Rust's standard library are missing: {}",
            standard_library::REMEDY
        ))
    })?;
    let settings = cache.join(".cargo");
    fs::create_dir_all(&settings)?;
    fs::write(settings.join("config.toml"), BUILD_SETTINGS)?;
    match fs::remove_file(mark(&cache)) {
        Err(error) if error.kind() != io::ErrorKind::NotFound => return Err(error),
        _ => {}
    }
    let folder = cache.join("seed");
    clear(&folder)?;
    fs::create_dir_all(&folder)?;
    standard_library::gather(&sources, &folder.join(ANALYSED))?;
    std::env::set_current_dir(&folder)?;
    // This first build may have to fetch the library's dependencies.
    enter(&folder, false)?;
    warm().map_err(io::Error::other)?;
    fs::write(mark(&cache), key)
}

/// Cells that fail in the two ways in which the engine has every dependency
/// checked: a variable whose type it cannot find, and a cell that no change of
/// the engine's mends. What the check leaves is then part of the seed, and the
/// first mistake of a session does not wait for it.
const MISTAKES: [&str; 2] = ["let x = 5.0 * volt_of_nothing;", "5 * volt"];

/// Builds the library, what the first cell of a session needs, and what its
/// first mistake needs.
fn warm() -> Result<(), String> {
    let mut session = super::session::Session::start(Limits::DEFAULT)
        .map_err(|failure| failure.report.join("\n"))?;
    session
        .load(&slot::dependency(), prelude::NAMES)
        .map_err(|failure| failure.report.join("\n"))?;
    for mistake in MISTAKES {
        session.run(mistake, None);
    }
    Ok(())
}

/// What the seed depends on: the compiler, the library's sources and versions,
/// and how they are built. The times of the sources count as well: the builder
/// goes by them, and would compile a library that looks newer in every session.
fn key() -> io::Result<String> {
    let mut digest = Sha256::new();
    let library = library();
    digest.update(library.display().to_string());
    let rustc = Command::new("rustc").arg("-vV").output()?;
    digest.update(&rustc.stdout);
    digest.update(prelude::NAMES);
    digest.update(MISTAKES.concat());
    digest.update(BUILD_SETTINGS);
    digest.update(standard_library::STATE);
    let mut files = vec![library.join("Cargo.toml"), library.join("Cargo.lock")];
    sources(&library.join("crate"), &mut files)?;
    files.sort();
    for file in files {
        digest.update(file.display().to_string());
        digest.update(fs::read(&file)?);
        let modified = fs::metadata(&file)?.modified()?;
        digest.update(format!("{modified:?}"));
    }
    Ok(hexadecimal(&digest.finalize()))
}

fn sources(folder: &Path, into: &mut Vec<PathBuf>) -> io::Result<()> {
    for entry in fs::read_dir(folder)? {
        let path = entry?.path();
        if path.is_dir() {
            sources(&path, into)?;
        } else {
            into.push(path);
        }
    }
    Ok(())
}
