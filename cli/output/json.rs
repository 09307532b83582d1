//! Every number of a run in one JSON file: SI units, the unit at the end of each name.

use crate::failure::Failure;
use serde::Serialize;

/// What the name endings mean.
const UNITS: &str = "SI throughout; the end of a name gives the unit: _m metre, _n newton, _nm newton metre, \
     _rad radian, _a ampere, _t tesla, _ohm ohm, _w watt, _j joule, _kg kilogram, _pa pascal, _m2 square metre, \
     _degc degree Celsius, _hz hertz, _rad2_s2 (radian per second) squared, _s second; strain, share and change are ratios; positions are in the board's frame at rest";

#[derive(Serialize)]
struct Results<'a, R: ?Sized> {
    program: &'static str,
    version: &'static str,
    units: &'static str,
    design: Design<'a>,
    files: &'a [&'a str],
    report: &'a R,
}

/// The input, so that the run can be repeated from its results.
#[derive(Serialize)]
struct Design<'a> {
    file: &'a str,
    text: &'a str,
}

/// The results of a verb.
///
/// # Errors
/// The encoder refuses (never for a report).
pub(crate) fn results(
    report: &impl Serialize,
    design_file: &str,
    design_text: &str,
    files: &[&str],
) -> Result<Vec<u8>, Failure> {
    other(report, design_file, design_text, files)
}

/// The results of any verb.
///
/// # Errors
/// The encoder refuses (never for plain data).
pub(crate) fn other(
    report: &(impl Serialize + ?Sized),
    design_file: &str,
    design_text: &str,
    files: &[&str],
) -> Result<Vec<u8>, Failure> {
    let results = Results {
        program: env!("CARGO_PKG_NAME"),
        version: env!("CARGO_PKG_VERSION"),
        units: UNITS,
        design: Design { file: design_file, text: design_text },
        files,
        report,
    };
    let mut bytes = serde_json::to_vec_pretty(&results)
        .map_err(|e| Failure::new(format!("results.json: cannot encode: {e}"), ""))?;
    bytes.push(b'\n');
    Ok(bytes)
}

/// Any plain data as a JSON file.
///
/// # Errors
/// The encoder refuses (never for plain data).
pub(crate) fn plain(name: &str, data: &impl Serialize) -> Result<Vec<u8>, Failure> {
    let mut bytes = serde_json::to_vec_pretty(data)
        .map_err(|e| Failure::new(format!("{name}: cannot encode: {e}"), ""))?;
    bytes.push(b'\n');
    Ok(bytes)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::output::sample;

    #[test]
    fn results_can_be_read_back_with_units_places_and_input() {
        let bytes = results(&sample::report(), "vane.toml", "title = 'x'", &["a.png"]).expect("json");
        let read: serde_json::Value = serde_json::from_slice(&bytes).expect("valid JSON");
        let spot = &read["report"]["answers"][0]["spots"][0];
        for name in ["strain", "strain_error", "x_m", "y_m", "track", "layer", "face", "near", "near_m"] {
            assert!(!spot[name].is_null(), "'{name}' is missing: {spot}");
        }
        assert_eq!(read["design"]["text"], "title = 'x'", "the input is kept");
        assert!(read["units"].as_str().is_some_and(|u| u.contains("metre")), "units are explained");
    }
}
