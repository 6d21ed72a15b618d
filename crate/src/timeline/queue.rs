//! What is due, and when.

/// Something that happens at a time set before.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) enum Action {
    /// A carrier's edge.
    Clock,
    /// A high side turns on at the end of its dead time.
    HighOn(usize),
    /// A high side turns off.
    HighOff(usize),
    /// A low side turns on at the end of its dead time.
    LowOn(usize),
    /// The comparator's decision has reached the gate.
    Released,
    /// That of the peak limit has.
    Limited,
    /// The clamp's second device.
    ClampSecond(bool),
    /// The next pair fires without a release.
    FireNext,
    /// Nothing has tripped for a long time.
    Watchdog,
    /// The load takes another current.
    Load(f64),
    /// The input changes.
    Input(f64),
    /// A flying capacitor's voltage is changed by so much.
    Disturb(usize, f64),
}

/// The actions that are due, few at any time.
#[derive(Clone, Debug, Default)]
pub(super) struct Queue {
    due: Vec<(f64, u64, Action)>,
    count: u64,
}

impl Queue {
    pub fn add(&mut self, time: f64, action: Action) {
        self.due.push((time, self.count, action));
        self.count += 1;
    }

    fn first(&self) -> Option<usize> {
        (0..self.due.len()).min_by(|a, b| {
            let (a, b) = (&self.due[*a], &self.due[*b]);
            a.0.total_cmp(&b.0).then(a.1.cmp(&b.1))
        })
    }

    pub fn next(&self) -> Option<(f64, Action)> {
        self.first().map(|k| (self.due[k].0, self.due[k].2))
    }

    pub fn pop(&mut self) -> Option<Action> {
        self.first().map(|k| self.due.swap_remove(k).2)
    }

    /// When an action is due.
    pub fn due(&self, what: Action) -> Option<f64> {
        let found = self.due.iter().find(|(_, _, action)| *action == what);
        found.map(|(time, _, _)| *time)
    }

    /// The first to come of a kind.
    pub fn first_of<T>(&self, which: impl Fn(Action) -> Option<T>) -> Option<T> {
        let due = self.due.iter();
        let first = due.filter_map(|(time, _, action)| Some((time, which(*action)?)));
        first
            .min_by(|a, b| a.0.total_cmp(b.0))
            .map(|(_, found)| found)
    }

    /// Takes out the actions of a kind; tells whether there were any.
    pub fn cancel(&mut self, which: impl Fn(Action) -> bool) -> bool {
        let before = self.due.len();
        self.due.retain(|(_, _, action)| !which(*action));
        self.due.len() < before
    }

    /// Puts off every action.
    pub fn shift(&mut self, by: f64) {
        self.delay(by, |_| true);
    }

    /// Puts off the actions of a kind.
    pub fn delay(&mut self, by: f64, which: impl Fn(Action) -> bool) {
        for (time, _, action) in &mut self.due {
            if which(*action) {
                *time += by;
            }
        }
    }
}
