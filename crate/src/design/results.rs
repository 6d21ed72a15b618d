//! The results: which derivation is taken where.

use std::sync::Arc;

use super::finding::Finding;
use super::parallel;
use crate::equation::{Derivation, EquationError, Point, Record, Sense, Span, Term};
use crate::limit::{self, Series};
use crate::quantity::{Capacitance, Current, Dimensioned, Exponents, Inductance, print_value};
use crate::stage::Stage;
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
pub(super) fn derived_trip(stage: &Stage) -> Result<Finding, EquationError> {
    let record = Arc::new(freewheel::trip_current(stage).into_record());
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

/// What is to be taken of one stage, in the order of the results.
struct Plan<'s> {
    stage: &'s Stage,
    /// The trip threshold in force.
    trip: Current,
    tasks: Vec<Task>,
}

/// A derivation and where it is taken.
struct Task {
    record: Arc<Record>,
    base: Point,
    place: Place,
    /// Whether its equation is that of the cell, solved by the hold time.
    of_cell: bool,
}

enum Place {
    /// Where it is worst over the ranges of input and output voltage.
    Worst(Sense),
    /// Where it is worst over these and the range of the output current.
    WorstWithLoad(Sense),
    /// At the base itself, in words.
    There(&'static str),
}

impl Task {
    fn take(&self, stage: &Stage, trip: Current) -> Result<Finding, EquationError> {
        let worst = |spans: &[Span], sense| {
            let trip = self.of_cell.then_some(trip);
            Finding::worst(stage, &self.record, &self.base, spans, sense, trip)
        };
        match self.place {
            Place::Worst(sense) => worst(&stage.spans(), sense),
            Place::WorstWithLoad(sense) => {
                let [input, output] = stage.spans();
                worst(&[input, output, stage.load_span()], sense)
            }
            Place::There(words) => Finding::at(stage, &self.record, self.base.clone(), words),
        }
    }
}

impl<'s> Plan<'s> {
    fn new(stage: &'s Stage, trip: Current) -> Self {
        Self {
            stage,
            trip,
            tasks: Vec::new(),
        }
    }

    fn worst(&mut self, record: Record, base: &Point, sense: Sense) {
        self.push(record, base, Place::Worst(sense), false);
    }

    /// The same of a quantity of the cell.
    fn worst_of_cell(&mut self, record: Record, base: &Point, sense: Sense) {
        self.push(record, base, Place::Worst(sense), true);
    }

    /// The same over the load as well.
    fn worst_of_cell_with_load(&mut self, record: Record, base: &Point, sense: Sense) {
        self.push(record, base, Place::WorstWithLoad(sense), true);
    }

    fn push(&mut self, record: Record, base: &Point, place: Place, of_cell: bool) {
        self.tasks.push(Task {
            record: Arc::new(record),
            base: base.clone(),
            place,
            of_cell,
        });
    }

    /// At the least, nominal and greatest input voltage, nominal output voltage.
    fn three(&mut self, record: Record, current: Current) {
        let record = Arc::new(record);
        let s = &self.stage.specification;
        let input = s.input_voltage;
        for (voltage, words) in [
            (input.min, "at the minimum input voltage"),
            (input.nominal, "at the nominal input voltage"),
            (input.max, "at the maximum input voltage"),
        ] {
            self.tasks.push(Task {
                record: Arc::clone(&record),
                base: self.stage.point(voltage, s.output_voltage.nominal, current),
                place: Place::There(words),
                of_cell: false,
            });
        }
    }

    /// Takes everything, on all cores, in order.
    fn take(self) -> Result<Vec<Finding>, EquationError> {
        parallel::map(&self.tasks, |task| task.take(self.stage, self.trip))
            .into_iter()
            .collect()
    }
}

/// Every result, and the preferred values that follow.
pub(crate) fn all(
    stage: &Stage,
    set: Term<Current>,
    need: Finding,
) -> Result<(Vec<Finding>, Vec<Proposal>), EquationError> {
    use Sense::{Greatest, Least};
    let s = &stage.specification;
    let full = stage.nominal();
    let least = full
        .clone()
        .with(stage.axes.output_current, s.output_current.min.coherent());
    let mut plan = Plan::new(stage, set.value()?);

    plan.worst(limit::boundary(stage).into_record(), &full, Least);
    plan.worst(limit::ceiling(stage).into_record(), &full, Least);
    plan.worst(
        limit::ceiling_operating(stage, set).into_record(),
        &full,
        Least,
    );

    plan.worst(freewheel::floor(stage).into_record(), &full, Greatest);
    plan.worst(
        freewheel::clamp_on_current(stage).into_record(),
        &full,
        Greatest,
    );
    let release = freewheel::release_current(stage).into_record();
    plan.worst(release, &full, Greatest);
    let tolerance = s.inductance_tolerance.coherent();
    if tolerance > 0.0 {
        for (name, factor) in [
            ("trip_current_least_inductance", 1.0 - tolerance),
            ("trip_current_greatest_inductance", 1.0 + tolerance),
        ] {
            let inductance = stage.axes.inductance;
            let base = full.clone().with(inductance, inductance.value() * factor);
            plan.worst(
                freewheel::trip_current(stage).renamed(name),
                &base,
                Greatest,
            );
        }
    }
    if let Some(path) = limit::release_path_current(stage) {
        plan.worst(path.into_record(), &full, Least);
    }
    if let Some(time) = freewheel::demagnetisation_time(stage) {
        plan.three(time.into_record(), s.output_current.max);
    }

    plan.three(
        edge::dead_time_earliest(stage).into_record(),
        s.output_current.max,
    );
    plan.three(
        edge::dead_time_best(stage).into_record(),
        s.output_current.max,
    );
    plan.three(
        edge::dead_time_latest(stage).into_record(),
        s.output_current.max,
    );
    plan.worst_of_cell(edge::fall_time(stage, set).into_record(), &full, Greatest);
    // The less the load, the less the current that moves the node and then its diode
    // carries; only next to no load, where the peak is no more than the node's own
    // current, the latest instant grows again.
    plan.worst_of_cell_with_load(edge::fall_latest(stage, set).into_record(), &full, Least);
    let light = edge::fall_time(stage, set).renamed("fall_time_least_load");
    plan.worst_of_cell(light, &least, Greatest);

    plan.worst_of_cell(
        cycle::peak_current(stage, set).into_record(),
        &full,
        Greatest,
    );
    plan.worst_of_cell(cycle::hold_time(stage, set).into_record(), &full, Least);
    plan.worst_of_cell(
        cycle::on_time(stage, set).renamed("on_time_least"),
        &least,
        Least,
    );

    plan.worst(
        limit::transistor_blocking(stage).into_record(),
        &full,
        Greatest,
    );
    plan.worst(limit::clamp_blocking(stage).into_record(), &full, Greatest);
    let specification = &stage.specification;
    let start = if specification.starts_charged() {
        limit::clamp_blocking_start(stage)
    } else {
        limit::outermost_blocking_start(stage)
    };
    plan.worst(start.into_record(), &full, Greatest);
    if specification.levels > 2 {
        let step = limit::outermost_blocking_step(stage);
        plan.worst(step.into_record(), &full, Greatest);
    }

    capacitors(&mut plan, set, &full);
    let mut findings = plan.take()?;
    for finding in findings
        .iter_mut()
        .filter(|f| f.name() == "release_current")
    {
        note_clipped(
            finding,
            "Clipped at zero: the partial rise alone gives more than is needed.",
        );
    }
    after(&mut findings, "release_current", need);
    let proposals = proposals(stage, set, &full, &mut findings)?;
    Ok((findings, proposals))
}

/// Puts a finding after that of a name.
fn after(findings: &mut Vec<Finding>, name: &str, finding: Finding) {
    let place = findings
        .iter()
        .position(|f| f.name() == name)
        .map_or(findings.len(), |k| k + 1);
    findings.insert(place, finding);
}

fn capacitors(plan: &mut Plan, set: Term<Current>, full: &Point) {
    let stage = plan.stage;
    let s = &stage.specification;
    if let Some(allowed) = s.flying_ripple {
        let allowed = Term::input_from(
            "d_fly",
            "flying-capacitor ripple allowed, of the step",
            allowed,
            "[stage] flying_ripple",
        );
        let needed = limit::flying_capacitance_needed(stage, set, allowed);
        if let Some(needed) = needed {
            plan.worst_of_cell(needed.into_record(), full, Sense::Greatest);
        }
    }
    if let Some(stated) = s.flying_capacitance_in_operation() {
        let ripple = flying_ripple(stage, set, stated, "[stage] flying_capacitance");
        if let Some(ripple) = ripple {
            plan.worst_of_cell(ripple, full, Sense::Greatest);
        }
    }
    if let Some(allowed) = s.output_ripple {
        let allowed = Term::input_from(
            "d_out",
            "output ripple allowed, peak to peak",
            allowed,
            "[output] ripple",
        );
        let needed = limit::output_capacitance_needed(stage, set, allowed);
        plan.worst_of_cell(needed.into_record(), full, Sense::Greatest);
    }
    let output = Term::input_from(
        "C_out",
        "output capacitance",
        s.output_capacitance_in_operation(),
        "[stage] output_capacitance",
    );
    let ripple = limit::output_ripple(stage, set, output);
    plan.worst_of_cell(ripple.into_record(), full, Sense::Greatest);
}

fn flying_ripple(
    stage: &Stage,
    set: Term<Current>,
    capacitance: Capacitance,
    origin: &str,
) -> Option<Record> {
    let words = "capacitance of each flying capacitor";
    let capacitance = Term::input_from("C_fly", words, capacitance, origin);
    limit::flying_ripple(stage, set, capacitance).map(Derivation::into_record)
}

/// The preferred values that follow from the findings; the ripple of a flying
/// capacitor that is itself proposed joins the findings.
fn proposals(
    stage: &Stage,
    set: Term<Current>,
    full: &Point,
    findings: &mut Vec<Finding>,
) -> Result<Vec<Proposal>, EquationError> {
    let mut list: Vec<Proposal> = propose_inductance(stage, findings).into_iter().collect();
    let needed = |findings: &[Finding], name: &str| {
        findings
            .iter()
            .find(|f| f.name() == name)
            .and_then(Finding::value)
    };
    let name = "flying_capacitance_needed";
    let flying = needed(findings, name).and_then(|needed| {
        propose_capacitance(
            "flying_capacitance_proposed",
            "each flying capacitor",
            needed,
        )
    });
    if let (Some(flying), None) = (&flying, stage.specification.flying_capacitance) {
        let value = Capacitance::from_coherent(flying.value);
        let origin = "proposed: flying_capacitance_proposed";
        if let Some(ripple) = flying_ripple(stage, set, value, origin) {
            let (ripple, spans) = (Arc::new(ripple), stage.spans());
            let trip = Some(set.value()?);
            let ripple = Finding::worst(stage, &ripple, full, &spans, Sense::Greatest, trip)?;
            after(findings, name, ripple);
        }
    }
    list.extend(flying);
    list.extend(
        needed(findings, "output_capacitance_needed").and_then(|needed| {
            propose_capacitance(
                "output_capacitance_proposed",
                "the output capacitor",
                needed,
            )
        }),
    );
    Ok(list)
}

fn propose_capacitance(name: &'static str, words: &'static str, needed: f64) -> Option<Proposal> {
    let exponents = Capacitance::EXPONENTS;
    let because = format!(
        "the smallest E6 value not below the {} needed, before the capacitor's own tolerance and its \
         loss of capacitance with voltage",
        print_value(needed, exponents, 4)
    );
    let value = limit::at_least(needed, Series::E6)?;
    Some(Proposal {
        name,
        words,
        value,
        exponents,
        because,
    })
}

fn propose_inductance(stage: &Stage, findings: &[Finding]) -> Option<Proposal> {
    let ceiling = findings
        .iter()
        .find(|f| f.name() == "inductance_ceiling_operating")?;
    let ceiling = ceiling.value()?;
    let tolerance = stage.specification.inductance_tolerance.coherent();
    let value = limit::at_most(ceiling / (1.0 + tolerance), Series::E12)?;
    let exponents = Inductance::EXPONENTS;
    let because = format!(
        "the largest E12 value whose upper tolerance limit stays below the ceiling in operation, {}",
        print_value(ceiling, exponents, 4)
    );
    let (name, words) = ("inductance_proposed", "the inductor");
    Some(Proposal {
        name,
        words,
        value,
        exponents,
        because,
    })
}
