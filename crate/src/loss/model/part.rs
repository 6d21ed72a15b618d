//! The parts in the numbers that the losses need.

use crate::loss::core::{Steinmetz, generalised_constant};
use crate::loss::winding::COPPER_COEFFICIENT;
use crate::quantity::{Dimensioned, Resistance, Voltage, VolumetricPowerDensity};
use crate::stage::{InductorData, SwitchData};

/// A resistance against temperature in degrees Celsius.
#[derive(Clone, Copy, Debug)]
pub(super) struct Warm {
    pub base: f64,
    pub slope: f64,
    pub at: f64,
}

impl Warm {
    pub fn switch(base: Resistance, data: &SwitchData) -> Self {
        let base = base.coherent();
        let slope = data
            .hot_resistance
            .map_or(0.0, |hot| (hot.coherent() - base) / 100.0);
        Self {
            base,
            slope,
            at: 25.0,
        }
    }

    pub fn copper(base: f64) -> Self {
        Self {
            base,
            slope: base * COPPER_COEFFICIENT,
            at: 20.0,
        }
    }

    pub fn resistance(&self, celsius: f64) -> f64 {
        (self.base + self.slope * (celsius - self.at)).max(0.0)
    }
}

/// What of a transistor the losses need.
#[derive(Clone, Copy, Debug)]
pub(super) struct Switch {
    pub warm: Warm,
    pub gate_energy: f64,
    pub turn_off_time: f64,
    pub recovery: f64,
    pub recovery_includes_output: bool,
    pub thermal: f64,
}

impl Switch {
    pub fn new(resistance: Resistance, data: &SwitchData) -> Self {
        let of = |value: Option<f64>| value.unwrap_or(0.0);
        Self {
            warm: Warm::switch(resistance, data),
            gate_energy: of(data.gate_charge.map(Dimensioned::coherent))
                * of(data.drive_voltage.map(Dimensioned::coherent)),
            turn_off_time: of(data.turn_off_time.map(Dimensioned::coherent)),
            recovery: of(data.recovery_charge.map(Dimensioned::coherent)),
            recovery_includes_output: !data.recovery_excludes_output,
            thermal: of(data.thermal_resistance.map(Dimensioned::coherent)),
        }
    }
}

/// The core in numbers.
#[derive(Clone, Copy, Debug)]
pub(super) struct Core {
    pub constant: f64,
    pub alpha: f64,
    pub beta: f64,
    pub volume: f64,
    /// Turns times area.
    pub linkage: f64,
}

/// A part against its ratings: how people call it, and what it may bear.
#[derive(Clone, Debug)]
pub(super) struct Rated {
    pub name: String,
    pub data: SwitchData,
    /// What it may block.
    pub voltage: Option<Voltage>,
    /// Its resistance at 25 °C.
    pub cold: Resistance,
}

impl Core {
    pub fn new(inductor: &InductorData) -> Option<Self> {
        let data = inductor.steinmetz?;
        let law = Steinmetz::new(
            VolumetricPowerDensity::from_coherent(data.k),
            data.alpha.into(),
            data.beta.into(),
        );
        Some(Self {
            constant: generalised_constant(&law).value().ok()?.coherent(),
            alpha: data.alpha,
            beta: data.beta,
            volume: inductor.core_volume?.coherent(),
            linkage: inductor.turns?.coherent() * inductor.core_area?.coherent(),
        })
    }
}

/// A part's name for people.
pub(super) fn called(kind: &str, part: Option<&String>) -> String {
    part.map_or_else(|| kind.to_owned(), |name| format!("{kind} `{name}`"))
}
