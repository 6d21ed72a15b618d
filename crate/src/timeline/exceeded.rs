//! What a run shows that its specification does not allow: ratings, stated ranges, an
//! output that is not held.

use super::Summary;
use crate::quantity::{Current, Dimensioned, Time, Voltage, print};
use crate::stage::{OperatingPoint, Specification, point_notes};

/// Cells after a change after which an output that is not held is told.
const PATIENCE: f64 = 200.0;

impl Summary {
    /// What the run shows beyond a rating of the specification or its ranges, in sentences,
    /// and that the output is not held. `points` are those that the run starts from and
    /// comes to.
    ///
    /// A rated voltage counts with the voltage margin that the specification asks for.
    #[must_use]
    pub fn exceeded(
        &self,
        specification: &Specification,
        points: &[OperatingPoint],
    ) -> Vec<String> {
        let s = specification;
        let keep = s.part_of_rated_voltage();
        let volt = |volts: f64| print(Voltage::from_coherent(volts));
        let second = |seconds: f64| print(Time::from_coherent(seconds));
        let mut notes: Vec<String> = Vec::new();
        let mut rated = |what: &str, rating: Option<Voltage>, (seen, when): (f64, f64)| {
            let Some(rating) = rating else { return };
            let allowed = keep * rating.coherent();
            if seen > allowed {
                let margin = if keep < 1.0 {
                    format!(
                        "{} that its rating of {} leaves with the voltage margin",
                        volt(allowed),
                        print(rating)
                    )
                } else {
                    format!("rating of {}", print(rating))
                };
                notes.push(format!(
                    "{what} blocks {} at {}, above the {margin}.",
                    volt(seen),
                    second(when)
                ));
            }
        };
        let leg = [s.high.rated_voltage, s.low.rated_voltage];
        let leg = leg
            .into_iter()
            .flatten()
            .reduce(|one, other| if other < one { other } else { one });
        rated("A transistor of the leg", leg, self.step.greatest);
        let ends = [
            self.clamp.greatest,
            (-self.clamp.least.0, self.clamp.least.1),
        ];
        let clamp = if ends[0].0 >= ends[1].0 {
            ends[0]
        } else {
            ends[1]
        };
        rated("The clamp", s.clamp.rated_voltage, clamp);
        let (peak, when) = self.inductor.greatest;
        if let Some(saturation) = s.parts.inductor.saturation_current
            && peak > saturation.coherent()
        {
            notes.push(format!(
                "The inductor carries {} at {}, above its saturation current of {}.",
                print(Current::from_coherent(peak)),
                second(when),
                print(saturation)
            ));
        }
        for note in points.iter().flat_map(|point| point_notes(s, point)) {
            if !notes.contains(&note) {
                notes.push(note);
            }
        }
        let after = (self.duration - self.changed).coherent();
        let cells = after * s.switching_frequency.coherent() * f64::from(s.levels - 1);
        if let Some((target, None)) = self.held
            && cells > PATIENCE
        {
            notes.push(format!(
                "The output is not held: {} after the last change it is not within 1 % of {}. It \
                 may go round a cycle, which margins of small disturbances do not show.",
                print(Time::from_coherent(after)),
                print(target)
            ));
        }
        notes
    }
}
