//! `[circuit]` and `[drive]` → the current path from pad to pad.

use super::{Builder, mm, round};
use crate::board::{CurrentPath, Place, SupportKind};
use crate::coil::path::{JoinError, closing, join};
use crate::design::Design;
use crate::region::Point;
use std::ops::Range;

impl Builder<'_> {
    /// Joins the chain; whether its ends lie in a clamp is checked when the clamps are known.
    pub(super) fn circuit(&mut self, design: &Design) {
        let current = match &design.drive {
            Some(drive) => self.take(&drive.item.current).map(|a| a.0),
            None => Some(0.0),
        };
        let Some(circuit) = &design.circuit else {
            if let Some(drive) = &design.drive {
                self.faults.add(
                    &drive.span,
                    "a drive current without a path",
                    "add [circuit] with chain = [names of tracks and coils]",
                );
            }
            return;
        };
        if design.drive.is_none() {
            let place = self.faults.place(circuit.span.start);
            self.warn(
                place,
                "the circuit has no [drive]: no current flows",
                "add [drive] with current = \"50 mA\"",
            );
        }
        let mut legs = Vec::new();
        let mut complete = true;
        for name in &circuit.item.chain {
            let Some(wanted) = self.take(name) else { return };
            match self.links.get(&wanted) {
                Some(Some(leg)) => legs.push(leg.clone()),
                Some(None) => complete = false,
                None => {
                    let names: Vec<String> = self.links.keys().cloned().collect();
                    let known: Vec<&str> = names.iter().map(String::as_str).collect();
                    self.unknown(&name.span, "track or coil", &wanted, &known);
                    complete = false;
                }
            }
        }
        if circuit.item.chain.is_empty() {
            self.faults.add(
                &circuit.span,
                "the chain is empty",
                "name the tracks and coils from the + pad to the - pad",
            );
            return;
        }
        if !complete {
            return;
        }
        match join(&legs) {
            Ok(mut segments) => {
                segments.extend(closing(&segments));
                self.board.current = current.map(|current_a| CurrentPath { segments, current_a });
            }
            Err(error) => self.open_path(&error, &circuit.item.chain),
        }
    }

    fn open_path(&mut self, error: &JoinError, chain: &[crate::design::Given<String>]) {
        let (JoinError::Apart { first: blamed, .. } | JoinError::Empty { leg: blamed }) = error;
        // Where the ends do not meet, the second name of the pair is where the chain breaks.
        let blamed = match error {
            JoinError::Apart { second, .. } => second,
            JoinError::Empty { .. } => blamed,
        };
        let span =
            chain.iter().find(|n| n.value.as_ref().ok() == Some(blamed)).map_or(0..0, |n| n.span.clone());
        self.faults.add(&span, error.to_string(), "move one end onto the other, to within 10 um");
    }

    /// Both free ends of the path must lie in a clamp.
    pub(super) fn pads(&mut self, design: &Design) {
        if self.board.supports.len() < design.support.len() || design.support.is_empty() {
            // Without knowing all clamps nothing can be said about the pads.
            return;
        }
        let Some(circuit) = &design.circuit else { return };
        let Some(path) = &self.board.current else { return };
        let own = path.segments.iter().filter(|s| s.section_m2 > 0.0);
        let (Some(first), Some(last)) = (own.clone().next(), own.clone().next_back()) else { return };
        let ends = [("starts", first.from_m), ("ends", last.to_m)].map(|(verb, p)| (verb, [p[0], p[1]]));
        let chain = &circuit.item.chain;
        let spans = [chain.first(), chain.last()].map(|n| n.map_or(0..0, |n| n.span.clone()));
        for ((verb, at), span) in ends.into_iter().zip(spans) {
            self.pad(verb, at, &span);
        }
    }

    fn pad(&mut self, verb: &str, at: Point, span: &Range<usize>) {
        let clamps = self.board.supports.iter().filter(|s| matches!(s.kind, SupportKind::Clamp { .. }));
        let areas: Vec<_> = clamps
            .filter_map(|s| if let Place::Area(r) = &s.place { Some((s.name.clone(), r)) } else { None })
            .collect();
        if areas.iter().any(|(_, r)| r.contains(at)) {
            return;
        }
        let nearest = areas
            .iter()
            .map(|(name, r)| (r.distance_to_edge_m(at), name))
            .min_by(|a, b| a.0.total_cmp(&b.0))
            .map_or_else(String::new, |(d, name)| {
                format!("; the nearest clamp '{name}' is {} mm away", round(d * 1e3))
            });
        let rule = format!(
            "the current path is open: it {verb} at {}, which is not inside a clamp{nearest}",
            mm(at)
        );
        self.faults.add(
            span,
            rule,
            "lead the track to a pad inside a clamped shape: a pad that moves is no pad",
        );
    }
}
