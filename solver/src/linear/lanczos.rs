//! Largest eigenvalues of `K^-1 M` by block Lanczos in the inner product of M, fully orthogonalised.
//!
//! In: how to multiply with M and how to solve with K (shifted or not). Out: eigenvalues theta = 1 / lambda of
//! `K x = lambda M x` with M-orthonormal vectors, and what the recurrence says of their residuals. M may be
//! semidefinite. A block of eight finds repeated eigenvalues and costs little more than one vector, since a solve
//! reads the factor once for all. Columns that depend on others are kept as zeros. Sums run over fixed stretches
//! of rows, so bits do not depend on the threads.
//! Sources: Golub and Underwood 1977, Nour-Omid et al. 1987 (from memory).

use super::LinearError;
use crate::vectors::widest;
use nalgebra::{DMatrix, SMatrix, SVector, SymmetricEigen};
use rayon::prelude::*;

/// Columns of a block.
pub const BLOCK: usize = 8;

/// A block of vectors: the values of one unknown side by side.
pub type Block = Vec<[f64; BLOCK]>;

/// Small matrix between two blocks.
pub(crate) type Small = SMatrix<f64, BLOCK, BLOCK>;

/// A number for each column.
type Vector = SVector<f64, BLOCK>;

/// Rows whose products are summed by one thread.
const STRETCH: usize = 2048;

/// Squared length below this share of the longest column's: the column depends on others.
const DEPENDENT: f64 = 1e-22;

/// Eigenvalue of the products of columns of unit length below which one depends on the others.
const PARALLEL: f64 = 1e-2;

/// The two operations that define the problem.
pub trait Pencil: Sync {
    /// Unknowns.
    fn n(&self) -> usize;
    /// `M x`.
    fn mass(&self, x: &[[f64; BLOCK]]) -> Block;
    /// `K^-1 x`, in place.
    ///
    /// # Errors
    /// Those of a solve.
    fn solve(&self, x: &mut [[f64; BLOCK]]) -> Result<(), LinearError>;
    /// Vectors rich in what is sought, each of length about 1 per unknown; None for numbers without order.
    fn guess(&self) -> Option<Block> {
        None
    }
}

/// Share of numbers without order in the first block: no vector is missed for being orthogonal to a guess.
const STIRRED: f64 = 1e-3;

/// Squared length of the shortest over the longest column below which a block is made orthogonal once more.
const SHORT: f64 = 1e-6;

/// The same share from which on one pass makes a block orthonormal to ten digits.
const CLEAR: f64 = 1e-4;

/// Eigenpairs, largest magnitude of theta first.
#[derive(Debug, Clone, Default)]
pub struct Pairs {
    /// Eigenvalues of `K^-1 M`.
    pub theta: Vec<f64>,
    /// M-orthonormal vectors, eight to a block; columns beyond the last eigenvalue are zero.
    pub vectors: Vec<Block>,
    /// `|K^-1 M x - theta x|_M / |theta|` of each, as the recurrence estimates it.
    pub residual: Vec<f64>,
    /// Block solves taken.
    pub solves: u32,
}

/// The `wanted` eigenvalues of largest magnitude, or all there are when M has lower rank.
///
/// `tolerance`: relative residual at which a pair is done.
///
/// # Errors
/// Those of a solve.
pub fn largest(pencil: &dyn Pencil, wanted: usize, tolerance: f64) -> Result<Pairs, LinearError> {
    let Some(grown) = grown(pencil, wanted, tolerance)? else { return Ok(Pairs::default()) };
    let chosen = grown.eigen.eigenvectors.select_columns(&grown.rank);
    let blocks: Vec<&Block> = grown.basis.blocks.iter().map(|pair| &pair.own).collect();
    Ok(Pairs {
        theta: grown.theta(),
        vectors: combined(&blocks, &chosen),
        residual: grown.residual,
        solves: grown.basis.solves,
    })
}

/// The space that the iteration spans with the block that would come next, to look for the same pairs in it by other
/// means.
pub(crate) struct Space {
    basis: Basis,
    eigen: SymmetricEigen<f64, nalgebra::Dyn>,
    /// How the block that would come next couples to the last; None where nothing is left.
    coupling: Option<Small>,
    /// Eigenvalues of `K^-1 M` as the iteration has them, largest magnitude first.
    pub(crate) theta: Vec<f64>,
}

impl Space {
    /// Spanned until `wanted` pairs are done to the tolerance.
    ///
    /// # Errors
    /// Those of a solve.
    pub(crate) fn new(
        pencil: &dyn Pencil,
        wanted: usize,
        tolerance: f64,
    ) -> Result<Option<Self>, LinearError> {
        let Some(grown) = grown(pencil, wanted, tolerance)? else { return Ok(None) };
        let theta = grown.theta();
        let Grown { mut basis, next, coupling, eigen, .. } = grown;
        let coupling = next.as_ref().map(|_| coupling);
        basis.blocks.extend(next);
        Ok(Some(Self { basis, eigen, coupling, theta }))
    }

    /// Block solves taken.
    pub(crate) fn solves(&self) -> u32 {
        self.basis.solves
    }

    /// M-orthonormal blocks, some columns zero.
    pub(crate) fn blocks(&self) -> Vec<&Block> {
        self.basis.blocks.iter().map(|pair| &pair.own).collect()
    }

    /// The block that would come next.
    pub(crate) fn next(&self) -> Option<&Block> {
        self.coupling.and(self.basis.blocks.last()).map(|pair| &pair.own)
    }

    /// M-orthonormal weights of the blocks' columns, and K projected on the vectors they make, from the recurrence and
    /// `next`, K projected on the block that would come next.
    ///
    /// With `K^-1 M V = V T + n R e'` and `T = Q t Q'` the projection on the columns of V Q is
    /// `1/t + (1/t) q' (R' N R) q (1/t)`, where q are the last rows of Q, and `-N R q (1/t)` beside n.
    pub(crate) fn projected(&self, next: &Small) -> (DMatrix<f64>, DMatrix<f64>) {
        let values = &self.eigen.eigenvalues;
        let size = values.len();
        // Zero columns of the basis show as eigenvalues of zero.
        let kept: Vec<usize> =
            (0..size).filter(|&i| values[i].abs() > 1e3 * f64::EPSILON * values.amax()).collect();
        let massive = |j: &usize| next[(*j, *j)] != 0.0;
        let more: Vec<usize> = self.coupling.iter().flat_map(|_| (0..BLOCK).filter(massive)).collect();
        let whole = kept.len() + more.len();
        let mut weights = DMatrix::zeros(size + if self.coupling.is_some() { BLOCK } else { 0 }, whole);
        let mut k = DMatrix::zeros(whole, whole);
        for (c, &i) in kept.iter().enumerate() {
            weights.view_mut((0, c), (size, 1)).copy_from(&self.eigen.eigenvectors.column(i));
            k[(c, c)] = 1.0 / values[i];
        }
        if let Some(r) = self.coupling {
            // R q / t, a column for each kept pair.
            let tails = DMatrix::from_fn(BLOCK, kept.len(), |row, c| {
                self.eigen.eigenvectors[(size - BLOCK + row, kept[c])] / values[kept[c]]
            });
            let tails = r * tails;
            let heavy = next * &tails;
            let mut corner = k.view_mut((0, 0), (kept.len(), kept.len()));
            corner += tails.tr_mul(&heavy);
            for (a, &i) in more.iter().enumerate() {
                let row = kept.len() + a;
                weights[(size + i, row)] = 1.0;
                for c in 0..kept.len() {
                    k[(row, c)] = -heavy[(i, c)];
                    k[(c, row)] = -heavy[(i, c)];
                }
                for (b, &j) in more.iter().enumerate() {
                    k[(row, kept.len() + b)] = next[(i, j)];
                }
            }
        }
        (weights, k)
    }
}

/// The iteration at its end.
struct Grown {
    basis: Basis,
    /// The block that would come next.
    next: Option<Pair>,
    /// How it couples to the newest.
    coupling: Small,
    eigen: SymmetricEigen<f64, nalgebra::Dyn>,
    /// The wanted eigenvalues, largest magnitude first.
    rank: Vec<usize>,
    residual: Vec<f64>,
}

impl Grown {
    fn theta(&self) -> Vec<f64> {
        self.rank.iter().map(|&i| self.eigen.eigenvalues[i]).collect()
    }
}

fn grown(pencil: &dyn Pencil, wanted: usize, tolerance: f64) -> Result<Option<Grown>, LinearError> {
    if pencil.n() == 0 || wanted == 0 {
        return Ok(None);
    }
    let Some(mut basis) = Basis::start(pencil)? else { return Ok(None) };
    let most = pencil.n().min(wanted.saturating_mul(8) + 10 * BLOCK);
    loop {
        let (next, coupling) = basis.grow(pencil)?;
        let eigen = SymmetricEigen::new(basis.projected.clone());
        let values = &eigen.eigenvalues;
        let size = basis.projected.nrows();
        let mut rank: Vec<usize> = (0..size).collect();
        rank.sort_by(|&a, &b| values[b].abs().total_cmp(&values[a].abs()).then(a.cmp(&b)));
        rank.truncate(wanted);
        // Zero columns of the basis show as eigenvalues of zero.
        rank.retain(|&i| values[i].abs() > 1e3 * f64::EPSILON * values.amax());
        let estimate = |&i: &usize| {
            let tail = eigen.eigenvectors.column(i).fixed_rows::<BLOCK>(size - BLOCK).into_owned();
            (coupling * tail).norm() / values[i].abs()
        };
        let residual: Vec<f64> = rank.iter().map(estimate).collect();
        let settled = rank.len() >= wanted && residual.iter().all(|r| *r < tolerance);
        match next {
            Some(next) if !settled && size < most => basis.blocks.push(next),
            next => return Ok(Some(Grown { basis, next, coupling, eigen, rank, residual })),
        }
    }
}

/// M-orthonormal block with its product with M.
struct Pair {
    own: Block,
    with_mass: Block,
}

/// The vectors so far and the operator projected on them.
struct Basis {
    blocks: Vec<Pair>,
    projected: DMatrix<f64>,
    solves: u32,
}

impl Basis {
    /// A first block in the range of `K^-1 M`, from numbers that are the same every time; none without mass.
    fn start(pencil: &dyn Pencil) -> Result<Option<Self>, LinearError> {
        let mut seed = 0x9e37_79b9_7f4a_7c15_u64;
        let mut draw = || {
            seed ^= seed << 13;
            seed ^= seed >> 7;
            seed ^= seed << 17;
            #[expect(clippy::cast_precision_loss, reason = "any number does")]
            let value = (seed >> 11) as f64;
            value / (1u64 << 53) as f64 - 0.5
        };
        let mut first: Block = (0..pencil.n()).map(|_| std::array::from_fn(|_| draw())).collect();
        if let Some(guess) = pencil.guess().filter(|guess| guess.len() == first.len()) {
            for (row, guess) in first.iter_mut().zip(&guess) {
                row.iter_mut().zip(guess).for_each(|(x, g)| *x = STIRRED * *x + g);
            }
        }
        let mut first = pencil.mass(&first);
        pencil.solve(&mut first)?;
        let mut own = Self { blocks: Vec::new(), projected: DMatrix::zeros(0, 0), solves: 1 };
        let (first, _) = own.orthonormalised(pencil, first);
        Ok(first.map(|first| {
            own.blocks.push(first);
            own
        }))
    }

    /// One step: operator on the newest block, its projection, and the next block (none when nothing is left) with
    /// how it couples to the newest.
    fn grow(&mut self, pencil: &dyn Pencil) -> Result<(Option<Pair>, Small), LinearError> {
        let Some(newest) = self.blocks.last() else { return Ok((None, Small::zeros())) };
        let mut image = newest.with_mass.clone();
        pencil.solve(&mut image)?;
        self.solves += 1;
        let mut shares = vec![Small::zeros(); self.blocks.len()];
        // The image reaches back two blocks; then everything that rounding left in the others.
        for from in [self.blocks.len().saturating_sub(2), 0] {
            let parts = self.shares(&image, from);
            self.take_out(&mut image, &parts, from, |pair| &pair.own);
            shares[from..].iter_mut().zip(&parts).for_each(|(sum, part)| *sum += part);
        }
        let old = self.projected.nrows();
        let size = old + BLOCK;
        self.projected = std::mem::replace(&mut self.projected, DMatrix::zeros(0, 0)).resize(size, size, 0.0);
        for (b, share) in shares.iter().enumerate() {
            for i in 0..BLOCK {
                for j in 0..BLOCK {
                    let value =
                        if b * BLOCK == old { 0.5 * (share[(i, j)] + share[(j, i)]) } else { share[(i, j)] };
                    self.projected[(b * BLOCK + i, old + j)] = value;
                    self.projected[(old + j, b * BLOCK + i)] = value;
                }
            }
        }
        Ok(self.orthonormalised(pencil, image))
    }

    /// Makes a block M-orthonormal, columns that depend on others zero; none if all do. With it the matrix R for
    /// which the given block is the product of the new one with R.
    ///
    /// The lowest mode may outweigh others by powers of ten in every column. Products of such columns hide what is
    /// small in them, the columns turned to their main directions show it: their lengths are taken anew.
    fn orthonormalised(&self, pencil: &dyn Pencil, mut block: Block) -> (Option<Pair>, Small) {
        let mut with_mass = pencil.mass(&block);
        // Squared length below which a direction is rounding of the operator's own size.
        let rounding =
            (16.0 * f64::EPSILON * self.projected.diagonal().iter().fold(0.0, |m: f64, v| m.max(v.abs())))
                .powi(2);
        let eigen = SymmetricEigen::new(inner(&with_mass, &block));
        let (s, u) = (eigen.eigenvalues, eigen.eigenvectors);
        let longest = s.max();
        if longest <= rounding || !longest.is_finite() || longest <= 0.0 {
            return (None, Small::zeros());
        }
        let lengths = s.map(|s| s.max(f64::EPSILON * longest).sqrt());
        let turn = Small::from_fn(|i, j| u[(i, j)] / lengths[j]);
        let mut r = Small::from_fn(|i, j| u[(j, i)] * lengths[i]);
        turned(&mut block, &turn);
        turned(&mut with_mass, &turn);
        // Short columns grew, and with them what rounding left of the other blocks in them.
        if !self.blocks.is_empty() && s.min() < SHORT * longest {
            let parts = self.shares(&block, 0);
            self.take_out(&mut block, &parts, 0, |pair| &pair.own);
            self.take_out(&mut with_mass, &parts, 0, |pair| &pair.with_mass);
        }
        if s.min() <= CLEAR * longest || s.min() <= rounding {
            let again = inner(&with_mass, &block);
            let square = |i: usize| again[(i, i)].max(0.0) * lengths[i].powi(2);
            let bound = rounding.max(DEPENDENT * longest);
            let scale =
                Vector::from_fn(|i, _| if square(i) > bound { again[(i, i)].sqrt().recip() } else { 0.0 });
            let eigen = SymmetricEigen::new(Small::from_fn(|i, j| scale[i] * again[(i, j)] * scale[j]));
            let (s, u) = (eigen.eigenvalues, eigen.eigenvectors);
            let kept = |i: usize| s[i] > PARALLEL;
            let turn = Small::from_fn(|i, j| if kept(j) { scale[i] * u[(i, j)] / s[j].sqrt() } else { 0.0 });
            let back = Small::from_fn(|i, j| {
                if kept(i) && scale[j] > 0.0 { u[(j, i)] * s[i].sqrt() / scale[j] } else { 0.0 }
            });
            r = back * r;
            turned(&mut block, &turn);
            turned(&mut with_mass, &turn);
            if !(0..BLOCK).any(kept) {
                return (None, Small::zeros());
            }
        }
        (Some(Pair { own: block, with_mass }), r)
    }

    /// M-inner products of every block from number `from` on with `x`.
    fn shares(&self, x: &[[f64; BLOCK]], from: usize) -> Vec<Small> {
        let parts: Vec<Vec<Small>> = x
            .par_chunks(STRETCH)
            .enumerate()
            .map(|(i, x)| {
                let rows = i * STRETCH..i * STRETCH + x.len();
                self.blocks[from..].iter().map(|pair| product(&pair.with_mass[rows.clone()], x)).collect()
            })
            .collect();
        let mut sums = vec![Small::zeros(); self.blocks.len() - from];
        for part in &parts {
            sums.iter_mut().zip(part).for_each(|(sum, part)| *sum += part);
        }
        sums
    }

    /// `x -= sum of blocks times parts`, the blocks from number `from` on.
    fn take_out(
        &self,
        x: &mut [[f64; BLOCK]],
        parts: &[Small],
        from: usize,
        of: impl Fn(&Pair) -> &Block + Sync,
    ) {
        x.par_chunks_mut(STRETCH).enumerate().for_each(|(i, x)| {
            for (pair, part) in self.blocks[from..].iter().zip(parts) {
                let own = &of(pair)[i * STRETCH..i * STRETCH + x.len()];
                add_product(x, own, &-part);
            }
        });
    }
}

/// Vectors times the columns of `chosen`, eight to a block.
pub(crate) fn combined(blocks: &[&Block], chosen: &DMatrix<f64>) -> Vec<Block> {
    let n = blocks.first().map_or(0, |block| block.len());
    let entry = |i: usize, j: usize| {
        if i < chosen.nrows() && j < chosen.ncols() { chosen[(i, j)] } else { 0.0 }
    };
    let of_group = |group: usize| {
        let part = |b: usize| Small::from_fn(|i, j| entry(b * BLOCK + i, group * BLOCK + j));
        let parts: Vec<Small> = (0..blocks.len()).map(part).collect();
        let mut out: Block = vec![[0.0; BLOCK]; n];
        out.par_chunks_mut(STRETCH).enumerate().for_each(|(i, out)| {
            for (block, part) in blocks.iter().zip(&parts) {
                add_product(out, &block[i * STRETCH..i * STRETCH + out.len()], part);
            }
        });
        out
    };
    (0..chosen.ncols().div_ceil(BLOCK)).map(of_group).collect()
}

/// `a' b`, stretch by stretch.
pub(crate) fn inner(a: &[[f64; BLOCK]], b: &[[f64; BLOCK]]) -> Small {
    let parts: Vec<Small> =
        a.par_chunks(STRETCH).zip(b.par_chunks(STRETCH)).map(|(a, b)| product(a, b)).collect();
    parts.iter().fold(Small::zeros(), |sum, part| sum + part)
}

/// `a' b` of all blocks `a` with each block `b`, every stretch of rows read once: outer list by `b`.
pub(crate) fn grams(a: &[&Block], b: &[Block]) -> Vec<Vec<Small>> {
    let n = b.first().map_or(0, |block| block.len());
    let of_stretch = |start: usize| -> Vec<Small> {
        let rows = start..n.min(start + STRETCH);
        let one =
            |b: &Block| a.iter().map(|a| product(&a[rows.clone()], &b[rows.clone()])).collect::<Vec<_>>();
        b.iter().flat_map(one).collect()
    };
    let parts: Vec<Vec<Small>> =
        (0..n.div_ceil(STRETCH)).into_par_iter().map(|i| of_stretch(i * STRETCH)).collect();
    let mut sums = vec![Small::zeros(); a.len() * b.len()];
    for part in &parts {
        sums.iter_mut().zip(part).for_each(|(sum, part)| *sum += part);
    }
    sums.chunks(a.len().max(1)).map(<[Small]>::to_vec).collect()
}

/// `a' b`, four rows of the result at a time so that they stay in registers.
fn product(a: &[[f64; BLOCK]], b: &[[f64; BLOCK]]) -> Small {
    const HALF: usize = BLOCK / 2;
    let mut sum = [[0.0; BLOCK]; BLOCK];
    widest(
        #[inline(always)]
        || {
            for (half, rows) in sum.chunks_exact_mut(HALF).enumerate() {
                let mut own = [[0.0; BLOCK]; HALF];
                for (a, b) in a.iter().zip(b) {
                    for i in 0..HALF {
                        for j in 0..BLOCK {
                            own[i][j] += a[half * HALF + i] * b[j];
                        }
                    }
                }
                rows.copy_from_slice(&own);
            }
        },
    );
    Small::from_fn(|i, j| sum[i][j])
}

/// `x += v c`.
fn add_product(x: &mut [[f64; BLOCK]], v: &[[f64; BLOCK]], c: &Small) {
    let c: [[f64; BLOCK]; BLOCK] = std::array::from_fn(|i| std::array::from_fn(|j| c[(i, j)]));
    widest(
        #[inline(always)]
        || {
            for (x, v) in x.iter_mut().zip(v) {
                // A copy of the row, so that it stays in registers.
                let mut own = *x;
                for i in 0..BLOCK {
                    for j in 0..BLOCK {
                        own[j] += v[i] * c[i][j];
                    }
                }
                *x = own;
            }
        },
    );
}

/// `x = x c`.
fn turned(x: &mut [[f64; BLOCK]], c: &Small) {
    x.par_chunks_mut(STRETCH).for_each(|x| {
        let old = x.to_vec();
        x.fill([0.0; BLOCK]);
        add_product(x, &old, c);
    });
}

#[cfg(test)]
mod tests;
