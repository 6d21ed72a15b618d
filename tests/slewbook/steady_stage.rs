//! Random stages for the tests of the steady state, with capacitance laws of the
//! tests' own.

use slewbook::equation::Curve;
use slewbook::quantity::{
    Capacitance, Current, Dimensioned, Frequency, Inductance, Ratio, Resistance, Time, Voltage,
};
use slewbook::scheme::Scheme;
use slewbook::stage::{Circuit, DEMONSTRATION, Freewheel, OperatingPoint, Specification};

use crate::laws::Law;
use crate::support::Random;

pub fn volts(value: f64) -> Voltage {
    Voltage::from_coherent(value)
}

pub fn amperes(value: f64) -> Current {
    Current::from_coherent(value)
}

pub fn point(input: f64, output: f64, load: f64) -> OperatingPoint {
    OperatingPoint {
        input_voltage: volts(input),
        output_voltage: volts(output),
        output_current: amperes(load),
    }
}

/// The demonstration under a scheme, at 0.68 µH and 0.4 A, with the resistances of
/// the transistors and the clamp alone.
pub fn demonstration(scheme: Scheme) -> Circuit {
    let text = crate::support::demonstration_without_part_data()
        + "\n[continuous]\ninductance = \"6.8 uH\"\n"
        + "[clamp.diode]\nresistance = \"20 mohm\"\ndrop = \"0.7 V\"\n";
    let specification = Specification::read(&text).unwrap();
    let inductance = Inductance::from_coherent(0.68e-6);
    let circuit = Circuit::new(&specification, scheme, inductance, amperes(0.4)).unwrap();
    crate::support::without_part_data(circuit)
}

fn curve(law: &Law) -> &'static Curve {
    let pf = |c: f64| Capacitance::from_coherent(c * 1e-12);
    let curve = match law {
        Law::Constant(c) => Curve::constant("C", pf(*c)),
        Law::Junction([zero, built_in, grading, floor]) => Curve::law(
            "C",
            pf(*zero),
            volts(*built_in),
            Ratio::from_coherent(*grading),
            pf(*floor),
        ),
        Law::Polygon(knots) => {
            let points: Vec<_> = knots.iter().map(|(v, c)| (volts(*v), pf(*c))).collect();
            Curve::table("C", &points)
        }
    };
    curve.unwrap().shared()
}

/// A random law for voltages up to about `span`.
fn law(random: &mut Random, span: f64) -> Law {
    match random.below(3) {
        0 => Law::Constant(random.between(20.0, 900.0)),
        1 => Law::Junction([
            random.between(100.0, 1500.0),
            random.between(0.4, 1.2),
            random.between(0.2, 0.7),
            random.between(10.0, 200.0),
        ]),
        _ => {
            let mut knots = vec![(0.0, random.between(100.0, 900.0))];
            for _ in 0..=random.below(4) {
                let (v, c) = knots[knots.len() - 1];
                knots.push((
                    v + span * random.between(0.05, 0.4),
                    c * random.between(0.4, 0.95),
                ));
            }
            Law::Polygon(knots)
        }
    }
}

impl Random {
    #[expect(
        clippy::cast_precision_loss,
        reason = "53 of 64 random bits are enough"
    )]
    pub fn unit(&mut self) -> f64 {
        self.next() as f64 / u64::MAX as f64
    }

    pub fn between(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * self.unit()
    }

    /// Between two positive numbers, evenly over the decades.
    pub fn decades(&mut self, low: f64, high: f64) -> f64 {
        (low.ln() + (high / low).ln() * self.unit()).exp()
    }
}

/// A random stage with the laws behind its curves.
#[derive(Clone, Debug)]
pub struct Case {
    pub circuit: Circuit,
    pub at: OperatingPoint,
    low: Law,
    high: Law,
    clamp: Option<Law>,
}

impl Case {
    /// A stage that works most of the time, of any number of levels and band.
    pub fn new(random: &mut Random, scheme: Scheme) -> Self {
        let specification = Specification::read(DEMONSTRATION).unwrap();
        let pairs = 1 + u8::try_from(random.below(4)).unwrap();
        let band = u8::try_from(random.below(usize::from(pairs))).unwrap();
        let step = random.decades(8.0, 60.0);
        let part = random.between(0.12, 0.88);
        let input = step * f64::from(pairs);
        let output = step * (f64::from(band) + part);
        let load = random.decades(0.3, 20.0);
        let frequency = random.decades(60e3, 400e3);
        let cell = 1.0 / (frequency * f64::from(pairs));
        // The textbook limit of discontinuous conduction, and a part of it.
        let limit = cell * step * part * (1.0 - part) / (2.0 * load);
        let inductance = limit * random.between(0.3, 1.05);
        let (low, high) = (law(random, step), law(random, step));
        let clamp = (random.below(3) > 0).then(|| law(random, step));
        let mut circuit = Circuit::new(
            &specification,
            Scheme::FreewheelTransistors,
            Inductance::from_coherent(inductance),
            amperes(0.0),
        )
        .unwrap();
        circuit.scheme = scheme;
        circuit.pairs = pairs;
        circuit.band = band;
        circuit.switching_frequency = Frequency::from_coherent(frequency);
        circuit.low.output_capacitance = curve(&low);
        circuit.high.output_capacitance = curve(&high);
        circuit.low.scale = random.between(0.8, 1.2);
        circuit.high.scale = random.between(0.8, 1.2);
        circuit.clamp_scale = random.between(0.8, 1.2);
        circuit.clamp_capacitance = clamp.as_ref().map(curve);
        circuit.node_capacitance = Capacitance::from_coherent(random.between(0.0, 200e-12));
        let ohms = |r: f64| Resistance::from_coherent(r);
        circuit.high.on_resistance = ohms(random.between(0.0, 10e-3));
        circuit.low.on_resistance = ohms(random.between(0.0, 10e-3));
        circuit.inductor_resistance = ohms(random.between(0.0, 10e-3));
        circuit.freewheel = scheme.has_clamp().then(|| Freewheel {
            resistance: ohms(random.between(2e-3, 30e-3)),
            drop: volts(if random.below(3) == 0 {
                random.between(0.0, 0.7)
            } else {
                0.0
            }),
        });
        if !scheme.has_clamp() {
            circuit.clamp_capacitance = None;
        }
        if random.below(2) == 0 {
            circuit.high.diode_drop = volts(random.between(0.3, 1.0));
            circuit.low.diode_drop = volts(random.between(0.3, 1.0));
        }
        circuit.trip_delay = Time::from_coherent(random.between(0.0, 60e-9));
        let mut case = Self {
            circuit,
            at: point(input, output, load),
            low,
            high,
            clamp: clamp.filter(|_| scheme.has_clamp()),
        };
        // A trip about what the rising edge needs.
        case.circuit.trip_threshold = amperes(case.floor() * random.between(0.3, 1.8));
        let ring = std::f64::consts::FRAC_PI_2 * (inductance * case.node(0.0) * 1e-12).sqrt();
        case.circuit.dead_time =
            (random.below(3) > 0).then(|| Time::from_coherent(ring * random.between(0.2, 3.0)));
        case
    }

    pub fn step(&self) -> f64 {
        self.at.input_voltage.coherent() / f64::from(self.circuit.pairs)
    }

    pub fn above(&self) -> f64 {
        self.step() - self.below()
    }

    pub fn below(&self) -> f64 {
        self.at.output_voltage.coherent() - self.step() * f64::from(self.circuit.band)
    }

    /// Picofarad at the node, its voltage counted from the output.
    pub fn node(&self, w: f64) -> f64 {
        let c = &self.circuit;
        let clamp = self.clamp.as_ref().map_or(0.0, |law| law.at(w.abs()));
        c.low.scale * self.low.at(w + self.below())
            + c.high.scale * self.high.at(self.above() - w)
            + c.clamp_scale * clamp
            + c.node_capacitance.coherent() * 1e12
    }

    /// The current that just takes the node from the output to the upper level.
    pub fn floor(&self) -> f64 {
        (2.0 * self.work(self.above()) / self.circuit.inductance.coherent()).sqrt()
    }

    /// The energy for moving the node from the output to `w`, in joule, by the
    /// trapezium rule: good to a few digits.
    fn work(&self, w: f64) -> f64 {
        let parts = 200;
        let step = w / f64::from(parts);
        (0..parts)
            .map(|k| {
                let x = (f64::from(k) + 0.5) * step;
                self.node(x) * 1e-12 * x * step
            })
            .sum()
    }
}
