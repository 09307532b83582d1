//! Modes of whole boards: the worked flap of beam theory, the shipped examples, names, air.

use super::*;
use crate::bend::Quiet;
use crate::result::ModeKind;
use copperbend_mesh::board::understand;

const ONE_ARM: &str = include_str!("../../../examples/one_arm_vane/design.toml");
const TWO_ARMS: &str = include_str!("../../../examples/two_arm_vane/design.toml");

fn board(text: &str) -> Board {
    understand("design.toml", text).unwrap_or_else(|f| panic!("{f}"))
}

/// On one mesh.
fn run(text: &str, options: &NaturalOptions) -> ModesReport {
    let text = text.to_owned() + "\n[mesh]\nmax_refinements = 0\n";
    natural_modes(&board(&text), options, &mut Quiet).unwrap()
}

fn first(report: &ModesReport, kind: ModeKind) -> &ModeFacts {
    report.answers[0].modes.iter().find(|m| m.kind == kind).unwrap_or_else(|| panic!("no {}", kind.words()))
}

#[test]
fn two_arms_roll_less_than_one() {
    let options = NaturalOptions { count: 4, ..NaturalOptions::default() };
    let [one, two] = [ONE_ARM, TWO_ARMS].map(|text| run(text, &options));
    for report in [&one, &two] {
        let answer = &report.answers[0];
        assert_eq!(answer.modes[0].name, "swing", "the lowest");
        assert!(answer.modes.iter().all(|m| m.residual < 1e-8), "residuals");
        assert_eq!(answer.counted.map(|[a, b]| a == b), Some(true), "none missed");
        let swing = first(report, ModeKind::Swing);
        assert!(swing.shares.swing > 0.9 && swing.roll_per_swing.unwrap().abs() < 0.05, "{:?}", swing.shares);
        assert!(first(report, ModeKind::Roll).shares.roll > 0.9, "roll");
        assert!(first(report, ModeKind::Roll).roll_per_swing.is_none(), "no swing in it");
        assert!(
            swing.frequency_error_hz < 0.01 * swing.frequency_hz,
            "mesh error {}",
            swing.frequency_error_hz
        );
        assert!(swing.vacuum_hz > swing.frequency_hz && swing.vacuum_hz < 1.05 * swing.frequency_hz, "air");
        let spot = swing.strain.as_ref().unwrap();
        assert!(spot.per_swing_degree.unwrap() > 0.0 && spot.relative_error.unwrap() < 0.2, "{spot:?}");
        assert!(!spot.near.is_empty() && !spot.track.is_empty(), "a place");
    }
    let ratio =
        |r: &ModesReport| first(r, ModeKind::Roll).frequency_hz / first(r, ModeKind::Swing).frequency_hz;
    assert!(ratio(&two) > 1.2 * ratio(&one), "{} and {}", ratio(&two), ratio(&one));
    let stance = |r: &ModesReport| r.answers[0].stance.unwrap();
    let [a, b] = [stance(&one), stance(&two)];
    assert!(
        b.roll_nm_per_rad / b.swing_nm_per_rad > 2.0 * a.roll_nm_per_rad / a.swing_nm_per_rad,
        "{a:?} {b:?}"
    );
    assert!(b.roll_per_swing_1_mm_aside.abs() < 0.6 * a.roll_per_swing_1_mm_aside.abs(), "{a:?} {b:?}");
}

#[test]
fn current_softens_or_stiffens_and_vacuum_is_faster() {
    let options = NaturalOptions { count: 2, ..NaturalOptions::default() };
    let run = |options: &NaturalOptions| run(ONE_ARM, options).answers[0].modes[0].clone();
    let rest = run(&options);
    let [plus, minus] =
        [0.003, -0.003].map(|current_a| run(&NaturalOptions { current_a, ..options.clone() }));
    let [a, b] = [plus.frequency_hz, minus.frequency_hz];
    assert!((a - rest.frequency_hz) * (b - rest.frequency_hz) < 0.0, "{a}, {}, {b} Hz", rest.frequency_hz);
    let vacuum = run(&NaturalOptions { medium: None, ..options });
    assert!(
        (vacuum.frequency_hz / rest.vacuum_hz - 1.0).abs() < 1e-4,
        "{} {}",
        vacuum.frequency_hz,
        rest.vacuum_hz
    );
    assert!(vacuum.air_share.abs() < 1e-15, "no air");
}

#[test]
fn a_current_that_pulls_the_flap_in_is_refused() {
    let options = NaturalOptions { count: 2, current_a: -0.2, ..NaturalOptions::default() };
    let error = natural_modes(&board(ONE_ARM), &options, &mut Quiet).unwrap_err();
    let text = error.to_string();
    assert!(text.contains("pulled in") || matches!(error, SolveError::Stopped { .. }), "{text}");
}

#[test]
fn what_cannot_be_asked_is_told() {
    let no_current = ONE_ARM.split("[circuit]").next().unwrap().to_owned()
        + "[[support]]\nname = \"holder\"\nkind = \"clamp\"\nshape = \"gripped\"\n";
    let options = NaturalOptions { current_a: 0.01, ..NaturalOptions::default() };
    let error = natural_modes(&board(&no_current), &options, &mut Quiet).unwrap_err();
    assert!(error.to_string().contains("current path"), "{error}");
    struct Stop;
    impl Progress for Stop {
        fn report(&mut self, _: &str, _: f64) -> bool {
            false
        }
    }
    let error = natural_modes(&board(ONE_ARM), &NaturalOptions::default(), &mut Stop).unwrap_err();
    assert!(matches!(error, SolveError::Cancelled), "{error}");
    // Without arm and flap there is no name but the board's.
    let options = NaturalOptions { count: 2, ..NaturalOptions::default() };
    let plain = natural_modes(&board(&no_current), &options, &mut Quiet).unwrap();
    assert!(
        plain.answers[0].modes.iter().all(|m| m.kind == ModeKind::Board && m.roll_per_swing.is_none()),
        "names"
    );
    assert!(plain.answers[0].stance.is_none(), "no flap");
}
