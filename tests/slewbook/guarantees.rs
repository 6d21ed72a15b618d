//! Guaranteed bounds of the results, as documents and machines get them.

use std::sync::LazyLock;

use slewbook::bound::Effort;
use slewbook::design::{self, Design, Guarantee};
use slewbook::equation::Program;
use slewbook::stage::DEMONSTRATION;

use crate::program::{folder, succeed};
use crate::support::{Random, specification_with};

/// Bounds that are soon given up.
const COARSE: Effort = Effort {
    evaluations: 40,
    excess: 1e-6,
    work: u64::MAX,
};

fn coarse(source: &str) -> Design {
    let mut design = Design::derive(source).unwrap();
    design.guarantee(COARSE, &|_, _| {}).unwrap();
    design
}

static BOUNDED: LazyLock<Design> = LazyLock::new(|| coarse(DEMONSTRATION));

#[test]
fn every_result_is_bounded_and_lies_inside() {
    let design = &*BOUNDED;
    let mut given_up = 0;
    let mut random = Random(5);
    for finding in &design.findings {
        let name = finding.name();
        let Some(bounds) = finding.guarantee.bounds() else {
            // What so few boxes do not prove is said, and not made up.
            let reason = finding.guarantee.reason().unwrap();
            assert!(reason.starts_with("no bound: "), "{name}: {reason}");
            continue;
        };
        let value = finding.value().unwrap();
        assert!(bounds.low <= value && value <= bounds.high, "{name}");
        given_up += usize::from(bounds.exhausted);
        let sentence = finding.guarantee.sentence();
        assert_eq!(
            sentence.contains("not tightened further"),
            bounds.exhausted,
            "{sentence}"
        );
        // Ranges and tolerance, sampled without the search that proves the bound.
        let program = Program::compile(&[finding.record.result()]).unwrap();
        let mut inputs = finding.point.inputs(&program);
        let inductance = design.stage.axes.inductance;
        let [input, output] = design.stage.spans();
        let own = finding.point.get(inductance).is_some();
        for _ in 0..20 {
            let mut set = |symbol, low: f64, high: f64| {
                let part =
                    f64::from(u32::try_from(random.next() >> 32).unwrap()) / f64::from(u32::MAX);
                if let Some(place) = program.position(symbol) {
                    inputs[place] = low + (high - low) * part;
                }
            };
            set(input.symbol, input.low, input.high);
            set(output.symbol, output.low, output.high);
            if !own {
                set(
                    inductance,
                    0.8 * inductance.value(),
                    1.2 * inductance.value(),
                );
            }
            let sampled: f64 = program.run(&inputs)[0];
            assert!(
                bounds.low <= sampled && sampled <= bounds.high,
                "{name}: {sampled} outside {bounds:?}"
            );
        }
    }
    assert!(given_up > 0, "no bound was given up");
}

#[test]
fn bounds_repeat_byte_for_byte_and_show_everywhere() {
    let quick = Design::derive(DEMONSTRATION).unwrap();
    let document = slewbook::rationale::html(&quick).unwrap();
    assert!(document.contains("slewbook rationale --bounds</code> adds them"));
    // A closed form has its bound without being asked.
    let sentence = quick
        .finding("freewheel_floor")
        .unwrap()
        .guarantee
        .sentence();
    assert_eq!(
        sentence,
        "for every combination inside the ranges and tolerances: between 329.8 mA and 697.3 mA"
    );
    assert!(document.contains(&sentence));
    let peak = &quick.finding("peak_current").unwrap().guarantee;
    assert_eq!(*peak, Guarantee::NotAsked);
    assert!(peak.reason().unwrap().contains("--bounds"));

    let asked = &*BOUNDED;
    let document = slewbook::rationale::html(asked).unwrap();
    assert!(!document.contains("adds them") && document.contains("--bounds -o rationale"));
    let json = design::json(asked);
    assert_eq!(json, design::json(&coarse(DEMONSTRATION)));
    let json: serde_json::Value = serde_json::from_str(&json).unwrap();
    for result in json["results"].as_array().unwrap() {
        let bounded = &result["guaranteed"];
        assert_eq!(bounded.is_null(), result["not_guaranteed"].is_string());
        if !bounded.is_null() {
            let [low, value, high] =
                [&bounded["low"], &result["value"], &bounded["high"]].map(|v| v.as_f64().unwrap());
            assert!(low <= value && value <= high);
        }
    }
}

#[test]
fn a_normal_input_has_no_limits_and_stays() {
    let normal = "{ nominal = \"0.68 uH\", standard_uncertainty = \"5 %\" }";
    let text = specification_with(&[("stage.inductance", normal)]);
    let design = Design::derive(&text).unwrap();
    let sentence = design
        .finding("freewheel_floor")
        .unwrap()
        .guarantee
        .sentence();
    assert!(
        sentence.contains("tolerances, L at the estimate, having no limits: "),
        "{sentence}"
    );
    let blocking = design.finding("transistor_blocking_voltage").unwrap();
    assert!(!blocking.guarantee.sentence().contains("estimate"));
}

/// A bound says what it does not range over, and would be false without saying it.
#[test]
fn what_stays_where_it_is_is_said() {
    let design = &*BOUNDED;
    let boundary = design.finding("inductance_boundary").unwrap();
    let sentence = boundary.guarantee.sentence();
    assert!(
        sentence.contains("ranges and tolerances, I_out at 6 A: between"),
        "{sentence}"
    );
    let light = boundary
        .point
        .clone()
        .with(design.stage.axes.output_current, 0.3);
    let light = boundary.record.evaluate(&light).unwrap().value.unwrap();
    assert!(light > boundary.guarantee.bounds().unwrap().high);

    let least = design.finding("trip_current_least_inductance").unwrap();
    assert_eq!(least.guarantee.held(), ["L at 544 nH"]);
    let json: serde_json::Value = serde_json::from_str(&design::json(design)).unwrap();
    let result = |name: &str| {
        let all = json["results"].as_array().unwrap();
        all.iter().find(|r| r["name"] == name).unwrap()["guaranteed"]["held"].clone()
    };
    assert_eq!(
        result("inductance_boundary"),
        serde_json::json!(["I_out at 6 A"])
    );
    assert_eq!(result("freewheel_floor"), serde_json::json!([]));
}

#[test]
fn the_option_bounds_every_result() {
    let folder = folder("bounds");
    // Without ranges there is little to prove.
    let text = specification_with(&[
        ("input.voltage", "\"36 V\""),
        ("output.voltage", "\"6 V\""),
        ("stage.inductance", "\"0.68 uH\""),
    ]);
    std::fs::write(folder.join("point.toml"), text).unwrap();
    let json: serde_json::Value = serde_json::from_str(&succeed(
        &folder,
        &["derive", "point.toml", "--bounds", "--json"],
    ))
    .unwrap();
    for result in json["results"].as_array().unwrap() {
        let name = result["name"].as_str().unwrap();
        if name.ends_with("_proposed") {
            continue;
        }
        let value = result["value"].as_f64().unwrap();
        let end = |key: &str| result["guaranteed"][key].as_f64().unwrap();
        let (low, high) = (end("low"), end("high"));
        assert!(
            low <= value && value <= high,
            "{name}: {low} {value} {high}"
        );
    }
    succeed(&folder, &["rationale", "point.toml", "--bounds"]);
    let document = std::fs::read_to_string(folder.join("rationale/rationale.html")).unwrap();
    assert!(document.contains("--bounds -o rationale") && !document.contains("adds them"));
}
