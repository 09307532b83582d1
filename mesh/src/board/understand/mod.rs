//! Design → Board: every rule of the design file, all faults at once.
//!
//! Input: the file's text. Output: a [`Board`] or [`Faults`]. Order: shapes, outline, materials, layers, copper,
//! seats, circuit, fixtures, loads; then the rules that need the whole board; then remarks.

mod circuit;
mod copper;
mod drive;
mod fixtures;
mod landmarks;
mod layers;
mod loads;
mod magnets;
mod materials;
mod remarks;
mod seats;
mod shapes;
mod swing;
mod whole;

use super::fault::{FaultList, Faults};
use super::{Board, DriveWishes, LayerId, Limits, LockedIn, MeshWishes, SwingWishes, Warning};
use crate::coil::path::Leg;
use crate::design::{self, Design, Given, Wanted, nearest};
use crate::region::{Point, Region};
use shapes::Shaped;
use std::collections::BTreeMap;
use std::ops::Range;

/// Largest design file that is read, bytes.
pub const LARGEST_FILE_BYTES: usize = 4 * 1024 * 1024;

/// Largest coordinate of a board, m: anything beyond is a slip of the unit.
const LARGEST_BOARD_M: f64 = 1.0;

/// Working temperature where none is given, degC.
const ROOM_DEGC: f64 = 20.0;

/// Reads a design file and checks it whole.
///
/// `file_name`: shown in messages only; nothing is read from disk. `text`: the file's content.
///
/// # Errors
/// [`Faults`]: every fault found, each with its line, column, text, rule and remedy, in the order of the file.
pub fn understand(file_name: &str, text: &str) -> Result<Board, Faults> {
    let mut faults = FaultList::new(file_name, text);
    if let Some((rule, remedy)) = unreadable(text) {
        faults.add(&(0..0), rule, remedy);
        return faults.finish(empty_board());
    }
    let design = design::read(text, &mut faults);
    let mut builder = Builder::new(faults, text);
    if let Some(design) = design {
        builder.all(&design);
    }
    let Builder { faults, board, .. } = builder;
    faults.finish(board)
}

/// Why a file is not even read.
fn unreadable(text: &str) -> Option<(String, String)> {
    if text.len() > LARGEST_FILE_BYTES {
        let kib = text.len() / 1024;
        return Some((
            format!("the file has {kib} KiB; at most {} KiB are read", LARGEST_FILE_BYTES / 1024),
            "a design file is written by hand: check that this is the right file".to_owned(),
        ));
    }
    text.trim().is_empty().then(|| {
        ("the file is empty".to_owned(), "start from a copy of a design in the folder `examples`".to_owned())
    })
}

/// The board being filled, with what is needed on the way.
struct Builder<'t> {
    text: &'t str,
    faults: FaultList<'t>,
    board: Board,
    /// Shapes of the file; None for those with faults of their own.
    shapes: BTreeMap<String, Option<Shaped>>,
    /// Materials of the file with faults of their own, which were reported.
    faulty_materials: Vec<String>,
    /// Where each layer of the board is written.
    layer_spans: Vec<Range<usize>>,
    /// Layers of the board by name of the file; None for those with faults of their own.
    layer_names: BTreeMap<String, Option<LayerId>>,
    /// Layers that are to be level, by index.
    level: Vec<usize>,
    /// Links of the circuit; None for those with faults of their own.
    links: BTreeMap<String, Option<Leg>>,
    /// Where the outline is written.
    outline_span: Range<usize>,
}

impl<'t> Builder<'t> {
    fn new(faults: FaultList<'t>, text: &'t str) -> Self {
        Self {
            text,
            faults,
            board: empty_board(),
            shapes: BTreeMap::new(),
            faulty_materials: Vec::new(),
            layer_spans: Vec::new(),
            layer_names: BTreeMap::new(),
            level: Vec::new(),
            links: BTreeMap::new(),
            outline_span: 0..0,
        }
    }

    /// The stages in their order; each records its faults and leaves out what it could not understand.
    fn all(&mut self, design: &Design) {
        self.title(design);
        self.temperatures(design);
        self.all_shapes(&design.shapes);
        self.outline(design);
        self.own_materials(&design.materials);
        self.all_layers(design);
        self.all_copper(design);
        self.clip_layers();
        self.all_seats();
        self.circuit(design);
        self.fixtures(design);
        self.magnets(&design.magnet);
        self.obstacles(&design.obstacle);
        self.loads(design);
        self.wishes(design);
        self.swing(design);
        self.drive(design);
        self.whole_board(design);
        if self.faults.count() == 0 {
            self.landmarks(design);
            self.remarks(design);
        }
    }

    fn title(&mut self, design: &Design) {
        let given = design.title.as_ref().and_then(|t| self.faults.take(t));
        self.board.title = given.unwrap_or_else(|| "untitled".to_owned());
    }

    /// Records a remark that does not stop the work.
    fn warn(&mut self, place: impl Into<String>, text: impl Into<String>, remedy: impl Into<String>) {
        self.board.warnings.push(Warning { place: place.into(), text: text.into(), remedy: remedy.into() });
    }

    fn take<T: Wanted + Clone>(&mut self, given: &Given<T>) -> Option<T> {
        self.faults.take(given)
    }

    fn take_opt<T: Wanted + Clone>(&mut self, given: Option<&Given<T>>) -> Option<Option<T>> {
        self.faults.take_opt(given)
    }

    /// A value that must be above zero.
    fn positive<T: Wanted + Clone>(&mut self, given: &Given<T>, what: &str, si: fn(T) -> f64) -> Option<f64> {
        let value = si(self.take(given)?);
        if value > 0.0 && value.is_finite() {
            return Some(value);
        }
        self.faults.add(&given.span, format!("{what} must be above 0"), T::wanted());
        None
    }

    /// Records that a name is not known, with the nearest known one.
    fn unknown(&mut self, span: &Range<usize>, what: &str, name: &str, known: &[&str]) {
        let remedy = match nearest(name, known.iter().copied()) {
            Some(close) => format!("did you mean `{close}`?"),
            None if known.is_empty() => format!("this file has no {what}: add it"),
            None => {
                let mut seen = std::collections::BTreeSet::new();
                let once: Vec<&str> = known.iter().copied().filter(|&name| seen.insert(name)).collect();
                format!("known: {}", once.join(", "))
            }
        };
        self.faults.add(span, format!("unknown {what} `{name}`"), remedy);
    }

    /// A name that no other entry of this kind has.
    fn fresh_name(&mut self, given: &Given<String>, what: &str, taken: &[String]) -> Option<String> {
        let name = self.take(given)?;
        if name.trim().is_empty() {
            self.faults.add(
                &given.span,
                format!("the name of a {what} is empty"),
                "give it a name to find it by in the results",
            );
            return None;
        }
        if taken.contains(&name) {
            self.faults.add(
                &given.span,
                format!("two {what}s are called `{name}`"),
                "give each its own name",
            );
            return None;
        }
        Some(name)
    }
}

/// A board of nothing, to be filled.
fn empty_board() -> Board {
    Board {
        title: String::new(),
        outline: Region::default(),
        materials: Vec::new(),
        layers: Vec::new(),
        base_layer: LayerId(0),
        stiffeners: Vec::new(),
        conductors: Vec::new(),
        current: None,
        arms: Vec::new(),
        flap: None,
        supports: Vec::new(),
        bodies: Vec::new(),
        magnets: Vec::new(),
        obstacles: Vec::new(),
        loads: Vec::new(),
        gravity_m_s2: [0.0; 3],
        temperature_degc: ROOM_DEGC,
        locked_in: LockedIn::default(),
        mesh: MeshWishes {
            coarse_m: None,
            fine_m: None,
            growth: 0.3,
            across_arm: 8,
            min_angle_rad: 25f64.to_radians(),
            tolerance: 0.01,
            max_refinements: 6,
            max_triangles: 400_000,
            merge_thin: false,
        },
        swing: SwingWishes::default(),
        drive: DriveWishes::default(),
        limits: Limits::default(),
        fillets: Vec::new(),
        landmarks: Vec::new(),
        warnings: Vec::new(),
    }
}

/// A point in millimetres, for messages.
fn mm(p: Point) -> String {
    format!("({}, {}) mm", round(p[0] * 1e3), round(p[1] * 1e3))
}

/// A number without useless digits: three decimals at most.
fn round(value: f64) -> String {
    let text = format!("{value:.3}");
    let short = text.trim_end_matches('0').trim_end_matches('.');
    if short == "-0" || short.is_empty() { "0".to_owned() } else { short.to_owned() }
}

/// A small length in micrometres, for messages.
fn um(value_m: f64) -> String {
    format!("{} um", round(value_m * 1e6))
}

#[cfg(test)]
mod tests;
