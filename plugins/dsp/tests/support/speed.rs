//! An analysis of about 7 s of sound with a reference, beside the bare transforms that it cannot
//! avoid: both channels and the stimulus once forward, both channels once back.
//!
//! The goals are 60 ms on one core, and at most 1.5 times the bare transforms.

use std::{hint::black_box, time::Duration};

use criterion::Criterion;
use goodwire_dsp::fft::{Transform, smooth_size};
use goodwire_plugin_sdk::{Kind, Plugin};

#[path = "link.rs"]
mod link;

use link::{Bench, delayed, low_pass, through, with_noise};

const RATE_HZ: i32 = 48_000;
/// Silence after the stimulus, in frames.
const TAIL_FRAMES: usize = 24_000;
/// RMS of the noise on both channels: 100 dB below full scale.
const NOISE_RMS: f64 = 1e-5;

/// What was sent, what the link returned, what the cable returned.
struct Take {
    sent: Vec<f32>,
    returned: Vec<f32>,
    reference: Vec<f32>,
}

impl Take {
    fn of<P: Plugin>(bench: &Bench) -> Self {
        let sent = bench.sent::<P>();
        let rate_hz = f64::from(RATE_HZ);
        let (late, dull) = (delayed(300.25, rate_hz), low_pass(18_000.0, 2));
        let returned = through(&sent, rate_hz, TAIL_FRAMES, |f| late(f) * dull(f) * 0.7);
        let reference = through(&sent, rate_hz, TAIL_FRAMES, delayed(64.0, rate_hz));
        Self {
            returned: with_noise(&returned, NOISE_RMS, 1),
            reference: with_noise(&reference, NOISE_RMS, 2),
            sent,
        }
    }

    fn seconds(&self) -> f64 {
        self.returned.len() as f64 / f64::from(RATE_HZ)
    }

    /// The transforms that no analysis of the whole can avoid.
    fn transforms(&self) -> impl FnMut() {
        let wide = |samples: &[f32]| samples.iter().copied().map(f64::from).collect::<Vec<_>>();
        let size = smooth_size(self.returned.len() + self.sent.len());
        let padded = |samples: &[f32]| {
            let mut samples = wide(samples);
            samples.resize(size, 0.0);
            samples
        };
        let [sent, link, cable] = [&self.sent, &self.returned, &self.reference].map(|s| padded(s));
        let silence = vec![0.0; size];
        let mut transform = Transform::new(size);
        move || {
            let [link, cable] = transform.forward_pair(&link, &cable);
            black_box(transform.forward_pair(&sent, &silence));
            black_box(transform.inverse_pair(&link, &cable));
        }
    }
}

/// Runs both, with some parameters set otherwise than by default.
#[allow(dead_code, reason = "an analysis with methods is compared by these")]
pub fn compare<P: Plugin>(analysis: &str, settings: &[(&str, f64)]) {
    let set = |bench: Bench, (id, number): &(&str, f64)| bench.set(id, *number);
    let bench = settings.iter().fold(Bench::of::<P>(analysis, RATE_HZ), set);
    compare_bench::<P>(analysis, &bench);
}

/// Runs both for an analysis by one of its methods.
#[allow(dead_code, reason = "only one analysis has methods")]
pub fn compare_method<P: Plugin>(analysis: &str, method: &str) {
    let mut bench = Bench::of::<P>(analysis, RATE_HZ);
    bench.insert("method", Kind::StringValue(method.to_owned()));
    compare_bench::<P>(&format!("{analysis} {method}"), &bench);
}

fn compare_bench<P: Plugin>(analysis: &str, bench: &Bench) {
    let mut criterion = Criterion::default().configure_from_args();
    let take = Take::of::<P>(bench);
    let mut group = criterion.benchmark_group(format!("{analysis}, {:.1} s", take.seconds()));
    group
        .sample_size(20)
        .measurement_time(Duration::from_secs(4));
    group.bench_function("analysis", |bencher| {
        bencher.iter(|| {
            let result = bench.analyse::<P>(&take.sent, &take.returned, Some(&take.reference));
            black_box(result)
        });
    });
    group.bench_function("bare transforms", |bencher| {
        let transforms = take.transforms();
        bencher.iter(transforms);
    });
    group.finish();
    criterion.final_summary();
}
