//! Work shared among threads: the front tree cut into branches for one thread each and the large fronts above them.
//!
//! A unit is either a whole branch whose work is a small share of the total, or one large front. Units are numbered
//! in postorder, so each has a contiguous range of fronts, unknowns and panel entries. A unit runs when all units
//! below it are done (upwards) or when the one above it is done (downwards); which thread takes it changes nothing
//! in the numbers.

use super::fronts::Fronts;
use super::tree::NONE;
use std::sync::atomic::{AtomicU32, Ordering};
use std::sync::{Mutex, PoisonError};

/// What one unit hands to another, whichever threads they run on.
pub(super) type Slot<T> = Mutex<Option<T>>;

/// Empties a slot.
pub(super) fn take<T>(slot: &Slot<T>) -> Option<T> {
    slot.lock().unwrap_or_else(PoisonError::into_inner).take()
}

/// Fills a slot.
pub(super) fn put<T>(slot: &Slot<T>, value: T) {
    *slot.lock().unwrap_or_else(PoisonError::into_inner) = Some(value);
}

/// Share of the total work below which a branch stays on one thread.
const SHARE: f64 = 1.0 / 64.0;

/// Multiplications below which a branch stays on one thread whatever its share.
const LEAST: f64 = 1e7;

/// Units of a front tree.
#[derive(Debug)]
pub(super) struct Units {
    /// First front of each unit; one more than units.
    pub(super) first: Vec<u32>,
    /// Unit above each, [`NONE`] at roots.
    parent: Vec<u32>,
    /// Units below each.
    n_children: Vec<u32>,
    /// First entry of each unit in `children`; one more than units.
    child_start: Vec<u32>,
    children: Vec<u32>,
    /// Unit whose last front is this one, [`NONE`] for fronts inside a branch.
    pub(super) ends: Vec<u32>,
    /// Which of two stacks takes the update of each front: that of its depth, even or odd.
    pub(super) odd: Vec<bool>,
    /// Entries of each of the two stacks while a unit runs.
    pub(super) stacks: Vec<[usize; 2]>,
}

impl Units {
    pub(super) fn new(fronts: &Fronts) -> Self {
        let n = fronts.len();
        let total: f64 = (0..n).filter(|&f| fronts.parent[f] == NONE).map(|f| fronts.work[f]).sum();
        let cut = (total * SHARE).max(LEAST);
        let large = |f: u32| fronts.work[f as usize] >= cut;
        let mut own = Self {
            first: Vec::new(),
            parent: Vec::new(),
            n_children: Vec::new(),
            child_start: vec![0],
            children: Vec::new(),
            ends: vec![NONE; n],
            odd: vec![false; n],
            stacks: Vec::new(),
        };
        for f in (0..n).rev() {
            own.odd[f] = fronts.parent[f] != NONE && !own.odd[fronts.parent[f] as usize];
        }
        let mut last = Vec::new();
        for f in 0..super::factor::as_u32(n) {
            let above = fronts.parent[f as usize];
            if large(f) || above == NONE || large(above) {
                own.ends[f as usize] = super::factor::as_u32(last.len());
                own.first.push(if large(f) { f } else { fronts.branch[f as usize] });
                last.push(f as usize);
            }
        }
        own.first.push(super::factor::as_u32(n));
        for &f in &last {
            let above = fronts.parent[f];
            own.parent.push(if above == NONE { NONE } else { own.ends[above as usize] });
            let below = if large(super::factor::as_u32(f)) { fronts.children_of(f) } else { &[] };
            own.children.extend(below.iter().map(|&c| own.ends[c as usize]));
            own.child_start.push(super::factor::as_u32(own.children.len()));
            own.n_children.push(super::factor::as_u32(below.len()));
        }
        own.stacks = (0..last.len()).map(|u| own.stack_entries(fronts, u)).collect();
        own
    }

    /// Number of units.
    pub(super) fn len(&self) -> usize {
        self.parent.len()
    }

    /// Fronts of a unit; the last one hands its update upwards.
    pub(super) fn fronts_of(&self, unit: usize) -> std::ops::Range<usize> {
        self.first[unit] as usize..self.first[unit + 1] as usize
    }

    /// Unit above one.
    pub(super) fn parent_of(&self, unit: usize) -> Option<usize> {
        Some(self.parent[unit]).filter(|&p| p != NONE).map(|p| p as usize)
    }

    /// Units below one.
    pub(super) fn children_of(&self, unit: usize) -> &[u32] {
        &self.children[self.child_start[unit] as usize..self.child_start[unit + 1] as usize]
    }

    /// Largest filling of the two stacks of updates while the branch of a unit is worked off.
    fn stack_entries(&self, fronts: &Fronts, unit: usize) -> [usize; 2] {
        let range = self.fronts_of(unit);
        let update = |f: usize| fronts.n_below(f).pow(2);
        let (mut top, mut most) = ([0usize; 2], [0usize; 2]);
        for f in range.clone() {
            let own = usize::from(self.odd[f]);
            if f + 1 < range.end {
                top[own] += update(f);
                most[own] = most[own].max(top[own]);
            }
            if range.len() > 1 {
                top[1 - own] -= fronts.children_of(f).iter().map(|&c| update(c as usize)).sum::<usize>();
            }
        }
        most
    }

    /// Runs every unit after all units below it.
    pub(super) fn upwards(&self, run: &(dyn Fn(usize) + Sync)) {
        let waiting: Vec<AtomicU32> = self.n_children.iter().map(|&n| AtomicU32::new(n)).collect();
        let climb = |mut unit: usize| {
            loop {
                run(unit);
                let above = self.parent[unit];
                if above == NONE || waiting[above as usize].fetch_sub(1, Ordering::AcqRel) != 1 {
                    return;
                }
                unit = above as usize;
            }
        };
        if self.len() == 1 {
            return climb(0);
        }
        rayon::scope(|scope| {
            let climb = &climb;
            // The last one spawned starts first on this thread; others take the first ones spawned.
            for unit in (0..self.len()).rev().filter(|&u| self.n_children[u] == 0) {
                scope.spawn(move |_| climb(unit));
            }
        });
    }

    /// Runs every unit after the one above it.
    pub(super) fn downwards(&self, run: &(dyn Fn(usize) + Sync)) {
        let roots: Vec<u32> =
            (0u32..).zip(&self.parent).filter(|(_, p)| **p == NONE).map(|(u, _)| u).collect();
        if self.len() == 1 {
            return run(0);
        }
        rayon::scope(|scope| {
            for &unit in &roots {
                scope.spawn(move |scope| self.descend(unit as usize, run, scope));
            }
        });
    }

    fn descend<'s>(&'s self, mut unit: usize, run: &'s (dyn Fn(usize) + Sync), scope: &rayon::Scope<'s>) {
        loop {
            run(unit);
            let Some((&next, others)) = self.children_of(unit).split_last() else { return };
            for &other in others {
                scope.spawn(move |scope| self.descend(other as usize, run, scope));
            }
            unit = next as usize;
        }
    }
}
