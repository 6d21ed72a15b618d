//! Processes that a cell started, and their end.

#[cfg(target_os = "linux")]
use std::collections::HashMap;

use rustix::process::{Pid, WaitOptions, WaitStatus, wait};

/// How often the list of processes is read again: each time finds those that
/// were started meanwhile.
#[cfg(target_os = "linux")]
const ROUNDS: usize = 50;

/// Makes this process the parent of all below it whose own parent ends, however
/// they were detached. On systems other than Linux they go to the system, and only
/// those that stayed in the group of the cell's process are found again.
pub fn adopt() {
    #[cfg(target_os = "linux")]
    let _ = rustix::process::set_child_subreaper(Some(rustix::process::getpid()));
}

/// Ends everything below a process, but the one that is kept.
#[cfg(target_os = "linux")]
pub fn end_below(root: Pid, kept: Option<Pid>) {
    for _ in 0..ROUNDS {
        let mut found = below(root);
        found.retain(|process| Some(*process) != kept);
        if found.is_empty() {
            return;
        }
        end(&found, root);
        std::thread::sleep(std::time::Duration::from_millis(2));
    }
}

/// Only Linux tells what is below a process.
#[cfg(not(target_os = "linux"))]
pub fn end_below(_root: Pid, _kept: Option<Pid>) {}

/// Ends processes, if they are still those that were found.
#[cfg(target_os = "linux")]
fn end(found: &[Pid], root: Pid) {
    use rustix::process::{PidfdFlags, Signal, pidfd_open, pidfd_send_signal};
    // A handle keeps meaning one process, whatever becomes of its number.
    let mut handles: Vec<_> = found
        .iter()
        .filter_map(|process| Some((*process, pidfd_open(*process, PidfdFlags::empty()).ok()?)))
        .collect();
    let still = below(root);
    handles.retain(|(process, _)| still.contains(process));
    // All of them stand still before one ends: none starts another, none tells of the
    // end of its child.
    for signal in [Signal::STOP, Signal::KILL] {
        for (_, handle) in &handles {
            // It may have ended by itself.
            let _ = pidfd_send_signal(handle, signal);
        }
    }
}

/// The children of this process that have ended, adopted ones among them, and how.
/// They are forgotten by the system with this call.
pub fn ended() -> Vec<(Pid, WaitStatus)> {
    let next = || wait(WaitOptions::NOHANG).ok().flatten();
    std::iter::from_fn(next).collect()
}

/// Everything below a process, parents before their children.
#[cfg(target_os = "linux")]
fn below(root: Pid) -> Vec<Pid> {
    let mut children: HashMap<Pid, Vec<Pid>> = HashMap::new();
    for entry in std::fs::read_dir("/proc").into_iter().flatten().flatten() {
        let Some(process) = entry
            .file_name()
            .to_str()
            .and_then(|name| name.parse().ok())
        else {
            continue;
        };
        let stat = std::fs::read_to_string(entry.path().join("stat")).unwrap_or_default();
        // After the name, which may hold anything: state and parent.
        let mut rest = stat
            .rsplit(')')
            .next()
            .unwrap_or_default()
            .split_whitespace();
        let (state, parent) = (rest.next(), rest.next());
        let parent = parent
            .and_then(|text| text.parse().ok())
            .and_then(Pid::from_raw);
        if let (Some(process), Some(parent), true) =
            (Pid::from_raw(process), parent, state != Some("Z"))
        {
            children.entry(parent).or_default().push(process);
        }
    }
    let mut found = vec![];
    let mut open = vec![root];
    while let Some(parent) = open.pop() {
        for child in children.remove(&parent).unwrap_or_default() {
            found.push(child);
            open.push(child);
        }
    }
    found
}
