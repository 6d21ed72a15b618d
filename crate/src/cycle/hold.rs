//! The hold time as a number: what solves the equation of [`cell()`](super::cell()),
//! for whoever looks at it at many points.

use super::solver::Solver;
use super::state::State;
use crate::equation::{Point, Span};
use crate::quantity::{Current, Dimensioned as _, Inductance, Resistance, Time, Voltage};
use crate::scheme::Scheme;
use crate::stage::{Circuit, OperatingPoint, Stage};

/// Hold times at the values of ranges.
pub(crate) struct HoldTimes {
    solver: Solver,
    at: OperatingPoint,
    axes: Vec<Axis>,
}

/// What a range moves.
enum Axis {
    InputVoltage,
    OutputVoltage,
    OutputCurrent,
}

impl HoldTimes {
    /// For the cell of a stage with a trip threshold, moved from `base` over `spans`;
    /// none where they move anything but the operating point.
    pub(crate) fn new(stage: &Stage, trip: Current, base: &Point, spans: &[Span]) -> Option<Self> {
        let own = &stage.axes;
        let axes = spans.iter().map(|span| match span.symbol {
            symbol if std::ptr::eq(symbol, own.input_voltage) => Some(Axis::InputVoltage),
            symbol if std::ptr::eq(symbol, own.output_voltage) => Some(Axis::OutputVoltage),
            symbol if std::ptr::eq(symbol, own.output_current) => Some(Axis::OutputCurrent),
            _ => None,
        });
        let inductance = Inductance::from_coherent(base.value_of(own.inductance));
        let solver = Solver::new(&circuit(stage, inductance, trip)?).ok()?;
        Some(Self {
            solver,
            at: OperatingPoint {
                input_voltage: Voltage::from_coherent(base.value_of(own.input_voltage)),
                output_voltage: Voltage::from_coherent(base.value_of(own.output_voltage)),
                output_current: Current::from_coherent(base.value_of(own.output_current)),
            },
            axes: axes.collect::<Option<_>>()?,
        })
    }

    /// The hold time; none where the cell is not what its equation describes.
    pub(crate) fn at(&mut self, values: &[f64]) -> Option<f64> {
        for (axis, value) in self.axes.iter().zip(values) {
            match axis {
                Axis::InputVoltage => self.at.input_voltage = Voltage::from_coherent(*value),
                Axis::OutputVoltage => self.at.output_voltage = Voltage::from_coherent(*value),
                Axis::OutputCurrent => self.at.output_current = Current::from_coherent(*value),
            }
        }
        let steady = self.solver.solve(self.at).ok()?;
        let hold = steady
            .course
            .filter(|_| steady.state == State::ZeroVoltage)?
            .hold?;
        Some(hold.duration.coherent())
    }
}

/// The circuit whose cell the equation describes: ramps without resistance, diodes without
/// drop, and no dead time but the edges' own.
fn circuit(stage: &Stage, inductance: Inductance, trip: Current) -> Option<Circuit> {
    let specification = &stage.specification;
    let scheme = Scheme::FreewheelTransistors;
    let mut circuit = Circuit::new(specification, scheme, inductance, trip).ok()?;
    for switch in [&mut circuit.high, &mut circuit.low] {
        switch.on_resistance = Resistance::from_coherent(0.0);
        switch.diode_drop = Voltage::from_coherent(0.0);
    }
    // The winding is in the clamp's loop and, here, in no ramp.
    circuit.freewheel.as_mut()?.resistance += circuit.inductor_resistance;
    circuit.inductor_resistance = Resistance::from_coherent(0.0);
    circuit.flying_capacitor_resistance = Resistance::from_coherent(0.0);
    circuit.dead_time = None;
    circuit.low_dead_time = None;
    circuit.minimum_on_time = Time::from_coherent(0.0);
    Some(circuit)
}
