//! What a figure of a map shows: a few columns of all its points.

use super::{Map, Span};
use crate::table::Table;

/// The values of a map over its grid, row after row.
#[derive(Clone, Debug)]
pub struct Field {
    /// The axis along a row.
    pub x: Span,
    /// The axis from row to row.
    pub y: Span,
    /// How far inside the region of zero voltage each point lies.
    pub slack: Vec<f64>,
    /// The voltage left across the high side at turn-on, in volt; not a number
    /// where there is no cell.
    pub voltage: Vec<f64>,
    /// The share of units that hold zero voltage; empty without units.
    pub share: Vec<f64>,
}

impl Field {
    /// An empty field of a map.
    #[must_use]
    pub fn new(map: &Map) -> Self {
        Self {
            x: map.x,
            y: map.y,
            slack: Vec::new(),
            voltage: Vec::new(),
            share: Vec::new(),
        }
    }

    /// Takes a block of rows in.
    pub fn take(&mut self, table: &Table) {
        let values = |name| table.column(name).map_or(&[][..], |column| column.values());
        self.slack.extend_from_slice(values("zero_voltage_slack"));
        self.voltage.extend_from_slice(values("turn_on_voltage"));
        self.share.extend_from_slice(values("zero_voltage_share"));
    }

    /// The part of the points at which zero voltage holds.
    #[must_use]
    #[expect(
        clippy::cast_precision_loss,
        reason = "numbers of points are far below 2⁵²"
    )]
    pub fn held(&self) -> f64 {
        let held = self.slack.iter().filter(|slack| **slack >= 0.0).count();
        held as f64 / self.slack.len().max(1) as f64
    }
}
