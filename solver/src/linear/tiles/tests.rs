use super::super::packed::put_back;
use super::*;
use crate::linear::dense::{self, Panel, Room};
use std::sync::Mutex;

/// A positive definite front of `k` pivots and `m` rows, nothing above the diagonal, and plain elimination of it:
/// factor and update.
fn front(k: usize, m: usize) -> (Vec<f64>, Vec<f64>, Vec<f64>) {
    let entry = |i: usize, j: usize| match i == j {
        true => 4.0,
        false => f64::from(u8::try_from((i * 31 + j * 17) % 23).unwrap()) / (30.0 * (i - j) as f64),
    };
    let mut values = vec![f64::NAN; m * k];
    for j in 0..k {
        for i in j..m {
            values[j * m + i] = entry(i, j);
        }
    }
    let mut factor = values.clone();
    for j in 0..k {
        for p in 0..j {
            let f = factor[p * m + j];
            for i in j..m {
                factor[j * m + i] -= f * factor[p * m + i];
            }
        }
        let root = factor[j * m + j].sqrt();
        factor[j * m + j..][..m - j].iter_mut().for_each(|x| *x /= root);
    }
    let n = m - k;
    let mut update = vec![0.0; n * n];
    for j in 0..n {
        for i in j..n {
            update[j * n + i] = -(0..k).map(|p| factor[p * m + k + i] * factor[p * m + k + j]).sum::<f64>();
        }
    }
    (values, factor, update)
}

/// Largest difference on and below the diagonal of `n` columns of `m` rows each.
fn apart(one: &[f64], other: &[f64], m: usize) -> f64 {
    let columns = one.chunks_exact(m).zip(other.chunks_exact(m)).enumerate();
    let of = |(j, (a, b)): (usize, (&[f64], &[f64]))| {
        a[j..].iter().zip(&b[j..]).map(|(a, b)| (a - b).abs()).fold(0.0, |most: f64, d| match d.is_nan() {
            true => f64::INFINITY,
            false => most.max(d),
        })
    };
    columns.map(of).fold(0.0, f64::max)
}

const SIZES: [[usize; 2]; 17] = [
    [1, 0],
    [1, 1],
    [5, 3],
    [6, 40],
    [8, 24],
    [9, 23],
    [24, 25],
    [25, 1],
    [30, 77],
    [48, 120],
    [61, 187],
    [143, 7],
    [144, 31],
    [145, 100],
    [192, 31],
    [400, 50],
    [601, 0],
];

/// Whatever the sizes, whoever shares the work: the factor and the update are those of plain elimination; with
/// garbage above the diagonal and in the memory that is used. Every column of the update is finished once.
#[test]
fn fronts_as_by_plain_elimination() {
    for [k, n] in SIZES {
        let m = k + n;
        let (values, factor, update) = front(k, m);
        for shared in [false, true] {
            let (mut own, mut left) = (values.clone(), vec![f64::NAN; n * n]);
            let mut room = Room::new(vec![f64::NAN; dense::packed(k, m)]);
            let finished = Mutex::new(Vec::new());
            let finish = |first: usize, columns: &mut [f64]| {
                finished.lock().unwrap().extend(first..first + columns.len() / n);
                (0..columns.len() / n).for_each(|j| columns[j * n + n - 1] += 1.0);
            };
            let panel = Panel { values: &mut own, m, k };
            let done = dense::eliminate(panel, &mut left, &mut room, shared, &finish);
            assert_eq!(done, Ok(()), "{k} pivots, {n} rows below");
            let mut finished = finished.into_inner().unwrap();
            finished.sort_unstable();
            assert!(finished.into_iter().eq(0..n), "{k} pivots, {n} rows below: columns finished");
            (0..n).for_each(|j| left[j * n + n - 1] -= 1.0);
            let worst = [apart(&own, &factor, m), if n > 0 { apart(&left, &update, n) } else { 0.0 }];
            assert!(worst.iter().all(|&w| w < 1e-13), "{k} pivots, {n} rows below, {shared}: {worst:?}");
        }
    }
}

/// A pivot that is not positive, or not a number, is told by its column.
#[test]
fn bad_pivots_are_told() {
    for bad in [0, 5, 23, 24, 100, 193, 300] {
        for value in [-1.0, 0.0, f64::NAN] {
            let (k, m) = (301, 330);
            let (mut values, _, _) = front(k, m);
            values[bad * m + bad] = value;
            let mut update = vec![0.0; 29 * 29];
            let mut room = Room::new(vec![0.0; dense::packed(k, m)]);
            let done = dense::eliminate(
                Panel { values: &mut values, m, k },
                &mut update,
                &mut room,
                false,
                &|_, _| {},
            );
            assert_eq!(done, Err(bad), "{value}");
        }
    }
}

/// One strip by vectors of a certain width.
struct Whole<'a>(Strip, &'a mut [f64], &'a mut [f64]);

impl WithSimd for Whole<'_> {
    type Output = ();

    #[inline(always)]
    fn with_simd<S: Simd>(self, simd: S) {
        let Self(strip, values, update) = self;
        let [top, low] = strip.packed();
        let (mut top, mut low, mut corners) = (vec![f64::NAN; top], vec![f64::NAN; low], Vec::new());
        let pivots = Pivots { strip, values, top: &mut top, corners: &mut corners };
        assert_eq!(Wide(pivots).with_simd(simd), Ok(()), "positive definite");
        let (first, groups, corners) = (0, &mut *low, &*corners);
        Wide(RowsBelow { strip, values, top: &top, corners, first, groups }).with_simd(simd);
        put_back(strip, (0, &top), (0, values));
        put_back(strip, (strip.width, &low), (0, values));
        let right = &mut Right { values: update, height: strip.below(), place: 0, first: 0, add: false };
        Wide(Subtract { strip, low: &low, right }).with_simd(simd);
    }
}

/// Vectors of one, four and eight values give the same factor and update, each entry being summed in the same order.
#[test]
fn every_width_of_vectors_gives_the_same() {
    for [k, n] in SIZES.into_iter().filter(|&[k, n]| k <= 192 && n > 0) {
        let m = k + n;
        let strip = Strip { height: m, start: 0, width: k };
        let (values, factor, update) = front(k, m);
        let run = |go: &dyn Fn(Whole<'_>)| {
            let (mut values, mut left) = (values.clone(), vec![f64::NAN; n * n]);
            go(Whole(strip, &mut values, &mut left));
            [apart(&values, &factor, m), apart(&left, &update, n)]
        };
        let mut all = vec![run(&|whole| whole.with_simd(pulp::Scalar))];
        all.push(run(&|whole| pulp::Arch::new().dispatch(whole)));
        #[cfg(target_arch = "x86_64")]
        if let Some(simd) = pulp::x86::V3::try_new() {
            all.push(run(&|whole| simd.vectorize(|| whole.with_simd(simd))));
        }
        assert!(all.iter().flatten().all(|&worst| worst < 1e-13), "{k} pivots, {n} rows below: {all:?}");
    }
}
