//! Lanczos against dense eigenvalues, repeated ones and masses without rank.

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
    fn mass(&self, x: &[[f64; BLOCK]]) -> Block {
        times(&self.mass, x)
    }
    fn solve(&self, x: &mut [[f64; BLOCK]]) -> Result<(), LinearError> {
        let solved = times(&self.inverse, x);
        x.copy_from_slice(&solved);
        Ok(())
    }
}

fn times(matrix: &DMatrix<f64>, x: &[[f64; BLOCK]]) -> Block {
    let x = DMatrix::from_fn(x.len(), BLOCK, |i, j| x[i][j]);
    let y = matrix * x;
    (0..y.nrows()).map(|i| std::array::from_fn(|j| y[(i, j)])).collect()
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
    for (i, theta) in pairs.theta.iter().enumerate() {
        let exact = expected[i];
        assert!((theta - exact).abs() < 1e-12 * expected[0], "theta {i}: {theta} against {exact}");
    }
    for (b, block) in pairs.vectors.iter().enumerate() {
        let mut image = pencil.mass(block);
        pencil.solve(&mut image).unwrap();
        for j in 0..BLOCK {
            let theta = pairs.theta.get(b * BLOCK + j).copied().unwrap_or(0.0);
            let off = image.iter().zip(block).map(|(a, b)| (a[j] - theta * b[j]).abs()).fold(0.0, f64::max);
            assert!(off < 1e-11 * expected[0], "pair {j} of block {b} is off by {off:.1e}");
        }
        for (c, other) in pairs.vectors.iter().enumerate() {
            let gram = inner(&pencil.mass(block), other);
            for i in 0..BLOCK {
                for j in 0..BLOCK {
                    let same = b == c && i == j && b * BLOCK + i < pairs.theta.len();
                    let off = gram[(i, j)] - f64::from(u8::from(same));
                    assert!(off.abs() < 1e-12, "({i}, {j}) of blocks {b} and {c}: {off:.1e}");
                }
            }
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
