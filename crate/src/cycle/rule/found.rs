//! What a rule found, judged and put into quantities.

use crate::cycle::balance::{Rise, Stroke};
use crate::cycle::course::{
    Course, Dissipation, FlyingCapacitor, Interval, OutputCapacitor, Path, Paths, TurnOn,
};
use crate::cycle::motion::Level;
use crate::cycle::ramp::Ramped;
use crate::cycle::side::Travel;
use crate::cycle::solver::Bench;
use crate::cycle::state::{State, SteadyState};
use crate::quantity::{Current, Dimensioned, Energy, Time};
use crate::scheme::Scheme;
use crate::stage::OperatingPoint;

/// A whole cell.
#[derive(Clone, Copy, Debug)]
pub(in crate::cycle) struct Whole {
    pub period: f64,
    pub rise: Rise,
    pub stroke: Stroke,
    /// From the lower level to the output, where that is an interval of its own.
    pub partial: Option<Travel>,
    /// Duration of the hold, and its charge and squared current.
    pub hold: Option<(f64, Ramped)>,
    pub ring: Option<[TurnOn; 3]>,
}

/// What a rule found; currents are magnitudes.
#[derive(Clone, Copy, Debug)]
pub(in crate::cycle) struct Found {
    pub state: State,
    pub release: Option<f64>,
    pub clamp_on: Option<f64>,
    pub partial_rise: Option<f64>,
    pub whole: Option<Whole>,
    /// By how much the intervals are longer than a cell, without any hold.
    pub short: Option<f64>,
    /// Why, where the state's own words leave it open.
    pub reason: Option<&'static str>,
}

/// Why no hold time is left although the cell may be long enough.
const TRIP_OUT_OF_REACH: &str = "The trip threshold cannot be reached: the resistance of the \
     release path ends the fall of the current above it. Lower the trip threshold or the \
     resistance.";
const PAST_THE_TRIP: &str = "The low side turns on only when the current has passed the trip \
     threshold already: shorten its dead time.";

fn typed<Q: Dimensioned>(value: f64) -> Q {
    // A negative zero would print its sign.
    Q::from_coherent(value + 0.0)
}

impl Found {
    pub fn without_cell(state: State) -> Self {
        Self {
            state,
            release: None,
            clamp_on: None,
            partial_rise: None,
            whole: None,
            short: None,
            reason: None,
        }
    }

    /// No cell because the trip cannot be reached.
    pub fn without_trip() -> Self {
        Self {
            reason: Some(TRIP_OUT_OF_REACH),
            ..Self::without_cell(State::NoHoldTime)
        }
    }

    /// The state of a cell that was found; without cell where the on-time falls
    /// short.
    pub fn judged(mut self, bench: &Bench) -> Self {
        let Some(whole) = self.whole else {
            return self;
        };
        let node = &bench.motion.node;
        let (rise, stroke) = (&whole.rise, &whole.stroke);
        let numbers = [
            stroke.peak,
            stroke.time(),
            rise.dead,
            rise.at.current,
            rise.at.w,
            stroke.charge,
            whole.period,
        ];
        self.state = if !numbers.iter().all(|v| v.is_finite()) {
            State::BeyondDiscontinuous
        } else if stroke.on.time < bench.n.least_on_time.max(0.0) {
            State::BelowLeastOnTime
        } else if stroke.release.time < 0.0 {
            self.reason = Some(PAST_THE_TRIP);
            State::NoHoldTime
        } else if stroke.fall.arrives.is_none() {
            State::IncompleteFall
        } else if rise.energy == 0.0 && rise.at.w <= 0.0 && whole.hold.is_some() {
            State::ClampDemagnetised
        } else if rise.at.w < node.above {
            State::Partial
        } else {
            State::ZeroVoltage
        };
        if matches!(
            self.state,
            State::BelowLeastOnTime | State::BeyondDiscontinuous | State::NoHoldTime
        ) {
            self.whole = None;
        }
        self
    }

    pub fn steady_state(
        &self,
        scheme: Scheme,
        at: OperatingPoint,
        bench: &mut Bench,
    ) -> SteadyState {
        let wanted = Some(bench.trip_wanted()).filter(|own| scheme.has_clamp() && own.is_finite());
        SteadyState {
            scheme,
            at,
            state: self.state,
            reason: self.reason,
            floor: typed(bench.motion.upper.need.sqrt()),
            release_current: self.release.map(typed),
            clamp_on_current: self.clamp_on.map(typed),
            partial_rise_time: self.partial_rise.map(typed),
            // Of extreme parts these are no numbers.
            time_short: self.short.filter(|own| own.is_finite()).map(typed),
            trip_needed: wanted.map(|own| typed(own.max(0.0))),
            trip_wanted: wanted.map(typed),
            trip_reach: bench.trip_reach().filter(|own| own.is_finite()).map(typed),
            course: self.whole.map(|whole| whole.course(bench, self.clamp_on)),
        }
    }
}

fn interval(duration: f64, start: f64, end: f64) -> Interval {
    Interval {
        duration: typed(duration),
        start_current: typed(start),
        end_current: typed(end),
    }
}

/// A path from its charge and squared current over a period.
fn path(charge: f64, square: f64, period: f64) -> Path {
    Path {
        average: typed(charge / period),
        rms: typed((square / period).max(0.0).sqrt()),
        charge: typed(charge),
    }
}

/// Charges and squared currents of a cell's stretches, ready to be added up.
struct Stretches {
    /// The energise ramp, and its charge with that of an edge the high side completes.
    on: Ramped,
    on_charge: f64,
    /// The release ramp, and its charge less that of an edge the low side completes.
    off: Ramped,
    off_charge: f64,
    /// Body diodes that have a drop.
    high_diode: Ramped,
    low_diode: Ramped,
    /// Squared current of the edges.
    edges: f64,
}

/// Part of what flows in and out below which what is left is rounding.
const ROUNDING: f64 = 1e-12;

impl Stretches {
    /// The charge to the output.
    fn through(&self) -> f64 {
        let sum = self.on_charge + self.off_charge;
        let size = self.on_charge.abs() + self.off_charge.abs();
        if sum.abs() <= ROUNDING * size {
            0.0
        } else {
            sum
        }
    }
}

impl Whole {
    fn stretches(&self, bench: &Bench) -> Stretches {
        let (rise, stroke) = (&self.rise, &self.stroke);
        let (mut on, mut off) = (stroke.on, stroke.release);
        let none = Ramped::default();
        // A diode without a drop counts as its channel.
        let share = |drop: f64, diode: Ramped, channel: &mut Ramped| {
            if drop > 0.0 {
                diode
            } else {
                *channel = channel.and(diode);
                none
            }
        };
        let fall = &stroke.fall;
        let high_diode = share(bench.n.high_drop, rise.at.high.and(fall.high), &mut on);
        let low_diode = share(bench.n.low_drop, rise.at.low.and(fall.low), &mut off);
        let left = bench.moments(fall.w).charge - bench.bottom.charge;
        Stretches {
            on,
            on_charge: on.charge + high_diode.charge + rise.completed,
            off,
            off_charge: off.charge + low_diode.charge - left,
            high_diode,
            low_diode,
            edges: rise.at.square
                + fall.square
                + self.partial.map_or(0.0, |partial| partial.square),
        }
    }

    fn course(&self, bench: &mut Bench, clamp_on: Option<f64>) -> Course {
        let capacitor = self.output(bench, clamp_on);
        let bench = &*bench;
        let (rise, stroke) = (&self.rise, &self.stroke);
        let n = &bench.n;
        let stretches = self.stretches(bench);
        let on_time = rise.wait + stroke.on.time;
        let gate = stroke.on.time;
        let released = stroke.end;
        let partial = self.partial.map(|travel| {
            let end = -bench
                .motion
                .energy(crate::cycle::motion::Start::Lower(released.min(0.0)))
                .sqrt();
            interval(travel.time, released, end)
        });
        let hold = self
            .hold
            .map(|(time, _)| interval(time, -clamp_on.unwrap_or(0.0), rise.start));
        let turn_on = bench.turn_on(rise.at.w);
        let fall = &stroke.fall;
        let low_turn_on = bench.low_turn_on(fall.w);
        let window = |level, arrives: Option<(f64, f64)>| {
            arrives.map(|(time, current)| {
                let stays = bench.motion.excursion(level, current.abs()).time();
                (typed(time), typed(time + stays))
            })
        };
        let high_window = window(Level::Upper, rise.arrives);
        let low_window = window(Level::Lower, fall.arrives);
        let need = bench.motion.upper.need;
        let input = (n.band + 1.0) * stretches.on_charge + n.band * stretches.off_charge;
        let input = input / (n.pairs * self.period);
        let (load, output) = (bench.levels.load, bench.levels.output);
        Course {
            cell_time: typed(self.period),
            rise: interval(rise.duration, rise.start, rise.end),
            energise: interval(on_time, rise.end, stroke.peak),
            fall: interval(fall.time, stroke.peak, fall.end),
            release: interval(fall.wait + stroke.release.time, fall.end, released),
            partial_rise: partial,
            hold,
            on_time: typed(on_time),
            gate_on_time: typed(gate),
            duty: typed((n.band * self.period + gate) / (n.pairs * self.period)),
            peak_current: typed(stroke.peak),
            highest_peak_current: typed(stroke.peak),
            freewheel_current: self.hold.map(|_| typed::<Current>(-rise.start)),
            residual_current: typed(-rise.end),
            margin: typed(if need > 0.0 {
                (rise.energy / need).sqrt()
            } else {
                f64::MAX.sqrt()
            }),
            dead_time: typed(rise.dead),
            window_start: high_window.map(|(start, _)| start),
            window_end: high_window.map(|(_, end)| end),
            low_dead_time: typed(fall.dead),
            low_window,
            turn_on,
            full_turn_on: bench.turn_on(-bench.motion.node.below),
            low_turn_on,
            ring: self.ring,
            paths: self.paths(bench, &stretches, input, capacitor),
            dissipation: self.dissipation(bench, &stretches, turn_on.energy + low_turn_on.energy),
            average_current: typed(stretches.through() / self.period),
            input_current: typed(input),
            input_power: typed(input * bench.levels.input),
            output_power: typed(load * output),
        }
    }

    /// Squared current of each high side's and each low side's channel over as
    /// many cells as there are pairs.
    fn channels(bench: &Bench, s: &Stretches) -> (f64, f64) {
        let (n, m) = (bench.n.pairs, bench.n.band);
        // While a diode carries the current of the commutating pair, the others'
        // channels conduct.
        let high =
            (m + 1.0) * s.on.square + m * (s.high_diode.square + s.off.square + s.low_diode.square);
        let low = (n - m - 1.0) * (s.on.square + s.high_diode.square + s.low_diode.square)
            + (n - m) * s.off.square;
        (high, low)
    }

    fn paths(&self, bench: &Bench, s: &Stretches, input: f64, output: OutputCapacitor) -> Paths {
        let n = &bench.n;
        let load = bench.levels.load;
        let long = n.pairs * self.period;
        let (high, low) = Self::channels(bench, s);
        let ramps = s.on.square + s.off.square + s.high_diode.square + s.low_diode.square;
        let to_output = ramps + s.edges;
        let held = self.hold.map_or(Ramped::default(), |(_, held)| held);
        let through = s.through();
        let (flying_charge, flying_square) = if n.band == 0.0 {
            (s.on_charge, s.on.square + s.high_diode.square)
        } else if n.band + 1.0 < n.pairs {
            (through, ramps)
        } else {
            (s.off_charge, s.off.square + s.low_diode.square)
        };
        Paths {
            inductor: path(through - held.charge, to_output + held.square, self.period),
            high: path(input * long, high, long),
            low: path(through * n.pairs - input * long, low, long),
            high_diode: path(s.high_diode.charge, s.high_diode.square, long),
            low_diode: path(s.low_diode.charge, s.low_diode.square, long),
            clamp: self
                .hold
                .map(|_| path(held.charge, held.square, self.period)),
            flying: (n.pairs > 1.0).then(|| FlyingCapacitor {
                rms: typed((2.0 * flying_square / long).sqrt()),
                charge: typed(flying_charge.abs()),
                ripple: n.flying_capacitance.map(|c| typed(flying_charge.abs() / c)),
            }),
            output: OutputCapacitor {
                rms: typed((to_output / self.period - load * load).max(0.0).sqrt()),
                ..output
            },
            high_diode_time: typed(self.rise.at.high.and(self.stroke.fall.high).time),
            low_diode_time: typed::<Time>(s.low_diode.time),
        }
    }

    /// The output capacitor without its rms current.
    fn output(&self, bench: &mut Bench, clamp_on: Option<f64>) -> OutputCapacitor {
        let (capacitance, resistance) = (bench.n.output_capacitance, bench.n.output_resistance);
        let charge = bench.swing(self, clamp_on, 0.0);
        let swing = if resistance > 0.0 {
            bench.swing(self, clamp_on, resistance * capacitance)
        } else {
            charge
        };
        OutputCapacitor {
            rms: typed(0.0),
            charge: typed(charge),
            ripple_of_charge: typed(charge / capacitance),
            ripple: typed(swing / capacitance),
        }
    }

    fn dissipation(&self, bench: &Bench, s: &Stretches, turn_on: Energy) -> Dissipation {
        let n = &bench.n;
        let (high, low) = Self::channels(bench, s);
        let ramps = s.on.square + s.off.square + s.high_diode.square + s.low_diode.square;
        let held = self.hold.map_or(Ramped::default(), |(_, held)| held);
        let over = |energy: f64| typed(energy / self.period);
        Dissipation {
            high: over(n.high_resistance * high),
            low: over(n.low_resistance * low),
            winding: over(n.winding * (ramps + held.square)),
            diodes: over(
                n.high_drop * s.high_diode.charge.abs() + n.low_drop * s.low_diode.charge.abs(),
            ),
            clamp: over(n.clamp_resistance * held.square + n.clamp_drop * held.charge),
            turn_on: over(turn_on.coherent()),
        }
    }
}
