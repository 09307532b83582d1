//! `life`: from the design to the set of its copper, its steady loop, and the cycles to crack.

use super::{Design, Outcome, out_folder, read_design};
use crate::args::Life;
use crate::failure::Failure;
use crate::given::{Given, Row};
use crate::output::atomic::OutFolder;
use crate::output::life_view::{self, Crack};
use crate::output::table::{self, LifeShown};
use crate::output::{csv, figure, json};
use crate::screen::{self, ProgressLine};
use copperbend_mesh::board::Board;
use copperbend_solver::bend::{BendOptions, CycleWish, bend};
use copperbend_solver::copper::Curve;
use copperbend_solver::driven::{DriveOptions, drive};
use copperbend_solver::life::count;
use copperbend_solver::life::found::{Agreement, agreement};
use copperbend_solver::life::heat::WarmPlate;
use copperbend_solver::life::levels::{TestLevel, TestWish, levels};
use copperbend_solver::life::report::{Amplitude, Duty, GivenSample, LifeReport, LifeWish, life};
use copperbend_solver::life::speed::{DrivenSpeed, motions};
use copperbend_solver::result::{BendAnswer, BondLimit, CycleAnswer, DriveReport};

/// A place counts for a spot within this distance, m.
pub(crate) const NEAR_M: f64 = 0.5e-3;
/// Found cracks are set against the spots that reach this share of the largest strain range.
pub(crate) const STRAINED: f64 = 0.8;

/// Everything of one answer.
struct Found<'r> {
    answer: &'r BendAnswer,
    cycle: &'r CycleAnswer,
    life: LifeReport,
    samples: Vec<GivenSample>,
    agreement: Option<Agreement>,
    levels: Vec<TestLevel>,
}

/// Runs the loop, reads the tables, judges life, writes everything.
///
/// # Errors
/// Faults of the design or a table, a board without swing, a strain outside the laws, a file that cannot be written.
pub(crate) fn run(options: &Life) -> Result<Outcome, Failure> {
    let design = read_design(&options.files.design)?;
    let tables = Tables::read(options, &design.board)?;
    let folder = out_folder(&options.files, "life");
    drop(OutFolder::open(&folder)?);
    let mut progress = ProgressLine::new();
    let moving = if options.driven { Some(drives(&design, &mut progress)?) } else { None };
    let largest = moving.as_ref().and_then(largest_swing);
    let wishes = BendOptions {
        refine: !options.one_mesh,
        modulus_span: false,
        only_cycle: true,
        max_spots: options.spots,
        cycle: Some(CycleWish {
            first: tables.first.clone(),
            cyclic: tables.cyclic.clone(),
            angle_rad: options.angle.map(f64::to_radians).or(largest),
            steps: options.steps,
        }),
        free_memory: Some(crate::machine::free_memory),
        ..BendOptions::default()
    };
    let report = bend(&design.board, &wishes, &mut progress)?;
    let mut found = Vec::new();
    for answer in &report.answers {
        let Some(cycle) = &answer.cycle else {
            return Err(Failure::new(
                format!("{}: nothing swings: life needs a magnet, a current and a flap", design.name),
                "add [[magnet]], [circuit], [drive] and [flap] to the design, or check that [swing] is not off",
            ));
        };
        if cycle.spots.is_empty() {
            let why = if cycle.stopped.is_empty() { "no copper is strained" } else { &cycle.stopped };
            return Err(Failure::new(
                format!("{}: the loop has no spots: {why}", design.name),
                "reduce the current or the angle of the swing",
            ));
        }
        let own = moving.as_ref().and_then(|m| m.answers.iter().find(|a| a.bond == answer.bond));
        let driven = own.map(motions).unwrap_or_default();
        found.push(judge((options, &design.board), &tables, (answer, cycle), driven)?);
    }
    progress.say("pictures and files");
    let mut files = Vec::new();
    for one in &found {
        let suffix = suffix(&found, one.answer);
        files.push((format!("life{suffix}.csv"), csv::life(one.cycle, &one.life)));
        files.push((format!("life_over_swing{suffix}.csv"), csv::life_curve(&one.life)));
        files.push((format!("life_over_speed{suffix}.csv"), csv::life_speed(&one.life)));
        if !options.no_pictures {
            files.extend(pictures(&design, &tables, one, suffix)?);
        }
    }
    files.sort();
    let names: Vec<&str> = files.iter().map(|f| f.0.as_str()).collect();
    let parts: Vec<_> =
        found.iter().map(|f| (f.answer.bond, f.cycle, &f.life, f.agreement, &f.levels)).collect();
    let results = json::other(&parts, &design.name, &design.text, &names)?;
    files.push(("results.json".to_owned(), results));
    let mut out = OutFolder::open(&folder)?;
    out.put_all(&files)?;
    let written = out.finish()?;
    drop(progress);
    let shown: Vec<LifeShown<'_>> = found
        .iter()
        .map(|f| LifeShown {
            title: format!("{}{}", report.title, bond_words(f.answer.bond)),
            cycle: f.cycle,
            life: &f.life,
            agreement: f.agreement,
            levels: &f.levels,
        })
        .collect();
    screen::print(&table::life(&shown, &written))?;
    Ok(Outcome::Done)
}

fn bond_words(bond: BondLimit) -> &'static str {
    match bond {
        BondLimit::AsWritten => "",
        BondLimit::Bonded => " (tape stiff)",
        BondLimit::Sliding => " (tape sliding)",
    }
}

fn suffix(found: &[Found<'_>], answer: &BendAnswer) -> &'static str {
    match answer.bond {
        _ if found.len() < 2 => "",
        BondLimit::AsWritten => "_as_written",
        BondLimit::Bonded => "_bonded",
        BondLimit::Sliding => "_sliding",
    }
}

/// What the user's tables say.
struct Tables {
    first: Option<Curve>,
    cyclic: Option<Curve>,
    samples: Vec<(GivenSample, Option<Crack>)>,
    duties: Vec<Duty>,
    cracks: Vec<Crack>,
}

impl Tables {
    fn read(options: &Life, board: &Board) -> Result<Self, Failure> {
        let curve = |path: &Option<std::path::PathBuf>| -> Result<Option<Curve>, Failure> {
            let Some(path) = path else { return Ok(None) };
            let table = Given::read(path, &["strain_um_per_m", "stress_mpa"])?;
            let rows = table.all(|row| {
                Ok([row.positive("strain_um_per_m")? * 1e-6, row.positive("stress_mpa")? * 1e6])
            })?;
            let wrong =
                |e| Failure::new(format!("{}: {e}", path.display()), "give a curve that only softens");
            Ok(Some(Curve::checked(rows).map_err(wrong)?))
        };
        let mut own = Self {
            first: curve(&options.curve)?,
            cyclic: curve(&options.cyclic_curve)?,
            samples: Vec::new(),
            duties: Vec::new(),
            cracks: Vec::new(),
        };
        if let Some(path) = &options.samples {
            const KNOWN: [&str; 10] = [
                "sample",
                "current_ma",
                "angle_deg",
                "frequency_hz",
                "flexes",
                "cycles",
                "outcome",
                "x_mm",
                "y_mm",
                "layer",
            ];
            own.samples = Given::read(path, &KNOWN)?.all(|row| sample(row, board))?;
        }
        if let Some(path) = &options.duties {
            const KNOWN: [&str; 5] = ["current_ma", "angle_deg", "frequency_hz", "hours", "cycles"];
            let table = Given::read(path, &KNOWN)?;
            own.duties = table.all(duty)?;
            if own.duties.is_empty() {
                return Err(Failure::new(
                    format!("{}: the duty list is empty", path.display()),
                    "give at least one line of swing and cycles or hours",
                ));
            }
        }
        if let Some(path) = &options.places {
            const KNOWN: [&str; 6] = ["sample", "x_mm", "y_mm", "layer", "cycles", "flexes"];
            let place = |row: &Row<'_>| {
                crack(row, board)?.ok_or_else(|| row.fault("x_mm", "give the place of the crack"))
            };
            own.cracks = Given::read(path, &KNOWN)?.all(place)?;
        }
        // A crack that both tables tell counts once.
        let near = |a: &Crack, b: &Crack| (a.at_m[0] - b.at_m[0]).hypot(a.at_m[1] - b.at_m[1]) < NEAR_M;
        let told = |new: &Crack, known: &[Crack]| {
            known.iter().any(|k| k.sample == new.sample && k.layer_index == new.layer_index && near(k, new))
        };
        let of_samples = own.samples.iter().filter_map(|s| s.1.clone());
        let more: Vec<Crack> = of_samples.filter(|new| !told(new, &own.cracks)).collect();
        own.cracks.extend(more);
        Ok(own)
    }
}

fn swing(row: &Row<'_>) -> Result<Option<Amplitude>, String> {
    match (row.text("current_ma"), row.text("angle_deg")) {
        ("", "") => Ok(None),
        (_, "") => Ok(Some(Amplitude::Current(row.positive("current_ma")? * 1e-3))),
        ("", _) => Ok(Some(Amplitude::Angle(row.positive("angle_deg")?.to_radians()))),
        _ => Err(row.fault("current_ma", "give the swing by current or by angle, not both")),
    }
}

fn sample(row: &Row<'_>, board: &Board) -> Result<(GivenSample, Option<Crack>), String> {
    let place = crack(row, board)?;
    let failed = row.failed()?;
    if place.is_some() && !failed {
        return Err(row.fault("outcome", "a sample that survived has no crack; leave x_mm and y_mm empty"));
    }
    if row.number("frequency_hz")?.is_some_and(|f| f <= 0.0) {
        return Err(row.fault("frequency_hz", "must be above zero"));
    }
    let name = row.text("sample").to_owned();
    let frequency_hz = row.number("frequency_hz")?;
    let (swing, cycles) = (swing(row)?, row.cycles()?);
    Ok((GivenSample { name, swing, frequency_hz, cycles, failed, spot: None, elsewhere: false }, place))
}

fn duty(row: &Row<'_>) -> Result<Duty, String> {
    let swing = swing(row)?.ok_or_else(|| row.fault("angle_deg", "give a swing by current or by angle"))?;
    let cycles = match (row.text("cycles"), row.text("hours")) {
        (_, "") => row.positive("cycles")?,
        ("", _) => row.positive("hours")? * 3600.0 * row.positive("frequency_hz")?,
        _ => return Err(row.fault("hours", "give cycles or hours, not both")),
    };
    Ok(Duty { swing, cycles })
}

/// The crack of a row; None where no place is given.
fn crack(row: &Row<'_>, board: &Board) -> Result<Option<Crack>, String> {
    let (Some(x), Some(y)) = (row.number("x_mm")?, row.number("y_mm")?) else {
        return match (row.text("x_mm"), row.text("y_mm")) {
            ("", "") => Ok(None),
            _ => Err(row.fault("y_mm", "give both x_mm and y_mm, or neither")),
        };
    };
    let at_m = [x * 1e-3, y * 1e-3];
    if !board.outline.contains(at_m) {
        return Err(row.fault("x_mm", &format!("the place x {x} mm, y {y} mm lies off the board")));
    }
    let copper: Vec<(u32, &str)> = (0_u32..)
        .zip(&board.layers)
        .filter(|(_, l)| l.kind == copperbend_mesh::board::LayerKind::Copper)
        .map(|(i, l)| (i, l.name.as_str()))
        .collect();
    let layer_index = match (row.text("layer"), &copper[..]) {
        ("", [(only, _)]) => *only,
        ("", _) => return Err(row.fault("layer", "say which copper layer: there are several")),
        (name, _) => copper
            .iter()
            .find(|(_, n)| *n == name)
            .map(|(i, _)| *i)
            .ok_or_else(|| row.fault("layer", "is no copper layer of this board"))?,
    };
    Ok(Some(Crack { sample: row.text("sample").to_owned(), layer_index, at_m }))
}

/// The steady motions of the board over frequency.
fn drives(design: &Design, progress: &mut ProgressLine) -> Result<DriveReport, Failure> {
    let wishes = DriveOptions { free_memory: Some(crate::machine::free_memory), ..DriveOptions::default() };
    let report = drive(&design.board, &wishes, progress)?;
    if report.answers.iter().all(|a| motions(a).is_empty()) {
        return Err(Failure::new(
            format!("{}: no steady motion of the drive inside the flap angles it can follow", design.name),
            "look at it with `drive`: less current, or more room to swing",
        ));
    }
    Ok(report)
}

/// Largest swing of all motions, rad, a hair more so that it lies within the loop.
fn largest_swing(report: &DriveReport) -> Option<f64> {
    let all = report.answers.iter().flat_map(motions);
    all.map(|m| m.swing_rad).reduce(f64::max).map(|most| most * (1.0 + 1e-9))
}

fn judge<'r>(
    (options, board): (&Life, &Board),
    tables: &Tables,
    (answer, cycle): (&'r BendAnswer, &'r CycleAnswer),
    driven: Vec<DrivenSpeed>,
) -> Result<Found<'r>, Failure> {
    let spot_at = |crack: &Crack| {
        let away = |s: &copperbend_solver::result::CycleSpot| {
            (s.spot.x_m - crack.at_m[0]).hypot(s.spot.y_m - crack.at_m[1])
        };
        let own = cycle.spots.iter().enumerate().filter(|(_, s)| s.spot.layer_index == crack.layer_index);
        own.map(|(k, s)| (k, away(s)))
            .filter(|s| s.1 <= NEAR_M)
            .min_by(|a, b| a.1.total_cmp(&b.1))
            .map(|s| s.0)
    };
    let samples: Vec<GivenSample> = tables
        .samples
        .iter()
        .map(|(s, place)| {
            let spot = place.as_ref().and_then(spot_at);
            GivenSample { spot, elsewhere: place.is_some() && spot.is_none(), ..s.clone() }
        })
        .collect();
    let wish = LifeWish {
        samples: samples.clone(),
        duties: tables.duties.clone(),
        frequency_hz: options.frequency,
        driven,
        wanted_cycles: options.flexes.map(count::cycles),
        confidence: options.confidence,
    };
    let wrong = |e: copperbend_solver::reliability::StatError| Failure::new(e.what, e.remedy);
    let report = life(cycle, &wish).map_err(wrong)?;
    let test = match options.use_angle {
        None => Vec::new(),
        Some(degrees) => {
            let days = options.test_days.zip(options.frequency);
            let test = TestWish {
                use_share: cycle.share_of(degrees.to_radians(), true),
                more_current: options.more_current,
                coil: WarmPlate::of(board),
                samples: options.test_samples,
                run_cycles: days.map(|(days, hertz)| count::cycles_in_days(hertz, days)),
            };
            levels(cycle, &wish, &test).map_err(wrong)?
        }
    };
    let agreement = (!tables.cracks.is_empty()).then(|| against_spots(answer, cycle, &tables.cracks));
    Ok(Found { answer, cycle, life: report, samples, agreement, levels: test })
}

fn against_spots(answer: &BendAnswer, cycle: &CycleAnswer, cracks: &[Crack]) -> Agreement {
    let most = cycle.spots.iter().map(|s| s.spot.range).fold(0.0, f64::max);
    let spots: Vec<(u32, [f64; 2])> = cycle
        .spots
        .iter()
        .filter(|s| s.spot.range >= STRAINED * most)
        .map(|s| (s.spot.layer_index, [s.spot.x_m, s.spot.y_m]))
        .collect();
    let places: Vec<(u32, [f64; 2])> = cracks.iter().map(|c| (c.layer_index, c.at_m)).collect();
    let mut pieces = Vec::new();
    let mut seen = Vec::new();
    for map in &cycle.maps {
        if seen.contains(&map.layer_index) {
            continue;
        }
        seen.push(map.layer_index);
        for (&t, unranked) in map.triangles.iter().zip(&map.unranked) {
            if *unranked {
                continue;
            }
            let [a, b, c] = answer.shape.triangles[t as usize].map(|n| answer.shape.points_m[n as usize]);
            let area = 0.5 * ((b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0])).abs();
            let middle = [0, 1].map(|i| (a[i] + b[i] + c[i]) / 3.0);
            pieces.push((map.layer_index, middle, area));
        }
    }
    agreement(&spots, &places, &pieces, NEAR_M)
}

fn pictures(
    design: &Design,
    tables: &Tables,
    one: &Found<'_>,
    suffix: &str,
) -> Result<Vec<(String, Vec<u8>)>, Failure> {
    let board = &design.board;
    let mut drawn = Vec::new();
    let mut layers: Vec<u32> = one.cycle.maps.iter().map(|m| m.layer_index).collect();
    layers.dedup();
    for layer_index in layers {
        let layer = &board.layers[layer_index as usize];
        let kind = one.cycle.spots.iter().find(|s| s.spot.layer_index == layer_index).map(|s| s.kind);
        let Some(kind) = kind else { continue };
        let name = format!("life_map_{}{suffix}.png", figure::file_words(&layer.name));
        let picture =
            life_view::map(board, (one.cycle, &one.answer.shape), (layer_index, kind), &tables.cracks)?;
        drawn.push((name, picture));
    }
    let curve = life_view::curve(board, one.cycle, &one.life, &one.samples)?;
    drawn.push((format!("life_over_swing{suffix}.png"), curve));
    drawn.push((format!("life_over_speed{suffix}.png"), life_view::speed(board, &one.life)?));
    Ok(drawn)
}
