//! The course of one cell: its intervals, and what flows on every path.

use crate::quantity::{
    Charge, Current, Dimensioned as _, Energy, Frequency, Power, Ratio, Time, Voltage,
};

/// A stretch of the cell. Currents are signed: positive from the node to the output.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Interval {
    /// How long it lasts.
    pub duration: Time,
    /// The inductor's current at its start.
    pub start_current: Current,
    /// The inductor's current at its end.
    pub end_current: Current,
}

/// A transistor's turn-on: the voltage left across it and the energy lost.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct TurnOn {
    /// The voltage.
    pub voltage: Voltage,
    /// The energy of one turn-on.
    pub energy: Energy,
}

/// Part of a step below which the voltage left at a turn-on counts as none.
pub const NO_VOLTAGE: f64 = 0.02;
/// Part of a full turn-on's energy below which what is lost counts as none.
pub const NO_ENERGY: f64 = 0.005;
/// Part of a full turn-on's energy from which a turn-on counts as hard.
pub const HARD: f64 = 0.9;

/// How a transistor turns on, by degrees; see [`Course::switching`].
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Switching {
    /// Next to no voltage and next to no energy left.
    ZeroVoltage,
    /// In between, with the part of a full turn-on's energy that is lost.
    Partial(Ratio),
    /// As good as a full turn-on, with the part of its energy that is lost.
    Hard(Ratio),
}

impl Switching {
    /// By what is left: of the voltage as a part of the step, of the energy as a part of a
    /// full turn-on's.
    #[must_use]
    pub fn of(voltage: Ratio, share: Ratio) -> Self {
        if share.coherent() >= HARD {
            Self::Hard(share)
        } else if voltage.coherent() <= NO_VOLTAGE && share.coherent() <= NO_ENERGY {
            Self::ZeroVoltage
        } else {
            Self::Partial(share)
        }
    }

    /// The name by which data call it.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::ZeroVoltage => "zero_voltage",
            Self::Partial(_) => "partial",
            Self::Hard(_) => "hard",
        }
    }
}

/// What flows on a path, over its own period: the cell for the inductor and the
/// clamp, as many cells as there are pairs for what belongs to a pair.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Path {
    /// The average.
    pub average: Current,
    /// The root mean square.
    pub rms: Current,
    /// The charge of one period, the integral of the current.
    pub charge: Charge,
}

/// A flying capacitor: its current has no average.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct FlyingCapacitor {
    /// The root mean square of the current over as many cells as there are pairs.
    pub rms: Current,
    /// The charge that goes in and out, peak to peak.
    pub charge: Charge,
    /// The ripple of its voltage, peak to peak, where its capacitance is given.
    pub ripple: Option<Voltage>,
}

/// The output capacitor: its current has no average.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct OutputCapacitor {
    /// The root mean square of the current over a cell.
    pub rms: Current,
    /// The charge that goes in and out, peak to peak.
    pub charge: Charge,
    /// What of the ripple its charge gives alone, peak to peak.
    pub ripple_of_charge: Voltage,
    /// The ripple of its voltage, peak to peak: of its charge and of the step at its
    /// series resistance, as they coincide in time.
    pub ripple: Voltage,
}

/// What flows on every path. The edges have no resistance and count only for the
/// inductor and the output capacitor.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Paths {
    /// The inductor, freewheel included.
    pub inductor: Path,
    /// Each high-side transistor: the rms value is the channel's, average and
    /// charge are those of channel and body diode together.
    pub high: Path,
    /// Each low-side transistor, likewise.
    pub low: Path,
    /// Each high side's body diode, from drain to source negative; zero where the
    /// part has no drop.
    pub high_diode: Path,
    /// Each low side's body diode, positive towards the node.
    pub low_diode: Path,
    /// The clamp, as a magnitude; `None` without a clamp.
    pub clamp: Option<Path>,
    /// Each flying capacitor; `None` with two levels.
    pub flying: Option<FlyingCapacitor>,
    /// The output capacitor.
    pub output: OutputCapacitor,
    /// How long the high side's body diode conducts in a cell, drop or not.
    pub high_diode_time: Time,
    /// How long a low side's body diode conducts in a cell, as far as it has a drop.
    pub low_diode_time: Time,
}

/// Where power is lost in the whole stage, of what the cell itself knows:
/// conduction and the capacitances' turn-on loss.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Dissipation {
    /// Channels of all high-side transistors.
    pub high: Power,
    /// Channels of all low-side transistors.
    pub low: Power,
    /// The inductor's winding, by its resistance to direct current.
    pub winding: Power,
    /// Body diodes, by their drops.
    pub diodes: Power,
    /// The clamp's path.
    pub clamp: Power,
    /// Turn-on of the high side and, where the node is not at its level then, of the low
    /// side.
    pub turn_on: Power,
}

impl Dissipation {
    /// The sum.
    #[must_use]
    pub fn total(&self) -> Power {
        self.high + self.low + self.winding + self.diodes + self.clamp + self.turn_on
    }
}

/// The course of one cell.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Course {
    /// The duration of the cell; the scheme fixes it or it follows.
    pub cell_time: Time,
    /// The rising edge, up to the node's arrival or, without it, to the turn-on of
    /// the high side. Without a clamp at zero current: the whole ring.
    pub rise: Interval,
    /// From there to the turn-off of the high side.
    pub energise: Interval,
    /// The falling edge, up to the node's arrival or, without it, to the turn-on of the
    /// low side.
    pub fall: Interval,
    /// From there to the release of the low side.
    pub release: Interval,
    /// From the lower level to the output voltage, where the node passes it.
    pub partial_rise: Option<Interval>,
    /// While the clamp conducts.
    pub hold: Option<Interval>,
    /// The on-time: duration of `energise`, body diode included.
    pub on_time: Time,
    /// From the high side's turn-on to its turn-off.
    pub gate_on_time: Time,
    /// Duty of each pair, by its gate.
    pub duty: Ratio,
    /// Current at the high side's turn-off, `I_pk`.
    pub peak_current: Current,
    /// The highest of the pairs' cells: with the flying capacitors' ripple these differ.
    pub highest_peak_current: Current,
    /// Current when the clamp opens, `I_h`.
    pub freewheel_current: Option<Current>,
    /// Current at the end of the rising edge, `I_r`: positive while it still flows
    /// into the node.
    pub residual_current: Current,
    /// The current that starts the rising edge over the one that just suffices.
    pub margin: Ratio,
    /// From the clamp's opening, or the low side's release, to the turn-on of the
    /// high side.
    pub dead_time: Time,
    /// When, counted as the dead time, the node arrives, where the current carries it
    /// there and nothing is turned on before.
    pub window_start: Option<Time>,
    /// When its diode's current comes to zero and the node leaves again.
    pub window_end: Option<Time>,
    /// From the high side's turn-off to the turn-on of the low side.
    pub low_dead_time: Time,
    /// The same window of the low side's dead time: the node's arrival at the lower
    /// level, where it comes there, and the end of the diode's current.
    pub low_window: Option<(Time, Time)>,
    /// Turn-on of the high side.
    pub turn_on: TurnOn,
    /// The same from the lower level: a whole step and all of its energy.
    pub full_turn_on: TurnOn,
    /// Turn-on of the low side: zero where its dead time ends in its window.
    pub low_turn_on: TurnOn,
    /// Least, greatest and mean turn-on over the ring, where the node rings.
    pub ring: Option<[TurnOn; 3]>,
    /// What flows where.
    pub paths: Paths,
    /// Where power is lost.
    pub dissipation: Dissipation,
    /// Average current to the output over the cell: the charge that leaves the node,
    /// integrated, over the cell's duration. What circulates through the clamp does
    /// not count; the charge of an edge that a switch completes does. In steady state
    /// it is the output current. The inductor's own average, freewheel included, is
    /// that of [`Paths::inductor`].
    pub average_current: Current,
    /// Average input current.
    pub input_current: Current,
    /// Power from the input.
    pub input_power: Power,
    /// Power to the output.
    pub output_power: Power,
}

/// What a stretch of the cell is.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, serde::Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Stretch {
    /// The node rises to its upper level, or towards it until the high side turns on.
    Rise,
    /// Without a clamp, released at zero current: the node rings until the high side
    /// turns on.
    Ring,
    /// The clamp has opened without current: the node rests until the high side turns on.
    Rest,
    /// The high side, its body diode included, energises the inductor.
    Energise,
    /// The node falls.
    Fall,
    /// The low side, its body diode included, releases the inductor.
    Release,
    /// The node rises from its lower level to the output voltage.
    PartialRise,
    /// The clamp holds the node.
    Hold,
}

impl Stretch {
    /// The stretch in words.
    #[must_use]
    pub const fn words(self) -> &'static str {
        match self {
            Self::Rise => "rising edge",
            Self::Ring => "ring",
            Self::Rest => "rest without current",
            Self::Energise => "energise",
            Self::Fall => "falling edge",
            Self::Release => "release",
            Self::PartialRise => "partial rise",
            Self::Hold => "hold",
        }
    }
}

impl Course {
    /// What comes before the high side's turn-on or the node's arrival.
    #[must_use]
    pub fn first(&self) -> Stretch {
        if self.ring.is_some() {
            Stretch::Ring
        } else if self.hold.is_some() && self.rise.start_current.coherent() == 0.0 {
            Stretch::Rest
        } else {
            Stretch::Rise
        }
    }

    /// Part of a full turn-on's energy that the high side loses; zero where it turns on
    /// at its level or beyond.
    #[must_use]
    pub fn turn_on_share(&self) -> Ratio {
        let none = self.turn_on.voltage.coherent() == 0.0;
        let full = self.full_turn_on.energy.coherent();
        Ratio::from_coherent(if none || full == 0.0 {
            0.0
        } else {
            self.turn_on.energy.coherent() / full
        })
    }

    /// How the high side turns on, by degrees: at zero voltage where at most
    /// [`NO_VOLTAGE`] of the step and [`NO_ENERGY`] of a full turn-on's energy are left;
    /// hard from [`HARD`] of that energy on.
    #[must_use]
    pub fn switching(&self) -> Switching {
        let voltage = self.turn_on.voltage / self.full_turn_on.voltage;
        Switching::of(voltage, self.turn_on_share())
    }

    /// How often each of a number of pairs switches.
    #[must_use]
    pub fn switching_frequency(&self, pairs: u8) -> Frequency {
        1.0 / (f64::from(pairs) * self.cell_time)
    }

    /// The intervals in the order of the cell, which begins where the clamp opens or
    /// the low side is released.
    #[must_use]
    pub fn intervals(&self) -> Vec<(Stretch, Interval)> {
        let partial = self.partial_rise.map(|i| (Stretch::PartialRise, i));
        // Without a hold the node passes the output on its way to the upper level.
        let (before, after) = if self.hold.is_some() {
            (None, partial)
        } else {
            (partial, None)
        };
        let stroke = [
            (self.first(), self.rise),
            (Stretch::Energise, self.energise),
            (Stretch::Fall, self.fall),
            (Stretch::Release, self.release),
        ];
        let hold = self.hold.map(|i| (Stretch::Hold, i));
        let all = before.into_iter().chain(stroke).chain(after).chain(hold);
        all.collect()
    }

    /// Whether every sum of the cell is a number: parts of an absurd size overflow.
    pub(super) fn is_finite(&self) -> bool {
        let paths = &self.paths;
        let each = [
            paths.inductor,
            paths.high,
            paths.low,
            paths.high_diode,
            paths.low_diode,
        ];
        let each = each.into_iter().chain(paths.clamp);
        let flying = paths.flying.is_none_or(|f| {
            f.rms.is_finite()
                && f.charge.is_finite()
                && f.ripple.is_none_or(|value| value.coherent().is_finite())
        });
        let ring = self.ring.into_iter().flatten();
        let turn_on = [self.turn_on, self.low_turn_on].into_iter().chain(ring);
        flying
            && each
                .map(|path| path.average.coherent() + path.rms.coherent() + path.charge.coherent())
                .chain(turn_on.map(|t| t.voltage.coherent() + t.energy.coherent()))
                .all(f64::is_finite)
            && paths.output.rms.is_finite()
            && paths.output.charge.is_finite()
            && paths.output.ripple.is_finite()
            && self.dissipation.total().is_finite()
            && self.average_current.is_finite()
            && self.input_power.is_finite()
            && self.margin.coherent().is_finite()
            && self
                .window_end
                .is_none_or(|value| value.coherent().is_finite())
            && self
                .low_window
                .is_none_or(|(_, end)| end.coherent().is_finite())
            && self.output_power.is_finite()
    }
}
