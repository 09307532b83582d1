//! Strain of the layers that are not copper, against their own elongation at break.

use super::board_traces::LayerWish;
use super::corners::SingularKind;
use super::fields::Recovered;
use super::rank::Face;
use super::spots::{Spot, SpotOptions, Trace, spots};
use crate::model::Model;
use copperbend_mesh::board::LayerId;
use rayon::prelude::*;

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
    let found: Vec<Option<LayerStrain>> = wishes.par_iter().zip(wholes).map(highest).collect();
    found.into_iter().flatten().collect()
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

#[cfg(test)]
mod tests {
    use super::*;
    use crate::laminate::{Laminate, Ply};
    use crate::model::Solution;
    use crate::recover::recover;
    use crate::recover::tests::{grid, sheet};
    use nalgebra::Vector6;

    /// A strip of copper (layer 0) under a mask (layer 1) on its right half, bent to curvature -x: the highest
    /// strain is at the far right, on the mask's upper face.
    #[test]
    fn mask_strain_is_set_against_its_elongation_and_names_the_copper_beside_it() {
        let mut model = grid(16, 4, 0.25, |_, _| true);
        let bare = sheet(0, 0.0, 0.02, 1e11);
        let mask = Ply { layer: LayerId(1), z0_m: 0.02, z1_m: 0.03, ..bare.plies[0].clone() };
        model.laminates = vec![bare.clone(), Laminate::new(vec![bare.plies[0].clone(), mask])];
        for (laminate, corners) in model.laminate_of.iter_mut().zip(&model.triangles) {
            let x = corners.iter().map(|&n| model.nodes_m[n as usize][0]).sum::<f64>() / 3.0;
            *laminate = u32::from(x > 2.0);
        }
        let displacement = model
            .nodes_m
            .iter()
            .map(|p| Vector6::new(0.0, 0.0, p[0].powi(3) / 6.0, 0.0, -0.5 * p[0] * p[0], 0.0))
            .collect();
        let recovered = recover(&model, &Solution { displacement, ..Solution::default() }, 0.0);
        let copper = Trace {
            name: "lead".into(),
            layer: Some(LayerId(0)),
            triangles: (0..u32::try_from(model.triangles.len()).unwrap()).collect(),
            ranked: true,
            ..Trace::default()
        };
        let wish =
            |layer, elongation| LayerWish { layer: LayerId(layer), elongation, cracks_reach_copper: true };
        let found = layer_strains(&model, &recovered, &[wish(1, Some(0.05)), wish(7, None)], &[copper]);
        assert_eq!(found.len(), 1, "layer 7 is nowhere: {found:?}");
        let mask = &found[0];
        // Curvature -4 at the end of the strip, 0.03 above the reference plane.
        assert!((mask.strain + 0.12).abs() < 0.003, "{mask:?}");
        assert_eq!((mask.face, mask.beside_trace), (Face::Upper, Some(0)), "{mask:?}");
        assert!(
            mask.share().is_some_and(|share| (share - mask.strain.abs() / 0.05).abs() < 1e-15),
            "{mask:?}"
        );
    }
}
