//! Correlations between uncertain values of the specification.

use std::ops::Range;

use toml::Spanned;
use toml::de::DeValue;

use super::reader::{Bounds, Read, Reader, Section};
use super::spread::Spreads;
use super::uncertain::UncertainInput;
use crate::nearest::nearest;
use crate::quantity::{Dimensioned as _, Ratio};
use crate::uncertainty::joint::{self, Apart};

/// The correlation coefficient of two uncertain values.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Correlation {
    /// The values.
    pub between: [UncertainInput; 2],
    /// The coefficient, from -1 to 1.
    pub coefficient: f64,
}

impl Correlation {
    /// Whether it is that of two values, in either order.
    #[must_use]
    pub fn is_between(&self, one: UncertainInput, other: UncertainInput) -> bool {
        self.between == [one, other] || self.between == [other, one]
    }
}

/// Reads the `[[correlation]]` tables.
pub(crate) fn read(root: &Section, reader: &Reader, spreads: &Spreads) -> Vec<Correlation> {
    let mut list: Vec<Correlation> = Vec::new();
    // The place of the last coefficient, while every one is good.
    let mut last = Some(0..0);
    for section in root.sections("correlation") {
        let between = names(&section);
        let coefficient = section.required::<Ratio>(
            "coefficient",
            &Bounds {
                range: -1.0..=1.0,
                above: false,
            },
            "0.5",
        );
        section.close();
        let correlation = between.and_then(|between| {
            let pair = between.value;
            let stated = list.iter().any(|own| own.is_between(pair[0], pair[1]));
            let refused = own_problem(pair, reader, spreads).or_else(|| {
                stated.then(|| "is stated above already; state each pair once".to_owned())
            });
            if let Some(message) = refused {
                section.problem(&between.span, "between", message);
                return None;
            }
            let correlation = Correlation {
                between: pair,
                coefficient: coefficient.value.coherent(),
            };
            let shapes = correlation.between.map(|input| spreads.get(input));
            let apart = match shapes {
                [Some(one), Some(other)] if coefficient.good => {
                    joint::deviates(one.shape(), other.shape(), correlation.coefficient).err()
                }
                _ => return None,
            };
            let Some(apart) = apart else {
                return Some(correlation);
            };
            section.problem(&coefficient.span, "coefficient", no_joint_form(apart));
            None
        });
        match correlation {
            Some(correlation) => {
                list.push(correlation);
                last = last.map(|_| coefficient.span);
            }
            None => last = None,
        }
    }
    if let (Some(span), Some(input)) = (last, impossible(&list, spreads)) {
        let name = input.key();
        let message = format!(
            "the coefficients up to that of {name} cannot hold together: their matrix is not \
             positive semi-definite (pairs that are not stated count as uncorrelated); check \
             signs and magnitudes, and state the pairs that are missing"
        );
        reader.problem(&span, "correlation", message);
    }
    list
}

fn no_joint_form(apart: Apart) -> String {
    match apart {
        Apart::Triangular => "is between values of which one is triangular; only normal and \
                              rectangular values are drawn jointly: state one of these, or leave \
                              the correlation out"
            .to_owned(),
        Apart::Beyond(most) => format!(
            "is beyond what a normal and a rectangular value can have; expected from -{most:.3} \
             to {most:.3}, or one form for both"
        ),
    }
}

/// The two names of a table.
fn names(section: &Section) -> Option<Read<[UncertainInput; 2]>> {
    const EXAMPLE: &str = "[\"stage.inductance\", \"trip.delay\"]";
    let Some(value) = section.get("between") else {
        section.missing("between", EXAMPLE);
        return None;
    };
    let items: Option<Vec<&Spanned<DeValue>>> =
        value.get_ref().as_array().map(|list| list.iter().collect());
    let texts = items.and_then(|items| {
        let text =
            |item: &Spanned<DeValue>| Some((item.get_ref().as_str()?.to_owned(), item.span()));
        items.into_iter().map(text).collect::<Option<Vec<_>>>()
    });
    let Some([one, other]) = texts.as_deref() else {
        section.problem(
            &value.span(),
            "between",
            format!("expected two names of uncertain values in a list, such as {EXAMPLE}"),
        );
        return None;
    };
    let [one, other] = [one, other].map(|(text, span)| known(section, text, span));
    Some(Read {
        value: [one?, other?],
        span: value.span(),
        good: true,
    })
}

/// The value of a name.
fn known(section: &Section, text: &str, span: &Range<usize>) -> Option<UncertainInput> {
    let found = UncertainInput::of(text.trim());
    if found.is_none() {
        let names: Vec<&str> = UncertainInput::ALL.iter().map(|own| own.key()).collect();
        let nearest = nearest(text, names.iter().copied()).unwrap_or_default();
        section.problem(
            span,
            "between",
            format!(
                "\"{text}\" is not the name of a value that can be uncertain; did you mean \
                 \"{nearest}\"? (known here: {})",
                names.join(", ")
            ),
        );
    }
    found
}

/// What is wrong with a pair by itself.
fn own_problem(pair: [UncertainInput; 2], reader: &Reader, spreads: &Spreads) -> Option<String> {
    if pair[0] == pair[1] {
        return Some(format!(
            "names {} twice; name two different values",
            pair[0].key()
        ));
    }
    let without = pair
        .into_iter()
        // A value that could not be read has its own problem.
        .find(|own| spreads.get(*own).is_none() && !reader.has_problem_with(own.key()));
    without.map(|own| {
        format!(
            "{} has no uncertainty here; state its tolerance, standard_uncertainty or \
             observations first, or leave the correlation out",
            own.key()
        )
    })
}

/// The value at which the coefficients prove not to hold together.
fn impossible(list: &[Correlation], spreads: &Spreads) -> Option<UncertainInput> {
    let stated: Vec<_> = spreads.iter().collect();
    let coefficient = |i: usize, j: usize| {
        let own = list
            .iter()
            .find(|own| own.is_between(stated[i].0, stated[j].0));
        own.map_or(0.0, |own| own.coefficient)
    };
    let drawn = |i: usize, j: usize| {
        let shapes = [i, j].map(|k| stated[k].1.shape());
        joint::deviates(shapes[0], shapes[1], coefficient(i, j)).unwrap_or(0.0)
    };
    let row = joint::factor(stated.len(), coefficient)
        .err()
        .or_else(|| joint::factor(stated.len(), drawn).err())?;
    Some(stated[row].0)
}
