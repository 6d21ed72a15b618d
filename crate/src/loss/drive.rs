//! What driving and switching a transistor costs: gate charge, overlap, body
//! diode and recovery.

use crate::equation::{Derivation, Term};
use crate::quantity::{
    Capacitance, Charge, Current, Dimensioned as _, Energy, Frequency, Power, Time, Voltage,
};

/// The power that one gate takes from its supply, `P_g = Q_g·V_drive·f`.
///
/// The whole charge at the whole drive voltage, without a half: what the gate
/// does not store, the driver dissipates, and at turn-off the rest.
///
/// # Source
/// A maker's application report, number SLVAED3A, equation 4.
///
/// # Example
/// ```
/// use slewbook::{equation::Term, loss::drive};
/// use slewbook::quantity::{print, unit::{kHz, nC, volt}};
/// let charge = Term::input("Q_g", "gate charge", 26.6 * nC);
/// let supply = Term::input("V_drive", "drive voltage", 10.0 * volt);
/// let frequency = Term::input("f", "switching frequency", 100.0 * kHz);
/// let power = drive::gate_power(charge, supply, frequency);
/// assert_eq!(print(power.value().unwrap()), "26.6 mW");
/// ```
#[must_use]
pub fn gate_power(
    charge: Term<Charge>,
    drive: Term<Voltage>,
    frequency: Term<Frequency>,
) -> Derivation<Power> {
    let power: Term<Power> = charge * drive * frequency;
    Derivation::new(
        "gate_power",
        "What does one gate take from its supply?",
        power.named("P_g", "power of a gate drive"),
    )
    .source("application-report-losses")
}

/// The energy of a turn-off whose current and voltage overlap in full,
/// `E_off = V·I·t_off/2`: the upper bound.
///
/// `I` is the current at turn-off, `V` the step, `t_off` the sum of voltage rise
/// and current fall.
///
/// # Source
/// Area of the triangle of voltage and current (Mohan, Undeland, Robbins, 2003).
///
/// # Example
/// ```
/// use slewbook::{equation::Term, loss::drive};
/// use slewbook::quantity::{print, unit::{ampere, ns, volt}};
/// let step = Term::input("V", "step", 12.0 * volt);
/// let current = Term::input("I", "current at turn-off", 3.0 * ampere);
/// let time = Term::input("t_off", "turn-off time", 10.0 * ns);
/// assert_eq!(print(drive::overlap_energy(step, current, time).value().unwrap()), "180 nJ");
/// ```
#[must_use]
pub fn overlap_energy(
    step: Term<Voltage>,
    current: Term<Current>,
    time: Term<Time>,
) -> Derivation<Energy> {
    let energy: Term<Energy> = step * current * time / 2.0;
    Derivation::new(
        "overlap_energy",
        "What does a turn-off cost at most, current and voltage overlapping in full?",
        energy.named("E_off", "energy of a turn-off, upper bound"),
    )
    .source("mohan-2003")
}

/// The energy of a turn-off whose voltage the node's capacitance holds back while
/// the channel's current falls in a straight line: the lower bound.
///
/// With `t_v = min(√(2·C·V·t_off/I), t_off)`, the time for which the voltage rises
/// while the current falls:
/// `I²/(2·C·t_off)·(t_v³/3 − t_v⁴/(4·t_off)) + V·I·(t_off − t_v)²/(2·t_off)`. Where the
/// current is gone first it is `I²·t_off²/(24·C)`; without capacitance it becomes
/// [`overlap_energy`].
///
/// # Errors
/// No value without current, capacitance or time.
///
/// # Assumptions
/// The current goes from the channel to the capacitance in a straight line over
/// `t_off`; the capacitance is its charge-equivalent constant over the step.
///
/// # Source
/// Derived here from the charge in the capacitance; where the current is gone
/// first it is the classical turn-off snubber's.
///
/// # Example
/// ```
/// use slewbook::{equation::Term, loss::drive};
/// use slewbook::quantity::{print, unit::{ampere, nF, ns, volt}};
/// let step = Term::input("V", "step", 22.0 * volt);
/// let current = Term::input("I", "current at turn-off", 6.0 * ampere);
/// let time = Term::input("t_off", "turn-off time", 4.0 * ns);
/// let capacitance = Term::input("C_eq", "charge-equivalent capacitance", 1.0 * nF);
/// let energy = drive::overlap_limited(step, current, time, capacitance);
/// assert_eq!(print(energy.value().unwrap()), "24 nJ");
/// ```
#[must_use]
pub fn overlap_limited(
    step: Term<Voltage>,
    current: Term<Current>,
    time: Term<Time>,
    capacitance: Term<Capacitance>,
) -> Derivation<Energy> {
    let squared_time = 2.0 * capacitance * step * time / current;
    let reach: Term<Time> = squared_time.sqrt().min(time).named(
        "t_v",
        "time for which the voltage rises while the current falls",
    );
    let rising = current.squared() / (2.0 * capacitance * time)
        * (reach.squared() * reach / 3.0 - reach.squared() * reach.squared() / (4.0 * time));
    let energy: Term<Energy> = rising + step * current * (time - reach).squared() / (2.0 * time);
    let above = "Without it there is nothing to bound.";
    Derivation::new(
        "overlap_limited",
        "What does a turn-off cost at least, with the capacitance limiting the voltage's rise?",
        energy.named("E_off,low", "energy of a turn-off, lower bound"),
    )
    .requires(
        current.above(Term::constant(Current::from_coherent(0.0))),
        "a current is turned off",
        above,
    )
    .requires(
        time.above(Term::constant(Time::from_coherent(0.0))),
        "the turn-off takes some time",
        above,
    )
    .requires(
        capacitance.above(Term::constant(Capacitance::from_coherent(0.0))),
        "the node has some capacitance",
        "Without it the overlap is whole.",
    )
    .source("energy-balance")
    .assumes("The channel's current falls in a straight line; the capacitance is constant.")
}

/// The energy in a body diode that carries a current falling from `i_1` to `i_2`
/// for a time, `E_d = V_F·t·(i_1 + i_2)/2`.
///
/// # Source
/// Charge through a constant drop.
///
/// # Example
/// ```
/// use slewbook::{equation::Term, loss::drive};
/// use slewbook::quantity::{print, unit::{ampere, ns, volt}};
/// let drop = Term::input("V_F", "diode drop", 0.8 * volt);
/// let current = Term::input("i_1", "current at the start", 15.0 * ampere);
/// let end = Term::input("i_2", "current at the end", 14.0 * ampere);
/// let time = Term::input("t_d", "time for which it conducts", 10.0 * ns);
/// assert_eq!(print(drive::diode_energy(drop, current, end, time).value().unwrap()), "116 nJ");
/// ```
#[must_use]
pub fn diode_energy(
    drop: Term<Voltage>,
    from: Term<Current>,
    to: Term<Current>,
    time: Term<Time>,
) -> Derivation<Energy> {
    let energy: Term<Energy> = drop * time * (from + to) / 2.0;
    Derivation::new(
        "diode_energy",
        "What does a body diode dissipate in a dead time?",
        energy.named("E_d", "energy in a body diode"),
    )
    .source("circuit-laws")
}

/// The energy of a diode's recovery when the opposite transistor turns on hard,
/// `E_rr = Q_rr·V`.
///
/// # Source
/// The charge passes from the upper level through the transistor that turns on.
///
/// # Assumptions
/// The recovery charge of the data sheet, taken whole and independent of the
/// current's slope.
///
/// # Example
/// ```
/// use slewbook::{equation::Term, loss::drive};
/// use slewbook::quantity::{print, unit::{nC, volt}};
/// let charge = Term::input("Q_rr", "recovery charge", 20.0 * nC);
/// let step = Term::input("V", "step", 22.0 * volt);
/// assert_eq!(print(drive::recovery_energy(charge, step).value().unwrap()), "440 nJ");
/// ```
#[must_use]
pub fn recovery_energy(charge: Term<Charge>, step: Term<Voltage>) -> Derivation<Energy> {
    let energy: Term<Energy> = charge * step;
    Derivation::new(
        "recovery_energy",
        "What does the recovery of a body diode dissipate?",
        energy.named("E_rr", "energy of a recovery"),
    )
    .source("circuit-laws")
    .assumes("The whole recovery charge of the data sheet, whatever the current's slope.")
}
