//! Results for machines and for papers.

use super::Design;
use super::finding::{At, Finding};
use super::requirement::Requirement;
use crate::caution;
use crate::equation::EquationError;
use crate::identity::Program;
use crate::quantity::symbol::name_of;
use crate::stage::{Edit, Input};
use crate::uncertainty::Budget;
use crate::verdict::Witness;
use crate::visible::{json_document, visible};

/// The version of the machine-readable form.
const FORMAT: u32 = 1;

#[derive(serde::Serialize)]
struct Document<'d> {
    format: u32,
    program: &'d Program,
    title: &'d str,
    input_hash: String,
    /// What the reader should know about the specification itself.
    notes: Vec<String>,
    /// What was set on the command line.
    settings: &'d [Edit],
    /// The texts as they were read.
    inputs: Vec<Input<'d>>,
    /// Units of the points of operation, here and in the witnesses.
    units: PointUnits,
    results: Vec<Entry<'d>>,
    requirements: Vec<Judged<'d>>,
}

#[derive(serde::Serialize)]
struct PointUnits {
    input_voltage: &'static str,
    output_voltage: &'static str,
    output_current: &'static str,
}

/// A requirement with its verdict, where it is worst.
#[derive(serde::Serialize)]
struct Judged<'d> {
    name: &'d str,
    words: &'d str,
    verdict: &'d str,
    value: Option<f64>,
    /// How the value has to lie to the limit: `at most` or `at least`.
    relation: &'d str,
    limit: Option<f64>,
    unit: String,
    /// How far the value is on the good side, as a part of the limit.
    margin: Option<f64>,
    reason: Option<&'d str>,
    /// The result that explains it.
    explained_by: &'d str,
    witness: Seen,
    /// The place that it is in conflict with, where no setting serves both.
    against: Option<Seen>,
}

/// A place of the box.
#[derive(serde::Serialize)]
struct Seen {
    at: At,
    /// What differs from the specification there, with units.
    settings: Vec<Edit>,
    hot: bool,
    /// The command that shows it; SPEC stands for the specification.
    command: String,
}

#[derive(serde::Serialize)]
struct Entry<'d> {
    name: &'d str,
    symbol: String,
    value: Option<f64>,
    standard_uncertainty: Option<f64>,
    unit: String,
    at: At,
    /// How that point was chosen, in words.
    chosen: &'d str,
    uncertainty: Option<&'d Budget>,
    /// Between which values it lies for every combination inside the ranges and
    /// tolerances.
    guaranteed: Option<Guaranteed<'d>>,
    /// Why no bound is guaranteed.
    not_guaranteed: Option<String>,
    valid: bool,
    notes: &'d [String],
}

#[derive(serde::Serialize)]
struct Guaranteed<'d> {
    low: f64,
    high: f64,
    /// What has a range or a tolerance and yet stays where it is.
    held: &'d [String],
}

/// The results as one JSON object, in coherent units.
#[must_use]
pub fn json(design: &Design) -> String {
    json_by(design, &Program::own())
}

/// The same as another program would say it, which computed the same.
pub(crate) fn json_by(design: &Design, program: &Program) -> String {
    let mut results: Vec<Entry> = design.findings.iter().map(entry).collect();
    let notes: Vec<_> = design
        .proposals
        .iter()
        .map(|p| [format!("Preferred value: {}.", p.because)])
        .collect();
    results.extend(
        design
            .proposals
            .iter()
            .zip(&notes)
            .map(|(proposal, notes)| Entry {
                name: proposal.name,
                symbol: String::new(),
                value: Some(proposal.value),
                standard_uncertainty: None,
                unit: name_of(proposal.exponents).plain,
                at: At::default(),
                chosen: "a preferred value",
                uncertainty: None,
                guaranteed: None,
                not_guaranteed: Some("a preferred value, chosen from a series".to_owned()),
                valid: true,
                notes,
            }),
    );
    let document = Document {
        format: FORMAT,
        program,
        title: &design.stage.specification.title,
        input_hash: design.stage.specification.hash(),
        notes: caution::notes(&design.stage.specification),
        settings: &design.stage.specification.edits,
        inputs: design.stage.specification.inputs(),
        units: PointUnits {
            input_voltage: "V",
            output_voltage: "V",
            output_current: "A",
        },
        results,
        requirements: design.requirements.iter().map(judged).collect(),
    };
    json_document(&document)
}

fn judged(own: &Requirement) -> Judged<'_> {
    Judged {
        name: own.name,
        words: own.words,
        verdict: own.verdict.words(),
        value: own.value,
        relation: own.direction.words(),
        limit: own.limit,
        unit: name_of(own.exponents).plain,
        margin: own.margin(),
        reason: own.reason.as_deref(),
        explained_by: own.decides,
        witness: seen(&own.witness),
        against: own.against.as_ref().map(seen),
    }
}

fn seen(witness: &Witness) -> Seen {
    let settings = witness.settings.iter().chain(&witness.hot);
    Seen {
        at: At::of(&witness.at),
        settings: settings
            .map(|(key, value)| Edit {
                key: (*key).to_owned(),
                value: value.clone(),
            })
            .collect(),
        hot: !witness.hot.is_empty(),
        command: witness.command(),
    }
}

fn entry(finding: &Finding) -> Entry<'_> {
    Entry {
        name: finding.name(),
        symbol: finding.record.symbol(),
        value: finding.value(),
        standard_uncertainty: finding.standard_uncertainty(),
        unit: finding.unit(),
        at: finding.at,
        chosen: &finding.chosen,
        uncertainty: finding.uncertainty.as_ref(),
        guaranteed: finding.guarantee.bounds().map(|bounds| Guaranteed {
            low: bounds.low,
            high: bounds.high,
            held: finding.guarantee.held(),
        }),
        not_guaranteed: finding.guarantee.reason(),
        valid: finding.value().is_some(),
        notes: &finding.notes,
    }
}

/// The derivations as LaTeX for a paper: numbered equations, and one macro per
/// result with value and unit.
///
/// # Errors
/// A derivation that cannot be compiled.
pub fn latex(design: &Design) -> Result<String, EquationError> {
    let hash = design.stage.specification.hash();
    let edits: String = (design.stage.specification.edits.iter())
        .map(|edit| format!("% set on the command line: {edit}").replace(['\r', '\n'], " ") + "\n")
        .collect();
    let mut text = format!(
        "% {}\n% {}, specification SHA-256 {hash}\n{edits}% needs \\usepackage{{amsmath}}\n\n\
         % One macro per result: value and unit, for use in text or mathematics.\n",
        design.stage.specification.title,
        Program::own()
    );
    for (finding, suffix) in suffixed(design) {
        let value = finding.value().map_or_else(
            || r"\text{no value}".to_owned(),
            |value| crate::equation::render::latex::quantity(value, finding.exponents(), 4),
        );
        text.push_str(&format!(
            "\\newcommand{{\\slew{}{suffix}}}{{\\ensuremath{{{value}}}}} % {}\n",
            camel(finding.name()),
            finding.place()
        ));
    }
    let mut seen = Vec::new();
    for finding in &design.findings {
        if seen.contains(&finding.name()) {
            continue;
        }
        seen.push(finding.name());
        text.push_str(&format!(
            "\n% {}: {}\n",
            finding.name(),
            finding.record.question()
        ));
        for (number, line) in finding.record.lines()?.iter().enumerate() {
            let label = format!("eq:{}:{}", finding.name().replace('_', "-"), number + 1);
            text.push_str(&format!(
                "\\begin{{equation}}\\label{{{label}}}\n  {}\n\\end{{equation}}\n",
                line.latex()
            ));
        }
    }
    Ok(visible(&text).into_owned())
}

/// Findings with a suffix where several share a name.
fn suffixed(design: &Design) -> Vec<(&Finding, &'static str)> {
    let mut list = Vec::new();
    for (index, finding) in design.findings.iter().enumerate() {
        let same: Vec<usize> = (0..design.findings.len())
            .filter(|k| design.findings[*k].name() == finding.name())
            .collect();
        let place = same.iter().position(|k| *k == index).unwrap_or(0);
        let suffix = match (same.len(), place) {
            (1, _) => "",
            (_, 0) => "Least",
            (_, 1) => "Nominal",
            _ => "Greatest",
        };
        list.push((finding, suffix));
    }
    list
}

fn camel(name: &str) -> String {
    name.split('_')
        .map(|word| {
            let mut letters = word.chars();
            letters.next().map_or_else(String::new, |first| {
                first.to_uppercase().chain(letters).collect()
            })
        })
        .collect()
}

/// The derivations as plain text: each question, its formulas, its result.
///
/// # Errors
/// A derivation that cannot be compiled.
pub fn text(design: &Design) -> Result<String, EquationError> {
    use std::fmt::Write as _;
    let specification = &design.stage.specification;
    let mut text = format!("{}\n", specification.title);
    for note in &specification.notes {
        let _ = writeln!(text, "  {note}");
    }
    let mut previous = "";
    for finding in &design.findings {
        if finding.name() != previous {
            let _ = writeln!(text, "\n{}\n{}", finding.name(), finding.record.question());
            for line in finding.record.lines()? {
                let _ = writeln!(text, "    {}", line.text());
            }
            previous = finding.name();
        }
        let _ = writeln!(
            text,
            "  {} = {} ({}; {})",
            finding.record.symbol(),
            finding.shown(),
            finding.chosen,
            finding.place()
        );
        let uncertainty = finding.uncertainty_sentence();
        let budget = finding.uncertainty.iter().flat_map(|budget| &budget.notes);
        let bounds = finding
            .guarantee
            .bounds()
            .map(|_| finding.guarantee.sentence());
        let lines = uncertainty.iter().chain(&bounds).chain(&finding.notes);
        for line in lines.chain(budget) {
            let _ = writeln!(text, "    {line}");
        }
    }
    let _ = writeln!(text, "\nRequirements\n  {}", design.search_in_words());
    for requirement in &design.requirements {
        let (value, limit) = requirement.comparison();
        let _ = writeln!(
            text,
            "  {}: {}: {value}, {limit} ({})",
            requirement.verdict.words(),
            requirement.words,
            requirement.place()
        );
        if !requirement.note.is_empty() {
            let _ = writeln!(text, "    {}", requirement.note);
        }
        if let Some(command) = &requirement.command {
            let _ = writeln!(text, "    To see it: {command}");
        }
    }
    Ok(visible(&text).into_owned())
}
