//! Formulas of the losses against second computations that share nothing with them:
//! the equations of motion marched in time, waveforms sampled, fields solved on a grid.

use std::f64::consts::PI;

use serde_json::Value;
use slewbook::equation::Derivation;
use slewbook::loss::{conduction, core, drive, turn_on, winding};
use slewbook::quantity::Dimensioned;
use slewbook::stage::{Specification, Stage};

use crate::loss::{LAW, hard};
use crate::loss_formulas::{input, steinmetz};

fn of<Q: Dimensioned>(derivation: &Derivation<Q>) -> f64 {
    derivation.value().unwrap().coherent()
}

fn near(found: f64, expected: f64, relative: f64, what: &str) {
    assert!(
        (found / expected - 1.0).abs() < relative,
        "{what}: {found} is not {expected}"
    );
}

/// The node capacitance of the 44 V stage: a junction on either side of the node, and
/// 50 pF.
fn capacitance(u: f64) -> f64 {
    let junction = |v: f64| 900e-12 / (1.0 + v / 0.8).sqrt() + 60e-12;
    junction(u) + junction(22.0 - u) + 50e-12
}

/// The ring from the lower level and rest, in steps of a picosecond and a quarter
/// (classical Runge-Kutta): node voltage, current into the node, energy of a turn-on
/// from here, and that energy's integral over the time.
#[test]
fn the_ring_marched_in_time() {
    const STEP: f64 = 1.25e-12;
    let (output, level, inductance) = (6.0, 22.0, 0.68e-6);
    let rates = |y: [f64; 4]| {
        let rate = y[1] / capacitance(y[0]);
        [
            rate,
            (output - y[0]) / inductance,
            -(level - y[0]) * y[1],
            y[2],
        ]
    };
    let turn_on_from = |v0: f64| {
        // The midpoint rule over the node's way.
        const PIECES: u32 = 200_000;
        let width = (level - v0) / f64::from(PIECES);
        (0..PIECES)
            .map(|k| v0 + width * (f64::from(k) + 0.5))
            .map(|u| (level - u) * capacitance(u) * width)
            .sum::<f64>()
    };
    let worst = turn_on_from(0.0);
    let mut y = [0.0, 0.0, worst, 0.0];
    let (mut time, mut most) = (0.0, 0.0_f64);
    let after = |y: [f64; 4], slope: [f64; 4], step: f64| {
        let mut next = y;
        for (value, slope) in next.iter_mut().zip(slope) {
            *value += step * slope;
        }
        next
    };
    let advance = |y: [f64; 4], step: f64| {
        let one = rates(y);
        let two = rates(after(y, one, step / 2.0));
        let three = rates(after(y, two, step / 2.0));
        let four = rates(after(y, three, step));
        let mut mean = [0.0; 4];
        for (k, mean) in mean.iter_mut().enumerate() {
            *mean = (one[k] + 2.0 * two[k] + 2.0 * three[k] + four[k]) / 6.0;
        }
        after(y, mean, step)
    };
    loop {
        let next = advance(y, STEP);
        if time > STEP && next[1] <= 0.0 {
            // The last step ends where the current is zero: the top.
            let part = STEP * y[1] / (y[1] - next[1]);
            y = advance(y, part);
            time += part;
            break;
        }
        y = next;
        time += STEP;
        most = most.max(y[1]);
    }
    let stage = hard("44 V", "6 V", LAW, LAW, "50 pF");
    near(of(&turn_on::ring_top(&stage)), y[0], 1e-6, "top");
    near(of(&turn_on::hard_worst(&stage)), worst, 1e-6, "worst");
    near(of(&turn_on::hard_best(&stage)), y[2], 1e-6, "best");
    near(of(&turn_on::hard_mean(&stage)), y[3] / time, 1e-6, "mean");
    near(
        of(&turn_on::hard_damped(&stage)),
        turn_on_from(output),
        1e-6,
        "damped",
    );
    // At the output voltage all of the ring's energy is in the inductor.
    near(
        of(&turn_on::ring_energy(&stage)),
        inductance * most * most / 2.0,
        1e-6,
        "ring",
    );
}

/// A turn-off in small steps: the channel's current falls in a straight line, the rest
/// charges the capacitance until the step is reached; what the channel dissipates.
#[test]
fn a_turn_off_marched_in_time() {
    const STEPS: u32 = 400_000;
    let (step, current, time) = (22.0, 15.0, 4e-9);
    // The step is reached early, late, and not before the current has gone.
    for capacitance in [6e-10, 1.2e-9, 6e-9] {
        let width = time / f64::from(STEPS);
        let (mut voltage, mut energy) = (0.0_f64, 0.0);
        for k in 0..STEPS {
            let channel = current * (1.0 - (f64::from(k) + 0.5) / f64::from(STEPS));
            let next = (voltage + (current - channel) * width / capacitance).min(step);
            energy += f64::midpoint(voltage, next) * channel * width;
            voltage = next;
        }
        let found = drive::overlap_limited(
            input("V", "step", step),
            input("I", "current", current),
            input("t_off", "time", time),
            input("C_eq", "capacitance", capacitance),
        );
        near(of(&found), energy, 1e-6, &format!("{capacitance} F"));
    }
}

/// The improved generalised method by its definition, on samples of the flux: the mean
/// of `k_i·|dB/dt|^α·ΔB^(β − α)`, its constant from samples of a cosine.
fn on_samples(alpha: f64, beta: f64, flux: impl Fn(f64) -> f64, swing: f64, period: f64) -> f64 {
    const SAMPLES: u32 = 400_000;
    let turn: f64 = (0..SAMPLES)
        .map(|k| 2.0 * PI * (f64::from(k) + 0.5) / f64::from(SAMPLES))
        .map(|angle| angle.cos().abs().powf(alpha) * 2f64.powf(beta - alpha))
        .sum::<f64>()
        * (2.0 * PI / f64::from(SAMPLES));
    let constant = 3.2 / ((2.0 * PI).powf(alpha - 1.0) * turn);
    let width = period / f64::from(SAMPLES);
    let mean: f64 = (0..SAMPLES)
        .map(|k| {
            let (from, to) = (f64::from(k) * width, f64::from(k + 1) * width);
            ((flux(to) - flux(from)) / width).abs().powf(alpha)
        })
        .sum::<f64>()
        / f64::from(SAMPLES);
    constant * mean * swing.powf(beta - alpha)
}

#[test]
fn the_generalised_method_on_samples() {
    for (alpha, beta) in [(1.2, 2.1), (1.46, 2.75), (1.9, 2.9)] {
        let law = steinmetz(3.2, alpha, beta);
        let (frequency, amplitude) = (280e3, 0.05);
        let sine = |t: f64| amplitude * (2.0 * PI * frequency * t).sin();
        let expected = on_samples(alpha, beta, sine, 2.0 * amplitude, 1.0 / frequency);
        let found = core::sinusoidal(
            &law,
            input("f", "frequency", frequency),
            input("B", "amplitude", amplitude),
        );
        near(of(&found), expected, 1e-6, "sinusoid");
        // Up in a quarter, down in a half, and at rest for the last quarter.
        let (swing, period) = (0.1, 4e-6);
        let triangle = |t: f64| {
            let part = t / period;
            if part < 0.25 {
                swing * part / 0.25
            } else if part < 0.75 {
                swing * (0.75 - part) / 0.5
            } else {
                0.0
            }
        };
        let expected = on_samples(alpha, beta, triangle, swing, period);
        let found = core::triangular(
            &law,
            input("Delta B", "swing", swing),
            input("t_1", "rise", 1e-6),
            input("t_2", "fall", 2e-6),
            input("T", "period", period),
        );
        near(of(&found), expected, 1e-6, "triangle");
    }
}

type Complex = [f64; 2];

fn times(one: Complex, two: Complex) -> Complex {
    [
        one[0] * two[0] - one[1] * two[1],
        one[0] * two[1] + one[1] * two[0],
    ]
}

fn over(one: Complex, two: Complex) -> Complex {
    let size = two[0] * two[0] + two[1] * two[1];
    let [re, im] = times(one, [two[0], -two[1]]);
    [re / size, im / size]
}

/// The loss of a foil of `thickness` skin depths between fields of `left` and `right`,
/// over that of the direct current `right − left`: the field obeys `H'' = 2j·H` in skin
/// depths, solved by central differences (Thomas's elimination).
fn foil(thickness: f64, left: f64, right: f64, cells: usize) -> f64 {
    let count = f64::from(u32::try_from(cells).unwrap());
    let width = thickness / count;
    // H[k-1] − (2 + 2j·h²)·H[k] + H[k+1] = 0 between the two sides.
    let middle = [-2.0, -2.0 * width * width];
    let inner = cells - 1;
    let (mut upper, mut known) = (vec![[0.0; 2]; inner], vec![[0.0; 2]; inner]);
    for k in 0..inner {
        // The left side is known; the right one enters when the elimination goes back.
        let known_side = if k == 0 { [-left, 0.0] } else { [0.0; 2] };
        let (mut pivot, mut value) = (middle, known_side);
        if k > 0 {
            let (above, before) = (upper[k - 1], known[k - 1]);
            pivot = [pivot[0] - above[0], pivot[1] - above[1]];
            value = [value[0] - before[0], value[1] - before[1]];
        }
        upper[k] = over([1.0, 0.0], pivot);
        known[k] = over(value, pivot);
    }
    let mut field = vec![[left, 0.0]; cells + 1];
    field[cells] = [right, 0.0];
    for k in (0..inner).rev() {
        let next = times(upper[k], field[k + 2]);
        field[k + 1] = [known[k][0] - next[0], known[k][1] - next[1]];
    }
    // The current density is the field's slope.
    let squares: f64 = field
        .windows(2)
        .map(|pair| {
            let slope = [pair[1][0] - pair[0][0], pair[1][1] - pair[0][1]];
            (slope[0] * slope[0] + slope[1] * slope[1]) / width
        })
        .sum();
    squares * thickness
}

/// A stack of foils, the field rising by one from each to the next.
#[test]
fn layers_of_foil_on_a_grid() {
    for (thickness, layers) in [(0.4, 1_u32), (0.8, 2), (1.3, 3), (2.5, 4), (4.0, 8)] {
        let stack = |cells: usize| {
            let sum: f64 = (0..layers)
                .map(|m| foil(thickness, f64::from(m), f64::from(m + 1), cells))
                .sum();
            sum / f64::from(layers)
        };
        // The error falls with the square of the width: extrapolated.
        let (coarse, fine) = (stack(1000), stack(2000));
        let expected = fine + (fine - coarse) / 3.0;
        let found = winding::layer_factor(
            input("phi", "thickness", thickness),
            input("p", "layers", f64::from(layers)),
        );
        near(
            of(&found),
            expected,
            1e-7,
            &format!("{thickness}, {layers}"),
        );
    }
}

/// The mean square of a current given by its corners, on samples; each stretch with the
/// number of times that a transistor carries it in a period of so many cells.
fn rms(stretches: &[(f64, f64, f64, f64)], cells: f64, period: f64) -> f64 {
    const SAMPLES: u32 = 20_000;
    let sum: f64 = stretches
        .iter()
        .map(|(count, time, from, to)| {
            let squares: f64 = (0..SAMPLES)
                .map(|k| (f64::from(k) + 0.5) / f64::from(SAMPLES))
                .map(|part| (from + (to - from) * part).powi(2))
                .sum();
            count * time * squares / f64::from(SAMPLES)
        })
        .sum();
    (sum / (cells * period)).sqrt()
}

/// The cells of ten specifications, integrated outside this project: rms values from
/// their currents and times, the transistors counted by following one pair's gate
/// through a switching period.
#[test]
fn rms_values_of_cells_integrated_elsewhere() {
    let reference: Value = serde_json::from_str(include_str!("../data/independent.json")).unwrap();
    let mut cells = 0;
    for (file, entry) in reference.as_object().unwrap() {
        let path = format!(
            "{}/tests/data/independent/{file}.toml",
            env!("CARGO_MANIFEST_DIR")
        );
        let specification = Specification::read(&std::fs::read_to_string(path).unwrap()).unwrap();
        let inductance = specification.inductance.unwrap();
        let stage = &Stage::new(specification, inductance, "cells");
        let s = &stage.specification;
        let force = entry["results"]["trip_in_force"]["value"].as_f64().unwrap();
        let trip = input("I_set", "trip threshold in force", force);
        for name in ["cell_at_largest_current", "cell_at_least_current"] {
            let cell = &entry["results"][name];
            if cell["state"] != "six intervals" {
                continue;
            }
            let of = |key: &str| cell["values"][key].as_f64().unwrap();
            let at = |key: &str| cell["at"][key].as_f64().unwrap();
            let pairs = u32::from(s.levels) - 1;
            let step = at("input_voltage") / f64::from(pairs);
            let band = (0..pairs)
                .rev()
                .find(|m| f64::from(*m) * step < at("output_voltage"))
                .unwrap();
            let period = 1.0 / (f64::from(pairs) * s.switching_frequency.coherent());
            let energise = (of("on_time"), -of("remaining_current"), of("peak_current"));
            let release = (
                of("release_time"),
                of("current_after_fall"),
                -of("release_current"),
            );
            let hold = (
                of("hold_time"),
                of("clamp_on_current"),
                of("hold_end_current"),
            );
            let edges = [
                (
                    of("rise_time"),
                    of("hold_end_current"),
                    of("remaining_current"),
                ),
                (
                    of("fall_time"),
                    of("peak_current"),
                    of("current_after_fall"),
                ),
                (
                    of("partial_time"),
                    of("release_current"),
                    of("clamp_on_current"),
                ),
            ];
            // A pair's gate is high from its firing for `band` cells and one on-time.
            let (mut high, mut low) = (vec![], vec![]);
            for cell in 0..pairs {
                let side = if cell <= band { &mut high } else { &mut low };
                side.push((1.0, energise.0, energise.1, energise.2));
                let side = if cell < band { &mut high } else { &mut low };
                side.push((1.0, release.0, release.1, release.2));
            }
            let mut all = vec![energise, release, hold];
            all.extend(edges);
            let all: Vec<_> = all.into_iter().map(|(t, a, b)| (1.0, t, a, b)).collect();
            let point = stage
                .nominal()
                .with(stage.axes.output_current, at("output_current"));
            let found = |derivation: Derivation<slewbook::quantity::Current>| {
                derivation.at(&point).unwrap().coherent()
            };
            let what = format!("{file}: {name}");
            let whole = f64::from(pairs);
            let cases = [
                (
                    conduction::inductor_rms(stage, trip),
                    rms(&all, 1.0, period),
                ),
                (
                    conduction::high_side_rms(stage, trip),
                    rms(&high, whole, period),
                ),
                (
                    conduction::low_side_rms(stage, trip),
                    rms(&low, whole, period),
                ),
                (
                    conduction::clamp_rms(stage, trip),
                    rms(&[(1.0, hold.0, hold.1, hold.2)], 1.0, period),
                ),
            ];
            for (derivation, expected) in cases {
                near(found(derivation), expected, 1e-7, &what);
            }
            cells += 1;
        }
    }
    println!("rms values of {cells} cells");
    assert!(cells >= 15, "{cells}");
}
