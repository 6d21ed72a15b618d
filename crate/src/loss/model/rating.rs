//! What parts bear against their ratings, data that cannot be, and data that lack.

use super::Model;
use super::part::{Rated, called};
use crate::cycle::Course;
use crate::loss::budget::PartFinding;
use crate::quantity::{
    Dimensioned, ThermodynamicTemperature, Voltage, VolumetricPowerDensity, print,
};
use crate::scheme::Scheme;
use crate::stage::{OperatingPoint, Parts, Specification, SwitchData};

/// Loss densities at 100 kHz and 0.1 T, in W/m³, between which core materials of
/// power inductors lie: common practice, with an order of magnitude on either side.
const CORE_LOSS: [f64; 2] = [2e3, 2e7];

impl Model {
    /// What the transistors of a pair and the clamp block in operation: a step of the
    /// node, and the farther of its two levels from the output.
    fn blocked(&self, point: OperatingPoint) -> [Voltage; 3] {
        let step = point.input_voltage / f64::from(self.circuit.pairs);
        let above = point.output_voltage.coherent() % step.coherent();
        let clamp = Voltage::from_coherent(above.max(step.coherent() - above));
        [step, step, clamp]
    }

    /// What each part bears, against its ratings.
    pub(super) fn check(
        &self,
        course: &Course,
        point: OperatingPoint,
        warm: [f64; 4],
        findings: &mut Vec<PartFinding>,
    ) {
        let blocked = self.blocked(point);
        let rms = [
            Some(course.paths.high.rms),
            Some(course.paths.low.rms),
            course.paths.clamp.map(|path| path.rms),
        ];
        let borne = self.rated.iter().zip(blocked).zip(rms).zip(warm);
        for (((part, blocked), rms), warm) in borne {
            let Some(rms) = rms else {
                continue;
            };
            let name = &part.name;
            if let Some(rated) = part.voltage.filter(|rated| blocked > *rated) {
                findings.push(PartFinding {
                    part: name.clone(),
                    message: format!("blocks {}, rated {}", print(blocked), print(rated)),
                });
            }
            if let Some(rated) = part.data.rated_current.filter(|rated| rms > *rated) {
                findings.push(PartFinding {
                    part: name.clone(),
                    message: format!("carries {} rms, rated {}", print(rms), print(rated)),
                });
            }
            let rated = part.data.rated_temperature;
            let rated = rated.map(ThermodynamicTemperature::celsius);
            hot(name, "junction", warm, rated, findings);
        }
        let inductor = &self.parts.inductor;
        let part = called("inductor", inductor.part.as_ref());
        let rated = inductor
            .rated_temperature
            .map(ThermodynamicTemperature::celsius);
        hot(&part, "winding", warm[3], rated, findings);
        // The larger inductor of continuous conduction is another part.
        if self.circuit.scheme != Scheme::Continuous
            && let Some(limit) = inductor
                .saturation_current
                .filter(|l| course.peak_current > *l)
        {
            findings.push(PartFinding {
                part,
                message: format!(
                    "peak current {} above the saturation current {}",
                    print(course.peak_current),
                    print(limit)
                ),
            });
        }
    }
}

impl Rated {
    /// A channel's resistance rises with temperature: one that falls is a slip in the data.
    pub fn cooling(&self) -> Option<PartFinding> {
        let hot = self.data.hot_resistance.filter(|hot| *hot < self.cold)?;
        Some(PartFinding {
            part: self.name.clone(),
            message: format!(
                "resistance of {} at 125 °C below {} at 25 °C; that of a channel rises with temperature",
                print(hot),
                print(self.cold)
            ),
        })
    }
}

fn hot(part: &str, place: &str, celsius: f64, rated: Option<f64>, findings: &mut Vec<PartFinding>) {
    if let Some(rated) = rated.filter(|rated| celsius > *rated) {
        findings.push(PartFinding {
            part: part.to_owned(),
            message: format!("{place} at {celsius:.0} °C, rated {rated:.0} °C"),
        });
    }
}

/// Constants of the wrong units show as a loss that no core material has.
pub(super) fn core_finding(parts: &Parts) -> Option<PartFinding> {
    let data = parts.inductor.steinmetz?;
    let density = data.k * 1e5f64.powf(data.alpha) * 0.1f64.powf(data.beta);
    (!(CORE_LOSS[0]..=CORE_LOSS[1]).contains(&density)).then(|| PartFinding {
        part: called("inductor", parts.inductor.part.as_ref()),
        message: format!(
            "Steinmetz constants k = {:e}, alpha = {}, beta = {} give {} at 100 kHz and 0.1 T; core \
             materials lie between {} and {}: k is in W/m³ with the frequency in Hz and the flux \
             density in T",
            data.k,
            data.alpha,
            data.beta,
            print(VolumetricPowerDensity::from_coherent(density)),
            print(VolumetricPowerDensity::from_coherent(CORE_LOSS[0])),
            print(VolumetricPowerDensity::from_coherent(CORE_LOSS[1])),
        ),
    })
}

/// What has no data, in words.
pub(super) fn left_out(s: &Specification, scheme: Scheme) -> Vec<&'static str> {
    let p = &s.parts;
    let continuous = scheme == Scheme::Continuous;
    let i = if continuous {
        &p.continuous_inductor
    } else {
        &p.inductor
    };
    let gates = [&s.high.data, &s.low.data];
    let driven = |d: &SwitchData| d.gate_charge.is_some() && d.drive_voltage.is_some();
    let clamp_driven = !scheme.has_clamp() || driven(&s.clamp.data);
    // In continuous conduction the low side turns off into its diode, but at a reversed current.
    let turned_off = s.high.data.turn_off_time.is_some()
        && (scheme == Scheme::Continuous || s.low.data.turn_off_time.is_some())
        && (!scheme.has_clamp() || s.clamp.data.turn_off_time.is_some());
    let core = i.steinmetz.is_some()
        && i.core_volume.is_some()
        && i.core_area.is_some()
        && i.turns.is_some();
    let capacitors =
        p.output_capacitor_resistance.is_some() || p.flying_capacitor_resistance.is_some();
    let cooled = gates.iter().all(|d| d.thermal_resistance.is_some())
        && (!scheme.has_clamp() || s.clamp.data.thermal_resistance.is_some())
        && i.thermal_resistance.is_some();
    [
        (gates.iter().all(|d| driven(d)) && clamp_driven, "gate drive: gate_charge and drive_voltage are not given for every transistor"),
        (turned_off, "turn-off overlap: turn_off_time is not given for every transistor that turns off under current"),
        (s.high.diode_drop.is_some() && s.low.diode_drop.is_some(), "body diodes: diode_drop is not given; the channel counts as conducting in the dead times"),
        (scheme != Scheme::Continuous || s.low.data.recovery_charge.is_some(), "reverse recovery: recovery_charge of the low side is not given"),
        (continuous || p.inductor_resistance.is_some(), "winding (DC): resistance of the inductor is not given"),
        (!continuous || p.continuous_resistance.is_some(), "winding (DC) of continuous conduction: resistance under [continuous] is not given"),
        (i.winding.is_some(), if continuous {
            "winding (AC) of continuous conduction: winding under [continuous] is not given"
        } else {
            "winding (AC): winding of the inductor is not given"
        }),
        (core, if continuous {
            "core of continuous conduction: steinmetz, core_volume, core_area and turns under [continuous] are not all given"
        } else {
            "core: steinmetz, core_volume, core_area and turns of the inductor are not all given"
        }),
        (capacitors, "capacitors: no series resistance is given"),
        (s.control.power.is_some(), "control: power under [control] is not given"),
        (cooled, "temperatures: thermal_resistance is not given for every part; one without it has no temperature here, and its resistance is that at ambient temperature"),
        (p.ambient.is_some(), "ambient temperature: temperature under [ambient] is not given; 25 °C is taken"),
    ]
    .into_iter()
    .filter(|(given, _)| !given)
    .map(|(_, words)| words)
    .collect()
}
