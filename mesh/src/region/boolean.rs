//! Union, difference, intersection: the integer engine works on grid steps, so results are on the grid.

use i_overlay::core::fill_rule::FillRule;
use i_overlay::core::overlay::{IntOverlayOptions, Overlay, ShapeType};
use i_overlay::core::overlay_rule::OverlayRule;
use i_overlay::i_float::int::point::IntPoint;

use super::{Point, Region, from_steps, to_steps, twice_area};

/// Contours smaller than this many square grid steps are dropped: crumbs of the snapping.
const CRUMB_STEPS2: u64 = 4;

/// Contours in grid steps, without repeated points.
fn steps(contours: &[Vec<Point>]) -> impl Iterator<Item = Vec<IntPoint<i32>>> + '_ {
    contours.iter().map(|c| {
        let mut path: Vec<_> = c.iter().map(|&p| to_steps(p)).map(|[x, y]| IntPoint::new(x, y)).collect();
        path.dedup();
        path
    })
}

/// One Boolean operation of the contours `a` (all subject) with `b`.
fn operate(a: &[&[Vec<Point>]], b: &[Vec<Point>], rule: OverlayRule, fill: FillRule) -> Vec<Region> {
    let count = a.iter().flat_map(|c| c.iter()).chain(b).map(Vec::len).sum();
    let options = IntOverlayOptions { min_output_area: CRUMB_STEPS2, ..IntOverlayOptions::default() };
    let mut overlay = Overlay::<i32>::new_custom(count, options, Default::default());
    for path in a.iter().flat_map(|c| steps(c)).filter(|p| p.len() > 2) {
        overlay.add_contour(&path, ShapeType::Subject);
    }
    for path in steps(b).filter(|p| p.len() > 2) {
        overlay.add_contour(&path, ShapeType::Clip);
    }
    let mut regions: Vec<Region> = overlay
        .overlay(rule, fill)
        .into_iter()
        .map(|shape| Region {
            contours: shape
                .into_iter()
                .map(|c| first_lowest(c.into_iter().map(|p| from_steps([p.x, p.y])).collect()))
                .filter(|c| c.len() > 2)
                .collect(),
        })
        .filter(|r| !r.contours.is_empty())
        .collect();
    regions.sort_by(|p, q| compare(&p.contours[0], &q.contours[0]));
    regions
}

/// Rotates a contour so that it starts at its lowest-left point: equal regions then compare equal.
fn first_lowest(mut contour: Vec<Point>) -> Vec<Point> {
    let lowest = (0..contour.len()).min_by(|&i, &j| order(&contour[i], &contour[j])).unwrap_or(0);
    contour.rotate_left(lowest);
    contour
}

/// Order of points: by x, then y.
fn order(p: &Point, q: &Point) -> std::cmp::Ordering {
    p[0].total_cmp(&q[0]).then(p[1].total_cmp(&q[1]))
}

/// Order of contours, point by point.
fn compare(p: &[Point], q: &[Point]) -> std::cmp::Ordering {
    p.iter().zip(q).map(|(a, b)| order(a, b)).find(|o| o.is_ne()).unwrap_or_else(|| p.len().cmp(&q.len()))
}

/// All contours of several pieces in one region.
fn joined(pieces: Vec<Region>) -> Region {
    Region { contours: pieces.into_iter().flat_map(|r| r.contours).collect() }
}

impl Region {
    /// Region bounded by one closed polygon of any orientation, snapped to the grid.
    ///
    /// Where the polygon crosses itself everything it winds around counts as inside; use
    /// [`super::self_crossing`] first to refuse such input.
    #[must_use]
    pub fn from_polygon(points: &[Point]) -> Self {
        joined(operate(&[&[points.to_vec()]], &[], OverlayRule::Subject, FillRule::NonZero))
    }

    /// Region bounded by several closed contours of any orientation: inside where an odd number of them surround.
    #[must_use]
    pub fn from_contours(contours: &[Vec<Point>]) -> Self {
        joined(operate(&[contours], &[], OverlayRule::Subject, FillRule::EvenOdd))
    }

    /// Everything that lies in at least one of the regions.
    #[must_use]
    pub fn union(regions: &[&Self]) -> Self {
        let all: Vec<&[Vec<Point>]> = regions.iter().map(|r| r.contours.as_slice()).collect();
        joined(operate(&all, &[], OverlayRule::Subject, FillRule::NonZero))
    }

    /// This region without the other.
    #[must_use]
    pub fn difference(&self, other: &Self) -> Self {
        if other.is_empty() {
            return self.clone();
        }
        joined(operate(&[&self.contours], &other.contours, OverlayRule::Difference, FillRule::NonZero))
    }

    /// What lies in both regions.
    #[must_use]
    pub fn intersection(&self, other: &Self) -> Self {
        joined(operate(&[&self.contours], &other.contours, OverlayRule::Intersect, FillRule::NonZero))
    }

    /// The connected pieces, each with its holes, sorted by their lowest-left point.
    #[must_use]
    pub fn pieces(&self) -> Vec<Self> {
        operate(&[&self.contours], &[], OverlayRule::Subject, FillRule::NonZero)
    }

    /// The same set of points with every contour in its normal form (orientation, start point, order).
    #[must_use]
    pub fn normal(&self) -> Self {
        joined(self.pieces())
    }

    /// The openings: every hole as a region of its own.
    #[must_use]
    pub fn openings(&self) -> Vec<Self> {
        self.contours.iter().filter(|c| closed_area(c) < 0.0).map(|c| Self::from_polygon(c)).collect()
    }
}

/// Twice the signed area of a closed contour, m2.
fn closed_area(contour: &[Point]) -> f64 {
    // The fan from the first point makes the closing edge contribute nothing.
    twice_area(contour)
}
