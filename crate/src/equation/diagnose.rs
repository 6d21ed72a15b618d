//! Why an expression has no finite value: the first operation that failed.

use super::error::EquationError;
use super::node::{Binary, Expression, Op, Unary};
use super::program::{Instruction, Register};
use super::render::text;
use crate::quantity::print_value;

/// Traces a result without a finite value back to the operation that failed.
pub(crate) fn first_failure(
    code: &[Instruction],
    origins: &[Expression],
    registers: &[f64],
) -> EquationError {
    let mut at = (0..code.len())
        .rev()
        .find(|r| !registers[*r].is_finite())
        .unwrap_or(0);
    loop {
        match operands(&code[at], registers)
            .into_iter()
            .find(|r| !registers[*r].is_finite())
        {
            Some(earlier) => at = earlier,
            None => return describe(&code[at], origins, at, registers),
        }
    }
}

/// The registers that an instruction reads, of a selection only what it takes.
fn operands(instruction: &Instruction, registers: &[f64]) -> Vec<Register> {
    match instruction {
        Instruction::Input(_)
        | Instruction::Bound
        | Instruction::Capture(_)
        | Instruction::Constant(_) => vec![],
        Instruction::Unary(_, x) | Instruction::Power(x, _) | Instruction::Curve(_, x) => vec![*x],
        Instruction::Binary(_, x, y) => vec![*x, *y],
        Instruction::Select {
            relation,
            left,
            right,
            then,
            otherwise,
        } => {
            let taken = if relation.holds(registers[*left], registers[*right]) {
                then
            } else {
                otherwise
            };
            vec![*left, *right, *taken]
        }
        Instruction::Integral(integral) => {
            let mut list = vec![integral.lower, integral.upper];
            list.extend(&integral.body.captures);
            list
        }
        Instruction::Solve(solve) => {
            let mut list = vec![solve.lower, solve.upper];
            list.extend(&solve.body.captures);
            list
        }
    }
}

fn describe(
    instruction: &Instruction,
    origins: &[Expression],
    at: Register,
    registers: &[f64],
) -> EquationError {
    let operation = text::expression(origins[at]);
    let shown = |r: Register| print_value(registers[r], origins[r].exponents(), 6);
    let domain = |operand: Register, expected: &'static str| EquationError::Domain {
        operation: operation.clone(),
        operand: shown(operand),
        expected,
    };
    match instruction {
        Instruction::Unary(Unary::Sqrt, x) if registers[*x] < 0.0 => {
            domain(*x, "a value not below zero")
        }
        Instruction::Unary(Unary::Ln, x) if registers[*x] <= 0.0 => {
            domain(*x, "a value above zero")
        }
        Instruction::Unary(Unary::Asin | Unary::Acos, x) => domain(*x, "a value from −1 to 1"),
        Instruction::Binary(Binary::Divide, _, y) if registers[*y] == 0.0 => {
            domain(*y, "a divisor other than zero")
        }
        Instruction::Binary(Binary::Power, x, _) if registers[*x] < 0.0 => {
            domain(*x, "a base not below zero")
        }
        Instruction::Integral(_) => EquationError::Domain {
            operation,
            operand: "its integrand".to_owned(),
            expected: "an integrand with a value everywhere between the limits",
        },
        Instruction::Solve(solve) => {
            let unknown = match &origins[at].op {
                Op::Unknown(unknown) => unknown.glyph.to_string(),
                _ => operation,
            };
            EquationError::NoSolution {
                unknown,
                between: [shown(solve.lower), shown(solve.upper)],
            }
        }
        _ => EquationError::Overflow { operation },
    }
}
