//! Dense elimination of one front: `L L'` or `L D L'` of its pivots, the rows below, and the update for the parent.
//!
//! In: a front's panel with everything collected in it. Out: the factor in place of the panel, and minus the product
//! of the rows below with themselves in the lower triangle of the update. `L L'` goes by strips of columns through the
//! tiles of [`super::tiles`], small fronts on one thread, the groups of rows and columns of large ones shared among the
//! threads; `L D L'` is the library's. Every cut depends on sizes only, and no number on how it was cut for the threads.

use super::packed::{GROUP, Strip, put_back};
use super::tiles::{self, Corner, Right};
use faer::dyn_stack::{MemBuffer, MemStack};
use faer::linalg::cholesky::ldlt;
use faer::linalg::matmul::triangular::{self, BlockStructure};
use faer::linalg::triangular_solve;
use faer::prelude::{Reborrow, ReborrowMut};
use faer::{Accum, MatMut, MatRef, Par};
use rayon::prelude::*;

/// Most columns of a strip: a packed group of rows takes most of the first-level cache.
const STRIP: usize = 144;

/// Columns that one thread updates at a time: packed as rows they leave the second-level cache to the rows.
const PIECE: usize = 2 * GROUP;

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

/// What becomes of columns of the update, the first of them named, once the product is there.
pub(super) type Finish<'a> = dyn Fn(usize, &mut [f64]) + Sync + 'a;

/// Memory for packed rows and corners of one front after another.
#[derive(Debug, Default)]
pub(super) struct Room {
    pub(super) packed: Vec<f64>,
    corners: Vec<Corner>,
}

impl Room {
    pub(super) fn new(packed: Vec<f64>) -> Self {
        Self { packed, corners: Vec::new() }
    }
}

/// Entries of packed rows that a front of `k` pivots with `m` rows needs.
pub(super) fn packed(k: usize, m: usize) -> usize {
    strips(k, m).map(|strip| strip.packed().iter().sum()).max().unwrap_or(0) + ALIGNED
}

/// Values to a line of the cache: packed rows begin at one.
const ALIGNED: usize = 8;

/// Strips of a panel: the first takes what the others, whole groups all and at most [`STRIP`] columns, leave over.
fn strips(k: usize, m: usize) -> impl Iterator<Item = Strip> {
    let count = k.div_ceil(STRIP);
    let each = (k / count.max(1)).div_ceil(GROUP) * GROUP;
    let first = k - each * count.saturating_sub(1);
    (0..count).map(move |i| match i {
        0 => Strip { height: m, start: 0, width: first },
        _ => Strip { height: m, start: first + (i - 1) * each, width: each },
    })
}

/// `L L'`; with `shared` all threads take part. `finish` is called with the first of some columns of the update and
/// with these, once for each column after the product is there.
///
/// # Errors
/// Index of a pivot that is not positive.
pub(super) fn eliminate(
    panel: Panel<'_>,
    update: &mut [f64],
    room: &mut Room,
    shared: bool,
    finish: &Finish<'_>,
) -> Result<(), usize> {
    let Panel { values, m, k } = panel;
    let mut rest = values;
    for strip in strips(k, m) {
        let (own, right) = rest.split_at_mut(strip.width * m);
        let [top, low] = strip.packed();
        let begin = room.packed.as_ptr().align_offset(ALIGNED * size_of::<f64>()).min(ALIGNED);
        let (top, low) = room.packed[begin..][..top + low].split_at_mut(top);
        tiles::pivots(strip, own, top, &mut room.corners).map_err(|index| strip.start + index)?;
        let known = (&*top, &*room.corners);
        if shared {
            let values = &*own;
            low.par_chunks_mut(strip.slot()).with_max_len(1).enumerate().for_each(|group| {
                tiles::rows_below(strip, values, known, group);
            });
            let low = &*low;
            let back = || {
                own.par_chunks_mut(GROUP * m).enumerate().for_each(|(i, part)| {
                    put_back(strip, (0, known.0), (i * GROUP, part));
                    put_back(strip, (strip.width, low), (i * GROUP, part));
                });
            };
            let forth = || {
                let pieces = pieces(strip, k, right, update);
                pieces.into_par_iter().with_max_len(1).for_each(|part| taken(strip, low, part, (k, finish)));
            };
            rayon::join(back, forth);
        } else {
            tiles::rows_below(strip, own, known, (0, low));
            put_back(strip, (0, known.0), (0, own));
            put_back(strip, (strip.width, low), (0, own));
            let pieces = pieces(strip, k, right, update);
            pieces.into_iter().for_each(|part| taken(strip, low, part, (k, finish)));
        }
        rest = right;
    }
    Ok(())
}

/// Takes a strip's product from columns to its right; those of the update are finished with the last strip's.
fn taken(strip: Strip, low: &[f64], mut right: Right<'_>, (k, finish): (usize, &Finish<'_>)) {
    tiles::subtract(strip, low, &mut right);
    if strip.start + strip.width == k {
        finish(right.first, right.values);
    }
}

/// Columns right of a strip, those of the panel and those of the update, in pieces.
fn pieces<'a>(strip: Strip, k: usize, right: &'a mut [f64], update: &'a mut [f64]) -> Vec<Right<'a>> {
    let Strip { height, start, width } = strip;
    let (end, n) = (start + width, height - k);
    let mut pieces = Vec::with_capacity((height - end).div_ceil(PIECE) + 1);
    for (i, values) in right.chunks_mut(PIECE * height).enumerate() {
        pieces.push(Right { values, height, place: end + i * PIECE, first: i * PIECE, add: true });
    }
    if n > 0 {
        for (i, values) in update[..n * n].chunks_mut(PIECE * n).enumerate() {
            let (place, add) = (i * PIECE, start > 0);
            pieces.push(Right { values, height: n, place, first: k - end + place, add });
        }
    }
    pieces
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
    finish: &Finish<'_>,
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
    if n > 0 {
        subtract_product(update, n, undivided.rb(), low.rb(), par);
        let update = &mut update[..n * n];
        match par {
            Par::Seq => finish(0, update),
            Par::Rayon(_) => {
                let pieces = update.par_chunks_mut(PIECE * n).enumerate();
                pieces.for_each(|(i, columns)| finish(i * PIECE, columns));
            }
        }
    }
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

#[cfg(test)]
mod tests {
    use super::*;

    /// Whatever the number of columns: side by side, none empty or too wide, all but the first whole groups.
    #[test]
    fn strips_cover_every_column_once() {
        for k in 1..5000 {
            let mut end = 0;
            for strip in strips(k, k + 7) {
                assert_eq!(strip.start, end, "{k} columns");
                assert!((1..=STRIP).contains(&strip.width), "{k} columns: {strip:?}");
                assert!(end == 0 || strip.width % GROUP == 0, "{k} columns: {strip:?}");
                end += strip.width;
            }
            assert_eq!(end, k, "all columns");
        }
    }
}
