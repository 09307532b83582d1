//! Before any matrix: indices in range, numbers finite, and every piece held against all six rigid motions.

use crate::assemble::place;
use crate::error::SolveError;
use crate::freedoms::{index_u32, rigid};
use crate::model::Model;
use nalgebra::{Matrix6, Vector3, Vector6};

/// Smallest over largest singular value of the supports' hold on a piece, squared.
const LOOSE: f64 = 1e-12;

/// Refuses a model whose parts do not fit together.
pub(crate) fn check(model: &Model) -> Result<(), SolveError> {
    let fault = |what: String, remedy: &str| Err(SolveError::Model { what, remedy: remedy.to_owned() });
    let n = model.nodes_m.len();
    let n_triangles = model.triangles.len();
    if n_triangles == 0 {
        return fault("the model has no triangles".to_owned(), "check the outline and the mesh");
    }
    if let Some(first) = model.freedoms.faults.first() {
        return fault(first.clone(), "remove one of the supports");
    }
    if model.freedoms.follow.len() != n {
        let what = format!("{} nodes but freedoms for {}", n, model.freedoms.follow.len());
        return fault(what, "give every node its freedoms");
    }
    let n_blocks = model.freedoms.blocks.len();
    if model.freedoms.follow.iter().any(|f| f.block as usize >= n_blocks) {
        return fault("a node follows a block that does not exist".to_owned(), "give every node a block");
    }
    if model.laminate_of.len() != n_triangles
        || (!model.axis_of.is_empty() && model.axis_of.len() != n_triangles)
    {
        return fault("the model lists of triangles differ in length".to_owned(), "one entry a triangle");
    }
    if let Some(i) = model.nodes_m.iter().position(|p| !p.iter().all(|x| x.is_finite())) {
        return fault(format!("node {i} has no finite position"), "check the outline");
    }
    if let Some(e) = model.triangles.iter().position(|t| t.iter().any(|&node| node as usize >= n)) {
        return fault(format!("triangle {e} names a node that does not exist"), "check the mesh");
    }
    if let Some(e) = model.laminate_of.iter().position(|&l| l as usize >= model.laminates.len()) {
        return fault(format!("triangle {e} names a laminate that does not exist"), "check the layers");
    }
    held(model)
}

/// Every connected piece must be held against translation and rotation.
fn held(model: &Model) -> Result<(), SolveError> {
    let piece = pieces(model);
    let mut loose = Vec::new();
    let mut members: Vec<Vec<u32>> = vec![Vec::new(); model.nodes_m.len()];
    for (node, &root) in piece.iter().enumerate() {
        members[root as usize].push(index_u32(node));
    }
    for nodes in members.iter().filter(|nodes| !nodes.is_empty()) {
        if let Some(motion) = loose_motion(model, nodes) {
            loose.push((nodes, motion));
        }
    }
    let Some((nodes, motion)) = loose.first() else { return Ok(()) };
    let mut what = match nodes.as_slice() {
        [node] => {
            format!("node {node} at {}, which no triangle uses,", place(&model.nodes_m[*node as usize]))
        }
        _ => format!("the piece of {} nodes around {} ({motion})", nodes.len(), place(&middle(model, nodes))),
    };
    if loose.len() > 1 {
        what = format!("{what} (and {} more)", loose.len() - 1);
    }
    Err(SolveError::NotHeld { what })
}

/// Root node of each node's connected piece: joined by triangles and by rigid ties.
fn pieces(model: &Model) -> Vec<u32> {
    let mut root: Vec<u32> = (0..index_u32(model.nodes_m.len())).collect();
    let find = |root: &mut Vec<u32>, mut node: u32| {
        while root[node as usize] != node {
            root[node as usize] = root[root[node as usize] as usize];
            node = root[node as usize];
        }
        node
    };
    let join = |root: &mut Vec<u32>, a: u32, b: u32| {
        let (a, b) = (find(root, a), find(root, b));
        root[a.max(b) as usize] = a.min(b);
    };
    for &[a, b, c] in &model.triangles {
        join(&mut root, a, b);
        join(&mut root, b, c);
    }
    let mut first_of = vec![u32::MAX; model.freedoms.blocks.len()];
    for (node, follow) in (0u32..).zip(&model.freedoms.follow) {
        let first = &mut first_of[follow.block as usize];
        if *first == u32::MAX {
            *first = node;
        } else {
            join(&mut root, *first, node);
        }
    }
    (0..index_u32(root.len())).map(|node| find(&mut root, node)).collect()
}

fn middle(model: &Model, nodes: &[u32]) -> [f64; 3] {
    let sum: Vector3<f64> = nodes.iter().map(|&n| Vector3::from(model.nodes_m[n as usize])).sum();
    #[expect(clippy::cast_precision_loss, reason = "node counts are far below 2^52")]
    let count = nodes.len() as f64;
    (sum / count).into()
}

/// A rigid motion that the supports leave to these nodes, in words; None if held.
fn loose_motion(model: &Model, nodes: &[u32]) -> Option<String> {
    let centre = Vector3::from(middle(model, nodes));
    let arm = |n: u32| Vector3::from(model.nodes_m[n as usize]) - centre;
    let size = nodes.iter().map(|&n| arm(n).norm()).fold(0.0, f64::max);
    let size = if size > 0.0 { size } else { 1.0 };
    let mut gram = Matrix6::zeros();
    let mut seen = Vec::new();
    for &node in nodes {
        let follow = &model.freedoms.follow[node as usize];
        let block = &model.freedoms.blocks[follow.block as usize];
        let shared = follow.block != node;
        if !block.held.contains(&true) || (shared && seen.contains(&follow.block)) {
            continue;
        }
        if shared {
            seen.push(follow.block);
        }
        let mut motion = rigid(&arm(node));
        for i in 0..6 {
            for j in 0..3 {
                motion[(i, j)] *= size;
            }
        }
        let Some(back) = follow.matrix.as_deref().map_or(Some(Matrix6::identity()), |g| g.try_inverse())
        else {
            continue;
        };
        let rows = back * motion;
        for c in (0..6).filter(|&c| block.held[c]) {
            let row = rows.row(c).normalize();
            gram += row.transpose() * row;
        }
    }
    let eigen = gram.symmetric_eigen();
    let smallest = eigen.eigenvalues.imin();
    let loose = eigen.eigenvalues[smallest] <= LOOSE * eigen.eigenvalues.max();
    loose.then(|| words(&eigen.eigenvectors.column(smallest).into_owned()))
}

fn words(motion: &Vector6<f64>) -> String {
    let shift = motion.fixed_rows::<3>(0).into_owned();
    let turn = motion.fixed_rows::<3>(3).into_owned();
    let (verb, axis) =
        if turn.norm() >= shift.norm() { ("turn about", turn) } else { ("slide along", shift) };
    let axis = axis / axis.norm();
    format!("free to {verb} ({:.2}, {:.2}, {:.2})", axis[0] + 0.0, axis[1] + 0.0, axis[2] + 0.0)
}
