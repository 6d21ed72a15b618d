//! Schemes: the ways to run the same power stage that are compared.

use std::fmt;
use std::str::FromStr;

use crate::nearest::misspelt;

/// A way to run the stage. What a scheme consists of is data (which clamp, what
/// ends the release, whether the frequency is fixed); the rules are the same for all.
///
/// ```
/// use slewbook::scheme::Scheme;
/// let scheme: Scheme = "freewheel-diode".parse().unwrap();
/// assert!(scheme.has_clamp() && scheme.fixed_frequency());
/// let error = "freewheel-diod".parse::<Scheme>().unwrap_err();
/// assert!(error.to_string().contains("did you mean `freewheel-diode`?"));
/// ```
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Scheme {
    /// Discontinuous conduction with a clamp of two transistors: low drop.
    FreewheelTransistors,
    /// Discontinuous conduction with a clamp of a transistor and a diode: high drop.
    FreewheelDiode,
    /// Discontinuous conduction without a clamp: the low side is released at
    /// zero current, then the node rings.
    Discontinuous,
    /// Continuous conduction at fixed frequency, with its own larger inductance.
    Continuous,
    /// Release at a negative current, then the next firing at once: no clamp,
    /// variable frequency.
    NegativeValley,
}

impl Scheme {
    /// Every scheme.
    pub const ALL: [Self; 5] = [
        Self::FreewheelTransistors,
        Self::FreewheelDiode,
        Self::Discontinuous,
        Self::Continuous,
        Self::NegativeValley,
    ];

    /// The name by which specifications, data and commands call it.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::FreewheelTransistors => "freewheel-transistors",
            Self::FreewheelDiode => "freewheel-diode",
            Self::Discontinuous => "discontinuous",
            Self::Continuous => "continuous",
            Self::NegativeValley => "negative-valley",
        }
    }

    /// The scheme in words.
    #[must_use]
    pub const fn words(self) -> &'static str {
        match self {
            Self::FreewheelTransistors => "freewheel clamp of two transistors",
            Self::FreewheelDiode => "freewheel clamp of a transistor and a diode",
            Self::Discontinuous => "discontinuous conduction without a clamp",
            Self::Continuous => "continuous conduction",
            Self::NegativeValley => "negative valley current without a clamp",
        }
    }

    /// Whether a clamp holds the node at the output voltage.
    #[must_use]
    pub const fn has_clamp(self) -> bool {
        matches!(self, Self::FreewheelTransistors | Self::FreewheelDiode)
    }

    /// Whether the switching frequency is fixed.
    #[must_use]
    pub const fn fixed_frequency(self) -> bool {
        !matches!(self, Self::NegativeValley)
    }
}

impl fmt::Display for Scheme {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.name())
    }
}

impl FromStr for Scheme {
    type Err = UnknownScheme;

    fn from_str(text: &str) -> Result<Self, UnknownScheme> {
        Self::ALL
            .into_iter()
            .find(|scheme| scheme.name() == text)
            .ok_or_else(|| UnknownScheme(text.to_owned()))
    }
}

/// A text that names no scheme.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct UnknownScheme(String);

impl fmt::Display for UnknownScheme {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let names = Scheme::ALL.map(Scheme::name);
        // A very long text is shown in part.
        let text: String = self.0.chars().take(60).collect();
        let nearest = misspelt(&self.0, names)
            .map_or_else(String::new, |name| format!("did you mean `{name}`? "));
        write!(
            f,
            "no scheme `{text}`; {nearest}the schemes are {}",
            names.join(", ")
        )
    }
}

impl std::error::Error for UnknownScheme {}
