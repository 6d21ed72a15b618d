//! Correlations between uncertain values of the specification.

use std::ops::Range;

use toml::Spanned;
use toml::de::DeValue;

use super::reader::{Bounds, Read, Reader, Section};
use super::spread::Spreads;
use crate::nearest::nearest;
use crate::quantity::{Dimensioned as _, Ratio};
use crate::uncertainty::joint::{self, Apart};

/// The correlation coefficient of two uncertain values.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Correlation {
    /// The values, by their keys.
    pub between: [&'static str; 2],
    /// The coefficient, from -1 to 1.
    pub coefficient: f64,
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
            let stated = list.iter().any(|own| same(own.between, pair));
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
            let shapes = correlation.between.map(|name| spreads.get(name));
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
    if let (Some(span), Some(name)) = (last, impossible(&list, spreads)) {
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
fn names(section: &Section) -> Option<Read<[&'static str; 2]>> {
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

/// The name as one of those that can be uncertain.
fn known(section: &Section, text: &str, span: &Range<usize>) -> Option<&'static str> {
    let names = Spreads::default().named().map(|(name, _)| name);
    let found = names.into_iter().find(|name| *name == text.trim());
    if found.is_none() {
        let nearest = nearest(text, names).unwrap_or_default();
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

fn same(one: [&str; 2], other: [&str; 2]) -> bool {
    one == other || one == [other[1], other[0]]
}

/// What is wrong with a pair by itself.
fn own_problem(pair: [&str; 2], reader: &Reader, spreads: &Spreads) -> Option<String> {
    if pair[0] == pair[1] {
        return Some(format!(
            "names {} twice; name two different values",
            pair[0]
        ));
    }
    let shape = |name| spreads.get(name).map(|d| d.shape());
    let without = pair
        .into_iter()
        // A value that could not be read has its own problem.
        .find(|name| shape(name).is_none() && !reader.has_problem_with(name));
    without.map(|name| {
        format!(
            "{name} has no uncertainty here; state its tolerance, standard_uncertainty or \
             observations first, or leave the correlation out"
        )
    })
}

/// The value at which the coefficients prove not to hold together.
fn impossible(list: &[Correlation], spreads: &Spreads) -> Option<&'static str> {
    let named = spreads.named();
    let stated = |i: usize, j: usize| {
        let pair = [named[i].0, named[j].0];
        let own = list.iter().find(|own| same(own.between, pair));
        own.map_or(0.0, |own| own.coefficient)
    };
    let drawn = |i: usize, j: usize| match (named[i].1, named[j].1) {
        (Some(one), Some(other)) => {
            joint::deviates(one.shape(), other.shape(), stated(i, j)).unwrap_or(0.0)
        }
        _ => 0.0,
    };
    let row = joint::factor(named.len(), stated)
        .err()
        .or_else(|| joint::factor(named.len(), drawn).err())?;
    Some(named[row].0)
}
