//! A comparison for machines and as text.

use std::collections::BTreeMap;
use std::fmt::Write as _;

use super::{Comparison, Saturated};
use crate::caution;
use crate::identity::Program;
use crate::loss::{Losses, Mechanism, Outcome, Place, Temperatures};
use crate::quantity::{
    Current, Dimensioned as _, Power, ThermodynamicTemperature, number, print, print_value,
};
use crate::stage::Edit;
use crate::visible::json_document;

/// The version of the machine-readable form.
const FORMAT: u32 = 1;

#[derive(serde::Serialize)]
struct Document<'c> {
    format: u32,
    program: Program,
    title: &'c str,
    input_hash: String,
    units: Units,
    /// What the reader should know about the specification itself.
    notes: Vec<String>,
    /// What was set on the command line.
    settings: &'c [Edit],
    left_out: &'c [&'static str],
    absent: BTreeMap<&'static str, &'c str>,
    schemes: BTreeMap<&'static str, Vec<Point>>,
    saturated: BTreeMap<&'static str, Option<Left>>,
    break_even: BTreeMap<&'static str, Vec<[f64; 2]>>,
    influences: BTreeMap<&'static str, Vec<Share>>,
    bands: BTreeMap<&'static str, Option<[f64; 2]>>,
    inductance_sweep: Vec<[Option<f64>; 3]>,
    margin_sweep: Vec<[Option<f64>; 3]>,
    conclusion: &'c [String],
}

/// Units of the numbers: all coherent but the temperatures.
#[derive(serde::Serialize)]
struct Units {
    voltage: &'static str,
    current: &'static str,
    power: &'static str,
    temperature: &'static str,
}

/// The nominal point with the inductance that is left at the peak current.
#[derive(serde::Serialize)]
struct Left {
    inductance: f64,
    fall: f64,
    peak_current: f64,
    loss_total: Option<f64>,
}

#[derive(serde::Serialize)]
struct Share {
    input: &'static str,
    change: f64,
}

#[derive(serde::Serialize)]
struct Point {
    input_voltage: f64,
    output_voltage: f64,
    output_current: f64,
    state: &'static str,
    peak_current: Option<f64>,
    loss_by_mechanism: Option<BTreeMap<&'static str, f64>>,
    loss_by_part: Option<BTreeMap<&'static str, f64>>,
    turn_off_least: Option<f64>,
    efficiency_stage: Option<f64>,
    efficiency_total: Option<f64>,
    temperatures: Option<BTreeMap<&'static str, f64>>,
    findings: Vec<String>,
}

fn by_mechanism(losses: &Losses) -> BTreeMap<&'static str, f64> {
    Mechanism::ALL
        .into_iter()
        .map(|m| (m.name(), losses.of(m).coherent()))
        .collect()
}

fn by_part(losses: &Losses) -> BTreeMap<&'static str, f64> {
    Place::ALL
        .into_iter()
        .map(|p| (p.name(), losses.in_place(p).coherent()))
        .collect()
}

fn celsius(t: &Temperatures) -> BTreeMap<&'static str, f64> {
    let some = [
        ("high_side", t.high),
        ("low_side", t.low),
        ("clamp", t.clamp),
        ("winding", t.inductor),
    ];
    some.into_iter()
        .filter_map(|(name, t)| Some((name, t.map(ThermodynamicTemperature::celsius)?)))
        .collect()
}

fn point(outcome: &Outcome) -> Point {
    let losses = outcome.losses.as_ref();
    Point {
        input_voltage: outcome.at.input_voltage.coherent(),
        output_voltage: outcome.at.output_voltage.coherent(),
        output_current: outcome.at.output_current.coherent(),
        state: outcome.state.name(),
        peak_current: outcome.peak_current.map(Current::coherent),
        loss_by_mechanism: losses.map(by_mechanism),
        loss_by_part: losses.map(by_part),
        turn_off_least: losses.map(|l| l.turn_off_least().coherent()),
        efficiency_stage: losses.map(|l| l.efficiency_stage().coherent()),
        efficiency_total: losses.map(|l| l.efficiency_total().coherent()),
        temperatures: outcome.temperatures.as_ref().map(celsius),
        findings: outcome.findings.iter().map(ToString::to_string).collect(),
    }
}

/// The comparison as one JSON object: currents, voltages and powers in coherent
/// units, temperatures in degrees Celsius.
#[must_use]
pub fn json(c: &Comparison) -> String {
    let s = c.specification();
    let mut schemes = BTreeMap::new();
    for (index, scheme) in c.schemes.iter().enumerate() {
        let over = c.over_load.iter().flat_map(|line| &line[index]);
        let points = std::iter::once(&c.nominal[index]).chain(over);
        schemes.insert(scheme.name(), points.map(point).collect());
    }
    let others = || c.schemes.iter().skip(1).map(|s| s.name());
    let sweep = |points: &[super::SweepPoint]| {
        let watts = |p: Option<Power>| p.map(Power::coherent);
        points
            .iter()
            .map(|p| [Some(p.value), watts(p.total), watts(p.hard)])
            .collect()
    };
    let document = Document {
        format: FORMAT,
        program: Program::own(),
        title: &s.title,
        input_hash: s.hash(),
        units: Units {
            voltage: "V",
            current: "A",
            power: "W",
            temperature: "degC",
        },
        notes: caution::notes(s),
        settings: &s.edits,
        left_out: &c.left_out,
        absent: c
            .absent
            .iter()
            .map(|a| (a.scheme.name(), a.because.as_str()))
            .collect(),
        schemes,
        saturated: c
            .schemes
            .iter()
            .zip(&c.saturated)
            .map(|(scheme, saturated)| {
                let left = saturated.map(|s| Left {
                    inductance: s.inductance.coherent(),
                    fall: s.fall.coherent(),
                    peak_current: s.peak_current.coherent(),
                    loss_total: s.total.map(Power::coherent),
                });
                (scheme.name(), left)
            })
            .collect(),
        break_even: c
            .maps
            .iter()
            .map(|map| {
                let line = map.break_even.iter();
                let line = line.map(|b| [b.input_voltage.coherent(), b.output_current.coherent()]);
                (map.scheme.name(), line.collect())
            })
            .collect(),
        influences: others()
            .zip(&c.influences)
            .map(|(name, list)| {
                let shares = list.iter().map(|i| Share {
                    input: i.words,
                    change: i.change.coherent(),
                });
                (name, shares.collect())
            })
            .collect(),
        bands: others()
            .zip(&c.bands)
            .map(|(name, band)| (name, band.map(|b| [b.low.coherent(), b.high.coherent()])))
            .collect(),
        inductance_sweep: sweep(&c.inductance_sweep),
        margin_sweep: sweep(&c.margin_sweep),
        conclusion: &c.conclusion,
    };
    json_document(&document)
}

/// What the fall of the inductance does, in a sentence.
fn saturation(s: &Saturated, peak: Current) -> String {
    let loss = s.total.map_or_else(
        || "which exceeds a part's rating".to_owned(),
        |watts| {
            format!(
                "with {} lost",
                print_value(watts.coherent(), Power::EXPONENTS, 4)
            )
        },
    );
    format!(
        "saturation: at the peak the inductance is {} % lower; the peak current is at most {} instead \
         of {}, {loss}",
        number(100.0 * s.fall.coherent(), 3),
        print(s.peak_current),
        print(peak),
    )
}

/// The comparison as text.
#[must_use]
pub fn text(c: &Comparison) -> String {
    let mut out = format!("{}\n", c.specification.title);
    let watts = |p: Power| print_value(p.coherent(), Power::EXPONENTS, 4);
    let at = c.nominal.first().map(|o| o.at);
    if let Some(at) = at {
        let _ = writeln!(
            out,
            "At {} in, {} out, {}:\n",
            print(at.input_voltage),
            print(at.output_voltage),
            print(at.output_current)
        );
    }
    for (outcome, saturated) in c.nominal.iter().zip(&c.saturated) {
        let _ = writeln!(
            out,
            "{} ({}): {}",
            outcome.scheme,
            outcome.scheme.words(),
            outcome.state
        );
        let Some(losses) = &outcome.losses else {
            for finding in &outcome.findings {
                let _ = writeln!(out, "  no losses: {finding}");
            }
            if outcome.findings.is_empty() {
                let _ = writeln!(out, "  no losses: {}", outcome.words);
            }
            out.push('\n');
            continue;
        };
        for mechanism in Mechanism::ALL {
            let power = losses.of(mechanism);
            if power.coherent() > 0.0 {
                let _ = writeln!(out, "  {:<22} {}", mechanism.words(), watts(power));
                if let Some(flux) = losses.flux().filter(|_| mechanism == Mechanism::Core) {
                    let _ = writeln!(out, "    {}", flux.words());
                }
            }
        }
        let turn_off = losses.of(Mechanism::TurnOff);
        let span = if turn_off.coherent() > 0.0 {
            format!(
                "at least {} (turn-off {} to {})",
                watts(losses.total_least()),
                watts(losses.turn_off_least()),
                watts(turn_off)
            )
        } else {
            "turn-off not counted".to_owned()
        };
        let _ = writeln!(out, "  {:<22} {}; {span}", "sum", watts(losses.total()));
        let _ = writeln!(
            out,
            "  efficiency: {} % of the power stage, {} % in total",
            number(100.0 * losses.efficiency_stage().coherent(), 4),
            number(100.0 * losses.efficiency_total().coherent(), 4),
        );
        if let Some(temperatures) = &outcome.temperatures {
            let list: Vec<_> = celsius(temperatures)
                .into_iter()
                .map(|(name, t)| format!("{} {t:.0} °C", name.replace('_', " ")))
                .collect();
            if !list.is_empty() {
                let _ = writeln!(out, "  temperatures: {}", list.join(", "));
            }
        }
        if let (Some(saturated), Some(peak)) = (saturated, outcome.peak_current) {
            let _ = writeln!(out, "  {}", saturation(saturated, peak));
        }
        out.push('\n');
    }
    for absent in &c.absent {
        let _ = writeln!(out, "Not compared: {}.", absent.because);
    }
    if !c.left_out.is_empty() {
        out.push_str("Left out:\n");
        for words in &c.left_out {
            let _ = writeln!(out, "  {words}");
        }
        out.push('\n');
    }
    let notes = &c.specification().notes;
    if !notes.is_empty() {
        out.push_str("Notes on the specification:\n");
        for note in notes {
            let _ = writeln!(out, "  {note}");
        }
        out.push('\n');
    }
    out.push_str("Conclusion:\n");
    for sentence in &c.conclusion {
        let _ = writeln!(out, "  {sentence}");
    }
    out
}
