//! Line figures for documents: SVG that prints well and reads without colour.
//!
//! Every line has its own dash pattern and its name at its end; every figure has
//! a text alternative.

mod contour;
mod map;
mod note;
mod panels;
mod waveform;

use plotters::coord::ranged1d::{KeyPointHint, NoDefaultFormatting, Ranged, ValueFormatter};
use plotters::prelude::*;

use crate::quantity::number;
use crate::visible::{escaped, visible};

pub use map::{MapFigure, map};
pub use panels::{Line, Panel, PanelFigure, UnknownWidth, Width, Window};
pub use waveform::{phase_plane, waveforms};

/// Colours that stay apart for colour-blind readers and in grey (after Okabe and
/// Ito), dark enough for a light ground.
const INKS: [RGBColor; 6] = [
    RGBColor(0, 90, 150),
    RGBColor(180, 70, 0),
    RGBColor(0, 115, 85),
    RGBColor(150, 80, 125),
    RGBColor(60, 60, 60),
    RGBColor(135, 105, 0),
];

/// Dash and gap of each line in turn, in pixels; no gap is a full line.
const DASHES: [(i32, i32); 6] = [(1, 0), (9, 4), (2, 3), (14, 4), (5, 5), (1, 2)];

/// Steps per pixel: the drawing library rounds to whole steps, and lines of
/// whole pixels would look jagged in print.
const FINE: i32 = 8;
const STEPS: u32 = FINE.unsigned_abs();
/// Least distance between two names, in steps.
const LEADING: i32 = 15 * FINE;
/// Size of all text as the drawing library counts it, in steps.
const TEXT: i32 = 14 * FINE;
/// The same size as SVG counts it, in pixels: 7.6 points on paper.
const LETTER: f64 = 11.3;

/// About how wide a text is, in pixels: no less than a sans-serif face draws it.
fn width_of(text: &str) -> i32 {
    7 * i32::try_from(text.chars().count()).unwrap_or(i32::MAX / 7)
}

/// A line: a name and points, a point without value making a gap.
#[derive(Clone, Debug)]
pub struct Series {
    /// The name at the line's end.
    pub name: String,
    /// Abscissa and ordinate, rising in the abscissa.
    pub points: Vec<(f64, Option<f64>)>,
}

/// A figure of lines over one axis.
#[derive(Clone, Debug)]
pub struct LineFigure {
    /// An identifier, unique in its document.
    pub id: String,
    /// The title.
    pub title: String,
    /// Name and unit of the abscissa.
    pub x_label: String,
    /// Name and unit of the ordinate.
    pub y_label: String,
    /// The lines.
    pub series: Vec<Series>,
    /// The text alternative: what the figure shows, in a sentence or two.
    pub alternative: String,
}

/// Why a figure could not be drawn.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct FigureError {
    /// The figure.
    pub id: String,
    /// What went wrong.
    pub message: String,
}

impl std::fmt::Display for FigureError {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "figure {}: {}", self.id, self.message)
    }
}

impl std::error::Error for FigureError {}

impl LineFigure {
    /// The figure as SVG with title and description.
    ///
    /// # Errors
    /// No point with a value; a fault of the drawing library.
    pub fn svg(&self) -> Result<String, FigureError> {
        self.svg_as(0.0, Width::Page)
    }

    /// As [`LineFigure::svg`], as wide as asked for.
    ///
    /// # Errors
    /// As [`LineFigure::svg`].
    pub fn svg_of(&self, width: Width) -> Result<String, FigureError> {
        self.svg_as(0.0, width)
    }

    /// As [`LineFigure::svg`], the ordinate starting at `low` or at the least point
    /// below it, not at zero.
    ///
    /// # Errors
    /// As [`LineFigure::svg`].
    pub fn svg_from(&self, low: f64) -> Result<String, FigureError> {
        self.svg_as(low, Width::Page)
    }

    fn svg_as(&self, low: f64, width: Width) -> Result<String, FigureError> {
        let error = |message: String| FigureError {
            id: self.id.clone(),
            message,
        };
        let finite = || {
            self.series
                .iter()
                .flat_map(|s| &s.points)
                .filter_map(|(x, y)| Some((*x, (*y)?)))
        };
        if finite().next().is_none() {
            return Err(error("no point has a value".to_owned()));
        }
        let extent = |values: &mut dyn Iterator<Item = f64>| {
            values.fold((f64::INFINITY, f64::NEG_INFINITY), |(l, h), v| {
                (l.min(v), h.max(v))
            })
        };
        let (x_low, x_high) = extent(&mut finite().map(|(x, _)| x));
        let (y_low, y_high) = extent(&mut finite().map(|(_, y)| y));
        let y_low = y_low.min(low);
        let room = (y_high - y_low) * 0.06;
        let ranges = (
            Axis(x_low, x_high.max(x_low + 1e-9)),
            Axis(y_low, y_high + room.max(1e-9)),
        );
        let mut svg = String::new();
        self.draw(&mut svg, ranges, width)
            .map_err(|fault| error(fault.to_string()))?;
        let texts = (
            self.id.as_str(),
            self.title.as_str(),
            self.alternative.as_str(),
        );
        Ok(framed(&svg, Self::size(width), width, texts))
    }

    /// Width and height, in pixels.
    fn size(width: Width) -> (i32, i32) {
        match width {
            Width::Page => (width.pixels(), 380),
            Width::Column => (width.pixels(), 290),
        }
    }

    /// Room for the names at the lines' ends, in pixels.
    fn room(&self, width: Width) -> i32 {
        let longest = self.series.iter().map(|s| width_of(&s.name)).max();
        (longest.unwrap_or(0) + 22).min(width.pixels() / 3)
    }

    fn draw(
        &self,
        svg: &mut String,
        (x, y): (Axis, Axis),
        width: Width,
    ) -> Result<(), Box<dyn std::error::Error>> {
        let size = Self::size(width);
        let names_room = self.room(width) * FINE;
        let root = SVGBackend::with_string(
            svg,
            (size.0.unsigned_abs() * STEPS, size.1.unsigned_abs() * STEPS),
        )
        .into_drawing_area();
        let mut chart = ChartBuilder::on(&root)
            .margin_top(14 * FINE)
            .margin_left(8 * FINE)
            .margin_right(names_room)
            .margin_bottom(6 * FINE)
            .x_label_area_size(50 * FINE)
            .y_label_area_size(68 * FINE)
            .build_cartesian_2d(x, y)?;
        let pale = RGBColor(225, 225, 218);
        chart
            .configure_mesh()
            .disable_x_mesh()
            .light_line_style(TRANSPARENT)
            .bold_line_style(pale.stroke_width(STEPS))
            .axis_style(RGBColor(90, 90, 90).stroke_width(STEPS))
            .set_all_tick_mark_size(5 * FINE)
            .x_labels(if width == Width::Page { 8 } else { 4 })
            .y_labels(6)
            .x_desc(self.x_label.as_str())
            .y_desc(self.y_label.as_str())
            .label_style(("sans-serif", TEXT))
            .axis_desc_style(("sans-serif", TEXT))
            .draw()?;
        let mut names = Vec::new();
        for (index, series) in self.series.iter().enumerate() {
            let ink = INKS[index % INKS.len()];
            let (dash, gap) = DASHES[index % DASHES.len()];
            let style = ink.stroke_width(2 * STEPS);
            for run in series.points.split(|(_, y)| y.is_none()) {
                let run: Vec<_> = run.iter().filter_map(|(x, y)| Some((*x, (*y)?))).collect();
                if gap == 0 {
                    chart.draw_series(LineSeries::new(run, style))?;
                } else {
                    chart.draw_series(DashedLineSeries::new(
                        run,
                        dash * FINE,
                        gap * FINE,
                        style,
                    ))?;
                }
            }
            let last = series
                .points
                .iter()
                .rev()
                .find_map(|(x, y)| Some((*x, (*y)?)));
            if let Some(last) = last {
                names.push((chart.backend_coord(&last), series.name.clone(), ink));
            }
        }
        drop(chart);
        // Names are moved apart where lines end close together.
        names.sort_by_key(|((_, y), ..)| *y);
        let mut floor = i32::MIN / 2;
        let right = size.0 * FINE - names_room;
        for ((end_x, end_y), name, ink) in names {
            let text_y = end_y.max(floor + LEADING);
            floor = text_y;
            root.draw(&PathElement::new(
                vec![(end_x + 2 * FINE, end_y), (right + 12 * FINE, text_y)],
                ink.stroke_width(STEPS),
            ))?;
            let style = TextStyle::from(("sans-serif", TEXT)).color(&ink);
            root.draw(&Text::new(
                name,
                (right + 16 * FINE, text_y - 8 * FINE),
                style,
            ))?;
        }
        root.present()?;
        drop(root);
        Ok(())
    }
}

/// Width and height on paper of a figure whose pixels have a ratio: what a document
/// that takes the file in shows. A page of HTML may scale it.
fn on_paper(width: Width, height_by_width: f64) -> String {
    let across = width.millimetres();
    let down = f64::from(across) * height_by_width;
    format!("width=\"{across}mm\" height=\"{down:.2}mm\"")
}

/// Adds title, description, role and the size on paper to a figure of a size in
/// pixels; the texts are identifier, title and description.
fn framed(
    svg: &str,
    size: (i32, i32),
    width: Width,
    (id, title, alternative): (&str, &str, &str),
) -> String {
    let (head, rest) = svg.split_once('>').unwrap_or((svg, ""));
    let pixels = format!("width=\"{}\" height=\"{}\"", size.0 * FINE, size.1 * FINE);
    let paper = on_paper(width, f64::from(size.1) / f64::from(size.0));
    let head = head.replacen(&pixels, &paper, 1);
    let id = escaped(id);
    let whole = format!(
        "{head} role=\"img\" aria-labelledby=\"{id}-title {id}-desc\"><title id=\"{id}-title\">\
         {}</title><desc id=\"{id}-desc\">{}</desc>{rest}",
        escaped(title),
        escaped(alternative),
    );
    // Names of lines and axes too.
    visible(&whole).into_owned()
}

/// A figure of a page's width drawn by hand, in pixels, with title, description and
/// role.
pub(crate) fn svg_frame(
    id: &str,
    title: &str,
    alternative: &str,
    (width, height): (f64, f64),
    content: &str,
) -> String {
    let id = escaped(id);
    let whole = format!(
        "<svg {} viewBox=\"0 0 {width:.0} {height:.0}\" \
         xmlns=\"http://www.w3.org/2000/svg\" role=\"img\" font-family=\"sans-serif\" \
         font-size=\"{LETTER}\" aria-labelledby=\"{id}-title {id}-desc\"><title \
         id=\"{id}-title\">{}</title><desc id=\"{id}-desc\">{}</desc>{content}</svg>",
        on_paper(Width::Page, height / width),
        escaped(title),
        escaped(alternative),
    );
    visible(&whole).into_owned()
}

/// The round number at or above a value.
fn round_up(raw: f64) -> f64 {
    let decade = 10f64.powf(raw.log10().floor());
    [1.0, 2.0, 2.5, 5.0, 10.0]
        .into_iter()
        .map(|m| m * decade)
        .find(|step| *step >= raw * (1.0 - 1e-12))
        .unwrap_or(raw)
}

/// A linear axis whose labels are numbers without needless zeros.
#[derive(Clone, Copy, Debug)]
struct Axis(f64, f64);

impl Ranged for Axis {
    type FormatOption = NoDefaultFormatting;
    type ValueType = f64;

    fn map(&self, value: &f64, limit: (i32, i32)) -> i32 {
        let part = (value - self.0) / (self.1 - self.0);
        #[expect(clippy::cast_possible_truncation, reason = "pixels of a small figure")]
        let offset = (part * f64::from(limit.1 - limit.0)).round() as i32;
        limit.0 + offset
    }

    fn key_points<Hint: KeyPointHint>(&self, hint: Hint) -> Vec<f64> {
        let wanted = hint.max_num_points().clamp(2, 12);
        #[expect(clippy::cast_precision_loss, reason = "a dozen")]
        let raw = (self.1 - self.0) / wanted as f64;
        let step = round_up(raw);
        let mut points = Vec::new();
        let mut k = (self.0 / step - 1e-9).ceil();
        while k * step <= self.1 + step * 1e-9 {
            points.push(k * step);
            k += 1.0;
        }
        points
    }

    fn range(&self) -> std::ops::Range<f64> {
        self.0..self.1
    }
}

impl ValueFormatter<f64> for Axis {
    fn format(value: &f64) -> String {
        number(*value, 5)
    }

    fn format_ext(&self, value: &f64) -> String {
        number(*value, 5)
    }
}
