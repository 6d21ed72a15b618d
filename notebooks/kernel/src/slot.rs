//! Build folders: one warmed seed, one locked copy of it per running session.
//!
//! The engine builds every cell in a folder that serves one session at a time.
//! The seed holds the library already compiled, with the versions of the
//! workspace's `Cargo.lock`; a session works in a copy, which it takes by a
//! file lock and clears when it is next taken.

use std::fs::{self, File, TryLockError};
use std::io;
use std::path::{Path, PathBuf};
use std::process::Command;

use sha2::{Digest, Sha256};

use super::standard_library;

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

/// Where, in a build folder, the standard library is that the code analysis reads.
const ANALYSED: &str = "standard-library";

/// How many sessions may run at once before something is wrong.
const SLOTS: usize = 64;

/// Where the library's sources are: the workspace this program was built in,
/// or the folder named by `SLEWBOOK_SOURCE`.
pub fn library() -> PathBuf {
    std::env::var_os("SLEWBOOK_SOURCE")
        .map_or_else(
            || Path::new(env!("CARGO_MANIFEST_DIR")).join("../.."),
            PathBuf::from,
        )
        .canonicalize()
        .unwrap_or_else(|_| PathBuf::from(env!("CARGO_MANIFEST_DIR")))
}

/// The cell that loads the library.
pub fn dependency() -> String {
    format!(
        ":dep slewbook = {{ path = {:?}, default-features = false }}",
        library().display().to_string()
    )
}

/// Where build folders are kept: the folder named by `SLEWBOOK_CACHE`, or
/// `slewbook` in the user's cache folder.
///
/// # Errors
/// No such folder is known.
pub fn cache() -> io::Result<PathBuf> {
    if let Some(folder) = std::env::var_os("SLEWBOOK_CACHE") {
        return Ok(PathBuf::from(folder));
    }
    let home = |name: &str| std::env::var_os(name).map(PathBuf::from);
    home("XDG_CACHE_HOME")
        .or_else(|| home("LOCALAPPDATA"))
        .or_else(|| home("HOME").map(|folder| folder.join(".cache")))
        .map(|folder| folder.join("slewbook"))
        .ok_or_else(|| {
            io::Error::other("no cache folder: set SLEWBOOK_CACHE to a folder you may write to")
        })
}

/// The hash of the library's `Cargo.lock`: what a result was computed with.
///
/// # Errors
/// The file cannot be read.
pub fn lock_hash() -> io::Result<String> {
    Ok(hash(&fs::read(library().join("Cargo.lock"))?))
}

/// A hash as hexadecimal digits.
pub fn hash(bytes: &[u8]) -> String {
    Sha256::digest(bytes)
        .iter()
        .map(|byte| format!("{byte:02x}"))
        .collect()
}

/// A build folder that belongs to this process while it lives.
pub struct Slot {
    folder: PathBuf,
    _lock: File,
}

impl Slot {
    /// Takes a free folder and fills it from the seed, which is made first if
    /// it is missing or belongs to another state of the library.
    ///
    /// # Errors
    /// No write access, no room, no free folder, a seed that cannot be made.
    pub fn take() -> io::Result<Self> {
        let seed = seed()?;
        let slots = cache()?.join("slots");
        fs::create_dir_all(&slots)?;
        for number in 0..SLOTS {
            let lock = File::create(slots.join(format!("{number}.lock")))?;
            match lock.try_lock() {
                Ok(()) => {}
                Err(TryLockError::WouldBlock) => continue,
                Err(TryLockError::Error(error)) => return Err(error),
            }
            let folder = slots.join(number.to_string());
            clear(&folder)?;
            copy(&seed, &folder)?;
            return Ok(Self {
                folder,
                _lock: lock,
            });
        }
        Err(io::Error::other(format!(
            "all {SLOTS} build folders in {} are in use",
            slots.display()
        )))
    }

    /// Makes the engine work in this folder.
    ///
    /// # Errors
    /// No cache folder is known.
    pub fn enter(&self) -> Result<(), String> {
        enter(&self.folder)
    }
}

impl Drop for Slot {
    fn drop(&mut self) {
        // What is left behind is cleared when the folder is next taken.
        let _ = clear(&self.folder);
    }
}

/// Points the engine at a build folder and away from the user's own settings.
fn enter(folder: &Path) -> Result<(), String> {
    let sources = cache()
        .map_err(|error| error.to_string())?
        .join("seed")
        .join(ANALYSED);
    // SAFETY: called once, before this process starts any thread.
    unsafe {
        std::env::set_var(standard_library::VARIABLE, sources);
        std::env::set_var("EVCXR_TMPDIR", folder);
        std::env::set_var("EVCXR_CONFIG_DIR", folder.join("no-configuration"));
        // The versions are those of the lock file and were fetched when the seed was made.
        std::env::set_var("CARGO_NET_OFFLINE", "true");
        std::env::remove_var("CARGO_TARGET_DIR");
    }
    Ok(())
}

/// The folder of the seed, made if need be.
///
/// # Errors
/// As [`Slot::take`].
pub fn seed() -> io::Result<PathBuf> {
    let cache = cache()?;
    fs::create_dir_all(&cache)?;
    let lock = File::create(cache.join("seed.lock"))?;
    lock.lock()?;
    let folder = cache.join("seed");
    let mark = cache.join("seed.key");
    let key = seed_key()?;
    let settings = cache.join(".cargo");
    fs::create_dir_all(&settings)?;
    fs::write(settings.join("config.toml"), BUILD_SETTINGS)?;
    if fs::read_to_string(&mark).is_ok_and(|own| own == key) && folder.is_dir() {
        return Ok(folder);
    }
    let sources = standard_library::find().ok_or_else(|| {
        io::Error::other(format!(
            "the sources of Rust's standard library are missing: {}",
            standard_library::REMEDY
        ))
    })?;
    let _ = fs::remove_file(&mark);
    clear(&folder)?;
    fs::create_dir_all(&folder)?;
    standard_library::gather(&sources, &folder.join(ANALYSED))?;
    fs::copy(library().join("Cargo.lock"), folder.join("Cargo.lock"))?;
    eprintln!("Preparing the build folder for notebooks (once per version of the library).");
    // A process of its own: the engine's folder is a setting of the process.
    let output = Command::new(std::env::current_exe()?)
        .arg(MAKE_SEED)
        .arg(&folder)
        .current_dir(&folder)
        .output()?;
    if !output.status.success() {
        return Err(io::Error::other(format!(
            "the build folder for notebooks cannot be prepared:\n{}",
            String::from_utf8_lossy(&output.stderr).trim()
        )));
    }
    fs::write(&mark, key)?;
    Ok(folder)
}

/// The internal command that warms a seed.
pub const MAKE_SEED: &str = "--make-seed";

/// Warms the seed in `folder`: the process started by [`seed`].
///
/// # Errors
/// The library or the prelude does not compile.
pub fn make_seed(folder: &Path) -> Result<(), String> {
    enter(folder)?;
    // SAFETY: as in `enter`. The first build may have to fetch the library's dependencies.
    unsafe { std::env::remove_var("CARGO_NET_OFFLINE") };
    let mut session =
        super::session::Session::start().map_err(|failure| failure.report.join("\n"))?;
    session
        .load(&dependency(), &super::prelude::text())
        .map_err(|failure| failure.report.join("\n"))
}

/// What the seed depends on: the compiler, the prelude, the library's sources
/// and versions.
fn seed_key() -> io::Result<String> {
    let mut digest = Sha256::new();
    let library = library();
    digest.update(library.display().to_string());
    let rustc = Command::new("rustc").arg("-vV").output()?;
    digest.update(&rustc.stdout);
    digest.update(super::prelude::text());
    digest.update(BUILD_SETTINGS);
    let mut files = vec![library.join("Cargo.toml"), library.join("Cargo.lock")];
    sources(&library.join("crate"), &mut files)?;
    files.sort();
    for file in files {
        digest.update(file.display().to_string());
        digest.update(fs::read(&file)?);
    }
    Ok(digest
        .finalize()
        .iter()
        .map(|byte| format!("{byte:02x}"))
        .collect())
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

fn clear(folder: &Path) -> io::Result<()> {
    match fs::remove_dir_all(folder) {
        Err(error) if error.kind() != io::ErrorKind::NotFound => Err(error),
        _ => Ok(()),
    }
}

/// Copies a folder with the times of its files: the builder rebuilds what looks newer.
fn copy(from: &Path, to: &Path) -> io::Result<()> {
    fs::create_dir_all(to)?;
    for entry in fs::read_dir(from)? {
        let entry = entry?;
        // The analysed sources are only read: every session reads the seed's.
        if entry.file_name() == ANALYSED {
            continue;
        }
        let target = to.join(entry.file_name());
        if entry.file_type()?.is_dir() {
            copy(&entry.path(), &target)?;
        } else {
            fs::copy(entry.path(), &target)?;
            let modified = entry.metadata()?.modified()?;
            File::options()
                .write(true)
                .open(&target)?
                .set_modified(modified)?;
        }
    }
    Ok(())
}
