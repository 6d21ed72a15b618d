//! The waveforms of one cell, and the phase plane of its rising edges.

use super::panels::{Line, Panel, PanelFigure, Width, Window};
use super::{FigureError, LineFigure, Series};
use crate::cycle::{Course, SteadyState, Waveform};
use crate::quantity::{Current, Dimensioned, print, print_value};
use crate::scheme::Scheme;

/// The waveforms of a cell: node and high-side voltage, inductor current, gates,
/// with the intervals marked; on a page, the edges are enlarged beside the whole cell.
///
/// # Errors
/// A steady state without a cell.
pub fn waveforms(
    id: &str,
    steady: &SteadyState,
    waveform: &Waveform,
    width: Width,
) -> Result<PanelFigure, FigureError> {
    let Some(course) = &steady.course else {
        return Err(FigureError {
            id: id.to_owned(),
            message: format!(
                "there is no cell to draw: {}",
                steady.state.words(steady.scheme)
            ),
        });
    };
    let period = course.cell_time.coherent();
    let of = |name: &str| column(waveform, name, period);
    let line = |name: &str, points| Line {
        name: name.to_owned(),
        points,
    };
    let gate = |name: &str, column: &str, level: f64| {
        let points = of(column);
        line(
            name,
            points
                .into_iter()
                .map(|(t, g)| (t, level + 0.9 * g))
                .collect(),
        )
    };
    let mut gates = vec![
        gate("high side", "high_gate", 3.0),
        gate("low side", "low_gate", 1.5),
        gate("clamp", "clamp_gate", 0.0),
    ];
    if course.hold.is_none() {
        gates.pop();
        for (line, level) in gates.iter_mut().zip([1.5, 1.5]) {
            line.points.iter_mut().for_each(|point| point.1 -= level);
        }
    }
    let panels = vec![
        Panel {
            label: "voltage / V".to_owned(),
            lines: vec![
                line("node", of("node_voltage")),
                line("high side", of("high_voltage")),
            ],
            scaled: true,
        },
        Panel {
            label: "current / A".to_owned(),
            lines: vec![line("inductor", of("inductor_current"))],
            scaled: true,
        },
        Panel {
            label: "gates".to_owned(),
            lines: gates,
            scaled: false,
        },
    ];
    Ok(PanelFigure {
        id: id.to_owned(),
        title: "One cell in steady state".to_owned(),
        alternative: alternative(steady, course),
        width,
        windows: windows(steady, course, waveform, width),
        panels,
    })
}

/// A column over time, with the cells before and after.
fn column(waveform: &Waveform, name: &str, period: f64) -> Vec<(f64, f64)> {
    let of = |name: &str| waveform.table.column(name).map_or(&[][..], |c| c.values());
    let (time, values) = (of("time"), of(name));
    [-period, 0.0, period]
        .into_iter()
        .flat_map(|shift| time.iter().zip(values).map(move |(t, v)| (t + shift, *v)))
        .collect()
}

/// The least part of a window at which an interval is named beside those that always
/// are.
const NAMED: f64 = 0.04;

fn windows(
    steady: &SteadyState,
    course: &Course,
    waveform: &Waveform,
    width: Width,
) -> Vec<Window> {
    let period = course.cell_time.coherent();
    let starts: Vec<(f64, &str)> = waveform
        .intervals
        .iter()
        .map(|(name, start)| (start.coherent(), *name))
        .collect();
    let ends: Vec<f64> = starts
        .iter()
        .skip(1)
        .map(|(t, _)| *t)
        .chain([period])
        .collect();
    let start = |wanted: &str| starts.iter().find(|(_, name)| *name == wanted).map(|s| s.0);
    let marked = |shown: &dyn Fn(&str, f64) -> bool| -> Vec<(f64, String)> {
        let mut list = Vec::new();
        for ((time, name), end) in starts.iter().zip(&ends) {
            let words = if shown(name, end - time) {
                words(name, steady.scheme)
            } else {
                String::new()
            };
            list.extend([(*time, words.clone()), (time + period, words)]);
        }
        list
    };
    let turn_off = start("fall").unwrap_or(0.0);
    let whole = |name: &str, length: f64| {
        ["energise", "release", "hold"].contains(&name) || length >= NAMED * period
    };
    // What begins with the next cell is named at its beginning.
    let mut marks = marked(&whole);
    marks.retain(|(time, _)| *time < period * (1.0 - 1e-9));
    let mut list = vec![Window {
        label: "time / µs".to_owned(),
        range: (0.0, period),
        factor: 1e6,
        share: 1.7,
        marks,
        notes: vec![(
            1,
            turn_off,
            course.peak_current.coherent(),
            print(course.peak_current),
        )],
    }];
    if width == Width::Column {
        return list;
    }
    let near = |range: (f64, f64), names: [&str; 2], notes| Window {
        label: "time / ns".to_owned(),
        range,
        factor: 1e9,
        share: 1.0,
        marks: marked(&|name, _| names.contains(&name)),
        notes,
    };
    let least = period * 1e-4;
    let noted = |time: f64, current: Current| {
        let value = current.coherent();
        (1, time, value, print_value(value, Current::EXPONENTS, 3))
    };
    if let Some(end) = start("release") {
        let length = (end - turn_off).max(least);
        let range = (turn_off - 0.6 * length, turn_off + 1.8 * length);
        list.push(near(range, ["fall", "release"], vec![]));
    }
    if let (Some(begin), Some(end), Some(partial)) =
        (start("partial_rise"), start("hold"), &course.partial_rise)
    {
        let length = (end - begin).max(least);
        list.push(near(
            (begin - 0.5 * length, begin + 1.6 * length),
            ["partial_rise", "hold"],
            vec![
                noted(begin, partial.start_current),
                noted(end, partial.end_current),
            ],
        ));
    }
    let dead = course.dead_time.coherent().max(least);
    if dead < period / 4.0 {
        let currents = waveform.table.column("inductor_current");
        let first = currents.and_then(|column| column.get(0)).unwrap_or(0.0);
        list.push(near(
            (-0.35 * dead, 1.8 * dead),
            ["rise", "energise"],
            vec![
                noted(0.0, Current::from_coherent(first)),
                noted(
                    start("energise").unwrap_or(dead),
                    course.energise.start_current,
                ),
            ],
        ));
    }
    list
}

/// The name of an interval under a scheme: without clamp the node rings from the
/// release to the turn-on.
fn words(name: &str, scheme: Scheme) -> String {
    match (name, scheme) {
        ("rise", Scheme::Discontinuous) => "ring".to_owned(),
        _ => name.replace('_', " "),
    }
}

fn alternative(steady: &SteadyState, course: &Course) -> String {
    let at = &steady.at;
    let mut text = format!(
        "Node voltage, voltage across the high side, inductor current and gates over one cell of \
         {} at {} in, {} out and {}. The current rises to {} in {}, falls in {}",
        print(course.cell_time),
        print(at.input_voltage),
        print(at.output_voltage),
        print(at.output_current),
        print(course.peak_current),
        print(course.on_time),
        print(course.release.duration),
    );
    if let (Some(hold), Some(current)) = (&course.hold, course.freewheel_current) {
        text += &format!(
            ", and is held by the clamp for {} down to {}",
            print(hold.duration),
            print(current)
        );
    }
    text + &format!(
        ". At turn-on {} is left across the high side.",
        print(course.turn_on.voltage)
    )
}

/// The rising edges in the phase plane: current into the node times the
/// characteristic impedance, over the node voltage. For a constant capacitance
/// every edge is an arc about the output voltage; the floor is the one that just
/// reaches the upper level.
///
/// # Errors
/// A steady state without a cell.
pub fn phase_plane(
    id: &str,
    steady: &SteadyState,
    waveform: &Waveform,
    pairs: u8,
    band: u8,
) -> Result<LineFigure, FigureError> {
    let Some(course) = &steady.course else {
        return Err(FigureError {
            id: id.to_owned(),
            message: format!(
                "there is no cell to draw: {}",
                steady.state.words(steady.scheme)
            ),
        });
    };
    let at = &steady.at;
    let output = at.output_voltage.coherent();
    let upper = at.input_voltage.coherent() / f64::from(pairs) * f64::from(band + 1);
    // The impedance that makes the floor's arc end at the upper level.
    let impedance = (upper - output) / steady.floor.coherent();
    let of = |name: &str| waveform.table.column(name).map_or(&[][..], |c| c.values());
    let (time, node, current) = (of("time"), of("node_voltage"), of("inductor_current"));
    let start = |wanted: &str| {
        let mut list = waveform.intervals.iter();
        list.find(|(name, _)| *name == wanted)
            .map(|(_, t)| t.coherent())
    };
    let stretch = |from: f64, to: f64| -> Vec<(f64, Option<f64>)> {
        (0..time.len())
            .filter(|k| time[*k] >= from && time[*k] <= to)
            .map(|k| (node[k], Some(-current[k] * impedance)))
            .collect()
    };
    let dead = course.dead_time.coherent();
    let mut series = vec![Series {
        name: if steady.scheme == Scheme::Discontinuous {
            "ring".to_owned()
        } else {
            "rising edge".to_owned()
        },
        points: stretch(0.0, dead * (1.0 - 1e-12)),
    }];
    if let (Some(from), Some(to)) = (start("partial_rise"), start("hold")) {
        series.push(Series {
            name: "partial rise".to_owned(),
            points: stretch(from, to),
        });
    }
    series.push(Series {
        name: "floor".to_owned(),
        points: (0..=60_u32)
            .map(|k| {
                let angle = std::f64::consts::FRAC_PI_2 * f64::from(k) / 60.0;
                let radius = upper - output;
                (output + radius * angle.sin(), Some(radius * angle.cos()))
            })
            .collect(),
    });
    let reached = if course.turn_on.voltage.coherent() > 0.0 {
        format!(
            "stops {} short of the upper level",
            print(course.turn_on.voltage)
        )
    } else {
        "reaches the upper level".to_owned()
    };
    Ok(LineFigure {
        id: id.to_owned(),
        title: "The resonant edges in the phase plane".to_owned(),
        x_label: "node voltage / V".to_owned(),
        y_label: "current into the node × Z / V".to_owned(),
        series,
        alternative: format!(
            "Current into the node times the characteristic impedance of {}, over the node \
             voltage: the partial rise up to the output voltage, and from there, after the hold, \
             the rising edge, which {reached}; beside it the arc of the floor for a constant \
             capacitance of the same energy.",
            print(crate::quantity::Resistance::from_coherent(impedance))
        ),
    })
}
