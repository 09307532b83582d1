//! From split edges and interior points to tagged, sorted triangles.

use std::collections::BTreeMap;

use spade::handles::{FixedFaceHandle, FixedVertexHandle, InnerTag};
use spade::{ConstrainedDelaunayTriangulation, InsertionError, Point2, Triangulation};

use super::corners::Seated;
use super::outline_edges::Arcs;
use super::refine::{self, NONE, Net, PlanEdge, Rules};
use super::web::number;
use super::{FlatMesh, Plan, Zone};
use crate::quality::{MeshError, MeshFault};
use crate::region::{Point, Region, STEPS_PER_M};

type Cdt = ConstrainedDelaunayTriangulation<Point2<f64>>;

/// Asked of the refinement beyond the wished angle, rad: moving points onto arcs costs a little.
const ANGLE_SPARE_RAD: f64 = 0.01;

/// Beyond this the refinement does not end reliably, rad (33 degrees).
const LARGEST_ANGLE_RAD: f64 = 0.576;

fn refused(err: InsertionError) -> MeshError {
    MeshError::new(
        MeshFault::Input,
        "plan",
        &err.to_string(),
        "every point must be a finite number",
        "check the coordinates of the design",
    )
}

/// Triangulates all points with the edges kept: the triangles of the part, and the regions each component is in.
///
/// `split_crossings`: edges that cross are split there; otherwise a crossing gives `None`.
pub(super) fn triangles(
    seated: &Seated,
    interior: &[Point],
    plan: &Plan,
    split_crossings: bool,
) -> Result<Option<Built>, MeshError> {
    let split = &seated.split;
    let points: Vec<Point2<f64>> = split
        .points
        .iter()
        .chain(interior)
        .chain(&frame(&split.points))
        .map(|p| Point2::new(p[0], p[1]))
        .collect();
    let edges: Vec<[usize; 2]> = split.edges.iter().map(|e| e.map(|i| i as usize)).collect();
    let mut crossing = Vec::new();
    let mut cdt = Cdt::try_bulk_load_cdt(points, edges, |e| crossing.push(e)).map_err(refused)?;
    if !crossing.is_empty() && !split_crossings {
        return Ok(None);
    }
    for ends in crossing {
        let [from, to] = ends.map(FixedVertexHandle::from_index);
        cdt.add_constraint_and_split(from, to, |p| p);
    }
    Ok(Some(net_of(&cdt, seated, plan)))
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

/// The triangles of the part, ready for refinement.
#[derive(Debug)]
pub(super) struct Built {
    pub(super) net: Net,
    /// Plan edges by the number that sides of triangles carry.
    pub(super) edges: Vec<PlanEdge>,
    /// Regions that contain each component, one bit each.
    inside: Vec<u128>,
}

/// Components of a triangulation: triangles not parted by plan edges.
fn components(cdt: &Cdt) -> (Vec<u32>, usize) {
    let faces: Vec<FixedFaceHandle<InnerTag>> = cdt.fixed_inner_faces().collect();
    let mut component = vec![NONE; faces.len()];
    let (mut count, mut stack) = (0, Vec::new());
    for &start in &faces {
        if component[place(start)] != NONE {
            continue;
        }
        component[place(start)] = number(count);
        stack.push(start);
        while let Some(face) = stack.pop() {
            for edge in cdt.face(face).adjacent_edges().into_iter().filter(|e| !e.is_constraint_edge()) {
                if let Some(next) = edge.rev().face().as_inner()
                    && component[place(next.fix())] == NONE
                {
                    component[place(next.fix())] = number(count);
                    stack.push(next.fix());
                }
            }
        }
        count += 1;
    }
    (component, count)
}

/// Inner faces are numbered from 1 (0 is the outer face).
fn place(face: FixedFaceHandle<InnerTag>) -> usize {
    face.index() - 1
}

/// Numbers of plan edges by their ends; a plan edge that the triangulation made by splitting has the number 0.
fn plan_edges(seated: &Seated) -> (Vec<PlanEdge>, BTreeMap<[u32; 2], u32>) {
    let mut edges = vec![PlanEdge::default()];
    let mut number_of = BTreeMap::new();
    for (&[a, b], &arc) in seated.split.edges.iter().zip(&seated.split.arc_of_edge) {
        number_of.insert([a.min(b), a.max(b)], number(edges.len()));
        edges.push(PlanEdge { arc, ..PlanEdge::default() });
    }
    for &[v, a, b] in &seated.tips {
        for end in [a, b] {
            if let Some(&e) = number_of.get(&[v.min(end), v.max(end)]) {
                edges[e as usize].whole = true;
            }
        }
        number_of.entry([a.min(b), a.max(b)]).or_insert_with(|| {
            edges.push(PlanEdge { arc: None, whole: true, base: true });
            number(edges.len() - 1)
        });
    }
    (edges, number_of)
}

fn net_of(cdt: &Cdt, seated: &Seated, plan: &Plan) -> Built {
    let (component, count) = components(cdt);
    let points: Vec<Point> = cdt.vertices().map(|v| [v.position().x, v.position().y]).collect();
    let corners: Vec<[u32; 3]> = cdt.inner_faces().map(|f| f.vertices().map(|v| number(v.index()))).collect();
    let tags = tags((&points, &corners, &component), count, plan);
    let (edges, number_of) = plan_edges(seated);
    let mut new_of = vec![NONE; corners.len()];
    let mut kept = 0;
    for (t, &c) in component.iter().enumerate() {
        if tags[c as usize].is_some() {
            new_of[t] = kept;
            kept += 1;
        }
    }
    let (mut beyond, mut edge) = (Vec::new(), Vec::new());
    for face in cdt.inner_faces().filter(|f| new_of[place(f.fix())] != NONE) {
        let sides = face.adjacent_edges();
        beyond.push(sides.map(|e| e.rev().face().as_inner().map_or(NONE, |f| new_of[place(f.fix())])));
        edge.push(sides.map(|e| {
            let [a, b] = e.vertices().map(|v| number(v.index()));
            let known = number_of.get(&[a.min(b), a.max(b)]).copied();
            // The base of a tip is a side, not a constraint.
            known.unwrap_or(if e.is_constraint_edge() { 0 } else { NONE })
        }));
    }
    let is_kept = |t: &usize| new_of[*t] != NONE;
    let corners = (0..corners.len()).filter(is_kept).map(|t| corners[t]).collect();
    let component = (0..component.len()).filter(is_kept).map(|t| component[t]).collect();
    let inside = tags.into_iter().map(Option::unwrap_or_default).collect();
    Built { net: Net::new(points, corners, beyond, edge, component), edges, inside }
}

impl Built {
    /// Refines and smooths until every angle but those of narrow corners is as large as asked.
    ///
    /// False when the refinement stopped at `most` points.
    pub(super) fn refine(
        &mut self,
        arcs: &Arcs,
        fixed: &[bool],
        (min_angle_rad, most): (f64, usize),
    ) -> bool {
        let angle = min_angle_rad.min(LARGEST_ANGLE_RAD);
        if angle <= 0.0 {
            return true;
        }
        let mut rules = Rules { edges: &self.edges, arcs, limit_rad: angle + ANGLE_SPARE_RAD, fixed };
        let complete = refine::refine(&mut self.net, &rules, most);
        rules.limit_rad = angle;
        refine::smooth(&mut self.net, &rules);
        complete
    }

    /// The finished mesh.
    pub(super) fn finish(&self) -> FlatMesh {
        let net = &self.net;
        let per_triangle: Vec<u128> = net.component.iter().map(|&c| self.inside[c as usize]).collect();
        let mut masks = per_triangle.clone();
        masks.sort_unstable();
        masks.dedup();
        let zone_of: Vec<u32> =
            per_triangle.iter().map(|m| number(masks.binary_search(m).unwrap_or_default())).collect();
        let points = net.points.iter().map(|p| [p[0] / STEPS_PER_M, p[1] / STEPS_PER_M]).collect();
        let plan_side = |t: usize, k: usize| {
            let e = net.edge[t][k];
            let ends = [net.corners[t][k], net.corners[t][(k + 1) % 3]];
            (e != NONE && !self.edges[e as usize].base).then_some(ends)
        };
        let sides: Vec<[u32; 2]> =
            (0..net.corners.len()).flat_map(|t| (0..3).filter_map(move |k| plan_side(t, k))).collect();
        let mut mesh = sorted(points, (&net.corners, &zone_of), &sides);
        mesh.zones = masks.into_iter().map(|inside| Zone { inside, layers: Vec::new() }).collect();
        mesh.min_angle_rad = mesh.smallest_angle().0;
        mesh
    }
}

/// For each component the regions that contain it, or `None` outside the outline.
///
/// The roundest and largest triangle of a component decides: its centre is furthest from all edges.
fn tags(
    (points, corners, component): (&[Point], &[[u32; 3]], &[u32]),
    count: usize,
    plan: &Plan,
) -> Vec<Option<u128>> {
    let mut best: Vec<(f64, Point)> = vec![(-1.0, [0.0; 2]); count];
    for (t, &c) in corners.iter().zip(component) {
        let p = t.map(|i| points[i as usize]);
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

/// Nodes along a space-filling curve, triangles by their lowest node; unused points dropped.
fn sorted(
    points: Vec<Point>,
    (triangles, zone_of): (&[[u32; 3]], &[u32]),
    plan_sides: &[[u32; 2]],
) -> FlatMesh {
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
    let mut plan_edges: Vec<[u32; 2]> =
        plan_sides.iter().map(|e| e.map(|i| new_of[i as usize])).map(|[a, b]| [a.min(b), a.max(b)]).collect();
    plan_edges.sort_unstable();
    plan_edges.dedup();
    FlatMesh {
        plan_edges,
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
