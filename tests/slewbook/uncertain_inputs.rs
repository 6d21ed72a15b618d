//! The table of uncertain inputs: every row acts alike on a specification, on a circuit
//! and on the losses, and comparisons honour what is said to be correlated.

use slewbook::compare::{Band, Comparison};
use slewbook::in_force::InForce;
use slewbook::loss::Model;
use slewbook::quantity::unit::{ampere, uH, volt};
use slewbook::quantity::{Dimensioned, Power};
use slewbook::scheme::Scheme;
use slewbook::stage::{
    Circuit, DEMONSTRATION, Deviation, OperatingPoint, Specification, UncertainInput,
};

use crate::support::specification_with;

/// Digits of a double that a few products keep.
const ROUNDING: f64 = 1e-12;
/// Temperatures settle to a thousandth of a kelvin, some 1e-5 of a resistance.
const SETTLED: f64 = 1e-6;

/// The schemes compared on a specification.
fn compared(text: &str) -> Comparison {
    let specification = Specification::read(text).unwrap();
    let in_force = InForce::of(&specification).unwrap();
    Comparison::new(&specification, &in_force).unwrap()
}

/// Numbers between zero and one, spread evenly: multiples of the golden section.
fn spread_evenly() -> impl Iterator<Item = f64> {
    (1..).map(|k: u32| (f64::from(k) * 0.618_033_988_749_895).fract())
}

/// A circuit of a specification, whose stated inductance and threshold are in force.
fn circuit(s: &Specification, scheme: Scheme) -> Circuit {
    let trip = s.trip.threshold.unwrap();
    Circuit::new(s, scheme, s.inductance.unwrap(), trip).unwrap()
}

#[test]
fn a_circuit_is_moved_as_one_of_the_changed_specification() {
    let mut numbers = spread_evenly();
    let mut moved = 0;
    for _ in 0..40 {
        let mut s = Specification::read(DEMONSTRATION).unwrap();
        // Other values than the demonstration's, and parts that moved before.
        for input in UncertainInput::ALL {
            let by = Deviation::new(numbers.next().unwrap() - 0.5, 1.0);
            input.change(&mut s, by);
        }
        for input in UncertainInput::ALL {
            for scheme in Scheme::ALL {
                let amount = input.estimate(&s) * (2.4 * numbers.next().unwrap() - 1.2);
                let by = input.deviation(&s, amount);
                let mut changed = s.clone();
                input.change(&mut changed, by);
                let rebuilt = format!("{:?}", circuit(&changed, scheme));
                let before = circuit(&s, scheme);
                let mut own = before;
                input.change_circuit(&mut own, by);
                assert_eq!(
                    format!("{own:?}"),
                    rebuilt,
                    "{} under {scheme}",
                    input.key()
                );
                moved += usize::from(format!("{before:?}") != rebuilt);
                if !input.is_in_circuits() {
                    assert_eq!(format!("{before:?}"), rebuilt, "{}", input.key());
                }
            }
        }
    }
    assert!(moved > 40 * UncertainInput::ALL.len(), "the check can tell");
}

#[test]
fn losses_are_moved_as_those_of_the_changed_specification() {
    let at = OperatingPoint {
        input_voltage: 33.0 * volt,
        output_voltage: 6.0 * volt,
        output_current: 5.0 * ampere,
    };
    let s = Specification::read(DEMONSTRATION).unwrap();
    let total = |model: &mut Model| model.at(at).unwrap().losses.unwrap().total().coherent();
    for input in UncertainInput::ALL {
        for scheme in Scheme::ALL {
            if !input.is_in_circuits() {
                continue;
            }
            let by = input.deviation(&s, 0.07 * input.estimate(&s));
            let mut changed = s.clone();
            input.change(&mut changed, by);
            let rebuilt = circuit(&changed, scheme);
            let (inductance, trip) = (changed.inductance.unwrap(), rebuilt.trip_threshold);
            let mut rebuilt = Model::new(&changed, scheme, inductance, trip).unwrap();
            let mut own = Model::new(&s, scheme, 0.68 * uH, 0.4 * ampere).unwrap();
            let mut unit = *own.circuit();
            input.change_circuit(&mut unit, by);
            own.change(&unit).unwrap();
            let [own, rebuilt] = [total(&mut own), total(&mut rebuilt)];
            assert!(
                (own / rebuilt - 1.0).abs() < SETTLED,
                "{} under {scheme}: {own} W, rebuilt {rebuilt} W",
                input.key()
            );
        }
    }
}

/// The bands of a comparison of a specification with an inductance and a node
/// capacitance that are correlated.
fn bands(coefficient: f64) -> Vec<Band> {
    let text = specification_with(&[
        (
            "stage.node_capacitance",
            "{ nominal = \"300 pF\", tolerance = \"40 %\" }",
        ),
        ("trip.threshold", "\"0.5 A\""),
    ]);
    let correlation = format!(
        "[[correlation]]\nbetween = [\"stage.inductance\", \"stage.node_capacitance\"]\n\
         coefficient = {coefficient}\n"
    );
    let found = compared(&(text + &correlation)).bands;
    found.into_iter().flatten().collect()
}

#[test]
fn a_correlation_moves_the_band_of_a_comparison() {
    let half = |band: &Band| (band.high - band.low).coherent() / 2.0;
    let [less, free, more] = [-0.8, 0.0, 0.8].map(bands);
    assert!(!free.is_empty());
    let mut told = 0;
    for ((less, free), more) in less.iter().zip(&free).zip(&more) {
        // JCGM 100:2008, equation (16): what a coefficient adds, its negative takes away.
        let squares = half(less).powi(2) + half(more).powi(2);
        let expected = 2.0 * half(free).powi(2);
        assert!((squares / expected - 1.0).abs() < ROUNDING.sqrt());
        let middle = |band: &Band| f64::midpoint(band.low.coherent(), band.high.coherent());
        assert!((middle(less) - middle(more)).abs() < ROUNDING);
        told += usize::from((half(more) / half(less) - 1.0).abs() > 0.01);
    }
    assert!(told > 0, "the check can tell");
}

#[test]
fn the_inductor_of_continuous_conduction_moves_with_the_tolerance() {
    let band = |tolerance: &str| {
        let value = format!("{{ nominal = \"0.68 uH\", tolerance = \"{tolerance}\" }}");
        let text = specification_with(&[("stage.inductance", &value)]);
        let comparison = compared(&text);
        let place = comparison
            .schemes
            .iter()
            .position(|s| *s == Scheme::Continuous);
        let band = comparison.bands[place.unwrap() - 1].unwrap();
        (comparison, (band.high - band.low).coherent() / 2.0)
    };
    let (comparison, found) = band("2 %");
    // Both inductors moved by hand, one standard uncertainty to either side.
    let s = comparison.specification();
    let at = comparison.nominal[0].at;
    let difference = |part: f64| {
        let total = |scheme| -> Power {
            let mut changed = s.clone();
            let own = changed.parts.continuous_inductance.as_mut().unwrap();
            *own *= 1.0 + part;
            let inductance = comparison.inductance * (1.0 + part);
            let mut model = Model::new(&changed, scheme, inductance, comparison.trip).unwrap();
            model.at(at).unwrap().losses.unwrap().total()
        };
        (total(Scheme::FreewheelTransistors) - total(Scheme::Continuous)).coherent()
    };
    let one = 0.02 / 3f64.sqrt();
    let expected = (difference(one) - difference(-one)).abs();
    assert!(
        (found / expected - 1.0).abs() < SETTLED,
        "{found} W, not {expected} W"
    );
}
