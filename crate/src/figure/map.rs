//! The map as a figure: shades of what is left across the high side at turn-on, or of
//! the share of units that hold zero voltage, with the edge of zero voltage drawn and
//! named.

use plotters::coord::Shift;
use plotters::prelude::*;
use plotters::style::text_anchor::{HPos, Pos, VPos};

use super::contour::{Grid, Plot, Point, beside};
use super::panels::Width;
use super::{FINE, FigureError, INKS, STEPS, TEXT, framed, width_of};
use crate::cycle::State;
use crate::map::{Axis, Field, Span};
use crate::quantity::{
    Dimensioned as _, Voltage, engineering, number, print, print_value, symbol::name_of,
};

/// A map to be drawn.
#[derive(Clone, Debug)]
pub struct MapFigure<'f> {
    id: String,
    field: &'f Field,
    width: Width,
    subject: Option<String>,
}

/// The figure of a map: of the circuit alone, or of the units where the map has some.
#[must_use]
pub fn map<'f>(id: &str, field: &'f Field, width: Width) -> MapFigure<'f> {
    MapFigure {
        id: id.to_owned(),
        field,
        width,
        subject: None,
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
/// States without a voltage to shade, each with its grey; the last is outside what
/// the model describes.
const STATES: [(Option<State>, RGBColor, &str); 6] = [
    (
        Some(State::NoHoldTime),
        RGBColor(222, 222, 226),
        "no hold time",
    ),
    (
        Some(State::BeyondDiscontinuous),
        RGBColor(200, 200, 206),
        "beyond discontinuous",
    ),
    (
        Some(State::ClampDemagnetised),
        RGBColor(180, 180, 188),
        "clamp demagnetised",
    ),
    (
        Some(State::IncompleteFall),
        RGBColor(158, 158, 168),
        "incomplete fall",
    ),
    (
        Some(State::BelowLeastOnTime),
        RGBColor(136, 136, 148),
        "below minimum on-time",
    ),
    (None, RGBColor(112, 112, 124), "outside the model"),
];
/// Least shares of units of the shades in turn, and what the legend calls them.
const SHARES: [(f64, &str); 6] = [
    (1.0, "all"),
    (0.95, "95 to 100 %"),
    (0.8, "80 to 95 %"),
    (0.5, "50 to 80 %"),
    (0.2, "20 to 50 %"),
    (0.0, "below 20 %"),
];
/// The share of units at which the line of the units runs.
const SURE: f64 = 0.95;
/// Pixels of a shaded cell, about.
const CELL: i32 = 4;
const LEFT: i32 = 60;
const BOTTOM: i32 = 46;
/// Height of a line of text and of an entry of the legend, in pixels.
const LINE: i32 = 15;
const FRAME: RGBColor = RGBColor(90, 90, 90);

/// Inks of the edge for the values as stated, and of that of the units.
const ALONE: RGBColor = INKS[0];
const UNITS: RGBColor = INKS[2];

type Fault = Box<dyn std::error::Error>;
type Area<'s> = DrawingArea<SVGBackend<'s>, Shift>;

/// A line of the figure: pieces, ink, and its name in the legend.
struct Drawn {
    pieces: Vec<(Point, Point)>,
    ink: RGBColor,
    name: &'static str,
}

impl MapFigure<'_> {
    /// The figure with what it is about, which the text alternative begins with.
    #[must_use]
    pub fn about(mut self, subject: &str) -> Self {
        self.subject = Some(subject.to_owned());
        self
    }

    /// The figure as SVG.
    ///
    /// # Errors
    /// A map with units of fewer than two points each way; a fault of the drawing
    /// library.
    pub fn svg(&self) -> Result<String, FigureError> {
        let error = |message: String| FigureError {
            id: self.id.clone(),
            message,
        };
        let (x, y) = (&self.field.x, &self.field.y);
        let share = self.field.share.len();
        let fits = x.points > 1 && y.points > 1 && share == x.points * y.points;
        if self.field.units > 0 && !fits {
            return Err(error(
                "a map of two points each way at least is needed to draw its units".to_owned(),
            ));
        }
        let width = self.width.pixels();
        let right = if self.width == Width::Page { 158 } else { 128 };
        let caption = wrapped(&self.caption(), (width - 8) / 7);
        let top = 8 + LINE * i32::try_from(caption.len()).unwrap_or(1);
        let plot = Plot {
            left: LEFT,
            top,
            width: width - LEFT - right,
            height: width * 9 / 20,
        };
        let lines = self.lines(&plot);
        let entries = self.entries(&lines, (right - 40) / 7);
        let rows: i32 = entries.iter().map(|(_, words)| rows(words)).sum();
        let height = (plot.height + BOTTOM).max(LINE * 3 + rows);
        let size = (width, top + height);
        let mut svg = String::new();
        self.draw(&mut svg, size, &plot, (&caption, &lines, &entries))
            .map_err(|fault| error(fault.to_string()))?;
        let texts = (self.id.as_str(), &*self.title(), &*self.alternative());
        Ok(framed(&svg, size, self.width, texts))
    }

    /// The title.
    #[must_use]
    pub fn title(&self) -> String {
        let scheme = self.field.scheme;
        if self.field.units > 0 {
            format!("For which share of units zero-voltage switching holds ({scheme})")
        } else {
            format!("Where zero-voltage switching holds ({scheme})")
        }
    }

    /// The text alternative.
    #[must_use]
    pub fn alternative(&self) -> String {
        let field = self.field;
        let axes = format!(
            "over {} from {} to {} and {} from {} to {}",
            field.x.axis.words(),
            end(&field.x, field.x.low),
            end(&field.x, field.x.high),
            field.y.axis.words(),
            end(&field.y, field.y.low),
            end(&field.y, field.y.high),
        );
        let boundary = match field.held() {
            held if held <= 0.0 => "zero-voltage switching holds nowhere".to_owned(),
            held if held >= 1.0 => "zero-voltage switching holds everywhere".to_owned(),
            held => format!(
                "zero-voltage switching holds over {} % of the map, and the line marks its edge",
                number(100.0 * held, 3)
            ),
        };
        let mut text = if field.units > 0 {
            let sure = self.sure();
            let level = self.sure_grid().1;
            let held = sure.iter().filter(|value| **value >= level).count();
            let share = percent(held, sure.len());
            let means = if field.random {
                "have it in at least 95 % of the units, at 95 % confidence"
            } else {
                "have it at every corner of the tolerances"
            };
            format!(
                "Share of {} with zero-voltage switching, {axes}; {}. {share} % of the points {means}; \
                 a line marks their edge. For the values as stated, {boundary}.",
                self.units(),
                self.fixed(),
            )
        } else {
            let mut text = format!(
                "Voltage left across the high side at turn-on, {axes}; {}. For this circuit, \
                 {boundary}.",
                self.fixed()
            );
            if self.greatest() > 0.0 {
                text += &format!(
                    " The maximum voltage left is {}.",
                    print_value(self.greatest(), Voltage::EXPONENTS, 3)
                );
            }
            text
        };
        let states: Vec<&str> = self.grey_states().map(|(_, words)| words).collect();
        if !states.is_empty() && field.units == 0 {
            text += &format!(" Grey: {}.", states.join(", "));
        }
        match &self.subject {
            Some(subject) => format!("{subject}. {text}"),
            None => text,
        }
    }

    fn units(&self) -> String {
        if self.field.random {
            format!("{} random units", self.field.units)
        } else {
            format!("{} corners of the tolerances", self.field.units)
        }
    }

    /// What the map holds fixed: the values of the point that are on no axis.
    fn fixed(&self) -> String {
        let (field, at) = (self.field, &self.field.at);
        let axes = [field.x.axis, field.y.axis];
        let values = [
            (Axis::InputVoltage, print(at.input_voltage)),
            (Axis::OutputVoltage, print(at.output_voltage)),
            (Axis::OutputCurrent, print(at.output_current)),
        ];
        let values = values.into_iter().filter(|(axis, _)| !axes.contains(axis));
        let told: Vec<String> = values
            .map(|(axis, value)| format!("{} {value}", axis.words()))
            .collect();
        format!("{}; {}", field.scheme.words(), told.join(", "))
    }

    /// What stands above the figure.
    fn caption(&self) -> String {
        if self.field.units > 0 {
            format!("{}; {}", self.fixed(), self.units())
        } else {
            self.fixed()
        }
    }

    /// Of every point of the map what its line of the units runs by: for random units
    /// the lower end of the share, for corners the share.
    fn sure(&self) -> &[f64] {
        if self.field.random {
            &self.field.share_low
        } else {
            &self.field.share
        }
    }

    /// The same as a grid, and the level at which the line runs: for corners more than
    /// all but one.
    fn sure_grid(&self) -> (Grid<'_>, f64) {
        let grid = Grid {
            across: self.field.x.points,
            down: self.field.y.points,
            values: self.sure(),
        };
        #[expect(clippy::cast_precision_loss, reason = "a count of units")]
        let level = if self.field.random {
            SURE
        } else {
            1.0 - 0.5 / self.field.units.max(1) as f64
        };
        (grid, level)
    }

    fn greatest(&self) -> f64 {
        let voltage = self.field.alone.voltage.iter();
        voltage.copied().fold(0.0, f64::max)
    }

    /// The voltage from shade to shade: a round number.
    fn step(&self) -> f64 {
        #[expect(clippy::cast_precision_loss, reason = "a handful of shades")]
        let raw = self.greatest() / (SHADES.len() - 1) as f64;
        super::round_up(raw)
    }

    /// The states that occur and are not shaded by a voltage.
    fn grey_states(&self) -> impl Iterator<Item = (RGBColor, &'static str)> {
        let alone = &self.field.alone;
        STATES.into_iter().filter_map(|(state, ink, words)| {
            let mut points = alone.state.iter().zip(&alone.voltage);
            let own = |(s, v): (&Option<State>, &f64)| *s == state && grey(*s, *v).is_some();
            points.any(own).then_some((ink, words))
        })
    }

    /// The lines: the edge of zero voltage, and that of the units.
    fn lines(&self, plot: &Plot) -> Vec<Drawn> {
        let field = self.field;
        let mut lines = vec![Drawn {
            pieces: plot.edge(&field.alone),
            ink: ALONE,
            name: if field.units > 0 {
                "edge for the values as stated"
            } else {
                "edge of zero voltage"
            },
        }];
        if field.units > 0 {
            let (grid, level) = self.sure_grid();
            lines.push(Drawn {
                pieces: plot.contour(&grid, level),
                ink: UNITS,
                name: if field.random {
                    "95 % hold, at 95 % confidence"
                } else {
                    "all corners hold"
                },
            });
        }
        lines.retain(|line| !line.pieces.is_empty());
        lines
    }

    fn draw(
        &self,
        svg: &mut String,
        size: (i32, i32),
        plot: &Plot,
        (caption, lines, entries): (&[String], &[Drawn], &[Entry]),
    ) -> Result<(), Fault> {
        let steps = (u32::try_from(size.0 * FINE)?, u32::try_from(size.1 * FINE)?);
        let root = SVGBackend::with_string(svg, steps).into_drawing_area();
        let text = || TextStyle::from(("sans-serif", TEXT)).color(&BLACK);
        let mut top = 2 * FINE;
        for line in caption {
            root.draw(&Text::new(line.clone(), (4 * FINE, top), text()))?;
            top += LINE * FINE;
        }
        self.shades(&root, plot)?;
        for line in lines {
            for (from, to) in &line.pieces {
                root.draw(&PathElement::new(
                    vec![*from, *to],
                    line.ink.stroke_width(5 * STEPS / 2),
                ))?;
            }
        }
        self.name_edge(&root, plot, lines)?;
        self.frame(&root, plot)?;
        let left = (plot.left + plot.width + 12) * FINE;
        let mut top = plot.top * FINE;
        let heading = if self.field.units > 0 {
            ["units that hold", "zero voltage"]
        } else {
            ["left across the", "high side / V"]
        };
        for line in heading {
            root.draw(&Text::new(line, (left, top), text()))?;
            top += LINE * FINE;
        }
        top += 4 * FINE;
        for (key, words) in entries {
            match key {
                Key::Shade(ink) => {
                    let box_of = [(left, top + FINE), (left + 18 * FINE, top + 13 * FINE)];
                    root.draw(&Rectangle::new(box_of, ink.filled()))?;
                    root.draw(&outline(box_of))?;
                }
                Key::Line(ink) => {
                    let middle = top + 7 * FINE;
                    root.draw(&PathElement::new(
                        vec![(left, middle), (left + 18 * FINE, middle)],
                        ink.stroke_width(5 * STEPS / 2),
                    ))?;
                }
            }
            for (k, line) in (0_i32..).zip(words) {
                let place = (left + 23 * FINE, top + k * LINE * FINE);
                root.draw(&Text::new(line.clone(), place, text()))?;
            }
            top += rows(words) * FINE;
        }
        root.present()?;
        drop(root);
        Ok(())
    }

    /// The shades of all cells.
    fn shades(&self, root: &Area, plot: &Plot) -> Result<(), Fault> {
        let field = self.field;
        if field.units > 0 {
            let grid = Grid {
                across: field.x.points,
                down: field.y.points,
                values: &field.share,
            };
            for row in plot.cells(CELL) {
                let cells = row.into_iter().map(|(part, corners)| {
                    let share = grid.between(part);
                    let place = SHARES.iter().position(|(least, _)| share >= *least);
                    (place.map_or(SHADES[5], |k| SHADES[k]), corners)
                });
                paint(root, cells)?;
            }
            return Ok(());
        }
        let alone = &field.alone;
        let ink = |k: usize| {
            grey(alone.state[k], alone.voltage[k]).unwrap_or_else(|| {
                let step = self.step();
                if alone.holds(k) || alone.voltage[k] <= 0.0 {
                    return SHADES[0];
                }
                #[expect(
                    clippy::cast_possible_truncation,
                    clippy::cast_sign_loss,
                    reason = "a handful of shades"
                )]
                let shade = (alone.voltage[k] / step - 1e-9).ceil() as usize;
                SHADES[shade.clamp(1, SHADES.len() - 1)]
            })
        };
        for row in plot.squares(alone.across, alone.down) {
            let cells = row.into_iter().map(|(corners, places)| {
                // Nearest to the middle of a square is each corner; the one farthest
                // from zero voltage is shown, and the edge cuts what holds out of it.
                let worst = corners
                    .into_iter()
                    .filter(|k| !alone.holds(*k))
                    .max_by(|a, b| alone.voltage[*a].total_cmp(&alone.voltage[*b]));
                (worst.map_or(SHADES[0], ink), places)
            });
            paint(root, cells)?;
        }
        for polygon in plot.held_parts(alone) {
            root.draw(&Polygon::new(polygon, SHADES[0].filled()))?;
        }
        Ok(())
    }

    /// What the line is, written at it: the edge of zero voltage, or that of the
    /// units where the map has some.
    fn name_edge(&self, root: &Area, plot: &Plot, lines: &[Drawn]) -> Result<(), Fault> {
        let field = self.field;
        let with_units = field.units > 0;
        let ink = if with_units { UNITS } else { ALONE };
        let style = TextStyle::from(("sans-serif", TEXT)).color(&ink);
        let Some(edge) = lines.iter().find(|line| line.ink == ink) else {
            if !with_units {
                let words = if field.held() > 0.5 {
                    "zero voltage everywhere"
                } else {
                    "zero voltage nowhere"
                };
                let x = (plot.left + plot.width / 2) * FINE - width_of(words) * FINE * 9 / 20;
                let y = (plot.top + plot.height / 2) * FINE;
                label(root, words, (x, y), style)?;
            }
            return Ok(());
        };
        let (grid, level) = self.sure_grid();
        let held = |place: Point| {
            if with_units {
                grid.between(plot.part(place)) >= level
            } else {
                field.alone.holds(plot.nearest(place, &field.alone))
            }
        };
        let names = match (with_units, field.random) {
            (false, _) => ["zero voltage up to here", "no zero voltage"],
            (true, true) => ["95 % hold up to here", "fewer hold"],
            (true, false) => ["all corners up to here", "not all hold"],
        };
        let all: Vec<&(Point, Point)> = lines.iter().flat_map(|line| &line.pieces).collect();
        for (words, inside) in names.into_iter().zip([true, false]) {
            let size = (width_of(words) * FINE * 9 / 10, 14 * FINE);
            if let Some(place) = beside(plot, &edge.pieces, &all, size, |p| held(p) == inside) {
                return label(root, words, place, style);
            }
        }
        Ok(())
    }

    /// The legend: what shades and lines mean.
    fn entries(&self, lines: &[Drawn], letters: i32) -> Vec<Entry> {
        let mut entries: Vec<(Key, String)> = Vec::new();
        if self.field.units > 0 {
            let shares = SHADES.into_iter().zip(SHARES);
            entries.extend(shares.map(|(ink, (_, words))| (Key::Shade(ink), words.to_owned())));
        } else {
            if self.field.held() > 0.0 || self.greatest() > 0.0 {
                entries.push((Key::Shade(SHADES[0]), "0".to_owned()));
            }
            let (step, greatest) = (self.step(), self.greatest());
            let mut low = 0.0;
            for ink in SHADES.into_iter().skip(1) {
                if low < greatest {
                    let words = format!("{} to {}", number(low, 3), number(low + step, 3));
                    entries.push((Key::Shade(ink), words));
                }
                low += step;
            }
            let states = self.grey_states();
            entries.extend(states.map(|(ink, words)| (Key::Shade(ink), words.to_owned())));
        }
        for line in lines {
            entries.push((Key::Line(line.ink), line.name.to_owned()));
        }
        entries
            .into_iter()
            .map(|(key, words)| (key, wrapped(&words, letters)))
            .collect()
    }

    fn frame(&self, root: &Area, plot: &Plot) -> Result<(), Fault> {
        let (left, right) = (plot.left * FINE, (plot.left + plot.width) * FINE);
        let (top, bottom) = (plot.top * FINE, (plot.top + plot.height) * FINE);
        root.draw(&outline([(left, top), (right, bottom)]))?;
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
            root.draw(&Text::new(value, (x, bottom + 7 * FINE), style))?;
        }
        let style = text().pos(Pos::new(HPos::Center, VPos::Top));
        root.draw(&Text::new(
            label,
            (i32::midpoint(left, right), bottom + 25 * FINE),
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
}

/// An entry of the legend: what it shows, and the lines of its words.
type Entry = (Key, Vec<String>);

/// What an entry of the legend shows.
#[derive(Clone, Copy)]
enum Key {
    Shade(RGBColor),
    Line(RGBColor),
}

/// The height of an entry of the legend, in pixels.
fn rows(words: &[String]) -> i32 {
    LINE * i32::try_from(words.len()).unwrap_or(1) + 2
}

/// The grey of a state that has no voltage to shade.
fn grey(state: Option<State>, voltage: f64) -> Option<RGBColor> {
    let shaded = voltage.is_finite() && state != Some(State::IncompleteFall);
    let mut states = STATES.into_iter();
    let own = states
        .find(|(own, ..)| *own == state)
        .map(|(_, ink, _)| ink);
    own.filter(|_| !shaded)
}

/// A text over the shades, on a ground that keeps it legible.
fn label(root: &Area, words: &str, (x, y): Point, style: TextStyle) -> Result<(), Fault> {
    let opposite = (x + width_of(words) * FINE * 9 / 10, y + 14 * FINE);
    root.draw(&Rectangle::new(
        [(x, y), opposite],
        WHITE.mix(0.75).filled(),
    ))?;
    root.draw(&Text::new(words.to_owned(), (x + 3 * FINE, y), style))?;
    Ok(())
}

/// Cells of a row, neighbours of one shade as one rectangle.
fn paint(
    root: &Area,
    cells: impl Iterator<Item = (RGBColor, (Point, Point))>,
) -> Result<(), Fault> {
    for (ink, corner, opposite) in runs(cells) {
        root.draw(&Rectangle::new([corner, opposite], ink.filled()))?;
    }
    Ok(())
}

/// The outline of a rectangle, from corner to opposite corner.
fn outline([(left, top), (right, bottom)]: [Point; 2]) -> PathElement<Point> {
    let corners = [
        (left, top),
        (right, top),
        (right, bottom),
        (left, bottom),
        (left, top),
    ];
    PathElement::new(corners.to_vec(), FRAME.stroke_width(STEPS))
}

/// A text in lines of so many letters at most; a longer word has a line of its own,
/// and a number stays with what follows it.
fn wrapped(text: &str, letters: i32) -> Vec<String> {
    let most = usize::try_from(letters).unwrap_or(1);
    let mut words: Vec<String> = Vec::new();
    for word in text.split(' ') {
        match words.last_mut() {
            Some(last) if last.parse::<f64>().is_ok() => {
                last.push(' ');
                last.push_str(word);
            }
            _ => words.push(word.to_owned()),
        }
    }
    let mut lines: Vec<String> = Vec::new();
    for word in words {
        match lines.last_mut() {
            Some(line) if line.chars().count() + word.chars().count() < most => {
                line.push(' ');
                line.push_str(&word);
            }
            _ => lines.push(word),
        }
    }
    lines
}

/// An end of an axis, as text.
fn end(span: &Span, value: f64) -> String {
    print_value(value, span.axis.exponents(), 4)
}

#[expect(clippy::cast_precision_loss, reason = "points of a figure")]
fn percent(part: usize, all: usize) -> String {
    number(100.0 * part as f64 / all.max(1) as f64, 3)
}

/// Neighbours of one shade as one rectangle, a little higher than its row so that
/// no seam shows; the row below covers what is too much.
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
    let unit = name_of(exponents).plain;
    (
        Scaled {
            low: span.low * factor,
            high: span.high * factor,
        },
        if unit.is_empty() {
            span.axis.words().to_owned()
        } else {
            format!("{} / {}{unit}", span.axis.words(), prefix.plain)
        },
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
