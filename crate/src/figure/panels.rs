//! Panels one above the other over a common time, in one window or several: the
//! whole course, and its short parts enlarged beside it.

use plotters::coord::Shift;
use plotters::prelude::*;

use super::note::{Obstacles, note};
use super::{Axis, DASHES, FINE, FigureError, INKS, LEADING, STEPS, TEXT, framed, width_of};

/// How wide a figure is printed.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Width {
    /// A column of a page of two, 88 mm.
    Column,
    /// A page, 180 mm.
    Page,
}

impl Width {
    /// Pixels of the drawing: 4.2 to the millimetre.
    pub(super) const fn pixels(self) -> i32 {
        match self {
            Self::Column => 372,
            Self::Page => 760,
        }
    }

    /// The width on paper.
    #[must_use]
    pub const fn millimetres(self) -> u32 {
        match self {
            Self::Column => 88,
            Self::Page => 180,
        }
    }
}

impl std::str::FromStr for Width {
    type Err = UnknownWidth;

    fn from_str(text: &str) -> Result<Self, UnknownWidth> {
        let given = text.replace(' ', "");
        [Self::Column, Self::Page]
            .into_iter()
            .find(|width| given == format!("{}mm", width.millimetres()))
            .ok_or_else(|| UnknownWidth(text.chars().take(60).collect()))
    }
}

/// A text that is no width of a figure.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct UnknownWidth(String);

impl std::fmt::Display for UnknownWidth {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(
            f,
            "no figure is {} wide; expected 88mm, a column of a page of two, or 180mm, a page",
            self.0
        )
    }
}

impl std::error::Error for UnknownWidth {}

/// A line over time, with its name.
#[derive(Clone, Debug)]
pub struct Line {
    /// The name, at the line's end.
    pub name: String,
    /// Abscissa and ordinate.
    pub points: Vec<(f64, f64)>,
}

/// Lines with a common ordinate.
#[derive(Clone, Debug)]
pub struct Panel {
    /// Name and unit of the ordinate.
    pub label: String,
    /// The lines.
    pub lines: Vec<Line>,
    /// Whether the ordinate is a quantity; else levels one above the other, which
    /// need no numbers.
    pub scaled: bool,
}

/// A stretch of the abscissa that all panels show.
#[derive(Clone, Debug)]
pub struct Window {
    /// Name and unit of the abscissa.
    pub label: String,
    /// The stretch, in the abscissa of the lines.
    pub range: (f64, f64),
    /// What the abscissa is multiplied with, for its unit.
    pub factor: f64,
    /// Its share of the figure's width.
    pub share: f64,
    /// Places marked through all panels, each with what begins there.
    pub marks: Vec<(f64, String)>,
    /// Values written into panels: panel, place, value, text.
    pub notes: Vec<(usize, f64, f64, String)>,
}

/// A figure of panels and windows.
#[derive(Clone, Debug)]
pub struct PanelFigure {
    /// An identifier, unique in its document.
    pub id: String,
    /// The title.
    pub title: String,
    /// The text alternative.
    pub alternative: String,
    /// The width.
    pub width: Width,
    /// Stretches, from left to right.
    pub windows: Vec<Window>,
    /// Panels, from the top down.
    pub panels: Vec<Panel>,
}

/// Heights and rooms, in pixels.
const SCALED: i32 = 150;
const LEVELS: i32 = 92;
const TOP: i32 = 6;
/// Height of a row of interval names.
const ROW: i32 = 16;
const BOTTOM: i32 = 46;
const LEFT: i32 = 50;
const BETWEEN: i32 = 46;
const NAMES: i32 = 74;
const PALE: RGBColor = RGBColor(225, 225, 218);
const MARK: RGBColor = RGBColor(140, 140, 135);
const FRAME: RGBColor = RGBColor(90, 90, 90);

type Area<'s> = DrawingArea<SVGBackend<'s>, Shift>;
type Fault = Box<dyn std::error::Error>;

/// The place of a chart, in pixels: left, top, width, height.
type Place = (i32, i32, i32, i32);

impl PanelFigure {
    /// The figure as SVG.
    ///
    /// # Errors
    /// A fault of the drawing library.
    pub fn svg(&self) -> Result<String, FigureError> {
        let heights: i32 = self.panels.iter().map(Panel::height).sum();
        let sides = self.sides();
        let labels = labels(&self.windows, &sides);
        let rows = labels.iter().map(|label| label.row + 1).max().unwrap_or(0);
        let top = TOP + ROW * rows;
        let size = (self.width.pixels(), top + heights + BOTTOM);
        let mut svg = String::new();
        self.draw(&mut svg, size, &sides, (top, &labels))
            .map_err(|fault| FigureError {
                id: self.id.clone(),
                message: fault.to_string(),
            })?;
        let texts = (
            self.id.as_str(),
            self.title.as_str(),
            self.alternative.as_str(),
        );
        Ok(framed(&svg, size, self.width, texts))
    }

    /// Left side and width of every window, in pixels.
    fn sides(&self) -> Vec<(i32, i32)> {
        let count = i32::try_from(self.windows.len()).unwrap_or(1);
        let room = self.width.pixels() - LEFT - NAMES - BETWEEN * (count - 1).max(0);
        let shares: f64 = self.windows.iter().map(|w| w.share).sum();
        let mut left = LEFT;
        let side = |window: &Window| {
            #[expect(clippy::cast_possible_truncation, reason = "pixels of a small figure")]
            let width = (f64::from(room) * window.share / shares).round() as i32;
            let side = (left, width);
            left += width + BETWEEN;
            side
        };
        self.windows.iter().map(side).collect()
    }

    fn draw(
        &self,
        svg: &mut String,
        size: (i32, i32),
        sides: &[(i32, i32)],
        (first_top, labels): (i32, &[Label]),
    ) -> Result<(), Fault> {
        let steps = (u32::try_from(size.0 * FINE)?, u32::try_from(size.1 * FINE)?);
        let root = SVGBackend::with_string(svg, steps).into_drawing_area();
        for label in labels {
            let top = (first_top - ROW * (label.row + 1)) * FINE;
            let foot = (label.x, first_top * FINE);
            root.draw(&stroke(vec![(label.x, top + 2 * FINE), foot], MARK, 1))?;
            let style = TextStyle::from(("sans-serif", TEXT)).color(&FRAME);
            let place = (label.x + 3 * FINE, top);
            root.draw(&Text::new(label.name.clone(), place, style))?;
        }
        for (k, (window, (left, width))) in self.windows.iter().zip(sides).enumerate() {
            let mut top = first_top;
            for (row, panel) in self.panels.iter().enumerate() {
                let place = (*left, top, *width, panel.height() - 14);
                let last = k + 1 == self.windows.len();
                self.chart(&root, place, window, row, (k == 0, last))?;
                top += panel.height();
            }
            Self::foot(&root, (*left, top, *width), window)?;
        }
        root.present()?;
        drop(root);
        Ok(())
    }

    /// One panel in one window.
    fn chart(
        &self,
        root: &Area,
        place: Place,
        window: &Window,
        row: usize,
        (first, last): (bool, bool),
    ) -> Result<(), Fault> {
        let panel = &self.panels[row];
        let y = panel.range(window.range);
        let at = |x: f64, v: f64| point(place, window.range, y, (x, v));
        let (left, top, width, height) = place;
        for value in ticks(y, if panel.scaled { 5 } else { 0 }) {
            let from = at(window.range.0, value);
            root.draw(&stroke(
                vec![from, (from.0 + width * FINE, from.1)],
                PALE,
                1,
            ))?;
            let text = crate::quantity::number(value, 4);
            root.draw(&Text::new(text, (from.0 - 5 * FINE, from.1), ending()))?;
        }
        let mut obstacles = Obstacles::new(place);
        for (x, _) in window.marks.iter().filter(|(x, _)| window.shows(*x)) {
            let foot = at(*x, y.0);
            root.draw(&stroke(vec![(foot.0, top * FINE), foot], MARK, 1))?;
        }
        let mut ends = Vec::new();
        for (index, line) in panel.lines.iter().enumerate() {
            let ink = INKS[index % INKS.len()];
            let clipped = clip(&line.points, window.range);
            let path: Vec<_> = clipped.iter().map(|(x, v)| at(*x, *v)).collect();
            obstacles.line(&path);
            let (dash, gap) = if panel.scaled {
                DASHES[index % DASHES.len()]
            } else {
                (1, 0)
            };
            if gap == 0 {
                root.draw(&stroke(path, ink, 2))?;
            } else {
                for part in dashes(&path, dash * FINE, gap * FINE) {
                    root.draw(&stroke(part, ink, 2))?;
                }
            }
            if let Some((x, v)) = clipped.last() {
                let value = if panel.scaled {
                    *v
                } else {
                    level(panel, index)
                };
                ends.push((at(*x, value), line.name.as_str(), ink));
            }
        }
        if last {
            Self::names(root, ends, (top + height) * FINE)?;
        }
        for (_, x, v, text) in window.notes.iter().filter(|(r, ..)| *r == row) {
            let dot = at(*x, *v);
            root.draw(&Circle::new(dot, 3 * FINE, INKS[4].filled()))?;
            let style = TextStyle::from(("sans-serif", TEXT)).color(&FRAME);
            root.draw(&Text::new(
                text.clone(),
                note(text, dot, &mut obstacles),
                style,
            ))?;
        }
        let frame = [
            (left, top),
            (left, top + height),
            (left + width, top + height),
        ];
        root.draw(&stroke(
            frame.map(|(x, y)| (x * FINE, y * FINE)).to_vec(),
            FRAME,
            1,
        ))?;
        if first {
            let style = TextStyle::from(("sans-serif", TEXT))
                .transform(FontTransform::Rotate270)
                .color(&BLACK)
                .pos(centred());
            let middle = ((left - 42) * FINE, (top + height / 2) * FINE);
            root.draw(&Text::new(panel.label.clone(), middle, style))?;
        }
        Ok(())
    }

    /// The lines' names at their ends, moved apart where lines end close together.
    fn names(
        root: &Area,
        mut ends: Vec<((i32, i32), &str, RGBColor)>,
        foot: i32,
    ) -> Result<(), Fault> {
        ends.sort_by_key(|((_, y), ..)| *y);
        let mut places: Vec<i32> = ends.iter().map(|((_, y), ..)| *y).collect();
        for k in 1..places.len() {
            places[k] = places[k].max(places[k - 1] + LEADING);
        }
        let mut ceiling = foot;
        for place in places.iter_mut().rev() {
            *place = (*place).min(ceiling);
            ceiling = *place - LEADING;
        }
        for (((x, y), name, ink), place) in ends.into_iter().zip(places) {
            if place != y {
                let leader = vec![(x + FINE, y), (x + 5 * FINE, place)];
                root.draw(&stroke(leader, ink, 1))?;
            }
            let style = TextStyle::from(("sans-serif", TEXT)).color(&ink);
            root.draw(&Text::new(
                name.to_owned(),
                (x + 6 * FINE, place - 7 * FINE),
                style,
            ))?;
        }
        Ok(())
    }

    /// The numbers and the name of the abscissa, below the lowest panel.
    fn foot(
        root: &Area,
        (left, top, width): (i32, i32, i32),
        window: &Window,
    ) -> Result<(), Fault> {
        let range = (
            window.range.0 * window.factor,
            window.range.1 * window.factor,
        );
        let place = (left, top - 14, width, 1);
        for value in ticks(range, if width > 150 { 5 } else { 3 }) {
            let (x, y) = point(place, range, (0.0, 1.0), (value, 0.0));
            root.draw(&stroke(vec![(x, y), (x, y + 5 * FINE)], FRAME, 1))?;
            let style = TextStyle::from(("sans-serif", TEXT)).pos(centred());
            let text = crate::quantity::number(value, 4);
            root.draw(&Text::new(text, (x, y + 13 * FINE), style))?;
        }
        let style = TextStyle::from(("sans-serif", TEXT)).pos(centred());
        let middle = ((left + width / 2) * FINE, (top + 18) * FINE);
        root.draw(&Text::new(window.label.clone(), middle, style))?;
        Ok(())
    }
}

impl Window {
    fn shows(&self, x: f64) -> bool {
        (self.range.0..=self.range.1).contains(&x)
    }
}

/// The name of an interval above the panels: where its mark stands, in steps, and the
/// row, counted from the panels up.
struct Label {
    x: i32,
    row: i32,
    name: String,
}

/// The names of all windows, so that none covers another or is crossed by a mark that
/// leads to one. A name stands right of its mark: from right to left, each takes the
/// lowest row in which it ends before the marks of those already placed, and where it
/// does not, the row above them.
fn labels(windows: &[Window], sides: &[(i32, i32)]) -> Vec<Label> {
    let mut named: Vec<(i32, &str)> = Vec::new();
    for (window, (left, width)) in windows.iter().zip(sides) {
        let marks = window.marks.iter().filter(|(x, _)| window.shows(*x));
        for (x, name) in marks.filter(|(_, name)| !name.is_empty()) {
            let place = (*left, 0, *width, 1);
            let (x, _) = point(place, window.range, (0.0, 1.0), (*x, 0.0));
            named.push((x, name));
        }
    }
    named.sort_by_key(|(x, _)| *x);
    let mut labels: Vec<Label> = Vec::new();
    for (x, name) in named.into_iter().rev() {
        let end = x + (width_of(name) + 6) * FINE;
        let over = labels.iter().filter(|label| label.x < end);
        let row = over.map(|label| label.row + 1).max().unwrap_or(0);
        labels.push(Label {
            x,
            row,
            name: name.to_owned(),
        });
    }
    labels
}

impl Panel {
    fn height(&self) -> i32 {
        if self.scaled { SCALED } else { LEVELS }
    }

    /// The ordinates of the lines inside a stretch, with some room.
    fn range(&self, window: (f64, f64)) -> (f64, f64) {
        if !self.scaled {
            let count = u32::try_from(self.lines.len()).unwrap_or(1);
            return (-0.3, 1.5 * f64::from(count));
        }
        let inside = self
            .lines
            .iter()
            .flat_map(|line| clip(&line.points, window));
        let (low, high) = inside.fold((f64::INFINITY, f64::NEG_INFINITY), |(l, h), (_, v)| {
            (l.min(v), h.max(v))
        });
        if low > high {
            return (0.0, 1.0);
        }
        // What is the same to a hundredth is drawn as such.
        let most = high.abs().max(low.abs());
        let room = (0.08 * (high - low)).max(0.005 * most).max(1e-12);
        // Above and below there is room for a value written beside a point.
        (low - 2.2 * room, high + 2.2 * room)
    }
}

/// The place of a signal's name: the middle of its level.
fn level(panel: &Panel, index: usize) -> f64 {
    let below = u32::try_from(panel.lines.len() - 1 - index).unwrap_or(0);
    1.5 * f64::from(below) + 0.45
}

fn stroke(path: Vec<(i32, i32)>, ink: RGBColor, width: u32) -> PathElement<(i32, i32)> {
    PathElement::new(path, ink.stroke_width(width * STEPS))
}

fn centred() -> plotters::style::text_anchor::Pos {
    use plotters::style::text_anchor::{HPos, Pos, VPos};
    Pos::new(HPos::Center, VPos::Center)
}

/// Text that ends at its place.
fn ending() -> TextStyle<'static> {
    use plotters::style::text_anchor::{HPos, Pos, VPos};
    TextStyle::from(("sans-serif", TEXT)).pos(Pos::new(HPos::Right, VPos::Center))
}

/// A point in steps.
fn point(
    (left, top, width, height): Place,
    x: (f64, f64),
    y: (f64, f64),
    at: (f64, f64),
) -> (i32, i32) {
    let part = |(low, high): (f64, f64), v: f64| (v - low) / (high - low);
    let steps = |pixels: f64| (pixels * f64::from(FINE)).clamp(-1e8, 1e8).round();
    #[expect(clippy::cast_possible_truncation, reason = "steps of a small figure")]
    let (px, py) = (
        steps(f64::from(left) + part(x, at.0) * f64::from(width)) as i32,
        steps(f64::from(top) + (1.0 - part(y, at.1)) * f64::from(height)) as i32,
    );
    (px, py)
}

fn ticks(range: (f64, f64), wanted: usize) -> Vec<f64> {
    use plotters::coord::ranged1d::{BoldPoints, Ranged as _};
    if wanted == 0 || range.0 >= range.1 {
        return vec![];
    }
    Axis(range.0, range.1).key_points(BoldPoints(wanted))
}

/// A line inside a stretch, its ends interpolated.
fn clip(points: &[(f64, f64)], (low, high): (f64, f64)) -> Vec<(f64, f64)> {
    let mut inside = Vec::new();
    for pair in points.windows(2) {
        let ((x0, y0), (x1, y1)) = (pair[0], pair[1]);
        if x1 < low || x0 > high {
            continue;
        }
        let along = |x: f64| {
            if x1 > x0 {
                y0 + (y1 - y0) * (x - x0) / (x1 - x0)
            } else {
                y1
            }
        };
        let (from, to) = (x0.max(low), x1.min(high));
        if inside.is_empty() {
            inside.push((from, along(from)));
        }
        let end = if x1 > x0 { along(to) } else { y1 };
        inside.push((to, end));
    }
    inside
}

/// A path cut into dashes.
fn dashes(path: &[(i32, i32)], dash: i32, gap: i32) -> Vec<Vec<(i32, i32)>> {
    let mut parts = Vec::new();
    let mut part: Vec<(i32, i32)> = Vec::new();
    let (mut on, mut left) = (true, f64::from(dash));
    for pair in path.windows(2) {
        let ((x0, y0), (x1, y1)) = (pair[0], pair[1]);
        let (dx, dy) = (f64::from(x1 - x0), f64::from(y1 - y0));
        let length = dx.hypot(dy);
        let mut done = 0.0;
        #[expect(clippy::cast_possible_truncation, reason = "steps of a small figure")]
        let at = |along: f64| {
            let share = if length > 0.0 { along / length } else { 1.0 };
            (
                x0 + (dx * share).round() as i32,
                y0 + (dy * share).round() as i32,
            )
        };
        if on && part.is_empty() {
            part.push((x0, y0));
        }
        while length - done > left {
            done += left;
            if on {
                part.push(at(done));
                parts.push(std::mem::take(&mut part));
            } else {
                part.push(at(done));
            }
            on = !on;
            left = f64::from(if on { dash } else { gap });
        }
        left -= length - done;
        if on {
            part.push((x1, y1));
        }
    }
    if part.len() > 1 {
        parts.push(part);
    }
    parts
}
