//! A stage that already runs, from its first cell on.

use slewbook::quantity::unit::{ampere, volt};
use slewbook::scheme::Scheme;
use slewbook::stage::{DEMONSTRATION, Specification};
use slewbook::timeline::{CellRecord, Observer, Settings, Simulation};

use super::laws::lossy;
use super::stage::at;

#[derive(Default)]
struct Cells(Vec<CellRecord>);

impl Observer for Cells {
    fn cell(&mut self, cell: &CellRecord) {
        self.0.push(*cell);
    }
}

/// The cell under way at the start began before it: its record is that of the same pair's
/// next cell, in duration, area, charge and energies.
#[test]
fn the_first_cell_is_recorded_whole() {
    let control = Specification::read(DEMONSTRATION).unwrap().control;
    let mut complaints = vec![];
    for scheme in Scheme::ALL {
        for (pairs, output) in [(2, 6.0), (2, 23.0), (3, 16.0)] {
            let (circuit, mut point) = at(lossy(scheme, pairs), 36.0 * volt, output * volt);
            point.output_current = 2.0 * ampere;
            let settings = Settings::new(&control, &circuit, point).unwrap();
            let mut simulation = Simulation::steady(&circuit, &settings, point).unwrap();
            let mut cells = Cells::default();
            simulation
                .run_cells(2 * u64::from(pairs), &mut cells)
                .unwrap();
            let (first, later) = (&cells.0[0], &cells.0[usize::from(pairs)]);
            let what = format!("{scheme}, {pairs} pairs, {output} V");
            assert!(first.start < 0.0, "{what}");
            assert_eq!(first.pair, later.pair, "{what}");
            let mut near = |name: &str, a: f64, b: f64, tolerance: f64| {
                if (a - b).abs() > tolerance {
                    complaints.push(format!("{what}, {name}: {a}, {b}"));
                }
            };
            let time = later.duration;
            near("duration", first.duration, time, 1e-2 * time);
            let mean = |cell: &CellRecord| cell.ledger.output_area / cell.duration;
            near("mean", mean(first), mean(later), 1e-3 * output);
            near("voltage to hold", mean(first), output, 2e-3 * output);
            let (a, b) = (&first.ledger, &later.ledger);
            // A ring's energy goes to and fro.
            let (charge, energy) = (1e-2 * b.output_charge, 1e-2 * b.output);
            near("charge", a.output_charge, b.output_charge, charge);
            near("to the load", a.output, b.output, energy);
            near("from the input", a.input, b.input, energy);
            near("losses", a.losses(), b.losses(), energy);
        }
    }
    assert!(complaints.is_empty(), "{}", complaints.join("\n"));
}
