//! The map as a figure: shades of what is left across the high side at turn-on,
//! with the boundary of zero voltage drawn and named.

use plotters::prelude::*;

use super::panels::Width;
use super::{FINE, FigureError, INKS, STEPS, framed};
use crate::map::{Field, Span};
use crate::quantity::{Dimensioned as _, Voltage, engineering, number, print_value};
use crate::scheme::Scheme;

/// A map to be drawn.
#[derive(Clone, Debug)]
pub struct MapFigure<'f> {
    id: String,
    scheme: Scheme,
    field: &'f Field,
    width: Width,
}

/// The figure of a map.
#[must_use]
pub fn map<'f>(id: &str, scheme: Scheme, field: &'f Field, width: Width) -> MapFigure<'f> {
    MapFigure {
        id: id.to_owned(),
        scheme,
        field,
        width,
    }
}

/// Shades, from nothing left to the whole step: they darken evenly, and stay apart
/// in grey and for colour-blind readers.
const SHADES: [RGBColor; 6] = [
    RGBColor(255, 255, 255),
    RGBColor(253, 231, 208),
    RGBColor(249, 205, 162),
    RGBColor(240, 173, 115),
    RGBColor(224, 138, 72),
    RGBColor(196, 103, 38),
];
/// Where there is no cell.
const NONE: RGBColor = RGBColor(205, 205, 205);
/// Cells across the figure at most: finer ones would not be seen.
const FINEST: usize = 160;
const LEFT: i32 = 66;
const RIGHT: i32 = 130;
const TOP: i32 = 12;
const BOTTOM: i32 = 52;
const TEXT: i32 = 14 * FINE;
const FRAME: RGBColor = RGBColor(90, 90, 90);

type Fault = Box<dyn std::error::Error>;

impl MapFigure<'_> {
    /// The figure as SVG.
    ///
    /// # Errors
    /// A field whose size is not that of its spans; a fault of the drawing library.
    pub fn svg(&self) -> Result<String, FigureError> {
        let error = |message: String| FigureError {
            id: self.id.clone(),
            message,
        };
        let (x, y) = (&self.field.x, &self.field.y);
        if x.points < 2 || y.points < 2 || self.field.slack.len() != x.points * y.points {
            return Err(error(
                "a map of two points each way at least is needed".to_owned(),
            ));
        }
        let width = self.width.pixels();
        let size = (width, 40 + width * 11 / 20);
        let mut svg = String::new();
        self.draw(&mut svg, size)
            .map_err(|fault| error(fault.to_string()))?;
        Ok(framed(
            &svg,
            size,
            (&self.id, &self.title(), &self.alternative()),
        ))
    }

    /// The title.
    #[must_use]
    pub fn title(&self) -> String {
        format!("Where zero-voltage switching holds ({})", self.scheme)
    }

    /// The text alternative.
    #[must_use]
    pub fn alternative(&self) -> String {
        let field = self.field;
        let boundary = match field.held() {
            held if held <= 0.0 => "Zero voltage holds nowhere".to_owned(),
            held if held >= 1.0 => "Zero voltage holds everywhere".to_owned(),
            held => format!(
                "Zero voltage holds at {} % of the points; the line is its boundary",
                number(100.0 * held, 3)
            ),
        };
        format!(
            "Voltage left across the high side at turn-on over {} and {}. {boundary}. The greatest \
             voltage left is {}.",
            field.x.axis.words(),
            field.y.axis.words(),
            print_value(self.greatest(), Voltage::EXPONENTS, 3),
        )
    }

    fn greatest(&self) -> f64 {
        self.field.voltage.iter().copied().fold(0.0, f64::max)
    }

    fn draw(&self, svg: &mut String, size: (i32, i32)) -> Result<(), Fault> {
        let steps = (u32::try_from(size.0 * FINE)?, u32::try_from(size.1 * FINE)?);
        let root = SVGBackend::with_string(svg, steps).into_drawing_area();
        let plot = Plot {
            left: LEFT,
            top: TOP,
            width: size.0 - LEFT - RIGHT,
            height: size.1 - TOP - BOTTOM,
            across: self.field.x.points,
            down: self.field.y.points,
        };
        let greatest = self.greatest();
        for row in plot.rows() {
            let shades = row
                .iter()
                .map(|(k, place)| (shade(self.field.voltage[*k], greatest), *place));
            for (ink, corner, opposite) in runs(shades) {
                if ink != SHADES[0] {
                    root.draw(&Rectangle::new([corner, opposite], ink.filled()))?;
                }
            }
        }
        for (from, to) in plot.boundary(&self.field.slack) {
            root.draw(&PathElement::new(
                vec![from, to],
                INKS[0].stroke_width(5 * STEPS / 2),
            ))?;
        }
        if let Some(place) = plot.label(&self.field.slack) {
            let style = TextStyle::from(("sans-serif", TEXT)).color(&INKS[0]);
            root.draw(&Text::new("zero voltage holds", place, style))?;
        }
        self.frame(&root, &plot)?;
        let boundary = !plot.boundary(&self.field.slack).is_empty();
        self.legend(&root, &plot, greatest, boundary)?;
        root.present()?;
        drop(root);
        Ok(())
    }

    fn frame(
        &self,
        root: &DrawingArea<SVGBackend, plotters::coord::Shift>,
        plot: &Plot,
    ) -> Result<(), Fault> {
        use plotters::style::text_anchor::{HPos, Pos, VPos};
        let (left, right) = (plot.left * FINE, (plot.left + plot.width) * FINE);
        let (top, bottom) = (plot.top * FINE, (plot.top + plot.height) * FINE);
        root.draw(&Rectangle::new(
            [(left, top), (right, bottom)],
            FRAME.stroke_width(STEPS),
        ))?;
        let text = || TextStyle::from(("sans-serif", TEXT));
        let ticks = if self.width == Width::Column { 4 } else { 7 };
        let (scaled, label) = axis(&self.field.x);
        for (part, value) in scaled.ticks(ticks) {
            let x = plot.x(part);
            root.draw(&PathElement::new(
                vec![(x, bottom), (x, bottom + 5 * FINE)],
                FRAME.stroke_width(STEPS),
            ))?;
            let style = text().pos(Pos::new(HPos::Center, VPos::Top));
            root.draw(&Text::new(value, (x, bottom + 8 * FINE), style))?;
        }
        let style = text().pos(Pos::new(HPos::Center, VPos::Top));
        root.draw(&Text::new(
            label,
            (i32::midpoint(left, right), bottom + 29 * FINE),
            style,
        ))?;
        let (scaled, label) = axis(&self.field.y);
        for (part, value) in scaled.ticks(6) {
            let y = plot.y(part);
            root.draw(&PathElement::new(
                vec![(left - 5 * FINE, y), (left, y)],
                FRAME.stroke_width(STEPS),
            ))?;
            let style = text().pos(Pos::new(HPos::Right, VPos::Center));
            root.draw(&Text::new(value, (left - 8 * FINE, y), style))?;
        }
        let style = text()
            .transform(FontTransform::Rotate270)
            .pos(Pos::new(HPos::Center, VPos::Center));
        root.draw(&Text::new(
            label,
            (10 * FINE, i32::midpoint(top, bottom)),
            style,
        ))?;
        Ok(())
    }

    /// What the shades mean, to the right.
    fn legend(
        &self,
        root: &DrawingArea<SVGBackend, plotters::coord::Shift>,
        plot: &Plot,
        greatest: f64,
        boundary: bool,
    ) -> Result<(), Fault> {
        let left = (plot.left + plot.width + 14) * FINE;
        let text = || TextStyle::from(("sans-serif", 13 * FINE)).color(&BLACK);
        let mut top = (plot.top + 2) * FINE;
        for line in ["left across the", "high side / V"] {
            root.draw(&Text::new(line, (left, top), text()))?;
            top += 17 * FINE;
        }
        let mut entries: Vec<(RGBColor, String)> = vec![(SHADES[0], "0".to_owned())];
        if greatest > 0.0 {
            let count = f64::from(u8::try_from(SHADES.len() - 1).unwrap_or(1));
            for (k, ink) in (1_u8..).zip(&SHADES[1..]) {
                let end = greatest * f64::from(k) / count;
                entries.push((*ink, format!("to {}", number(end, 3))));
            }
        }
        if self.field.voltage.iter().any(|v| !v.is_finite()) {
            entries.push((NONE, "no cell".to_owned()));
        }
        for (ink, words) in entries.into_iter().rev() {
            let opposite = (left + 20 * FINE, top + 15 * FINE);
            root.draw(&Rectangle::new([(left, top), opposite], ink.filled()))?;
            root.draw(&Rectangle::new(
                [(left, top), opposite],
                FRAME.stroke_width(STEPS),
            ))?;
            root.draw(&Text::new(words, (left + 26 * FINE, top + FINE), text()))?;
            top += 21 * FINE;
        }
        if boundary {
            let middle = top + 8 * FINE;
            root.draw(&PathElement::new(
                vec![(left, middle), (left + 20 * FINE, middle)],
                INKS[0].stroke_width(5 * STEPS / 2),
            ))?;
            let place = (left + 26 * FINE, top + FINE);
            root.draw(&Text::new("edge of zero", place, text()))?;
        }
        Ok(())
    }
}

fn shade(voltage: f64, greatest: f64) -> RGBColor {
    if !voltage.is_finite() {
        return NONE;
    }
    if voltage <= 0.0 || greatest <= 0.0 {
        return SHADES[0];
    }
    let count = SHADES.len() - 1;
    #[expect(
        clippy::cast_possible_truncation,
        clippy::cast_sign_loss,
        clippy::cast_precision_loss,
        reason = "a handful of shades"
    )]
    let step = (voltage / greatest * count as f64).ceil() as usize;
    SHADES[step.clamp(1, count)]
}

/// Neighbours of one shade as one rectangle, a little higher than its row so that
/// no seam shows.
fn runs(cells: impl Iterator<Item = (RGBColor, (Point, Point))>) -> Vec<(RGBColor, Point, Point)> {
    let mut runs: Vec<(RGBColor, Point, Point)> = Vec::new();
    for (ink, (corner, (x, y))) in cells {
        let end = (x, y + FINE);
        match runs.last_mut() {
            Some(run) if run.0 == ink => run.2 = end,
            _ => runs.push((ink, corner, end)),
        }
    }
    runs
}

/// An axis in the prefix of its end, and its label.
fn axis(span: &Span) -> (Scaled, String) {
    let exponents = span.axis.exponents();
    let (scaled, prefix) = engineering(span.high, exponents, 4);
    let factor = if span.high == 0.0 {
        1.0
    } else {
        scaled / span.high
    };
    let unit = crate::quantity::symbol::name_of(exponents).plain;
    (
        Scaled {
            low: span.low * factor,
            high: span.high * factor,
        },
        format!("{} / {}{unit}", span.axis.words(), prefix.plain),
    )
}

struct Scaled {
    low: f64,
    high: f64,
}

impl Scaled {
    /// Places along the axis, as a part of it, with their numbers.
    fn ticks(&self, wanted: usize) -> Vec<(f64, String)> {
        use plotters::coord::ranged1d::{BoldPoints, Ranged as _};
        super::Axis(self.low, self.high)
            .key_points(BoldPoints(wanted))
            .into_iter()
            .map(|value| {
                (
                    (value - self.low) / (self.high - self.low),
                    number(value, 4),
                )
            })
            .collect()
    }
}

/// Where the points of the map lie in the figure.
struct Plot {
    left: i32,
    top: i32,
    width: i32,
    height: i32,
    across: usize,
    down: usize,
}

type Point = (i32, i32);

impl Plot {
    #[expect(clippy::cast_possible_truncation, reason = "steps of a small figure")]
    fn x(&self, part: f64) -> i32 {
        ((f64::from(self.left) + part * f64::from(self.width)) * f64::from(FINE)).round() as i32
    }

    #[expect(clippy::cast_possible_truncation, reason = "steps of a small figure")]
    fn y(&self, part: f64) -> i32 {
        let from_top = (1.0 - part) * f64::from(self.height);
        ((f64::from(self.top) + from_top) * f64::from(FINE)).round() as i32
    }

    #[expect(clippy::cast_precision_loss, reason = "points of a figure")]
    fn part(place: f64, points: usize) -> f64 {
        (place / (points - 1) as f64).clamp(0.0, 1.0)
    }

    /// The points that are drawn along an axis: all, or evenly chosen ones.
    fn chosen(points: usize) -> Vec<usize> {
        let count = points.min(FINEST);
        (0..count).map(|k| k * (points - 1) / (count - 1)).collect()
    }

    /// A rectangle about each drawn point, row by row.
    #[expect(clippy::cast_precision_loss, reason = "points of a figure")]
    fn rows(&self) -> Vec<Vec<(usize, (Point, Point))>> {
        let edges = |chosen: &[usize], points: usize| -> Vec<(f64, f64)> {
            let at = |k: usize| chosen[k] as f64;
            (0..chosen.len())
                .map(|k| {
                    let low = f64::midpoint(at(k.saturating_sub(1)), at(k));
                    let high = f64::midpoint(at(k), at((k + 1).min(chosen.len() - 1)));
                    (Self::part(low, points), Self::part(high, points))
                })
                .collect()
        };
        let (xs, ys) = (Self::chosen(self.across), Self::chosen(self.down));
        let (x_edges, y_edges) = (edges(&xs, self.across), edges(&ys, self.down));
        ys.iter()
            .zip(&y_edges)
            .map(|(row, (y0, y1))| {
                xs.iter()
                    .zip(&x_edges)
                    .map(|(column, (x0, x1))| {
                        let place = ((self.x(*x0), self.y(*y1)), (self.x(*x1), self.y(*y0)));
                        (row * self.across + column, place)
                    })
                    .collect()
            })
            .collect()
    }

    /// The line on which the field is zero, in straight pieces (marching squares:
    /// Lorensen and Cline's method in the plane, common practice).
    fn boundary(&self, field: &[f64]) -> Vec<(Point, Point)> {
        let (xs, ys) = (Self::chosen(self.across), Self::chosen(self.down));
        let mut pieces = Vec::new();
        for rows in ys.windows(2) {
            for columns in xs.windows(2) {
                let corners = [
                    (columns[0], rows[0]),
                    (columns[1], rows[0]),
                    (columns[1], rows[1]),
                    (columns[0], rows[1]),
                ];
                let values = corners.map(|(c, r)| field[r * self.across + c]);
                let mut crossings = Vec::new();
                for k in 0..4 {
                    let (from, to) = (values[k], values[(k + 1) % 4]);
                    if (from >= 0.0) != (to >= 0.0) {
                        let part = from / (from - to);
                        crossings.push(self.between(corners[k], corners[(k + 1) % 4], part));
                    }
                }
                pieces.extend(crossings.chunks_exact(2).map(|pair| (pair[0], pair[1])));
            }
        }
        pieces
    }

    #[expect(clippy::cast_precision_loss, reason = "points of a figure")]
    fn between(&self, from: (usize, usize), to: (usize, usize), part: f64) -> Point {
        let along = |a: usize, b: usize| a as f64 + (b as f64 - a as f64) * part;
        (
            self.x(Self::part(along(from.0, to.0), self.across)),
            self.y(Self::part(along(from.1, to.1), self.down)),
        )
    }

    /// A place for the name of the region: the middle of its longest run along a
    /// row, where that is long enough.
    #[expect(clippy::cast_precision_loss, reason = "points of a figure")]
    fn label(&self, field: &[f64]) -> Option<Point> {
        let mut best = (0, 0, 0);
        for row in Self::chosen(self.down) {
            let mut run = 0;
            for column in 0..self.across {
                let held = field[row * self.across + column] >= 0.0;
                run = if held { run + 1 } else { 0 };
                let inside = row > self.down / 8 && row < self.down - self.down / 8;
                if run > best.0 && inside {
                    best = (run, column, row);
                }
            }
        }
        let (run, column, row) = best;
        if run * 4 < self.across {
            return None;
        }
        let middle = column as f64 - run as f64 / 2.0;
        let place = self.x(Self::part(middle, self.across));
        Some((place - 60 * FINE, self.y(Self::part(row as f64, self.down))))
    }
}
