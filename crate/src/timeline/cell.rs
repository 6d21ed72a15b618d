//! One cell as it was measured.

use super::ledger::Ledger;
use crate::cycle::Switching;

/// A cell from one firing's clock to the next, in coherent units. What did not
/// happen in it has no value.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct CellRecord {
    /// Number of the cell, from 0.
    pub number: u64,
    /// The pair that fired, from 1; none where the pulse was skipped or goes on.
    pub pair: Option<usize>,
    /// Whether its pulse was skipped.
    pub skipped: bool,
    /// Start in seconds.
    pub start: f64,
    /// Duration in seconds.
    pub duration: f64,
    /// Node's rise, from the opening of the clamp to its upper level.
    pub rise_time: Option<f64>,
    /// From the node's arrival, or else from the firing, to the high side's turn-off.
    pub on_time: Option<f64>,
    /// Node's fall to its lower level.
    pub fall_time: Option<f64>,
    /// From the node's arrival, or else from the low side's turn-on, to its release.
    pub release_time: Option<f64>,
    /// From the release to the catch at the output voltage.
    pub partial_rise_time: Option<f64>,
    /// From the catch to the opening of the clamp.
    pub hold_time: Option<f64>,
    /// Current at turn-off, `I_pk`, in ampere.
    pub peak_current: Option<f64>,
    /// Current after the fall, `I_after`.
    pub current_after_fall: Option<f64>,
    /// Negative current at the release, `I_s`, a magnitude.
    pub release_current: Option<f64>,
    /// Negative current at the catch, `I_c`.
    pub clamp_on_current: Option<f64>,
    /// Negative current when the clamp opened, `I_h`: the one this cell fired with.
    pub freewheel_current: Option<f64>,
    /// Negative current left when the node arrived, `I_r`.
    pub residual_current: Option<f64>,
    /// Voltage left across the high side when it turned on.
    pub turn_on_voltage: Option<f64>,
    /// How it turned on, by degrees.
    pub switching: Option<Switching>,
    /// Voltage left across the low side when it turned on.
    pub low_turn_on_voltage: Option<f64>,
    /// Charge and energy of the cell.
    pub ledger: Ledger,
}

/// A cell in the making: its record and the instants it is counted from.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct CellDraft {
    pub record: CellRecord,
    pub opened: Option<f64>,
    pub arrived: Option<f64>,
    pub off: Option<f64>,
    pub fallen: Option<f64>,
    pub released: Option<f64>,
    pub caught: Option<f64>,
    pub before: Ledger,
}
