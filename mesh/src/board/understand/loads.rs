//! Forces, pressures, moments, gravity, temperatures, mesh wishes and limits.

use super::{Builder, ROOM_DEGC, round};
use crate::board::{Limits, Load, Place};
use crate::design::{Design, Given, Wanted};
use crate::quantity::{Angle, Current, Length, Power, Share};

/// Working temperatures at which values near room temperature still serve, degC: rated range of polyimide flexible
/// circuits with acrylic or epoxy adhesive, and the highest working temperature of magnet grades without a suffix as
/// makers list them (both from memory).
const USUAL_DEGC: std::ops::RangeInclusive<f64> = -55.0..=105.0;

/// Standard gravity, m/s2 (exact by definition).
const STANDARD_GRAVITY_M_S2: f64 = 9.806_65;

impl Builder<'_> {
    /// `[temperature]`: needed early, for tapes.
    pub(super) fn temperatures(&mut self, design: &Design) {
        let Some(t) = &design.temperature else { return };
        let working = self.take_opt(t.item.working.as_ref()).flatten();
        let stress_free = self.take_opt(t.item.stress_free.as_ref()).flatten();
        for (given, value) in [(&t.item.working, working), (&t.item.stress_free, stress_free)] {
            if let (Some(given), Some(value)) = (given, value)
                && value.0 < -273.15
            {
                self.faults.add(&given.span, "below absolute zero", "check unit and sign");
            }
        }
        if let (Some(given), Some(value)) = (&t.item.working, working)
            && !USUAL_DEGC.contains(&value.0)
        {
            let place = self.faults.place(given.span.start);
            self.warn(
                place,
                format!(
                    "working at {} degC: moduli, expansions and remanences are those near room temperature; films hold \
                     theirs to about {} degC, adhesives less, and plain grades of rare-earth magnets lose strength for \
                     good above about 80 degC",
                    value.0, USUAL_DEGC.end()
                ),
                "check unit and value, or give materials and remanence for that temperature",
            );
        }
        self.board.temperature_degc = working.map_or(ROOM_DEGC, |t| t.0);
        self.board.locked_in.stress_free_degc = stress_free.map(|t| t.0);
    }

    /// Forces, pressures, moments and gravity.
    pub(super) fn loads(&mut self, design: &Design) {
        let mut names = Vec::new();
        for placed in &design.force {
            let f = &placed.item;
            let name = self.fresh_name(&f.name, "load", &names);
            names.extend(name.clone());
            let place = self.place(&f.name, f.shape.as_ref(), f.line.as_ref(), f.point.as_ref());
            let force = self.take(&f.force);
            if let (Some(name), Some(place), Some(force)) = (name, place, force) {
                self.board.loads.push(Load::Force { name, place, force_n: force.map(|f| f.0) });
            }
        }
        for placed in &design.pressure {
            let p = &placed.item;
            let name = self.fresh_name(&p.name, "load", &names);
            names.extend(name.clone());
            let place = self.place(&p.name, Some(&p.shape), None, None);
            let pressure = self.take(&p.pressure);
            if let (Some(name), Some(place), Some(pressure)) = (name, place, pressure) {
                self.board.loads.push(Load::Pressure { name, place, pressure_pa: pressure.0 });
            }
        }
        for placed in &design.moment {
            let m = &placed.item;
            let name = self.fresh_name(&m.name, "load", &names);
            names.extend(name.clone());
            let place = self.place(&m.name, None, m.line.as_ref(), m.point.as_ref());
            let moment = self.take(&m.moment);
            if let (Some(name), Some(place), Some(moment)) = (name, place, moment) {
                self.board.loads.push(Load::Moment { name, place, moment_nm: moment.map(|m| m.0) });
            }
        }
        self.gravity(design);
    }

    fn gravity(&mut self, design: &Design) {
        let Some(placed) = &design.gravity else { return };
        let g = &placed.item;
        match (&g.direction, &g.acceleration) {
            (Some(direction), None) => {
                if let Some(d) = self.direction(direction) {
                    self.board.gravity_m_s2 = d.map(|x| x * STANDARD_GRAVITY_M_S2);
                }
            }
            (None, Some(acceleration)) => {
                if let Some(a) = self.take(acceleration) {
                    self.board.gravity_m_s2 = a.map(|x| x.0);
                }
            }
            (None, None) if g.direction_at_assembly.is_some() => {}
            _ => self.faults.add(
                &placed.span,
                "[gravity] needs either `direction` or `acceleration`",
                "write direction = [0, 0, -1]",
            ),
        }
        if let Some(given) = &g.direction_at_assembly
            && let Some(d) = self.direction(given)
        {
            self.board.locked_in.gravity_at_assembly = Some(d.map(|x| x * STANDARD_GRAVITY_M_S2));
        }
    }

    /// `[mesh]` and `[limits]`.
    pub(super) fn wishes(&mut self, design: &Design) {
        if let Some(mesh) = &design.mesh {
            let m = &mesh.item;
            let wishes = self.board.mesh.clone();
            let mut new = wishes.clone();
            new.coarse_m = self.in_range(m.coarse.as_ref(), "coarse", |l: Length| l.0, [1e-6, 1.0]);
            new.fine_m = self.in_range(m.fine.as_ref(), "fine", |l: Length| l.0, [1e-6, 1.0]);
            new.growth = self
                .in_range(m.growth.as_ref(), "growth", |s: Share| s.0, [0.01, 2.0])
                .unwrap_or(wishes.growth);
            new.min_angle_rad = self
                .in_range(
                    m.min_angle.as_ref(),
                    "min_angle",
                    |a: Angle| a.0,
                    [10f64.to_radians(), 32f64.to_radians()],
                )
                .unwrap_or(wishes.min_angle_rad);
            new.tolerance = self
                .in_range(m.tolerance.as_ref(), "tolerance", |s: Share| s.0, [1e-6, 1.0])
                .unwrap_or(wishes.tolerance);
            new.across_arm =
                self.count(m.across_arm.as_ref(), "across_arm", [1, 200]).unwrap_or(wishes.across_arm);
            new.max_refinements = self
                .count(m.max_refinements.as_ref(), "max_refinements", [0, 30])
                .unwrap_or(wishes.max_refinements);
            new.max_triangles = self
                .count(m.max_triangles.as_ref(), "max_triangles", [10, 20_000_000])
                .unwrap_or(wishes.max_triangles);
            new.merge_thin = self.take_opt(m.merge_thin.as_ref()).flatten().unwrap_or(wishes.merge_thin);
            if let (Some(coarse), Some(fine), Some(given)) = (new.coarse_m, new.fine_m, &m.fine)
                && fine > coarse
            {
                self.faults.add(&given.span, "`fine` is larger than `coarse`", "swap them");
            }
            self.board.mesh = new;
        }
        if let Some(limits) = &design.limits {
            let l = &limits.item;
            self.board.limits = Limits {
                copper_strain: self.in_range(
                    l.copper_strain.as_ref(),
                    "copper_strain",
                    |s: Share| s.0,
                    [1e-9, 1.0],
                ),
                flap_angle_rad: self.in_range(
                    l.flap_angle.as_ref(),
                    "flap_angle",
                    |a: Angle| a.0,
                    [1e-6, 7.0],
                ),
                current_a: self.in_range(l.current.as_ref(), "current", |a: Current| a.0, [1e-9, 1e3]),
                power_w: self.in_range(l.power.as_ref(), "power", |p: Power| p.0, [1e-12, 1e6]),
            };
        }
    }

    pub(super) fn in_range<T: Wanted + Clone>(
        &mut self,
        given: Option<&Given<T>>,
        name: &str,
        si: fn(T) -> f64,
        range: [f64; 2],
    ) -> Option<f64> {
        let given = given?;
        let value = si(self.take(given)?);
        if range[0] <= value && value <= range[1] {
            return Some(value);
        }
        let rule = format!(
            "`{name}` is outside the range that makes sense ({:e} to {:e} in SI units)",
            range[0], range[1]
        );
        self.faults.add(&given.span, rule, T::wanted());
        None
    }

    pub(super) fn count(&mut self, given: Option<&Given<u32>>, name: &str, range: [u32; 2]) -> Option<u32> {
        let given = given?;
        let value = self.take(given)?;
        if range[0] <= value && value <= range[1] {
            return Some(value);
        }
        self.faults.add(
            &given.span,
            format!("`{name}` must lie between {} and {}", range[0], range[1]),
            u32::wanted(),
        );
        None
    }

    /// What moves the board, for the remark when nothing does.
    pub(super) fn is_loaded(&self) -> bool {
        let driven = self.board.current.as_ref().is_some_and(|c| c.current_a.abs() > 0.0)
            && !self.board.magnets.is_empty();
        let warm = self
            .board
            .locked_in
            .stress_free_degc
            .is_some_and(|t| (t - self.board.temperature_degc).abs() > 0.0)
            || !self.board.locked_in.stress_free_of.is_empty();
        let heavy = self.board.gravity_m_s2.iter().any(|g| g.abs() > 0.0)
            || self.board.locked_in.gravity_at_assembly.is_some();
        driven || warm || heavy || !self.board.loads.is_empty()
    }

    /// Remarks about drives without effect.
    pub(super) fn remark_loads(&mut self) {
        if self.board.current.as_ref().is_some_and(|c| c.current_a.abs() > 0.0)
            && self.board.magnets.is_empty()
        {
            self.warn(
                "[drive]",
                "a current flows but there is no magnet: no force on the coil",
                "add a [[magnet]]",
            );
        }
        let mounted = self.board.supports.iter().any(|s| {
            matches!(s.kind, crate::board::SupportKind::Clamp { rotation_rad, .. } if rotation_rad.abs() > 0.0)
        });
        if !self.is_loaded() && !mounted {
            self.warn(
                "the whole file",
                "nothing loads the board: all results are zero",
                "add a drive with a magnet, a force, gravity or a temperature",
            );
        }
        if self.board.gravity_m_s2.iter().map(|g| g * g).sum::<f64>().sqrt() > 100.0 * STANDARD_GRAVITY_M_S2 {
            let g = self.board.gravity_m_s2.iter().map(|g| g * g).sum::<f64>().sqrt() / STANDARD_GRAVITY_M_S2;
            self.warn("[gravity]", format!("an acceleration of {} g", round(g)), "check the unit");
        }
    }

    /// Area of a place, if it is one.
    pub(super) fn area_of(place: &Place) -> Option<&crate::region::Region> {
        match place {
            Place::Area(region) => Some(region),
            Place::Line(_) | Place::Point(_) => None,
        }
    }
}
