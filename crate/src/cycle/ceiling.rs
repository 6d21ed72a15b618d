//! The largest inductance at which the clamp still holds the node.

use super::numbers::CycleError;
use super::solver::Solver;
use crate::quantity::{Dimensioned as _, Inductance};
use crate::stage::{Circuit, OperatingPoint};

/// How far below the boundary of discontinuous conduction the ceiling is sought.
const LOWEST: f64 = 1e-4;
/// Halvings of the bracket: to the last digit but one of a double.
const HALVINGS: u32 = 60;

/// The ceiling in operation at a point: the inductance at which no hold time is left,
/// with the trip as set, the resistances of both ramps and of the freewheel loop, and the
/// exact edges. `None` where there is none below the boundary of discontinuous
/// conduction, or where the circuit has no clamp.
///
/// # Errors
/// As [`super::steady_state`].
///
/// # Source
/// Conservation of energy and charge in one cell.
///
/// # Example
/// ```
/// use slewbook::cycle;
/// use slewbook::quantity::unit::{ampere, uH, volt};
/// use slewbook::scheme::Scheme;
/// use slewbook::stage::{Circuit, DEMONSTRATION, OperatingPoint, Specification};
/// let specification = Specification::read(DEMONSTRATION).unwrap();
/// let circuit = Circuit::new(
///     &specification, Scheme::FreewheelTransistors, 0.68 * uH, 0.4 * ampere,
/// ).unwrap();
/// let at = OperatingPoint {
///     input_voltage: 30.0 * volt, output_voltage: 6.0 * volt, output_current: 6.0 * ampere,
/// };
/// let ceiling = cycle::ceiling_in_operation(&circuit, at).unwrap().unwrap();
/// assert!(ceiling > 0.9 * uH && ceiling < 1.1 * uH);
/// ```
pub fn ceiling_in_operation(
    circuit: &Circuit,
    point: OperatingPoint,
) -> Result<Option<Inductance>, CycleError> {
    let mut solver = Solver::new(circuit)?;
    let mut holds = |inductance: f64| -> Result<bool, CycleError> {
        let with = Circuit {
            inductance: Inductance::from_coherent(inductance),
            ..*circuit
        };
        solver.change(&with)?;
        let steady = solver.solve(point)?;
        Ok(steady.course.is_some_and(|course| course.hold.is_some()))
    };
    let pairs = f64::from(circuit.pairs);
    let step = point.input_voltage.coherent() / pairs;
    let below = point.output_voltage.coherent() - f64::from(circuit.band) * step;
    let above = step - below;
    let load = point.output_current.coherent();
    let boundary = circuit.cell_time().coherent() * above * below / (step * 2.0 * load);
    let (mut low, mut high) = (LOWEST * boundary, boundary);
    if !boundary.is_finite() || holds(high)? {
        return Ok(None);
    }
    // A small inductance may lack the trip or the least on-time: from above, the first
    // that holds.
    while !holds(low)? {
        low *= 2.0;
        if low >= high {
            return Ok(None);
        }
    }
    for _ in 0..HALVINGS {
        let middle = f64::midpoint(low, high);
        if middle <= low || middle >= high {
            break;
        }
        if holds(middle)? {
            low = middle;
        } else {
            high = middle;
        }
    }
    Ok(Some(Inductance::from_coherent(low)))
}
