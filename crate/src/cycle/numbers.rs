//! A circuit at an operating point as plain numbers in coherent units.

use std::fmt::Display;

use super::ramp::{Decay, Ramp};
use crate::quantity::{Dimensioned, Exponents, print_value};
use crate::stage::{Circuit, GREATEST_VOLTAGE, OperatingPoint};

/// Why there is no steady state: an input outside what the model describes.
#[derive(Clone, Debug, PartialEq)]
pub struct CycleError {
    /// The input, in words.
    pub field: &'static str,
    /// Its value with unit.
    pub value: String,
    /// What was expected.
    pub expected: String,
}

impl CycleError {
    /// The sums of a cell of such parts are no numbers any more.
    pub(super) fn beyond_numbers() -> Self {
        Self {
            field: "cell of these parts at this point",
            value: "too large or too small to compute with".to_owned(),
            expected: "parts and a point of a size that occurs".to_owned(),
        }
    }
}

impl std::fmt::Display for CycleError {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(
            f,
            "the {} is {}; expected {}",
            self.field, self.value, self.expected
        )
    }
}

impl std::error::Error for CycleError {}

/// A value in words, for an error.
fn shown(value: f64, exponents: Exponents) -> String {
    if value.is_finite() {
        print_value(value, exponents, 4)
    } else {
        "not a finite number".to_owned()
    }
}

fn check<Q: Dimensioned>(
    field: &'static str,
    quantity: Q,
    expected: impl Display,
    good: impl Fn(f64) -> bool,
) -> Result<f64, CycleError> {
    let value = quantity.coherent();
    if value.is_finite() && good(value) {
        Ok(value)
    } else {
        Err(CycleError {
            field,
            value: shown(value, Q::EXPONENTS),
            expected: expected.to_string(),
        })
    }
}

fn above<Q: Dimensioned>(field: &'static str, quantity: Q) -> Result<f64, CycleError> {
    check(field, quantity, "a value above zero", |v| v > 0.0)
}

fn from_zero<Q: Dimensioned>(field: &'static str, quantity: Q) -> Result<f64, CycleError> {
    check(field, quantity, "a value of zero or more", |v| v >= 0.0)
}

/// The parts, checked.
#[derive(Clone, Copy, Debug)]
pub(super) struct Numbers {
    pub pairs: f64,
    pub band: f64,
    pub period: f64,
    pub inductance: f64,
    pub winding: f64,
    pub high_resistance: f64,
    pub low_resistance: f64,
    pub high_drop: f64,
    pub low_drop: f64,
    pub clamp_resistance: f64,
    pub clamp_drop: f64,
    pub flying_capacitance: Option<f64>,
    pub output_capacitance: f64,
    /// Series resistance of the output capacitor.
    pub output_resistance: f64,
    /// Trip threshold less the offset.
    pub trip: f64,
    /// Comparator offset as a current.
    pub offset: f64,
    pub delay: f64,
    /// Current asked for over the one that just suffices.
    pub margin: f64,
    pub dead_time: Option<f64>,
    /// In force on the falling edge.
    pub low_dead_time: Option<f64>,
    pub least_on_time: f64,
}

impl Numbers {
    pub fn new(circuit: &Circuit) -> Result<Self, CycleError> {
        let c = circuit;
        let whole = |field, value: u8, expected: &str| CycleError {
            field,
            value: value.to_string(),
            expected: expected.to_owned(),
        };
        if c.pairs == 0 {
            return Err(whole("number of switch pairs", 0, "one at least"));
        }
        if c.band >= c.pairs {
            return Err(whole(
                "band",
                c.band,
                &format!("a number below that of the switch pairs, {}", c.pairs),
            ));
        }
        for (field, scale) in [
            ("factor on the high-side capacitance curve", c.high.scale),
            ("factor on the low-side capacitance curve", c.low.scale),
            ("factor on the clamp's capacitance curve", c.clamp_scale),
        ] {
            from_zero(field, crate::quantity::Ratio::from_coherent(scale))?;
        }
        from_zero("node capacitance", c.node_capacitance)?;
        let trip = from_zero("trip threshold", c.trip_threshold)?;
        let offset = check("comparator offset", c.trip_offset, "a finite value", |_| {
            true
        })?;
        let (clamp_resistance, clamp_drop) = match c.freewheel {
            None => (0.0, 0.0),
            Some(path) => (
                from_zero("resistance of the clamp's path", path.resistance)?,
                from_zero("drop of the clamp's path", path.drop)?,
            ),
        };
        let frequency = above("switching frequency", c.switching_frequency)?;
        let pairs = f64::from(c.pairs);
        Ok(Self {
            pairs,
            band: f64::from(c.band),
            period: 1.0 / (pairs * frequency),
            inductance: above("inductance", c.inductance)?,
            winding: from_zero("resistance of the winding", c.inductor_resistance)?,
            high_resistance: from_zero("on-resistance of the high side", c.high.on_resistance)?,
            low_resistance: from_zero("on-resistance of the low side", c.low.on_resistance)?,
            high_drop: from_zero("diode drop of the high side", c.high.diode_drop)?,
            low_drop: from_zero("diode drop of the low side", c.low.diode_drop)?,
            clamp_resistance,
            clamp_drop,
            flying_capacitance: match c.flying_capacitance {
                Some(capacitance) => Some(above("flying capacitance", capacitance)?),
                None => None,
            },
            output_capacitance: above("output capacitance", c.output_capacitance)?,
            output_resistance: from_zero(
                "series resistance of the output capacitor",
                c.output_capacitor_resistance,
            )?,
            trip: trip - offset,
            offset,
            delay: from_zero("trip delay", c.trip_delay)?,
            margin: from_zero("margin of the current", c.margin)?,
            dead_time: match c.dead_time {
                Some(time) => Some(from_zero("dead time", time)?),
                None => None,
            },
            low_dead_time: match c.dead_time_of_fall() {
                Some(time) => Some(from_zero("dead time of the low side", time)?),
                None => None,
            },
            least_on_time: from_zero("minimum on-time", c.minimum_on_time)?,
        })
    }
}

/// The operating point with the levels around it, checked.
#[derive(Clone, Copy, Debug)]
pub(super) struct Levels {
    pub input: f64,
    pub output: f64,
    pub load: f64,
    /// From the output up to the upper level.
    pub above: f64,
    /// From the output down to the lower level.
    pub below: f64,
}

/// Part of a step that the output voltage must keep from either level: closer,
/// a slope is so small that nothing of the cell means anything.
const CLOSEST: f64 = 1e-6;

impl Levels {
    pub fn new(numbers: &Numbers, point: OperatingPoint) -> Result<Self, CycleError> {
        let input = check(
            "input voltage",
            point.input_voltage,
            format_args!("a value above zero, {} kV at most", GREATEST_VOLTAGE / 1e3),
            |v| v > 0.0 && v <= GREATEST_VOLTAGE,
        )?;
        let load = from_zero("output current", point.output_current)?;
        let step = input / numbers.pairs;
        let (low, high) = (numbers.band * step, (numbers.band + 1.0) * step);
        let output = point.output_voltage.coherent();
        if !(output - low >= CLOSEST * step && high - output >= CLOSEST * step) {
            let volts = |v| shown(v, crate::quantity::Voltage::EXPONENTS);
            return Err(CycleError {
                field: "output voltage",
                value: volts(output),
                expected: format!(
                    "a voltage above {} and below {}, the two levels of its band at this input voltage",
                    volts(low),
                    volts(high)
                ),
            });
        }
        Ok(Self {
            input,
            output,
            load,
            above: high - output,
            below: output - low,
        })
    }
}

/// The four ramps and the decay at a point.
#[derive(Clone, Copy, Debug)]
pub(super) struct Ramps {
    pub energise: Ramp,
    pub release: Ramp,
    pub high_diode: Ramp,
    pub low_diode: Ramp,
    pub decay: Decay,
}

impl Ramps {
    pub fn new(n: &Numbers, levels: &Levels) -> Self {
        let (high, low) = (n.high_resistance, n.low_resistance);
        let inductance = n.inductance;
        let ramp = |drive, resistance| Ramp {
            drive,
            resistance,
            inductance,
        };
        let others = n.pairs - n.band - 1.0;
        let up = (n.band + 1.0) * high + others * low + n.winding;
        let down = n.band * high + (n.pairs - n.band) * low + n.winding;
        // A diode without a drop counts as its channel.
        let carries = |drop: f64, channel: f64| if drop > 0.0 { channel } else { 0.0 };
        Self {
            energise: ramp(levels.above, up),
            release: ramp(-levels.below, down),
            high_diode: ramp(
                levels.above + n.high_drop,
                (up - carries(n.high_drop, high)).max(0.0),
            ),
            low_diode: ramp(
                -(levels.below + n.low_drop),
                down - carries(n.low_drop, low),
            ),
            decay: Decay {
                drop: n.clamp_drop,
                // The inductor's winding is part of the freewheel loop.
                resistance: n.clamp_resistance + n.winding,
                inductance,
            },
        }
    }
}
