//! The map of the loss difference over line and load.

use std::fmt::Write as _;

use super::{Drawing, Map, WIDTH, step};
use crate::figure::svg_frame;
use crate::quantity::{Dimensioned as _, Power, number};
use crate::visible::escaped;

/// Blue where soft switching loses less, orange where it loses more.
fn shade(value: f64, most: f64) -> String {
    let depth = (value.abs() / most).sqrt().min(1.0);
    let (r, g, b) = if value < 0.0 {
        (0.0, 90.0, 160.0)
    } else {
        (213.0, 94.0, 0.0)
    };
    let mix = |c: f64| 255.0 - (255.0 - c) * (0.08 + 0.82 * depth);
    format!("rgb({:.0},{:.0},{:.0})", mix(r), mix(g), mix(b))
}

/// Round values of an axis, about five of them.
fn marks_between(first: f64, last: f64) -> Vec<f64> {
    let step = step(last - first, 6.0);
    let mut k = (first / step - 1e-9).ceil();
    let mut marks = Vec::new();
    while k * step <= last + 1e-9 * step {
        marks.push(k * step);
        k += 1.0;
    }
    marks
}

/// A power with its sign.
fn signed(watts: f64, digits: usize) -> String {
    let sign = if watts > 0.0 {
        "+"
    } else if watts < 0.0 {
        "−"
    } else {
        ""
    };
    let size = crate::quantity::print_value(watts.abs(), Power::EXPONENTS, digits);
    format!("{sign}{size}")
}

/// Whether a cell and those about it, as wide as a value written there, have one sign:
/// a value beside the zero line would cover it.
fn firm(watts: &[Vec<Option<f64>>], [column, row]: [usize; 2]) -> bool {
    let mut about = (column.saturating_sub(2)..=column + 2)
        .flat_map(|c| (row.saturating_sub(1)..=row + 1).map(move |r| (c, r)))
        .filter_map(|(c, r)| *watts.get(c)?.get(r)?)
        .map(f64::is_sign_negative);
    let first = about.next();
    about.all(|sign| Some(sign) == first)
}

/// The difference of losses over line and load as coloured cells, with its zero line.
pub(super) fn map(m: &Map) -> Option<Drawing> {
    let id = format!("loss-map-{}", m.scheme.name());
    let known: Vec<f64> = m.watts.iter().flatten().filter_map(|w| *w).collect();
    let most = known.iter().map(|w| w.abs()).reduce(f64::max)?;
    let (low, high) = known
        .iter()
        .fold((f64::INFINITY, f64::NEG_INFINITY), |(l, h), w| {
            (l.min(*w), h.max(*w))
        });
    let (columns, rows) = (m.inputs.len(), m.loads.len());
    if columns < 2 || rows < 2 || most <= 0.0 {
        return None;
    }
    let (left, top, width, height) = (70.0, 34.0, 540.0, 300.0);
    #[expect(clippy::cast_precision_loss, reason = "a few dozen cells")]
    let (cell, tall) = (width / columns as f64, height / rows as f64);
    let mut svg = format!(
        "<defs><pattern id=\"{id}-none\" width=\"6\" height=\"6\" patternUnits=\"userSpaceOnUse\" \
         patternTransform=\"rotate(45)\"><rect width=\"6\" height=\"6\" fill=\"#eee\"/><rect width=\"1\" \
         height=\"6\" fill=\"#888\"/></pattern></defs>"
    );
    let mut labels = String::new();
    #[expect(clippy::cast_precision_loss, reason = "a few dozen cells")]
    for (column, row_values) in m.watts.iter().enumerate() {
        for (row, value) in row_values.iter().enumerate() {
            let (x, y) = (
                left + column as f64 * cell,
                top + height - (row + 1) as f64 * tall,
            );
            let colour = value.map_or_else(|| format!("url(#{id}-none)"), |v| shade(v, most));
            let _ = write!(
                svg,
                "<rect x=\"{x:.2}\" y=\"{y:.2}\" width=\"{:.2}\" height=\"{:.2}\" fill=\"{colour}\"/>",
                cell + 0.3,
                tall + 0.3
            );
            let written = column % 4 == 2 && row % 6 == 3 && firm(&m.watts, [column, row]);
            if let Some(value) = value.filter(|_| written) {
                let ink = if (value.abs() / most).sqrt() > 0.6 {
                    "#fff"
                } else {
                    "#111"
                };
                let _ = write!(
                    labels,
                    "<text x=\"{:.1}\" y=\"{:.1}\" text-anchor=\"middle\" \
                     fill=\"{ink}\">{}</text>",
                    x + cell / 2.0,
                    y + tall / 2.0 + 5.0,
                    signed(value, 2)
                );
            }
        }
    }
    let middle = |column: f64, row: f64| {
        (
            left + (column + 0.5) * cell,
            top + height - (row + 0.5) * tall,
        )
    };
    let lines = zero_lines(&m.watts);
    // The light border of every piece first: it would cut the line where pieces meet.
    for (colour, width) in [("#fff", 5.0), ("#000", 2.4)] {
        for ends in &lines {
            let [one, two] = ends.map(|(column, row)| middle(column, row));
            let _ = write!(
                svg,
                "<line x1=\"{:.1}\" y1=\"{:.1}\" x2=\"{:.1}\" y2=\"{:.1}\" stroke=\"{colour}\" \
                 stroke-width=\"{width}\" stroke-linecap=\"round\"/>",
                one.0, one.1, two.0, two.1
            );
        }
    }
    svg += &labels;
    axes(&mut svg, m, [left, top, width, height]);
    let _ = write!(
        svg,
        "<text x=\"{:.1}\" y=\"20\" text-anchor=\"middle\">loss with the clamp of two transistors \
         minus that of {}</text>",
        WIDTH / 2.0,
        escaped(m.scheme.words())
    );
    let entries = [
        (low < 0.0).then(|| (shade(-1.0, 1.0), "clamp loses less")),
        (high > 0.0).then(|| (shade(1.0, 1.0), "clamp loses more")),
        m.watts
            .iter()
            .flatten()
            .any(Option::is_none)
            .then(|| (format!("url(#{id}-none)"), "no value")),
    ];
    let place = (left + width + 10.0, top);
    legend(
        &mut svg,
        entries.into_iter().flatten(),
        place,
        !lines.is_empty(),
    );
    let title = format!(
        "Loss with the clamp of two transistors minus that of {}",
        m.scheme.words()
    );
    let line = told(m, !lines.is_empty());
    let alternative = format!(
        "Map of the difference over input voltage and output current, from {} to {}; negative \
         (blue) where the clamp loses less. {line}.",
        signed(low, 3),
        signed(high, 3)
    );
    Some(Drawing {
        svg: svg_frame(
            &id,
            &title,
            &alternative,
            (WIDTH, top + height + 56.0),
            &svg,
        ),
        id,
        title,
        alternative,
    })
}

/// The marks of both axes and what they are.
fn axes(svg: &mut String, m: &Map, [left, top, width, height]: [f64; 4]) {
    // Cell centres are the points: an axis runs half a cell beyond them.
    let place = |values: &[f64], at: f64, from: f64, size: f64| {
        let (first, last) = (values[0], values[values.len() - 1]);
        #[expect(clippy::cast_precision_loss, reason = "a few dozen cells")]
        let cells = values.len() as f64;
        from + size * (0.5 + (at - first) / (last - first) * (cells - 1.0)) / cells
    };
    let marks = [(&m.inputs, true), (&m.loads, false)];
    for (values, across) in marks {
        for at in marks_between(values[0], values[values.len() - 1]) {
            let shown = number(at, 3);
            let _ = if across {
                let x = place(values, at, left, width);
                write!(
                    svg,
                    "<text x=\"{x:.1}\" y=\"{:.1}\" text-anchor=\"middle\">{shown}</text>",
                    top + height + 20.0
                )
            } else {
                let y = top + height - place(values, at, 0.0, height) + 5.0;
                write!(
                    svg,
                    "<text x=\"{:.1}\" y=\"{y:.1}\" text-anchor=\"end\">{shown}</text>",
                    left - 8.0
                )
            };
        }
    }
    let _ = write!(
        svg,
        "<text x=\"{:.1}\" y=\"{:.1}\" text-anchor=\"middle\">input voltage / V</text><text \
         transform=\"translate(18 {:.1}) rotate(-90)\" text-anchor=\"middle\">output current / A</text>",
        left + width / 2.0,
        top + height + 42.0,
        top + height / 2.0
    );
}

/// Where the zero line runs, in words.
fn told(m: &Map, any: bool) -> String {
    if !any {
        return "There is no zero line in the range".to_owned();
    }
    match (m.break_even.first(), m.break_even.last()) {
        (Some(first), Some(last)) => {
            let place = |b: &crate::compare::BreakEven| {
                format!(
                    "{} A at {} V",
                    number(b.output_current.coherent(), 3),
                    number(b.input_voltage.coherent(), 3)
                )
            };
            format!(
                "The zero line lies between {} and {}",
                place(first),
                place(last)
            )
        }
        _ => "The zero line runs across the loads, at one input voltage".to_owned(),
    }
}

/// A point of the zero line, in columns and rows.
type Crossing = (f64, f64);

/// The zero line as pieces within the squares of neighbouring points.
#[expect(clippy::cast_precision_loss, reason = "a few dozen points")]
fn zero_lines(watts: &[Vec<Option<f64>>]) -> Vec<[Crossing; 2]> {
    let mut pieces = Vec::new();
    for (column, pair) in watts.windows(2).enumerate() {
        for row in 1..pair[0].len().min(pair[1].len()) {
            let corners = [(0, row - 1), (1, row - 1), (1, row), (0, row)];
            let known: Option<Vec<f64>> = corners.iter().map(|(c, r)| pair[*c][*r]).collect();
            let Some(known) = known else {
                continue;
            };
            let mut found = Vec::new();
            for k in 0..4 {
                let (one, two) = (known[k], known[(k + 1) % 4]);
                if (one < 0.0) == (two < 0.0) {
                    continue;
                }
                let part = one / (one - two);
                let place = |(c, r): (usize, usize)| ((column + c) as f64, r as f64);
                let (from, to) = (place(corners[k]), place(corners[(k + 1) % 4]));
                found.push((
                    from.0 + part * (to.0 - from.0),
                    from.1 + part * (to.1 - from.1),
                ));
            }
            pieces.extend(found.chunks_exact(2).map(|ends| [ends[0], ends[1]]));
        }
    }
    pieces
}

/// What the colours mean, and the line where there is one.
fn legend(
    svg: &mut String,
    entries: impl Iterator<Item = (String, &'static str)>,
    (x, top): (f64, f64),
    line: bool,
) {
    let mut y = top + 6.0;
    for (colour, words) in entries {
        let _ = write!(
            svg,
            "<rect x=\"{x:.1}\" y=\"{y:.1}\" width=\"18\" height=\"14\" fill=\"{colour}\"/><text \
             x=\"{:.1}\" y=\"{:.1}\">{words}</text>",
            x + 23.0,
            y + 12.0
        );
        y += 26.0;
    }
    if line {
        let _ = write!(
            svg,
            "<line x1=\"{x:.1}\" x2=\"{:.1}\" y1=\"{:.1}\" y2=\"{:.1}\" stroke=\"#000\" \
             stroke-width=\"2.4\"/><text x=\"{:.1}\" y=\"{:.1}\">zero line</text>",
            x + 18.0,
            y + 7.0,
            y + 7.0,
            x + 23.0,
            y + 12.0
        );
    }
}
