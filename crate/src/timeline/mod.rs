//! An event-driven simulation of the stage with its control.
//!
//! Between two events the circuit is linear and its solution known: there is no
//! time step. While switches or diodes hold the node, inductor current and the
//! capacitors in its way are a linear system of second order, summed exactly;
//! while the node floats, current and node voltage follow from the energy of
//! the node's capacitances, which depend on voltage. Events (a comparator's
//! threshold, a diode's zero, a timer, the node's arrival) are located on these
//! solutions to rounding.
//!
//! The states are the inductor current, the node voltage, the voltage of each
//! flying capacitor and that of the output capacitor. The control is made of
//! the parts of the bench: carriers, comparator, gate logic, drivers, voltage
//! loop.
//!
//! # Assumptions
//! - Edges are free of resistance, and the capacitors' voltages stand still
//!   during one, the output at its mean over the edge; the charges then move
//!   exactly. The error is a part of the node's capacitance over the flying
//!   capacitance.
//! - While the clamp conducts, the node is held at the output voltage; its drop
//!   acts on the current only. A body diode holds the node its drop beyond the level.
//! - One pair commutes at a time: the gate logic lets a command wait while
//!   another pair is in its dead time.
//! - The input is an ideal source; the load draws a constant current between its
//!   steps, less in proportion while the output is below 2 % of the input voltage.
//!   The comparator has no noise.
//!
//! ```
//! use slewbook::quantity::unit::{ampere, uH, volt};
//! use slewbook::scheme::Scheme;
//! use slewbook::stage::{Circuit, DEMONSTRATION, OperatingPoint, Specification};
//! use slewbook::timeline::{self, Settings};
//!
//! let specification = Specification::read(DEMONSTRATION).unwrap();
//! let circuit = Circuit::new(
//!     &specification, Scheme::FreewheelTransistors, 0.68 * uH, 0.6 * ampere,
//! ).unwrap();
//! let point = OperatingPoint {
//!     input_voltage: 44.0 * volt,
//!     output_voltage: 6.0 * volt,
//!     output_current: 6.0 * ampere,
//! };
//! let steady = timeline::steady_state(&circuit, point, &Settings::fixed(0.1.into())).unwrap();
//! assert_eq!(steady.cells.len(), 2);
//! assert!(steady.cells[0].turn_on_voltage.unwrap() < 1e-6);
//! ```

#![expect(
    clippy::cast_precision_loss,
    reason = "numbers of pairs, cells and points are far below 2⁵²"
)]

mod carrier;
mod cell;
mod charge;
mod comparator;
mod driver;
mod edge;
mod electrical;
mod error;
mod exceeded;
mod gains;
mod gate;
mod gauss;
mod ledger;
mod leg;
mod loop_gain;
mod node;
mod observe;
mod queue;
mod ramp;
mod regulator;
mod rule;
mod running;
mod sequence;
mod settings;
mod simulation;
mod steady;
mod summary;
mod summary_json;
mod summary_text;
mod swing;
mod waves;

pub use cell::CellRecord;
pub use error::TimelineError;
pub use gate::{Gates, Short};
pub use ledger::Ledger;
pub use loop_gain::{Examination, Examined, LoopGain, LoopReport, Soundness};
pub use observe::{Event, Observer, Row};
pub use rule::{Catch, Firing, Release, Rules};
pub use settings::{Initial, Loop, Settings};
pub use simulation::Simulation;
pub use steady::{Steady, steady_state};
pub use summary::{Extremes, Settled, Summary, TurnOns, run};
pub use summary_json::Start;
pub use waves::Waves;
