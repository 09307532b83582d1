//! Life of spots and of the board as comma-separated values.

use super::quoted;
use copperbend_solver::life::count;
use copperbend_solver::life::report::LifeReport;
use copperbend_solver::reliability::Interval;
use copperbend_solver::result::{CycleAnswer, Face};

const LIFE: &str = "rank,track,layer,face,x_mm,y_mm,strain_range_um_per_m,range_error_um_per_m,mean_strain_um_per_m,\
     first_bend_um_per_m,set_um_per_m,mean_stress_mpa,copper,ten_percent_cycles,ten_percent_low,ten_percent_high,\
     half_cycles,half_low,half_high,ten_percent_flexes,half_flexes,foil_cycles,slopes_cycles,line_cycles,extrapolated,\
     amplitude_um_per_m,without_mean_cycles,morrow_cycles,swt_cycles,mean_lasts_share,\
     half_without_mean_cycles,nearest";

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
            format!("{:.4e}", count::flexes(life.lives.ten_percent_cycles.value)),
            format!("{:.4e}", count::flexes(life.lives.half_cycles.value)),
            format!("{:.4e}", life.band.foil_cycles),
            format!("{:.4e}", life.band.slopes_cycles),
            format!("{:.4e}", life.band.line_cycles),
            if life.extrapolated { "yes" } else { "no" }.to_owned(),
            micro(life.mean_stress.amplitude),
            format!("{:.4e}", life.mean_stress.none_cycles),
            format!("{:.4e}", life.mean_stress.morrow_cycles),
            format!("{:.4e}", life.mean_stress.swt_cycles),
            format!("{:.3}", life.mean_stress.lasts),
            format!("{:.4e}", life.without_mean.half_cycles.value),
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
         half_flexes,half_low,half_high,rests_on\r\n",
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
            row.evidence.words(),
        ));
    }
    out.into_bytes()
}

/// Life of the board over drive frequency, held swing first.
pub(crate) fn life_speed(life: &LifeReport) -> Vec<u8> {
    let mut out = String::from(
        "swing,frequency_hz,swing_deg,strain_range_um_per_m,worst_spot,ten_percent_hours,ten_percent_low,\
         ten_percent_high,half_hours,half_low,half_high,ten_percent_flexes,half_flexes,rests_on,speed_compared,note\r\n",
    );
    for curve in &life.speed {
        for row in &curve.rows {
            let hours = |i: Interval| {
                [i.value, i.low, i.high]
                    .map(|v| format!("{:.4e}", count::hours(v, row.frequency_hz)))
                    .join(",")
            };
            let flexes = |i: Interval| format!("{:.4e}", count::flexes(i.value));
            let cells = match row.lives {
                Some(own) => [
                    hours(own.ten_percent_cycles),
                    hours(own.half_cycles),
                    flexes(own.ten_percent_cycles),
                    flexes(own.half_cycles),
                    row.evidence.words().to_owned(),
                ],
                None => [",,", ",,", "", "", ""].map(str::to_owned),
            };
            out.push_str(&format!(
                "{},{:.4},{:.6},{},{},{},{},{}\r\n",
                if curve.driven { "driven" } else { "held" },
                row.frequency_hz,
                row.swing_rad.to_degrees(),
                row.range.map(|r| format!("{:.4}", r * 1e6)).unwrap_or_default(),
                row.spot + 1,
                cells.join(","),
                if row.speed_untested { "no" } else { "yes" },
                quoted(&row.note),
            ));
        }
    }
    out.into_bytes()
}

fn face_words(face: Face) -> &'static str {
    match face {
        Face::Lower => "lower",
        Face::Upper => "upper",
    }
}
