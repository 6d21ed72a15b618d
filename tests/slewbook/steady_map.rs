//! Maps: the same for any number of threads, the boundary where it belongs, and
//! the share of units as a proportion with its uncertainty.

use slewbook::cycle::{Solver, State};
use slewbook::figure::{self, Width};
use slewbook::map::{self, Axis, Field, Map, Span, share};
use slewbook::quantity::Dimensioned;
use slewbook::scheme::Scheme;
use slewbook::stage::Specification;
use slewbook::table::Table;

use crate::steady_stage::{demonstration, point};
use crate::support::specification_with;

fn plan(scheme: Scheme, across: usize, down: usize) -> Map {
    Map {
        circuit: demonstration(scheme),
        at: point(36.0, 6.0, 6.0),
        x: Span {
            axis: Axis::InputVoltage,
            low: 30.0,
            high: 44.0,
            points: across,
        },
        y: Span {
            axis: Axis::OutputCurrent,
            low: 0.3,
            high: 6.0,
            points: down,
        },
        units: vec![],
        random: false,
    }
}

fn uncertain() -> Specification {
    let text = specification_with(&[
        (
            "trip.threshold",
            "{ nominal = \"0.2 A\", tolerance = \"30 %\" }",
        ),
        (
            "trip.delay",
            "{ nominal = \"20 ns\", standard_uncertainty = \"3 ns\" }",
        ),
        (
            "clamp.resistance",
            "{ nominal = \"12 mohm\", tolerance = \"20 %\" }",
        ),
    ]);
    Specification::read(&text).unwrap()
}

fn csv(map: &Map, threads: usize) -> String {
    let mut bytes = Vec::new();
    map.write_csv(Some(threads), &mut bytes, |_| ()).unwrap();
    String::from_utf8(bytes).unwrap()
}

#[test]
fn a_map_is_the_same_on_any_number_of_threads() {
    let mut map = plan(Scheme::FreewheelTransistors, 9, 31);
    map.units = map::drawn(&uncertain(), 20, 5).unwrap();
    map.random = true;
    let alone = csv(&map, 1);
    assert_eq!(alone, csv(&map, 2));
    assert_eq!(alone, csv(&map, 7));
    assert_eq!(alone.lines().count(), 1 + 9 * 31);
    let header = alone.lines().next().unwrap();
    assert!(header.starts_with("input_voltage_V,output_current_A,state,zero_voltage_margin"));
    assert!(header.contains("turn_on_voltage_V") && header.contains("hold_time_s"));
    let other = map::drawn(&uncertain(), 20, 6).unwrap();
    assert_ne!(map.units, other);
}

#[test]
fn a_map_tells_what_the_cell_at_each_point_does() {
    for scheme in Scheme::ALL {
        let map = plan(scheme, 5, 4);
        let mut rows = Table::default();
        map.run(Some(2), |table| {
            rows = table.clone();
            Ok(())
        })
        .unwrap();
        let value = |name: &str, row| rows.column(name).unwrap().get(row);
        let mut solver = Solver::new(&map.circuit).unwrap();
        for row in 0..20 {
            let at = point(
                value("input_voltage", row).unwrap(),
                6.0,
                value("output_current", row).unwrap(),
            );
            let steady = solver.solve(at).unwrap();
            let state = value("state", row).unwrap();
            assert_eq!(f64::from(steady.state as u8), state);
            let held = value("zero_voltage_slack", row).unwrap() >= 0.0;
            assert_eq!(
                held,
                steady.state == State::ZeroVoltage,
                "{scheme} {steady:?}"
            );
            let course = steady.course.unwrap();
            let expected = if scheme == Scheme::Discontinuous {
                course.ring.unwrap()[2].voltage
            } else {
                course.turn_on.voltage
            };
            assert_eq!(value("turn_on_voltage", row), Some(expected.coherent()));
            let hold = course.hold.map(|hold| hold.duration.coherent());
            assert_eq!(value("hold_time", row), hold);
        }
    }
}

/// A share that is known: units whose trip alone varies, evenly, at a point where
/// a known trip just holds zero voltage.
#[test]
fn the_share_of_units_is_that_of_the_tolerance() {
    let mut map = plan(Scheme::FreewheelTransistors, 1, 1);
    map.circuit.dead_time = None;
    (map.x.low, map.y.low) = (44.0, 6.0);
    let at = point(44.0, 6.0, 6.0);
    let holds = |trip: f64| {
        let mut circuit = map.circuit;
        circuit.trip_threshold = crate::steady_stage::amperes(trip);
        let mut solver = Solver::new(&circuit).unwrap();
        solver.solve(at).unwrap().state == State::ZeroVoltage
    };
    let (mut low, mut high) = (0.0, 1.0);
    assert!(!holds(low) && holds(high));
    while high - low > 1e-9 {
        let middle = f64::midpoint(low, high);
        if holds(middle) {
            high = middle;
        } else {
            low = middle;
        }
    }
    // From 60 % to 140 % of a setting at which 30 % of the units fall short.
    let setting = high / (0.6 + 0.3 * 0.8);
    map.circuit.trip_threshold = crate::steady_stage::amperes(setting);
    let text = specification_with(&[
        (
            "trip.threshold",
            &format!("{{ nominal = \"{setting:?} A\", tolerance = \"40 %\" }}"),
        ),
        ("stage.inductance", "\"0.68 uH\""),
    ]);
    let specification = Specification::read(&text).unwrap();
    map.units = map::drawn(&specification, 4000, 1).unwrap();
    map.random = true;
    let text = csv(&map, 2);
    let table = Table::read_csv(text.as_bytes()).unwrap();
    let value = |name: &str| table.column(name).unwrap().get(0).unwrap();
    assert!(
        value("share_low") < 0.7 && 0.7 < value("share_high"),
        "{text}"
    );
    assert!((value("zero_voltage_share") - 0.7).abs() < 0.03, "{text}");
    map.units = map::corners(&specification);
    assert_eq!(map.units.len(), 2);
    map.random = false;
    let table = Table::read_csv(csv(&map, 2).as_bytes()).unwrap();
    assert_eq!(
        table.column("zero_voltage_share").unwrap().get(0),
        Some(0.5)
    );
    assert_eq!(table.column("share_low").unwrap().get(0), None);
    let least = table.column("least_margin").unwrap().get(0).unwrap();
    assert!(least < 1.0 && least > 0.5, "{least}");
}

/// Units of a setting and a delay that go together: with the coefficient +1 their
/// half-widths act in one direction, with -1 against each other, so that the effect
/// of the trip at the release, the setting and the current that the delay adds, has
/// the variance of a sum of two correlated variables (JCGM 100:2008, equation 16).
#[test]
fn units_follow_the_correlations_of_the_specification() {
    let base = [
        (
            "trip.threshold",
            "{ nominal = \"0.2 A\", standard_uncertainty = \"0.02 A\" }",
        ),
        (
            "trip.delay",
            "{ nominal = \"20 ns\", standard_uncertainty = \"2 ns\" }",
        ),
        ("stage.inductance", "\"0.68 uH\""),
    ];
    let circuit = demonstration(Scheme::FreewheelTransistors);
    let coefficient_of = |stated: Option<f64>| {
        let mut text = specification_with(&base);
        if let Some(r) = stated {
            text += &format!(
                "\n[[correlation]]\nbetween = [\"trip.threshold\", \"trip.delay\"]\n\
                 coefficient = {r:?}\n"
            );
        }
        let specification = Specification::read(&text).unwrap();
        let units = map::drawn(&specification, 20_000, 1).unwrap();
        let pairs: Vec<(f64, f64)> = units
            .iter()
            .map(|unit| unit.of(&circuit))
            .map(|unit| (unit.trip_threshold.coherent(), unit.trip_delay.coherent()))
            .collect();
        let count = f64::from(u32::try_from(pairs.len()).unwrap());
        let mean = |of: &dyn Fn(&(f64, f64)) -> f64| pairs.iter().map(of).sum::<f64>() / count;
        let (x, y) = (mean(&|p| p.0), mean(&|p| p.1));
        let product = mean(&|p| (p.0 - x) * (p.1 - y));
        let variances = mean(&|p| (p.0 - x).powi(2)) * mean(&|p| (p.1 - y).powi(2));
        product / variances.sqrt()
    };
    // Five standard errors of a sample coefficient, (1 - r^2)/sqrt(n), from memory.
    for (stated, expected) in [(None, 0.0), (Some(0.9), 0.9), (Some(-0.9), -0.9)] {
        let found = coefficient_of(stated);
        let error = (1.0 - expected * expected) / 20_000_f64.sqrt();
        assert!(
            (found - expected).abs() < 5.0 * error,
            "{stated:?}: {found}"
        );
    }
}

/// A tolerance is a part of the value: it is as large a part of what another scheme
/// uses in the value's place.
#[test]
fn a_tolerance_is_a_part_of_the_value_that_a_scheme_uses() {
    let text = specification_with(&[
        (
            "stage.inductance",
            "{ nominal = \"0.68 uH\", tolerance = \"20 %\" }",
        ),
        (
            "clamp.resistance",
            "{ nominal = \"12 mohm\", tolerance = \"25 %\" }",
        ),
    ]);
    let specification = Specification::read(&text).unwrap();
    let corners = map::corners(&specification);
    assert_eq!(corners.len(), 4);
    for scheme in [Scheme::Continuous, Scheme::FreewheelDiode] {
        let circuit = demonstration(scheme);
        let parts = |of: &dyn Fn(&slewbook::stage::Circuit) -> f64| -> Vec<f64> {
            let changed = corners.iter().map(|unit| of(&unit.of(&circuit)));
            let mut parts: Vec<f64> = changed.map(|value| value / of(&circuit) - 1.0).collect();
            parts.sort_by(f64::total_cmp);
            parts
        };
        let near = |found: Vec<f64>, expected: f64| {
            let ends = [-expected, -expected, expected, expected];
            let close = found.iter().zip(ends).all(|(f, e)| (f - e).abs() < 1e-12);
            assert!(close, "{scheme}: {found:?}");
        };
        near(parts(&|c| c.inductance.coherent()), 0.2);
        if circuit.freewheel.is_some() {
            near(parts(&|c| c.freewheel.unwrap().resistance.coherent()), 0.25);
        }
    }
}

/// Newcombe, Statistics in Medicine 17 (1998), table I, method 3 (Wilson's score
/// interval), from memory.
#[test]
fn confidence_intervals_of_a_proportion() {
    for (hits, trials, low, high) in [
        (81, 263, "0.2553", "0.3662"),
        (15, 148, "0.0624", "0.1605"),
        (0, 20, "0.0000", "0.1611"),
        (1, 29, "0.0061", "0.1718"),
    ] {
        let (found_low, found_high) = share(hits, trials);
        assert_eq!(format!("{found_low:.4}"), low);
        assert_eq!(format!("{found_high:.4}"), high);
    }
    assert_eq!(share(20, 20).1, 1.0);
    assert_eq!(share(0, 0), (0.0, 1.0));
}

#[test]
fn spans_that_make_no_map_are_named() {
    let mut map = plan(Scheme::FreewheelTransistors, 0, 3);
    let error = map.run(None, |_| Ok(())).unwrap_err().to_string();
    assert_eq!(
        error,
        "the map has no points along the input voltage; give one at least"
    );
    map = plan(Scheme::FreewheelTransistors, 3, 3);
    map.y.axis = Axis::InputVoltage;
    let error = map.run(None, |_| Ok(())).unwrap_err().to_string();
    assert_eq!(
        error,
        "both axes of the map are the input voltage; choose two inputs"
    );
    let error = "outputcurrent".parse::<Axis>().unwrap_err().to_string();
    assert!(
        error.contains("no input `outputcurrent` for a map"),
        "{error}"
    );
}

/// Units are shared out over the threads in parts, and the work is told as it goes.
#[test]
fn the_units_of_one_point_are_counted_on_all_threads() {
    let mut map = plan(Scheme::FreewheelTransistors, 1, 1);
    map.units = map::drawn(&uncertain(), 40_000, 2).unwrap();
    map.random = true;
    let mut told = Vec::new();
    let mut bytes = Vec::new();
    map.write_csv_watched(Some(2), &mut bytes, |_| (), |part| told.push(part))
        .unwrap();
    assert!(told.len() > 2, "{told:?}");
    assert!(told.is_sorted() && told.last() == Some(&1.0), "{told:?}");
    assert_eq!(String::from_utf8(bytes).unwrap(), csv(&map, 1));
}

#[test]
fn a_state_is_written_by_its_name() {
    let text = csv(&plan(Scheme::FreewheelDiode, 7, 6), 2);
    let states: Vec<&str> = text
        .lines()
        .skip(1)
        .map(|l| l.split(',').nth(2).unwrap())
        .collect();
    let known = |name: &&str| State::ALL.iter().any(|state| state.name() == *name);
    assert!(states.iter().all(known), "{states:?}");
    let read = Table::read_csv(text.as_bytes()).unwrap();
    for (row, state) in states.iter().enumerate() {
        assert_eq!(read.column("state").unwrap().name_in(row), Some(*state));
    }
    // Where there are no names, the words say what the numbers are.
    let mut words = String::new();
    plan(Scheme::FreewheelDiode, 1, 1)
        .run(None, |table| {
            words = table.column("state").unwrap().words().to_owned();
            Ok(())
        })
        .unwrap();
    for (place, state) in State::ALL.iter().enumerate() {
        assert!(words.contains(&format!("{place} {state}")), "{words}");
    }
}

/// Every input moves what it names, and its values are read with its unit.
#[test]
fn every_axis_has_a_range_and_an_effect() {
    let specification = uncertain();
    for axis in Axis::ALL {
        let circuit = demonstration(Scheme::FreewheelTransistors);
        assert_eq!(axis.name().parse(), Ok(axis));
        let stated = axis.range(&specification, &circuit);
        // What the parts of the example have none of has no range by itself.
        let none = [Axis::ClampDrop, Axis::InductorResistance].contains(&axis);
        assert_eq!(stated.is_none(), none, "{axis}");
        let (low, high) = stated.unwrap_or((0.01, 0.02));
        assert!(low < high, "{axis}");
        let states = [low, high].map(|value| {
            let (mut changed, mut at) = (circuit, point(36.0, 6.0, 6.0));
            axis.set(&mut changed, &mut at, value);
            let steady = Solver::new(&changed).unwrap().solve(at).unwrap();
            format!("{steady:?}")
        });
        assert_ne!(states[0], states[1], "{axis}");
    }
    let read = |axis: Axis, text: &str| axis.read_range(text).unwrap_err();
    let axis = Axis::InputVoltage;
    assert_eq!(axis.read_range(" 30 V , 44V"), Ok((30.0, 44.0)));
    assert_eq!(Axis::ClampDrop.read_range("0 V, 0.5 V"), Ok((0.0, 0.5)));
    for (axis, text, expected) in [
        (axis, "30 V", "expected two values with a comma between"),
        (axis, "30 V, 40 V, 44 V", "expected two values"),
        (axis, "30 A, 44 V", "\"A\" is a unit of another quantity"),
        (axis, "44 V, 30 V", "expected the lower value first"),
        (axis, "30 V, 30 V", "has one value"),
        (axis, "0 V, 30 V", "above zero"),
        (Axis::TripDelay, "-1 ns, 30 ns", "zero or more"),
    ] {
        assert!(read(axis, text).contains(expected), "{}", read(axis, text));
    }
}

/// Where the points lie outside the band there is no value, and nothing else ends.
#[test]
fn points_outside_the_band_have_no_value() {
    let mut map = plan(Scheme::FreewheelTransistors, 5, 2);
    map.x.low = 8.0;
    let text = csv(&map, 2);
    assert!(
        text.lines().nth(1).unwrap().starts_with("8,0.3,,"),
        "{text}"
    );
    assert!(!text.contains("NaN") && !text.contains("inf"));
}

#[test]
fn the_figures_have_their_parts() {
    let mut map = plan(Scheme::FreewheelTransistors, 40, 30);
    map.circuit.trip_threshold = crate::steady_stage::amperes(0.12);
    map.circuit.dead_time = None;
    let field = Field::new(&map).unwrap();
    let held = field.held();
    assert!(held > 0.1 && held < 0.9, "{held}");
    for width in [Width::Column, Width::Page] {
        let drawn = figure::map("map", &field, width).svg().unwrap();
        let document = roxmltree::Document::parse(&drawn).unwrap();
        let text: String = document
            .descendants()
            .filter_map(|node| node.text())
            .collect();
        assert!(text.contains("input voltage / V") && text.contains("output current / A"));
        assert!(drawn.contains("role=\"img\"") && drawn.contains("<desc"));
    }
    for scheme in Scheme::ALL {
        let mut solver = Solver::new(&demonstration(scheme)).unwrap();
        let (steady, waveform) = solver.waveform(point(36.0, 6.0, 6.0)).unwrap();
        for width in [Width::Column, Width::Page] {
            let figure = figure::waveforms("w", &steady, waveform.as_ref().unwrap(), width);
            let drawn = figure.unwrap().svg().unwrap();
            let document = roxmltree::Document::parse(&drawn).unwrap();
            let text: String = document
                .descendants()
                .filter_map(|node| node.text())
                .collect();
            assert!(
                text.contains("energise") && text.contains("inductor"),
                "{scheme}"
            );
            assert!(!text.contains("NaN"), "{scheme}");
            assert_eq!(
                text.contains("clamp"),
                scheme.has_clamp() || text.contains("the clamp")
            );
        }
    }
    let mut solver = Solver::new(&map.circuit).unwrap();
    let (none, _) = solver.waveform(point(36.0, 6.0, 30.0)).unwrap();
    assert_eq!(none.course, None);
}
