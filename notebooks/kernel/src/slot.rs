//! Build folders: one locked copy of the warmed seed per running session.
//!
//! The engine builds every cell in a folder that serves one session at a time.
//! A session takes one by a file lock and fills it from the [seed](super::seed);
//! the folder is cleared when it is next taken.

use std::ffi::OsString;
use std::fs::{self, File, TryLockError};
use std::io;
use std::os::unix::fs::PermissionsExt;
use std::path::{Path, PathBuf};

use slewbook::hash::sha256;

use super::{generated, seed, standard_library};

/// The variable by which the engine is told where it works.
const FOLDER: &str = "EVCXR_TMPDIR";
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
    Ok(sha256(fs::read(library().join("Cargo.lock"))?))
}

/// A build folder that belongs to this process while it lives.
pub struct Slot {
    folder: Folder,
    _lock: File,
}

/// The folder of a slot.
#[derive(Clone)]
pub struct Folder {
    path: PathBuf,
    /// What the user says about the standard library's sources.
    sources: Option<OsString>,
}

impl Slot {
    /// Takes a free folder and makes the engine work in it. Quick, and to be
    /// called before the process starts any thread; [`Folder::fill`] does the rest.
    ///
    /// # Errors
    /// No cache folder is known, no write access, no free folder.
    pub fn reserve() -> io::Result<Self> {
        let cache = cache()?;
        let slots = cache.join("slots");
        make_private(&slots)?;
        // Made by an earlier version, it may be open to others.
        fs::set_permissions(&cache, fs::Permissions::from_mode(0o700))?;
        for number in 0..SLOTS {
            let lock = File::create(slots.join(format!("{number}.lock")))?;
            match lock.try_lock() {
                Ok(()) => {}
                Err(TryLockError::WouldBlock) => continue,
                Err(TryLockError::Error(error)) => return Err(error),
            }
            let folder = Folder {
                path: slots.join(number.to_string()),
                sources: standard_library::named(),
            };
            enter(&folder.path, true)?;
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

    /// The folder, still to be filled.
    pub fn folder(&self) -> &Folder {
        &self.folder
    }
}

impl Folder {
    /// Fills the folder from the seed, which is made first if it is missing or
    /// belongs to another state of the library.
    ///
    /// # Errors
    /// No write access, no room, a seed that cannot be made.
    pub fn fill(&self) -> io::Result<()> {
        let seed = seed::ready(self.sources.as_deref())?;
        clear(&self.path)?;
        copy(&seed, &self.path)?;
        standard_library::stand_in(&self.path.join(seed::ANALYSED))
    }
}

/// Lets the analysis of cells read the seed's standard library from now on. Until
/// then a session has the stand-in: the engine starts by analysing an empty cell,
/// which would read everything once more than needed.
///
/// # Errors
/// The folder cannot be changed.
pub fn complete_sources() -> io::Result<()> {
    let (own, seed) = (folder()?.join(seed::ANALYSED), seed::standard_library()?);
    if own == seed {
        return Ok(());
    }
    clear(&own)?;
    standard_library::link(&seed, &own)
}

impl Drop for Slot {
    fn drop(&mut self) {
        // What is left behind is cleared when the folder is next taken.
        let _ = clear(&self.folder.path);
    }
}

/// Makes the engine's folder build with the versions of the workspace's
/// `Cargo.lock`, whatever else has been fetched meanwhile.
///
/// # Errors
/// The file cannot be read, or not be written.
pub fn lock_versions() -> io::Result<()> {
    fs::copy(library().join("Cargo.lock"), folder()?.join("Cargo.lock"))?;
    Ok(())
}

/// The folder that the engine works in.
///
/// # Errors
/// None was taken.
pub fn folder() -> io::Result<PathBuf> {
    std::env::var_os(FOLDER)
        .map(PathBuf::from)
        .ok_or_else(|| io::Error::other("no build folder has been taken"))
}

/// Points the engine at a build folder and away from the user's own settings. Offline,
/// versions are those of the lock file and were fetched when the seed was made.
///
/// # Errors
/// It is not known where this program is.
#[allow(unsafe_code)]
pub fn enter(folder: &Path, offline: bool) -> io::Result<()> {
    let program = std::env::current_exe()?;
    // SAFETY: called once in a process, by `Slot::reserve` or by the making of the seed,
    // each before the process starts any thread: nobody reads the environment meanwhile.
    unsafe {
        std::env::set_var("RUSTC_WRAPPER", program);
        std::env::set_var(generated::ROLE, "1");
        std::env::set_var(standard_library::VARIABLE, folder.join(seed::ANALYSED));
        std::env::set_var(FOLDER, folder);
        std::env::set_var("EVCXR_CONFIG_DIR", folder.join("no-configuration"));
        if offline {
            std::env::set_var("CARGO_NET_OFFLINE", "true");
        } else {
            std::env::remove_var("CARGO_NET_OFFLINE");
        }
        std::env::remove_var("CARGO_TARGET_DIR");
    }
    Ok(())
}

/// Clears the folder that the engine works in, if the session that it belonged to
/// has ended without doing so.
pub fn clear_if_left() {
    let Ok(folder) = folder() else {
        return;
    };
    if let Ok(lock) = File::options()
        .write(true)
        .open(folder.with_extension("lock"))
        && lock.try_lock().is_ok()
    {
        // What is left behind is cleared when the folder is next taken.
        let _ = clear(&folder);
    }
}

/// Makes a folder that only its owner may look into, and those above it.
pub fn make_private(folder: &Path) -> io::Result<()> {
    let mut builder = fs::DirBuilder::new();
    std::os::unix::fs::DirBuilderExt::mode(&mut builder, 0o700);
    builder.recursive(true).create(folder)
}

/// Removes a folder that may be missing.
pub fn clear(folder: &Path) -> io::Result<()> {
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
        if entry.file_name() == seed::ANALYSED {
            continue;
        }
        let target = to.join(entry.file_name());
        if entry.file_type()?.is_dir() {
            copy(&entry.path(), &target)?;
        } else if entry.file_type()?.is_file() {
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
