//! Constants of a core from measured losses: 346 symmetric triangles of one ferrite,
//! Guillod et al., 2023, doi 10.1109/APEC43580.2023.10131348, data doi
//! 10.5281/zenodo.7368936; and laws that must hold whatever the core.

use slewbook::equation::Term;
use slewbook::loss::core::{self, Steinmetz};
use slewbook::loss::measured_core::{CoreError, MeasuredCore, Point, Waveform};
use slewbook::quantity::{Dimensioned as _, MagneticFluxDensity, Time, VolumetricPowerDensity};

use crate::program::{folder, run, succeed};
use crate::support::Random;

/// The measured table, its header in the form that the program reads; none in a fresh clone.
fn measured() -> Option<String> {
    let path = concat!(
        env!("CARGO_MANIFEST_DIR"),
        "/../shared/evidence/core-loss/fit.csv"
    );
    let Ok(text) = std::fs::read_to_string(path) else {
        println!("skipped: no {path}");
        return None;
    };
    Some(text.replacen("measured_W_per_m3", "measured_W/m^3", 1))
}

/// The loss of a symmetric triangle by the library's own method.
fn triangle(law: [f64; 3], frequency: f64, amplitude: f64) -> f64 {
    let [k, alpha, beta] = law;
    let law = Steinmetz::new(
        VolumetricPowerDensity::from_coherent(k),
        alpha.into(),
        beta.into(),
    );
    let time = |name, seconds| Term::input(name, "time", Time::from_coherent(seconds));
    let swing = MagneticFluxDensity::from_coherent(2.0 * amplitude);
    core::triangular(
        &law,
        Term::input("Delta B", "swing", swing),
        time("t_1", 0.5 / frequency),
        time("t_2", 0.5 / frequency),
        time("T", 1.0 / frequency),
    )
    .value()
    .unwrap()
    .coherent()
}

/// The constants of `P = k f^alpha B_pp^beta` by least squares of the relative error were
/// recomputed from the table outside the project: steps of Gauss and Newton with derivatives
/// in closed form until they were below 1e-14. The sizes of the errors are recomputed too.
#[test]
fn a_measured_core_has_the_constants_that_were_recomputed() {
    let Some(text) = measured() else { return };
    let folder = folder("core-loss");
    std::fs::write(folder.join("losses.csv"), text).unwrap();
    let arguments = [
        "core-loss",
        "losses.csv",
        "--peak-to-peak",
        "--triangles",
        "--json",
    ];
    let json = succeed(&folder, &arguments);
    let json: serde_json::Value = serde_json::from_str(&json).unwrap();
    let constant = |place: usize| json["constants"][place]["value"].as_f64().unwrap();
    let near = |found: f64, expected: f64, within: f64| {
        assert!(
            (found / expected - 1.0).abs() < within,
            "{found}, {expected}"
        );
    };
    let law = [0, 1, 2].map(constant);
    near(law[1], 1.332_017_768_9, 1e-9);
    near(law[2], 2.422_802_333_8, 1e-9);
    // As a triangle's loss in the swing from peak to peak.
    let k = triangle(law, 1e5, 0.1) / (1e5f64.powf(law[1]) * 0.2f64.powf(law[2]));
    near(k, 1.397_219_243_2, 1e-8);
    let error = &json["relative_error"];
    near(error["mean_size"].as_f64().unwrap(), 0.0692, 1e-3);
    near(error["largest"].as_f64().unwrap().abs(), 0.220, 5e-3);
    assert_eq!(json["points"], 346);
    let said = succeed(&folder, &arguments[..4]);
    assert!(
        said.starts_with("losses.csv: 346 points of symmetric triangles, 50.1 kHz to"),
        "{said}"
    );
    for words in [
        "alpha = 1.332 ±",
        "k and alpha −0.9",
        "beta = 2.4228 }",
        "too small",
    ] {
        assert!(said.contains(words), "{words} in\n{said}");
    }
}

/// Without noise the constants come back, of sinusoids and of triangles, and what the fit
/// takes for a triangle is what the library's method gives.
#[test]
fn the_constants_of_points_come_back() {
    let mut random = Random(5);
    let mut between = |low: f64, high: f64| {
        let part = f64::from(u32::try_from(random.below(1 << 24)).unwrap()) / f64::from(1 << 24);
        low + (high - low) * part
    };
    for waveform in [Waveform::Sinusoid, Waveform::Triangle] {
        for _ in 0..20 {
            let law = [between(0.5, 40.0), between(1.0, 2.2), between(1.8, 3.0)];
            let points: Vec<Point> = (0..12)
                .map(|_| {
                    let (frequency, amplitude) = (between(2e4, 1e6), between(0.01, 0.3));
                    let loss = match waveform {
                        Waveform::Sinusoid => {
                            law[0] * frequency.powf(law[1]) * amplitude.powf(law[2])
                        }
                        Waveform::Triangle => triangle(law, frequency, amplitude),
                    };
                    Point {
                        frequency,
                        amplitude,
                        loss,
                    }
                })
                .collect();
            let found = MeasuredCore::new(&points, waveform).unwrap();
            let own = [found.law.k, found.law.alpha, found.law.beta];
            for (found, law) in own.iter().zip(law) {
                assert!((found / law - 1.0).abs() < 1e-8, "{found}, {law}");
            }
        }
    }
}

/// With errors drawn of 5 %, the standard uncertainties cover the truth as they say.
#[test]
fn the_uncertainties_cover_the_truth() {
    let mut random = Random(17);
    let mut even = || f64::from(u32::try_from(random.below(1 << 24)).unwrap()) / f64::from(1 << 24);
    let law = [3.2f64, 1.46, 2.75];
    let (mut inside, tables) = ([0, 0, 0], 400);
    for _ in 0..tables {
        let points: Vec<Point> = (0..30)
            .map(|_| {
                let (frequency, amplitude) = (5e4 * 10f64.powf(even()), 0.02 * 10f64.powf(even()));
                // Twelve even numbers make a normal one to the purpose.
                let error: f64 = (0..12).map(|_| even()).sum::<f64>() - 6.0;
                let loss = law[0] * frequency.powf(law[1]) * amplitude.powf(law[2]);
                Point {
                    frequency,
                    amplitude,
                    loss: loss * (1.0 + 0.05 * error),
                }
            })
            .collect();
        let found = MeasuredCore::new(&points, Waveform::Sinusoid).unwrap();
        let own = [found.law.k, found.law.alpha, found.law.beta];
        for (place, u) in found.uncertainties().into_iter().enumerate() {
            // 97.5 % of Student's distribution with 27 degrees of freedom: 2.052, as tables
            // have it, from memory.
            inside[place] += u32::from((own[place] - law[place]).abs() < 2.052 * u);
        }
    }
    // Three standard deviations of a share of 95 % in 400 are 3.3 %.
    for count in inside {
        let share = f64::from(count) / f64::from(tables);
        assert!((share - 0.95).abs() < 0.034, "{inside:?}");
    }
}

#[test]
fn tables_that_tell_no_constants_are_refused() {
    let points = |rows: &[[f64; 3]]| -> Vec<Point> {
        let point = |[frequency, amplitude, loss]: &[f64; 3]| Point {
            frequency: *frequency,
            amplitude: *amplitude,
            loss: *loss,
        };
        rows.iter().map(point).collect()
    };
    let one = points(&[
        [1e5, 0.1, 1e5],
        [1e5, 0.2, 5e5],
        [1e5, 0.3, 1.4e6],
        [1e5, 0.15, 3e5],
    ]);
    let refused = MeasuredCore::new(&one, Waveform::Sinusoid).unwrap_err();
    assert!(
        refused
            .to_string()
            .contains("the data do not tell k and alpha"),
        "{refused}"
    );
    let zero = points(&[[1e5, 0.1, 1e5], [2e5, 0.0, 5e5]]);
    let refused = MeasuredCore::new(&zero, Waveform::Sinusoid).unwrap_err();
    assert!(
        matches!(refused, CoreError::Point { point: 2, .. }),
        "{refused}"
    );

    let folder = folder("core-loss-refused");
    let good =
        "frequency_kHz,flux_mT,loss_kW/m^3\n100,100,60\n200,100,170\n100,200,340\n200,200,960\n";
    let write = |text: &str| std::fs::write(folder.join("losses.csv"), text).unwrap();
    write(good);
    assert!(succeed(&folder, &["core-loss", "losses.csv"]).contains("4 points of sinusoids"));
    for (from, to, words) in [
        ("frequency_kHz", "frequency", "no column is a frequency"),
        ("flux_mT", "flux_kHz", "more than one column is a frequency"),
        ("loss_kW/m^3", "loss_W", "no column is a loss density"),
        (
            "100,200,340",
            "100,200,-340",
            "point 3: loss density -340000; expected",
        ),
        ("100,200,340", "100,200", "line 4"),
        ("\n200,200,960\n", "\n", "3 points for 3 parameters"),
    ] {
        write(&good.replacen(from, to, 1));
        let output = run(&folder, &["core-loss", "losses.csv"]);
        let said = String::from_utf8(output.stderr).unwrap();
        assert_eq!(output.status.code(), Some(2), "{to}: {said}");
        assert!(
            said.starts_with("losses.csv: ") && said.contains(words),
            "{to}: {said}"
        );
    }
    for more in [
        &["core-loss"][..],
        &["core-loss", "nowhere.csv"],
        &["core-loss", "losses.csv", "--sines"],
    ] {
        assert_eq!(run(&folder, more).status.code(), Some(2));
    }
}
