//! Recovered peaks after automatic refinement with default settings, against an independent computation.
//!
//! References: an independent mixed-method computation, locally refined (quadratic to fifth-order deflection with
//! moments as unknowns for bending; third- and fourth-order displacements in the plane). Lengths are millimetres
//! there and here; the curvatures quoted are per millimetre at unit end deflection. Bending references are good to
//! about 0.1 %, in-plane ones to about 0.3 %.

use copperbend_mesh::board::{Fillet, LayerId};
use copperbend_mesh::region::{Point, Region, rounded_polygon};
use copperbend_mesh::triangulate::{FlatMesh, Plan, SizeField, SizeSource, triangulate};
use copperbend_solver::error::SolveError;
use copperbend_solver::freedoms::Freedoms;
use copperbend_solver::laminate::{Laminate, Ply, isotropic_q};
use copperbend_solver::model::{LoadCase, Model};
use copperbend_solver::recover::{
    Face, SingularKind, Spot, SpotOptions, Trace, recover, spots, trace_values,
};
use copperbend_solver::settle::{Outcome, SettleOptions, Settled, Trial, settle};
use copperbend_solver::statics::Prepared;
use nalgebra::Vector3;

const MM: f64 = 1e-3;

/// A plate with its supports: held components and values by place.
struct Plate {
    plan: Plan,
    sources: Vec<SizeSource>,
    /// Laminate outside the plan's only region, and inside it.
    laminates: Vec<Laminate>,
    /// Held components of the far end, m or rad.
    far: Vec<(usize, f64)>,
    length_m: f64,
}

fn ply(layer: u32, from_mm: f64, to_mm: f64, e_pa: f64) -> Ply {
    Ply {
        layer: LayerId(layer),
        z0_m: from_mm * MM,
        z1_m: to_mm * MM,
        q_pa: isotropic_q(e_pa, 0.34),
        expansion_per_k: Vector3::zeros(),
        density_kg_m3: 1000.0,
        heating_k: 0.0,
        sliding: false,
    }
}

fn mm(points: &[[f64; 2]]) -> Vec<Point> {
    points.iter().map(|p| p.map(|v| v * MM)).collect()
}

fn source(p: Point, q: Point, size_mm: f64) -> SizeSource {
    SizeSource { at_m: [p, q], size_m: size_mm * MM }
}

impl Plate {
    /// Width 4 for x < 6, 2 beyond, fillets of 0.5; far end at 14.
    fn shoulder(far: Vec<(usize, f64)>) -> Self {
        let corners =
            mm(&[[0., -2.], [6., -2.], [6., -1.], [14., -1.], [14., 1.], [6., 1.], [6., 2.], [0., 2.]]);
        let radii = [0., 0., 0.5 * MM, 0., 0., 0.5 * MM, 0., 0.];
        let (points, fillets) = rounded_polygon(&corners, &radii, "shoulder").expect("the fillets fit");
        let sources = fillets.iter().flat_map(along_arc).chain([clamp()]).collect();
        Self {
            plan: Plan { outline: Region::from_polygon(&points), arcs: fillets, ..Plan::default() },
            sources,
            laminates: vec![Laminate::new(vec![ply(0, -0.025, 0.025, 1e9)])],
            far,
            length_m: 14.0 * MM,
        }
    }

    /// The shoulder without fillets: two inward corners at (6, 1) and (6, -1).
    fn sharp_shoulder(far: Vec<(usize, f64)>) -> Self {
        let corners =
            mm(&[[0., -2.], [6., -2.], [6., -1.], [14., -1.], [14., 1.], [6., 1.], [6., 2.], [0., 2.]]);
        let plan = Plan { outline: Region::from_polygon(&corners), ..Plan::default() };
        Self { plan, sources: vec![clamp()], ..Self::shoulder(far) }
    }

    /// Strip of width 4 and length 12; optionally another stack for x < 4.
    fn strip(laminates: Vec<Laminate>) -> Self {
        let region = |to: f64| Region::rectangle(mm(&[[0., -2.]])[0], mm(&[[to, 2.]])[0]);
        let stiffened = laminates.len() > 1;
        let step = mm(&[[4., -2.], [4., 2.]]);
        let mut sources = vec![clamp()];
        if stiffened {
            sources.push(source(step[0], step[1], 0.5));
        }
        Self {
            plan: Plan {
                outline: region(12.0),
                regions: if stiffened { vec![region(4.0)] } else { Vec::new() },
                ..Plan::default()
            },
            sources,
            laminates,
            far: vec![(2, MM), (3, 0.0)],
            length_m: 12.0 * MM,
        }
    }

    fn size_field(&self, extra: &[SizeSource]) -> SizeField {
        SizeField {
            coarse_m: MM,
            fine_m: 1e-6,
            growth: 0.25,
            sources: self.sources.iter().chain(extra).copied().collect(),
            min_angle_rad: 25_f64.to_radians(),
            max_triangles: 200_000,
        }
    }

    fn build(&self, extra: &[SizeSource]) -> Result<Trial<()>, SolveError> {
        let mesh = triangulate(&self.plan, &self.size_field(extra))
            .map_err(|error| SolveError::Mesh { what: error.to_string(), remedy: String::new() })?;
        let model = self.model(&mesh);
        let case = LoadCase { prescribed_factor: 1.0, ..LoadCase::default() };
        let solution = Prepared::new(&model)?.solve(&[case])?.remove(0);
        let triangles = (0..u32::try_from(model.triangles.len()).expect("few triangles")).collect();
        let copper = Trace {
            name: "sheet".into(),
            layer: Some(LayerId(0)),
            triangles,
            ranked: true,
            ..Trace::default()
        };
        Ok(Trial { model, solution, thermal_factor: 0.0, traces: vec![copper], extra: () })
    }

    fn model(&self, mesh: &FlatMesh) -> Model {
        let mut freedoms = Freedoms::free(mesh.points_m.len());
        for (node, p) in (0_u32..).zip(&mesh.points_m) {
            if p[0].abs() < 1e-9 {
                (0..6).for_each(|component| freedoms.hold(node, component, 0.0));
            } else if (p[0] - self.length_m).abs() < 1e-9 {
                self.far.iter().for_each(|&(component, value)| freedoms.hold(node, component, value));
            }
        }
        Model {
            nodes_m: mesh.points_m.iter().map(|p| [p[0], p[1], 0.0]).collect(),
            triangles: mesh.triangles.clone(),
            laminates: self.laminates.clone(),
            laminate_of: mesh
                .zone_of
                .iter()
                .map(|&zone| u32::from(mesh.zones[zone as usize].inside != 0))
                .collect(),
            freedoms,
            ..Model::default()
        }
    }
}

/// The clamped edge x = 0 of width 4, at least eight triangles across.
fn clamp() -> SizeSource {
    let ends = mm(&[[0., -2.], [0., 2.]]);
    source(ends[0], ends[1], 0.5)
}

/// Triangles of an eighth of the radius along a fillet.
fn along_arc(arc: &Fillet) -> Vec<SizeSource> {
    let at = |share: f64| {
        let (s, c) = (arc.angles_rad[0] + share * arc.angles_rad[1]).sin_cos();
        [arc.centre_m[0] + arc.radius_m * c, arc.centre_m[1] + arc.radius_m * s]
    };
    (0..8)
        .map(|k| source(at(f64::from(k) / 8.0), at(f64::from(k + 1) / 8.0), arc.radius_m / 8.0 / MM))
        .collect()
}

/// Half the thickness of the bent sheets, mm: strain at a face per curvature.
const HALF_MM: f64 = 0.025;

/// A plate with a known peak.
struct Known {
    name: &'static str,
    plate: Plate,
    /// Where the peak is, mm (mirrored in y too), and how far off a spot may lie.
    place_mm: [f64; 2],
    reach_mm: f64,
    /// Strain there.
    strain: f64,
    /// Relative error allowed.
    allowed: f64,
}

fn thin() -> Laminate {
    Laminate::new(vec![ply(0, -HALF_MM, HALF_MM, 1e9)])
}

/// 21 degrees along the arc from its tangent point (6.5, 1).
fn on_fillet() -> [f64; 2] {
    let (s, c) = 21_f64.to_radians().sin_cos();
    [6.5 - 0.5 * s, 1.5 - 0.5 * c]
}

fn fillet_in_bending() -> Known {
    Known {
        name: "fillet in bending",
        plate: Plate::shoulder(vec![(2, MM), (3, 0.0)]),
        place_mm: on_fillet(),
        reach_mm: 0.1,
        strain: 0.019_047 * HALF_MM,
        allowed: 0.01,
    }
}

fn stiffness_step() -> Known {
    // Bending stiffness ratio 2.5 cubed = 15.6.
    let thick = Laminate::new(vec![ply(1, -2.5 * HALF_MM, 2.5 * HALF_MM, 1e9)]);
    Known {
        name: "stiffness step",
        plate: Plate::strip(vec![thin(), thick]),
        place_mm: [4.0, 0.0],
        reach_mm: 0.4,
        strain: 0.042_624 * HALF_MM,
        allowed: 0.01,
    }
}

fn clamped_edge() -> Known {
    Known {
        name: "clamped edge",
        plate: Plate::strip(vec![thin()]),
        place_mm: [0.0, 0.0],
        reach_mm: 0.4,
        strain: 0.022_968 * HALF_MM,
        allowed: 0.01,
    }
}

fn eccentric_stiffener() -> Known {
    // The moduli quoted with the reference are plane-stress ones: E / (1 - nu^2) = 10 and 20 GPa.
    let unit = 1.0 - 0.34 * 0.34;
    let base = ply(0, -0.05, 0.05, 10e9 * unit);
    let stiffener = ply(1, -0.25, -0.05, 20e9 * unit);
    Known {
        name: "eccentric stiffener",
        plate: Plate::strip(vec![Laminate::new(vec![base.clone()]), Laminate::new(vec![stiffener, base])]),
        place_mm: [4.0, 0.0],
        reach_mm: 0.4,
        strain: -0.002_398_9,
        allowed: 0.01,
    }
}

fn fillet_in_tension() -> Known {
    Known {
        name: "fillet in tension",
        plate: Plate::shoulder(vec![(0, MM), (1, 0.0)]),
        place_mm: [6.3, 1.0],
        reach_mm: 0.3,
        strain: 0.163_61,
        allowed: 0.04,
    }
}

fn fillet_in_plane_bending() -> Known {
    Known {
        name: "fillet in in-plane bending",
        plate: Plate::shoulder(vec![(1, MM)]),
        place_mm: [6.3, 1.0],
        reach_mm: 0.3,
        strain: 0.0402,
        allowed: 0.04,
    }
}

impl Known {
    fn settle(&self, options: &SettleOptions) -> Settled<()> {
        settle(&mut |extra| self.plate.build(extra), options, &mut |_| true)
            .unwrap_or_else(|error| panic!("{}: {error}", self.name))
    }

    /// The highest spot near the place.
    fn spot<'a>(&self, settled: &'a Settled<()>) -> &'a Spot {
        let off = |spot: &Spot| {
            let [x, y] = [spot.place_m[0] / MM, (spot.place_m[1] / MM).abs()];
            (x - self.place_mm[0]).hypot(y - self.place_mm[1])
        };
        let spot = settled.spots.iter().find(|spot| off(spot) <= self.reach_mm);
        spot.unwrap_or_else(|| panic!("{}: no spot near {:?}", self.name, self.place_mm))
    }

    /// Relative error of a spot, and what it states, one line for the log.
    fn judge(&self, settled: &Settled<()>) -> (f64, f64, String) {
        let spot = self.spot(settled);
        let (off, stated) =
            (spot.strain.abs() / self.strain.abs() - 1.0, spot.uncertainty / self.strain.abs());
        let meshes: Vec<usize> = settled.rounds.iter().map(|round| round.n_triangles).collect();
        let line = format!(
            "{}: {:+.2} % off, {:.2} % stated, {:?}, triangles {meshes:?}",
            self.name,
            100.0 * off,
            100.0 * stated,
            settled.outcome
        );
        (off, stated, line)
    }

    /// Default settings: the peak within its limit, its uncertainty covering the error, and the worst spot there.
    fn check(&self) {
        let settled = self.settle(&SettleOptions::default());
        let (off, stated, line) = self.judge(&settled);
        assert!(off.abs() <= self.allowed, "{line}");
        assert!(off.abs() <= stated, "{line}");
        let spot = self.spot(&settled);
        assert_eq!(spot.node, settled.spots[0].node, "the worst spot is elsewhere: {:?}", settled.spots[0]);
        assert!(spot.mean.is_none(), "a plain peak is no mean: {spot:?}");
        assert!(
            matches!(settled.outcome, Outcome::Settled | Outcome::ThicknessLimit),
            "{line}: rounds {:?}",
            settled.rounds
        );
        assert!(settled.rounds.iter().all(|round| round.n_triangles < 30_000), "{line}");
    }
}

#[test]
fn bending_peak_on_a_fillet_is_within_one_percent() {
    fillet_in_bending().check();
}

#[test]
fn bending_peak_at_a_stiffness_step_is_within_one_percent() {
    stiffness_step().check();
}

#[test]
fn bending_peak_at_a_clamp_is_within_one_percent() {
    clamped_edge().check();
}

#[test]
fn coupled_peak_at_an_eccentric_stiffener_is_within_one_percent() {
    let known = eccentric_stiffener();
    known.check();
    let settled = known.settle(&SettleOptions::default());
    let spot = known.spot(&settled);
    assert_eq!((spot.face, spot.strain < 0.0), (Face::Upper, true), "the upper face is pressed: {spot:?}");
}

#[test]
fn tension_peak_on_a_fillet_is_within_four_percent() {
    fillet_in_tension().check();
}

#[test]
fn in_plane_bending_peak_on_a_fillet_is_within_four_percent() {
    fillet_in_plane_bending().check();
}

#[test]
fn stated_uncertainty_covers_the_error_on_every_mesh_of_the_sequence() {
    let all = [
        fillet_in_bending(),
        stiffness_step(),
        clamped_edge(),
        eccentric_stiffener(),
        fillet_in_tension(),
        fillet_in_plane_bending(),
    ];
    for known in &all {
        for max_refinements in 0..4 {
            // A coarse mesh's spot wanders further than a settled one.
            let options = SettleOptions { max_refinements, ..SettleOptions::default() };
            let (off, stated, line) = known.judge(&known.settle(&options));
            assert!(off.abs() <= stated, "{line}");
        }
    }
}

/// At a sharp inward corner the strain grows without limit; its mean over a half-disc of one thickness does not.
fn sharp_corner_mean(far: Vec<(usize, f64)>) {
    let plate = Plate::sharp_shoulder(far);
    let settled = settle(&mut |extra| plate.build(extra), &SettleOptions::default(), &mut |_| true)
        .expect("the plate settles or stops");
    let spot = &settled.spots[0];
    let mean = spot.mean.expect("the corner's spot is a mean");
    assert_eq!(mean.singular.kind, SingularKind::ReentrantCorner, "{spot:?}");
    assert!(mean.resolved && (mean.radius_m - 2.0 * HALF_MM * MM).abs() < 1e-9, "{mean:?}");
    // The same mean with triangles five times smaller, and the peak there, which has run away.
    let [x, y, _] = spot.place_m;
    let at = [x, y];
    let fine = |size_mm: f64| {
        let sources: Vec<SizeSource> =
            settled.sources.iter().copied().chain([source(at, at, size_mm)]).collect();
        let trial = plate.build(&sources).expect("a finer mesh");
        let recovered = recover(&trial.model, &trial.solution, 0.0);
        let found = spots(&trial.model, &recovered, &trial.traces, &SpotOptions::default());
        let top = found.iter().find(|s| (s.place_m[1] - y).abs() < 1e-9).expect("the same spot").strain;
        let peak = trace_values(&trial.model, &recovered, &trial.traces[0])
            .iter()
            .map(|value| value.2.strain.abs())
            .fold(0.0, f64::max);
        (top, peak)
    };
    let ((first, _), (last, peak)) = (fine(0.01), fine(0.004));
    assert!((spot.strain - last).abs() <= spot.uncertainty, "{} against {last}", spot.strain);
    assert!((first / last - 1.0).abs() < 0.01, "the finer means agree: {first}, {last}");
    assert!(peak > 1.3 * last.abs(), "the peak runs away: {peak} against {last}");
}

#[test]
fn sharp_corner_in_bending_reports_a_mean_that_holds_still() {
    sharp_corner_mean(vec![(2, MM), (3, 0.0)]);
}

#[test]
fn sharp_corner_in_tension_reports_a_mean_that_holds_still() {
    sharp_corner_mean(vec![(0, MM), (1, 0.0)]);
}
