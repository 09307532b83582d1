//! What may be claimed, in which units, and where the program's value is read.

use crate::beam::answer::BeamAnswer;
use crate::hand::ShellFacts;
use copperbend_mesh::board::Board;
use std::f64::consts::PI;

/// Kind of unit.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Kind {
    /// Angle.
    Angle,
    /// Length.
    Length,
    /// Bending or twisting stiffness.
    Stiffness,
    /// Force per displacement.
    Spring,
    /// Moment per angle.
    Torsional,
    /// Frequency.
    Frequency,
    /// Strain.
    Strain,
    /// Resistance.
    Resistance,
    /// Force per current.
    ForceConstant,
    /// Torque per current.
    TorqueConstant,
    /// Angle per current.
    AngleConstant,
}

/// Unit text and its size in SI.
type Unit = (&'static str, f64);

impl Kind {
    /// SI unit.
    #[must_use]
    pub const fn si(self) -> &'static str {
        match self {
            Self::Angle => "rad",
            Self::Length => "m",
            Self::Stiffness => "N m2",
            Self::Spring => "N/m",
            Self::Torsional => "N m/rad",
            Self::Frequency => "Hz",
            Self::Strain => "1",
            Self::Resistance => "ohm",
            Self::ForceConstant => "N/A",
            Self::TorqueConstant => "N m/A",
            Self::AngleConstant => "rad/A",
        }
    }

    /// Name for messages.
    #[must_use]
    pub const fn noun(self) -> &'static str {
        match self {
            Self::Angle => "an angle",
            Self::Length => "a length",
            Self::Stiffness => "a bending or twisting stiffness",
            Self::Spring => "a force per displacement",
            Self::Torsional => "a moment per angle",
            Self::Frequency => "a frequency",
            Self::Strain => "a strain",
            Self::Resistance => "a resistance",
            Self::ForceConstant => "a force per current",
            Self::TorqueConstant => "a torque per current",
            Self::AngleConstant => "an angle per current",
        }
    }

    /// Units that are read.
    #[must_use]
    pub const fn units(self) -> &'static [Unit] {
        match self {
            Self::Angle => &[("rad", 1.0), ("mrad", 1e-3), ("deg", PI / 180.0)],
            Self::Length => &[("m", 1.0), ("mm", 1e-3), ("um", 1e-6), ("mil", 25.4e-6), ("in", 25.4e-3)],
            Self::Stiffness => &[("N m2", 1.0), ("N mm2", 1e-6), ("nN m2", 1e-9), ("uN m2", 1e-6)],
            Self::Spring => &[("N/m", 1.0), ("mN/mm", 1.0), ("N/mm", 1e3), ("mN/m", 1e-3)],
            Self::Torsional => &[
                ("N m/rad", 1.0),
                ("uN m/rad", 1e-6),
                ("mN m/rad", 1e-3),
                ("N mm/rad", 1e-3),
                ("uN m/deg", 1e-6 * 180.0 / PI),
            ],
            Self::Frequency => &[("Hz", 1.0), ("kHz", 1e3), ("rad/s", 0.5 / PI)],
            Self::Strain => &[("1", 1.0), ("%", 1e-2), ("um/m", 1e-6), ("microstrain", 1e-6), ("ppm", 1e-6)],
            Self::Resistance => &[("ohm", 1.0), ("mohm", 1e-3), ("kohm", 1e3)],
            Self::ForceConstant => &[("N/A", 1.0), ("mN/A", 1e-3), ("uN/mA", 1e-3)],
            Self::TorqueConstant => &[("N m/A", 1.0), ("uN m/A", 1e-6), ("mN m/A", 1e-3), ("uN m/mA", 1e-3)],
            Self::AngleConstant => {
                &[("rad/A", 1.0), ("mrad/mA", 1.0), ("deg/A", PI / 180.0), ("deg/mA", 1e3 * PI / 180.0)]
            }
        }
    }

    /// Every kind.
    pub(super) const ALL: [Self; 11] = [
        Self::Angle,
        Self::Length,
        Self::Stiffness,
        Self::Spring,
        Self::Torsional,
        Self::Frequency,
        Self::Strain,
        Self::Resistance,
        Self::ForceConstant,
        Self::TorqueConstant,
        Self::AngleConstant,
    ];
}

/// Something that may be claimed.
#[derive(Debug, Clone, Copy)]
pub struct Quantity {
    /// Name as written in a claim.
    pub name: &'static str,
    /// Kind of its unit.
    pub kind: Kind,
    beam: fn(&BeamAnswer) -> Option<f64>,
    shell: fn(&ShellFacts) -> Option<f64>,
}

impl PartialEq for Quantity {
    fn eq(&self, other: &Self) -> bool {
        self.name == other.name
    }
}

impl Quantity {
    /// By the beam.
    pub(super) fn beam(&self, a: &BeamAnswer) -> Option<f64> {
        (self.beam)(a)
    }

    /// By the shell.
    pub(super) fn shell(&self, s: &ShellFacts) -> Option<f64> {
        (self.shell)(s)
    }

    /// From the current path alone.
    pub(super) fn board(&self, board: &Board) -> Option<f64> {
        if self.name == "resistance" { crate::lorentz::board_resistance_ohm(board) } else { None }
    }
}

const fn quantity(
    name: &'static str,
    kind: Kind,
    beam: fn(&BeamAnswer) -> Option<f64>,
    shell: fn(&ShellFacts) -> Option<f64>,
) -> Quantity {
    Quantity { name, kind, beam, shell }
}

fn kind_hz(list: &[crate::beam::answer::BeamFrequency], kind: &str) -> Option<f64> {
    list.iter().find(|f| f.kind == kind).map(|f| f.frequency_hz)
}

/// Everything that may be claimed.
pub static QUANTITIES: [Quantity; 16] = [
    quantity("flap angle", Kind::Angle, |a| a.flap_angle_rad, |s| s.angle_rad),
    quantity("roll angle", Kind::Angle, |a| a.roll_angle_rad, |s| s.roll_rad),
    quantity(
        "tip lift",
        Kind::Length,
        |a| a.flap_angle_rad.is_none().then_some(a.tip_m[2]),
        |s| s.angle_rad.is_none().then_some(s.tip_lift_m),
    ),
    quantity("neutral plane", Kind::Length, |a| Some(a.section[1]), |_| None),
    quantity("bending stiffness", Kind::Stiffness, |a| Some(a.section[0]), |_| None),
    quantity("twisting stiffness", Kind::Stiffness, |a| Some(a.twisting_nm2), |_| None),
    quantity("force per lift", Kind::Spring, |a| Some(a.force_n_per_m), |s| s.force_n_per_m),
    quantity("moment per flap angle", Kind::Torsional, |a| a.moment_nm_per_rad, |s| s.moment_nm_per_rad),
    quantity("moment per roll", Kind::Torsional, |a| a.roll_nm_per_rad, |s| s.roll_nm_per_rad),
    quantity(
        "swing frequency",
        Kind::Frequency,
        |a| kind_hz(&a.frequencies, "swing"),
        |s| kind_hz(&s.frequencies, "swing"),
    ),
    quantity(
        "roll frequency",
        Kind::Frequency,
        |a| kind_hz(&a.frequencies, "roll"),
        |s| kind_hz(&s.frequencies, "roll"),
    ),
    quantity(
        "copper strain",
        Kind::Strain,
        |a| a.strains.first().map(|s| s.strain.abs()),
        |s| s.worst_strain,
    ),
    quantity("resistance", Kind::Resistance, |_| None, |_| None),
    quantity(
        "force per ampere",
        Kind::ForceConstant,
        |a| a.force_per_ampere_n.map(|f| f[2]),
        |s| s.force_per_ampere_n,
    ),
    quantity(
        "torque per ampere",
        Kind::TorqueConstant,
        |a| a.torque_per_ampere_nm,
        |s| s.torque_per_ampere_nm,
    ),
    quantity("angle per ampere", Kind::AngleConstant, |a| a.angle_per_ampere_rad, |s| s.angle_per_ampere_rad),
];
