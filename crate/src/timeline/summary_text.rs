//! A summary as plain text.

use std::fmt::Write as _;

use super::summary::{Extremes, Settled, Summary, TurnOns};
use crate::quantity::{Current, Dimensioned as _, Energy, Power, Time, Voltage, number, print};

impl Summary {
    /// The figures as plain text.
    #[must_use]
    pub fn text(&self) -> String {
        let mut text = String::new();
        let mut line = |words: &str, value: String| {
            let _ = writeln!(text, "  {words:<44} {value}");
        };
        let volt = |v: f64| print(Voltage::from_coherent(v));
        let second = |t: f64| print(Time::from_coherent(t));
        let turn_ons = |t: TurnOns| {
            let share = 100.0 * t.at_zero_voltage as f64 / t.count.max(1) as f64;
            format!(
                "{} of {} ({} %)",
                t.at_zero_voltage,
                t.count,
                number(share, 4)
            )
        };
        line("cells", self.cells.to_string());
        line("skipped pulses", self.skipped.to_string());
        if self.watchdogs > 0 {
            line("firings without a trip", self.watchdogs.to_string());
        }
        line("turn-ons at zero voltage", turn_ons(self.turn_ons));
        line(
            "maximum left across a high side at turn-on",
            print(self.turn_on_voltage),
        );
        let extremes = |e: &Extremes, show: &dyn Fn(f64) -> String| {
            let ((least, early), (greatest, late)) = (e.least, e.greatest);
            format!(
                "{} at {}, {} at {}",
                show(least),
                second(early),
                show(greatest),
                second(late)
            )
        };
        let since = |what: &str| {
            if self.changed.value > 0.0 {
                format!("{what} since {}: minimum, maximum", print(self.changed))
            } else {
                format!("{what}: minimum, maximum")
            }
        };
        line(&since("output"), extremes(&self.output, &volt));
        if let Some((target, time)) = self.held {
            let words = format!("within 1 % of {} after", print(target));
            line(&words, time.map_or("not by the end".to_owned(), print));
        }
        let ampere = |i: f64| print(Current::from_coherent(i));
        line(
            &since("inductor current"),
            extremes(&self.inductor, &ampere),
        );
        let (stress, time) = self.step.greatest;
        line(
            "maximum across a transistor of the leg",
            format!("{} at {}", volt(stress), second(time)),
        );
        line(
            "node above output: minimum, maximum",
            extremes(&self.clamp, &volt),
        );
        match &self.settled {
            Some(settled) => self.tell_settled(settled, &mut line, turn_ons),
            None => line(
                "settled values",
                "none: fewer than ten cells in the last tenth".into(),
            ),
        }
        let joule = |e: f64| print(Energy::from_coherent(e));
        let l = &self.ledger;
        line(
            "energy in = out + lost + stored",
            format!(
                "{} = {} + {} + {}; energy balance error: {} of it",
                joule(l.input),
                joule(l.output),
                joule(l.losses()),
                print(self.stored),
                number(self.energy_left_over().value, 2)
            ),
        );
        text
    }

    fn tell_settled(
        &self,
        settled: &Settled,
        line: &mut impl FnMut(&str, String),
        turn_ons: impl Fn(TurnOns) -> String,
    ) {
        let volt = |v: f64| print(Voltage::from_coherent(v));
        line(
            "the last tenth of the run, cells",
            settled.cells.to_string(),
        );
        line(
            "  output voltage, change from the tenth before",
            format!(
                "{}, {}",
                print(settled.output_voltage),
                print(settled.drift)
            ),
        );
        line("  output current", print(settled.output_current));
        for k in 1..self.pairs {
            line(
                &format!("  flying capacitor {k}"),
                volt(settled.flying[k - 1]),
            );
        }
        line("  turn-ons at zero voltage", turn_ons(settled.turn_ons));
        let l = &settled.ledger;
        let parts = [
            ("high-side channels", l.high_channels),
            ("low-side channels", l.low_channels),
            ("winding", l.winding),
            ("clamp", l.clamp),
            ("body diodes", l.diodes),
            ("flying capacitors", l.flying_resistance),
            ("output capacitor", l.output_resistance),
            ("turn-on of high sides", l.turn_on_high),
            ("turn-on of low sides", l.turn_on_low),
        ];
        let power = |energy: f64| print(Power::from_coherent(energy / settled.duration));
        line("  output power", power(l.output));
        line("  simulated losses", power(l.losses()));
        // Less than rounding leaves of the whole is none.
        let least = 1e-12 * l.input.abs();
        for (words, energy) in parts.into_iter().filter(|(_, energy)| *energy > least) {
            line(&format!("    {words}"), power(energy));
        }
    }
}
