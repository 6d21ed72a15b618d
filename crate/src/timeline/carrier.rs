//! Phase-shifted carriers with a common duty.

/// The carriers of all pairs: one edge every cell, each pair's `1/n` of a
/// switching period after that of the pair before. A pair that fires stays on
/// for the common on-time, counted in cells.
#[derive(Clone, Copy, Debug)]
pub(super) struct Carriers {
    /// Time of the first edge.
    start: f64,
    /// Duration of a cell in seconds.
    pub cell: f64,
    pub pairs: usize,
    /// Pair whose carrier comes next.
    pub next: usize,
    /// Edges so far.
    count: u64,
}

impl Carriers {
    pub fn new(cell: f64, pairs: usize) -> Self {
        Self {
            start: 0.0,
            cell,
            pairs,
            next: 0,
            count: 0,
        }
    }

    /// Time of the coming edge: multiples of the cell, so that nothing adds up.
    pub fn edge(&self) -> f64 {
        self.start + self.count as f64 * self.cell
    }

    /// Moves all edges in time.
    pub fn shift(&mut self, by: f64) {
        self.start += by;
    }

    /// Passes an edge.
    pub fn pass(&mut self) {
        self.count += 1;
    }

    /// The pair that fires is done: the next one's turn.
    pub fn advance(&mut self) {
        self.next = (self.next + 1) % self.pairs;
    }
}
