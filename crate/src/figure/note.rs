//! Where a value is written beside its point: on no line and on no other value.

use super::{FINE, width_of};

/// Height of a line of text, in pixels.
const HEIGHT: i32 = 13;

/// What a value must not cover in a panel, in steps.
pub(super) struct Obstacles {
    /// Left, top, right and bottom of the panel.
    panel: [i32; 4],
    /// Points along the lines, close enough together that no text fits between.
    points: Vec<(i32, i32)>,
    /// The values already written.
    taken: Vec<[i32; 4]>,
}

impl Obstacles {
    /// None yet, in a panel of left, top, width and height in pixels.
    pub fn new((left, top, width, height): (i32, i32, i32, i32)) -> Self {
        Self {
            panel: [left, top, left + width, top + height].map(|v| v * FINE),
            points: Vec::new(),
            taken: Vec::new(),
        }
    }

    /// A line of the panel.
    pub fn line(&mut self, path: &[(i32, i32)]) {
        for pair in path.windows(2) {
            let ((x0, y0), (x1, y1)) = (pair[0], pair[1]);
            let length = (x1 - x0).abs().max((y1 - y0).abs());
            let parts = (length / (4 * FINE)).clamp(1, 1000);
            for k in 0..=parts {
                let along = |a: i32, b: i32| a + (b - a) / parts * k;
                self.points.push((along(x0, x1), along(y0, y1)));
            }
        }
    }

    /// How much of the panel's lines and values a box covers; none where it leaves
    /// the panel.
    fn cost(&self, [left, top, right, bottom]: [i32; 4]) -> Option<usize> {
        let panel = self.panel;
        if left < panel[0] || top < panel[1] || right > panel[2] || bottom > panel[3] {
            return None;
        }
        let within = |(x, y): &(i32, i32)| (left..=right).contains(x) && (top..=bottom).contains(y);
        let apart =
            |own: &[i32; 4]| own[2] < left || own[0] > right || own[3] < top || own[1] > bottom;
        let points = self.points.iter().filter(|point| within(point)).count();
        let values = self.taken.iter().filter(|own| !apart(own)).count();
        Some(points + 1000 * values)
    }
}

/// The upper left corner of a value's text beside its point: the nearest place that
/// covers least.
pub(super) fn note(text: &str, (x, y): (i32, i32), obstacles: &mut Obstacles) -> (i32, i32) {
    let (width, height) = (width_of(text) * FINE, HEIGHT * FINE);
    let mut best: Option<(usize, [i32; 4])> = None;
    for distance in [3, 10, 18, 28, 40, 56] {
        let away = distance * FINE;
        for left in [x + 3 * FINE, x - 3 * FINE - width, x - width / 2] {
            for top in [y + away, y - away - height] {
                let place = [left, top, left + width, top + height];
                let better = |cost: &usize| best.is_none_or(|(least, _)| *cost < least);
                if let Some(cost) = obstacles.cost(place).filter(better) {
                    best = Some((cost, place));
                }
            }
        }
    }
    let place = best.map_or([x, y, x + width, y + height], |(_, place)| place);
    obstacles.taken.push(place);
    (place[0], place[1])
}
