//! Elimination order on the block graph: minimum degree or dissection, judged by the work they lead to.

use super::LinearError;
use super::dissect;
use super::tree::Tree;
use faer::dyn_stack::{MemBuffer, MemStack};
use faer::sparse::SymbolicSparseColMatRef;
use faer::sparse::linalg::amd;

/// Undirected graph of blocks: the neighbours of block i are `neighbours[start[i]..start[i + 1]]`, ascending,
/// without i itself.
#[derive(Debug, Clone, Default)]
pub struct Graph {
    /// First neighbour of each block; one entry more than blocks.
    pub start: Vec<u32>,
    /// Neighbours of all blocks.
    pub neighbours: Vec<u32>,
}

impl Graph {
    /// Number of blocks.
    #[must_use]
    pub fn len(&self) -> usize {
        self.start.len().saturating_sub(1)
    }

    /// True without any block.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.len() == 0
    }

    /// Neighbours of one block, ascending.
    #[must_use]
    pub fn of(&self, block: usize) -> &[u32] {
        &self.neighbours[self.start[block] as usize..self.start[block + 1] as usize]
    }
}

/// Multiplications per block above which a dissection pays for itself within one factorisation.
const WORTH: f64 = 1e5;

/// Blocks from which both orders are made at once, whether the second pays or not.
const TOGETHER: usize = 20_000;

/// Order (position to block) and its elimination tree: minimum degree, or dissection where that leaves less work.
///
/// `sizes`: unknowns per block. `places`: their positions.
pub(super) fn best(
    graph: &Graph,
    sizes: &[u8],
    places: &[[f64; 3]],
) -> Result<(Vec<u32>, Tree), LinearError> {
    let degree = || minimum_degree(graph).map(|order| Tree::postordered(graph, sizes, order));
    let dissected = || dissect::order(graph, places).map(|order| Tree::postordered(graph, sizes, order));
    let (degree, dissected) = if graph.len() < TOGETHER {
        let degree = degree()?;
        #[expect(clippy::cast_precision_loss, reason = "counts are far below 2^52")]
        if degree.1.work < WORTH * graph.len() as f64 {
            return Ok(degree);
        }
        (degree, dissected()?)
    } else {
        let (degree, dissected) = rayon::join(degree, dissected);
        (degree?, dissected?)
    };
    Ok(if dissected.1.work < degree.1.work { dissected } else { degree })
}

/// Approximate minimum degree on the graph (Amestoy, Davis, Duff 1996).
pub(super) fn minimum_degree(graph: &Graph) -> Result<Vec<u32>, LinearError> {
    let n = graph.len();
    let mut forward = vec![0u32; n];
    let mut inverse = vec![0u32; n];
    let pattern = SymbolicSparseColMatRef::new_checked(n, n, &graph.start, None, &graph.neighbours);
    let request = amd::order_scratch::<u32>(n, graph.neighbours.len());
    let mut memory = MemBuffer::try_new(request).map_err(|_| LinearError::OutOfMemory)?;
    amd::order(&mut forward, &mut inverse, pattern, amd::Control::default(), MemStack::new(&mut memory))
        .map_err(|_| LinearError::TooLarge)?;
    Ok(forward)
}
