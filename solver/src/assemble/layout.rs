//! Numbering of the free unknowns, the fixed pattern, and the parallel sum of element matrices into it.

use super::Elements;
use crate::error::SolveError;
use crate::freedoms::{Freedoms, index_u32};
use crate::linear::{Graph, LinearError, Structure};
use crate::model::Model;
use rayon::prelude::*;

/// No vertex, no slot.
const NONE: u32 = u32::MAX;

/// Block columns a thread takes at a time.
const CHUNK: usize = 64;

/// The free unknowns and the sparse structure over them. A graph *vertex* is a block with free unknowns.
#[derive(Debug)]
pub(crate) struct Layout {
    /// Block of each vertex, ascending.
    pub(crate) blocks: Vec<u32>,
    /// Number of free components of each vertex, 1 to 6.
    sizes: Vec<u8>,
    /// Free components of each vertex, ascending; the first `size` entries count.
    components: Vec<[u8; 6]>,
    /// First corner of each block in `corners`.
    corner_start: Vec<u32>,
    /// `3 * triangle + corner` by block, ascending within a block.
    corners: Vec<u32>,
    /// Order and patterns.
    pub(crate) structure: Structure,
    /// Per triangle, for column corner a and row corner b at `3 a + b`: 0 for the diagonal block, k + 1 for the
    /// k-th block row below it, NONE above the diagonal or without unknowns.
    slots: Vec<[u32; 9]>,
    /// Start of each position in `row_offsets`.
    row_start: Vec<u32>,
    /// Unknowns between the diagonal block and each block row below it, block column by block column.
    row_offsets: Vec<u32>,
}

impl Layout {
    /// Numbers the free unknowns, finds the pattern and orders it.
    pub(crate) fn new(model: &Model, elements: &Elements) -> Result<Self, SolveError> {
        let freedoms = &model.freedoms;
        let (corner_start, corners) = corners_by_block(model, elements);
        let (blocks, vertex) = free_blocks(freedoms, &corner_start);
        let components: Vec<[u8; 6]> = blocks.iter().map(|&b| free_components(freedoms, b).0).collect();
        let sizes: Vec<u8> = blocks.iter().map(|&b| free_components(freedoms, b).1).collect();
        let vertices = vertices_by_corner(model, &vertex);
        let graph = graph(&blocks, &vertices, &corner_start, &corners);
        let places = places(model, &vertex, blocks.len());
        let structure =
            Structure::with_engine(&graph, &sizes, &places, model.engine).map_err(|e| refused(&e))?;
        let (row_start, row_offsets) = row_offsets(&structure, &sizes);
        let slots = slots(&vertices, &structure);
        Ok(Self {
            blocks,
            sizes,
            components,
            corner_start,
            corners,
            structure,
            slots,
            row_start,
            row_offsets,
        })
    }

    /// Corners (`3 * triangle + corner`) that move with a block.
    pub(crate) fn corners_of(&self, block: usize) -> &[u32] {
        &self.corners[self.corner_start[block] as usize..self.corner_start[block + 1] as usize]
    }

    /// Free components of a vertex.
    pub(crate) fn free(&self, vertex: usize) -> &[u8] {
        &self.components[vertex][..usize::from(self.sizes[vertex])]
    }

    /// Lower triangle of a matrix given by element blocks, in the structure's entry order.
    ///
    /// `pair(triangle, b, a)`: rows of corner b against columns of corner a, global axes.
    pub(crate) fn assemble<P>(&self, model: &Model, pair: P) -> Vec<f64>
    where
        P: Fn(usize, usize, usize) -> nalgebra::Matrix6<f64> + Sync,
    {
        let starts = self.structure.entry_start();
        let first = self.structure.first();
        let mut values = vec![0.0; self.structure.entry_rows().len()];
        let mut columns = Vec::with_capacity(self.blocks.len());
        let mut rest = values.as_mut_slice();
        for ends in first.windows(2) {
            let len = starts[ends[1] as usize] - starts[ends[0] as usize];
            let (column, tail) = rest.split_at_mut(len as usize);
            columns.push(column);
            rest = tail;
        }
        columns
            .into_par_iter()
            .enumerate()
            .with_min_len(CHUNK)
            .for_each(|(position, column)| self.fill(position, column, model, &pair));
        values
    }

    /// Adds a 6 x 6 matrix of one node's freedoms (global axes) to values of [`Self::assemble`].
    pub(crate) fn add_at_node(
        &self,
        model: &Model,
        node: u32,
        own: &nalgebra::Matrix6<f64>,
        values: &mut [f64],
    ) {
        let Some(follow) = model.freedoms.follow.get(node as usize) else { return };
        let matrix = follow.matrix.as_ref().map_or(*own, |g| g.tr_mul(&(own * g.as_ref())));
        self.add_in_block(follow.block, &matrix, values);
    }

    /// Adds a symmetric 6 x 6 matrix of one block's unknowns to values of [`Self::assemble`].
    pub(crate) fn add_in_block(&self, block: u32, matrix: &nalgebra::Matrix6<f64>, values: &mut [f64]) {
        let Ok(vertex) = self.blocks.binary_search(&block) else { return };
        let unknown = self.structure.first()[self.structure.position()[vertex] as usize] as usize;
        let free = self.free(vertex);
        for (c, &column) in free.iter().enumerate() {
            let start = self.structure.entry_start()[unknown + c] as usize;
            for (r, &row) in free.iter().enumerate().skip(c) {
                values[start + r - c] += matrix[(usize::from(row), usize::from(column))];
            }
        }
    }

    /// Adds a matrix of a triangle of a rigid piece (18 corner freedoms, global axes) to values of
    /// [`Self::assemble`], symmetrised.
    pub(crate) fn add_rigid_triangle(
        &self,
        model: &Model,
        triangle: usize,
        own: &crate::element::Matrix18,
        values: &mut [f64],
    ) {
        let nodes = model.triangles[triangle];
        let lever = |a: usize| {
            let follow = &model.freedoms.follow[nodes[a] as usize];
            follow.matrix.as_deref().copied().unwrap_or_else(nalgebra::Matrix6::identity)
        };
        let mut sum = nalgebra::Matrix6::zeros();
        for a in 0..3 {
            for b in 0..3 {
                sum += lever(b).tr_mul(&(own.fixed_view::<6, 6>(6 * b, 6 * a) * lever(a)));
            }
        }
        let block = model.freedoms.follow[nodes[0] as usize].block;
        self.add_in_block(block, &((sum + sum.transpose()) * 0.5), values);
    }

    /// Free unknowns, in elimination order, of a value per vertex.
    pub(crate) fn free_part(&self, of: impl Fn(usize) -> nalgebra::Vector6<f64>) -> Vec<f64> {
        let structure = &self.structure;
        let mut out = vec![0.0; structure.n_unknowns()];
        for (p, &vertex) in structure.order().iter().enumerate() {
            let first = structure.first()[p] as usize;
            let value = of(vertex as usize);
            for (k, &c) in self.free(vertex as usize).iter().enumerate() {
                out[first + k] = value[usize::from(c)];
            }
        }
        out
    }

    /// One block column: every contribution in element order.
    fn fill<P>(&self, position: usize, column: &mut [f64], model: &Model, pair: &P)
    where
        P: Fn(usize, usize, usize) -> nalgebra::Matrix6<f64>,
    {
        let vertex = self.structure.order()[position] as usize;
        let from = self.free(vertex);
        let offsets =
            &self.row_offsets[self.row_start[position] as usize..self.row_start[position + 1] as usize];
        let unknown = self.structure.first()[position] as usize;
        let starts = &self.structure.entry_start()[unknown..unknown + from.len()];
        for &corner in self.corners_of(self.blocks[vertex] as usize) {
            let (triangle, a) = (corner as usize / 3, corner as usize % 3);
            let follow = model.triangles[triangle].map(|node| &model.freedoms.follow[node as usize]);
            for b in 0..3 {
                let slot = self.slots[triangle][3 * a + b];
                if slot == NONE {
                    continue;
                }
                let mut k = pair(triangle, b, a);
                if let Some(g) = &follow[a].matrix {
                    k *= g.as_ref();
                }
                if let Some(g) = &follow[b].matrix {
                    k = g.tr_mul(&k);
                }
                // Column c holds the diagonal block's rows c.. and then all rows below.
                let (to, shift) = match slot as usize {
                    0 => (from, 0),
                    below => {
                        let row = self.structure.rows(position)[below - 1] as usize;
                        let to = self.free(self.structure.order()[row] as usize);
                        (to, from.len() + offsets[below - 1] as usize)
                    }
                };
                for (c, &component) in from.iter().enumerate() {
                    let start = (starts[c] - starts[0]) as usize;
                    let skip = if slot == 0 { c } else { 0 };
                    for (r, &row) in to.iter().enumerate().skip(skip) {
                        column[start + shift + r - c] += k[(usize::from(row), usize::from(component))];
                    }
                }
            }
        }
    }
}

/// What the linear room refused before any number was in play.
pub(crate) fn refused(error: &LinearError) -> SolveError {
    SolveError::Model {
        what: error.to_string(),
        remedy: "use a coarser mesh or a machine with more memory".to_owned(),
    }
}

/// Corners of all triangles that can strain, by block: starts and lists.
fn corners_by_block(model: &Model, elements: &Elements) -> (Vec<u32>, Vec<u32>) {
    let follow = &model.freedoms.follow;
    let mut start = vec![0u32; model.freedoms.blocks.len() + 1];
    let used = || {
        let strained =
            model.triangles.iter().zip(&elements.rigid).enumerate().filter(|(_, (_, rigid))| !**rigid);
        strained.flat_map(|(e, (nodes, _))| nodes.iter().enumerate().map(move |(a, &node)| (3 * e + a, node)))
    };
    for (_, node) in used() {
        start[follow[node as usize].block as usize + 1] += 1;
    }
    for b in 1..start.len() {
        start[b] += start[b - 1];
    }
    let mut next = start.clone();
    let mut corners = vec![0; start.last().map_or(0, |&n| n as usize)];
    for (corner, node) in used() {
        let at = &mut next[follow[node as usize].block as usize];
        corners[*at as usize] = index_u32(corner);
        *at += 1;
    }
    (start, corners)
}

/// Blocks with stiffness and something free, and the vertex of each block.
fn free_blocks(freedoms: &Freedoms, corner_start: &[u32]) -> (Vec<u32>, Vec<u32>) {
    let mut blocks = Vec::new();
    let mut vertex = vec![NONE; freedoms.blocks.len()];
    for (b, block) in freedoms.blocks.iter().enumerate() {
        if block.held.contains(&false) && corner_start[b] < corner_start[b + 1] {
            vertex[b] = index_u32(blocks.len());
            blocks.push(index_u32(b));
        }
    }
    (blocks, vertex)
}

fn free_components(freedoms: &Freedoms, block: u32) -> ([u8; 6], u8) {
    let mut components = [0; 6];
    let mut size = 0u8;
    for c in (0u8..6).filter(|&c| !freedoms.blocks[block as usize].held[usize::from(c)]) {
        components[usize::from(size)] = c;
        size += 1;
    }
    (components, size)
}

fn vertices_by_corner(model: &Model, vertex: &[u32]) -> Vec<[u32; 3]> {
    let of = |node: u32| vertex[model.freedoms.follow[node as usize].block as usize];
    model.triangles.iter().map(|nodes| nodes.map(of)).collect()
}

/// Mean position of the nodes of each vertex.
fn places(model: &Model, vertex: &[u32], n: usize) -> Vec<[f64; 3]> {
    let mut sums = vec![[0.0; 4]; n];
    for (follow, p) in model.freedoms.follow.iter().zip(&model.nodes_m) {
        if let Some(sum) = sums.get_mut(vertex[follow.block as usize] as usize) {
            *sum = [sum[0] + p[0], sum[1] + p[1], sum[2] + p[2], sum[3] + 1.0];
        }
    }
    sums.iter().map(|[x, y, z, count]| [x / count, y / count, z / count]).collect()
}

/// Two blocks are neighbours when a triangle touches both.
fn graph(blocks: &[u32], vertices: &[[u32; 3]], corner_start: &[u32], corners: &[u32]) -> Graph {
    let lists: Vec<Vec<u32>> = blocks
        .par_iter()
        .with_min_len(CHUNK)
        .enumerate()
        .map(|(own, &block)| {
            let range = corner_start[block as usize] as usize..corner_start[block as usize + 1] as usize;
            let touched = corners[range].iter().flat_map(|&corner| vertices[corner as usize / 3]);
            let mut list: Vec<u32> = touched.filter(|&v| v != NONE && v as usize != own).collect();
            list.sort_unstable();
            list.dedup();
            list
        })
        .collect();
    let mut start = Vec::with_capacity(blocks.len() + 1);
    start.push(0);
    let mut total = 0;
    for list in &lists {
        total += list.len();
        start.push(index_u32(total));
    }
    Graph { start, neighbours: lists.concat() }
}

fn row_offsets(structure: &Structure, sizes: &[u8]) -> (Vec<u32>, Vec<u32>) {
    let mut start = vec![0];
    let mut offsets = Vec::new();
    for p in 0..structure.order().len() {
        let mut offset = 0;
        for &row in structure.rows(p) {
            offsets.push(offset);
            offset += u32::from(sizes[structure.order()[row as usize] as usize]);
        }
        start.push(index_u32(offsets.len()));
    }
    (start, offsets)
}

fn slots(vertices: &[[u32; 3]], structure: &Structure) -> Vec<[u32; 9]> {
    let position = structure.position();
    let slot = |column: u32, row: u32| {
        if column == NONE || row == NONE {
            return NONE;
        }
        let (column, row) = (position[column as usize], position[row as usize]);
        match row.cmp(&column) {
            std::cmp::Ordering::Less => NONE,
            std::cmp::Ordering::Equal => 0,
            std::cmp::Ordering::Greater => {
                structure.rows(column as usize).binary_search(&row).map_or(NONE, |k| index_u32(k + 1))
            }
        }
    };
    let of = |v: &[u32; 3]| std::array::from_fn(|i| slot(v[i / 3], v[i % 3]));
    vertices.par_iter().with_min_len(CHUNK).map(of).collect()
}
