//! The law: a requirement that is met holds at every place that another search of the
//! box finds, and one that is not met fails at its witness, read as a specification.

use slewbook::cycle::{Solver, State, SteadyState, Switching};
use slewbook::quantity::{Current, Dimensioned, Time};
use slewbook::scheme::Scheme;
use slewbook::stage::{Circuit, OperatingPoint, Specification};
use slewbook::verdict::{Check, Judgement, Place, Space, Verdict, judge, serving_trip};

use super::design;
use crate::support::{Random, set};

/// How far a value is below a limit, as a part of the larger.
fn below(value: f64, limit: f64) -> f64 {
    (limit - value) / limit.abs().max(value.abs()).max(f64::MIN_POSITIVE)
}

/// A cell with what is stated about it.
struct Cell<'s> {
    s: &'s Specification,
    circuit: Circuit,
    at: OperatingPoint,
    steady: SteadyState,
}

impl Cell<'_> {
    /// How far the cell is from failing a requirement, read off its steady state; `None`
    /// where nothing can be said.
    fn slack(&self, check: Check) -> Option<f64> {
        let (s, c, steady) = (self.s, &self.circuit, &self.steady);
        let keep = 1.0 - s.voltage_margin.map_or(0.0, Dimensioned::coherent);
        let step = self.at.input_voltage.coherent() / f64::from(c.pairs);
        match check {
            Check::Inductance => {
                let over = steady.state == State::BeyondDiscontinuous
                    || (steady.state == State::NoHoldTime && steady.reason.is_none());
                let hold = steady.course.and_then(|course| course.hold);
                return if over {
                    Some(-1.0)
                } else {
                    hold.map(|hold| hold.duration.coherent())
                };
            }
            Check::TripThreshold => {
                let need = steady.trip_needed?.coherent();
                return Some(-below(c.trip_threshold.coherent(), need));
            }
            _ => {}
        }
        let course = steady.course?;
        if course.on_time < c.minimum_on_time {
            return (check == Check::OnTime && s.minimum_on_time.is_some()).then_some(-1.0);
        }
        let soft = course.switching() == Switching::ZeroVoltage;
        let low_soft = course.low_turn_on.voltage.coherent() <= 0.02 * step;
        let window = |dead: Option<Time>, end: Option<Time>, soft: bool, sign: f64| {
            let distance = sign * (end?.coherent() - dead?.coherent());
            Some(if soft { distance.max(0.0) } else { distance })
        };
        let flying = course.paths.flying.and_then(|own| own.ripple);
        let flying = flying.map(Dimensioned::coherent);
        let ripple = flying.unwrap_or(0.0) / 2.0;
        let blocked = step + if c.pairs > 2 { 2.0 * ripple } else { ripple };
        let from_below = self.at.output_voltage.coherent() - f64::from(c.band) * step;
        let currents = &course.paths;
        Some(match check {
            Check::ZeroVoltage => {
                if soft {
                    1.0
                } else {
                    -1.0
                }
            }
            Check::DeadTimeEarliest => window(c.dead_time, course.window_start, soft, -1.0)?,
            Check::DeadTimeLatest => window(c.dead_time, course.window_end, soft, 1.0)?,
            Check::LowDeadTimeEarliest => {
                let end = course.low_window.map(|own| own.0);
                window(c.dead_time_of_fall(), end, low_soft, -1.0)?
            }
            Check::LowDeadTimeLatest => {
                let end = course.low_window.map(|own| own.1);
                window(c.dead_time_of_fall(), end, low_soft, 1.0)?
            }
            Check::OnTime => -below(course.on_time.coherent(), s.minimum_on_time?.coherent()),
            Check::HighBlocking => below(blocked, keep * s.high.rated_voltage?.coherent()),
            Check::LowBlocking => below(blocked, keep * s.low.rated_voltage?.coherent()),
            Check::ClampBlocking => {
                let seen = from_below.max(step - from_below) + ripple;
                below(seen, keep * s.clamp.rated_voltage?.coherent())
            }
            Check::FlyingRipple => below(flying?, s.flying_ripple?.coherent() * step),
            Check::OutputRipple => below(
                currents.output.ripple.coherent(),
                s.output_ripple?.coherent(),
            ),
            Check::Saturation => below(
                course.highest_peak_current.coherent(),
                s.parts.inductor.saturation_current?.coherent(),
            ),
            Check::HighCurrent => below(
                currents.high.rms.coherent(),
                s.high.data.rated_current?.coherent(),
            ),
            Check::LowCurrent => below(
                currents.low.rms.coherent(),
                s.low.data.rated_current?.coherent(),
            ),
            _ => return None,
        })
    }
}

/// Another search of the box, with none of the verdicts' own.
struct Audit<'a> {
    s: &'a Specification,
    space: &'a Space,
    solver: Solver,
    worst: Vec<(f64, Place)>,
}

type Slacks = Vec<Option<f64>>;

/// A cell of a circuit at a point, the flying capacitors' ripple in it where there is one.
fn solved(solver: &mut Solver, circuit: &Circuit, at: OperatingPoint) -> Option<SteadyState> {
    let mut free = *circuit;
    free.minimum_on_time = Time::from_coherent(0.0);
    solver.change(&free).ok()?;
    match solver.solve_with_ripple(at).ok()? {
        Some(steady) => Some(steady),
        None => solver.solve(at).ok(),
    }
}

impl<'a> Audit<'a> {
    fn new(s: &'a Specification, space: &'a Space) -> Self {
        let (circuit, _) = space.unit(&space.middle());
        Self {
            s,
            space,
            solver: Solver::new(&circuit).unwrap(),
            worst: vec![(f64::INFINITY, space.middle()); Check::ALL.len()],
        }
    }

    fn visit(&mut self, place: &Place) -> Slacks {
        let (circuit, at) = self.space.unit(place);
        let Some(steady) = solved(&mut self.solver, &circuit, at) else {
            return vec![None; Check::ALL.len()];
        };
        let cell = Cell {
            s: self.s,
            circuit,
            at,
            steady,
        };
        let slacks: Slacks = Check::ALL.iter().map(|check| cell.slack(*check)).collect();
        for (worst, slack) in self.worst.iter_mut().zip(&slacks) {
            if let Some(slack) = slack.filter(|slack| *slack < worst.0) {
                *worst = (slack, place.clone());
            }
        }
        slacks
    }

    /// All corners up to 256, else so many by lot; 200 places, of which 32 are followed
    /// downhill, each on the slack of one requirement.
    fn run(&mut self, random: &mut Random) {
        let axes = self.space.axes();
        let all = 1_usize << axes;
        for corner in 0..all.min(256) {
            let bits = if all <= 256 {
                corner
            } else {
                random.below(all)
            };
            let mut place = self.space.middle();
            place.hot = self.space.warms() && random.below(2) == 0;
            for axis in 0..axes {
                place.along[axis] = if bits >> axis & 1 == 1 { 1.0 } else { -1.0 };
            }
            self.visit(&place);
        }
        for number in 0..200 {
            let mut place = self.space.middle();
            place.hot = self.space.warms() && random.below(2) == 0;
            for along in &mut place.along {
                *along = random.between(-1.0, 1.0);
            }
            let slacks = self.visit(&place);
            if number < 32 {
                let of = number % Check::ALL.len();
                self.descend(place, slacks[of], of);
            }
        }
    }

    fn descend(&mut self, mut place: Place, start: Option<f64>, of: usize) {
        let Some(mut best) = start else {
            return;
        };
        for step in [0.4, 0.1, 0.02] {
            for _ in 0..4 {
                let before = best;
                for axis in 0..self.space.axes() {
                    for by in [-step, step] {
                        let mut next = place.clone();
                        next.along[axis] = (next.along[axis] + by).clamp(-1.0, 1.0);
                        if let Some(slack) = self.visit(&next)[of].filter(|slack| *slack < best) {
                            (best, place) = (slack, next);
                        }
                    }
                }
                if best == before {
                    break;
                }
            }
        }
    }
}

/// The specification of a witness: the text with its settings.
fn with_settings(text: &str, judgement: &Judgement) -> Specification {
    let witness = &judgement.witness;
    let mut text = text.to_owned();
    for (key, value) in witness.settings.iter().chain(&witness.hot) {
        let quoted = format!("\"{value}\"");
        text = match key.strip_suffix(".output_capacitance.scale") {
            None => set(&text, key, &quoted),
            // The factor stands inside the curve's table.
            Some(table) => {
                let (head, rest) = text.split_once(&format!("[{table}]\n")).unwrap();
                let (before, after) = rest.split_once("scale = {").unwrap();
                let (_, after) = after.split_once('}').unwrap();
                format!("{head}[{table}]\n{before}scale = \"{value}\"{after}")
            }
        };
    }
    Specification::read(&text).unwrap_or_else(|problems| panic!("{problems}\n{text}"))
}

/// Whether the requirement fails at its witness, everything read anew.
fn fails_at_its_witness(text: &str, judgement: &Judgement) -> bool {
    let s = with_settings(text, judgement);
    let at = judgement.witness.at;
    let (inductance, trip) = (s.inductance.unwrap(), s.trip.threshold.unwrap());
    let circuit = Circuit::new(&s, Scheme::FreewheelTransistors, inductance, trip).unwrap();
    let mut solver = Solver::new(&circuit).unwrap();
    let Some(steady) = solved(&mut solver, &circuit, at) else {
        return false;
    };
    let cell = Cell {
        s: &s,
        circuit,
        at,
        steady,
    };
    // A node that comes to no level has no window: that too is a failure of the dead time.
    let course = steady.course;
    match judgement.check {
        Check::DeadTimeEarliest | Check::DeadTimeLatest => {
            course.is_some_and(|course| course.switching() != Switching::ZeroVoltage)
        }
        Check::LowDeadTimeEarliest | Check::LowDeadTimeLatest => {
            course.is_some_and(|course| course.low_turn_on.voltage.coherent() > 0.0)
        }
        Check::OnTime if course.is_none() => true,
        check => cell.slack(check).is_some_and(|slack| slack < 0.0),
    }
}

/// Requirements whose slack this test computes anew.
fn is_audited(check: Check) -> bool {
    !matches!(
        check,
        Check::TripReach
            | Check::OutermostStart
            | Check::ClampStart
            | Check::OutermostStep
            | Check::ClampCurrent
    )
}

#[derive(Debug, Default)]
struct Counts {
    refused: usize,
    met: usize,
    not_met: usize,
    no_setting: usize,
    not_decided: usize,
    witnesses: usize,
}

fn run(count: usize, seed: u64) -> Counts {
    let mut counts = Counts::default();
    // One design by itself, to look into it.
    let only: Option<usize> = std::env::var("DESIGN")
        .ok()
        .and_then(|own| own.parse().ok());
    for number in (0..count).filter(|number| only.is_none_or(|only| only == *number)) {
        let mut random = Random(seed * 1_000_003 + number as u64);
        let text = design::text(&mut random);
        let Ok(s) = Specification::read(&text) else {
            counts.refused += 1;
            continue;
        };
        let Some(inductance) = s.inductance.or_else(|| design::preferred(&s)) else {
            counts.refused += 1;
            continue;
        };
        let stated = s.trip.threshold;
        let mut trip = stated.unwrap_or(Current::from_coherent(0.0));
        if Space::of(&s, inductance, trip).is_err() {
            counts.refused += 1;
            continue;
        }
        if stated.is_none() {
            trip = serving_trip(&s, inductance).unwrap();
        }
        let space = Space::of(&s, inductance, trip).unwrap();
        let judged = judge(&s, &space).unwrap();
        let mut audit = Audit::new(&s, &space);
        audit.run(&mut random);
        for judgement in &judged.judgements {
            let check = judgement.check;
            if !is_audited(check) {
                continue;
            }
            let (slack, place) = &audit.worst[check as usize];
            // A derived threshold serves every unit.
            if check == Check::TripThreshold && stated.is_none() {
                assert_ne!(judgement.verdict, Verdict::NotMet, "{judgement:?}\n{text}");
            }
            match judgement.verdict {
                Verdict::Met => assert!(
                    *slack >= 0.0,
                    "design {number}: {check:?} is met, and {slack} at {place:?}: {judgement:?}\n{text}"
                ),
                Verdict::NotMet => {
                    assert!(
                        fails_at_its_witness(&text, judgement),
                        "design {number}: {check:?} holds at its witness: {judgement:?}\n{text}"
                    );
                    counts.witnesses += 1;
                }
                _ => {}
            }
        }
        let has = |verdict| judged.judgements.iter().any(|own| own.verdict == verdict);
        if has(Verdict::NotMet) {
            counts.not_met += 1;
        } else if has(Verdict::NoSetting) {
            counts.no_setting += 1;
        } else if has(Verdict::NotDecided) {
            counts.not_decided += 1;
        } else {
            counts.met += 1;
        }
    }
    println!("{counts:?}");
    counts
}

/// Two thousand designs in four parts, which run side by side; `DESIGNS` sets another
/// number for each part.
fn part(seed: u64) {
    let count = std::env::var("DESIGNS").ok();
    let count = count.and_then(|count| count.parse().ok()).unwrap_or(500);
    let counts = run(count, seed);
    // Enough of either kind: fifteen in a hundred.
    assert!(counts.met * 20 >= count * 3, "{counts:?}");
    assert!(counts.not_met * 20 >= count * 3, "{counts:?}");
}

#[test]
fn a_verdict_has_a_witness() {
    part(1);
}

#[test]
fn a_verdict_has_a_witness_too() {
    part(2);
}

#[test]
fn another_verdict_has_a_witness() {
    part(3);
}

#[test]
fn another_verdict_has_a_witness_too() {
    part(4);
}

#[test]
#[ignore = "twenty thousand designs: an hour and more, on demand"]
fn twenty_thousand_verdicts_have_witnesses() {
    run(20_000, 5);
}
