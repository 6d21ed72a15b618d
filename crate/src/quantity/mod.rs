//! Quantities with their units: what every number in slewbook is made of.
//!
//! A reduced International System declared with uom's macros: the same names and
//! the same compile-time checks as uom's own, but only the quantities this field
//! uses, so that a notebook loads it in a second.
//!
//! ```
//! use slewbook::quantity::*;
//! use slewbook::quantity::unit::{pF, uH};
//!
//! let inductance: Inductance = 0.68 * uH;
//! let capacitance: Capacitance = 600.0 * pF;
//! let characteristic_impedance: Resistance = (inductance / capacitance).sqrt();
//! assert_eq!(print(characteristic_impedance), "33.67 Ω");
//! let parsed: Inductance = parse("0.68 µH").unwrap();
//! assert_eq!(parsed, inductance);
//! ```
//!
//! Adding unlike quantities does not compile:
//!
//! ```compile_fail,E0308
//! use slewbook::quantity::unit::{ampere, volt};
//! let wrong = 36.0 * volt + 6.0 * ampere;
//! ```

mod dimension;
mod parse;
mod print;
pub mod symbol;
pub mod system;
mod temperature;
pub mod unit;

#[cfg(feature = "uom-si")]
mod convert;

pub use dimension::{BaseUnits, Dimensioned, Exponents};
pub(crate) use parse::{Factor, example, is_celsius, read_unit};
pub use parse::{ParseQuantityError, parse, parse_in, parse_temperature};
pub(crate) use print::DIGITS;
pub use print::{decimal, engineering, number, print, print_value, significant};
pub use system::values::*;

/// Electric potential by the name engineers use.
pub type Voltage = ElectricPotential;
/// Electric current by the name engineers use.
pub type Current = ElectricCurrent;
/// Electrical resistance by the name engineers use.
pub type Resistance = ElectricalResistance;
/// Electric charge by the name engineers use.
pub type Charge = ElectricCharge;
