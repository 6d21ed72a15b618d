//! Stages on which gains by a rule of thumb, a twentieth of the cell frequency or a fiftieth
//! of the filter's resonance, make the output run away.

use std::f64::consts::TAU;

use slewbook::quantity::unit::{ampere, uF, uH, us, volt};
use slewbook::quantity::{Dimensioned as _, Frequency, Voltage};
use slewbook::scheme::Scheme;
use slewbook::stage::{Circuit, OperatingPoint, Specification};
use slewbook::timeline::{Loop, LoopGain, LoopReport, Settings, Simulation, Soundness, run};

use crate::support::specification_with;

/// Three levels, 24 to 60 V in, 3.3 to 5 V out, 5 A, 1 uH, with an output capacitor.
fn wide(capacitor: [&str; 2]) -> Specification {
    let text = specification_with(&[
        (
            "input.voltage",
            r#"{ min = "24 V", nominal = "48 V", max = "60 V" }"#,
        ),
        (
            "output.voltage",
            r#"{ min = "3.3 V", nominal = "4 V", max = "5 V" }"#,
        ),
        ("output.current", r#"{ min = "0.2 A", max = "5 A" }"#),
        ("stage.switching_frequency", "\"95 kHz\""),
        ("stage.output_capacitance", &format!("\"{}\"", capacitor[0])),
        (
            "capacitors.output.resistance",
            &format!("\"{}\"", capacitor[1]),
        ),
    ]);
    Specification::read(&text).unwrap()
}

fn circuit(specification: &Specification, scheme: Scheme) -> Circuit {
    Circuit::new(specification, scheme, 1.0 * uH, 1.35 * ampere).unwrap()
}

fn point(input: f64, output: f64, load: f64) -> OperatingPoint {
    OperatingPoint {
        input_voltage: input * volt,
        output_voltage: output * volt,
        output_current: load * ampere,
    }
}

/// The output's least and greatest after a step of the load up from a fifth.
fn after_load_step(circuit: &Circuit, settings: &Settings, at: OperatingPoint) -> [f64; 2] {
    let light = OperatingPoint {
        output_current: 0.2 * at.output_current,
        ..at
    };
    let mut s = Simulation::steady(circuit, settings, light).unwrap();
    s.load_step(100.0 * us, at.output_current);
    run(&mut s, 3000.0 * us, &mut (), |_| {}).unwrap();
    // What follows counts alone.
    let summary = run(&mut s, 5000.0 * us, &mut (), |_| {}).unwrap();
    [summary.output.least.0, summary.output.greatest.0]
}

/// A capacitor that is a resistance below the crossover: the loop's gain falls no more.
#[test]
fn a_capacitor_with_much_series_resistance() {
    for capacitor in [["1000 uF", "30 mohm"], ["2200 uF", "20 mohm"]] {
        let specification = wide(capacitor);
        let circuit = circuit(&specification, Scheme::FreewheelTransistors);
        let at = point(48.0, 4.0, 5.0);
        let mut settings = Settings::new(&specification.control, &circuit, at).unwrap();
        let gain = LoopGain::new(&circuit, &settings, at).unwrap();
        assert_eq!(gain.examine().soundness(), Soundness::Sound);
        let [least, greatest] = after_load_step(&circuit, &settings, at);
        assert!(least > 3.6 && greatest < 4.4, "{least} to {greatest}");

        // A twentieth of the cell frequency, as if there were no resistance.
        let cell = circuit.cell_time().coherent();
        let (a, b) = (20.0, 4.0);
        let on = (2.0e-6 * 5.0 * cell * b / (a * (a + b))).sqrt() / cell;
        let crossover = TAU / (20.0 * cell);
        let capacitance = circuit.output_capacitance.coherent();
        let kp = crossover * capacitance * 4.0 / (2.0 * 5.0 / on);
        settings.on_time = Loop::Regulated {
            target: 4.0 * volt,
            proportional: kp.into(),
            integral: Frequency::from_coherent(kp * crossover / 5.0),
            soft_start: 1.0 * us,
        };
        let examined = LoopGain::new(&circuit, &settings, at).unwrap().examine();
        assert_eq!(
            examined.soundness(),
            Soundness::Unstable,
            "{}",
            examined.text()
        );
        let warning = examined.warning().unwrap();
        assert!(
            warning.contains("unstable at 48 V in, 4 V out and 5 A"),
            "{warning}"
        );
        let [low, high] = after_load_step(&circuit, &settings, at);
        println!("{least} to {greatest} V, with those gains {low} to {high} V");
        assert!(high - low > 1.3 * (greatest - least), "{low} to {high}");
    }
}

/// An output filter with next to no damping, in continuous conduction.
#[test]
fn a_filter_with_a_sharp_resonance() {
    let text = specification_with(&[
        ("stage.output_capacitance", "\"22 uF\""),
        ("continuous.inductance", "\"22 uH\""),
    ]);
    let specification = Specification::read(&text).unwrap();
    let circuit = circuit(&specification, Scheme::Continuous);
    let at = point(36.0, 6.0, 6.0);
    let mut settings = Settings::new(&specification.control, &circuit, at).unwrap();
    let gain = LoopGain::new(&circuit, &settings, at).unwrap();
    let examined = gain.examine();
    assert_eq!(
        examined.soundness(),
        Soundness::Sound,
        "{}",
        examined.text()
    );
    let mut s = Simulation::steady(&circuit, &settings, at).unwrap();
    let summary = run(&mut s, 20_000.0 * us, &mut (), |_| {}).unwrap();
    let (least, greatest) = (summary.output.least.0, summary.output.greatest.0);
    assert!(least > 5.8 && greatest < 6.2, "{least} to {greatest}");

    // A fiftieth of the resonance, whatever the damping.
    let resonance = 1.0 / 22e-6;
    settings.on_time = Loop::Regulated {
        target: 6.0 * volt,
        proportional: 0.0.into(),
        integral: Frequency::from_coherent(resonance / 50.0 * 6.0 / 18.0),
        soft_start: 1.0 * us,
    };
    let examined = LoopGain::new(&circuit, &settings, at).unwrap().examine();
    assert_eq!(
        examined.soundness(),
        Soundness::Unstable,
        "{}",
        examined.text()
    );
}

/// The greatest output after the input has stepped from 24 to 60 V.
fn after_input_step(specification: &Specification, forward: bool) -> Voltage {
    let circuit = circuit(specification, Scheme::FreewheelTransistors);
    let at = point(24.0, 4.0, 5.0);
    let mut settings = Settings::new(&specification.control, &circuit, at).unwrap();
    if !forward {
        settings.feed_forward = None;
    }
    let mut s = Simulation::steady(&circuit, &settings, at).unwrap();
    s.input_step(100.0 * us, 60.0 * volt);
    let summary = run(&mut s, 3000.0 * us, &mut (), |_| {}).unwrap();
    summary.output.greatest.0 * volt
}

/// The on-time follows the input voltage: without it, the output is far off until the loop
/// has followed.
#[test]
fn a_step_of_the_input_is_fed_forward() {
    let specification = wide(["100 uF", "1.5 mohm"]);
    let with = after_input_step(&specification, true);
    let without = after_input_step(&specification, false);
    println!("{with:?} with, {without:?} without");
    assert!(without > 4.5 * volt, "{without:?}");
    assert!(
        with - 4.0 * volt < 0.5 * (without - 4.0 * volt),
        "{with:?}, {without:?}"
    );
}

/// The report of a run: gains, whether they are stated, and every point.
#[test]
fn a_report_names_gains_points_and_what_is_wrong() {
    let text = specification_with(&[
        ("control.kp", "12"),
        ("capacitors.output.remaining", "\"60 %\""),
    ]);
    let specification = Specification::read(&text).unwrap();
    let circuit = Circuit::new(
        &specification,
        Scheme::FreewheelTransistors,
        0.68 * uH,
        0.6 * ampere,
    )
    .unwrap();
    let fresh = Circuit {
        output_capacitance: 100.0 * uF,
        ..circuit
    };
    let points = [point(36.0, 6.0, 6.0), point(36.0, 6.0, 0.0)];
    let control = &specification.control;
    let settings = Settings::new(control, &circuit, points[0]).unwrap();
    let report = LoopReport::new(&circuit, Some(&fresh), control, &settings, &points).unwrap();
    let text = report.text();
    assert!(
        text.starts_with("voltage loop: kp 12 (stated), ki "),
        "{text}"
    );
    assert!(
        text.contains("(default)\n  36 V in, 6 V out, 6 A: "),
        "{text}"
    );
    assert!(text.contains("6 A, fresh capacitors: "), "{text}");
    assert!(text.contains("0 A: not examined: "), "{text}");
    assert!(
        text.contains("The voltage loop is unstable at 36 V in, 6 V out and 6 A"),
        "{text}"
    );
    let fixed = Settings::fixed(0.2.into());
    assert!(LoopReport::new(&circuit, None, control, &fixed, &points).is_none());
}
