//! One cell in steady state.
//!
//! Two ways to the same cell: [`cell()`] builds it as typed expressions, in the
//! closed form that documents show, with ramps free of resistance and every edge
//! complete; [`steady_state`] computes it in numbers for every scheme, with the
//! resistances of the ramps, the dead time in force, and the states in which a
//! cell is not what was intended.
//!
//! Conventions of the numeric cell: the edges are exact for any capacitance
//! curve and without resistance; the ramps have the resistance of their path;
//! while the clamp conducts, the node counts as held at the output voltage, its
//! path's resistance and drop act on the current alone and its current does not
//! reach the output. A body diode holds the node its drop beyond the level, where
//! its transistor has the capacitance that it has at zero volts. Where a part has no body-diode drop, the time for which the
//! diode carries the current counts as conduction of the channel.

mod balance;
mod beyond;
mod ceiling;
mod cell;
mod course;
pub(crate) mod gauss;
mod hold;
mod motion;
mod node;
mod numbers;
mod output;
mod ramp;
mod ripple;
mod rule;
mod samples;
mod side;
mod solver;
mod state;
mod swing;
mod text;
mod waveform;

pub use ceiling::ceiling_in_operation;
pub(crate) use cell::without_hold;
pub use cell::{Cell, cell, hold_time, on_time, peak_current};
pub use course::{
    Course, Dissipation, FlyingCapacitor, HARD, Interval, NO_ENERGY, NO_VOLTAGE, OutputCapacitor,
    Path, Paths, Stretch, Switching, TurnOn,
};
pub(crate) use hold::HoldTimes;
pub use numbers::CycleError;
pub use output::{json, json_with};
pub use ripple::{RippleEffect, ripple_effect};
pub use solver::Solver;
pub use state::{State, SteadyState};
pub use text::text;
pub use waveform::Waveform;

use crate::stage::{Circuit, OperatingPoint};

/// The steady state of a circuit at an operating point.
///
/// For many points keep a [`Solver`]: it allocates once.
///
/// # Errors
/// A point or a part outside what the model describes: an output voltage that
/// does not lie between the two levels of the circuit's band, a negative output
/// current, a value that is no number.
///
/// # Source
/// Conservation of energy and charge; straight-line and exponential ramps.
///
/// # Example
/// ```
/// use slewbook::cycle::{self, State};
/// use slewbook::quantity::{print, unit::{ampere, uH, volt}};
/// use slewbook::scheme::Scheme;
/// use slewbook::stage::{Circuit, DEMONSTRATION, OperatingPoint, Specification};
/// let specification = Specification::read(DEMONSTRATION).unwrap();
/// let circuit = Circuit::new(
///     &specification, Scheme::FreewheelTransistors, 0.68 * uH, 0.4 * ampere,
/// ).unwrap();
/// let point = OperatingPoint {
///     input_voltage: 30.0 * volt,
///     output_voltage: 6.0 * volt,
///     output_current: 6.0 * ampere,
/// };
/// let cell = cycle::steady_state(&circuit, point).unwrap();
/// assert_eq!(cell.state, State::ZeroVoltage);
/// assert_eq!(print(cell.course.unwrap().peak_current), "15.13 A");
/// ```
pub fn steady_state(circuit: &Circuit, point: OperatingPoint) -> Result<SteadyState, CycleError> {
    Solver::new(circuit)?.solve(point)
}
