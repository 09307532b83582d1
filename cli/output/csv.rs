//! Spots, states of the swing, modes as comma-separated values (RFC 4180), one row each, units in the heading.

mod lives;
mod studies;

pub(crate) use lives::{life, life_curve, life_speed};
pub(crate) use studies::{
    VARIANT_COLUMNS, beam_swing, compared, estimates, variant_values, variants, verdicts,
};

use copperbend_solver::assemble::Unknown;
use copperbend_solver::result::{BendReport, BondLimit, Face, ModesReport, SingularKind};

const HEADING: &str = "bond,rank,track,layer,face,x_mm,y_mm,strain_um_per_m,strain_error_um_per_m,\
     direction_deg,along_track_um_per_m,unloaded_um_per_m,swing_range_um_per_m,nearest,nearest_mm,singular,mean_radius_um,indicative,note";

/// All spots of a report.
pub(crate) fn spots(report: &BendReport) -> Vec<u8> {
    let mut out = String::from(HEADING);
    out.push_str("\r\n");
    for answer in &report.answers {
        let bond = bond_words(answer.bond);
        for s in &answer.spots {
            let singular = match s.singular {
                None => "",
                Some(SingularKind::ClampEnd) => "clamp end",
                Some(SingularKind::ReentrantCorner) => "inner corner",
                Some(SingularKind::StackEdge) => "layer edge",
            };
            let face = face_word(s.face);
            let micro = |v: f64| format!("{:.4}", v * 1e6);
            let cells = [
                bond.to_owned(),
                s.rank.to_string(),
                quoted(&s.track),
                quoted(&s.layer),
                face.to_owned(),
                format!("{:.6}", s.x_m * 1e3),
                format!("{:.6}", s.y_m * 1e3),
                micro(s.strain),
                micro(s.strain_error),
                format!("{:.3}", s.direction_rad.to_degrees()),
                s.along_track.map_or(String::new(), micro),
                micro(s.unloaded_strain),
                s.swing_range.map_or(String::new(), micro),
                quoted(&s.near),
                format!("{:.6}", s.near_m * 1e3),
                singular.to_owned(),
                s.mean_radius_m.map_or(String::new(), |r| format!("{:.3}", r * 1e6)),
                if s.indicative { "yes" } else { "no" }.to_owned(),
                quoted(&s.note),
            ];
            out.push_str(&cells.join(","));
            out.push_str("\r\n");
        }
    }
    out.into_bytes()
}

const SWING: &str = "bond,given,load_percent,current_ma,angle_deg,largest_movement_mm,torque_un_m,strain_um_per_m,\
     strain_error_um_per_m,track,x_mm,y_mm,clearance_mm,within_largest_current,stable,snapped";

/// All states of the swing; None when no answer has one.
pub(crate) fn swing(report: &BendReport) -> Option<Vec<u8>> {
    let mut out = String::from(SWING);
    out.push_str("\r\n");
    let mut any = false;
    for answer in &report.answers {
        let Some(swing) = &answer.swing else { continue };
        any = true;
        let rows = swing.by_current.iter().map(|s| ("current", s));
        let rows = rows.chain(swing.by_angle.iter().map(|s| ("angle", s)));
        for (given, s) in rows.chain(swing.by_load.iter().map(|s| ("load", s))) {
            let yes = |b: bool| if b { "yes" } else { "no" }.to_owned();
            let cells = [
                bond_words(answer.bond).to_owned(),
                given.to_owned(),
                format!("{:.4}", s.load * 1e2),
                format!("{:.6}", s.current_a * 1e3),
                format!("{:.6}", s.angle_rad.to_degrees()),
                format!("{:.6}", s.largest_m * 1e3),
                format!("{:.6}", s.torque_nm * 1e6),
                format!("{:.4}", s.strain * 1e6),
                format!("{:.4}", s.strain_error * 1e6),
                quoted(&s.track),
                format!("{:.6}", s.at_m[0] * 1e3),
                format!("{:.6}", s.at_m[1] * 1e3),
                s.clearance_m.map_or(String::new(), |c| format!("{:.6}", c * 1e3)),
                yes(s.within_current),
                yes(s.stable),
                yes(s.snapped),
            ];
            out.push_str(&cells.join(","));
            out.push_str("\r\n");
        }
    }
    any.then(|| out.into_bytes())
}

const MODES: &str = "bond,mode,name,frequency_hz,frequency_error_hz,vacuum_hz,eigenvalue_rad2_s2,residual,\
     share_swing,share_roll,share_sideways,share_flap_plate,share_arms_bend,share_arms_twist,share_rest,swing_deg_per_mm,\
     roll_deg_per_mm,roll_per_swing,mass_at_largest_mg,air_share,strain_um_per_m_per_swing_deg,\
     strain_um_per_m_per_turn_deg,strain_um_per_m_per_0.1_mm,strain_relative_error,track,layer,face,x_mm,y_mm,nearest,\
     nearest_mm";

/// All modes of a report.
pub(crate) fn modes(report: &ModesReport) -> Vec<u8> {
    let mut out = String::from(MODES);
    out.push_str("\r\n");
    for answer in &report.answers {
        for m in &answer.modes {
            let per_mm = |angle_rad: f64| format!("{:.6}", angle_rad.to_degrees() / (m.largest_m * 1e3));
            let micro = |v: Option<f64>| v.map_or(String::new(), |v| format!("{:.4}", v * 1e6));
            let mut cells = vec![
                bond_words(answer.bond).to_owned(),
                m.number.to_string(),
                quoted(&m.name),
                format!("{:.6}", m.frequency_hz),
                format!("{:.6}", m.frequency_error_hz),
                format!("{:.6}", m.vacuum_hz),
                format!("{:e}", m.eigenvalue_rad2_s2),
                format!("{:e}", m.residual),
            ];
            let s = &m.shares;
            let shares = [s.swing, s.roll, s.sideways, s.flap_plate, s.arm_bend, s.arm_twist, s.rest];
            cells.extend(shares.map(|v| format!("{v:.6}")));
            cells.extend([per_mm(m.swing_rad), per_mm(m.roll_rad)]);
            cells.push(m.roll_per_swing.map_or(String::new(), |v| format!("{v:.6}")));
            cells.push(format!("{:.6}", m.mass_at_largest_kg * 1e6));
            cells.push(format!("{:.6}", m.air_share));
            match &m.strain {
                None => cells.extend(std::iter::repeat_n(String::new(), 11)),
                Some(spot) => cells.extend([
                    micro(spot.per_swing_degree),
                    micro(spot.per_turn_degree),
                    micro(Some(spot.per_tenth_mm)),
                    spot.relative_error.map_or(String::new(), |e| format!("{e:.6}")),
                    quoted(&spot.track),
                    quoted(&spot.layer),
                    face_word(spot.face).to_owned(),
                    format!("{:.6}", spot.x_m * 1e3),
                    format!("{:.6}", spot.y_m * 1e3),
                    quoted(&spot.near),
                    format!("{:.6}", spot.near_m * 1e3),
                ]),
            }
            out.push_str(&cells.join(","));
            out.push_str("\r\n");
        }
    }
    out.into_bytes()
}

fn face_word(face: Face) -> &'static str {
    match face {
        Face::Lower => "lower",
        Face::Upper => "upper",
    }
}

pub(super) fn bond_words(bond: BondLimit) -> &'static str {
    match bond {
        BondLimit::AsWritten => "as written",
        BondLimit::Bonded => "bonded",
        BondLimit::Sliding => "sliding",
    }
}

/// What each row of the exported matrices is: node, its place at rest, component.
pub(crate) fn unknowns(rows: &[Unknown], nodes_m: &[[f64; 3]]) -> Vec<u8> {
    const COMPONENTS: [&str; 6] = ["u", "v", "w", "tx", "ty", "tz"];
    let mut out = String::from("row,node,component,unit,x_m,y_m,z_m\r\n");
    for (i, row) in rows.iter().enumerate() {
        let component = usize::from(row.component).min(5);
        let unit = if component < 3 { "m" } else { "rad" };
        let [x, y, z] = nodes_m.get(row.node as usize).copied().unwrap_or([f64::NAN; 3]);
        out.push_str(&format!(
            "{},{},{},{unit},{x:e},{y:e},{z:e}\r\n",
            i + 1,
            row.node,
            COMPONENTS[component]
        ));
    }
    out.into_bytes()
}

/// A text cell, in quotes where it needs them.
pub(crate) fn quoted(text: &str) -> String {
    if text.contains([',', '"', '\n', '\r']) {
        format!("\"{}\"", text.replace('"', "\"\""))
    } else {
        text.to_owned()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::output::sample;

    #[test]
    fn rows_have_as_many_cells_as_the_heading() {
        let text = String::from_utf8(spots(&sample::report())).expect("text");
        let n = HEADING.matches(',').count();
        let rows: Vec<&str> = text.lines().collect();
        assert_eq!(rows.len(), 6, "heading and five spots");
        for row in &rows {
            assert_eq!(row.matches(',').count(), n, "{row}");
        }
        assert!(rows[1].contains("2862.8571") && rows[1].contains("0.450000"), "{}", rows[1]);
    }

    #[test]
    fn states_of_the_swing_are_rows() {
        let mut report = sample::report();
        assert!(swing(&report).is_none(), "no swing, no file");
        report.answers[0].swing = Some(sample::swing());
        let text = String::from_utf8(swing(&report).expect("a swing")).expect("text");
        let rows: Vec<&str> = text.lines().collect();
        assert_eq!(rows.len(), 7, "heading and six states");
        assert!(rows.iter().all(|r| r.matches(',').count() == SWING.matches(',').count()), "{text}");
        assert!(rows[1].starts_with("as written,current,100.0000,-10.800000,-7.000000"), "{}", rows[1]);
        assert!(rows[4].ends_with(",yes,no,no") && rows[6].ends_with(",no,yes,no"), "{text}");
    }

    #[test]
    fn commas_and_quotes_in_names_are_kept() {
        assert_eq!(quoted("a, \"b\""), "\"a, \"\"b\"\"\"", "quoting");
    }
}
