//! The loop of a run: its gains, and what an examination finds wherever the run comes to.

use std::fmt::Write as _;

use super::{Examination, LoopGain};
use crate::quantity::{Frequency, Ratio, print};
use crate::stage::{Circuit, Control, OperatingPoint};
use crate::timeline::{Loop, Settings, TimelineError};

/// The voltage loop of a run.
#[derive(Clone, Debug)]
pub struct LoopReport {
    /// Cells of on-time per relative error, and whether the specification states it.
    pub proportional: (Ratio, bool),
    /// Cells of on-time per relative error and second, and whether the specification
    /// states it.
    pub integral: (Frequency, bool),
    /// Every point, with aged and, where that is another, with fresh capacitors.
    pub examined: Vec<Examined>,
}

/// The loop at one point.
#[derive(Clone, Debug)]
pub struct Examined {
    /// The point.
    pub point: OperatingPoint,
    /// Whether the capacitors have their full value rather than what remains of it.
    pub fresh: bool,
    /// What was found, or why there is nothing to be found.
    pub result: Result<Examination, TimelineError>,
}

impl LoopReport {
    /// Examines the loop of a circuit, and of the same with fresh capacitors, at the points
    /// of a run. None where the duty is fixed.
    #[must_use]
    pub fn new(
        circuit: &Circuit,
        fresh: Option<&Circuit>,
        control: &Control,
        settings: &Settings,
        points: &[OperatingPoint],
    ) -> Option<Self> {
        let Loop::Regulated {
            proportional,
            integral,
            ..
        } = settings.on_time
        else {
            return None;
        };
        let circuits = [(Some(circuit), false), (fresh, true)];
        let examined = circuits.into_iter().filter_map(|(circuit, fresh)| {
            let circuit = circuit?;
            Some(points.iter().map(move |point| Examined {
                point: *point,
                fresh,
                result: LoopGain::new(circuit, settings, *point).map(|gain| gain.examine()),
            }))
        });
        Some(Self {
            proportional: (proportional, control.kp.is_some()),
            integral: (integral, control.ki.is_some()),
            examined: examined.flatten().collect(),
        })
    }

    /// Gains, margins and what is wrong, as plain text.
    #[must_use]
    pub fn text(&self) -> String {
        let origin = |stated: bool| if stated { "stated" } else { "default" };
        let mut text = format!(
            "voltage loop: kp {} ({}), ki {} ({})\n",
            print(self.proportional.0),
            origin(self.proportional.1),
            print(self.integral.0),
            origin(self.integral.1)
        );
        for examined in &self.examined {
            let point = &examined.point;
            let found = match &examined.result {
                Ok(examination) => examination.text(),
                Err(error) => format!("not examined: {error}"),
            };
            let _ = writeln!(
                text,
                "  {} in, {} out, {}{}: {found}",
                print(point.input_voltage),
                print(point.output_voltage),
                print(point.output_current),
                if examined.fresh {
                    ", fresh capacitors"
                } else {
                    ""
                }
            );
        }
        for warning in self.warnings() {
            let _ = writeln!(text, "{warning}");
        }
        text
    }

    /// What is wrong with the loop, in sentences.
    #[must_use]
    pub fn warnings(&self) -> Vec<String> {
        let found = self.examined.iter();
        let found = found.filter_map(|examined| examined.result.as_ref().ok()?.warning());
        found.collect()
    }
}
