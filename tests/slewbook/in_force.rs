//! What is in force of a specification, against the results that a whole design takes.

use slewbook::design::Design;
use slewbook::in_force::InForce;
use slewbook::limit::{Series, at_most};
use slewbook::quantity::Dimensioned as _;
use slewbook::scheme::Scheme;
use slewbook::stage::Specification;

use crate::support::{Random, specification_with};

/// Random specifications with inductance and threshold stated or left open: what is in
/// force is, to the last bit, what the results say.
#[test]
fn what_is_in_force_is_what_the_results_say() {
    let mut random = Random(11);
    for (inductance, threshold) in [(true, true), (true, false), (false, true), (false, false)] {
        let mut pick = |low: f64, high: f64| {
            let part = f64::from(u32::try_from(random.next() >> 32).unwrap()) / 2f64.powi(32);
            low + (high - low) * part
        };
        let high = pick(38.0, 44.0);
        let changes = [
            (
                "input.voltage",
                format!("{{ min = \"30 V\", nominal = \"34 V\", max = \"{high} V\" }}"),
            ),
            ("trip.delay", format!("\"{} ns\"", pick(5.0, 50.0))),
            ("trip.margin", pick(1.0, 1.5).to_string()),
            ("clamp.resistance", format!("\"{} mohm\"", pick(5.0, 30.0))),
            (
                "stage.node_capacitance",
                format!("\"{} pF\"", pick(20.0, 90.0)),
            ),
            ("stage.inductance", format!("\"{} nH\"", pick(300.0, 700.0))),
            ("trip.threshold", format!("\"{} mA\"", pick(800.0, 1000.0))),
        ];
        let changes = changes
            .each_ref()
            .map(|(key, value)| (*key, value.as_str()));
        let mut text = specification_with(&changes);
        // A key left open is a line less.
        for (stated, key) in [(inductance, "inductance"), (threshold, "threshold")] {
            let (_, value) = changes.iter().find(|(own, _)| own.ends_with(key)).unwrap();
            let line = format!("\n{key} = {value}\n");
            assert!(text.contains(&line), "{line}");
            if !stated {
                text = text.replacen(&line, "\n", 1);
            }
        }
        let specification = Specification::read(&text).unwrap();
        let found = InForce::of(&specification).unwrap();
        assert_eq!(found.inductance.is_stated(), inductance);
        assert_eq!(found.trip.is_stated(), threshold);
        let design = Design::derive(&text).unwrap();
        let value = |name: &str| design.finding(name).unwrap().value().unwrap();
        assert_eq!(found, design.in_force);
        let own = found.inductance.value.coherent();
        assert_eq!(
            own.to_bits(),
            design.stage.axes.inductance.value().to_bits()
        );
        if !threshold {
            let need = value("trip_current");
            // It serves every unit of the box, with the ripple: more than the parts as they
            // are ask for, and not by orders.
            let over = found.trip.value.coherent() / need;
            assert!((1.0..2.0).contains(&over), "{over} times {need}");
        }
        let ceiling = found.ceiling(&specification).unwrap().unwrap().coherent();
        assert_eq!(
            ceiling.to_bits(),
            value("inductance_ceiling_operating").to_bits()
        );
        if !inductance {
            // A preferred value below its ceiling.
            assert_eq!(at_most(own, Series::E12), Some(own));
            assert!(own <= ceiling, "{own} over {ceiling}");
        }
        let circuit = found
            .circuit(&specification, Scheme::FreewheelTransistors)
            .unwrap();
        assert_eq!(circuit.inductance, found.inductance.value);
        assert_eq!(circuit.trip_threshold, found.trip.value);
        assert_eq!(circuit.dead_time, found.dead_time.map(|own| own.value));
        let fall = found.low_dead_time.map(|own| own.value);
        assert_eq!(circuit.dead_time_of_fall(), fall);
    }
}

/// A dead time of the falling edge of its own is stated; without one that of the rising
/// edge holds, and without either each point has its best instant.
#[test]
fn dead_times_say_where_they_come_from() {
    let read = |changes: &[(&str, &str)]| {
        let text = specification_with(changes).replace("dead_time = \"none\"\n", "");
        InForce::of(&Specification::read(&text).unwrap()).unwrap()
    };
    let rise = read(&[]);
    assert!(rise.dead_time.unwrap().is_stated());
    let fall = rise.low_dead_time.unwrap();
    assert!(!fall.is_stated());
    assert_eq!(fall.value, rise.dead_time.unwrap().value);
    let both = read(&[("control.low_dead_time", "\"15 ns\"")]);
    assert!(both.low_dead_time.unwrap().is_stated());
    let none = read(&[("timing.dead_time", "\"none\"")]);
    assert_eq!((none.dead_time, none.low_dead_time), (None, None));
}
