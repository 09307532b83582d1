//! `bend`: the main job, from the design file to table, files and pictures.

use super::{Design, Outcome, out_folder, read_design, write_rest};
use crate::args::{Bend, MapFaces, ModelWord};
use crate::failure::Failure;
use crate::output::atomic::OutFolder;
use crate::output::canvas::PictureError;
use crate::output::colour::StrainScale;
use crate::output::strain_map::{self, Faces, MapOf, MapStyle};
use crate::output::{csv, shape_view, swing_view, table, vtu};
use crate::screen::{self, ProgressLine};
use copperbend_solver::bend::{BendOptions, bend};
use copperbend_solver::result::{BendAnswer, BendReport, BondLimit, Face, RangeSpot, Spot, Swing};
use rayon::prelude::*;
use std::sync::mpsc::{self, Sender};

/// Bends a board and writes everything.
///
/// # Errors
/// The design has faults, the solve stops, or a file cannot be written.
pub(crate) fn run(options: &Bend) -> Result<Outcome, Failure> {
    let design = read_design(&options.files.design)?;
    let beams = super::beam::asked(options.model, options.beams)?;
    if let (ModelWord::Beam, Some(wishes)) = (options.model, beams) {
        return super::beam::run(&design, &options.files, wishes);
    }
    let folder = out_folder(&options.files, "bend");
    drop(OutFolder::open(&folder)?);
    let mut progress = ProgressLine::new();
    let wishes = BendOptions {
        refine: !options.leave_out.one_mesh,
        modulus_span: !options.leave_out.no_modulus_span,
        swing: !options.leave_out.no_swing,
        max_spots: options.spots,
        free_memory: Some(crate::machine::free_memory),
        ..BendOptions::default()
    };
    let report = bend(&design.board, &wishes, &mut progress)?;
    progress.say("pictures and files");
    let drawn = || match options.leave_out.no_pictures {
        true => Ok(Vec::new()),
        false => pictures(&design, &report, options),
    };
    let mut out = OutFolder::open(&folder)?;
    let (send, receive) = mpsc::channel();
    // The disk takes the large files while the pictures are drawn.
    let (drawn, early) = std::thread::scope(|scope| {
        let folder = &mut out;
        let writer = scope.spawn(move || folder.put_as_they_come(&receive));
        let ((), drawn) = rayon::join(|| fields(&report, send), drawn);
        (drawn, writer.join().unwrap_or_else(|panic| std::panic::resume_unwind(panic)))
    });
    early?;
    let mut files = drawn?;
    files.push(("spots.csv".to_owned(), csv::spots(&report)));
    files.extend(csv::swing(&report).map(|bytes| ("swing.csv".to_owned(), bytes)));
    let beside = match beams {
        Some(wishes) => super::beam::beside(&design.board, &report, wishes, &mut progress)?,
        None => Vec::new(),
    };
    files.extend(super::beam::file(&beside));
    let written = write_rest(out, &design, &report, files)?;
    drop(progress);
    screen::print(&table::beside(&beside))?;
    screen::print(&table::bend(&report, &written))?;
    Ok(if report.exceeds_limit() { Outcome::Exceeded } else { Outcome::Done })
}

/// What tells the files of two answers apart.
fn suffix(report: &BendReport, answer: &BendAnswer) -> &'static str {
    match answer.bond {
        _ if report.answers.len() < 2 => "",
        BondLimit::AsWritten => "_as_written",
        BondLimit::Bonded => "_bonded",
        BondLimit::Sliding => "_sliding",
    }
}

/// Sends the files with all fields, one an answer.
fn fields(report: &BendReport, to: Sender<(String, Vec<u8>)>) {
    report.answers.par_iter().for_each_with(to, |to, answer| {
        // Nobody takes it when an earlier file could not be written: that is told instead.
        let _ = to.send((format!("fields{}.vtu", suffix(report, answer)), vtu::write(answer)));
    });
}

/// One picture to draw.
enum Picture<'a> {
    Shape(&'a BendAnswer),
    Map(MapOf<'a>),
    Range(MapOf<'a>, f64),
    Side(&'a BendAnswer, &'a Swing),
    Curves(&'a BendAnswer, &'a Swing),
}

fn pictures(
    design: &Design,
    report: &BendReport,
    options: &Bend,
) -> Result<Vec<(String, Vec<u8>)>, PictureError> {
    let board = &design.board;
    let full_scale = options
        .scale
        .map_or_else(|| strain_map::handy_full_scale(&report.answers), |microstrain| microstrain / 1e6);
    let faces: &[Faces] = match options.faces {
        MapFaces::Worse => &[Faces::Worse],
        MapFaces::Each => &[Faces::One(Face::Lower), Faces::One(Face::Upper)],
    };
    let mut list = Vec::new();
    for answer in &report.answers {
        list.push(Picture::Shape(answer));
        let mut layers: Vec<u32> = answer.maps.iter().map(|m| m.layer_index).collect();
        layers.sort_unstable();
        layers.dedup();
        for layer_index in layers {
            for &faces in faces {
                list.push(Picture::Map(MapOf { board, answer, layer_index, faces }));
            }
        }
    }
    let ranges: Vec<BendAnswer> = report.answers.iter().filter_map(ranges_as_map).collect();
    for answer in &ranges {
        let full = strain_map::handy_full_scale(std::slice::from_ref(answer));
        let full = options.scale.map_or(full, |microstrain| microstrain / 1e6);
        let mut layers: Vec<u32> = answer.maps.iter().map(|m| m.layer_index).collect();
        layers.dedup();
        for layer_index in layers {
            list.push(Picture::Range(MapOf { board, answer, layer_index, faces: Faces::Worse }, full));
        }
    }
    for answer in &report.answers {
        if let Some(swing) = answer.swing.as_ref().filter(|s| s.views.len() > 1) {
            list.extend([Picture::Side(answer, swing), Picture::Curves(answer, swing)]);
        }
    }
    let colours = StrainScale::new();
    let mut drawn = list
        .par_iter()
        .map(|picture| match picture {
            Picture::Shape(answer) => {
                let words = table::shape_words(report, answer);
                let name = format!("shape{}.png", suffix(report, answer));
                Ok((name, shape_view::draw(board, answer, &words)?))
            }
            Picture::Map(of) => {
                let state = table::state_words(report, of.answer, board);
                let style = MapStyle { full_scale, range: false, state, colours: colours.clone() };
                let layer = &board.layers[of.layer_index as usize].name;
                let name = strain_map::file_name(layer, of.faces, suffix(report, of.answer));
                Ok((name, strain_map::draw(of, &style)?))
            }
            Picture::Range(of, full) => {
                let state = table::swing_words(of.answer);
                let style = MapStyle { full_scale: *full, range: true, state, colours: colours.clone() };
                let layer = &board.layers[of.layer_index as usize].name;
                let suffix = format!("_range{}", suffix(report, of.answer));
                Ok((strain_map::file_name(layer, of.faces, &suffix), strain_map::draw(of, &style)?))
            }
            Picture::Side(answer, swing) => {
                Ok((format!("swing_side{}.png", suffix(report, answer)), swing_view::side(board, swing)?))
            }
            Picture::Curves(answer, swing) => {
                Ok((format!("swing_curves{}.png", suffix(report, answer)), swing_view::curves(board, swing)?))
            }
        })
        .collect::<Result<Vec<_>, PictureError>>()?;
    number_repeated(&mut drawn);
    Ok(drawn)
}

/// The strain ranges of an answer's swing as an answer that the maps can draw.
fn ranges_as_map(answer: &BendAnswer) -> Option<BendAnswer> {
    let swing = answer.swing.as_ref().filter(|s| !s.maps.is_empty())?;
    let mut maps = swing.maps.clone();
    for map in &mut maps {
        map.components = map.ranking.iter().map(|at| at.map(|range| [range, 0.0, 0.0])).collect();
    }
    let spot = |s: &RangeSpot| Spot {
        rank: s.rank,
        track: s.track.clone(),
        layer: s.layer.clone(),
        layer_index: s.layer_index,
        face: s.face,
        x_m: s.x_m,
        y_m: s.y_m,
        near: s.near.clone(),
        near_m: s.near_m,
        strain: s.range,
        strain_error: s.range_error,
        singular: s.singular,
        ..Spot::default()
    };
    Some(BendAnswer {
        bond: answer.bond,
        shape: answer.shape.clone(),
        swing: Some(Swing { range_angles_rad: swing.range_angles_rad, ..Swing::default() }),
        spots: swing.spots.iter().map(spot).collect(),
        maps,
        ..BendAnswer::default()
    })
}

/// Layers whose names differ in signs only would share a file: later ones get a number.
fn number_repeated(files: &mut [(String, Vec<u8>)]) {
    for i in 1..files.len() {
        let plain = files[i].0.clone();
        let mut n = 2;
        while files[..i].iter().any(|f| f.0 == files[i].0) {
            files[i].0 = format!("{}_{n}.png", plain.trim_end_matches(".png"));
            n += 1;
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn repeated_file_names_are_numbered() {
        let mut files: Vec<(String, Vec<u8>)> =
            ["a.png", "b.png", "a.png", "a.png"].map(|n| (n.to_owned(), Vec::new())).into();
        number_repeated(&mut files);
        let names: Vec<&str> = files.iter().map(|f| f.0.as_str()).collect();
        assert_eq!(names, ["a.png", "b.png", "a_2.png", "a_3.png"], "two layers share a file");
    }
}
