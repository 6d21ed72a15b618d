//! The content of the document, as plain data for its template.

use serde::Serialize;

use super::blocks::{self, Block, percent};
use super::{RationaleError, figures, losses, operation};
use crate::caution;
use crate::design::{Design, Guarantee, Part, parts};
use crate::equation::render;
use crate::identity::Program;
use crate::quantity::{Capacitance, Dimensioned as _, print, print_value};
use crate::stage::{self, Edit};

#[derive(Debug, Serialize)]
pub(crate) struct Content {
    title: String,
    author: Option<String>,
    revision: Option<String>,
    program: String,
    /// What the program was built from.
    built_from: Vec<(&'static str, String)>,
    hash: String,
    summary: String,
    inputs: Vec<Input>,
    /// What was set on the command line.
    settings: Vec<Edit>,
    notes: Vec<String>,
    requirements: Vec<Requirement>,
    searched: String,
    proposals: Vec<Proposal>,
    symbols: Vec<Symbol>,
    curves: Vec<Curve>,
    assumptions: &'static [&'static str],
    left_out: Vec<&'static str>,
    figures: Vec<Figure>,
    /// Whether guaranteed bounds are left out, not having been asked for.
    bounds_left_out: bool,
    losses: losses::Losses,
    blocks: Vec<Block>,
    decisions: Vec<Decision>,
    cautions: Vec<Caution>,
}

/// A text as it was read.
#[derive(Debug, Serialize)]
struct Input {
    name: &'static str,
    sha256: String,
    text: String,
}

#[derive(Debug, Serialize)]
struct Requirement {
    words: String,
    value: String,
    limit: String,
    margin: String,
    place: String,
    verdict: &'static str,
    note: String,
    command: Option<String>,
    fails: bool,
}

#[derive(Debug, Serialize)]
struct Proposal {
    words: String,
    value: String,
    because: String,
}

#[derive(Debug, Serialize)]
struct Symbol {
    mathml: String,
    words: String,
    unit: String,
    value: String,
    origin: String,
}

#[derive(Debug, Serialize)]
struct Curve {
    mathml: String,
    words: String,
    formula: String,
}

#[derive(Debug, Serialize)]
struct Figure {
    number: usize,
    svg: String,
    caption: String,
    alternative: String,
}

#[derive(Debug, Serialize)]
struct Decision {
    question: String,
    chosen: String,
    rejected: Vec<(String, String)>,
}

#[derive(Debug, Serialize)]
struct Caution {
    heading: &'static str,
    text: String,
}

impl Input {
    fn of(own: stage::Input<'_>) -> Self {
        Self {
            name: own.name,
            sha256: own.sha256,
            text: own.text.to_owned(),
        }
    }
}

/// What the model assumes everywhere.
const ASSUMPTIONS: &[&str] = &[
    "Steady state at constant frequency; no skipped pulses.",
    "All pairs have the same transistors; flying capacitors are much larger than the node's \
     capacitance and hold their levels.",
    "While the clamp conducts, the node counts as held at the output voltage; the clamp's drop \
     acts on the current only.",
    "Edges are exact for the capacitance curves given, without series resistance. Ramps have no \
     resistance in the derivations; in waveforms, maps and requirements they have that of their path.",
    "Only the firing pair's low side is released at the trip; the other pairs stay as they are.",
];

/// What the model leaves out.
const LEFT_OUT: &[&str] = &[
    "In the derivations: losses, temperatures and saturation of the inductor. The comparison of \
     losses has them as far as part data are given.",
    "Ripple of the flying capacitors in the edges: it raises the upper level at firing by up to \
     half the ripple, and the floor with it.",
    "Stray inductance and ringing.",
    "Start-up, load steps and faults, except the voltages that are blocked at start-up and after \
     a step of the input.",
];

pub(crate) fn content(design: &Design, program: &Program) -> Result<Content, RationaleError> {
    let s = &design.stage.specification;
    let mut losses = losses::content(design)?;
    let proposed = design
        .proposals
        .iter()
        .find(|p| p.name == "flying_capacitance_proposed");
    let proposed = proposed.map(|p| Capacitance::from_coherent(p.value));
    let cautions = caution::all(s, proposed, losses.hottest.as_ref())
        .into_iter()
        .map(|own| Caution {
            heading: own.heading,
            text: own.text,
        })
        .collect();
    Ok(Content {
        title: s.title.clone(),
        author: s.author.clone(),
        revision: s.revision.clone(),
        program: program.to_string(),
        built_from: program
            .built_from()
            .map(|(what, own)| (what, own.to_owned()))
            .into(),
        hash: s.hash(),
        summary: summary(design),
        inputs: s.inputs().into_iter().map(Input::of).collect(),
        settings: s.edits.clone(),
        notes: s.notes.clone(),
        requirements: requirements(design),
        searched: design.search_in_words(),
        proposals: design
            .proposals
            .iter()
            .map(|p| Proposal {
                words: p.words.to_owned(),
                value: print_value(p.value, p.exponents, 3),
                because: p.because.clone(),
            })
            .collect(),
        symbols: symbols(design)?,
        curves: design
            .stage
            .curves()
            .into_iter()
            .map(|(curve, words)| Curve {
                mathml: render::mathml::symbol(curve.glyph()),
                words: words.to_owned(),
                formula: curve.describe(),
            })
            .collect(),
        assumptions: ASSUMPTIONS,
        left_out: LEFT_OUT.to_vec(),
        figures: figures(design, std::mem::take(&mut losses.figures))?,
        losses,
        bounds_left_out: design
            .findings
            .iter()
            .any(|f| f.guarantee == Guarantee::NotAsked),
        blocks: blocks::all(design)?,
        decisions: decisions(design),
        cautions,
    })
}

/// The verdicts in a sentence.
fn summary(design: &Design) -> String {
    use crate::design::Verdict;
    let count = |verdict| design.count(verdict);
    let all = design.requirements.len();
    let met = count(Verdict::Met);
    let mut text = format!(
        "{met} of {all} {} met",
        if all == 1 {
            "requirement is"
        } else {
            "requirements are"
        }
    );
    for (verdict, one, many) in [
        (Verdict::NotMet, "is not met", "are not met"),
        (
            Verdict::NoSetting,
            "has no setting that meets it over the whole range",
            "have no setting that meets them over the whole range",
        ),
        (Verdict::NotDecided, "is not decided", "are not decided"),
        (Verdict::NotStated, "is not stated", "are not stated"),
    ] {
        match count(verdict) {
            0 => {}
            1 => text.push_str(&format!("; 1 {one}")),
            some => text.push_str(&format!("; {some} {many}")),
        }
    }
    text.push('.');
    let first = design
        .requirements
        .iter()
        .find(|r| r.verdict == Verdict::NotMet);
    if let Some(first) = first {
        let (value, limit) = first.comparison();
        text.push_str(&format!(
            " First unmet requirement: {}: {value}; it must be {limit}, at {}.",
            lowered(first.words),
            first.place()
        ));
    }
    text
}

fn lowered(text: &str) -> String {
    let mut letters = text.chars();
    letters.next().map_or_else(String::new, |first| {
        first.to_lowercase().chain(letters).collect()
    })
}

fn requirements(design: &Design) -> Vec<Requirement> {
    design
        .requirements
        .iter()
        .map(|r| {
            let (value, limit) = r.comparison();
            Requirement {
                words: r.words.to_owned(),
                value,
                limit,
                margin: r.margin().map_or_else(|| "–".to_owned(), spare),
                place: r.place(),
                verdict: r.verdict.words(),
                note: r.note.clone(),
                command: r.command.clone(),
                fails: r.verdict.fails(),
            }
        })
        .collect()
}

/// The margin as a part of the limit, with its sign.
fn spare(margin: f64) -> String {
    if margin < 0.0 {
        format!("−{}", percent(-margin))
    } else {
        percent(margin)
    }
}

/// Every input of every derivation, in order of first appearance.
fn symbols(design: &Design) -> Result<Vec<Symbol>, RationaleError> {
    let mut list: Vec<Symbol> = Vec::new();
    let mut seen: Vec<String> = Vec::new();
    for finding in &design.findings {
        for symbol in finding.record.inputs()? {
            let name = symbol.glyph().name();
            if seen.contains(&name) {
                continue;
            }
            seen.push(name);
            let unit = crate::quantity::symbol::name_of(symbol.exponents()).plain;
            list.push(Symbol {
                mathml: render::mathml::symbol(symbol.glyph()),
                words: symbol.words().to_owned(),
                unit: if unit.is_empty() {
                    "1".to_owned()
                } else {
                    unit
                },
                value: value_or_range(design, symbol),
                origin: symbol.origin().to_owned(),
            });
        }
    }
    Ok(list)
}

/// The value of a symbol; of line and load the range.
fn value_or_range(design: &Design, symbol: &crate::equation::Symbol) -> String {
    let s = &design.stage.specification;
    let axes = design.stage.axes;
    let volts = |range: crate::stage::Range<crate::quantity::Voltage>| {
        format!(
            "{} to {}, nominal {}",
            print(range.min),
            print(range.max),
            print(range.nominal)
        )
    };
    if std::ptr::eq(symbol, axes.input_voltage) {
        volts(s.input_voltage)
    } else if std::ptr::eq(symbol, axes.output_voltage) {
        volts(s.output_voltage)
    } else if std::ptr::eq(symbol, axes.output_current) {
        format!(
            "{} to {}",
            print(s.output_current.min),
            print(s.output_current.max)
        )
    } else {
        print_value(symbol.value(), symbol.exponents(), 5)
    }
}

/// The figures of the derivations, of the cell in operation, and of the losses.
fn figures(
    design: &Design,
    losses: Vec<crate::compare::Drawing>,
) -> Result<Vec<Figure>, RationaleError> {
    let lines = figures::all(design)?
        .into_iter()
        .map(|figure| Ok((figure.svg()?, figure.title, figure.alternative)));
    let lines: Vec<_> = lines.collect::<Result<_, RationaleError>>()?;
    let drawn = operation::all(design)?;
    let drawn = drawn
        .into_iter()
        .map(|figure| (figure.svg, figure.title, figure.alternative));
    Ok(lines
        .into_iter()
        .chain(drawn)
        .chain(losses.into_iter().map(|d| (d.svg, d.title, d.alternative)))
        .enumerate()
        .map(|(index, (svg, caption, alternative))| Figure {
            number: index + 1,
            svg,
            caption,
            alternative,
        })
        .collect())
}

fn decisions(design: &Design) -> Vec<Decision> {
    let filled = |text: &str| -> String {
        parts(text)
            .into_iter()
            .map(|part| match part {
                Part::Text(text) => text,
                Part::Result(name) => design
                    .finding(&name)
                    .map_or_else(|| "no value".to_owned(), crate::design::Finding::shown),
            })
            .collect()
    };
    design
        .stage
        .specification
        .decisions
        .iter()
        .map(|decision| Decision {
            question: filled(&decision.question.text),
            chosen: filled(&decision.chosen.text),
            rejected: decision
                .rejected
                .iter()
                .map(|r| (filled(&r.option.text), filled(&r.because.text)))
                .collect(),
        })
        .collect()
}
