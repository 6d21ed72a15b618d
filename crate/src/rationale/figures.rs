//! The figures of the rationale.

use crate::design::Design;
use crate::equation::{EquationError, Point, Record, Term};
use crate::figure::{LineFigure, Series};
use crate::quantity::{Dimensioned, Voltage, print};
use crate::stage::Stage;
use crate::{edge, freewheel, limit};

/// Points along each line.
const POINTS: u32 = 40;

/// The figures, in order.
pub(crate) fn all(design: &Design) -> Result<Vec<LineFigure>, EquationError> {
    let mut figures = vec![capacitance(&design.stage)?];
    let input = design.stage.specification.input_voltage;
    if input.max > input.min {
        figures.push(inductance(design)?);
        figures.push(currents(design)?);
        figures.push(dead_time(design)?);
    }
    Ok(figures)
}

/// Input voltages along the range.
fn inputs(stage: &Stage) -> Vec<f64> {
    let range = stage.specification.input_voltage;
    let (low, high) = (range.min.coherent(), range.max.coherent());
    (0..=POINTS)
        .map(|k| low + (high - low) * f64::from(k) / f64::from(POINTS))
        .collect()
}

/// A result along the input voltage at the output voltage where it is worst.
fn along(
    design: &Design,
    record: &Record,
    name: &str,
    scale: f64,
) -> Result<Series, EquationError> {
    let stage = &design.stage;
    let output = design
        .finding(record.name())
        .map_or_else(|| stage.nominal(), |finding| finding.point.clone());
    let points = inputs(stage)
        .into_iter()
        .map(|voltage| {
            let point: Point = output.clone().with(stage.axes.input_voltage, voltage);
            Ok((voltage, record.value_at(&point)?.map(|v| v / scale)))
        })
        .collect::<Result<_, EquationError>>()?;
    Ok(Series {
        name: name.to_owned(),
        points,
    })
}

fn level(stage: &Stage, name: &str, value: f64) -> Series {
    let points = inputs(stage)
        .into_iter()
        .map(|x| (x, Some(value)))
        .collect();
    Series {
        name: name.to_owned(),
        points,
    }
}

fn ends(series: &Series, unit: &str) -> String {
    let values: Vec<f64> = series.points.iter().filter_map(|(_, y)| *y).collect();
    match (values.first(), values.last()) {
        (Some(first), Some(last)) if first == last => {
            format!(
                "{}: {} {unit}",
                series.name,
                crate::quantity::number(*first, 3)
            )
        }
        (Some(first), Some(last)) => format!(
            "{}: {} to {} {unit}",
            series.name,
            crate::quantity::number(*first, 3),
            crate::quantity::number(*last, 3)
        ),
        _ => format!("{}: no value", series.name),
    }
}

fn described(intro: &str, series: &[Series], unit: &str) -> String {
    let lines: Vec<_> = series.iter().map(|s| ends(s, unit)).collect();
    format!("{intro} From left to right: {}.", lines.join("; "))
}

fn capacitance(stage: &Stage) -> Result<LineFigure, EquationError> {
    let (node, symbol) = Term::with_symbol(
        "u",
        "voltage of the node",
        stage.specification.output_voltage.nominal,
        "",
    );
    let total = crate::equation::Program::compile(&[
        stage.capacitance(node).expression(),
        stage.V_lo.expression(),
        stage.V_hi.expression(),
    ])?;
    let at = |u: f64| total.run(&Point::own().with(symbol, u).inputs(&total));
    let values: Vec<f64> = at(0.0);
    let (low, high) = (values[1], values[2]);
    let points: Vec<_> = (0..=2 * POINTS)
        .map(|k| {
            let u = low + (high - low) * f64::from(k) / f64::from(2 * POINTS);
            (u, Some(at(u)[0] * 1e12))
        })
        .collect();
    let series = vec![Series {
        name: "C(u)".to_owned(),
        points,
    }];
    let alternative = described(
        &format!(
            "Node capacitance over the node's voltage between its levels, {} and {}, at nominal \
             voltages.",
            print(Voltage::from_coherent(low)),
            print(Voltage::from_coherent(high))
        ),
        &series,
        "pF",
    );
    Ok(LineFigure {
        id: "node-capacitance".to_owned(),
        title: "Capacitance of the node while a pair commutes".to_owned(),
        x_label: "node voltage u / V".to_owned(),
        y_label: "capacitance / pF".to_owned(),
        series,
        alternative,
    })
}

fn inductance(design: &Design) -> Result<LineFigure, EquationError> {
    let stage = &design.stage;
    let set = Term::input(
        "I_set",
        "trip threshold in force",
        design.in_force.trip.value,
    );
    let nominal = stage.axes.inductance.value() * 1e6;
    let tolerance = stage.specification.inductance_tolerance.coherent();
    let mut series = vec![
        along(
            design,
            &limit::boundary(stage).into_record(),
            "boundary",
            1e-6,
        )?,
        along(
            design,
            &limit::ceiling(stage).into_record(),
            "ceiling",
            1e-6,
        )?,
        along(
            design,
            &limit::ceiling_operating(stage, set).into_record(),
            "ceiling in operation",
            1e-6,
        )?,
        level(stage, "nominal inductance", nominal),
    ];
    if tolerance > 0.0 {
        series.push(level(
            stage,
            "upper tolerance limit",
            nominal * (1.0 + tolerance),
        ));
    }
    Ok(LineFigure {
        id: "inductance-limits".to_owned(),
        title: "How large the inductance may be over the input range".to_owned(),
        x_label: "input voltage / V".to_owned(),
        y_label: "inductance / µH".to_owned(),
        alternative: described(
            "Limits of the inductance over the input voltage, each at the output voltage where it \
             is worst, at the largest output current.",
            &series,
            "µH",
        ),
        series,
    })
}

fn currents(design: &Design) -> Result<LineFigure, EquationError> {
    let stage = &design.stage;
    let series = vec![
        along(
            design,
            &freewheel::floor(stage).into_record(),
            "freewheel floor",
            1.0,
        )?,
        along(
            design,
            &freewheel::clamp_on_current(stage).into_record(),
            "clamp turns on",
            1.0,
        )?,
        along(
            design,
            &freewheel::release_current(stage).into_record(),
            "low side released",
            1.0,
        )?,
        along(
            design,
            &freewheel::trip_current(stage).into_record(),
            "trip needed",
            1.0,
        )?,
        level(
            stage,
            "trip in force",
            design.in_force.trip.value.coherent(),
        ),
    ];
    Ok(LineFigure {
        id: "freewheel-currents".to_owned(),
        title: "Minimum freewheel current and the trip threshold it requires".to_owned(),
        x_label: "input voltage / V".to_owned(),
        y_label: "current / A".to_owned(),
        alternative: described(
            "Magnitudes of the negative currents needed over the input voltage, each at the output \
             voltage where it is worst.",
            &series,
            "A",
        ),
        series,
    })
}

fn dead_time(design: &Design) -> Result<LineFigure, EquationError> {
    let stage = &design.stage;
    let mut series = vec![
        along(
            design,
            &edge::dead_time_latest(stage).into_record(),
            "latest",
            1e-9,
        )?,
        along(
            design,
            &edge::dead_time_best(stage).into_record(),
            "best",
            1e-9,
        )?,
        along(
            design,
            &edge::dead_time_earliest(stage).into_record(),
            "earliest",
            1e-9,
        )?,
    ];
    if let Some(stated) = stage.specification.dead_time {
        series.push(level(stage, "as stated", stated.coherent() * 1e9));
    }
    Ok(LineFigure {
        id: "dead-time-window".to_owned(),
        title: "The window for the dead time of the rising edge".to_owned(),
        x_label: "input voltage / V".to_owned(),
        y_label: "dead time / ns".to_owned(),
        alternative: described(
            "Window of the rising edge's dead time over the input voltage at nominal output \
             voltage, from the margin times the floor.",
            &series,
            "ns",
        ),
        series,
    })
}
