//! The control: what the simulation needs beyond the trip and the dead time.

use super::reader::{Bounds, Section};
use crate::quantity::{Current, Frequency, Ratio, Time, Voltage};

/// Data of the control; what is not given has a default in the simulation.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Control {
    /// Proportional gain of the voltage loop: cells of on-time per relative error.
    pub kp: Option<Ratio>,
    /// Integral gain of the voltage loop: cells of on-time per relative error and second.
    pub ki: Option<Frequency>,
    /// Time in which the reference rises after the start.
    pub soft_start: Option<Time>,
    /// Greatest duty of a pair.
    pub duty_limit: Option<Ratio>,
    /// Hysteresis of the trip comparator.
    pub hysteresis: Option<Current>,
    /// Delay of every gate driver, part of the trip delay.
    pub driver_delay: Option<Time>,
    /// Dead time of the falling edge; without it that of the rising edge is in
    /// force.
    pub low_dead_time: Option<Time>,
    /// Time for which the clamp's diode carries the current after the catch and
    /// before the opening, one device being on.
    pub clamp_delay: Option<Time>,
    /// Drop of that diode.
    pub clamp_diode_drop: Option<Voltage>,
}

/// Reads the section `[control]`.
pub(crate) fn read(root: &Section) -> Control {
    let section = root.section("control");
    let seconds = Bounds::from_zero(1e-2);
    let time = |key| section.quantity::<Time>(key, &seconds).map(|t| t.value);
    let control = Control {
        kp: section
            .quantity("kp", &Bounds::from_zero(1e3))
            .map(|k| k.value),
        ki: section
            .quantity("ki", &Bounds::from_zero(1e9))
            .map(|k| k.value),
        soft_start: section
            .quantity("soft_start", &Bounds::from_zero(10.0))
            .map(|t| t.value),
        duty_limit: section
            .quantity("duty_limit", &Bounds::positive(1.0))
            .map(|d| d.value),
        hysteresis: section
            .quantity("hysteresis", &Bounds::from_zero(1e3))
            .map(|i| i.value),
        driver_delay: time("driver_delay"),
        low_dead_time: time("low_dead_time"),
        clamp_delay: time("clamp_delay"),
        clamp_diode_drop: section
            .quantity("clamp_diode_drop", &Bounds::from_zero(100.0))
            .map(|v| v.value),
    };
    section.close();
    control
}
