//! From split edges and interior points to tagged, sorted triangles.

use std::collections::BTreeMap;

use spade::handles::{FixedFaceHandle, FixedVertexHandle, InnerTag};
use spade::{
    AngleLimit, ConstrainedDelaunayTriangulation, InsertionError, Point2, RefinementParameters, Triangulation,
};

use super::corners::sharp_corners;
use super::outline_edges::{Arcs, Split};
use super::{FlatMesh, Plan, Zone};
use crate::quality::{MeshError, MeshFault};
use crate::region::{Point, Region, STEPS_PER_M};

type Cdt = ConstrainedDelaunayTriangulation<Point2<f64>>;

/// Asked of the refinement beyond the wished angle, rad: moving points onto arcs costs a little.
const ANGLE_SPARE_RAD: f64 = 0.01;

/// Beyond this the refinement does not end reliably, rad (33 degrees).
const LARGEST_ANGLE_RAD: f64 = 0.576;

/// A constrained triangulation after refinement.
pub(super) struct Refined {
    cdt: Cdt,
    /// False when the refinement stopped at its cap.
    pub(super) complete: bool,
}

fn refused(err: InsertionError) -> MeshError {
    MeshError::new(
        MeshFault::Input,
        "plan",
        &err.to_string(),
        "every point must be a finite number",
        "check the coordinates of the design",
    )
}

/// Triangulates all points with the edges kept, then adds points until no angle is too small.
///
/// `split_crossings`: edges that cross are split there; otherwise a crossing gives `None`.
pub(super) fn refine(
    split: &Split,
    interior: &[Point],
    min_angle_rad: f64,
    most: usize,
    split_crossings: bool,
) -> Result<Option<Refined>, MeshError> {
    let points: Vec<Point2<f64>> = split
        .points
        .iter()
        .chain(interior)
        .chain(&frame(&split.points))
        .map(|p| Point2::new(p[0], p[1]))
        .collect();
    let edges: Vec<[usize; 2]> = split.edges.iter().map(|e| e.map(|i| i as usize)).collect();
    let (mut complete, mut crossing) = (true, Vec::new());
    let mut cdt = Cdt::try_bulk_load_cdt(points, edges, |e| crossing.push(e)).map_err(refused)?;
    if !crossing.is_empty() && !split_crossings {
        return Ok(None);
    }
    for ends in crossing {
        let [from, to] = ends.map(FixedVertexHandle::from_index);
        cdt.add_constraint_and_split(from, to, |p| p);
    }
    let angle = min_angle_rad.min(LARGEST_ANGLE_RAD);
    if angle > 0.0 && cdt.num_vertices() > 2 {
        let room = most.saturating_sub(cdt.num_vertices()).max(100);
        let parameters = RefinementParameters::new()
            .with_angle_limit(AngleLimit::from_rad(angle + ANGLE_SPARE_RAD))
            .with_max_additional_vertices(room.min(10 * cdt.num_vertices() + 1000));
        complete = cdt.refine(parameters).refinement_complete;
        super::polish::polish(&mut cdt, angle + ANGLE_SPARE_RAD, &sharp_corners(split));
    }
    Ok(Some(Refined { cdt, complete }))
}

/// Corners of a square well outside all points: without it the convex hull would run along the part's own edges,
/// and a hull edge a rounding error away from a chain of points makes needles.
fn frame(points: &[Point]) -> [Point; 4] {
    let (mut low, mut high) = ([f64::INFINITY; 2], [f64::NEG_INFINITY; 2]);
    for p in points {
        for k in 0..2 {
            low[k] = low[k].min(p[k]);
            high[k] = high[k].max(p[k]);
        }
    }
    let half = (high[0] - low[0]).max(high[1] - low[1]).max(1.0);
    let [x, y] = [0, 1].map(|k| (low[k] + high[k]) / 2.0);
    [[x - half, y - half], [x + half, y - half], [x + half, y + half], [x - half, y + half]]
}

/// Triangles in grid steps with a component number each; components are bounded by constraint edges.
struct Pieces {
    points: Vec<Point>,
    triangles: Vec<[u32; 3]>,
    component: Vec<u32>,
    count: u32,
}

impl Refined {
    fn pieces(&self) -> Pieces {
        let faces: Vec<FixedFaceHandle<InnerTag>> = self.cdt.fixed_inner_faces().collect();
        let mut component = vec![u32::MAX; faces.len()];
        // Inner faces are numbered from 1 (0 is the outer face).
        let place = |f: FixedFaceHandle<InnerTag>| f.index() - 1;
        let (mut count, mut stack) = (0, Vec::new());
        for &start in &faces {
            if component[place(start)] != u32::MAX {
                continue;
            }
            component[place(start)] = count;
            stack.push(start);
            while let Some(face) = stack.pop() {
                for edge in
                    self.cdt.face(face).adjacent_edges().into_iter().filter(|e| !e.is_constraint_edge())
                {
                    if let Some(next) = edge.rev().face().as_inner()
                        && component[place(next.fix())] == u32::MAX
                    {
                        component[place(next.fix())] = count;
                        stack.push(next.fix());
                    }
                }
            }
            count += 1;
        }
        let points = self.cdt.vertices().map(|v| [v.position().x, v.position().y]).collect();
        let triangles =
            faces.iter().map(|&f| self.cdt.face(f).vertices().map(|v| number(v.index()))).collect();
        Pieces { points, triangles, component, count }
    }

    /// For every vertex that refinement put on a constraint edge: the vertices before and after it on that edge.
    fn on_edges(&self, known: usize) -> BTreeMap<u32, [u32; 2]> {
        let mut out: BTreeMap<u32, Vec<u32>> = BTreeMap::new();
        for edge in self.cdt.undirected_edges().filter(|e| e.is_constraint_edge()) {
            let [a, b] = edge.vertices().map(|v| v.index());
            for (v, other) in [(a, b), (b, a)] {
                if v >= known {
                    out.entry(number(v)).or_default().push(number(other));
                }
            }
        }
        out.into_iter().filter_map(|(v, o)| Some((v, <[u32; 2]>::try_from(o).ok()?))).collect()
    }
}

/// The finished mesh of a plan.
pub(super) fn finish(refined: &Refined, plan: &Plan, arcs: &Arcs, split: &Split) -> FlatMesh {
    let mut pieces = refined.pieces();
    let inside = tags(&pieces, plan);
    let kept: Vec<usize> =
        (0..pieces.triangles.len()).filter(|&t| inside[pieces.component[t] as usize].is_some()).collect();
    onto_arcs(&mut pieces, &refined.on_edges(split.points.len()), (arcs, split), &kept);
    let mut masks: Vec<u128> = kept.iter().filter_map(|&t| inside[pieces.component[t] as usize]).collect();
    let per_triangle = masks.clone();
    masks.sort_unstable();
    masks.dedup();
    let zone_of: Vec<u32> =
        per_triangle.iter().map(|m| number(masks.binary_search(m).unwrap_or_default())).collect();
    let triangles: Vec<[u32; 3]> = kept.iter().map(|&t| pieces.triangles[t]).collect();
    let zones = masks.into_iter().map(|inside| Zone { inside, layers: Vec::new() }).collect();
    let points = pieces.points.iter().map(|p| [p[0] / STEPS_PER_M, p[1] / STEPS_PER_M]).collect();
    let mut mesh = sorted(points, &triangles, &zone_of);
    mesh.zones = zones;
    mesh.min_angle_rad = mesh.smallest_angle().0;
    mesh
}

/// For each component the regions that contain it, or `None` outside the outline.
///
/// The roundest and largest triangle of a component decides: its centre is furthest from all edges.
fn tags(pieces: &Pieces, plan: &Plan) -> Vec<Option<u128>> {
    let mut best: Vec<(f64, Point)> = vec![(-1.0, [0.0; 2]); pieces.count as usize];
    for (t, &c) in pieces.triangles.iter().zip(&pieces.component) {
        let p = t.map(|i| pieces.points[i as usize]);
        let radius = inscribed_radius(p);
        if radius > best[c as usize].0 {
            let centre = [0, 1].map(|k| (p[0][k] + p[1][k] + p[2][k]) / (3.0 * STEPS_PER_M));
            best[c as usize] = (radius, centre);
        }
    }
    let boxed: Vec<(&Region, [Point; 2])> =
        plan.regions.iter().map(|r| (r, r.bounds().unwrap_or([[f64::INFINITY; 2]; 2]))).collect();
    best.iter()
        .map(|&(_, p)| {
            plan.outline.contains(p).then(|| {
                boxed.iter().enumerate().fold(0_u128, |mask, (bit, (region, [lo, hi]))| {
                    let near = (0..2).all(|k| p[k] >= lo[k] && p[k] <= hi[k]);
                    mask | (u128::from(near && region.contains(p)) << bit)
                })
            })
        })
        .collect()
}

fn inscribed_radius([a, b, c]: [Point; 3]) -> f64 {
    let side = |p: Point, q: Point| (p[0] - q[0]).hypot(p[1] - q[1]);
    let round = side(a, b) + side(b, c) + side(c, a);
    if round > 0.0 { twice_area(a, b, c) / round } else { 0.0 }
}

fn twice_area(a: Point, b: Point, c: Point) -> f64 {
    (b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0])
}

/// Last vertex of the input in one direction along a constraint edge that refinement split.
fn input_end(between: &BTreeMap<u32, [u32; 2]>, start: u32, side: usize) -> u32 {
    let (mut before, mut here) = (start, between[&start][side]);
    while let Some(next) = between.get(&here) {
        let onward = if next[0] == before { next[1] } else { next[0] };
        (before, here) = (here, onward);
    }
    here
}

/// Moves points that refinement put on the chord of an arc onto the arc, where no triangle suffers.
fn onto_arcs(
    pieces: &mut Pieces,
    between: &BTreeMap<u32, [u32; 2]>,
    (arcs, split): (&Arcs, &Split),
    kept: &[usize],
) {
    let mut chords: Vec<([u32; 2], u32)> = split
        .edges
        .iter()
        .zip(&split.arc_of_edge)
        .filter_map(|(&[a, b], arc)| arc.map(|k| ([a.min(b), a.max(b)], k)))
        .collect();
    chords.sort_unstable();
    let mut moved: Vec<(usize, Point)> = Vec::new();
    for &v in between.keys() {
        let (a, b) = (input_end(between, v, 0), input_end(between, v, 1));
        let key = [a.min(b), a.max(b)];
        let Ok(found) = chords.binary_search_by_key(&key, |c| c.0) else { continue };
        if let Some(q) = arcs.on(chords[found].1, pieces.points[v as usize], arcs.radius(chords[found].1)) {
            moved.push((v as usize, q));
        }
    }
    if moved.is_empty() {
        return;
    }
    let mut around: Vec<Vec<usize>> = vec![Vec::new(); moved.len()];
    for &t in kept {
        for v in pieces.triangles[t] {
            if let Ok(m) = moved.binary_search_by_key(&(v as usize), |m| m.0) {
                around[m].push(t);
            }
        }
    }
    for ((i, q), star) in moved.into_iter().zip(around) {
        let before = worst(pieces, &star);
        let old = std::mem::replace(&mut pieces.points[i], q);
        let after = worst(pieces, &star);
        if after <= 0.0 || (after < 0.3 && after < 0.5 * before) {
            pieces.points[i] = old;
        }
    }
}

/// Smallest angle of some triangles, rad; negative when one is inverted.
fn worst(pieces: &Pieces, star: &[usize]) -> f64 {
    star.iter()
        .map(|&t| super::shape::smallest_angle(pieces.triangles[t].map(|i| pieces.points[i as usize])))
        .fold(f64::INFINITY, f64::min)
}

/// Nodes along a space-filling curve, triangles by their lowest node; unused points dropped.
fn sorted(points: Vec<Point>, triangles: &[[u32; 3]], zone_of: &[u32]) -> FlatMesh {
    let mut used = vec![false; points.len()];
    for &i in triangles.iter().flatten() {
        used[i as usize] = true;
    }
    let mut order: Vec<usize> = (0..points.len()).filter(|&i| used[i]).collect();
    let keys = curve_keys(&points);
    order.sort_by_key(|&i| (keys[i], points[i][0].to_bits(), points[i][1].to_bits()));
    let mut new_of = vec![0_u32; points.len()];
    for (new, &old) in order.iter().enumerate() {
        new_of[old] = number(new);
    }
    let mut rows: Vec<([u32; 3], u32)> = triangles
        .iter()
        .zip(zone_of)
        .map(|(t, &z)| {
            let mut t = t.map(|i| new_of[i as usize]);
            let lowest = (0..3).min_by_key(|&k| t[k]).unwrap_or(0);
            t.rotate_left(lowest);
            (t, z)
        })
        .collect();
    rows.sort_unstable();
    FlatMesh {
        points_m: order.iter().map(|&i| points[i]).collect(),
        triangles: rows.iter().map(|r| r.0).collect(),
        zone_of: rows.iter().map(|r| r.1).collect(),
        ..FlatMesh::default()
    }
}

/// Place of every point along a Hilbert curve through its bounding square (Hilbert 1891; the usual bit recursion).
fn curve_keys(points: &[Point]) -> Vec<u64> {
    const LEVELS: u32 = 24;
    let (mut low, mut high) = ([f64::INFINITY; 2], [f64::NEG_INFINITY; 2]);
    for p in points {
        for k in 0..2 {
            low[k] = low[k].min(p[k]);
            high[k] = high[k].max(p[k]);
        }
    }
    let side = (high[0] - low[0]).max(high[1] - low[1]).max(f64::MIN_POSITIVE);
    let cells = f64::from(1_u32 << LEVELS);
    points
        .iter()
        .map(|p| {
            let [mut x, mut y] = [0, 1].map(|k| cell((p[k] - low[k]) / side * cells));
            let mut key = 0_u64;
            for level in (0..LEVELS).rev() {
                let bit = 1_u32 << level;
                let (right, upper) = (x & bit != 0, y & bit != 0);
                key = (key << 2) | u64::from((u8::from(right) * 3) ^ u8::from(upper));
                if !upper {
                    if right {
                        (x, y) = (!x, !y);
                    }
                    std::mem::swap(&mut x, &mut y);
                }
            }
            key
        })
        .collect()
}

#[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "the cast saturates")]
fn cell(v: f64) -> u32 {
    v as u32
}

#[expect(clippy::cast_possible_truncation, reason = "points are capped far below 2^32")]
fn number(i: usize) -> u32 {
    i as u32
}
