//! The steady state against a general-purpose integrator of ordinary
//! differential equations (DOP853 of Hairer, Norsett and Wanner, Solving Ordinary
//! Differential Equations I, as the crate `ode_solvers` has it).
//!
//! The state equations in current and node voltage are written down anew here,
//! with the same conventions: edges without resistance, node held at the output
//! while the clamp conducts. Each stretch is integrated up to its event; the
//! event's own variable then takes the place of time for the last step (Hénon,
//! Physica D 5 (1982), from memory). Two numbers are taken from the steady state,
//! the peak current and the hold; that the cell closes on itself and brings the
//! load's charge shows that they are right.

use ode_solvers::dop_shared::OutputType;
use ode_solvers::{Dop853, System, Vector5};
use slewbook::cycle::{self, State};
use slewbook::quantity::Dimensioned;
use slewbook::scheme::Scheme;

use crate::steady_stage::Case;
use crate::support::Random;

/// Time in nanosecond, node voltage from the output in volt, current in ampere,
/// its integral in nanocoulomb, the integral of its square in A²·ns.
type Y = Vector5<f64>;
const TIME: usize = 0;
const NODE: usize = 1;
const CURRENT: usize = 2;

#[derive(Clone)]
enum Mode {
    /// The node moves freely.
    Free(Box<Case>),
    /// The node is held and the inductor sees a voltage through a resistance.
    Held { drive: f64, resistance: f64 },
}

#[derive(Clone)]
struct Plant {
    mode: Mode,
    /// Inductance in nanohenry.
    inductance: f64,
    /// The variable that runs evenly.
    along: usize,
    /// The stretch ends where a variable passes a value.
    events: Vec<(usize, f64)>,
    before: Y,
}

impl Plant {
    /// A step that sees every kink of the capacitance: else the fast edges would
    /// be taken in one stride across them.
    fn longest_step(&self, y: &Y) -> f64 {
        match &self.mode {
            Mode::Free(case) if self.along == TIME => {
                let part = case.step() / 60.0;
                let least = (0..60)
                    .map(|k| case.node(f64::from(k) * part - case.below()) * 1e-3)
                    .fold(f64::INFINITY, f64::min);
                let impedance = (self.inductance / least).sqrt();
                part * least / (y[CURRENT].abs() + case.step() / impedance)
            }
            Mode::Free(case) => case.step() / 60.0,
            Mode::Held { .. } => f64::INFINITY,
        }
    }

    fn rates(&self, y: &Y) -> Y {
        let i = y[CURRENT];
        let (node, current) = match &self.mode {
            Mode::Free(case) => {
                // Nanofarad: picofarad over a thousand.
                (-i / (case.node(y[NODE]) * 1e-3), y[NODE] / self.inductance)
            }
            Mode::Held { drive, resistance } => (0.0, (drive - resistance * i) / self.inductance),
        };
        Y::new(1.0, node, current, i, i * i)
    }
}

impl System<f64, Y> for Plant {
    fn system(&self, _: f64, y: &Y, dy: &mut Y) {
        let rates = self.rates(y);
        *dy = rates / rates[self.along];
    }

    fn solout(&mut self, _: f64, y: &Y, _: &Y) -> bool {
        let passed = self
            .events
            .iter()
            .any(|(k, value)| passes(&self.before, y, *k, *value));
        self.before = *y;
        passed
    }
}

/// Whether a variable comes to or passes a value; to leave it is not to pass it.
fn passes(before: &Y, after: &Y, variable: usize, value: f64) -> bool {
    let (before, after) = (before[variable] - value, after[variable] - value);
    before != 0.0 && before * after <= 0.0
}

fn integrate(plant: Plant, from: f64, to: f64, y: Y) -> (Y, Y) {
    if from == to {
        return (y, y);
    }
    let tolerance = 1e-12;
    let longest = plant.longest_step(&y).min((to - from).abs());
    let mut solver = Dop853::from_param(
        plant,
        from,
        to,
        0.0,
        y,
        tolerance,
        tolerance,
        0.9,
        0.0,
        0.333,
        6.0,
        longest,
        0.0,
        200_000,
        100_000,
        OutputType::Sparse,
    );
    solver.integrate().unwrap();
    let out = solver.y_out();
    (out[out.len().saturating_sub(2)], out[out.len() - 1])
}

/// Runs a stretch to the first of its events, or for a time at most; the event
/// that ended it, if one did.
fn run(case: &Case, mode: Mode, y: Y, longest: f64, events: &[(usize, f64)]) -> (Y, Option<usize>) {
    let plant = Plant {
        mode,
        inductance: case.circuit.inductance.coherent() * 1e9,
        along: TIME,
        events: events.to_vec(),
        before: y,
    };
    let (before, after) = integrate(plant.clone(), y[TIME], y[TIME] + longest, y);
    let hit = events
        .iter()
        .position(|(k, value)| passes(&before, &after, *k, *value));
    let Some(hit) = hit else {
        return (after, None);
    };
    let (variable, value) = events[hit];
    let last = Plant {
        along: variable,
        events: vec![],
        ..plant
    };
    (
        integrate(last, before[variable], value, before).1,
        Some(hit),
    )
}

/// Where a cell ends that is integrated with the hold and the peak of the steady
/// state: durations in nanosecond, currents, the charge of the stretches that
/// reach the output, the peak it comes back to.
struct Cell {
    durations: [f64; 6],
    currents: [f64; 5],
    charge: f64,
    squares: f64,
    back: f64,
    residual: f64,
    /// Left across the low side when it turns on.
    low_residual: f64,
}

/// The node on its own up to a time, body diodes holding it their drop beyond the levels.
struct Adrift {
    end: Y,
    /// The first arrival at the upper and at the lower level.
    high: Option<Y>,
    low: Option<Y>,
}

impl Adrift {
    fn run(case: &Case, mut y: Y, until: f64) -> Self {
        let c = &case.circuit;
        let (n, m) = (f64::from(c.pairs), f64::from(c.band));
        let (high, low) = (
            c.high.on_resistance.coherent(),
            c.low.on_resistance.coherent(),
        );
        let wire = c.inductor_resistance.coherent();
        let up = (m + 1.0) * high + (n - m - 1.0) * low + wire;
        let down = m * high + (n - m) * low + wire;
        let (a, b) = (case.above(), case.below());
        // A diode without a drop counts as its channel.
        let diode = |level: f64, drop: f64, path: f64, channel: f64| {
            let (drive, resistance) = if drop > 0.0 {
                (level + drop.copysign(level), path - channel)
            } else {
                (level, path)
            };
            Mode::Held { drive, resistance }
        };
        let (mut reached_high, mut reached_low) = (None, None);
        let drops = [c.high.diode_drop, c.low.diode_drop].map(Dimensioned::coherent);
        // The levels come first where one step passes both.
        let places = [a, -b, a + drops[0], -b - drops[1]];
        let events = places.map(|place| (NODE, place));
        while until - y[TIME] > 1e-9 && y[CURRENT] != 0.0 {
            let free = Mode::Free(Box::new(case.clone()));
            let (next, hit) = run(case, free, y, until - y[TIME], &events);
            y = next;
            let Some(hit) = hit else {
                break;
            };
            y[NODE] = places[hit];
            let outwards = y[CURRENT] * y[NODE] < 0.0;
            let arrived = match hit % 2 {
                0 => &mut reached_high,
                _ => &mut reached_low,
            };
            if outwards {
                *arrived = arrived.or(Some(y));
            }
            // Past the level, on to the drop or back from it.
            if hit < 2 && drops[hit] > 0.0 {
                continue;
            }
            // A whisker on the way back.
            let (held, whisker) = match hit % 2 {
                0 => (diode(a, drops[0], up, high), 1e-12),
                _ => (diode(-b, drops[1], down, low), -1e-12),
            };
            let left = until - y[TIME];
            if left <= 0.0 {
                break;
            }
            (y, _) = run(case, held, y, left, &[(CURRENT, 0.0)]);
            if until - y[TIME] > 1e-9 {
                y[CURRENT] = whisker;
            }
        }
        Self {
            end: y,
            high: reached_high,
            low: reached_low,
        }
    }
}

fn integrated(case: &Case, peak: f64, hold: f64, dead: f64) -> Option<Cell> {
    let c = &case.circuit;
    let (n, m) = (f64::from(c.pairs), f64::from(c.band));
    let ohm = |r: slewbook::quantity::Resistance| r.coherent();
    let (high, low, wire) = (
        ohm(c.high.on_resistance),
        ohm(c.low.on_resistance),
        ohm(c.inductor_resistance),
    );
    let ns = |t: slewbook::quantity::Time| t.coherent() * 1e9;
    let (a, b) = (case.above(), case.below());
    let period = ns(c.cell_time());
    let up = (m + 1.0) * high + (n - m - 1.0) * low + wire;
    let down = m * high + (n - m) * low + wire;
    let held = |drive: f64, resistance: f64| Mode::Held { drive, resistance };
    let free = || Mode::Free(Box::new(case.clone()));
    let path = c.freewheel.unwrap();

    let start = Y::new(0.0, a, peak, 0.0, 0.0);
    // Up to the end of the low side's dead time, which then completes the fall at once;
    // where there is none, down to the lower level.
    let (fallen, mut y) = if let Some(time) = c.dead_time_of_fall().map(ns) {
        let adrift = Adrift::run(case, start, time);
        (adrift.low.unwrap_or(adrift.end), adrift.end)
    } else {
        let (fallen, event) = run(case, free(), start, period, &[(NODE, -b)]);
        event?;
        (fallen, fallen)
    };
    let left = y[NODE] + b;
    y[NODE] = -b;
    let trip = c.trip_threshold.coherent();
    let (tripped, event) = run(case, held(-b, down), y, period, &[(CURRENT, -trip)]);
    if y[CURRENT] > -trip {
        event?;
    }
    let (released, _) = run(case, held(-b, down), tripped, ns(c.trip_delay), &[]);
    let (clamped, event) = run(case, free(), released, period, &[(NODE, 0.0)]);
    event?;
    let mut paused = clamped;
    let magnitude = (path.drop.coherent(), path.resistance.coherent());
    // The drop acts against the current until nothing is left.
    // The winding is part of the loop.
    let freewheel = held(magnitude.0, magnitude.1 + wire);
    let (opened, empty) = if magnitude.0 > 0.0 {
        run(case, freewheel, clamped, hold, &[(CURRENT, 0.0)])
    } else {
        run(case, freewheel, clamped, hold, &[])
    };
    paused[CURRENT] = if empty.is_some() {
        0.0
    } else {
        opened[CURRENT]
    };
    paused[TIME] = clamped[TIME] + hold;
    let opened = paused;
    // The rising edge, the high side's diode, and the ring back.
    let fires = opened[TIME] + dead;
    let Adrift {
        end: mut y,
        high: arrival,
        ..
    } = Adrift::run(case, opened, fires);
    // Without current the node rests where the clamp held it.
    y[TIME] = fires;
    let fired = y;
    let arrived = arrival.unwrap_or(fired);
    let (end, _) = run(case, held(a, up), fired, period - fired[TIME], &[]);
    Some(Cell {
        durations: [
            fallen[TIME],
            tripped[TIME] + ns(c.trip_delay) - fallen[TIME],
            clamped[TIME] - released[TIME],
            hold,
            arrived[TIME] - opened[TIME],
            period - arrived[TIME],
        ],
        currents: [
            fallen[CURRENT],
            -released[CURRENT],
            -clamped[CURRENT],
            -opened[CURRENT],
            -arrived[CURRENT],
        ],
        charge: clamped[3] + end[3] - opened[3],
        squares: clamped[4] + end[4] - opened[4],
        back: end[CURRENT],
        // Beyond its level nothing is left across a side.
        residual: (a - fired[NODE]).max(0.0),
        low_residual: left.max(0.0),
    })
}

#[test]
fn a_thousand_random_cells_agree_with_an_ode_integrator() {
    let mut random = Random(20_260);
    let (mut compared, mut early, mut states) = (0, 0, [0; 7]);
    let mut worst = [0.0_f64; 5];
    while compared < 1000 {
        let mut case = Case::new(&mut random, Scheme::FreewheelTransistors);
        if random.below(2) == 0 {
            let time = random.decades(1e-10, 2e-7);
            case.circuit.low_dead_time = Some(slewbook::quantity::Time::from_coherent(time));
        }
        let steady = cycle::steady_state(&case.circuit, case.at).unwrap();
        states[State::ALL.iter().position(|s| *s == steady.state).unwrap()] += 1;
        let Some(course) = steady
            .course
            .filter(|_| steady.state != State::IncompleteFall)
        else {
            continue;
        };
        let si = |q: f64| q * 1e9;
        let hold = course.hold.unwrap().duration.coherent();
        let peak = course.peak_current.coherent();
        let cell = integrated(&case, peak, si(hold), si(course.dead_time.coherent()))
            .unwrap_or_else(|| panic!("{case:?} has no such cell, but {steady:?}"));
        let period = si(course.cell_time.coherent());
        let durations = [
            course.fall.duration,
            course.release.duration,
            course.partial_rise.unwrap().duration,
            course.hold.unwrap().duration,
            course.rise.duration,
            course.on_time,
        ];
        let near_floor = (course.margin.coherent() - 1.0).abs() < 0.01;
        let mut note = |k: usize, error: f64, allowed: f64| {
            worst[k] = worst[k].max(error / allowed);
            assert!(
                error <= allowed,
                "{k}: {error} over {allowed}; integrated {:?} {:?}, found {durations:?}, {case:?} \
                 {steady:?}",
                cell.durations,
                cell.currents
            );
        };
        for (k, (found, expected)) in durations.into_iter().zip(cell.durations).enumerate() {
            if near_floor && k >= 4 {
                continue;
            }
            note(0, (si(found.coherent()) - expected).abs(), 1e-6 * period);
        }
        let currents = [
            course.fall.end_current,
            steady.release_current.unwrap(),
            steady.clamp_on_current.unwrap(),
            course.freewheel_current.unwrap(),
            course.residual_current,
        ];
        for (k, (found, expected)) in currents.into_iter().zip(cell.currents).enumerate() {
            if near_floor && k == 4 {
                continue;
            }
            note(1, (found.coherent() - expected).abs(), 1e-6 * peak);
        }
        note(2, (cell.back - peak).abs(), 1e-6 * peak);
        let charge = case.at.output_current.coherent() * period;
        note(3, (cell.charge - charge).abs(), 1e-6 * charge);
        let voltage = course.turn_on.voltage.coherent();
        let allowed = if near_floor { 1e-4 } else { 1e-6 };
        note(4, (voltage - cell.residual).abs(), allowed * case.step());
        let low = course.low_turn_on.voltage.coherent();
        note(4, (low - cell.low_residual).abs(), 1e-6 * case.step());
        let inductor = course.paths.inductor.rms.coherent().powi(2)
            - course.paths.clamp.unwrap().rms.coherent().powi(2);
        note(
            3,
            (inductor * period - cell.squares).abs(),
            1e-6 * cell.squares,
        );
        early += usize::from(course.low_turn_on.voltage.coherent() > 0.0);
        compared += 1;
    }
    println!(
        "{early} turn-ons of the low side before the node's arrival; states {states:?}; worst over allowed: {worst:?}"
    );
    assert!(early > 50, "{early}");
    assert!(states[..3].iter().all(|count| *count > 20), "{states:?}");
}
