//! Seeded streams of random numbers, one per block of samples: the numbers depend
//! on seed and block alone, never on which thread draws them.

use chacha20::ChaCha8Rng;
use chacha20::rand_core::{Rng as _, SeedableRng as _};

use super::distribution::{Distribution, Shape};

/// A stream of random numbers.
pub(crate) struct Stream(ChaCha8Rng);

impl Stream {
    /// The stream of a block.
    pub fn new(seed: u64, block: u64) -> Self {
        let mut generator = ChaCha8Rng::seed_from_u64(seed);
        generator.set_stream(block);
        Self(generator)
    }

    /// Uniform from 0 to 1, the ends excluded, in steps of 2⁻⁵².
    #[expect(clippy::cast_precision_loss, reason = "52 bits are exact in a double")]
    fn uniform(&mut self) -> f64 {
        ((self.0.next_u64() >> 12) as f64 + 0.5) * f64::EPSILON
    }

    /// A normal deviate of unit variance, or Student's of unit scale for finite
    /// degrees of freedom, by the polar method (Bailey, Mathematics of
    /// Computation 62 (1994); the normal case is Marsaglia's).
    pub fn normal(&mut self, degrees_of_freedom: f64) -> f64 {
        loop {
            let (u, v) = (2.0 * self.uniform() - 1.0, 2.0 * self.uniform() - 1.0);
            let w = u * u + v * v;
            if w >= 1.0 || w == 0.0 {
                continue;
            }
            let square = if degrees_of_freedom.is_finite() {
                degrees_of_freedom * libm::expm1(-2.0 / degrees_of_freedom * libm::log(w))
            } else {
                -2.0 * libm::log(w)
            };
            return u * (square / w).sqrt();
        }
    }

    /// A deviation from the estimate.
    pub fn deviation(&mut self, distribution: &Distribution) -> f64 {
        match (distribution.shape(), distribution.half_width()) {
            (Shape::Rectangular, Some(half)) => half * (2.0 * self.uniform() - 1.0),
            (Shape::Triangular, Some(half)) => half * (self.uniform() - self.uniform()),
            _ => {
                distribution.standard_uncertainty() * self.normal(distribution.degrees_of_freedom())
            }
        }
    }
}
