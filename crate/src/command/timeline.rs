//! `slewbook timeline`: the stage with its control, from an instant on.

use std::path::PathBuf;

use lexopt::prelude::*;
use slewbook::cycle::{CycleError, Solver};
use slewbook::quantity::unit::ms;
use slewbook::quantity::{Current, Dimensioned, Ratio, Time, Voltage, print as shown};
use slewbook::stage::{Circuit, OperatingPoint, Specification};
use slewbook::timeline::{self, Initial, Loop, LoopReport, Settings, Simulation, Start, Waves};

use super::given::{Given, Place, above_zero, expect, not_negative, read, sound};
use super::settings::Source;
use super::sources::Sources;
use super::{Failure, end_with, once};
use crate::progress::Progress;

/// How long it runs unless told, in milliseconds.
const UNTIL: f64 = 2.0;
/// Cells of a run at most: hours of work and gigabytes of rows.
const MOST_CELLS: f64 = 1e7;
/// Rows of a file at most: some gigabytes.
const MOST_ROWS: f64 = 1e8;
/// Rows in a cell unless told, beside those of events.
const ROWS: f64 = 50.0;

/// What the command line asks for, read before the specification is.
#[derive(Default)]
struct Options {
    source: Source,
    place: Place,
    until: Option<Time>,
    load_steps: Vec<Step<Current>>,
    input_steps: Vec<Step<Voltage>>,
    disturbances: Vec<(Time, usize, Voltage)>,
    start_up: Option<Voltage>,
    duty: Option<Ratio>,
    spacing: Option<Time>,
    output: Option<PathBuf>,
    json: bool,
}

fn options(parser: &mut lexopt::Parser) -> Result<Options, Failure> {
    let mut o = Options::default();
    while let Some(argument) = parser.next()? {
        match argument {
            Long(name) if Place::takes(name) => {
                let name = name.to_owned();
                o.place.take(&name, parser.value()?.string()?)?;
            }
            Long("json") => o.json = true,
            Long("set") => o.source.set(&parser.value()?.string()?)?,
            Long("until") => {
                let value = parser.value()?.string()?;
                once(&mut o.until, "--until", read("--until", &value)?)?;
            }
            Long("load-step") => step(
                "--load-step",
                "1 A, 6 A, 1 ms",
                &parser.value()?.string()?,
                &mut o.load_steps,
            )?,
            Long("input-step") => step(
                "--input-step",
                "36 V, 44 V, 1 ms",
                &parser.value()?.string()?,
                &mut o.input_steps,
            )?,
            Long("disturb") => o
                .disturbances
                .push(disturbance(&parser.value()?.string()?)?),
            Long("start-up") => {
                let value = parser.value()?.string()?;
                once(&mut o.start_up, "--start-up", read("--start-up", &value)?)?;
            }
            Long("duty") => {
                let value = parser.value()?.string()?;
                once(&mut o.duty, "--duty", read("--duty", &value)?)?;
            }
            Long("spacing") => {
                let value = parser.value()?.string()?;
                once(&mut o.spacing, "--spacing", read("--spacing", &value)?)?;
            }
            Short('o') | Long("output") => {
                once(&mut o.output, "-o", PathBuf::from(parser.value()?))?;
            }
            Value(path) if o.source.file.is_none() => o.source.file = Some(PathBuf::from(path)),
            other => return Err(other.unexpected().into()),
        }
    }
    o.check()?;
    Ok(o)
}

impl Options {
    fn until(&self) -> Time {
        self.until.unwrap_or(UNTIL * ms)
    }

    /// What cannot be, whatever the specification says.
    fn check(&self) -> Result<(), Failure> {
        let until = self.until();
        above_zero("--until", until)?;
        if let Some(spacing) = self.spacing {
            above_zero("--spacing", spacing)?;
        }
        if let Some(duty) = self.duty {
            let most: Ratio = 1.0.into();
            if !(duty > 0.0.into() && duty <= most) {
                return Err(Failure::Input(format!(
                    "slewbook: --duty is {}; expected more than 0 and at most 1",
                    shown(duty)
                )));
            }
        }
        let times = self
            .load_steps
            .iter()
            .map(|step| ("--load-step", step.time))
            .chain(self.input_steps.iter().map(|s| ("--input-step", s.time)))
            .chain(self.disturbances.iter().map(|d| ("--disturb", d.0)));
        for (option, time) in times {
            if !(time.coherent() >= 0.0 && time < until) {
                return Err(Failure::Input(format!(
                    "slewbook: {option}: {} is not within the run of {}; choose another time or a \
                     longer --until",
                    shown(time),
                    shown(until)
                )));
            }
        }
        for (steps, option, given, plain) in [
            (
                self.load_steps.len(),
                "--load-step",
                &self.place.point[2],
                "--output-current",
            ),
            (
                self.input_steps.len(),
                "--input-step",
                &self.place.point[0],
                "--input-voltage",
            ),
        ] {
            if steps > 0 && given.is_some() {
                return Err(Failure::Input(format!(
                    "slewbook: {option} says what the run starts from; leave out {plain}"
                )));
            }
        }
        for voltage in self.input_steps.iter().flat_map(|s| [s.before, s.after]) {
            above_zero("--input-step", voltage)?;
        }
        for load in self.load_steps.iter().flat_map(|s| [s.before, s.after]) {
            not_negative("--load-step", load)?;
        }
        Ok(())
    }
}

pub fn run(mut parser: lexopt::Parser) -> Result<(), Failure> {
    let mut o = options(&mut parser)?;
    let source = std::mem::take(&mut o.source);
    let (Some(_), Some(output)) = (&source.file, &o.output) else {
        return Err(Failure::Input(
            "slewbook: timeline needs a specification and a place for its waveforms: slewbook \
             timeline SPEC --until 2ms -o WAVES.csv"
                .to_owned(),
        ));
    };
    let sources = Sources::read(source)?;
    let mut target = super::output("-o", output, &sources.inputs)?;
    let given = Given::of(sources)?;
    let name = &given.name;
    let circuit = given.circuit(o.place.scheme.as_deref())?;
    let until = o.until();
    let most = MOST_CELLS * circuit.cell_time();
    if until > most {
        return Err(Failure::Input(format!(
            "slewbook: --until is {}; expected at most {}, {MOST_CELLS} cells",
            shown(until),
            shown(most)
        )));
    }
    let refused = |error: timeline::TimelineError| Failure::Input(format!("{name}: {error}"));
    let spacing = o.spacing.unwrap_or(circuit.cell_time() / ROWS);
    let least = until / MOST_ROWS;
    if spacing < least {
        return Err(Failure::Input(format!(
            "slewbook: --spacing is {}; expected at least {} for a run of {}, {MOST_ROWS} rows",
            shown(spacing),
            shown(least),
            shown(until)
        )));
    }
    let scenario = Scenario::new(&o, &given, &circuit)?;
    let (mut simulation, from) = scenario.simulation(&circuit, &o).map_err(refused)?;
    let report = scenario.voltage_loop(&circuit, &given.specification);
    let mut waves = Waves::new(&mut target, &simulation, spacing);
    let mut progress = Progress::new();
    let summary = timeline::run(&mut simulation, until, &mut waves, |part| {
        progress.reach(part);
    })
    .map_err(refused)?;
    progress.end();
    let rows = waves.finish(&simulation);
    let rows = rows.map_err(|error| target.refused(error))?;
    let initial = &scenario.initial;
    let said = if o.json {
        let start = Start {
            scheme: circuit.scheme,
            from,
            at: OperatingPoint {
                input_voltage: initial.input_voltage,
                output_voltage: initial.output_voltage,
                output_current: initial.load,
            },
            rows,
            voltage_loop: report.as_ref(),
            points: &scenario.points,
        };
        summary.json(&given.specification, &start) + "\n"
    } else {
        let examined = report.map_or_else(String::new, |report| report.text());
        let exceeded = summary.exceeded(&given.specification, &scenario.points);
        let exceeded = exceeded
            .into_iter()
            .fold(String::new(), |all, note| all + &note + "\n");
        format!(
            "{}\n{exceeded}{examined}{} ({}) for {} from {} in, {} out, {}, {from}\n{}{}: {rows} rows\n{}",
            given.specification.title,
            circuit.scheme,
            circuit.scheme.words(),
            shown(until),
            shown(initial.input_voltage),
            shown(initial.output_voltage),
            shown(initial.load),
            given.edits(),
            target.place().display(),
            summary.text()
        )
    };
    end_with(vec![target], &said)
}

/// From which state the stage goes on, and what holds its output.
struct Scenario {
    settings: Settings,
    point: OperatingPoint,
    /// That point, and where the run's steps lead.
    points: Vec<OperatingPoint>,
    initial: Initial,
}

impl Scenario {
    fn new(o: &Options, given: &Given, circuit: &Circuit) -> Result<Self, Failure> {
        let name = &given.name;
        let mut at = given.point(&o.place.point)?;
        if let Some(first) = o.load_steps.first() {
            at.output_current = first.before;
        }
        if let Some(first) = o.input_steps.first() {
            at.input_voltage = first.before;
        }
        sound(&at)?;
        // What no cell can be at, no control holds.
        let refused = |error: CycleError| Failure::Input(format!("{name}: {error}"));
        let mut solver = Solver::new(circuit).map_err(refused)?;
        solver.solve(at).map_err(refused)?;
        let point = at;
        let step = at.input_voltage / f64::from(circuit.pairs);
        for (_, _, change) in &o.disturbances {
            let words =
                "at most one step of the input either way, beyond which body diodes conduct";
            expect("--disturb", *change, change.abs() <= step, words)?;
        }
        let mut initial = Initial::at(at);
        if let Some(voltage) = o.start_up {
            initial.output_voltage = voltage;
            initial.flying_charged = false;
        }
        // The loop's gains follow from the greatest load in play.
        for step in &o.load_steps {
            if step.after > at.output_current {
                at.output_current = step.after;
            }
        }
        let control = &given.specification.control;
        let mut settings = Settings::new(control, circuit, at)
            .map_err(|error| Failure::Input(format!("{name}: {error}")))?;
        if let Some(duty) = o.duty {
            settings.on_time = Loop::FixedDuty(duty);
        }
        Ok(Self {
            settings,
            point,
            points: points(point, o),
            initial,
        })
    }

    /// The voltage loop wherever the run comes to, with what remains of the capacitors and
    /// with all of them.
    fn voltage_loop(&self, circuit: &Circuit, specification: &Specification) -> Option<LoopReport> {
        let fresh = Circuit {
            flying_capacitance: specification.flying_capacitance,
            output_capacitance: specification.output_capacitance,
            ..*circuit
        };
        let same = fresh.flying_capacitance == circuit.flying_capacitance
            && fresh.output_capacitance == circuit.output_capacitance;
        LoopReport::new(
            circuit,
            (!same).then_some(&fresh),
            &specification.control,
            &self.settings,
            &self.points,
        )
    }

    /// The simulation, and from which state it goes on.
    fn simulation(
        &self,
        circuit: &Circuit,
        o: &Options,
    ) -> Result<(Simulation, &'static str), timeline::TimelineError> {
        let running = if o.start_up.is_none() {
            Simulation::steady(circuit, &self.settings, self.point).ok()
        } else {
            None
        };
        let (mut simulation, from) = match running {
            Some(simulation) => (simulation, "in steady state"),
            None => (
                Simulation::new(circuit, &self.settings, &self.initial)?,
                "starting from rest",
            ),
        };
        for step in &o.load_steps {
            simulation.load_step(step.time, step.after);
        }
        for step in &o.input_steps {
            simulation.input_step(step.time, step.after);
        }
        for (time, capacitor, change) in &o.disturbances {
            simulation.disturb(*time, *capacitor, *change)?;
        }
        Ok((simulation, from))
    }
}

/// The point of a run and those after its steps, in the order of time.
fn points(start: OperatingPoint, o: &Options) -> Vec<OperatingPoint> {
    let loads = o.load_steps.iter();
    let loads = loads.map(|step| (step.time, Some(step.after), None));
    let inputs = o.input_steps.iter();
    let inputs = inputs.map(|step| (step.time, None, Some(step.after)));
    let mut changes: Vec<_> = loads.chain(inputs).collect();
    changes.sort_by(|a, b| a.0.coherent().total_cmp(&b.0.coherent()));
    let mut points = vec![start];
    let mut point = start;
    for (_, load, input) in changes {
        point.output_current = load.unwrap_or(point.output_current);
        point.input_voltage = input.unwrap_or(point.input_voltage);
        if !points.contains(&point) {
            points.push(point);
        }
    }
    points
}

/// A change of a quantity.
struct Step<Q> {
    before: Q,
    after: Q,
    time: Time,
}

/// Reads a step; it goes on from the one before it.
fn step<Q: Dimensioned + PartialEq>(
    option: &str,
    example: &str,
    text: &str,
    steps: &mut Vec<Step<Q>>,
) -> Result<(), Failure> {
    let what = "value before, value after and time";
    let [before, after, time] = three(option, text, example, what)?;
    let step = Step {
        before: read(option, before)?,
        after: read(option, after)?,
        time: read(option, time)?,
    };
    if let Some(last) = steps.last()
        && (step.before != last.after || step.time < last.time)
    {
        return Err(Failure::Input(format!(
            "slewbook: {option} {text}: expected a step from {} after {}, where the one before it \
             ends; give the steps in the order of time",
            shown(last.after),
            shown(last.time)
        )));
    }
    steps.push(step);
    Ok(())
}

fn disturbance(text: &str) -> Result<(Time, usize, Voltage), Failure> {
    let option = "--disturb";
    let what = "flying capacitor, change and time";
    let [number, change, time] = three(option, text, "1, -2 V, 1 ms", what)?;
    let number = number.parse().map_err(|_| {
        Failure::Input(format!(
            "slewbook: {option} {text}: {number} is no number of a flying capacitor; they count \
             from 1 at the node's side"
        ))
    })?;
    Ok((read(option, time)?, number, read(option, change)?))
}

fn three<'t>(
    option: &str,
    text: &'t str,
    example: &str,
    what: &str,
) -> Result<[&'t str; 3], Failure> {
    let parts: Vec<&str> = text.split(',').map(str::trim).collect();
    parts.try_into().map_err(|_| {
        Failure::Input(format!(
            "slewbook: {option} is `{text}`; expected {what} with commas between, such as \
             {option} '{example}'"
        ))
    })
}
