//! The node on its own: all switches of the commutating pair off, the clamp
//! open, the node moves with the inductor's current, and a body diode holds it
//! at a level until the current has come to zero.

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
}

/// Where no dead time is stated, the high side turns on after the node's arrival by this
/// part of the time to it. A choice of ours: near the arrival, so that no diode conducts long.
const AFTER: f64 = 0.05;

impl Motion {
    pub fn new(node: Node, kinks: &Kinks, inductance: f64, diodes: [Ramp; 2]) -> Self {
        let mut motion = Self {
            node,
            inductance,
            upper: Side::default(),
            lower: Side::default(),
            high_diode: diodes[0],
            low_diode: diodes[1],
        };
        motion.set(node, kinks, inductance);
        motion
    }

    fn set(&mut self, node: Node, kinks: &Kinks, inductance: f64) {
        self.node = node;
        self.inductance = inductance;
        self.upper.set(&node, kinks, inductance, true);
        self.lower.set(&node, kinks, inductance, false);
    }

    /// The motion at a point: between its levels the node moves without resistance, so
    /// that what was found of it holds as long as node and inductance stay.
    pub fn renew(&mut self, node: Node, kinks: &Kinks, inductance: f64, diodes: [Ramp; 2]) -> bool {
        [self.high_diode, self.low_diode] = diodes;
        let renewed = node != self.node || inductance != self.inductance;
        if renewed {
            self.set(node, kinks, inductance);
        }
        renewed
    }

    /// The current's square at the output voltage, for a start.
    pub fn energy(&self, start: Start) -> f64 {
        match start {
            Start::Output(k) => k,
            Start::Lower(current) if current >= 0.0 => self.lower.need,
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
    /// node has arrived, at most half of the time for which its diode holds the node then; or
    /// where the node is highest.
    pub fn adaptive_instant(&mut self, start: Start) -> f64 {
        let k = self.energy(start);
        let mut time = match start {
            Start::Output(_) => 0.0,
            Start::Lower(current) => {
                let hold = self.low_hold(current);
                hold.time + self.lower.travel(&self.node, k).time
            }
            // Nothing rises from there.
            Start::Upper(_) => return 0.0,
        };
        let climb = self.upper.travel(&self.node, k);
        time += climb.time;
        if self.upper.reaches(k) {
            let held = self.high_diode.between(-climb.current, 0.0).time;
            time += (AFTER * time).min(held / 2.0);
        }
        time
    }

    fn low_hold(&self, current: f64) -> Ramped {
        if current > 0.0 {
            self.low_diode.between(current, 0.0)
        } else {
            Ramped::default()
        }
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
                if current > 0.0 && self.holds_low(current, &mut left, &mut moved) {
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
                        if self.holds_high(whole.current, &mut left, &mut moved) {
                            return moved;
                        }
                        k = self.upper.need;
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
                        if self.holds_low(whole.current, &mut left, &mut moved) {
                            return moved;
                        }
                        k = self.lower.need;
                    }
                    phase = Phase::Approach;
                }
            }
        }
    }

    /// The high side's diode carries a current down to zero; whether the time
    /// ends before that.
    fn holds_high(&self, current: f64, left: &mut f64, moved: &mut Moved) -> bool {
        moved.w = self.node.above;
        let whole = self.high_diode.between(-current, 0.0);
        if *left <= whole.time {
            moved.current = self.high_diode.after(-current, *left).min(0.0);
            let part = self.high_diode.between(-current, moved.current);
            moved.high = moved.high.and(Ramped {
                time: *left,
                ..part
            });
            return true;
        }
        *left -= whole.time;
        moved.high = moved.high.and(whole);
        moved.current = 0.0;
        false
    }

    /// The same of the low side's diode.
    fn holds_low(&self, current: f64, left: &mut f64, moved: &mut Moved) -> bool {
        moved.w = -self.node.below;
        let whole = self.low_diode.between(current, 0.0);
        if *left <= whole.time {
            moved.current = self.low_diode.after(current, *left).max(0.0);
            let part = self.low_diode.between(current, moved.current);
            moved.low = moved.low.and(Ramped {
                time: *left,
                ..part
            });
            return true;
        }
        *left -= whole.time;
        moved.low = moved.low.and(whole);
        moved.current = 0.0;
        false
    }
}
