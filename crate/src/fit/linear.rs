//! The residuals as they go on in a straight line from where a search stands.

use nalgebra::{DMatrix, DVector, SVD};

/// Residuals at parameters; none where the model has no value.
pub(super) type Residuals<'r> = dyn Fn(&DVector<f64>) -> Option<DVector<f64>> + 'r;

/// A singular value below this part of the largest tells nothing.
const LOST: f64 = 1e-11;
/// Turns at most until the singular values have come out.
const MOST_TURNS: usize = 10_000;
/// A parameter with at least this share in a combination belongs to it.
const SHARE: f64 = 0.1;
/// The part of a parameter by which it is moved for derivatives: rounding and what the
/// fourth order leaves are about alike there.
const MOVED: f64 = 3e-4;

/// Derivatives of the residuals by central differences of fourth order.
pub(super) fn derivatives(p: &DVector<f64>, at: &Residuals) -> Option<DMatrix<f64>> {
    let column = |k: usize| {
        let step = if p[k] == 0.0 {
            MOVED
        } else {
            MOVED * p[k].abs()
        };
        let moved = |by: f64| {
            let mut other = p.clone();
            other[k] += by * step;
            at(&other)
        };
        let near = moved(1.0)? - moved(-1.0)?;
        let far = moved(2.0)? - moved(-2.0)?;
        Some((near * 8.0 - far) / (12.0 * step))
    };
    let columns: Option<Vec<DVector<f64>>> = (0..p.len()).map(column).collect();
    let found = DMatrix::from_columns(&columns?);
    found.iter().all(|value| value.is_finite()).then_some(found)
}

/// Residuals and derivatives by the singular values of the latter, their columns scaled.
pub(super) struct Linear {
    pub values: DVector<f64>,
    /// The right singular vectors, as rows.
    pub turned: DMatrix<f64>,
    /// The residuals along the left ones.
    pub inside: DVector<f64>,
}

impl Linear {
    /// None where the singular values do not come out, as of numbers next to none.
    pub(super) fn new(
        mut derivatives: DMatrix<f64>,
        scale: &DVector<f64>,
        residuals: &DVector<f64>,
    ) -> Option<Self> {
        for (k, mut column) in derivatives.column_iter_mut().enumerate() {
            if scale[k] > 0.0 {
                column /= scale[k];
            }
        }
        let found = SVD::try_new(derivatives, true, true, f64::EPSILON, MOST_TURNS)?;
        Some(Self {
            values: found.singular_values,
            turned: found.v_t?,
            inside: found.u?.transpose() * residuals,
        })
    }

    /// The step of a damping; without damping the full one, in what the data tell.
    pub(super) fn step(&self, damping: f64, scale: &DVector<f64>) -> DVector<f64> {
        let least = LOST * self.values[0];
        let along = DVector::from_fn(self.values.len(), |k, _| {
            let s = self.values[k];
            if damping == 0.0 && s <= least {
                0.0
            } else {
                -s * self.inside[k] / (s * s + damping)
            }
        });
        let step = self.turned.transpose() * along;
        step.zip_map(
            scale,
            |step, scale| if scale > 0.0 { step / scale } else { 0.0 },
        )
    }

    /// By how much a step lowers the sum of squares, if all went in a straight line.
    pub(super) fn decrease(&self, damping: f64) -> f64 {
        let left = |s: f64| damping / (s * s + damping);
        let parts = self.inside.iter().zip(self.values.iter());
        parts.map(|(g, s)| g * g * (1.0 - left(*s).powi(2))).sum()
    }

    /// Places of the parameters in combinations that the data do not tell.
    pub(super) fn lost(&self) -> Vec<usize> {
        let told = |s: f64| s > LOST * self.values[0];
        let rows = (0..self.values.len()).filter(|k| !told(self.values[*k]));
        let rows: Vec<_> = rows.map(|k| self.turned.row(k)).collect();
        let parameters = 0..self.values.len();
        parameters
            .filter(|i| rows.iter().any(|row| row[*i].abs() > SHARE))
            .collect()
    }
}
