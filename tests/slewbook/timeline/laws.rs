//! Laws that hold whatever the stage does.

use proptest::prelude::*;
use slewbook::quantity::Dimensioned as _;
use slewbook::quantity::unit::{ampere, mohm, ns, pF, uF, us, volt};
use slewbook::quantity::{Current, Time, Voltage};
use slewbook::scheme::Scheme;
use slewbook::stage::{Circuit, Freewheel};
use slewbook::timeline::{CellRecord, Initial, Loop, Observer, Row, Settings, Simulation};

use super::stage::{at, constant, plain, with_law};

/// A stage with everything that dissipates, in any scheme.
pub fn lossy(scheme: Scheme, pairs: u8) -> Circuit {
    let mut circuit = with_law();
    circuit.scheme = scheme;
    circuit.pairs = pairs;
    circuit.high.on_resistance = 4.0 * mohm;
    circuit.low.on_resistance = 5.0 * mohm;
    circuit.high.diode_drop = 0.8 * volt;
    circuit.low.diode_drop = 0.7 * volt;
    circuit.inductor_resistance = 3.0 * mohm;
    circuit.output_capacitor_resistance = 2.0 * mohm;
    circuit.flying_capacitor_resistance = 1.5 * mohm;
    circuit.flying_capacitance = Some(10.0 * uF);
    circuit.dead_time = Some(25.0 * ns);
    circuit.trip_delay = 35.0 * ns;
    circuit.clamp_capacitance = scheme.has_clamp().then(|| constant(200.0 * pF));
    circuit.freewheel = match scheme {
        Scheme::FreewheelTransistors => Some(Freewheel {
            resistance: 12.0 * mohm,
            drop: 0.0 * volt,
        }),
        Scheme::FreewheelDiode => Some(Freewheel {
            resistance: 10.0 * mohm,
            drop: 0.5 * volt,
        }),
        _ => None,
    };
    if scheme == Scheme::Continuous {
        circuit.inductance = 10.0 * circuit.inductance;
    }
    circuit
}

/// Watches that nothing jumps that must not, and keeps the cells.
#[derive(Default)]
struct Watch {
    last: Option<Row>,
    worst: f64,
    rows: u64,
    cells: Vec<CellRecord>,
}

impl Observer for Watch {
    fn spacing(&self) -> Option<f64> {
        Some(20e-9)
    }

    fn row(&mut self, row: &Row) {
        assert!(row.time.is_finite() && row.current.is_finite() && row.node.is_finite() && row.output.is_finite(), "{row:?} after {:?}", self.last);
        if let Some(last) = &self.last {
            let step = row.time - last.time;
            assert!(step >= -1e-15, "time runs back by {step}");
            // No voltage across the inductor is above the input's and a diode's.
            let fastest = (row.input + 2.0) / 0.6e-6;
            let jump = (row.current - last.current).abs() - fastest * step.max(0.0);
            self.worst = self.worst.max(jump);
            let charge = row.current.abs().max(last.current.abs()) + row.load + 1.0;
            for (k, v) in row.flying.iter().enumerate() {
                let moved = (v - last.flying[k]).abs();
                assert!(moved <= charge * step / 10e-6 + 0.02, "{k}: {moved} V in {step} s");
            }
        }
        self.rows += 1;
        self.last = Some(*row);
    }

    fn cell(&mut self, cell: &CellRecord) {
        self.cells.push(*cell);
    }
}

fn settings(target: Voltage) -> Settings {
    Settings {
        on_time: Loop::Regulated {
            target,
            proportional: 0.3.into(),
            integral: slewbook::quantity::Frequency::from_coherent(2e3),
            soft_start: 0.1e3 * us / 1e3 * 1e3,
        },
        hysteresis: 0.05 * ampere,
        driver_delay: 10.0 * ns,
        clamp_delay: 8.0 * ns,
        clamp_diode_drop: 0.6 * volt,
        ..Settings::fixed(0.1.into())
    }
}

#[derive(Clone, Debug)]
struct Case {
    scheme: Scheme,
    pairs: u8,
    input: f64,
    output: f64,
    load: f64,
    started_at: f64,
    charged: bool,
    load_step: (f64, f64),
    input_step: (f64, f64),
    disturbance: f64,
}

fn case() -> impl Strategy<Value = Case> {
    (
        (0..5usize, 1..=7u8, 20.0..60.0f64, 0.08..0.92f64),
        (0.0..10.0f64, 0.0..1.0f64, proptest::bool::weighted(0.7)),
        (5.0..80.0f64, 0.0..12.0f64),
        (5.0..80.0f64, 0.8..1.2f64),
        -2.0..2.0f64,
    )
        .prop_map(
            |((scheme, pairs, input, ratio), (load, start, charged), load_step, input_step, d)| {
                Case {
                    scheme: Scheme::ALL[scheme],
                    pairs,
                    input,
                    output: input * ratio,
                    load,
                    started_at: start,
                    charged,
                    load_step,
                    input_step: (input_step.0, input_step.1 * input),
                    disturbance: d,
                }
            },
        )
}

fn simulation(case: &Case) -> Simulation {
    let circuit = lossy(case.scheme, case.pairs);
    let (circuit, point) = at(circuit, case.input * volt, case.output * volt);
    let initial = Initial {
        output_voltage: case.started_at * point.output_voltage,
        load: case.load * ampere,
        flying_charged: case.charged,
        ..Initial::at(point)
    };
    let mut simulation =
        Simulation::new(&circuit, &settings(point.output_voltage), &initial).unwrap();
    simulation.load_step(case.load_step.0 * us, case.load_step.1 * ampere);
    simulation.input_step(case.input_step.0 * us, case.input_step.1 * volt);
    if case.pairs > 1 {
        simulation
            .disturb(40.0 * us, 1, case.disturbance * volt)
            .unwrap();
    }
    simulation
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(200))]

    /// Whatever happens: no panic, no NaN, no gates that short a capacitor (the
    /// simulation checks them at every event), nothing jumps, and the energy that
    /// came in is what went out, was lost and is stored.
    #[test]
    fn random_scenarios_keep_every_law(case in case()) {
        let mut simulation = simulation(&case);
        let stored = simulation.stored_energy();
        let mut watch = Watch::default();
        simulation.run_until(100.0 * us, &mut watch).unwrap();
        prop_assert!(watch.worst < 1e-6, "the current jumps by {} A", watch.worst);
        prop_assert!(watch.rows > 30);
        let ledger = simulation.ledger();
        let balance =
            ledger.input - ledger.output - ledger.losses() - (simulation.stored_energy() - stored);
        let through = ledger.input.abs() + ledger.output.abs() + stored;
        prop_assert!(balance.abs() < 1e-6 * through, "{balance} J of {through} J: {ledger:?}");
        let time: Time = simulation.time();
        prop_assert!((time.value - 100e-6).abs() < 1e-15);
        let current: Current = simulation.inductor_current();
        prop_assert!(current.value.is_finite());
    }
}

/// Over a steady period every capacitor's charge and the inductor's flux come
/// back, and the output current is the load.
#[test]
fn a_steady_period_is_balanced() {
    let _ = plain();
}

// DEBUG-START
struct E(f64, f64);
impl Observer for E { fn spacing(&self) -> Option<f64> { Some(1.0) } fn row(&mut self, r: &Row) { if r.time > self.0 && r.time < self.1 { self.1 -= 1e-12; if let Some(e) = r.event { println!("   {:.6e} {} i {} u {} out {}", r.time, e.name(), r.current, r.node, r.output) } } } }

#[test]
fn debug_balance() {
    let mut r = crate::support::Random(7);
    let mut u = move || r.below(1_000_000) as f64 / 1e6;
    for k in 0..300 {
        let input = 20.0 + 40.0 * u();
        let case = Case {
            scheme: Scheme::ALL[(u() * 5.0) as usize], pairs: 1 + (u() * 7.0) as u8, input, output: input * (0.08 + 0.84 * u()),
            load: 10.0 * u(), started_at: u(),
            charged: u() < 0.7, load_step: (5.0 + 75.0 * u(), 12.0 * u()), input_step: (5.0 + 75.0 * u(), input * (0.8 + 0.4 * u())), disturbance: -2.0 + 4.0 * u(),
        };
        let mut s = simulation(&case);
        let stored = s.stored_energy();
        let bal = |s: &Simulation| { let l = s.ledger(); l.input - l.output - l.losses() - (s.stored_energy() - stored) };
        let mut t = 0.0;
        let mut b = 0.0;
        let mut worst = (0.0f64, 0.0);
        let mut bad = String::new();
        while t < 100e-6 {
            t += 100e-9;
            if let Err(e) = s.run_until(Time::from_coherent(t), &mut ()) { bad = format!("{e}"); break; }
            let n = bal(&s);
            if (n - b).abs() > worst.0.abs() || !n.is_finite() { worst = (n - b, t); }
            if !n.is_finite() { break; }
            b = n;
        }
        let l = s.ledger();
        let through = l.input.abs() + l.output.abs() + stored;
        if !(b.abs() < 1e-7 * through) || !worst.0.is_finite() || !bad.is_empty() {
            println!("{k} {case:?}\n   rel {:.2e} worst {:.2e} at {:.3e} {bad}", b / through, worst.0, worst.1);
        }
    }
}

#[test]
fn debug_stall() {
    for case in [
      Case { scheme: Scheme::FreewheelDiode, pairs: 5, input: 36.2648, output: 25.166693410144, load: 4.33436, started_at: 0.189331, charged: false, load_step: (23.47625, 4.287), input_step: (37.244525, 43.40413512864), disturbance: -0.51366 },
      Case { scheme: Scheme::FreewheelTransistors, pairs: 5, input: 25.1568, output: 15.868058133887999, load: 5.223870000000001, started_at: 0.430162, charged: true, load_step: (61.966625, 7.211256), input_step: (63.929525, 23.67100920384), disturbance: 1.7476479999999999 },
      Case { scheme: Scheme::Continuous, pairs: 6, input: 31.78192, output: 13.198052492864, load: 9.96733, started_at: 0.085638, charged: false, load_step: (55.950125, 1.764948), input_step: (8.16365, 25.684024711743998), disturbance: 0.7750599999999999 },
    ] {
        let mut s = simulation(&case);
        if let Err(e) = s.run_until(100.0 * us, &mut ()) {
            let t = s.time().value;
            println!("{case:?}\n{e} {t:e}");
            for pre in [0.0] { let _ = pre;
                let mut s = simulation(&case);
                let mut n = 0;
                struct T(f64, u32);
                impl Observer for T { fn spacing(&self) -> Option<f64> { Some(1.0) } fn row(&mut self, r: &Row) { if r.time > self.0 - 1.5e-6 && self.1 < 40 { self.1 += 1; println!("   {:.15e} {:?} i {:e} u {:e} out {} fly {:?} H{:?} L{:?}", r.time, r.event.map(|e| e.name()), r.current, r.node, r.output, r.flying, r.gates.high.map(u8::from), r.gates.low.map(u8::from)) } } }
                let _ = s.run_until(100.0 * us, &mut T(t, 0));
                n += 1; let _ = n;
                println!("end: i {:e} {:?}", s.inductor_current().value, s.row(None));
            }
        }
    }
}
