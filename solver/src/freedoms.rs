//! Node and component to equation: supports, frames and rigid ties, all by elimination.
//!
//! Every node moves as `G q`, with `q` the six unknowns of one *block*. A plain node is its own block with `G`
//! the identity; a node in a turned frame has a rotation; a node of a rigid piece shares the piece's block.
//! No multipliers and no penalty stiffness: what is held or tied leaves the equations.

use nalgebra::{Matrix3, Matrix6, Vector3, Vector6};

/// How one node follows its block.
#[derive(Debug, Clone, PartialEq)]
pub struct Follow {
    /// Block index.
    pub block: u32,
    /// Node freedoms (u, v, w, tx, ty, tz in global axes) per block unknown; None is the identity.
    pub matrix: Option<Box<Matrix6<f64>>>,
}

/// One block of six unknowns: which are held, and at what value.
#[derive(Debug, Clone, PartialEq)]
pub struct Block {
    /// Held components.
    pub held: [bool; 6],
    /// Prescribed values of the held components (m, rad), in the block's own axes.
    pub value: Vector6<f64>,
}

/// A constraint as it was declared, for motion so large that it must be written anew at every place.
#[derive(Debug, Clone, PartialEq)]
pub struct Bound {
    /// Node.
    pub node: u32,
    /// Direction in the node's u, v, w, tx, ty, tz (global axes).
    pub row: Vector6<f64>,
    /// What `row . motion` must be (m, rad).
    pub value: f64,
}

/// All nodes and blocks of a model.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Freedoms {
    /// Per node.
    pub follow: Vec<Follow>,
    /// Per block; blocks nobody follows are legal and ignored.
    pub blocks: Vec<Block>,
    /// Constraints declared by [`Self::constrain`], and by [`Self::hold`] on rigid pieces, in order.
    pub bounds: Vec<Bound>,
    /// Contradictions met while supports were declared; they stop the solve with a message.
    pub faults: Vec<String>,
}

const FREE: Block = Block { held: [false; 6], value: Vector6::new(0.0, 0.0, 0.0, 0.0, 0.0, 0.0) };

/// Share of a constraint's length below which it counts as already decided by earlier ones.
const DECIDED: f64 = 1e-9;

impl Freedoms {
    /// `n_nodes` nodes, each with six free unknowns in global axes.
    #[must_use]
    pub fn free(n_nodes: usize) -> Self {
        let follow = (0..index_u32(n_nodes)).map(|block| Follow { block, matrix: None }).collect();
        Self { follow, blocks: vec![FREE; n_nodes], bounds: Vec::new(), faults: Vec::new() }
    }

    /// Forces and moments per node (global axes) as forces on the unknowns of every block.
    #[must_use]
    pub fn gathered(&self, nodal: &[Vector6<f64>]) -> Vec<Vector6<f64>> {
        let mut sums = vec![Vector6::zeros(); self.blocks.len()];
        for (follow, load) in self.follow.iter().zip(nodal) {
            match &follow.matrix {
                None => sums[follow.block as usize] += load,
                Some(g) => sums[follow.block as usize] += g.tr_mul(load),
            }
        }
        sums
    }

    /// Holds one component of a node at `value` (m or rad); 0 to 5 are u, v, w, tx, ty, tz.
    ///
    /// Axes: the node's own frame if [`Self::turn`] gave it one, else global. On a node of a rigid piece the
    /// whole piece is constrained so that this component of the node (global axes) takes the value.
    /// Holding the same component again replaces the value.
    pub fn hold(&mut self, node: u32, component: usize, value: f64) {
        let Some(follow) = self.follow.get(node as usize) else {
            self.faults.push(format!("support on node {node}, which does not exist"));
            return;
        };
        if component > 5 || !value.is_finite() {
            self.faults.push(format!("support on node {node}: component {component} at {value}"));
        } else if follow.block == node {
            let block = &mut self.blocks[node as usize];
            block.held[component] = true;
            block.value[component] = value;
        } else {
            let mut row = Vector6::zeros();
            row[component] = 1.0;
            self.constrain(node, &row, value);
        }
    }

    /// Holds all six components of a node at zero.
    pub fn clamp(&mut self, node: u32) {
        for component in 0..6 {
            self.hold(node, component, 0.0);
        }
    }

    /// Gives a node its own axes: the rows of `frame` are unit vectors in global axes. Call before [`Self::hold`].
    pub fn turn(&mut self, node: u32, frame: &Matrix3<f64>) {
        let Some(follow) = self.follow.get(node as usize) else {
            self.faults.push(format!("frame on node {node}, which does not exist"));
            return;
        };
        let skew = (frame * frame.transpose() - Matrix3::identity()).amax();
        if follow.block != node || self.blocks[node as usize].held.contains(&true) {
            self.faults.push(format!("frame on node {node}, which is already held or part of a rigid piece"));
        } else if skew.is_nan() || skew > 1e-9 || frame.determinant() < 0.0 {
            self.faults.push(format!("frame on node {node} is not a rotation"));
        } else {
            let back = frame.transpose();
            let mut matrix = Matrix6::zeros();
            matrix.fixed_view_mut::<3, 3>(0, 0).copy_from(&back);
            matrix.fixed_view_mut::<3, 3>(3, 3).copy_from(&back);
            self.follow[node as usize].matrix = Some(Box::new(matrix));
        }
    }

    /// Ties nodes into one rigid piece that moves with `centre`; returns the piece's block.
    ///
    /// `nodes_m`: positions of all nodes of the model. Small rotations: displacement at a node is
    /// `u + theta x (node - centre)`. What the nodes held before carries over to the piece.
    pub fn tie(&mut self, nodes_m: &[[f64; 3]], nodes: &[u32], centre: [f64; 3]) -> u32 {
        let block = index_u32(self.blocks.len());
        self.blocks.push(FREE);
        let mut carried = Vec::new();
        for &node in nodes {
            let (Some(follow), Some(place)) =
                (self.follow.get_mut(node as usize), nodes_m.get(node as usize))
            else {
                self.faults.push(format!("rigid piece with node {node}, which does not exist"));
                continue;
            };
            if follow.block != node {
                self.faults.push(format!("node {node} belongs to two rigid pieces"));
                continue;
            }
            let own = &self.blocks[node as usize];
            let axes = follow.matrix.as_deref().copied().unwrap_or_else(Matrix6::identity);
            for component in (0..6).filter(|&c| own.held[c]) {
                carried.push((node, axes.column(component).into_owned(), own.value[component]));
            }
            let arm = Vector3::from(*place) - Vector3::from(centre);
            *follow = Follow { block, matrix: Some(Box::new(rigid(&arm))) };
        }
        for (node, row, value) in carried {
            self.constrain(node, &row, value);
        }
        block
    }

    /// Requires `row . (u, v, w, tx, ty, tz of the node, global axes) = value`.
    ///
    /// The block's axes are reflected so that the constraint becomes one held component; a constraint that
    /// earlier ones already decide is accepted when it agrees with them and recorded as a fault when not.
    pub fn constrain(&mut self, node: u32, row: &Vector6<f64>, value: f64) {
        self.bounds.push(Bound { node, row: *row, value });
        let follow = &self.follow[node as usize];
        let in_block = follow.matrix.as_ref().map_or(*row, |g| g.transpose() * row);
        let block_idx = follow.block;
        let block = &mut self.blocks[block_idx as usize];
        let mut known = 0.0;
        let mut free = in_block;
        for c in (0..6).filter(|&c| block.held[c]) {
            known += in_block[c] * block.value[c];
            free[c] = 0.0;
        }
        let length = free.norm();
        if length <= DECIDED * in_block.norm() {
            let scale = value.abs().max(known.abs()).max(block.value.amax());
            if (value - known).abs() > DECIDED * scale {
                self.faults.push(format!("supports contradict each other at node {node}"));
            }
            return;
        }
        let pivot = free.iamax();
        let side = free[pivot].signum();
        block.held[pivot] = true;
        block.value[pivot] = -side * (value - known) / length;
        // H = I - 2 v v' / v'v sends the pivot axis to -side * free / |free|.
        let mut v = free / length;
        v[pivot] += side;
        let reflect = Matrix6::identity() - v * v.transpose() * (2.0 / v.norm_squared());
        for follow in self.follow.iter_mut().filter(|f| f.block == block_idx) {
            let matrix = follow.matrix.as_deref().map_or(reflect, |g| g * reflect);
            follow.matrix = Some(Box::new(matrix));
        }
    }
}

/// Motion of a point at `arm` from the centre per motion (u, theta) of the centre.
#[must_use]
pub fn rigid(arm: &Vector3<f64>) -> Matrix6<f64> {
    let mut matrix = Matrix6::identity();
    // theta x arm = -[arm]x theta
    matrix.fixed_view_mut::<3, 3>(0, 3).copy_from(&-arm.cross_matrix());
    matrix
}

/// Index as stored; models stay far below four thousand million items.
pub(crate) fn index_u32(index: usize) -> u32 {
    u32::try_from(index).unwrap_or(u32::MAX)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn constraint_on_a_rigid_piece_is_met_by_every_motion_left() {
        let nodes = [[0.0, 0.0, 0.0], [2.0, 1.0, 0.5], [1.0, 3.0, -1.0]];
        let mut freedoms = Freedoms::free(3);
        let block = freedoms.tie(&nodes, &[1, 2], [0.3, 0.2, 0.1]);
        freedoms.hold(1, 2, 0.25);
        freedoms.hold(2, 0, -0.5);
        freedoms.hold(2, 4, 0.125);
        assert!(freedoms.faults.is_empty(), "{:?}", freedoms.faults);
        let held = &freedoms.blocks[block as usize];
        let mut q = Vector6::new(0.7, -0.3, 1.1, 0.4, -0.9, 0.2);
        for c in (0..6).filter(|&c| held.held[c]) {
            q[c] = held.value[c];
        }
        let moved = |node: usize| freedoms.follow[node].matrix.as_deref().map_or(q, |g| g * q);
        assert!((moved(1)[2] - 0.25).abs() < 1e-14, "w of node 1: {}", moved(1)[2]);
        assert!((moved(2)[0] + 0.5).abs() < 1e-14, "u of node 2: {}", moved(2)[0]);
        assert!((moved(2)[4] - 0.125).abs() < 1e-14, "ty of node 2: {}", moved(2)[4]);
        assert_eq!(held.held.iter().filter(|&&h| h).count(), 3, "three constraints hold three unknowns");
        let (a, b) = (moved(1), moved(2));
        let arm = Vector3::from(nodes[2]) - Vector3::from(nodes[1]);
        let theta = Vector3::new(a[3], a[4], a[5]);
        let gap = b.fixed_rows::<3>(0) - a.fixed_rows::<3>(0) - theta.cross(&arm);
        assert!(gap.norm() < 1e-14, "the piece stays rigid: {gap}");
    }

    #[test]
    fn contradicting_supports_are_reported() {
        let nodes = [[0.0, 0.0, 0.0], [1.0, 0.0, 0.0]];
        let mut freedoms = Freedoms::free(2);
        freedoms.tie(&nodes, &[0, 1], [0.0; 3]);
        freedoms.hold(0, 0, 0.0);
        freedoms.hold(1, 0, 0.0);
        assert!(freedoms.faults.is_empty(), "agreeing supports pass: {:?}", freedoms.faults);
        freedoms.hold(1, 0, 1e-3);
        assert_eq!(freedoms.faults.len(), 1, "{:?}", freedoms.faults);
    }

    #[test]
    fn holds_made_before_a_tie_carry_over() {
        let nodes = [[0.0, 0.0, 0.0], [1.0, 0.0, 0.0]];
        let mut freedoms = Freedoms::free(2);
        freedoms.clamp(0);
        let block = freedoms.tie(&nodes, &[0, 1], [5.0, 0.0, 0.0]);
        assert_eq!(freedoms.blocks[block as usize].held, [true; 6], "a clamped node clamps the piece");
    }
}
