//! What the schemes consist of: data, read by one set of rules.

use crate::scheme::Scheme;

/// What catches the node at the output voltage.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Catch {
    /// Two transistors in anti-series: one is enabled early and lets its
    /// partner's diode catch the node, then the partner is enabled too.
    Transistors,
    /// A transistor and a diode.
    Diode,
}

/// What releases the low side of the pair that fires next.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Release {
    /// The clock only.
    Clock,
    /// The inductor current reaching zero, at once.
    ZeroCurrent,
    /// The negative trip current, after the delay of comparator and driver.
    Trip,
}

/// What starts the next firing.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Firing {
    /// The clock, at a fixed frequency.
    Clock,
    /// The release itself: the frequency follows.
    Release,
}

/// A scheme as data. A new scheme is a new row of [`Rules::of`]; a clock always
/// releases a low side that nothing else has released before.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Rules {
    /// The clamp, where there is one.
    pub clamp: Option<Catch>,
    /// What releases the low side.
    pub release: Release,
    /// What starts a firing.
    pub firing: Firing,
}

impl Rules {
    /// The rules of a scheme.
    ///
    /// ```
    /// use slewbook::{scheme::Scheme, timeline::{Release, Rules}};
    /// assert_eq!(Rules::of(Scheme::Continuous).release, Release::Clock);
    /// ```
    #[must_use]
    pub const fn of(scheme: Scheme) -> Self {
        let (clamp, release, firing) = match scheme {
            Scheme::FreewheelTransistors => {
                (Some(Catch::Transistors), Release::Trip, Firing::Clock)
            }
            Scheme::FreewheelDiode => (Some(Catch::Diode), Release::Trip, Firing::Clock),
            Scheme::Discontinuous => (None, Release::ZeroCurrent, Firing::Clock),
            Scheme::Continuous => (None, Release::Clock, Firing::Clock),
            Scheme::NegativeValley => (None, Release::Trip, Firing::Release),
        };
        Self {
            clamp,
            release,
            firing,
        }
    }
}
