//! Looking for the lowest modes: Lanczos with the factor spans a space, stiffness of full digits corrects the vectors
//! found in it, and what a solve still finds wrong with them corrects them further.
//!
//! In: a [`Problem`]. Out: modes with their residuals. The assembled matrix and its factor carry rounding that in thin
//! stacks shifts the modes by a millionth. Products of full digits with the vectors sought show it; all vectors of the
//! space take part in the correction, to first order, which leaves the square of that millionth.

use super::modal::Problem;
use super::ritz::lowest;
use super::{ACCEPTED, Mode, ModeWishes, SETTLED};
use crate::assemble::refused;
use crate::error::SolveError;
use crate::linear::{BLOCK, Block, LinearError, Pencil, Small, Space, combined, grams, inner};
use nalgebra::DMatrix;
use rayon::prelude::*;

/// Times the vectors are judged, at most.
const MOST_ROUNDS: u32 = 8;

/// Rows that a thread takes at a time.
const ROWS: usize = 2048;

/// Eigenvalues closer than this share are near: no formula with their difference is used.
const NEAR: f64 = 1e-3;

/// Right-hand sides up to which a solve of their own is cheaper than one of eight.
const FEW: usize = 1;

/// Tries to find every unstable mode, each with more vectors.
const MOST_TRIES: u32 = 4;

/// Modes found so far.
struct Found {
    theta: Vec<f64>,
    vectors: Vec<Block>,
    residuals: Vec<f64>,
}

/// The vectors of a space by eigenvalue.
struct Span {
    /// Eigenvalues, ascending.
    theta: Vec<f64>,
    /// Weights of the columns of the space's blocks in the vector of each, of unit mass.
    weights: DMatrix<f64>,
    /// How many are sought.
    wanted: usize,
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
            let (found, more) = self.improved(&space, wanted)?;
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

    /// The best vectors of the space with stiffness of full digits, corrected by what solves leave of their residuals
    /// until these are accepted or stand still. With the solves that took.
    fn improved(&self, space: &Space, wanted: usize) -> Result<(Found, u32), SolveError> {
        let span = self.span(space, wanted);
        let mut vectors = combined(&space.blocks(), &span.weights.columns(0, span.wanted).into_owned());
        // Stiffness and mass times the vectors are summed up with the corrections: they keep digits that the vectors
        // themselves lose.
        let (mut stiff, mut heavy) = (self.stiff_all(&vectors), self.heavy_all(&vectors));
        let (mut solves, mut before) = (0, f64::INFINITY);
        for round in 1.. {
            let (theta, norms) = quotients(&vectors, &stiff, &heavy, span.wanted);
            let mut steps = unbalanced(&stiff, &heavy, &theta);
            for (step, theta) in steps.iter_mut().zip(theta.chunks(BLOCK)) {
                self.solve_first(step, theta.len()).map_err(|e| refused(&e))?;
                solves += 1;
            }
            let steps_heavy = self.heavy_all(&steps);
            let residuals: Vec<f64> = (columns(&steps, &steps_heavy, span.wanted).iter().zip(&norms))
                .map(|(square, norm)| square.max(0.0).sqrt() / norm)
                .collect();
            let worst = residuals.iter().copied().fold(0.0, f64::max);
            if worst < ACCEPTED || round >= MOST_ROUNDS || worst > 0.5 * before {
                for (block, norms) in vectors.iter_mut().zip(norms.chunks(BLOCK)) {
                    block.par_iter_mut().for_each(|row| row.iter_mut().zip(norms).for_each(|(x, n)| *x /= n));
                }
                return Ok((Found { theta, vectors, residuals }, solves));
            }
            before = worst;
            // What the solves, without the eigenvalue, leave short in the directions of the space.
            let parts = matrix(&grams(&space.blocks(), &steps_heavy));
            let more = combined(&space.blocks(), &span.short(&parts, &theta));
            add_all(&mut steps, &more);
            add_all(&mut stiff, &self.stiff_all(&steps));
            add_all(&mut heavy, &self.heavy_all(&steps));
            add_all(&mut vectors, &steps);
        }
        Ok((Found { theta: Vec::new(), vectors: Vec::new(), residuals: Vec::new() }, solves))
    }

    /// The vectors that the iteration found, those sought changed by what stiffness of full digits says of them: to first
    /// order by all others, and exactly among themselves.
    fn span(&self, space: &Space, wanted: usize) -> Span {
        let next = space.next().map_or_else(Small::zeros, |next| {
            let k = inner(next, &self.stiff(&[next])[0]);
            (k + k.transpose()) * 0.5
        });
        let (basis, k) = space.projected(&next);
        let (mut theta, weights) = lowest(&k, &DMatrix::identity(k.nrows(), k.nrows()), k.nrows());
        let mut weights = basis * weights;
        let wanted = wanted.min(theta.len());
        // Whole blocks cost as much as parts of them.
        let held = theta.len().min(wanted.next_multiple_of(BLOCK));
        let own = weights.columns(0, held).into_owned();
        let blocks = space.blocks();
        let vectors = combined(&blocks, &own);
        let stiff = self.stiff_all(&vectors);
        let seen = weights.tr_mul(&matrix(&grams(&blocks, &stiff)).columns(0, held));
        let among = seen.rows(0, held);
        let among = (among + among.transpose()) * 0.5;
        let (better, turn) = lowest(&among, &DMatrix::identity(held, held), held);
        if better.len() == held {
            let seen = seen * &turn;
            let mut change = DMatrix::zeros(weights.ncols(), held);
            change.rows_mut(0, held).copy_from(&turn);
            for (i, theta_i) in better.iter().enumerate() {
                for k in held..weights.ncols() {
                    let gap = theta[k] - theta_i;
                    if gap.abs() > NEAR * theta[k].abs() {
                        change[(k, i)] = -seen[(k, i)] / gap;
                    }
                }
            }
            let changed = &weights * change;
            weights.columns_mut(0, held).copy_from(&changed);
            theta[..held].copy_from_slice(&better);
        }
        Span { theta, weights, wanted }
    }

    /// Stiffness of full digits times blocks.
    fn stiff_all(&self, blocks: &[Block]) -> Vec<Block> {
        self.stiff(&blocks.iter().collect::<Vec<_>>())
    }

    /// Mass times blocks.
    fn heavy_all(&self, blocks: &[Block]) -> Vec<Block> {
        blocks.iter().map(|block| Pencil::mass(self, block)).collect()
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

impl Span {
    /// Weights of the space's blocks that make whole what a solve leaves short: `K^-1` stands for `(K - theta M)^-1`, which in
    /// the direction of the vector with `theta_k` is larger by `theta / (theta_k - theta)`. Along near neighbours
    /// nothing is corrected.
    ///
    /// `parts`: the blocks' products with the mass and the solves.
    fn short(&self, parts: &DMatrix<f64>, theta: &[f64]) -> DMatrix<f64> {
        let mut along = self.weights.tr_mul(&parts.columns(0, theta.len()));
        for (i, theta) in theta.iter().enumerate() {
            for (k, theta_k) in self.theta.iter().enumerate() {
                let gap = theta_k - theta;
                along[(k, i)] *= if gap.abs() > NEAR * theta.abs() { theta / gap } else { -1.0 };
            }
        }
        &self.weights * along
    }
}

/// Rayleigh's quotients and lengths in the product of the mass.
fn quotients(x: &[Block], stiff: &[Block], heavy: &[Block], count: usize) -> (Vec<f64>, Vec<f64>) {
    let (k, m) = (columns(x, stiff, count), columns(x, heavy, count));
    k.iter().zip(&m).map(|(k, m)| (k / m, m.sqrt())).unzip()
}

/// Products of the columns of two lists of blocks, the first `count`.
fn columns(a: &[Block], b: &[Block], count: usize) -> Vec<f64> {
    let diagonal = |(a, b): (&Block, &Block)| inner(a, b).diagonal().iter().copied().collect::<Vec<_>>();
    a.iter().zip(b).flat_map(diagonal).take(count).collect()
}

/// `theta M x - K x`.
fn unbalanced(stiff: &[Block], heavy: &[Block], theta: &[f64]) -> Vec<Block> {
    let of = |((k, m), theta): ((&Block, &Block), &[f64])| -> Block {
        let mut by_column = [0.0; BLOCK];
        by_column.iter_mut().zip(theta).for_each(|(own, theta)| *own = *theta);
        let row =
            |(k, m): (&[f64; BLOCK], &[f64; BLOCK])| std::array::from_fn(|c| by_column[c] * m[c] - k[c]);
        k.par_iter().zip(m).with_min_len(ROWS).map(row).collect()
    };
    stiff.iter().zip(heavy).zip(theta.chunks(BLOCK)).map(of).collect()
}

fn add_all(sums: &mut [Block], more: &[Block]) {
    for (sum, more) in sums.iter_mut().zip(more) {
        sum.par_iter_mut().zip(more).with_min_len(ROWS).for_each(|(sum, more)| {
            sum.iter_mut().zip(more).for_each(|(s, m)| *s += m);
        });
    }
}

/// One matrix of the parts that [`grams`] gives.
fn matrix(parts: &[Vec<Small>]) -> DMatrix<f64> {
    let rows = parts.first().map_or(0, Vec::len);
    DMatrix::from_fn(BLOCK * rows, BLOCK * parts.len(), |i, j| {
        parts[j / BLOCK][i / BLOCK][(i % BLOCK, j % BLOCK)]
    })
}
