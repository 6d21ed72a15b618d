//! The losses of the schemes, side by side, as the document shows them.

use serde::Serialize;

use super::RationaleError;
use crate::caution::Hottest;
use crate::compare::{self, Comparison};
use crate::design::Design;
use crate::loss::{Mechanism, Outcome, Place};
use crate::quantity::{Dimensioned as _, Power, ThermodynamicTemperature, print, print_value};

#[derive(Debug, Serialize)]
pub(super) struct Losses {
    place: String,
    schemes: Vec<&'static str>,
    groups: Vec<Group>,
    conclusion: Vec<String>,
    left_out: Vec<&'static str>,
    absent: Vec<String>,
    influences: Vec<Influences>,
    pub(super) figures: Vec<compare::Drawing>,
    #[serde(skip)]
    pub(super) hottest: Option<Hottest>,
}

/// Rows under a heading.
#[derive(Debug, Serialize)]
struct Group {
    heading: &'static str,
    rows: Vec<Row>,
}

#[derive(Debug, Serialize)]
struct Row {
    words: String,
    values: Vec<String>,
}

/// What decides the difference to a scheme.
#[derive(Debug, Serialize)]
struct Influences {
    words: &'static str,
    rows: Vec<(&'static str, String)>,
}

/// Inputs shown of those that decide a difference.
const SHOWN: usize = 5;

pub(super) fn content(design: &Design) -> Result<Losses, RationaleError> {
    let specification = &design.stage.specification;
    let c = Comparison::new(specification, &design.in_force).map_err(RationaleError::Compare)?;
    let at = c.nominal.first().map(|outcome| outcome.at);
    Ok(Losses {
        place: at.map_or_else(String::new, |at| {
            format!(
                "{} in, {} out, {}",
                print(at.input_voltage),
                print(at.output_voltage),
                print(at.output_current)
            )
        }),
        schemes: c.schemes.iter().map(|s| s.words()).collect(),
        groups: groups(&c.nominal),
        left_out: c.left_out.clone(),
        absent: c.absent.iter().map(|a| a.because.clone()).collect(),
        influences: influences(&c),
        figures: compare::drawings(&c)?,
        hottest: hottest(&c),
        conclusion: c.conclusion,
    })
}

/// The hottest part of the soft scheme over the load, at every line that is compared.
fn hottest(c: &Comparison) -> Option<Hottest> {
    let soft = c.over_load.iter().filter_map(|schemes| schemes.first());
    let outcomes: Vec<&Outcome> = soft.flatten().chain(c.nominal.first()).collect();
    let parts = outcomes.iter().filter_map(|own| own.temperatures);
    let parts = parts.flat_map(|t| {
        [
            ("a junction of the high side", t.high),
            ("a junction of the low side", t.low),
            ("a junction of the clamp", t.clamp),
            ("the inductor's winding", t.inductor),
        ]
    });
    let parts = parts.filter_map(|(part, found)| Some((part, found?)));
    let (part, temperature) =
        parts.max_by(|(_, one), (_, other)| one.celsius().total_cmp(&other.celsius()))?;
    let beyond = outcomes
        .iter()
        .any(|own| own.temperatures.is_none() && !own.findings.is_empty());
    Some(Hottest {
        part,
        temperature,
        beyond,
    })
}

fn watts(power: Power) -> String {
    print_value(power.coherent(), Power::EXPONENTS, 3)
}

/// A row of one value for each scheme; nothing where no scheme has one.
fn row(
    outcomes: &[Outcome],
    words: &str,
    value: impl Fn(&Outcome) -> Option<String>,
) -> Option<Row> {
    let values: Vec<Option<String>> = outcomes.iter().map(value).collect();
    values.iter().any(Option::is_some).then(|| Row {
        words: words.to_owned(),
        values: values
            .into_iter()
            .map(|v| v.unwrap_or_else(|| "–".to_owned()))
            .collect(),
    })
}

fn groups(outcomes: &[Outcome]) -> Vec<Group> {
    let power = |words: &str, of: &dyn Fn(&crate::loss::Losses) -> Power| {
        row(outcomes, words, |o| {
            let found = of(o.losses.as_ref()?);
            (found.coherent() > 0.0).then(|| watts(found))
        })
    };
    let share = |words: &str, total: bool| {
        row(outcomes, words, |o| {
            let losses = o.losses?;
            let found = if total {
                losses.efficiency_total()
            } else {
                losses.efficiency_stage()
            };
            Some(format!("{:.2} %", 100.0 * found.coherent()))
        })
    };
    let celsius = |words: &str, of: &dyn Fn(&Outcome) -> Option<ThermodynamicTemperature>| {
        row(outcomes, words, |o| {
            Some(format!("{:.0} °C", of(o)?.celsius()))
        })
    };
    let group = |heading, rows: Vec<Option<Row>>| Group {
        heading,
        rows: rows.into_iter().flatten().collect(),
    };
    vec![
        group(
            "State",
            vec![
                row(outcomes, "cell", |o| Some(o.state.name().replace('_', " "))),
                row(outcomes, "peak current", |o| {
                    Some(print(crate::quantity::Current::from_coherent(
                        crate::quantity::significant(o.peak_current?.coherent(), 3),
                    )))
                }),
                row(outcomes, "findings", |o| {
                    let all: Vec<_> = o.findings.iter().map(ToString::to_string).collect();
                    (!all.is_empty()).then(|| all.join("; "))
                }),
            ],
        ),
        group(
            "Loss by mechanism",
            Mechanism::ALL
                .into_iter()
                .map(|m| power(m.words(), &|l| l.of(m)))
                .chain([row(outcomes, "accuracy of the core loss", |o| {
                    Some(o.losses?.flux()?.words())
                })])
                .collect(),
        ),
        group(
            "Loss by part",
            Place::ALL
                .into_iter()
                .map(|p| power(p.words(), &|l| l.in_place(p)))
                .collect(),
        ),
        group(
            "Sums",
            vec![
                power("power stage", &crate::loss::Losses::stage),
                power("with gate drive and control", &crate::loss::Losses::total),
                power(
                    "total with capacitance-limited turn-off (lower bound)",
                    &|l| l.total_least(),
                ),
                share("efficiency of the power stage", false),
                share("efficiency in total", true),
            ],
        ),
        group(
            "Temperatures",
            vec![
                celsius("junction, high side", &|o| o.temperatures?.high),
                celsius("junction, low side", &|o| o.temperatures?.low),
                celsius("junction, clamp", &|o| o.temperatures?.clamp),
                celsius("winding", &|o| o.temperatures?.inductor),
            ],
        ),
    ]
}

fn influences(c: &Comparison) -> Vec<Influences> {
    let others = c.schemes.iter().skip(1);
    others
        .zip(&c.influences)
        .filter(|(_, list)| !list.is_empty())
        .map(|(scheme, list)| Influences {
            words: scheme.words(),
            rows: list
                .iter()
                .take(SHOWN)
                .map(|i| {
                    let sign = if i.change.coherent() > 0.0 { "+" } else { "" };
                    (i.words, format!("{sign}{}", watts(i.change)))
                })
                .collect(),
        })
        .collect()
}
