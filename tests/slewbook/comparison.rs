//! `slewbook compare`: what it says, draws and writes is of one piece.

use serde_json::Value;
use slewbook::loss::Model;
use slewbook::quantity::unit::{ampere, volt};
use slewbook::quantity::{Dimensioned as _, Inductance};
use slewbook::scheme::Scheme;
use slewbook::stage::{DEMONSTRATION, OperatingPoint, Specification};
use slewbook::table::Table;

use crate::program::{folder, run, succeed, write};
use crate::support::{is_number_word, sha256};

/// Whether two values agree to the last digit or two: JSON is read with a rounding.
fn same(one: Option<f64>, two: Option<f64>) -> bool {
    match (one, two) {
        (Some(one), Some(two)) => (one - two).abs() <= 1e-15 * two.abs() * 4.0,
        (one, two) => one == two,
    }
}

/// The scheme tables and figures of a comparison, and its JSON.
#[test]
fn a_comparison_is_told_drawn_and_written() {
    let folder = folder("compare");
    let file = write(&folder, DEMONSTRATION);
    let said = succeed(&folder, &["compare", file, "-o", "out"]);
    for scheme in Scheme::ALL {
        assert!(
            said.contains(&format!("{scheme} ({})", scheme.words())),
            "{said}"
        );
    }
    assert!(
        said.contains("Conclusion:") && !said.contains("Not compared"),
        "{said}"
    );
    assert!(
        said.split_whitespace().all(|word| !is_number_word(word)),
        "{said}"
    );
    let json: Value =
        serde_json::from_str(&succeed(&folder, &["compare", file, "--json"])).unwrap();
    assert_eq!(json["input_hash"], sha256(DEMONSTRATION));
    for scheme in Scheme::ALL {
        let points = json["schemes"][scheme.name()].as_array().unwrap();
        // The nominal point, and 25 loads at three input voltages.
        assert_eq!(points.len(), 76);
        let mut rows = 0;
        let bytes = std::fs::read(folder.join(format!("out/losses-{scheme}.csv"))).unwrap();
        let table = Table::read_csv(&bytes[..]).unwrap();
        assert_eq!(table.rows(), points.len());
        for (row, point) in points.iter().enumerate() {
            let of = |name: &str| table.column(name).unwrap().get(row);
            for key in ["input_voltage", "output_voltage", "output_current"] {
                assert!(same(of(key), point[key].as_f64()));
            }
            assert!(same(
                of("efficiency_total"),
                point["efficiency_total"].as_f64()
            ));
            let Some(mechanisms) = point["loss_by_mechanism"].as_object() else {
                assert!(point["loss_by_part"].is_null() && of("loss_total").is_none());
                continue;
            };
            rows += 1;
            let sum = |key: &str| -> f64 {
                let all = point[key].as_object().unwrap();
                all.values().map(|w| w.as_f64().unwrap()).sum()
            };
            let (by_mechanism, by_part) = (sum("loss_by_mechanism"), sum("loss_by_part"));
            assert!((by_mechanism / by_part - 1.0).abs() < 1e-12);
            assert!((by_mechanism / of("loss_total").unwrap() - 1.0).abs() < 1e-12);
            for (name, watts) in mechanisms {
                assert!(same(of(&format!("loss_{name}")), watts.as_f64()), "{name}");
            }
            let out = point["output_voltage"].as_f64().unwrap()
                * point["output_current"].as_f64().unwrap();
            let total = point["efficiency_total"].as_f64().unwrap();
            assert!((out / (out + by_mechanism) / total - 1.0).abs() < 1e-6);
            let stage = point["efficiency_stage"].as_f64().unwrap();
            assert!(total < stage && stage < 1.0);
            let temperatures = point["temperatures"].as_object().unwrap();
            assert!(temperatures.values().all(|t| t.as_f64().unwrap() >= 40.0));
            // In the same unit here and there.
            for (name, header) in [
                ("high_side", "junction_high"),
                ("low_side", "junction_low"),
                ("clamp", "junction_clamp"),
                ("winding", "winding_temperature"),
            ] {
                assert_eq!(table.column(header).unwrap().unit(), "degC");
                let found = temperatures.get(name).and_then(Value::as_f64);
                assert!(same(of(header), found), "{scheme}: {name}");
            }
        }
        assert!(rows > 50, "{scheme}: {rows}");
    }
    // The cell with the inductance left at its peak is a cell like any other: solved
    // again with that inductance, it has that peak, by which the data's two points are
    // joined. Each loses inductance and gains current.
    for scheme in Scheme::ALL {
        let left = &json["saturated"][scheme.name()];
        if scheme == Scheme::Continuous {
            assert!(left.is_null(), "its inductor is another part");
            continue;
        }
        let of = |key: &str| left[key].as_f64().unwrap();
        let nominal = json["schemes"][scheme.name()][0]["peak_current"].as_f64();
        assert!(of("peak_current") > nominal.unwrap() && of("fall") > 0.05);
        let part = of("peak_current") / 24.0;
        let fall = 0.25 * part * part / (1.0 + 0.25 * part * part);
        assert!((of("fall") / fall - 1.0).abs() < 1e-8, "{left}");
        assert!((of("inductance") / (0.68e-6 * (1.0 - fall)) - 1.0).abs() < 1e-8);
        let specification = Specification::read(DEMONSTRATION).unwrap();
        let inductance = Inductance::from_coherent(of("inductance"));
        let mut again = Model::new(&specification, scheme, inductance, 0.4 * ampere).unwrap();
        let outcome = again.at(OperatingPoint {
            input_voltage: 36.0 * volt,
            output_voltage: 6.0 * volt,
            output_current: 6.0 * ampere,
        });
        let outcome = outcome.unwrap();
        let peak = outcome.peak_current.unwrap().coherent();
        assert!((peak / of("peak_current") - 1.0).abs() < 1e-8);
        let total = outcome.losses.unwrap().total().coherent();
        assert!((total / of("loss_total") - 1.0).abs() < 1e-8);
    }
    assert!(
        said.contains("saturation: at the peak the inductance is"),
        "{said}"
    );
    let mut drawn = 0;
    for entry in std::fs::read_dir(folder.join("out")).unwrap() {
        let path = entry.unwrap().path();
        if path.extension().is_some_and(|e| e == "svg") {
            let figure = std::fs::read_to_string(&path).unwrap();
            let document = roxmltree::Document::parse(&figure).unwrap();
            let root = document.root_element();
            assert_eq!(root.attribute("role"), Some("img"));
            for part in ["title", "desc"] {
                let found = root.children().find(|node| node.tag_name().name() == part);
                assert!(
                    found
                        .and_then(|node| node.text())
                        .is_some_and(|t| !t.is_empty())
                );
            }
            assert!(!figure.contains("NaN"));
            drawn += 1;
        }
    }
    // Bars, two efficiencies, the inductance, and a map against each other scheme.
    assert_eq!(drawn, 8);
    for name in ["inductance", "margin"] {
        let bytes = std::fs::read(folder.join(format!("out/losses-over-{name}.csv"))).unwrap();
        assert!(Table::read_csv(&bytes[..]).unwrap().rows() > 20);
    }
    let refused = run(&folder, &["compare"]);
    assert_eq!(refused.status.code(), Some(2));
}
