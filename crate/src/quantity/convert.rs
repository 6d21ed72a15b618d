//! Conversion to and from uom's own quantities (feature `uom-si`).

use super::system::values as own;
use uom::si::f64 as si;

/// Both ways, through the coherent unit, which the two systems share.
macro_rules! convert {
    ($($quantity:ident),+ $(,)?) => {
        $(
            impl From<si::$quantity> for own::$quantity {
                fn from(other: si::$quantity) -> Self {
                    super::Dimensioned::from_coherent(other.value)
                }
            }

            impl From<own::$quantity> for si::$quantity {
                fn from(own: own::$quantity) -> Self {
                    Self {
                        dimension: std::marker::PhantomData,
                        units: std::marker::PhantomData,
                        value: own.value,
                    }
                }
            }
        )+
    };
}

convert! {
    Length, Mass, Time, ElectricCurrent, ThermodynamicTemperature, TemperatureInterval, Ratio,
    Area, Volume, Frequency, ElectricCharge, ElectricPotential, ElectricalResistance,
    ElectricalConductance, ElectricalResistivity, Capacitance, Inductance, Energy, Power,
    VolumetricPowerDensity, MagneticFlux, MagneticFluxDensity, MagneticFieldStrength,
    MagneticPermeability, ThermalResistance, TemperatureCoefficient,
}
