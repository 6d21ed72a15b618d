//! The brief: what to set, within which limits, and what would mend what fails.
//!
//! Every interval is found on the verdicts themselves: at its ends, as they are printed,
//! every requirement that it is about passes a search of the whole box of line, load,
//! tolerances and temperature; a little beyond, the requirement that is named fails.

mod knob;
mod line;
mod output;

pub use knob::Knob;
pub use output::{json, text};

use crate::cycle::CycleError;
use crate::design::{Design, Requirement, parallel_map};
use crate::loss::{Model, ModelError, Outcome};
use crate::quantity::print_value;
use crate::scheme::Scheme;
use crate::verdict::{Check, Verdict};
use line::Line;

/// Digits of a value: an end is rounded to them, to the side that passes.
const DIGITS: usize = 4;

/// An end of an interval.
#[derive(Clone, Debug, PartialEq)]
pub struct End {
    /// The last value that passes, in the coherent unit.
    pub value: f64,
    /// What fails beyond it, where it fails, in words; none where what was looked at ends
    /// first.
    pub limit: Option<(Check, String)>,
}

/// An interval of a knob.
#[derive(Clone, Debug, PartialEq)]
pub struct Interval {
    /// Its lower end.
    pub low: End,
    /// Its upper end.
    pub high: End,
}

/// What is said of one knob.
#[derive(Clone, Debug, PartialEq)]
pub struct Advice {
    /// The knob.
    pub knob: Knob,
    /// Its value in force, or the one proposed, in the coherent unit.
    pub value: f64,
    /// Whether the specification states it.
    pub stated: bool,
    /// Where every requirement holds that this knob alone can make hold, all else as it
    /// is in force; none where no value serves them all.
    pub allowed: Option<Interval>,
    /// Where every requirement holds that holds now.
    pub kept: Option<Interval>,
    /// Requirements that fail whatever the knob's value.
    pub beyond_it: Vec<Check>,
    /// Requirements that fail and that this knob alone would mend.
    pub mends: Vec<Mending>,
}

impl Advice {
    /// Requirements on the value itself that fail whatever it is.
    #[must_use]
    pub fn never_met(&self) -> Vec<Check> {
        let own = self.beyond_it.iter().copied();
        own.filter(|check| self.knob.requirements().contains(check))
            .collect()
    }

    /// Whether the value in force lies where all is well.
    #[must_use]
    pub fn is_inside(&self) -> bool {
        self.allowed
            .as_ref()
            .is_some_and(|allowed| (allowed.low.value..=allowed.high.value).contains(&self.value))
    }
}

/// A requirement that a knob alone would mend.
#[derive(Clone, Debug, PartialEq)]
pub struct Mending {
    /// The requirement.
    pub check: Check,
    /// Where it holds.
    pub passes: Interval,
    /// The nearest value in there.
    pub to: f64,
    /// Requirements that hold now and would fail with that value.
    pub breaks: Vec<Check>,
}

/// A single change that makes a failed requirement pass.
#[derive(Clone, Debug, PartialEq)]
pub struct Change {
    /// What is changed.
    pub knob: Knob,
    /// From the value in force, in the coherent unit.
    pub from: f64,
    /// The nearest value that passes.
    pub to: f64,
    /// Requirements that pass now and would fail then.
    pub breaks: Vec<Check>,
}

impl Change {
    /// The change in words, with what it breaks.
    #[must_use]
    pub fn words(&self) -> String {
        let of = |value| print_value(value, self.knob.exponents(), DIGITS);
        let way = if self.to > self.from { "up" } else { "down" };
        let price = match self.breaks.as_slice() {
            [] => String::new(),
            [one] => format!("; then \"{}\" is not met", one.words()),
            [first, others @ ..] => format!(
                "; then {} other requirements are not met, the first \"{}\"",
                others.len() + 1,
                first.words()
            ),
        };
        format!(
            "{} {way} from {} to {}{price}",
            self.knob.words(),
            of(self.from),
            of(self.to)
        )
    }
}

/// A requirement that fails, and what would mend it.
#[derive(Clone, Debug, PartialEq)]
pub struct Failure {
    /// The requirement.
    pub check: Check,
    /// Single changes, the smallest first, as parts of their values; none where no single
    /// one does within the range looked at.
    pub changes: Vec<Change>,
}

/// The brief of a design.
#[derive(Clone, Debug, PartialEq)]
pub struct Brief {
    /// Every knob that the stage has.
    pub advice: Vec<Advice>,
    /// Every requirement that fails.
    pub failures: Vec<Failure>,
    /// The losses at nominal voltages and the greatest load, where they have a value.
    pub losses: Option<Outcome>,
}

impl Brief {
    /// The brief of a design. `progress` is told how many of how many knobs are done.
    ///
    /// # Errors
    /// A part whose value the model does not describe.
    ///
    /// ```
    /// use slewbook::brief::{Brief, Knob};
    /// use slewbook::{design::Design, stage::DEMONSTRATION};
    /// let design = Design::derive(DEMONSTRATION).unwrap();
    /// let brief = Brief::of(&design, &|_, _| {}).unwrap();
    /// let inductance = &brief.advice[0];
    /// assert_eq!(inductance.knob, Knob::Inductance);
    /// // The largest inductance that leaves hold time over line, load and 20 %: 793.6 nH.
    /// let high = inductance.kept.as_ref().unwrap().high.value;
    /// assert!((high - 793.6e-9).abs() < 1e-10, "{high}");
    /// ```
    pub fn of(
        design: &Design,
        progress: &(impl Fn(usize, usize) + Sync),
    ) -> Result<Self, CycleError> {
        let s = &design.stage.specification;
        let in_force = &design.in_force;
        let keep = s.part_of_rated_voltage();
        let rating = |knob: Knob| proposed_rating(&design.requirements, knob, keep);
        let knobs: Vec<(Knob, knob::Set)> = Knob::ALL
            .into_iter()
            .filter_map(|knob| Some((knob, knob.in_force(s, in_force, rating)?)))
            .collect();
        let of = |verdicts: &[Verdict]| -> Vec<Check> {
            let own = design.requirements.iter();
            own.filter(|r| verdicts.contains(&r.verdict))
                .map(|r| r.check)
                .collect()
        };
        let passing = of(&[Verdict::Met]);
        let failing = of(&[Verdict::NotMet, Verdict::NoSetting, Verdict::NotDecided]);
        let silent = of(&[Verdict::NotStated]);
        let done = std::sync::atomic::AtomicUsize::new(0);
        progress(0, knobs.len());
        let advice = parallel_map(&knobs, |(knob, set)| {
            let line = Line::new(s, in_force, *knob, set.value);
            let advice = advise(line, *knob, *set, [&passing, &failing, &silent]);
            let so_far = done.fetch_add(1, std::sync::atomic::Ordering::Relaxed) + 1;
            progress(so_far, knobs.len());
            advice
        });
        let failures = failing
            .iter()
            .map(|check| mended(*check, &advice))
            .collect();
        Ok(Self {
            advice,
            failures,
            losses: losses(design)?,
        })
    }
}

/// The rating that an unstated one has to have at the least.
fn proposed_rating(requirements: &[Requirement], knob: Knob, keep: f64) -> Option<f64> {
    let factor = if knob == Knob::Saturation { 1.0 } else { keep };
    let own = requirements.iter();
    let own = own.filter(|r| knob.requirements().contains(&r.check));
    let values = own.filter_map(|r| r.value);
    values
        .reduce(f64::max)
        .filter(|value| *value > 0.0)
        .map(|value| value / factor)
}

/// What is said of a knob; requirements that hold, that fail, and that lack a value.
fn advise(
    mut line: Line,
    knob: Knob,
    set: knob::Set,
    [passing, failing, silent]: [&[Check]; 3],
) -> Advice {
    let (mut mends, mut beyond_it) = (Vec::new(), Vec::new());
    if set.value <= 0.0 {
        // Looks are ratios of the value.
        return Advice {
            knob,
            value: set.value,
            stated: set.stated,
            allowed: None,
            kept: None,
            beyond_it,
            mends,
        };
    }
    for check in failing {
        match line.interval(&[*check]) {
            Some(passes) => {
                let to = if set.value < passes.low.value {
                    passes.low.value
                } else {
                    passes.high.value
                };
                mends.push(Mending {
                    check: *check,
                    passes,
                    to,
                    breaks: line.failing(passing, to),
                });
            }
            None => beyond_it.push(*check),
        }
    }
    let mut all = passing.to_vec();
    all.extend(mends.iter().map(|own| own.check));
    if !set.stated {
        // With a value, what lacked one can be said to hold.
        let limited = |passes: &Interval| passes.low.limit.is_some() || passes.high.limit.is_some();
        for check in silent {
            match line.interval(&[*check]) {
                Some(passes) if limited(&passes) => all.push(*check),
                None if knob.requirements().contains(check) => beyond_it.push(*check),
                _ => {}
            }
        }
    }
    Advice {
        knob,
        value: set.value,
        stated: set.stated,
        allowed: line.interval(&all),
        kept: line.interval(passing),
        beyond_it,
        mends,
    }
}

/// The single changes that mend a requirement.
fn mended(check: Check, advice: &[Advice]) -> Failure {
    let mut changes: Vec<Change> = advice
        .iter()
        .filter_map(|own| {
            let mending = own.mends.iter().find(|mending| mending.check == check)?;
            Some(Change {
                knob: own.knob,
                from: own.value,
                to: mending.to,
                breaks: mending.breaks.clone(),
            })
        })
        .collect();
    let size = |change: &Change| (change.to / change.from).ln().abs();
    changes.sort_by(|one, other| size(one).total_cmp(&size(other)));
    Failure { check, changes }
}

/// The losses at nominal voltages and the greatest load.
fn losses(design: &Design) -> Result<Option<Outcome>, CycleError> {
    let s = &design.stage.specification;
    let (inductance, trip) = (design.in_force.inductance.value, design.in_force.trip.value);
    let model = Model::new(s, Scheme::FreewheelTransistors, inductance, trip);
    let mut model = model.map_err(ModelError::into_cycle)?;
    let outcome = model.at(s.nominal_point())?;
    Ok(outcome.losses.is_some().then_some(outcome))
}
