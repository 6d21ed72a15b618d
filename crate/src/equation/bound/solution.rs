//! Solved equations over a box, by the interval Newton method.
//!
//! A solution counts only if it is proven to exist and to be the only one in
//! its bracket, at every point of the box.

use super::enclosure::{Doubt, Enclosure};
use super::interval::Interval;
use super::work;
use crate::equation::node::Binary;
use crate::equation::program::Solve;
use crate::equation::root;
use crate::equation::scalar::sealed::Operations as _;

/// Attempts to find an interval that the Newton step maps into itself.
const ATTEMPTS: u32 = 4;
/// Parts of the rest of the bracket that are looked at before giving up.
const PARTS: u32 = 64;

/// `left − right` of an equation, with the unknown in a slot of its own.
struct Balance<'s> {
    solve: &'s Solve,
    captured: &'s [Enclosure],
    slot: usize,
}

impl Balance<'_> {
    fn at(&self, unknown: &Enclosure) -> Enclosure {
        let mut scratch = Vec::new();
        work::run(&self.solve.body, self.captured, unknown, &mut scratch);
        let [left, right] = [0, 1].map(|side| &scratch[self.solve.body.results[side]]);
        Enclosure::binary(Binary::Subtract, left, right)
    }

    /// Over a range of the unknown, and the slope by the unknown itself.
    fn over(&self, range: Interval) -> (Enclosure, Interval) {
        let unknown = Enclosure::variable(range, self.slot);
        let radius = unknown.partial(self.slot);
        let balance = self.at(&unknown);
        let slope = if balance.doubt.is_none() {
            balance.partial(self.slot) / radius
        } else {
            Interval::ENTIRE
        };
        (balance, slope)
    }
}

/// The solution over the box with its slopes by the implicit function theorem.
pub(super) fn enclose(solve: &Solve, registers: &[Enclosure]) -> Enclosure {
    let captured = solve.body.captured(registers);
    let (lower, upper) = (&registers[solve.lower], &registers[solve.upper]);
    let given = captured.iter().chain([lower, upper]);
    if let Some(doubt) = given.clone().find_map(|e| e.doubt) {
        return Enclosure::doubtful(doubt);
    }
    let slot = given.map(|e| e.partials.len()).max().unwrap_or(0);
    let over_box = Balance {
        solve,
        captured: &captured,
        slot,
    };
    let bracket = Interval::new(lower.range.low(), upper.range.high());
    solved(&over_box, bracket, (lower, upper))
        .unwrap_or_else(|| Enclosure::doubtful(Doubt::Solution))
}

fn solved(
    over_box: &Balance,
    bracket: Interval,
    (lower, upper): (&Enclosure, &Enclosure),
) -> Option<Enclosure> {
    let (solve, slot) = (over_box.solve, over_box.slot);
    let still: Vec<_> = over_box.captured.iter().map(Enclosure::at_centre).collect();
    let in_centre = Balance {
        solve,
        captured: &still,
        slot: 0,
    };
    let guess = approximate(over_box, lower, upper)?;
    let (solution, balance, slope) = contract(over_box, bracket, guess)?;
    // In its bracket everywhere, and alone there.
    if solution.low() < lower.range.high() || solution.high() > upper.range.low() {
        return None;
    }
    let rising = slope.low() > 0.0;
    let below = Interval::new(bracket.low(), solution.low());
    let above = Interval::new(solution.high(), bracket.high());
    if !(empty(over_box, below, !rising, false) && empty(over_box, above, rising, true)) {
        return None;
    }
    let middle = Interval::point(solution.middle());
    let residue = in_centre.at(&Enclosure::still(middle));
    let centre = (middle - residue.range / slope).meet(solution);
    let partials = (0..slot).map(|k| -balance.partial(k) / slope).collect();
    let result = Enclosure {
        centre,
        range: solution,
        partials,
        doubt: None,
    };
    Some(result.tightened())
}

/// Where plain numbers put the solution in the centre of the box: a guess only,
/// everything is proven afterwards.
fn approximate(over_box: &Balance, lower: &Enclosure, upper: &Enclosure) -> Option<f64> {
    let captured: Vec<f64> = over_box
        .captured
        .iter()
        .map(|e| e.centre.middle())
        .collect();
    let body = &over_box.solve.body;
    let mut scratch = Vec::new();
    root::find(lower.centre.middle(), upper.centre.middle(), |x| {
        body.run(&captured, &x, &mut scratch);
        scratch[body.results[0]] - scratch[body.results[1]]
    })
}

/// An interval in which there is exactly one solution at every point of the box:
/// one that the Newton step maps into itself, with a slope of one sign. Also the
/// balance over it and that slope.
fn contract(
    over_box: &Balance,
    bracket: Interval,
    guess: f64,
) -> Option<(Interval, Enclosure, Interval)> {
    let start = Interval::point(guess);
    let there = over_box.at(&Enclosure::still(start));
    if there.doubt.is_some() || !there.range.is_finite() {
        return None;
    }
    let tiny = guess.abs().max(bracket.width() * 1e-9) * 1e-12;
    let near = Interval::new(guess - tiny, guess + tiny);
    let (_, mut slope) = over_box.over(near);
    let mut trial = near;
    for _ in 0..ATTEMPTS {
        if !slope.has_sign() {
            return None;
        }
        let step = start - there.range / slope;
        let more = step.width() * 0.1 + tiny;
        trial = Interval::new(step.low() - more, step.high() + more).hull(trial);
        let (_, wider) = over_box.over(trial);
        if !wider.has_sign() {
            return None;
        }
        let mapped = start - there.range / wider;
        if trial.low() < mapped.low() && mapped.high() < trial.high() {
            // Once more over less, for the sake of the slopes; with the guess and
            // a little around it, since the mean value theorem is applied to it.
            let (balance, slope) = over_box.over(mapped.hull(near));
            return slope.has_sign().then(|| {
                let tighter = (start - there.range / slope).meet(mapped);
                (tighter, balance, slope)
            });
        }
        slope = wider;
    }
    None
}

/// Whether no solution lies in a rest of the bracket, next to the solution on
/// one side of it.
///
/// A part is free of solutions if the balance is never zero in it, wherever it has
/// a value; or if the balance moves on in one direction all the way from the
/// solution. `positive` is the sign that it has next to the solution.
fn empty(over_box: &Balance, rest: Interval, positive: bool, above: bool) -> bool {
    // The nearest part is on top.
    let mut parts = vec![rest];
    let mut looked = 0;
    let mut connected = true;
    while let Some(part) = parts.pop() {
        if part.low() >= part.high() {
            continue;
        }
        looked += 1;
        if looked > PARTS {
            return false;
        }
        let (balance, slope) = over_box.over(part);
        let free = balance.range.has_sign();
        let away = if positive == above {
            slope.low() > 0.0
        } else {
            slope.high() < 0.0
        };
        if connected && balance.doubt.is_none() && away {
            continue;
        }
        if free {
            connected &= balance.doubt.is_none() && (balance.range.low() > 0.0) == positive;
            continue;
        }
        // Brackets may span decades.
        let middle = if part.low() > 0.0 {
            (part.low().sqrt() * part.high().sqrt()).clamp(part.low(), part.high())
        } else {
            part.middle()
        };
        let (low, high) = (
            Interval::new(part.low(), middle),
            Interval::new(middle, part.high()),
        );
        if above {
            parts.extend([high, low]);
        } else {
            parts.extend([low, high]);
        }
    }
    true
}
