//! Where charge and energy went.

/// Energies in joule since the start, and what went with them.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Ledger {
    /// From the input.
    pub input: f64,
    /// To the load; to the output where that is an ideal source.
    pub output: f64,
    /// Charge from the inductor to the output, in coulomb.
    pub output_charge: f64,
    /// Integral of the output voltage over time, in volt-seconds.
    pub output_area: f64,
    /// In high-side channels.
    pub high_channels: f64,
    /// In low-side channels.
    pub low_channels: f64,
    /// In the inductor's winding.
    pub winding: f64,
    /// In series resistances of the flying capacitors.
    pub flying_resistance: f64,
    /// In the series resistance of the output capacitor.
    pub output_resistance: f64,
    /// In the clamp.
    pub clamp: f64,
    /// In body diodes of the leg.
    pub diodes: f64,
    /// In high sides that complete a rising edge.
    pub turn_on_high: f64,
    /// In low sides that complete a falling edge.
    pub turn_on_low: f64,
    /// In what a step of the input or a disturbance recharges at once.
    pub steps: f64,
}

impl Ledger {
    /// The losses together.
    #[must_use]
    pub fn losses(&self) -> f64 {
        self.high_channels
            + self.low_channels
            + self.winding
            + self.flying_resistance
            + self.output_resistance
            + self.clamp
            + self.diodes
            + self.turn_on_high
            + self.turn_on_low
            + self.steps
    }

    /// What was added since an earlier state.
    #[must_use]
    pub fn since(&self, earlier: &Self) -> Self {
        Self {
            input: self.input - earlier.input,
            output: self.output - earlier.output,
            output_charge: self.output_charge - earlier.output_charge,
            output_area: self.output_area - earlier.output_area,
            high_channels: self.high_channels - earlier.high_channels,
            low_channels: self.low_channels - earlier.low_channels,
            winding: self.winding - earlier.winding,
            flying_resistance: self.flying_resistance - earlier.flying_resistance,
            output_resistance: self.output_resistance - earlier.output_resistance,
            clamp: self.clamp - earlier.clamp,
            diodes: self.diodes - earlier.diodes,
            turn_on_high: self.turn_on_high - earlier.turn_on_high,
            turn_on_low: self.turn_on_low - earlier.turn_on_low,
            steps: self.steps - earlier.steps,
        }
    }
}
