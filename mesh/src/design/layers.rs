//! `[materials]`, `[[layer]]` and `[[stiffener]]`.

use super::given::{Given, word};
use crate::quantity::{
    Angle, Density, Expansion, Length, Resistivity, Share, Stress, Temperature, Thickness,
};
use schemars::JsonSchema;
use serde::Deserialize;

/// A material added, or one of the library with other values.
///
/// Give `youngs_modulus` and `poisson_ratio`, or the four values with direction numbers.
#[derive(Debug, Clone, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct MaterialEntry {
    /// Library material, or one of this file, whose values are taken where none is given here.
    pub like: Option<Given<String>>,
    /// What it is, one line.
    pub description: Option<Given<String>>,
    /// Where the values come from.
    pub source: Option<Given<String>>,
    /// Young's modulus, the same in every direction of the sheet.
    pub youngs_modulus: Option<Given<Stress>>,
    /// Lowest and highest plausible modulus; the top spot is shown for both ends.
    pub youngs_modulus_span: Option<Given<[Stress; 2]>>,
    /// Poisson's ratio.
    pub poisson_ratio: Option<Given<Share>>,
    /// Young's modulus along direction 1.
    pub youngs_modulus_1: Option<Given<Stress>>,
    /// Young's modulus along direction 2.
    pub youngs_modulus_2: Option<Given<Stress>>,
    /// Contraction along 2 for tension along 1.
    pub poisson_ratio_12: Option<Given<Share>>,
    /// In-plane shear modulus.
    pub shear_modulus_12: Option<Given<Stress>>,
    /// Density.
    pub density: Option<Given<Density>>,
    /// Thermal expansion, the same in every direction of the sheet.
    pub expansion: Option<Given<Expansion>>,
    /// Thermal expansion along direction 1.
    pub expansion_1: Option<Given<Expansion>>,
    /// Thermal expansion along direction 2.
    pub expansion_2: Option<Given<Expansion>>,
    /// Elongation at break or at first cracks.
    pub elongation: Option<Given<Share>>,
    /// Resistivity at 20 degC, for conductors.
    pub resistivity: Option<Given<Resistivity>>,
    /// Shear modulus in use, for tapes.
    pub shear_modulus: Option<Given<Stress>>,
    /// Glass point, for tapes.
    pub glass_point: Option<Given<Temperature>>,
    /// Temperature at which this material is free of stress in the finished board.
    pub stress_free: Option<Given<Temperature>>,
}

word!(
    /// What a layer is for.
    LayerKindWord {
        /// Base film.
        Film = "film",
        /// Copper: its strain is ranked.
        Copper = "copper",
        /// Adhesive.
        Adhesive = "adhesive",
        /// Cover film.
        Cover = "cover",
        /// Printed or photo-imaged mask.
        Mask = "mask",
        /// Plated finish.
        Finish = "finish",
    }
);

word!(
    /// How a layer lies on the layers beneath it.
    SeatWord {
        /// Constant thickness on whatever is beneath it at each place.
        Drape = "drape",
        /// Fills the gaps: its outer face is flat, one thickness above the highest place beneath it.
        Level = "level",
    }
);

/// One layer, listed from the bottom of the board to the top.
///
/// z = 0 is the lower face of the first layer of kind "film" (the base film); layers listed before it lie below.
#[derive(Debug, Clone, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Layer {
    /// Name, shown in all results.
    pub name: Given<String>,
    /// Material: of the library or of `[materials]`.
    pub material: Given<String>,
    /// What the layer is for.
    pub kind: Given<LayerKindWord>,
    /// Thickness; copper weights such as "0.5 oz" are taken at 35 um per ounce.
    pub thickness: Given<Thickness>,
    /// Shapes where the layer is present. Default: the whole outline; for copper only its tracks and coils.
    pub r#where: Option<Vec<Given<String>>>,
    /// Shapes where the layer is absent.
    pub except: Option<Vec<Given<String>>>,
    /// How the layer lies on those beneath it. Default: "drape".
    pub seat: Option<Given<SeatWord>>,
    /// Height of the lower face above z = 0, instead of `seat`.
    pub bottom: Option<Given<Length>>,
    /// Angle of material direction 1 from +x. Default: 0.
    pub direction: Option<Given<Angle>>,
}

word!(
    /// Side of the board.
    SideWord {
        /// Under the board.
        Below = "below",
        /// On top of the board.
        Above = "above",
    }
);

word!(
    /// How a stiffener is held.
    BondWord {
        /// Its layers join the laminate (shear-stiff adhesive).
        Bonded = "bonded",
        /// The tape carries no shear.
        Sliding = "sliding",
        /// A tape with a shear modulus: both limits are computed and shown.
        Tape = "tape",
    }
);

/// A stiffener sheet on one side of the board.
#[derive(Debug, Clone, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Stiffener {
    /// Name.
    pub name: Given<String>,
    /// Plan form; what overhangs the outline is clipped with a warning.
    pub shape: Given<String>,
    /// Side of the board.
    pub side: Given<SideWord>,
    /// Material.
    pub material: Given<String>,
    /// Thickness of the sheet.
    pub thickness: Given<Thickness>,
    /// Angle of material direction 1 from +x. Default: 0.
    pub direction: Option<Given<Angle>>,
    /// How it is held. Default: "bonded"; "tape" with a shear modulus; "sliding" above the tape's glass point.
    pub bond: Option<Given<BondWord>>,
    /// The tape or adhesive between board and sheet; it fills the gaps beneath it.
    pub tape: Option<Tape>,
}

/// Tape or adhesive under a stiffener.
#[derive(Debug, Clone, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Tape {
    /// Material.
    pub material: Given<String>,
    /// Thickness.
    pub thickness: Given<Thickness>,
    /// Shear modulus in use: both bond limits are then computed and shown.
    pub shear_modulus: Option<Given<Stress>>,
}
