//! Unit constants: quantities of one unit each, to be multiplied by a number.
//!
//! ```
//! use slewbook::quantity::unit::*;
//! let period = 1.0 / (140.0 * kHz);
//! assert!((period / us).value - 7.142_857 < 1e-6);
//! ```
//!
//! The names are spelt so that no symbol of a converter (`L`, `C`, `V_in`,
//! `T`, `a`, `b`, ...) is taken: a constant cannot be shadowed by `let`.
#![allow(non_upper_case_globals)]

use std::marker::PhantomData;

use super::{
    Capacitance, ElectricCharge, ElectricCurrent, ElectricPotential, ElectricalResistance, Energy,
    Frequency, Inductance, Length, MagneticFluxDensity, Power, Ratio, TemperatureInterval, Time,
};

macro_rules! constants {
    ($($quantity:ident { $($name:ident = $factor:expr, $words:literal;)+ })+) => {
        $($(
            #[doc = concat!("One ", $words, ".")]
            pub const $name: $quantity =
                $quantity { dimension: PhantomData, units: PhantomData, value: $factor };
        )+)+
    };
}

constants! {
    ElectricPotential {
        volt = 1.0, "volt"; mV = 1e-3, "millivolt"; uV = 1e-6, "microvolt"; kV = 1e3, "kilovolt";
    }
    ElectricCurrent {
        ampere = 1.0, "ampere"; mA = 1e-3, "milliampere"; uA = 1e-6, "microampere";
    }
    ElectricalResistance {
        ohm = 1.0, "ohm"; mohm = 1e-3, "milliohm"; kohm = 1e3, "kiloohm";
    }
    Inductance {
        henry = 1.0, "henry"; mH = 1e-3, "millihenry"; uH = 1e-6, "microhenry";
        nH = 1e-9, "nanohenry";
    }
    Capacitance {
        farad = 1.0, "farad"; mF = 1e-3, "millifarad"; uF = 1e-6, "microfarad";
        nF = 1e-9, "nanofarad"; pF = 1e-12, "picofarad";
    }
    ElectricCharge {
        coulomb = 1.0, "coulomb"; uC = 1e-6, "microcoulomb"; nC = 1e-9, "nanocoulomb";
        pC = 1e-12, "picocoulomb";
    }
    Energy {
        joule = 1.0, "joule"; mJ = 1e-3, "millijoule"; uJ = 1e-6, "microjoule";
        nJ = 1e-9, "nanojoule";
    }
    Power {
        watt = 1.0, "watt"; mW = 1e-3, "milliwatt"; kW = 1e3, "kilowatt";
    }
    Time {
        second = 1.0, "second"; ms = 1e-3, "millisecond"; us = 1e-6, "microsecond";
        ns = 1e-9, "nanosecond"; ps = 1e-12, "picosecond";
    }
    Frequency {
        hertz = 1.0, "hertz"; kHz = 1e3, "kilohertz"; MHz = 1e6, "megahertz";
    }
    Length {
        meter = 1.0, "metre"; mm = 1e-3, "millimetre"; um = 1e-6, "micrometre";
    }
    MagneticFluxDensity {
        tesla = 1.0, "tesla"; mT = 1e-3, "millitesla";
    }
    TemperatureInterval {
        kelvin = 1.0, "kelvin, as a temperature difference";
    }
    Ratio {
        percent = 1e-2, "per cent";
    }
}
