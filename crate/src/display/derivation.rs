//! A derivation: question, formulas with their numbers, conditions, sources.

use std::fmt::Write as _;

use serde_json::json;

use super::{Bundle, Show};
use crate::equation::{Numbers, Outcome, Point, Record};
use crate::quantity::print_value;

impl Show for Record {
    /// The derivation at its inputs' own values: question, each formula with its
    /// numbers, conditions, result, assumptions and sources.
    fn bundle(&self) -> Bundle {
        let point = Point::own();
        match self.lines().and_then(|_| self.evaluate(&point)) {
            Ok(outcome) => derivation(self, &point, &outcome),
            Err(error) => {
                let plain = format!("{} cannot be derived: {error}", self.name());
                Bundle {
                    thing: "derivation",
                    data: json!({"name": self.name(), "reasons": [error.to_string()]}),
                    markdown: plain.clone(),
                    special: None,
                    plain,
                }
            }
        }
    }
}

fn derivation(record: &Record, point: &Point, outcome: &Outcome) -> Bundle {
    let mut plain = format!("{}\n", record.question());
    let mut markdown = format!("**{}**\n\n", record.question());
    let mut lines = Vec::new();
    for (line, value) in record
        .lines()
        .unwrap_or_default()
        .iter()
        .zip(&outcome.lines)
    {
        let exponents = line.expression().exponents();
        let result = value.map(|value| print_value(value, exponents, 4));
        // A line without a value has no numbers to show.
        let numbers = value.and(record.numbers(line, point, outcome).ok());
        let text = numbers.as_ref().map(Numbers::text);
        let latex = numbers.as_ref().map(Numbers::latex);
        let mathml = numbers.as_ref().map(Numbers::mathml);
        let _ = write!(plain, "  {}: {}", line.words(), line.text());
        if let Some(text) = &text {
            let _ = write!(plain, "\n    = {text}");
        }
        if let Some(result) = &result {
            let _ = write!(plain, " = {result}");
        }
        plain.push('\n');
        let _ = writeln!(
            markdown,
            "{}\n\n$${}$$\n",
            capitalised(line.words()),
            line.latex()
        );
        if let (Some(latex), Some(result)) = (&latex, &result) {
            let _ = writeln!(markdown, "$$\\qquad = {latex} = \\text{{{result}}}$$\n");
        }
        lines.push(json!({
            "name": line.symbol(),
            "words": line.words(),
            "text": line.text(),
            "latex": line.latex(),
            "mathml": line.mathml(),
            "numbers_text": text,
            "numbers_mathml": mathml,
            "value": value,
            "unit": exponents.to_string(),
            "result_text": result,
        }));
    }
    let mut conditions = Vec::new();
    for (condition, state) in record.conditions().iter().zip(&outcome.conditions) {
        let verdict = if state.holds { "holds" } else { "VIOLATED" };
        let _ = writeln!(plain, "  Condition {verdict}: {}", condition.words);
        let _ = writeln!(markdown, "Condition **{verdict}**: {}\n", condition.words);
        conditions.push(json!({"words": condition.words, "holds": state.holds}));
    }
    for reason in &outcome.reasons {
        let _ = writeln!(plain, "  No result: {reason}");
        let _ = writeln!(markdown, "**No result:** {reason}\n");
    }
    for assumption in record.assumptions() {
        let _ = writeln!(plain, "  Assumed: {assumption}");
        let _ = writeln!(markdown, "*Assumed:* {assumption}\n");
    }
    for source in record.sources() {
        let words = crate::source::cite(source).unwrap_or_else(|| (*source).to_owned());
        let _ = writeln!(plain, "  Source: {words}");
        let _ = writeln!(markdown, "*Source:* {words}\n");
    }
    let exponents = record.result().exponents();
    Bundle {
        thing: "derivation",
        data: json!({
            "name": record.name(),
            "question": record.question(),
            "lines": lines,
            "conditions": conditions,
            "reasons": outcome.reasons,
            "assumptions": record.assumptions(),
            "sources": record.sources(),
            "value": outcome.value,
            "unit": exponents.to_string(),
            "symbol": record.symbol(),
            "result_text": outcome.value.map(|value| print_value(value, exponents, 4)),
        }),
        plain: plain.trim_end().to_owned(),
        markdown,
        special: None,
    }
}

fn capitalised(words: &str) -> String {
    let mut letters = words.chars();
    letters
        .next()
        .map(|first| first.to_uppercase().chain(letters).collect())
        .unwrap_or_default()
}
