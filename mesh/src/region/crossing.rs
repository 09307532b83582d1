//! Where a closed polygon crosses or touches itself; exact on the grid.

use super::{Point, from_steps, to_steps};

/// First place where a closed polygon, snapped to the grid, crosses, touches or runs back along itself, m.
///
/// `None` for a simple polygon. Repeated points are ignored.
#[must_use]
pub fn self_crossing(points: &[Point]) -> Option<Point> {
    let mut path: Vec<[i32; 2]> = points.iter().map(|&p| to_steps(p)).collect();
    path.dedup();
    while path.len() > 1 && path.first() == path.last() {
        path.pop();
    }
    let n = path.len();
    if n < 3 {
        return None;
    }
    let edge = |i: usize| (path[i], path[(i + 1) % n]);
    // Sweep over edges sorted by their left end: only edges that overlap in x are compared.
    let mut by_left: Vec<usize> = (0..n).collect();
    let left = |i: usize| edge(i).0[0].min(edge(i).1[0]);
    let right = |i: usize| edge(i).0[0].max(edge(i).1[0]);
    by_left.sort_by_key(|&i| (left(i), i));
    let mut found: Option<(usize, usize, Point)> = None;
    for (k, &i) in by_left.iter().enumerate() {
        for &j in by_left[k + 1..].iter().take_while(|&&j| left(j) <= right(i)) {
            let (first, second) = (i.min(j), i.max(j));
            if found.is_some_and(|(f, s, _)| (f, s) <= (first, second)) {
                continue;
            }
            let adjacent = second == first + 1 || (first == 0 && second == n - 1);
            let place = if adjacent {
                let (before, after) = if second == first + 1 { (first, second) } else { (second, first) };
                runs_back(edge(before), edge(after))
            } else {
                meeting(edge(first), edge(second))
            };
            if let Some(p) = place {
                found = Some((first, second, p));
            }
        }
    }
    found.map(|(_, _, p)| p)
}

/// An edge in grid steps.
type Edge = ([i32; 2], [i32; 2]);

/// Twice the signed area of a triangle, in grid steps squared; exact.
fn turn(a: [i32; 2], b: [i32; 2], c: [i32; 2]) -> i64 {
    let d = |p: [i32; 2], q: [i32; 2], k: usize| i64::from(q[k]) - i64::from(p[k]);
    d(a, b, 0) * d(a, c, 1) - d(a, b, 1) * d(a, c, 0)
}

/// Whether `p` lies in the box of the edge.
fn in_box(p: [i32; 2], (a, b): Edge) -> bool {
    (0..2).all(|k| p[k] >= a[k].min(b[k]) && p[k] <= a[k].max(b[k]))
}

/// The corner when the next edge runs back over the one before it.
fn runs_back((a, b): Edge, (_, c): Edge) -> Option<Point> {
    let back = |k: usize| (i64::from(b[k]) - i64::from(a[k])) * (i64::from(c[k]) - i64::from(b[k]));
    (turn(a, b, c) == 0 && back(0) + back(1) < 0).then(|| from_steps(b))
}

/// A common point of two edges, m.
fn meeting(e: Edge, f: Edge) -> Option<Point> {
    let (a, b) = (turn(e.0, e.1, f.0), turn(e.0, e.1, f.1));
    let (c, d) = (turn(f.0, f.1, e.0), turn(f.0, f.1, e.1));
    if (a > 0) != (b > 0) && a != 0 && b != 0 && (c > 0) != (d > 0) && c != 0 && d != 0 {
        let (ca, cb) = (from_steps(e.0), from_steps(e.1));
        #[expect(clippy::cast_precision_loss, reason = "a place to show, not a decision")]
        let t = c as f64 / (c as f64 - d as f64);
        return Some([ca[0] + t * (cb[0] - ca[0]), ca[1] + t * (cb[1] - ca[1])]);
    }
    [(a, f.0, e), (b, f.1, e), (c, e.0, f), (d, e.1, f)]
        .into_iter()
        .find(|&(side, p, other)| side == 0 && in_box(p, other))
        .map(|(_, p, _)| from_steps(p))
}
