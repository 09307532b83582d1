//! Where a board's triangles are small: arms, clamp and stiffener edges, fillets, openings, tracks on arms.

use super::inside::Inside;
use super::part::Part;
use super::{SizeField, SizeSource};
use crate::board::{Board, ConductorKind, Place};
use crate::region::{Point, Region, STEPS_PER_M};

/// Triangles over the radius of a fillet.
const PER_FILLET_RADIUS: f64 = 8.0;

/// Triangles over the radius of an opening on an arm, and elsewhere.
const PER_OPENING_RADIUS: [f64; 2] = [4.0, 2.0];

/// Triangles across an arm, a clamp or a stiffener edge at least.
const ACROSS_AT_LEAST: u32 = 4;

/// Corners that turn back by more than this are re-entrant corners, not flattened curves, rad (30 degrees).
const CORNER_RAD: f64 = std::f64::consts::PI / 6.0;

/// Default coarse side: this share of the longer and of the shorter side of the board.
const COARSE_SHARE: [f64; 2] = [1.0 / 25.0, 1.0 / 8.0];

/// The size field of a board: fine where strain peaks, coarse elsewhere.
///
/// Sides: a fillet's radius / 8; the width of an arm, clamp or stiffener edge / `across_arm`; half a track's width on
/// arms; half the thickness at clamp ends, stiffener-edge ends and re-entrant corners (means over one thickness are
/// taken there). Nowhere below half the local thickness, or below `fine` where the user set it.
#[must_use]
pub fn board_size_field(board: &Board) -> SizeField {
    let mut sizes = Sizes::new(board);
    sizes.arms();
    sizes.tracks();
    sizes.held_edges();
    sizes.fillets();
    sizes.openings();
    sizes.corners();
    let fine_m = board
        .mesh
        .fine_m
        .unwrap_or_else(|| sizes.sources.iter().map(|s| s.size_m).fold(sizes.least_floor_m, f64::min));
    SizeField {
        coarse_m: sizes.coarse_m,
        fine_m: fine_m.min(sizes.coarse_m),
        growth: board.mesh.growth,
        sources: sizes.sources,
        min_angle_rad: board.mesh.min_angle_rad,
        max_triangles: board.mesh.max_triangles,
    }
}

/// An arm ready for questions.
struct ArmPart {
    part: Part,
    width_m: f64,
}

/// Sources being gathered.
struct Sizes<'a> {
    board: &'a Board,
    outline: Part,
    arm_parts: Vec<ArmPart>,
    /// Layers: where, and thickness.
    layers: Vec<(Inside, f64)>,
    across: f64,
    coarse_m: f64,
    least_floor_m: f64,
    sources: Vec<SizeSource>,
}

impl<'a> Sizes<'a> {
    fn new(board: &'a Board) -> Self {
        let coarse_m = board.mesh.coarse_m.unwrap_or_else(|| {
            let [lo, hi] = board.outline.bounds().unwrap_or([[0.0; 2], [1e-2; 2]]);
            let (w, h) = (hi[0] - lo[0], hi[1] - lo[1]);
            (w.max(h) * COARSE_SHARE[0]).min(w.min(h) * COARSE_SHARE[1])
        });
        let arm_parts = board
            .arms
            .iter()
            .map(|a| ArmPart { part: Part::new(&a.region.intersection(&board.outline)), width_m: a.width_m })
            .collect();
        let whole = board.layers.iter().map(|l| l.thickness_m).sum::<f64>();
        Self {
            board,
            outline: Part::new(&board.outline),
            arm_parts,
            layers: board.layers.iter().map(|l| (Inside::new(&l.region), l.thickness_m)).collect(),
            across: f64::from(board.mesh.across_arm.max(ACROSS_AT_LEAST)),
            coarse_m,
            least_floor_m: board.mesh.fine_m.unwrap_or(0.5 * whole),
            sources: Vec::new(),
        }
    }

    /// Total thickness at a place, m.
    fn thickness_m(&self, p: Point) -> f64 {
        let s = [p[0] * STEPS_PER_M, p[1] * STEPS_PER_M];
        self.layers.iter().filter(|(inside, _)| inside.contains(s)).map(|l| l.1).sum()
    }

    /// Smallest side sensible at a place, m: half the thickness of the thinner side, unless the user set it.
    fn floor_m(&self, p: Point) -> f64 {
        if let Some(fine) = self.board.mesh.fine_m {
            return fine;
        }
        let off = 5e-6;
        let around = [[off, off], [-off, off], [-off, -off], [off, -off]];
        let thinner = around
            .iter()
            .map(|d| [p[0] + d[0], p[1] + d[1]])
            .filter(|&q| self.outline.contains(q))
            .map(|q| self.thickness_m(q))
            .filter(|&t| t > 0.0)
            .fold(f64::INFINITY, f64::min);
        if thinner.is_finite() { 0.5 * thinner } else { self.least_floor_m }
    }

    /// Adds a source unless it would change nothing.
    fn add(&mut self, at_m: [Point; 2], wished_m: f64) {
        let middle = [0, 1].map(|k| (at_m[0][k] + at_m[1][k]) / 2.0);
        let floor = self.floor_m(middle);
        self.least_floor_m = self.least_floor_m.min(floor);
        let size_m = wished_m.max(floor);
        if size_m < self.coarse_m && size_m > 0.0 {
            self.sources.push(SizeSource { at_m, size_m });
        }
    }

    /// Width of the narrowest arm that holds a place, m.
    fn arm_width_m(&self, p: Point) -> Option<f64> {
        let holds = |a: &&ArmPart| a.part.contains(p) || a.part.on_edge(p);
        self.arm_parts.iter().filter(holds).map(|a| a.width_m).min_by(f64::total_cmp)
    }

    /// Chords across every arm, close enough together to fill it.
    fn arms(&mut self) {
        let mut chords = Vec::new();
        for (arm, ready) in self.board.arms.iter().zip(&self.arm_parts) {
            let (root, tip) = (arm.root_m, arm.tip_m);
            let length = (tip[0] - root[0]).hypot(tip[1] - root[1]);
            if !(length > 0.0 && arm.width_m > 0.0) {
                continue;
            }
            let along = [(tip[0] - root[0]) / length, (tip[1] - root[1]) / length];
            let reach = arm.region.contours.iter().flatten().map(|p| {
                let (x, y) = (p[0] - root[0], p[1] - root[1]);
                (x * along[0] + y * along[1], (y * along[0] - x * along[1]).abs())
            });
            let (from, to, side) = reach
                .fold((f64::INFINITY, f64::NEG_INFINITY, 0.0_f64), |(a, b, c), (s, d)| {
                    (a.min(s), b.max(s), c.max(d))
                });
            let n = ((to - from) / (0.25 * arm.width_m)).ceil().clamp(1.0, 1000.0);
            let side = side + arm.width_m;
            let mut k = 0.5;
            while k < n {
                let s = from + (to - from) * k / n;
                let middle = [root[0] + s * along[0], root[1] + s * along[1]];
                let ends = [-side, side].map(|d| [middle[0] - d * along[1], middle[1] + d * along[0]]);
                for chord in ready.part.clip(ends) {
                    let width = (chord[0][0] - chord[1][0]).hypot(chord[0][1] - chord[1][1]);
                    // A little finer than asked, so that counting triangles across never falls short.
                    chords.push((chord, 0.9 * width.min(2.0 * arm.width_m) / self.across));
                }
                k += 1.0;
            }
        }
        for (chord, size) in chords {
            self.add(chord, size);
        }
    }

    /// Edges of tracks and pours where they run on arms.
    fn tracks(&mut self) {
        let mut pieces = Vec::new();
        for conductor in
            self.board.conductors.iter().filter(|c| c.kind != ConductorKind::CoilTurns || c.ranked)
        {
            let width = match &conductor.kind {
                ConductorKind::Track { width_m, .. } => *width_m,
                ConductorKind::CoilTurns | ConductorKind::Pour => f64::INFINITY,
            };
            for edge in conductor.region.edges() {
                for arm in &self.arm_parts {
                    let size = (width / 2.0).min(arm.width_m / self.across);
                    pieces.extend(arm.part.clip(edge).into_iter().map(|piece| (piece, size)));
                }
            }
        }
        for (piece, size) in pieces {
            self.add(piece, size);
        }
    }

    /// Edges of clamps, stiffeners, bodies and a rigid flap inside the outline, and the ends of these edges.
    fn held_edges(&mut self) {
        let board = self.board;
        let supports = board.supports.iter().map(|s| &s.place);
        let mut chains: Vec<Vec<[Point; 2]>> = Vec::new();
        for place in supports {
            match place {
                Place::Area(region) => chains.extend(self.inner_edges(region)),
                Place::Line(ends) => chains.extend(self.outline.clip(*ends).into_iter().map(|p| vec![p])),
                Place::Point(_) => {}
            }
        }
        let stiff = board.stiffeners.iter().map(|s| &s.region);
        let bodies = board.bodies.iter().filter(|b| b.stiff).map(|b| &b.region);
        let flap = board.flap.iter().filter(|f| f.rigid).map(|f| &f.region);
        for region in stiff.chain(bodies).chain(flap) {
            chains.extend(self.inner_edges(region));
        }
        for chain in chains {
            let length: f64 = chain.iter().map(|[a, b]| (a[0] - b[0]).hypot(a[1] - b[1])).sum();
            for &piece in &chain {
                let middle = [0, 1].map(|k| (piece[0][k] + piece[1][k]) / 2.0);
                let width = self.arm_width_m(middle).map_or(length, |w| w.min(length));
                self.add(piece, 0.9 * width / self.across);
            }
            for end in chain.first().map(|p| p[0]).into_iter().chain(chain.last().map(|p| p[1])) {
                if self.outline.on_edge(end) {
                    let floor = self.floor_m(end);
                    self.add([end, end], floor);
                }
            }
        }
    }

    /// Edges of a region inside the outline, joined into chains.
    fn inner_edges(&self, region: &Region) -> Vec<Vec<[Point; 2]>> {
        let mut chains: Vec<Vec<[Point; 2]>> = Vec::new();
        for contour in &region.contours {
            let first = chains.len();
            for i in 0..contour.len() {
                for piece in self.outline.clip([contour[i], contour[(i + 1) % contour.len()]]) {
                    match chains.last_mut() {
                        Some(chain) if chains_on(chain, piece) => chain.push(piece),
                        _ => chains.push(vec![piece]),
                    }
                }
            }
            // The contour is closed: its last chain may run on into its first.
            if chains.len() > first + 1
                && let Some(last) = chains.pop()
            {
                if chains_on(&last, chains[first][0]) {
                    chains[first].splice(0..0, last);
                } else {
                    chains.push(last);
                }
            }
        }
        chains
    }

    /// Re-entrant fillets of the outline, and all others on arms.
    fn fillets(&mut self) {
        for fillet in &self.board.fillets {
            let middle = fillet.middle_m();
            if !self.near_outline(middle) {
                continue;
            }
            let out = [0, 1].map(|k| middle[k] + (middle[k] - fillet.centre_m[k]) / fillet.radius_m * 15e-6);
            if self.outline.contains(out) || self.arm_width_m(middle).is_some() {
                for w in fillet.points_m().windows(2) {
                    self.add([w[0], w[1]], fillet.radius_m / PER_FILLET_RADIUS);
                }
            }
        }
    }

    /// Whether a place lies on the outline but for the sagitta of its chords.
    fn near_outline(&self, p: Point) -> bool {
        let off = 8e-6;
        let around = [[off, 0.0], [0.0, off], [-off, 0.0], [0.0, -off]];
        let inside = around.iter().filter(|d| self.outline.contains([p[0] + d[0], p[1] + d[1]])).count();
        self.outline.on_edge(p) || (1..4).contains(&inside)
    }

    /// Openings of the outline.
    fn openings(&mut self) {
        for hole in self.board.outline.openings() {
            let Some([lo, hi]) = hole.bounds() else { continue };
            let radius = 0.5 * (hi[0] - lo[0]).min(hi[1] - lo[1]);
            for edge in hole.edges() {
                let middle = [0, 1].map(|k| (edge[0][k] + edge[1][k]) / 2.0);
                let size = match self.arm_width_m(middle) {
                    Some(width) => (radius / PER_OPENING_RADIUS[0]).min(width / self.across),
                    None => radius / PER_OPENING_RADIUS[1],
                };
                self.add(edge, size);
            }
        }
    }

    /// Sharp re-entrant corners of the outline.
    fn corners(&mut self) {
        for contour in &self.board.outline.contours {
            let n = contour.len();
            for i in 0..n {
                let (a, b, c) = (contour[(i + n - 1) % n], contour[i], contour[(i + 1) % n]);
                let (u, v) = ([b[0] - a[0], b[1] - a[1]], [c[0] - b[0], c[1] - b[1]]);
                let turn = (u[0] * v[1] - u[1] * v[0]).atan2(u[0] * v[0] + u[1] * v[1]);
                if turn < -CORNER_RAD {
                    let floor = self.floor_m(b);
                    self.add([b, b], floor);
                }
            }
        }
    }
}

/// Whether a piece starts where the chain ends.
fn chains_on(chain: &[[Point; 2]], piece: [Point; 2]) -> bool {
    chain.last().is_some_and(|l| (l[1][0] - piece[0][0]).hypot(l[1][1] - piece[0][1]) < 2e-6)
}
