//! Dense elimination of one front: `L L'` or `L D L'` of its pivots, the rows below, and the update for the parent.
//!
//! In: a front's panel with everything collected in it. Out: the factor in place of the panel, and minus the product
//! of the rows below with themselves in the lower triangle of the update. Small fronts
//! on one thread; large ones by strips, whose pieces and tiles the threads share. Which way is taken, and every cut,
//! depends on sizes only.

use faer::dyn_stack::{MemBuffer, MemStack};
use faer::linalg::cholesky::{ldlt, llt};
use faer::linalg::matmul::matmul;
use faer::linalg::matmul::triangular::{self, BlockStructure};
use faer::linalg::triangular_solve;
use faer::prelude::{Reborrow, ReborrowMut};
use faer::{Accum, MatMut, MatRef, Par};
use rayon::prelude::*;

/// Columns that a shared front eliminates at a time.
const STRIP: usize = 192;
/// Rows of a piece below them that one thread solves for.
const PIECE: usize = 128;
/// Rows and columns of the tiles that one thread updates: three of them stay in the second-level cache.
const TILE: usize = 256;

/// Columns of a front, one after another: `k` pivots of `m` rows each.
pub(super) struct Panel<'a> {
    pub(super) values: &'a mut [f64],
    pub(super) m: usize,
    pub(super) k: usize,
}

impl<'a> Panel<'a> {
    fn whole(self) -> MatMut<'a, f64> {
        MatMut::from_column_major_slice_mut(self.values, self.m, self.k)
    }
}

/// `L L'` in place: index of the pivot that is not positive otherwise.
fn cholesky(top: MatMut<'_, f64>, library: &mut MemBuffer) -> Result<(), usize> {
    let (none, stack) = (llt::factor::LltRegularization::default(), MemStack::new(library));
    llt::factor::cholesky_in_place(top, none, Par::Seq, stack, faer::Spec::default())
        .map(|_| ())
        .map_err(|llt::factor::LltError::NonPositivePivot { index }| index)
}

/// On one thread.
///
/// # Errors
/// Index of a pivot that is not positive.
pub(super) fn eliminate(panel: Panel<'_>, update: &mut [f64], library: &mut MemBuffer) -> Result<(), usize> {
    let (k, n) = (panel.k, panel.m - panel.k);
    let (mut top, mut low) = panel.whole().split_at_row_mut(k);
    cholesky(top.rb_mut(), library)?;
    triangular_solve::solve_lower_triangular_in_place(top.rb(), low.rb_mut().transpose_mut(), Par::Seq);
    subtract_product(update, n, low.rb(), low.rb(), Par::Seq);
    Ok(())
}

/// Large fronts by strips of columns; pieces and tiles are shared among the threads.
///
/// # Errors
/// Index of a pivot that is not positive.
pub(super) fn eliminate_shared(
    panel: Panel<'_>,
    update: &mut [f64],
    library: &mut MemBuffer,
) -> Result<(), usize> {
    let (k, n) = (panel.k, panel.m - panel.k);
    let mut update = MatMut::from_column_major_slice_mut(update, n, n);
    let mut rest = panel.whole();
    for start in (0..k).step_by(STRIP) {
        let width = STRIP.min(k - start);
        let (strip, right) = rest.split_at_col_mut(width);
        let (mut top, mut low) = strip.split_at_row_mut(width);
        cholesky(top.rb_mut(), library).map_err(|index| start + index)?;
        let top = top.rb();
        cut_rows(low.rb_mut(), PIECE).into_par_iter().with_max_len(1).for_each(|piece| {
            triangular_solve::solve_lower_triangular_in_place(top, piece.transpose_mut(), Par::Seq);
        });
        let mut right = right.split_at_row_mut(width).1;
        let mut tiles = Vec::new();
        cut_lower(right.rb_mut(), 0, Accum::Add, &mut tiles);
        let accum = if start == 0 { Accum::Replace } else { Accum::Add };
        cut_lower(update.rb_mut(), k - start - width, accum, &mut tiles);
        let low = low.rb();
        tiles.into_par_iter().with_max_len(1).for_each(|tile| tile.subtract(low));
        rest = right;
    }
    Ok(())
}

/// A part of a lower triangle and the rows of the factor that its rows and columns go with.
struct Tile<'a> {
    target: MatMut<'a, f64>,
    rows_from: usize,
    columns_from: usize,
    accum: Accum,
}

impl Tile<'_> {
    /// `target -= low low'` for its rows and columns.
    fn subtract(mut self, low: MatRef<'_, f64>) {
        let (m, n) = (self.target.nrows(), self.target.ncols());
        let a = low.subrows(self.rows_from, m);
        let b = low.subrows(self.columns_from, n);
        if self.rows_from == self.columns_from {
            let (square, rest) = self.target.rb_mut().split_at_row_mut(n);
            lower_product(square, self.accum, a.subrows(0, n), b, Par::Seq);
            matmul(rest, self.accum, a.subrows(n, m - n), b.transpose(), -1.0, Par::Seq);
        } else {
            matmul(self.target, self.accum, a, b.transpose(), -1.0, Par::Seq);
        }
    }
}

/// Rows in pieces.
fn cut_rows(mut rest: MatMut<'_, f64>, height: usize) -> Vec<MatMut<'_, f64>> {
    let mut pieces = Vec::with_capacity(rest.nrows().div_ceil(height));
    while rest.nrows() > 0 {
        let height = height.min(rest.nrows());
        let (piece, below) = rest.split_at_row_mut(height);
        pieces.push(piece);
        rest = below;
    }
    pieces
}

/// Tiles of the lower triangle of a matrix at least as high as wide, whose first row and column go with row `first`.
fn cut_lower<'a>(whole: MatMut<'a, f64>, first: usize, accum: Accum, tiles: &mut Vec<Tile<'a>>) {
    let mut rest = whole;
    let mut columns_from = first;
    while rest.ncols() > 0 {
        let width = TILE.min(rest.ncols());
        let (strip, right) = rest.split_at_col_mut(width);
        let mut rows_from = columns_from;
        for target in cut_rows(strip, TILE) {
            let height = target.nrows();
            tiles.push(Tile { target, rows_from, columns_from, accum });
            rows_from += height;
        }
        rest = right.split_at_row_mut(width).1;
        columns_from += width;
    }
}

/// The same with `L D L'`: unit lower triangle, D on the diagonal. `spare`: room for the rows below.
///
/// # Errors
/// Index of a pivot that is zero or not a number.
pub(super) fn eliminate_signed(
    panel: Panel<'_>,
    update: &mut [f64],
    library: &mut MemBuffer,
    spare: &mut [f64],
    par: Par,
) -> Result<(), usize> {
    let (k, n) = (panel.k, panel.m - panel.k);
    let (mut top, mut low) = panel.whole().split_at_row_mut(k);
    let stack = MemStack::new(library);
    ldlt::factor::cholesky_in_place(
        top.rb_mut(),
        ldlt::factor::LdltRegularization::default(),
        par,
        stack,
        faer::Spec::default(),
    )
    .map_err(|ldlt::factor::LdltError::ZeroPivot { index }| index)?;
    if let Some(index) = (0..k).find(|&j| !top[(j, j)].is_finite()) {
        return Err(index);
    }
    triangular_solve::solve_unit_lower_triangular_in_place(top.rb(), low.rb_mut().transpose_mut(), par);
    let mut undivided = MatMut::from_column_major_slice_mut(&mut spare[..n * k], n, k);
    undivided.copy_from(low.rb());
    for j in 0..k {
        let pivot = top[(j, j)];
        low.rb_mut().col_mut(j).iter_mut().for_each(|v| *v /= pivot);
    }
    subtract_product(update, n, undivided.rb(), low.rb(), par);
    Ok(())
}

/// `update = - a b'`, lower triangle.
fn subtract_product(update: &mut [f64], n: usize, a: MatRef<'_, f64>, b: MatRef<'_, f64>, par: Par) {
    if n > 0 {
        lower_product(MatMut::from_column_major_slice_mut(update, n, n), Accum::Replace, a, b, par);
    }
}

/// Takes `a b'` from the lower triangle of a square, or puts minus it there.
fn lower_product(square: MatMut<'_, f64>, accum: Accum, a: MatRef<'_, f64>, b: MatRef<'_, f64>, par: Par) {
    let full = BlockStructure::Rectangular;
    let lower = BlockStructure::TriangularLower;
    triangular::matmul(square, lower, accum, a, full, b.transpose(), full, -1.0, par);
}
