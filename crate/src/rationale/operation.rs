//! The figures of the stage in operation: a cell's waveforms, its edges in the
//! phase plane, and where zero-voltage switching holds.

use super::RationaleError;
use crate::cycle::Solver;
use crate::design::Design;
use crate::figure::{self, Width};
use crate::map::{Axis, Field, Map, Span};
use crate::scheme::Scheme;
use crate::stage::{Circuit, OperatingPoint};

/// A figure as it stands in the document.
pub(super) struct Drawn {
    pub svg: String,
    pub title: String,
    pub alternative: String,
}

/// The figures, in order; those of a stage without a cell at its nominal point,
/// or without a range, are left out.
pub(super) fn all(design: &Design) -> Result<Vec<Drawn>, RationaleError> {
    let s = &design.stage.specification;
    let circuit = |scheme| design.in_force.circuit(s, scheme);
    let at = s.nominal_point();
    let mut drawn = Vec::new();
    let Ok(nominal) = circuit(Scheme::FreewheelTransistors) else {
        return Ok(drawn);
    };
    let solved = Solver::new(&nominal).and_then(|mut solver| solver.waveform(at));
    if let Ok((steady, Some(waveform))) = solved {
        let waves = figure::waveforms("waveforms", &steady, &waveform, Width::Page)?;
        drawn.push(Drawn {
            svg: waves.svg()?,
            title: waves.title,
            alternative: waves.alternative,
        });
        let (pairs, band) = (nominal.pairs, nominal.band);
        let plane = figure::phase_plane("phase-plane", &steady, &waveform, pairs, band)?;
        drawn.push(Drawn {
            svg: plane.svg()?,
            title: plane.title,
            alternative: plane.alternative,
        });
    }
    // The scheme as designed, and with the high-drop clamp where one is given.
    for scheme in [Scheme::FreewheelTransistors, Scheme::FreewheelDiode] {
        if let Ok(circuit) = circuit(scheme) {
            drawn.extend(map(&circuit, at, design)?);
        }
    }
    Ok(drawn)
}

fn map(
    circuit: &Circuit,
    at: OperatingPoint,
    design: &Design,
) -> Result<Option<Drawn>, RationaleError> {
    let span = |axis: Axis| {
        let (low, high) = axis.range(&design.stage.specification, circuit)?;
        (high > low).then_some(Span {
            axis,
            low,
            high,
            points: 2,
        })
    };
    let (Some(x), Some(y)) = (span(Axis::InputVoltage), span(Axis::OutputCurrent)) else {
        return Ok(None);
    };
    let map = Map {
        circuit: *circuit,
        at,
        x,
        y,
        units: vec![],
        random: false,
    };
    let Ok(field) = Field::new(&map) else {
        return Ok(None);
    };
    let id = format!("map-{}", circuit.scheme.name());
    let figure = figure::map(&id, &field, Width::Page);
    Ok(Some(Drawn {
        svg: figure.svg()?,
        title: figure.title(),
        alternative: figure.alternative(),
    }))
}
