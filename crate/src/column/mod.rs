//! Expressions over whole columns of operating points.
//!
//! A list of expressions is compiled once to a flat program that runs over
//! blocks of points: numbers folded, input columns read where they are,
//! registers used again, every output written by its last step, all cores at
//! work. Each point gets bit for bit what [`Program::run`] gives; the number of
//! threads changes nothing.

mod action;
mod error;
mod execute;
mod graph;
mod kernel;
mod schedule;
mod sweep;

use std::num::NonZero;
use std::sync::Mutex;

use crate::equation::node::{Op, leak};
use crate::equation::{EquationError, Expression, Point, Program, Record, Symbol};
use execute::{Frame, Storage};
use graph::{Graph, Value};
use schedule::{Block, Source};

pub use error::ColumnError;
pub use sweep::{MOST_POINTS, Sweep};

/// Points of a block: its registers stay in the processor's nearest cache.
const BLOCK: usize = 256;
/// Points that a thread takes at a time, at most.
const LARGEST_SHARE: usize = 16 * BLOCK;
/// Points that a thread takes at a time, at least, where every point is solved.
const LEAST_SHARE: usize = 16;
/// Threads that are started by themselves, at most.
const MOST_THREADS: usize = 64;

/// Expressions compiled for columns.
///
/// ```
/// use slewbook::column::Columns;
/// use slewbook::equation::Term;
/// use slewbook::quantity::unit::{ohm, volt};
///
/// let V = Term::input("V", "voltage", 12.0 * volt);
/// let R = Term::input("R", "resistance", 4.0 * ohm);
/// let columns = Columns::compile(&[(V / R).expression(), (V * V / R).expression()]).unwrap();
/// let voltage = columns.input("V").unwrap();
/// let results = columns.bind().column(voltage, &[8.0, 12.0, 16.0]).unwrap().run();
/// assert_eq!(results, [vec![2.0, 3.0, 4.0], vec![16.0, 36.0, 64.0]]);
/// ```
#[derive(Debug)]
pub struct Columns {
    inputs: Vec<&'static Symbol>,
    graph: Graph,
}

impl Columns {
    /// Compiles expressions; each result is a column.
    ///
    /// # Errors
    /// As [`Program::compile`].
    pub fn compile(outputs: &[Expression]) -> Result<Self, EquationError> {
        let program = Program::compile(outputs)?;
        Ok(Self {
            inputs: program.inputs().to_vec(),
            graph: Graph::new(&program),
        })
    }

    /// Compiles the results of derivations: no value where a condition of the
    /// derivation is violated.
    ///
    /// # Errors
    /// As [`Program::compile`].
    pub fn of(records: &[&Record]) -> Result<Self, EquationError> {
        let results: Vec<_> = records.iter().map(|record| guarded(record)).collect();
        Self::compile(&results)
    }

    /// The inputs, in order of first appearance.
    #[must_use]
    pub fn inputs(&self) -> &[&'static Symbol] {
        &self.inputs
    }

    /// The number of results.
    #[must_use]
    pub fn outputs(&self) -> usize {
        self.graph.outputs.len()
    }

    /// The input of a name, as printed in plain text.
    ///
    /// # Errors
    /// A name that no input has, with the names that there are.
    pub fn input(&self, name: &str) -> Result<&'static Symbol, EquationError> {
        self.inputs
            .iter()
            .find(|symbol| symbol.glyph().to_string() == name)
            .copied()
            .ok_or_else(|| self.unknown(name))
    }

    fn unknown(&self, name: &str) -> EquationError {
        let names: Vec<_> = self.inputs.iter().map(|s| s.glyph().to_string()).collect();
        EquationError::UnknownInput {
            name: name.to_owned(),
            known: if names.is_empty() {
                "none".to_owned()
            } else {
                names.join(", ")
            },
        }
    }

    /// Starts an evaluation, at first with every input at its own value.
    pub fn bind(&self) -> Binding<'_> {
        Binding {
            columns: self,
            inputs: self
                .inputs
                .iter()
                .map(|s| Input::Value(s.value()))
                .collect(),
            rows: None,
            threads: std::thread::available_parallelism()
                .map_or(1, NonZero::get)
                .min(MOST_THREADS),
        }
    }
}

/// A derivation's result, without value where a condition is violated.
fn guarded(record: &Record) -> Expression {
    record
        .conditions()
        .iter()
        .fold(record.result(), |inner, condition| {
            let exponents = inner.exponents();
            let none = leak(Op::Constant(f64::NAN), exponents);
            leak(Op::Select(condition.comparison, inner, none), exponents)
        })
}

#[derive(Clone, Copy, Debug)]
enum Input<'c> {
    Value(f64),
    Column(&'c [f64]),
}

/// Compiled expressions with their inputs set.
#[derive(Clone, Debug)]
#[must_use = "a binding does nothing until it is run"]
pub struct Binding<'c> {
    columns: &'c Columns,
    inputs: Vec<Input<'c>>,
    rows: Option<usize>,
    threads: usize,
}

impl<'c> Binding<'c> {
    fn place(&self, symbol: &Symbol) -> Result<usize, EquationError> {
        let own = |input: &&'static Symbol| std::ptr::eq(*input, symbol);
        self.columns
            .inputs
            .iter()
            .position(own)
            .ok_or_else(|| self.columns.unknown(&symbol.glyph().to_string()))
    }

    /// Sets an input to a column, in the coherent unit.
    ///
    /// # Errors
    /// A symbol that is no input, a column of another length than those before.
    pub fn column(mut self, symbol: &Symbol, values: &'c [f64]) -> Result<Self, ColumnError> {
        let place = self.place(symbol)?;
        let expected = *self.rows.get_or_insert(values.len());
        if values.len() != expected {
            return Err(ColumnError::Length {
                name: symbol.glyph().to_string(),
                found: values.len(),
                expected,
            });
        }
        self.inputs[place] = Input::Column(values);
        Ok(self)
    }

    /// Sets an input to one value for every point, in the coherent unit.
    ///
    /// # Errors
    /// A symbol that is no input.
    pub fn value(mut self, symbol: &Symbol, value: f64) -> Result<Self, ColumnError> {
        let place = self.place(symbol)?;
        self.inputs[place] = Input::Value(value);
        Ok(self)
    }

    /// Sets every input that an operating point sets; what the expressions do
    /// not contain is left out.
    pub fn point(mut self, point: &Point) -> Self {
        for (input, symbol) in self.inputs.iter_mut().zip(&self.columns.inputs) {
            if let Some(value) = point.get(symbol) {
                *input = Input::Value(value);
            }
        }
        self
    }

    /// Sets how many threads work at most; by itself as many as there are cores.
    pub fn threads(mut self, threads: NonZero<usize>) -> Self {
        self.threads = threads.get();
        self
    }

    /// The number of points: the length of the columns, one without any.
    #[must_use]
    pub fn rows(&self) -> usize {
        self.rows.unwrap_or(1)
    }

    /// Evaluates every point; a column for each result, not a number where
    /// there is no value.
    #[must_use]
    pub fn run(&self) -> Vec<Vec<f64>> {
        let mut results = vec![vec![0.0; self.rows()]; self.columns.outputs()];
        let mut outputs: Vec<&mut [f64]> = results.iter_mut().map(Vec::as_mut_slice).collect();
        self.evaluate(&mut outputs);
        results
    }

    /// As [`Binding::run`], into columns that are already there.
    ///
    /// # Errors
    /// Not one column for each result, or one of another length than the inputs'.
    pub fn run_into(&self, outputs: &mut [&mut [f64]]) -> Result<(), ColumnError> {
        let expected = self.columns.outputs();
        if outputs.len() != expected {
            return Err(ColumnError::Outputs {
                found: outputs.len(),
                expected,
            });
        }
        for (index, output) in outputs.iter().enumerate() {
            if output.len() != self.rows() {
                return Err(ColumnError::Length {
                    name: format!("of result {}", index + 1),
                    found: output.len(),
                    expected: self.rows(),
                });
            }
        }
        self.evaluate(outputs);
        Ok(())
    }

    fn evaluate(&self, outputs: &mut [&mut [f64]]) {
        let rows = self.rows();
        if rows == 0 || outputs.is_empty() {
            return;
        }
        let (block, columns) = self.plan();
        let bodies = block.steps.iter().any(|step| step.action.body().is_some());
        let least = if bodies { LEAST_SHARE } else { BLOCK };
        let share = (rows / (8 * self.threads)).clamp(least, LARGEST_SHARE);
        let mut jobs: Vec<(usize, Vec<&mut [f64]>)> = (0..rows)
            .step_by(share)
            .map(|start| (start, Vec::with_capacity(outputs.len())))
            .collect();
        for output in outputs {
            for (job, part) in jobs.iter_mut().zip(output.chunks_mut(share)) {
                job.1.push(part);
            }
        }
        let threads = self.threads.min(jobs.len());
        let jobs = Mutex::new(jobs.into_iter());
        let work = || {
            let mut registers = vec![vec![0.0; share.min(BLOCK)]; block.registers];
            let mut children = Storage::children(&block);
            loop {
                let job = jobs.lock().map_or(None, |mut jobs| jobs.next());
                let Some((start, mut outputs)) = job else {
                    break;
                };
                blocks(
                    &block,
                    &columns,
                    start,
                    &mut outputs,
                    &mut registers,
                    &mut children,
                );
            }
        };
        std::thread::scope(|scope| {
            for _ in 1..threads {
                scope.spawn(work);
            }
            work();
        });
    }

    /// The block for these inputs and the columns it reads: what no column goes
    /// into is computed here, once.
    fn plan(&self) -> (Block, Vec<&'c [f64]>) {
        let graph = &self.columns.graph;
        let mut varies = vec![false; graph.results];
        let is_column = |index: usize| matches!(self.inputs[index], Input::Column(_));
        for (action, first) in &graph.steps {
            let varying = action.operands().into_iter().any(|value| match value {
                Value::Number(_) => false,
                Value::Input(index) => is_column(index),
                Value::Result(result) => varies[result],
            });
            varies[*first..first + action.results()].fill(varying);
        }
        let uniform: Vec<_> = (0..graph.results)
            .filter(|result| !varies[*result])
            .map(Value::Result)
            .collect();
        let input = |value: Value| match value {
            Value::Number(bits) => Some(Source::Number(f64::from_bits(bits))),
            Value::Input(index) => match self.inputs[index] {
                Input::Value(value) => Some(Source::Number(value)),
                Input::Column(_) => None,
            },
            Value::Result(_) => None,
        };
        let once = schedule::schedule(&graph.steps, graph.results, &uniform, false, input);
        let mut registers = vec![vec![0.0]; once.registers];
        let frame = Frame {
            uniform: &[],
            columns: &[],
            range: 0..1,
        };
        execute::run(&once, &frame, &mut registers, &mut Storage::children(&once));
        let mut values = vec![0.0; graph.results];
        for (value, source) in uniform.iter().zip(&once.outputs) {
            if let Value::Result(result) = value {
                values[*result] = execute::operand(*source, &frame, &registers).at(0);
            }
        }
        let mut columns = Vec::new();
        let mut places = vec![0; self.inputs.len()];
        for (place, input) in places.iter_mut().zip(&self.inputs) {
            if let Input::Column(values) = input {
                *place = columns.len();
                columns.push(*values);
            }
        }
        let fixed = |value: Value| match value {
            Value::Input(index) if is_column(index) => Some(Source::Column(places[index])),
            Value::Result(result) if !varies[result] => Some(Source::Number(values[result])),
            _ => input(value),
        };
        let block = schedule::schedule(&graph.steps, graph.results, &graph.outputs, true, fixed);
        (block, columns)
    }
}

/// A share of the points, block after block.
fn blocks(
    block: &Block,
    columns: &[&[f64]],
    start: usize,
    outputs: &mut [&mut [f64]],
    registers: &mut [Vec<f64>],
    children: &mut [Storage],
) {
    let length = outputs.first().map_or(0, |output| output.len());
    for from in (0..length).step_by(BLOCK) {
        let to = (from + BLOCK).min(length);
        let mut slots: Vec<&mut [f64]> = outputs
            .iter_mut()
            .map(|output| &mut output[from..to])
            .chain(registers.iter_mut().map(Vec::as_mut_slice))
            .collect();
        let frame = Frame {
            uniform: &[],
            columns,
            range: start + from..start + to,
        };
        execute::run(block, &frame, &mut slots, children);
    }
}
