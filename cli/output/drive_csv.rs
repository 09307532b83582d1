//! The driven swing as comma-separated values (RFC 4180): one row a steady motion, units in the heading.

use super::csv::{bond_words, quoted};
use copperbend_solver::result::{DriveReport, DriveRow};

const HEADING: &str = "bond,sweep,asked,frequency_hz,strength,stable,gives_way,swing_deg,first_harmonic_deg,lag_deg,\
     mean_deg,lowest_deg,highest_deg,roll_deg,current_rms_ma,power_mw,strain_range_um_per_m,strain_range_error_um_per_m,\
     spot,settles_in_periods,stroke_over_width,beyond_followed_angles";

/// All motions of a report.
pub(crate) fn motions(report: &DriveReport) -> Vec<u8> {
    let mut out = String::from(HEADING);
    out.push_str("\r\n");
    for answer in &report.answers {
        let over = [("frequency", &answer.sweep), ("strength", &answer.levels)];
        for (sweep, rows) in over {
            for r in rows {
                out.push_str(&format!("{},{sweep},{}\r\n", bond_words(answer.bond), cells(r)));
            }
        }
    }
    out.into_bytes()
}

/// All motions in time; None without any.
pub(crate) fn in_time(report: &DriveReport) -> Option<Vec<u8>> {
    let mut out = String::from("bond,trace,time_s,flap_angle_deg,roll_deg,current_ma\r\n");
    let mut any = false;
    for answer in &report.answers {
        for trace in &answer.traces {
            any = true;
            for p in &trace.points {
                out.push_str(&format!(
                    "{},{},{:.7},{:.6},{:.6},{:.6}\r\n",
                    bond_words(answer.bond),
                    quoted(&trace.name),
                    p.time_s,
                    p.angle_rad.to_degrees(),
                    p.roll_rad.to_degrees(),
                    p.current_a * 1e3
                ));
            }
        }
    }
    any.then(|| out.into_bytes())
}

fn cells(r: &DriveRow) -> String {
    let yes = |b: bool| if b { "yes" } else { "no" }.to_owned();
    let deg = |rad: f64| format!("{:.6}", rad.to_degrees());
    [
        yes(r.asked),
        format!("{:.6}", r.frequency_hz),
        format!("{:.6}", r.level),
        r.stable.map_or_else(String::new, yes),
        quoted(&r.gives_way),
        deg(r.swing_rad),
        deg(r.first_rad),
        format!("{:.4}", r.lag_rad.to_degrees()),
        deg(r.mean_rad),
        deg(r.extremes_rad[0]),
        deg(r.extremes_rad[1]),
        deg(r.roll_rad),
        format!("{:.6}", r.current_rms_a * 1e3),
        r.power_w.map_or(String::new(), |p| format!("{:.6}", p * 1e3)),
        format!("{:.4}", r.strain_range * 1e6),
        r.strain_range_error.map_or(String::new(), |e| format!("{:.4}", e * 1e6)),
        r.spot.to_string(),
        r.settles_periods.map_or(String::new(), |n| format!("{n:.3}")),
        format!("{:.4}", r.stroke_over_width),
        yes(r.beyond),
    ]
    .join(",")
}
