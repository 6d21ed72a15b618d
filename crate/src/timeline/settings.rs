//! How a simulation is set up: the control, and the state from which it starts.

use super::TimelineError;
use super::gains::gains;
use super::regulator::{FeedForward, Law, OnTime, Regulator};
use super::rule::{Firing, Rules};
use crate::quantity::{
    Capacitance, Current, Dimensioned as _, Frequency, Ratio, Time, Voltage, print,
};
use crate::scheme::Scheme;
use crate::stage::{Circuit, Control, OperatingPoint};

/// What sets the on-time.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Loop {
    /// A fixed duty of every pair.
    FixedDuty(Ratio),
    /// A proportional-integral controller that holds an output voltage.
    Regulated {
        /// The voltage to hold.
        target: Voltage,
        /// Cells of on-time per relative error.
        proportional: Ratio,
        /// Cells of on-time per relative error and second.
        integral: Frequency,
        /// Time in which the reference rises from the output voltage at the start.
        soft_start: Time,
    },
}

/// The control of a simulation.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Settings {
    /// What sets the on-time.
    pub on_time: Loop,
    /// Where the on-time follows the input voltage: the one at which the gains hold.
    pub feed_forward: Option<Voltage>,
    /// Greatest duty of a pair.
    pub duty_limit: Ratio,
    /// Hysteresis of the trip comparator.
    pub hysteresis: Current,
    /// Inductor current at which the high side that is on the longest is turned off
    /// before its time, after the delay of comparator and driver; a cell that begins
    /// above it gets no pulse.
    pub peak_limit: Option<Current>,
    /// Delay of every gate driver, part of the trip delay.
    pub driver_delay: Time,
    /// Dead time of the falling edge; without it that of the rising edge is in
    /// force.
    pub low_dead_time: Option<Time>,
    /// Time for which the clamp's diode carries the current after the catch and
    /// before the opening.
    pub clamp_delay: Time,
    /// Drop of that diode.
    pub clamp_diode_drop: Voltage,
}

/// The state from which a simulation starts.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Initial {
    /// Input voltage.
    pub input_voltage: Voltage,
    /// Output voltage.
    pub output_voltage: Voltage,
    /// Load current.
    pub load: Current,
    /// Inductor current.
    pub inductor_current: Current,
    /// Whether the flying capacitors stand at equal steps of the input voltage;
    /// else they are empty.
    pub flying_charged: bool,
    /// Whether the output is an ideal voltage source in place of the output
    /// capacitor and the load.
    pub ideal_output: bool,
}

/// Greatest duty of a pair unless stated.
const DUTY_LIMIT: f64 = 0.95;
/// Soft start unless stated: so many cells at least, and the time in which a part of the
/// point's output current charges the output capacitor.
const SOFT_START: f64 = 100.0;
const CHARGING: f64 = 1.0 / 2.0;

impl Settings {
    /// The control of a specification, holding the output voltage of a point.
    ///
    /// Gains that are not stated follow from the stage, see [`LoopGain`](super::LoopGain)
    /// for what comes of them. The on-time follows the input voltage from the point's on. A
    /// soft start that is not stated lasts as long as half the point's output
    /// current takes to charge the output capacitor, a hundred cells at least.
    ///
    /// # Errors
    /// A driver delay longer than the trip delay that it is part of.
    pub fn new(
        control: &Control,
        circuit: &Circuit,
        point: OperatingPoint,
    ) -> Result<Self, TimelineError> {
        let zero = Time::from_coherent(0.0);
        let driver_delay = control.driver_delay.unwrap_or(zero);
        if driver_delay > circuit.trip_delay {
            return Err(TimelineError::Setting(format!(
                "control.driver_delay is {}, longer than trip.delay of {} that it is part of; \
                 shorten it or lengthen the trip delay",
                print(driver_delay),
                print(circuit.trip_delay)
            )));
        }
        let (proportional, integral) = gains(circuit, point);
        Ok(Self {
            on_time: Loop::Regulated {
                target: point.output_voltage,
                proportional: control.kp.unwrap_or(proportional),
                integral: control.ki.unwrap_or(integral),
                soft_start: control
                    .soft_start
                    .unwrap_or_else(|| soft_start(circuit, point)),
            },
            feed_forward: Some(point.input_voltage),
            duty_limit: control.duty_limit.unwrap_or(DUTY_LIMIT.into()),
            hysteresis: control.hysteresis.unwrap_or(Current::from_coherent(0.0)),
            peak_limit: control.peak_limit,
            driver_delay,
            low_dead_time: control.low_dead_time,
            clamp_delay: control.clamp_delay.unwrap_or(zero),
            clamp_diode_drop: control
                .clamp_diode_drop
                .unwrap_or(Voltage::from_coherent(0.0)),
        })
    }

    /// The plainest control: a fixed duty, no delays beyond the trip's.
    #[must_use]
    pub fn fixed(duty: Ratio) -> Self {
        let zero = Time::from_coherent(0.0);
        Self {
            on_time: Loop::FixedDuty(duty),
            feed_forward: None,
            duty_limit: DUTY_LIMIT.into(),
            hysteresis: Current::from_coherent(0.0),
            peak_limit: None,
            driver_delay: zero,
            low_dead_time: None,
            clamp_delay: zero,
            clamp_diode_drop: Voltage::from_coherent(0.0),
        }
    }
}

fn soft_start(circuit: &Circuit, point: OperatingPoint) -> Time {
    let least = SOFT_START * circuit.cell_time();
    let current = CHARGING * point.output_current;
    let charging = circuit.output_capacitance * point.output_voltage / current;
    // Without a current there is no such time.
    if charging.coherent().is_finite() && charging > least {
        charging
    } else {
        least
    }
}

/// What sets the on-time of a stage whose output starts at a voltage.
pub(super) fn on_time(settings: &Settings, circuit: &Circuit, output: Voltage) -> OnTime {
    let pairs = f64::from(circuit.pairs);
    match settings.on_time {
        Loop::FixedDuty(duty) => OnTime::Fixed(duty.value * pairs),
        Loop::Regulated {
            target,
            proportional,
            integral,
            soft_start,
        } => OnTime::Regulated(Regulator {
            proportional: proportional.value,
            integral: integral.value,
            target: target.value,
            from: output.value.min(target.value),
            soft_start: soft_start.value,
            limit: settings.duty_limit.value * pairs,
            feed_forward: feed_forward(settings, circuit),
            sum: 0.0,
            steps: 0.0,
            step: 0.0,
            last: 0.0,
            area: 0.0,
            mean: 0.0,
        }),
    }
}

/// How the on-time of a stage follows its input voltage.
pub(super) fn feed_forward(settings: &Settings, circuit: &Circuit) -> Option<FeedForward> {
    let reference = settings.feed_forward?.value / f64::from(circuit.pairs);
    let law = match (circuit.scheme, Rules::of(circuit.scheme).firing) {
        (Scheme::Continuous, _) => Law::Duty,
        (_, Firing::Clock) => Law::Charge,
        (_, Firing::Release) => Law::Slope,
    };
    Some(FeedForward { law, reference })
}

/// On-time in cells at which ramps free of resistance carry the output current
/// from zero to zero, beyond the band's whole cells.
pub(super) fn on_time_estimate(circuit: &Circuit, point: OperatingPoint) -> f64 {
    let n = f64::from(circuit.pairs);
    let step = point.input_voltage.value / n;
    let low = f64::from(circuit.band) * step;
    let (a, b) = (
        low + step - point.output_voltage.value,
        point.output_voltage.value - low,
    );
    let cell = circuit.cell_time().value;
    if circuit.scheme == Scheme::Continuous {
        return b / (a + b);
    }
    let charge = 2.0 * circuit.inductance.value * point.output_current.value.abs() * cell;
    let least = (charge * b / (a * (a + b))).sqrt() / cell;
    if circuit.scheme == Scheme::NegativeValley {
        // The current runs from the trip to twice the output current and more.
        let peak = 2.0 * point.output_current.value + circuit.trip_threshold.value;
        return circuit.inductance.value * peak / (a * cell);
    }
    least.min(b / (a + b))
}

impl Initial {
    /// Standing still at a point: no current, the flying capacitors charged, the
    /// output at its voltage.
    #[must_use]
    pub fn at(point: OperatingPoint) -> Self {
        Self {
            input_voltage: point.input_voltage,
            output_voltage: point.output_voltage,
            load: point.output_current,
            inductor_current: Current::from_coherent(0.0),
            flying_charged: true,
            ideal_output: false,
        }
    }

    /// What a simulation cannot start from.
    pub(super) fn check(&self, circuit: &Circuit) -> Result<(), TimelineError> {
        let whole = [
            ("input voltage", self.input_voltage.value),
            ("output voltage", self.output_voltage.value),
            ("load current", self.load.value),
            ("inductor current", self.inductor_current.value),
        ];
        if let Some((name, value)) = whole.into_iter().find(|(_, v)| !v.is_finite()) {
            return Err(TimelineError::Setting(format!(
                "the {name} at the start is {value}; expected a finite value"
            )));
        }
        if self.input_voltage.value <= 0.0 {
            return Err(TimelineError::Setting(format!(
                "the input voltage at the start is {}; expected one above 0 V",
                print(self.input_voltage)
            )));
        }
        if self.output_voltage.value < 0.0 {
            return Err(TimelineError::Setting(format!(
                "the output voltage at the start is {}; expected 0 V or more",
                print(self.output_voltage)
            )));
        }
        if circuit.output_capacitance <= Capacitance::from_coherent(0.0) {
            return Err(TimelineError::Setting(
                "the output capacitance is not above 0 F".to_owned(),
            ));
        }
        Ok(())
    }
}
