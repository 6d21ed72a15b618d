//! Where the points of a map lie in its figure, and the lines and parts of it that a
//! level cuts out.

use super::FINE;
use crate::map::Alone;

/// A point of the figure, in steps.
pub(super) type Point = (i32, i32);

/// Values over a map's points, row after row.
pub(super) struct Grid<'v> {
    pub across: usize,
    pub down: usize,
    pub values: &'v [f64],
}

impl Grid<'_> {
    /// The value at a part of both axes, linear between the points.
    #[expect(
        clippy::cast_precision_loss,
        clippy::cast_possible_truncation,
        clippy::cast_sign_loss,
        reason = "points of a figure"
    )]
    pub fn between(&self, (x, y): (f64, f64)) -> f64 {
        let place = |part: f64, points: usize| {
            let along = part.clamp(0.0, 1.0) * (points - 1) as f64;
            let first = (along.floor() as usize).min(points - 2);
            (first, along - first as f64)
        };
        let ((column, right), (row, up)) = (place(x, self.across), place(y, self.down));
        let at = |c: usize, r: usize| self.values[(row + r) * self.across + column + c];
        let low = at(0, 0) * (1.0 - right) + at(1, 0) * right;
        let high = at(0, 1) * (1.0 - right) + at(1, 1) * right;
        low * (1.0 - up) + high * up
    }
}

/// Where the map lies in the figure, in pixels.
pub(super) struct Plot {
    pub left: i32,
    pub top: i32,
    pub width: i32,
    pub height: i32,
}

/// A cell: two opposite corners.
type Corners = (Point, Point);

impl Plot {
    #[expect(clippy::cast_possible_truncation, reason = "steps of a small figure")]
    pub fn x(&self, part: f64) -> i32 {
        ((f64::from(self.left) + part * f64::from(self.width)) * f64::from(FINE)).round() as i32
    }

    #[expect(clippy::cast_possible_truncation, reason = "steps of a small figure")]
    pub fn y(&self, part: f64) -> i32 {
        let from_top = (1.0 - part) * f64::from(self.height);
        ((f64::from(self.top) + from_top) * f64::from(FINE)).round() as i32
    }

    /// The place of a point of a grid, or of a part of the way to another.
    #[expect(clippy::cast_precision_loss, reason = "points of a figure")]
    fn at(&self, place: (f64, f64), across: usize, down: usize) -> Point {
        (
            self.x(place.0 / (across - 1) as f64),
            self.y(place.1 / (down - 1) as f64),
        )
    }

    /// Cells of about a size in pixels over the whole map, row by row from the top: the parts of
    /// both axes at their middle, and their corners.
    pub fn cells(&self, size: i32) -> Vec<Vec<((f64, f64), Corners)>> {
        let (across, down) = ((self.width / size).max(1), (self.height / size).max(1));
        let part = |k: i32, of: i32| f64::from(k) / f64::from(of);
        let middle = |k: i32, of: i32| (f64::from(k) + 0.5) / f64::from(of);
        (0..down)
            .rev()
            .map(|row| {
                (0..across)
                    .map(|column| {
                        let corner = (self.x(part(column, across)), self.y(part(row + 1, down)));
                        let opposite = (self.x(part(column + 1, across)), self.y(part(row, down)));
                        (
                            (middle(column, across), middle(row, down)),
                            (corner, opposite),
                        )
                    })
                    .collect()
            })
            .collect()
    }

    /// The squares between the points of a grid, row by row from the top: the points at the
    /// corners, and the corners' places.
    #[expect(clippy::cast_precision_loss, reason = "points of a figure")]
    pub fn squares(&self, across: usize, down: usize) -> Vec<Vec<([usize; 4], Corners)>> {
        (0..down - 1)
            .rev()
            .map(|row| {
                (0..across - 1)
                    .map(|column| {
                        let own = row * across + column;
                        let points = [own, own + 1, own + across + 1, own + across];
                        let (c, r) = (column as f64, row as f64);
                        let corner = self.at((c, r + 1.0), across, down);
                        let opposite = self.at((c + 1.0, r), across, down);
                        (points, (corner, opposite))
                    })
                    .collect()
            })
            .collect()
    }

    /// The square's outline from corner to corner, with the points at which zero
    /// voltage begins or ends: whether it holds there, and on which side of an edge.
    #[expect(clippy::cast_precision_loss, reason = "points of a figure")]
    fn outline(&self, alone: &Alone, column: usize, row: usize) -> Vec<(Point, Step)> {
        let (across, own) = (alone.across, row * alone.across + column);
        let (c, r) = (column as f64, row as f64);
        // From each corner to the next, counter-clockwise.
        let sides = [
            (own, (c, r), alone.to_right[own].map(|p| (c + p, r))),
            (
                own + 1,
                (c + 1.0, r),
                alone.to_next[own + 1].map(|p| (c + 1.0, r + p)),
            ),
            (
                own + across + 1,
                (c + 1.0, r + 1.0),
                alone.to_right[own + across].map(|p| (c + p, r + 1.0)),
            ),
            (
                own + across,
                (c, r + 1.0),
                alone.to_next[own].map(|p| (c, r + p)),
            ),
        ];
        let mut outline = Vec::new();
        for (point, place, crossing) in sides {
            let at = |place| self.at(place, across, alone.down);
            outline.push((at(place), Step::Corner(alone.holds(point))));
            outline.extend(crossing.map(|place| (at(place), Step::Crossing)));
        }
        outline
    }

    /// The edge of zero voltage, in straight pieces from side to side of the squares
    /// (marching squares, common practice).
    pub fn edge(&self, alone: &Alone) -> Vec<(Point, Point)> {
        let mut pieces = Vec::new();
        for row in 0..alone.down - 1 {
            for column in 0..alone.across - 1 {
                let outline = self.outline(alone, column, row);
                let crossings: Vec<Point> = outline
                    .into_iter()
                    .filter(|(_, step)| matches!(step, Step::Crossing))
                    .map(|(point, _)| point)
                    .collect();
                pieces.extend(crossings.chunks_exact(2).map(|pair| (pair[0], pair[1])));
            }
        }
        pieces
    }

    /// The parts of squares that the edge crosses in which zero voltage holds.
    pub fn held_parts(&self, alone: &Alone) -> Vec<Vec<Point>> {
        let mut parts = Vec::new();
        for row in 0..alone.down - 1 {
            for column in 0..alone.across - 1 {
                let outline = self.outline(alone, column, row);
                let crossed = outline.len() > 4;
                let held = |step: &Step| !matches!(step, Step::Corner(false));
                let part = outline.into_iter().filter(|(_, step)| held(step));
                if crossed {
                    parts.push(part.map(|(point, _)| point).collect());
                }
            }
        }
        parts
    }

    /// The line on which values over a grid have a level, in straight pieces.
    #[expect(clippy::cast_precision_loss, reason = "points of a figure")]
    pub fn contour(&self, grid: &Grid, level: f64) -> Vec<(Point, Point)> {
        let mut pieces = Vec::new();
        for row in 0..grid.down - 1 {
            for column in 0..grid.across - 1 {
                let corners = [(0, 0), (1, 0), (1, 1), (0, 1)].map(|(c, r)| (column + c, row + r));
                let values = corners.map(|(c, r)| grid.values[r * grid.across + c] - level);
                let mut crossings = Vec::new();
                for k in 0..4 {
                    let (from, to) = (values[k], values[(k + 1) % 4]);
                    if (from >= 0.0) != (to >= 0.0) {
                        let part = from / (from - to);
                        let ((c0, r0), (c1, r1)) = (corners[k], corners[(k + 1) % 4]);
                        let along = |a: usize, b: usize| a as f64 + (b as f64 - a as f64) * part;
                        let place = (along(c0, c1), along(r0, r1));
                        crossings.push(self.at(place, grid.across, grid.down));
                    }
                }
                pieces.extend(crossings.chunks_exact(2).map(|pair| (pair[0], pair[1])));
            }
        }
        pieces
    }

    /// A place as parts of both axes.
    pub fn part(&self, (x, y): Point) -> (f64, f64) {
        let part = |from: i32, size: i32, at: i32| {
            let along = f64::from(at - from * FINE) / f64::from(size * FINE);
            along.clamp(0.0, 1.0)
        };
        (
            part(self.left, self.width, x),
            1.0 - part(self.top, self.height, y),
        )
    }

    /// The point of the circuit's own grid nearest to a place.
    #[expect(
        clippy::cast_precision_loss,
        clippy::cast_possible_truncation,
        clippy::cast_sign_loss,
        reason = "points of a figure"
    )]
    pub fn nearest(&self, place: Point, alone: &Alone) -> usize {
        let (x, y) = self.part(place);
        let near = |part: f64, points: usize| (part * (points - 1) as f64).round() as usize;
        near(y, alone.down) * alone.across + near(x, alone.across)
    }
}

/// What stands at a point of a square's outline.
enum Step {
    /// A corner, and whether zero voltage holds there.
    Corner(bool),
    /// Where zero voltage begins or ends.
    Crossing,
}

/// The upper left corner of a text beside a line, where it fits the plot, covers no
/// line, and lies where `inside` holds: as near to the middle of the plot as can be.
pub(super) fn beside(
    plot: &Plot,
    line: &[(Point, Point)],
    all: &[&(Point, Point)],
    (width, height): (i32, i32),
    inside: impl Fn(Point) -> bool,
) -> Option<Point> {
    let (left, top) = ((plot.left + 2) * FINE, (plot.top + 2) * FINE);
    let right = (plot.left + plot.width - 2) * FINE - width;
    let bottom = (plot.top + plot.height - 2) * FINE - height;
    let middle = (i32::midpoint(left, right), i32::midpoint(top, bottom));
    // Pieces of a coarse grid are longer than a text: points along them.
    let points: Vec<Point> = all
        .iter()
        .flat_map(|((x0, y0), (x1, y1))| {
            let parts = 1 + (x1 - x0).abs().max((y1 - y0).abs()) / (4 * FINE);
            (0..=parts).map(move |k| (x0 + (x1 - x0) * k / parts, y0 + (y1 - y0) * k / parts))
        })
        .collect();
    let away = 6 * FINE;
    let mut best: Option<(i64, Point)> = None;
    for ((x, y), _) in line {
        for x0 in [x + away, x - away - width, x - width / 2] {
            for y0 in [y + away, y - away - height, y - height / 2] {
                if x0 < left || y0 < top || x0 > right || y0 > bottom {
                    continue;
                }
                let (dx, dy) = (i64::from(x0 - middle.0), i64::from(y0 - middle.1));
                let far = dx * dx + dy * dy;
                if best.is_some_and(|(least, _)| least <= far) {
                    continue;
                }
                let covers = |(px, py): Point| {
                    (x0 - FINE..=x0 + width + FINE).contains(&px)
                        && (y0 - FINE..=y0 + height + FINE).contains(&py)
                };
                let corners = [
                    (x0, y0),
                    (x0 + width, y0),
                    (x0, y0 + height),
                    (x0 + width, y0 + height),
                ];
                let free = !points.iter().any(|point| covers(*point));
                if free && corners.into_iter().all(&inside) {
                    best = Some((far, (x0, y0)));
                }
            }
        }
    }
    best.map(|(_, place)| place)
}
