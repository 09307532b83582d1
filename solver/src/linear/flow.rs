//! Smallest set of blocks between two halves: maximum flow of block-disjoint paths through a free band.
//!
//! Each block of the band is split in two states, entered and left, joined by one unit of capacity. Paths run
//! from the fixed left half to the fixed right half; the blocks where the flow is tight are the cut. Both the
//! cut nearest the left half and the one nearest the right are reported: they are the same whichever paths are found.
//!
//! Paths are found depth first, in passes that visit a state once (Pothen and Fan 1990, from memory), towards the right
//! half first: straight paths leave room for more.

use super::dissect::Side;
use super::order::Graph;

/// No member: the path comes from the left half, or leads to the right half.
const NONE: u32 = u32::MAX;

/// The free band and the flow through it.
pub(super) struct Band {
    sides: Vec<Side>,
    /// Block of each band member.
    members: Vec<u32>,
    /// Neighbours inside the band, as band members, those nearest to the right half first.
    start: Vec<u32>,
    inside: Vec<u32>,
    touches_left: Vec<bool>,
    touches_right: Vec<bool>,
    /// Member carries a unit of flow.
    used: Vec<bool>,
    /// Member it comes from and member it goes to.
    from: Vec<u32>,
    to: Vec<u32>,
}

impl Band {
    /// `sides`: fixed halves, [`Side::Cut`] for the free band. None if the halves touch, so that no cut in the
    /// band separates them.
    pub(super) fn new(graph: &Graph, sides: &[Side]) -> Option<Self> {
        let mut member = vec![NONE; sides.len()];
        let mut members = Vec::new();
        for (i, side) in (0u32..).zip(sides) {
            match side {
                Side::Cut => {
                    member[i as usize] = super::factor::as_u32(members.len());
                    members.push(i);
                }
                Side::Left => {
                    if graph.of(i as usize).iter().any(|&j| sides[j as usize] == Side::Right) {
                        return None;
                    }
                }
                Side::Right => {}
            }
        }
        let mut start = vec![0];
        let mut inside = Vec::new();
        for &i in &members {
            inside.extend(graph.of(i as usize).iter().map(|&j| member[j as usize]).filter(|&j| j != NONE));
            start.push(super::factor::as_u32(inside.len()));
        }
        let touching = |side: Side| -> Vec<bool> {
            let at = |&i: &u32| graph.of(i as usize).iter().any(|&j| sides[j as usize] == side);
            members.iter().map(at).collect()
        };
        let (touches_left, touches_right) = (touching(Side::Left), touching(Side::Right));
        let n = members.len();
        let far = steps_to(&touches_right, &start, &inside);
        for of in start.windows(2) {
            inside[of[0] as usize..of[1] as usize].sort_by_key(|&m| far[m as usize]);
        }
        Some(Self {
            sides: sides.to_vec(),
            members,
            start,
            inside,
            touches_left,
            touches_right,
            used: vec![false; n],
            from: vec![NONE; n],
            to: vec![NONE; n],
        })
    }

    /// The two extreme smallest cuts.
    pub(super) fn cuts(mut self) -> [Vec<Side>; 2] {
        loop {
            let (reached, found) = self.augment();
            if !found {
                return [self.nearest_left(&reached), self.nearest_right()];
            }
        }
    }

    fn neighbours(&self, member: usize) -> &[u32] {
        &self.inside[self.start[member] as usize..self.start[member + 1] as usize]
    }

    fn n_arcs(&self, state: usize) -> usize {
        if state.is_multiple_of(2) { 1 } else { 1 + self.neighbours(state / 2).len() }
    }

    /// The k-th way out of a state (2 m entered, 2 m + 1 left), if capacity remains.
    fn arc(&self, state: usize, k: usize) -> Option<usize> {
        let m = state / 2;
        match (state % 2, k) {
            // Entered: through the block if it is unused, else back against the flow that enters it.
            (0, _) if !self.used[m] => Some(2 * m + 1),
            (0, _) => (self.from[m] != NONE).then(|| 2 * self.from[m] as usize + 1),
            // Left: on to a neighbour, at last back through the block if it is used.
            _ => match self.neighbours(m).get(k) {
                Some(&next) => Some(2 * next as usize),
                None => self.used[m].then_some(2 * m),
            },
        }
    }

    /// One pass: pushes paths until no state that has not been visited leads on. Tells the states visited, which are
    /// all that capacity reaches if no path was found, and whether one was.
    fn augment(&mut self) -> (Vec<bool>, bool) {
        let mut visited = vec![false; 2 * self.members.len()];
        let mut next_arc = vec![0u32; visited.len()];
        let mut found = false;
        let mut path = Vec::new();
        for m in 0..self.members.len() {
            if !self.touches_left[m] || std::mem::replace(&mut visited[2 * m], true) {
                continue;
            }
            path.clear();
            path.push(2 * m);
            while let Some(&state) = path.last() {
                if state % 2 == 1 && self.touches_right[state / 2] {
                    self.push(&path);
                    found = true;
                    break;
                }
                let open = |&next: &usize| !visited[next];
                let mut arcs = next_arc[state] as usize..self.n_arcs(state);
                let way = arcs.find_map(|k| self.arc(state, k).filter(open).map(|next| (k, next)));
                if let Some((k, next)) = way {
                    next_arc[state] = super::factor::as_u32(k + 1);
                    visited[next] = true;
                    path.push(next);
                } else {
                    path.pop();
                }
            }
        }
        (visited, found)
    }

    /// Sends one unit along a path of states that starts at the left half and ends at the right one.
    fn push(&mut self, path: &[usize]) {
        self.from[path[0] / 2] = NONE;
        for step in path.windows(2) {
            let (a, b) = (step[0] / 2, step[1] / 2);
            match (step[0] % 2, a == b) {
                (0, true) => self.used[a] = true,
                // Back against the flow: the giver's next step replaces it.
                (0, false) => {}
                (_, true) => self.used[a] = false,
                (_, false) => {
                    self.to[a] = super::factor::as_u32(b);
                    self.from[b] = super::factor::as_u32(a);
                }
            }
        }
        if let Some(&last) = path.last() {
            self.to[last / 2] = NONE;
        }
    }

    /// Everything that capacity still reaches goes left.
    fn nearest_left(&self, reached: &[bool]) -> Vec<Side> {
        self.assigned(|m| match (reached[2 * m], reached[2 * m + 1]) {
            (false, _) => Side::Right,
            (true, false) => Side::Cut,
            (true, true) => Side::Left,
        })
    }

    /// Everything from which capacity still leads to the right half goes right.
    fn nearest_right(&self) -> Vec<Side> {
        let mut leads = vec![false; 2 * self.members.len()];
        let mut stack: Vec<usize> =
            (0..self.members.len()).filter(|&m| self.touches_right[m]).map(|m| 2 * m + 1).collect();
        for &state in &stack {
            leads[state] = true;
        }
        while let Some(state) = stack.pop() {
            let m = state / 2;
            let mut mark = |state: usize| {
                if !std::mem::replace(&mut leads[state], true) {
                    stack.push(state);
                }
            };
            if state.is_multiple_of(2) {
                self.neighbours(m).iter().for_each(|&y| mark(2 * y as usize + 1));
                if self.used[m] {
                    mark(2 * m + 1);
                }
            } else if !self.used[m] {
                mark(2 * m);
            } else if self.to[m] != NONE {
                mark(2 * self.to[m] as usize);
            }
        }
        self.assigned(|m| match (leads[2 * m], leads[2 * m + 1]) {
            (true, _) => Side::Right,
            (false, true) => Side::Cut,
            (false, false) => Side::Left,
        })
    }

    fn assigned(&self, side: impl Fn(usize) -> Side) -> Vec<Side> {
        let mut sides = self.sides.clone();
        for (m, &block) in self.members.iter().enumerate() {
            sides[block as usize] = side(m);
        }
        sides
    }
}

/// Steps from each member to the nearest of those marked, [`NONE`] without a way. `start`, `inside`: neighbours.
fn steps_to(marked: &[bool], start: &[u32], inside: &[u32]) -> Vec<u32> {
    let mut far: Vec<u32> = marked.iter().map(|&near| if near { 0 } else { NONE }).collect();
    let mut queue: Vec<u32> = (0u32..).zip(marked).filter(|(_, near)| **near).map(|(m, _)| m).collect();
    let mut next = 0;
    while let Some(&m) = queue.get(next) {
        next += 1;
        for &y in &inside[start[m as usize] as usize..start[m as usize + 1] as usize] {
            if far[y as usize] == NONE {
                far[y as usize] = far[m as usize] + 1;
                queue.push(y);
            }
        }
    }
    far
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Size of the smallest separating set by trying all subsets of the band.
    fn smallest(graph: &Graph, sides: &[Side]) -> u32 {
        let band: Vec<usize> = (0..sides.len()).filter(|&i| sides[i] == Side::Cut).collect();
        let separates = |removed: u32| {
            let gone = |i: usize| band.iter().position(|&b| b == i).is_some_and(|k| removed >> k & 1 == 1);
            let mut stack: Vec<usize> = (0..sides.len()).filter(|&i| sides[i] == Side::Left).collect();
            let mut seen = vec![false; sides.len()];
            while let Some(i) = stack.pop() {
                if std::mem::replace(&mut seen[i], true) {
                    continue;
                }
                if sides[i] == Side::Right {
                    return false;
                }
                stack.extend(graph.of(i).iter().map(|&j| j as usize).filter(|&j| !gone(j)));
            }
            true
        };
        (0..1u32 << band.len()).filter(|&set| separates(set)).map(u32::count_ones).min().unwrap()
    }

    #[test]
    fn cut_is_the_smallest_and_separates() {
        let mut seed = 7u32;
        let mut draw = |n: u32| {
            seed = seed.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
            (seed >> 16) % n
        };
        for round in 0..60 {
            // Left 0..4, band 4..16, right 16..20; no edges from left to right.
            let n = 20;
            let mut edges = Vec::new();
            for _ in 0..30 + draw(25) {
                let (a, b) = (draw(16), draw(16) + 4);
                if a != b && !(a < 4 && b >= 16) {
                    edges.extend([(a, b), (b, a)]);
                }
            }
            edges.sort_unstable();
            edges.dedup();
            let start =
                (0..=n).map(|i| u32::try_from(edges.iter().filter(|e| e.0 < i).count()).unwrap()).collect();
            let graph = Graph { start, neighbours: edges.iter().map(|e| e.1).collect() };
            let sides: Vec<Side> = (0..n)
                .map(|i| match i {
                    0..4 => Side::Left,
                    4..16 => Side::Cut,
                    _ => Side::Right,
                })
                .collect();
            let least = smallest(&graph, &sides);
            for cut in Band::new(&graph, &sides).unwrap().cuts() {
                let size = cut.iter().filter(|s| **s == Side::Cut).count();
                assert_eq!(size, least as usize, "round {round}: size of the cut");
                for i in 0..n as usize {
                    let crosses = |&j: &u32| cut[i] == Side::Left && cut[j as usize] == Side::Right;
                    assert!(!graph.of(i).iter().any(crosses), "round {round}: an edge crosses the cut");
                }
            }
        }
    }
}
