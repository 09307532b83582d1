//! Kernels of the dense elimination: tiles that stay in registers, on rows packed for them.
//!
//! In: a strip of a front's columns, one after another. Out: its factor, packed, and what it takes from the columns to
//! its right. A tile of a few vectors by a few columns is summed up over all columns of the strip before it touches
//! memory again (Goto and van de Geijn 2008, triangles in registers as by Frison and others 2018, both from memory).
//! Vectors are those of the processor. Rows never mix, so lanes that hold no row may hold garbage: nobody reads it.

#![expect(
    clippy::needless_range_loop,
    reason = "by indices that the compiler knows a tile stays in registers"
)]

use super::packed::{GROUP, Strip};
use crate::vectors::ask_for;
use pulp::{NullaryFnOnce, Simd, WithSimd};

/// Most columns of a tile.
const WIDEST: usize = 8;

/// Groups worked off side by side: one alone would wait for its own last tile.
const SIDE_BY_SIDE: usize = 4;

/// Groups whose products with one tile's columns follow each other: they stay in the second-level cache.
const RUN: usize = 20;

/// Packed columns of rows asked for ahead of their turn: the second-level cache would not bring them in time by itself.
const AHEAD: usize = 12;

/// The triangle on the diagonal that a tile's columns are solved with: minus its entries below the diagonal, column by
/// column, over those on it, and one over those on it.
#[derive(Debug, Clone, Copy)]
pub(super) struct Corner {
    minus: [[f64; WIDEST]; WIDEST],
    inverse: [f64; WIDEST],
}

impl Corner {
    /// Leaves columns as they are.
    const NONE: Self = Self { minus: [[0.0; WIDEST]; WIDEST], inverse: [1.0; WIDEST] };

    /// Factors a square whose columns begin the given runs of [`GROUP`] values.
    #[inline(always)]
    fn of(columns: &[f64]) -> Result<Self, usize> {
        let width = columns.len().div_ceil(GROUP);
        let mut own = Self::NONE;
        for (j, column) in columns.chunks(GROUP).enumerate() {
            let mut square = [0.0; WIDEST];
            square[..width].copy_from_slice(&column[..width]);
            for before in &own.minus[..j] {
                for i in j..width {
                    square[i] = before[j].mul_add(-before[i], square[i]);
                }
            }
            let pivot = square[j];
            // Not a number is no pivot either.
            if pivot.partial_cmp(&0.0) != Some(std::cmp::Ordering::Greater) {
                return Err(j);
            }
            let inverse = pivot.sqrt().recip();
            own.inverse[j] = inverse;
            for i in j + 1..width {
                own.minus[j][i] = -square[i] * inverse;
            }
        }
        Ok(own)
    }
}

/// One kernel; `V` vectors by `N` columns fill the registers.
trait Kernel {
    type Output;
    fn run<S: Simd, const V: usize, const N: usize>(self, simd: S) -> Self::Output;
}

struct Wide<K>(K);

impl<K: Kernel> WithSimd for Wide<K> {
    type Output = K::Output;

    #[inline(always)]
    fn with_simd<S: Simd>(self, simd: S) -> K::Output {
        match S::F64_LANES {
            8 => self.0.run::<S, 3, 8>(simd),
            4 => self.0.run::<S, 3, 4>(simd),
            _ => self.0.run::<S, 4, 4>(simd),
        }
    }
}

/// A group's rows from one vector on times a group's rows as columns, over all packed columns.
#[derive(Clone, Copy)]
struct Factors<'a> {
    rows: &'a [f64],
    columns: &'a [f64],
    /// First row of `columns` that is a column of the tile.
    offset: usize,
}

impl Factors<'_> {
    #[inline(always)]
    fn sum<S: Simd, const V: usize, const N: usize>(
        &self,
        simd: S,
        from: usize,
        own: &mut [[S::f64s; V]; N],
    ) {
        let (rows, _) = S::as_simd_f64s(self.rows);
        for (a, b) in rows.chunks_exact(GROUP / S::F64_LANES).zip(self.columns.chunks_exact(GROUP)) {
            let (Some(a), Some(b)) = (a[from..].first_chunk::<V>(), b[self.offset..].first_chunk::<N>())
            else {
                return;
            };
            for v in a {
                ask_for(std::ptr::from_ref(v).cast::<f64>().wrapping_add(AHEAD * GROUP));
            }
            for j in 0..N {
                let b = simd.splat_f64s(b[j]);
                for v in 0..V {
                    own[j][v] = simd.mul_add_f64s(a[v], b, own[j][v]);
                }
            }
        }
    }
}

/// Where the columns of a tile begin in memory: every `height` entries, `rows` of each count, `width` columns.
#[derive(Clone, Copy)]
struct Extent {
    height: usize,
    rows: usize,
    width: usize,
}

/// Calls a method for as many vectors as a tile takes: `V` at most, fewer at the end of a group.
macro_rules! by_vectors {
    ($most:expr, $left:expr, $on:ident . $method:ident :: <$($more:ty),* ; $n:ident> $args:tt) => {
        match $most.min($left) {
            1 => $on.$method::<$($more,)* 1, $n> $args,
            2 => $on.$method::<$($more,)* 2, $n> $args,
            3 => $on.$method::<$($more,)* 3, $n> $args,
            _ => $on.$method::<$($more,)* 4, $n> $args,
        }
    };
}

/// Columns of a strip for a group of rows: values less the product with what is done, solved with a corner.
#[derive(Clone, Copy)]
struct Solved<'a> {
    factors: Factors<'a>,
    /// From the group's first row and the tile's first column on.
    values: &'a [f64],
    extent: Extent,
    corner: &'a Corner,
}

impl Solved<'_> {
    /// All tiles from vector `first` on, into the group's `fresh` columns.
    #[inline(always)]
    fn group<S: Simd, const V: usize, const N: usize>(&self, simd: S, first: usize, fresh: &mut [f64]) {
        let vectors = self.extent.rows.div_ceil(S::F64_LANES);
        for from in (first..vectors).step_by(V) {
            by_vectors!(V, vectors - from, self.tile::<S; N>(simd, from, fresh));
        }
    }

    #[inline(always)]
    fn tile<S: Simd, const V: usize, const N: usize>(&self, simd: S, from: usize, fresh: &mut [f64]) {
        simd.vectorize(SolvedTile::<S, V, N> { simd, from, solved: *self, fresh });
    }
}

struct SolvedTile<'a, S, const V: usize, const N: usize> {
    simd: S,
    from: usize,
    solved: Solved<'a>,
    fresh: &'a mut [f64],
}

impl<S: Simd, const V: usize, const N: usize> NullaryFnOnce for SolvedTile<'_, S, V, N> {
    type Output = ();

    #[inline(always)]
    fn call(self) {
        let Self { simd, from, solved: Solved { factors, values, extent, corner }, fresh } = self;
        let skip = from * S::F64_LANES;
        let mut own = [[simd.splat_f64s(0.0); V]; N];
        factors.sum(simd, from, &mut own);
        for j in 0..N {
            if j < extent.width {
                let (whole, part) =
                    S::as_simd_f64s(&values[j * extent.height + skip..][..extent.rows - skip]);
                if let Some(whole) = whole.first_chunk::<V>() {
                    for v in 0..V {
                        own[j][v] = simd.sub_f64s(whole[v], own[j][v]);
                    }
                } else {
                    for v in 0..V - 1 {
                        if let Some(&value) = whole.get(v) {
                            own[j][v] = simd.sub_f64s(value, own[j][v]);
                        }
                    }
                    own[j][V - 1] = simd.sub_f64s(simd.partial_load_f64s(part), own[j][V - 1]);
                }
            }
        }
        eliminated::<S, V, N, 0>(simd, &mut own, corner);
        eliminated::<S, V, N, 1>(simd, &mut own, corner);
        eliminated::<S, V, N, 2>(simd, &mut own, corner);
        eliminated::<S, V, N, 3>(simd, &mut own, corner);
        eliminated::<S, V, N, 4>(simd, &mut own, corner);
        eliminated::<S, V, N, 5>(simd, &mut own, corner);
        eliminated::<S, V, N, 6>(simd, &mut own, corner);
        eliminated::<S, V, N, 7>(simd, &mut own, corner);
        for j in 0..N {
            if j < extent.width {
                let (fresh, _) = S::as_mut_simd_f64s(&mut fresh[j * GROUP..][..GROUP]);
                if let Some(fresh) = fresh[from..].first_chunk_mut::<V>() {
                    *fresh = own[j];
                }
            }
        }
    }
}

/// Column `J` of a tile solved and taken from those to its right. A loop over `J` would put the tile into memory.
#[inline(always)]
fn eliminated<S: Simd, const V: usize, const N: usize, const J: usize>(
    simd: S,
    x: &mut [[S::f64s; V]; N],
    corner: &Corner,
) {
    if J >= N {
        return;
    }
    let inverse = simd.splat_f64s(corner.inverse[J]);
    for v in 0..V {
        x[J][v] = simd.mul_f64s(x[J][v], inverse);
    }
    for i in J + 1..N {
        let factor = simd.splat_f64s(corner.minus[J][i]);
        for v in 0..V {
            x[i][v] = simd.mul_add_f64s(x[J][v], factor, x[i][v]);
        }
    }
}

/// Factors the strip's own rows into `top`, and their corners.
///
/// # Errors
/// Column of the strip whose pivot is not positive.
pub(super) fn pivots(
    strip: Strip,
    values: &[f64],
    top: &mut [f64],
    corners: &mut Vec<Corner>,
) -> Result<(), usize> {
    corners.clear();
    pulp::Arch::new().dispatch(Wide(Pivots { strip, values, top, corners }))
}

struct Pivots<'a> {
    strip: Strip,
    values: &'a [f64],
    top: &'a mut [f64],
    corners: &'a mut Vec<Corner>,
}

impl Kernel for Pivots<'_> {
    type Output = Result<(), usize>;

    #[inline(always)]
    fn run<S: Simd, const V: usize, const N: usize>(self, simd: S) -> Self::Output {
        let Self { strip, values, top, corners } = self;
        let slot = strip.slot();
        for column in (0..strip.width).step_by(N) {
            let [at, offset] = [column / GROUP, column % GROUP];
            let width = N.min(strip.width - column);
            let extent =
                |row: usize| Extent { height: strip.height, rows: GROUP.min(strip.width - row), width };
            let values = |row: usize| &values[column * strip.height + strip.start + row..];
            let (before, own) = top.split_at_mut((at + 1) * slot);
            let (done, fresh) = before[at * slot..].split_at_mut(column * GROUP);
            let fresh = &mut fresh[..width * GROUP];
            let first = offset / S::F64_LANES;
            let factors = Factors { rows: done, columns: done, offset };
            let (place, corner) = (at * GROUP, &Corner::NONE);
            Solved { factors, values: values(place), extent: extent(place), corner }
                .group::<S, V, N>(simd, first, fresh);
            let corner = Corner::of(&fresh[offset..]).map_err(|index| column + index)?;
            let mut raw = [0.0; GROUP * WIDEST];
            raw[..fresh.len()].copy_from_slice(fresh);
            let (factors, extent_here) =
                (Factors { rows: &[], columns: &[], offset }, Extent { height: GROUP, ..extent(place) });
            Solved { factors, values: &raw, extent: extent_here, corner: &corner }
                .group::<S, V, N>(simd, first, fresh);
            for (group, own) in own.chunks_exact_mut(slot).enumerate() {
                let row = (at + 1 + group) * GROUP;
                let (rows, fresh) = own.split_at_mut(column * GROUP);
                let factors = Factors { rows, columns: done, offset };
                Solved { factors, values: values(row), extent: extent(row), corner: &corner }
                    .group::<S, V, N>(simd, 0, fresh);
            }
            corners.push(corner);
        }
        Ok(())
    }
}

/// Solves for packed groups of rows below the strip, the first of them group `first`.
pub(super) fn rows_below(
    strip: Strip,
    values: &[f64],
    (top, corners): (&[f64], &[Corner]),
    (first, groups): (usize, &mut [f64]),
) {
    pulp::Arch::new().dispatch(Wide(RowsBelow { strip, values, top, corners, first, groups }));
}

struct RowsBelow<'a> {
    strip: Strip,
    values: &'a [f64],
    top: &'a [f64],
    corners: &'a [Corner],
    first: usize,
    groups: &'a mut [f64],
}

impl Kernel for RowsBelow<'_> {
    type Output = ();

    #[inline(always)]
    fn run<S: Simd, const V: usize, const N: usize>(self, simd: S) {
        let Self { strip, values, top, corners, first, groups } = self;
        let slot = strip.slot();
        for (run, groups) in groups.chunks_mut(SIDE_BY_SIDE * slot).enumerate() {
            for (column, corner) in (0..strip.width).step_by(N).zip(corners) {
                let [at, offset] = [column / GROUP, column % GROUP];
                let columns = &top[at * slot..][..column * GROUP];
                let width = N.min(strip.width - column);
                for (group, own) in groups.chunks_exact_mut(slot).enumerate() {
                    let row = (first + run * SIDE_BY_SIDE + group) * GROUP;
                    let extent = Extent { height: strip.height, rows: GROUP.min(strip.below() - row), width };
                    let values = &values[column * strip.height + strip.start + strip.width + row..];
                    let (rows, fresh) = own.split_at_mut(column * GROUP);
                    let factors = Factors { rows, columns, offset };
                    Solved { factors, values, extent, corner }.group::<S, V, N>(simd, 0, fresh);
                }
            }
        }
    }
}

/// Columns right of a strip, one after another; rows and columns count from the strip's last row on.
pub(super) struct Right<'a> {
    pub(super) values: &'a mut [f64],
    /// Entries of each column.
    pub(super) height: usize,
    /// Place in the column of the first column's own row.
    pub(super) place: usize,
    /// First column, which begins a group.
    pub(super) first: usize,
    /// Whether the product is taken from what is there; else minus the product is put there.
    pub(super) add: bool,
}

/// Takes the product of the packed rows with themselves from columns to the right, on and below the diagonal; close
/// above it the values become garbage.
pub(super) fn subtract(strip: Strip, low: &[f64], right: &mut Right<'_>) {
    pulp::Arch::new().dispatch(Wide(Subtract { strip, low, right }));
}

struct Subtract<'a, 'b> {
    strip: Strip,
    low: &'a [f64],
    right: &'a mut Right<'b>,
}

impl Kernel for Subtract<'_, '_> {
    type Output = ();

    #[inline(always)]
    fn run<S: Simd, const V: usize, const N: usize>(self, simd: S) {
        let Self { strip, low, right } = self;
        let Right { ref mut values, height, place, first, add } = *right;
        let slot = strip.slot();
        let columns = values.len() / height;
        let groups = low.len() / slot;
        for run in (first / GROUP..groups).step_by(RUN) {
            let end = groups.min(run + RUN);
            for column in (0..columns.min(end * GROUP - first)).step_by(N) {
                let [at, offset] = [(first + column) / GROUP, (first + column) % GROUP];
                for group in run.max(at)..end {
                    let row = group * GROUP;
                    let rows = GROUP.min(strip.below() - row);
                    let from = if at == group { offset / S::F64_LANES } else { 0 };
                    let factors = Factors {
                        rows: &low[group * slot..][..slot],
                        columns: &low[at * slot..][..slot],
                        offset,
                    };
                    let extent = Extent { height, rows, width: N.min(columns - column) };
                    let target = &mut values[column * height + place + row - first..];
                    let vectors = rows.div_ceil(S::F64_LANES);
                    for from in (from..vectors).step_by(V) {
                        let tile = Taken { factors, extent, add, from };
                        by_vectors!(V, vectors - from, tile.put::<S; N>(simd, target));
                    }
                }
            }
        }
    }
}

/// A tile's product on its way to memory.
#[derive(Clone, Copy)]
struct Taken<'a> {
    factors: Factors<'a>,
    extent: Extent,
    add: bool,
    /// Vector of the group that the tile begins with.
    from: usize,
}

impl Taken<'_> {
    #[inline(always)]
    fn put<S: Simd, const V: usize, const N: usize>(self, simd: S, target: &mut [f64]) {
        simd.vectorize(TakenTile::<S, V, N> { simd, taken: self, target });
    }

    /// Column `J` of the tile to its place. A loop over `J` would put the tile into memory.
    #[inline(always)]
    fn column<S: Simd, const V: usize, const N: usize, const J: usize>(
        &self,
        simd: S,
        own: &[[S::f64s; V]; N],
        target: &mut [f64],
    ) {
        let Extent { height, rows, width } = self.extent;
        if J >= N || J >= width {
            return;
        }
        let skip = self.from * S::F64_LANES;
        let values = &mut target[J * height + skip..][..rows - skip];
        let (whole, part) = S::as_mut_simd_f64s(values);
        if let Some(whole) = whole.first_chunk_mut::<V>() {
            for v in 0..V {
                whole[v] = taken(simd, self.add, whole[v], own[J][v]);
            }
        } else {
            for v in 0..V - 1 {
                if let Some(value) = whole.get_mut(v) {
                    *value = taken(simd, self.add, *value, own[J][v]);
                }
            }
            let value = taken(simd, self.add, simd.partial_load_f64s(part), own[J][V - 1]);
            simd.partial_store_f64s(part, value);
        }
    }
}

struct TakenTile<'a, S, const V: usize, const N: usize> {
    simd: S,
    taken: Taken<'a>,
    target: &'a mut [f64],
}

impl<S: Simd, const V: usize, const N: usize> NullaryFnOnce for TakenTile<'_, S, V, N> {
    type Output = ();

    #[inline(always)]
    fn call(self) {
        let Self { simd, taken, target } = self;
        let mut own = [[simd.splat_f64s(0.0); V]; N];
        let skip = taken.from * S::F64_LANES;
        for j in 0..N.min(taken.extent.width) {
            let place = target.as_ptr().wrapping_add(j * taken.extent.height + skip);
            for v in 0..V {
                ask_for(place.wrapping_add(v * S::F64_LANES));
            }
            ask_for(place.wrapping_add(V * S::F64_LANES - 1));
        }
        taken.factors.sum(simd, taken.from, &mut own);
        taken.column::<S, V, N, 0>(simd, &own, target);
        taken.column::<S, V, N, 1>(simd, &own, target);
        taken.column::<S, V, N, 2>(simd, &own, target);
        taken.column::<S, V, N, 3>(simd, &own, target);
        taken.column::<S, V, N, 4>(simd, &own, target);
        taken.column::<S, V, N, 5>(simd, &own, target);
        taken.column::<S, V, N, 6>(simd, &own, target);
        taken.column::<S, V, N, 7>(simd, &own, target);
    }
}

#[inline(always)]
fn taken<S: Simd>(simd: S, add: bool, value: S::f64s, product: S::f64s) -> S::f64s {
    if add { simd.sub_f64s(value, product) } else { simd.neg_f64s(product) }
}

#[cfg(test)]
mod tests;
