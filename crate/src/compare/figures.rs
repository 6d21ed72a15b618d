//! The figures of a comparison.

mod map;

use std::fmt::Write as _;

use super::{Comparison, Map};
use crate::figure::{FigureError, LineFigure, Series, svg_frame};
use crate::loss::{Losses, Mechanism, Outcome};
use crate::quantity::{Dimensioned as _, Power, number, print};
use crate::scheme::Scheme;
use crate::visible::escaped;

/// A figure as it goes into a document.
#[derive(Clone, Debug, PartialEq, serde::Serialize)]
pub struct Drawing {
    /// An identifier, unique in its document.
    pub id: String,
    /// The title.
    pub title: String,
    /// The text alternative.
    pub alternative: String,
    /// The figure as SVG.
    pub svg: String,
}

/// Fills that stay apart for colour-blind readers (after Okabe and Ito); each is
/// used plain and hatched.
const FILLS: [&str; 7] = [
    "#0072b2", "#e69f00", "#009e73", "#cc79a7", "#56b4e9", "#d55e00", "#8c8c8c",
];
const WIDTH: f64 = 760.0;
/// Room for the schemes' names, left of the bars.
const LEFT: f64 = 180.0;
const BAR: f64 = 34.0;
/// Room for the sums, right of the longest bar.
const ROOM: f64 = 84.0;

/// Every figure of a comparison.
///
/// # Errors
/// A figure that cannot be drawn.
pub fn drawings(c: &Comparison) -> Result<Vec<Drawing>, FigureError> {
    let mut list = Vec::new();
    list.extend(bars(c));
    list.extend(efficiency(c, false)?);
    list.extend(efficiency(c, true)?);
    list.extend(c.maps.iter().filter_map(map::map));
    list.extend(sweep(c)?);
    Ok(list)
}

fn short(scheme: Scheme) -> &'static str {
    match scheme {
        Scheme::FreewheelTransistors => "clamp, transistors",
        Scheme::FreewheelDiode => "clamp, diode",
        Scheme::Discontinuous => "no clamp",
        Scheme::Continuous => "continuous",
        Scheme::NegativeValley => "negative valley",
    }
}

/// A step of an axis that gives about `count` marks.
fn step(most: f64, count: f64) -> f64 {
    let raw = most / count;
    let decade = 10f64.powf(raw.log10().floor());
    [1.0, 2.0, 2.5, 5.0, 10.0]
        .into_iter()
        .map(|m| m * decade)
        .find(|s| *s >= raw)
        .unwrap_or(raw)
}

fn fill(mechanism: Mechanism) -> (String, bool) {
    let index = mechanism as usize;
    (FILLS[index % FILLS.len()].to_owned(), index >= FILLS.len())
}

fn block(svg: &mut String, id: &str, mechanism: Mechanism, [x, y, w, h]: [f64; 4]) {
    let (colour, hatched) = fill(mechanism);
    let _ = write!(
        svg,
        "<rect x=\"{x:.2}\" y=\"{y:.2}\" width=\"{w:.2}\" height=\"{h:.2}\" fill=\"{colour}\" \
         stroke=\"#fff\" stroke-width=\"0.8\"/>"
    );
    if hatched {
        let _ = write!(
            svg,
            "<rect x=\"{x:.2}\" y=\"{y:.2}\" width=\"{w:.2}\" height=\"{h:.2}\" \
             fill=\"url(#{id}-hatch)\"/>"
        );
    }
}

/// Stacked losses by mechanism, a bar for each scheme at the nominal point.
fn bars(c: &Comparison) -> Option<Drawing> {
    let id = "loss-bars";
    let with: Vec<&Outcome> = c.nominal.iter().filter(|o| o.losses.is_some()).collect();
    let total = |o: &Outcome| o.losses.map_or(0.0, |l| l.total().coherent());
    let most = with.iter().map(|o| total(o)).fold(0.0, f64::max);
    if most <= 0.0 {
        return None;
    }
    let scale = (WIDTH - LEFT - ROOM) / most;
    let used: Vec<Mechanism> = Mechanism::ALL
        .into_iter()
        .filter(|m| {
            with.iter()
                .any(|o| o.losses.is_some_and(|l| l.of(*m).coherent() > 1e-4 * most))
        })
        .collect();
    let mut svg = format!(
        "<defs><pattern id=\"{id}-hatch\" width=\"6\" height=\"6\" patternUnits=\"userSpaceOnUse\" \
         patternTransform=\"rotate(45)\"><rect width=\"2.2\" height=\"6\" fill=\"#fff\" \
         fill-opacity=\"0.75\"/></pattern></defs>"
    );
    // The axis and its marks, behind the bars.
    let mut y = 16.0;
    #[expect(clippy::cast_precision_loss, reason = "a handful of schemes")]
    let foot = y + with.len() as f64 * (BAR + 14.0);
    let marks = step(most, 6.0);
    let mut watts = 0.0;
    while watts <= most * 1.0001 {
        let x = LEFT + watts * scale;
        let _ = write!(
            svg,
            "<line x1=\"{x:.1}\" x2=\"{x:.1}\" y1=\"10\" y2=\"{foot:.1}\" stroke=\"#5a5a5a\" \
             stroke-opacity=\"0.3\"/><text x=\"{x:.1}\" y=\"{:.1}\" text-anchor=\"middle\">{}</text>",
            foot + 16.0,
            number(watts, 3)
        );
        watts += marks;
    }
    let middle = f64::midpoint(LEFT, WIDTH - ROOM);
    let _ = write!(
        svg,
        "<text x=\"{middle:.1}\" y=\"{:.1}\" text-anchor=\"middle\">loss / W</text>",
        foot + 36.0
    );
    let mut told = Vec::new();
    for outcome in &with {
        let Some(losses) = &outcome.losses else {
            continue;
        };
        let _ = write!(
            svg,
            "<text x=\"{}\" y=\"{}\" text-anchor=\"end\">{}</text>",
            LEFT - 10.0,
            y + BAR / 2.0 + 5.0,
            escaped(short(outcome.scheme))
        );
        let mut x = LEFT;
        for mechanism in &used {
            let width = losses.of(*mechanism).coherent() * scale;
            if width > 0.05 {
                block(&mut svg, id, *mechanism, [x, y, width, BAR]);
            }
            x += width;
        }
        let _ = write!(
            svg,
            "<text x=\"{:.1}\" y=\"{:.1}\">{} W</text>",
            x + 6.0,
            y + BAR / 2.0 + 5.0,
            number(total(outcome), 3)
        );
        let largest: Vec<String> = largest(outcome)
            .iter()
            .map(|(m, w)| format!("{} {} W", m.words(), number(*w, 3)))
            .collect();
        told.push(format!(
            "{}: {} W, most in {}",
            outcome.scheme.words(),
            number(total(outcome), 3),
            largest.join(", ")
        ));
        y += BAR + 14.0;
    }
    // The legend, in the order of the stack.
    y += 52.0;
    for (index, mechanism) in used.iter().enumerate() {
        #[expect(clippy::cast_precision_loss, reason = "a dozen entries")]
        let (column, row) = ((index % 4) as f64, (index / 4) as f64);
        let (x, top) = (20.0 + column * 182.0, y + row * 24.0);
        block(&mut svg, id, *mechanism, [x, top, 22.0, 15.0]);
        let _ = write!(
            svg,
            "<text x=\"{:.1}\" y=\"{:.1}\">{}</text>",
            x + 28.0,
            top + 13.0,
            mechanism.words()
        );
    }
    #[expect(clippy::cast_precision_loss, reason = "a dozen entries")]
    let height = y + used.len().div_ceil(4) as f64 * 24.0 + 8.0;
    let at = with.first()?.at;
    let title = "Losses by mechanism".to_owned();
    let alternative = format!(
        "Stacked bars of the losses at {} in and {} out. {}.",
        print(at.input_voltage),
        print(at.output_current),
        told.join("; ")
    );
    Some(Drawing {
        svg: svg_frame(id, &title, &alternative, (WIDTH, height), &svg),
        id: id.to_owned(),
        title,
        alternative,
    })
}

/// The three largest mechanisms.
fn largest(outcome: &Outcome) -> Vec<(Mechanism, f64)> {
    let mut list: Vec<(Mechanism, f64)> = outcome
        .losses
        .iter()
        .flat_map(|l| Mechanism::ALL.into_iter().map(|m| (m, l.of(m).coherent())))
        .collect();
    list.sort_by(|x, y| y.1.total_cmp(&x.1));
    list.truncate(3);
    list
}

/// Efficiency over the load at nominal voltages, of the power stage or in total.
fn efficiency(c: &Comparison, total: bool) -> Result<Option<Drawing>, FigureError> {
    let mut series = Vec::new();
    for (scheme, outcomes) in c.schemes.iter().zip(&c.over_load[1]) {
        let efficiency = |losses: Losses| {
            let of = if total {
                losses.efficiency_total()
            } else {
                losses.efficiency_stage()
            };
            100.0 * of.coherent()
        };
        let points: Vec<(f64, Option<f64>)> = outcomes
            .iter()
            .map(|o| (o.at.output_current.coherent(), o.losses.map(efficiency)))
            .collect();
        if points.iter().any(|(_, y)| y.is_some()) {
            series.push(Series {
                name: short(*scheme).to_owned(),
                points,
            });
        }
    }
    let values: Vec<f64> = series
        .iter()
        .flat_map(|s| &s.points)
        .filter_map(|(_, y)| *y)
        .collect();
    let Some(least) = values.iter().copied().reduce(f64::min) else {
        return Ok(None);
    };
    let ends: Vec<String> = series
        .iter()
        .filter_map(|s| {
            let mut found = s.points.iter().filter_map(|(x, y)| Some((*x, (*y)?)));
            let best = found.clone().max_by(|a, b| a.1.total_cmp(&b.1))?;
            let full = found.next_back()?;
            Some(format!(
                "{}: best {} % at {} A, {} % at {} A",
                s.name,
                number(best.1, 4),
                number(best.0, 3),
                number(full.1, 4),
                number(full.0, 3)
            ))
        })
        .collect();
    let (id, of, counted) = if total {
        (
            "loss-efficiency-total",
            "in total",
            "gate drive and control counted",
        )
    } else {
        (
            "loss-efficiency-stage",
            "of the power stage",
            "gate drive and control left out",
        )
    };
    let figure = LineFigure {
        id: id.to_owned(),
        title: format!("Efficiency {of} over the load at nominal voltages"),
        x_label: "output current / A".to_owned(),
        y_label: format!("efficiency {of} / %"),
        series,
        alternative: format!(
            "Efficiency {of}, {counted}, over the output current. {}.",
            ends.join("; ")
        ),
    };
    // Not from zero: the differences of interest are a few per cent.
    let svg = figure.svg_from((least / 5.0).floor() * 5.0)?;
    Ok(Some(drawing(figure, svg)))
}

fn drawing(figure: LineFigure, svg: String) -> Drawing {
    Drawing {
        id: figure.id,
        title: figure.title,
        alternative: figure.alternative,
        svg,
    }
}

/// Losses against the inductance.
fn sweep(c: &Comparison) -> Result<Option<Drawing>, FigureError> {
    let of = |name: &str, value: fn(&super::SweepPoint) -> Option<f64>| Series {
        name: name.to_owned(),
        points: c
            .inductance_sweep
            .iter()
            .map(|p| (p.value * 1e6, value(p)))
            .collect(),
    };
    let series: Vec<Series> = [
        of(short(super::SOFT), |p| p.total.map(Power::coherent)),
        of(short(Scheme::Discontinuous), |p| {
            p.hard.map(Power::coherent)
        }),
    ]
    .into_iter()
    .filter(|s| s.points.iter().any(|(_, y)| y.is_some()))
    .collect();
    if series.is_empty() {
        return Ok(None);
    }
    let told: Vec<String> = series
        .iter()
        .filter_map(|s| {
            let found = s.points.iter().filter_map(|(x, y)| Some((*x, (*y)?)));
            let best = found.min_by(|a, b| a.1.total_cmp(&b.1))?;
            Some(format!(
                "{}: minimum {} W at {} µH",
                s.name,
                number(best.1, 3),
                number(best.0, 3)
            ))
        })
        .collect();
    let figure = LineFigure {
        id: "loss-inductance".to_owned(),
        title: "Losses against the inductance, the trip set for each value".to_owned(),
        x_label: "inductance / µH".to_owned(),
        y_label: "loss / W".to_owned(),
        series,
        alternative: format!(
            "Total loss at nominal voltages and the largest load over the inductance; a curve ends \
             where no hold time remains or a rating is exceeded. {}.",
            told.join("; ")
        ),
    };
    let svg = figure.svg()?;
    Ok(Some(drawing(figure, svg)))
}
