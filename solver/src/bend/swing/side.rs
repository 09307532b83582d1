//! The board's middle line seen along the hinge line, for the side view.

use super::Stage;
use crate::result::{SideView, SwingState};
use crate::swing::Pose;
use copperbend_mesh::region::Point;
use nalgebra::Vector3;

/// Places along the line.
const PLACES: u16 = 240;

/// Where the line runs across the arms when its middle is an opening: steps of this share of the board's length.
const ASIDE: f64 = 0.04;

/// Places along the arm direction from end to end, wherever the board is there.
pub(super) fn view(stage: &Stage<'_>, pose: &Pose, row: &SwingState) -> SideView {
    let flat = &stage.mesh.flat;
    let [c, s] = stage.hinge.along;
    let along = |p: Point| stage.hinge.along_m(p);
    let low = flat.points_m.iter().map(|&p| along(p)).fold(f64::INFINITY, f64::min);
    let high = flat.points_m.iter().map(|&p| along(p)).fold(f64::NEG_INFINITY, f64::max);
    let locator = flat.locator();
    let root = stage.hinge.root_m;
    let arm =
        stage.board.arms.first().map_or(0.0, |a| (a.root_m[1] - root[1]) * c - (a.root_m[0] - root[0]) * s);
    let at = |k: u16| {
        let far = low + (high - low) * (f64::from(k) + 0.5) / f64::from(PLACES);
        let aside = [0.0, 1.0, -1.0, 2.0, -2.0, 3.0, -3.0, 4.0, -4.0];
        let (triangle, share) = aside.into_iter().find_map(|n| {
            let off = arm + n * ASIDE * (high - low);
            locator.triangle_at([root[0] + far * c - off * s, root[1] + far * s + off * c])
        })?;
        let mut place = Vector3::zeros();
        for (&node, share) in flat.triangles[triangle].iter().zip(share) {
            place += pose.positions_m[node as usize] * share;
        }
        Some([(place.x - root[0]) * c + (place.y - root[1]) * s, place.z])
    };
    let line_m = (0..PLACES).filter_map(at).collect();
    SideView { current_a: row.current_a, load: row.load, angle_rad: row.angle_rad, line_m }
}
