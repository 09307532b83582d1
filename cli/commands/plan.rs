//! `plan`: how many samples, how long, what failures would prove, how likely the test succeeds, what it costs.

use super::Outcome;
use crate::args::Plan;
use crate::failure::Failure;
use crate::output::table;
use crate::screen;
use copperbend_solver::life::count;
use copperbend_solver::reliability::plan::{PlanWish, looks, plans, what_failures_prove};

/// Makes the plans and prints them.
///
/// # Errors
/// A wish that cannot be met, with its rule.
pub(crate) fn run(options: &Plan) -> Result<Outcome, Failure> {
    let wish = PlanWish {
        reliability: options.reliability,
        confidence: options.confidence,
        goal_cycles: count::cycles(options.flexes),
        shape: options.shape,
        frequency_hz: options.frequency,
        places: options.places,
        predicted_ten_percent_cycles: options.predicted_flexes.map(count::cycles),
        costs: [options.sample_cost, options.setup_cost, options.day_cost],
    };
    let wrong = |e: copperbend_solver::reliability::StatError| Failure::new(e.what, e.remedy);
    let found = plans(&wish).map_err(wrong)?;
    let samples = options.samples.unwrap_or_else(|| found.first().map_or(1, |p| p.samples));
    let proven = what_failures_prove(samples, options.confidence).map_err(wrong)?;
    let length = found.first().map_or(wish.goal_cycles, |p| p.cycles);
    let looks = looks(length, options.shape);
    screen::print(&table::plan(&wish, &found, (samples, &proven), (&looks, options.start)))?;
    Ok(Outcome::Done)
}
