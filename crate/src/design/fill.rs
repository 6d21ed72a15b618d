//! Numbers in the specification's own texts: `{name}` becomes the result.

use crate::nearest::nearest;
use crate::stage::{Placed, Problem, Problems, Specification};

/// A text in parts: as written, or a result by its name.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Part {
    /// Text.
    Text(String),
    /// The name of a result.
    Result(String),
}

/// Splits a text at its `{name}` places; a brace that is not closed stays text.
#[must_use]
pub fn parts(text: &str) -> Vec<Part> {
    let mut parts = Vec::new();
    let mut rest = text;
    while let Some((before, after)) = rest.split_once('{') {
        let Some((name, after)) = after.split_once('}') else {
            break;
        };
        if !before.is_empty() {
            parts.push(Part::Text(before.to_owned()));
        }
        parts.push(Part::Result(name.trim().to_owned()));
        rest = after;
    }
    if !rest.is_empty() {
        parts.push(Part::Text(rest.to_owned()));
    }
    parts
}

/// Checks that every name in the decisions is that of a result.
///
/// # Errors
/// Each unknown name, with its place and the nearest known one.
pub fn check(specification: &Specification, names: &[&str]) -> Result<(), Problems> {
    let mut problems = Vec::new();
    for (number, decision) in specification.decisions.iter().enumerate() {
        let rejected = decision
            .rejected
            .iter()
            .flat_map(|r| [&r.option, &r.because]);
        for placed in [&decision.question, &decision.chosen]
            .into_iter()
            .chain(rejected)
        {
            problems.extend(unknown(specification, placed, names, number + 1));
        }
    }
    if problems.is_empty() {
        Ok(())
    } else {
        Err(Problems(problems))
    }
}

fn unknown(
    specification: &Specification,
    placed: &Placed,
    names: &[&str],
    number: usize,
) -> Vec<Problem> {
    let mut problems = Vec::new();
    for part in parts(&placed.text) {
        let name = match part {
            Part::Result(name) => name,
            Part::Text(text) if text.contains('{') => {
                problems.push(specification.problem_at(
                    placed,
                    &format!("decision[{number}]"),
                    "has a { without its }; write the name of a result between the two, such as \
                     {peak_current}, or leave the brace out"
                        .to_owned(),
                ));
                continue;
            }
            Part::Text(_) => continue,
        };
        if names.contains(&name.as_str()) {
            continue;
        }
        let nearest = nearest(&name, names.iter().copied()).unwrap_or_default();
        problems.push(specification.problem_at(
            placed,
            &format!("decision[{number}]"),
            format!("{{{name}}} is not the name of a result; did you mean {{{nearest}}}?"),
        ));
    }
    problems
}
