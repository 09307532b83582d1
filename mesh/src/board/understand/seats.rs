//! How layers lie on each other: level faces, and layers at a given height that must neither gap nor overlap.

use super::{Builder, mm, um};
use crate::board::{Layer, Seat};
use crate::layup::{seat_above, seat_below};
use crate::region::Region;

/// Heights closer than this are one, m.
const SAME_HEIGHT_M: f64 = 1e-9;

/// Pieces smaller than this (m2) are crumbs of the 1 um grid.
const CRUMB_M2: f64 = 1e-11;

/// Places of one height of the stack beneath a layer.
struct Column {
    face_m: f64,
    region: Region,
}

impl Builder<'_> {
    /// Heights of level layers and the check of placed ones, from the base film outwards.
    pub(super) fn all_seats(&mut self) {
        let base = self.board.base_layer.0 as usize;
        let n = self.board.layers.len();
        for index in base..n {
            self.seat(index, base, true);
        }
        for index in (0..base.min(n)).rev() {
            self.seat(index, base, false);
        }
        self.heights_of_runs();
    }

    fn seat(&mut self, index: usize, base: usize, up: bool) {
        let level = self.level.contains(&index);
        let layer = &self.board.layers[index];
        let placed = matches!(layer.seat, Seat::At(_));
        if !(level || placed) || layer.region.contours.is_empty() {
            return;
        }
        let columns = self.columns(index, base, up);
        if level {
            let sign = if up { 1.0 } else { -1.0 };
            let outermost = columns.iter().map(|c| sign * c.face_m).fold(f64::NEG_INFINITY, f64::max);
            let layer = &mut self.board.layers[index];
            layer.seat = Seat::Level(sign * (outermost.max(-1.0) + layer.thickness_m));
        } else {
            self.check_placed(index, &columns, up);
        }
    }

    /// Heights of the stack towards the base film under a layer, over the layer's own region.
    fn columns(&self, index: usize, base: usize, up: bool) -> Vec<Column> {
        let layers = &self.board.layers;
        let under: Vec<&Layer> = if up {
            layers[base..index].iter().collect()
        } else {
            layers[index + 1..base].iter().rev().collect()
        };
        let mut columns = vec![Column { face_m: 0.0, region: layers[index].region.clone() }];
        for layer in under {
            let mut next: Vec<Column> = Vec::new();
            for column in columns {
                let face_m = if up {
                    seat_above(layer, column.face_m)[1]
                } else {
                    seat_below(layer, column.face_m)[0]
                };
                let covered = column.region.intersection(&layer.region);
                let open = column.region.difference(&layer.region);
                add(&mut next, face_m, covered);
                add(&mut next, column.face_m, open);
            }
            columns = next;
        }
        columns
    }

    /// A layer at a given height must lie exactly on what is beneath it.
    fn check_placed(&mut self, index: usize, columns: &[Column], up: bool) {
        let layer = &self.board.layers[index];
        let Seat::At(z_m) = layer.seat else { return };
        let inner_m = if up { z_m } else { z_m + layer.thickness_m };
        let name = layer.name.clone();
        let span = self.layer_spans[index].clone();
        for column in columns {
            let gap_m = if up { inner_m - column.face_m } else { column.face_m - inner_m };
            if gap_m.abs() <= SAME_HEIGHT_M {
                continue;
            }
            let at = column.region.pieces().first().map_or([0.0; 2], inside_point);
            let what = if gap_m > 0.0 { "leaves a gap" } else { "overlaps the layers" };
            let rule =
                format!("layer `{name}` {what} of {} towards the base film at {}", um(gap_m.abs()), mm(at));
            let wanted_m = if up { column.face_m } else { column.face_m - layer_thickness(self, index) };
            let remedy =
                format!("write bottom = \"{}\", or leave `bottom` out so that it drapes", um(wanted_m));
            self.faults.add(&span, rule, remedy);
            return;
        }
    }

    /// Heights of the copper's middle along the links of the circuit.
    fn heights_of_runs(&mut self) {
        let board = &self.board;
        for leg in self.links.values_mut().flatten() {
            for run in &mut leg.runs {
                let at = run.points_m[run.points_m.len() / 2];
                let mut present = crate::layup::layers_at(board, at);
                present.push(run.layer);
                let stack = crate::layup::stack(board, &present);
                run.z_m = stack.ply(run.layer).map_or(0.0, |p| 0.5 * (p.z0_m + p.z1_m));
            }
        }
    }
}

fn layer_thickness(builder: &Builder<'_>, index: usize) -> f64 {
    builder.board.layers[index].thickness_m
}

/// Adds a place of this height to those of the same height.
fn add(columns: &mut Vec<Column>, face_m: f64, region: Region) {
    if region.area_m2() < CRUMB_M2 {
        return;
    }
    match columns.iter_mut().find(|c| (c.face_m - face_m).abs() < SAME_HEIGHT_M) {
        Some(column) => column.region = Region::union(&[&column.region, &region]),
        None => columns.push(Column { face_m, region }),
    }
}

/// A point of a region: its centroid if that lies inside, else its first corner.
pub(super) fn inside_point(region: &Region) -> [f64; 2] {
    let centre = region.centroid_m();
    if region.contains(centre) {
        return centre;
    }
    region.contours.first().and_then(|c| c.first()).copied().unwrap_or(centre)
}
