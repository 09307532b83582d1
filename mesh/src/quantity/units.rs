//! The table of known units, one constant per dimension.

/// Thickness of one ounce of copper per square foot as the trade rounds it, m.
pub const METRES_PER_COPPER_OUNCE: f64 = 35.0 / 1e6;

/// One unit: its spellings after normalisation and how it becomes SI.
///
/// SI value = number * `times` / `over` + `plus`. Division by a power of ten keeps round numbers round
/// (25 um read as 25 * 1e-6 is 2.4999999999999998e-5; 25 / 1e6 is the nearest number to 2.5e-5).
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Unit {
    /// First spelling is the one shown to the user; the others are accepted too.
    pub(super) shown: &'static str,
    pub(super) also: &'static [&'static str],
    pub(super) times: f64,
    pub(super) over: f64,
    pub(super) plus: f64,
}

/// A physical dimension with the units that the design file knows.
#[derive(Debug, Clone, PartialEq)]
pub struct Dimension {
    /// With its article: "a length".
    pub noun: &'static str,
    /// An example with unit.
    pub example: &'static str,
    /// Whether a number without a unit is allowed.
    pub bare: bool,
    /// Example of such a number (empty where not allowed).
    pub example_bare: &'static str,
    pub(super) units: &'static [Unit],
}

impl Dimension {
    /// The units as shown to the user, separated by commas.
    #[must_use]
    pub fn known_units(&self) -> String {
        let names: Vec<&str> = self.units.iter().map(|u| u.shown).collect();
        names.join(", ")
    }
}

const fn unit(shown: &'static str, also: &'static [&'static str], times: f64, over: f64) -> Unit {
    Unit { shown, also, times, over, plus: 0.0 }
}

const fn dimension(noun: &'static str, example: &'static str, units: &'static [Unit]) -> Dimension {
    Dimension { noun, example, bare: false, example_bare: "", units }
}

const UM: Unit = unit("um", &["micron", "microns"], 1.0, 1e6);
const MM: Unit = unit("mm", &[], 1.0, 1e3);
const CM: Unit = unit("cm", &[], 1.0, 1e2);
const M: Unit = unit("m", &[], 1.0, 1.0);
// 1 in = 25.4 mm exactly (international inch).
const MIL: Unit = unit("mil", &["mils", "thou"], 254.0, 1e7);
const INCH: Unit = unit("in", &["inch", "inches"], 254.0, 1e4);
const OUNCE: Unit = unit("oz", &["oz/ft2"], 35.0, 1e6);

pub(super) const LENGTH: Dimension = dimension("a length", "18 um", &[UM, MM, CM, M, MIL, INCH]);

pub(super) const THICKNESS: Dimension = dimension("a thickness", "18 um", &[UM, MM, CM, M, MIL, INCH, OUNCE]);

pub(super) const COPPER_WEIGHT: Dimension =
    dimension("a copper weight", "0.5 oz", &[unit("oz", &["oz/ft2"], 1.0, 1.0)]);

pub(super) const CURRENT: Dimension = dimension(
    "a current",
    "120 mA",
    &[unit("A", &[], 1.0, 1.0), unit("mA", &[], 1.0, 1e3), unit("uA", &[], 1.0, 1e6)],
);

pub(super) const FLUX_DENSITY: Dimension = dimension(
    "a flux density",
    "1.30 T",
    // 1 G = 1e-4 T exactly.
    &[
        unit("T", &[], 1.0, 1.0),
        unit("mT", &[], 1.0, 1e3),
        unit("G", &[], 1.0, 1e4),
        unit("kG", &[], 1.0, 1e1),
    ],
);

pub(super) const TEMPERATURE: Dimension = dimension(
    "a temperature",
    "40 degC",
    &[
        unit("degC", &["C", "celsius"], 1.0, 1.0),
        Unit { shown: "K", also: &["kelvin"], times: 1.0, over: 1.0, plus: -273.15 },
    ],
);

pub(super) const TEMPERATURE_RISE: Dimension =
    dimension("a temperature difference", "20 K", &[unit("K", &["kelvin", "degC", "C"], 1.0, 1.0)]);

pub(super) const STRESS: Dimension = dimension(
    "a stress or modulus",
    "2.5 GPa",
    &[
        unit("Pa", &["N/m2"], 1.0, 1.0),
        unit("kPa", &[], 1e3, 1.0),
        unit("MPa", &["N/mm2"], 1e6, 1.0),
        unit("GPa", &["kN/mm2"], 1e9, 1.0),
        unit("bar", &[], 1e5, 1.0),
        // 1 psi = 1 lbf/in2 = 4.4482216152605 N / (0.0254 m)^2, both factors exact by definition.
        unit("psi", &[], 4.448_221_615_260_5, 0.000_645_16),
        unit("ksi", &[], 4_448.221_615_260_5, 0.000_645_16),
    ],
);

pub(super) const MASS: Dimension = dimension(
    "a mass",
    "120 mg",
    &[
        unit("kg", &[], 1.0, 1.0),
        unit("g", &[], 1.0, 1e3),
        unit("mg", &[], 1.0, 1e6),
        unit("ug", &[], 1.0, 1e9),
    ],
);

pub(super) const DENSITY: Dimension = dimension(
    "a density",
    "1420 kg/m3",
    &[unit("kg/m3", &["g/l"], 1.0, 1.0), unit("g/cm3", &["kg/l", "g/cc", "kg/dm3"], 1e3, 1.0)],
);

pub(super) const FORCE: Dimension = dimension(
    "a force",
    "1.5 mN",
    &[
        unit("N", &[], 1.0, 1.0),
        unit("mN", &[], 1.0, 1e3),
        unit("uN", &[], 1.0, 1e6),
        // Standard gravity 9.80665 m/s2 (exact by definition).
        unit("gf", &["gram-force"], 9.806_65, 1e3),
    ],
);

pub(super) const MOMENT: Dimension = dimension(
    "a moment",
    "5 uN m",
    &[
        unit("N m", &["Nm"], 1.0, 1.0),
        unit("mN m", &["mNm", "Nmm"], 1.0, 1e3),
        unit("uN m", &["uNm", "mNmm"], 1.0, 1e6),
        unit("nN m", &["nNm", "uNmm"], 1.0, 1e9),
    ],
);

pub(super) const ANGLE: Dimension = dimension(
    "an angle",
    "5 deg",
    &[unit("deg", &[], std::f64::consts::PI, 180.0), unit("rad", &[], 1.0, 1.0), unit("mrad", &[], 1.0, 1e3)],
);

pub(super) const SHARE: Dimension = Dimension {
    noun: "a number or share",
    example: "0.3 %",
    bare: true,
    example_bare: "0.003",
    units: &[
        unit("%", &["percent"], 1.0, 1e2),
        unit("microstrain", &["ustrain", "um/m", "ppm"], 1.0, 1e6),
        unit("", &["1"], 1.0, 1.0),
    ],
};

pub(super) const EXPANSION: Dimension = dimension(
    "a thermal expansion",
    "20 ppm/K",
    &[
        unit("ppm/K", &["ppm/degC", "ppm/C", "um/m/K", "1e-6/K", "10-6/K"], 1.0, 1e6),
        unit("1/K", &["/K"], 1.0, 1.0),
    ],
);

pub(super) const ACCELERATION: Dimension = dimension(
    "an acceleration",
    "9.81 m/s2",
    &[unit("m/s2", &[], 1.0, 1.0), unit("g", &["gn"], 9.806_65, 1.0)],
);

pub(super) const RESISTIVITY: Dimension = dimension(
    "a resistivity",
    "17.2 nohm m",
    &[
        unit("ohm m", &["ohmm"], 1.0, 1.0),
        unit("uohm m", &["uohmm", "ohmmm2/m"], 1.0, 1e6),
        unit("nohm m", &["nohmm"], 1.0, 1e9),
        unit("uohm cm", &["uohmcm"], 1.0, 1e8),
    ],
);

pub(super) const INERTIA: Dimension = dimension(
    "a moment of inertia",
    "40 g mm2",
    &[
        unit("kg m2", &["kgm2"], 1.0, 1.0),
        unit("g mm2", &["gmm2"], 1.0, 1e9),
        unit("mg mm2", &["mgmm2"], 1.0, 1e12),
        unit("g cm2", &["gcm2"], 1.0, 1e7),
    ],
);

pub(super) const FREQUENCY: Dimension = dimension(
    "a frequency",
    "12 Hz",
    &[unit("Hz", &["1/s"], 1.0, 1.0), unit("kHz", &[], 1e3, 1.0), unit("mHz", &[], 1.0, 1e3)],
);

pub(super) const VOLTAGE: Dimension =
    dimension("a voltage", "1.5 V", &[unit("V", &[], 1.0, 1.0), unit("mV", &[], 1.0, 1e3)]);

pub(super) const POWER: Dimension =
    dimension("a power", "50 mW", &[unit("W", &[], 1.0, 1.0), unit("mW", &[], 1.0, 1e3)]);

/// Every dimension, to say what a misplaced unit measures.
pub(super) const ALL: &[&Dimension] = &[
    &LENGTH,
    &CURRENT,
    &FLUX_DENSITY,
    &TEMPERATURE,
    &STRESS,
    &MASS,
    &DENSITY,
    &FORCE,
    &MOMENT,
    &ANGLE,
    &EXPANSION,
    &ACCELERATION,
    &RESISTIVITY,
    &INERTIA,
    &FREQUENCY,
    &VOLTAGE,
    &POWER,
];
