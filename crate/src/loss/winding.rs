//! The winding: copper, skin depth, layers.

use crate::equation::{Derivation, Term};
use crate::quantity::{
    Dimensioned as _, ElectricalResistivity, Frequency, Length, MagneticPermeability, Ratio,
    Resistance, TemperatureCoefficient, TemperatureInterval,
};

/// Resistivity of standard annealed copper at 20 °C in Ω·m, 1/58 Ω·mm²/m (IEC 60028).
pub const COPPER_RESISTIVITY: f64 = 1e-6 / 58.0;
/// Temperature coefficient of its resistance at 20 °C in 1/K (IEC 60028).
pub const COPPER_COEFFICIENT: f64 = 3.93e-3;
/// Magnetic constant in H/m (CODATA 2022, rounded).
pub const MAGNETIC_CONSTANT: f64 = 1.256_637_061_27e-6;

/// The resistance of a copper winding above or below 20 °C,
/// `R = R_20·(1 + α_20·ΔT)`.
///
/// `ΔT` is the temperature less 20 °C.
///
/// # Source
/// IEC 60028.
///
/// # Example
/// ```
/// use slewbook::{equation::Term, loss::winding};
/// use slewbook::quantity::{print, unit::{kelvin, mohm}};
/// let cold = Term::input("R_20", "resistance at 20 °C", 5.0 * mohm);
/// let rise = Term::input("Delta T", "temperature above 20 °C", 80.0 * kelvin);
/// assert_eq!(print(winding::warm_resistance(cold, rise).value().unwrap()), "6.572 mΩ");
/// ```
#[must_use]
pub fn warm_resistance(
    cold: Term<Resistance>,
    above: Term<TemperatureInterval>,
) -> Derivation<Resistance> {
    let coefficient = Term::input_from(
        "alpha_20",
        "temperature coefficient of copper at 20 °C",
        TemperatureCoefficient::from_coherent(COPPER_COEFFICIENT),
        "IEC 60028",
    );
    let rise: Term<Ratio> = coefficient * above;
    Derivation::new(
        "winding_resistance",
        "What is the winding's resistance when it is warm?",
        (cold * (1.0 + rise)).named("R_w", "resistance of the winding"),
    )
    .source("iec-60028")
}

/// The skin depth, `δ = √(ρ/(π·f·μ_0))`, of a conductor that is not magnetic.
///
/// # Errors
/// No value at a frequency of zero.
///
/// # Source
/// Meinke and Gundlach, 1986.
///
/// # Example
/// ```
/// use slewbook::{equation::Term, loss::winding};
/// use slewbook::quantity::{Dimensioned as _, ElectricalResistivity, print, unit::kHz};
/// let copper = Term::input("rho", "resistivity", ElectricalResistivity::from_coherent(0.01786e-6));
/// let frequency = Term::input("f", "frequency", 103.79 * kHz);
/// assert_eq!(print(winding::skin_depth(copper, frequency).value().unwrap()), "208.8 µm");
/// ```
#[must_use]
pub fn skin_depth(
    resistivity: Term<ElectricalResistivity>,
    frequency: Term<Frequency>,
) -> Derivation<Length> {
    let constant = Term::input_from(
        "mu_0",
        "magnetic constant",
        MagneticPermeability::from_coherent(MAGNETIC_CONSTANT),
        "CODATA 2022",
    );
    let depth: Term<Length> = (resistivity / (super::pi() * frequency * constant)).sqrt();
    Derivation::new(
        "skin_depth",
        "How deep does the current of a frequency flow?",
        depth.named("delta", "skin depth"),
    )
    .requires(
        frequency.above(Term::constant(Frequency::from_coherent(0.0))),
        "the frequency is above zero",
        "Direct current fills the conductor.",
    )
    .source("meinke-gundlach-1986")
}

/// Dowell's factor of a winding's resistance to a sinusoid over that to direct
/// current, for `p` layers of a foil `φ` skin depths thick:
/// `F = φ·((sinh 2φ + sin 2φ)/(cosh 2φ − cos 2φ) + 2·(p² − 1)/3·(sinh φ − sin φ)/(cosh φ + cos φ))`.
///
/// For round wire of diameter `d` at pitch `w`, the equivalent foil is
/// `d·√(π/4)·√(d·√(π/4)/w)` skin depths thick. One, in the limit of thin layers.
///
/// # Errors
/// No value below a hundredth of a skin depth, where the form cancels and the
/// factor is one, and above 300, where it overflows.
///
/// # Source
/// Dowell, 1966; the form is Erickson and Maksimović's.
///
/// # Example
/// ```
/// use slewbook::{equation::Term, loss::winding};
/// use slewbook::quantity::print;
/// let thickness = Term::input("phi", "thickness in skin depths", 1.0.into());
/// let layers = Term::input("p", "layers", 3.0.into());
/// assert_eq!(print(winding::layer_factor(thickness, layers).value().unwrap()), "1.94");
/// ```
#[must_use]
pub fn layer_factor(thickness: Term<Ratio>, layers: Term<Ratio>) -> Derivation<Ratio> {
    let sinh = |x: Term<Ratio>| (x.exp() - (-x).exp()) / 2.0;
    let cosh = |x: Term<Ratio>| (x.exp() + (-x).exp()) / 2.0;
    let double = 2.0 * thickness;
    let skin = ((sinh(double) + double.sin()) / (cosh(double) - double.cos()))
        .named("F_skin", "the layer's own part");
    let near = ((sinh(thickness) - thickness.sin()) / (cosh(thickness) + thickness.cos()))
        .named("F_near", "the part of the other layers");
    let factor = thickness * (skin + 2.0 * (layers.squared() - 1.0) / 3.0 * near);
    Derivation::new(
        "layer_factor",
        "By how much does a winding's resistance rise at a frequency?",
        factor.named("F", "resistance over that to direct current"),
    )
    .requires(
        thickness.at_least(0.01.into()),
        "the layer is at least a hundredth of a skin depth thick",
        "Below it the factor is one to eight digits.",
    )
    .requires(
        thickness.at_most(300.0.into()),
        "the layer is at most 300 skin depths thick",
        "No winding is.",
    )
    .source("dowell-1966")
    .source("erickson-2020")
    .assumes("The field is parallel to the layers, as in a full window.")
}
