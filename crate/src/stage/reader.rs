//! Reading tables of a TOML file key by key, collecting every problem.
//!
//! A key that cannot be read leaves a problem and a stand-in value: reading goes
//! on, and the specification is given out only where no problem was left.

use std::cell::RefCell;
use std::ops::{Range, RangeInclusive};

use toml::Spanned;
use toml::de::{DeTable, DeValue};

use super::problem::{Problem, Problems};
use crate::equation::Curve;
use crate::nearest::misspelt;
use crate::quantity::{
    Dimensioned, Ratio, ThermodynamicTemperature, example, number, parse, parse_temperature, print,
};

/// The file being read and what was found wrong with it.
pub(crate) struct Reader<'s> {
    pub source: &'s str,
    problems: RefCell<Vec<Found>>,
}

/// A problem before its line and column are counted.
struct Found {
    span: Range<usize>,
    key: String,
    message: String,
}

/// Problems shown of one file; the rest is counted.
const SHOWN: usize = 40;

/// A table of the file.
pub(crate) struct Section<'s, 'r> {
    reader: &'r Reader<'s>,
    path: String,
    span: Range<usize>,
    table: Option<&'r DeTable<'s>>,
    /// The part that supplies the keys which the table does not have.
    part: Option<&'r DeTable<'s>>,
    known: RefCell<Vec<&'static str>>,
}

/// A value with its place in the file; `good` where it was read without problem.
#[derive(Clone, Debug)]
pub(crate) struct Read<T> {
    pub value: T,
    pub span: Range<usize>,
    pub good: bool,
}

/// The values a key accepts, in the coherent unit.
#[derive(Clone, Debug)]
pub(crate) struct Bounds {
    pub range: RangeInclusive<f64>,
    /// Whether the lower end itself is excluded.
    pub above: bool,
}

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

    fn accepts(&self, value: f64) -> bool {
        self.range.contains(&value) && !(self.above && value <= *self.range.start())
    }

    /// In words; in percent where what was found is.
    fn describe<Q: Dimensioned>(&self, percent: bool) -> String {
        let show = |v: f64| {
            if percent {
                format!("{} %", number(100.0 * v, 4))
            } else {
                print(Q::from_coherent(v))
            }
        };
        let from = if self.above { "above" } else { "from" };
        format!(
            "{from} {} up to {}",
            show(*self.range.start()),
            show(*self.range.end())
        )
    }
}

impl<'s> Reader<'s> {
    pub fn new(source: &'s str) -> Self {
        Self {
            source,
            problems: RefCell::default(),
        }
    }

    pub fn problem(&self, span: &Range<usize>, key: &str, message: impl Into<String>) {
        self.problems.borrow_mut().push(Found {
            span: span.clone(),
            key: key.to_owned(),
            message: message.into(),
        });
    }

    pub fn has_problems(&self) -> bool {
        !self.problems.borrow().is_empty()
    }

    /// Whether there is a problem with a key, or below it.
    pub fn has_problem_with(&self, key: &str) -> bool {
        self.problems
            .borrow()
            .iter()
            .any(|p| p.key.starts_with(key))
    }

    /// The problems found, in the order of the file.
    pub fn finish(self) -> Result<(), Problems> {
        let mut found = self.problems.into_inner();
        if found.is_empty() {
            return Ok(());
        }
        found.sort_by_key(|problem| problem.span.start);
        let mut problems: Vec<_> = found
            .iter()
            .take(SHOWN)
            .map(|f| Problem::at(self.source, &f.span, &f.key, f.message.clone()))
            .collect();
        if let Some(next) = found.get(SHOWN) {
            let more = format!(
                "and {} more from here on; mend the ones above first",
                found.len() - SHOWN
            );
            problems.push(Problem::at(self.source, &next.span, "", more));
        }
        Err(Problems(problems))
    }
}

impl<'s, 'r> Section<'s, 'r> {
    /// The whole file.
    pub fn root(reader: &'r Reader<'s>, table: &'r Spanned<DeTable<'s>>) -> Self {
        Self {
            reader,
            path: String::new(),
            span: 0..0,
            table: Some(table.get_ref()),
            part: None,
            known: RefCell::default(),
        }
    }

    fn key(&self, key: &str) -> String {
        if self.path.is_empty() {
            key.to_owned()
        } else {
            format!("{}.{key}", self.path)
        }
    }

    pub fn problem(&self, span: &Range<usize>, key: &str, message: impl Into<String>) {
        self.reader.problem(span, &self.key(key), message);
    }

    pub fn get(&self, key: &'static str) -> Option<&'r Spanned<DeValue<'s>>> {
        self.known.borrow_mut().push(key);
        let find = |table: &'r DeTable<'s>| table.iter().find(|(own, _)| own.get_ref() == key);
        self.table
            .and_then(find)
            .or_else(|| self.part.and_then(find))
            .map(|(_, value)| value)
    }

    /// The same table, a part supplying the keys which it does not have.
    pub fn with_part(mut self, part: Option<&'r DeTable<'s>>) -> Self {
        self.part = part;
        self
    }

    /// The tables under this one with their names.
    pub fn tables(&self) -> Vec<(String, Section<'s, 'r>)> {
        let entries = self.table.into_iter().flat_map(|table| table.iter());
        let tables = entries.filter_map(|(own, value)| {
            let name: &str = own.get_ref();
            let table = value.get_ref().as_table();
            if table.is_none() {
                let found = wrong_type(value.get_ref(), "a table of keys");
                self.problem(&value.span(), name, found);
            }
            let section = Section {
                reader: self.reader,
                path: self.key(name),
                span: value.span(),
                table: Some(table?),
                part: None,
                known: RefCell::default(),
            };
            Some((name.to_owned(), section))
        });
        tables.collect()
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

    /// Reports a key that must be there and is not.
    pub fn missing(&self, key: &'static str, example: &str) {
        let place = if self.table.is_some() || self.path.is_empty() {
            String::new()
        } else {
            format!(" under [{}]", self.path)
        };
        self.problem(
            &self.span,
            key,
            format!("is missing; write {key} = {example}{place}"),
        );
    }

    /// Whether the key is there.
    pub fn has(&self, key: &'static str) -> bool {
        self.get(key).is_some()
    }

    /// A table under this one; without it, its required keys are missing.
    pub fn section(&self, key: &'static str) -> Section<'s, 'r> {
        let value = self.get(key);
        let table = value.and_then(|v| v.get_ref().as_table());
        if let (Some(value), None) = (value, table) {
            self.problem(
                &value.span(),
                key,
                wrong_type(value.get_ref(), "a table of keys"),
            );
        }
        Section {
            reader: self.reader,
            path: self.key(key),
            span: value.map_or(0..0, Spanned::span),
            table,
            part: None,
            known: RefCell::default(),
        }
    }

    /// A table under this one, where the key holds one.
    pub fn section_if_table(&self, key: &'static str) -> Option<Section<'s, 'r>> {
        self.get(key)?
            .get_ref()
            .as_table()
            .map(|_| self.section(key))
    }

    /// The tables of an array of tables.
    pub fn sections(&self, key: &'static str) -> Vec<Section<'s, 'r>> {
        let Some(value) = self.get(key) else {
            return vec![];
        };
        let Some(array) = value.get_ref().as_array() else {
            self.problem(
                &value.span(),
                key,
                wrong_type(value.get_ref(), "a list of tables"),
            );
            return vec![];
        };
        let tables = array.iter().enumerate().filter_map(|(index, item)| {
            let table = item.get_ref().as_table();
            if table.is_none() {
                self.problem(
                    &item.span(),
                    key,
                    wrong_type(item.get_ref(), "a table of keys"),
                );
            }
            Some(Section {
                reader: self.reader,
                path: format!("{}[{}]", self.key(key), index + 1),
                span: item.span(),
                table: Some(table?),
                part: None,
                known: RefCell::default(),
            })
        });
        tables.collect()
    }

    /// Reports keys that nothing asked for, each with the nearest known one.
    pub fn close(&self) {
        let known = self.known.borrow();
        let present: Vec<&str> = known
            .iter()
            .copied()
            .filter(|k| {
                self.table
                    .is_some_and(|t| t.iter().any(|(own, _)| own.get_ref() == k))
            })
            .collect();
        for (own, _) in self.table.into_iter().flat_map(|table| table.iter()) {
            let name: &str = own.get_ref();
            if known.contains(&name) {
                continue;
            }
            let absent = known.iter().copied().filter(|k| !present.contains(k));
            let nearest = misspelt(name, absent);
            let mut list: Vec<_> = known.clone();
            list.sort_unstable();
            list.dedup();
            let suggestion = nearest.map_or_else(String::new, |nearest| {
                format!("; did you mean `{nearest}`?")
            });
            let message = format!(
                "is not a known key{suggestion} (known here: {})",
                list.join(", ")
            );
            self.problem(&own.span(), name, message);
        }
    }

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

    fn read<Q: Dimensioned>(
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
                        bounds.describe::<Q>(text.contains('%'))
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

    /// A capacitance curve, if the key is there.
    pub fn curve(&self, key: &'static str, name: &str) -> Option<Read<Curve>> {
        let value = self.get(key)?;
        if value.get_ref().as_table().is_none() {
            self.problem(
                &value.span(),
                key,
                wrong_type(
                    value.get_ref(),
                    "a table { constant = \"300 pF\" }, { zero_bias, built_in, grading, floor } \
                     or { table = [[\"0 V\", \"900 pF\"], ...] }",
                ),
            );
            return None;
        }
        self.section(key).read_curve(name, value.span())
    }

    fn read_curve(self, name: &str, span: Range<usize>) -> Option<Read<Curve>> {
        let picofarads = Bounds::from_zero(1.0);
        // Read apart, as the uncertainty that it is.
        self.has("scale");
        let kinds: Vec<_> = ["constant", "table", "zero_bias"]
            .into_iter()
            .filter(|k| self.has(k))
            .collect();
        let curve = match kinds.as_slice() {
            ["constant"] => {
                let constant = self.required("constant", &picofarads, "\"300 pF\"");
                constant.good.then(|| Curve::constant(name, constant.value))
            }
            ["zero_bias"] => {
                let zero_bias = self.required("zero_bias", &picofarads, "\"900 pF\"");
                let built_in = self.required("built_in", &Bounds::positive(100.0), "\"0.8 V\"");
                let grading = self.required(
                    "grading",
                    &Bounds {
                        range: 0.0..=0.99,
                        above: false,
                    },
                    "0.5",
                );
                let floor = self.required("floor", &picofarads, "\"60 pF\"");
                (zero_bias.good && built_in.good && grading.good && floor.good).then(|| {
                    Curve::law(
                        name,
                        zero_bias.value,
                        built_in.value,
                        grading.value,
                        floor.value,
                    )
                })
            }
            ["table"] => self.points().map(|points| Curve::table(name, &points)),
            several => {
                let found = if several.is_empty() {
                    "gives no curve".to_owned()
                } else {
                    format!("gives `{}`", several.join("` and `"))
                };
                self.reader.problem(
                    &span,
                    &self.path,
                    format!(
                        "{found}; expected exactly one of `constant`, `table`, or `zero_bias` with \
                         `built_in`, `grading` and `floor`"
                    ),
                );
                None
            }
        };
        let curve = curve.and_then(|curve| match curve {
            Ok(curve) => Some(Read {
                value: curve,
                span: span.clone(),
                good: true,
            }),
            Err(error) => {
                self.reader.problem(&span, &self.path, error.to_string());
                None
            }
        });
        self.close();
        curve
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

    fn points(&self) -> Option<Vec<(crate::quantity::Voltage, crate::quantity::Capacitance)>> {
        let value = self.get("table")?;
        let wrong = |span: Range<usize>| {
            self.problem(
                &span,
                "table",
                "expected a list of points, each a voltage and a capacitance such as \
                 [\"5 V\", \"400 pF\"]",
            );
        };
        let Some(rows) = value.get_ref().as_array() else {
            wrong(value.span());
            return None;
        };
        let mut points = Vec::new();
        for row in rows {
            let pair = row
                .get_ref()
                .as_array()
                .map(|pair| pair.iter().collect::<Vec<_>>());
            let Some([voltage, capacitance]) = pair.as_deref() else {
                wrong(row.span());
                return None;
            };
            let voltage = self.read("table", voltage, &Bounds::from_zero(1e5));
            let capacitance = self.read("table", capacitance, &Bounds::from_zero(1.0));
            if !(voltage.good && capacitance.good) {
                return None;
            }
            points.push((voltage.value, capacitance.value));
        }
        Some(points)
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

fn wrong_type(value: &DeValue, expected: &str) -> String {
    format!("is {}; expected {expected}", describe(value))
}

fn describe(value: &DeValue) -> &'static str {
    match value {
        DeValue::String(_) => "a text",
        DeValue::Integer(_) => "a whole number",
        DeValue::Float(_) => "a number",
        DeValue::Boolean(_) => "true or false",
        DeValue::Datetime(_) => "a date",
        DeValue::Array(_) => "a list",
        DeValue::Table(_) => "a table",
    }
}
