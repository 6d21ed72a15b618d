//! The requirements that a cell decides, each with its one slack.

use super::probe::Cell;
use crate::cycle::{self, Course, State, SteadyState, Switching};
use crate::quantity::{Current, Dimensioned, Exponents, Inductance, Time, Voltage};
use crate::stage::{Specification, Transistor};

/// A requirement on a cell.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Check {
    /// The hold lasts: the inductance is below its ceiling in operation.
    Inductance,
    /// The trip threshold leaves the margin over the floor after the longest hold.
    TripThreshold,
    /// The release path can reach the trip threshold.
    TripReach,
    /// The high side turns on at zero voltage.
    ZeroVoltage,
    /// The dead time lasts until the node has arrived.
    DeadTimeEarliest,
    /// The dead time ends before the node rings back.
    DeadTimeLatest,
    /// The low side's dead time lasts until the node has fallen.
    LowDeadTimeEarliest,
    /// The low side's dead time ends before the node rises again.
    LowDeadTimeLatest,
    /// The on-time is one that the control can give.
    OnTime,
    /// Each high-side transistor blocks its voltage.
    HighBlocking,
    /// Each low-side transistor blocks its voltage.
    LowBlocking,
    /// The clamp blocks its voltage in operation.
    ClampBlocking,
    /// The outermost pair blocks its voltage at start-up.
    OutermostStart,
    /// The clamp blocks its voltage at start-up.
    ClampStart,
    /// The outermost pair blocks its voltage after a step of the input.
    OutermostStep,
    /// The ripple of each flying capacitor.
    FlyingRipple,
    /// The ripple of the output.
    OutputRipple,
    /// The peak current stays below saturation.
    Saturation,
    /// The rms current of a high-side transistor.
    HighCurrent,
    /// The rms current of a low-side transistor.
    LowCurrent,
    /// The rms current of the clamp.
    ClampCurrent,
}

/// Which way a value must lie.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Direction {
    /// At most the limit.
    AtMost,
    /// At least the limit.
    AtLeast,
}

impl Direction {
    /// In words, before the limit.
    #[must_use]
    pub const fn words(self) -> &'static str {
        match self {
            Self::AtMost => "at most",
            Self::AtLeast => "at least",
        }
    }

    /// Whether a value keeps a limit.
    #[must_use]
    pub fn holds(self, value: f64, limit: f64) -> bool {
        match self {
            Self::AtMost => value <= limit,
            Self::AtLeast => value >= limit,
        }
    }
}

/// What a cell says about a requirement.
#[derive(Clone, Debug, PartialEq)]
pub enum Reading {
    /// A value and its limit; either is missing where the specification does not state it.
    Number {
        /// The value, in the coherent unit.
        value: Option<f64>,
        /// The limit, in the coherent unit.
        limit: Option<f64>,
    },
    /// The requirement fails without a number: why.
    Fails(&'static str),
    /// The cell does not run, so that nothing can be said: why.
    Undecided(String),
    /// The requirement does not apply to this stage.
    Absent,
}

/// How far a requirement is from failing, for a search.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Slack {
    /// Above zero where it holds; the distance as a part of the limit.
    Number(f64),
    /// It fails, without a number.
    Fails,
    /// The cell does not run.
    Undecided,
    /// The specification does not state what it needs; less is worse.
    NotStated(f64),
    /// It does not apply to this stage.
    Absent,
}

impl Slack {
    /// Whether the requirement holds, where that can be said.
    #[must_use]
    pub fn holds(self) -> Option<bool> {
        match self {
            Self::Number(slack) => Some(slack >= 0.0),
            Self::Fails => Some(false),
            Self::Undecided | Self::NotStated(_) | Self::Absent => None,
        }
    }

    /// Whether this is worse than another; what is undecided is no worse than anything.
    #[must_use]
    pub fn is_worse_than(self, other: Self) -> bool {
        let rank = |slack: Self| match slack {
            Self::Fails => (0, 0.0),
            Self::Number(value) | Self::NotStated(value) => (1, value),
            Self::Undecided | Self::Absent => (2, 0.0),
        };
        let (one, two) = (rank(self), rank(other));
        one.0 < two.0 || (one.0 == two.0 && one.1 < two.1)
    }
}

/// Ratings and limits that the specification states, the margin taken off.
#[derive(Clone, Copy, Debug, Default)]
pub struct Limits {
    high_voltage: Option<f64>,
    low_voltage: Option<f64>,
    clamp_voltage: Option<f64>,
    /// What the outermost pair blocks when the input steps over its whole range before
    /// the flying capacitors follow.
    after_step: f64,
    /// Whether the flying capacitors are charged before the stage starts.
    precharged: bool,
    /// Whether the input changes no faster than the flying capacitors follow.
    slow_input: bool,
    /// As a part of the step.
    flying_ripple: Option<f64>,
    output_ripple: Option<f64>,
    on_time: Option<f64>,
    saturation: Option<f64>,
    high_current: Option<f64>,
    low_current: Option<f64>,
    clamp_current: Option<f64>,
}

impl Limits {
    /// The lower rating of the two transistors of a pair, where both are stated.
    fn pair_voltage(&self) -> Option<f64> {
        Some(self.high_voltage?.min(self.low_voltage?))
    }

    /// Those of a specification.
    #[must_use]
    pub fn new(specification: &Specification) -> Self {
        let s = specification;
        let keep = s.part_of_rated_voltage();
        let voltage = |rated: Option<Voltage>| rated.map(|rated| keep * rated.coherent());
        let current = |t: &Transistor| t.data.rated_current.map(Dimensioned::coherent);
        Self {
            high_voltage: voltage(s.high.rated_voltage),
            low_voltage: voltage(s.low.rated_voltage),
            clamp_voltage: voltage(s.clamp.rated_voltage),
            after_step: {
                let pairs = f64::from(s.levels - 1);
                let range = s.input_voltage;
                (range.max - (pairs - 1.0) * range.min / pairs).coherent()
            },
            precharged: s.starts_charged(),
            slow_input: s.start_up.slow_input,
            flying_ripple: s.flying_ripple.map(Dimensioned::coherent),
            output_ripple: s.output_ripple.map(Dimensioned::coherent),
            on_time: s.minimum_on_time.map(Dimensioned::coherent),
            saturation: s
                .parts
                .inductor
                .saturation_current
                .map(Dimensioned::coherent),
            high_current: current(&s.high),
            low_current: current(&s.low),
            clamp_current: s.clamp.data.rated_current.map(Dimensioned::coherent),
        }
    }
}

/// Words of a cell that does not run, for what its requirements would be about.
const SKIPS: &str = "The on-time would be shorter than the control can give: pulses are skipped.";
const NO_ARRIVAL: &str =
    "The node does not come near its upper level: no dead time gives zero voltage.";
const NO_FALL: &str =
    "The node does not fall to its lower level: no dead time of the low side gives zero voltage.";
const TOO_MUCH_ENERGY: &str =
    "Little voltage is left at turn-on, but more than 0.5 % of the energy of a full turn-on.";
const NO_ON_TIME: &str =
    "The shortest pulse brings more charge than the load takes: pulses are skipped.";

impl Check {
    /// Every requirement, in the order in which they are shown.
    pub const ALL: [Self; 21] = [
        Self::Inductance,
        Self::TripThreshold,
        Self::TripReach,
        Self::ZeroVoltage,
        Self::DeadTimeEarliest,
        Self::DeadTimeLatest,
        Self::LowDeadTimeEarliest,
        Self::LowDeadTimeLatest,
        Self::OnTime,
        Self::HighBlocking,
        Self::LowBlocking,
        Self::ClampBlocking,
        Self::OutermostStart,
        Self::ClampStart,
        Self::OutermostStep,
        Self::FlyingRipple,
        Self::OutputRipple,
        Self::Saturation,
        Self::HighCurrent,
        Self::LowCurrent,
        Self::ClampCurrent,
    ];

    /// Its name in data.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Inductance => "inductance",
            Self::TripThreshold => "trip_threshold",
            Self::TripReach => "trip_reach",
            Self::ZeroVoltage => "zero_voltage",
            Self::DeadTimeEarliest => "dead_time_earliest",
            Self::DeadTimeLatest => "dead_time_latest",
            Self::LowDeadTimeEarliest => "low_dead_time_earliest",
            Self::LowDeadTimeLatest => "low_dead_time_latest",
            Self::OnTime => "on_time",
            Self::HighBlocking => "high_side_blocking",
            Self::LowBlocking => "low_side_blocking",
            Self::ClampBlocking => "clamp_blocking",
            Self::OutermostStart => "outermost_pair_at_start_up",
            Self::ClampStart => "clamp_at_start_up",
            Self::OutermostStep => "outermost_pair_after_input_step",
            Self::FlyingRipple => "flying_ripple",
            Self::OutputRipple => "output_ripple",
            Self::Saturation => "saturation",
            Self::HighCurrent => "high_side_current",
            Self::LowCurrent => "low_side_current",
            Self::ClampCurrent => "clamp_current",
        }
    }

    /// Whether it is one of those on a window, which a dead time has to meet.
    #[must_use]
    pub const fn is_of_a_window(self) -> bool {
        matches!(
            self,
            Self::DeadTimeEarliest
                | Self::DeadTimeLatest
                | Self::LowDeadTimeEarliest
                | Self::LowDeadTimeLatest
        )
    }

    /// Whether it is about the low side's dead time.
    pub(super) const fn is_of_the_low_side(self) -> bool {
        matches!(self, Self::LowDeadTimeEarliest | Self::LowDeadTimeLatest)
    }

    /// What is required, in words.
    #[must_use]
    pub const fn words(self) -> &'static str {
        match self {
            Self::Inductance => "Inductance versus the ceiling in operation",
            Self::TripThreshold => "Trip threshold as set, versus that required for the margin",
            Self::TripReach => "Trip threshold versus what the release path can reach",
            Self::ZeroVoltage => "Zero-voltage turn-on of the high side: voltage left across it",
            Self::DeadTimeEarliest => "Dead time versus the node's arrival at the upper level",
            Self::DeadTimeLatest => {
                "Dead time versus its latest instant, before the node rings back"
            }
            Self::LowDeadTimeEarliest => {
                "Dead time of the low side versus the node's arrival at the lower level"
            }
            Self::LowDeadTimeLatest => {
                "Dead time of the low side versus its latest instant, before the node rises again"
            }
            Self::OnTime => "On-time versus the minimum that the control gives",
            Self::HighBlocking => "Voltage blocked by a high-side transistor",
            Self::LowBlocking => "Voltage blocked by a low-side transistor",
            Self::ClampBlocking => "Voltage blocked by the clamp in operation",
            Self::OutermostStart => "Voltage blocked by the outermost pair at start-up",
            Self::ClampStart => "Voltage blocked by the clamp at start-up",
            Self::OutermostStep => {
                "Voltage blocked by the outermost pair after a step of the input"
            }
            Self::FlyingRipple => "Ripple of a flying capacitor, peak to peak",
            Self::OutputRipple => "Ripple of the output, peak to peak",
            Self::Saturation => "Peak current versus the saturation current of the inductor",
            Self::HighCurrent => "Current of a high-side transistor, rms",
            Self::LowCurrent => "Current of a low-side transistor, rms",
            Self::ClampCurrent => "Current of the clamp, rms",
        }
    }

    /// The name of the result whose derivation explains it, for flying capacitors that are
    /// precharged or not.
    #[must_use]
    pub const fn explained_by(self, precharged: bool) -> &'static str {
        match self {
            Self::Inductance => "inductance_ceiling_operating",
            Self::TripThreshold => "trip_current",
            Self::TripReach => "release_path_current",
            Self::ZeroVoltage => "freewheel_floor",
            Self::DeadTimeEarliest => "dead_time_earliest",
            Self::DeadTimeLatest => "dead_time_latest",
            Self::LowDeadTimeEarliest => "fall_time_least_load",
            Self::LowDeadTimeLatest => "fall_latest",
            Self::OnTime => "on_time_least",
            Self::HighBlocking | Self::LowBlocking => "transistor_blocking_voltage",
            Self::ClampBlocking => "clamp_blocking_voltage",
            Self::OutermostStart | Self::ClampStart if precharged => "clamp_blocking_voltage_start",
            Self::OutermostStart | Self::ClampStart => "outermost_blocking_voltage_start",
            Self::OutermostStep => "outermost_blocking_voltage_step",
            Self::FlyingRipple => "flying_ripple",
            Self::OutputRipple => "output_ripple",
            Self::Saturation | Self::HighCurrent | Self::LowCurrent | Self::ClampCurrent => {
                "peak_current"
            }
        }
    }

    /// Which way the value must lie.
    #[must_use]
    pub const fn direction(self) -> Direction {
        match self {
            Self::TripThreshold
            | Self::DeadTimeEarliest
            | Self::LowDeadTimeEarliest
            | Self::OnTime => Direction::AtLeast,
            _ => Direction::AtMost,
        }
    }

    /// The dimension of value and limit.
    #[must_use]
    pub const fn exponents(self) -> Exponents {
        match self {
            Self::Inductance => Inductance::EXPONENTS,
            Self::TripThreshold
            | Self::TripReach
            | Self::Saturation
            | Self::HighCurrent
            | Self::LowCurrent
            | Self::ClampCurrent => Current::EXPONENTS,
            Self::DeadTimeEarliest
            | Self::DeadTimeLatest
            | Self::LowDeadTimeEarliest
            | Self::LowDeadTimeLatest
            | Self::OnTime => Time::EXPONENTS,
            Self::ZeroVoltage
            | Self::HighBlocking
            | Self::LowBlocking
            | Self::ClampBlocking
            | Self::OutermostStart
            | Self::ClampStart
            | Self::OutermostStep
            | Self::FlyingRipple
            | Self::OutputRipple => Voltage::EXPONENTS,
        }
    }
}

/// How much of what counts as zero voltage is used up: one at the limit.
fn used_of_zero_voltage(course: &Course) -> f64 {
    let voltage = course.turn_on.voltage / course.full_turn_on.voltage;
    let share = course.turn_on_share().coherent() / cycle::NO_ENERGY;
    share.max(voltage.coherent() / cycle::NO_VOLTAGE)
}

/// Whether the low side turns on with next to no voltage and energy left.
fn low_side_is_soft(course: &Course) -> bool {
    let (left, full) = (course.low_turn_on, course.full_turn_on);
    // At its level or beyond, where its diode holds the node, nothing is left across it.
    left.voltage.coherent() == 0.0
        || left.voltage <= cycle::NO_VOLTAGE * full.voltage
            && left.energy <= cycle::NO_ENERGY * full.energy
}

/// What a cell says, however it runs.
fn number(value: Option<f64>, limit: Option<f64>) -> Reading {
    Reading::Number { value, limit }
}

impl Check {
    /// How far a cell is from failing the requirement.
    pub(crate) fn slack(self, cell: &Cell, limits: &Limits) -> Slack {
        if self == Self::Inductance
            && let Ok(steady) = &cell.steady
            && let Some(left) = steady.hold_left()
        {
            return Slack::Number((left / cell.circuit.cell_time()).coherent());
        }
        if self == Self::TripThreshold
            && let Ok(steady) = &cell.steady
            && let Some(wanted) = steady.trip_wanted
        {
            // Beside the floor, so that a threshold of nothing has a slack that a search can
            // follow.
            let trip = cell.circuit.trip_threshold.coherent();
            let wanted = wanted.coherent();
            let size = trip.abs().max(wanted.abs()).max(steady.floor.coherent());
            return Slack::Number(if size > 0.0 {
                (trip - wanted) / size
            } else {
                0.0
            });
        }
        let slack = self.slack_of(&self.read(cell, limits));
        match cell.course() {
            // By degrees: what is left counts as none up to a part of the step and of the
            // energy of a full turn-on.
            Some(course) if self == Self::ZeroVoltage => {
                Slack::Number(1.0 - used_of_zero_voltage(&course))
            }
            Some(course) if self.is_of_a_window() => self.by_degrees(slack, &course),
            _ => slack,
        }
    }

    /// The slack of a dead time: what a transistor turns on with decides its sign.
    fn by_degrees(self, slack: Slack, course: &Course) -> Slack {
        let soft = match self {
            Self::DeadTimeEarliest | Self::DeadTimeLatest => {
                course.switching() == Switching::ZeroVoltage
            }
            _ => low_side_is_soft(course),
        };
        match slack {
            Slack::Number(value) if soft => Slack::Number(value.max(0.0)),
            Slack::Fails if soft => Slack::Number(0.0),
            other => other,
        }
    }

    fn slack_of(self, reading: &Reading) -> Slack {
        match *reading {
            Reading::Fails(_) => Slack::Fails,
            Reading::Undecided(_) => Slack::Undecided,
            Reading::Absent => Slack::Absent,
            Reading::Number { value, limit } => {
                let sign = match self.direction() {
                    Direction::AtMost => 1.0,
                    Direction::AtLeast => -1.0,
                };
                match (value, limit) {
                    (Some(value), Some(limit)) => {
                        let size = limit.abs().max(value.abs());
                        let distance = sign * (limit - value);
                        Slack::Number(if size > 0.0 { distance / size } else { 0.0 })
                    }
                    (Some(value), None) => Slack::NotStated(-sign * value),
                    (None, Some(limit)) => Slack::NotStated(sign * limit),
                    (None, None) => Slack::Absent,
                }
            }
        }
    }

    /// What a cell says about the requirement. For the inductance the limit is left out:
    /// finding the ceiling takes many cells, see [`Probe::reading`](super::Probe::reading).
    pub(super) fn read(self, cell: &Cell, limits: &Limits) -> Reading {
        if self == Self::FlyingRipple && cell.circuit.pairs < 2 {
            return Reading::Absent;
        }
        let steady = match &cell.steady {
            Ok(steady) => steady,
            Err(refused) => return Reading::Undecided(format!("No steady state: {refused}.")),
        };
        if let Some(reading) = self.without_course(cell, steady, limits) {
            return reading;
        }
        match &steady.course {
            Some(course) if !cell.skips() || self == Self::OnTime => {
                self.of_course(cell, course, limits)
            }
            Some(_) => Reading::Undecided(SKIPS.to_owned()),
            None if self == Self::OnTime && steady.state == State::BelowLeastOnTime => {
                Reading::Fails(NO_ON_TIME)
            }
            None => Reading::Undecided(steady.words().to_owned()),
        }
    }

    /// What needs no whole cell.
    fn without_course(self, cell: &Cell, steady: &SteadyState, limits: &Limits) -> Option<Reading> {
        let c = &cell.circuit;
        match self {
            Self::Inductance => {
                let short = steady.time_short.is_some();
                let whole = steady.course.is_some_and(|course| course.hold.is_some());
                (short || whole).then(|| number(Some(c.inductance.coherent()), None))
            }
            Self::TripThreshold => Some(number(
                Some(c.trip_threshold.coherent()),
                steady.trip_needed.map(Dimensioned::coherent),
            )),
            Self::TripReach => {
                let reach = steady.trip_reach?.coherent() + c.trip_offset.coherent();
                Some(number(Some(c.trip_threshold.coherent()), Some(reach)))
            }
            Self::OutermostStart | Self::ClampStart => {
                // Empty flying capacitors leave the whole input to the outermost pair, and
                // to the clamp while the output is at zero.
                let input = cell.at.input_voltage.coherent();
                let pairs = f64::from(c.pairs);
                let seen = if limits.precharged {
                    input / pairs
                } else {
                    input
                };
                let limit = if self == Self::ClampStart {
                    limits.clamp_voltage
                } else {
                    limits.pair_voltage()
                };
                Some(number(Some(seen), limit))
            }
            Self::OutermostStep if c.pairs < 2 || limits.slow_input => Some(Reading::Absent),
            Self::OutermostStep => Some(number(Some(limits.after_step), limits.pair_voltage())),
            _ => None,
        }
    }

    fn of_course(self, cell: &Cell, course: &Course, limits: &Limits) -> Reading {
        let c = &cell.circuit;
        let (pairs, paths) = (f64::from(c.pairs), &course.paths);
        let step = cell.at.input_voltage.coherent() / pairs;
        let flying = paths
            .flying
            .and_then(|flying| flying.ripple)
            .map(Voltage::coherent);
        // The pairs at the ends have one flying capacitor beside them, the others two.
        let neighbours = if c.pairs > 2 { 2.0 } else { 1.0 };
        let blocked = step + neighbours * flying.unwrap_or(0.0) / 2.0;
        let at_output = cell.at.output_voltage.coherent();
        let below = at_output - f64::from(c.band) * step;
        let window = |window: Option<(Time, Time)>,
                      dead: Option<Time>,
                      end: fn((Time, Time)) -> Time,
                      none| {
            match window {
                Some(window) => number(
                    dead.map(Dimensioned::coherent),
                    Some(end(window).coherent()),
                ),
                None => Reading::Fails(none),
            }
        };
        match self {
            Self::Inductance
            | Self::TripThreshold
            | Self::TripReach
            | Self::OutermostStart
            | Self::ClampStart
            | Self::OutermostStep => Reading::Absent,
            Self::ZeroVoltage => {
                let left = course.turn_on.voltage;
                let allowed = cycle::NO_VOLTAGE * course.full_turn_on.voltage;
                if left <= allowed && used_of_zero_voltage(course) > 1.0 {
                    return Reading::Fails(TOO_MUCH_ENERGY);
                }
                number(Some(left.coherent()), Some(allowed.coherent()))
            }
            Self::DeadTimeEarliest => window(
                course.window_start.zip(course.window_end),
                c.dead_time,
                |w| w.0,
                NO_ARRIVAL,
            ),
            Self::DeadTimeLatest => window(
                course.window_start.zip(course.window_end),
                c.dead_time,
                |w| w.1,
                NO_ARRIVAL,
            ),
            Self::LowDeadTimeEarliest => {
                window(course.low_window, c.dead_time_of_fall(), |w| w.0, NO_FALL)
            }
            Self::LowDeadTimeLatest => {
                window(course.low_window, c.dead_time_of_fall(), |w| w.1, NO_FALL)
            }
            Self::OnTime => number(Some(course.on_time.coherent()), limits.on_time),
            Self::HighBlocking => number(Some(blocked), limits.high_voltage),
            Self::LowBlocking => number(Some(blocked), limits.low_voltage),
            Self::ClampBlocking => number(
                Some(below.max(step - below) + flying.unwrap_or(0.0) / 2.0),
                limits.clamp_voltage,
            ),
            Self::FlyingRipple => number(flying, limits.flying_ripple.map(|part| part * step)),
            Self::OutputRipple => {
                number(Some(paths.output.ripple.coherent()), limits.output_ripple)
            }
            Self::Saturation => number(
                Some(course.highest_peak_current.coherent()),
                limits.saturation,
            ),
            Self::HighCurrent => number(Some(paths.high.rms.coherent()), limits.high_current),
            Self::LowCurrent => number(Some(paths.low.rms.coherent()), limits.low_current),
            Self::ClampCurrent => match paths.clamp {
                Some(clamp) => number(Some(clamp.rms.coherent()), limits.clamp_current),
                None => Reading::Absent,
            },
        }
    }
}
