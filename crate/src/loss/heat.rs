//! The temperature that follows from the loss, and the loss from it.

use crate::equation::{Derivation, Term};
use crate::quantity::{Current, Power, Ratio, Resistance, TemperatureInterval, ThermalResistance};

/// A resistance's change per kelvin.
type Slope = <Resistance as std::ops::Div<TemperatureInterval>>::Output;

/// The rise of a part above its surroundings, its resistance growing with its own
/// temperature: `ΔT = R_th·(P_0 + I²·R_0)/(1 − R_th·I²·s)`.
///
/// `P_0` is the loss that does not depend on temperature, `R_0` the resistance at
/// the surroundings' temperature, `s` its growth per kelvin.
///
/// # Errors
/// No value where each kelvin of rise brings on at least one more: thermal runaway.
///
/// # Source
/// The thermal chain `ΔT = R_th·P` with `P = P_0 + I²·(R_0 + s·ΔT)`, solved.
///
/// # Example
/// ```
/// use slewbook::{equation::Term, loss::heat};
/// use slewbook::quantity::{Dimensioned, Resistance, TemperatureInterval, ThermalResistance, print};
/// use slewbook::quantity::unit::{ampere, kelvin, mohm, watt};
/// let slope: <Resistance as std::ops::Div<TemperatureInterval>>::Output = 0.02 * mohm / (1.0 * kelvin);
/// let rise = heat::rise(
///     Term::input("R_th", "thermal resistance", ThermalResistance::from_coherent(40.0)),
///     Term::input("P_0", "loss that does not depend on temperature", 0.5 * watt),
///     Term::input("I_rms", "rms current", 8.0 * ampere),
///     Term::input("R_0", "resistance at ambient", 4.0 * mohm),
///     Term::input("s", "growth of the resistance", slope),
/// );
/// assert_eq!(print(rise.value().unwrap()), "31.87 K");
/// ```
#[must_use]
pub fn rise(
    thermal: Term<ThermalResistance>,
    fixed: Term<Power>,
    rms: Term<Current>,
    resistance: Term<Resistance>,
    slope: Term<Slope>,
) -> Derivation<TemperatureInterval> {
    let feedback: Term<Ratio> = thermal * rms.squared() * slope;
    let feedback = feedback.named("g", "rise that each kelvin of rise brings on");
    let cold: Term<Power> = fixed + rms.squared() * resistance;
    let rise: Term<TemperatureInterval> = thermal * cold / (1.0 - feedback);
    Derivation::new(
        "temperature_rise",
        "How much warmer than its surroundings does a part get?",
        rise.named("Delta T_j", "rise above the surroundings"),
    )
    .requires(
        feedback.below(1.0.into()),
        "the loss settles: each kelvin brings on less than one more",
        "Thermal runaway: lower the thermal resistance or the current.",
    )
    .source("circuit-laws")
    .assumes("One thermal resistance from the part to its surroundings; the resistance grows in a straight line.")
}
