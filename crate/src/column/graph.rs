//! From a program to steps over whole columns.
//!
//! Numbers are folded, like steps are merged (two integrals of one curve share
//! its charge at a common limit), integrals in moment form become arithmetic
//! of the curve's charge and energy, and whatever a body does not need its own
//! variable for moves out of it.

use std::collections::HashMap;
use std::sync::Arc;

use super::action::{Action, Density, Kind, Shifted};
use super::kernel;
use super::schedule::{self, Block, Source};
use crate::equation::Program;
use crate::equation::node::{Binary, Unary};
use crate::equation::program::{self, Instruction, Integral, Moment, Offset, Piece, Register};

/// A value within one level of code; numbers by their bits.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub(crate) enum Value {
    Number(u64),
    /// At the outermost level an input of the program; within a body 0 is the
    /// variable, and the captures follow.
    Input(usize),
    Result(usize),
}

/// A step with the index of its first result.
pub(crate) type Step = (Action<Value>, usize);

/// The outermost level of a program.
#[derive(Debug)]
pub(crate) struct Graph {
    pub steps: Vec<Step>,
    pub results: usize,
    pub outputs: Vec<Value>,
}

impl Graph {
    pub fn new(program: &Program) -> Self {
        let (code, outputs) = program.parts();
        let mut builder = Builder {
            levels: vec![Level::default()],
        };
        let registers = builder.code(code, &[], None);
        let outputs = outputs.iter().map(|r| registers[*r].value).collect();
        let level = builder.levels.remove(0);
        Self {
            steps: level.steps,
            results: level.results,
            outputs,
        }
    }
}

/// A value and the level of code at which it is known.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
struct Place {
    level: usize,
    value: Value,
}

#[derive(Default)]
struct Level {
    steps: Vec<Step>,
    results: usize,
    known: HashMap<(Kind, Vec<Value>), usize>,
    captures: Vec<Place>,
}

struct Builder {
    levels: Vec<Level>,
}

fn number(value: f64) -> Place {
    Place {
        level: 0,
        value: Value::Number(value.to_bits()),
    }
}

impl Level {
    /// A value of this or an outer level as a value of this one.
    fn import(&mut self, place: Place, own: usize) -> Value {
        if place.level == own || matches!(place.value, Value::Number(_)) {
            return place.value;
        }
        let index = self.captures.iter().position(|c| *c == place);
        let index = index.unwrap_or_else(|| {
            self.captures.push(place);
            self.captures.len() - 1
        });
        Value::Input(1 + index)
    }
}

impl Builder {
    /// Adds a step at the outermost level that knows all its operands.
    fn emit(&mut self, action: &Action<Place>) -> Place {
        if let Some(value) = folded(action) {
            return number(value);
        }
        let operands = action.operands();
        let own = operands.iter().map(|p| p.level).max().unwrap_or(0);
        let level = &mut self.levels[own];
        let action = action.map(|place| level.import(place, own));
        let key = action.kind().map(|kind| (kind, action.operands()));
        let known = key.as_ref().and_then(|key| level.known.get(key)).copied();
        let result = known.unwrap_or_else(|| {
            let result = level.results;
            level.results += action.results();
            level.steps.push((action, result));
            if let Some(key) = key {
                level.known.insert(key, result);
            }
            result
        });
        Place {
            level: own,
            value: Value::Result(result),
        }
    }

    fn binary(&mut self, op: Binary, x: Place, y: Place) -> Place {
        self.emit(&Action::Binary(op, x, y))
    }

    /// A product with one of -1, 0 and 1.
    fn signed(&mut self, sign: f64, x: Place) -> Place {
        if sign == 0.0 {
            number(0.0)
        } else if sign < 0.0 {
            self.emit(&Action::Unary(Unary::Negate, x))
        } else {
            x
        }
    }

    fn code(
        &mut self,
        code: &[Instruction],
        captures: &[Place],
        bound: Option<Place>,
    ) -> Vec<Place> {
        let mut registers: Vec<Place> = Vec::with_capacity(code.len());
        for instruction in code {
            let at = |r: &Register| registers[*r];
            let place = match instruction {
                Instruction::Input(index) => Place {
                    level: 0,
                    value: Value::Input(*index),
                },
                Instruction::Bound => bound.unwrap_or_else(|| number(f64::NAN)),
                Instruction::Capture(index) => captures[*index],
                Instruction::Constant(value) => number(*value),
                Instruction::Unary(op, x) => self.emit(&Action::Unary(*op, at(x))),
                Instruction::Binary(op, x, y) => self.binary(*op, at(x), at(y)),
                Instruction::Power(x, power) => self.emit(&Action::Power(at(x), *power)),
                Instruction::Select {
                    relation,
                    left,
                    right,
                    then,
                    otherwise,
                } => self.emit(&Action::Select {
                    relation: *relation,
                    left: at(left),
                    right: at(right),
                    then: at(then),
                    otherwise: at(otherwise),
                }),
                Instruction::Curve(curve, x) => self.emit(&Action::Curve(curve, at(x))),
                Instruction::Integral(integral) => match &integral.moment {
                    Some(moment) => self.moment(integral, moment, &registers),
                    None => self.integral(integral, &registers),
                },
                Instruction::Solve(solve) => {
                    let captured: Vec<_> = solve.body.captures.iter().map(at).collect();
                    let (body, captures) =
                        self.body(&solve.body.code, &solve.body.results, &captured);
                    self.emit(&Action::Solve {
                        lower: at(&solve.lower),
                        upper: at(&solve.upper),
                        captures,
                        body,
                    })
                }
            };
            registers.push(place);
        }
        registers
    }

    /// A body's code, and what it takes from the levels around it.
    fn body(
        &mut self,
        code: &[Instruction],
        results: &[Register],
        captured: &[Place],
    ) -> (Arc<Block>, Vec<Place>) {
        let own = self.levels.len();
        self.levels.push(Level::default());
        let bound = Place {
            level: own,
            value: Value::Input(0),
        };
        let registers = self.code(code, captured, Some(bound));
        let mut level = self.levels.remove(own);
        let outputs: Vec<_> = results
            .iter()
            .map(|r| level.import(registers[*r], own))
            .collect();
        let block = schedule::body(&level.steps, level.results, &outputs);
        (Arc::new(block), level.captures)
    }

    fn integral(&mut self, integral: &Integral, registers: &[Place]) -> Place {
        let captured: Vec<_> = integral
            .body
            .captures
            .iter()
            .map(|r| registers[*r])
            .collect();
        let (body, captures) = self.body(&integral.body.code, &integral.body.results, &captured);
        let density = integral
            .density
            .as_ref()
            .map(|density| self.density(density, registers));
        let mut breaks = Vec::new();
        let split = if density.is_some() {
            &[][..]
        } else {
            &integral.pieces
        };
        for piece in split {
            let start = self.intercept(&piece.line, registers);
            let mut voltages = piece.curve.kinks();
            if piece.magnitude {
                let mirrored: Vec<_> = voltages.iter().map(|v| -v).collect();
                voltages.extend(mirrored);
                voltages.push(0.0);
            }
            for voltage in voltages {
                let step = self.binary(Binary::Subtract, number(voltage), start);
                let at = self.signed(piece.line.slope, step);
                if !breaks.contains(&at) {
                    breaks.push(at);
                }
            }
        }
        self.emit(&Action::Integral {
            lower: registers[integral.lower],
            upper: registers[integral.upper],
            breaks,
            density,
            captures,
            body,
        })
    }

    fn density(&mut self, density: &program::Density, registers: &[Place]) -> Density<Place> {
        let curves = density.pieces.iter().map(|piece| Shifted {
            curve: piece.curve,
            magnitude: piece.magnitude,
            slope: piece.line.slope,
            shift: self.intercept(&piece.line, registers),
            factor: piece.factor.map_or_else(|| number(1.0), |f| registers[f]),
        });
        Density {
            curves: curves.collect(),
            constants: density.constants.iter().map(|r| registers[*r]).collect(),
        }
    }

    /// The closed form, operation for operation as the program evaluates it.
    fn moment(&mut self, integral: &Integral, moment: &Moment, registers: &[Place]) -> Place {
        let (lower, upper) = (registers[integral.lower], registers[integral.upper]);
        let (intercept, slope) = match &moment.weight {
            Some(line) => (self.intercept(line, registers), line.slope),
            None => (number(1.0), 0.0),
        };
        let mut total = None;
        for piece in &integral.pieces {
            let mut part = self.piece(piece, registers, (lower, upper), intercept, slope);
            if let Some(factor) = piece.factor {
                part = self.binary(Binary::Multiply, registers[factor], part);
            }
            total = Some(total.map_or(part, |sum| self.binary(Binary::Add, sum, part)));
        }
        if !moment.constants.is_empty() {
            let span = self.binary(Binary::Subtract, upper, lower);
            let mut line = self.binary(Binary::Multiply, intercept, span);
            if slope != 0.0 {
                let ends = self.binary(Binary::Add, upper, lower);
                let span = self.signed(slope, span);
                let square = self.binary(Binary::Multiply, span, ends);
                let half = self.binary(Binary::Divide, square, number(2.0));
                line = self.binary(Binary::Add, line, half);
            }
            for constant in &moment.constants {
                let part = self.binary(Binary::Multiply, registers[*constant], line);
                total = Some(total.map_or(part, |sum| self.binary(Binary::Add, sum, part)));
            }
        }
        total.unwrap_or_else(|| number(0.0))
    }

    fn piece(
        &mut self,
        piece: &Piece,
        registers: &[Place],
        (lower, upper): (Place, Place),
        intercept: Place,
        weight: f64,
    ) -> Place {
        let sign = piece.line.slope;
        let start = self.intercept(&piece.line, registers);
        let low = self.moments(piece, lower, start);
        let high = self.moments(piece, upper, start);
        let shift = self.signed(weight * sign, start);
        let factor = if weight == 0.0 {
            intercept
        } else {
            self.binary(Binary::Subtract, intercept, shift)
        };
        let factor = self.signed(sign, factor);
        let charge = self.binary(Binary::Subtract, high[0], low[0]);
        let part = self.binary(Binary::Multiply, factor, charge);
        if weight == 0.0 {
            return part;
        }
        let energy = self.binary(Binary::Subtract, high[1], low[1]);
        let energy = self.signed(weight, energy);
        self.binary(Binary::Add, part, energy)
    }

    /// Charge and energy of a piece's curve where the variable is `limit`.
    fn moments(&mut self, piece: &Piece, limit: Place, start: Place) -> [Place; 2] {
        let limit = self.signed(piece.line.slope, limit);
        let at = self.binary(Binary::Add, limit, start);
        if let Value::Number(bits) = at.value {
            let (charge, energy) =
                kernel::moments_at(piece.curve, piece.magnitude, f64::from_bits(bits));
            return [number(charge), number(energy)];
        }
        let charge = self.emit(&Action::Moments {
            curve: piece.curve,
            magnitude: piece.magnitude,
            at,
        });
        let Value::Result(first) = charge.value else {
            return [charge; 2];
        };
        let energy = Place {
            level: charge.level,
            value: Value::Result(first + 1),
        };
        [charge, energy]
    }

    /// The line's value where its variable is zero.
    fn intercept(&mut self, line: &Offset, registers: &[Place]) -> Place {
        let mut sum = |list: &[Register]| {
            let mut places = list.iter().map(|r| registers[*r]);
            let first = places.next()?;
            Some(places.fold(first, |sum, x| self.binary(Binary::Add, sum, x)))
        };
        match (sum(&line.plus), sum(&line.minus)) {
            (Some(plus), Some(minus)) => self.binary(Binary::Subtract, plus, minus),
            (Some(plus), None) => plus,
            (None, Some(minus)) => self.signed(-1.0, minus),
            (None, None) => number(0.0),
        }
    }
}

/// The value of an action whose operands are all numbers; charge and energy of a
/// number are none, see [`Builder::moments`].
fn folded(action: &Action<Place>) -> Option<f64> {
    action.kind()?;
    let all = action
        .operands()
        .iter()
        .all(|place| matches!(place.value, Value::Number(_)));
    let source = |place: Place| match place.value {
        Value::Number(bits) => Source::Number(f64::from_bits(bits)),
        Value::Input(_) | Value::Result(_) => Source::Number(f64::NAN),
    };
    all.then(|| kernel::single(&action.map(source)))
}
