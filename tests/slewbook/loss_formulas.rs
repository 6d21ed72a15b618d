//! The formulas of the losses for the catalogue, on a stage or on inputs of their own.

use slewbook::equation::{Record, Term};
use slewbook::loss::core::{self, Steinmetz};
use slewbook::loss::{conduction, drive, heat, turn_on, winding};
use slewbook::quantity::{
    Area, Capacitance, Charge, Current, Dimensioned, ElectricalResistivity, Frequency,
    MagneticFluxDensity, Power, Resistance, TemperatureInterval, ThermalResistance, Time, Voltage,
    VolumetricPowerDensity,
};
use slewbook::stage::Stage;

/// An input of any dimension.
pub fn input<Q: Dimensioned>(name: &str, words: &str, value: f64) -> Term<Q> {
    Term::input(name, words, Q::from_coherent(value))
}

/// Every derivation of the losses for a stage and a trip threshold.
pub fn derivations(stage: &Stage, trip: Term<Current>) -> Vec<Record> {
    let output = stage.specification.output_voltage.nominal.coherent();
    let v0: Term<Voltage> = input("v_0", "node voltage at turn-on", output);
    let mut list = vec![
        turn_on::energy(stage, v0).into_record(),
        turn_on::ring_energy(stage).into_record(),
        turn_on::ring_top(stage).into_record(),
        turn_on::hard_best(stage).into_record(),
        turn_on::hard_worst(stage).into_record(),
        turn_on::hard_damped(stage).into_record(),
        turn_on::hard_mean(stage).into_record(),
        conduction::inductor_rms(stage, trip).into_record(),
        conduction::high_side_rms(stage, trip).into_record(),
        conduction::low_side_rms(stage, trip).into_record(),
        conduction::clamp_rms(stage, trip).into_record(),
    ];
    list.extend(switching());
    list.extend(inductor());
    list
}

fn switching() -> Vec<Record> {
    let i_1: Term<Current> = input("i_1", "current at the start", 15.0);
    let i_2: Term<Current> = input("i_2", "current at the end", 14.0);
    let time: Term<Time> = input("t_off", "turn-off time", 4e-9);
    let step: Term<Voltage> = input("V", "step", 22.0);
    let off: Term<Current> = input("I", "current at turn-off", 15.0);
    let farads: Term<Capacitance> = input("C_eq", "charge-equivalent capacitance", 6e-10);
    let large: Term<Capacitance> = input("C_eq", "charge-equivalent capacitance", 6e-9);
    let gate: Term<Charge> = input("Q_g", "gate charge", 12e-9);
    let supply: Term<Voltage> = input("V_drive", "drive voltage", 5.0);
    let frequency: Term<Frequency> = input("f", "frequency", 140e3);
    let charge: Term<Charge> = input("Q_rr", "recovery charge", 20e-9);
    let drop: Term<Voltage> = input("V_F", "diode drop", 0.8);
    let conducting: Term<Time> = input("t_d", "time for which it conducts", 10e-9);
    let resistance: Term<Resistance> = input("R", "resistance", 4e-3);
    let rms: Term<Current> = input("I_rms", "rms current", 8.0);
    vec![
        conduction::trapezoid_rms(i_1, i_2, input("d", "part of the period", 0.4)).into_record(),
        conduction::power(resistance, rms).into_record(),
        drive::gate_power(gate, supply, frequency).into_record(),
        drive::overlap_energy(step, off, time).into_record(),
        drive::overlap_limited(step, off, time, farads).into_record(),
        drive::overlap_limited(step, off, time, large).into_record(),
        drive::diode_energy(drop, i_1, i_2, conducting).into_record(),
        drive::recovery_energy(charge, step).into_record(),
        heat::rise(
            input::<ThermalResistance>("R_th", "thermal resistance", 40.0),
            input::<Power>("P_0", "loss that does not depend on temperature", 0.5),
            rms,
            input("R_0", "resistance at ambient", 4e-3),
            input("s", "growth of the resistance per kelvin", 2e-5),
        )
        .into_record(),
    ]
}

/// Constants of Steinmetz's law.
pub fn steinmetz(k: f64, alpha: f64, beta: f64) -> Steinmetz {
    Steinmetz::new(
        VolumetricPowerDensity::from_coherent(k),
        alpha.into(),
        beta.into(),
    )
}

fn inductor() -> Vec<Record> {
    let law = steinmetz(1.5, 1.5, 2.5);
    let frequency: Term<Frequency> = input("f", "frequency", 280e3);
    let amplitude: Term<MagneticFluxDensity> = input("B", "amplitude of the flux density", 0.05);
    let swing: Term<MagneticFluxDensity> = input("Delta B", "swing of the flux density", 0.1);
    let copper: Term<ElectricalResistivity> = input("rho", "resistivity", 1.7241e-8);
    vec![
        core::sinusoidal(&law, frequency, amplitude).into_record(),
        core::triangular(
            &law,
            swing,
            input("t_1", "time of the rise", 0.9e-6),
            input("t_2", "time of the fall", 1.8e-6),
            input("T", "period", 3.6e-6),
        )
        .into_record(),
        core::flux_swing(
            input("L", "inductance", 0.68e-6),
            input("Delta I", "swing of the current", 16.0),
            input("N_t", "turns", 4.0),
            input::<Area>("A_e", "core area", 40e-6),
        )
        .into_record(),
        winding::warm_resistance(
            input("R_20", "resistance at 20 °C", 5e-3),
            input::<TemperatureInterval>("Delta T", "temperature above 20 °C", 80.0),
        )
        .into_record(),
        winding::skin_depth(copper, frequency).into_record(),
        winding::layer_factor(
            input("phi", "thickness in skin depths", 1.3),
            input("p", "layers", 3.0),
        )
        .into_record(),
    ]
}
