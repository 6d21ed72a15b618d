//! Laws of the steady state, for every scheme on random stages: what goes in comes
//! out or is lost, the inductor's voltage averages to its drops, current and
//! intervals join, no gates overlap.

use proptest::prelude::*;
use slewbook::cycle::{Course, Solver, State, SteadyState, Waveform};
use slewbook::quantity::{Capacitance, Dimensioned, Resistance, Time, Voltage};
use slewbook::scheme::Scheme;

use crate::steady_stage::Case;
use crate::support::Random;

fn any_case() -> impl Strategy<Value = Case> {
    (any::<u64>(), 0..Scheme::ALL.len()).prop_map(|(seed, scheme)| {
        let mut random = Random(seed);
        let mut case = Case::new(&mut random, Scheme::ALL[scheme]);
        if random.below(3) == 0 {
            // Short enough to end before the node has fallen, or long enough for it to
            // leave again.
            let time = random.decades(1e-10, 1e-6);
            case.circuit.low_dead_time = Some(Time::from_coherent(time));
        }
        case
    })
}

fn solved(case: &Case) -> Option<(SteadyState, Course, Waveform)> {
    let mut solver = Solver::new(&case.circuit).unwrap();
    let (steady, waveform) = solver.waveform(case.at).unwrap();
    Some((steady, steady.course?, waveform?))
}

fn si<Q: Dimensioned>(quantity: Q) -> f64 {
    quantity.coherent()
}

/// The integral of a column over the time outside the hold, by the trapezium rule.
fn integral(waveform: &Waveform, of: impl Fn(usize) -> f64) -> f64 {
    let values = |name| waveform.table.column(name).unwrap().values();
    let (time, clamp) = (values("time"), values("clamp_gate"));
    (1..time.len())
        .filter(|k| clamp[*k] == 0.0 || clamp[*k - 1] == 0.0)
        .map(|k| (time[k] - time[k - 1]) * f64::midpoint(of(k - 1), of(k)))
        .sum()
}

proptest! {
    #![proptest_config(ProptestConfig {
        cases: 400,
        failure_persistence: None,
        max_global_rejects: 20_000,
        ..ProptestConfig::default()
    })]

    /// Power in is power out and what is lost, to a millionth.
    #[test]
    fn energy_is_conserved(case in any_case()) {
        let Some((_, course, _)) = solved(&case) else { return Err(TestCaseError::reject("no cell")) };
        let input = si(course.input_power);
        let rest = input - si(course.output_power) - si(course.dissipation.total());
        prop_assert!(rest.abs() <= 1e-6 * input, "{rest} of {input}: {course:?}");
    }

    /// Each interval starts with the current the last one ended with; together
    /// they are a cell.
    #[test]
    fn intervals_join(case in any_case()) {
        let Some((_, course, _)) = solved(&case) else { return Err(TestCaseError::reject("no cell")) };
        let mut intervals = vec![course.rise, course.energise, course.fall, course.release];
        if case.circuit.scheme == Scheme::NegativeValley {
            intervals.splice(0..0, course.partial_rise);
        } else {
            intervals.extend(course.partial_rise);
        }
        intervals.extend(course.hold);
        let sum: f64 = intervals.iter().map(|i| si(i.duration)).sum();
        prop_assert!((sum / si(course.cell_time) - 1.0).abs() < 1e-11, "{sum}");
        let scale = si(course.peak_current);
        for k in 0..intervals.len() {
            let next = &intervals[(k + 1) % intervals.len()];
            let jump = si(next.start_current) - si(intervals[k].end_current);
            prop_assert!(jump.abs() < 1e-9 * scale, "{jump} after interval {k}: {course:?}");
            prop_assert!(si(intervals[k].duration) >= 0.0);
        }
    }

    /// Outside the hold the average inductor current is the output current, and
    /// the inductor's voltage averages to the drop of its path.
    #[test]
    fn charge_and_volt_seconds_balance(case in any_case()) {
        let mut case = case;
        let none = Resistance::from_coherent(0.0);
        let c = &mut case.circuit;
        (c.high.on_resistance, c.low.on_resistance, c.inductor_resistance) = (none, none, none);
        let none = Voltage::from_coherent(0.0);
        (c.high.diode_drop, c.low.diode_drop) = (none, none);
        let Some((_, course, waveform)) = solved(&case) else {
            return Err(TestCaseError::reject("no cell"))
        };
        let values = |name| waveform.table.column(name).unwrap().values();
        let (node, current) = (values("node_voltage"), values("inductor_current"));
        let charge = si(case.at.output_current) * si(course.cell_time);
        let found = integral(&waveform, |k| current[k]);
        // The trapezium rule errs on the edges' charge, which is a small part.
        let ringing = if course.low_turn_on.voltage.value > 0.0 { si(course.low_dead_time) } else { 0.0 };
        let unseen = si(course.peak_current) * (si(course.dead_time) / 24.0 + ringing / 240.0);
        let allowed = 1e-3 * (charge + case.step() * case.node(0.0) * 1e-12) + unseen;
        prop_assert!((found - charge).abs() < allowed, "{found} is not {charge}: {course:?}");
        let output = si(case.at.output_voltage);
        let flux = integral(&waveform, |k| node[k] - output);
        let held = course.hold.map_or(0.0, |h| si(h.start_current) - si(h.end_current));
        let expected = si(case.circuit.inductance) * held;
        let scale = case.above() * si(course.on_time) + case.step() * si(course.rise.duration);
        // A ring between two points of the waveform is not seen.
        let unseen = case.step() * (si(course.dead_time) / 24.0 + ringing / 240.0);
        prop_assert!((flux - expected).abs() < 3e-3 * scale + unseen, "{flux} is not {expected}: {course:?}");
    }

    /// The output capacitor swings by the charge that the inductor's current brings
    /// above the output current.
    #[test]
    fn the_ripple_is_the_charge_above_the_output_current(case in any_case()) {
        let mut case = case;
        let farads = 47e-6;
        case.circuit.output_capacitance = Capacitance::from_coherent(farads);
        let Some((_, course, waveform)) = solved(&case) else {
            return Err(TestCaseError::reject("no cell"))
        };
        let load = si(case.at.output_current);
        // A current that falls to the output's on the edge leaves the formula.
        if si(course.release.start_current) <= load {
            return Ok(());
        }
        // A node that is left to ring after its fall brings charge a second time.
        if course.low_window.is_none_or(|(_, end)| course.low_dead_time > end) {
            return Ok(());
        }
        let values = |name| waveform.table.column(name).unwrap().values();
        let (time, current) = (values("time"), values("inductor_current"));
        let found = si(course.paths.output.ripple_of_charge) * farads;
        let mut expected = 0.0;
        for k in 1..time.len() {
            let (a, b) = (current[k - 1] - load, current[k] - load);
            // The part of a piece that lies above.
            let above = if a.max(b) <= 0.0 { 0.0 } else { a.max(b) / (a.max(b) - a.min(b).min(0.0)) };
            expected += above * (time[k] - time[k - 1]) * f64::midpoint(a.max(0.0), b.max(0.0));
        }
        let unseen = 1e-3 * case.step() * case.node(0.0) * 1e-12;
        prop_assert!((found - expected).abs() < 1e-3 * expected + unseen, "{found} is not {expected}: {course:?}");
    }

    /// No two gates of a pair are on at once, and the high side never turns on with
    /// the node elsewhere unless the result says so.
    #[test]
    fn gates_never_overlap(case in any_case()) {
        let Some((steady, course, waveform)) = solved(&case) else {
            return Err(TestCaseError::reject("no cell"))
        };
        let values = |name| waveform.table.column(name).unwrap().values();
        let (high, low, clamp) = (values("high_gate"), values("low_gate"), values("clamp_gate"));
        for k in 0..high.len() {
            prop_assert!(high[k] + low[k] + clamp[k] <= 1.0);
        }
        let first = high.iter().position(|gate| *gate == 1.0).unwrap();
        // Beyond its level the node leaves nothing across the channel.
        let left = values("high_voltage")[first - 1].max(0.0);
        prop_assert!((left - si(course.turn_on.voltage)).abs() < 1e-6 * case.step(), "{left}");
        let zero = si(course.turn_on.voltage) == 0.0;
        let full = steady.state == State::ZeroVoltage || steady.state == State::IncompleteFall;
        prop_assert!(zero == (steady.state == State::ZeroVoltage) || full, "{:?}", steady.state);
    }

    /// Two cells differ by a scale of time: twice the inductance, capacitance and
    /// period at half the frequency leave every current as it is.
    #[test]
    fn time_scales(case in any_case()) {
        let Some((steady, course, _)) = solved(&case) else {
            return Err(TestCaseError::reject("no cell"))
        };
        let mut slow = case.clone();
        let c = &mut slow.circuit;
        c.inductance *= 2.0;
        c.switching_frequency /= 2.0;
        c.high.scale *= 2.0;
        c.low.scale *= 2.0;
        c.clamp_scale *= 2.0;
        c.node_capacitance *= 2.0;
        c.trip_delay *= 2.0;
        c.dead_time = c.dead_time.map(|time: Time| 2.0 * time);
        c.low_dead_time = c.low_dead_time.map(|time: Time| 2.0 * time);
        let (other, twice, _) = solved(&slow).unwrap();
        prop_assert_eq!(steady.state, other.state);
        let near = |a: f64, b: f64| (a - b).abs() <= 1e-8 * a.abs().max(b.abs());
        prop_assert!(near(si(course.peak_current), si(twice.peak_current)));
        prop_assert!(near(2.0 * si(course.on_time), si(twice.on_time)));
        prop_assert!(near(si(course.paths.inductor.rms), si(twice.paths.inductor.rms)));
    }
    /// Two cells differ by a scale of current: capacitances times the factor,
    /// inductance and resistances over it, at the same voltages and times.
    #[test]
    fn currents_scale(case in any_case(), part in 0..2_usize) {
        let Some((steady, course, _)) = solved(&case) else {
            return Err(TestCaseError::reject("no cell"))
        };
        let factor = [1e-5, 1e4][part];
        let mut other = case.clone();
        let c = &mut other.circuit;
        c.inductance /= factor;
        for resistance in [
            &mut c.inductor_resistance,
            &mut c.high.on_resistance,
            &mut c.low.on_resistance,
        ] {
            *resistance /= factor;
        }
        if let Some(path) = &mut c.freewheel {
            path.resistance /= factor;
        }
        for scale in [&mut c.high.scale, &mut c.low.scale, &mut c.clamp_scale] {
            *scale *= factor;
        }
        c.node_capacitance *= factor;
        c.trip_threshold *= factor;
        c.trip_offset *= factor;
        other.at.output_current *= factor;
        let (scaled, all, _) = solved(&other).unwrap();
        prop_assert_eq!(steady.state, scaled.state);
        let near = |a: f64, b: f64| (a - b).abs() <= 1e-8 * a.abs().max(b.abs());
        prop_assert!(near(factor * si(course.peak_current), si(all.peak_current)));
        prop_assert!(near(si(course.on_time), si(all.on_time)));
        prop_assert!(near(factor * si(course.paths.inductor.rms), si(all.paths.inductor.rms)));
        prop_assert!(near(factor * si(course.input_power), si(all.input_power)));
    }
}
