//! Made-up logs with planted faults.

#![allow(clippy::float_cmp, reason = "exact figures are meant")]

use super::*;

/// Noise without chance: a fixed irrational turn, between -1 and 1.
fn noise(k: u32) -> f64 {
    (f64::from(k) * 12.989_8).sin()
}

/// A minute's reading of a healthy sample of 6 ohm: day and night of 8 K, coil warm.
fn reading(k: u32, ratio: f64) -> Reading {
    let time_s = 60.0 * f64::from(k);
    let t = 31.0 + 8.0 * (time_s / 86_400.0 * std::f64::consts::TAU).sin();
    let r = 6.0 * ratio * (1.0 + 0.003_93 * (t - 20.0)) * (1.0 + 5e-4 * noise(k));
    Reading {
        time_s,
        voltage_v: 0.06 * r,
        current_a: 0.06,
        temperature_degc: Some(t + 0.05 * noise(k + 7)),
        frequency_hz: Some(16.0),
    }
}

fn run(n: u32, of: impl Fn(u32) -> Reading) -> (Channel, Vec<Event>) {
    let mut channel = Channel::new(Alarms::default());
    let mut events = Vec::new();
    for k in 0..n {
        events.extend(channel.take(of(k)).expect("a good log"));
    }
    (channel, events)
}

/// Thirty days at 16 Hz: more than 80 million flexes (common practice, no source), no alarm by day and night.
#[test]
fn day_and_night_raise_no_alarm_and_flexes_are_counted() {
    let (channel, events) = run(43_201, |k| reading(k, 1.0));
    assert!(events.is_empty(), "{events:?}");
    let flexes = crate::life::count::flexes(channel.cycles);
    assert!((flexes - 16.0 * 2.0 * 86_400.0 * 30.0).abs() < 1.0 && flexes > 80e6, "{flexes}");
    assert!((channel.base_ohm().expect("a beginning") / 6.0 - 1.0).abs() < 1e-3, "{:?}", channel.base_ohm());
}

#[test]
fn a_drift_of_half_a_per_cent_is_found() {
    let (channel, events) = run(20_000, |k| reading(k, 1.0 + if k > 10_000 { 0.005 } else { 0.0 }));
    assert_eq!(events.len(), 1, "{events:?}");
    assert_eq!(events[0].kind, Kind::Drift, "{events:?}");
    assert!(events[0].time_s > 600_000.0 && events[0].time_s < 620_000.0, "{events:?}");
    assert!(channel.failed.is_none() && (channel.highest - 1.005).abs() < 5e-4, "{}", channel.highest);
}

/// An open of 2 ms: two lines of an event capture without current.
#[test]
fn a_short_open_is_found_and_a_long_one_is_the_failure() {
    let with_open = |k: u32| {
        let mut own = reading(k.min(500), 1.0);
        if k > 500 {
            own.time_s += 1e-3 * f64::from(k - 500);
        }
        if (505..508).contains(&k) {
            own.current_a = 1e-4;
        }
        own
    };
    let (channel, events) = run(520, with_open);
    assert_eq!(channel.opens, 1, "{events:?}");
    assert!(
        matches!(events[..], [Event { kind: Kind::Open(s), .. }] if (s - 2e-3).abs() < 1e-9),
        "{events:?}"
    );
    let broken = |k: u32| Reading { current_a: if k > 300 { 0.0 } else { 0.06 }, ..reading(k, 1.0) };
    let (channel, events) = run(400, broken);
    let [time, cycles] = channel.failed.expect("a failure");
    assert!(
        (time - 301.0 * 60.0).abs() < 1e-9 && events.iter().any(|e| e.kind == Kind::Failed),
        "{events:?}"
    );
    assert!(cycles <= 302.0 * 60.0 * 16.0 && channel.cycles == cycles, "counting goes on after the failure");
}

#[test]
fn a_jump_and_a_rise_of_a_tenth_are_told() {
    let (channel, events) = run(3000, |k| reading(k, if k > 2000 { 1.15 } else { 1.0 }));
    let kinds: Vec<Kind> = events.iter().map(|e| e.kind).collect();
    assert!(kinds.contains(&Kind::Jump) && kinds.contains(&Kind::Failed), "{kinds:?}");
    assert!(channel.failed.is_some_and(|f| (f[0] / 60.0 - 2000.0) < 12.0), "{:?}", channel.failed);
}

#[test]
fn gaps_do_not_count_as_running() {
    let late = |k: u32| Reading {
        time_s: reading(k, 1.0).time_s + if k >= 100 { 86_400.0 } else { 0.0 },
        ..reading(k, 1.0)
    };
    let (channel, events) = run(200, late);
    assert!(matches!(events[..], [Event { kind: Kind::Gap(_), .. }]), "{events:?}");
    assert!((channel.cycles - 198.0 * 60.0 * 16.0).abs() < 1e-6, "{}", channel.cycles);
}

#[test]
fn bad_readings_are_refused_with_their_reason() {
    let mut channel = Channel::new(Alarms::default());
    for k in 0..100 {
        channel.take(reading(k, 1.0)).expect("good");
    }
    let told = |r: Reading| channel.clone().take(r).expect_err("bad").what;
    assert!(told(Reading { time_s: -1.0, ..reading(100, 1.0) }).contains("negative"), "negative time");
    assert!(told(Reading { time_s: 5.0, ..reading(100, 1.0) }).contains("sort the log"), "backwards");
    assert!(told(Reading { voltage_v: f64::NAN, ..reading(100, 1.0) }).contains("no number"), "not a number");
    let milli = Reading { current_a: 60.0, ..reading(100, 1.0) };
    assert!(told(milli).contains("unit of voltage or current"), "mA for A");
}
