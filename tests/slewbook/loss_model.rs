//! The losses of schemes: energy closes, limits behave, parts that cannot be are
//! findings, and the numbers are those of the derivations.

use proptest::prelude::*;
use slewbook::cycle::{Course, Solver, State};
use slewbook::equation::{Curve, Term};
use slewbook::loss::{Losses, Mechanism, Model, Outcome, conduction, core, drive, heat};
use slewbook::quantity::unit::{ampere, uH, volt};
use slewbook::quantity::{Capacitance, Current, Dimensioned, Resistance, Voltage};
use slewbook::scheme::Scheme;
use slewbook::stage::{Circuit, OperatingPoint, PARTS, Specification};

use crate::loss_formulas::{input, steinmetz};
use crate::support::{set, specification_with};

/// The demonstration with invented parts and every scheme.
pub fn text() -> String {
    let mut text = crate::support::demonstration_without_part_data();
    for (table, part) in [
        ("transistors.high", "low-resistance"),
        ("transistors.low", "low-resistance"),
        ("clamp", "anti-series"),
    ] {
        text = set(&text, &format!("{table}.part"), &format!("\"{part}\""));
    }
    text = set(
        &text,
        "clamp.diode",
        "{ resistance = \"20 mohm\", drop = \"0.7 V\" }",
    );
    text += "\n[parts]\nfile = \"parts.toml\"\n[inductor]\npart = \"ferrite-4-turns\"\n\
             [capacitors.output]\npart = \"stacked-100uF\"\n\
             [capacitors.flying]\npart = \"stacked-10uF\"\n\
             [continuous]\ninductance = \"4.7 uH\"\nresistance = \"4 mohm\"\n\
             [control]\npower = \"120 mW\"\n[ambient]\ntemperature = \"40 °C\"\n";
    text
}

fn read(text: &str, parts: &str) -> Specification {
    Specification::read_with(text, Some(parts)).unwrap()
}

fn specification() -> Specification {
    read(&text(), PARTS)
}

fn at(input: f64, output: f64, load: f64) -> OperatingPoint {
    OperatingPoint {
        input_voltage: Voltage::from_coherent(input),
        output_voltage: Voltage::from_coherent(output),
        output_current: Current::from_coherent(load),
    }
}

fn model(specification: &Specification, scheme: Scheme) -> Model {
    Model::new(specification, scheme, 0.68 * uH, 0.4 * ampere).unwrap()
}

fn outcome(specification: &Specification, scheme: Scheme) -> Outcome {
    model(specification, scheme).at(at(36.0, 6.0, 6.0)).unwrap()
}

/// The losses at a point, and the course of the same cell with cold parts.
fn losses_and_cold_course(scheme: Scheme) -> (Losses, Course) {
    let specification = specification();
    let mut model = model(&specification, scheme);
    let point = at(36.0, 6.0, 6.0);
    let losses = model.at(point).unwrap().losses.unwrap();
    let steady = slewbook::cycle::steady_state(model.circuit(), point).unwrap();
    (losses, steady.course.unwrap())
}

/// A seeded generator of numbers from 0 to 1, its own: the multiplier of Knuth's MMIX.
struct Numbers(u64);

impl Numbers {
    fn between(&mut self, low: f64, high: f64) -> f64 {
        self.0 = self
            .0
            .wrapping_mul(6_364_136_223_846_793_005)
            .wrapping_add(1_442_695_040_888_963_407);
        #[expect(clippy::cast_precision_loss, reason = "53 bits")]
        let part = (self.0 >> 11) as f64 / (1u64 << 53) as f64;
        low + (high - low) * part
    }
}

/// Input power, from the charge that the input gives, against the output's and what
/// is dissipated: ten thousand random points for every scheme. The edges are
/// lossless, and a ring that still swings at the turn-on has its energy in the
/// inductor's current.
#[test]
fn energy_closes_for_every_scheme() {
    let specification = specification();
    let mut numbers = Numbers(7);
    let mut worst = [(0.0_f64, 0_u32); 5];
    for (scheme, worst) in Scheme::ALL.into_iter().zip(&mut worst) {
        let base = Circuit::new(&specification, scheme, 0.68 * uH, 0.4 * ampere).unwrap();
        let mut solver = Solver::new(&base).unwrap();
        for _ in 0..10_000 {
            let mut circuit = base;
            circuit.inductance *= numbers.between(0.5, 1.3);
            circuit.high.scale = numbers.between(0.3, 2.0);
            circuit.low.scale = numbers.between(0.3, 2.0);
            circuit.high.on_resistance *= numbers.between(0.3, 3.0);
            circuit.low.on_resistance *= numbers.between(0.3, 3.0);
            circuit.trip_threshold = Current::from_coherent(numbers.between(0.0, 1.0));
            solver.change(&circuit).unwrap();
            let point = at(
                numbers.between(30.0, 44.0),
                numbers.between(5.8, 6.2),
                numbers.between(0.3, 6.0),
            );
            let Some(course) = solver.solve(point).unwrap().course else {
                continue;
            };
            let input = course.input_power.coherent();
            let out = course.output_power.coherent() + course.dissipation.total().coherent();
            let off = (input - out).abs() / input;
            assert!(
                off < 1e-6,
                "{scheme} at {point:?}: {input} W in, {out} W out and lost"
            );
            *worst = (worst.0.max(off), worst.1 + 1);
        }
    }
    let cells: u32 = worst.iter().map(|(_, n)| n).sum();
    println!("energy closes in {cells} cells: {worst:?}");
    assert!(worst.iter().all(|(_, n)| *n > 2500), "{worst:?}");
}

/// What the model adds up is what the formulas say of the same cell.
#[test]
fn the_numbers_are_those_of_the_derivations() {
    let specification = specification();
    let mut model = model(&specification, Scheme::FreewheelTransistors);
    let point = at(36.0, 6.0, 6.0);
    let outcome = model.at(point).unwrap();
    let (losses, warm) = (outcome.losses.unwrap(), outcome.temperatures.unwrap());
    let mut circuit = *model.circuit();
    let hot = |base: f64, hot: f64, t: f64| {
        Resistance::from_coherent(base + (hot - base) * (t - 25.0) / 100.0)
    };
    circuit.high.on_resistance = hot(4e-3, 6.2e-3, warm.high.unwrap().celsius());
    circuit.low.on_resistance = hot(4e-3, 6.2e-3, warm.low.unwrap().celsius());
    circuit.freewheel.as_mut().unwrap().resistance =
        hot(12e-3, 18e-3, warm.clamp.unwrap().celsius());
    circuit.inductor_resistance = Resistance::from_coherent(
        1.1e-3 * (1.0 + 3.93e-3 * (warm.inductor.unwrap().celsius() - 20.0)),
    );
    let course = slewbook::cycle::steady_state(&circuit, point)
        .unwrap()
        .course
        .unwrap();
    let cell = course.cell_time.coherent();
    let close = |mechanism: Mechanism, expected: f64, tolerance: f64| {
        let found = losses.of(mechanism).coherent();
        assert!(
            (found / expected - 1.0).abs() < tolerance,
            "{}: {found} is not {expected}",
            mechanism.name()
        );
    };
    // Temperatures settle to a thousandth of a kelvin, resistances to a few millionths.
    let settled = 1e-5;
    let conducted = |r: Resistance, rms: Current| {
        let power = conduction::power(Term::input("R", "", r), Term::input("I_rms", "", rms));
        power.value().unwrap().coherent()
    };
    let channels = 2.0 * conducted(circuit.high.on_resistance, course.paths.high.rms)
        + 2.0 * conducted(circuit.low.on_resistance, course.paths.low.rms);
    close(Mechanism::Channels, channels, settled);
    // The edges count for the rms value and have no resistance.
    let winding = conducted(circuit.inductor_resistance, course.paths.inductor.rms);
    close(Mechanism::Winding, winding, 5e-3);
    let step = || input("V", "", 18.0);
    let off = || Term::input("I", "", course.peak_current);
    let time = || input("t_off", "", 3e-9);
    let overlap = |step, off, time| {
        let energy = drive::overlap_energy(step, off, time);
        energy.value().unwrap().coherent()
    };
    // The high side at the peak, the low side at the released current, the clamp as it opens:
    // 3, 3 and none stated.
    let released = Term::input("I_s", "", -course.release.end_current);
    let whole = overlap(step(), off(), time()) + overlap(step(), released, time());
    close(Mechanism::TurnOff, whole / cell, settled);
    // By marching in time the currents that charge the node.
    let charge = |from: f64, to: f64, volts: f64| {
        // The node's charge over its voltage above the lower level, zero.
        let of = |curve: &Curve, v: f64| curve.charge(v.abs() * volt).coherent().copysign(v);
        let whole = |v: f64| {
            of(circuit.low.output_capacitance, v) - of(circuit.high.output_capacitance, 18.0 - v)
                + of(circuit.clamp_capacitance.unwrap(), v - 6.0)
                + circuit.node_capacitance.coherent() * v
        };
        (whole(from + (to - from).signum() * volts) - whole(from)).abs()
    };
    let marched = |current: f64, from: f64, to: f64| {
        let (steps, time) = (200_000, 3e-9);
        let (mut energy, mut volts) = (0.0, 0.0_f64);
        for k in 0..steps {
            let t = (f64::from(k) + 0.5) / f64::from(steps) * time;
            let moved = current * t * t / (2.0 * time);
            // The voltage that goes with the charge, by Newton's rule from the last one.
            for _ in 0..2 {
                let slope = (charge(from, to, volts + 1e-4) - charge(from, to, volts)) / 1e-4;
                volts = (volts + (moved - charge(from, to, volts)) / slope).min(18.0);
            }
            energy += volts * current * (1.0 - t / time) * time / f64::from(steps);
        }
        energy
    };
    let released = -course.release.end_current.coherent();
    let least = marched(course.peak_current.coherent(), 18.0, 0.0) + marched(released, 0.0, 18.0);
    let found = losses.turn_off_least().coherent() * cell;
    assert!(
        (found / least - 1.0).abs() < 2e-3,
        "{found} J, marched {least} J"
    );
    let gate = |charge: f64| {
        let power = drive::gate_power(
            input("Q_g", "", charge),
            input("V_drive", "", 5.0),
            input("f", "", 1.0 / cell),
        );
        power.value().unwrap().coherent()
    };
    close(
        Mechanism::Gate,
        2.0 * gate(9e-9) + 2.0 * gate(5.5e-9),
        1e-12,
    );
    let least_current = course
        .energise
        .start_current
        .min(course.release.end_current);
    let swing = core::flux_swing(
        Term::input("L", "", circuit.inductance),
        Term::input("Delta I", "", course.peak_current - least_current),
        input("N_t", "", 4.0),
        input("A_e", "", 58e-6),
    );
    let density = core::triangular(
        &steinmetz(3.2, 1.46, 2.75),
        swing.term(),
        Term::input("t_1", "", course.energise.duration),
        Term::input("t_2", "", course.release.duration),
        Term::input("T", "", course.cell_time),
    );
    close(
        Mechanism::Core,
        density.value().unwrap().coherent() * 1900e-9,
        settled,
    );
    // The junction of one high side.
    let rms = course.paths.high.rms;
    let each = losses.in_place(slewbook::loss::Place::High).coherent() / 2.0;
    let fixed = each - conducted(circuit.high.on_resistance, rms);
    let rise = heat::rise(
        input("R_th", "", 38.0),
        input("P_0", "", fixed),
        Term::input("I_rms", "", rms),
        input("R_0", "", 4e-3 + 2.2e-5 * 15.0),
        input("s", "", 2.2e-5),
    );
    let junction = 40.0 + rise.value().unwrap().coherent();
    assert!(
        (warm.high.unwrap().celsius() - junction).abs() < 2e-3,
        "{} and {junction}",
        warm.high.unwrap().celsius()
    );
}

/// Bit for bit: a model keeps what it found of the node's motion, and starts a round
/// from the one before, but what was asked before makes no difference.
#[test]
fn the_order_of_points_makes_no_difference() {
    let specification = specification();
    let points: Vec<OperatingPoint> = [30.0, 36.0, 44.0]
        .into_iter()
        .flat_map(|input| [0.3, 0.9, 1.5, 3.0, 6.0].map(|load| at(input, 6.0, load)))
        .collect();
    for scheme in Scheme::ALL {
        let fresh = |point: &OperatingPoint| model(&specification, scheme).at(*point).unwrap();
        let fresh: Vec<Outcome> = points.iter().map(fresh).collect();
        let mut kept = model(&specification, scheme);
        for step in [1, 2, 4, 7, 11] {
            for k in 0..points.len() {
                let k = k * step % points.len();
                assert_eq!(
                    kept.at(points[k]).unwrap(),
                    fresh[k],
                    "{scheme}, step {step}"
                );
            }
        }
    }
}

/// A current that the high side takes over from the low side's diode costs the node's
/// own turn-on, the overlap of current and step, and the diode's recovery.
#[test]
fn taking_over_a_current_costs_overlap_and_recovery() {
    let (losses, course) = losses_and_cold_course(Scheme::Continuous);
    assert!(course.energise.start_current.coherent() > 0.0);
    let step = || input("V", "", 18.0);
    let taken = Term::input("I", "", course.energise.start_current);
    let overlap = drive::overlap_energy(step(), taken, input("t_off", "", 3e-9));
    let overlap = overlap.value().unwrap() / course.cell_time;
    let node = course.turn_on.energy / course.cell_time;
    // Of 14 nC the turn-on's energy has what 300 pF hold at 18 V.
    let recovery = drive::recovery_energy(input("Q_rr", "", 14e-9 - 18.0 * 300e-12), step());
    let recovery = recovery.value().unwrap() / course.cell_time;
    // The currents are those of warm parts, a little lower at the valley.
    for (mechanism, expected) in [
        (Mechanism::TurnOn, node + overlap),
        (Mechanism::Recovery, recovery),
    ] {
        let found = losses.of(mechanism);
        assert!(
            (found.coherent() / expected.coherent() - 1.0).abs() < 2e-3,
            "{}: {found:?} is not {expected:?}",
            mechanism.name()
        );
    }
    assert!(overlap > 0.05 * node);
}

/// The alternating part of the winding against a Fourier sum by brute force.
#[test]
fn the_winding_follows_the_harmonics_of_the_current() {
    let (losses, course) = losses_and_cold_course(Scheme::FreewheelTransistors);
    let mut corners = vec![];
    let mut time = 0.0;
    let whole = [
        Some(course.rise),
        Some(course.energise),
        Some(course.fall),
        Some(course.release),
        course.partial_rise,
        course.hold,
    ];
    for interval in whole.into_iter().flatten() {
        corners.push((time, interval.start_current.coherent()));
        time += interval.duration.coherent();
    }
    corners.push((time, corners[0].1));
    let current = |t: f64| {
        let k = corners.windows(2).position(|w| t <= w[1].0).unwrap();
        let (a, b) = (corners[k], corners[k + 1]);
        a.1 + (b.1 - a.1) * (t - a.0) / (b.0 - a.0)
    };
    let count = 200_000_u32;
    let samples: Vec<(f64, f64)> = (0..count)
        .map(|k| {
            let phase = (f64::from(k) + 0.5) / f64::from(count);
            (phase, current(phase * time))
        })
        .collect();
    let expected: f64 = (1..=40_u32)
        .map(|harmonic| {
            let (mut c, mut s) = (0.0, 0.0);
            for (phase, current) in &samples {
                let (sin, cos) = (std::f64::consts::TAU * f64::from(harmonic) * phase).sin_cos();
                c += current * cos;
                s += current * sin;
            }
            let square = 2.0 * (c * c + s * s) / f64::from(count).powi(2);
            let depth = (1e-6 / 58.0 * time
                / (std::f64::consts::PI * f64::from(harmonic) * 1.256_637_061_27e-6))
                .sqrt();
            let factor = slewbook::loss::winding::layer_factor(
                input("phi", "", 0.1e-3 / depth),
                input("p", "", 4.0),
            );
            square * (factor.value().unwrap().coherent() - 1.0)
        })
        .sum();
    let found = losses.of(Mechanism::WindingAlternating).coherent() / 1.1e-3;
    // The currents of the model are those of warm parts.
    assert!(
        (found / expected - 1.0).abs() < 2e-3,
        "{found} is not {expected}"
    );
}

#[test]
fn without_capacitance_a_turn_on_costs_nothing_and_frequency_costs() {
    let mut specification = specification();
    let hard = outcome(&specification, Scheme::Discontinuous)
        .losses
        .unwrap();
    assert!(hard.of(Mechanism::TurnOn).coherent() > 0.0);
    let [best, worst] = hard.turn_on_over_ring().unwrap();
    assert!(best < hard.of(Mechanism::TurnOn) && hard.of(Mechanism::TurnOn) < worst);
    let base = outcome(&specification, Scheme::FreewheelTransistors)
        .losses
        .unwrap();
    specification.switching_frequency *= 1.1;
    let faster = outcome(&specification, Scheme::FreewheelTransistors)
        .losses
        .unwrap();
    for mechanism in [Mechanism::Gate, Mechanism::Diodes, Mechanism::TurnOff] {
        assert!(
            faster.of(mechanism) > base.of(mechanism),
            "{}",
            mechanism.name()
        );
    }
    let mut model = model(&specification, Scheme::Discontinuous);
    let mut circuit = *model.circuit();
    circuit.high.scale = 1e-9;
    circuit.low.scale = 1e-9;
    circuit.node_capacitance = Capacitance::from_coherent(1e-18);
    model.change(&circuit).unwrap();
    let empty = model.at(at(36.0, 6.0, 6.0)).unwrap().losses.unwrap();
    let left = empty.of(Mechanism::TurnOn).coherent();
    assert!(left < 1e-8, "{left}");
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 300, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn every_dissipated_power_is_non_negative(
        input in 30.0..44.0, output in 5.8..6.2, load in 0.05..6.0, index in 0..5_usize, scale in 0.0..3.0,
    ) {
        let specification = specification();
        let mut model = model(&specification, Scheme::ALL[index]);
        let mut circuit = *model.circuit();
        circuit.high.scale = scale;
        model.change(&circuit).unwrap();
        let outcome = model.at(at(input, output, load)).unwrap();
        if let Some(losses) = outcome.losses {
            for mechanism in Mechanism::ALL {
                prop_assert!(losses.of(mechanism).coherent() >= 0.0, "{} at {outcome:?}", mechanism.name());
            }
            prop_assert!(losses.turn_off_least().coherent() >= 0.0);
            prop_assert!(losses.total_least() <= losses.total());
            let efficiency = losses.efficiency_total().coherent();
            prop_assert!(efficiency > 0.0 && efficiency <= losses.efficiency_stage().coherent() && efficiency < 1.0);
        } else {
            prop_assert!(!outcome.findings.is_empty() || outcome.state != State::ZeroVoltage);
        }
    }
}

/// Parts changed so that they cannot be, and what is said of them.
#[test]
fn parts_that_cannot_be_are_findings() {
    let said = |from: &str, to: &str| {
        let parts = PARTS.replacen(from, to, 1);
        assert_ne!(parts, PARTS, "{from}");
        let outcome = outcome(&read(&text(), &parts), Scheme::FreewheelTransistors);
        assert!(outcome.losses.is_none() && outcome.temperatures.is_none());
        let all: Vec<String> = outcome.findings.iter().map(ToString::to_string).collect();
        all.join("\n")
    };
    assert_eq!(
        said(
            "saturation_current = \"24 A\"",
            "saturation_current = \"12 A\""
        ),
        "inductor `ferrite-4-turns`: peak current 15.98 A above the saturation current 12 A"
    );
    assert_eq!(
        said("rated_current = \"40 A\"", "rated_current = \"3 A\"")
            .lines()
            .next()
            .unwrap(),
        "high-side transistor `low-resistance`: carries 3.301 A rms, rated 3 A"
    );
    // 36 V over two pairs; the file's first transistor serves on both sides.
    assert_eq!(
        said("rated_voltage = \"40 V\"", "rated_voltage = \"17 V\""),
        "high-side transistor `low-resistance`: blocks 18 V, rated 17 V\n\
         low-side transistor `low-resistance`: blocks 18 V, rated 17 V"
    );
    // The clamp sees the 12 V between the upper level and the output, not the step.
    let clamp = |rated: &str| {
        let at = PARTS.find("[clamp.anti-series]").unwrap();
        let (before, clamp) = PARTS.split_at(at);
        let rated = format!("rated_voltage = \"{rated}\"");
        let parts = before.to_owned() + &clamp.replacen("rated_voltage = \"40 V\"", &rated, 1);
        outcome(&read(&text(), &parts), Scheme::FreewheelTransistors).findings
    };
    assert_eq!(clamp("13 V"), []);
    assert_eq!(
        clamp("11 V")[0].to_string(),
        "clamp `anti-series`: blocks 12 V, rated 11 V"
    );
    assert!(
        said("resistance_at_125C = \"6.2 mohm\"", "resistance_at_125C = \"3 mohm\"").starts_with(
            "high-side transistor `low-resistance`: resistance of 3 mΩ at 125 °C below 4 mΩ at 25 °C"
        )
    );
    let runaway = said(
        "thermal_resistance = \"38 K/W\"",
        "thermal_resistance = \"3800 K/W\"",
    );
    assert!(
        runaway.starts_with(
            "low-side transistor `low-resistance`: thermal runaway: with an rms current of "
        ),
        "{runaway}"
    );
    assert!(
        runaway.contains("and 3.8 kK/W") || runaway.contains("3800 K/W"),
        "{runaway}"
    );
    assert!(
        said(
            "rated_temperature = \"150 °C\"",
            "rated_temperature = \"42 °C\""
        )
        .contains("junction at 4")
    );
    // Data-sheet units: kilowatt per cubic metre, kilohertz, tesla.
    assert_eq!(
        said("k = 3.2,", "k = 77000,")
            .split(" give ")
            .next()
            .unwrap(),
        "inductor `ferrite-4-turns`: Steinmetz constants k = 7.7e4, alpha = 1.46, beta = 2.75"
    );
}

/// A parts file and the names in it, read with problems.
#[test]
fn problems_of_parts_name_file_place_and_remedy() {
    let problems = |text: &str, parts: Option<&str>| {
        Specification::read_with(text, parts)
            .unwrap_err()
            .to_string()
    };
    let with = |from: &str, to: &str| problems(&text(), Some(&PARTS.replacen(from, to, 1)));
    assert!(
        with("gate_charge = \"9 nC\"", "gate_charge = \"-9 nC\"").contains(
            "parts.file: has 1 problems, first 7:15: transistor.low-resistance.gate_charge: \"-9 nC\" is out of \
             range; expected a value from 0 C up to 100 µC"
        ),
        "{}",
        with("gate_charge = \"9 nC\"", "gate_charge = \"-9 nC\"")
    );
    let unknown = problems(
        &text().replace("\"anti-series\"", "\"anti-serie\""),
        Some(PARTS),
    );
    assert!(
        unknown.contains("clamp.part: is \"anti-serie\", which the parts file does not have as a clamp; did you mean `anti-series`?"),
        "{unknown}"
    );
    let missing = problems(&text(), None);
    assert!(
        missing.contains("parts.file: names a parts file, and its text was not handed over"),
        "{missing}"
    );
    let none = problems(
        &text().replace("[parts]\nfile = \"parts.toml\"\n", ""),
        None,
    );
    assert!(
        none.contains(
            "names a part, but there is no parts file; write file = \"parts.toml\" under [parts]"
        ),
        "{none}"
    );
}

/// A key beside the part overrides the part's.
#[test]
fn keys_beside_a_part_override_it() {
    let changed = set(&text(), "transistors.low.on_resistance", "\"7 mohm\"");
    let specification = read(&changed, PARTS);
    assert_eq!(specification.low.on_resistance.coherent(), 7e-3);
    assert_eq!(specification.low.data.gate_charge.unwrap().coherent(), 9e-9);
}

/// The energy of a turn-off at the peak of a check cell, computed outside this project by
/// integrating the channel's current over a junction's charge: 130.48 nJ.
#[test]
fn a_turn_off_walks_the_capacitance_of_the_junction() {
    let curve =
        "{ zero_bias = \"900 pF\", built_in = \"0.8 V\", grading = 0.5, floor = \"60 pF\" }";
    let text = specification_with(&[
        ("input.voltage", "\"44 V\""),
        ("output.voltage", "\"6 V\""),
        ("stage.inductance", "\"0.68 uH\""),
        ("stage.node_capacitance", "\"50 pF\""),
        ("clamp.output_capacitance", "{ constant = \"0 pF\" }"),
        ("transistors.high.output_capacitance", curve),
        ("transistors.low.output_capacitance", curve),
        ("transistors.low.turn_off_time", "\"0 ns\""),
        ("trip.delay", "\"0 ns\""),
        ("trip.threshold", "\"0.6 A\""),
        ("transistors.high.on_resistance", "\"0 ohm\""),
        ("transistors.high.resistance_at_125C", "\"0 ohm\""),
        ("transistors.low.on_resistance", "\"0 ohm\""),
        ("transistors.low.resistance_at_125C", "\"0 ohm\""),
        ("inductor.resistance", "\"0 ohm\""),
    ]);
    let specification = Specification::read(&text).unwrap();
    let mut model = model(&specification, Scheme::FreewheelTransistors);
    let outcome = model.at(at(44.0, 6.0, 6.0)).unwrap();
    let losses = outcome.losses.unwrap();
    let cell = model.circuit().cell_time().coherent();
    let peak = outcome.peak_current.unwrap().coherent();
    let energy = losses.turn_off_least().coherent() * cell;
    assert!((peak / 16.587_253_616 - 1.0).abs() < 5e-3, "{peak}");
    assert!((energy / 130.48e-9 - 1.0).abs() < 1e-2, "{energy}");
}

/// Every transistor that turns off under current counts; recovery only beyond the output
/// charge; the inductor of continuous conduction lends nothing.
#[test]
fn turn_off_recovery_and_inductor_are_each_schemes_own() {
    let of = |changes: &[(&str, &str)], scheme: Scheme, m: Mechanism| {
        let specification = Specification::read(&specification_with(changes)).unwrap();
        let mut model = model(&specification, scheme);
        let outcome = model.at(at(36.0, 6.0, 6.0)).unwrap();
        outcome.losses.unwrap().of(m).coherent()
    };
    let soft = Scheme::FreewheelTransistors;
    let continuous = Scheme::Continuous;
    let clamp = ("clamp.turn_off_time", "\"20 ns\"");
    let low = ("transistors.low.turn_off_time", "\"20 ns\"");
    let usual = of(&[], soft, Mechanism::TurnOff);
    for slow in [clamp, low] {
        assert!(
            of(&[slow], soft, Mechanism::TurnOff) > 1.02 * usual,
            "{slow:?}"
        );
        // Its low side hands over to its diode, and it has no clamp.
        let other = of(&[], continuous, Mechanism::TurnOff);
        approx::assert_relative_eq!(of(&[slow], continuous, Mechanism::TurnOff), other);
    }
    // 14 nC, of which 300 pF over 18 V hold 5.4 nC, at 280 kHz and 18 V.
    let recovered = of(&[], continuous, Mechanism::Recovery);
    approx::assert_relative_eq!(recovered, 8.6e-9 * 18.0 * 280e3, max_relative = 1e-9);
    let apart = ("transistors.low.recovery_charge_excludes_output", "true");
    let recovered = of(&[apart], continuous, Mechanism::Recovery);
    approx::assert_relative_eq!(recovered, 14e-9 * 18.0 * 280e3, max_relative = 1e-9);
    let core = of(&[], continuous, Mechanism::Core);
    let turns = ("inductor.turns", "8");
    approx::assert_relative_eq!(of(&[turns], continuous, Mechanism::Core), core);
    let turns = ("continuous.turns", "18");
    assert!(of(&[turns], continuous, Mechanism::Core) < 0.2 * core);
}
