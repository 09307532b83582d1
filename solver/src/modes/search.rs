//! Looking for the lowest modes: Lanczos with the factor spans a space, stiffness of full digits picks the best vectors
//! in it, and what a refined solve still finds wrong with them widens the space.
//!
//! In: a [`Problem`]. Out: modes with their residuals. The assembled matrix and its factor carry rounding that in thin
//! stacks shifts the modes by a millionth; since all vectors of the space take part, a step repairs what the lowest
//! vectors alone would repair in many.

use super::modal::Problem;
use super::ritz::lowest;
use super::{ACCEPTED, Mode, ModeWishes, SETTLED};
use crate::assemble::refused;
use crate::error::SolveError;
use crate::linear::{BLOCK, Block, LinearError, Pencil, Small, Space, combined, grams, inner};
use nalgebra::DMatrix;
use rayon::prelude::*;

/// Times the space is widened, at most.
const MOST_ROUNDS: u32 = 8;

/// Blocks whose products with the stiffness are taken together.
const AT_ONCE: usize = 3;

/// Right-hand sides up to which a solve of their own is cheaper than one of eight.
const FEW: usize = 3;

/// Tries to find every unstable mode, each with more vectors.
const MOST_TRIES: u32 = 4;

/// Modes found so far.
struct Found {
    theta: Vec<f64>,
    vectors: Vec<Block>,
    residuals: Vec<f64>,
}

/// A space and what it makes of stiffness and mass.
struct Wide {
    space: Space,
    /// Stiffness, of full digits, and mass projected on it.
    k: DMatrix<f64>,
    m: DMatrix<f64>,
}

impl Problem {
    /// Modes ascending, solves taken, negative eigenvalues of the stiffness.
    pub(super) fn search(&self, wishes: &ModeWishes<'_>) -> Result<(Vec<Mode>, u32, usize), SolveError> {
        let unstable = self.factor.negative_pivots();
        let mut wanted = wishes.count.max(unstable.min(wishes.count + BLOCK));
        let mut solves = 0;
        for attempt in 1.. {
            let space = Space::new(self, wanted, SETTLED).map_err(|e| refused(&e))?;
            solves += space.as_ref().map_or(0, Space::solves);
            let Some(space) = space.filter(|s| !s.theta.is_empty()) else {
                if wishes.count == 0 {
                    break;
                }
                return Err(SolveError::Model {
                    what: "the model has no mass that can move".to_owned(),
                    remedy: "give its layers a density".to_owned(),
                });
            };
            let negative = space.theta.iter().filter(|theta| **theta < 0.0).count();
            if negative < unstable && attempt < MOST_TRIES && space.theta.len() >= wanted {
                wanted *= 2;
                continue;
            }
            let (found, more) = self.improved(space, wanted)?;
            solves += more;
            let mut found = self.told(&found);
            found.truncate(wishes.count.max(unstable));
            return Ok((found, solves, unstable));
        }
        Ok((Vec::new(), solves, unstable))
    }

    /// Modes ascending from vectors.
    fn told(&self, found: &Found) -> Vec<Mode> {
        let airy: Vec<Block> = match &self.air {
            Some(air) => found.vectors.iter().map(|block| air.times(block)).collect(),
            None => Vec::new(),
        };
        let of = |i: usize| {
            let (b, c) = (i / BLOCK, i % BLOCK);
            let eigenvalue = found.theta[i] - self.lift;
            let share = |airy: &Block| inner(airy, &found.vectors[b])[(c, c)];
            Mode {
                eigenvalue,
                frequency_hz: eigenvalue.max(0.0).sqrt() / std::f64::consts::TAU,
                shape: self.shape(&found.vectors[b], c),
                residual: found.residuals[i],
                air_share: airy.get(b).map_or(0.0, share),
            }
        };
        (0..found.residuals.len()).map(of).collect()
    }

    /// The best vectors of the space with stiffness of full digits; the space is widened by what solves leave of their
    /// residuals until these are accepted or stand still. With the solves that took.
    fn improved(&self, space: Space, wanted: usize) -> Result<(Found, u32), SolveError> {
        let wanted = wanted.min(space.theta.len());
        let mut wide = Wide { space, k: DMatrix::zeros(0, 0), m: DMatrix::zeros(0, 0) };
        let (mut solves, mut before) = (0, f64::INFINITY);
        for round in 1.. {
            wide.catch_up(self);
            let (theta, chosen) = lowest(&wide.k, &wide.m, wanted);
            let vectors = combined(&wide.space.blocks(), &chosen);
            let mut steps = self.unbalanced(&vectors, &theta);
            let mut residuals = Vec::with_capacity(wanted);
            for (step, theta) in steps.iter_mut().zip(theta.chunks(BLOCK)) {
                self.solve_first(step, theta.len()).map_err(|e| refused(&e))?;
                solves += 1;
                let with_mass = Pencil::mass(self, step);
                let squares = inner(step, &with_mass);
                residuals.extend((0..theta.len()).map(|r| squares[(r, r)].max(0.0).sqrt()));
            }
            let worst = residuals.iter().copied().fold(0.0, f64::max);
            if worst < ACCEPTED
                || round >= MOST_ROUNDS
                || worst > 0.5 * before
                || !wide.widen(self, &steps, &residuals)
            {
                return Ok((Found { theta, vectors, residuals }, solves));
            }
            before = worst;
        }
        Ok((Found { theta: Vec::new(), vectors: Vec::new(), residuals: Vec::new() }, solves))
    }

    /// `theta M x - K x` of vectors, by products of their own: those of the space's blocks need not be kept for it.
    fn unbalanced(&self, vectors: &[Block], theta: &[f64]) -> Vec<Block> {
        let mut out = self.stiff(&vectors.iter().collect::<Vec<_>>());
        for ((out, x), theta) in out.iter_mut().zip(vectors).zip(theta.chunks(BLOCK)) {
            let mut by_column = [0.0; BLOCK];
            by_column.iter_mut().zip(theta).for_each(|(own, theta)| *own = *theta);
            out.par_iter_mut().zip(Pencil::mass(self, x)).for_each(|(k, m)| {
                k.iter_mut().zip(m).zip(by_column).for_each(|((k, m), theta)| *k = theta * m - *k);
            });
        }
        out
    }

    /// Solves for the first columns of a block, the others being zero: few at a time are cheaper than eight.
    fn solve_first(&self, block: &mut Block, columns: usize) -> Result<(), LinearError> {
        if columns > FEW {
            return self.solve(block);
        }
        let n = block.len();
        let mut few: Vec<f64> = (0..columns).flat_map(|c| block.iter().map(move |row| row[c])).collect();
        self.structure().solve(&self.factor, &mut few, columns)?;
        for (i, row) in block.iter_mut().enumerate() {
            (0..columns).for_each(|c| row[c] = few[c * n + i]);
        }
        Ok(())
    }
}

impl Wide {
    /// Products and projections of the blocks that have none yet.
    fn catch_up(&mut self, problem: &Problem) {
        let (blocks, heavy) = (self.space.blocks(), self.space.heavy());
        let put = |into: &mut DMatrix<f64>, b: usize, c: usize, part: &Small| {
            into.fixed_view_mut::<BLOCK, BLOCK>(BLOCK * b, BLOCK * c).copy_from(part);
            into.fixed_view_mut::<BLOCK, BLOCK>(BLOCK * c, BLOCK * b).copy_from(&part.transpose());
        };
        let done = self.k.nrows() / BLOCK;
        let size = BLOCK * blocks.len();
        self.k.resize_mut(size, size, 0.0);
        self.m.resize_mut(size, size, 0.0);
        // A few at a time: what they need stays close to the processor.
        for start in (done..blocks.len()).step_by(AT_ONCE) {
            let end = blocks.len().min(start + AT_ONCE);
            let stiff = problem.stiff(&blocks[start..end]);
            for (c, (column, own)) in
                (start..end).zip(grams(&blocks[..end], &stiff).iter().zip(&blocks[start..]))
            {
                for (b, part) in column.iter().enumerate().take(c) {
                    put(&mut self.k, b, c, part);
                }
                let own = [column[c], inner(own, heavy[c])];
                let [k, m] = own.map(|part| (part + part.transpose()) * 0.5);
                put(&mut self.k, c, c, &k);
                put(&mut self.m, c, c, &m);
            }
        }
    }

    /// Takes the steps of the vectors that are not accepted into the space; false where nothing is new in them.
    fn widen(&mut self, problem: &Problem, steps: &[Block], residuals: &[f64]) -> bool {
        let open: Vec<usize> = (0..residuals.len()).filter(|&i| residuals[i] >= ACCEPTED).collect();
        let mut any = false;
        for group in open.chunks(BLOCK) {
            let row = |i: usize| {
                let mut row = [0.0; BLOCK];
                for (x, &of) in row.iter_mut().zip(group) {
                    *x = steps[of / BLOCK][i][of % BLOCK] / residuals[of];
                }
                row
            };
            let block: Block = (0..steps[0].len()).into_par_iter().map(row).collect();
            any |= self.space.add(problem, block);
        }
        any
    }
}
