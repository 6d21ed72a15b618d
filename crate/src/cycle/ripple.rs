//! The flying capacitors' ripple in a cell.
//!
//! The pair that fires connects the node through the flying capacitors on both sides of
//! the pairs that are on. Each has then been charged as high, or discharged as low, as it
//! will be: while the inductor is energised they move the upper level down, from as far
//! above its mean as it will be below, and likewise the lower level while the current is
//! released. The node has to rise farther, and the current follows the arc of inductance
//! and flying capacitance rather than a line.
//!
//! Counted from its mean, a level between two flying capacitors `C` starts at `Q/C`, `Q`
//! being the charge of the ramp, and one next to the input or the output at half of that.
//! That is so in the lowest band, where the upper level moves, and in the highest, where
//! the lower one does; with one on-time for all pairs, the capacitors' means shift a little
//! besides. In a middle band both levels move, differently for every pair: there bounds
//! are taken for where the node has to come to and for the peak.
//!
//! What this neglects is of the square of the ripple over the step, and that the node
//! comes to the lower level before it has sunk: the node's charge over the ripple, a few
//! parts in a hundred thousand of the cell's. How much that is shows in the cell's energy:
//! where it does not close, there is no result.

use super::course::{Course, Interval};
use super::numbers::{CycleError, Levels};
use super::ramp::Ramp;
use super::rule;
use super::solver::Solver;
use super::state::SteadyState;
use crate::quantity::{Current, Dimensioned, Ratio, Voltage, number};
use crate::stage::{Circuit, OperatingPoint};

/// The part of a cell's charge to which it and its ripple have to agree.
const CLOSED: f64 = 1e-8;
/// The part of the input power up to which output and losses may differ from it.
const OPEN: f64 = 1e-3;

/// A level in motion while a ramp of current runs.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Sway {
    /// How far it is from its mean at both ends of the ramp.
    pub half: f64,
    /// How far it is outwards when the node has to come to it or leaves it, at the most.
    pub farthest: f64,
    /// The same at the least; below zero where it is inwards then.
    pub nearest: f64,
    /// The capacitance that the ramp's charge goes through.
    pub capacitance: f64,
}

impl Sway {
    /// The time by which the arc from one current to another takes longer than the
    /// line, both without resistance.
    pub fn delay(&self, ramp: Ramp, from: f64, to: f64) -> f64 {
        if self.half == 0.0 {
            return 0.0;
        }
        // Seen with the sign with which the current changes.
        let sign = ramp.drive.signum();
        let (first, last) = (sign * from, sign * to);
        let frequency = 1.0 / (ramp.inductance * self.capacitance).sqrt();
        let start = (ramp.drive.abs() + sign * self.half) / (frequency * ramp.inductance);
        let amplitude = start.hypot(first);
        if last >= amplitude || start <= 0.0 {
            return 0.0;
        }
        let arc = ((last / amplitude).asin() - (first / amplitude).asin()) / frequency;
        arc - ramp.inductance * (to - from) / ramp.drive
    }
}

/// Both levels of a cell in motion.
#[derive(Clone, Copy, Debug)]
pub(super) struct Sways {
    pub upper: Sway,
    pub lower: Sway,
}

impl Sways {
    /// Those that the charges of a cell's two ramps make of a flying capacitance.
    fn new(circuit: &Circuit, capacitance: f64, energise: f64, release: f64) -> Self {
        let pairs = f64::from(circuit.pairs);
        let (first, last) = (circuit.band == 0, circuit.band + 1 == circuit.pairs);
        // The capacitors that a ramp's charge goes through.
        let count = if circuit.pairs > 2 { 2.0 } else { 1.0 };
        let sway = |charge: f64| {
            let half = count * charge / (2.0 * capacitance);
            Sway {
                half,
                farthest: half,
                nearest: if circuit.pairs > 2 { 0.0 } else { half },
                capacitance: capacitance / count,
            }
        };
        let (mut upper, mut lower) = (sway(energise), sway(release));
        if first {
            lower = Sway::default();
            if circuit.pairs > 2 {
                upper.farthest *= 1.0 - 2.0 / (3.0 * pairs);
            }
        } else if last {
            upper = Sway::default();
        } else {
            // Each of two capacitors is at most half its ripple off its mean. The means shift
            // until every capacitor gives what it takes, farther with more pairs: bounds that
            // the simulation keeps.
            let reach = pairs / 2.0 * (energise + release) / capacitance;
            for sway in [&mut upper, &mut lower] {
                (sway.farthest, sway.nearest) = (reach, -reach);
            }
        }
        Self { upper, lower }
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
/// is higher when the high side fires, and the lower one lower when the node leaves it.
///
/// `None` without flying capacitors, and where there is no cell.
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
    /// The steady state with the flying capacitors' ripple in it, for the pair for which
    /// the levels move farthest; see [`ripple_effect`], also for where there is none.
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
        if self.circuit.pairs < 2 {
            return Ok(None);
        }
        let capacitance = capacitance.coherent();
        // The charge hardly depends on the ripple: the rounds close quickly.
        let mut last = [f64::NAN; 2];
        for _ in 0..6 {
            let Some(course) = steady.course else {
                return Ok(None);
            };
            let [energise, release] = course.ramp_charges(&self.circuit);
            let open = (energise - last[0]).abs() + (release - last[1]).abs();
            if open <= CLOSED * (energise + release) {
                break;
            }
            last = [energise, release];
            let sways = Sways::new(&self.circuit, capacitance, energise, release);
            let levels = Levels::new(&self.bench.n, point)?;
            // The cell is near that of the round before.
            let bench = &mut self.bench;
            let (near, last_peak) = (bench.near, bench.last_peak);
            bench.set_swaying(&self.circuit, levels, Some(sways));
            (bench.near, bench.last_peak) = (near, last_peak);
            let found = rule::solve(&mut self.bench, self.circuit.scheme);
            steady = self.told(&found, point)?;
        }
        closed(&steady)?;
        if let Some(course) = &mut steady.course {
            course.differ(
                &self.circuit,
                Levels::new(&self.bench.n, point)?,
                capacitance,
            );
        }
        Ok(Some(steady))
    }
}

impl Course {
    /// The charges that the energise interval and the release bring to the output.
    fn ramp_charges(&self, circuit: &Circuit) -> [f64; 2] {
        let (pairs, band) = (f64::from(circuit.pairs), f64::from(circuit.band));
        let time = self.cell_time.coherent();
        let whole = self.average_current.coherent() * time;
        // The input carries band and one of the pairs' shares of the one, band of the other.
        let energise = self.input_current.coherent() * pairs * time - band * whole;
        [energise, whole - energise].map(|charge| charge.max(0.0))
    }

    /// The charge that a negative current carries back before the energise current, and
    /// after the release current, comes to zero, the node's edges there included.
    fn reversed_charges(&self, circuit: &Circuit, levels: Levels) -> [f64; 2] {
        let back = |current: Current, voltage: f64| {
            let current = current.coherent().min(0.0);
            circuit.inductance.coherent() * current * current / (2.0 * voltage)
        };
        let edge = |own: Interval| {
            let mean = (own.start_current + own.end_current).coherent() / 2.0;
            -mean.min(0.0) * own.duration.coherent()
        };
        [
            back(self.energise.start_current, levels.above) + edge(self.rise),
            back(self.release.end_current, levels.below) + self.partial_rise.map_or(0.0, edge),
        ]
    }

    /// Puts in by what the cells of the pairs differ: the highest peak of their currents,
    /// and the largest ripple of their capacitors.
    ///
    /// All have the same on-time. In the lowest band each capacitor gives as much charge
    /// as it takes, so that all cells have the same; of the level, which sinks with the
    /// charge, the early part counts more for the charge than for the peak, so that the
    /// pairs at the ends, whose level sinks half as far, have the higher one. In a middle
    /// band a level is counted as half of its capacitors' ripple above its mean.
    ///
    /// A capacitor's voltage turns where the current changes its sign: what flows back
    /// widens its ripple, when it gives its charge and when it takes it.
    fn differ(&mut self, circuit: &Circuit, levels: Levels, capacitance: f64) {
        let [energise, release] = self.ramp_charges(circuit);
        let (first, last) = (circuit.band == 0, circuit.band + 1 == circuit.pairs);
        let [before, after] = self.reversed_charges(circuit, levels);
        let (whole, pairs) = (energise + release, f64::from(circuit.pairs));
        let (above, turned, larger) = if first {
            (energise / 6.0, 2.0 * before, 1.0)
        } else if last {
            // Here the residual currents differ.
            (release / 6.0, 2.0 * after, 1.0)
        } else {
            // The cells' charges differ with the levels: a bound that the simulation keeps.
            let part = whole / capacitance / (levels.above + levels.below);
            (whole / 2.0, before + after, 1.0 + pairs / 4.0 * part)
        };
        if circuit.pairs > 2 {
            let time = self.energise.duration.coherent();
            let higher = above / capacitance * time / circuit.inductance.coherent();
            self.highest_peak_current = self.peak_current + Current::from_coherent(higher);
        }
        if let Some(flying) = &mut self.paths.flying {
            let charge = larger * (flying.charge.coherent() + turned);
            flying.ripple = Some(Voltage::from_coherent(charge / capacitance));
        }
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
