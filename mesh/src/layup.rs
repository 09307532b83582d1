//! Layers through the thickness at one place: the z of each face.
//!
//! Input: a board and the layers present at a place. Output: plies from the lowest to the highest.
//! Absent: stiffness; where each layer is present (region algebra decides that).

use crate::board::{Board, Layer, LayerId, Seat};
use crate::region::Point;

/// One layer at one place.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LayupPly {
    /// Which layer.
    pub layer: LayerId,
    /// Lower face, m above z = 0 (lower face of the base film).
    pub z0_m: f64,
    /// Upper face, m.
    pub z1_m: f64,
}

/// The layers at one place, from the lowest to the highest.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Layup {
    /// Plies in order of z.
    pub plies: Vec<LayupPly>,
}

impl Layup {
    /// Sum of the plies' thicknesses, m.
    #[must_use]
    pub fn total_thickness_m(&self) -> f64 {
        self.plies.iter().map(|p| p.z1_m - p.z0_m).sum()
    }

    /// Lowest and highest face, m; None where nothing is present.
    #[must_use]
    pub fn faces_m(&self) -> Option<[f64; 2]> {
        Some([self.plies.first()?.z0_m, self.plies.last()?.z1_m])
    }

    /// The ply of a layer, if present.
    #[must_use]
    pub fn ply(&self, layer: LayerId) -> Option<&LayupPly> {
        self.plies.iter().find(|p| p.layer == layer)
    }
}

/// Stack of the given layers at one place.
///
/// `layers`: the layers present there, in any order; repeated ids count once.
/// Layers from the base film upward lie on the highest layer present beneath them, the layers listed before the
/// base film hang on the lowest layer present above them; both start at z = 0, also where the base film is absent.
/// See [`Seat`] for level and placed layers.
#[must_use]
pub fn stack(board: &Board, layers: &[LayerId]) -> Layup {
    let mut present = layers.to_vec();
    present.sort_unstable();
    present.dedup();
    let (below, from_base): (Vec<LayerId>, Vec<LayerId>) =
        present.into_iter().partition(|id| *id < board.base_layer);
    let mut plies = Vec::with_capacity(layers.len());
    let mut face_m = 0.0;
    for &id in below.iter().rev() {
        if let Some(layer) = board.layers.get(id.0 as usize) {
            let [z0_m, z1_m] = seat_below(layer, face_m);
            plies.push(LayupPly { layer: id, z0_m, z1_m });
            face_m = z0_m;
        }
    }
    plies.reverse();
    face_m = 0.0;
    for &id in &from_base {
        if let Some(layer) = board.layers.get(id.0 as usize) {
            let [z0_m, z1_m] = seat_above(layer, face_m);
            plies.push(LayupPly { layer: id, z0_m, z1_m });
            face_m = z1_m;
        }
    }
    Layup { plies }
}

/// The layers present at a point, from the bottom.
#[must_use]
pub fn layers_at(board: &Board, at: Point) -> Vec<LayerId> {
    let numbered = (0..).zip(&board.layers);
    numbered.filter(|(_, layer)| layer.region.contains(at)).map(|(i, _)| LayerId(i)).collect()
}

/// Faces of a layer that lies on a face at this height.
pub(crate) fn seat_above(layer: &Layer, face_m: f64) -> [f64; 2] {
    match layer.seat {
        Seat::Drape => [face_m, face_m + layer.thickness_m],
        Seat::Level(outer_m) => [face_m, outer_m.max(face_m)],
        Seat::At(z_m) => [z_m, z_m + layer.thickness_m],
    }
}

/// Faces of a layer that hangs on a face at this height.
pub(crate) fn seat_below(layer: &Layer, face_m: f64) -> [f64; 2] {
    match layer.seat {
        Seat::Drape => [face_m - layer.thickness_m, face_m],
        Seat::Level(outer_m) => [outer_m.min(face_m), face_m],
        Seat::At(z_m) => [z_m, z_m + layer.thickness_m],
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::board::understand;

    fn two_layers(second: &str) -> Board {
        let text = format!(
            "[shapes]\nall = {{ rectangle = {{ from = [\"0 mm\", \"0 mm\"], to = [\"4 mm\", \"1 mm\"] }} }}\n\
             half = {{ rectangle = {{ from = [\"0 mm\", \"0 mm\"], to = [\"2 mm\", \"1 mm\"] }} }}\n\
             [outline]\nshape = \"all\"\n\
             [[layer]]\nname = \"film\"\nmaterial = \"polyimide_film\"\nkind = \"film\"\nthickness = \"25 um\"\n\
             [[layer]]\nname = \"copper\"\nmaterial = \"copper_plated\"\nkind = \"copper\"\nthickness = \"10 um\"\nwhere = [\"half\"]\n\
             [[layer]]\nname = \"cover\"\nmaterial = \"adhesive_epoxy\"\nkind = \"adhesive\"\nthickness = \"20 um\"\n{second}\n\
             [[support]]\nname = \"s\"\nkind = \"clamp\"\nshape = \"half\"\n"
        );
        understand("d.toml", &text).unwrap_or_else(|f| panic!("{f}"))
    }

    fn faces_um(board: &Board, at: Point) -> Vec<[f64; 2]> {
        stack(board, &layers_at(board, at))
            .plies
            .iter()
            .map(|p| [p.z0_m, p.z1_m].map(|z| (z * 1e9).round() / 1e3))
            .collect()
    }

    #[test]
    fn draped_layers_follow_what_is_beneath() {
        let board = two_layers("");
        assert_eq!(faces_um(&board, [1e-3, 5e-4]), [[0.0, 25.0], [25.0, 35.0], [35.0, 55.0]]);
        assert_eq!(faces_um(&board, [3e-3, 5e-4]), [[0.0, 25.0], [25.0, 45.0]]);
    }

    #[test]
    fn level_layers_end_at_one_height() {
        let board = two_layers("seat = \"level\"");
        assert_eq!(faces_um(&board, [1e-3, 5e-4]), [[0.0, 25.0], [25.0, 35.0], [35.0, 55.0]]);
        assert_eq!(faces_um(&board, [3e-3, 5e-4]), [[0.0, 25.0], [25.0, 55.0]]);
        // Only the stack beneath the layer itself counts.
        let beside = two_layers("seat = \"level\"\nexcept = [\"half\"]");
        assert_eq!(faces_um(&beside, [3e-3, 5e-4]), [[0.0, 25.0], [25.0, 45.0]]);
    }

    #[test]
    fn order_and_repetition_of_ids_do_not_matter() {
        let board = two_layers("");
        let ids = [LayerId(2), LayerId(0), LayerId(2), LayerId(1), LayerId(9)];
        let layup = stack(&board, &ids);
        assert_eq!(layup, stack(&board, &[LayerId(0), LayerId(1), LayerId(2)]));
        assert!((layup.total_thickness_m() - 55e-6).abs() < 1e-15, "{layup:?}");
        assert_eq!(stack(&board, &[]).faces_m(), None);
    }
}
