//! How wide should the arm of a flap of 1 cm2 be? Usable speed against arm width, and what limits it.
//!
//! `cargo run --release --example arm_width`. For every width the natural modes of the whole board are found; then the
//! swing is one motion with the board's own stiffness and inertia, quadratic drag with the coefficient that the stroke
//! calls for, structural damping, and the torque that the coil has at rest. A speed is reached when the current at hand
//! gives the wished swing and the flap rolls by no more than a tenth of it under a pull a little off the middle.
//!
//! Two columns, for they differ: the highest speed reached at all grows with the width, since a stiffer arm only moves
//! its resonance up, and at resonance little current does. A drive that must run at every speed from standstill up also
//! needs its swing below resonance, where the arm's stiffness alone holds against the current: there the best width lies
//! inside, and it moves with the current. Both are shown for three currents, with what limits every width and by how much:
//! current and drag (the swing), roll, copper strain. Ends in asserts on that, and on another reason for giving way on
//! either side.

#![expect(clippy::print_stdout, reason = "an example prints its table")]

use copperbend_mesh::board::understand;
use copperbend_solver::air::Medium;
use copperbend_solver::air::drag::{Law, keulegan_carpenter};
use copperbend_solver::air::plate::Plate;
use copperbend_solver::bend::Quiet;
use copperbend_solver::lorentz::{HingeLine, coil_load};
use copperbend_solver::magnet::Field;
use copperbend_solver::model::Hinge;
use copperbend_solver::natural::{NaturalOptions, natural_modes};
use copperbend_solver::result::ModeKind;
use std::error::Error;
use std::f64::consts::{PI, TAU};

/// Flap of 10 x 10 mm on one arm 9 mm long; `{W}` is half the arm's width in mm.
const DESIGN: &str = r#"
title = "Flap of 1 cm2, arm width varied"
[shapes]
pad   = { rectangle = { from = ["-5 mm", "-5 mm"], to = ["0 mm", "5 mm"] } }
arm   = { rectangle = { from = ["-0.2 mm", "-{W} mm"], to = ["9.2 mm", "{W} mm"] } }
vane  = { rectangle = { from = ["9 mm", "-5 mm"], to = ["19 mm", "5 mm"] } }
body  = { union = ["pad", "arm", "vane"], fillet = "0.3 mm" }
held  = { rectangle = { from = ["-5 mm", "-5 mm"], to = ["-0.3 mm", "5 mm"] } }
bends = { rectangle = { from = ["-0.3 mm", "-3 mm"], to = ["9 mm", "3 mm"] } }
plus  = { circle = { centre = ["-4 mm", "2 mm"], diameter = "1 mm" } }
minus = { circle = { centre = ["-4 mm", "-2 mm"], diameter = "1 mm" } }
[outline]
shape = "body"
[mesh]
max_refinements = 0
[[layer]]
name = "copper bottom"
material = "copper_rolled_annealed"
kind = "copper"
thickness = "12 um"
[[layer]]
name = "film"
material = "polyimide_film"
kind = "film"
thickness = "25 um"
[[layer]]
name = "copper top"
material = "copper_rolled_annealed"
kind = "copper"
thickness = "12 um"
where = ["plus", "minus"]
[[track]]
name = "out"
layer = "copper top"
points = [["-4 mm", "2 mm"], ["-2 mm", "0.4 mm"], ["9.5 mm", "0.4 mm"], ["10.05 mm", "0 mm"]]
width = "0.3 mm"
[[coil]]
name = "coil"
form = "round"
centre = ["14 mm", "0 mm"]
outer = "8 mm"
turns = 16
track_width = "100 um"
pitch = "200 um"
layers = ["copper top", "copper bottom"]
start_angle = "180 deg"
[[track]]
name = "bridge"
layer = "copper bottom"
points = [["10.05 mm", "0 mm"], ["9.5 mm", "-0.4 mm"], ["8.5 mm", "-0.4 mm"]]
width = "0.3 mm"
[[track]]
name = "back"
layer = "copper top"
points = [["8.5 mm", "-0.4 mm"], ["-2 mm", "-0.4 mm"], ["-4 mm", "-2 mm"]]
width = "0.3 mm"
[circuit]
chain = ["out", "coil", "bridge", "back"]
[drive]
current = "10 mA"
[[support]]
name = "holder"
kind = "clamp"
shape = "held"
[[arm]]
name = "arm"
shape = "bends"
root = ["0 mm", "0 mm"]
tip = ["9 mm", "0 mm"]
[flap]
shape = "vane"
[[magnet]]
name = "drive magnet"
disc = { diameter = "6 mm", height = "2 mm" }
magnetisation = "axial"
remanence = "1.3 T"
centre = ["14 mm", "0 mm", "-6 mm"]
"#;

/// Swing wished, rad (10 degrees either way).
const WISHED: f64 = 10.0 * PI / 180.0;
/// Widest arms that the currents tried turn as far as wished at standstill, mm: what the drive was sized for.
const SIZED_FOR_MM: [f64; 3] = [2.6, 3.6, 5.0];
/// Pull beside the middle of the flap, as shares of 1 mm.
const ASIDE_MM: f64 = 0.3;
/// Roll allowed, as a share of the swing.
const MOST_ROLL: f64 = 0.1;
/// Structural loss factor of the laminate, a guess.
const LOSS: f64 = 0.015;

/// One motion each for swing and roll.
struct Board {
    swing_nm_per_rad: f64,
    swing_hz: f64,
    roll_hz: f64,
    /// Static roll over swing under the pull aside.
    roll_at_rest: f64,
    /// Torque per ampere, coil at rest, N m/A.
    torque_nm_per_a: f64,
    /// Range of the ranking copper strain over a period of the wished swing.
    strain_range: Option<f64>,
}

fn board(width_mm: f64) -> Result<Board, Box<dyn Error>> {
    let text = DESIGN.replace("{W}", &format!("{:.3}", 0.5 * width_mm));
    let board = understand("arm_width", &text).map_err(|faults| faults.to_string())?;
    let options = NaturalOptions { count: 4, ..NaturalOptions::default() };
    let report = natural_modes(&board, &options, &mut Quiet)?;
    let answer = report.answers.first().ok_or("no answer")?;
    let stance = answer.stance.ok_or("no flap")?;
    let mode = |kind| answer.modes.iter().find(|m| m.kind == kind);
    let of = |kind| mode(kind).map(|m| m.frequency_hz);
    let per_degree = mode(ModeKind::Swing).and_then(|m| m.strain.as_ref()).and_then(|s| s.per_swing_degree);
    let hinge = Hinge::of(&board);
    let path = board.current.as_ref().ok_or("no current path")?;
    let line = HingeLine::new(hinge.point_m(), hinge.along);
    let load = coil_load(path, &Field::new(&board.magnets), &line);
    Ok(Board {
        swing_nm_per_rad: stance.swing_nm_per_rad,
        swing_hz: of(ModeKind::Swing).ok_or("no swing")?,
        roll_hz: of(ModeKind::Roll).ok_or("no roll")?,
        roll_at_rest: ASIDE_MM * stance.roll_per_swing_1_mm_aside.abs(),
        torque_nm_per_a: load.torque_constant_nm_per_a.abs(),
        strain_range: per_degree.map(|s| 2.0 * s.abs() * WISHED.to_degrees()),
    })
}

impl Board {
    /// Torque that swings the flap as wished at a frequency, N m (single harmonic).
    fn torque_needed_nm(&self, hz: f64) -> f64 {
        let (omega, k) = (TAU * hz, self.swing_nm_per_rad);
        let inertia = k / (TAU * self.swing_hz).powi(2);
        // The flap turns about the middle of the arm, 4.5 to 14.5 mm away.
        let (near, far, b, medium) = (4.5e-3, 14.5e-3, 10e-3, Medium::AIR);
        let kc = keulegan_carpenter(WISHED * 0.5 * (near + far), b);
        let c = Law::default().coefficient(kc, Plate::new(b, b).aspect()).value;
        let drag = 0.5 * medium.density_kg_m3 * c * b * (f64::powi(far, 4) - f64::powi(near, 4)) / 4.0;
        let damping = LOSS * k + 8.0 / (3.0 * PI) * drag * omega * omega * WISHED;
        WISHED * (k - inertia * omega * omega).hypot(damping)
    }

    /// Roll over swing at a frequency under the pull aside.
    fn roll(&self, hz: f64) -> f64 {
        let stretch = |own: f64| ((1.0 - (hz / own).powi(2)).powi(2) + LOSS * LOSS).sqrt();
        self.roll_at_rest * stretch(self.swing_hz) / stretch(self.roll_hz)
    }

    /// Whether the current reaches the swing, and whether the flap keeps from rolling.
    fn holds(&self, hz: f64, current_a: f64) -> [bool; 2] {
        [self.torque_needed_nm(hz) <= self.torque_nm_per_a * current_a, self.roll(hz) <= MOST_ROLL]
    }

    /// Highest speed reached at all, Hz, and the highest for the swing and for the roll alone.
    fn highest(&self, current_a: f64) -> [f64; 3] {
        let last = |holds: &dyn Fn([bool; 2]) -> bool| {
            speeds().rev().find(|&hz| holds(self.holds(hz, current_a))).unwrap_or(0.0)
        };
        [last(&|h| h == [true; 2]), last(&|h| h[0]), last(&|h| h[1])]
    }

    /// Highest speed with every one below it reached too, Hz, and what gives way there.
    fn reached_from_standstill(&self, current_a: f64) -> (f64, &'static str) {
        let end = speeds().find(|&hz| self.holds(hz, current_a) != [true; 2]);
        let Some(end) = end else { return (120.0, "nothing up to 120 Hz") };
        let why = match self.holds(end, current_a) {
            [true, _] => "it rolls: the swing is far above its own frequency",
            _ if end < self.swing_hz => "arm too stiff for the current, below resonance already",
            _ => "swing lost to inertia and drag",
        };
        (end - STEP_HZ, why)
    }
}

/// Step of the speeds tried, Hz.
const STEP_HZ: f64 = 0.1;

fn speeds() -> impl DoubleEndedIterator<Item = f64> {
    (1..=1200_i32).map(|i| STEP_HZ * f64::from(i))
}

/// Widths tried, mm.
const WIDTHS_MM: [f64; 7] = [1.5, 2.0, 2.6, 3.0, 3.6, 4.2, 5.0];

/// One current on all widths.
struct Row {
    width_mm: f64,
    /// Highest speed reached at all, for the swing alone, for the roll alone, Hz.
    highest_hz: [f64; 3],
    /// Highest speed with every one below it, Hz, and what gives way there.
    from_standstill_hz: f64,
    why: &'static str,
}

fn rows(boards: &[(f64, Board)], current_a: f64) -> Vec<Row> {
    let row = |(width_mm, board): &(f64, Board)| {
        let (from_standstill_hz, why) = board.reached_from_standstill(current_a);
        Row { width_mm: *width_mm, highest_hz: board.highest(current_a), from_standstill_hz, why }
    };
    boards.iter().map(row).collect()
}

/// The row that is largest by a measure.
fn best(rows: &[Row], of: fn(&Row) -> f64) -> Option<&Row> {
    rows.iter().reduce(|best, own| if of(own) > of(best) { own } else { best })
}

pub(crate) fn main() -> Result<(), Box<dyn Error>> {
    let boards = WIDTHS_MM.iter().map(|&w| Ok((w, board(w)?))).collect::<Result<Vec<_>, Box<dyn Error>>>()?;
    println!(
        "Swing of +-{:.0} deg wished, roll at most {:.0} % of it",
        WISHED.to_degrees(),
        100.0 * MOST_ROLL
    );
    println!("width mm  swing Hz  roll Hz  standstill mA  strain range um/m");
    for (width, b) in &boards {
        let standstill_a = b.torque_needed_nm(0.0) / b.torque_nm_per_a;
        let strain = b.strain_range.map_or_else(|| "-".to_owned(), |s| format!("{:.0}", 1e6 * s));
        println!(
            "{width:8.1}  {:8.2}  {:7.1}  {:13.2}  {strain:>17}",
            b.swing_hz,
            b.roll_hz,
            1e3 * standstill_a
        );
    }
    let mut sized = Vec::new();
    for width in SIZED_FOR_MM {
        let (_, own) =
            boards.iter().find(|(w, _)| (w - width).abs() < 1e-9).ok_or("a width that is not tried")?;
        let current_a = own.torque_needed_nm(0.0) / own.torque_nm_per_a * (1.0 + 1e-9);
        println!("\n{:.2} mA on every width (it just turns {width} mm at standstill)", current_a * 1e3);
        println!("width mm  any speed to Hz  swing alone Hz  roll alone Hz  every speed to Hz  there");
        let rows = rows(&boards, current_a);
        for r in &rows {
            let [any, swing, roll] = r.highest_hz;
            println!(
                "{:8.1}  {any:15.1}  {swing:14.1}  {roll:13.1}  {:17.1}  {}",
                r.width_mm, r.from_standstill_hz, r.why
            );
        }
        let any = best(&rows, |r| r.highest_hz[0]).ok_or("no widths")?;
        let every = best(&rows, |r| r.from_standstill_hz).ok_or("no widths")?;
        println!(
            "fastest at all: {} mm, {:.1} Hz; with every speed below it: {} mm, {:.1} Hz",
            any.width_mm, any.highest_hz[0], every.width_mm, every.from_standstill_hz
        );
        sized.push((width, any.width_mm, every.width_mm, rows));
    }
    println!(
        "\nThe highest single speed has no best width inside at a fixed current: a wider arm moves its resonance up, and at\n\
         resonance little current does. With every speed from standstill up the best width is the widest that the current\n\
         still turns at standstill: beyond it stiffness binds, below it inertia, drag or roll."
    );
    for (width, any, every, rows) in &sized {
        assert!((every - width).abs() < 1e-9, "sized for {width} mm, best from standstill at {every} mm");
        assert!(any >= every, "the highest single speed at {any} mm, narrower than {every} mm");
        let (first, last) = (&rows[0], &rows[rows.len() - 1]);
        if *width < last.width_mm {
            assert!(last.from_standstill_hz < first.from_standstill_hz, "the widest turns at standstill");
            assert_ne!(first.why, last.why, "the same limit on both sides of {width} mm");
        }
    }
    Ok(())
}
