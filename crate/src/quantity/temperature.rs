//! Absolute temperature without the offset trap.
//!
//! A temperature (what a thermometer shows) and a temperature interval (a rise)
//! are different types: two temperatures have a difference but no sum.

use super::{TemperatureInterval, ThermodynamicTemperature};

/// 0 °C in kelvin, exactly (SI Brochure, definition of the degree Celsius).
const ICE_POINT: f64 = 273.15;

impl ThermodynamicTemperature {
    /// The temperature that a thermometer shows as `celsius` °C.
    ///
    /// ```
    /// use slewbook::quantity::ThermodynamicTemperature;
    /// use slewbook::quantity::unit::kelvin;
    /// let ambient = ThermodynamicTemperature::from_celsius(40.0);
    /// let junction = ambient + 35.0 * kelvin;
    /// assert!((junction.celsius() - 75.0).abs() < 1e-9);
    /// assert!(((junction - ambient).value - 35.0).abs() < 1e-9);
    /// ```
    #[must_use]
    pub fn from_celsius(celsius: f64) -> Self {
        Self::new::<super::system::thermodynamic_temperature::kelvin>(celsius + ICE_POINT)
    }

    /// The reading in °C.
    #[must_use]
    pub fn celsius(self) -> f64 {
        self.value - ICE_POINT
    }
}

impl std::ops::Add<TemperatureInterval> for ThermodynamicTemperature {
    type Output = Self;

    fn add(self, rise: TemperatureInterval) -> Self {
        Self {
            value: self.value + rise.value,
            ..self
        }
    }
}

impl std::ops::Sub<TemperatureInterval> for ThermodynamicTemperature {
    type Output = Self;

    fn sub(self, fall: TemperatureInterval) -> Self {
        Self {
            value: self.value - fall.value,
            ..self
        }
    }
}

impl std::ops::Sub for ThermodynamicTemperature {
    type Output = TemperatureInterval;

    fn sub(self, other: Self) -> TemperatureInterval {
        TemperatureInterval::new::<super::system::temperature_interval::kelvin>(
            self.value - other.value,
        )
    }
}
