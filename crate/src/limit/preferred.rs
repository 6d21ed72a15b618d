//! Preferred values of IEC 60063.

use std::sync::LazyLock;

/// The series as the standard lists them, read from `references/`.
static SERIES: LazyLock<[Vec<u16>; 3]> = LazyLock::new(|| {
    let table: toml::Table =
        toml::from_str(include_str!("../../../references/preferred-values.toml"))
            .unwrap_or_default();
    ["E6", "E12", "E24"].map(|name| {
        let list = table
            .get(name)
            .and_then(toml::Value::as_array)
            .cloned()
            .unwrap_or_default();
        list.iter()
            .filter_map(toml::Value::as_integer)
            .filter_map(|value| u16::try_from(value).ok())
            .collect()
    })
});

/// A series of preferred values.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Series {
    /// Six values per decade, for parts of 20 % tolerance.
    E6,
    /// Twelve values per decade, for parts of 10 % tolerance.
    E12,
    /// Twenty-four values per decade, for parts of 5 % tolerance.
    E24,
}

impl Series {
    /// The two-digit values of one decade.
    #[must_use]
    pub fn values(self) -> &'static [u16] {
        &SERIES[self as usize]
    }

    /// The series' values of the decades around `value`, rising.
    fn around(self, value: f64) -> impl DoubleEndedIterator<Item = f64> {
        #[expect(
            clippy::cast_possible_truncation,
            reason = "a decade of a finite double is small"
        )]
        let decade = value.log10().floor() as i32;
        (decade - 2..=decade + 1).flat_map(move |power| {
            self.values().iter().map(move |digits| {
                // Through text, so that 0.68 µH is the double that the text gives.
                format!("{digits}e{power}")
                    .parse::<f64>()
                    .unwrap_or(f64::NAN)
            })
        })
    }
}

/// The largest preferred value not above `value`.
///
/// # Source
/// IEC 60063.
///
/// ```
/// use slewbook::limit::{Series, at_most, at_least};
/// assert_eq!(at_most(0.73e-6, Series::E12), Some(0.68e-6));
/// assert_eq!(at_least(7.6e-6, Series::E6), Some(10e-6));
/// ```
#[must_use]
pub fn at_most(value: f64, series: Series) -> Option<f64> {
    (value > 0.0 && value.is_finite())
        .then(|| series.around(value).rfind(|v| *v <= value * (1.0 + 1e-12)))
        .flatten()
}

/// The least preferred value not below `value`.
///
/// # Source
/// IEC 60063.
#[must_use]
pub fn at_least(value: f64, series: Series) -> Option<f64> {
    (value > 0.0 && value.is_finite())
        .then(|| series.around(value).find(|v| *v >= value * (1.0 - 1e-12)))
        .flatten()
}
