//! The memory that a benchmark has taken.

/// Prints the greatest memory so far, of this whole process, where the system tells.
pub fn print() {
    let status = std::fs::read_to_string("/proc/self/status").unwrap_or_default();
    if let Some(line) = status.lines().find(|line| line.starts_with("VmHWM")) {
        println!("memory: {line}");
    }
}
