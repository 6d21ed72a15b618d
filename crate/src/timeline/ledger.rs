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
        self.with(earlier, |now, before| now - before)
    }

    /// The sum of both.
    #[must_use]
    pub fn plus(&self, other: &Self) -> Self {
        self.with(other, |a, b| a + b)
    }

    fn with(&self, other: &Self, of: impl Fn(f64, f64) -> f64) -> Self {
        Self {
            input: of(self.input, other.input),
            output: of(self.output, other.output),
            output_charge: of(self.output_charge, other.output_charge),
            output_area: of(self.output_area, other.output_area),
            high_channels: of(self.high_channels, other.high_channels),
            low_channels: of(self.low_channels, other.low_channels),
            winding: of(self.winding, other.winding),
            flying_resistance: of(self.flying_resistance, other.flying_resistance),
            output_resistance: of(self.output_resistance, other.output_resistance),
            clamp: of(self.clamp, other.clamp),
            diodes: of(self.diodes, other.diodes),
            turn_on_high: of(self.turn_on_high, other.turn_on_high),
            turn_on_low: of(self.turn_on_low, other.turn_on_low),
            steps: of(self.steps, other.steps),
        }
    }
}
