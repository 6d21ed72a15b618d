//! Random designs as specification texts: of any number of levels and band, with
//! constant, junction and tabulated capacitances, that mostly make sense.

use std::fmt::Write as _;

use slewbook::limit::{Series, at_most};
use slewbook::quantity::{Dimensioned, Inductance};
use slewbook::stage::Specification;

use crate::support::Random;

/// A value that is uncertain now and then: plain, or a table with a tolerance or a
/// standard uncertainty.
fn uncertain(random: &mut Random, value: f64, unit: &str, widest: f64) -> String {
    let part = random.between(0.02, widest);
    match random.below(5) {
        0 => format!(
            "{{ nominal = \"{value:.6e} {unit}\", tolerance = \"{:.2} %\" }}",
            100.0 * part
        ),
        1 => format!(
            "{{ nominal = \"{value:.6e} {unit}\", tolerance = \"{:.2} %\", distribution = \"triangular\" }}",
            100.0 * part
        ),
        2 => format!(
            "{{ nominal = \"{value:.6e} {unit}\", standard_uncertainty = \"{:.2} %\" }}",
            100.0 * part / 3.0
        ),
        _ => format!("\"{value:.6e} {unit}\""),
    }
}

/// A factor on a capacitance curve, uncertain now and then.
fn scale(random: &mut Random) -> String {
    match random.below(4) {
        0 => format!(
            ", scale = {{ tolerance = \"{:.1} %\" }}",
            random.between(2.0, 25.0)
        ),
        _ => String::new(),
    }
}

/// A capacitance curve whose mean over a step is about a value.
fn curve(random: &mut Random, mean: f64, step: f64) -> String {
    let curve = match random.below(3) {
        0 => format!("constant = \"{mean:.5e} F\""),
        1 => {
            let grading = random.between(0.3, 0.6);
            let built_in = random.between(0.5, 1.0);
            let floor = mean * random.between(0.2, 0.6);
            let over = (1.0 + step / built_in).powf(1.0 - grading) - 1.0;
            let part = over * built_in / (step * (1.0 - grading));
            format!(
                "zero_bias = \"{:.5e} F\", built_in = \"{built_in:.3} V\", grading = {grading:.3}, floor = \"{floor:.5e} F\"",
                (mean - floor) / part
            )
        }
        _ => {
            let knots = 3 + random.below(12);
            let (mut points, mut value) = (String::new(), mean * random.between(1.5, 4.0));
            for knot in 0..=knots {
                #[expect(clippy::cast_precision_loss, reason = "few knots")]
                let part = knot as f64 / knots as f64;
                let voltage = 1.1 * step * part * part;
                let _ = write!(points, "[\"{voltage:.6} V\", \"{value:.5e} F\"], ");
                value = (value * random.between(0.6, 0.98)).max(0.2 * mean);
            }
            format!("table = [{points}]")
        }
    };
    format!("{{ {curve}{} }}", scale(random))
}

/// A preferred inductance for a design that states none, well below the boundary of
/// discontinuous conduction.
pub fn preferred(s: &Specification) -> Option<Inductance> {
    let step = s.input_voltage.nominal.coherent() / f64::from(s.levels - 1);
    let below = s.output_voltage.nominal.coherent() - f64::from(s.band()) * step;
    let cell = 1.0 / (f64::from(s.levels - 1) * s.switching_frequency.coherent());
    let boundary = cell * below * (step - below) / (step * 2.0 * s.output_current.max.coherent());
    at_most(0.5 * boundary, Series::E12).map(Inductance::from_coherent)
}

/// A design as a specification's text.
#[expect(
    clippy::too_many_lines,
    reason = "the keys of a specification, one by one"
)]
pub fn text(random: &mut Random) -> String {
    let levels = *random.pick(&[2, 2, 3, 3, 4, 5, 6, 7, 8]);
    let pairs = levels - 1;
    let band = random.below(pairs);
    #[expect(clippy::cast_precision_loss, reason = "a handful of levels")]
    let (n, m) = (pairs as f64, band as f64);
    let step = random.decades(4.0, 120.0);
    let input = n * step;
    // How far line and output may go without leaving the band.
    let place = random.between(0.15, 0.85);
    let room = place.min(1.0 - place) / (m + place) * random.between(0.05, 0.8);
    let line = room * random.unit();
    let output = (m + place) * step;
    let trim = (room - line) * 0.4 * random.unit();
    let load = random.decades(0.3, 40.0);
    let least = load * random.between(0.03, 0.5);
    let frequency = random.decades(3e4, 1.2e6) / n.sqrt();
    let cell = 1.0 / (n * frequency);
    let (a, b) = ((1.0 - place) * step, place * step);
    let boundary = cell * a * b / ((a + b) * 2.0 * load);
    let tolerance = random.below(3) > 0;
    let inductance = boundary * random.between(0.25, 0.8);
    // The floor of the freewheel current as a part of the load.
    let floor = load * random.decades(0.01, 0.25);
    let capacitance = inductance * (floor / a).powi(2);
    let dead = (inductance * capacitance).sqrt();
    let delay = dead * random.decades(0.05, 1.0);
    let resistance = step / load * random.decades(1e-5, 4e-3);
    let drop = *random.pick(&[0.0, 0.0, 0.7, 1.5, 3.0]);
    let mut text = String::new();
    let mut line_of = |words: String| {
        text += &words;
        text.push('\n');
    };
    line_of("title = \"A random design, invented\"".to_owned());
    line_of("[input]".to_owned());
    line_of(format!(
        "voltage = {{ min = \"{:.6} V\", nominal = \"{input:.6} V\", max = \"{:.6} V\" }}",
        input * (1.0 - line),
        input * (1.0 + line)
    ));
    line_of("[output]".to_owned());
    line_of(format!(
        "voltage = {{ min = \"{:.6} V\", nominal = \"{output:.6} V\", max = \"{:.6} V\" }}",
        output * (1.0 - trim),
        output * (1.0 + trim)
    ));
    line_of(format!(
        "current = {{ min = \"{least:.6} A\", max = \"{load:.6} A\" }}"
    ));
    if random.below(2) == 0 {
        let ripple = output * random.decades(0.003, 0.1);
        line_of(format!("ripple = \"{ripple:.6} V\""));
    }
    line_of("[stage]".to_owned());
    line_of(format!("levels = {levels}"));
    line_of(format!("switching_frequency = \"{frequency:.6e} Hz\""));
    if random.below(8) > 0 {
        let value = if tolerance {
            uncertain(random, inductance, "H", 0.3)
        } else {
            format!("\"{inductance:.6e} H\"")
        };
        line_of(format!("inductance = {value}"));
    }
    if levels > 2 {
        let flying = load * cell / (step * random.decades(0.01, 0.15));
        line_of(format!("flying_capacitance = \"{flying:.6e} F\""));
        if random.below(2) == 0 {
            line_of(format!(
                "flying_ripple = \"{:.3} %\"",
                random.between(1.0, 15.0)
            ));
        }
    }
    let output_capacitance = load * cell / (output * random.decades(2e-3, 0.05));
    line_of(format!(
        "output_capacitance = \"{output_capacitance:.6e} F\""
    ));
    let node = uncertain(random, 0.1 * capacitance, "F", 0.3);
    line_of(format!("node_capacitance = {node}"));
    let stated = |random: &mut Random, odds| random.below(odds) == 0;
    line_of("[clamp]".to_owned());
    let clamp = uncertain(random, 2.0 * resistance, "ohm", 0.3);
    line_of(format!("resistance = {clamp}"));
    line_of("drop = \"0 V\"".to_owned());
    let curve_of_clamp = curve(random, 0.25 * capacitance, a.max(b));
    line_of(format!("output_capacitance = {curve_of_clamp}"));
    if stated(random, 2) {
        line_of(format!(
            "rated_voltage = \"{:.4} V\"",
            input * random.between(1.2, 4.0)
        ));
    }
    line_of("[trip]".to_owned());
    let delay = uncertain(random, delay, "s", 0.2);
    line_of(format!("delay = {delay}"));
    line_of("offset = \"0 A\"".to_owned());
    line_of(format!("margin = {:.3}", random.between(1.05, 1.5)));
    if stated(random, 3) {
        let threshold = floor * random.between(0.5, 2.5);
        let threshold = uncertain(random, threshold, "A", 0.1);
        line_of(format!("threshold = {threshold}"));
    }
    line_of("[timing]".to_owned());
    if stated(random, 2) {
        line_of(format!(
            "dead_time = \"{:.6e} s\"",
            dead * random.between(1.0, 2.0)
        ));
    }
    if stated(random, 2) {
        line_of(format!(
            "minimum_on_time = \"{:.6e} s\"",
            cell * random.between(0.0, 0.15)
        ));
    }
    line_of("[limits]".to_owned());
    line_of(format!(
        "voltage_margin = \"{:.1} %\"",
        random.between(0.0, 30.0)
    ));
    for side in ["high", "low"] {
        line_of(format!("[transistors.{side}]"));
        line_of(format!("on_resistance = \"{resistance:.6e} ohm\""));
        let curve = curve(random, 0.32 * capacitance, step);
        line_of(format!("output_capacitance = {curve}"));
        if drop > 0.0 {
            line_of(format!("diode_drop = \"{drop} V\""));
        }
        if stated(random, 2) {
            line_of(format!(
                "rated_voltage = \"{:.4} V\"",
                step * random.between(1.2, 4.0)
            ));
        }
        if stated(random, 3) {
            line_of(format!(
                "rated_current = \"{:.4} A\"",
                load * random.between(1.0, 6.0)
            ));
        }
        if stated(random, 2) {
            line_of(format!(
                "resistance_at_125C = \"{:.6e} ohm\"",
                1.5 * resistance
            ));
            line_of(format!(
                "thermal_resistance = \"{:.3} K/W\"",
                (20.0 * random.unit() / (load * load * resistance)).clamp(1.0, 500.0)
            ));
        }
    }
    line_of("[inductor]".to_owned());
    if stated(random, 2) {
        line_of(format!(
            "resistance = \"{:.6e} ohm\"",
            resistance * random.between(0.2, 2.0)
        ));
    }
    if stated(random, 2) {
        line_of(format!(
            "saturation_current = \"{:.4} A\"",
            load * random.between(2.4, 6.0)
        ));
    }
    line_of("[capacitors.output]".to_owned());
    if stated(random, 2) {
        let esr = output / load * random.decades(1e-4, 1e-2);
        line_of(format!("resistance = \"{esr:.6e} ohm\""));
    }
    if stated(random, 3) {
        line_of(format!(
            "remaining = \"{:.1} %\"",
            random.between(30.0, 100.0)
        ));
    }
    if levels > 2 && stated(random, 3) {
        line_of("[capacitors.flying]".to_owned());
        line_of(format!(
            "remaining = \"{:.1} %\"",
            random.between(30.0, 100.0)
        ));
    }
    text
}
