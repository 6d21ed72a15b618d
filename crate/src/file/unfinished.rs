//! What is begun and not in its place yet, and how it is taken away.

use std::fs::{self, File, OpenOptions};
use std::io;
use std::path::{Path, PathBuf};
use std::sync::{Mutex, MutexGuard, PoisonError};

/// Names tried before giving up: each is taken by a run that was killed.
const NAMES: usize = 10_000;

/// Everything unfinished in this process, in the order in which it was begun. Whoever
/// holds the lock may put files in their place without being ended in between.
static LIST: Mutex<Vec<PathBuf>> = Mutex::new(Vec::new());

pub fn list() -> MutexGuard<'static, Vec<PathBuf>> {
    LIST.lock().unwrap_or_else(PoisonError::into_inner)
}

/// A file or folder that goes away with this value, unless it is no longer on the list.
#[derive(Debug)]
pub struct Unfinished(PathBuf);

impl Unfinished {
    /// A new file in a folder, under a name of its own; `private` where only its owner
    /// may read it.
    pub fn file(folder: &Path, private: bool) -> io::Result<(Self, File)> {
        let mut how = OpenOptions::new();
        // Never what is there already, nor what a link there points to.
        how.write(true).create_new(true);
        #[cfg(unix)]
        if private {
            std::os::unix::fs::OpenOptionsExt::mode(&mut how, 0o600);
        }
        #[cfg(not(unix))]
        let _ = private;
        Self::begin(folder, |path| how.open(path))
    }

    /// A second name of a file, or a copy where the file system has no second names.
    pub fn kept(of: &Path, folder: &Path) -> io::Result<Self> {
        if let Ok((kept, ())) = Self::begin(folder, |path| fs::hard_link(of, path)) {
            return Ok(kept);
        }
        let (kept, mut copy) = Self::file(folder, true)?;
        copy.set_permissions(fs::metadata(of)?.permissions())?;
        io::copy(&mut File::open(of)?, &mut copy)?;
        Ok(kept)
    }

    /// A folder that was not there.
    pub fn folder(path: &Path) -> io::Result<Self> {
        let mut list = list();
        fs::create_dir(path)?;
        list.push(path.to_owned());
        Ok(Self(path.to_owned()))
    }

    fn begin<T>(folder: &Path, make: impl Fn(&Path) -> io::Result<T>) -> io::Result<(Self, T)> {
        let mut list = list();
        for number in 0..NAMES {
            let path = folder.join(format!(".slewbook-{}-{number}.part", std::process::id()));
            match make(&path) {
                Err(error) if error.kind() == io::ErrorKind::AlreadyExists => {}
                Err(error) => return Err(error),
                Ok(made) => {
                    list.push(path.clone());
                    return Ok((Self(path), made));
                }
            }
        }
        Err(io::ErrorKind::AlreadyExists.into())
    }

    pub fn path(&self) -> &Path {
        &self.0
    }
}

impl Drop for Unfinished {
    fn drop(&mut self) {
        let mut list = list();
        if let Some(place) = list.iter().rposition(|own| *own == self.0) {
            list.remove(place);
            take_away(&self.0);
        }
    }
}

/// A file, or a folder with nothing in it. Nothing can be done where it does not go.
fn take_away(path: &Path) {
    let _ = fs::remove_file(path).or_else(|_| fs::remove_dir(path));
}

/// From now on, takes away what is unfinished when the process is told to end (signals
/// TERM, INT and HUP, those that it does not ignore), and then ends as it would have.
/// On systems without these signals nothing changes, and what is unfinished stays behind
/// as `.slewbook-*.part` when the process is ended from outside; so it does everywhere
/// after a kill that no process can heed.
///
/// # Errors
///
/// Where the system gives no thread or no signals.
#[cfg(unix)]
pub fn take_away_on_signals() -> io::Result<()> {
    use signal_hook::consts::{SIGHUP, SIGINT, SIGTERM};
    use signal_hook::{iterator::Signals, low_level::emulate_default_handler};

    let ignored = ignored();
    let heeded = [SIGTERM, SIGINT, SIGHUP].into_iter();
    let mut signals = Signals::new(heeded.filter(|s| ignored >> (s - 1) & 1 == 0))?;
    let watch = move || {
        if let Some(signal) = signals.forever().next() {
            // Held to the end: nothing new is begun.
            let list = list();
            list.iter().rev().for_each(|path| take_away(path));
            let _ = emulate_default_handler(signal);
            std::process::exit(1);
        }
    };
    std::thread::Builder::new()
        .name("signals".to_owned())
        .spawn(watch)
        .map(|_| ())
}

/// The same, where there are no such signals.
#[cfg(not(unix))]
pub fn take_away_on_signals() -> io::Result<()> {
    Ok(())
}

/// The signals that whoever started this process has it ignore, a bit for each: such a
/// process goes on after its terminal has gone. Known on Linux.
#[cfg(unix)]
fn ignored() -> u64 {
    let status = fs::read_to_string("/proc/self/status").unwrap_or_default();
    let line = status.lines().find_map(|own| own.strip_prefix("SigIgn:"));
    line.and_then(|mask| u64::from_str_radix(mask.trim(), 16).ok())
        .unwrap_or(0)
}
