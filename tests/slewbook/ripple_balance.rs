//! What goes in comes out or is lost, the flying capacitors' ripple counted: to a
//! thousandth, or there is no result.

use slewbook::cycle::Solver;
use slewbook::quantity::{Capacitance, Dimensioned as _, Frequency, Power};
use slewbook::scheme::Scheme;

use crate::steady_stage::{Case, point};
use crate::support::Random;

/// A random stage of two to eight levels in its lowest band, and the ripple of its flying
/// capacitors as a part of the step, as far as the output current alone gives it.
fn case(random: &mut Random, scheme: Scheme) -> (Case, f64) {
    let mut case = Case::new(random, scheme);
    let (step, above) = (case.step(), case.above());
    let part = 1.0 - above / step;
    let c = &mut case.circuit;
    let pairs = 1 + u8::try_from(random.below(7)).unwrap();
    // The cell stays as long as it is.
    let cells = c.switching_frequency.coherent() * f64::from(c.pairs);
    c.switching_frequency = Frequency::from_coherent(cells / f64::from(pairs));
    (c.pairs, c.band) = (pairs, 0);
    let load = case.at.output_current.coherent();
    case.at = point(step * f64::from(pairs), step * part, load);
    let ripple = random.decades(1e-6, 3.0);
    let charge = load * part / cells;
    c.flying_capacitance = Some(Capacitance::from_coherent(charge / (ripple * step)));
    (case, ripple)
}

#[test]
fn energy_closes_or_there_is_no_result() {
    let mut random = Random(29);
    for scheme in Scheme::ALL {
        let (mut closed, mut refused, mut none) = (0, 0, 0);
        for _ in 0..1500 {
            let (case, ripple) = case(&mut random, scheme);
            let levels = u32::from(case.circuit.pairs) + 1;
            let Ok(mut solver) = Solver::new(&case.circuit) else {
                continue;
            };
            match solver.solve_with_ripple(case.at) {
                Ok(Some(steady)) => {
                    let Some(course) = steady.course else {
                        continue;
                    };
                    assert!(levels > 2);
                    let [input, output, lost] = [
                        course.input_power,
                        course.output_power,
                        course.dissipation.total(),
                    ]
                    .map(Power::coherent);
                    let open = (input - output - lost).abs() / input;
                    assert!(
                        open <= 1e-3,
                        "{scheme}, {levels} levels: {open} of {case:?}"
                    );
                    // The output power is what the load takes.
                    let load = case.at.output_voltage * case.at.output_current;
                    let whole = output / load.coherent();
                    assert!((whole - 1.0).abs() < 1e-3, "{scheme}: {whole} of {case:?}");
                    closed += 1;
                }
                Ok(None) => none += 1,
                Err(error) => {
                    let error = error.to_string();
                    if error.contains("energy of the cell") {
                        // A small ripple is no reason.
                        assert!(ripple > 1e-3, "{scheme}, {ripple}: {error} of {case:?}");
                        refused += 1;
                    }
                }
            }
        }
        println!("{scheme}: {closed} closed, {refused} refused, {none} without ripple");
        assert!(
            closed > 200,
            "{scheme}: {closed} closed, {refused} refused, {none} none"
        );
        assert!(refused > 0, "{scheme}: none is refused");
    }
}
