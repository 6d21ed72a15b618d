//! Running a notebook again and comparing all that a reader sees with what is
//! stored in it.

use std::path::Path;

use slewbook::file::Inputs;
use slewbook_reader::Comparison;

use super::run::{self, Options};
use super::{files, terminal};

/// Verifies one notebook. The exit code: 0, 1 for a failed cell or a
/// difference, 2 otherwise.
pub fn verify(path: &Path, options: &Options) -> u8 {
    let stored = match files::read(path, &mut Inputs::default()) {
        Ok(notebook) => notebook,
        Err(error) => {
            terminal::complain(error);
            return 2;
        }
    };
    let place = path.display();
    let mut fresh = stored.clone();
    let times = match run::execute(&mut fresh, options) {
        Ok(times) => times,
        Err(stopped) => {
            terminal::complain(run::report(path, &stopped));
            return match stopped {
                run::Stopped::Refused(_) => 2,
                run::Stopped::Cell(..) => 1,
            };
        }
    };
    let comparison = Comparison::of(&stored, &fresh);
    for cell in &comparison.cells {
        terminal::say(format!("{place}: {cell}"));
    }
    for difference in &comparison.differences {
        terminal::complain(format!("{place}: {difference}"));
    }
    if !comparison.differences.is_empty() {
        return 1;
    }
    if comparison.is_empty() {
        terminal::complain(format!(
            "{place}: nothing to compare: no stored results; `run` the notebook first"
        ));
        return 1;
    }
    terminal::say(format!(
        "{place}: verified: {} numbers and {} texts; {}",
        comparison.numbers,
        comparison.texts,
        times.summary()
    ));
    0
}
