//! The core: Steinmetz's law and its improved generalised form.

use crate::equation::{Derivation, Term};
use crate::quantity::{
    Area, Current, Dimensioned as _, Frequency, Inductance, MagneticFluxDensity, Ratio, Time,
    VolumetricPowerDensity,
};

/// The constants of Steinmetz's law, as symbols.
#[derive(Clone, Copy, Debug)]
pub struct Steinmetz {
    /// Loss density at the reference frequency and flux density, `k`.
    pub k: Term<VolumetricPowerDensity>,
    /// Exponent of the frequency, `α`.
    pub alpha: Term<Ratio>,
    /// Exponent of the flux density, `β`.
    pub beta: Term<Ratio>,
    /// Reference frequency, 1 Hz.
    pub frequency: Term<Frequency>,
    /// Reference flux density, 1 T.
    pub flux: Term<MagneticFluxDensity>,
}

impl Steinmetz {
    /// The law with `k` in W/m³ at 1 Hz and 1 T.
    #[must_use]
    pub fn new(k: VolumetricPowerDensity, alpha: Ratio, beta: Ratio) -> Self {
        Self {
            k: Term::input("k_s", "loss density at 1 Hz and 1 T", k),
            alpha: Term::input("alpha", "exponent of the frequency", alpha),
            beta: Term::input("beta", "exponent of the flux density", beta),
            frequency: Term::input("f_0", "reference frequency", unit()),
            flux: Term::input("B_0", "reference flux density", unit()),
        }
    }
}

/// One of the coherent unit of a quantity.
fn unit<Q: crate::quantity::Dimensioned>() -> Q {
    Q::from_coherent(1.0)
}

/// The loss density of a sinusoidal flux, `P_v = k·(f/f_0)^α·(B/B_0)^β`.
///
/// `B` is the amplitude. Valid within the range of frequency, flux and temperature
/// in which the constants were fitted.
///
/// # Source
/// Steinmetz, 1892.
///
/// # Example
/// ```
/// use slewbook::{equation::Term, loss::core::{self, Steinmetz}};
/// use slewbook::quantity::{Dimensioned as _, VolumetricPowerDensity, print, unit::{kHz, mT}};
/// let law = Steinmetz::new(VolumetricPowerDensity::from_coherent(1.5), 1.5.into(), 2.5.into());
/// let frequency = Term::input("f", "frequency", 100.0 * kHz);
/// let flux = Term::input("B", "amplitude of the flux density", 100.0 * mT);
/// assert_eq!(print(core::sinusoidal(&law, frequency, flux).value().unwrap()), "150 kW/m³");
/// ```
#[must_use]
pub fn sinusoidal(
    law: &Steinmetz,
    frequency: Term<Frequency>,
    amplitude: Term<MagneticFluxDensity>,
) -> Derivation<VolumetricPowerDensity> {
    let density = law.k
        * (frequency / law.frequency).power(law.alpha)
        * (amplitude / law.flux).power(law.beta);
    Derivation::new(
        "core_loss_sinusoidal",
        "What does a sinusoidal flux dissipate in the core?",
        density.named("P_v", "loss density"),
    )
    .source("steinmetz-1892")
}

/// The constant of the improved generalised method,
/// `k_i = k/((2·π)^(α − 1)·2^(β − α)·4·∫ cos^α θ dθ)`, the integral over a quarter turn.
pub(super) fn generalised_constant(law: &Steinmetz) -> Term<VolumetricPowerDensity> {
    let pi = super::pi();
    let quarter = Term::<Ratio>::integral("u", 0.0.into(), pi / 2.0, |u| u.cos().power(law.alpha))
        .named("J", "integral of cos^α over a quarter turn");
    let two: Term<Ratio> = 2.0.into();
    let turn = (2.0 * pi).power(law.alpha - 1.0);
    (law.k / (turn * two.power(law.beta - law.alpha) * (4.0 * quarter)))
        .named("k_i", "constant of the improved generalised method")
}

/// The loss density of a flux that swings by `ΔB` up in `t_1` and down in `t_2`, in
/// straight lines, once every `T`, and rests in between:
/// `P_v = k_i·(ΔB/B_0)^β·((t_1·f_0)^(1 − α) + (t_2·f_0)^(1 − α))/(T·f_0)`.
///
/// # Errors
/// No value where a flank takes no time.
///
/// # Assumptions
/// The improved generalised method: the loss follows the flux's slope and swing,
/// not its mean value nor how long it rests.
///
/// # Source
/// Venkatachalam, Sullivan, Abdallah, Tacca, 2002.
///
/// # Example
/// A triangle of equal flanks with `α = 1` loses what a sinusoid of its amplitude does:
/// ```
/// use slewbook::{equation::Term, loss::core::{self, Steinmetz}};
/// use slewbook::quantity::{Dimensioned as _, VolumetricPowerDensity, print, unit::{kHz, mT, us}};
/// let law = Steinmetz::new(VolumetricPowerDensity::from_coherent(50.0), 1.0.into(), 2.5.into());
/// let swing = Term::input("Delta B", "swing of the flux density", 200.0 * mT);
/// let t_1 = Term::input("t_1", "time of the rise", 5.0 * us);
/// let t_2 = Term::input("t_2", "time of the fall", 5.0 * us);
/// let period = Term::input("T", "period", 10.0 * us);
/// let triangle = core::triangular(&law, swing, t_1, t_2, period);
/// let sinusoid = core::sinusoidal(
///     &law,
///     Term::input("f", "frequency", 100.0 * kHz),
///     Term::input("B", "amplitude", 100.0 * mT),
/// );
/// assert_eq!(print(triangle.value().unwrap()), print(sinusoid.value().unwrap()));
/// ```
#[must_use]
pub fn triangular(
    law: &Steinmetz,
    swing: Term<MagneticFluxDensity>,
    rise: Term<Time>,
    fall: Term<Time>,
    period: Term<Time>,
) -> Derivation<VolumetricPowerDensity> {
    let flank = |time: Term<Time>| -> Term<Ratio> { (time * law.frequency).power(1.0 - law.alpha) };
    let density = generalised_constant(law)
        * (swing / law.flux).power(law.beta)
        * (flank(rise) + flank(fall))
        / (period * law.frequency);
    let none = Term::constant(Time::from_coherent(0.0));
    let remedy = "A step of the flux has no loss in this method.";
    Derivation::new(
        "core_loss_triangular",
        "What does a triangular flux dissipate in the core?",
        density.named("P_v", "loss density"),
    )
    .requires(rise.above(none), "the rise takes some time", remedy)
    .requires(fall.above(none), "the fall takes some time", remedy)
    .source("venkatachalam-2002")
    .assumes("The loss follows slope and swing of the flux, not its mean value nor its rest.")
}

/// The swing of the flux density from that of the current, `ΔB = L·ΔI/(N·A_e)`.
///
/// # Source
/// Faraday's law.
///
/// # Example
/// ```
/// use slewbook::{equation::Term, loss::core};
/// use slewbook::quantity::{Area, Dimensioned as _, print, unit::{ampere, uH}};
/// let inductance = Term::input("L", "inductance", 0.68 * uH);
/// let swing = Term::input("Delta I", "swing of the current", 16.0 * ampere);
/// let turns = Term::input("N_t", "turns", 4.0.into());
/// let area = Term::input("A_e", "core area", Area::from_coherent(40e-6));
/// assert_eq!(print(core::flux_swing(inductance, swing, turns, area).value().unwrap()), "68 mT");
/// ```
#[must_use]
pub fn flux_swing(
    inductance: Term<Inductance>,
    swing: Term<Current>,
    turns: Term<Ratio>,
    area: Term<Area>,
) -> Derivation<MagneticFluxDensity> {
    let flux: Term<MagneticFluxDensity> = inductance * swing / (turns * area);
    Derivation::new(
        "flux_swing",
        "How far does the flux density swing?",
        flux.named("Delta B", "swing of the flux density"),
    )
    .source("circuit-laws")
}
