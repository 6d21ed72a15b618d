//! What flows on every path and what is lost there, for every scheme on random
//! stages: against sums over the waveforms, by Simpson's rule. Which transistors
//! and capacitors carry the current follows from the states of the pairs.

use slewbook::cycle::{Course, Path, Solver, State, SteadyState, Waveform};
use slewbook::quantity::{Capacitance, Dimensioned};
use slewbook::scheme::Scheme;
use slewbook::stage::{Circuit, Switch};

use crate::steady_stage::{Case, amperes};
use crate::support::Random;

fn si<Q: Dimensioned>(quantity: Q) -> f64 {
    quantity.coherent()
}

/// Duration, charge and squared current of some parts of a cell.
#[derive(Clone, Copy, Default)]
struct Sum {
    time: f64,
    charge: f64,
    square: f64,
}

impl Sum {
    fn add(&mut self, time: f64, [a, middle, b]: [f64; 3]) {
        self.time += time;
        self.charge += time * (a + 4.0 * middle + b) / 6.0;
        self.square += time * (a * a + 4.0 * middle * middle + b * b) / 6.0;
    }

    fn and(self, other: Self) -> Self {
        Self {
            time: self.time + other.time,
            charge: self.charge + other.charge,
            square: self.square + other.square,
        }
    }

    fn times(self, factor: f64) -> Self {
        Self {
            time: factor * self.time,
            charge: factor * self.charge,
            square: factor * self.square,
        }
    }
}

/// A cell by where its current flows.
#[derive(Default)]
struct Parts {
    /// The node at the upper level, by the high side's channel and by its diode.
    up: Sum,
    up_diode: Sum,
    /// The node at the lower level.
    down: Sum,
    down_diode: Sum,
    held: Sum,
    edges: Sum,
    /// The most in a piece of an edge, or in one where the current stops: what may be
    /// counted to a neighbour.
    unseen: Sum,
}

fn parts(case: &Case, waveform: &Waveform) -> Parts {
    let values = |name| waveform.table.column(name).unwrap().values();
    let (time, node, current) = (
        values("time"),
        values("node_voltage"),
        values("inductor_current"),
    );
    let [high, low, clamp] = ["high_gate", "low_gate", "clamp_gate"].map(values);
    let output = si(case.at.output_voltage);
    let at = |k: usize, level: f64| (node[k] - output - level).abs() < 1e-9 * case.step();
    // A diode with a drop holds the node that far beyond the level.
    let [up, down] = [case.circuit.high, case.circuit.low].map(|side| si(side.diode_drop));
    let mut parts = Parts::default();
    // Every stretch has an even number of equal pieces.
    let mut k = 0;
    while k + 2 < time.len() {
        // From the end of one to the start of the next.
        if time[k + 1] - time[k] < 1e-6 * (time[k + 2] - time[k]) || time[k + 1] == time[k] {
            k += 1;
            continue;
        }
        let all = |level: f64| (k..=k + 2).all(|k| at(k, level));
        let part = if clamp[k] == 1.0 {
            &mut parts.held
        } else if all(case.above()) && high[k] == 1.0 {
            &mut parts.up
        } else if high[k] == 0.0 && all(case.above() + up) {
            &mut parts.up_diode
        } else if all(-case.below()) && low[k] == 1.0 {
            &mut parts.down
        } else if low[k] == 0.0 && all(-case.below() - down) {
            &mut parts.down_diode
        } else {
            &mut parts.edges
        };
        let piece = time[k + 2] - time[k];
        let currents = [current[k], current[k + 1], current[k + 2]];
        part.add(piece, currents);
        let held = (node[k] - node[k + 2]).abs() < 1e-9 * case.step();
        if !held || (currents[2] == 0.0 && currents[0] != 0.0) {
            let most = currents[0].abs().max(currents[2].abs());
            let unseen = &mut parts.unseen;
            unseen.time = unseen.time.max(piece);
            unseen.charge = unseen.charge.max(piece * most);
            unseen.square = unseen.square.max(piece * most * most);
        }
        k += 2;
    }
    parts
}

/// How often a pair's high side conducts while the node is up, and while it is
/// down, over as many cells as there are pairs; and how often the two pairs at a
/// flying capacitor differ.
struct Turns {
    high: [f64; 2],
    flying: [f64; 2],
}

fn turns(pairs: usize, band: usize) -> Turns {
    // In a cell the pair that fires has joined those before it; at the fall the
    // one that has conducted longest leaves.
    let on = |pair: usize, cell: usize, up: bool| {
        let age = (cell + pairs - pair) % pairs;
        age < band || (up && age == band)
    };
    let count = |which: &dyn Fn(usize, bool) -> bool| {
        [true, false].map(|up| {
            (0..pairs)
                .filter(|cell| which(*cell, up))
                .fold(0.0, |sum, _| sum + 1.0)
        })
    };
    Turns {
        high: count(&|cell, up| on(0, cell, up)),
        flying: count(&|cell, up| on(1 % pairs, cell, up) != on(0, cell, up)),
    }
}

/// Compares numbers; `what` is said where two differ.
struct Checked {
    what: String,
}

impl Checked {
    fn near(&self, name: &str, found: f64, expected: f64, allowed: f64) {
        assert!(
            (found - expected).abs() <= allowed,
            "{name}: {found:e} against {expected:e}, {allowed:e} allowed; {}",
            self.what
        );
    }

    /// A path whose charge is that of `flow` and whose squared current is that of
    /// `channel`.
    fn path(&self, name: &str, path: Path, flow: Sum, channel: Sum, period: f64, allowed: Sum) {
        let mean = flow.charge / period;
        let square = channel.square / period;
        self.near(name, si(path.charge), flow.charge, allowed.charge);
        self.near(name, si(path.average), mean, allowed.charge / period);
        self.near(name, si(path.rms).powi(2), square, allowed.square / period);
    }
}

/// Where the current of a pair's channels and diodes flows, over as many cells as
/// there are pairs; a diode without a drop counts as its channel.
struct Pair {
    high: Sum,
    low: Sum,
    high_diode: Sum,
    low_diode: Sum,
    flying: Sum,
}

impl Pair {
    fn new(circuit: &Circuit, parts: &Parts) -> Self {
        let n = f64::from(circuit.pairs);
        let turns = turns(circuit.pairs.into(), circuit.band.into());
        let [in_up, in_down] = turns.high;
        let (up, down) = (
            parts.up.and(parts.up_diode),
            parts.down.and(parts.down_diode),
        );
        let drop = |switch: &Switch, diode: Sum| {
            let part = f64::from(u8::from(si(switch.diode_drop) > 0.0));
            diode.times(part)
        };
        let high_diode = drop(&circuit.high, parts.up_diode);
        let low_diode = drop(&circuit.low, parts.down_diode);
        Self {
            high: up
                .times(in_up)
                .and(down.times(in_down))
                .and(high_diode.times(-1.0)),
            low: up
                .times(n - in_up)
                .and(down.times(n - in_down))
                .and(low_diode.times(-1.0)),
            high_diode,
            low_diode,
            flying: up.times(turns.flying[0]).and(down.times(turns.flying[1])),
        }
    }
}

fn check(case: &Case, steady: &SteadyState, course: &Course, waveform: &Waveform) {
    let c = &case.circuit;
    let n = f64::from(c.pairs);
    let cell = si(course.cell_time);
    let long = n * cell;
    let parts = parts(case, waveform);
    let pair = Pair::new(c, &parts);
    let checked = Checked {
        what: format!("{case:?} {steady:?}"),
    };
    let ramps = [parts.up, parts.up_diode, parts.down, parts.down_diode];
    let ramps = ramps.into_iter().fold(Sum::default(), Sum::and);
    let outside = ramps.and(parts.edges);
    let whole = outside.and(parts.held);

    // An edge's charge is no current of a channel.
    let node = case.node(0.0).max(case.node(case.above())) * 1e-12;
    let peak = si(course.peak_current);
    // A piece where a diode takes over and one where it ends, on either edge.
    let stretch = |sum: Sum| Sum {
        time: 1e-6 * cell + 4.0 * parts.unseen.time,
        charge: 1e-3 * sum.charge.abs() + 4.0 * parts.unseen.charge,
        square: 1e-3 * sum.square + 4.0 * parts.unseen.square,
    };
    let all = Sum {
        charge: 2e-3 * peak * cell + 2.0 * parts.unseen.charge + 2.0 * case.step() * node,
        ..stretch(whole)
    };

    let paths = &course.paths;
    let (high, low) = (pair.high.and(pair.high_diode), pair.low.and(pair.low_diode));
    checked.path("inductor", paths.inductor, whole, whole, cell, all);
    checked.path("high", paths.high, high, pair.high, long, all.times(n));
    checked.path("low", paths.low, low, pair.low, long, all.times(n));
    for (name, path, sum) in [
        ("high diode", paths.high_diode, pair.high_diode),
        ("low diode", paths.low_diode, pair.low_diode),
    ] {
        checked.path(name, path, sum, sum, long, stretch(sum));
    }
    assert_eq!(paths.clamp.is_some(), course.hold.is_some());
    // Outside magnitudes.
    let clamp = Sum {
        charge: -parts.held.charge,
        ..parts.held
    };
    if let Some(path) = paths.clamp {
        checked.path("clamp", path, clamp, clamp, cell, stretch(clamp));
    }
    assert_eq!(paths.flying.is_some(), c.pairs > 1);
    if let Some(flying) = paths.flying {
        // Once one way, once the other.
        let charge = pair.flying.charge.abs() / 2.0;
        let square = pair.flying.square / long;
        let ripple = si(flying.ripple.unwrap()) * si(c.flying_capacitance.unwrap());
        checked.near("flying", si(flying.charge), charge, all.charge);
        checked.near("flying", ripple, charge, all.charge);
        checked.near("flying", si(flying.rms).powi(2), square, all.square / cell);
    }
    let load = si(case.at.output_current);
    let square = (outside.square / cell - load * load).max(0.0);
    let rms = si(paths.output.rms);
    checked.near("output", rms * rms, square, all.square / cell);

    let times = stretch(whole).time;
    let (up, down) = (parts.up_diode.time, pair.low_diode.time);
    checked.near("high diode", si(paths.high_diode_time), up, times);
    checked.near("low diode", si(paths.low_diode_time), down, times);
    checked.near("gate", si(course.gate_on_time), parts.up.time, times);
    let on = f64::from(c.band) * cell + parts.up.time;
    checked.near("duty", si(course.duty), on / long, times / long);

    let input = high.charge / long;
    checked.near("input", si(course.input_current), input, all.charge / cell);
    checked.near("load", si(course.average_current), load, 1e-6 * load);
    let lost = &course.dissipation;
    let ohm = [
        c.high.on_resistance,
        c.low.on_resistance,
        c.inductor_resistance,
    ]
    .map(si);
    let volts = [c.high.diode_drop, c.low.diode_drop].map(si);
    let diodes = volts[0] * pair.high_diode.charge.abs() + volts[1] * pair.low_diode.charge.abs();
    let clamp = c.freewheel.map_or(0.0, |path| {
        si(path.resistance) * clamp.square + si(path.drop) * clamp.charge
    });
    for (name, found, energy, scale) in [
        (
            "high",
            lost.high,
            ohm[0] * pair.high.square,
            ohm[0] * n * all.square,
        ),
        (
            "low",
            lost.low,
            ohm[1] * pair.low.square,
            ohm[1] * n * all.square,
        ),
        (
            "winding",
            lost.winding,
            ohm[2] * ramps.and(parts.held).square,
            ohm[2] * all.square,
        ),
        (
            "diodes",
            lost.diodes,
            diodes,
            (volts[0] + volts[1]) * stretch(whole).charge,
        ),
        ("clamp", lost.clamp, clamp, 1e-2 * clamp),
    ] {
        checked.near(name, si(found), energy / cell, scale / cell);
    }
    if let Some(start) = course.freewheel_current {
        let (floor, start) = (case.floor(), si(start));
        checked.near("floor", si(steady.floor), floor, 2e-3 * floor);
        checked.near(
            "margin",
            si(course.margin),
            start / floor,
            2e-3 * start / floor,
        );
    }
}

/// Checks the cell of a case, if it has one in a state that is wanted.
fn checked(case: &Case, wanted: impl Fn(State) -> bool) -> bool {
    let mut solver = Solver::new(&case.circuit).unwrap();
    let (steady, waveform) = solver.waveform(case.at).unwrap();
    let (Some(course), Some(waveform)) = (&steady.course, &waveform) else {
        return false;
    };
    let wanted = wanted(steady.state);
    if wanted {
        check(case, &steady, course, waveform);
    }
    wanted
}

#[test]
fn every_path_carries_what_the_waveforms_show() {
    let mut random = Random(4_711);
    for scheme in Scheme::ALL {
        let mut cells = 0;
        while cells < 60 {
            let mut case = Case::new(&mut random, scheme);
            case.circuit.flying_capacitance = Some(Capacitance::from_coherent(10e-6));
            cells += i32::from(checked(&case, |_| true));
        }
    }
    // Little load, and a clamp that takes all current: the node does not fall to its
    // lower level.
    let mut cells = 0;
    while cells < 60 {
        let mut case = Case::new(&mut random, Scheme::FreewheelDiode);
        case.circuit.flying_capacitance = Some(Capacitance::from_coherent(10e-6));
        case.circuit.trip_threshold = amperes(0.0);
        case.at.output_current *= random.decades(1e-4, 1e-1);
        cells += i32::from(checked(&case, |state| state == State::IncompleteFall));
    }
}
