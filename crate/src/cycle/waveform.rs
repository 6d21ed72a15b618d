//! The course of a cell over time, as columns.

use super::balance::Stroke;
use super::motion::Start;
use super::numbers::{CycleError, Levels};
use super::rule::{self, Whole};
use super::solver::{Bench, Solver};
use super::state::SteadyState;
use crate::quantity::{Current, Dimensioned, Exponents, Ratio, Time, Voltage};
use crate::stage::OperatingPoint;
use crate::table::{Column, Table, TableError};

/// Points of each stretch, of each turn of a ring, and of a ring at most.
const POINTS: u32 = 48;
const TURN: f64 = 64.0;
const RINGING: u32 = 20_000;

/// A cell's waveforms, from the clamp's opening (or the low side's release) on.
#[derive(Clone, Debug, PartialEq)]
pub struct Waveform {
    /// `time`, `node_voltage`, `high_voltage` (across the high side),
    /// `inductor_current`, and the gates `high_gate`, `low_gate`, `clamp_gate` of
    /// the pair that commutates, one while on.
    pub table: Table,
    /// The intervals' names with their starts, in order.
    pub intervals: Vec<(&'static str, Time)>,
}

/// A point of the waveforms: time, node voltage from the output, current, gates.
type Row = (f64, f64, f64, [bool; 3]);

const OFF: [bool; 3] = [false; 3];
const HIGH: [bool; 3] = [true, false, false];
const LOW: [bool; 3] = [false, true, false];
const CLAMP: [bool; 3] = [false, false, true];

#[derive(Default)]
struct Trace {
    rows: Vec<Row>,
    now: f64,
    intervals: Vec<(&'static str, Time)>,
}

impl Trace {
    /// A stretch, given by node voltage and current at a time from its start.
    fn stretch(&mut self, length: f64, gates: [bool; 3], at: impl FnMut(f64) -> (f64, f64)) {
        self.stretch_of(POINTS, length, gates, at);
    }

    fn stretch_of(
        &mut self,
        points: u32,
        length: f64,
        gates: [bool; 3],
        mut at: impl FnMut(f64) -> (f64, f64),
    ) {
        for k in 0..=points {
            let time = length * f64::from(k) / f64::from(points);
            let (w, current) = at(time);
            self.rows.push((self.now + time, w, current, gates));
        }
        self.now += length;
    }

    fn begin(&mut self, name: &'static str) {
        self.intervals.push((name, Time::from_coherent(self.now)));
    }
}

impl Solver {
    /// The steady state at a point with its waveforms, where there is a cell.
    ///
    /// # Errors
    /// A point outside what the model describes.
    pub fn waveform(
        &mut self,
        point: OperatingPoint,
    ) -> Result<(SteadyState, Option<Waveform>), CycleError> {
        let levels = Levels::new(&self.bench.n, point)?;
        self.bench.set(&self.circuit, levels);
        let found = rule::solve(&mut self.bench, self.circuit.scheme);
        let steady = self.told(&found, point)?;
        let waveform = found
            .whole
            .and_then(|whole| self.bench.waveform(&whole, found.clamp_on).ok());
        Ok((steady, waveform))
    }
}

impl Bench {
    fn waveform(&mut self, whole: &Whole, clamp_on: Option<f64>) -> Result<Waveform, TableError> {
        let (rise, stroke) = (&whole.rise, &whole.stroke);
        let mut trace = Trace::default();
        let start = if whole.hold.is_some() {
            Start::Output(rise.energy)
        } else {
            Start::Lower(stroke.end)
        };
        trace.begin("rise");
        let points = if whole.ring.is_some() {
            self.ringing(rise.dead)
        } else {
            POINTS
        };
        trace.stretch_of(points, rise.dead, OFF, |time| {
            let moved = self.motion.after(start, time);
            (moved.w, moved.current)
        });
        let arrival = rise.dead - rise.wait;
        trace
            .intervals
            .push(("energise", Time::from_coherent(arrival)));
        let (above, ramp) = (self.levels.above, self.ramps.energise);
        trace.stretch(stroke.on.time, HIGH, |time| {
            (above, ramp.after(rise.at.current, time))
        });
        trace.begin("fall");
        self.falls(stroke, &mut trace);
        self.releases(stroke, &mut trace);
        if let (Some((hold, _)), Some(clamp_on)) = (whole.hold, clamp_on) {
            trace.begin("partial_rise");
            let k = clamp_on * clamp_on;
            let motion = &mut self.motion;
            let partial = motion.lower.travel(&motion.node, k).time;
            trace.stretch(partial, OFF, |time| {
                let at = motion.lower.after(&motion.node, k, partial - time);
                (-at.distance, -at.current)
            });
            trace.begin("hold");
            let decay = self.ramps.decay;
            trace.stretch(hold, CLAMP, |time| (0.0, -decay.after(clamp_on, time)));
        }
        self.columns(trace)
    }

    /// Points of a ring of a length: enough for every turn to be round.
    fn ringing(&mut self, length: f64) -> u32 {
        let motion = &mut self.motion;
        let k = motion.lower.need.min(motion.upper.need);
        let half =
            motion.upper.travel(&motion.node, k).time + motion.lower.travel(&motion.node, k).time;
        #[expect(
            clippy::cast_possible_truncation,
            clippy::cast_sign_loss,
            reason = "a count within its bounds"
        )]
        let points =
            (length / (2.0 * half) * TURN).clamp(f64::from(POINTS), f64::from(RINGING)) as u32;
        points
    }

    /// The node's own way after the high side's turn-off: up to its arrival, and on to
    /// the low side's turn-on.
    fn falls(&mut self, stroke: &Stroke, trace: &mut Trace) {
        let (start, fall) = (Start::Upper(stroke.peak), stroke.fall);
        trace.stretch(fall.time, OFF, |time| {
            let moved = self.motion.after(start, time);
            (moved.w, moved.current)
        });
        trace.begin("release");
        if fall.wait > 0.0 {
            // Cut off there, the node rings.
            let points = if fall.cut { RINGING } else { POINTS };
            trace.stretch_of(points, fall.wait, OFF, |time| {
                let moved = self.motion.after(start, fall.time + time);
                (moved.w, moved.current)
            });
        }
    }

    fn releases(&mut self, stroke: &Stroke, trace: &mut Trace) {
        let below = self.levels.below;
        let ramp = self.ramps.release;
        trace.stretch(stroke.release.time, LOW, |time| {
            (-below, ramp.after(stroke.fall.current, time))
        });
    }

    fn columns(&self, trace: Trace) -> Result<Waveform, TableError> {
        let output = self.levels.output;
        let above = self.levels.above;
        let rows = &trace.rows;
        let column = |name, words, exponents: Exponents, value: &dyn Fn(&Row) -> f64| {
            Column::new(name, words, exponents, rows.iter().map(value).collect())
        };
        let gate = |k: usize| move |row: &Row| f64::from(u8::from(row.3[k]));
        let volts = Voltage::EXPONENTS;
        let table = Table::default()
            .with(column("time", "time", Time::EXPONENTS, &|r| r.0)?)?
            .with(column(
                "node_voltage",
                "voltage of the switch node",
                volts,
                &|r| output + r.1,
            )?)?
            .with(column(
                "high_voltage",
                "voltage across the high side",
                volts,
                &|r| above - r.1,
            )?)?
            .with(column(
                "inductor_current",
                "current of the inductor, positive to the output",
                Current::EXPONENTS,
                &|r| r.2,
            )?)?
            .with(column(
                "high_gate",
                "gate of the high side",
                Ratio::EXPONENTS,
                &gate(0),
            )?)?
            .with(column(
                "low_gate",
                "gate of the low side",
                Ratio::EXPONENTS,
                &gate(1),
            )?)?
            .with(column(
                "clamp_gate",
                "gate of the clamp",
                Ratio::EXPONENTS,
                &gate(2),
            )?)?;
        Ok(Waveform {
            table,
            intervals: trace.intervals,
        })
    }
}
