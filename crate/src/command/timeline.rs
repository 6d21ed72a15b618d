//! `slewbook timeline`: the stage with its control, from an instant on.

use std::fs::File;
use std::path::{Path, PathBuf};

use lexopt::prelude::*;
use slewbook::design::Design;
use slewbook::quantity::{Current, Dimensioned, Ratio, Time, Voltage, print as shown};
use slewbook::stage::{Circuit, OperatingPoint};
use slewbook::timeline::{self, Initial, Loop, Settings, Simulation, Waves};

use super::cycle::{circuit, point, read};
use super::{Failure, derive, print};
use crate::progress::Progress;

/// How long it runs unless told.
const UNTIL: &str = "2 ms";
/// Cells of a run at most: hours of work and gigabytes of rows.
const MOST_CELLS: f64 = 1e7;
/// Rows in a cell unless told, beside those of events.
const ROWS: f64 = 50.0;

#[derive(Default)]
struct Options {
    file: Option<PathBuf>,
    point: [Option<String>; 3],
    scheme: Option<String>,
    until: Option<String>,
    load_steps: Vec<String>,
    input_steps: Vec<String>,
    disturbances: Vec<String>,
    start_up: Option<String>,
    duty: Option<String>,
    spacing: Option<String>,
    output: Option<PathBuf>,
}

fn options(parser: &mut lexopt::Parser) -> Result<Options, Failure> {
    let mut o = Options::default();
    while let Some(argument) = parser.next()? {
        match argument {
            Long("input-voltage") => o.point[0] = Some(parser.value()?.string()?),
            Long("output-voltage") => o.point[1] = Some(parser.value()?.string()?),
            Long("output-current") => o.point[2] = Some(parser.value()?.string()?),
            Long("scheme") => o.scheme = Some(parser.value()?.string()?),
            Long("until") => o.until = Some(parser.value()?.string()?),
            Long("load-step") => o.load_steps.push(parser.value()?.string()?),
            Long("input-step") => o.input_steps.push(parser.value()?.string()?),
            Long("disturb") => o.disturbances.push(parser.value()?.string()?),
            Long("start-up") => o.start_up = Some(parser.value()?.string()?),
            Long("duty") => o.duty = Some(parser.value()?.string()?),
            Long("spacing") => o.spacing = Some(parser.value()?.string()?),
            Short('o') | Long("output") => o.output = Some(PathBuf::from(parser.value()?)),
            Value(path) if o.file.is_none() => o.file = Some(PathBuf::from(path)),
            other => return Err(other.unexpected().into()),
        }
    }
    Ok(o)
}

pub fn run(mut parser: lexopt::Parser) -> Result<(), Failure> {
    let o = options(&mut parser)?;
    let (Some(file), Some(output)) = (&o.file, &o.output) else {
        return Err(Failure::Input(
            "slewbook: timeline needs a specification and a place for its waveforms: slewbook \
             timeline SPEC --until 2ms -o WAVES.csv"
                .to_owned(),
        ));
    };
    let name = file.display().to_string();
    let design = derive(Some(file), false)?;
    let circuit = circuit(&design, &name, o.scheme.as_deref())?;
    let until: Time = read("--until", o.until.as_deref().unwrap_or(UNTIL))?;
    let most = MOST_CELLS * circuit.cell_time();
    within("--until", until, Time::from_coherent(0.0), most)?;
    let scenario = Scenario::read(&o, &design, &circuit, until)?;
    let spacing = match &o.spacing {
        Some(text) => read("--spacing", text)?,
        None => circuit.cell_time() / ROWS,
    };
    within("--spacing", spacing, Time::from_coherent(0.0), until)?;
    let refused = |error: timeline::TimelineError| Failure::Input(format!("{name}: {error}"));
    let mut simulation = scenario.simulation(&circuit).map_err(refused)?;
    let target = File::create(output).map_err(|error| unwritable(output, &error))?;
    let mut waves = Waves::new(target, &simulation, spacing);
    let mut progress = Progress::new();
    let summary = timeline::run(&mut simulation, until, &mut waves, |part| {
        progress.reach(part);
    })
    .map_err(refused)?;
    progress.end();
    let rows = waves
        .finish(&simulation)
        .map_err(|error| unwritable(output, &error))?;
    print(&format!(
        "{} ({}) for {} from {} in, {} out, {}\n{}: {rows} rows\n{}",
        circuit.scheme,
        circuit.scheme.words(),
        shown(until),
        shown(scenario.initial.input_voltage),
        shown(scenario.initial.output_voltage),
        shown(scenario.initial.load),
        output.display(),
        summary.text()
    ))
}

/// Changes of a quantity with their times.
type Steps<Q> = Vec<(Time, Q)>;

/// From which state the stage goes on, what holds its output, what happens to it.
struct Scenario {
    settings: Settings,
    initial: Initial,
    load_steps: Steps<Current>,
    input_steps: Steps<Voltage>,
    disturbances: Vec<(Time, usize, Voltage)>,
}

impl Scenario {
    fn read(o: &Options, design: &Design, circuit: &Circuit, until: Time) -> Result<Self, Failure> {
        let mut at = point(design, &o.point)?;
        let load_steps = steps("--load-step", &o.load_steps, until, &mut at.output_current)?;
        let input_steps = steps("--input-step", &o.input_steps, until, &mut at.input_voltage)?;
        for (option, steps, given) in [
            ("--load-step", load_steps.len(), &o.point[2]),
            ("--input-step", input_steps.len(), &o.point[0]),
        ] {
            if steps > 0 && given.is_some() {
                let plain =
                    ["--output-current", "--input-voltage"][usize::from(option == "--input-step")];
                return Err(Failure::Input(format!(
                    "slewbook: {option} says what the run starts from; leave out {plain}"
                )));
            }
        }
        let none = Current::from_coherent(0.0);
        let most = Current::from_coherent(1e5);
        let high = Voltage::from_coherent(1e5);
        for load in std::iter::once(at.output_current).chain(load_steps.iter().map(|s| s.1)) {
            if !(load >= none && load <= most) {
                return Err(outside("load", load, "0 A", most));
            }
        }
        for input in std::iter::once(at.input_voltage).chain(input_steps.iter().map(|s| s.1)) {
            within("input voltage", input, Voltage::from_coherent(0.0), high)?;
        }
        within(
            "output voltage",
            at.output_voltage,
            Voltage::from_coherent(0.0),
            at.input_voltage,
        )?;
        let disturbances = o
            .disturbances
            .iter()
            .map(|text| disturbance(text, until))
            .collect::<Result<_, _>>()?;
        let mut initial = Initial::at(at);
        if let Some(text) = &o.start_up {
            initial.output_voltage = read("--start-up", text)?;
            initial.flying_charged = false;
        }
        // The loop's gains follow from the greatest load in play.
        let loads = load_steps.iter().map(|s| s.1);
        let greatest = loads.fold(
            at.output_current,
            |most, load| if load > most { load } else { most },
        );
        let of_gains = OperatingPoint {
            output_current: greatest,
            ..at
        };
        let control = &design.stage.specification.control;
        let mut settings = Settings::new(control, circuit, of_gains)
            .map_err(|error| Failure::Input(format!("slewbook: {error}")))?;
        if let Some(text) = &o.duty {
            let duty: Ratio = read("--duty", text)?;
            within("--duty", duty, 0.0.into(), 1.0.into())?;
            settings.on_time = Loop::FixedDuty(duty);
        }
        Ok(Self {
            settings,
            initial,
            load_steps,
            input_steps,
            disturbances,
        })
    }

    fn simulation(&self, circuit: &Circuit) -> Result<Simulation, timeline::TimelineError> {
        let mut simulation = Simulation::new(circuit, &self.settings, &self.initial)?;
        for (time, current) in &self.load_steps {
            simulation.load_step(*time, *current);
        }
        for (time, voltage) in &self.input_steps {
            simulation.input_step(*time, *voltage);
        }
        for (time, capacitor, change) in &self.disturbances {
            simulation.disturb(*time, *capacitor, *change)?;
        }
        Ok(simulation)
    }
}

/// Steps in the order of time; `start` becomes what the first one starts from.
fn steps<Q: Dimensioned + PartialEq>(
    option: &str,
    texts: &[String],
    until: Time,
    start: &mut Q,
) -> Result<Steps<Q>, Failure> {
    let mut steps: Steps<Q> = vec![];
    for text in texts {
        let [before, after, time] = three(
            option,
            text,
            "1 A, 6 A, 1 ms",
            "value before, value after and time",
        )?;
        let (before, after): (Q, Q) = (read(option, before)?, read(option, after)?);
        let time = instant(option, time, until)?;
        let (last, held) = steps
            .last()
            .copied()
            .unwrap_or((Time::from_coherent(0.0), before));
        if before != held || time < last {
            return Err(Failure::Input(format!(
                "slewbook: {option} {text}: expected a step from {} after {}, where the one before \
                 it ends; give the steps in the order of time",
                shown(held),
                shown(last)
            )));
        }
        if steps.is_empty() {
            *start = before;
        }
        steps.push((time, after));
    }
    Ok(steps)
}

fn disturbance(text: &str, until: Time) -> Result<(Time, usize, Voltage), Failure> {
    let option = "--disturb";
    let [number, change, time] = three(
        option,
        text,
        "1, -2 V, 1 ms",
        "flying capacitor, change and time",
    )?;
    let number = number.parse().map_err(|_| {
        Failure::Input(format!(
            "slewbook: {option} {text}: {number} is no number of a flying capacitor; they count \
             from 1 at the node's side"
        ))
    })?;
    Ok((instant(option, time, until)?, number, read(option, change)?))
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

fn instant(option: &str, text: &str, until: Time) -> Result<Time, Failure> {
    let time: Time = read(option, text)?;
    if time.coherent() >= 0.0 && time < until {
        return Ok(time);
    }
    Err(Failure::Input(format!(
        "slewbook: {option}: {} is not within the run of {}; choose another time or a longer \
         --until",
        shown(time),
        shown(until)
    )))
}

/// A value above a bound and up to another.
fn within<Q: Dimensioned + PartialOrd>(
    what: &str,
    value: Q,
    above: Q,
    most: Q,
) -> Result<(), Failure> {
    if value > above && value <= most {
        return Ok(());
    }
    Err(outside(
        what,
        value,
        &format!("more than {}", shown(above)),
        most,
    ))
}

fn outside<Q: Dimensioned>(what: &str, value: Q, least: &str, most: Q) -> Failure {
    Failure::Input(format!(
        "slewbook: the {} is {}; expected {least} and at most {}",
        what.trim_start_matches('-'),
        shown(value),
        shown(most)
    ))
}

fn unwritable(target: &Path, error: &std::io::Error) -> Failure {
    Failure::Input(format!(
        "{}: cannot be written ({error}); choose another place with -o",
        target.display()
    ))
}
