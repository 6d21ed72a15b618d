//! Compiling expressions to the code of a [`Program`].
//!
//! Each integral and each equation is a scope of its own; a node is computed in the
//! innermost scope whose variable it depends on, and captured by those further in.

use std::collections::{HashMap, HashSet};

use super::error::EquationError;
use super::node::{Expression, Node, Op, Symbol, UnknownData, post_order};
use super::program::{
    Body, Density, Instruction, Integral, Moment, Offset, Piece, Program, Register, Solve,
};
use super::shape::{self, Line};

/// A program of expressions over their symbols.
pub(super) fn compile(outputs: &[Expression]) -> Result<Program, EquationError> {
    let mut compiler = Compiler::default();
    compiler.scopes.push(Scope::default());
    let outputs = outputs
        .iter()
        .map(|node| compiler.register(node))
        .collect::<Result<_, _>>()?;
    let scope = compiler.scopes.remove(0);
    Ok(Program {
        inputs: compiler.inputs,
        code: scope.code,
        origins: scope.origins,
        outputs,
    })
}

/// The same with the value of the one unknown in them as the value that the program's
/// own code is bound to; none where they have no unknown, or several.
pub(super) fn compile_with_unknown_given(
    outputs: &[Expression],
) -> Result<Option<Program>, EquationError> {
    let nodes = post_order(outputs);
    let mut unknowns: Vec<_> = nodes
        .iter()
        .filter_map(|node| match node.op {
            Op::Unknown(unknown) => Some(unknown),
            _ => None,
        })
        .collect();
    unknowns.dedup_by_key(|unknown| unknown_key(unknown));
    let [unknown] = unknowns[..] else {
        return Ok(None);
    };
    let mut compiler = Compiler::default();
    let key = unknown_key(unknown);
    compiler.unknowns.insert(key, unknown);
    let body = compiler.body(key, None, outputs)?;
    Ok(Some(Program {
        inputs: compiler.inputs,
        code: body.code,
        origins: vec![],
        outputs: body.results,
    }))
}

/// One level of code under construction.
#[derive(Default)]
struct Scope {
    bound: Option<*const ()>,
    code: Vec<Instruction>,
    origins: Vec<Expression>,
    captures: Vec<Register>,
    known: HashMap<*const Node, Register>,
}

#[derive(Default)]
struct Compiler {
    scopes: Vec<Scope>,
    inputs: Vec<&'static Symbol>,
    free: HashMap<*const Node, HashSet<*const ()>>,
    unknowns: HashMap<*const (), &'static UnknownData>,
}

fn unknown_key(unknown: &'static UnknownData) -> *const () {
    std::ptr::from_ref(unknown).cast()
}

fn variable_key(glyph: &'static super::Glyph) -> *const () {
    std::ptr::from_ref(glyph).cast()
}

impl Compiler {
    /// The variables and unknowns that appear below a node.
    fn free(&mut self, node: Expression) -> HashSet<*const ()> {
        if let Some(found) = self.free.get(&node.key()) {
            return found.clone();
        }
        let found = match &node.op {
            Op::Variable(glyph) => HashSet::from([variable_key(glyph)]),
            Op::Unknown(unknown) => {
                self.unknowns.insert(unknown_key(unknown), unknown);
                HashSet::from([unknown_key(unknown)])
            }
            Op::Integral {
                variable,
                lower,
                upper,
                body,
            } => {
                let mut found = self.free(body);
                if let Op::Variable(glyph) = variable.op {
                    found.remove(&variable_key(glyph));
                }
                found.extend(self.free(lower));
                found.extend(self.free(upper));
                found
            }
            _ => {
                let mut found = HashSet::new();
                for operand in node.operands() {
                    found.extend(self.free(operand));
                }
                found
            }
        };
        self.free.insert(node.key(), found.clone());
        found
    }

    /// The scope in which a node is computed: the innermost whose variable it
    /// depends on, an unknown outside its equation counting as its solution.
    fn depth(&mut self, node: Expression) -> Result<usize, EquationError> {
        let free = self.free(node);
        let mut pending: Vec<*const ()> = free.iter().copied().collect();
        let mut visited = free;
        let mut depth = 0;
        while let Some(key) = pending.pop() {
            if let Some(level) = self.scopes.iter().position(|s| s.bound == Some(key)) {
                depth = depth.max(level);
            } else if let Some(unknown) = self.unknowns.get(&key).copied() {
                let Some(equation) = unknown.equation.get() else {
                    return Err(EquationError::Unbound {
                        symbol: unknown.glyph.to_string(),
                    });
                };
                for side in [
                    equation.left,
                    equation.right,
                    equation.lower,
                    equation.upper,
                ] {
                    for inner in self.free(side) {
                        if visited.insert(inner) {
                            pending.push(inner);
                        }
                    }
                }
            }
        }
        Ok(depth)
    }

    /// The register of a node in the innermost scope.
    fn register(&mut self, node: Expression) -> Result<Register, EquationError> {
        // A name shares the register of what it names.
        if let Op::Named(_, body) = node.op {
            return self.register(body);
        }
        let top = self.scopes.len() - 1;
        if let Some(register) = self.scopes[top].known.get(&node.key()) {
            return Ok(*register);
        }
        let depth = self.depth(node)?;
        if depth == top {
            let instruction = self.instruction(node)?;
            return Ok(self.push(instruction, node));
        }
        let inner = self.scopes.split_off(depth + 1);
        let register = self.register(node);
        self.scopes.extend(inner);
        let mut register = register?;
        for level in depth + 1..=top {
            let scope = &mut self.scopes[level];
            register = if let Some(known) = scope.known.get(&node.key()) {
                *known
            } else {
                scope.captures.push(register);
                scope
                    .code
                    .push(Instruction::Capture(scope.captures.len() - 1));
                scope.origins.push(node);
                scope.known.insert(node.key(), scope.code.len() - 1);
                scope.code.len() - 1
            };
        }
        Ok(register)
    }

    fn push(&mut self, instruction: Instruction, node: Expression) -> Register {
        let top = self.scopes.len() - 1;
        let scope = &mut self.scopes[top];
        scope.code.push(instruction);
        scope.origins.push(node);
        scope.known.insert(node.key(), scope.code.len() - 1);
        scope.code.len() - 1
    }

    fn instruction(&mut self, node: Expression) -> Result<Instruction, EquationError> {
        Ok(match &node.op {
            Op::Symbol(symbol) => Instruction::Input(self.input(symbol)?),
            // Inside its integral a variable is known from the start of the body.
            Op::Variable(glyph) => {
                return Err(EquationError::Unbound {
                    symbol: glyph.to_string(),
                });
            }
            Op::Unknown(unknown) => return self.unknown(unknown),
            Op::Constant(value) => Instruction::Constant(*value),
            Op::Unary(op, x) => Instruction::Unary(*op, self.register(x)?),
            Op::Binary(op, x, y) => Instruction::Binary(*op, self.register(x)?, self.register(y)?),
            Op::Power(x, power) => Instruction::Power(self.register(x)?, *power),
            Op::Select(comparison, then, otherwise) => Instruction::Select {
                relation: comparison.relation,
                left: self.register(comparison.left)?,
                right: self.register(comparison.right)?,
                then: self.register(then)?,
                otherwise: self.register(otherwise)?,
            },
            Op::Curve(curve, x) => Instruction::Curve(curve, self.register(x)?),
            Op::Named(_, body) => return self.instruction(body),
            Op::Integral {
                variable,
                lower,
                upper,
                body,
            } => {
                return self.integral(variable, lower, upper, body);
            }
        })
    }

    fn input(&mut self, symbol: &'static Symbol) -> Result<usize, EquationError> {
        let twin = self.inputs.iter().find(|s| s.glyph == symbol.glyph);
        if twin.is_some_and(|twin| !std::ptr::eq(*twin, symbol)) {
            let name = symbol.glyph.to_string();
            return Err(EquationError::DuplicateSymbol { name });
        }
        Ok(self
            .inputs
            .iter()
            .position(|s| std::ptr::eq(*s, symbol))
            .unwrap_or_else(|| {
                self.inputs.push(symbol);
                self.inputs.len() - 1
            }))
    }

    fn unknown(&mut self, unknown: &'static UnknownData) -> Result<Instruction, EquationError> {
        let Some(equation) = unknown.equation.get() else {
            return Err(EquationError::Unbound {
                symbol: unknown.glyph.to_string(),
            });
        };
        let lower = self.register(equation.lower)?;
        let upper = self.register(equation.upper)?;
        let body = self.body(unknown_key(unknown), None, &[equation.left, equation.right])?;
        Ok(Instruction::Solve(Box::new(Solve { lower, upper, body })))
    }

    fn integral(
        &mut self,
        variable: Expression,
        lower: Expression,
        upper: Expression,
        integrand: Expression,
    ) -> Result<Instruction, EquationError> {
        let Op::Variable(glyph) = variable.op else {
            return Err(EquationError::Unbound {
                symbol: "the variable of an integral".to_owned(),
            });
        };
        let key = variable_key(glyph);
        for node in post_order(&[integrand]) {
            self.free(node);
        }
        let free = std::mem::take(&mut self.free);
        let depends = |node: Expression| free.get(&node.key()).is_some_and(|f| f.contains(&key));
        let moment = shape::moment(integrand, &depends);
        let pieces = moment.as_ref().map_or_else(
            || shape::pieces(integrand, &depends),
            |moment| moment.pieces.clone(),
        );
        let density = if moment.is_none() {
            shape::density(integrand, &depends)
        } else {
            None
        };
        self.free = free;
        let pieces = self.pieces(&pieces)?;
        let density = density
            .map(|density| {
                let constants = density.constants.iter();
                Ok::<_, EquationError>(Density {
                    pieces: self.pieces(&density.pieces)?,
                    constants: constants
                        .map(|node| self.register(node))
                        .collect::<Result<_, _>>()?,
                })
            })
            .transpose()?;
        let moment = moment.map(|moment| self.moment(&moment)).transpose()?;
        let lower = self.register(lower)?;
        let upper = self.register(upper)?;
        let body = self.body(key, Some(variable), &[integrand])?;
        Ok(Instruction::Integral(Box::new(Integral {
            lower,
            upper,
            body,
            moment,
            pieces,
            density,
        })))
    }

    fn pieces(&mut self, pieces: &[shape::Piece]) -> Result<Vec<Piece>, EquationError> {
        let each = pieces.iter().map(|piece| {
            let line = self.offset(&piece.line)?;
            let factor = piece.factor.map(|node| self.register(node)).transpose()?;
            Ok(Piece {
                factor,
                curve: piece.curve,
                line,
                magnitude: piece.magnitude,
            })
        });
        each.collect()
    }

    fn moment(&mut self, moment: &shape::Moment) -> Result<Moment, EquationError> {
        let constants = moment
            .constants
            .iter()
            .map(|node| self.register(node))
            .collect::<Result<_, _>>()?;
        Ok(Moment {
            constants,
            weight: moment
                .weight
                .as_ref()
                .map(|line| self.offset(line))
                .transpose()?,
        })
    }

    fn offset(&mut self, line: &Line) -> Result<Offset, EquationError> {
        let mut registers = |nodes: &[Expression]| {
            nodes
                .iter()
                .map(|node| self.register(node))
                .collect::<Result<Vec<_>, _>>()
        };
        Ok(Offset {
            slope: line.slope,
            plus: registers(&line.plus)?,
            minus: registers(&line.minus)?,
        })
    }

    /// Compiles the code that depends on a variable or an unknown.
    fn body(
        &mut self,
        bound: *const (),
        variable: Option<Expression>,
        results: &[Expression],
    ) -> Result<Body, EquationError> {
        self.scopes.push(Scope {
            bound: Some(bound),
            ..Scope::default()
        });
        let unknown = self.unknowns.get(&bound).copied();
        for node in post_order(results) {
            let is_bound = match node.op {
                Op::Variable(_) => variable.is_some_and(|v| std::ptr::eq(v, node)),
                Op::Unknown(data) => unknown.is_some_and(|own| std::ptr::eq(own, data)),
                _ => false,
            };
            if is_bound {
                self.push(Instruction::Bound, node);
            }
        }
        let results: Result<Vec<_>, _> = results.iter().map(|node| self.register(node)).collect();
        let scope = self.scopes.pop().unwrap_or_default();
        Ok(Body {
            code: scope.code,
            captures: scope.captures,
            results: results?,
        })
    }
}
