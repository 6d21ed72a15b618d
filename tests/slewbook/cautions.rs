//! Cautions adapt to voltage, energy, temperature and water, and reach whoever reads
//! numbers without the document.

use approx::assert_relative_eq;
use slewbook::caution::{
    self, Hottest, INJURY_LIMIT, TOUCH_LIMIT, TOUCH_TEMPERATURE, VoltageClass,
};
use slewbook::quantity::ThermodynamicTemperature;
use slewbook::quantity::unit::{mF, volt};
use slewbook::stage::{DEMONSTRATION, Specification};

use crate::program::{folder, run, succeed, write};
use crate::published::Row;
use crate::support::set;

/// The demonstration with another highest input voltage, in a dry place.
fn reaching(volts: u32) -> String {
    let text = DEMONSTRATION
        .replace("River sonde", "Bench stage")
        .replace("wet = true", "wet = false");
    let [min, nominal] = [4, 1].map(|less| volts - less);
    let range = format!("{{ min = \"{min} V\", nominal = \"{nominal} V\", max = \"{volts} V\" }}");
    set(&text, "input.voltage", &range)
}

fn cautions(text: &str) -> Vec<caution::Caution> {
    let s = Specification::read(text).unwrap_or_else(|problems| panic!("{problems}\n{text}"));
    caution::all(&s, None, None)
}

#[test]
fn limits_are_those_of_the_references() {
    let classes = Row::load("iec-62368-1", "iec-62368-1-energy-class-limits");
    assert_relative_eq!(TOUCH_LIMIT, classes.input("ES1_dc"));
    assert_relative_eq!(INJURY_LIMIT, classes.input("ES2_dc"));
    // `references::caution` holds the row on touch temperatures against this constant.
    assert_relative_eq!(TOUCH_TEMPERATURE, 77.0);
}

#[test]
fn voltage_has_its_class_and_its_words() {
    use VoltageClass::{One, Three, Two};
    let classes = [24, 60, 61, 120, 121, 400, 800].map(|v| VoltageClass::of(f64::from(v) * volt));
    assert_eq!(classes, [One, One, Two, Two, Three, Three, Three]);
    for (volts, heading, says) in [
        (24, "Voltage", "below the 60 V d.c."),
        (60, "Voltage", "which is the limit of 60 V d.c. itself"),
        (61, "Dangerous voltage", "touching it hurts and can injure"),
        (120, "Dangerous voltage", "touching it hurts and can injure"),
        (400, "Deadly voltage", "touching it can kill"),
        (800, "Deadly voltage", "never work alone"),
    ] {
        let all = cautions(&reaching(volts));
        assert_eq!(all[0].heading, heading, "{volts} V");
        assert!(all[0].text.contains(says), "{volts} V: {}", all[0].text);
        assert!(all[0].text.contains("not isolated"), "{volts} V");
        let stored = all.iter().find(|own| own.heading == "Stored energy");
        let shock = stored.unwrap().text.contains("dangerous shock");
        assert_eq!(shock, volts > 60, "{volts} V");
        assert!(all.iter().all(|own| own.heading != "Water"), "{volts} V");
    }
}

#[test]
fn water_comes_from_the_title_or_from_its_key() {
    let wet = |text: &str| cautions(text).iter().any(|own| own.heading == "Water");
    assert!(wet(DEMONSTRATION));
    assert!(!wet(&reaching(24)));
    assert!(wet(&reaching(24).replace("wet = false", "wet = true")));
    assert!(wet(&reaching(24).replace("Bench stage", "Marine bench")));
    // Parts of words do not count.
    assert!(!wet(&reaching(24).replace("Bench stage", "Research seat")));
}

#[test]
fn much_stored_energy_has_words_of_its_own() {
    let says = |farads: f64| {
        let mut s = Specification::read(&reaching(44)).unwrap();
        s.output_capacitance = farads * 1e3 * mF;
        let all = caution::all(&s, None, None);
        all.iter().any(|own| own.text.contains("molten metal"))
    };
    // ½·C·(6.2 V)² is 20 J at 1.04 F.
    assert!(!says(0.9));
    assert!(says(1.1));
}

#[test]
fn hot_parts_have_the_temperature_that_was_computed() {
    let s = Specification::read(DEMONSTRATION).unwrap();
    let hot = |celsius: f64| {
        let hottest = Hottest {
            part: "the inductor's winding",
            temperature: ThermodynamicTemperature::from_celsius(celsius),
            beyond: false,
        };
        let all = caution::all(&s, None, Some(&hottest));
        all.into_iter()
            .find(|own| own.heading == "Hot parts")
            .unwrap()
            .text
    };
    assert!(hot(108.0).contains("the inductor's winding, 108 °C, above the 77 °C"));
    assert!(hot(77.0).contains("77 °C, not above the 77 °C"));
}

#[test]
fn every_command_says_it_on_standard_error() {
    let folder = folder("cautions");
    let said = |command: &str, volts: u32| {
        let spec = write(&folder, &reaching(volts));
        let out = run(&folder, &[command, spec]);
        String::from_utf8(out.stderr).unwrap()
    };
    for command in ["cycle", "derive", "compare"] {
        let words = "Caution: the input reaches 800 V, above 120 V d.c., where touching it can \
                     kill";
        let high = said(command, 800);
        assert!(high.contains(words), "{command}: {high}");
        assert_eq!(said(command, 24), "", "{command}");
    }
    let spec = write(&folder, &reaching(800));
    let json = run(&folder, &["cycle", spec, "--json"]).stdout;
    let json: serde_json::Value = serde_json::from_slice(&json).unwrap();
    let notes = json["notes"].as_array().unwrap();
    let kills = |own: &serde_json::Value| own.as_str().unwrap().contains("kill");
    assert!(notes.iter().any(kills), "{notes:?}");
}

#[test]
fn every_output_says_that_the_demonstration_is_invented() {
    let folder = folder("invented");
    let spec = write(&folder, DEMONSTRATION);
    for command in [
        "cycle SPEC -o figure.svg",
        "cycle SPEC --json",
        "derive SPEC",
        "derive SPEC --json",
        "derive SPEC --latex",
        "compare SPEC",
        "compare SPEC --json",
        "timeline SPEC --until 20us -o waves.csv",
        "map SPEC --grid 2x2 -o map.csv --figure map.svg",
    ] {
        let command = command.replace("SPEC", spec);
        let arguments: Vec<&str> = command.split(' ').collect();
        let text = succeed(&folder, &arguments);
        assert!(text.contains("invented"), "{command}: {text}");
    }
    succeed(&folder, &["rationale", spec, "-o", "document"]);
    let title = "River sonde, 6 V instrument rail (invented)";
    for file in ["figure.svg", "map.svg", "document/rationale.html"] {
        let text = std::fs::read_to_string(folder.join(file)).unwrap();
        assert!(text.contains(title), "{file}");
    }
}

/// A part without a thermal resistance has no temperature, rather than that of its surroundings.
#[test]
fn what_has_no_thermal_resistance_has_no_temperature() {
    let folder = folder("no-temperature");
    let without: String = DEMONSTRATION
        .lines()
        .filter(|line| !line.starts_with("thermal_resistance"))
        .map(|line| format!("{line}\n"))
        .collect();
    let specification = write(&folder, &without);
    let json = succeed(&folder, &["compare", specification, "--json"]);
    let json: serde_json::Value = serde_json::from_str(&json).unwrap();
    let temperatures = &json["schemes"]["freewheel-transistors"][0]["temperatures"];
    assert_eq!(
        temperatures.as_object().map(serde_json::Map::len),
        Some(0),
        "{temperatures}"
    );
    let text = succeed(&folder, &["compare", specification]);
    assert!(
        text.contains("thermal_resistance is not given for every part"),
        "{text}"
    );
    let told = |line: &str| line.starts_with("  temperatures:") && line.contains("°C");
    assert!(!text.lines().any(told), "{text}");
    succeed(&folder, &["rationale", specification, "-o", "."]);
    let document = std::fs::read_to_string(folder.join("rationale.html")).unwrap();
    assert!(document.contains("No temperature is computed here"));
    assert!(!document.contains("The hottest computed"));
}
