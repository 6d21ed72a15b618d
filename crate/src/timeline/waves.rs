//! Waveforms as comma-separated values, written while the simulation runs.

use std::io::{Result, Write};

use super::leg::PAIRS;
use super::observe::{Observer, Row};
use super::simulation::Simulation;
use crate::quantity::Time;

/// Bytes collected before they are written.
const BUFFER: usize = 1 << 16;

/// Writes rows as comma-separated values (RFC 4180): every voltage, current and
/// gate as a column headed by its name and unit, `1` for a gate that is on, and
/// the event of an instant by its name.
///
/// Memory does not grow with the time simulated. What the writer reports is kept
/// until [`Self::finish`].
pub struct Waves<W: Write> {
    writer: W,
    spacing: f64,
    pairs: usize,
    buffer: Vec<u8>,
    rows: u64,
    failed: Option<std::io::Error>,
}

impl<W: Write> Waves<W> {
    /// Starts with the header and the state from which a simulation goes on;
    /// `spacing` is the greatest time between two rows.
    pub fn new(writer: W, simulation: &Simulation, spacing: Time) -> Self {
        let pairs = simulation.flying_capacitors() + 1;
        let mut header = "time_s,event,input_voltage_V,output_voltage_V,node_voltage_V".to_owned();
        for k in 1..pairs {
            header += &format!(",flying_voltage_{k}_V");
        }
        header += ",inductor_current_A,clamp_current_A,load_current_A";
        for k in 1..=pairs {
            header += &format!(",high_gate_of_pair_{k},low_gate_of_pair_{k}");
        }
        header += ",clamp_first_gate,clamp_second_gate\r\n";
        let mut waves = Self {
            writer,
            spacing: spacing.value,
            pairs,
            buffer: header.into_bytes(),
            rows: 0,
            failed: None,
        };
        waves.row(&simulation.row(None));
        waves
    }

    /// Ends with the state that a simulation has reached; gives how many rows
    /// there are.
    ///
    /// # Errors
    /// What the writer reported, now or before.
    pub fn finish(mut self, simulation: &Simulation) -> Result<u64> {
        self.row(&simulation.row(None));
        self.flush();
        if let Some(error) = self.failed {
            return Err(error);
        }
        self.writer.flush()?;
        Ok(self.rows)
    }

    fn flush(&mut self) {
        if self.failed.is_none() {
            self.failed = self.writer.write_all(&self.buffer).err();
        }
        self.buffer.clear();
    }
}

impl<W: Write> Observer for Waves<W> {
    fn spacing(&self) -> Option<f64> {
        Some(self.spacing)
    }

    fn row(&mut self, row: &Row) {
        let mut digits = zmij::Buffer::new();
        let mut number = |buffer: &mut Vec<u8>, value: f64| {
            let text = digits.format_finite(value);
            buffer.extend(text.strip_suffix(".0").unwrap_or(text).as_bytes());
        };
        let buffer = &mut self.buffer;
        number(buffer, row.time);
        buffer.push(b',');
        buffer.extend(row.event.map_or("", super::Event::name).as_bytes());
        let voltages = [row.input, row.output, row.node];
        let currents = [row.current, row.clamp, row.load];
        let flying = &row.flying[..(self.pairs - 1).min(PAIRS)];
        for value in voltages.iter().chain(flying).chain(&currents) {
            buffer.push(b',');
            number(buffer, *value);
        }
        let gates = (0..self.pairs).flat_map(|k| [row.gates.high[k], row.gates.low[k]]);
        for on in gates.chain([row.gates.clamp_early, row.gates.clamp_second]) {
            buffer.extend(if on { b",1" } else { b",0" });
        }
        buffer.extend(b"\r\n");
        self.rows += 1;
        if self.buffer.len() >= BUFFER {
            self.flush();
        }
    }
}
