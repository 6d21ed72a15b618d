//! The default control holds the output whatever the stage.

use slewbook::quantity::unit::{ampere, volt};
use slewbook::scheme::Scheme;
use slewbook::stage::OperatingPoint;
use slewbook::timeline::{CellRecord, Initial, LoopGain, Observer, Simulation, Soundness};

use super::random::Design;

/// Part of the output voltage within which the mean of every cell is once it has settled;
/// the ripple comes on top.
const WITHIN: f64 = 0.02;
/// The same where pulses are skipped: the output falls until the next one.
const BOUNDED: f64 = 0.15;
/// Cells that are looked at together, and how often at most.
const CELLS: u64 = 200;
const MOST: u32 = 60;

/// Complaints after which no further design is looked at.
const ENOUGH: usize = 5;

/// What became of a step.
#[derive(Clone, Debug, PartialEq, PartialOrd)]
pub enum Fate {
    /// Settled, after so many cells at most.
    Settled(u64),
    /// Pulses are skipped, and the output stays near.
    Skips,
    /// Neither: what was seen.
    Faulty(String),
}

#[derive(Default)]
struct Watch {
    target: f64,
    farthest: f64,
    skipped: u64,
    cells: u64,
}

impl Observer for Watch {
    fn cell(&mut self, cell: &CellRecord) {
        let mean = cell.ledger.output_area / cell.duration;
        self.farthest = self.farthest.max((mean / self.target - 1.0).abs());
        self.skipped += u64::from(cell.skipped);
        self.cells += 1;
    }
}

/// Runs on until the output has settled.
fn settle(simulation: &mut Simulation, target: f64) -> Fate {
    let mut quiet = 0;
    let mut last = 0.0;
    let mut skipped = 0;
    for part in 1..=MOST {
        let mut watch = Watch {
            target,
            ..Watch::default()
        };
        if let Err(error) = simulation.run_cells(CELLS, &mut watch) {
            return Fate::Faulty(error.to_string());
        }
        last = watch.farthest;
        skipped = watch.skipped;
        quiet = if last <= WITHIN { quiet + 1 } else { 0 };
        if quiet == 2 {
            return Fate::Settled(u64::from(part - 1) * CELLS);
        }
    }
    if skipped > 0 && last <= BOUNDED {
        Fate::Skips
    } else {
        Fate::Faulty(format!("{:.1} % off, {skipped} skipped", 100.0 * last))
    }
}

/// Steps of load and input, where they lead, and what became of them.
pub fn follow(
    design: &Design,
    scheme: Scheme,
    aged: bool,
) -> Vec<(&'static str, OperatingPoint, Fate)> {
    let [least, nominal, greatest] = design.inputs;
    let [light, full] = design.loads;
    let circuit = design.circuit(scheme, aged);
    let settings = design.settings(scheme);
    let point = design.point(nominal, light);
    // A node that rings without damping has a steady state that takes long to find.
    let mut s = if scheme == Scheme::Discontinuous {
        Simulation::new(&circuit, &settings, &Initial::at(point)).unwrap()
    } else {
        Simulation::steady(&circuit, &settings, point)
            .or_else(|_| Simulation::new(&circuit, &settings, &Initial::at(point)))
            .unwrap()
    };
    let mut fates = vec![("start", point, settle(&mut s, design.output))];
    for (what, input, load) in [
        ("load up", nominal, full),
        ("input up", greatest, full),
        ("input down", least, full),
        ("load down", least, light),
        ("input up, light", greatest, light),
    ] {
        let now = s.time();
        s.load_step(now, load * ampere);
        s.input_step(now, input * volt);
        let point = design.point(input, load);
        fates.push((what, point, settle(&mut s, design.output)));
    }
    fates
}

/// What the law found, in counts.
#[derive(Debug, Default)]
struct Counts {
    /// Runs, one for each design, scheme and age.
    runs: u32,
    settled: u32,
    skips: u32,
    /// Steps to a point where the stage itself has no stable state at a fixed on-time.
    stage: u32,
    sound: u32,
    badly_damped: u32,
}

/// Random designs: what has a stable state at a fixed on-time is held by the default
/// control, after steps of load and input, with what remains of the capacitors and with
/// all of them; where pulses are skipped, the output stays near.
fn law(designs: std::ops::Range<u64>) {
    let mut counts = Counts::default();
    let mut complaints = vec![];
    for seed in designs {
        if complaints.len() >= ENOUGH {
            break;
        }
        let design = Design::draw(seed);
        for scheme in Scheme::ALL {
            for aged in [true, false] {
                counts.runs += 1;
                let what = format!("design {seed}, {scheme}, aged {aged}");
                let mut examined = vec![];
                for (step, point, fate) in follow(&design, scheme, aged) {
                    let known = examined.iter().find(|(at, _)| *at == point);
                    let soundness = if let Some((_, found)) = known {
                        *found
                    } else {
                        let found = soundness(&design, scheme, aged, point);
                        examined.push((point, found));
                        found
                    };
                    match soundness {
                        Some(Soundness::Sound) => counts.sound += 1,
                        Some(Soundness::BadlyDamped) => counts.badly_damped += 1,
                        Some(Soundness::Unstable) => {
                            complaints.push(format!("{what}, {step}: an unstable loop"));
                        }
                        Some(Soundness::UnstableStage) | None => {}
                    }
                    let stage = matches!(soundness, Some(Soundness::UnstableStage) | None);
                    match fate {
                        Fate::Settled(_) => counts.settled += 1,
                        Fate::Skips => counts.skips += 1,
                        Fate::Faulty(_) if stage => counts.stage += 1,
                        Fate::Faulty(words) => complaints.push(format!("{what}, {step}: {words}")),
                    }
                }
            }
        }
    }
    println!("{counts:?}");
    assert!(complaints.is_empty(), "{}", complaints.join("\n"));
    let steps = counts.settled + counts.skips + counts.stage;
    assert!(20 * counts.stage <= steps, "{counts:?}");
    assert!(counts.sound > steps / 2, "{counts:?}");
}

/// The loop at a point; none where the stage has no state there that repeats.
fn soundness(design: &Design, scheme: Scheme, aged: bool, at: OperatingPoint) -> Option<Soundness> {
    let settings = design.settings(scheme);
    let gain = LoopGain::new(&design.circuit(scheme, aged), &settings, at);
    gain.ok().map(|gain| gain.examine().soundness())
}

#[test]
fn the_default_control_holds_random_designs() {
    law(0..10);
}

/// On demand: `cargo test --release --test slewbook a_thousand_random_designs -- --ignored
/// --nocapture`.
#[test]
#[ignore = "half an hour"]
fn the_default_control_holds_a_thousand_random_designs() {
    law(0..1000);
}
