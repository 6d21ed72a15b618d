//! The cautions that apply to one design.

use crate::design::Design;
use crate::quantity::{Capacitance, Dimensioned, Energy, Voltage, print};

/// Direct voltage above which live parts count as dangerous to touch
/// (IEC 62368-1, Table 4, class ES1, from memory).
const TOUCH_LIMIT: f64 = 60.0;

/// The cautions, each a heading and a text.
pub(crate) fn all(design: &Design) -> Vec<(String, String)> {
    let s = &design.stage.specification;
    let input = s.input_voltage.max;
    let mut list = Vec::new();
    if input.coherent() > TOUCH_LIMIT {
        list.push((
            "Dangerous voltage".to_owned(),
            format!(
                "The input reaches {}, above the 60 V d.c. up to which IEC 62368-1 counts a source \
                 as safe to touch (ES1, limit from memory). Guard live parts and work on the \
                 circuit only when it is disconnected and discharged.",
                print(input)
            ),
        ));
    } else {
        list.push((
            "Voltage".to_owned(),
            format!(
                "The input reaches {}, below the 60 V d.c. of IEC 62368-1 (ES1, limit from \
                 memory) in normal operation. Ringing, a fault or the source's own surges may \
                 exceed it.",
                print(input)
            ),
        ));
    }
    list.push(("Stored energy".to_owned(), stored(design)));
    list.push((
        "Fault current".to_owned(),
        "Fed from a battery or a large capacitor, a shorted transistor draws a current that only \
         the wiring limits: it can start a fire and burn skin. Fuse the source close to its \
         terminals, and take off metal jewellery."
            .to_owned(),
    ));
    list.push((
        "Hot parts".to_owned(),
        "Transistors, inductor and load resistors can burn skin in operation and for minutes \
         afterwards. This document makes no statement on temperatures."
            .to_owned(),
    ));
    list
}

fn stored(design: &Design) -> String {
    let s = &design.stage.specification;
    let energy = |c: Capacitance, v: Voltage| -> Energy { 0.5 * c * v * v };
    let output = energy(s.output_capacitance, s.output_voltage.max);
    let mut text = format!(
        "The output capacitor holds {} at {}",
        print(output),
        print(s.output_voltage.max)
    );
    if s.levels > 2 {
        let flying = s.flying_capacitance.or_else(|| {
            let proposed = design
                .proposals
                .iter()
                .find(|p| p.name == "flying_capacitance_proposed");
            proposed.map(|p| Capacitance::from_coherent(p.value))
        });
        if let Some(flying) = flying {
            let pairs = s.levels - 1;
            let total = (1..pairs).fold(Energy::from_coherent(0.0), |sum, k| {
                let part = f64::from(k) / f64::from(pairs);
                sum + energy(flying, part * s.input_voltage.max)
            });
            text.push_str(&format!(
                ", the flying capacitors {} at {} in",
                print(total),
                print(s.input_voltage.max)
            ));
        }
    }
    text.push_str(
        "; the input capacitors are not part of the specification and usually hold more. Charge \
         stays after the supply is off: discharge through a resistor and check with a meter.",
    );
    text
}
