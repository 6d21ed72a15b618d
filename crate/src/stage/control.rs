//! The control: its supply, and what the simulation needs beyond the trip and
//! the dead time.

use super::reader::{Bounds, Section};
use crate::quantity::{Current, Dimensioned, Frequency, Power, Ratio, Time, Voltage};

/// Data of the control; what is not given has a default in the simulation.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Control {
    /// Power that the control takes.
    pub power: Option<Power>,
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
    /// Inductor current at which the high side is turned off before its time.
    pub peak_limit: Option<Current>,
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
    let delay = Bounds::from_zero(1e-2);
    let control = Control {
        power: value(&section, "power", &Bounds::from_zero(1e4)),
        kp: value(&section, "kp", &Bounds::from_zero(1e3)),
        ki: value(&section, "ki", &Bounds::from_zero(1e9)),
        soft_start: value(&section, "soft_start", &Bounds::from_zero(10.0)),
        duty_limit: value(&section, "duty_limit", &Bounds::positive(1.0)),
        hysteresis: value(&section, "hysteresis", &Bounds::from_zero(1e3)),
        peak_limit: value(&section, "peak_limit", &Bounds::positive(1e4)),
        driver_delay: value(&section, "driver_delay", &delay),
        low_dead_time: value(&section, "low_dead_time", &delay),
        clamp_delay: value(&section, "clamp_delay", &delay),
        clamp_diode_drop: value(&section, "clamp_diode_drop", &Bounds::from_zero(100.0)),
    };
    section.close();
    control
}

fn value<Q: Dimensioned>(section: &Section, key: &'static str, bounds: &Bounds) -> Option<Q> {
    section.quantity(key, bounds).map(|read| read.value)
}
