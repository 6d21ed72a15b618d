//! What a simulation shows while it runs.

use super::cell::CellRecord;
use super::gate::Gates;
use super::leg::PAIRS;

/// Something that happened.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Event {
    /// A carrier's edge: the clamp opens, or the low side is released.
    Clock,
    /// A carrier's edge without a pulse.
    Skipped,
    /// The comparator tripped.
    Tripped,
    /// The inductor current reached the limit of its peak.
    PeakLimit,
    /// A low side was released.
    LowReleased,
    /// The node reached the output voltage and was caught.
    Caught,
    /// The clamp's second device turned on.
    ClampSecondOn,
    /// The clamp's second device turned off.
    ClampSecondOff,
    /// The node reached its upper level.
    NodeHigh,
    /// The node reached its lower level.
    NodeLow,
    /// A high side turned on.
    HighOn,
    /// A high side turned off.
    HighOff,
    /// A low side turned on.
    LowOn,
    /// The current reached zero: a diode blocks, the clamp is demagnetised, or
    /// the node turns back.
    CurrentZero,
    /// A flying capacitor reached the voltage of its neighbour.
    CapacitorsJoined,
    /// Nothing had tripped for ten cells.
    Watchdog,
    /// The load changed.
    LoadStep,
    /// The input changed.
    InputStep,
    /// A flying capacitor was disturbed.
    Disturbed,
}

impl Event {
    /// Its name in tables.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Clock => "clock",
            Self::Skipped => "skipped",
            Self::Tripped => "tripped",
            Self::PeakLimit => "peak_limit",
            Self::LowReleased => "low_released",
            Self::Caught => "caught",
            Self::ClampSecondOn => "clamp_second_on",
            Self::ClampSecondOff => "clamp_second_off",
            Self::NodeHigh => "node_high",
            Self::NodeLow => "node_low",
            Self::HighOn => "high_on",
            Self::HighOff => "high_off",
            Self::LowOn => "low_on",
            Self::CurrentZero => "current_zero",
            Self::CapacitorsJoined => "capacitors_joined",
            Self::Watchdog => "watchdog",
            Self::LoadStep => "load_step",
            Self::InputStep => "input_step",
            Self::Disturbed => "disturbed",
        }
    }
}

/// The state at an instant, in coherent units.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Row {
    /// Time in seconds.
    pub time: f64,
    /// Inductor current in ampere.
    pub current: f64,
    /// Switch-node voltage in volts.
    pub node: f64,
    /// Output voltage at the load in volts.
    pub output: f64,
    /// Input voltage in volts.
    pub input: f64,
    /// Load current in ampere.
    pub load: f64,
    /// Current through the clamp in ampere, from the node to the output.
    pub clamp: f64,
    /// Flying-capacitor voltages in volts; as many as the stage has.
    pub flying: [f64; PAIRS],
    /// The gates.
    pub gates: Gates,
    /// What happened at this instant, if anything.
    pub event: Option<Event>,
}

/// Someone who watches a simulation.
pub trait Observer {
    /// The greatest time between two rows, in seconds; `None` where no rows are
    /// wanted.
    fn spacing(&self) -> Option<f64> {
        None
    }

    /// A row, in the order of time.
    fn row(&mut self, _row: &Row) {}

    /// A cell that is over.
    fn cell(&mut self, _cell: &CellRecord) {}
}

/// Watches nothing.
impl Observer for () {}
