//! Displacements to strain: recovered fields per zone, copper spots with their error, singular points.
//!
//! In: a [`crate::model::Model`] with its [`Motion`] (linear solution or equilibrium). Out: [`Recovered`] (six generalised strains
//! per zone-node, error per triangle), [`Spot`]s, layers against their elongation. Absent: meshing, see
//! [`crate::settle`].

mod board_traces;
mod cells;
mod corners;
mod fields;
mod fit;
mod layers;
mod mean;
mod motion;
mod nodal;
mod rank;
mod spots;
mod topology;

pub(crate) use board_traces::track_at;
pub use board_traces::{LayerWish, beside_landmark, board_traces, layer_wishes};
pub use corners::{Singular, SingularKind, singular_points};
pub use fields::{Patches, Recovered, ZoneNode, element_strains, recover};
pub use layers::{LayerStrain, layer_strains};
pub use mean::{DiscMean, disc_mean};
pub use motion::Motion;
pub use rank::{Face, Ranked, along, largest_normal, largest_size, rank_layer, rotate};
pub use spots::{Spot, SpotMean, SpotOptions, Trace, spots, trace_values};
pub use topology::{Edge, Topology};

pub(crate) use corners::thickness_m;
pub(crate) use fields::{recover_at, zone};
pub(crate) use spots::{distance_m, trace_mean};

#[cfg(test)]
pub(crate) mod tests;
