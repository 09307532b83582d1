//! How much memory the updates of a factorisation will take, found by playing the order of the units through.

use super::fronts::Fronts;
use super::pool::best_fit;
use super::units::Units;

/// Speeds of the other workers, the first one's being 1: another program may take part of a processor.
const SPEEDS: [f64; 5] = [1.0, 0.4, 0.7, 1.4, 2.5];

/// A worker's unit, when it will be done, and the buffers it gives back then.
struct Running {
    unit: usize,
    done: f64,
    spare: Vec<usize>,
    kept: usize,
}

/// Sizes of buffers as the pool would hold them.
#[derive(Default)]
struct Buffers {
    free: Vec<usize>,
    total: usize,
}

impl Buffers {
    fn take(&mut self, len: usize) -> usize {
        if len == 0 {
            return 0;
        }
        best_fit(self.free.iter().copied(), len).map_or_else(
            || {
                self.total += len;
                len
            },
            |i| self.free.swap_remove(i),
        )
    }

    fn give(&mut self, len: usize) {
        if len > 0 {
            self.free.push(len);
        }
    }
}

/// What is played: the tree, its units, and whether signs are counted.
#[derive(Clone, Copy)]
pub(super) struct Play<'a> {
    pub(super) fronts: &'a Fronts,
    pub(super) units: &'a Units,
    pub(super) signed: bool,
}

impl Play<'_> {
    /// Entries that the kernels of a unit with these fronts take for themselves.
    fn room(&self, fronts: std::ops::Range<usize>) -> usize {
        if self.signed { self.fronts.most_below(fronts) } else { self.fronts.most_packed(fronts) }
    }
}

/// Entries of all buffers that a factorisation on `threads` threads allocates at most, whether the threads get equal
/// shares of the machine or not.
pub(super) fn waiting(play: Play<'_>, threads: usize) -> usize {
    if threads < 2 {
        return played(play, threads, 1.0);
    }
    // A thread that waits inside a large front may take up another one meanwhile, which wants a room of its own.
    let meanwhile = (threads - 1) * play.room(0..play.fronts.len());
    SPEEDS.into_iter().map(|speed| played(play, threads, speed)).max().unwrap_or(0) + meanwhile
}

/// The first worker takes waiting branches from the front, the others from the back; whoever finishes the last
/// unit below another one goes on with that. Time runs with the work of the fronts, for the others `speed` times
/// as fast as for the first.
fn played(play: Play<'_>, threads: usize, speed: f64) -> usize {
    let units = play.units;
    let mut open: std::collections::VecDeque<usize> =
        (0..units.len()).filter(|&u| units.children_of(u).is_empty()).collect();
    let mut left: Vec<usize> = (0..units.len()).map(|u| units.children_of(u).len()).collect();
    let mut update = vec![0; units.len()];
    let mut buffers = Buffers::default();
    let mut running: Vec<Option<Running>> = (0..threads.max(1)).map(|_| None).collect();
    let mut now = 0.0;
    loop {
        for (worker, place) in running.iter_mut().enumerate().filter(|(_, place)| place.is_none()) {
            let next = if worker == 0 { open.pop_front() } else { open.pop_back() };
            let pace = if worker == 0 { 1.0 } else { speed };
            *place = next.map(|u| start(play, u, (now, pace), &mut buffers));
        }
        let next = (0..running.len()).filter(|&w| running[w].is_some()).min_by(|&a, &b| {
            let done = |w: usize| running[w].as_ref().map_or(f64::INFINITY, |r| r.done);
            done(a).total_cmp(&done(b))
        });
        let Some(worker) = next else { return buffers.total };
        let Some(ended) = running[worker].take() else { return buffers.total };
        now = ended.done;
        ended.spare.iter().for_each(|&len| buffers.give(len));
        for &child in units.children_of(ended.unit) {
            buffers.give(update[child as usize]);
        }
        update[ended.unit] = ended.kept;
        if let Some(above) = units.parent_of(ended.unit) {
            left[above] -= 1;
            if left[above] == 0 {
                let pace = if worker == 0 { 1.0 } else { speed };
                running[worker] = Some(start(play, above, (now, pace), &mut buffers));
            }
        }
    }
}

fn start(play: Play<'_>, unit: usize, (now, pace): (f64, f64), buffers: &mut Buffers) -> Running {
    let Play { fronts, units, .. } = play;
    let range = units.fronts_of(unit);
    let last = range.end - 1;
    let mut spare = units.stacks[unit].map(|len| buffers.take(len)).to_vec();
    let kept = buffers.take(fronts.n_below(last).pow(2));
    spare.push(buffers.take(play.room(range.clone())));
    let below: f64 = match range.len() {
        1 => fronts.children_of(last).iter().map(|&c| fronts.work[c as usize]).sum(),
        _ => 0.0,
    };
    Running { unit, done: now + (fronts.work[last] - below) / pace, spare, kept }
}
