//! Expressions compiled once to a flat program, evaluated many times.
//!
//! Instruction `i` writes register `i`. What does not depend on the variable of
//! an integral, or on the unknown of an equation, is computed once outside and
//! captured: `compiler.rs`.

use super::compiler;
use super::curve::Curve;
use super::error::EquationError;
use super::node::{Binary, Expression, Relation, Symbol, Unary};
use super::scalar::Scalar;

/// Index of a register.
pub type Register = usize;

/// A compiled list of expressions over a list of inputs.
#[derive(Debug)]
pub struct Program {
    pub(super) inputs: Vec<&'static Symbol>,
    pub(super) code: Vec<Instruction>,
    /// What each instruction computes.
    pub(super) origins: Vec<Expression>,
    pub(super) outputs: Vec<Register>,
}

#[derive(Debug)]
pub enum Instruction {
    Input(usize),
    /// The variable or unknown of the body this stands in.
    Bound,
    /// A register of the code around the body.
    Capture(usize),
    Constant(f64),
    Unary(Unary, Register),
    Binary(Binary, Register, Register),
    Power(Register, i32),
    Select {
        relation: Relation,
        left: Register,
        right: Register,
        then: Register,
        otherwise: Register,
    },
    Curve(&'static Curve, Register),
    Integral(Box<Integral>),
    Solve(Box<Solve>),
}

/// The code of an integrand or of an equation.
#[derive(Debug)]
pub struct Body {
    pub code: Vec<Instruction>,
    pub captures: Vec<Register>,
    pub results: Vec<Register>,
}

#[derive(Debug)]
pub struct Integral {
    pub lower: Register,
    pub upper: Register,
    pub body: Body,
    pub moment: Option<Moment>,
    pub pieces: Vec<Piece>,
    /// The capacitance that is a factor of the integrand, where it has tables.
    pub density: Option<Density>,
}

/// A sum of curves and constants.
#[derive(Debug)]
pub struct Density {
    pub pieces: Vec<Piece>,
    pub constants: Vec<Register>,
}

#[derive(Debug)]
pub struct Solve {
    pub lower: Register,
    pub upper: Register,
    /// The two sides of the equation.
    pub body: Body,
}

/// `slope · u + Σ plus - Σ minus`, as registers.
#[derive(Debug)]
pub struct Offset {
    pub slope: f64,
    pub plus: Vec<Register>,
    pub minus: Vec<Register>,
}

#[derive(Debug)]
pub struct Piece {
    /// A factor on the curve, free of the variable.
    pub factor: Option<Register>,
    pub curve: &'static Curve,
    pub line: Offset,
    pub magnitude: bool,
}

#[derive(Debug)]
pub struct Moment {
    pub constants: Vec<Register>,
    pub weight: Option<Offset>,
}

impl Program {
    /// Compiles expressions; the inputs are their symbols in order of first
    /// appearance.
    ///
    /// # Errors
    /// Two symbols of one name; a variable outside its integral; an unknown
    /// without an equation.
    pub fn compile(outputs: &[Expression]) -> Result<Self, EquationError> {
        compiler::compile(outputs)
    }

    /// A program of the same outputs, to which the value of their one unknown is given
    /// with the inputs; none where they have no unknown, or several.
    pub(super) fn with_unknown_given(
        outputs: &[Expression],
    ) -> Result<Option<Self>, EquationError> {
        compiler::compile_with_unknown_given(outputs)
    }

    /// The outputs at the given inputs and at a value of the unknown.
    pub(super) fn run_given<S: Scalar>(&self, inputs: &[S], unknown: &S) -> Vec<S> {
        let mut registers = Vec::with_capacity(self.code.len());
        execute(&self.code, inputs, &[], Some(unknown), &mut registers);
        self.outputs.iter().map(|r| registers[*r].clone()).collect()
    }

    /// The inputs, in the order in which their values are given.
    #[must_use]
    pub fn inputs(&self) -> &[&'static Symbol] {
        &self.inputs
    }

    /// The instructions, and the registers of the outputs.
    pub(crate) fn parts(&self) -> (&[Instruction], &[Register]) {
        (&self.code, &self.outputs)
    }

    /// The inputs' own values.
    #[must_use]
    pub fn defaults(&self) -> Vec<f64> {
        self.inputs.iter().map(|symbol| symbol.value).collect()
    }

    /// Whether a value takes iteration: an equation to be solved, or an integral
    /// without closed form.
    #[must_use]
    pub fn iterates(&self) -> bool {
        self.code.iter().any(|instruction| match instruction {
            Instruction::Solve(_) => true,
            Instruction::Integral(integral) => integral.moment.is_none(),
            _ => false,
        })
    }

    /// Where an input stands, if the program has it.
    #[must_use]
    pub fn position(&self, symbol: &Symbol) -> Option<usize> {
        self.inputs
            .iter()
            .position(|own| std::ptr::eq(*own, symbol))
    }

    /// The outputs at the given inputs; not a number where there is none.
    #[must_use]
    pub fn run<S: Scalar>(&self, inputs: &[S]) -> Vec<S> {
        let mut registers = Vec::with_capacity(self.code.len());
        execute(&self.code, inputs, &[], None, &mut registers);
        self.outputs.iter().map(|r| registers[*r].clone()).collect()
    }

    /// The outputs at the given inputs, or why one has no finite value.
    ///
    /// # Errors
    /// The first operation outside its domain, an equation without a solution,
    /// an overflow.
    pub fn evaluate(&self, inputs: &[f64]) -> Result<Vec<f64>, EquationError> {
        let mut registers = Vec::with_capacity(self.code.len());
        execute(&self.code, inputs, &[], None, &mut registers);
        let outputs: Vec<f64> = self.outputs.iter().map(|r| registers[*r]).collect();
        if outputs.iter().all(|value| value.is_finite()) {
            return Ok(outputs);
        }
        Err(super::diagnose::first_failure(
            &self.code,
            &self.origins,
            &registers,
        ))
    }
}

/// Runs code, appending each instruction's result to `registers`.
pub(crate) fn execute<S: Scalar>(
    code: &[Instruction],
    inputs: &[S],
    captures: &[S],
    bound: Option<&S>,
    registers: &mut Vec<S>,
) {
    for instruction in code {
        let value = match instruction {
            Instruction::Input(index) => inputs[*index].clone(),
            Instruction::Bound => bound.cloned().unwrap_or_else(|| S::constant(f64::NAN)),
            Instruction::Capture(index) => captures[*index].clone(),
            Instruction::Constant(value) => S::constant(*value),
            Instruction::Unary(op, x) => S::unary(*op, &registers[*x]),
            Instruction::Binary(op, x, y) => S::binary(*op, &registers[*x], &registers[*y]),
            Instruction::Power(x, power) => S::power(&registers[*x], *power),
            Instruction::Select {
                relation,
                left,
                right,
                then,
                otherwise,
            } => S::select(
                *relation,
                &registers[*left],
                &registers[*right],
                &registers[*then],
                &registers[*otherwise],
            ),
            Instruction::Curve(curve, x) => S::curve(curve, &registers[*x]),
            Instruction::Integral(integral) => S::integral(integral, registers),
            Instruction::Solve(solve) => S::solve(solve, registers),
        };
        registers.push(value);
    }
}

impl Body {
    /// The values that the body takes from the code around it.
    pub fn captured<S: Scalar>(&self, registers: &[S]) -> Vec<S> {
        self.captures
            .iter()
            .map(|r| registers[*r].clone())
            .collect()
    }

    /// Runs the body at a value of its variable, leaving its registers in `scratch`.
    pub fn run<S: Scalar>(&self, captured: &[S], bound: &S, scratch: &mut Vec<S>) {
        scratch.clear();
        execute(&self.code, &[], captured, Some(bound), scratch);
    }
}
