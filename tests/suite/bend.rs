//! Whole path from a design's text to the report, against hand formulas and symmetry.

use copperbend_mesh::board::{Board, understand};
use copperbend_solver::bend::{BendOptions, Progress, Quiet, bend};
use copperbend_solver::error::SolveError;
use copperbend_solver::result::{BendAnswer, BendReport, BondLimit, Face, StrainMap};

/// Two films and a copper sheet without sideways contraction; `WIDTH` by 10 mm, clamped at x = 0.
const COMPOSITE: &str = r#"
title = "Layered strip"
[materials.film]
like = "polyimide_film"
youngs_modulus = "4 GPa"
poisson_ratio = "0"
[materials.glue]
like = "adhesive_acrylic"
youngs_modulus = "1.5 GPa"
poisson_ratio = "0"
[materials.foil]
like = "copper_rolled_annealed"
youngs_modulus = "117 GPa"
youngs_modulus_span = ["60 GPa", "130 GPa"]
poisson_ratio = "0"
[shapes]
strip = { rectangle = { from = ["0 mm", "-1 mm"], to = ["10 mm", "1 mm"] } }
[outline]
shape = "strip"
[[layer]]
name = "base"
material = "film"
kind = "film"
thickness = "25 um"
[[layer]]
name = "copper"
material = "foil"
kind = "copper"
thickness = "18 um"
where = ["strip"]
[[layer]]
name = "adhesive"
material = "glue"
kind = "adhesive"
thickness = "15 um"
[[layer]]
name = "cover"
material = "film"
kind = "cover"
thickness = "12.5 um"
[[arm]]
name = "arm"
shape = "strip"
root = ["0 mm", "0 mm"]
tip = ["10 mm", "0 mm"]
[[support]]
name = "root"
kind = "clamp"
line = [["0 mm", "-1 mm"], ["0 mm", "1 mm"]]
"#;

const PUSH: &str = r#"
[[force]]
name = "push"
line = [["10 mm", "-1 mm"], ["10 mm", "1 mm"]]
force = ["0 mN", "0 mN", "1 mN"]
"#;

fn board(text: &str) -> Board {
    understand("design.toml", text).unwrap_or_else(|faults| panic!("{faults}"))
}

fn run(text: &str) -> BendReport {
    bend(&board(text), &BendOptions::default(), &mut Quiet).unwrap_or_else(|e| panic!("{e}"))
}

fn close(found: f64, expected: f64, relative: f64, what: &str) {
    let ratio = found / expected;
    assert!(
        (ratio - 1.0).abs() < relative,
        "{what}: found {found:.8e}, expected {expected:.8e}, ratio {ratio:.6}"
    );
}

fn map(answer: &BendAnswer, layer: &str, face: Face) -> StrainMap {
    let found = answer.maps.iter().find(|m| m.layer == layer && m.face == face);
    found.unwrap_or_else(|| panic!("no map of '{layer}'")).clone()
}

/// Strain components on a map nearest to a place.
fn strain_at(answer: &BendAnswer, map: &StrainMap, x: f64, y: f64) -> [f64; 3] {
    let corners = map.triangles.iter().zip(&map.components).flat_map(|(&t, strains)| {
        answer.shape.triangles[t as usize]
            .iter()
            .zip(strains)
            .map(|(&n, s)| (answer.shape.points_m[n as usize], *s))
    });
    let gap = |p: &[f64; 2]| (p[0] - x).hypot(p[1] - y);
    corners.min_by(|a, b| gap(&a.0).total_cmp(&gap(&b.0))).map(|c| c.1).unwrap_or_default()
}

/// Source: transformed-section beam theory; figures recomputed for the problem "arm-composite" of tests/data.
#[test]
fn composite_strip_gives_deflection_and_root_strain_of_the_beam() {
    let report = run(&format!("{COMPOSITE}{PUSH}"));
    let answer = &report.answers[0];
    close(answer.loaded.tip_m[2], 1033.8104e-6, 0.005, "tip deflection");
    for (face, expected) in [(Face::Lower, 0.0002755047), (Face::Upper, -0.0002827529)] {
        let found = strain_at(answer, &map(answer, "copper", face), 0.0, 0.0)[0];
        close(found, expected, 0.005, "root strain of the copper");
    }
    let top = &report.answers[0].spots[0];
    close(top.strain, -0.0002827529, 0.01, "top spot");
    assert_eq!((top.face, top.layer.as_str()), (Face::Upper, "copper"), "{top:?}");
    assert!(top.x_m < 0.2e-3 && top.near.contains("root"), "{top:?}");
    assert!(
        (top.strain + 0.0002827529).abs() <= top.strain_error,
        "stated uncertainty covers the error: {top:?}"
    );
    close(report.summary.layer_mass_kg, 0.00046206 * 10e-3, 1e-2, "mass (library densities)");
    close(report.summary.arms[0].bending_nm2, 3.2243178e-7, 1e-6, "bending stiffness of the section");
    close(report.summary.arms[0].neutral_z_m, 33.883147e-6, 1e-6, "neutral plane");
}

/// Source: composite beam formulas: strain is curvature times distance from the neutral plane, whose height and
/// stiffness follow the copper's modulus.
#[test]
fn modulus_span_follows_the_composite_beam() {
    let report = run(&format!("{COMPOSITE}{PUSH}"));
    let span = report.answers[0].modulus_span.clone().unwrap_or_default();
    let by_hand = |e: f64| {
        let plies = [(4e9, 0.0, 25e-6), (e, 25e-6, 43e-6), (1.5e9, 43e-6, 58e-6), (4e9, 58e-6, 70.5e-6)];
        let sum = |power: i32| -> f64 {
            plies
                .iter()
                .map(|&(e, a, b): &(f64, f64, f64)| e * (b.powi(power) - a.powi(power)) / f64::from(power))
                .sum()
        };
        let neutral = sum(2) / sum(1);
        let stiffness = 2e-3 * (sum(3) - sum(2) * neutral);
        -(43e-6 - neutral) * 1e-3 * 10e-3 / stiffness
    };
    assert_eq!(span.material, "foil", "{span:?}");
    for (modulus, found) in span.modulus_pa.iter().zip(span.strain) {
        close(found, by_hand(*modulus), 0.01, &format!("strain at {modulus:.3e} Pa"));
    }
}

/// Closed form: bonded sheets share a neutral plane, sliding ones add their own stiffness.
#[test]
fn taped_stiffener_is_shown_at_both_limits() {
    let text = r#"
title = "Two-ply strip"
[materials.film]
like = "polyimide_film"
youngs_modulus = "4 GPa"
poisson_ratio = "0"
[materials.sheet]
like = "fr4"
youngs_modulus_1 = "24 GPa"
youngs_modulus_2 = "24 GPa"
poisson_ratio_12 = "0"
shear_modulus_12 = "12 GPa"
[materials.glue]
like = "transfer_tape_acrylic"
youngs_modulus = "1 kPa"
poisson_ratio = "0"
[shapes]
strip = { rectangle = { from = ["0 mm", "-1 mm"], to = ["10 mm", "1 mm"] } }
[outline]
shape = "strip"
[[layer]]
name = "base"
material = "film"
kind = "film"
thickness = "50 um"
[[stiffener]]
name = "plate"
shape = "strip"
side = "below"
material = "sheet"
thickness = "0.2 mm"
bond = "tape"
tape = { material = "glue", thickness = "30 um", shear_modulus = "0.1 MPa" }
[[support]]
name = "root"
kind = "clamp"
line = [["0 mm", "-1 mm"], ["0 mm", "1 mm"]]
[[force]]
name = "push"
line = [["10 mm", "-1 mm"], ["10 mm", "1 mm"]]
force = ["0 mN", "0 mN", "5 mN"]
"#;
    let report = run(text);
    let limits: Vec<BondLimit> = report.answers.iter().map(|a| a.bond).collect();
    assert_eq!(limits, [BondLimit::Bonded, BondLimit::Sliding], "both limits, stiff first");
    let (a, b) = (4e9 * 50e-6, 24e9 * 200e-6);
    let apart = 2e-3 * (4e9 * 50e-6_f64.powi(3) + 24e9 * 200e-6_f64.powi(3)) / 12.0;
    let joined = apart + 2e-3 * a * b / (a + b) * (25e-6_f64 + 30e-6 + 100e-6).powi(2);
    for (answer, stiffness) in report.answers.iter().zip([joined, apart]) {
        let expected = 5e-3 * 10e-3_f64.powi(3) / (3.0 * stiffness);
        close(answer.loaded.tip_m[2], expected, 0.001, &format!("tip, {:?}", answer.bond));
    }
}

/// Source: strain in pure bending is distance from the neutral plane over radius (trade's acceptance for a strip).
#[test]
fn strip_bent_to_a_radius_strains_by_distance_over_radius() {
    // Both ends turn by 1.15 degrees about the strip's middle: a circular arc of radius 10 mm / 2.3 degrees.
    let text = format!(
        "{}\n{}",
        COMPOSITE.replace(
            "line = [[\"0 mm\", \"-1 mm\"], [\"0 mm\", \"1 mm\"]]\n",
            "line = [[\"0 mm\", \"-1 mm\"], [\"0 mm\", \"1 mm\"]]\n\
             rotation = { angle = \"1.15 deg\", through = [\"5 mm\", \"0 mm\", \"33.883147 um\"], axis = [0, 1, 0] }\n"
        ),
        r#"
[[support]]
name = "far"
kind = "clamp"
line = [["10 mm", "-1 mm"], ["10 mm", "1 mm"]]
rotation = { angle = "-1.15 deg", through = ["5 mm", "0 mm", "33.883147 um"], axis = [0, 1, 0] }
"#
    );
    let report = run(&text);
    let answer = &report.answers[0];
    let radius = 10e-3 / 2.3_f64.to_radians();
    for (face, z) in [(Face::Lower, 25e-6), (Face::Upper, 43e-6)] {
        let found = strain_at(answer, &map(answer, "copper", face), 5e-3, 0.0)[0];
        close(found, -(z - 33.883147e-6) / radius, 0.01, "strain at mid-length");
    }
    assert!(answer.unloaded.largest_m > 0.0, "mounting rotation belongs to the unloaded shape");
    close(answer.unloaded.largest_m, answer.loaded.largest_m, 1e-9, "nothing else loads it");
}

const VANE: &str = include_str!("../../examples/one_arm_vane/design.toml");

fn one_pass() -> BendOptions {
    BendOptions { refine: false, modulus_span: false, ..BendOptions::default() }
}

#[test]
fn vane_balances_and_its_plane_of_unknowns_does_not_matter() {
    let board = board(VANE);
    let first = bend(&board, &one_pass(), &mut Quiet).unwrap_or_else(|e| panic!("{e}"));
    let plane = first.answers[0].mesh.reference_z_m + 1e-4;
    let options = BendOptions { reference_z_m: Some(plane), ..one_pass() };
    let other = bend(&board, &options, &mut Quiet).unwrap_or_else(|e| panic!("{e}"));
    let (a, b) = (&first.answers[0], &other.answers[0]);
    assert!(a.accuracy.balance < 1e-9 && a.accuracy.digits > 6.0, "{:?}", a.accuracy);
    let angle = |x: &BendAnswer| x.loaded.flap_angle_rad.unwrap_or_default();
    close(angle(a), angle(b), 1e-9, "flap angle");
    assert_eq!(a.spots.len(), b.spots.len(), "spots");
    for (one, two) in a.spots.iter().zip(&b.spots) {
        assert!((one.strain - two.strain).abs() < 1e-9 * a.spots[0].strain.abs(), "{one:?} {two:?}");
    }
    let drive = first.drive.clone().unwrap_or_default();
    let weight = first.summary.layer_mass_kg * board.gravity_m_s2[2];
    let carried = a.loaded.load_n[2] - weight;
    close(carried, drive.force_n[2], 0.02, "nodal loads carry the drive's force (tracks in the clamp apart)");
}

/// A strip pushed at one corner, and its mirror image y to -y.
#[test]
fn mirrored_design_gives_the_mirrored_answer() {
    let text = format!(
        "{COMPOSITE}\n[[force]]\nname = \"corner\"\npoint = [\"9 mm\", \"0.6 mm\"]\nforce = [\"0 mN\", \"0.1 mN\", \"0.5 mN\"]\n"
    );
    let mirrored = text.replace("\"0.6 mm\"", "\"-0.6 mm\"").replace("\"0.1 mN\"", "\"-0.1 mN\"");
    let (a, b) = (run(&text), run(&mirrored));
    let (one, two) = (&a.answers[0], &b.answers[0]);
    close(one.loaded.energy_j, two.loaded.energy_j, 2e-3, "energy");
    close(one.spots[0].strain, two.spots[0].strain, 0.01, "top spot");
    close(one.loaded.tip_m[2], two.loaded.tip_m[2], 1e-3, "tip");
    assert!(one.loaded.tip_m[1] * two.loaded.tip_m[1] < 0.0, "sideways motion changes its sign");
}

/// Smeared turns against every turn by itself (tolerance of the program's own definition: 2 % in stiffness).
#[test]
fn smeared_coil_is_as_stiff_as_its_turns() {
    let text = r#"
title = "Coil on a bending tongue"
[shapes]
tongue = { rectangle = { from = ["0 mm", "-3 mm"], to = ["10 mm", "3 mm"] } }
[outline]
shape = "tongue"
[[layer]]
name = "base film"
material = "polyimide_film"
kind = "film"
thickness = "50 um"
[[layer]]
name = "copper"
material = "copper_rolled_annealed"
kind = "copper"
thickness = "18 um"
[[layer]]
name = "adhesive"
material = "adhesive_acrylic"
kind = "adhesive"
thickness = "15 um"
seat = "level"
[[layer]]
name = "cover"
material = "polyimide_film"
kind = "cover"
thickness = "12.5 um"
[[coil]]
name = "coil"
form = "square"
centre = ["5 mm", "0 mm"]
outer = "5.2 mm"
turns = 6
track_width = "200 um"
pitch = "350 um"
layers = ["copper"]
turns_model = "smeared"
[flap]
shape = "tongue"
[[support]]
name = "root"
kind = "clamp"
line = [["0 mm", "-3 mm"], ["0 mm", "3 mm"]]
[[force]]
name = "push"
line = [["10 mm", "-3 mm"], ["10 mm", "3 mm"]]
force = ["0 mN", "0 mN", "1 mN"]
"#;
    let resolved = text.replace("\"smeared\"", "\"each\"");
    let tip = |text: &str| {
        let report = bend(&board(text), &one_pass(), &mut Quiet).unwrap_or_else(|e| panic!("{e}"));
        report.answers[0].loaded.tip_m[2]
    };
    close(tip(text), tip(&resolved), 0.02, "tip deflection, smeared against resolved");
}

#[test]
fn exceeded_limit_is_told() {
    let within = format!("{COMPOSITE}{PUSH}\n[limits]\ncopper_strain = \"0.1 %\"\n");
    let beyond = within.replace("0.1 %", "0.02 %");
    assert!(!run(&within).exceeds_limit(), "0.03 % against 0.1 %");
    let report = run(&beyond);
    assert!(report.exceeds_limit(), "{:?}", report.limits);
    assert_eq!(report.limits[0].what, "copper strain", "{:?}", report.limits);
}

#[test]
fn work_stops_on_request() {
    struct Stop(u32);
    impl Progress for Stop {
        fn report(&mut self, _stage: &str, fraction: f64) -> bool {
            assert!((0.0..=1.0).contains(&fraction), "fraction {fraction}");
            self.0 -= 1;
            self.0 > 0
        }
    }
    let board = board(&format!("{COMPOSITE}{PUSH}"));
    let error = bend(&board, &BendOptions::default(), &mut Stop(3)).expect_err("stopped");
    assert_eq!(error, SolveError::Cancelled, "{error}");
}

#[test]
fn same_design_gives_the_same_bytes() {
    let once = || serde_json::to_string(&run(&format!("{COMPOSITE}{PUSH}"))).unwrap_or_default();
    let (a, b) = (once(), once());
    assert!(a.len() > 1000 && a == b, "two runs differ");
}

#[test]
fn a_factor_that_does_not_fit_is_refused_with_the_numbers() {
    let board = board(VANE);
    let options = BendOptions { free_memory: Some(|| Some(1_000_000)), ..one_pass() };
    let Err(error) = bend(&board, &options, &mut Quiet) else { panic!("a megabyte is too little") };
    assert!(matches!(error, SolveError::Memory { needed, free: 1_000_000 } if needed > 1_000_000), "{error}");
    assert!(error.to_string().contains("coarser mesh"), "{error}");
}
