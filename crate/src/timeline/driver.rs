//! Gate drivers.

/// A driver: a gate follows its command after a delay, the same both ways.
#[derive(Clone, Copy, Debug)]
pub(super) struct Driver {
    /// Delay in seconds.
    pub delay: f64,
}

impl Driver {
    /// When a gate follows a command.
    pub fn gate_time(self, command: f64) -> f64 {
        command + self.delay
    }
}
