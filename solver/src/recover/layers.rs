//! Strain of the layers that are not copper, against their own elongation at break.

use super::board_traces::LayerWish;
use super::corners::SingularKind;
use super::fields::Recovered;
use super::rank::Face;
use super::spots::{Spot, SpotOptions, Trace, spots};
use crate::model::Model;
use copperbend_mesh::board::LayerId;

/// Highest strain of one layer.
#[derive(Debug, Clone, PartialEq)]
pub struct LayerStrain {
    /// Layer.
    pub layer: LayerId,
    /// Face of the layer.
    pub face: Face,
    /// Place, m.
    pub place_m: [f64; 3],
    /// Mechanical normal strain of largest magnitude over directions and faces.
    pub strain: f64,
    /// Its uncertainty, absolute.
    pub uncertainty: f64,
    /// Elongation at break of the layer's material, where known.
    pub elongation: Option<f64>,
    /// Set where the value is a mean about a singular point.
    pub mean_about: Option<SingularKind>,
    /// Index of the trace right above or below which a crack of this layer would lie.
    pub beside_trace: Option<usize>,
}

impl LayerStrain {
    /// Strain over elongation at break, where that is known.
    #[must_use]
    pub fn share(&self) -> Option<f64> {
        self.elongation.map(|elongation| self.strain.abs() / elongation)
    }
}

/// The highest strain of every wished layer, in the order of the wishes; layers absent from the model are left out.
#[must_use]
pub fn layer_strains(
    model: &Model,
    recovered: &Recovered,
    wishes: &[LayerWish],
    traces: &[Trace],
) -> Vec<LayerStrain> {
    let wholes: Vec<Trace> = wishes.iter().map(|wish| whole_layer(model, wish)).collect();
    let options = SpotOptions { most: 1, ..SpotOptions::default() };
    let highest = |(wish, whole): (&LayerWish, Trace)| {
        let spot = spots(model, recovered, std::slice::from_ref(&whole), &options).into_iter().next()?;
        Some(LayerStrain {
            layer: wish.layer,
            face: spot.face,
            place_m: spot.place_m,
            strain: spot.strain,
            uncertainty: spot.uncertainty,
            elongation: wish.elongation,
            mean_about: spot.mean.map(|mean| mean.singular.kind),
            beside_trace: if wish.cracks_reach_copper { trace_at(model, traces, &spot) } else { None },
        })
    };
    wishes.iter().zip(wholes).filter_map(highest).collect()
}

fn whole_layer(model: &Model, wish: &LayerWish) -> Trace {
    let present: Vec<bool> = model
        .laminates
        .iter()
        .map(|laminate| laminate.plies.iter().any(|ply| ply.layer == wish.layer))
        .collect();
    let triangles = (0_u32..)
        .zip(&model.laminate_of)
        .filter(|&(_, &laminate)| present[laminate as usize])
        .map(|(triangle, _)| triangle)
        .collect();
    Trace { layer: Some(wish.layer), triangles, ranked: true, ..Trace::default() }
}

/// The first trace with a triangle at the spot's node.
fn trace_at(model: &Model, traces: &[Trace], spot: &Spot) -> Option<usize> {
    traces.iter().position(|trace| {
        trace.triangles.iter().any(|&triangle| model.triangles[triangle as usize].contains(&spot.node))
    })
}
