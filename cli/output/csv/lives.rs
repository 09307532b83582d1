//! Life of spots and of the board as comma-separated values.

use super::quoted;
use copperbend_solver::life::count;
use copperbend_solver::life::report::LifeReport;
use copperbend_solver::reliability::Interval;
use copperbend_solver::result::{CycleAnswer, Face};

const LIFE: &str = "rank,track,layer,face,x_mm,y_mm,strain_range_um_per_m,range_error_um_per_m,mean_strain_um_per_m,\
     first_bend_um_per_m,set_um_per_m,mean_stress_mpa,copper,ten_percent_cycles,ten_percent_low,ten_percent_high,\
     half_cycles,half_low,half_high,half_flexes,foil_cycles,slopes_cycles,line_cycles,extrapolated,nearest";

/// Life of all spots of a steady loop.
pub(crate) fn life(cycle: &CycleAnswer, life: &LifeReport) -> Vec<u8> {
    let mut out = String::from(LIFE);
    out.push_str("\r\n");
    let micro = |v: f64| format!("{:.4}", v * 1e6);
    let lives = |i: Interval| [i.value, i.low, i.high].map(|v| format!("{v:.4e}")).join(",");
    for (own, life) in cycle.spots.iter().zip(&life.spots) {
        let s = &own.spot;
        let cells = [
            s.rank.to_string(),
            quoted(&s.track),
            quoted(&s.layer),
            face_words(s.face).to_owned(),
            format!("{:.6}", s.x_m * 1e3),
            format!("{:.6}", s.y_m * 1e3),
            micro(s.range),
            micro(s.range_error),
            micro(own.mean_strain),
            micro(own.first_bend_strain),
            micro(own.set_strain),
            format!("{:.4}", own.mean_stress_pa * 1e-6),
            quoted(own.kind.words()),
            lives(life.lives.ten_percent_cycles),
            lives(life.lives.half_cycles),
            format!("{:.4e}", count::flexes(life.lives.half_cycles.value)),
            format!("{:.4e}", life.band.foil_cycles),
            format!("{:.4e}", life.band.slopes_cycles),
            format!("{:.4e}", life.band.line_cycles),
            if life.extrapolated { "yes" } else { "no" }.to_owned(),
            quoted(&s.near),
        ];
        out.push_str(&cells.join(","));
        out.push_str("\r\n");
    }
    out.into_bytes()
}

/// Life of the board over its swing.
pub(crate) fn life_curve(life: &LifeReport) -> Vec<u8> {
    let mut out = String::from(
        "angle_deg,current_ma,strain_range_um_per_m,worst_spot,ten_percent_flexes,ten_percent_low,ten_percent_high,\
         half_flexes,half_low,half_high,extrapolated\r\n",
    );
    let lives = |i: Interval| [i.value, i.low, i.high].map(|v| format!("{:.4e}", count::flexes(v))).join(",");
    for row in &life.curve {
        out.push_str(&format!(
            "{:.6},{:.6},{:.4},{},{},{},{}\r\n",
            row.angle_rad.to_degrees(),
            row.current_a * 1e3,
            row.range * 1e6,
            row.spot + 1,
            lives(row.lives.ten_percent_cycles),
            lives(row.lives.half_cycles),
            if row.extrapolated { "yes" } else { "no" },
        ));
    }
    out.into_bytes()
}

fn face_words(face: Face) -> &'static str {
    match face {
        Face::Lower => "lower",
        Face::Upper => "upper",
    }
}
