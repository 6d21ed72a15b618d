//! `slewbook cycle`: one cell in steady state at an operating point.

use std::path::PathBuf;

use lexopt::prelude::*;
use slewbook::cycle::{self, Solver, SteadyState, Waveform};
use slewbook::figure::{self, UnknownWidth, Width};
use slewbook::file::{Inputs, Output, finish};
use slewbook::quantity::{self, Dimensioned as _, Ratio, number};
use slewbook::scheme::Scheme;
use slewbook::stage::{Circuit, OperatingPoint, Specification};
use slewbook::verdict::{self, AtPoint};

use super::given::{Given, Place};
use super::settings::Source;
use super::sources::Sources;
use super::{Failure, STANDARD, once, print};

/// The options of the command.
#[derive(Default)]
struct Options {
    source: Source,
    place: Place,
    json: bool,
    ripple: bool,
    required: bool,
    figure: Option<PathBuf>,
    phase_plane: Option<PathBuf>,
    width: Option<Width>,
}

pub fn run(mut parser: lexopt::Parser) -> Result<(), Failure> {
    let mut options = Options::default();
    while let Some(argument) = parser.next()? {
        match argument {
            Long(name) if Place::takes(name) => {
                let name = name.to_owned();
                options.place.take(&name, parser.value()?.string()?)?;
            }
            Long("set") => options.source.set(&parser.value()?.string()?)?,
            Long("phase-plane") => once(
                &mut options.phase_plane,
                "--phase-plane",
                PathBuf::from(parser.value()?),
            )?,
            Long("width") => once(
                &mut options.width,
                "--width",
                width(&parser.value()?.string()?)?,
            )?,
            Long("json") => options.json = true,
            Long("require-met") => options.required = true,
            Long("ripple") => options.ripple = true,
            Short('o') | Long("output") => {
                once(&mut options.figure, "-o", PathBuf::from(parser.value()?))?;
            }
            Value(path) if options.source.file.is_none() => {
                options.source.file = Some(PathBuf::from(path));
            }
            other => return Err(other.unexpected().into()),
        }
    }
    if options.source.file.is_none() {
        return Err(Failure::Input(
            "slewbook: cycle needs a specification; `slewbook example` prints one".to_owned(),
        ));
    }
    let sources = Sources::read(std::mem::take(&mut options.source))?;
    let figures = figures(&options, &sources.inputs)?;
    let given = Given::of(sources)?;
    let name = &given.name;
    let circuit = given.circuit(options.place.scheme.as_deref())?;
    let at = given.point(&options.place.point)?;
    let input = |error: cycle::CycleError| Failure::Input(format!("{name}: {error}"));
    let mut solver = Solver::new(&circuit).map_err(input)?;
    let (mut steady, waveform) = solver.waveform(at).map_err(input)?;
    let mut effect = None;
    if options.ripple {
        steady = solver
            .solve_with_ripple(at)
            .map_err(input)?
            .ok_or_else(|| {
                Failure::Input(format!(
                    "{name}: no ripple to take into account at this point; it takes a stage with \
                 flying capacitors, and a cell that works out"
                ))
            })?;
        effect = cycle::ripple_effect(&circuit, at).map_err(input)?;
    }
    let specification = &given.specification;
    let required = requirements(specification, &circuit, at).map_err(input)?;
    if options.required && required.is_none() {
        return Err(Failure::Input(format!(
            "slewbook: --require-met is given with the scheme {}, about which there are no \
             requirements; leave it out, or --scheme",
            circuit.scheme
        )));
    }
    if options.json {
        print(&(cycle::json_with(&steady, specification, &required) + "\n"))?;
    } else {
        let told = effect.map_or_else(String::new, |effect| {
            let percent = |part: Ratio| number(100.0 * part.coherent(), 3);
            format!(
                "  with the flying capacitors' ripple of {}: on-time {} %, floor {} %, margin {} %\n",
                quantity::print(effect.ripple),
                percent(effect.on_time),
                percent(effect.floor),
                percent(effect.margin)
            )
        });
        let mut text = cycle::text(&steady, specification) + &told;
        if let Some(all) = &required {
            text += "Requirements at this point, with the flying capacitors' ripple:\n";
            text.extend(all.iter().map(|own| format!("  {}\n", own.text())));
        }
        print(&text)?;
    }
    let width = options.width.unwrap_or(Width::Page);
    draw(figures, width, &given, &circuit, &steady, waveform.as_ref())?;
    let all = required.iter().flatten().filter(|_| options.required);
    let all = all.map(|own| (own.holds == Some(true), own.verdict(), own.check.words()));
    super::required(&all.collect::<Vec<_>>())
}

/// The specification's requirements at the point, for the scheme that they are about.
fn requirements(
    specification: &Specification,
    circuit: &Circuit,
    at: OperatingPoint,
) -> Result<Option<Vec<AtPoint>>, cycle::CycleError> {
    if circuit.scheme != Scheme::FreewheelTransistors {
        return Ok(None);
    }
    verdict::at_point(specification, circuit, at).map(Some)
}

/// The figures that are asked for: the waveforms, and the phase plane.
fn figures(options: &Options, inputs: &Inputs) -> Result<[Option<Output>; 2], Failure> {
    let (waves, plane) = (&options.figure, &options.phase_plane);
    if [waves, plane]
        .into_iter()
        .flatten()
        .any(|own| own.as_os_str() == STANDARD)
    {
        return Err(Failure::Input(
            "slewbook: `-` is standard output, where cycle says its results; give a file for the \
             figure"
                .to_owned(),
        ));
    }
    if waves.is_none() && plane.is_none() {
        return match options.width {
            None => Ok([None, None]),
            Some(_) => Err(Failure::Input(
                "slewbook: --width is given without a figure; add -o FIGURE.svg or --phase-plane \
                 FIGURE.svg, or leave --width out"
                    .to_owned(),
            )),
        };
    }
    let waves = waves
        .as_ref()
        .map(|target| Output::new("-o", target, inputs));
    let waves = waves.transpose()?;
    let plane = plane.as_ref().map(|target| match &waves {
        Some(waves) => waves.beside("--phase-plane", target, inputs),
        None => Output::new("--phase-plane", target, inputs),
    });
    Ok([waves, plane.transpose()?])
}

/// Draws them.
fn draw(
    [waves, plane]: [Option<Output>; 2],
    width: Width,
    given: &Given,
    circuit: &Circuit,
    steady: &SteadyState,
    waveform: Option<&Waveform>,
) -> Result<(), Failure> {
    if waves.is_none() && plane.is_none() {
        return Ok(());
    }
    let Some(waveform) = waveform else {
        return Err(Failure::Input(format!(
            "{}: there is no cell to draw at this point, and no figure is written: {}",
            given.name, steady.state
        )));
    };
    let failed = |error: figure::FigureError| Failure::Other(error.to_string());
    let about = |text: String| format!("{}. {text}", given.specification.title);
    let mut drawn = Vec::new();
    if let Some(mut target) = waves {
        let mut figure = figure::waveforms("waveforms", steady, waveform, width).map_err(failed)?;
        figure.alternative = about(figure.alternative);
        target.put(figure.svg().map_err(failed)?)?;
        drawn.push(target);
    }
    if let Some(mut target) = plane {
        let (pairs, band) = (circuit.pairs, circuit.band);
        let mut figure =
            figure::phase_plane("phase-plane", steady, waveform, pairs, band).map_err(failed)?;
        figure.alternative = about(figure.alternative);
        target.put(figure.svg_of(width).map_err(failed)?)?;
        drawn.push(target);
    }
    Ok(finish(drawn)?)
}

/// A width given as an option.
pub fn width(text: &str) -> Result<Width, Failure> {
    text.parse()
        .map_err(|error: UnknownWidth| Failure::Input(format!("slewbook: --width: {error}")))
}
