//! Ripples, rms values, the clamp's voltage and the release path against a switched leg that is
//! marched in time, step by step: ideal transistors, a constant node capacitance,
//! the inductor, the clamp's resistance. It shares no formula with the library.

use slewbook::equation::Term;
use slewbook::loss::conduction;
use slewbook::quantity::{Capacitance, Current, Dimensioned, Inductance, Ratio, Voltage};
use slewbook::stage::{Specification, Stage};
use slewbook::{cycle, limit};

use crate::support::specification_with;

/// A stage of invented numbers.
#[derive(Clone, Copy)]
struct Leg {
    levels: u32,
    input: f64,
    output: f64,
    current: f64,
    inductance: f64,
    capacitance: f64,
    clamp: f64,
    /// Switching period over the pairs.
    cell: f64,
    /// Magnitude of the current at which the low side is released.
    released: f64,
}

/// The lowest, the highest and a middle band, and two levels.
const LEGS: [Leg; 4] = [
    Leg {
        levels: 3,
        input: 36.0,
        output: 6.0,
        current: 6.0,
        inductance: 0.68e-6,
        capacitance: 600e-12,
        clamp: 12e-3,
        cell: 1.0 / 280e3,
        released: 0.6,
    },
    Leg {
        levels: 3,
        input: 44.0,
        output: 30.0,
        current: 6.0,
        inductance: 0.68e-6,
        capacitance: 600e-12,
        clamp: 12e-3,
        cell: 1.0 / 280e3,
        released: 0.6,
    },
    Leg {
        levels: 4,
        input: 45.0,
        output: 23.0,
        current: 4.0,
        inductance: 0.4e-6,
        capacitance: 500e-12,
        clamp: 10e-3,
        cell: 1.0 / 450e3,
        released: 0.7,
    },
    Leg {
        levels: 2,
        input: 12.0,
        output: 5.0,
        current: 3.0,
        inductance: 1.2e-6,
        capacitance: 400e-12,
        clamp: 15e-3,
        cell: 1.0 / 200e3,
        released: 0.3,
    },
];

/// One instant: node voltage, inductor current, and the currents that leave the node
/// and reach the output, each to be held until the next instant.
#[derive(Clone, Copy)]
struct Instant {
    time: f64,
    node: f64,
    current: f64,
    /// Whether the clamp conducts: the current then circulates through it.
    freewheel: bool,
    /// Whether the firing pair's high side conducts, and the ending pair's.
    fired: bool,
    ended: bool,
}

/// What ends an interval.
enum End {
    Node(f64),
    Current(f64),
    Time(f64),
}

impl Leg {
    fn pairs(&self) -> u32 {
        self.levels - 1
    }

    fn band(&self) -> u32 {
        let step = self.input / f64::from(self.pairs());
        (0..self.pairs())
            .rfind(|k| f64::from(*k) * step <= self.output)
            .unwrap()
    }

    fn level(&self, k: u32) -> f64 {
        f64::from(k) * self.input / f64::from(self.pairs())
    }

    /// Marches one interval: on an edge the node floats, on a ramp it is held, in the
    /// freewheel the clamp's resistance alone acts.
    fn march(&self, trace: &mut Vec<Instant>, step: f64, end: &End, marks: (bool, bool, bool)) {
        let (freewheel, fired, ended) = marks;
        let mut now = *trace.last().unwrap();
        (now.freewheel, now.fired, now.ended) = marks;
        trace.push(now);
        let edge = matches!(end, End::Node(_));
        let slope = |node: f64, current: f64| {
            if freewheel {
                (0.0, -self.clamp * current / self.inductance)
            } else {
                let node_slope = if edge {
                    -current / self.capacitance
                } else {
                    0.0
                };
                (node_slope, (node - self.output) / self.inductance)
            }
        };
        // Runge and Kutta's rule of fourth order.
        let advance = |from: Instant, h: f64| {
            let (u, i) = (from.node, from.current);
            let a = slope(u, i);
            let b = slope(u + h / 2.0 * a.0, i + h / 2.0 * a.1);
            let c = slope(u + h / 2.0 * b.0, i + h / 2.0 * b.1);
            let d = slope(u + h * c.0, i + h * c.1);
            Instant {
                time: from.time + h,
                node: u + h / 6.0 * (a.0 + 2.0 * b.0 + 2.0 * c.0 + d.0),
                current: i + h / 6.0 * (a.1 + 2.0 * b.1 + 2.0 * c.1 + d.1),
                freewheel,
                fired,
                ended,
            }
        };
        let rest = |at: &Instant| match end {
            End::Node(level) => level - at.node,
            End::Current(level) => level - at.current,
            End::Time(time) => time - at.time,
        };
        if matches!(end, End::Time(time) if now.time >= *time) {
            return;
        }
        let sign = rest(&now).signum();
        loop {
            let next = advance(now, step);
            if rest(&next) * sign <= 0.0 {
                // The instant of the end, by bisection of the last step.
                let (mut low, mut high) = (0.0, step);
                for _ in 0..60 {
                    let middle = f64::midpoint(low, high);
                    if rest(&advance(now, middle)) * sign > 0.0 {
                        low = middle;
                    } else {
                        high = middle;
                    }
                }
                trace.push(advance(now, high));
                return;
            }
            trace.push(next);
            now = next;
            assert!(trace.len() < 2_000_000, "the interval does not end");
        }
    }

    /// One cell from the clamp's opening at a freewheel current, with a peak current.
    fn cell_from(&self, held: f64, peak: f64) -> Vec<Instant> {
        let (low, high) = (self.level(self.band()), self.level(self.band() + 1));
        let (edge, ramp) = (2e-11, self.cell / 2000.0);
        let mut trace = vec![Instant {
            time: 0.0,
            node: self.output,
            current: -held,
            freewheel: false,
            fired: false,
            ended: true,
        }];
        self.march(&mut trace, edge, &End::Node(high), (false, false, true));
        self.march(&mut trace, ramp, &End::Current(peak), (false, true, true));
        self.march(&mut trace, edge, &End::Node(low), (false, true, false));
        self.march(
            &mut trace,
            ramp,
            &End::Current(-self.released),
            (false, true, false),
        );
        self.march(
            &mut trace,
            edge,
            &End::Node(self.output),
            (false, true, false),
        );
        self.march(&mut trace, ramp, &End::Time(self.cell), (true, true, false));
        trace
    }

    /// The cell that repeats itself and carries the output current.
    fn steady(&self) -> Vec<Instant> {
        let mut held = self.released;
        let (mut low, mut high) = (self.current, 8.0 * self.current);
        let mut trace = Vec::new();
        for _ in 0..40 {
            let peak = f64::midpoint(low, high);
            trace = self.cell_from(held, peak);
            held = -trace.last().unwrap().current;
            let charge: f64 = integral(&trace, Self::to_output);
            if charge < self.current * self.cell {
                low = peak;
            } else {
                high = peak;
            }
        }
        trace
    }

    /// Which high sides conduct in a cell: the ones that fired in the `band` cells
    /// before it, and the one that fires in it, until the first of them ends.
    fn high_side_conducts(&self, pair: u32, cell: u32, at: &Instant) -> bool {
        let (pairs, band) = (self.pairs(), self.band());
        let ago = (cell % pairs + pairs - pair) % pairs;
        if ago == 0 && band == 0 {
            at.fired && at.ended
        } else if ago == 0 {
            at.fired
        } else if ago == band {
            at.ended
        } else {
            ago < band
        }
    }

    fn to_output(at: &Instant) -> f64 {
        if at.freewheel { 0.0 } else { at.current }
    }

    fn stage(&self) -> Stage {
        let quoted = |value: f64, unit: &str| format!("\"{value:e} {unit}\"");
        let nothing = "{ constant = \"0 pF\" }";
        let frequency = 1.0 / (self.cell * f64::from(self.pairs()));
        let text = specification_with(&[
            ("stage.levels", &self.levels.to_string()),
            ("input.voltage", &quoted(self.input, "V")),
            ("output.voltage", &quoted(self.output, "V")),
            ("output.current", &quoted(self.current, "A")),
            ("stage.switching_frequency", &quoted(frequency, "Hz")),
            ("stage.node_capacitance", &quoted(self.capacitance, "F")),
            ("clamp.resistance", &quoted(self.clamp, "ohm")),
            ("clamp.output_capacitance", nothing),
            ("transistors.high.output_capacitance", nothing),
            ("transistors.low.output_capacitance", nothing),
            ("trip.delay", "\"0 ns\""),
            ("transistors.high.on_resistance", "\"7 mohm\""),
        ]);
        let specification = Specification::read(&text).unwrap();
        let inductance = Inductance::from_coherent(self.inductance);
        Stage::new(specification, inductance, "test")
    }

    fn trip(&self) -> Term<Current> {
        Term::input(
            "I_set",
            "trip threshold",
            Current::from_coherent(self.released),
        )
    }
}

fn integral(trace: &[Instant], current: impl Fn(&Instant) -> f64) -> f64 {
    let pieces = trace.windows(2).map(|pair| {
        // The marks of an interval are those of its later instant.
        let mut before = pair[0];
        (before.freewheel, before.fired, before.ended) =
            (pair[1].freewheel, pair[1].fired, pair[1].ended);
        let mean = f64::midpoint(current(&before), current(&pair[1]));
        mean * (pair[1].time - pair[0].time)
    });
    pieces.sum()
}

/// The greatest less the least of the running integral.
fn swing(pieces: impl Iterator<Item = f64>) -> f64 {
    let (mut sum, mut low, mut high) = (0.0, 0.0_f64, 0.0_f64);
    for piece in pieces {
        sum += piece;
        (low, high) = (low.min(sum), high.max(sum));
    }
    high - low
}

fn near(found: f64, expected: f64, part: f64, what: &str) {
    assert!(
        (found / expected - 1.0).abs() < part,
        "{what}: {found:e} against {expected:e}"
    );
}

/// What the formulas leave out of a charge, as a part of it: the node's own charge on
/// the edges and the small reversal of the current.
const LEFT_OUT: f64 = 0.005;

#[test]
fn the_output_capacitor_takes_the_charge_above_the_output_current() {
    for leg in LEGS {
        let trace = leg.steady();
        let stage = leg.stage();
        let (cell, trip) = (cycle::cell(&stage, leg.trip()), leg.trip());
        // At turn-off: the current still rises while the node falls to the output.
        let turned_off = trace.iter().rfind(|at| at.fired && at.ended).unwrap();
        let peak = turned_off.current;
        near(
            cell.peak_current.value().unwrap().coherent(),
            peak,
            1e-4,
            "peak current",
        );
        let pieces = trace.windows(2).map(|pair| {
            let piece = integral(pair, Leg::to_output);
            piece - leg.current * (pair[1].time - pair[0].time)
        });
        let charge = swing(pieces);
        let farad = 47e-6;
        let capacitance = Term::input("C_out", "capacitance", Capacitance::from_coherent(farad));
        let ripple = limit::output_ripple(&stage, trip, capacitance)
            .value()
            .unwrap();
        near(ripple.coherent(), charge / farad, LEFT_OUT, "output ripple");
        let allowed = 0.08;
        let volts = Term::input("d_out", "ripple", Voltage::from_coherent(allowed));
        let needed = limit::output_capacitance_needed(&stage, trip, volts)
            .value()
            .unwrap();
        near(
            needed.coherent(),
            charge / allowed,
            LEFT_OUT,
            "output capacitance",
        );
    }
}

#[test]
fn a_flying_capacitor_takes_the_charge_of_its_dwell() {
    for leg in LEGS.into_iter().filter(|leg| leg.levels > 2) {
        let trace = leg.steady();
        let (pairs, band) = (leg.pairs(), leg.band());
        let mut largest: f64 = 0.0;
        for capacitor in 0..pairs - 1 {
            // Two periods, so that the swing is seen whole wherever it starts.
            let pieces = (0..2 * pairs).flat_map(|cell| {
                let trace = &trace;
                trace.windows(2).map(move |pair| {
                    integral(pair, |at| {
                        let state =
                            |k: u32| f64::from(u8::from(leg.high_side_conducts(k, cell, at)));
                        (state(capacitor + 1) - state(capacitor)) * Leg::to_output(at)
                    })
                })
            });
            largest = largest.max(swing(pieces));
        }
        let stage = leg.stage();
        let farad = 10e-6;
        let capacitance = Term::input("C_fly", "capacitance", Capacitance::from_coherent(farad));
        let ripple = limit::flying_ripple(&stage, leg.trip(), capacitance).unwrap();
        let what = format!("flying ripple, band {band} of {pairs}");
        near(
            ripple.value().unwrap().coherent(),
            largest / farad,
            LEFT_OUT,
            &what,
        );
        let part: Term<Ratio> = Term::input("d_fly", "ripple, of the step", 0.04.into());
        let needed = limit::flying_capacitance_needed(&stage, leg.trip(), part).unwrap();
        let step = leg.input / f64::from(pairs);
        let expected = largest / (0.04 * step);
        near(
            needed.value().unwrap().coherent(),
            expected,
            LEFT_OUT,
            "flying capacitance",
        );
    }
}

#[test]
fn the_clamp_blocks_what_the_node_leaves_across_it() {
    for leg in LEGS {
        let across = leg
            .steady()
            .iter()
            .map(|at| (at.node - leg.output).abs())
            .fold(0.0, f64::max);
        let blocked = limit::clamp_blocking(&leg.stage()).value().unwrap();
        near(blocked.coherent(), across, 1e-9, "voltage across the clamp");
    }
}

#[test]
fn the_release_path_settles_at_its_largest_current() {
    for leg in LEGS {
        // The specification's channels, in series by the state of each pair.
        let (high, low) = (7e-3, 4e-3);
        let path: f64 = (0..leg.pairs())
            .map(|pair| if pair < leg.band() { high } else { low })
            .sum();
        let below = leg.output - leg.level(leg.band());
        // L di/dt = -below - path i, by the trapezoidal rule over 30 time constants.
        let step = leg.inductance / path / 100.0;
        let mut current = 0.0;
        for _ in 0..3000 {
            let half = step * path / (2.0 * leg.inductance);
            current = ((1.0 - half) * current - step * below / leg.inductance) / (1.0 + half);
        }
        let largest = limit::release_path_current(&leg.stage())
            .unwrap()
            .value()
            .unwrap();
        near(largest.coherent(), -current, 1e-9, "release path");
    }
}

/// The square of each path's current, summed over the cells of a period. The
/// transistors' formulas leave the edges out; the inductor's does not.
#[test]
fn the_rms_values_are_those_of_the_marched_currents() {
    for leg in LEGS {
        let trace = leg.steady();
        let (stage, trip, pairs) = (leg.stage(), leg.trip(), leg.pairs());
        let square = |at: &Instant| at.current * at.current;
        let over = |conducts: &dyn Fn(&Instant) -> bool, edges: bool| -> f64 {
            let pieces = trace.windows(2);
            // On a ramp the node is held.
            pieces
                .filter(|pair| edges || pair[0].node == pair[1].node)
                .map(|pair| integral(pair, |at| if conducts(at) { square(at) } else { 0.0 }))
                .sum()
        };
        let period = f64::from(pairs) * leg.cell;
        let high = |pair: u32| -> f64 {
            let cells = 0..pairs;
            cells
                .map(|cell| {
                    let on = |at: &Instant| !at.freewheel && leg.high_side_conducts(pair, cell, at);
                    over(&on, false)
                })
                .sum()
        };
        let ramps = f64::from(pairs) * over(&|at| !at.freewheel, false);
        let what = |path: &str| format!("{path}, band {} of {pairs}", leg.band());
        for (rms, square, path) in [
            (
                conduction::inductor_rms(&stage, trip),
                over(&|_| true, true) / leg.cell,
                "inductor",
            ),
            (
                conduction::clamp_rms(&stage, trip),
                over(&|at| at.freewheel, true) / leg.cell,
                "clamp",
            ),
            (
                conduction::high_side_rms(&stage, trip),
                high(0) / period,
                "high side",
            ),
            (
                conduction::low_side_rms(&stage, trip),
                (ramps - high(0)) / period,
                "low side",
            ),
        ] {
            let found = rms.value().unwrap().coherent();
            near(found, square.sqrt(), 1e-3, &what(path));
        }
        // Every pair takes its turn.
        for pair in 1..pairs {
            near(high(pair), high(0), 1e-12, &what("the pairs"));
        }
    }
}
