//! A comparison as tables: a row for each operating point, or for each value swept.

use super::{Comparison, SweepPoint};
use crate::loss::{Losses, Mechanism, Outcome, Temperatures};
use crate::map::{STATES, with_states};
use crate::quantity::{
    Current, Dimensioned as _, Exponents, Inductance, Power, Ratio, ThermodynamicTemperature,
    Voltage,
};
use crate::table::{Column, Table, TableError};

/// A column of outcomes: name, words, dimension, value where there is one.
type Of<'t> = (
    &'static str,
    &'static str,
    Exponents,
    &'t dyn Fn(&Outcome) -> Option<f64>,
);

impl Comparison {
    /// The losses of one of [`Comparison::schemes`] by its place, at the nominal
    /// point and over the load at the least, nominal and greatest input voltage.
    /// Where there are no losses a cell is empty.
    ///
    /// # Errors
    /// None that data of a comparison can bring about: names and lengths are fixed.
    ///
    /// ```no_run
    /// use slewbook::{compare::Comparison, in_force::InForce};
    /// use slewbook::stage::{DEMONSTRATION, Specification};
    /// let specification = Specification::read(DEMONSTRATION).unwrap();
    /// let in_force = InForce::of(&specification).unwrap();
    /// let comparison = Comparison::new(&specification, &in_force).unwrap();
    /// print!("{}", comparison.table(0).unwrap().to_csv());
    /// ```
    pub fn table(&self, place: usize) -> Result<Table, TableError> {
        let over = self.over_load.iter().filter_map(|line| line.get(place));
        let nominal = self.nominal.get(place).into_iter();
        let rows: Vec<&Outcome> = nominal.chain(over.flatten()).collect();
        let of = |table: Table, (name, words, exponents, value): Of| {
            let values = rows.iter().map(|row| value(row).unwrap_or(f64::NAN));
            let column = Column::new(name, words, exponents, values.collect())?;
            table.with(with_states(column))
        };
        let mut table = [
            (
                "input_voltage",
                "input voltage",
                Voltage::EXPONENTS,
                &(|o: &Outcome| Some(o.at.input_voltage.coherent()))
                    as &dyn Fn(&Outcome) -> Option<f64>,
            ),
            (
                "output_voltage",
                "output voltage",
                Voltage::EXPONENTS,
                &|o| Some(o.at.output_voltage.coherent()),
            ),
            (
                "output_current",
                "output current",
                Current::EXPONENTS,
                &|o| Some(o.at.output_current.coherent()),
            ),
            ("state", STATES, Ratio::EXPONENTS, &|o| {
                Some(o.state.place())
            }),
            (
                "peak_current",
                "peak current of the inductor",
                Current::EXPONENTS,
                &|o| o.peak_current.map(Current::coherent),
            ),
        ]
        .into_iter()
        .try_fold(Table::default(), of)?;
        for mechanism in Mechanism::ALL {
            let values = rows.iter().map(|row| {
                row.losses
                    .map_or(f64::NAN, |losses| losses.of(mechanism).coherent())
            });
            let name = format!("loss_{}", mechanism.name());
            let words = format!("loss: {}", mechanism.words());
            table = table.with(Column::new(
                &name,
                &words,
                Power::EXPONENTS,
                values.collect(),
            )?)?;
        }
        let losses = |value: fn(&Losses) -> f64| move |o: &Outcome| o.losses.as_ref().map(value);
        [
            (
                "loss_total",
                "all losses, gate drive and control counted",
                Power::EXPONENTS,
                &losses(|l| l.total().coherent()) as &dyn Fn(&Outcome) -> Option<f64>,
            ),
            (
                "loss_total_least",
                "all losses with capacitance-limited turn-off (lower bound)",
                Power::EXPONENTS,
                &losses(|l| l.total_least().coherent()),
            ),
            (
                "efficiency_stage",
                "efficiency of the power stage",
                Ratio::EXPONENTS,
                &losses(|l| l.efficiency_stage().coherent()),
            ),
            (
                "efficiency_total",
                "efficiency with gate drive and control",
                Ratio::EXPONENTS,
                &losses(|l| l.efficiency_total().coherent()),
            ),
        ]
        .into_iter()
        .try_fold(table, of)?
        .with(temperature(
            "junction_high",
            "junction temperature of a high side",
            &rows,
            |t| t.high,
        )?)?
        .with(temperature(
            "junction_low",
            "junction temperature of a low side",
            &rows,
            |t| t.low,
        )?)?
        .with(temperature(
            "junction_clamp",
            "junction temperature of the clamp",
            &rows,
            |t| t.clamp,
        )?)?
        .with(temperature(
            "winding_temperature",
            "temperature of the inductor's winding",
            &rows,
            |t| t.inductor,
        )?)
    }

    /// The losses at the nominal point against the inductance, the trip set for
    /// each value.
    ///
    /// # Errors
    /// As [`Comparison::table`].
    pub fn inductance_table(&self) -> Result<Table, TableError> {
        swept(
            &self.inductance_sweep,
            "inductance",
            "inductance",
            Inductance::EXPONENTS,
        )
    }

    /// The losses at the nominal point against the margin of the freewheel current
    /// over its floor.
    ///
    /// # Errors
    /// As [`Comparison::table`].
    pub fn margin_table(&self) -> Result<Table, TableError> {
        swept(
            &self.margin_sweep,
            "freewheel_margin",
            "freewheel current over its floor, as designed for",
            Ratio::EXPONENTS,
        )
    }
}

/// A column of temperatures, where there are any.
fn temperature(
    name: &str,
    words: &str,
    rows: &[&Outcome],
    of: impl Fn(&Temperatures) -> Option<ThermodynamicTemperature>,
) -> Result<Column, TableError> {
    let value = |row: &&Outcome| of(row.temperatures.as_ref()?);
    let celsius = |row| value(row).map_or(f64::NAN, ThermodynamicTemperature::celsius);
    Column::celsius(name, words, rows.iter().map(celsius).collect())
}

fn swept(
    points: &[SweepPoint],
    name: &str,
    words: &str,
    exponents: Exponents,
) -> Result<Table, TableError> {
    let column =
        |name: &str, words: &str, exponents, value: &dyn Fn(&SweepPoint) -> Option<f64>| {
            let values = points.iter().map(|p| value(p).unwrap_or(f64::NAN));
            Column::new(name, words, exponents, values.collect())
        };
    Table::default()
        .with(column(name, words, exponents, &|p| Some(p.value))?)?
        .with(column(
            "loss_total",
            "all losses with the clamp of two transistors",
            Power::EXPONENTS,
            &|p| p.total.map(Power::coherent),
        )?)?
        .with(column(
            "loss_without_clamp",
            "all losses without a clamp",
            Power::EXPONENTS,
            &|p| p.hard.map(Power::coherent),
        )?)?
        .with(column(
            "peak_current",
            "peak current of the inductor with the clamp",
            Current::EXPONENTS,
            &|p| p.peak_current.map(Current::coherent),
        )?)
}
