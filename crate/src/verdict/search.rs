//! The search for the place of the box where each requirement is worst.
//!
//! In this order, every cell serving all requirements at once: the corners of line and
//! load; from each of them the ends of every uncertain input by itself; from what these
//! say, the corner that is worst for each requirement, cold and hot; places inside; and
//! from the worst places found, steps along every axis that become shorter. A slack need
//! not be monotone: the inductance, line and load are searched inside too.
//!
//! The flying capacitors are held still in these cells. Their ripple moves a slack by
//! parts of a step: where a requirement is near enough for that, the search goes on from
//! its worst place with the ripple in the cells.

use std::collections::HashMap;

use super::check::{Check, Limits, Slack};
use super::probe::Probe;
use super::space::{Place, Space};
use crate::cycle::CycleError;
use crate::quantity::{Current, Dimensioned as _, Inductance};
use crate::stage::Specification;

const CHECKS: usize = Check::ALL.len();

/// Steps of the refinement, as parts of half an axis.
const STEPS: [f64; 4] = [0.5, 0.1, 0.01, 1e-3];
/// The same where the ripple is in the cells, which takes several times as long.
const RIPPLED_STEPS: [f64; 2] = [0.2, 0.02];
/// The slack up to which the ripple may turn a verdict.
const RIPPLED: f64 = 0.3;
/// Rounds that settle a threshold with the ripple that it makes, and with the warmth.
const ROUNDS: usize = 2;
/// Corrections of a derived threshold at most.
const CORRECTIONS: usize = 6;
/// A derived threshold over the largest need that was found: what a finer search could
/// still add.
const ABOVE_NEED: f64 = 1.0 + 1e-3;
/// Moves of one refinement at each step's length.
const MOVES: usize = 12;

/// The worst place found for a requirement.
#[derive(Clone, Debug)]
pub struct Worst {
    /// Where.
    pub place: Place,
    /// The slack there.
    pub slack: Slack,
}

/// What a search found.
#[derive(Clone, Debug)]
pub struct Search {
    /// The worst place of each requirement, in their order; none where it does not apply
    /// or no cell decides it.
    pub worst: Vec<Option<Worst>>,
    /// A place at which a requirement is undecided, in their order.
    pub undecided: Vec<Option<Place>>,
    /// Cells computed.
    pub cells: usize,
}

/// What every requirement says of a place.
type Slacks = [Slack; CHECKS];

/// The places that a search visits, each once.
struct Walk<'s, F> {
    space: &'s Space,
    slacks: F,
    seen: HashMap<Vec<u64>, Slacks>,
    worst: Vec<Option<Worst>>,
    undecided: Vec<Option<Place>>,
}

impl<'s, F: FnMut(&Place) -> Slacks> Walk<'s, F> {
    fn new(space: &'s Space, slacks: F) -> Self {
        Self {
            space,
            slacks,
            seen: HashMap::new(),
            worst: vec![None; CHECKS],
            undecided: vec![None; CHECKS],
        }
    }

    /// The slacks at a place, which is remembered where it is worse than all before.
    fn visit(&mut self, place: &Place) -> Slacks {
        let key = place.key();
        if let Some(known) = self.seen.get(&key) {
            return *known;
        }
        let slacks = (self.slacks)(place);
        self.seen.insert(key, slacks);
        for (k, slack) in slacks.into_iter().enumerate() {
            match slack {
                Slack::Absent => {}
                Slack::Undecided => {
                    self.undecided[k].get_or_insert_with(|| place.clone());
                }
                _ => {
                    let worst = &mut self.worst[k];
                    if worst
                        .as_ref()
                        .is_none_or(|old| slack.is_worse_than(old.slack))
                    {
                        let place = place.clone();
                        *worst = Some(Worst { place, slack });
                    }
                }
            }
        }
        slacks
    }

    /// Everything in its order.
    fn through(&mut self) {
        self.visit(&self.space.middle());
        self.corners();
        self.inside();
        for k in 0..CHECKS {
            self.refine(k, &STEPS);
        }
    }

    /// The corners of line and load, and from each the corner of the parts that is worst
    /// for each requirement.
    fn corners(&mut self) {
        let all = 0..self.space.axes();
        let (lines, parts): (Vec<_>, Vec<_>) = all.partition(|k| self.space.is_operating(*k));
        // What is worst for a cold unit need not be so for a hot one.
        let temperatures: &[bool] = if self.space.warms() {
            &[false, true]
        } else {
            &[false]
        };
        for corner in 0..1_usize << lines.len() {
            for hot in temperatures {
                let mut middle = self.space.middle();
                middle.hot = *hot;
                for (bit, axis) in lines.iter().enumerate() {
                    middle.along[*axis] = if corner >> bit & 1 == 1 { 1.0 } else { -1.0 };
                }
                self.corner(&middle, &parts);
            }
        }
    }

    /// From a corner of line and load, the corner of the parts that is worst for each
    /// requirement.
    fn corner(&mut self, middle: &Place, parts: &[usize]) {
        self.visit(middle);
        let mut adverse = [(); CHECKS].map(|()| middle.clone());
        for axis in parts {
            let [low, high] = [-1.0, 1.0].map(|end| {
                let mut place = middle.clone();
                place.along[*axis] = end;
                self.visit(&place)
            });
            for (k, place) in adverse.iter_mut().enumerate() {
                place.along[*axis] = if high[k].is_worse_than(low[k]) {
                    1.0
                } else {
                    -1.0
                };
            }
        }
        for place in adverse {
            self.visit(&place);
        }
    }

    /// Places inside, for the parts of every worst place found so far.
    fn inside(&mut self) {
        let all = 0..self.space.axes();
        let bending: Vec<usize> = all
            .filter(|axis| !self.space.inside(*axis).is_empty())
            .collect();
        let mut starts: Vec<Place> = Vec::new();
        for worst in self.worst.iter().flatten() {
            let mut place = worst.place.clone();
            for axis in &bending {
                place.along[*axis] = 0.0;
            }
            if !starts.contains(&place) {
                starts.push(place);
            }
        }
        for start in starts {
            let mut places = vec![start];
            for axis in &bending {
                let along = self.space.inside(*axis);
                let next = places.iter().flat_map(|place| {
                    along.iter().map(|along| {
                        let mut place = place.clone();
                        place.along[*axis] = *along;
                        place
                    })
                });
                places = next.collect();
            }
            for place in &places {
                self.visit(place);
            }
        }
    }

    /// Goes on from the worst place of a requirement, a step along one axis at a time.
    fn refine(&mut self, k: usize, steps: &[f64]) {
        for step in steps {
            for _ in 0..MOVES {
                let Some(Worst { place, slack }) = self.worst[k].clone() else {
                    return;
                };
                if slack == Slack::Fails {
                    return;
                }
                for axis in 0..place.along.len() {
                    for by in [-step, *step] {
                        let mut next = place.clone();
                        next.along[axis] = (place.along[axis] + by).clamp(-1.0, 1.0);
                        self.visit(&next);
                    }
                }
                if self.space.warms() {
                    let hot = !place.hot;
                    self.visit(&Place {
                        hot,
                        ..place.clone()
                    });
                }
                if self.worst[k]
                    .as_ref()
                    .is_some_and(|worst| worst.place == place)
                {
                    break;
                }
            }
        }
    }
}

/// Searches the box for the worst place of each requirement.
///
/// # Errors
/// A part whose value the model does not describe.
pub fn search(space: &Space, limits: &Limits) -> Result<Search, CycleError> {
    let mut probe = Probe::new(&space.unit(&space.middle()).0)?;
    let mut walk = Walk::new(space, |place: &Place| {
        let (circuit, at) = space.unit(place);
        let cell = probe.still(&circuit, at);
        Check::ALL.map(|check| check.slack(&cell, limits))
    });
    walk.through();
    let (mut cells, mut worst, mut undecided) = (walk.seen.len(), walk.worst, walk.undecided);
    if space.ripples() {
        let mut walk = Walk::new(space, |place: &Place| {
            let (circuit, at) = space.unit(place);
            let cell = probe.cell(&circuit, at);
            Check::ALL.map(|check| check.slack(&cell, limits))
        });
        for still in worst.iter().flatten() {
            walk.visit(&still.place);
        }
        if space.ripples_at_both_levels() {
            walk.corners();
        }
        for (k, still) in worst.iter().enumerate() {
            let near = |worst: &Worst| matches!(worst.slack, Slack::Number(slack) if slack.abs() < RIPPLED);
            let rippled = walk.worst[k].as_ref();
            if still.as_ref().is_some_and(near) || rippled.is_some_and(near) {
                walk.refine(k, &RIPPLED_STEPS);
            }
        }
        cells += walk.seen.len();
        // A place with ripple says more than one without, also where it is less bad; where
        // only cells without ripple decide, nothing is decided.
        for (k, (new, undecided_too)) in walk.worst.into_iter().zip(walk.undecided).enumerate() {
            if new.is_some() || undecided_too.is_some() {
                worst[k] = new;
            }
            undecided[k] = undecided[k].take().or(undecided_too);
        }
    }
    Ok(Search {
        worst,
        undecided,
        cells,
    })
}

/// Whether hold time is left over the whole box, as far as a search finds.
///
/// # Errors
/// As [`search`].
pub fn holds(specification: &Specification, space: &Space) -> Result<bool, CycleError> {
    let found = search(space, &Limits::new(specification))?;
    let worst = Check::ALL.into_iter().zip(found.worst);
    let hold = worst
        .into_iter()
        .find(|(check, _)| *check == Check::Inductance);
    let slack = hold.and_then(|(_, worst)| worst).map(|worst| worst.slack);
    Ok(matches!(slack, Some(Slack::Number(slack)) if slack >= 0.0))
}

/// The trip threshold that serves every unit of the box of a specification with an
/// inductance: the largest need, a little rounded up. Its own verdict is met.
///
/// # Errors
/// A part whose value the model does not describe.
pub fn serving_trip(
    specification: &Specification,
    inductance: Inductance,
) -> Result<Current, CycleError> {
    let limits = Limits::new(specification);
    let mut trip = Current::from_coherent(0.0);
    // The trip has a say in how hot the parts become, and that in the trip.
    for _ in 0..ROUNDS {
        trip = required_trip(&Space::of(specification, inductance, trip)?)?;
    }
    // What the whole search still finds of a need.
    for _ in 0..CORRECTIONS {
        let space = Space::of(specification, inductance, trip)?;
        let worst = search(&space, &limits)?.worst;
        let worst = Check::ALL.into_iter().zip(worst);
        let short = worst.into_iter().find_map(|(check, worst)| {
            let worst = worst.filter(|_| check == Check::TripThreshold)?;
            matches!(worst.slack, Slack::Number(slack) if slack < 0.0).then_some(worst.place)
        });
        let Some(place) = short else {
            break;
        };
        let (circuit, at) = space.unit(&place);
        let cell = Probe::new(&circuit)?.cell(&circuit, at);
        let need = cell.steady?.trip_needed;
        trip = need.map_or(trip, |need| need * ABOVE_NEED);
    }
    Ok(trip)
}

/// The largest need of a box, a little rounded up.
fn required_trip(space: &Space) -> Result<Current, CycleError> {
    let mut probe = Probe::new(&space.unit(&space.middle()).0)?;
    let mut walk = Walk::new(space, |place: &Place| {
        let (circuit, at) = space.unit(place);
        Check::ALL.map(|check| match probe.trip_needed(&circuit, at) {
            Ok(need) if check == Check::TripThreshold => Slack::NotStated(-need.coherent()),
            _ => Slack::Absent,
        })
    });
    walk.through();
    let worst = walk.worst.into_iter().flatten().next();
    let place = worst.map_or_else(|| space.middle(), |worst| worst.place);
    let (circuit, at) = space.unit(&place);
    let mut need = probe.trip_needed(&circuit, at)?;
    // The ripple raises the level that the node must reach: with it the load counts too.
    // It hardly depends on the trip, so that a few rounds settle it.
    if space.ripples() {
        let k = Check::ALL
            .iter()
            .position(|check| *check == Check::TripThreshold)
            .unwrap_or(0);
        let mut start = place;
        for round in 0..ROUNDS {
            let mut most = need;
            let mut walk = Walk::new(space, |place: &Place| {
                let (mut circuit, at) = space.unit(place);
                circuit.trip_threshold = need;
                let steady = probe.cell(&circuit, at).steady;
                let own = steady.ok().and_then(|steady| steady.trip_wanted);
                if let Some(own) = own.filter(|own| *own > most) {
                    most = own;
                }
                Check::ALL.map(|check| match (check, own) {
                    (Check::TripThreshold, Some(own)) => Slack::NotStated(-own.coherent()),
                    _ => Slack::Absent,
                })
            });
            if round == 0 {
                walk.corners();
            }
            for place in space.along_the_load(&start) {
                walk.visit(&place);
            }
            walk.refine(k, &RIPPLED_STEPS);
            if let Some(worst) = walk.worst[k].take() {
                start = worst.place;
            }
            need = most;
        }
    }
    Ok(need * ABOVE_NEED)
}
