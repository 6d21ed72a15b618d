//! Steps in order, each result in a register that is used again once its last
//! reader is done.

use super::action::Action;
use super::graph::{Step as GraphStep, Value};

/// Where an operand comes from.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) enum Source {
    Number(f64),
    /// A value that is the same on every lane, known when the block runs.
    Uniform(usize),
    /// A column that is read in place.
    Column(usize),
    /// A register, or an output being written.
    Slot(usize),
}

/// A step with the slots of its results and the storage of its body.
#[derive(Debug)]
pub(crate) struct Step {
    pub action: Action<Source>,
    pub to: [usize; 2],
    pub child: usize,
}

/// Scheduled steps. Slots below `direct` are the outputs themselves.
#[derive(Debug)]
pub(crate) struct Block {
    pub steps: Vec<Step>,
    pub direct: usize,
    pub registers: usize,
    pub outputs: Vec<Source>,
}

/// Schedules the body of an integral or an equation.
pub(crate) fn body(steps: &[GraphStep], results: usize, outputs: &[Value]) -> Block {
    schedule(steps, results, outputs, false, |value| match value {
        Value::Number(bits) => Some(Source::Number(f64::from_bits(bits))),
        Value::Input(0) => Some(Source::Column(0)),
        Value::Input(index) => Some(Source::Uniform(index - 1)),
        Value::Result(_) => None,
    })
}

/// Schedules the steps that the outputs need; `fixed` gives the source of every
/// value that no step of this block computes. With `direct` an output's last
/// step writes to the output.
pub(crate) fn schedule(
    steps: &[GraphStep],
    results: usize,
    outputs: &[Value],
    direct: bool,
    fixed: impl Fn(Value) -> Option<Source>,
) -> Block {
    let index = |value: Value| match (fixed(value), value) {
        (None, Value::Result(index)) => Some(index),
        _ => None,
    };
    let steps: Vec<_> = needed(steps, results, outputs, &index);
    // The step after which a result is not read any more.
    let mut last: Vec<usize> = vec![0; results];
    for (at, (action, first)) in steps.iter().enumerate() {
        (*first..first + action.results()).for_each(|r| last[r] = at);
        for read in action.operands().into_iter().filter_map(index) {
            last[read] = at;
        }
    }
    let mut slots: Vec<Option<usize>> = vec![None; results];
    let direct = if direct { outputs.len() } else { 0 };
    for (slot, output) in outputs.iter().enumerate() {
        let Some(result) = index(*output) else {
            continue;
        };
        last[result] = usize::MAX;
        if slot < direct && slots[result].is_none() {
            slots[result] = Some(slot);
        }
    }
    let mut registers = 0;
    let mut free: Vec<usize> = Vec::new();
    let mut children = 0;
    let mut scheduled = Vec::with_capacity(steps.len());
    for (at, (action, first)) in steps.iter().enumerate() {
        // Results get their slots before the operands' are freed: a step never
        // writes where it reads.
        let mut to = [usize::MAX; 2];
        for (result, to) in (*first..first + action.results()).zip(&mut to) {
            *to = *slots[result].get_or_insert_with(|| {
                free.pop().unwrap_or_else(|| {
                    registers += 1;
                    direct + registers - 1
                })
            });
        }
        let mut ended: Vec<usize> = action.operands().into_iter().filter_map(index).collect();
        ended.extend(*first..first + action.results());
        ended.sort_unstable();
        ended.dedup();
        for result in ended {
            if last[result] == at {
                free.extend(slots[result]);
            }
        }
        let source = |value: Value| {
            fixed(value).unwrap_or_else(|| match value {
                Value::Result(result) => Source::Slot(slots[result].unwrap_or(usize::MAX)),
                _ => Source::Number(f64::NAN),
            })
        };
        let child = children;
        children += usize::from(action.body().is_some());
        scheduled.push(Step {
            action: action.map(source),
            to,
            child,
        });
    }
    let outputs = outputs
        .iter()
        .map(|output| match (fixed(*output), *output) {
            (Some(source), _) => source,
            (None, Value::Result(result)) => Source::Slot(slots[result].unwrap_or(usize::MAX)),
            (None, _) => Source::Number(f64::NAN),
        })
        .collect();
    Block {
        steps: scheduled,
        direct,
        registers,
        outputs,
    }
}

/// The steps of this block that some output depends on.
fn needed(
    steps: &[GraphStep],
    results: usize,
    outputs: &[Value],
    index: &impl Fn(Value) -> Option<usize>,
) -> Vec<GraphStep> {
    let mut wanted = vec![false; results];
    for result in outputs.iter().copied().filter_map(index) {
        wanted[result] = true;
    }
    let mut kept = Vec::new();
    for (action, first) in steps.iter().rev() {
        let own = *first..first + action.results();
        if index(Value::Result(*first)).is_some() && own.into_iter().any(|r| wanted[r]) {
            for read in action.operands().into_iter().filter_map(index) {
                wanted[read] = true;
            }
            kept.push((action.clone(), *first));
        }
    }
    kept.reverse();
    kept
}
