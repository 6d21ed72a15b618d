//! The node on its own: all switches of the commutating pair off, the clamp
//! open, the node moves with the inductor's current. Where it comes to a level with a
//! current left, it goes on to the body diode's drop beyond, the diode carries the
//! current down to zero, and the node falls back.

use super::beyond::{Arc, Beyond};
use super::node::{Kinks, Node};
use super::ramp::{Ramp, Ramped};
use super::side::Side;

/// Where the motion starts.
#[derive(Clone, Copy, Debug)]
pub(super) enum Start {
    /// At the output voltage, upwards, with the square of the current.
    Output(f64),
    /// At the lower level, with a current that is positive towards the output.
    Lower(f64),
    /// At the upper level, downwards, with a current that is positive towards the
    /// output.
    Upper(f64),
}

/// Where the node is after a time, and what happened on the way.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Moved {
    /// Voltage from the output.
    pub w: f64,
    /// Current, positive towards the output.
    pub current: f64,
    /// The integral of the current's square without the diodes' share.
    pub square: f64,
    /// The high side's body diode, its current negative.
    pub high: Ramped,
    /// The low side's body diode.
    pub low: Ramped,
    /// When the node passed the output voltage for the first time.
    pub passed: Option<f64>,
    /// When the node first reached the upper level, and the current then.
    pub arrival: Option<(f64, f64)>,
    /// When it first reached the lower level, and the current then.
    pub fallen: Option<(f64, f64)>,
}

/// How the node's way on from a place begins.
#[derive(Clone, Copy, Debug)]
enum Phase {
    /// From the lower level or turning point up to the output.
    Approach,
    /// From the output upwards.
    Climb,
    /// From the upper level or turning point down to the output.
    Return,
    /// From the output downwards.
    Descend,
}

/// The node between its levels, with what holds it there.
#[derive(Clone, Debug)]
pub(super) struct Motion {
    pub node: Node,
    inductance: f64,
    pub upper: Side,
    pub lower: Side,
    /// The high side's diode, holding the upper level.
    pub high_diode: Ramp,
    /// The low side's diode, holding the lower level.
    pub low_diode: Ramp,
    /// Their drops.
    drops: [f64; 2],
    /// Where the capacitance has kinks beyond the levels.
    breaks: [Vec<f64>; 2],
}

/// One of the node's two levels.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Level {
    Upper,
    Lower,
}

/// The node's way beyond a level and back to it: to the drop of the body diode, which
/// then carries the current to zero, or with less current to where it turns.
#[derive(Clone, Copy, Debug)]
pub(super) struct Excursion {
    out: Arc,
    diode: Ramped,
    pub back: Arc,
    /// The current with which the node comes back to the level, a magnitude, where the
    /// diode has conducted.
    pub returns: Option<f64>,
}

/// The low side's diode holds the node.
#[derive(Clone, Copy, Debug)]
pub(super) struct HeldLow {
    pub current: f64,
    pub diode: Ramped,
    /// The node from the output voltage.
    pub w: f64,
    /// The integral of the current's square on the way from the level to there.
    pub square: f64,
}

impl Excursion {
    /// From the level back to the level.
    pub fn time(&self) -> f64 {
        self.out.time + self.diode.time + self.back.time
    }
}

/// Where no dead time is stated, the high side turns on after the node's arrival by this
/// part of the time to it. A choice of ours: near the arrival, so that no diode conducts long.
const AFTER: f64 = 0.05;

impl Motion {
    pub fn new(
        node: Node,
        kinks: &Kinks,
        inductance: f64,
        diodes: [Ramp; 2],
        drops: [f64; 2],
    ) -> Self {
        let mut motion = Self {
            node,
            inductance,
            upper: Side::default(),
            lower: Side::default(),
            high_diode: diodes[0],
            low_diode: diodes[1],
            drops,
            breaks: Default::default(),
        };
        motion.set(node, kinks, inductance);
        motion
    }

    fn set(&mut self, node: Node, kinks: &Kinks, inductance: f64) {
        self.node = node;
        self.inductance = inductance;
        self.upper.set(&node, kinks, inductance, true);
        self.lower.set(&node, kinks, inductance, false);
        for (level, up) in [(Level::Upper, true), (Level::Lower, false)] {
            let place = level as usize;
            node.breaks_beyond(kinks, up, self.drops[place], &mut self.breaks[place]);
        }
    }

    /// The motion at a point: between its levels the node moves without resistance, so
    /// that what was found of it holds as long as node and inductance stay.
    pub fn renew(
        &mut self,
        node: Node,
        kinks: &Kinks,
        inductance: f64,
        diodes: [Ramp; 2],
        drops: [f64; 2],
    ) -> bool {
        [self.high_diode, self.low_diode] = diodes;
        let renewed = node != self.node || inductance != self.inductance || drops != self.drops;
        self.drops = drops;
        if renewed {
            self.set(node, kinks, inductance);
        }
        renewed
    }

    /// The current's square at the output voltage, for a start.
    pub fn energy(&self, start: Start) -> f64 {
        match start {
            Start::Output(k) => k,
            Start::Lower(current) if current >= 0.0 => self.after_release(current),
            Start::Lower(current) => current * current + self.lower.need,
            Start::Upper(current) => current * current + self.upper.need,
        }
    }

    /// When the node first comes to its upper level, and the current then, from the
    /// output or with a current into the node; `None` where it does not.
    pub fn arrival(&mut self, start: Start) -> Option<(f64, f64)> {
        let k = self.energy(start);
        if !self.upper.reaches(k) {
            return None;
        }
        let before = match start {
            Start::Output(_) => 0.0,
            Start::Lower(current) if current <= 0.0 => self.lower.travel(&self.node, k).time,
            Start::Lower(_) | Start::Upper(_) => return None,
        };
        let climb = self.upper.travel(&self.node, k);
        Some((before + climb.time, -climb.current))
    }

    /// The instant to turn the high side on where no dead time is stated: a little after the
    /// node has arrived, at most half of the time for which it stays at its level or beyond; or
    /// where the node is highest.
    pub fn adaptive_instant(&mut self, start: Start) -> f64 {
        let k = self.energy(start);
        let mut time = match start {
            Start::Output(_) => 0.0,
            Start::Lower(current) => {
                let before = if current > 0.0 {
                    self.excursion(Level::Lower, current).time()
                } else {
                    0.0
                };
                before + self.lower.travel(&self.node, k).time
            }
            // Nothing rises from there.
            Start::Upper(_) => return 0.0,
        };
        let climb = self.upper.travel(&self.node, k);
        time += climb.time;
        if self.upper.reaches(k) {
            let beyond = self.excursion(Level::Upper, climb.current).time();
            time += (AFTER * time).min(beyond / 2.0);
        }
        time
    }

    /// The current's square at the output voltage where a current that is positive
    /// towards the output flows at the lower level: what its diode leaves.
    fn after_release(&self, current: f64) -> f64 {
        let back = if current > 0.0 {
            let way = self.excursion(Level::Lower, current);
            way.returns.unwrap_or(current)
        } else {
            0.0
        };
        self.lower.need + back * back
    }

    /// The direction outwards at a level, and how far it is from the output voltage.
    fn place(&self, level: Level) -> (f64, f64) {
        match level {
            Level::Upper => (1.0, self.node.above),
            Level::Lower => (-1.0, self.node.below),
        }
    }

    /// The capacitance so far beyond a level, and the energy from the level to there.
    fn outside(&self, level: Level) -> impl Fn(f64) -> (f64, f64) + use<> {
        let (node, (sign, reach)) = (self.node, self.place(level));
        let base = node.moments(sign * reach).work;
        move |distance| {
            let (capacitance, moments) = node.sample(sign * (reach + distance));
            (capacitance, moments.work - base)
        }
    }

    /// The node beyond a level that it comes to with a current, a magnitude.
    fn beyond(&self, level: Level, current: f64) -> Beyond<'_, impl Fn(f64) -> (f64, f64) + use<>> {
        let (_, reach) = self.place(level);
        let drop = self.drops[level as usize];
        let breaks = &self.breaks[level as usize];
        let outside = self.outside(level);
        Beyond::new(outside, breaks, self.inductance, reach, drop, current)
    }

    /// The node on its way back from the drop beyond a level, the current there zero.
    fn falling(&self, level: Level) -> Beyond<'_, impl Fn(f64) -> (f64, f64) + use<>> {
        let (_, reach) = self.place(level);
        let drop = self.drops[level as usize];
        let breaks = &self.breaks[level as usize];
        Beyond::from_drop(self.outside(level), breaks, self.inductance, reach, drop)
    }

    /// The integral of a function of the distance beyond a level over the time of an arc
    /// that begins or ends there with a current, a magnitude.
    pub fn integral_beyond(
        &self,
        level: Level,
        current: f64,
        function: impl Fn(f64) -> f64,
    ) -> f64 {
        self.beyond(level, current).integral(function)
    }

    /// The diode of a level from a current, a magnitude, to zero.
    fn diode(&self, level: Level, current: f64) -> Ramped {
        match level {
            Level::Upper => self.high_diode.between(-current, 0.0),
            Level::Lower => self.low_diode.between(current, 0.0),
        }
    }

    /// The way beyond a level from a current, a magnitude.
    pub fn excursion(&self, level: Level, current: f64) -> Excursion {
        // A current that is none, or no number, moves nothing.
        if self.drops[level as usize] == 0.0 || current == 0.0 || !current.is_finite() {
            return Excursion {
                out: Arc {
                    current,
                    ..Arc::default()
                },
                diode: self.diode(level, current),
                back: Arc::default(),
                returns: Some(0.0),
            };
        }
        let out = self.beyond(level, current).outwards();
        if out.current > 0.0 {
            let falling = self.falling(level);
            Excursion {
                out,
                diode: self.diode(level, out.current),
                back: falling.outwards(),
                returns: Some(falling.start()),
            }
        } else {
            Excursion {
                out,
                diode: Ramped::default(),
                back: out,
                returns: None,
            }
        }
    }

    /// The current of the low side's diode, and its share, a time after the node has come
    /// to the lower level with a current; `None` where the diode does not conduct then.
    pub fn held_low(&self, current: f64, time: f64) -> Option<HeldLow> {
        let out = if self.drops[Level::Lower as usize] == 0.0 {
            Arc {
                current,
                ..Arc::default()
            }
        } else {
            self.beyond(Level::Lower, current).outwards()
        };
        let (left, from) = (time - out.time, out.current);
        if left < 0.0 || from == 0.0 {
            return None;
        }
        let current = self.low_diode.after(from, left);
        let diode = Ramped {
            time: left,
            ..self.low_diode.between(from, current)
        };
        (current > 0.0).then_some(HeldLow {
            current,
            diode,
            w: -self.node.below - out.distance,
            square: out.square,
        })
    }

    /// The node a time after the start.
    pub fn after(&mut self, start: Start, time: f64) -> Moved {
        let mut moved = Moved::default();
        let mut left = time;
        let mut k = self.energy(start);
        let mut phase = Phase::Climb;
        match start {
            Start::Output(_) => {}
            Start::Lower(current) => {
                moved.w = -self.node.below;
                moved.current = current;
                if current > 0.0
                    && self
                        .passes(Level::Lower, current, k, &mut left, &mut moved)
                        .is_none()
                {
                    return moved;
                }
                phase = Phase::Approach;
            }
            Start::Upper(_) => phase = Phase::Return,
        }
        // The square of the current at the start of the last climb, time left and
        // squared current then: whole rings that repeat are skipped.
        let mut climb: Option<(f64, f64, f64)> = None;
        loop {
            match phase {
                Phase::Approach => {
                    let whole = self.lower.travel(&self.node, k);
                    if left < whole.time {
                        let part = self.lower.after(&self.node, k, whole.time - left);
                        moved.w = -part.distance;
                        moved.current = -part.current;
                        moved.square += whole.square - part.square;
                        return moved;
                    }
                    left -= whole.time;
                    moved.square += whole.square;
                    phase = Phase::Climb;
                }
                Phase::Climb => {
                    moved.passed.get_or_insert(time - left);
                    if let Some((before, then, square)) = climb
                        && before == k
                    {
                        let period = then - left;
                        if period.partial_cmp(&0.0) != Some(std::cmp::Ordering::Greater) {
                            return moved;
                        }
                        let rings = (left / period).floor();
                        left -= rings * period;
                        moved.square += rings * (moved.square - square);
                    }
                    climb = Some((k, left, moved.square));
                    let whole = self.upper.travel(&self.node, k);
                    if whole.distance == 0.0 {
                        // No current: the node rests at the output voltage.
                        (moved.w, moved.current) = (0.0, 0.0);
                        return moved;
                    }
                    if left < whole.time {
                        let part = self.upper.after(&self.node, k, left);
                        moved.w = part.distance;
                        moved.current = -part.current;
                        moved.square += part.square;
                        return moved;
                    }
                    left -= whole.time;
                    moved.square += whole.square;
                    if self.upper.reaches(k) {
                        moved.arrival.get_or_insert((time - left, -whole.current));
                        let next =
                            self.passes(Level::Upper, whole.current, k, &mut left, &mut moved);
                        let Some(next) = next else {
                            return moved;
                        };
                        k = next;
                    }
                    phase = Phase::Return;
                }
                Phase::Return => {
                    let whole = self.upper.travel(&self.node, k);
                    if left <= whole.time {
                        let part = self.upper.after(&self.node, k, whole.time - left);
                        moved.w = part.distance;
                        moved.current = part.current;
                        moved.square += whole.square - part.square;
                        return moved;
                    }
                    left -= whole.time;
                    moved.square += whole.square;
                    phase = Phase::Descend;
                }
                Phase::Descend => {
                    let whole = self.lower.travel(&self.node, k);
                    if left < whole.time {
                        let part = self.lower.after(&self.node, k, left);
                        moved.w = -part.distance;
                        moved.current = part.current;
                        moved.square += part.square;
                        return moved;
                    }
                    left -= whole.time;
                    moved.square += whole.square;
                    if self.lower.reaches(k) {
                        moved.fallen.get_or_insert((time - left, whole.current));
                        let next =
                            self.passes(Level::Lower, whole.current, k, &mut left, &mut moved);
                        let Some(next) = next else {
                            return moved;
                        };
                        k = next;
                    }
                    phase = Phase::Approach;
                }
            }
        }
    }

    /// The node goes beyond a level and comes back: the current's square at the output
    /// voltage from then on; `None` where the time ends before that.
    fn passes(
        &self,
        level: Level,
        current: f64,
        k: f64,
        left: &mut f64,
        moved: &mut Moved,
    ) -> Option<f64> {
        let way = self.excursion(level, current);
        let (sign, reach) = self.place(level);
        let need = match level {
            Level::Upper => self.upper.need,
            Level::Lower => self.lower.need,
        };
        // Outwards the current is negative at the upper level.
        if *left < way.out.time {
            let arc = self.beyond(level, current).after(*left);
            moved.w = sign * (reach + arc.distance);
            moved.current = -sign * arc.current;
            moved.square += arc.square;
            return None;
        }
        *left -= way.out.time;
        moved.square += way.out.square;
        if way.returns.is_some() {
            if *left <= way.diode.time {
                moved.w = sign * (reach + way.out.distance);
                let (ramp, from) = match level {
                    Level::Upper => (self.high_diode, -way.out.current),
                    Level::Lower => (self.low_diode, way.out.current),
                };
                let now = ramp.after(from, *left);
                moved.current = match level {
                    Level::Upper => now.min(0.0),
                    Level::Lower => now.max(0.0),
                };
                let part = Ramped {
                    time: *left,
                    ..ramp.between(from, moved.current)
                };
                moved.conducts(level, part);
                return None;
            }
            *left -= way.diode.time;
            moved.conducts(level, way.diode);
        }
        if *left < way.back.time {
            let before = way.back.time - *left;
            let arc = if way.returns.is_some() {
                self.falling(level).after(before)
            } else {
                self.beyond(level, current).after(before)
            };
            moved.w = sign * (reach + arc.distance);
            moved.current = sign * arc.current;
            moved.square += way.back.square - arc.square;
            return None;
        }
        *left -= way.back.time;
        moved.square += way.back.square;
        moved.current = 0.0;
        moved.w = sign * reach;
        Some(way.returns.map_or(k, |returns| need + returns * returns))
    }
}

impl Moved {
    fn conducts(&mut self, level: Level, diode: Ramped) {
        match level {
            Level::Upper => self.high = self.high.and(diode),
            Level::Lower => self.low = self.low.and(diode),
        }
    }
}
