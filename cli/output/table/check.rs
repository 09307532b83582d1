//! The board as understood, and its mesh.

use super::Sheet;
use super::grid::{Grid, Lean};
use crate::output::numbers::{engineering, mm, plain, um};
use copperbend_mesh::board::Board;
use copperbend_mesh::quality::{Cause, SmallestAngle, report};
use copperbend_mesh::region::Point;
use copperbend_mesh::triangulate::{BoardMesh, MERGED_REMEDY, Moved};
use copperbend_solver::result::{Advice, BoardSummary, StackAt};
use std::path::PathBuf;

/// The text of `check`. `mesh`: where it can be made.
pub(crate) fn check(
    board: &Board,
    summary: &BoardSummary,
    stacks: &[(String, StackAt)],
    advice: &[Advice],
    mesh: Option<&BoardMesh>,
) -> String {
    let mut sheet = Sheet::default();
    sheet.line(&board.title);
    overview(&mut sheet, board, summary);
    moved(&mut sheet, mesh.map_or(&[], |m| &m.flat.moved));
    layers(&mut sheet, summary);
    copper(&mut sheet, summary);
    for (name, stack) in stacks {
        stack_at(&mut sheet, name, stack);
    }
    let merged = mesh.map_or_else(Vec::new, |m| m.merged_words(board));
    if !(board.warnings.is_empty() && merged.is_empty()) {
        sheet.heading("Warnings");
        for w in &board.warnings {
            sheet.item("!", &format!("{}: {}; {}", w.place, w.text, w.remedy));
        }
        for text in merged {
            sheet.item("!", &format!("the mesh: {text}; {MERGED_REMEDY}"));
        }
    }
    sheet.heading("Layout advice of the trade (advice, no verdict on life)");
    if advice.is_empty() {
        sheet.line("  nothing to remark");
    }
    for a in advice {
        let at = a.at_m.map_or(String::new(), |p| format!(" (x {} mm, y {} mm)", mm(p[0]), mm(p[1])));
        sheet.item("-", &format!("{}: {}{at}: {}. {} [{}]", a.rule, a.place, a.found, a.advice, a.source));
    }
    sheet.foot();
    sheet.0
}

/// Corners of the plan where an edge was moved for the triangles' sake.
fn moved(sheet: &mut Sheet, list: &[Moved]) {
    if let Some(largest) = list.iter().max_by(|a, b| a.by_m.total_cmp(&b.by_m)) {
        let count = u32::try_from(list.len()).unwrap_or(u32::MAX);
        sheet.value("corners blunted", blunted(count, largest.by_m, largest.at_m));
    }
}

/// How many corners, by how much at most, and where.
pub(super) fn blunted(count: u32, by_m: f64, at_m: Point) -> String {
    let [x, y] = at_m.map(|v| v * 1e3);
    format!(
        "at {count} corners narrower than a good triangle one edge was moved, by {:.1} \u{b5}m at most, at ({x:.3}, {y:.3}) \
         mm",
        by_m * 1e6
    )
}

fn overview(sheet: &mut Sheet, board: &Board, s: &BoardSummary) {
    let [lo, hi] = s.extent_m;
    sheet.heading("Board");
    sheet.value(
        "extent",
        format!(
            "{} x {} mm (x {} to {}, y {} to {} mm)",
            mm(hi[0] - lo[0]),
            mm(hi[1] - lo[1]),
            mm(lo[0]),
            mm(hi[0]),
            mm(lo[1]),
            mm(hi[1])
        ),
    );
    sheet.value("area without openings", format!("{} mm\u{b2}", plain(s.outline_area_m2 * 1e6, 5)));
    sheet.value("mass of the layers", engineering(s.layer_mass_kg * 1e3, "g"));
    if s.body_mass_kg > 0.0 {
        sheet.value("mass of glued bodies", engineering(s.body_mass_kg * 1e3, "g"));
    }
    if let Some(mass) = s.flap_mass_kg {
        sheet.value("mass of the flap", engineering(mass * 1e3, "g"));
    }
    for arm in &s.arms {
        sheet.value(
            &format!("arm '{}'", arm.name),
            format!(
                "{} mm long, {} mm wide; at mid-length bending stiffness {}, neutral plane {} \u{b5}m above \
                 the base film's lower face",
                mm(arm.length_m),
                mm(arm.width_m),
                engineering(arm.bending_nm2, "N\u{b7}m\u{b2}"),
                um(arm.neutral_z_m)
            ),
        );
    }
    if let Some(c) = &s.circuit {
        sheet.value("current path", format!("{} mm from the + pad to the - pad", plain(c.length_m * 1e3, 5)));
        sheet.value("resistance at 20 \u{b0}C", format!("{} ohm", plain(c.resistance_ohm, 4)));
        sheet.value(
            "drive current",
            format!(
                "{}: heat {}, largest current density {} A/mm\u{b2}",
                engineering(c.current_a, "A"),
                engineering(c.power_w, "W"),
                plain(c.density_a_per_m2 / 1e6, 3)
            ),
        );
    }
    sheet.value("working temperature", format!("{} \u{b0}C", plain(board.temperature_degc, 3)));
}

fn layers(sheet: &mut Sheet, s: &BoardSummary) {
    sheet.heading("Layers, top first");
    let mut grid = Grid::new(&[
        ("layer", Lean::Left),
        ("material", Lean::Left),
        ("kind", Lean::Left),
        ("\u{b5}m", Lean::Right),
        ("mm\u{b2}", Lean::Right),
        ("mg", Lean::Right),
    ]);
    for l in s.layers.iter().rev() {
        grid.row([
            l.name.clone(),
            l.material.clone(),
            l.kind.clone(),
            um(l.thickness_m),
            plain(l.area_m2 * 1e6, 4),
            plain(l.mass_kg * 1e6, 4),
        ]);
    }
    sheet.0.push_str(&grid.text());
}

fn copper(sheet: &mut Sheet, s: &BoardSummary) {
    let mut grid = Grid::new(&[
        ("copper", Lean::Left),
        ("layer", Lean::Left),
        ("length, mm", Lean::Right),
        ("width, \u{b5}m", Lean::Right),
        ("mm\u{b2}", Lean::Right),
    ]);
    for t in &s.tracks {
        grid.row([
            t.name.clone(),
            t.layer.clone(),
            t.length_m.map_or_else(|| "-".to_owned(), |v| plain(v * 1e3, 4)),
            t.width_m.map_or_else(|| "-".to_owned(), um),
            plain(t.area_m2 * 1e6, 4),
        ]);
    }
    if !grid.is_empty() {
        sheet.heading("Copper");
        sheet.0.push_str(&grid.text());
    }
}

fn stack_at(sheet: &mut Sheet, name: &str, s: &StackAt) {
    sheet.heading(&format!("Stack at x {} mm, y {} mm ({name}), top first", mm(s.at_m[0]), mm(s.at_m[1])));
    let mut grid = Grid::new(&[
        ("layer", Lean::Left),
        ("material", Lean::Left),
        ("from, \u{b5}m", Lean::Right),
        ("to, \u{b5}m", Lean::Right),
        ("thick, \u{b5}m", Lean::Right),
        ("", Lean::Left),
    ]);
    for ply in s.plies.iter().rev() {
        grid.row([
            ply.layer.clone(),
            ply.material.clone(),
            um(ply.z_m[0]),
            um(ply.z_m[1]),
            um(ply.z_m[1] - ply.z_m[0]),
            if ply.sliding { "slides".to_owned() } else { String::new() },
        ]);
    }
    sheet.0.push_str(&grid.text());
    sheet.value("total thickness", format!("{} \u{b5}m", um(s.thickness_m)));
    sheet.value("neutral plane (along x)", format!("{} \u{b5}m above z = 0", um(s.neutral_z_m)));
    let per_width = engineering(s.bending_nm, "N\u{b7}m");
    sheet.value("bending stiffness", format!("{per_width} per metre of width (along x)"));
}

/// The text of `mesh`.
pub(crate) fn mesh(board: &Board, mesh: &BoardMesh, written: &[PathBuf]) -> String {
    let mut sheet = Sheet::default();
    let flat = &mesh.flat;
    let quality = report(flat, board.mesh.min_angle_rad);
    sheet.line(&board.title);
    sheet.heading("Mesh");
    sheet.value("triangles", quality.triangles.to_string());
    sheet.value("nodes", quality.nodes.to_string());
    sheet.value("zones", flat.zones.len().to_string());
    if let Some(smallest) = &quality.smallest {
        sheet.value("smallest angle", angle_words(board, mesh, smallest));
    }
    if let Some(free) = quality.smallest_free.filter(|f| quality.smallest != Some(*f)) {
        sheet.value("away from such places", angle_words(board, mesh, &free));
    }
    if quality.n_below_limit > 0 {
        let text = format!(
            "{} triangles below {:.1}\u{b0}, {} of them without need",
            quality.n_below_limit,
            board.mesh.min_angle_rad.to_degrees(),
            quality.n_free_below_limit
        );
        sheet.value("below the wished angle", text);
    }
    let [least, most] = quality.sides_m;
    sheet.value("sides", format!("{} to {} \u{b5}m", um(least), um(most)));
    moved(&mut sheet, &flat.moved);
    for text in mesh.merged_words(board) {
        sheet.item("!", &format!("{text}; {MERGED_REMEDY}"));
    }
    if !flat.complete {
        sheet.item(
            "!",
            "the refinement stopped early; raise mesh.max_triangles or mesh.fine in the design file",
        );
    }
    sheet.files(written);
    sheet.0
}

/// An angle with its place and what forces it.
fn angle_words(board: &Board, mesh: &BoardMesh, angle: &SmallestAngle) -> String {
    let [x, y] = angle.at_m.map(|v| v * 1e3);
    let degrees = angle.angle_rad.to_degrees();
    let mut text = format!("{degrees:.1}\u{b0} at ({x:.3}, {y:.3}) mm");
    let names = || mesh.names_at(board, angle).join(", ");
    match angle.cause {
        Cause::NarrowCorner(corner) => {
            text +=
                &format!(", in a corner of {:.1}\u{b0} between edges of {}", corner.to_degrees(), names());
        }
        Cause::ThinGap(width) => {
            text += &format!(", in a gap of {:.1} \u{b5}m between edges of {}", width * 1e6, names());
        }
        Cause::Mesh if angle.angle_rad < board.mesh.min_angle_rad => text += &format!(", near {}", names()),
        Cause::Mesh => {}
    }
    text
}

/// The text of `matrices`: `n` free unknowns and triangles.
pub(crate) fn matrices(board: &Board, n: (usize, usize), written: &[PathBuf]) -> String {
    let mut sheet = Sheet::default();
    sheet.line(&board.title);
    sheet.line("");
    sheet.value("free unknowns", n.0.to_string());
    sheet.value("triangles", n.1.to_string());
    sheet.value("format", "Matrix Market; row i of every file is row i of unknowns.csv");
    sheet.files(written);
    sheet.0
}
