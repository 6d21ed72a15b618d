//! One cell at one place of the box, with what its requirements are about.

use super::check::{Check, Direction, Limits, Reading, Slack};
use crate::cycle::{self, Course, CycleError, Solver, SteadyState};
use crate::quantity::{Current, Dimensioned, Time};
use crate::stage::{Circuit, OperatingPoint};

/// A cell in steady state, the flying capacitors' ripple in it where there is one.
#[derive(Clone, Debug)]
pub struct Cell {
    /// The circuit.
    pub circuit: Circuit,
    /// The point of operation.
    pub at: OperatingPoint,
    /// Its steady state, found without a limit to the on-time.
    pub steady: Result<SteadyState, CycleError>,
}

impl Cell {
    /// The course of the cell, where there is one that runs.
    #[must_use]
    pub fn course(&self) -> Option<Course> {
        let course = self.steady.as_ref().ok().and_then(|steady| steady.course);
        course.filter(|_| !self.skips())
    }

    /// Whether the on-time is shorter than the control can give, so that pulses are
    /// skipped: the cell is not the one that runs.
    #[must_use]
    pub fn skips(&self) -> bool {
        let course = self.steady.as_ref().ok().and_then(|steady| steady.course);
        course.is_some_and(|course| course.on_time < self.circuit.minimum_on_time)
    }
}

/// Halvings that find the end of a window by degrees: to a millionth of it.
const HALVINGS: usize = 20;

/// Cells one after the other, with storage that is kept between them.
#[derive(Clone, Debug)]
pub struct Probe {
    solver: Solver,
}

impl Probe {
    /// A probe for circuits like one.
    ///
    /// # Errors
    /// A part whose value the model does not describe.
    pub fn new(circuit: &Circuit) -> Result<Self, CycleError> {
        Ok(Self {
            solver: Solver::new(circuit)?,
        })
    }

    /// The cell of a circuit at a point, with the flying capacitors' ripple in it where
    /// there is one.
    pub fn cell(&mut self, circuit: &Circuit, at: OperatingPoint) -> Cell {
        let steady = self.change(circuit).and_then(|()| {
            let rippled = self.solver.solve_with_ripple(at)?;
            rippled.map_or_else(|| self.solver.solve(at), Ok)
        });
        Cell {
            circuit: *circuit,
            at,
            steady,
        }
    }

    /// The same with the flying capacitors held still: quicker by several times.
    pub(super) fn still(&mut self, circuit: &Circuit, at: OperatingPoint) -> Cell {
        let steady = self.change(circuit).and_then(|()| self.solver.solve(at));
        Cell {
            circuit: *circuit,
            at,
            steady,
        }
    }

    /// What the cell of a circuit at a point says of a requirement, with its limit.
    pub(super) fn reading(
        &mut self,
        check: Check,
        circuit: &Circuit,
        at: OperatingPoint,
        limits: &Limits,
    ) -> Reading {
        let cell = self.cell(circuit, at);
        match (check, check.read(&cell, limits)) {
            (Check::Inductance, Reading::Number { value, .. }) => {
                let ceiling = cycle::ceiling_in_operation(circuit, at).ok().flatten();
                let limit = ceiling.map(Dimensioned::coherent);
                Reading::Number { value, limit }
            }
            // Outside its window, yet next to nothing is left: up to where that is so.
            (
                _,
                Reading::Number {
                    value: Some(value),
                    limit: Some(exact),
                },
            ) if check.is_of_a_window()
                && !check.direction().holds(value, exact)
                && check.slack(&cell, limits).holds() == Some(true) =>
            {
                let limit = Some(self.graded(check, circuit, at, limits, exact));
                Reading::Number {
                    value: Some(value),
                    limit,
                }
            }
            (_, reading) => reading,
        }
    }

    /// The end of a window by degrees, from the exact one: the dead time from which, or
    /// up to which, next to nothing is left at turn-on.
    pub(super) fn graded(
        &mut self,
        check: Check,
        circuit: &Circuit,
        at: OperatingPoint,
        limits: &Limits,
        exact: f64,
    ) -> f64 {
        let mut soft = |time: f64| {
            let dead = Some(Time::from_coherent(time));
            let mut with = *circuit;
            // The low side keeps its own dead time where that of the high side changes.
            with.low_dead_time = circuit.dead_time_of_fall();
            if check.is_of_the_low_side() {
                with.low_dead_time = dead;
            } else {
                with.dead_time = dead;
            }
            let cell = self.cell(&with, at);
            matches!(check.slack(&cell, limits), Slack::Number(slack) if slack >= 0.0)
        };
        let far = match check.direction() {
            Direction::AtLeast => 0.5 * exact,
            Direction::AtMost => 1.5 * exact,
        };
        let (mut inside, mut outside) = (exact, far);
        for _ in 0..HALVINGS {
            let middle = f64::midpoint(inside, outside);
            if soft(middle) {
                inside = middle;
            } else {
                outside = middle;
            }
        }
        inside
    }

    /// The trip threshold that a unit needs at a point, the flying capacitors held still.
    pub(super) fn trip_needed(
        &mut self,
        circuit: &Circuit,
        at: OperatingPoint,
    ) -> Result<Current, CycleError> {
        self.solver.change(circuit)?;
        self.solver.trip_needed(at)
    }

    fn change(&mut self, circuit: &Circuit) -> Result<(), CycleError> {
        let mut free = *circuit;
        free.minimum_on_time = Time::from_coherent(0.0);
        self.solver.change(&free)
    }
}
