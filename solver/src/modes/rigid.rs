//! Names for the modes of a body that nothing holds.

use super::Mode;
use crate::model::Model;
use nalgebra::{Matrix3, Vector3};

/// Share of the lift below which an eigenvalue is none.
const NOTHING: f64 = 1e-3;

const NAMES: [&str; 6] =
    ["shift along x", "shift along y", "shift along z", "turn about x", "turn about y", "turn about z"];

/// What a mode found with a lift (see [`super::ModeWishes`]) does if it strains nothing: "rigid motion, mostly turn about
/// x"; None for a mode with a frequency. Turns are about the middle of the nodes.
#[must_use]
pub fn rigid_motion(model: &Model, mode: &Mode, lift: f64) -> Option<String> {
    if lift <= 0.0 || mode.eigenvalue.abs() > NOTHING * lift || mode.shape.len() != model.nodes_m.len() {
        return None;
    }
    let places = || model.nodes_m.iter().map(|p| Vector3::from(*p));
    let count = places().fold(0.0, |n, _| n + 1.0);
    let middle = places().sum::<Vector3<f64>>() / count;
    let (mut shift, mut spin, mut inertia) = (Vector3::zeros(), Vector3::zeros(), Matrix3::zeros());
    for (at, x) in places().zip(&mode.shape) {
        let (arm, u) = (at - middle, x.fixed_rows::<3>(0).into_owned());
        shift += u / count;
        spin += arm.cross(&u) / count;
        inertia += (Matrix3::identity() * arm.norm_squared() - arm * arm.transpose()) / count;
    }
    let safe = inertia + Matrix3::identity() * (1e-12 * inertia.trace());
    let turn = safe.try_inverse()? * spin;
    let energy = |i: usize| match i {
        0..3 => shift[i].powi(2),
        _ => inertia[(i - 3, i - 3)] * turn[i - 3].powi(2),
    };
    let most = (0..6).fold(0, |best, i| if energy(i) > energy(best) { i } else { best });
    Some(format!("rigid motion, mostly {}", NAMES[most]))
}
