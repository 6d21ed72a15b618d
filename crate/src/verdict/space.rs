//! The box over which a verdict is given: ranges of line and load, uncertain inputs,
//! cold and hot parts.

use super::judgement::{Witness, as_typed, typed_as};
use crate::cycle::CycleError;
use crate::loss::{Model, ModelError};
use crate::quantity::{Current, Dimensioned, Inductance, Voltage};
use crate::scheme::Scheme;
use crate::stage::{Circuit, Deviation, OperatingPoint, Specification, UncertainInput};

/// Standard uncertainties to which an input without ends is followed.
const STANDARD_UNCERTAINTIES: f64 = 3.0;

/// One dimension of the box, from minus one to one.
#[derive(Clone, Copy, Debug)]
struct Axis {
    kind: Kind,
    /// Half its length, in the coherent unit.
    reach: f64,
    /// Whether a slack need not be monotone along it, so that it is searched inside too.
    bends: bool,
}

#[derive(Clone, Copy, Debug)]
enum Kind {
    InputVoltage(Voltage, Voltage),
    OutputVoltage(Voltage, Voltage),
    OutputCurrent(Current, Current),
    /// An uncertain input, at its estimate.
    Part(UncertainInput, Deviation),
}

/// A place in the box.
#[derive(Clone, Debug, PartialEq)]
pub struct Place {
    /// Along every axis, from minus one to one.
    pub along: Vec<f64>,
    /// Whether the resistances are those of hot parts.
    pub hot: bool,
}

impl Place {
    /// The place as a key.
    pub(super) fn key(&self) -> Vec<u64> {
        let mut key: Vec<u64> = self.along.iter().map(|x| (x + 0.0).to_bits()).collect();
        key.push(u64::from(self.hot));
        key
    }
}

/// The box of a specification with the circuit in force.
#[derive(Clone, Debug)]
pub struct Space {
    cold: Circuit,
    hot: Option<Circuit>,
    middle: OperatingPoint,
    axes: Vec<Axis>,
}

impl Space {
    /// The box of a specification with an inductance and a trip threshold in force, cold
    /// and, where the parts' data say how much, hot: with what the highest temperatures
    /// over line and load make of the resistances, found once from the cold circuit.
    ///
    /// # Errors
    /// A part whose value the model does not describe.
    pub fn of(
        specification: &Specification,
        inductance: Inductance,
        trip: Current,
    ) -> Result<Self, CycleError> {
        let s = specification;
        let mut model = Model::new(s, Scheme::FreewheelTransistors, inductance, trip)
            .map_err(ModelError::into_cycle)?;
        let cold = *model.circuit();
        let (input, output) = (s.input_voltage, s.output_voltage);
        let mut points = Vec::new();
        for input_voltage in [input.min, input.max] {
            for output_voltage in [output.min, output.max] {
                points.push(OperatingPoint {
                    input_voltage,
                    output_voltage,
                    output_current: s.output_current.max,
                });
            }
        }
        let hot = model.hot_circuit(&points)?;
        let warms = hot.high.on_resistance != cold.high.on_resistance
            || hot.low.on_resistance != cold.low.on_resistance
            || hot.inductor_resistance != cold.inductor_resistance
            || hot.freewheel != cold.freewheel;
        Ok(Self::new(s, cold, warms.then_some(hot)))
    }

    /// The box about the circuit in force; `hot` is that circuit with the resistances of
    /// hot parts, where these are known.
    #[must_use]
    pub fn new(specification: &Specification, cold: Circuit, hot: Option<Circuit>) -> Self {
        let s = specification;
        let (input, output, load) = (s.input_voltage, s.output_voltage, s.output_current);
        let half = |low: f64, high: f64| (high - low) / 2.0;
        let ranges = [
            (
                Kind::InputVoltage(input.min, input.max),
                half(input.min.coherent(), input.max.coherent()),
            ),
            (
                Kind::OutputVoltage(output.min, output.max),
                half(output.min.coherent(), output.max.coherent()),
            ),
            (
                Kind::OutputCurrent(load.min, load.max),
                half(load.min.coherent(), load.max.coherent()),
            ),
        ];
        let ranges = ranges.map(|(kind, reach)| Axis {
            kind,
            reach,
            bends: true,
        });
        let parts = s.spreads.iter().filter(|(input, _)| input.is_in_circuits());
        let parts = parts.map(|(input, distribution)| Axis {
            kind: Kind::Part(input, input.deviation(s, 0.0)),
            reach: distribution
                .half_width()
                .unwrap_or_else(|| STANDARD_UNCERTAINTIES * distribution.standard_uncertainty()),
            bends: input == UncertainInput::Inductance,
        });
        let axes = ranges.into_iter().chain(parts);
        Self {
            cold,
            hot,
            middle: OperatingPoint {
                input_voltage: (input.min + input.max) / 2.0,
                output_voltage: (output.min + output.max) / 2.0,
                output_current: (load.min + load.max) / 2.0,
            },
            axes: axes.filter(|axis| axis.reach > 0.0).collect(),
        }
    }

    /// Number of axes.
    #[must_use]
    pub fn axes(&self) -> usize {
        self.axes.len()
    }

    /// Whether an axis is one of line and load.
    #[must_use]
    pub fn is_operating(&self, axis: usize) -> bool {
        !matches!(self.axes[axis].kind, Kind::Part(..))
    }

    /// Places along an axis at which a search looks besides its ends, and these, where a
    /// slack need not be monotone along it; else none.
    #[must_use]
    pub fn inside(&self, axis: usize) -> &'static [f64] {
        match (self.axes[axis].kind, self.axes[axis].bends) {
            (_, false) => &[],
            (Kind::OutputCurrent(..), _) => &[-1.0, -0.7, 0.1, 1.0],
            _ => &[-1.0, 0.1, 1.0],
        }
    }

    /// Whether hot parts differ from cold ones.
    #[must_use]
    pub fn warms(&self) -> bool {
        self.hot.is_some()
    }

    /// Whether the flying capacitors' ripple is at work in the cells.
    #[must_use]
    pub fn ripples(&self) -> bool {
        self.cold.pairs > 1 && self.cold.flying_capacitance.is_some()
    }

    /// Whether the ripple is that of another band than the lowest, where it moves both
    /// levels: what is worst without it need not be worst with it.
    #[must_use]
    pub fn ripples_at_both_levels(&self) -> bool {
        self.ripples() && self.cold.band > 0
    }

    /// A place at both ends of the load, and as it is.
    #[must_use]
    pub fn along_the_load(&self, place: &Place) -> Vec<Place> {
        let is_load = |axis: &Axis| matches!(axis.kind, Kind::OutputCurrent(..));
        let load = self.axes.iter().position(is_load);
        let mut places = vec![place.clone()];
        if let Some(load) = load {
            for end in [-1.0, 1.0] {
                let mut place = place.clone();
                place.along[load] = end;
                places.push(place);
            }
        }
        places
    }

    /// The middle of the box, cold.
    #[must_use]
    pub fn middle(&self) -> Place {
        Place {
            along: vec![0.0; self.axes.len()],
            hot: false,
        }
    }

    /// The uncertain inputs of the unit at a place, with how far each is from its estimate.
    pub fn parts(&self, place: &Place) -> impl Iterator<Item = (UncertainInput, Deviation)> {
        self.axes
            .iter()
            .zip(&place.along)
            .filter_map(|(axis, along)| match axis.kind {
                Kind::Part(input, deviation) => Some((input, deviation.by(axis.reach * along))),
                _ => None,
            })
    }

    /// A place in terms of the specification: what differs from it there.
    #[must_use]
    pub fn witness(&self, specification: &Specification, place: &Place) -> Witness {
        let s = specification;
        let (circuit, at) = self.unit(place);
        let mut settings = Vec::new();
        for (input, deviation) in self.parts(place) {
            let estimate = input.estimate(s);
            let value = deviation.moved(estimate);
            let exponents = s.spreads.get(input).map(|stated| stated.exponents());
            if let Some(exponents) = exponents.filter(|_| value != estimate) {
                settings.push((input.key(), as_typed(value, exponents)));
            }
        }
        let mut force = |key: &'static str, value: String| {
            if settings.iter().all(|(own, _)| *own != key) {
                settings.push((key, value));
            }
        };
        if s.inductance.is_none() {
            force(
                UncertainInput::Inductance.key(),
                typed_as(circuit.inductance),
            );
        }
        if s.trip.threshold.is_none() {
            force(
                UncertainInput::TripThreshold.key(),
                typed_as(circuit.trip_threshold),
            );
        }
        let mut hot = Vec::new();
        if place.hot {
            hot.push(("transistors.high.on_resistance", circuit.high.on_resistance));
            hot.push(("transistors.low.on_resistance", circuit.low.on_resistance));
            hot.push(("inductor.resistance", circuit.inductor_resistance));
            hot.extend(
                circuit
                    .freewheel
                    .map(|path| ("clamp.resistance", path.resistance)),
            );
            settings.retain(|(key, _)| hot.iter().all(|(own, _)| own != key));
        }
        let hot: Vec<_> = (hot.into_iter())
            .map(|(key, value)| (key, typed_as(value)))
            .collect();
        let differs = |key: &str| settings.iter().chain(&hot).any(|(own, _)| *own == key);
        let mut correlated = s.correlations.iter().flat_map(|own| own.between);
        let single = correlated.any(|input| differs(input.key()));
        Witness {
            at,
            settings,
            hot,
            single,
        }
    }

    /// The circuit of the unit at a place, and its point of operation.
    #[must_use]
    pub fn unit(&self, place: &Place) -> (Circuit, OperatingPoint) {
        let mut circuit = match self.hot {
            Some(hot) if place.hot => hot,
            _ => self.cold,
        };
        let mut at = self.middle;
        for (axis, along) in self.axes.iter().zip(&place.along) {
            let by = axis.reach * along;
            match axis.kind {
                Kind::InputVoltage(low, high) => at.input_voltage = between(low, high, *along),
                Kind::OutputVoltage(low, high) => at.output_voltage = between(low, high, *along),
                Kind::OutputCurrent(low, high) => at.output_current = between(low, high, *along),
                Kind::Part(input, deviation) => {
                    input.change_circuit(&mut circuit, deviation.by(by));
                }
            }
        }
        (circuit, at)
    }
}

/// A value along a range from minus one to one; its ends exactly.
fn between<Q: Dimensioned>(low: Q, high: Q, along: f64) -> Q {
    let (low, high) = (low.coherent(), high.coherent());
    Q::from_coherent(if along <= -1.0 {
        low
    } else if along >= 1.0 {
        high
    } else {
        f64::midpoint(low, high) + (high - low) / 2.0 * along
    })
}
