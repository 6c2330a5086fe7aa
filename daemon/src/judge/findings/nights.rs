//! A thousand healthy nights of 32 links: how often a cause is found where there is none.
//!
//! The model (common practice, no source; docs/findings.md tells it too) draws the figures that a
//! round of `level`, `latency`, `response` and `noise` gives, without sound. A link has gain, clip
//! point, latency, corners and noise of its own, kept for good. Its gain swings by ± 0.2 dB with the
//! seasons, wanders by up to 0.2 dB more over weeks, and jumps by 0.1 dB when somebody plugs; clip
//! point, corners and noise swing with the temperature too. Every figure scatters by its
//! uncertainty, the latency by one frame either way at each waking. In one night of ten the room
//! adds up to 6 dB of noise, in one of a hundred the interface has one xrun. A line of hum stands at
//! -95 dBFS ± 3 dB. Every fourth link has a clip point out of reach, every eighth is inverted since
//! commissioning day. Knobs and switches are untouched, batteries fresh. The first night is the
//! baseline, and the last 16 nights are the history.

use goodwire_proto::v1::{Figure, Measurement, Provenance};

use super::{Seen, run_findings, scene};
use crate::{
    judge::tests::{at, figure},
    simulated::random::Chance,
};

const LINKS: u64 = 32;
const NIGHTS: u64 = 1000;
const HISTORY: usize = 16;
const NIGHTS_A_DECADE: f64 = 3652.5;

/// One link of the venue.
struct Link {
    name: String,
    number: u64,
    chance: Chance,
}

/// A night's numbers of a link: each call draws the next.
struct Draw {
    chance: Chance,
    next: u64,
}

impl Draw {
    /// From `low` to `high`.
    fn between(&mut self, low: f64, high: f64) -> f64 {
        self.next += 1;
        low + (high - low) * self.chance.uniform(self.next)
    }

    /// Normally distributed (Box and Muller 1958).
    fn normal(&mut self, sigma: f64) -> f64 {
        let radius = (-2.0 * self.between(0.0, 1.0).ln()).sqrt();
        sigma * radius * (std::f64::consts::TAU * self.between(0.0, 1.0)).cos()
    }

    /// A figure that scatters by its uncertainty.
    fn figure(&mut self, id: &str, truth: f64, uncertainty: f64) -> Figure {
        figure(id, truth + self.normal(uncertainty), uncertainty)
    }
}

impl Link {
    fn new(number: u64) -> Self {
        let name = format!("link-{number:02}");
        let chance = Chance::new(1, "healthy", &name);
        Self {
            name,
            number,
            chance,
        }
    }

    fn draw(&self, night: u64) -> Draw {
        Draw {
            chance: self.chance,
            next: 1000 * night,
        }
    }

    /// How far the link's gain lies from its own that night, in dB.
    fn drift_db(&self, night: u64) -> f64 {
        let turn =
            |days: f64| (std::f64::consts::TAU * night as f64 / days + self.number as f64).sin();
        let plugged = self.draw(night / 30).between(-0.1, 0.1);
        0.2 * turn(365.25) + 0.2 * turn(41.0) * self.draw(night / 100).between(0.0, 1.0) + plugged
    }

    /// The four measurements of a night.
    fn night(&self, night: u64) -> Vec<Measurement> {
        // What is the link's own comes from a night that is never measured.
        let mut own = self.draw(1_000_000);
        let mut today = self.draw(1_000 + night);
        let gain_db = own.between(-10.0, 10.0) + self.drift_db(night);
        let clip_dbfs = own.between(-20.0, -3.0) - self.drift_db(night);
        let latency_ms = own.between(2.0, 20.0);
        let [low_hz, high_hz] = [own.between(20.0, 60.0), own.between(14_000.0, 19_000.0)];
        let warm = 1.0 + 0.02 * self.drift_db(night);
        let noise_dbfs = own.between(-105.0, -75.0) + today.normal(1.0);
        let in_room = today.between(0.0, 1.0) < 0.1;
        let more_db = if in_room {
            today.between(0.0, 6.0)
        } else {
            0.0
        };

        let polarity = if self.number.is_multiple_of(8) {
            -1.0
        } else {
            1.0
        };
        let mut level = vec![
            today.figure("gain", gain_db, 0.05),
            figure("polarity", polarity, 0.0),
        ];
        if !self.number.is_multiple_of(4) {
            level.push(today.figure("clip_point", clip_dbfs, 0.05));
        }
        let hum_dbfs = -95.0 + today.normal(3.0);
        let frame_ms = today.between(-1.0, 1.0).round() / 48.0;
        let latency = vec![
            today.figure("latency", latency_ms + frame_ms, 0.001),
            figure("jitter", today.between(0.0, 1.0) / 48.0, 0.005),
            today.figure("skew", 0.0, 0.05),
        ];
        let response = vec![
            today.figure("gain", gain_db, 0.02),
            today.figure("corner_low", low_hz * warm, 0.3),
            today.figure("corner_high", high_hz * warm, 60.0),
        ];
        let noise = vec![
            today.figure("noise_a", noise_dbfs + more_db, 0.1),
            Figure {
                at: at(&[("frequency_hz", 50.0 + today.normal(0.05))]),
                ..today.figure("hum", hum_dbfs, 0.5)
            },
        ];
        let xrun_count = i32::from(today.between(0.0, 1.0) < 0.01);
        [
            ("level", level),
            ("latency", latency),
            ("response", response),
            ("noise", noise),
        ]
        .map(|(analysis, figures)| Measurement {
            name: format!("measurements/{night:06}-{analysis}"),
            provenance: Some(Provenance {
                xrun_count,
                ..Provenance::default()
            }),
            ..scene::seen(&self.name, analysis, figures).measurement
        })
        .to_vec()
    }
}

/// A link's measurements with what they are held against; `past` has the newest night first.
fn seen_of(
    measurements: Vec<Measurement>,
    first: &[Measurement],
    past: &[Vec<Measurement>],
) -> Vec<Seen> {
    let with = |(index, measurement): (usize, Measurement)| Seen {
        measurement,
        baseline: Some(first[index].clone()),
        history: past.iter().map(|night| night[index].clone()).collect(),
    };
    measurements.into_iter().enumerate().map(with).collect()
}

#[test]
fn a_thousand_healthy_nights_of_32_links_have_at_most_one_finding_a_link_a_decade() {
    let links: Vec<Link> = (0..LINKS).map(Link::new).collect();
    let firsts: Vec<Vec<Measurement>> = links.iter().map(|link| link.night(0)).collect();
    let mut pasts: Vec<Vec<Vec<Measurement>>> =
        firsts.iter().map(|first| vec![first.clone()]).collect();
    let mut alarms = Vec::new();
    for night in 1..=NIGHTS {
        let mut run = Vec::new();
        for (link, (first, past)) in links.iter().zip(firsts.iter().zip(&mut pasts)) {
            let measurements = link.night(night);
            run.extend(seen_of(measurements.clone(), first, past));
            past.insert(0, measurements);
            past.truncate(HISTORY);
        }
        let found = run_findings(&run).into_iter();
        alarms.extend(found.map(|one| format!("night {night}: {} {:?}", one.link, one.finding)));
    }
    let decades = (LINKS * NIGHTS) as f64 / NIGHTS_A_DECADE;
    println!(
        "{} findings in {NIGHTS} healthy nights of {LINKS} links ({decades:.1} link decades)",
        alarms.len()
    );
    assert!(alarms.len() as f64 <= decades, "{alarms:#?}");
}

#[test]
fn the_same_nights_with_a_knob_turned_by_2_db_are_told_every_time() {
    // So that silence above is not that of rules that cannot speak.
    let links: Vec<Link> = (0..LINKS).map(Link::new).collect();
    for link in &links {
        let first = link.night(0);
        let mut today = link.night(100);
        for measurement in &mut today {
            let gains = measurement
                .figures
                .iter_mut()
                .filter(|figure| figure.id == "gain");
            gains.for_each(|gain| gain.value = gain.value.map(|db| db + 2.0));
        }
        let ids = scene::run_ids(&seen_of(today, &first, std::slice::from_ref(&first)));
        assert_eq!(ids, [format!("{} return-knob", link.name)]);
    }
}
