//! Branch and bound over the box of ranges.

use super::enclosure::{Doubt, Enclosure, decided};
use super::interval::Interval;
use super::{Bounds, Effort, NoBound, words, work};
use crate::equation::extreme::{Sense, Span};
use crate::equation::node::Binary;
use crate::equation::point::Point;
use crate::equation::program::Program;
use crate::equation::record::Condition;
use crate::equation::scalar::sealed::Operations as _;
use crate::quantity::{Exponents, print_value};

/// Dimensions up to which every corner of the box is looked at first.
const CORNERS: usize = 6;

/// A box: the range of each span that the program depends on.
type Ranges = Vec<Interval>;

pub(super) struct Search<'p> {
    program: &'p Program,
    conditions: &'p [Condition],
    /// The inputs outside the box.
    base: Vec<Enclosure>,
    /// The spans in the box, with their places among the inputs.
    spans: Vec<(Span, usize)>,
    effort: Effort,
    evaluations: usize,
    /// The work of the thread at which this part of the search ends.
    ends_at: u64,
    /// Whether a side was given up before it was sharp.
    exhausted: bool,
    /// The least and the greatest value known to be attained.
    attained: [f64; 2],
}

/// What a box shows.
struct Look {
    value: Enclosure,
    /// What is not proven over the box.
    missing: Option<NoBound>,
}

/// A box that may hold the extreme, with its bound there.
struct Candidate {
    ranges: Ranges,
    value: Enclosure,
}

impl<'p> Search<'p> {
    pub fn new(
        program: &'p Program,
        conditions: &'p [Condition],
        point: &Point,
        spans: &[Span],
        effort: Effort,
    ) -> Self {
        let base = point
            .inputs(program)
            .into_iter()
            .map(Enclosure::constant)
            .collect();
        let spans = spans
            .iter()
            .filter_map(|span| Some((*span, program.position(span.symbol)?)))
            .collect();
        Self {
            program,
            conditions,
            base,
            spans,
            effort,
            evaluations: 0,
            ends_at: 0,
            exhausted: false,
            attained: [f64::INFINITY, f64::NEG_INFINITY],
        }
    }

    /// The bound of a program whose first output has a dimension.
    pub fn run(mut self, exponents: Exponents) -> Result<Bounds, NoBound> {
        let whole: Ranges = self
            .spans
            .iter()
            .map(|(span, _)| Interval::new(span.low, span.high))
            .collect();
        // Where plain numbers show no result in a corner, the proof is sought there
        // first, and its failure ends the search at once.
        for corner in corners(&whole) {
            if !self.has_result(&corner)
                && let Some(missing) = self.look(&corner)?.missing
            {
                return Err(missing);
            }
        }
        let proven = self.cover(&whole)?;
        let high = self.sharpen(&proven, Sense::Greatest)?;
        let low = self.sharpen(&proven, Sense::Least)?;
        Ok(Bounds {
            low,
            high,
            attained: self.attained,
            evaluations: self.evaluations,
            exhausted: self.exhausted,
            exponents,
        })
    }

    /// Whether plain numbers give a result in a corner, its conditions met.
    fn has_result(&self, corner: &[Interval]) -> bool {
        let mut inputs: Vec<f64> = self.base.iter().map(|e| e.centre.middle()).collect();
        for ((_, place), range) in self.spans.iter().zip(corner) {
            inputs[*place] = range.low();
        }
        let outputs = self.program.run(&inputs);
        let holds = |(condition, sides): (&Condition, &[f64])| {
            let relation = condition.comparison.relation;
            relation.holds(sides[0], sides[1])
        };
        let mut conditions = self.conditions.iter().zip(outputs[1..].chunks(2));
        outputs[0].is_finite() && conditions.all(holds)
    }

    /// Evaluates over a box. A condition that fails in its centre ends the search.
    fn look(&mut self, ranges: &[Interval]) -> Result<Look, NoBound> {
        self.evaluations += 1;
        let mut inputs = self.base.clone();
        for (slot, ((_, place), range)) in self.spans.iter().zip(ranges).enumerate() {
            inputs[*place] = if range.width() > 0.0 {
                Enclosure::variable(*range, slot)
            } else {
                Enclosure::still(*range)
            };
        }
        let outputs = self.program.run(&inputs);
        let mut missing = None;
        for (condition, sides) in self.conditions.iter().zip(outputs[1..].chunks(2)) {
            let relation = condition.comparison.relation;
            let difference = Enclosure::binary(Binary::Subtract, &sides[0], &sides[1]);
            let doubt = difference.doubt;
            if doubt.is_none() && decided(relation, difference.centre) == Some(false) {
                return Err(NoBound::Violated {
                    condition: words(condition),
                    place: self.place(ranges),
                });
            }
            if doubt.is_some() || decided(relation, difference.range) != Some(true) {
                missing = missing.or(Some(NoBound::Unproven {
                    condition: words(condition),
                }));
            }
        }
        let value = outputs[0].clone();
        let missing = match value.doubt {
            Some(Doubt::Domain) => Some(NoBound::Domain),
            Some(Doubt::Solution) => Some(NoBound::Solution),
            None if !value.range.is_finite() => missing.or(Some(NoBound::Unbounded)),
            None => missing,
        };
        if value.doubt.is_none() {
            // The value in the centre lies somewhere between these.
            self.attained[0] = self.attained[0].min(value.centre.high());
            self.attained[1] = self.attained[1].max(value.centre.low());
        }
        Ok(Look { value, missing })
    }

    fn place(&self, ranges: &[Interval]) -> String {
        let list: Vec<_> = self
            .spans
            .iter()
            .zip(ranges)
            .map(|((span, _), range)| {
                let value = print_value(range.middle(), span.symbol.exponents(), 4);
                format!("{} = {value}", span.symbol.glyph())
            })
            .collect();
        list.join(", ")
    }

    /// Halves the box until everything is proven in every part.
    fn cover(&mut self, whole: &[Interval]) -> Result<Vec<Candidate>, NoBound> {
        self.ends_at = work::done() + self.effort.work;
        let mut open = std::collections::VecDeque::from([whole.to_vec()]);
        let mut proven = Vec::new();
        while let Some(ranges) = open.pop_front() {
            let look = self.look(&ranges)?;
            let Some(missing) = look.missing else {
                let value = look.value;
                proven.push(Candidate { ranges, value });
                continue;
            };
            let widest = (0..ranges.len())
                .filter(|k| splits(ranges[*k]))
                .max_by(|j, k| {
                    let share = |k: usize| ranges[k].width() / whole[k].width();
                    share(*j).total_cmp(&share(*k))
                });
            match widest {
                Some(axis)
                    if self.evaluations + open.len() < self.effort.evaluations
                        && work::done() < self.ends_at =>
                {
                    open.extend(halves(&ranges, axis));
                }
                _ => return Err(missing),
            }
        }
        Ok(proven)
    }

    /// The bound on one side: the box that bounds it is refined until the bound is
    /// sharp.
    fn sharpen(&mut self, proven: &[Candidate], sense: Sense) -> Result<f64, NoBound> {
        let bound = |c: &Candidate| match sense {
            Sense::Greatest => c.value.range.high(),
            Sense::Least => -c.value.range.low(),
        };
        let budget = self.evaluations + self.effort.evaluations;
        self.ends_at = work::done() + self.effort.work;
        let mut candidates = Vec::new();
        for part in proven {
            let candidate = self.reduced(part.ranges.clone(), &part.value, sense)?;
            candidates.push(candidate);
        }
        loop {
            let leading = (0..candidates.len())
                .max_by(|j, k| bound(&candidates[*j]).total_cmp(&bound(&candidates[*k])));
            let Some(leading) = leading else {
                return Err(NoBound::Unbounded);
            };
            let top = bound(&candidates[leading]);
            let known = match sense {
                Sense::Greatest => self.attained[1],
                Sense::Least => -self.attained[0],
            };
            let sharp = top - known <= self.effort.excess * (self.attained[1] - self.attained[0]);
            let Candidate { ranges, value } = &candidates[leading];
            let axis = (0..ranges.len())
                .filter(|k| splits(ranges[*k]))
                .max_by(|j, k| {
                    let smear = |k: usize| value.partial(k).magnitude();
                    smear(*j).total_cmp(&smear(*k))
                });
            let left = self.evaluations < budget && work::done() < self.ends_at;
            let Some(axis) = axis.filter(|_| !sharp && left) else {
                self.exhausted |= !sharp;
                return Ok(match sense {
                    Sense::Greatest => top,
                    Sense::Least => -top,
                });
            };
            let Candidate { ranges, value } = candidates.swap_remove(leading);
            for half in halves(&ranges, axis) {
                let mut look = self.look(&half)?;
                // A part is no worse bounded than the whole.
                look.value.range = look.value.range.meet(value.range);
                candidates.push(self.reduced(half, &look.value, sense)?);
            }
        }
    }

    /// The face of a box on which the extreme lies: inputs by which the slope has
    /// one sign are set to an end of their range.
    fn reduced(
        &mut self,
        ranges: Ranges,
        value: &Enclosure,
        sense: Sense,
    ) -> Result<Candidate, NoBound> {
        let mut ranges = ranges;
        let mut value = value.clone();
        loop {
            // Slopes are known only of what has a value for certain.
            if value.doubt.is_some() {
                return Ok(Candidate { ranges, value });
            }
            let mut face = ranges.clone();
            for (slot, range) in face.iter_mut().enumerate() {
                if range.width() == 0.0 {
                    continue;
                }
                let partial = value.partial(slot);
                let rises = partial.low() >= 0.0;
                if rises || partial.high() <= 0.0 {
                    let at_high = rises == (sense == Sense::Greatest);
                    *range = Interval::point(if at_high { range.high() } else { range.low() });
                }
            }
            if face == ranges {
                return Ok(Candidate { ranges, value });
            }
            let mut look = self.look(&face)?;
            look.value.range = look.value.range.meet(value.range);
            (ranges, value) = (face, look.value);
        }
    }
}

fn splits(range: Interval) -> bool {
    let middle = range.middle();
    range.low() < middle && middle < range.high()
}

fn halves(ranges: &[Interval], axis: usize) -> [Ranges; 2] {
    let range = ranges[axis];
    let middle = range.middle();
    [
        Interval::new(range.low(), middle),
        Interval::new(middle, range.high()),
    ]
    .map(|half| {
        let mut ranges = ranges.to_vec();
        ranges[axis] = half;
        ranges
    })
}

/// The corners of a box of not too many dimensions.
fn corners(whole: &[Interval]) -> Vec<Ranges> {
    if whole.len() > CORNERS {
        return vec![];
    }
    (0..1_u32 << whole.len())
        .map(|bits| {
            whole
                .iter()
                .enumerate()
                .map(|(k, range)| {
                    Interval::point(if bits >> k & 1 == 1 {
                        range.high()
                    } else {
                        range.low()
                    })
                })
                .collect()
        })
        .collect()
}
