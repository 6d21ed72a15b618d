//! The derivation blocks: question, formulas, inputs, result, sensitivities,
//! source, and the lines with numbers.

use serde::Serialize;

use crate::design::{Design, Finding, Guarantee};
use crate::equation::render;
use crate::equation::{EquationError, Record};
use crate::quantity::{Dimensioned, Ratio, number, print_value};
use crate::source;

/// One block.
#[derive(Debug, Serialize)]
pub(crate) struct Block {
    name: String,
    question: String,
    equations: Vec<Equation>,
    /// Numbers of equations shown in earlier blocks.
    earlier: Vec<usize>,
    inputs: Vec<Input>,
    results: Vec<Result_>,
    conditions: Vec<Condition>,
    sensitivities: Vec<Sensitivity>,
    sensitivity_place: String,
    budget: Vec<Share>,
    correlations: Vec<Correlation>,
    budget_notes: Vec<String>,
    assumptions: Vec<String>,
    sources: Vec<String>,
    numbers: Vec<Numbers>,
    verdicts: Vec<String>,
}

#[derive(Debug, Serialize)]
struct Equation {
    number: usize,
    mathml: String,
    words: String,
    solved: Option<String>,
}

#[derive(Debug, Serialize)]
struct Input {
    symbol: String,
    words: String,
    value: String,
    origin: String,
}

#[derive(Debug, Serialize)]
struct Result_ {
    symbol: String,
    shown: String,
    valid: bool,
    chosen: String,
    place: String,
    notes: Vec<String>,
    uncertainty: Option<String>,
    guarantee: Option<String>,
}

/// A row of the uncertainty budget.
#[derive(Debug, Serialize)]
struct Share {
    symbol: String,
    words: String,
    distribution: String,
    uncertainty: String,
    contribution: String,
    part: String,
}

/// Two inputs of a budget that are correlated.
#[derive(Debug, Serialize)]
struct Correlation {
    between: [String; 2],
    coefficient: String,
}

#[derive(Debug, Serialize)]
struct Condition {
    mathml: String,
    words: String,
    holds: bool,
}

#[derive(Debug, Serialize)]
struct Sensitivity {
    symbol: String,
    words: String,
    sentence: String,
}

#[derive(Debug, Serialize)]
struct Numbers {
    symbol: String,
    mathml: String,
    value: String,
}

/// How many sensitivities a block lists.
const LISTED: usize = 6;
/// Relative sensitivities below this are not worth a line.
const NEGLIGIBLE: f64 = 5e-4;

/// The blocks; results of one name share one.
pub(crate) fn all(design: &Design) -> Result<Vec<Block>, EquationError> {
    let mut known: Vec<String> = Vec::new();
    let mut blocks = Vec::new();
    let mut names: Vec<&str> = Vec::new();
    for finding in &design.findings {
        if !names.contains(&finding.name()) {
            names.push(finding.name());
            blocks.push(block(design, finding.name(), &mut known)?);
        }
    }
    Ok(blocks)
}

fn block(design: &Design, name: &str, known: &mut Vec<String>) -> Result<Block, EquationError> {
    let findings: Vec<&Finding> = design
        .findings
        .iter()
        .filter(|f| f.name() == name)
        .collect();
    let finding = findings[findings.len() / 2];
    let record = &finding.record;
    let (mut equations, mut earlier) = (Vec::new(), Vec::new());
    for line in record.lines()? {
        let key = line.key();
        if let Some(number) = known.iter().position(|own| *own == key) {
            earlier.push(number + 1);
            continue;
        }
        known.push(key);
        equations.push(Equation {
            number: known.len(),
            mathml: line.mathml(),
            words: line.words().to_owned(),
            solved: line.solved().map(|(symbol, [lower, upper])| {
                format!("solved for {symbol} between {lower} and {upper}")
            }),
        });
    }
    earlier.sort_unstable();
    Ok(Block {
        name: name.to_owned(),
        question: record.question().to_owned(),
        equations,
        earlier,
        inputs: inputs(finding)?,
        results: findings.iter().map(|f| result(f)).collect(),
        conditions: conditions(finding),
        sensitivities: sensitivities(finding)?,
        sensitivity_place: finding.place(),
        budget: budget(finding)?,
        correlations: correlations(finding)?,
        budget_notes: finding
            .uncertainty
            .as_ref()
            .map_or_else(Vec::new, |budget| budget.notes.clone()),
        assumptions: record.assumptions().to_vec(),
        sources: record
            .sources()
            .iter()
            .map(|key| source::cite(key).unwrap_or_else(|| format!("unknown source {key}")))
            .collect(),
        numbers: numbers(finding)?,
        verdicts: design
            .requirements
            .iter()
            .filter(|r| r.decides == name)
            .map(|r| {
                let (value, limit) = r.comparison();
                let spare = r.margin().map_or_else(String::new, |margin| {
                    if margin < 0.0 {
                        format!(", short by {}", percent(-margin))
                    } else {
                        format!(", {} to spare", percent(margin))
                    }
                });
                format!(
                    "{}: {value}, {limit}: {}{spare}.",
                    r.words,
                    r.verdict.words()
                )
            })
            .collect(),
    })
}

/// A part as a percentage.
pub(crate) fn percent(part: f64) -> String {
    format!("{} %", number(part * 100.0, 3))
}

fn inputs(finding: &Finding) -> Result<Vec<Input>, EquationError> {
    let list = finding.record.inputs()?.iter().map(|symbol| Input {
        symbol: render::mathml::symbol(symbol.glyph()),
        words: symbol.words().to_owned(),
        value: print_value(finding.point.value_of(symbol), symbol.exponents(), 5),
        origin: match finding.point.get(symbol) {
            Some(_) => format!("{}, at this point of the range", symbol.origin()),
            None => symbol.origin().to_owned(),
        },
    });
    Ok(list.collect())
}

fn result(finding: &Finding) -> Result_ {
    Result_ {
        symbol: render::mathml::inline(&render::expression(finding.record.result())),
        shown: finding.shown(),
        valid: finding.value().is_some(),
        chosen: finding.chosen.clone(),
        place: finding.place(),
        notes: finding.notes.clone(),
        uncertainty: finding.uncertainty_sentence(),
        guarantee: (finding.guarantee != Guarantee::NotAsked).then(|| finding.guarantee.sentence()),
    }
}

fn budget(finding: &Finding) -> Result<Vec<Share>, EquationError> {
    let Some(budget) = &finding.uncertainty else {
        return Ok(vec![]);
    };
    let inputs = finding.record.inputs()?;
    let rows = budget.rows.iter().filter_map(|row| {
        let symbol = inputs
            .iter()
            .find(|s| s.glyph().to_string() == row.symbol)?;
        Some(Share {
            symbol: render::mathml::symbol(symbol.glyph()),
            words: row.words.clone(),
            distribution: row.distribution.clone(),
            uncertainty: print_value(row.standard_uncertainty, symbol.exponents(), 3),
            contribution: print_value(row.contribution.abs(), finding.exponents(), 3),
            part: percent(row.variance_share),
        })
    });
    Ok(rows.collect())
}

fn correlations(finding: &Finding) -> Result<Vec<Correlation>, EquationError> {
    let inputs = finding.record.inputs()?;
    let rendered = |name: &String| {
        let symbol = inputs.iter().find(|s| s.glyph().to_string() == *name);
        symbol.map_or_else(String::new, |symbol| render::mathml::symbol(symbol.glyph()))
    };
    let list = finding.uncertainty.iter().flat_map(|b| &b.correlations);
    Ok(list
        .map(|own| Correlation {
            between: own.between.each_ref().map(rendered),
            coefficient: number(own.coefficient, 4),
        })
        .collect())
}

fn conditions(finding: &Finding) -> Vec<Condition> {
    let conditions: &[_] = Record::conditions(&finding.record);
    conditions
        .iter()
        .zip(&finding.outcome.conditions)
        .map(|(condition, state)| Condition {
            mathml: render::mathml::inline(&render::layout::comparison(&condition.comparison)),
            words: condition.words.clone(),
            holds: state.holds,
        })
        .collect()
}

fn sensitivities(finding: &Finding) -> Result<Vec<Sensitivity>, EquationError> {
    if finding.value().is_none() {
        return Ok(vec![]);
    }
    let mut list: Vec<_> = finding
        .record
        .sensitivities(&finding.point)?
        .into_iter()
        // Whole numbers (pairs, band) do not vary by a per cent.
        .filter(|s| s.symbol.exponents() != Ratio::EXPONENTS || s.symbol.value().fract() != 0.0)
        .filter_map(|s| Some((s.symbol, s.relative?)))
        .filter(|(_, relative)| relative.abs() > NEGLIGIBLE)
        .collect();
    // Equal ones stay in the order of the formula, whatever their last digits are.
    let rank = |x: f64| (x.abs() * 1e9).round();
    list.sort_by(|(_, x), (_, y)| rank(*y).total_cmp(&rank(*x)));
    list.truncate(LISTED);
    let rows = list.into_iter().map(|(symbol, relative)| Sensitivity {
        symbol: render::mathml::symbol(symbol.glyph()),
        words: symbol.words().to_owned(),
        sentence: format!(
            "{}{} %",
            if relative > 0.0 { "+" } else { "" },
            number(relative, 3)
        ),
    });
    Ok(rows.collect())
}

fn numbers(finding: &Finding) -> Result<Vec<Numbers>, EquationError> {
    let record = &finding.record;
    let mut rows = Vec::new();
    for (line, value) in record.lines()?.iter().zip(&finding.outcome.lines) {
        let Some(value) = value else { continue };
        rows.push(Numbers {
            symbol: line.symbol_mathml(),
            mathml: record
                .numbers(line, &finding.point, &finding.outcome)?
                .mathml(),
            value: print_value(*value, line.expression().exponents(), 6),
        });
    }
    Ok(rows)
}
