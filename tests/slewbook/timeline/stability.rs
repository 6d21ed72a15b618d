//! The default control holds the output whatever the stage.

use slewbook::quantity::Dimensioned as _;
use slewbook::quantity::unit::{ampere, volt};
use slewbook::scheme::Scheme;
use slewbook::timeline::{
    CellRecord, Examination, Initial, LoopGain, Observer, Simulation, Soundness,
};

use super::random::Design;

/// Part of the output voltage within which the mean of every cell is once it has settled;
/// the ripple comes on top.
const WITHIN: f64 = 0.02;
/// The same where pulses are skipped: the output falls until the next one.
const BOUNDED: f64 = 0.15;
/// Cells that are looked at together, and how often at most; longer where the loop's largest
/// eigenvalue fades more slowly than that, up to a limit.
const CELLS: u64 = 200;
const MOST: u32 = 60;
const LIMIT: u32 = 1000;
/// Time constants of that eigenvalue: a filter next to without damping rings by more than
/// half of the output voltage after a step of the load, down to `WITHIN`.
const FADING: f64 = 5.0;

/// Complaints after which no further design is looked at.
const ENOUGH: usize = 5;

/// What became of a step.
#[derive(Clone, Debug, PartialEq, PartialOrd)]
enum Fate {
    /// Settled.
    Settled,
    /// Pulses are skipped, and the output stays near.
    Skips,
    /// Neither: what was seen.
    Faulty(String),
}

struct Watch {
    /// Means of the output over a cell.
    least: f64,
    most: f64,
    skipped: u64,
}

impl Default for Watch {
    fn default() -> Self {
        Self {
            least: f64::INFINITY,
            most: 0.0,
            skipped: 0,
        }
    }
}

impl Observer for Watch {
    fn cell(&mut self, cell: &CellRecord) {
        let mean = cell.ledger.output_area / cell.duration;
        self.least = self.least.min(mean);
        self.most = self.most.max(mean);
        self.skipped += u64::from(cell.skipped);
    }
}

/// Looks within which a disturbance fades.
fn looks(examined: Option<&Examination>) -> u32 {
    let eigenvalue = examined.map_or(0.0, |e| e.eigenvalue.coherent());
    let cells = FADING / -eigenvalue.ln();
    (MOST..LIMIT)
        .find(|looks| f64::from(*looks) * CELLS as f64 >= cells)
        .unwrap_or(LIMIT)
}

/// Runs on until the output has settled, or so many looks.
fn settle(simulation: &mut Simulation, target: f64, looks: u32) -> Fate {
    let mut quiet = 0;
    let mut last = 0.0;
    let mut skipped = 0;
    for _ in 0..looks {
        let mut watch = Watch::default();
        if let Err(error) = simulation.run_cells(CELLS, &mut watch) {
            return Fate::Faulty(error.to_string());
        }
        last = (watch.most - target).max(target - watch.least) / target;
        skipped = watch.skipped;
        quiet = if last <= WITHIN { quiet + 1 } else { 0 };
        if quiet == 2 {
            return Fate::Settled;
        }
    }
    if skipped > 0 && last <= BOUNDED {
        Fate::Skips
    } else {
        Fate::Faulty(format!("{:.1} % off, {skipped} skipped", 100.0 * last))
    }
}

/// Steps of load and input, what the loop is where they lead, and what became of them. The
/// loop is none where the stage has no state there that repeats.
fn follow(
    design: &Design,
    scheme: Scheme,
    aged: bool,
) -> Vec<(&'static str, Option<Soundness>, Fate)> {
    let [least, nominal, greatest] = design.inputs;
    let [light, full] = design.loads;
    let circuit = design.circuit(scheme, aged);
    let settings = design.settings(scheme);
    let examined = |point| {
        let gain = LoopGain::new(&circuit, &settings, point);
        gain.ok().map(|gain| gain.examine())
    };
    let point = design.point(nominal, light);
    // A node that rings without damping has a steady state that takes long to find.
    let mut s = if scheme == Scheme::Discontinuous {
        Simulation::new(&circuit, &settings, &Initial::at(point)).unwrap()
    } else {
        Simulation::steady(&circuit, &settings, point)
            .or_else(|_| Simulation::new(&circuit, &settings, &Initial::at(point)))
            .unwrap()
    };
    let mut fates = vec![];
    for (what, input, load) in [
        ("start", nominal, light),
        ("load up", nominal, full),
        ("input up", greatest, full),
        ("input down", least, full),
        ("load down", least, light),
        ("input up, light", greatest, light),
    ] {
        let now = s.time();
        s.load_step(now, load * ampere);
        s.input_step(now, input * volt);
        let found = examined(design.point(input, load));
        let fate = settle(&mut s, design.output, looks(found.as_ref()));
        fates.push((what, found.map(|e| e.soundness()), fate));
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
                for (step, soundness, fate) in follow(&design, scheme, aged) {
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
                        Fate::Settled => counts.settled += 1,
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

#[test]
fn the_default_control_holds_random_designs() {
    law(0..10);
}

/// On demand: `cargo test --test slewbook a_thousand_random_designs -- --ignored --nocapture`,
/// with `DESIGNS=100` before it for so many alone.
#[test]
#[ignore = "half an hour"]
fn the_default_control_holds_a_thousand_random_designs() {
    let designs = std::env::var("DESIGNS").map(|text| text.parse().unwrap());
    law(0..designs.unwrap_or(1000));
}
