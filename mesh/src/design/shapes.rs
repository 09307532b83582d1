//! `[shapes]` and `[outline]`.

use super::given::Given;
use crate::quantity::Length;
use schemars::JsonSchema;
use serde::Deserialize;

/// A named shape in the plane of the board: exactly one kind. Set operations name other shapes.
#[derive(Debug, Clone, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Shape {
    /// Rectangle with sides along x and y.
    pub rectangle: Option<Rectangle>,
    /// Rectangle with four equal corner radii.
    pub rounded_rectangle: Option<RoundedRectangle>,
    /// Full disc.
    pub circle: Option<Circle>,
    /// Polygon, optionally with rounded corners.
    pub polygon: Option<Polygon>,
    /// A path with a width.
    pub track: Option<TrackShape>,
    /// All of the named shapes together.
    pub union: Option<Vec<Given<String>>>,
    /// The first named shape without the others.
    pub difference: Option<Vec<Given<String>>>,
    /// What the named shapes have in common.
    pub intersection: Option<Vec<Given<String>>>,
    /// Radius that rounds the re-entrant corners of the result; for set operations.
    pub fillet: Option<Given<Length>>,
}

/// Rectangle by two opposite corners.
#[derive(Debug, Clone, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Rectangle {
    /// One corner, [x, y].
    pub from: Given<[Length; 2]>,
    /// The opposite corner, [x, y].
    pub to: Given<[Length; 2]>,
}

/// Rectangle by two opposite corners, with rounded corners.
#[derive(Debug, Clone, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct RoundedRectangle {
    /// One corner, [x, y].
    pub from: Given<[Length; 2]>,
    /// The opposite corner, [x, y].
    pub to: Given<[Length; 2]>,
    /// Corner radius.
    pub radius: Given<Length>,
}

/// Disc by centre and diameter.
#[derive(Debug, Clone, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Circle {
    /// Centre, [x, y].
    pub centre: Given<[Length; 2]>,
    /// Diameter.
    pub diameter: Given<Length>,
}

/// Polygon by its corners in order; it is closed by itself.
#[derive(Debug, Clone, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Polygon {
    /// Corners, [x, y] each.
    pub points: Vec<Given<[Length; 2]>>,
    /// One radius for all corners.
    pub radius: Option<Given<Length>>,
    /// A radius for each corner, in the order of `points`; "0 mm" leaves one sharp.
    pub radii: Option<Vec<Given<Length>>>,
}

/// A path with a width, ends cut square.
#[derive(Debug, Clone, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct TrackShape {
    /// Points of the centre line, [x, y] each.
    pub points: Vec<Given<[Length; 2]>>,
    /// Width.
    pub width: Given<Length>,
    /// Radius of the centre line at its corners.
    pub corner_radius: Option<Given<Length>>,
}

/// The board's outline.
#[derive(Debug, Clone, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Outline {
    /// Shape that bounds the board.
    pub shape: Given<String>,
    /// Shapes cut out through all layers.
    pub openings: Option<Vec<Given<String>>>,
}
