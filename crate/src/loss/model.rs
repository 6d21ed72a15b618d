//! The losses of one scheme on one set of parts, at any operating point.

mod rating;

use rating::{cooling, core_finding, left_out};

use super::budget::{Losses, Mechanism, Outcome, PartFinding, Place, Temperatures};
use super::core::{Steinmetz, generalised_constant};
use super::numbers;
use super::winding::{COPPER_COEFFICIENT, COPPER_RESISTIVITY, MAGNETIC_CONSTANT};
use crate::cycle::{Course, CycleError, Solver, SteadyState};
use crate::equation::Curve;
use crate::quantity::{
    Dimensioned, Power, Resistance, ThermodynamicTemperature, Voltage, VolumetricPowerDensity,
    print,
};
use crate::scheme::Scheme;
use crate::stage::{Circuit, OperatingPoint, Parts, Specification, SwitchData};

/// Harmonics of the inductor's current that are followed.
const HARMONICS: usize = 40;
/// Rounds after which temperatures that still move count as running away.
const ROUNDS: usize = 60;
/// Change of a temperature, in kelvin, below which it has settled.
const SETTLED: f64 = 1e-3;
/// Temperature of the surroundings where none is stated, in degrees Celsius.
const AMBIENT: f64 = 25.0;

/// A resistance against temperature in degrees Celsius.
#[derive(Clone, Copy, Debug)]
struct Warm {
    base: f64,
    slope: f64,
    at: f64,
}

impl Warm {
    fn switch(base: Resistance, data: &SwitchData) -> Self {
        let base = base.coherent();
        let slope = data
            .hot_resistance
            .map_or(0.0, |hot| (hot.coherent() - base) / 100.0);
        Self {
            base,
            slope,
            at: 25.0,
        }
    }

    fn copper(base: f64) -> Self {
        Self {
            base,
            slope: base * COPPER_COEFFICIENT,
            at: 20.0,
        }
    }

    fn resistance(&self, celsius: f64) -> f64 {
        (self.base + self.slope * (celsius - self.at)).max(0.0)
    }
}

/// What of a transistor the losses need.
#[derive(Clone, Copy, Debug)]
struct Switch {
    warm: Warm,
    gate_energy: f64,
    turn_off_time: f64,
    recovery: f64,
    thermal: f64,
}

impl Switch {
    fn new(resistance: Resistance, data: &SwitchData) -> Self {
        let of = |value: Option<f64>| value.unwrap_or(0.0);
        Self {
            warm: Warm::switch(resistance, data),
            gate_energy: of(data.gate_charge.map(Dimensioned::coherent))
                * of(data.drive_voltage.map(Dimensioned::coherent)),
            turn_off_time: of(data.turn_off_time.map(Dimensioned::coherent)),
            recovery: of(data.recovery_charge.map(Dimensioned::coherent)),
            thermal: of(data.thermal_resistance.map(Dimensioned::coherent)),
        }
    }
}

/// The core in numbers.
#[derive(Clone, Copy, Debug)]
struct Core {
    constant: f64,
    alpha: f64,
    beta: f64,
    volume: f64,
    /// Turns times area.
    linkage: f64,
}

/// A part's name for people.
fn called(kind: &str, part: Option<&String>) -> String {
    part.map_or_else(|| kind.to_owned(), |name| format!("{kind} `{name}`"))
}

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
/// assert_eq!(losses.of(Mechanism::TurnOn).value, 0.0);
/// assert!(losses.efficiency_total() <= losses.efficiency_stage());
/// ```
#[derive(Clone, Debug)]
pub struct Model {
    circuit: Circuit,
    solver: Solver,
    parts: Parts,
    /// Power that the control takes.
    control: Option<Power>,
    ratings: [(String, SwitchData); 3],
    /// What the two transistors of a pair and the clamp may block.
    voltages: [Option<Voltage>; 3],
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
        trip: crate::quantity::Current,
    ) -> Result<Self, ModelError> {
        let s = specification;
        let circuit = Circuit::new(s, scheme, inductance, trip).map_err(ModelError::Missing)?;
        let clamp = circuit
            .freewheel
            .map_or(Resistance::from_coherent(0.0), |f| f.resistance);
        let inductor = &s.parts.inductor;
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
        let kinds = [
            ("high-side transistor", &s.high.data),
            ("low-side transistor", &s.low.data),
            ("clamp", &s.clamp.data),
        ];
        let mut model = Self {
            solver: Solver::new(&circuit)?,
            ratings: kinds.map(|(kind, data)| (called(kind, data.part.as_ref()), data.clone())),
            voltages: [
                s.high.rated_voltage,
                s.low.rated_voltage,
                s.clamp.rated_voltage,
            ],
            high: Switch::new(s.high.on_resistance, &s.high.data),
            low: Switch::new(s.low.on_resistance, &s.low.data),
            clamp: Switch::new(clamp, &s.clamp.data),
            clamp_gates: match scheme {
                Scheme::FreewheelTransistors => 2.0,
                Scheme::FreewheelDiode => 1.0,
                Scheme::Discontinuous | Scheme::Continuous | Scheme::NegativeValley => 0.0,
            },
            winding: Warm::copper(circuit.inductor_resistance.coherent()),
            core: core(inductor),
            factors,
            ambient: s
                .parts
                .ambient
                .map_or(AMBIENT, ThermodynamicTemperature::celsius),
            findings: vec![],
            left_out: left_out(s, scheme),
            parts: s.parts.clone(),
            control: s.control.power,
            circuit,
        };
        // A clamp with a diode has no channel resistance that data of two transistors describe.
        if scheme == Scheme::FreewheelDiode {
            model.clamp.warm.slope = 0.0;
        }
        let cold = [
            s.high.on_resistance,
            s.low.on_resistance,
            s.clamp.resistance,
        ];
        model.findings.extend(
            model
                .ratings
                .iter()
                .zip(cold)
                .take(if scheme == Scheme::FreewheelTransistors {
                    3
                } else {
                    2
                })
                .filter_map(|((part, data), cold)| cooling(part, data, cold)),
        );
        model.findings.extend(core_finding(&s.parts));
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
        let (steady, course, losses) = loop {
            let mut circuit = self.circuit;
            circuit.high.on_resistance =
                Resistance::from_coherent(self.high.warm.resistance(warm[0]));
            circuit.low.on_resistance =
                Resistance::from_coherent(self.low.warm.resistance(warm[1]));
            if let Some(path) = &mut circuit.freewheel {
                path.resistance = Resistance::from_coherent(self.clamp.warm.resistance(warm[2]));
            }
            circuit.inductor_resistance =
                Resistance::from_coherent(self.winding.resistance(warm[3]));
            self.solver.change(&circuit)?;
            let steady = self.solver.solve(point)?;
            let Some(course) = steady.course else {
                return Ok(self.without_losses(&steady, self.findings.clone()));
            };
            let losses = self.losses(&course, &circuit, point);
            let next = match self.settle(&course, &losses, warm) {
                Ok(next) => next,
                Err(finding) => return Ok(self.without_losses(&steady, vec![finding])),
            };
            let moved = next.iter().zip(&warm).map(|(new, old)| (new - old).abs());
            let moved = moved.fold(0.0, f64::max);
            warm = next;
            rounds += 1;
            if moved < SETTLED || rounds == ROUNDS {
                break (steady, course, losses);
            }
        };
        let mut findings = self.findings.clone();
        self.check(&course, point, warm, &mut findings);
        if !findings.is_empty() {
            return Ok(self.without_losses(&steady, findings));
        }
        let celsius = ThermodynamicTemperature::from_celsius;
        Ok(Outcome {
            losses: Some(losses),
            temperatures: Some(Temperatures {
                high: celsius(warm[0]),
                low: celsius(warm[1]),
                clamp: self.circuit.freewheel.map(|_| celsius(warm[2])),
                inductor: celsius(warm[3]),
            }),
            ..self.without_losses(&steady, vec![])
        })
    }

    fn without_losses(&self, steady: &SteadyState, findings: Vec<PartFinding>) -> Outcome {
        Outcome {
            scheme: self.circuit.scheme,
            at: steady.at,
            state: steady.state,
            peak_current: steady.course.map(|course| course.peak_current),
            losses: None,
            temperatures: None,
            findings,
        }
    }

    /// The temperatures that follow from the losses, the currents held.
    fn settle(
        &self,
        course: &Course,
        losses: &Losses,
        warm: [f64; 4],
    ) -> Result<[f64; 4], PartFinding> {
        let pairs = f64::from(self.circuit.pairs);
        let square = |rms: crate::quantity::Current| rms.coherent() * rms.coherent();
        let inductor = self
            .parts
            .inductor
            .thermal_resistance
            .map_or(0.0, Dimensioned::coherent);
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
                inductor,
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
                        print(crate::quantity::Current::from_coherent(square.sqrt())),
                        print(crate::quantity::ThermalResistance::from_coherent(thermal)),
                    ),
                })?;
        }
        Ok(next)
    }

    fn part(&self, index: usize) -> String {
        self.ratings.get(index).map_or_else(
            || called("inductor", self.parts.inductor.part.as_ref()),
            |(name, _)| name.clone(),
        )
    }

    fn losses(&self, course: &Course, circuit: &Circuit, point: OperatingPoint) -> Losses {
        use Mechanism as M;
        let pairs = f64::from(circuit.pairs);
        let cell = course.cell_time.coherent();
        let mut losses = Losses::new(course.output_power.coherent());
        let d = &course.dissipation;
        losses.add(M::Channels, Place::High, d.high.coherent());
        losses.add(M::Channels, Place::Low, d.low.coherent());
        losses.add(M::Clamp, Place::Clamp, d.clamp.coherent());
        losses.add(M::Winding, Place::Inductor, d.winding.coherent());
        let diode = |average: crate::quantity::Current, drop: Voltage| {
            pairs * (average * drop).coherent().abs()
        };
        losses.add(
            M::Diodes,
            Place::High,
            diode(course.paths.high_diode.average, circuit.high.diode_drop),
        );
        losses.add(
            M::Diodes,
            Place::Low,
            diode(course.paths.low_diode.average, circuit.low.diode_drop),
        );
        // Where the node rings, a moment more or less of the cell decides the instant.
        let turn_on = course.ring.map_or(course.turn_on, |[_, _, mean]| mean);
        losses.add(M::TurnOn, Place::High, turn_on.energy.coherent() / cell);
        losses.ring = course
            .ring
            .map(|[best, worst, _]| [best, worst].map(|turn_on| turn_on.energy.coherent() / cell));
        losses.add(
            M::TurnOn,
            Place::Low,
            course.low_turn_on.energy.coherent() / cell,
        );
        self.switching(course, point, &mut losses);
        self.inductor(course, &mut losses);
        self.capacitors(course, &mut losses);
        losses.add(M::Gate, Place::Drivers, self.gate_energy() / cell);
        let control = self.control.map_or(0.0, Dimensioned::coherent);
        losses.add(M::Control, Place::Control, control);
        losses
    }

    /// The gates' energy in one cell.
    fn gate_energy(&self) -> f64 {
        self.high.gate_energy + self.low.gate_energy + self.clamp_gates * self.clamp.gate_energy
    }

    fn switching(&self, course: &Course, point: OperatingPoint, losses: &mut Losses) {
        let cell = course.cell_time.coherent();
        let pairs = f64::from(self.circuit.pairs);
        let step = point.input_voltage.coherent() / pairs;
        let peak = course.peak_current.coherent();
        let time = self.high.turn_off_time;
        let whole = step * peak.max(0.0) * time / 2.0;
        let equivalent = self.swing_charge(step) / step;
        let least = numbers::overlap_limited(step, peak, time, equivalent);
        losses.add(Mechanism::TurnOff, Place::High, whole / cell);
        losses.turn_off_spared = (whole - least) / cell;
        // A turn-on that takes over a current from the low side's diode, which holds the
        // node at the lower level: the whole step is left. A node that rings has none there.
        let taken = course.energise.start_current.coherent();
        let held = course.ring.is_none() && course.turn_on.voltage.coherent() > 0.999 * step;
        if taken > 0.0 && held {
            losses.add(
                Mechanism::TurnOn,
                Place::High,
                step * taken * time / 2.0 / cell,
            );
            losses.add(
                Mechanism::Recovery,
                Place::High,
                self.low.recovery * step / cell,
            );
        }
    }

    /// The charge of the node over its whole swing.
    fn swing_charge(&self, step: f64) -> f64 {
        let c = &self.circuit;
        let volts = Voltage::from_coherent;
        let of = |curve: &Curve, scale: f64| scale * curve.charge(volts(step)).coherent();
        let clamp = c.clamp_capacitance.map_or(0.0, |curve| {
            // Half the step on either side of the output is near enough for a bound.
            2.0 * c.clamp_scale * curve.charge(volts(step / 2.0)).coherent()
        });
        of(c.high.output_capacitance, c.high.scale)
            + of(c.low.output_capacitance, c.low.scale)
            + clamp
            + c.node_capacitance.coherent() * step
    }

    fn inductor(&self, course: &Course, losses: &mut Losses) {
        let cell = course.cell_time.coherent();
        if let Some(core) = self.core {
            let least = course
                .energise
                .start_current
                .coherent()
                .min(course.release.end_current.coherent());
            let swing = self.circuit.inductance.coherent()
                * (course.peak_current.coherent() - least)
                / core.linkage;
            let flanks = [
                course.energise.duration.coherent(),
                course.release.duration.coherent(),
            ];
            if swing > 0.0 && flanks.iter().all(|t| *t > 0.0) {
                let density =
                    numbers::triangular(core.constant, core.alpha, core.beta, swing, flanks, cell);
                losses.add(Mechanism::Core, Place::Inductor, density * core.volume);
            }
        }
        if let Some(factors) = &self.factors {
            let mut squares = [0.0; HARMONICS];
            numbers::harmonics(course, &mut squares);
            let extra: f64 = squares.iter().zip(factors).map(|(i2, f)| i2 * f).sum();
            let cold = self.circuit.inductor_resistance.coherent();
            losses.add(Mechanism::WindingAlternating, Place::Inductor, cold * extra);
        }
    }

    fn capacitors(&self, course: &Course, losses: &mut Losses) {
        let ohms = |r: Option<Resistance>| r.map_or(0.0, Dimensioned::coherent);
        let square = |rms: crate::quantity::Current| rms.coherent() * rms.coherent();
        let (p, paths) = (&self.parts, &course.paths);
        let flying = paths.flying.map_or(0.0, |path| {
            f64::from(self.circuit.pairs - 1)
                * square(path.rms)
                * ohms(p.flying_capacitor_resistance)
        });
        let output = square(paths.output.rms) * ohms(p.output_capacitor_resistance);
        // The input's current is that of the uppermost high side.
        let input = course.input_current.coherent();
        let input =
            (square(paths.high.rms) - input * input).max(0.0) * ohms(p.input_capacitor_resistance);
        losses.add(
            Mechanism::Capacitors,
            Place::Capacitors,
            flying + output + input,
        );
    }
}

fn ratio(new: Resistance, old: f64) -> f64 {
    if old > 0.0 { new.coherent() / old } else { 1.0 }
}

fn core(inductor: &crate::stage::InductorData) -> Option<Core> {
    let data = inductor.steinmetz?;
    let law = Steinmetz::new(
        VolumetricPowerDensity::from_coherent(data.k),
        data.alpha.into(),
        data.beta.into(),
    );
    Some(Core {
        constant: generalised_constant(&law).value().ok()?.coherent(),
        alpha: data.alpha,
        beta: data.beta,
        volume: inductor.core_volume?.coherent(),
        linkage: inductor.turns?.coherent() * inductor.core_area?.coherent(),
    })
}
