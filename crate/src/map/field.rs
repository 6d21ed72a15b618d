//! What a figure of a map shows: where zero voltage holds, with its edge found on the
//! cell itself, and the share of units over the map's points.

use super::{Map, MapError, Span};
use crate::cycle::{Solver, State};
use crate::scheme::Scheme;
use crate::stage::OperatingPoint;
use crate::table::Table;

/// Points along the axes on which a figure's shades are computed, whatever the number
/// of the map's own: finer ones would not be seen.
const ACROSS: usize = 161;
const DOWN: usize = 101;
/// Halvings of the way between two points in the search for the edge.
const HALVINGS: u32 = 12;

/// The values of a map as a figure shows them, row after row.
#[derive(Clone, Debug)]
pub struct Field {
    /// How the stage is run.
    pub scheme: Scheme,
    /// The point; its values on the axes do not count.
    pub at: OperatingPoint,
    /// The axis along a row, with the map's points.
    pub x: Span,
    /// The axis from row to row.
    pub y: Span,
    /// How many units are at each point.
    pub units: usize,
    /// Whether they are random ones.
    pub random: bool,
    /// The circuit alone, on points of its own.
    pub alone: Alone,
    /// The share of units that hold zero voltage at the map's points; empty without
    /// units.
    pub share: Vec<f64>,
    /// The lower end of that share's interval of 95 % confidence; not a number where
    /// units are not random.
    pub share_low: Vec<f64>,
}

/// The circuit alone over the ranges of a map.
#[derive(Clone, Debug)]
pub struct Alone {
    /// Points along a row.
    pub across: usize,
    /// Rows.
    pub down: usize,
    /// The state at each point; none outside what the model describes.
    pub state: Vec<Option<State>>,
    /// The voltage left across the high side at turn-on, in volt; not a number where
    /// there is no cell.
    pub voltage: Vec<f64>,
    /// Where zero voltage begins or ends on the way to the next point of the row, as
    /// a part of that way; none where it does not.
    pub to_right: Vec<Option<f64>>,
    /// The same on the way to the point of the next row.
    pub to_next: Vec<Option<f64>>,
}

impl Alone {
    /// Whether zero voltage holds at a point.
    #[must_use]
    pub fn holds(&self, index: usize) -> bool {
        self.state[index] == Some(State::ZeroVoltage)
    }

    fn new(map: &Map) -> Result<Self, MapError> {
        let spans = [
            Span {
                points: ACROSS,
                ..map.x
            },
            Span {
                points: DOWN,
                ..map.y
            },
        ];
        let fine = Map {
            circuit: map.circuit,
            at: map.at,
            x: spans[0],
            y: spans[1],
            units: vec![],
            random: false,
        };
        let mut alone = Self {
            across: ACROSS,
            down: DOWN,
            state: Vec::new(),
            voltage: Vec::new(),
            to_right: vec![None; ACROSS * DOWN],
            to_next: vec![None; ACROSS * DOWN],
        };
        fine.run(None, |table| {
            let values = |name| table.column(name).map_or(&[][..], |c| c.values());
            alone.voltage.extend_from_slice(values("turn_on_voltage"));
            alone.state.extend(values("state").iter().map(|code| {
                let mut places = State::ALL.into_iter().zip(0_u8..);
                places.find(|(_, k)| f64::from(*k) == *code).map(|(s, _)| s)
            }));
            Ok(())
        })?;
        alone.edge(&fine)?;
        Ok(alone)
    }

    /// The edge of zero voltage between neighbouring points, by halving: no quantity
    /// of the cell passes smoothly through it.
    fn edge(&mut self, fine: &Map) -> Result<(), MapError> {
        let mut solver = Solver::new(&fine.circuit)?;
        for row in 0..DOWN {
            for column in 0..ACROSS {
                let own = row * ACROSS + column;
                let place = [fine.x.value(column), fine.y.value(row)];
                if column + 1 < ACROSS && self.holds(own) != self.holds(own + 1) {
                    let next = [fine.x.value(column + 1), place[1]];
                    let part = crossing(fine, &mut solver, self.holds(own), place, next);
                    self.to_right[own] = Some(part);
                }
                if row + 1 < DOWN && self.holds(own) != self.holds(own + ACROSS) {
                    let next = [place[0], fine.y.value(row + 1)];
                    let part = crossing(fine, &mut solver, self.holds(own), place, next);
                    self.to_next[own] = Some(part);
                }
            }
        }
        Ok(())
    }
}

/// The part of the way between two places at which zero voltage begins or ends.
fn crossing(map: &Map, solver: &mut Solver, holds: bool, from: [f64; 2], to: [f64; 2]) -> f64 {
    let (mut low, mut high) = (0.0, 1.0);
    for _ in 0..HALVINGS {
        let middle = f64::midpoint(low, high);
        let place = [0, 1].map(|k| from[k] + (to[k] - from[k]) * middle);
        let (circuit, at) = map.set(place[0], place[1]);
        let solved = solver.change(&circuit).and_then(|()| solver.solve(at));
        if solved.is_ok_and(|steady| steady.state == State::ZeroVoltage) == holds {
            low = middle;
        } else {
            high = middle;
        }
    }
    f64::midpoint(low, high)
}

impl Field {
    /// The field of a map, the circuit alone computed; the map's rows bring the units.
    ///
    /// # Errors
    /// As [`Map::run`].
    pub fn new(map: &Map) -> Result<Self, MapError> {
        Ok(Self {
            scheme: map.circuit.scheme,
            at: map.at,
            x: map.x,
            y: map.y,
            units: map.units.len(),
            random: map.random,
            alone: Alone::new(map)?,
            share: Vec::new(),
            share_low: Vec::new(),
        })
    }

    /// Takes the units of a block of rows in.
    pub fn take(&mut self, table: &Table) {
        let values = |name| table.column(name).map_or(&[][..], |column| column.values());
        self.share.extend_from_slice(values("zero_voltage_share"));
        self.share_low.extend_from_slice(values("share_low"));
    }

    /// The part of the map over which zero voltage holds for the circuit alone.
    #[must_use]
    #[expect(
        clippy::cast_precision_loss,
        reason = "numbers of points are far below 2⁵²"
    )]
    pub fn held(&self) -> f64 {
        let all = self.alone.state.len();
        let held = (0..all).filter(|k| self.alone.holds(*k)).count();
        held as f64 / all.max(1) as f64
    }
}
