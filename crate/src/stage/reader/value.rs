//! Texts, quantities, whole numbers and ranges under the keys of a table.

use std::ops::RangeInclusive;

use toml::Spanned;
use toml::de::DeValue;

use super::{Read, Section, wrong_type};
use crate::quantity::{
    Dimensioned, Ratio, ThermodynamicTemperature, example, number, parse, parse_temperature, print,
};

/// The values a key accepts, in the coherent unit.
#[derive(Clone, Debug)]
pub(crate) struct Bounds {
    pub range: RangeInclusive<f64>,
    /// Whether the lower end itself is excluded.
    pub above: bool,
}

/// Part of the greatest value below which no converter of this kind has a positive
/// quantity either, and what is computed with it comes to an end.
const LEAST: f64 = 1e-18;

impl Bounds {
    /// Above zero, up to a bound beyond any converter of this kind.
    pub fn positive(high: f64) -> Self {
        Self {
            range: 0.0..=high,
            above: true,
        }
    }

    /// Zero or more, up to a bound beyond any converter of this kind.
    pub fn from_zero(high: f64) -> Self {
        Self {
            range: 0.0..=high,
            above: false,
        }
    }

    /// What a value that must be above the lower end has to exceed.
    fn least(&self) -> f64 {
        self.range.start() + LEAST * self.range.end()
    }

    fn accepts(&self, value: f64) -> bool {
        self.range.contains(&value) && !(self.above && value <= self.least())
    }

    /// What to expect instead of a value, in words; in percent where that was found.
    fn describe<Q: Dimensioned>(&self, value: f64, percent: bool) -> String {
        let show = |v: f64| {
            if percent {
                format!("{} %", number(100.0 * v, 4))
            } else {
                print(Q::from_coherent(v))
            }
        };
        let from = if self.above { "above" } else { "from" };
        let low = if self.above && self.range.contains(&value) && value > *self.range.start() {
            self.least()
        } else {
            *self.range.start()
        };
        format!("{from} {} up to {}", show(low), show(*self.range.end()))
    }
}

impl Section<'_, '_> {
    /// Whether a key is true; not there it is false.
    pub fn flag(&self, key: &'static str) -> bool {
        let Some(value) = self.get(key) else {
            return false;
        };
        let flag = value.get_ref().as_bool();
        if flag.is_none() {
            let found = wrong_type(value.get_ref(), "true or false");
            self.problem(&value.span(), key, found);
        }
        flag.unwrap_or(false)
    }
}

impl Section<'_, '_> {
    /// A text.
    pub fn text(&self, key: &'static str) -> Option<Read<String>> {
        let value = self.get(key)?;
        let Some(text) = value.get_ref().as_str() else {
            self.problem(
                &value.span(),
                key,
                wrong_type(value.get_ref(), "a text in quotes"),
            );
            return None;
        };
        Some(Read {
            value: text.to_owned(),
            span: value.span(),
            good: true,
        })
    }

    /// A text that must be there.
    pub fn required_text(&self, key: &'static str, example: &str) -> Read<String> {
        if !self.has(key) {
            self.missing(key, example);
        }
        let text = self.text(key);
        if let Some(text) = text.as_ref().filter(|text| text.value.trim().is_empty()) {
            self.problem(
                &text.span,
                key,
                format!("is empty; write {key} = {example}"),
            );
        }
        text.unwrap_or(Read {
            value: String::new(),
            span: self.span.clone(),
            good: false,
        })
    }

    /// A text of one line that must be there: a second one would pass for what the
    /// program says.
    pub fn required_line(&self, key: &'static str, example: &str) -> Read<String> {
        let text = self.required_text(key, example);
        if text.value.contains(['\n', '\r']) {
            self.problem(&text.span, key, "has several lines; write one");
        }
        text
    }

    /// A temperature, if the key is there.
    pub fn temperature(&self, key: &'static str) -> Option<ThermodynamicTemperature> {
        let text = self.text(key)?;
        match parse_temperature(&text.value) {
            Ok(temperature) if (-60.0..=400.0).contains(&temperature.celsius()) => {
                Some(temperature)
            }
            Ok(_) => {
                let found = text.value.trim();
                let message = format!("\"{found}\" is out of range; expected -60 °C to 400 °C");
                self.problem(&text.span, key, message);
                None
            }
            Err(error) => {
                self.problem(&text.span, key, error.to_string());
                None
            }
        }
    }

    /// A quantity, if the key is there.
    pub fn quantity<Q: Dimensioned>(&self, key: &'static str, bounds: &Bounds) -> Option<Read<Q>> {
        let value = self.get(key)?;
        Some(self.read(key, value, bounds))
    }

    /// A quantity that must be there.
    pub fn required<Q: Dimensioned>(
        &self,
        key: &'static str,
        bounds: &Bounds,
        example: &str,
    ) -> Read<Q> {
        if let Some(value) = self.get(key) {
            return self.read(key, value, bounds);
        }
        self.missing(key, example);
        Read {
            value: Q::from_coherent(1.0),
            span: self.span.clone(),
            good: false,
        }
    }

    pub(super) fn read<Q: Dimensioned>(
        &self,
        key: &str,
        value: &Spanned<DeValue>,
        bounds: &Bounds,
    ) -> Read<Q> {
        let bad = Read {
            value: Q::from_coherent(1.0),
            span: value.span(),
            good: false,
        };
        let text = match value.get_ref() {
            DeValue::String(text) => text.to_string(),
            DeValue::Integer(number) if Q::EXPONENTS == Ratio::EXPONENTS => {
                // Hexadecimal and the like too.
                i64::from_str_radix(number.as_str(), number.radix())
                    .map_or_else(|_| number.as_str().to_owned(), |whole| whole.to_string())
            }
            DeValue::Float(number) if Q::EXPONENTS == Ratio::EXPONENTS => {
                number.as_str().to_owned()
            }
            DeValue::Integer(_) | DeValue::Float(_) => {
                let found = self.reader.source.get(value.span()).unwrap_or_default();
                self.problem(
                    &value.span(),
                    key,
                    format!(
                        "is {found}, a number without unit; write it in quotes with its unit: \
                         expected {}",
                        example(Q::EXPONENTS)
                    ),
                );
                return bad;
            }
            other => {
                self.problem(
                    &value.span(),
                    key,
                    wrong_type(other, &example(Q::EXPONENTS)),
                );
                return bad;
            }
        };
        match parse::<Q>(&text) {
            Err(error) => {
                self.problem(&value.span(), key, error.to_string());
                bad
            }
            Ok(quantity) if !bounds.accepts(quantity.coherent()) => {
                self.problem(
                    &value.span(),
                    key,
                    format!(
                        "\"{}\" is out of range; expected a value {}",
                        text.trim(),
                        bounds.describe::<Q>(quantity.coherent(), text.contains('%'))
                    ),
                );
                bad
            }
            Ok(quantity) => Read {
                value: quantity,
                span: value.span(),
                good: true,
            },
        }
    }

    /// A whole number that must be there.
    pub fn whole(&self, key: &'static str, range: RangeInclusive<i64>, example: &str) -> Read<i64> {
        let bad = |span| Read {
            value: *range.start(),
            span,
            good: false,
        };
        let Some(value) = self.get(key) else {
            self.missing(key, example);
            return bad(self.span.clone());
        };
        let number = value.get_ref().as_integer().and_then(|integer| {
            i64::from_str_radix(&integer.as_str().replace('_', ""), integer.radix()).ok()
        });
        match number {
            Some(number) if range.contains(&number) => Read {
                value: number,
                span: value.span(),
                good: true,
            },
            _ => {
                let found = self.reader.source.get(value.span()).unwrap_or("this");
                self.problem(
                    &value.span(),
                    key,
                    format!(
                        "is {found}; expected a whole number from {} to {}",
                        range.start(),
                        range.end()
                    ),
                );
                bad(value.span())
            }
        }
    }

    /// A list of quantities.
    pub fn quantities<Q: Dimensioned>(&self, key: &'static str, bounds: &Bounds) -> Read<Vec<Q>> {
        let bad = |span| Read {
            value: vec![],
            span,
            good: false,
        };
        let Some(value) = self.get(key) else {
            return bad(self.span.clone());
        };
        let Some(list) = value.get_ref().as_array() else {
            self.problem(
                &value.span(),
                key,
                wrong_type(value.get_ref(), "a list of values with their units"),
            );
            return bad(value.span());
        };
        let read: Vec<Read<Q>> = list
            .iter()
            .map(|item| self.read(key, item, bounds))
            .collect();
        Read {
            good: read.iter().all(|item| item.good),
            value: read.into_iter().map(|item| item.value).collect(),
            span: value.span(),
        }
    }

    /// `least ≤ nominal ≤ greatest`, from one text or a table of them.
    pub fn range<Q: Dimensioned>(
        &self,
        key: &'static str,
        bounds: &Bounds,
        example: &str,
    ) -> Read<[Q; 3]> {
        let Some(value) = self.get(key) else {
            self.missing(key, example);
            return Read {
                value: [Q::from_coherent(1.0); 3],
                span: self.span.clone(),
                good: false,
            };
        };
        if value.get_ref().as_table().is_none() {
            let one = self.read(key, value, bounds);
            return Read {
                value: [one.value; 3],
                span: one.span,
                good: one.good,
            };
        }
        let table = self.section(key);
        let value_of = crate::quantity::example(Q::EXPONENTS);
        let value_of = value_of.split_once("such as ").map_or("...", |(_, e)| e);
        let low = table.required::<Q>("min", bounds, value_of);
        let high = table.required::<Q>("max", bounds, value_of);
        let nominal = table.quantity::<Q>("nominal", bounds);
        let mut good = low.good && high.good && nominal.as_ref().is_none_or(|n| n.good);
        let (l, h) = (low.value.coherent(), high.value.coherent());
        let middle = nominal.map_or_else(|| f64::midpoint(l, h), |n| n.value.coherent());
        if good && l > h {
            self.problem(
                &low.span,
                key,
                format!(
                    "min {} is greater than max {}; exchange them",
                    print(low.value),
                    print(high.value)
                ),
            );
            good = false;
        } else if good && !(l..=h).contains(&middle) {
            self.problem(
                &value.span(),
                key,
                format!(
                    "nominal {} lies outside {} to {}; move it inside, or leave it out for the \
                     middle",
                    print(Q::from_coherent(middle)),
                    print(low.value),
                    print(high.value)
                ),
            );
            good = false;
        }
        table.close();
        Read {
            value: [low.value, Q::from_coherent(middle), high.value],
            span: value.span(),
            good,
        }
    }
}
