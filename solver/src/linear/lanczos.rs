//! Largest eigenvalues of `K^-1 M` by block Lanczos in the inner product of M, fully orthogonalised.
//!
//! In: how to multiply with M and how to solve with K (shifted or not). Out: eigenvalues theta = 1 / lambda of
//! `K x = lambda M x` with M-orthonormal vectors, and what the recurrence says of their residuals. M may be
//! semidefinite. A block of eight finds repeated eigenvalues and costs little more than one vector, since a solve
//! reads the factor once for all. Sums run over fixed stretches of rows, so bits do not depend on the threads.
//! Sources: Golub and Underwood 1977, Nour-Omid et al. 1987 (from memory).

use super::LinearError;
use faer::linalg::matmul::matmul;
use faer::{Accum, MatMut, MatRef, Par};
use nalgebra::{DMatrix, SymmetricEigen};
use rayon::prelude::*;

/// Columns of a block.
const BLOCK: usize = 8;

/// Rows whose products are summed by one thread.
const STRETCH: usize = 4096;

/// Columns below this share of their length before orthogonalisation hold only rounding.
const DEPENDENT: f64 = 1e-10;

/// The two operations that define the problem. Vectors: columns of `n` unknowns one after another.
pub trait Pencil: Sync {
    /// Unknowns.
    fn n(&self) -> usize;
    /// `M x` for several columns.
    fn mass(&self, x: &[f64]) -> Vec<f64>;
    /// `K^-1 x` for several columns, in place.
    ///
    /// # Errors
    /// Those of a solve.
    fn solve(&self, x: &mut [f64]) -> Result<(), LinearError>;
}

/// Eigenpairs, largest magnitude of theta first.
#[derive(Debug, Clone, Default)]
pub struct Pairs {
    /// Eigenvalues of `K^-1 M`.
    pub theta: Vec<f64>,
    /// M-orthonormal vectors, one column of `n` after another.
    pub vectors: Vec<f64>,
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
/// Those of a solve; [`LinearError::OutOfMemory`].
pub fn largest(pencil: &dyn Pencil, wanted: usize, tolerance: f64) -> Result<Pairs, LinearError> {
    let n = pencil.n();
    if n == 0 || wanted == 0 {
        return Ok(Pairs::default());
    }
    let mut basis = Basis::start(pencil, n)?;
    let most = n.min(wanted.saturating_mul(8) + 10 * BLOCK);
    loop {
        let coupling = basis.grow(pencil)?;
        let size = basis.projected.nrows();
        if size == 0 {
            return Ok(Pairs::default());
        }
        let eigen = SymmetricEigen::new(basis.projected.clone());
        let values = &eigen.eigenvalues;
        let mut rank: Vec<usize> = (0..size).collect();
        rank.sort_by(|&a, &b| values[b].abs().total_cmp(&values[a].abs()).then(a.cmp(&b)));
        rank.truncate(wanted);
        let last = size - basis.newest;
        let estimate = |&i: &usize| {
            let tail = eigen.eigenvectors.column(i).rows(last, basis.newest).into_owned();
            (&coupling * tail).norm() / values[i].abs()
        };
        let residual: Vec<f64> = rank.iter().map(estimate).collect();
        let exhausted = coupling.nrows() == 0 || size >= most;
        if exhausted || (rank.len() == wanted && residual.iter().all(|r| *r < tolerance)) {
            let chosen = eigen.eigenvectors.select_columns(&rank);
            return Ok(Pairs {
                theta: rank.iter().map(|&i| values[i]).collect(),
                vectors: combine(&basis.vectors, n, &chosen),
                residual,
                solves: basis.solves,
            });
        }
        basis.accept(&coupling);
    }
}

/// The M-orthonormal vectors so far, their products with M, and the operator projected on them.
struct Basis {
    n: usize,
    vectors: Vec<f64>,
    with_mass: Vec<f64>,
    projected: DMatrix<f64>,
    /// Columns of the newest block.
    newest: usize,
    /// The next block, not yet accepted.
    next: [Vec<f64>; 2],
    solves: u32,
}

impl Basis {
    /// A first block in the range of `K^-1 M`, from numbers that are the same every time.
    fn start(pencil: &dyn Pencil, n: usize) -> Result<Self, LinearError> {
        let mut seed = 0x9e37_79b9_7f4a_7c15_u64;
        let mut draw = || {
            seed ^= seed << 13;
            seed ^= seed >> 7;
            seed ^= seed << 17;
            #[expect(clippy::cast_precision_loss, reason = "any number does")]
            let value = (seed >> 11) as f64;
            value / (1u64 << 53) as f64 - 0.5
        };
        let first: Vec<f64> = (0..n * BLOCK.min(n)).map(|_| draw()).collect();
        let mut first = pencil.mass(&first);
        pencil.solve(&mut first)?;
        let mut own = Self {
            n,
            vectors: Vec::new(),
            with_mass: Vec::new(),
            projected: DMatrix::zeros(0, 0),
            newest: 0,
            next: [Vec::new(), Vec::new()],
            solves: 1,
        };
        own.orthonormalise(pencil, first);
        let [vectors, with_mass] = std::mem::take(&mut own.next);
        own.newest = vectors.len() / n;
        (own.vectors, own.with_mass) = (vectors, with_mass);
        Ok(own)
    }

    /// One step: operator on the newest block, projection, and the next block. Returns how the next block couples to
    /// the newest one; no rows when nothing is left.
    fn grow(&mut self, pencil: &dyn Pencil) -> Result<DMatrix<f64>, LinearError> {
        let (n, newest) = (self.n, self.newest);
        let size = self.vectors.len() / n;
        let mut image = self.with_mass[(size - newest) * n..].to_vec();
        pencil.solve(&mut image)?;
        self.solves += 1;
        let mut shares = DMatrix::<f64>::zeros(size, newest);
        for _ in 0..2 {
            let part = inner(&self.with_mass, &image, n);
            take_out(&mut image, &self.vectors, &part, n);
            shares += &part;
        }
        let old = self.projected.nrows();
        self.projected = DMatrix::from_fn(size, size, |i, j| {
            let (i, j) = (i.max(j), i.min(j));
            if i < old { self.projected[(i, j)] } else { 0.0 }
        });
        for (column, j) in (size - newest..size).enumerate() {
            for i in 0..size {
                self.projected[(i, j)] = shares[(i, column)];
                self.projected[(j, i)] = shares[(i, column)];
            }
        }
        Ok(self.orthonormalise(pencil, image))
    }

    /// Makes a block M-orthonormal, dropping columns that depend on others; stores it as the next one. Returns the
    /// matrix R with `block = next R`.
    fn orthonormalise(&mut self, pencil: &dyn Pencil, mut block: Vec<f64>) -> DMatrix<f64> {
        let n = self.n;
        let given = block.len() / n;
        let mut r: Option<DMatrix<f64>> = None;
        // Twice: the first pass leaves what rounding spoils when columns are nearly parallel.
        for pass in 0..2 {
            let with_mass = pencil.mass(&block);
            let gram = inner(&with_mass, &block, n);
            let columns = gram.ncols();
            let largest = (0..columns).map(|i| gram[(i, i)]).fold(0.0, f64::max);
            if largest <= 0.0 || !largest.is_finite() {
                self.next = [Vec::new(), Vec::new()];
                return DMatrix::zeros(0, given);
            }
            let eigen = SymmetricEigen::new(gram);
            let (s, u) = (&eigen.eigenvalues, &eigen.eigenvectors);
            let bound = if pass == 0 { DEPENDENT * largest } else { 0.0 };
            let scale = r.as_ref().map_or_else(|| self.scale(), |_| 0.0);
            let kept: Vec<usize> = (0..columns).filter(|&i| s[i] > bound && s[i] > scale).collect();
            let turn = DMatrix::from_fn(columns, kept.len(), |i, j| u[(i, kept[j])] / s[kept[j]].sqrt());
            let back = DMatrix::from_fn(kept.len(), columns, |i, j| u[(j, kept[i])] * s[kept[i]].sqrt());
            if kept.is_empty() {
                self.next = [Vec::new(), Vec::new()];
                return DMatrix::zeros(0, given);
            }
            block = combine(&block, n, &turn);
            r = Some(r.map_or_else(|| back.clone(), |r| &back * &r));
            self.next[1] = combine(&with_mass, n, &turn);
            if !self.vectors.is_empty() && pass == 0 {
                let part = inner(&self.with_mass, &block, n);
                take_out(&mut block, &self.vectors, &part, n);
            }
        }
        self.next[0] = block;
        r.unwrap_or_else(|| DMatrix::zeros(0, 0))
    }

    /// Squared length below which a new direction is rounding of the operator's own size.
    fn scale(&self) -> f64 {
        let largest = (0..self.projected.nrows()).map(|i| self.projected[(i, i)].abs()).fold(0.0, f64::max);
        (f64::EPSILON * 16.0 * largest).powi(2)
    }

    /// Takes the next block into the basis.
    fn accept(&mut self, coupling: &DMatrix<f64>) {
        let [vectors, with_mass] = std::mem::take(&mut self.next);
        self.vectors.extend(vectors);
        self.with_mass.extend(with_mass);
        self.newest = coupling.nrows();
    }
}

fn columns(x: &[f64], n: usize) -> MatRef<'_, f64> {
    MatRef::from_column_major_slice(x, n, x.len() / n)
}

fn small(c: &DMatrix<f64>) -> MatRef<'_, f64> {
    MatRef::from_column_major_slice(c.as_slice(), c.nrows(), c.ncols())
}

/// `a' b`, stretch by stretch.
fn inner(a: &[f64], b: &[f64], n: usize) -> DMatrix<f64> {
    let (a, b) = (columns(a, n), columns(b, n));
    let [rows, width] = [a.ncols(), b.ncols()];
    let parts: Vec<DMatrix<f64>> = (0..n.div_ceil(STRETCH))
        .into_par_iter()
        .map(|i| {
            let (from, len) = (i * STRETCH, STRETCH.min(n - i * STRETCH));
            let mut part = DMatrix::zeros(rows, width);
            let target = MatMut::from_column_major_slice_mut(part.as_mut_slice(), rows, width);
            let (a, b) = (a.subrows(from, len), b.subrows(from, len));
            matmul(target, Accum::Replace, a.transpose(), b, 1.0, Par::Seq);
            part
        })
        .collect();
    parts.iter().fold(DMatrix::zeros(rows, width), |sum, part| sum + part)
}

/// `x -= v c`.
fn take_out(x: &mut [f64], v: &[f64], c: &DMatrix<f64>, n: usize) {
    let width = x.len() / n;
    let v = columns(v, n);
    let x = MatMut::from_column_major_slice_mut(x, n, width);
    x.par_row_chunks_mut(STRETCH).enumerate().for_each(|(i, part)| {
        let v = v.subrows(i * STRETCH, part.nrows());
        matmul(part, Accum::Add, v, small(c), -1.0, Par::Seq);
    });
}

/// `v c`.
fn combine(v: &[f64], n: usize, c: &DMatrix<f64>) -> Vec<f64> {
    let mut out = vec![0.0; n * c.ncols()];
    let v = columns(v, n);
    let target = MatMut::from_column_major_slice_mut(&mut out, n, c.ncols());
    target.par_row_chunks_mut(STRETCH).enumerate().for_each(|(i, part)| {
        let v = v.subrows(i * STRETCH, part.nrows());
        matmul(part, Accum::Replace, v, small(c), 1.0, Par::Seq);
    });
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A small dense pencil.
    struct Dense {
        inverse: DMatrix<f64>,
        mass: DMatrix<f64>,
    }

    impl Pencil for Dense {
        fn n(&self) -> usize {
            self.mass.nrows()
        }
        fn mass(&self, x: &[f64]) -> Vec<f64> {
            let x = DMatrix::from_column_slice(self.n(), x.len() / self.n(), x);
            (&self.mass * x).as_slice().to_vec()
        }
        fn solve(&self, x: &mut [f64]) -> Result<(), LinearError> {
            let own = DMatrix::from_column_slice(self.n(), x.len() / self.n(), x);
            x.copy_from_slice((&self.inverse * own).as_slice());
            Ok(())
        }
    }

    /// Symmetric and positive definite from a fixed pattern of numbers, plus `2 + i mod steps` on the diagonal.
    fn definite(n: usize, steps: usize) -> DMatrix<f64> {
        let half = DMatrix::from_fn(n, n, |i, j| ((i * 7 + j * 13) % 11) as f64 / 11.0 - 0.5);
        (&half + half.transpose()) * (0.5 / n as f64)
            + DMatrix::from_diagonal(&nalgebra::DVector::from_fn(n, |i, _| 2.0 + (i % steps) as f64))
    }

    /// Eigenvalues of K^-1 M by the symmetric form with the root of the inverse.
    fn dense_theta(pencil: &Dense) -> Vec<f64> {
        let eigen = SymmetricEigen::new(pencil.inverse.clone());
        let root = &eigen.eigenvectors
            * DMatrix::from_diagonal(&eigen.eigenvalues.map(f64::sqrt))
            * eigen.eigenvectors.transpose();
        let mut theta: Vec<f64> =
            (&root * &pencil.mass * &root).symmetric_eigenvalues().iter().copied().collect();
        theta.sort_by(|a, b| b.total_cmp(a));
        theta
    }

    fn check(pencil: &Dense, wanted: usize) -> Pairs {
        let pairs = largest(pencil, wanted, 1e-12).unwrap();
        let expected = dense_theta(pencil);
        let n = pencil.n();
        for (i, theta) in pairs.theta.iter().enumerate() {
            assert!(
                (theta - expected[i]).abs() < 1e-12 * expected[0],
                "theta {i}: {theta} against {}",
                expected[i]
            );
            let x = &pairs.vectors[i * n..(i + 1) * n];
            let mut image = pencil.mass(x);
            pencil.solve(&mut image).unwrap();
            let off = image.iter().zip(x).map(|(a, b)| (a - theta * b).abs()).fold(0.0, f64::max);
            assert!(off < 1e-11 * expected[0], "pair {i} is off by {off:.1e}");
        }
        let gram = inner(&pencil.mass(&pairs.vectors), &pairs.vectors, n);
        for i in 0..gram.nrows() {
            for j in 0..gram.ncols() {
                let wanted = if i == j { 1.0 } else { 0.0 };
                assert!((gram[(i, j)] - wanted).abs() < 1e-12, "({i}, {j}): {}", gram[(i, j)]);
            }
        }
        pairs
    }

    #[test]
    fn pairs_agree_with_a_dense_solution() {
        let pencil = Dense { inverse: definite(150, 40).try_inverse().unwrap(), mass: definite(150, 3) };
        let pairs = check(&pencil, 12);
        assert_eq!(pairs.theta.len(), 12);
        assert!(pairs.residual.iter().all(|r| *r < 1e-12), "{:?}", pairs.residual);
    }

    #[test]
    fn repeated_eigenvalues_are_all_found() {
        // Every eigenvalue five times.
        let diagonal = nalgebra::DVector::from_fn(100, |i, _| 1.0 / (1.0 + (i / 5) as f64));
        let pencil = Dense { inverse: DMatrix::from_diagonal(&diagonal), mass: DMatrix::identity(100, 100) };
        assert_eq!(check(&pencil, 20).theta.len(), 20);
    }

    #[test]
    fn all_there_are_when_mass_has_low_rank_or_more_are_wanted_than_exist() {
        let mut mass = DMatrix::zeros(60, 60);
        for i in 0..5 {
            mass[(7 * i, 7 * i)] = 1.0 + i as f64;
        }
        let pencil = Dense { inverse: definite(60, 20).try_inverse().unwrap(), mass };
        assert_eq!(check(&pencil, 9).theta.len(), 5, "rank of the mass");
        let whole = Dense { inverse: definite(11, 5).try_inverse().unwrap(), mass: definite(11, 4) };
        assert_eq!(check(&whole, 40).theta.len(), 11, "freedoms");
    }

    #[test]
    fn bits_do_not_depend_on_the_threads() {
        let pencil = Dense { inverse: definite(90, 30).try_inverse().unwrap(), mass: definite(90, 3) };
        let run = |threads| {
            let pool = rayon::ThreadPoolBuilder::new().num_threads(threads).build().unwrap();
            pool.install(|| largest(&pencil, 8, 1e-11).unwrap().vectors)
        };
        assert!(run(1) == run(2), "other bits with two threads");
    }
}
