//! A verdict with its witness.

use super::check::{Check, Limits, Reading, Slack};
use super::probe::Probe;
use super::search::{Search, Worst, search};
use super::space::{Place, Space};
use crate::cycle::CycleError;
use crate::quantity::{Dimensioned, Exponents, number as number_of, print, print_value};
use crate::stage::{OperatingPoint, Specification};

/// The verdict on a requirement.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Verdict {
    /// It holds at every place that the search visited.
    Met,
    /// It fails at its witness.
    NotMet,
    /// No setting serves the whole box: one place asks for more than another allows.
    NoSetting,
    /// Some place of the box has no cell that could say.
    NotDecided,
    /// The specification does not state what it needs.
    NotStated,
}

impl Verdict {
    /// Every verdict.
    pub const ALL: [Self; 5] = [
        Self::Met,
        Self::NotMet,
        Self::NoSetting,
        Self::NotDecided,
        Self::NotStated,
    ];

    /// The verdict in words.
    #[must_use]
    pub const fn words(self) -> &'static str {
        match self {
            Self::Met => "met",
            Self::NotMet => "not met",
            Self::NoSetting => "no setting",
            Self::NotDecided => "not decided",
            Self::NotStated => "not stated",
        }
    }

    /// Whether what was asked to hold is not shown to hold.
    #[must_use]
    pub const fn fails(self) -> bool {
        matches!(self, Self::NotMet | Self::NoSetting | Self::NotDecided)
    }
}

/// A place of the box in terms of a specification: what a verdict rests on.
#[derive(Clone, Debug, PartialEq)]
pub struct Witness {
    /// The point of operation.
    pub at: OperatingPoint,
    /// Values that differ from the specification's: key and quantity.
    pub settings: Vec<(&'static str, String)>,
    /// The resistances of hot parts, where they are hot there.
    pub hot: Vec<(&'static str, String)>,
    /// Whether a value that differs is correlated in the specification, which the single unit
    /// is not.
    pub single: bool,
}

/// A requirement with its verdict, where it is worst.
#[derive(Clone, Debug, PartialEq)]
pub struct Judgement {
    /// The requirement.
    pub check: Check,
    /// The verdict.
    pub verdict: Verdict,
    /// The value at the witness, in the coherent unit.
    pub value: Option<f64>,
    /// The limit there, in the coherent unit.
    pub limit: Option<f64>,
    /// Where it is worst, or where it is not decided.
    pub witness: Witness,
    /// Where no setting serves the box: the place that allows less than the witness asks
    /// for.
    pub against: Option<Witness>,
    /// What the cell there says in words, where there is no number.
    pub reason: Option<String>,
}

/// Every requirement judged.
#[derive(Clone, Debug, PartialEq)]
pub struct Judged {
    /// The requirements that apply, in their order.
    pub judgements: Vec<Judgement>,
    /// Cells that were searched, for all of them together.
    pub cells: usize,
}

/// The pairs of requirements that one setting has to serve: the earliest and the latest.
const PAIRS: [[Check; 2]; 2] = [
    [Check::DeadTimeEarliest, Check::DeadTimeLatest],
    [Check::LowDeadTimeEarliest, Check::LowDeadTimeLatest],
];

/// Judges every requirement over the box of a specification.
///
/// # Errors
/// A part whose value the model does not describe.
pub fn judge(specification: &Specification, space: &Space) -> Result<Judged, CycleError> {
    let limits = Limits::new(specification);
    let Search {
        worst,
        undecided,
        cells,
    } = search(space, &limits)?;
    let mut bench = Bench {
        probe: Probe::new(&space.unit(&space.middle()).0)?,
        limits,
        specification,
        space,
    };
    let mut found = Vec::new();
    for ((check, worst), undecided) in Check::ALL.into_iter().zip(worst).zip(undecided) {
        found.extend(bench.judged(check, worst, undecided));
    }
    for [earliest, latest] in PAIRS {
        bench.no_setting(&mut found, earliest, latest);
    }
    Ok(Judged {
        judgements: found.into_iter().map(|(_, judgement)| judgement).collect(),
        cells,
    })
}

/// What judging takes.
struct Bench<'s> {
    probe: Probe,
    limits: Limits,
    specification: &'s Specification,
    space: &'s Space,
}

/// A judgement with the place that it rests on.
type Placed = (Place, Judgement);

impl Bench<'_> {
    /// The judgement on a requirement from where it is worst and where it is undecided;
    /// none where it does not apply.
    fn judged(
        &mut self,
        check: Check,
        worst: Option<Worst>,
        undecided: Option<Place>,
    ) -> Option<Placed> {
        let (verdict, place) = match (worst, undecided) {
            (None, None) => return None,
            (None, Some(place)) => (Verdict::NotDecided, place),
            (Some(Worst { place, slack }), undecided) => match (slack, undecided) {
                (Slack::NotStated(_), _) => (Verdict::NotStated, place),
                (Slack::Fails, _) if check.is_of_a_window() => (Verdict::NoSetting, place),
                (Slack::Fails, _) => (Verdict::NotMet, place),
                (Slack::Number(slack), _) if slack < 0.0 => (Verdict::NotMet, place),
                (_, Some(place)) => (Verdict::NotDecided, place),
                (_, None) => (Verdict::Met, place),
            },
        };
        let (circuit, at) = self.space.unit(&place);
        let reading = self.probe.reading(check, &circuit, at, &self.limits);
        let (value, limit, reason) = match reading {
            Reading::Number { value, limit } => (value, limit, None),
            Reading::Fails(reason) => (None, None, Some(reason.to_owned())),
            Reading::Undecided(reason) => (None, None, Some(reason)),
            Reading::Absent => return None,
        };
        let witness = self.space.witness(self.specification, &place);
        let judgement = Judgement {
            check,
            verdict,
            value,
            limit,
            witness,
            against: None,
            reason,
        };
        Some((place, judgement))
    }

    /// One setting has to be at least the one limit and at most the other: where the
    /// first is above the second, also by degrees, there is none.
    fn no_setting(&mut self, found: &mut [Placed], earliest: Check, latest: Check) {
        let place = |check| found.iter().position(|(_, own)| own.check == check);
        let (Some(one), Some(other)) = (place(earliest), place(latest)) else {
            return;
        };
        let ends = [one, other].map(|k| {
            let (place, judgement) = &found[k];
            let (circuit, at) = self.space.unit(place);
            let exact = judgement.limit?;
            let (probe, limits) = (&mut self.probe, &self.limits);
            Some(probe.graded(judgement.check, &circuit, at, limits, exact))
        });
        let [Some(first), Some(last)] = ends else {
            return;
        };
        if first <= last {
            return;
        }
        for (own, against, limit) in [(one, other, first), (other, one, last)] {
            let against = found[against].1.witness.clone();
            let judgement = &mut found[own].1;
            judgement.verdict = Verdict::NoSetting;
            judgement.limit = Some(limit);
            judgement.against = Some(against);
        }
    }
}

impl Witness {
    /// What of the unit differs from the specification, in words.
    #[must_use]
    pub fn parts(&self) -> String {
        let settings = self.settings.iter();
        let mut words: Vec<String> = settings
            .map(|(key, value)| format!("{key} = {}", short(value)))
            .collect();
        if !self.hot.is_empty() {
            words.push("hot parts".to_owned());
        }
        words.join(", ")
    }

    /// Point and unit in words.
    #[must_use]
    pub fn place(&self) -> String {
        let at = &self.at;
        let point = format!(
            "{} in, {} out, {}",
            print(at.input_voltage),
            print(at.output_voltage),
            print(at.output_current)
        );
        let parts = self.parts();
        if parts.is_empty() {
            point
        } else {
            format!("{point}; {parts}")
        }
    }

    /// The command for a shell that shows the witness; SPEC stands for the specification.
    #[must_use]
    pub fn command(&self) -> String {
        let settings = self.settings.iter().chain(&self.hot);
        let mut words = vec!["slewbook cycle SPEC".to_owned()];
        words.extend(settings.map(|(key, value)| format!("--set '{key}={value}'")));
        if self.single {
            words.push("--set 'correlation=[]'".to_owned());
        }
        let at = &self.at;
        words.push(format!("--input-voltage '{}'", typed_as(at.input_voltage)));
        words.push(format!(
            "--output-voltage '{}'",
            typed_as(at.output_voltage)
        ));
        words.push(format!(
            "--output-current '{}'",
            typed_as(at.output_current)
        ));
        words.join(" ")
    }
}

/// A value as it is typed, to four digits.
fn short(typed: &str) -> String {
    let (number, unit) = typed.split_once(' ').unwrap_or((typed, ""));
    let digits = number
        .parse::<f64>()
        .map_or_else(|_| number.to_owned(), |n| number_of(n, 4));
    format!("{digits} {unit}").trim_end().to_owned()
}

/// Digits of a value that a command is given: enough for the same verdict.
const DIGITS: usize = 12;

/// A quantity as a person types it.
pub(super) fn typed_as<Q: Dimensioned>(quantity: Q) -> String {
    as_typed(quantity.coherent(), Q::EXPONENTS)
}

/// A value in the coherent unit as a person types it.
pub(crate) fn as_typed(value: f64, exponents: Exponents) -> String {
    let shown = print_value(value, exponents, DIGITS);
    shown
        .replace('µ', "u")
        .replace('Ω', "ohm")
        .replace('−', "-")
}
