//! Mesh, displacements and copper strain as an unstructured grid in the open XML format of the Visualization
//! Toolkit (VTK File Formats, `UnstructuredGrid`, version 1.0), for any viewer that reads it.
//!
//! Input: one answer. Output: the file's bytes. Numbers are little-endian, base64, uncompressed, each block led
//! by its length in bytes (64 bits). Nodes on the edge of a zone appear once per zone, since strain jumps there.
//! Places without a value carry not-a-number.

use copperbend_solver::result::{BendAnswer, Face, ModesAnswer, Shape, StrainMap};
use rayon::prelude::*;

/// Writes the grid of one answer of `bend`.
pub(crate) fn write(answer: &BendAnswer) -> Vec<u8> {
    let shape = &answer.shape;
    grid(
        shape,
        answer.mesh.reference_z_m,
        |out, split| point_data(out, answer, split),
        |out| {
            array(out, "error, share of the largest", 1, &shape.error_share);
        },
    )
}

/// Writes the grid of one answer of `modes`: the state about which the board vibrates and every mode's shape, per unit
/// of its modal coordinate (modal mass 1 kg).
pub(crate) fn write_modes(answer: &ModesAnswer) -> Vec<u8> {
    let of_modes = |out: &mut Vec<u8>, split: &Split| {
        let mut put = |name: &str, values: &[[f64; 6]], range: std::ops::Range<usize>| {
            let flat = split.flat(|n| &values[n][range.clone()]);
            array(out, name, 3, &flat);
        };
        put("displacement, m, state", &answer.shape.loaded, 0..3);
        for (mode, shape) in answer.modes.iter().zip(&answer.shapes) {
            let name = format!("mode {} {} {:.4} Hz", mode.number, mode.name, mode.frequency_hz);
            put(&format!("{name}, displacement, m"), shape, 0..3);
            put(&format!("{name}, rotation, rad"), shape, 3..6);
        }
    };
    grid(&answer.shape, 0.0, of_modes, |_| ())
}

/// Writes points, triangles and what belongs to them.
fn grid(
    shape: &Shape,
    reference_z_m: f64,
    of_points: impl Fn(&mut Vec<u8>, &Split),
    of_cells: impl Fn(&mut Vec<u8>),
) -> Vec<u8> {
    let split = Split::of(shape);
    let (n_points, n_cells) = (split.node_of.len(), shape.triangles.len());
    let mut out: Vec<u8> = Vec::with_capacity(300 * n_points + 110 * n_cells);
    let push = |out: &mut Vec<u8>, text: &str| out.extend_from_slice(text.as_bytes());
    push(&mut out, "<?xml version=\"1.0\"?>\n");
    push(
        &mut out,
        "<VTKFile type=\"UnstructuredGrid\" version=\"1.0\" byte_order=\"LittleEndian\" header_type=\"UInt64\">\n",
    );
    push(&mut out, "<UnstructuredGrid>\n");
    push(&mut out, &format!("<Piece NumberOfPoints=\"{n_points}\" NumberOfCells=\"{n_cells}\">\n"));
    push(&mut out, "<PointData>\n");
    of_points(&mut out, &split);
    push(&mut out, "</PointData>\n<CellData>\n");
    let zones: Vec<i32> = shape.zone_of.iter().map(|&z| i32::try_from(z).unwrap_or(-1)).collect();
    array(&mut out, "zone", 1, &zones);
    array(&mut out, "total thickness, m", 1, &shape.thickness_m);
    of_cells(&mut out);
    push(&mut out, "</CellData>\n<Points>\n");
    let positions = split.flat(|n| {
        let p = shape.points_m[n];
        [p[0], p[1], reference_z_m]
    });
    array(&mut out, "position, m", 3, &positions);
    push(&mut out, "</Points>\n<Cells>\n");
    let to_i64 = |v: usize| i64::try_from(v).unwrap_or(0);
    let connectivity: Vec<i64> = split.corners.as_flattened().iter().map(|&p| to_i64(p)).collect();
    let offsets: Vec<i64> = (1..=n_cells).map(|c| to_i64(3 * c)).collect();
    array(&mut out, "connectivity", 1, &connectivity);
    array(&mut out, "offsets", 1, &offsets);
    // Cell type 5 is the linear triangle.
    array(&mut out, "types", 1, &vec![5u8; n_cells]);
    push(&mut out, "</Cells>\n</Piece>\n</UnstructuredGrid>\n</VTKFile>\n");
    out
}

/// Nodes told apart by zone.
struct Split {
    /// Original node of each point.
    node_of: Vec<u32>,
    /// Points of each triangle.
    corners: Vec<[usize; 3]>,
}

impl Split {
    fn of(shape: &Shape) -> Self {
        // Zones seen so far at each node, with the point of each.
        let mut seen: Vec<Vec<(u32, usize)>> = vec![Vec::new(); shape.points_m.len()];
        let mut node_of = Vec::new();
        let corners = shape
            .triangles
            .iter()
            .zip(&shape.zone_of)
            .map(|(t, &zone)| {
                t.map(|node| {
                    let here = &mut seen[node as usize];
                    if let Some(known) = here.iter().find(|own| own.0 == zone) {
                        return known.1;
                    }
                    node_of.push(node);
                    here.push((zone, node_of.len() - 1));
                    node_of.len() - 1
                })
            })
            .collect();
        Self { node_of, corners }
    }

    /// Three numbers per point, from its node.
    fn flat<T: AsRef<[f64]>>(&self, of: impl Fn(usize) -> T) -> Vec<f64> {
        let mut flat = Vec::with_capacity(3 * self.node_of.len());
        self.node_of.iter().for_each(|&n| flat.extend_from_slice(of(n as usize).as_ref()));
        flat
    }
}

fn point_data(out: &mut Vec<u8>, answer: &BendAnswer, split: &Split) {
    let shape = &answer.shape;
    for (state, values) in [("loaded", &shape.loaded), ("unloaded", &shape.unloaded)] {
        if values.len() != shape.points_m.len() {
            continue;
        }
        for (what, range) in [("displacement, m", 0..3), ("rotation, rad", 3..6)] {
            let flat = split.flat(|n| &values[n][range.clone()]);
            array(out, &format!("{what}, {state}"), 3, &flat);
        }
    }
    for map in &answer.maps {
        let face = match map.face {
            Face::Lower => "lower",
            Face::Upper => "upper",
        };
        let (ranking, components) = strain_at_points(map, split);
        let place = format!("{}, {face} face", map.layer);
        array(out, &format!("ranking strain, {place}"), 1, &ranking);
        array(out, &format!("strain xx yy xy (engineering), {place}"), 3, &components);
    }
}

fn strain_at_points(map: &StrainMap, split: &Split) -> (Vec<f64>, Vec<f64>) {
    let n = split.node_of.len();
    let (mut ranking, mut components) = (vec![f64::NAN; n], vec![f64::NAN; 3 * n]);
    for (i, &t) in map.triangles.iter().enumerate() {
        for corner in 0..3 {
            let point = split.corners[t as usize][corner];
            ranking[point] = map.ranking[i][corner];
            components[3 * point..3 * point + 3].copy_from_slice(&map.components[i][corner]);
        }
    }
    (ranking, components)
}

/// A number type of the format.
trait Cell: Copy {
    const NAME: &'static str;
    const BYTES: usize;
    /// Writes itself into as many bytes as it has.
    fn put(self, to: &mut [u8]);
}

macro_rules! cell {
    ($type:ty, $name:literal) => {
        impl Cell for $type {
            const NAME: &'static str = $name;
            const BYTES: usize = size_of::<$type>();
            fn put(self, to: &mut [u8]) {
                to.copy_from_slice(&self.to_le_bytes());
            }
        }
    };
}
cell!(f64, "Float64");
cell!(i64, "Int64");
cell!(i32, "Int32");
cell!(u8, "UInt8");

fn array<T: Cell + Sync>(out: &mut Vec<u8>, name: &str, components: usize, values: &[T]) {
    let head = format!(
        "<DataArray type=\"{}\" Name=\"{}\" NumberOfComponents=\"{components}\" format=\"binary\">\n",
        T::NAME,
        escape(name)
    );
    out.extend_from_slice(head.as_bytes());
    let length = (values.len() * T::BYTES) as u64;
    let mut bytes = vec![0; 8 + values.len() * T::BYTES];
    bytes[..8].copy_from_slice(&length.to_le_bytes());
    let parts = bytes[8..].par_chunks_mut(PART * T::BYTES).zip(values.par_chunks(PART));
    parts.for_each(|(bytes, values)| {
        bytes.chunks_exact_mut(T::BYTES).zip(values).for_each(|(to, v)| v.put(to));
    });
    base64_into(out, &bytes);
    out.extend_from_slice(b"\n</DataArray>\n");
}

fn escape(text: &str) -> String {
    let mut out = String::new();
    for c in text.chars() {
        match c {
            '&' => out.push_str("&amp;"),
            '<' => out.push_str("&lt;"),
            '>' => out.push_str("&gt;"),
            '"' => out.push_str("&quot;"),
            c if c.is_control() => out.push(' '),
            c => out.push(c),
        }
    }
    out
}

/// Values that one worker turns into bytes at a time.
const PART: usize = 1 << 14;

/// The digits of base64.
const ALPHABET: &[u8; 64] = b"ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/";

/// Both digits of twelve bits.
static PAIRS: [[u8; 2]; 4096] = {
    let mut pairs = [[0; 2]; 4096];
    let mut n = 0;
    while n < 4096 {
        pairs[n] = [ALPHABET[n >> 6], ALPHABET[n & 63]];
        n += 1;
    }
    pairs
};

/// Base64 with padding (RFC 4648, section 4).
fn base64_into(out: &mut Vec<u8>, bytes: &[u8]) {
    // Whole groups of three bytes per worker, so that only the very end is padded.
    let start = out.len();
    out.resize(start + 4 * bytes.len().div_ceil(3), b'=');
    out[start..].par_chunks_mut(4 << 15).zip(bytes.par_chunks(3 << 15)).for_each(|(coded, part)| {
        for (to, from) in coded.chunks_exact_mut(4).zip(part.chunks(3)) {
            let [a, b, c] = [0, 1, 2].map(|i| usize::from(from.get(i).copied().unwrap_or(0)));
            let ([p, q], [r, s]) = (PAIRS[a << 4 | b >> 4], PAIRS[(b & 15) << 8 | c]);
            let digits = [p, q, r, s];
            to[..=from.len()].copy_from_slice(&digits[..=from.len()]);
        }
    });
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::output::sample;

    #[test]
    fn base64_matches_the_vectors_of_rfc_4648_section_10() {
        for (plain, coded) in [
            ("", ""),
            ("f", "Zg=="),
            ("fo", "Zm8="),
            ("foo", "Zm9v"),
            ("foob", "Zm9vYg=="),
            ("fooba", "Zm9vYmE="),
            ("foobar", "Zm9vYmFy"),
        ] {
            let mut out = Vec::new();
            base64_into(&mut out, plain.as_bytes());
            assert_eq!(out, coded.as_bytes(), "of '{plain}'");
        }
    }

    #[test]
    fn points_are_told_apart_by_zone() {
        let answer = sample::answer();
        let split = Split::of(&answer.shape);
        let mut used: Vec<u32> = answer.shape.triangles.iter().flatten().copied().collect();
        used.sort_unstable();
        used.dedup();
        assert!(split.node_of.len() > used.len(), "nodes on zone edges are doubled");
        for (t, corners) in split.corners.iter().enumerate() {
            for (k, &p) in corners.iter().enumerate() {
                assert_eq!(split.node_of[p], answer.shape.triangles[t][k], "corner {k} of triangle {t}");
            }
        }
    }

    #[test]
    fn names_with_markup_are_escaped() {
        assert_eq!(escape("a<b & \"c\"\n"), "a&lt;b &amp; &quot;c&quot; ", "markup");
    }
}
