//! `[swing]` and `[[obstacle]]` → wishes and solids.

use super::{Builder, round};
use crate::board::{MagnetShape, Obstacle, ObstacleShape, SwingWishes};
use crate::coil::clearance::obstacle_distance_m;
use crate::design::{self, Design, Placed, Wanted};
use crate::quantity::{Angle, Current, Length};

/// Largest flap angle that can be prescribed, rad: beyond it a flap angle no longer tells one pose.
const MOST_RAD: f64 = 150.0 * std::f64::consts::PI / 180.0;

/// Most prescribed angles.
const MOST_ANGLES: f64 = 200.0;

impl Builder<'_> {
    /// Wishes about the swing.
    pub(super) fn swing(&mut self, design: &Design) {
        let Some(placed) = &design.swing else { return };
        let s = &placed.item;
        let off = self.take_opt(s.off.as_ref());
        let steps = self.count(s.steps.as_ref(), "steps", [1, 40]);
        let current_a = self.in_range(s.current.as_ref(), "current", |a: Current| a.0, [1e-9, 1e3]);
        let angles_rad = s.angles.as_ref().and_then(|a| self.swing_angles(a));
        let default = SwingWishes::default();
        self.board.swing = SwingWishes {
            off: off.flatten().unwrap_or(false),
            current_a,
            steps: steps.unwrap_or(default.steps),
            angles_rad,
        };
    }

    /// From, to and step of the prescribed angles, rad.
    fn swing_angles(&mut self, a: &design::SwingAngles) -> Option<[f64; 3]> {
        let from = self.in_range(Some(&a.from), "from", |a: Angle| a.0, [-MOST_RAD, 0.0]);
        let to = self.in_range(Some(&a.to), "to", |a: Angle| a.0, [0.0, MOST_RAD]);
        let step = self.in_range(Some(&a.step), "step", |a: Angle| a.0, [1e-4, MOST_RAD]);
        let (from, to, step) = (from?, to?, step?);
        if to - from <= 0.0 {
            self.faults.add(&a.to.span, "`from` and `to` are both 0: no angle to prescribe", Angle::wanted());
            return None;
        }
        if (to - from) / step > MOST_ANGLES {
            self.faults.add(
                &a.step.span,
                format!("more than {MOST_ANGLES} angles between `from` and `to`"),
                "take a larger step",
            );
            return None;
        }
        Some([from, to, step])
    }

    /// All obstacles.
    pub(super) fn obstacles(&mut self, list: &[Placed<design::Obstacle>]) {
        let mut names: Vec<String> = self.board.magnets.iter().map(|m| m.name.clone()).collect();
        for placed in list {
            let Some(name) = self.fresh_name(&placed.item.name, "obstacle", &names) else { continue };
            names.push(name.clone());
            if let Some(shape) = self.obstacle_shape(placed, &name) {
                let obstacle = Obstacle { name, shape };
                self.obstacle_apart(&placed.item, &obstacle);
                self.board.obstacles.push(obstacle);
            }
        }
    }

    fn obstacle_shape(&mut self, placed: &Placed<design::Obstacle>, name: &str) -> Option<ObstacleShape> {
        let o = &placed.item;
        let si = |l: Length| l.0;
        let solid = match (&o.disc, &o.block, &o.plane) {
            (Some(d), None, None) => {
                let diameter = self.positive(&d.diameter, "a diameter", si);
                let height = self.positive(&d.height, "a height", si);
                MagnetShape::Disc { diameter_m: diameter?, height_m: height? }
            }
            (None, Some(b), None) => MagnetShape::Block { sides_m: self.block_sides(b)? },
            (None, None, Some(plane)) => {
                let placed = o.centre.as_ref().map(|c| c.span.clone());
                let turned = o.tilt.as_ref().and_then(|t| {
                    [&t.about_x, &t.about_y, &t.about_z].into_iter().flatten().next().map(|a| a.span.clone())
                });
                if let Some(span) = placed.or(turned) {
                    self.faults.add(
                        &span,
                        "a plane has neither centre nor tilt: it lies parallel to the board",
                        "give its height only, or use a block",
                    );
                    return None;
                }
                let height_m = self.take(&plane.height)?.0;
                return self.obstacle_plane(height_m, &plane.height.span);
            }
            _ => {
                self.faults.add(
                    &placed.span,
                    format!("obstacle `{name}` needs exactly one shape"),
                    "give one of: disc, block, plane",
                );
                return None;
            }
        };
        let rotation = self.tilt(o.tilt.as_ref());
        let Some(centre) = &o.centre else {
            self.faults.add(
                &placed.span,
                format!("obstacle `{name}` has no place"),
                "add centre = [\"x\", \"y\", \"z\"]",
            );
            return None;
        };
        let centre_m = self.take(centre)?.map(|l| l.0);
        Some(ObstacleShape::Solid { shape: solid, centre_m, rotation: rotation? })
    }

    fn obstacle_plane(&mut self, height_m: f64, span: &std::ops::Range<usize>) -> Option<ObstacleShape> {
        let [low, high] = self.highest_and_lowest()?;
        let slack = 1e-9;
        let up = if height_m <= low + slack {
            1.0
        } else if height_m >= high - slack {
            -1.0
        } else {
            self.faults.add(
                span,
                format!("the plane at {} mm cuts the board", round(height_m * 1e3)),
                format!("the board reaches from {} to {} mm", round(low * 1e3), round(high * 1e3)),
            );
            return None;
        };
        Some(ObstacleShape::Plane { height_m, up })
    }

    /// No obstacle inside the board at rest.
    fn obstacle_apart(&mut self, written: &design::Obstacle, obstacle: &Obstacle) {
        if !matches!(obstacle.shape, ObstacleShape::Solid { .. }) {
            return;
        }
        if let Some(at) = self.first_on_board(|p| obstacle_distance_m(obstacle, p) < -1e-9) {
            let span = written.centre.as_ref().map_or(0..0, |c| c.span.clone());
            self.faults.add(
                &span,
                format!("obstacle '{}' reaches into the board at {}", obstacle.name, super::mm(at)),
                "move the obstacle away from the board; z = 0 is the lower face of the base film",
            );
        }
    }
}
