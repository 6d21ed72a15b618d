//! The cautions that a stage calls for, as the specification and the computed
//! temperatures say.
//!
//! They inform and judge nothing: no verdict is computed from them. Local codes and
//! licensed practice decide.

use crate::quantity::{
    Capacitance, Dimensioned, Energy, ThermodynamicTemperature, Voltage, print, print_value,
};
use crate::stage::Specification;

/// Direct voltage up to which a source is of class ES1 (IEC 62368-1, Table 4, from memory).
pub const TOUCH_LIMIT: f64 = 60.0;
/// Direct voltage up to which a source is of class ES2 (the same table, from memory).
pub const INJURY_LIMIT: f64 = 120.0;
/// Temperature in degrees Celsius of plastic or rubber that may be touched for more than
/// one and less than ten seconds (IEC 62368-1, Table 38, class TS1; the contact time from
/// memory).
pub const TOUCH_TEMPERATURE: f64 = 77.0;
/// Stored energy in joules from which a short by a tool throws molten metal. Common
/// practice, no source.
const ARCING_ENERGY: f64 = 20.0;
/// Digits of what is printed.
const DIGITS: usize = 3;

/// A caution.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Caution {
    /// What it is about.
    pub heading: &'static str,
    /// What to know and to do, in sentences.
    pub text: String,
}

/// A part at the temperature that was computed for it.
#[derive(Clone, Debug, PartialEq)]
pub struct Hottest {
    /// The part, in words.
    pub part: &'static str,
    /// Its temperature.
    pub temperature: ThermodynamicTemperature,
    /// Whether some operating point has no valid temperature.
    pub beyond: bool,
}

/// How dangerous a direct voltage is to touch, as IEC 62368-1 classes sources.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum VoltageClass {
    /// Up to 60 V: ES1.
    One,
    /// Up to 120 V: ES2.
    Two,
    /// Above: ES3.
    Three,
}

impl VoltageClass {
    /// The class of a direct voltage; a limit belongs to the class below it.
    ///
    /// ```
    /// use slewbook::caution::VoltageClass;
    /// use slewbook::quantity::unit::volt;
    ///
    /// assert_eq!(VoltageClass::of(60.0 * volt), VoltageClass::One);
    /// assert_eq!(VoltageClass::of(400.0 * volt), VoltageClass::Three);
    /// ```
    #[must_use]
    pub fn of(voltage: Voltage) -> Self {
        let volts = voltage.coherent();
        if volts <= TOUCH_LIMIT {
            Self::One
        } else if volts <= INJURY_LIMIT {
            Self::Two
        } else {
            Self::Three
        }
    }
}

/// Every caution of a specification. `flying` is a flying capacitance that is proposed
/// where none is stated, `hottest` the hottest part, where temperatures were computed.
///
/// ```
/// use slewbook::{caution, stage};
///
/// let s = stage::Specification::read(stage::DEMONSTRATION)?;
/// let cautions = caution::all(&s, None, None);
/// assert!(cautions[0].text.contains("44 V"));
/// # Ok::<(), stage::Problems>(())
/// ```
#[must_use]
pub fn all(
    specification: &Specification,
    flying: Option<Capacitance>,
    hottest: Option<&Hottest>,
) -> Vec<Caution> {
    let mut list = vec![voltage(specification)];
    if is_wet(specification) {
        list.push(Caution {
            heading: "Water",
            text: "In water, or with wet hands, much lower voltages are dangerous to touch, and a \
                   leak puts the source on whatever it wets. The limits above are for dry places. \
                   Seal live parts, monitor the insulation, and work on the circuit only when it \
                   is dry, disconnected and discharged."
                .to_owned(),
        });
    }
    list.push(stored(specification, flying));
    list.push(Caution {
        heading: "Fault current",
        text: "Fed from a battery or a large capacitor, a shorted transistor draws a current that \
               only the wiring limits: it can start a fire and burn skin. Fuse the source close to \
               its terminals, and take off metal jewellery."
            .to_owned(),
    });
    list.push(hot(hottest));
    list
}

/// The one line for whoever sees numbers but not the document, where the voltage calls
/// for it.
#[must_use]
pub fn line(specification: &Specification) -> Option<String> {
    let most = specification.input_voltage.max;
    let what = match VoltageClass::of(most) {
        VoltageClass::One => return None,
        VoltageClass::Two => "above 60 V d.c., where touching it can injure",
        VoltageClass::Three => "above 120 V d.c., where touching it can kill",
    };
    Some(format!(
        "Caution: the input reaches {}, {what}; the stage is not isolated and stays charged after \
         it is switched off. Local codes and licensed practice decide.",
        print(most)
    ))
}

/// The notes on a specification, with the [`line()`] where there is one.
#[must_use]
pub fn notes(specification: &Specification) -> Vec<String> {
    let notes = specification.notes.iter().cloned();
    notes.chain(line(specification)).collect()
}

fn voltage(specification: &Specification) -> Caution {
    let most = specification.input_voltage.max;
    let reached = print(most);
    let not_isolated = "The stage is not isolated: a shorted high-side transistor puts the input \
                        on the output and on its load.";
    let (heading, text) = match VoltageClass::of(most) {
        VoltageClass::One => {
            let place = if most.coherent() < TOUCH_LIMIT {
                "below the 60 V d.c."
            } else {
                "which is the limit of 60 V d.c. itself,"
            };
            (
                "Voltage",
                format!(
                    "The input reaches {reached}, {place} up to which IEC 62368-1 counts a source \
                     as safe to touch in normal operation (ES1, limit from memory). Ringing, a \
                     fault or the source's own surges may exceed it."
                ),
            )
        }
        VoltageClass::Two => (
            "Dangerous voltage",
            format!(
                "The input reaches {reached}, above the 60 V d.c. up to which IEC 62368-1 counts a \
                 source as safe to touch (ES1, limit from memory): touching it hurts and can \
                 injure. Guard live parts, and work on the circuit only when it is disconnected \
                 and discharged."
            ),
        ),
        VoltageClass::Three => (
            "Deadly voltage",
            format!(
                "The input reaches {reached}, above the 120 V d.c. up to which IEC 62368-1 counts \
                 a source as class 2 (ES2, limit from memory): touching it can kill. Enclose live \
                 parts, interlock the enclosure, measure with probes and instruments rated for \
                 this voltage, and never work alone. Work on the circuit only when it is \
                 disconnected, discharged and checked with a meter."
            ),
        ),
    };
    Caution {
        heading,
        text: format!("{text} {not_isolated}"),
    }
}

/// Words of a title that name a wet place.
const WET: [&str; 10] = [
    "river",
    "sea",
    "marine",
    "water",
    "underwater",
    "wet",
    "rain",
    "outdoor",
    "pool",
    "bath",
];

fn is_wet(specification: &Specification) -> bool {
    let title = specification.title.to_lowercase();
    let mut words = title.split(|c: char| !c.is_alphanumeric());
    specification.parts.wet || words.any(|word| WET.contains(&word))
}

fn shown(energy: Energy) -> String {
    print_value(energy.coherent(), Energy::EXPONENTS, DIGITS)
}

fn stored(specification: &Specification, proposed: Option<Capacitance>) -> Caution {
    let s = specification;
    let energy = |c: Capacitance, v: Voltage| -> Energy { 0.5 * c * v * v };
    let output = energy(s.output_capacitance, s.output_voltage.max);
    let mut most = output;
    let mut text = format!(
        "The output capacitor holds {} at {}",
        shown(output),
        print(s.output_voltage.max)
    );
    let pairs = s.levels - 1;
    if pairs > 1
        && let Some(flying) = s.flying_capacitance.or(proposed)
    {
        let total = (1..pairs).fold(Energy::from_coherent(0.0), |sum, k| {
            let part = f64::from(k) / f64::from(pairs);
            sum + energy(flying, part * s.input_voltage.max)
        });
        most = Energy::from_coherent(most.coherent() + total.coherent());
        text.push_str(&format!(
            ", the flying capacitors {} at {} in",
            shown(total),
            print(s.input_voltage.max)
        ));
    }
    text.push_str(
        "; the input capacitors are not part of the specification and usually hold more. Charge \
         stays after the supply is off: discharge through a resistor and check with a meter.",
    );
    if VoltageClass::of(s.input_voltage.max) > VoltageClass::One {
        text.push_str(
            " At this voltage the charge alone can give a dangerous shock, minutes after the \
             supply is off: fit bleeder resistors, and once a meter shows the capacitors \
             discharged, keep them shorted while you work.",
        );
    }
    if most.coherent() >= ARCING_ENERGY {
        text.push_str(
            " An energy of 20 J and more throws molten metal when a tool shorts it: wear eye \
             protection.",
        );
    }
    Caution {
        heading: "Stored energy",
        text,
    }
}

fn hot(hottest: Option<&Hottest>) -> Caution {
    let mut text = "Transistors, inductor and load resistors can burn skin in operation and for \
                    minutes afterwards."
        .to_owned();
    match hottest {
        None => text.push_str(
            " No temperature is computed here: the specification lacks thermal data or the loss \
             model gives no valid temperature.",
        ),
        Some(hottest) => {
            let celsius = hottest.temperature.celsius();
            let against = if celsius > TOUCH_TEMPERATURE {
                "above"
            } else {
                "not above"
            };
            text.push_str(&format!(
                " The hottest computed over line and load is {}, {celsius:.0} °C, {against} the \
                 77 °C that IEC 62368-1 allows for plastic touched for 1 s to 10 s (TS1; the contact time from \
                 memory). Metal and longer contact have lower limits, and a surface may be as hot \
                 as what is in it. No temperature is computed of a part without a thermal \
                 resistance in the specification: it may be hotter.",
                hottest.part
            ));
            if hottest.beyond {
                text.push_str(
                    " At some operating points the loss model gives no valid temperature: parts \
                     exceed a rating there.",
                );
            }
        }
    }
    Caution {
        heading: "Hot parts",
        text,
    }
}
