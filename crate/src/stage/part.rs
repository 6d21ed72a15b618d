//! What is known of the inductor and the capacitors beside their main values.

use super::reader::{Bounds, Section};
use crate::quantity::{Inductance, Resistance};

/// Data of the inductor and the capacitors that the derivations do without, and
/// that the exact steady state, the simulation and the losses use where given.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Parts {
    /// Resistance of the inductor's winding to direct current.
    pub inductor_resistance: Option<Resistance>,
    /// Series resistance of the output capacitor.
    pub output_capacitor_resistance: Option<Resistance>,
    /// Series resistance of each flying capacitor.
    pub flying_capacitor_resistance: Option<Resistance>,
    /// Inductance of the stage in continuous conduction that is compared with this one.
    pub continuous_inductance: Option<Inductance>,
}

/// Reads the sections `[inductor]`, `[capacitors]` and `[continuous]`.
pub(crate) fn read(root: &Section) -> Parts {
    let ohms = Bounds::from_zero(1e3);
    let inductor = root.section("inductor");
    let capacitors = root.section("capacitors");
    let continuous = root.section("continuous");
    let resistance = |section: &Section, key| section.quantity(key, &ohms).map(|r| r.value);
    let parts = Parts {
        inductor_resistance: resistance(&inductor, "resistance"),
        output_capacitor_resistance: resistance(&capacitors, "output_resistance"),
        flying_capacitor_resistance: resistance(&capacitors, "flying_resistance"),
        continuous_inductance: continuous
            .quantity("inductance", &Bounds::positive(1.0))
            .map(|l| l.value),
    };
    inductor.close();
    capacitors.close();
    continuous.close();
    parts
}
