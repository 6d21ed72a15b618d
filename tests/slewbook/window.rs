//! The windows of the dead times of a running cell: check figures, and the node's
//! differential equations marched in time, by a method that the library does not use,
//! from the start of the edge over the body diode's drop and back to the level.

#![expect(clippy::cast_precision_loss, reason = "numbers of steps are small")]

use slewbook::cycle::{Course, Solver};
use slewbook::equation::Curve;
use slewbook::quantity::unit::{ampere, kHz, mohm, pF, uH, volt};
use slewbook::quantity::{Capacitance, Current, Dimensioned, Resistance, Voltage};
use slewbook::scheme::Scheme;
use slewbook::stage::{Circuit, DEMONSTRATION, OperatingPoint, Specification, Switch};

use crate::support::{Random, without_part_data};

/// A capacitance against voltage: points joined by lines, the ends carried on.
#[derive(Clone)]
struct Table(Vec<(f64, f64)>);

impl Table {
    fn at(&self, voltage: f64) -> f64 {
        let points = &self.0;
        if voltage <= points[0].0 {
            return points[0].1;
        }
        for pair in points.windows(2) {
            let [(v0, c0), (v1, c1)] = [pair[0], pair[1]];
            if voltage <= v1 {
                return c0 + (c1 - c0) * (voltage - v0) / (v1 - v0);
            }
        }
        points[points.len() - 1].1
    }

    fn curve(&self) -> &'static Curve {
        let typed: Vec<(Voltage, Capacitance)> = self
            .0
            .iter()
            .map(|(v, c)| (Voltage::from_coherent(*v), Capacitance::from_coherent(*c)))
            .collect();
        let curve = match &typed[..] {
            [(_, only)] => Curve::constant("C", *only),
            _ => Curve::table("C", &typed),
        };
        Box::leak(Box::new(curve.unwrap()))
    }
}

/// Numbers from 0 to 1.
fn unit(random: &mut Random) -> f64 {
    random.below(1 << 20) as f64 / f64::from(1 << 20)
}

fn between(random: &mut Random, low: f64, high: f64) -> f64 {
    low + (high - low) * unit(random)
}

/// A capacitance of about a size: constant, or a table that falls steeply and then
/// slowly, as those of transistors do.
fn table(random: &mut Random, size: f64, step: f64) -> Table {
    if random.below(2) == 0 {
        return Table(vec![(0.0, size)]);
    }
    let mut points = vec![(0.0, size * between(random, 2.0, 5.0))];
    for part in [0.02, 0.08, 0.25, 0.6, 1.1] {
        let (v, c) = points[points.len() - 1];
        let next = part * step * between(random, 0.8, 1.2);
        if next > v {
            points.push((next, c * between(random, 0.5, 0.95)));
        }
    }
    Table(points)
}

/// The node with its capacitances between its levels.
struct Node {
    low: Table,
    high: Table,
    clamp: Table,
    constant: f64,
    inductance: f64,
    lower: f64,
    upper: f64,
    output: f64,
}

/// Node voltage and current towards the output.
type State = [f64; 2];

/// Seconds of a step: its error is below a thousandth of the step itself.
const STEP: f64 = 2e-12;
/// Steps after which an edge counts as lost.
const MOST: usize = 2_000_000;

impl Node {
    fn rate(&self, [node, current]: State) -> State {
        let capacitance = self.low.at(node - self.lower)
            + self.high.at(self.upper - node)
            + self.clamp.at((node - self.output).abs())
            + self.constant;
        [
            -current / capacitance,
            (node - self.output) / self.inductance,
        ]
    }

    /// Runge and Kutta's classical step of fourth order.
    fn step(&self, from: State, time: f64) -> State {
        let on = |rate: State, part: f64| {
            [
                from[0] + part * time * rate[0],
                from[1] + part * time * rate[1],
            ]
        };
        let first = self.rate(from);
        let second = self.rate(on(first, 0.5));
        let third = self.rate(on(second, 0.5));
        let fourth = self.rate(on(third, 1.0));
        let mean = |k: usize| {
            from[k] + time / 6.0 * (first[k] + 2.0 * second[k] + 2.0 * third[k] + fourth[k])
        };
        [mean(0), mean(1)]
    }

    /// The time until something is above zero, and the state then.
    fn until(&self, mut state: State, event: impl Fn(State) -> f64) -> (f64, State) {
        for count in 0..MOST {
            let next = self.step(state, STEP);
            if event(next) > 0.0 {
                let (mut early, mut late) = (0.0, STEP);
                for _ in 0..60 {
                    let middle = f64::midpoint(early, late);
                    if event(self.step(state, middle)) > 0.0 {
                        late = middle;
                    } else {
                        early = middle;
                    }
                }
                return (count as f64 * STEP + late, self.step(state, late));
            }
            state = next;
        }
        panic!("the node does not come there");
    }

    /// From an arrival at a level, upper or lower, until the node is back there; and
    /// whether the diode has conducted.
    fn stay(&self, arrival: State, upper: bool, drop: f64) -> (f64, bool) {
        let (sign, level) = if upper {
            (1.0, self.upper)
        } else {
            (-1.0, self.lower)
        };
        let place = level + sign * drop;
        // Outwards up to the drop or until the current turns.
        let (out, at) = if drop > 0.0 {
            self.until(arrival, |[node, current]| {
                (sign * (node - place)).max(sign * current)
            })
        } else {
            (0.0, arrival)
        };
        let conducts = sign * at[1] < 0.0 && sign * (at[0] - place) >= -1e-9;
        // A straight line of current, which needs no steps.
        let (held, from) = if conducts {
            let time = self.inductance * at[1].abs() / (place - self.output).abs();
            (time, [place, 0.0])
        } else {
            (0.0, at)
        };
        let back = if drop > 0.0 {
            self.until(from, |[node, _]| -sign * (node - level)).0
        } else {
            0.0
        };
        (out + held + back, conducts)
    }
}

struct Design {
    node: Node,
    circuit: Circuit,
    point: OperatingPoint,
}

/// A stage without resistance but for the clamp's: two to five levels, every band.
fn design(random: &mut Random) -> Option<Design> {
    let specification = Specification::read(DEMONSTRATION).unwrap();
    let scheme = Scheme::FreewheelTransistors;
    let circuit = Circuit::new(&specification, scheme, 0.68 * uH, 0.6 * ampere).unwrap();
    let mut circuit = without_part_data(circuit);
    let pairs = 1 + random.below(4);
    let band = random.below(pairs);
    let step = between(random, 6.0, 40.0);
    let part = between(random, 0.25, 0.75);
    let drop = |random: &mut Random| match random.below(5) {
        0 => 0.0,
        _ => between(random, 0.05, 3.0),
    };
    circuit.pairs = u8::try_from(pairs).unwrap();
    circuit.band = u8::try_from(band).unwrap();
    circuit.switching_frequency = between(random, 80.0, 300.0) / pairs as f64 * kHz;
    let (size, parasitic) = (between(random, 50.0, 500.0), between(random, 10.0, 100.0));
    let [low, high] = [0, 1].map(|_| table(random, size * 1e-12, step));
    let clamp = table(random, 0.5e-12 * size, step);
    let mut switch = |own: &Table| Switch {
        on_resistance: Resistance::from_coherent(0.0),
        diode_drop: drop(random) * volt,
        output_capacitance: own.curve(),
        scale: 1.0,
    };
    circuit.high = switch(&high);
    circuit.low = switch(&low);
    circuit.clamp_capacitance = Some(clamp.curve());
    circuit.node_capacitance = parasitic * pF;
    circuit.freewheel.as_mut()?.resistance = 5.0 * mohm;
    circuit.flying_capacitance = None;
    circuit.dead_time = None;
    circuit.low_dead_time = None;
    circuit.minimum_on_time = Dimensioned::from_coherent(0.0);
    let most = if random.below(2) == 0 { 1.06 } else { 2.0 };
    circuit.margin = between(random, 1.005, most).into();
    let (a, b) = ((1.0 - part) * step, part * step);
    let load = between(random, 2.0, 12.0);
    let boundary = circuit.cell_time().coherent() * a * b / ((a + b) * 2.0 * load);
    circuit.inductance = Dimensioned::from_coherent(between(random, 0.3, 0.7) * boundary);
    let point = OperatingPoint {
        input_voltage: step * pairs as f64 * volt,
        output_voltage: (band as f64 * step + b) * volt,
        output_current: load * ampere,
    };
    circuit.trip_threshold = Solver::new(&circuit).unwrap().trip_needed(point).unwrap();
    let lower = band as f64 * step;
    let node = Node {
        low,
        high,
        clamp,
        constant: parasitic * 1e-12,
        inductance: circuit.inductance.coherent(),
        lower,
        upper: lower + step,
        output: lower + b,
    };
    Some(Design {
        node,
        circuit,
        point,
    })
}

fn assert_near(found: f64, expected: f64, what: &str) {
    let allowed = (1e-6 * expected.abs()).max(1e-12);
    assert!(
        (found - expected).abs() <= allowed,
        "{what}: {found:e} s is not {expected:e} s"
    );
}

/// What the windows of the marched cells were like: those whose diode conducts, and those
/// whose node turns before.
fn march(design: &Design, course: &Course, what: &str) -> [bool; 2] {
    let Design { node, circuit, .. } = design;
    let amperes = |current: Current| current.coherent();
    let start = [node.output, -amperes(course.freewheel_current.unwrap())];
    let (rise, at) = node.until(start, |[u, _]| u - node.upper);
    assert_near(course.window_start.unwrap().coherent(), rise, what);
    let (stay, high) = node.stay(at, true, circuit.high.diode_drop.coherent());
    assert_near(course.window_end.unwrap().coherent(), rise + stay, what);
    let start = [node.upper, amperes(course.peak_current)];
    let (fall, at) = node.until(start, |[u, _]| node.lower - u);
    let (first, last) = course.low_window.unwrap();
    assert_near(first.coherent(), fall, what);
    let (stay, low) = node.stay(at, false, circuit.low.diode_drop.coherent());
    assert_near(last.coherent(), fall + stay, what);
    [high, low]
}

#[test]
fn windows_are_those_of_the_marched_node() {
    let mut random = Random(0x00d1_0de5);
    let (mut cells, mut arcs, mut conducting) = (0, 0, 0);
    for number in 0..120 {
        let Some(design) = design(&mut random) else {
            continue;
        };
        let steady = Solver::new(&design.circuit)
            .unwrap()
            .solve(design.point)
            .unwrap();
        let Some(course) = steady.course else {
            continue;
        };
        if course.window_start.is_none() || course.low_window.is_none() {
            continue;
        }
        let c = &design.circuit;
        let what = format!(
            "design {number}, {} pairs, band {}, drops {:.2} V and {:.2} V",
            c.pairs,
            c.band,
            c.high.diode_drop.coherent(),
            c.low.diode_drop.coherent()
        );
        let [high, _] = march(&design, &course, &what);
        cells += 1;
        arcs += usize::from(!high);
        conducting += usize::from(high && c.high.diode_drop.coherent() > 0.0);
    }
    assert!(
        cells >= 60 && arcs >= 8 && conducting >= 20,
        "{cells} cells, {arcs} whose node turns, {conducting} whose diode conducts"
    );
}
