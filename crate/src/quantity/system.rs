//! The declaration: base quantities, derived quantities, coherent units.
//!
//! One row per quantity. uom's macros turn each row into a type; the symbols by
//! which units are read and printed stand in [`super::symbol`].

/// One module per quantity, each with its coherent unit, from a table.
///
/// The exponents are those of length, mass, time, electric current and
/// thermodynamic temperature, in this order.
macro_rules! declare {
    ($($module:ident: $quantity:ident, $words:literal, $unit:ident $symbol:literal
        [$l:ident $m:ident $t:ident $i:ident $th:ident] $(kind $kind:ty)?;)+) => {
        $(
            #[doc = concat!("The quantity ", $words, " (coherent unit ", $symbol, ").")]
            #[macro_use]
            pub mod $module {
                quantity! {
                    #[doc = concat!("A value of ", $words, ", held in ", $symbol, ".")]
                    quantity: $quantity; $words;
                    #[doc = concat!("The dimension of ", $words, ".")]
                    dimension: Q<$l, $m, $t, $i, $th>;
                    $(kind: $kind;)?
                    units {
                        #[doc = concat!("The coherent unit of ", $words, ", ", $symbol, ".")]
                        @$unit: 1.0E0; $symbol, stringify!($unit), stringify!($unit);
                    }
                }
            }
        )+

        system! {
            /// The reduced International System: the quantities this field uses.
            quantities: Q {
                length: meter, L;
                mass: kilogram, M;
                time: second, T;
                electric_current: ampere, I;
                thermodynamic_temperature: kelvin, Th;
            }

            /// The coherent units.
            units: U {
                $(mod $module::$quantity,)+
            }
        }
    };
}

/// Kind of an absolute temperature: it has no sum, so 20 °C + 20 °C does not compile.
pub trait AbsoluteTemperature:
    uom::marker::Mul
    + uom::marker::MulAssign
    + uom::marker::Div
    + uom::marker::DivAssign
    + uom::marker::Rem
    + uom::marker::RemAssign
{
}

declare! {
    length: Length, "length", meter "m" [P1 Z0 Z0 Z0 Z0];
    mass: Mass, "mass", kilogram "kg" [Z0 P1 Z0 Z0 Z0];
    time: Time, "time", second "s" [Z0 Z0 P1 Z0 Z0];
    electric_current: ElectricCurrent, "electric current", ampere "A" [Z0 Z0 Z0 P1 Z0];
    thermodynamic_temperature: ThermodynamicTemperature, "thermodynamic temperature", kelvin "K"
        [Z0 Z0 Z0 Z0 P1] kind dyn super::AbsoluteTemperature;
    temperature_interval: TemperatureInterval, "temperature interval", kelvin "K" [Z0 Z0 Z0 Z0 P1];
    ratio: Ratio, "ratio", ratio "1" [Z0 Z0 Z0 Z0 Z0];
    area: Area, "area", square_meter "m²" [P2 Z0 Z0 Z0 Z0];
    volume: Volume, "volume", cubic_meter "m³" [P3 Z0 Z0 Z0 Z0];
    frequency: Frequency, "frequency", hertz "Hz" [Z0 Z0 N1 Z0 Z0];
    electric_charge: ElectricCharge, "electric charge", coulomb "C" [Z0 Z0 P1 P1 Z0];
    electric_potential: ElectricPotential, "electric potential", volt "V" [P2 P1 N3 N1 Z0];
    electrical_resistance: ElectricalResistance, "electrical resistance", ohm "Ω" [P2 P1 N3 N2 Z0];
    electrical_conductance: ElectricalConductance, "electrical conductance", siemens "S"
        [N2 N1 P3 P2 Z0];
    electrical_resistivity: ElectricalResistivity, "electrical resistivity", ohm_meter "Ω·m"
        [P3 P1 N3 N2 Z0];
    capacitance: Capacitance, "capacitance", farad "F" [N2 N1 P4 P2 Z0];
    inductance: Inductance, "inductance", henry "H" [P2 P1 N2 N2 Z0];
    energy: Energy, "energy", joule "J" [P2 P1 N2 Z0 Z0];
    power: Power, "power", watt "W" [P2 P1 N3 Z0 Z0];
    volumetric_power_density: VolumetricPowerDensity, "volumetric power density",
        watt_per_cubic_meter "W/m³" [N1 P1 N3 Z0 Z0];
    magnetic_flux: MagneticFlux, "magnetic flux", weber "Wb" [P2 P1 N2 N1 Z0];
    magnetic_flux_density: MagneticFluxDensity, "magnetic flux density", tesla "T"
        [Z0 P1 N2 N1 Z0];
    magnetic_field_strength: MagneticFieldStrength, "magnetic field strength",
        ampere_per_meter "A/m" [N1 Z0 Z0 P1 Z0];
    magnetic_permeability: MagneticPermeability, "magnetic permeability",
        henry_per_meter "H/m" [P1 P1 N2 N2 Z0];
    thermal_resistance: ThermalResistance, "thermal resistance", kelvin_per_watt "K/W"
        [N2 N1 P3 Z0 P1];
    temperature_coefficient: TemperatureCoefficient, "temperature coefficient", per_kelvin "1/K"
        [Z0 Z0 Z0 Z0 N1];
    current_slope: CurrentSlope, "current slope", ampere_per_second "A/s" [Z0 Z0 N1 P1 Z0];
    voltage_slope: VoltageSlope, "voltage slope", volt_per_second "V/s" [P2 P1 N4 N1 Z0];
}

/// The quantities, each holding an `f64` in its coherent unit.
pub mod values {
    Q!(crate::quantity::system, f64);
}
