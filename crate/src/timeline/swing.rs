//! An edge: the inductor's current moves the node's capacitance.
//!
//! `L di/dt = u - V_out`, `C(u) du/dt = -i`: while the output voltage stands
//! still, `L i²/2` and the integral of `C(u) (u - V_out) du` keep their sum, so
//! the current follows from the node voltage in closed form, and the time is the
//! integral of `C(u)/i du`. It is a quadrature (a closed form where `C` is
//! constant), to 1e-11 of the edge.

use super::node::{NodeCapacitance, Rails};
use crate::equation::quadrature::{self, Storage};
use crate::equation::root;

/// What an edge starts from and where it may end.
#[derive(Clone, Copy, Debug)]
pub(super) struct Start {
    pub node: f64,
    pub current: f64,
    /// Whether the clamp catches a node that rises to the output voltage.
    pub catch: bool,
    /// Time after which it is looked at again in any case.
    pub limit: f64,
}

/// How an edge ended.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum End {
    /// The node arrived at a rail, or at the output voltage with the clamp ready.
    Arrived,
    /// The current reached zero: the node turns back.
    Turned,
    /// Neither before the time was over.
    Timer,
}

/// An edge or the part of it that was looked at.
#[derive(Clone, Copy, Debug)]
pub(super) struct Swing {
    pub node: f64,
    pub current: f64,
    pub duration: f64,
    pub end: End,
}

/// The tank of an edge.
#[derive(Clone, Copy)]
pub(super) struct Tank<'n> {
    pub capacitance: &'n NodeCapacitance,
    pub rails: Rails,
    pub inductance: f64,
}

/// Where quadratures keep their storage between edges.
#[derive(Debug, Default)]
pub(super) struct Scratch {
    storage: Storage,
    breaks: Vec<f64>,
}

impl Clone for Scratch {
    /// Nothing is kept in it between two edges.
    fn clone(&self) -> Self {
        Self::default()
    }
}

/// Part of the step below which node voltage and current count as at rest: some
/// ten microvolts, whose energy is lost in the rounding of the whole.
const REST: f64 = 1e-6;

impl Tank<'_> {
    /// Direction in which the node moves: 1 up, -1 down, 0 at rest.
    fn direction(&self, node: f64, current: f64) -> f64 {
        let rails = self.rails;
        let step = (rails.high - rails.low).abs();
        let impedance = (self.inductance / self.capacitance.at(node, &rails)).sqrt();
        let away = node - rails.output;
        if (current * impedance).abs() <= REST * step && away.abs() <= REST * step {
            0.0
        } else if current == 0.0 {
            -away.signum()
        } else {
            -current.signum()
        }
    }

    /// The current's square at another node voltage of the same swing.
    fn square(&self, from: f64, square: f64, to: f64) -> f64 {
        let work = self
            .capacitance
            .work(from, to, self.rails.output, &self.rails);
        square - 2.0 * work / self.inductance
    }

    /// Follows an edge to its end.
    pub fn swing(&self, start: Start, scratch: &mut Scratch) -> Swing {
        let Start { node, current, .. } = start;
        let rails = self.rails;
        let direction = self.direction(node, current);
        let rest = Swing {
            node,
            current,
            duration: start.limit,
            end: End::Timer,
        };
        if direction == 0.0 {
            return rest;
        }
        let target = if direction < 0.0 {
            rails.low
        } else if start.catch && node <= rails.output {
            rails.output.min(rails.high)
        } else {
            rails.high
        };
        if (target - node) * direction <= 0.0 {
            return Swing {
                duration: 0.0,
                end: End::Arrived,
                ..rest
            };
        }
        let initial = current * current;
        let square = self.square(node, initial, target);
        let (reached, square, end) = if square >= 0.0 {
            (target, square, End::Arrived)
        } else {
            // It rises beyond the output voltage or falls below it before it turns.
            let bottom = if (rails.output - node) * direction > 0.0 {
                rails.output
            } else {
                node
            };
            let turn = root::find(bottom, target, |u| self.square(node, initial, u));
            (turn.unwrap_or(target), 0.0, End::Turned)
        };
        let span = Span {
            tank: self,
            from: (node, initial),
            to: (reached, square),
        };
        let duration = span.duration(node, reached, scratch);
        debug_assert!(duration >= 0.0, "{start:?} {rails:?} {reached} {square}");
        if duration <= start.limit {
            let current = -direction * square.sqrt();
            return Swing {
                node: reached,
                current,
                duration,
                end,
            };
        }
        let node = span.node_at(start.limit, duration, scratch);
        Swing {
            node,
            current: -direction * span.square(node).sqrt(),
            ..rest
        }
    }

    /// Node voltages and times inside an edge that goes on from `start` to
    /// `node`, for those who draw it.
    pub fn points(
        &self,
        start: Start,
        end: &Swing,
        count: u32,
        scratch: &mut Scratch,
    ) -> Vec<Swing> {
        let span = Span {
            tank: self,
            from: (start.node, start.current * start.current),
            to: (end.node, end.current * end.current),
        };
        let direction = (end.node - start.node).signum();
        let (mut time, mut before) = (0.0, start.node);
        let mut points = vec![];
        for k in 1..count {
            // Points crowd at the ends, as in the sine of an edge.
            let angle = std::f64::consts::PI * f64::from(k) / f64::from(count);
            let node = start.node + (end.node - start.node) * f64::midpoint(1.0, -angle.cos());
            time += span.duration(before, node, scratch);
            before = node;
            points.push(Swing {
                node,
                current: -direction * span.square(node).sqrt(),
                duration: time,
                end: End::Timer,
            });
        }
        points
    }
}

/// A swing between two node voltages with the squares of their currents.
struct Span<'t, 'n> {
    tank: &'t Tank<'n>,
    from: (f64, f64),
    to: (f64, f64),
}

impl Span<'_, '_> {
    /// The current's square, counted from the nearer end so that few digits cancel
    /// where it turns.
    fn square(&self, u: f64) -> f64 {
        let (from, to) = (self.from, self.to);
        let near = if (u - from.0).abs() < (u - to.0).abs() {
            from
        } else {
            to
        };
        let square = self.tank.square(near.0, near.1, u);
        if square > 0.0 {
            return square;
        }
        // Rounding at a turning point: the first term of the square there.
        let tank = self.tank;
        let slope = tank.capacitance.at(near.0, &tank.rails) * (near.0 - tank.rails.output).abs();
        let least = f64::EPSILON * from.1.max(to.1).max(f64::MIN_POSITIVE);
        (2.0 * slope * (u - near.0).abs() / tank.inductance).max(least)
    }

    /// Time from one node voltage to another of the swing.
    fn duration(&self, from: f64, to: f64, scratch: &mut Scratch) -> f64 {
        let tank = self.tank;
        if from == to {
            return 0.0;
        }
        if let Some(capacitance) = tank.capacitance.whole {
            let impedance = (tank.inductance / capacitance).sqrt();
            let direction = (to - from).signum();
            let (x0, x1) = (from - tank.rails.output, to - tank.rails.output);
            let at = |u: f64| -> f64 {
                let square = if u == self.from.0 {
                    self.from.1
                } else if u == self.to.0 {
                    self.to.1
                } else {
                    self.square(u)
                };
                -direction * square.sqrt() * impedance
            };
            let (y0, y1) = (at(from), at(to));
            // The angle between the two states in the plane of node voltage and
            // current times impedance.
            let angle = (x0 * y1 - y0 * x1).atan2(x0 * x1 + y0 * y1);
            return angle.abs() * (tank.inductance * capacitance).sqrt();
        }
        let mut total = [0.0];
        tank.capacitance.breaks(&tank.rails, &mut scratch.breaks);
        quadrature::integrate_nodes(
            (from.min(to), from.max(to)),
            &scratch.breaks,
            &mut scratch.storage,
            &mut total,
            |nodes, values| {
                for (u, value) in nodes.iter().zip(values) {
                    *value = tank.capacitance.at(*u, &tank.rails) / self.square(*u).sqrt();
                }
            },
        );
        total[0]
    }

    /// The node voltage at a time before the swing's end: Newton's method kept
    /// in its bracket.
    fn node_at(&self, time: f64, whole: f64, scratch: &mut Scratch) -> f64 {
        let tank = self.tank;
        let (mut low, mut high) = (self.from.0, self.to.0);
        let part = time / whole;
        let mut node = low + (high - low) * part;
        let mut passed = self.duration(self.from.0, node, scratch);
        for _ in 0..60 {
            let late = passed - time;
            if late < 0.0 {
                low = node;
            } else {
                high = node;
            }
            if late.abs() <= 1e-13 * time {
                break;
            }
            let speed = self.square(node).sqrt() / tank.capacitance.at(node, &tank.rails);
            let mut next = node - late * speed * (self.to.0 - self.from.0).signum();
            // Outside the bracket, or no number at a turning point.
            let inside = (next - low) * (next - high) < 0.0;
            if !inside {
                next = f64::midpoint(low, high);
            }
            if next == node {
                break;
            }
            passed = if (next > node) == (self.to.0 > self.from.0) {
                passed + self.duration(node, next, scratch)
            } else {
                passed - self.duration(next, node, scratch)
            };
            node = next;
        }
        node
    }
}
