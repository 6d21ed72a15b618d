//! The flying capacitors' ripple in the cell of the lowest band.
//!
//! There the energise charge goes through one flying capacitor: the upper level
//! lies half the ripple higher when the high side fires, and half the ripple lower
//! when it turns off. The node has to rise farther, and the current rises along the
//! arc of inductance and flying capacitance rather than a line. What this neglects
//! is of the square of the ripple over the step, and that the falling edge starts
//! lower: the node's charge over the ripple, a few parts in a hundred thousand of
//! the cell's. How much that is shows in the cell's energy: where it does not close,
//! there is no result.

use super::numbers::{CycleError, Levels};
use super::ramp::Ramp;
use super::rule;
use super::solver::Solver;
use super::state::SteadyState;
use crate::quantity::{Dimensioned, Ratio, Voltage, number};
use crate::stage::{Circuit, OperatingPoint};

/// The part of the input power up to which output and losses may differ from it.
const OPEN: f64 = 1e-3;

/// The upper level in motion while the inductor is energised.
#[derive(Clone, Copy, Debug)]
pub(super) struct Sway {
    /// Half the ripple.
    pub half: f64,
    /// The capacitance that the energise charge goes through.
    pub capacitance: f64,
}

impl Sway {
    /// The time by which the arc from one current to another takes longer than the
    /// line, both without resistance.
    pub fn delay(&self, ramp: Ramp, from: f64, to: f64) -> f64 {
        let frequency = 1.0 / (ramp.inductance * self.capacitance).sqrt();
        let start = (ramp.drive + self.half) / (frequency * ramp.inductance);
        let amplitude = start.hypot(from);
        if to >= amplitude {
            return 0.0;
        }
        let arc = ((to / amplitude).asin() - (from / amplitude).asin()) / frequency;
        arc - ramp.inductance * (to - from) / ramp.drive
    }
}

/// What the ripple does to a cell, each as a part of what it is without.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct RippleEffect {
    /// The ripple of each flying capacitor, peak to peak.
    pub ripple: Voltage,
    /// Change of the on-time.
    pub on_time: Ratio,
    /// Change of the freewheel floor.
    pub floor: Ratio,
    /// Change of the margin of the freewheel current over it.
    pub margin: Ratio,
}

/// What the flying capacitors' ripple does to the cell at a point: the upper level
/// is half the ripple higher when the high side fires.
///
/// `None` without flying capacitors, above the lowest band, where the ripple is at
/// work on the lower level too, and where there is no cell.
///
/// # Errors
/// As [`super::steady_state`].
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
///     input_voltage: 44.0 * volt, output_voltage: 6.0 * volt, output_current: 6.0 * ampere,
/// };
/// let effect = cycle::ripple_effect(&circuit, at).unwrap().unwrap();
/// assert!(effect.floor.value > 0.015 && effect.floor.value < 0.03);
/// ```
pub fn ripple_effect(
    circuit: &Circuit,
    point: OperatingPoint,
) -> Result<Option<RippleEffect>, CycleError> {
    let mut solver = Solver::new(circuit)?;
    let without = solver.solve(point)?;
    let Some(with) = solver.solve_with_ripple(point)? else {
        return Ok(None);
    };
    let (Some(before), Some(after)) = (without.course, with.course) else {
        return Ok(None);
    };
    let Some(ripple) = after.paths.flying.and_then(|flying| flying.ripple) else {
        return Ok(None);
    };
    Ok(Some(RippleEffect {
        ripple,
        on_time: after.on_time / before.on_time - Ratio::from(1.0),
        floor: with.floor / without.floor - Ratio::from(1.0),
        margin: after.margin / before.margin - Ratio::from(1.0),
    }))
}

impl Solver {
    /// The steady state with the flying capacitors' ripple in it, for the pair next
    /// to the input or the output; see [`ripple_effect`], also for where there is
    /// none.
    ///
    /// # Errors
    /// As [`Solver::solve`], and where the ripple is so large a part of the step that
    /// input power, output power and losses differ by more than a thousandth.
    pub fn solve_with_ripple(
        &mut self,
        point: OperatingPoint,
    ) -> Result<Option<SteadyState>, CycleError> {
        let mut steady = self.solve(point)?;
        let Some(capacitance) = self.circuit.flying_capacitance else {
            return Ok(None);
        };
        if self.circuit.pairs < 2 || self.circuit.band > 0 {
            return Ok(None);
        }
        let capacitance = capacitance.coherent();
        // The charge hardly depends on the ripple: the rounds close quickly.
        for _ in 0..6 {
            let Some(flying) = steady.course.and_then(|course| course.paths.flying) else {
                return Ok(None);
            };
            let sway = Sway {
                half: flying.charge.coherent() / capacitance / 2.0,
                capacitance,
            };
            let levels = Levels::new(&self.bench.n, point)?;
            self.bench.set_swaying(&self.circuit, levels, Some(sway));
            let found = rule::solve(&mut self.bench, self.circuit.scheme);
            steady = self.told(&found, point)?;
        }
        closed(&steady)?;
        Ok(Some(steady))
    }
}

/// That a cell's energy closes.
fn closed(steady: &SteadyState) -> Result<(), CycleError> {
    let Some(course) = &steady.course else {
        return Ok(());
    };
    let [input, output, lost] = [
        course.input_power,
        course.output_power,
        course.dissipation.total(),
    ]
    .map(Dimensioned::coherent);
    let open = (input - output - lost).abs();
    if open <= OPEN * input.abs() {
        return Ok(());
    }
    Err(CycleError {
        field: "energy of the cell with the flying capacitors' ripple",
        value: format!(
            "open by {} % of the input power",
            number(100.0 * open / input.abs(), 3)
        ),
        expected: "0.1 % at most: the ripple is too large a part of the node's step for this \
                   correction; give more flying capacitance, or leave the ripple out"
            .to_owned(),
    })
}
