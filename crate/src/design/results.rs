//! The results: which derivation is taken where.

use std::rc::Rc;

use super::DesignError;
use super::finding::Finding;
use crate::equation::{EquationError, Point, Record, Sense, Term};
use crate::limit::{self, Series};
use crate::quantity::{Capacitance, Current, Dimensioned, Exponents, Inductance, print_value};
use crate::stage::{Problem, Problems, Specification, Stage};
use crate::{cycle, edge, freewheel};

/// A preferred value proposed for a part.
#[derive(Clone, Debug, PartialEq)]
pub struct Proposal {
    /// The name by which programs refer to it.
    pub name: &'static str,
    /// The part, in words.
    pub words: &'static str,
    /// The value in the coherent unit.
    pub value: f64,
    /// Its dimension.
    pub exponents: Exponents,
    /// How it follows.
    pub because: String,
}

/// The trip threshold that the range asks for.
///
/// # Errors
/// A derivation that cannot be compiled.
pub fn derived_trip(stage: &Stage) -> Result<Finding, EquationError> {
    let record = Rc::new(freewheel::trip_current(stage).into_record());
    let mut finding = Finding::over_range(stage, &record, &stage.nominal(), Sense::Greatest)?;
    note_clipped(
        &mut finding,
        "Clipped at zero: the delay alone overshoots the need everywhere in the range.",
    );
    Ok(finding)
}

fn note_clipped(finding: &mut Finding, words: &str) {
    if finding.value() == Some(0.0) {
        finding.notes.push(words.to_owned());
    }
}

/// The trip threshold in force, as a symbol.
fn setting(trip: Current, stated: bool) -> Term<Current> {
    let origin = if stated {
        "[trip] threshold"
    } else {
        "derived: trip_current, largest over the range"
    };
    Term::input_from("I_set", "trip threshold in force", trip, origin)
}

/// Evaluates derivations of one stage.
struct Taker<'s> {
    stage: &'s Stage,
    findings: Vec<Finding>,
}

impl Taker<'_> {
    fn worst(
        &mut self,
        record: Record,
        base: &Point,
        sense: Sense,
    ) -> Result<&mut Finding, EquationError> {
        let finding = Finding::over_range(self.stage, &Rc::new(record), base, sense)?;
        self.findings.push(finding);
        let last = self.findings.len() - 1;
        Ok(&mut self.findings[last])
    }

    /// At the least, nominal and greatest input voltage, nominal output voltage.
    fn three(&mut self, record: Record, current: Current) -> Result<(), EquationError> {
        let record = Rc::new(record);
        let s = &self.stage.specification;
        let input = s.input_voltage;
        for (voltage, words) in [
            (input.min, "at the least input voltage"),
            (input.nominal, "at the nominal input voltage"),
            (input.max, "at the greatest input voltage"),
        ] {
            let point = self.stage.point(voltage, s.output_voltage.nominal, current);
            self.findings
                .push(Finding::at(self.stage, &record, point, words)?);
        }
        Ok(())
    }
}

/// Every result, and the preferred values that follow.
pub(crate) fn all(
    stage: &Stage,
    trip: Current,
    stated: bool,
    need: Finding,
) -> Result<(Vec<Finding>, Vec<Proposal>), EquationError> {
    use Sense::{Greatest, Least};
    let s = &stage.specification;
    let full = stage.nominal();
    let least = full
        .clone()
        .with(stage.axes.output_current, s.output_current.min.coherent());
    let set = setting(trip, stated);
    let mut take = Taker {
        stage,
        findings: Vec::new(),
    };

    take.worst(limit::boundary(stage).into_record(), &full, Least)?;
    take.worst(limit::ceiling(stage).into_record(), &full, Least)?;
    take.worst(
        limit::ceiling_operating(stage, set).into_record(),
        &full,
        Least,
    )?;

    take.worst(freewheel::floor(stage).into_record(), &full, Greatest)?;
    let clamp = take.worst(
        freewheel::clamp_on_current(stage).into_record(),
        &full,
        Greatest,
    )?;
    let clamp = clamp.value();
    let release = freewheel::release_current(stage).into_record();
    note_clipped(
        take.worst(release, &full, Greatest)?,
        "Clipped at zero: the partial rise alone gives more than is needed.",
    );
    take.findings.push(need);
    let tolerance = s.inductance_tolerance.coherent();
    if tolerance > 0.0 {
        for (name, factor) in [
            ("trip_current_least_inductance", 1.0 - tolerance),
            ("trip_current_greatest_inductance", 1.0 + tolerance),
        ] {
            let inductance = stage.axes.inductance;
            let base = full.clone().with(inductance, inductance.value() * factor);
            take.worst(
                freewheel::trip_current(stage).renamed(name),
                &base,
                Greatest,
            )?;
        }
    }
    if let Some(path) = limit::release_path_current(stage) {
        take.worst(path.into_record(), &full, Least)?;
    }
    if let Some(clamp) = clamp {
        let clamp = Current::from_coherent(clamp);
        if let Some(time) = freewheel::demagnetisation_time(stage, clamp) {
            take.three(time.into_record(), s.output_current.max)?;
        }
    }

    take.three(
        edge::dead_time_earliest(stage).into_record(),
        s.output_current.max,
    )?;
    take.three(
        edge::dead_time_best(stage).into_record(),
        s.output_current.max,
    )?;
    take.three(
        edge::dead_time_latest(stage).into_record(),
        s.output_current.max,
    )?;
    take.worst(edge::fall_time(stage, set).into_record(), &full, Greatest)?;
    take.worst(edge::fall_latest(stage, set).into_record(), &full, Least)?;
    let light = edge::fall_time(stage, set).renamed("fall_time_least_load");
    take.worst(light, &least, Greatest)?;

    take.worst(
        cycle::peak_current(stage, set).into_record(),
        &full,
        Greatest,
    )?;
    take.worst(cycle::hold_time(stage, set).into_record(), &full, Least)?;
    take.worst(
        cycle::on_time(stage, set).renamed("on_time_least"),
        &least,
        Least,
    )?;

    take.worst(
        limit::transistor_blocking(stage).into_record(),
        &full,
        Greatest,
    )?;
    take.worst(limit::clamp_blocking(stage).into_record(), &full, Greatest)?;
    take.worst(
        limit::clamp_blocking_start(stage).into_record(),
        &full,
        Greatest,
    )?;

    let mut proposals = Vec::new();
    propose_inductance(stage, &take.findings, &mut proposals);
    capacitors(stage, set, &full, &mut take, &mut proposals)?;
    Ok((take.findings, proposals))
}

fn capacitors(
    stage: &Stage,
    set: Term<Current>,
    full: &Point,
    take: &mut Taker,
    proposals: &mut Vec<Proposal>,
) -> Result<(), EquationError> {
    let s = &stage.specification;
    let farads = Capacitance::EXPONENTS;
    let mut propose = |name, words, needed: Option<f64>| {
        let value = needed.and_then(|needed| limit::at_least(needed, Series::E6));
        if let (Some(value), Some(needed)) = (value, needed) {
            let because = format!(
                "the least E6 value not below the {} needed, before the capacitor's own tolerance \
                 and its loss of capacitance with voltage",
                print_value(needed, farads, 4)
            );
            proposals.push(Proposal {
                name,
                words,
                value,
                exponents: farads,
                because,
            });
        }
        value
    };
    if s.levels > 2 {
        let band = stage.band();
        let mut flying = s.flying_capacitance.map(Capacitance::coherent);
        if let Some(allowed) = s.flying_ripple {
            let allowed = Term::input_from(
                "d_fly",
                "flying-capacitor ripple allowed, of the step",
                allowed,
                "[stage] flying_ripple",
            );
            if let Some(needed) = limit::flying_capacitance_needed(stage, set, band, allowed) {
                let needed = take
                    .worst(needed.into_record(), full, Sense::Greatest)?
                    .value();
                let words = "each flying capacitor";
                let proposed = propose("flying_capacitance_proposed", words, needed);
                flying = flying.or(proposed);
            }
        }
        if let Some(flying) = flying {
            let origin = if s.flying_capacitance.is_some() {
                "[stage] flying_capacitance"
            } else {
                "proposed: flying_capacitance_proposed"
            };
            let flying = Term::input_from(
                "C_fly",
                "capacitance of each flying capacitor",
                Capacitance::from_coherent(flying),
                origin,
            );
            if let Some(ripple) = limit::flying_ripple(stage, set, band, flying) {
                take.worst(ripple.into_record(), full, Sense::Greatest)?;
            }
        }
    }
    if let Some(allowed) = s.output_ripple {
        let allowed = Term::input_from(
            "d_out",
            "output ripple allowed, peak to peak",
            allowed,
            "[output] ripple",
        );
        let needed = limit::output_capacitance_needed(stage, set, allowed).into_record();
        let needed = take.worst(needed, full, Sense::Greatest)?.value();
        propose(
            "output_capacitance_proposed",
            "the output capacitor",
            needed,
        );
    }
    let output = Term::input_from(
        "C_out",
        "output capacitance",
        s.output_capacitance,
        "[stage] output_capacitance",
    );
    take.worst(
        limit::output_ripple(stage, set, output).into_record(),
        full,
        Sense::Greatest,
    )?;
    Ok(())
}

fn propose_inductance(stage: &Stage, findings: &[Finding], proposals: &mut Vec<Proposal>) {
    let ceiling = findings
        .iter()
        .find(|f| f.name() == "inductance_ceiling_operating");
    let Some(ceiling) = ceiling.and_then(Finding::value) else {
        return;
    };
    let tolerance = stage.specification.inductance_tolerance.coherent();
    if let Some(value) = limit::at_most(ceiling / (1.0 + tolerance), Series::E12) {
        let exponents = Inductance::EXPONENTS;
        let because = format!(
            "the largest E12 value whose upper tolerance limit stays below the ceiling in \
             operation, {}",
            print_value(ceiling, exponents, 4)
        );
        let (name, words) = ("inductance_proposed", "the inductor");
        proposals.push(Proposal {
            name,
            words,
            value,
            exponents,
            because,
        });
    }
}

/// A stage for a specification without inductance: the largest preferred value
/// whose upper tolerance limit stays below the ceiling in operation.
pub(crate) fn propose_stage(specification: Specification) -> Result<Stage, DesignError> {
    /// Preferred values tried from the ceiling down: two decades.
    const TRIES: usize = 24;
    let tolerance = specification.inductance_tolerance.coherent();
    let build = |value: f64| {
        Stage::new(
            specification.clone(),
            Inductance::from_coherent(value),
            "proposed: inductance_proposed",
        )
    };
    let first = build(1e-6);
    let ceiling = Rc::new(limit::ceiling(&first).into_record());
    let ceiling = Finding::over_range(&first, &ceiling, &first.nominal(), Sense::Least)?;
    let mut bound = ceiling.value().unwrap_or(0.0) / (1.0 + tolerance);
    for _ in 0..TRIES {
        let Some(value) = limit::at_most(bound, Series::E12) else {
            break;
        };
        let stage = build(value);
        let need = derived_trip(&stage)?;
        let stated = stage.specification.trip.threshold;
        let trip = stated.unwrap_or_else(|| Current::from_coherent(need.value().unwrap_or(0.0)));
        let record = limit::ceiling_operating(&stage, setting(trip, stated.is_some()));
        let record = Rc::new(record.into_record());
        let operating = Finding::over_range(&stage, &record, &stage.nominal(), Sense::Least)?;
        if operating
            .value()
            .is_some_and(|ceiling| value * (1.0 + tolerance) <= ceiling)
        {
            return Ok(stage);
        }
        bound = value * 0.999;
    }
    Err(Problems(vec![Problem {
        line: 1,
        column: 1,
        key: "stage.inductance".to_owned(),
        message: "is not stated, and no preferred value leaves hold time over the whole range; \
                  state one, or lower the switching frequency, the load or the range"
            .to_owned(),
    }])
    .into())
}
