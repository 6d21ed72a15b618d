//! Measurement uncertainty: the law of propagation (JCGM 100:2008) from exact
//! derivatives, and a Monte Carlo method (JCGM 101:2008) where that is not good
//! enough.
//!
//! An [`Uncertainties`] value lists the uncertain inputs with their distributions
//! and correlations; it is passed beside a [`crate::equation::Point`] and never
//! stored with the symbols. [`of`] gives the budget of a derivation's result,
//! [`Propagation`] several outputs of a program with their correlations, [`Draw`]
//! samples. An operating range is no uncertainty and has no place here.

mod budget;
mod coverage;
mod distribution;
mod error;
mod inputs;
pub(crate) mod joint;
mod monte_carlo;
mod observations;
mod propagation;
pub(crate) mod random;
mod samples;
mod student;

pub use budget::{Budget, COVERAGE, Correlated, Expanded, MonteCarlo, Row, of};
pub use coverage::{Basis, Coverage};
pub use distribution::{Distribution, Shape};
pub use error::UncertaintyError;
pub(crate) use inputs::not_drawn;
pub use inputs::{Input, Uncertainties};
pub(crate) use joint::Joint;
pub use monte_carlo::Draw;
pub use observations::{Observations, StraightLine};
pub use propagation::{Propagation, SecondOrder};
pub use samples::{Histogram, Interval, Samples};
pub use student::coverage_factor;
