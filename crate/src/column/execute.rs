//! Running a block: step after step over its lanes.

use std::ops::{DerefMut, Range};

use super::action::{Action, Density};
use super::kernel::{self, Operand};
use super::schedule::{Block, Source, Step};
use crate::equation::quadrature::{self, NODES, TOLERANCE};
use crate::equation::{charge, root};

/// What a block reads: uniform values, and columns of which it takes a range.
#[derive(Clone, Debug)]
pub(crate) struct Frame<'f> {
    pub uniform: &'f [f64],
    pub columns: &'f [&'f [f64]],
    pub range: Range<usize>,
}

/// The storage of a body, made once and used for every point.
#[derive(Debug, Default)]
pub(crate) struct Storage {
    registers: Vec<Vec<f64>>,
    captures: Vec<f64>,
    breaks: Vec<f64>,
    quadrature: quadrature::Storage,
    children: Vec<Storage>,
}

impl Storage {
    /// Storage for every body that a block's steps run.
    pub fn children(block: &Block) -> Vec<Self> {
        let bodies = block.steps.iter().filter_map(|step| {
            let lanes = match step.action {
                Action::Integral { .. } => NODES,
                _ => 1,
            };
            Some((step.action.body()?, lanes))
        });
        bodies
            .map(|(body, lanes)| Self {
                registers: vec![vec![0.0; lanes]; body.registers],
                children: Self::children(body),
                ..Self::default()
            })
            .collect()
    }
}

/// The value of a source on every lane of a frame.
pub(crate) fn operand<'a, B: DerefMut<Target = [f64]>>(
    source: Source,
    frame: &Frame<'a>,
    slots: &'a [B],
) -> Operand<'a> {
    match source {
        Source::Number(value) => Operand::Number(value),
        Source::Uniform(index) => Operand::Number(frame.uniform[index]),
        Source::Column(index) => Operand::Lanes(&frame.columns[index][frame.range.clone()]),
        Source::Slot(index) => Operand::Lanes(&slots[index][..frame.range.len()]),
    }
}

/// Runs a block over the lanes of a frame. The slots are the outputs that are
/// written directly, then the registers; none is shorter than the frame.
pub(crate) fn run<B: DerefMut<Target = [f64]> + Default>(
    block: &Block,
    frame: &Frame,
    slots: &mut [B],
    children: &mut [Storage],
) {
    let lanes = frame.range.len();
    for step in &block.steps {
        // The results are taken out while the operands are read: no slot is both.
        let mut to = std::mem::take(&mut slots[step.to[0]]);
        if let Action::Moments {
            curve,
            magnitude,
            at,
        } = &step.action
        {
            let mut also = std::mem::take(&mut slots[step.to[1]]);
            let at = operand(*at, frame, slots);
            let (charge, energy) = (&mut to[..lanes], &mut also[..lanes]);
            kernel::moments(curve, *magnitude, at, charge, energy);
            slots[step.to[1]] = also;
        } else {
            let out = &mut to[..lanes];
            match step.action.body() {
                None => {
                    let action = step.action.map(|source| operand(source, frame, slots));
                    kernel::apply(&action, out);
                }
                Some(body) => points(body, step, frame, slots, &mut children[step.child], out),
            }
        }
        slots[step.to[0]] = to;
    }
    for (slot, source) in block.outputs[..block.direct].iter().enumerate() {
        if *source != Source::Slot(slot) {
            let mut to = std::mem::take(&mut slots[slot]);
            operand(*source, frame, slots).copy_to(&mut to[..lanes]);
            slots[slot] = to;
        }
    }
}

/// A capacitance in numbers.
fn measure(density: &Density<Source>, at: impl Fn(&Source) -> f64) -> charge::Measure {
    let curves = density.curves.iter().map(|own| charge::Shifted {
        curve: own.curve,
        magnitude: own.magnitude,
        slope: own.slope,
        shift: at(&own.shift),
        factor: at(&own.factor),
    });
    charge::Measure {
        curves: curves.collect(),
        constant: density.constants.iter().map(at).sum(),
    }
}

/// An integral or an equation, point after point.
fn points<B: DerefMut<Target = [f64]>>(
    body: &Block,
    step: &Step,
    frame: &Frame,
    slots: &[B],
    storage: &mut Storage,
    out: &mut [f64],
) {
    let (Action::Integral {
        lower,
        upper,
        captures,
        ..
    }
    | Action::Solve {
        lower,
        upper,
        captures,
        ..
    }) = &step.action
    else {
        return;
    };
    let at = |source: &Source, lane: usize| operand(*source, frame, slots).at(lane);
    let Storage {
        registers,
        captures: uniform,
        breaks: ends,
        quadrature,
        children,
    } = storage;
    for (lane, out) in out.iter_mut().enumerate() {
        uniform.clear();
        uniform.extend(captures.iter().map(|source| at(source, lane)));
        let limits = (at(lower, lane), at(upper, lane));
        if let Action::Integral {
            density: Some(density),
            ..
        } = &step.action
        {
            let measure = measure(density, |source| at(source, lane));
            let taken = measure.integrate(limits, charge::Sharpness::FULL, |nodes, values| {
                let frame = Frame {
                    uniform,
                    columns: &[nodes],
                    range: 0..charge::POINTS,
                };
                run(body, &frame, registers, children);
                operand(body.outputs[0], &frame, registers).copy_to(values);
            });
            *out = taken.value;
        } else if let Action::Integral { breaks, .. } = &step.action {
            ends.clear();
            ends.extend(breaks.iter().map(|source| at(source, lane)));
            let total = std::slice::from_mut(out);
            quadrature::integrate_nodes(
                limits,
                ends,
                quadrature,
                total,
                TOLERANCE,
                |nodes, values| {
                    let frame = Frame {
                        uniform,
                        columns: &[nodes],
                        range: 0..NODES,
                    };
                    run(body, &frame, registers, children);
                    operand(body.outputs[0], &frame, registers).copy_to(values);
                },
            );
        } else {
            let root = root::find(limits.0, limits.1, |x| {
                let frame = Frame {
                    uniform,
                    columns: &[&[x]],
                    range: 0..1,
                };
                run(body, &frame, registers, children);
                let side = |k: usize| operand(body.outputs[k], &frame, registers).at(0);
                side(0) - side(1)
            });
            *out = root.unwrap_or(f64::NAN);
        }
    }
}
