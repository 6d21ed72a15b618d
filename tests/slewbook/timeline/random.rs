//! Random specifications of stages that can work: invented, drawn from a seed.

use slewbook::quantity::unit::{ampere, uH, volt};
use slewbook::scheme::Scheme;
use slewbook::stage::{Circuit, OperatingPoint, Specification};
use slewbook::timeline::Settings;

/// Uniform numbers from a seed: splitmix64 (Steele, Lea, Flood, 2014).
pub struct Draw(u64);

impl Draw {
    pub fn new(seed: u64) -> Self {
        Self(seed)
    }

    fn unit(&mut self) -> f64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        (z ^ (z >> 31)) as f64 / 2f64.powi(64)
    }

    pub fn between(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * self.unit()
    }

    /// Evenly in the logarithm.
    pub fn scaled(&mut self, low: f64, high: f64) -> f64 {
        low * (high / low).powf(self.unit())
    }

    pub fn chance(&mut self, part: f64) -> bool {
        self.unit() < part
    }
}

/// A specification, and what a run on it needs beside it.
pub struct Design {
    pub specification: Specification,
    /// In henry and ampere.
    pub inductance: f64,
    pub trip: f64,
    /// Least, nominal and greatest input voltage.
    pub inputs: [f64; 3],
    pub output: f64,
    /// A light load and the greatest.
    pub loads: [f64; 2],
}

fn least(values: [f64; 3]) -> f64 {
    values.into_iter().fold(f64::INFINITY, f64::min)
}

impl Design {
    /// A draw: two to five levels, every band, the output capacitor with any series
    /// resistance that leaves 5 % of the output voltage at full load.
    pub fn draw(seed: u64) -> Self {
        let mut d = Draw::new(seed);
        let pairs = d.between(1.0, 5.0).floor();
        let band = d.between(0.0, pairs).floor();
        let nominal = d.scaled(10.0, 120.0);
        let inputs = [
            nominal / d.between(1.02, 1.2),
            nominal,
            nominal * d.between(1.02, 1.25),
        ];
        // The output between the same two levels over the whole range of the input.
        let low = (band + 0.1) * inputs[2] / pairs;
        let high = (band + 0.9) * inputs[0] / pairs;
        let output = if low < high {
            d.between(low, high)
        } else {
            // A band too narrow for that range: the nominal voltage alone.
            return Self::draw(seed.wrapping_mul(0x2545_f491_4f6c_dd1d).wrapping_add(1));
        };
        let most = d.scaled(1.0, 20.0);
        let frequency = d.scaled(60e3, 400e3);
        let cell = 1.0 / (pairs * frequency);
        // Above and below the output, over the range of the input.
        let ab = inputs.map(|input| {
            let step = input / pairs;
            let b = output - band * step;
            (step - b, b)
        });
        let boundary = least(ab.map(|(a, b)| cell * a * b / ((a + b) * 2.0 * most)));
        let inductance = boundary * d.between(0.4, 0.8);
        let (a, b) = (-least(ab.map(|ab| -ab.0)), least(ab.map(|ab| ab.1)));
        let floor = most * d.between(0.03, 0.1);
        let capacitance = (floor / a).powi(2) * inductance;
        let impedance = (inductance / capacitance).sqrt();
        let need = ((1.4 * a).powi(2) - b * b).max(0.0).sqrt() / impedance;
        let delay = cell * d.between(0.002, 0.01);
        let trip = (need - b / inductance * delay).max(0.0);
        let dead = d.between(1.05, 1.5) * (inductance * capacitance).sqrt();
        let resistance = output / most * d.scaled(3e-4, 3e-3);
        let ripple = d.scaled(3e-3, 2e-2) * output;
        let output_capacitance = 0.5 * most * cell / ripple;
        let zero = d.scaled(0.02, 5.0) * 20.0 * cell / std::f64::consts::TAU;
        let series = (zero / output_capacitance).min(0.05 * output / most);
        // A ripple that leaves the levels their distance from the output.
        let nearest = least(ab.map(|(a, b)| a.min(b)));
        let flying = most * cell / (d.scaled(0.01, 0.06) * nominal / pairs).min(0.15 * nearest);
        let (a, b) = ab[1];
        let continuous = cell * a * b / ((a + b) * d.between(0.2, 0.6) * most);
        // A drop that does not demagnetise the inductor within a cell.
        let caught = (trip * trip + (ab[1].1 / impedance).powi(2)).sqrt();
        let drop = d.between(0.05, 0.5) * caught * inductance / cell;
        let text = format!(
            r#"title = "drawn"
[input]
voltage = {{ min = "{} V", nominal = "{} V", max = "{} V" }}
[output]
voltage = "{output} V"
current = {{ min = "{} A", max = "{most} A" }}
ripple = "{} V"
[stage]
levels = {}
switching_frequency = "{frequency} Hz"
inductance = "{inductance} H"
flying_capacitance = "{flying} F"
flying_ripple = "8 %"
output_capacitance = "{output_capacitance} F"
node_capacitance = "{} F"
[clamp]
resistance = "{resistance} ohm"
drop = "0 V"
output_capacitance = {{ constant = "{} F" }}
[clamp.diode]
resistance = "{resistance} ohm"
drop = "{} V"
[trip]
delay = "{delay} s"
offset = "0 A"
margin = 1.2
threshold = "{trip} A"
[timing]
{}
minimum_on_time = "{} s"
[transistors.high]
on_resistance = "{resistance} ohm"
diode_drop = "0.8 V"
output_capacitance = {{ constant = "{} F" }}
[transistors.low]
on_resistance = "{resistance} ohm"
diode_drop = "0.8 V"
output_capacitance = {{ constant = "{} F" }}
[inductor]
resistance = "{resistance} ohm"
[continuous]
inductance = "{continuous} H"
resistance = "{resistance} ohm"
[capacitors.flying]
resistance = "{} ohm"
remaining = "{} %"
[capacitors.output]
resistance = "{series} ohm"
remaining = "{} %"
"#,
            inputs[0],
            inputs[1],
            inputs[2],
            0.05 * most,
            3.0 * ripple,
            pairs + 1.0,
            0.1 * capacitance,
            0.1 * capacitance,
            drop,
            if d.chance(0.7) {
                format!("dead_time = \"{dead} s\"")
            } else {
                String::new()
            },
            if d.chance(0.3) { 0.02 * cell } else { 0.0 },
            0.4 * capacitance,
            0.4 * capacitance,
            0.3 * resistance,
            d.between(60.0, 100.0),
            d.between(40.0, 100.0),
        );
        let specification =
            Specification::read(&text).unwrap_or_else(|error| panic!("{error}\n{text}"));
        Self {
            specification,
            inductance,
            trip,
            inputs,
            output,
            loads: [d.scaled(0.05, 0.5) * most, most],
        }
    }

    /// The circuit of a scheme; fresh capacitors have all of their value, aged ones what
    /// remains of it.
    pub fn circuit(&self, scheme: Scheme, aged: bool) -> Circuit {
        let inductance = self.inductance * 1e6 * uH;
        let trip = self.trip * ampere;
        let s = &self.specification;
        let mut circuit = Circuit::new(s, scheme, inductance, trip).unwrap();
        if !aged {
            circuit.output_capacitance = s.output_capacitance;
            circuit.flying_capacitance = s.flying_capacitance;
        }
        circuit
    }

    /// The default control for what remains of the capacitors, at the nominal input voltage
    /// and the greatest load.
    pub fn settings(&self, scheme: Scheme) -> Settings {
        let at = self.point(self.inputs[1], self.loads[1]);
        let circuit = self.circuit(scheme, true);
        Settings::new(&self.specification.control, &circuit, at).unwrap()
    }

    pub fn point(&self, input: f64, load: f64) -> OperatingPoint {
        OperatingPoint {
            input_voltage: input * volt,
            output_voltage: self.output * volt,
            output_current: load * ampere,
        }
    }
}
