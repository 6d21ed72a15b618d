//! Along one knob: where requirements pass, and what ends that.
//!
//! A requirement is watched at a few places of the box, the worst that searches have
//! found so far: its slack there costs a cell. Where those places pass, a search of the
//! whole box says whether all do; what it finds worse is watched from then on. So an end
//! is found with a handful of searches, and each value that is returned has passed one.

use std::collections::HashMap;

use super::knob::Knob;
use super::{DIGITS, End, Interval};
use crate::in_force::InForce;
use crate::quantity::significant;
use crate::stage::Specification;
use crate::verdict::{Cell, Check, Limits, Place, Probe, Slack, Space, search};

/// Factor from the value in force to either end of the range that is looked at.
const REACH: f64 = 4.0;
/// That range, in words.
pub(super) fn within_reach() -> String {
    format!("within a factor of {REACH}")
}

/// Looks in each direction, in equal ratios.
const LOOKS: i32 = 20;
/// Halvings that find an end between two looks: to a millionth, where four digits are kept.
const HALVINGS: u32 = 16;
/// Searches of the whole box for one question.
const SEARCHES: usize = 10;
/// Part of a slack below which a difference is rounding.
const SAME: f64 = 1e-9;

/// A specification with another value of the knob.
struct Trial {
    specification: Specification,
    space: Space,
    limits: Limits,
    probe: Probe,
}

/// A place that is watched for a requirement.
#[derive(Clone, PartialEq)]
struct Watched {
    check: Check,
    place: Place,
}

/// The line along a knob.
pub(super) struct Line<'s> {
    specification: &'s Specification,
    in_force: &'s InForce,
    knob: Knob,
    start: f64,
    watched: Vec<Watched>,
    /// The stage with a value, by the value's bits: looks come back to the same values.
    trials: HashMap<u64, Option<Trial>>,
    /// What searches of the whole box found, by the value's bits.
    searched: HashMap<u64, Option<Vec<Watched>>>,
}

/// What a look says: the least slack and what has it.
struct Look {
    slack: f64,
    worst: Option<Watched>,
}

impl<'s> Line<'s> {
    pub fn new(
        specification: &'s Specification,
        in_force: &'s InForce,
        knob: Knob,
        start: f64,
    ) -> Self {
        Self {
            specification,
            in_force,
            knob,
            start,
            watched: Vec::new(),
            trials: HashMap::new(),
            searched: HashMap::new(),
        }
    }

    /// The value of a look: the value in force, or one of a few digits.
    fn value(&self, look: i32) -> f64 {
        if look == 0 {
            return self.start;
        }
        let value = self.start * REACH.powf(f64::from(look) / f64::from(LOOKS));
        significant(value, DIGITS)
    }

    /// The stage with a value; none where the model does not describe it.
    fn trial(&mut self, value: f64) -> Option<&mut Trial> {
        let bits = value.to_bits();
        if !self.trials.contains_key(&bits) {
            let made = self.made(value);
            self.trials.insert(bits, made);
        }
        self.trials.get_mut(&bits)?.as_mut()
    }

    fn made(&self, value: f64) -> Option<Trial> {
        let specification = self.knob.set(self.specification, self.in_force, value);
        let (inductance, trip) = (specification.inductance?, specification.trip.threshold?);
        let space = Space::of(&specification, inductance, trip).ok()?;
        let probe = Probe::new(&space.unit(&space.middle()).0).ok()?;
        Some(Trial {
            limits: Limits::new(&specification),
            specification,
            space,
            probe,
        })
    }

    /// Where requirements fail in a search of the whole box at a value; none where the
    /// model does not describe the stage with it.
    fn search(&mut self, value: f64) -> Option<Vec<Watched>> {
        let trial = self.trial(value)?;
        let found = search(&trial.space, &trial.limits).ok()?;
        let places = found.worst.into_iter().zip(found.undecided);
        let all = Check::ALL.into_iter().zip(places);
        let failing = all.filter_map(|(check, (worst, undecided))| {
            let fails = worst.filter(|worst| worst.slack.holds() == Some(false));
            let place = fails.map(|worst| worst.place).or(undecided)?;
            Some(Watched { check, place })
        });
        Some(failing.collect())
    }

    /// Of requirements those that fail at a value, which are watched from then on; none
    /// where nothing can be said of it.
    fn failures(&mut self, checks: &[Check], value: f64) -> Option<Vec<Check>> {
        let bits = value.to_bits();
        if !self.searched.contains_key(&bits) {
            let found = self.search(value);
            for own in found.iter().flatten() {
                if !self.watched.contains(own) {
                    self.watched.push(own.clone());
                }
            }
            self.searched.insert(bits, found);
        }
        let found = self.searched.get(&bits)?.as_ref()?;
        let failing = found.iter().map(|own| own.check);
        Some(failing.filter(|check| checks.contains(check)).collect())
    }

    /// The requirements that fail at a value.
    pub fn failing(&mut self, checks: &[Check], value: f64) -> Vec<Check> {
        self.failures(checks, value)
            .unwrap_or_else(|| checks.to_vec())
    }

    /// Whether requirements pass over the whole box at a value.
    fn passes(&mut self, checks: &[Check], value: f64) -> bool {
        self.failures(checks, value)
            .is_some_and(|failing| failing.is_empty())
    }

    /// The least slack of requirements at the places watched.
    fn look(&mut self, checks: &[Check], value: f64) -> Look {
        let mut look = Look {
            slack: f64::INFINITY,
            worst: None,
        };
        let watched: Vec<Watched> = self
            .watched
            .iter()
            .filter(|own| checks.contains(&own.check))
            .cloned()
            .collect();
        let Some(trial) = self.trial(value) else {
            look.slack = -1.0;
            return look;
        };
        // Several requirements are worst at the same place.
        let mut cells: Vec<(&Place, Cell)> = Vec::new();
        for own in &watched {
            let known = cells.iter().position(|(place, _)| *place == &own.place);
            let known = known.unwrap_or_else(|| {
                let (circuit, at) = trial.space.unit(&own.place);
                cells.push((&own.place, trial.probe.cell(&circuit, at)));
                cells.len() - 1
            });
            let cell = &cells[known].1;
            let slack = match own.check.slack(cell, &trial.limits) {
                Slack::Number(slack) => slack,
                Slack::Fails | Slack::Undecided => -1.0,
                Slack::NotStated(_) | Slack::Absent => continue,
            };
            if slack < look.slack {
                look.slack = slack;
                look.worst = Some(own.clone());
            }
        }
        look
    }

    /// The interval in which requirements pass that is nearest to the value in force;
    /// none where no value looked at passes.
    pub fn interval(&mut self, checks: &[Check]) -> Option<Interval> {
        let inside = self.nearest(checks)?;
        let low = self.end(checks, inside, -1);
        let high = self.end(checks, inside, 1);
        Some(Interval { low, high })
    }

    /// A value that passes a search, as near to the value in force as looks are.
    fn nearest(&mut self, checks: &[Check]) -> Option<f64> {
        if self.passes(checks, self.start) {
            return Some(self.start);
        }
        if self.has_no_say(checks) {
            return None;
        }
        for _ in 0..SEARCHES {
            let slacks: Vec<(i32, f64)> = (-LOOKS..=LOOKS)
                .map(|look| (look, self.look(checks, self.value(look)).slack))
                .collect();
            let good = slacks.iter().filter(|(_, slack)| *slack >= 0.0);
            let value = match good.min_by_key(|(look, _)| look.abs()) {
                Some((look, _)) => self.value(*look),
                None => self.between_looks(checks, &slacks)?,
            };
            if self.passes(checks, value) {
                return Some(value);
            }
        }
        None
    }

    /// Whether the knob does not change what the requirements say at the places watched.
    fn has_no_say(&mut self, checks: &[Check]) -> bool {
        let here = self.look(checks, self.start).slack;
        let elsewhere = [-LOOKS, -1, 1, LOOKS];
        let same = |look: i32| {
            let there = self.look(checks, self.value(look)).slack;
            (there - here).abs() <= SAME * here.abs()
        };
        elsewhere.into_iter().all(same)
    }

    /// A narrow interval may lie between two looks: the top of the slack about the best.
    fn between_looks(&mut self, checks: &[Check], slacks: &[(i32, f64)]) -> Option<f64> {
        let best = slacks
            .iter()
            .max_by(|one, other| one.1.total_cmp(&other.1))?;
        let mut low = self.value(best.0 - 1);
        let mut high = self.value(best.0 + 1);
        for _ in 0..HALVINGS {
            let third = (high - low) / 3.0;
            let (one, other) = (low + third, high - third);
            if self.look(checks, one).slack < self.look(checks, other).slack {
                low = one;
            } else {
                high = other;
            }
        }
        let top = f64::midpoint(low, high);
        (self.look(checks, top).slack >= 0.0).then_some(top)
    }

    /// The end of what passes in a direction from a value that does.
    fn end(&mut self, checks: &[Check], inside: f64, direction: i32) -> End {
        let far = self.value(direction * LOOKS);
        let mut safe = inside;
        let mut limit = None;
        for _ in 0..SEARCHES {
            let Some((passing, failing)) = self.bracket(checks, inside, direction) else {
                if self.passes(checks, far) {
                    return End {
                        value: far,
                        limit: None,
                    };
                }
                continue;
            };
            let worst = self.look(checks, failing).worst;
            limit = worst.map(|own| self.beyond(&own, failing)).or(limit);
            let value = rounded(passing, direction);
            let value = if (value - inside) * f64::from(direction) < 0.0 {
                inside
            } else {
                value
            };
            if self.passes(checks, value) {
                safe = value;
                break;
            }
        }
        End { value: safe, limit }
    }

    /// The last value that passes at the places watched, and one next to it that fails;
    /// none where all pass up to the end of the range.
    fn bracket(&mut self, checks: &[Check], inside: f64, direction: i32) -> Option<(f64, f64)> {
        let mut passing = inside;
        let outward = (0..=2 * LOOKS).map(|k| direction * (k - LOOKS));
        let beyond: Vec<f64> = outward
            .map(|look| self.value(look))
            .filter(|value| (value - inside) * f64::from(direction) > 0.0)
            .collect();
        for value in beyond {
            if self.look(checks, value).slack < 0.0 {
                let mut failing = value;
                for _ in 0..HALVINGS {
                    let middle = f64::midpoint(passing, failing);
                    if self.look(checks, middle).slack >= 0.0 {
                        passing = middle;
                    } else {
                        failing = middle;
                    }
                }
                return Some((passing, failing));
            }
            passing = value;
        }
        None
    }

    /// What fails beyond an end, and where.
    fn beyond(&mut self, watched: &Watched, value: f64) -> (Check, String) {
        let place = self.trial(value).map_or_else(String::new, |trial| {
            let witness = trial.space.witness(&trial.specification, &watched.place);
            witness.place()
        });
        (watched.check, place)
    }
}

/// A value to a few digits, not beyond it in a direction.
fn rounded(value: f64, direction: i32) -> f64 {
    let near = significant(value, DIGITS);
    if (near - value) * f64::from(direction) <= 0.0 {
        return near;
    }
    // One of the last digit back.
    let unit = 10f64.powi(magnitude(value) - i32::try_from(DIGITS).unwrap_or(4) + 1);
    significant(near - f64::from(direction) * unit, DIGITS)
}

/// The place of the first digit.
#[expect(
    clippy::cast_possible_truncation,
    reason = "a power of ten of a double"
)]
fn magnitude(value: f64) -> i32 {
    value.abs().log10().floor() as i32
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ends_are_rounded_to_the_side_that_passes() {
        for (value, low, high) in [
            (0.530_612, 0.5307, 0.5306),
            (1.234_56e-7, 1.235e-7, 1.234e-7),
            (2.5, 2.5, 2.5),
            (9.999_96, 10.0, 9.999),
        ] {
            approx::assert_relative_eq!(rounded(value, -1), low, max_relative = 1e-12);
            approx::assert_relative_eq!(rounded(value, 1), high, max_relative = 1e-12);
        }
    }
}
