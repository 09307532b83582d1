//! Rules of the trade as sanity lines: least bend radius by allowed copper strain, length over which a tape shares load.

/// Least inner bend radius of single-sided flex: `(c / 2) (100 - EB) / EB - D`.
///
/// Rule of older revisions of IPC-2223 as quoted by two flex makers (read there). `copper` and `cover` thickness and
/// the radius in one unit; `allowed_percent`: copper strain allowed, per cent. Assumes the neutral plane in the middle
/// of the copper: use the laminate strain instead wherever it is known.
#[must_use]
pub fn least_radius_single(copper: f64, cover: f64, allowed_percent: f64) -> f64 {
    0.5 * copper * (100.0 - allowed_percent) / allowed_percent - cover
}

/// The same for copper on both sides of a dielectric: `(d / 2 + c) (100 - EB) / EB - D` (from memory).
#[must_use]
pub fn least_radius_double(dielectric: f64, copper: f64, cover: f64, allowed_percent: f64) -> f64 {
    (0.5 * dielectric + copper) * (100.0 - allowed_percent) / allowed_percent - cover
}

/// Length over which a soft bond shares load between two sheets, m (O. Volkersen, Luftfahrtforschung 15 (1938) 41, from
/// memory): `((G / ta) (1 / (E1 t1) + 1 / (E2 t2)))^-1/2`.
///
/// `bond`: shear modulus (Pa) and thickness (m); `sheets`: modulus (Pa) and thickness (m) of each.
#[must_use]
pub fn shear_lag_length_m(bond: [f64; 2], sheets: [[f64; 2]; 2]) -> f64 {
    let softness: f64 = sheets.iter().map(|[e, t]| 1.0 / (e * t)).sum();
    (bond[0] / bond[1] * softness).sqrt().recip()
}
