//! Life laws, fits with survivors, and the set of bent copper: figures printed in handbooks or recomputed elsewhere.

use super::{Problem, Provenance, gate};
use crate::copper::bending::{Strand, bare_foil_set, set_ratio};
use crate::copper::{Curve, Fibre};
use crate::error::SolveError;
use crate::life::miner::{Block, damage};
use crate::life::{CopperKind, count};
use crate::reliability::proof::{proven_reliability, proven_scale, test_length};
use crate::reliability::{
    Family, RankRule, Tested, bounds_of_quantile, bounds_of_shape, fit, likelihood_bounds, plotted, rank_line,
};
use std::fmt::Display;

pub(super) const PROBLEMS: &[Problem] = &[
    Problem {
        id: "copper-set",
        title: "Permanent set of bent copper: a fibre, a foil, laminates fibre by fibre",
        source: "elastic and plastic bending, closed forms; laminates summed over 4000 slices a layer elsewhere",
        provenance: Provenance::Recomputed,
        note: "Copper 117 GPa, yield 60 MPa; films 2.5 GPa; bent to 1/200 m; elastic when let go; every fibre \
               contracts by itself (layers that contract together: see copper-set-shell).",
        targets: &[
            gate("strain left of 0.5 %, ideally plastic", "-", 0.004_487_179, 1e-6),
            gate("strain left of 0.5 %, hardening 5 GPa", "-", 0.004_303_279, 1e-6),
            gate("bare foil 35 um", "-", 0.781_792_538_705_955, 1e-9),
            gate("film 25, copper 35, film 25 um", "-", 0.608_54, 1e-4),
            gate("film 50, copper 18, film 50 um", "-", 0.083_477, 1e-4),
        ],
        run: set,
    },
    Problem {
        id: "life-laws",
        title: "Cycles by the foil relation and universal slopes, damage of three duties",
        source: "W. Engelmaier (1982) and S. S. Manson (1965), equations from memory; roots found elsewhere",
        provenance: Provenance::Memory,
        note: "Rolled, annealed: strength 220 MPa, modulus 117 GPa, ductility 0.3 (foil) and 0.7 (slopes).",
        targets: &[
            gate("foil relation at range 0.005", "cycles", 4_332.274_934_163_14, 1e-7),
            gate("foil relation at range 0.001", "cycles", 20_046_950.414_085_1, 1e-7),
            gate("universal slopes at range 0.002", "cycles", 223_192.038_112_849, 1e-7),
            gate("damage: 1e4 at 0.003, 1e5 at 0.002, 1e7 at 0.0009", "-", 1.436_917_162_325_99, 1e-7),
            gate("flexes of thirty days at 18 Hz", "-", 93_312_000.0, 0.0),
        ],
        run: laws,
    },
    Problem {
        id: "weibull-survivors",
        title: "Weibull and lognormal fit of twenty units, ten of them survivors",
        source: "NIST/SEMATECH e-Handbook of Statistical Methods, 8.4.1.3 (shape 1.7208, scale 606.5280, AIC 154.27)",
        provenance: Provenance::Read,
        note: "More digits and all bounds recomputed with two general statistics libraries; bounds two-sided, 95 %.",
        targets: &[
            gate("shape", "-", 1.7208, 1e-5),
            gate("scale", "h", 606.528, 1e-6),
            gate("logarithm of the likelihood", "-", -75.134_618_164_475, 1e-8),
            gate("shape, lower, by curvature", "-", 0.971_266_101, 1e-4),
            gate("life with 10 % failed", "h", 164.022_438_66, 1e-6),
            gate("its upper limit, by curvature", "h", 320.754_918, 1e-4),
            gate("its lower limit, by likelihood ratio", "h", 59.854_554_2, 1e-4),
            gate("shape by median ranks", "-", 1.625_962_767_167, 1e-7),
            gate("lognormal mean of ln", "-", 6.226_015_052, 1e-5),
            gate("lognormal deviation of ln", "-", 0.908_914_045, 1e-5),
        ],
        run: survivors,
    },
    Problem {
        id: "few-failures",
        title: "What no or one failure of twenty proves at 90 % confidence",
        source: "binomial and Poisson models, closed forms",
        provenance: Provenance::Recomputed,
        note: "Weibull shape 2 where one is assumed.",
        targets: &[
            gate("share surviving, none failed", "-", 0.891_250_938_133_746, 1e-7),
            gate("share surviving, one failed", "-", 0.819_039_036_563_261, 1e-7),
            gate("scale, all whole at 1e8", "cycles", 294_718_333.974_407, 1e-7),
            gate("length over the life at 95 %", "-", 1.498_175_014_481_87, 1e-7),
        ],
        run: few,
    },
];

fn told(error: impl Display) -> SolveError {
    SolveError::Model { what: error.to_string(), remedy: "report this problem".to_owned() }
}

fn set() -> Result<Vec<f64>, SolveError> {
    let law =
        |hardening_pa| Curve::Bilinear { modulus_pa: 117e9, yield_pa: 60e6, hardening_pa }.law(0.34, 1, 0.01);
    let mut out: Vec<f64> = [0.0, 5e9]
        .map(|hardening| {
            let law = law(hardening);
            let mut fibre = Fibre::new(&law);
            fibre.to(0.005);
            fibre.release()
        })
        .into();
    out.push(bare_foil_set(35e-6, 5e-3, 60e6, 117e9));
    let copper = law(0.0);
    for (film, foil) in [(25e-6, 35e-6), (50e-6, 18e-6)] {
        let film = Strand::Elastic([film, 2.5e9]);
        out.push(set_ratio(&[film, Strand::Copper(foil, &copper), film], 200.0, 4000));
    }
    Ok(out)
}

fn laws() -> Result<Vec<f64>, SolveError> {
    let (foil, slopes) = (CopperKind::RolledAnnealed.foil(), CopperKind::RolledAnnealed.slopes());
    let duties = [(1e4, 0.003), (1e5, 0.002), (1e7, 0.0009)].map(|(cycles, range)| Block { cycles, range });
    let used = damage(&duties, |range| foil.cycles(range)).map_err(told)?;
    Ok(vec![
        foil.cycles(0.005).map_err(told)?,
        foil.cycles(0.001).map_err(told)?,
        slopes.cycles(0.002).map_err(told)?,
        used.iter().sum(),
        count::flexes(count::cycles_in_days(18.0, 30.0)),
    ])
}

fn survivors() -> Result<Vec<f64>, SolveError> {
    let failed = [54.0, 187.0, 216.0, 240.0, 244.0, 335.0, 361.0, 373.0, 375.0, 386.0];
    let units: Vec<Tested> =
        failed.map(Tested::failed).into_iter().chain([Tested::survived(500.0); 10]).collect();
    let weibull = fit(Family::Weibull, &units).map_err(told)?;
    let lognormal = fit(Family::Lognormal, &units).map_err(told)?;
    let ten = bounds_of_quantile(&weibull, 0.1, 0.95);
    let ratio = likelihood_bounds(&weibull, &units, 0.1, 0.95).map_err(told)?;
    let line = rank_line(Family::Weibull, &plotted(&units, RankRule::Benard), true).map_err(told)?;
    Ok(vec![
        weibull.shape(),
        weibull.scale(),
        weibull.log_likelihood,
        bounds_of_shape(&weibull, 0.95).low,
        ten.value,
        ten.high,
        ratio.life.low,
        1.0 / line.sigma,
        lognormal.mu,
        lognormal.sigma,
    ])
}

fn few() -> Result<Vec<f64>, SolveError> {
    Ok(vec![
        proven_reliability(20, 0, 0.9).map_err(told)?,
        proven_reliability(20, 1, 0.9).map_err(told)?,
        proven_scale(&[Tested::survived(1e8); 20], 2.0, 0.9).map_err(told)?,
        test_length(20, 0.95, 0.9, 2.0).map_err(told)?,
    ])
}
