//! What is known of the parts beside their main values: data that the derivations
//! do without, and that the exact steady state, the simulation and the losses use
//! where given.

use super::reader::{Bounds, Section};
use crate::quantity::{
    Area, Charge, Current, Dimensioned, Inductance, Length, Ratio, Resistance, ThermalResistance,
    ThermodynamicTemperature, Time, Voltage, Volume,
};

/// What is known of a transistor for its losses. For the clamp, of each of its
/// transistors, but for the resistance, which is that of the whole path.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct SwitchData {
    /// The name of the part, where one was given.
    pub part: Option<String>,
    /// Gate charge, whole.
    pub gate_charge: Option<Charge>,
    /// Voltage to which the gate is driven.
    pub drive_voltage: Option<Voltage>,
    /// Recovery charge of the body diode.
    pub recovery_charge: Option<Charge>,
    /// Whether the recovery charge leaves out the charge of the output capacitance, which
    /// what is measured includes.
    pub recovery_excludes_output: bool,
    /// Resistance at 125 °C; the main value is that at 25 °C.
    pub hot_resistance: Option<Resistance>,
    /// Time for which current and voltage overlap at turn-off.
    pub turn_off_time: Option<Time>,
    /// From junction to surroundings.
    pub thermal_resistance: Option<ThermalResistance>,
    /// Largest direct current.
    pub rated_current: Option<Current>,
    /// Highest temperature of the junction.
    pub rated_temperature: Option<ThermodynamicTemperature>,
}

/// Steinmetz's constants in numbers: `k` in W/m³ with the frequency in hertz and
/// the amplitude of the flux density in tesla.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct SteinmetzData {
    /// Loss density at 1 Hz and 1 T, in W/m³.
    pub k: f64,
    /// Exponent of the frequency.
    pub alpha: f64,
    /// Exponent of the flux density.
    pub beta: f64,
}

/// The winding's build, for its resistance to alternating current.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct WindingData {
    /// Thickness of a foil, or diameter of a round wire.
    pub thickness: Length,
    /// Whether it is a round wire.
    pub round: bool,
    /// Layers, one above the other.
    pub layers: Ratio,
    /// Part of the layer's breadth that is copper; one for a foil.
    pub filling: Ratio,
}

/// What is known of the inductor.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct InductorData {
    /// The name of the part, where one was given.
    pub part: Option<String>,
    /// Steinmetz's constants of the core.
    pub steinmetz: Option<SteinmetzData>,
    /// Volume of the core.
    pub core_volume: Option<Volume>,
    /// Effective area of the core.
    pub core_area: Option<Area>,
    /// Turns.
    pub turns: Option<Ratio>,
    /// The current at which the inductance has fallen by `saturation_drop`.
    pub saturation_current: Option<Current>,
    /// The fall of the inductance at the saturation current.
    pub saturation_drop: Option<Ratio>,
    /// The winding's build.
    pub winding: Option<WindingData>,
    /// From the winding to the surroundings.
    pub thermal_resistance: Option<ThermalResistance>,
    /// Highest temperature of the winding.
    pub rated_temperature: Option<ThermodynamicTemperature>,
}

/// Data of the inductor, the capacitors and the surroundings.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Parts {
    /// Resistance of the inductor's winding to direct current.
    pub inductor_resistance: Option<Resistance>,
    /// Series resistance of the output capacitor.
    pub output_capacitor_resistance: Option<Resistance>,
    /// Series resistance of each flying capacitor.
    pub flying_capacitor_resistance: Option<Resistance>,
    /// Series resistance of the input capacitor.
    pub input_capacitor_resistance: Option<Resistance>,
    /// Part of the output capacitance that is left at its working voltage.
    pub output_remaining: Option<Ratio>,
    /// Part of each flying capacitance that is left at its working voltage.
    pub flying_remaining: Option<Ratio>,
    /// Inductance of the stage in continuous conduction that is compared with this one.
    pub continuous_inductance: Option<Inductance>,
    /// Resistance of that inductor's winding.
    pub continuous_resistance: Option<Resistance>,
    /// The inductor's further data.
    pub inductor: InductorData,
    /// Further data of the inductor in continuous conduction, which is another part.
    pub continuous_inductor: InductorData,
    /// Temperature of the surroundings.
    pub ambient: Option<ThermodynamicTemperature>,
    /// Whether the stage works in water or in a wet place.
    pub wet: bool,
}

/// A key's value, where it is there and was read.
fn value<Q: Dimensioned>(section: &Section, key: &'static str, bounds: &Bounds) -> Option<Q> {
    section.quantity(key, bounds).map(|read| read.value)
}

fn name(section: &Section) -> Option<String> {
    section.text("part").map(|text| text.value)
}

/// The loss data of a transistor, or of the clamp.
pub(crate) fn read_switch(section: &Section) -> SwitchData {
    SwitchData {
        part: name(section),
        gate_charge: value(section, "gate_charge", &Bounds::from_zero(1e-4)),
        drive_voltage: value(section, "drive_voltage", &Bounds::positive(100.0)),
        recovery_charge: value(section, "recovery_charge", &Bounds::from_zero(1e-3)),
        recovery_excludes_output: section.flag("recovery_charge_excludes_output"),
        hot_resistance: value(section, "resistance_at_125C", &Bounds::from_zero(1e3)),
        turn_off_time: value(section, "turn_off_time", &Bounds::from_zero(1e-4)),
        thermal_resistance: value(section, "thermal_resistance", &Bounds::positive(1e4)),
        rated_current: value(section, "rated_current", &Bounds::positive(1e5)),
        rated_temperature: section.temperature("rated_temperature"),
    }
}

fn read_steinmetz(section: &Section) -> Option<SteinmetzData> {
    let section = section.section_if_table("steinmetz").or_else(|| {
        // A key that is no table is reported as such.
        section
            .has("steinmetz")
            .then(|| section.section("steinmetz"))
    })?;
    let exponent = |low, high| Bounds {
        range: low..=high,
        above: false,
    };
    let k = section.required::<Ratio>("k", &Bounds::positive(1e15), "1.5");
    let alpha = section.required::<Ratio>("alpha", &exponent(0.5, 3.0), "1.4");
    let beta = section.required::<Ratio>("beta", &exponent(1.0, 4.0), "2.5");
    section.close();
    (k.good && alpha.good && beta.good).then(|| SteinmetzData {
        k: k.value.coherent(),
        alpha: alpha.value.coherent(),
        beta: beta.value.coherent(),
    })
}

fn read_winding(section: &Section) -> Option<WindingData> {
    if !section.has("winding") {
        return None;
    }
    let section = section.section("winding");
    let millimetres = Bounds::positive(0.1);
    let diameter = section.quantity::<Length>("diameter", &millimetres);
    let round = diameter.is_some();
    let thickness =
        diameter.unwrap_or_else(|| section.required("thickness", &millimetres, "\"0.3 mm\""));
    section.has("thickness");
    let layers = section.required::<Ratio>("layers", &Bounds::positive(100.0), "2");
    let filling = section.quantity::<Ratio>("filling", &Bounds::positive(1.0));
    section.close();
    (thickness.good && layers.good).then(|| WindingData {
        thickness: thickness.value,
        round,
        layers: layers.value,
        filling: filling.map_or_else(|| 1.0.into(), |read| read.value),
    })
}

/// The inductor's data beside the resistance of its winding.
pub(crate) fn read_inductor(section: &Section) -> InductorData {
    InductorData {
        part: name(section),
        steinmetz: read_steinmetz(section),
        core_volume: value(section, "core_volume", &Bounds::positive(1.0)),
        core_area: value(section, "core_area", &Bounds::positive(1.0)),
        turns: value(section, "turns", &Bounds::positive(1e4)),
        saturation_current: value(section, "saturation_current", &Bounds::positive(1e5)),
        saturation_drop: value(
            section,
            "saturation_drop",
            &Bounds {
                range: 0.0..=0.9,
                above: true,
            },
        ),
        winding: read_winding(section),
        thermal_resistance: value(section, "thermal_resistance", &Bounds::positive(1e4)),
        rated_temperature: section.temperature("rated_temperature"),
    }
}

/// The series resistance of a capacitor and what of its capacitance is left.
pub(crate) fn read_capacitor(section: &Section) -> (Option<Resistance>, Option<Ratio>) {
    name(section);
    let resistance = value(section, "resistance", &Bounds::from_zero(1e3));
    let remaining = value(section, "remaining", &Bounds::positive(1.0));
    (resistance, remaining)
}

/// Reads the sections `[inductor]`, `[capacitors]`, `[continuous]` and
/// `[ambient]`; `part` finds the part that a section names.
pub(crate) fn read<'s, 'r>(
    root: &Section<'s, 'r>,
    part: impl Fn(Section<'s, 'r>, &'static str) -> Section<'s, 'r>,
) -> Parts {
    let ohms = Bounds::from_zero(1e3);
    let inductor = part(root.section("inductor"), "inductor");
    let capacitors = root.section("capacitors");
    let continuous = root.section("continuous");
    let ambient = root.section("ambient");
    let capacitor = |key| {
        let section = part(capacitors.section(key), "capacitor");
        let read = read_capacitor(&section);
        section.close();
        read
    };
    let (output, flying, input) = (capacitor("output"), capacitor("flying"), capacitor("input"));
    let parts = Parts {
        inductor_resistance: value(&inductor, "resistance", &ohms),
        output_capacitor_resistance: value(&capacitors, "output_resistance", &ohms).or(output.0),
        flying_capacitor_resistance: value(&capacitors, "flying_resistance", &ohms).or(flying.0),
        input_capacitor_resistance: value(&capacitors, "input_resistance", &ohms).or(input.0),
        output_remaining: output.1,
        flying_remaining: flying.1,
        continuous_inductance: value(&continuous, "inductance", &Bounds::positive(1.0)),
        continuous_resistance: value(&continuous, "resistance", &ohms),
        inductor: read_inductor(&inductor),
        continuous_inductor: read_inductor(&continuous),
        ambient: ambient.temperature("temperature"),
        wet: ambient.flag("wet"),
    };
    for section in [inductor, capacitors, continuous, ambient] {
        section.close();
    }
    parts
}
