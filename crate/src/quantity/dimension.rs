//! Dimensions at run time, for printing and for checking parsed text.

use std::fmt;

use uom::typenum::Integer;

use super::system::{Dimension, Quantity, Units};

/// Exponents of length, mass, time, electric current and temperature.
///
/// ```
/// use slewbook::quantity::{Dimensioned, Voltage, Current, Resistance};
/// assert_eq!(Voltage::EXPONENTS.divided_by(Current::EXPONENTS), Resistance::EXPONENTS);
/// ```
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct Exponents(pub [i8; 5]);

impl Exponents {
    /// The dimension of a plain number.
    pub const NONE: Self = Self([0; 5]);

    /// The dimension of a product.
    #[must_use]
    pub fn times(self, other: Self) -> Self {
        Self(std::array::from_fn(|k| self.0[k] + other.0[k]))
    }

    /// The dimension of a quotient.
    #[must_use]
    pub fn divided_by(self, other: Self) -> Self {
        Self(std::array::from_fn(|k| self.0[k] - other.0[k]))
    }

    /// The dimension of a power.
    #[must_use]
    pub fn raised_to(self, power: i8) -> Self {
        Self(self.0.map(|e| e * power))
    }

    /// The dimension of a square root.
    ///
    /// The exponents of a typed square root are even: uom refuses others at
    /// compile time.
    #[must_use]
    pub fn halved(self) -> Self {
        Self(self.0.map(|e| e / 2))
    }

    /// Exponents of volt, ampere, second, metre and kelvin: the same dimension
    /// in the units that electrical engineers think in (1 kg = 1 V·A·s³/m²).
    #[must_use]
    pub fn electrical(self) -> [i8; 5] {
        let [l, m, t, i, th] = self.0;
        [m, i + m, t + 3 * m, l - 2 * m, th]
    }
}

impl fmt::Display for Exponents {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&super::symbol::name_of(*self).plain)
    }
}

/// A type with a dimension: every quantity of this system.
pub trait Dimensioned: Copy + 'static {
    /// The exponents of the base quantities.
    const EXPONENTS: Exponents;

    /// A quantity of this type from its value in the coherent unit.
    fn from_coherent(value: f64) -> Self;

    /// The value in the coherent unit.
    fn coherent(self) -> f64;
}

impl<D> Dimensioned for Quantity<D, BaseUnits, f64>
where
    D: Dimension + ?Sized + 'static,
{
    const EXPONENTS: Exponents = Exponents([
        <D::L as Integer>::I8,
        <D::M as Integer>::I8,
        <D::T as Integer>::I8,
        <D::I as Integer>::I8,
        <D::Th as Integer>::I8,
    ]);

    fn from_coherent(value: f64) -> Self {
        Self {
            dimension: std::marker::PhantomData,
            units: std::marker::PhantomData,
            value,
        }
    }

    fn coherent(self) -> f64 {
        self.value
    }
}

/// The base units that every quantity of this crate is held in.
pub type BaseUnits = dyn Units<
        f64,
        length = super::system::length::meter,
        mass = super::system::mass::kilogram,
        time = super::system::time::second,
        electric_current = super::system::electric_current::ampere,
        thermodynamic_temperature = super::system::thermodynamic_temperature::kelvin,
    >;

impl From<f64> for super::Ratio {
    fn from(value: f64) -> Self {
        Self::from_coherent(value)
    }
}
