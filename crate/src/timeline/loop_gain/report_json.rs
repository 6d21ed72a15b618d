//! The loop of a run for machines.

use serde_json::{Value, json};

use super::{Examination, Examined, LoopReport, Soundness};
use crate::timeline::summary_json::{of, point, quantity};

impl LoopReport {
    /// Gains, margins and what is wrong: every value beside its unit.
    pub(in crate::timeline) fn json(&self) -> Value {
        let (kp, ki) = (self.proportional, self.integral);
        json!({
            "kp": { "value": of(kp.0), "stated": kp.1 },
            "ki": { "value": of(ki.0), "stated": ki.1 },
            "examined": self.examined.iter().map(examined).collect::<Vec<_>>(),
            "warnings": self.warnings(),
        })
    }
}

fn examined(own: &Examined) -> Value {
    let found = own.result.as_ref();
    json!({
        "at": point(&own.point),
        "fresh_capacitors": own.fresh,
        "found": found.ok().map(examination),
        "not_examined": found.err().map(ToString::to_string),
    })
}

fn examination(own: &Examination) -> Value {
    json!({
        "soundness": match own.soundness() {
            Soundness::Sound => "sound",
            Soundness::BadlyDamped => "badly_damped",
            Soundness::Unstable => "unstable",
            Soundness::UnstableStage => "unstable_stage",
        },
        "crossover": own.crossover.map(of),
        "phase_margin": own.phase_margin.map(|angle| quantity(angle, "rad")),
        "gain_margin": own.gain_margin.map(of),
        "eigenvalue_per_cell": of(own.eigenvalue),
        "eigenvalue_at_fixed_on_time": of(own.open_eigenvalue),
        "cell_time": of(own.cell_time),
    })
}
