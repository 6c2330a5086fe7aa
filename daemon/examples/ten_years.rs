//! Builds the history of a venue in a folder and says how long it takes to ask for it:
//! `cargo run --release -p goodwired --example ten_years -- FOLDER [NIGHTS] [LINKS]`.
//!
//! Each night each link has a response (12 figures, and three curves of 960 points in the last 400
//! nights, as `keep_curves_days = 400` leaves them), a level, a latency and a noise.

use std::{path::Path, sync::Arc, time::Instant};

use anyhow::Context;
use goodwire_proto::v1::{
    Curve, Figure, Judgement, Measurement, Verdict, measurement::State, verdict::Outcome,
};
use goodwired::{
    clock::TestClock,
    store::{HistoryQuery, ListQuery, Store, new_name},
};
use prost_types::{Struct, Timestamp, Value, value::Kind};

/// 2016-01-01 03:00 UTC.
const START_S: u64 = 1_451_617_200;
const A_DAY_S: i64 = 86_400;
const CURVE_NIGHTS: i64 = 400;
const CURVE_POINTS: usize = 960;
/// So many measurements are stored in one transaction.
const AT_ONCE: usize = 5000;
const ANALYSES: [(&str, &[&str]); 4] = [
    ("response", &["gain", "corner_low", "corner_high", "snr"]),
    (
        "level",
        &[
            "gain",
            "clip_point",
            "compression_point",
            "linearity",
            "polarity",
        ],
    ),
    ("latency", &["latency", "jitter", "air_path"]),
    (
        "noise",
        &[
            "noise",
            "noise_a",
            "noise_468",
            "noise_ccir_rms",
            "dynamic_range_a",
        ],
    ),
];
const EDGES_HZ: [f64; 9] = [20.0, 63.0, 125.0, 250.0, 500.0, 1e3, 4e3, 8e3, 16e3];

fn main() -> anyhow::Result<()> {
    let mut arguments = std::env::args().skip(1);
    let folder = arguments.next().context("a folder to build in")?;
    let nights = arguments.next().map_or(Ok(3652), |text| text.parse())?;
    let links = arguments.next().map_or(Ok(32), |text| text.parse())?;
    let folder = Path::new(&folder);
    build(folder, nights, links)?;
    ask(folder, links)
}

fn build(folder: &Path, nights: i64, links: i64) -> anyhow::Result<()> {
    let clock = Arc::new(TestClock::at(START_S));
    let store = Store::open(folder, clock.clone())?;
    let begun = Instant::now();
    let mut waiting = Vec::new();
    for night in 0..nights {
        clock.advance(std::time::Duration::from_secs(86_400));
        let has_curves = night >= nights - CURVE_NIGHTS;
        let of_link =
            |link| ANALYSES.map(|analysis| one(&clock, (night, link), analysis, has_curves));
        waiting.extend((0..links).flat_map(of_link));
        if waiting.len() >= AT_ONCE || night + 1 == nights {
            store.import(std::mem::take(&mut waiting))?;
        }
    }
    let count = nights * links * 4;
    println!(
        "{count} measurements built in {:.0} s",
        begun.elapsed().as_secs_f64()
    );
    Ok(())
}

/// One measurement, with a gain that falls a little every night.
fn one(
    clock: &TestClock,
    (night, link): (i64, i64),
    (analysis, figures): (&str, &[&str]),
    has_curves: bool,
) -> Measurement {
    let start_s = i64::try_from(START_S).unwrap_or_default();
    let time = Some(Timestamp {
        seconds: start_s + night * A_DAY_S,
        nanos: 0,
    });
    let wobble = ((night * 7919 + link * 104_729) % 1000) as f64 / 1e4;
    let figure = |id: &str, at| Figure {
        id: id.to_owned(),
        value: Some(-3.0 - night as f64 * 1e-4 + wobble),
        uncertainty: Some(0.02),
        unit: "dB".to_owned(),
        at,
        ..Default::default()
    };
    let mut measurement = Measurement {
        name: new_name(clock),
        link: format!("links/link-{link}"),
        analysis: analysis.to_owned(),
        figures: figures.iter().map(|id| figure(id, None)).collect(),
        create_time: time,
        end_time: time,
        verdict: Some(verdict(night)),
        ..Default::default()
    };
    measurement.set_state(State::Succeeded);
    if analysis == "response" {
        let bands = EDGES_HZ.windows(2);
        let bands = bands.map(|pair| figure("deviation", Some(band(pair))));
        measurement.figures.extend(bands);
        if has_curves {
            measurement.curves = ["magnitude", "phase", "group_delay"].map(curve).to_vec();
        }
    }
    measurement
}

/// Every hundredth fails.
fn verdict(night: i64) -> Verdict {
    let outcome = match night % 100 {
        0 => Outcome::Fail,
        _ => Outcome::Pass,
    };
    let judgement = Judgement {
        figure: "gain".to_owned(),
        outcome: outcome.into(),
        text: "Gain is -3.00 ± 0.04 dB; allowed is -6 to 6 dB.".to_owned(),
        ..Default::default()
    };
    Verdict {
        outcome: outcome.into(),
        judgements: vec![judgement],
    }
}

fn band(pair: &[f64]) -> Struct {
    let of = |key: &str, hz: f64| {
        let kind = Some(Kind::NumberValue(hz));
        (key.to_owned(), Value { kind })
    };
    let fields = [of("from_hz", pair[0]), of("to_hz", pair[1])];
    Struct {
        fields: fields.into(),
    }
}

fn curve(id: &str) -> Curve {
    let x: Vec<f64> = (0..CURVE_POINTS)
        .map(|point| 20.0 * 10f64.powf(3.0 * point as f64 / CURVE_POINTS as f64))
        .collect();
    Curve {
        id: id.to_owned(),
        x_unit: "Hz".to_owned(),
        y: x.iter().map(|hz| hz.sin()).collect(),
        y_uncertainty: x.iter().map(|hz| hz.cos().abs()).collect(),
        x,
        ..Default::default()
    }
}

fn ask(folder: &Path, links: i64) -> anyhow::Result<()> {
    let begun = Instant::now();
    let store = Store::open(folder, Arc::new(TestClock::at(START_S)))?;
    println!("the store opens in {:.1} ms", ms(begun));
    for entry in std::fs::read_dir(folder)? {
        let entry = entry?;
        println!(
            "{:?}: {:.0} MB",
            entry.file_name(),
            entry.metadata()?.len() as f64 / 1e6
        );
    }
    let mut took: Vec<f64> = Vec::new();
    let mut count = 0;
    for link in 0..links {
        let query = HistoryQuery {
            link: format!("link-{link}"),
            analysis: "level".to_owned(),
            figure: "gain".to_owned(),
            ..HistoryQuery::default()
        };
        let begun = Instant::now();
        count += store.history(&query)?.points.len();
        took.push(ms(begun));
    }
    took.sort_by(f64::total_cmp);
    let [median, worst] = [took[took.len() / 2], took[took.len() - 1]];
    println!("{count} points of {links} histories: {median:.1} ms each, {worst:.1} ms the slowest");
    let of_link = ListQuery {
        link: "link-7".to_owned(),
        ..ListQuery::default()
    };
    let failed = ListQuery {
        outcome: Outcome::Fail,
        ..ListQuery::default()
    };
    let both = ListQuery {
        outcome: Outcome::Fail,
        analysis: "level".to_owned(),
        ..of_link.clone()
    };
    let late = ListQuery {
        since: Some(Timestamp {
            seconds: i64::try_from(START_S)? + 3000 * A_DAY_S,
            nanos: 0,
        }),
        ..ListQuery::default()
    };
    let lists = [
        ("link", of_link),
        ("verdict", failed),
        ("link, analysis, verdict", both),
        ("time", late),
    ];
    for (what, query) in lists {
        let begun = Instant::now();
        let found = store.list(&query)?.measurements.len();
        println!("a page by {what}: {found} in {:.1} ms", ms(begun));
    }
    Ok(())
}

fn ms(begun: Instant) -> f64 {
    begun.elapsed().as_secs_f64() * 1e3
}
