//! The losses of one scheme on one set of parts, at any operating point.

mod mechanism;
mod part;
mod rating;
mod turn_off;

use part::{Core, Rated, Switch, Warm, called};
use rating::{core_finding, left_out};

use super::budget::{Losses, Outcome, PartFinding, Place, Temperatures};
use super::numbers;
use super::winding::{COPPER_RESISTIVITY, MAGNETIC_CONSTANT};
use crate::cycle::{Course, CycleError, Solver, SteadyState};
use crate::quantity::{Current, Dimensioned, Power, Resistance, ThermodynamicTemperature, print};
use crate::scheme::Scheme;
use crate::stage::{Circuit, OperatingPoint, Parts, Specification, SwitchData};

/// Harmonics of the inductor's current that are followed.
const HARMONICS: usize = 40;
/// Rounds after which temperatures that still move count as running away.
const ROUNDS: usize = 60;
/// Change of a temperature, in kelvin, below which it has settled.
const SETTLED: f64 = 1e-3;
/// Part of the cell to which its intervals add up, by round: while temperatures move
/// by degrees, the last digits of a cell say nothing.
const CLOSING: [f64; 3] = [1e-5, 1e-7, 1e-10];
/// Temperature of the surroundings where none is stated, in degrees Celsius.
const AMBIENT: f64 = 25.0;

/// The losses of one scheme.
///
/// ```
/// use slewbook::loss::{Mechanism, Model};
/// use slewbook::quantity::unit::{ampere, uH, volt};
/// use slewbook::scheme::Scheme;
/// use slewbook::stage::{DEMONSTRATION, OperatingPoint, Specification};
/// let specification = Specification::read(DEMONSTRATION).unwrap();
/// let scheme = Scheme::FreewheelTransistors;
/// let mut model = Model::new(&specification, scheme, 0.68 * uH, 0.4 * ampere).unwrap();
/// let outcome = model
///     .at(OperatingPoint {
///         input_voltage: 30.0 * volt,
///         output_voltage: 6.0 * volt,
///         output_current: 6.0 * ampere,
///     })
///     .unwrap();
/// let losses = outcome.losses.unwrap();
/// // At zero voltage next to nothing is lost: what the node brings back from its diode's drop.
/// assert!(losses.of(Mechanism::TurnOn).value < 1e-3);
/// assert!(losses.efficiency_total() <= losses.efficiency_stage());
/// ```
#[derive(Clone, Debug)]
pub struct Model {
    circuit: Circuit,
    solver: Solver,
    parts: Parts,
    /// Power that the control takes.
    control: Option<Power>,
    /// The two transistors of a pair and the clamp.
    rated: [Rated; 3],
    high: Switch,
    low: Switch,
    clamp: Switch,
    /// Transistors of the clamp whose gates are driven.
    clamp_gates: f64,
    winding: Warm,
    core: Option<Core>,
    /// Factor of the resistance to each harmonic less one, at the fixed frequency.
    factors: Option<[f64; HARMONICS]>,
    ambient: f64,
    findings: Vec<PartFinding>,
    left_out: Vec<&'static str>,
}

/// Why there is no model of a scheme.
#[derive(Clone, Debug, PartialEq)]
#[non_exhaustive]
pub enum ModelError {
    /// The specification lacks a part that the scheme needs.
    Missing(crate::stage::MissingPart),
    /// A value outside what the steady state describes.
    Cycle(CycleError),
}

impl std::fmt::Display for ModelError {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::Missing(error) => error.fmt(f),
            Self::Cycle(error) => error.fmt(f),
        }
    }
}

impl std::error::Error for ModelError {}

impl ModelError {
    /// The same as an error of the steady state.
    pub(crate) fn into_cycle(self) -> CycleError {
        match self {
            Self::Cycle(error) => error,
            Self::Missing(missing) => CycleError {
                field: "specification",
                value: missing.to_string(),
                expected: missing.keys.to_owned(),
            },
        }
    }
}

impl From<CycleError> for ModelError {
    fn from(error: CycleError) -> Self {
        Self::Cycle(error)
    }
}

impl Model {
    /// The model of a specification under a scheme, with the inductance and the
    /// trip threshold in force.
    ///
    /// # Errors
    /// A scheme whose parts the specification does not give; a value that the
    /// steady state does not describe.
    pub fn new(
        specification: &Specification,
        scheme: Scheme,
        inductance: crate::quantity::Inductance,
        trip: Current,
    ) -> Result<Self, ModelError> {
        let s = specification;
        let circuit = Circuit::new(s, scheme, inductance, trip).map_err(ModelError::Missing)?;
        let clamp = circuit
            .freewheel
            .map_or(Resistance::from_coherent(0.0), |f| f.resistance);
        let mut parts = s.parts.clone();
        if scheme == Scheme::Continuous {
            // What is not stated of it is left out, never borrowed.
            parts.inductor = parts.continuous_inductor.clone();
        }
        let inductor = &parts.inductor;
        let cell = circuit.cell_time().coherent();
        let factors = inductor.winding.map(|winding| {
            let mut factors = [0.0; HARMONICS];
            for (k, factor) in (1u32..).zip(&mut factors) {
                let depth = (COPPER_RESISTIVITY * cell
                    / (std::f64::consts::PI * f64::from(k) * MAGNETIC_CONSTANT))
                    .sqrt();
                // A round wire counts as a foil of its area, thinned by the gaps.
                let foil = if winding.round {
                    winding.thickness.coherent() * std::f64::consts::FRAC_PI_4.sqrt()
                } else {
                    winding.thickness.coherent()
                };
                let thickness = foil * winding.filling.coherent().sqrt() / depth;
                *factor = numbers::layer_factor(thickness, winding.layers.coherent()) - 1.0;
            }
            factors
        });
        let rated = |kind: &str, data: &SwitchData, voltage, cold| Rated {
            name: called(kind, data.part.as_ref()),
            data: data.clone(),
            voltage,
            cold,
        };
        let (high, low, path) = (&s.high, &s.low, &s.clamp);
        let mut model = Self {
            solver: Solver::new(&circuit)?,
            rated: [
                rated(
                    "high-side transistor",
                    &high.data,
                    high.rated_voltage,
                    high.on_resistance,
                ),
                rated(
                    "low-side transistor",
                    &low.data,
                    low.rated_voltage,
                    low.on_resistance,
                ),
                rated("clamp", &path.data, path.rated_voltage, path.resistance),
            ],
            high: Switch::new(high.on_resistance, &high.data),
            low: Switch::new(low.on_resistance, &low.data),
            clamp: Switch::new(clamp, &path.data),
            clamp_gates: match scheme {
                Scheme::FreewheelTransistors => 2.0,
                Scheme::FreewheelDiode => 1.0,
                Scheme::Discontinuous | Scheme::Continuous | Scheme::NegativeValley => 0.0,
            },
            winding: Warm::copper(circuit.inductor_resistance.coherent()),
            core: Core::new(inductor),
            factors,
            ambient: s
                .parts
                .ambient
                .map_or(AMBIENT, ThermodynamicTemperature::celsius),
            findings: vec![],
            left_out: left_out(s, scheme),
            parts,
            control: s.control.power,
            circuit,
        };
        // A clamp with a diode has no channel resistance that data of two transistors describe.
        if scheme == Scheme::FreewheelDiode {
            model.clamp.warm.slope = 0.0;
        }
        // The data of a clamp with a diode are no channel's either.
        let channels = if scheme == Scheme::FreewheelTransistors {
            3
        } else {
            2
        };
        let parts = model.rated.iter().take(channels);
        model.findings.extend(parts.filter_map(Rated::cooling));
        model.findings.extend(core_finding(&model.parts));
        Ok(model)
    }

    /// The circuit at the temperature of its data.
    #[must_use]
    pub fn circuit(&self) -> &Circuit {
        &self.circuit
    }

    /// What of the losses has no data, in words.
    #[must_use]
    pub fn left_out(&self) -> &[&'static str] {
        &self.left_out
    }

    /// Findings on the parts' data themselves; none where the data can be.
    #[must_use]
    pub fn findings(&self) -> &[PartFinding] {
        &self.findings
    }

    /// Changes the circuit, its capacitance curves staying as they are: a
    /// tolerance run. Resistances are those at the temperature of the data.
    ///
    /// # Errors
    /// A value that the steady state does not describe.
    pub fn change(&mut self, circuit: &Circuit) -> Result<(), CycleError> {
        self.high.warm.slope *= ratio(circuit.high.on_resistance, self.high.warm.base);
        self.high.warm.base = circuit.high.on_resistance.coherent();
        self.low.warm.slope *= ratio(circuit.low.on_resistance, self.low.warm.base);
        self.low.warm.base = circuit.low.on_resistance.coherent();
        if let Some(path) = circuit.freewheel {
            self.clamp.warm.slope *= ratio(path.resistance, self.clamp.warm.base);
            self.clamp.warm.base = path.resistance.coherent();
        }
        self.winding = Warm::copper(circuit.inductor_resistance.coherent());
        self.circuit = *circuit;
        self.solver.change(circuit)
    }

    /// The losses at a point, with the temperatures that settle.
    ///
    /// # Errors
    /// A point outside what the steady state describes.
    pub fn at(&mut self, point: OperatingPoint) -> Result<Outcome, CycleError> {
        let mut warm = [self.ambient; 4];
        let mut rounds = 0;
        let mut alternating = 0.0;
        let (steady, course, losses) = loop {
            let circuit = self.heated(warm);
            let closing = CLOSING[rounds.min(CLOSING.len() - 1)];
            let steady = self.solver.approach(&circuit, point, rounds > 0, closing)?;
            let Some(course) = steady.course else {
                return Ok(self.without_losses(&steady, self.findings.clone()));
            };
            let fine = rounds + 1 >= CLOSING.len();
            if fine || rounds == 0 {
                alternating = self.alternating(&course);
            }
            let losses = self.losses(&course, &circuit, point, alternating);
            let next = match self.settle(&course, &losses, warm) {
                Ok(next) => next,
                Err(finding) => return Ok(self.without_losses(&steady, vec![finding])),
            };
            let moved = next.iter().zip(&warm).map(|(new, old)| (new - old).abs());
            let moved = moved.fold(0.0, f64::max);
            warm = next;
            rounds += 1;
            if (fine && moved < SETTLED) || rounds == ROUNDS {
                break (steady, course, losses);
            }
        };
        let mut findings = self.findings.clone();
        self.check(&course, point, warm, &mut findings);
        if !findings.is_empty() {
            return Ok(self.without_losses(&steady, findings));
        }
        let computed = |thermal: f64, celsius| {
            (thermal > 0.0).then(|| ThermodynamicTemperature::from_celsius(celsius))
        };
        let clamp = self.circuit.freewheel;
        Ok(Outcome {
            losses: Some(losses),
            temperatures: Some(Temperatures {
                high: computed(self.high.thermal, warm[0]),
                low: computed(self.low.thermal, warm[1]),
                clamp: clamp.and_then(|_| computed(self.clamp.thermal, warm[2])),
                inductor: computed(self.thermal_of_inductor(), warm[3]),
            }),
            ..self.without_losses(&steady, vec![])
        })
    }

    /// The circuit with its resistances hot: each part at the highest temperature that it
    /// has at any of some points, which should span the loads and the voltages of the
    /// stage. Hot also counts at the least load, for after a step of the load the parts
    /// are still as hot as they were. Points without losses do not count.
    ///
    /// # Errors
    /// As [`Model::at`].
    ///
    /// ```
    /// use slewbook::loss::Model;
    /// use slewbook::quantity::unit::{ampere, uH, volt};
    /// use slewbook::scheme::Scheme;
    /// use slewbook::stage::{DEMONSTRATION, OperatingPoint, Specification};
    /// let specification = Specification::read(DEMONSTRATION).unwrap();
    /// let scheme = Scheme::FreewheelTransistors;
    /// let mut model = Model::new(&specification, scheme, 0.68 * uH, 0.4 * ampere).unwrap();
    /// let points = [0.3, 6.0].map(|amperes| OperatingPoint {
    ///     input_voltage: 36.0 * volt,
    ///     output_voltage: 6.0 * volt,
    ///     output_current: amperes * ampere,
    /// });
    /// let hot = model.hot_circuit(&points).unwrap();
    /// assert!(hot.inductor_resistance > model.circuit().inductor_resistance);
    /// ```
    pub fn hot_circuit(&mut self, points: &[OperatingPoint]) -> Result<Circuit, CycleError> {
        let mut warm = [self.ambient; 4];
        for point in points {
            let Some(found) = self.at(*point)?.temperatures else {
                continue;
            };
            let found = [found.high, found.low, found.clamp, found.inductor];
            for (most, found) in warm.iter_mut().zip(found) {
                *most = found.map_or(*most, |found| most.max(found.celsius()));
            }
        }
        Ok(self.heated(warm))
    }

    /// The circuit with its resistances at temperatures.
    fn heated(&self, warm: [f64; 4]) -> Circuit {
        let mut circuit = self.circuit;
        let at = |part: Warm, celsius| Resistance::from_coherent(part.resistance(celsius));
        circuit.high.on_resistance = at(self.high.warm, warm[0]);
        circuit.low.on_resistance = at(self.low.warm, warm[1]);
        if let Some(path) = &mut circuit.freewheel {
            path.resistance = at(self.clamp.warm, warm[2]);
        }
        circuit.inductor_resistance = at(self.winding, warm[3]);
        circuit
    }

    fn without_losses(&self, steady: &SteadyState, findings: Vec<PartFinding>) -> Outcome {
        Outcome {
            scheme: self.circuit.scheme,
            at: steady.at,
            state: steady.state,
            words: steady.words(),
            peak_current: steady.course.map(|course| course.peak_current),
            losses: None,
            temperatures: None,
            findings,
        }
    }

    /// Thermal resistance of the inductor; zero where none is stated.
    fn thermal_of_inductor(&self) -> f64 {
        let stated = self.parts.inductor.thermal_resistance;
        stated.map_or(0.0, Dimensioned::coherent)
    }

    /// The temperatures that follow from the losses, the currents held.
    fn settle(
        &self,
        course: &Course,
        losses: &Losses,
        warm: [f64; 4],
    ) -> Result<[f64; 4], PartFinding> {
        let pairs = f64::from(self.circuit.pairs);
        let square = |rms: Current| rms.coherent() * rms.coherent();
        // Losses of one of a kind, the square of its rms current, its resistance.
        let kinds = [
            (
                losses.at(Place::High) / pairs,
                square(course.paths.high.rms),
                self.high.warm,
                self.high.thermal,
            ),
            (
                losses.at(Place::Low) / pairs,
                square(course.paths.low.rms),
                self.low.warm,
                self.low.thermal,
            ),
            (
                losses.at(Place::Clamp),
                course.paths.clamp.map_or(0.0, |path| square(path.rms)),
                self.clamp.warm,
                self.clamp.thermal,
            ),
            (
                losses.at(Place::Inductor),
                square(course.paths.inductor.rms),
                self.winding,
                self.thermal_of_inductor(),
            ),
        ];
        let mut next = warm;
        for (index, (power, square, resistance, thermal)) in kinds.into_iter().enumerate() {
            let fixed = power - square * resistance.resistance(warm[index]);
            let cold = resistance.resistance(self.ambient);
            let rise = numbers::settled(thermal, fixed, square, cold, resistance.slope);
            next[index] = self.ambient
                + rise.ok_or_else(|| PartFinding {
                    part: self.part(index),
                    message: format!(
                        "thermal runaway: with an rms current of {} and {} each kelvin of rise \
                         brings on more than one more; lower the thermal resistance or the current",
                        print(Current::from_coherent(square.sqrt())),
                        print(crate::quantity::ThermalResistance::from_coherent(thermal)),
                    ),
                })?;
        }
        Ok(next)
    }

    fn part(&self, index: usize) -> String {
        self.rated.get(index).map_or_else(
            || called("inductor", self.parts.inductor.part.as_ref()),
            |part| part.name.clone(),
        )
    }
}

fn ratio(new: Resistance, old: f64) -> f64 {
    if old > 0.0 { new.coherent() / old } else { 1.0 }
}
