//! How much faster than real time the simulated rig computes, on one core.

use std::{hint::black_box, time::Duration};

use criterion::{Criterion, Throughput};
use goodwired::{
    audio::Interface,
    simulated::{
        RigSpec, SimulatedInterface,
        settings::{LinkSettings, PathSettings},
    },
};

const RATE_HZ: u32 = 48_000;
const LINK_COUNT: usize = 8;
const BLOCK_FRAMES: usize = 1024;

/// Noise-like and never too small to compute fast.
fn block() -> Vec<f32> {
    (0..BLOCK_FRAMES as u32)
        .map(|n| (n.wrapping_mul(2_654_435_761) as f32 / 2e10).sin())
        .collect()
}

/// Plays blocks on all sends, for as long as it is used.
struct Player {
    interface: SimulatedInterface,
    block: Vec<f32>,
    heard: Vec<Vec<f32>>,
    at_frame: u64,
}

impl Player {
    fn new(spec: &RigSpec) -> Self {
        Self {
            interface: SimulatedInterface::new(spec),
            block: block(),
            heard: vec![Vec::new(); spec.return_count],
            at_frame: 0,
        }
    }

    fn step(&mut self) {
        let sends = vec![&self.block[..]; self.heard.len()];
        self.heard.iter_mut().for_each(Vec::clear);
        let report = self
            .interface
            .exchange(self.at_frame, &sends, &mut self.heard, Duration::ZERO)
            .expect("it never vanishes");
        self.at_frame += report.frame_count as u64;
        black_box(&self.heard);
    }

    /// Seconds of stream time in a second of this thread on a core, over a minute of stream time.
    fn ratio(&mut self) -> f64 {
        let (start_frame, start_s) = (self.at_frame, core_s());
        while self.at_frame < start_frame + 60 * u64::from(RATE_HZ) {
            self.step();
        }
        let stream_s = (self.at_frame - start_frame) as f64 / f64::from(RATE_HZ);
        stream_s / (core_s() - start_s)
    }
}

/// Seconds for which this thread has had a core: other programs on the machine do not count.
fn core_s() -> f64 {
    let text = std::fs::read_to_string("/proc/thread-self/schedstat").expect("Linux says it");
    let ns: f64 = text
        .split(' ')
        .next()
        .and_then(|ns| ns.parse().ok())
        .expect("ns on a core");
    ns / 1e9
}

/// Eight links, all with `settings`.
fn rig(settings: &LinkSettings) -> RigSpec {
    let mut spec = RigSpec::healthy(RATE_HZ, LINK_COUNT);
    for link in &mut spec.links {
        link.settings = settings.clone();
    }
    spec
}

/// Rigs from the plainest to one in which everything is on.
fn rigs() -> Vec<(&'static str, RigSpec)> {
    let usual = LinkSettings {
        delay_ms: 4.123,
        high_corner_hz: 18_000.0,
        filter_order: 4,
        ..LinkSettings::default()
    };
    let all = LinkSettings {
        hum_dbfs: Some(-70.0),
        polynomial: vec![0.001, 0.001],
        hard_clip_dbfs: Some(-3.0),
        skew_ppm: 20.0,
        resync_jitter_ms: 0.1,
        resync_every_s: 1.0,
        idle_below_dbfs: Some(-60.0),
        dropouts_per_minute: 6.0,
        hears: "link-1".into(),
        ..usual.clone()
    };
    let mut everything = rig(&all);
    let rolled_off = PathSettings {
        high_corner_hz: 20_000.0,
        ..PathSettings::default()
    };
    everything.sends = vec![rolled_off.clone(); LINK_COUNT + 1];
    everything.returns = vec![rolled_off; LINK_COUNT + 1];
    vec![
        ("healthy", rig(&LinkSettings::default())),
        ("band limits and fractional delays", rig(&usual)),
        ("everything at once", everything),
    ]
}

fn main() {
    let mut criterion = Criterion::default().configure_from_args().sample_size(20);
    for (name, spec) in rigs() {
        println!(
            "eight links, {name}: {:.0} x real time",
            Player::new(&spec).ratio()
        );
        let mut group = criterion.benchmark_group("simulated rig");
        group.throughput(Throughput::Elements(BLOCK_FRAMES as u64));
        let mut player = Player::new(&spec);
        group.bench_function(name, |bencher| bencher.iter(|| player.step()));
        group.finish();
    }
    criterion.final_summary();
}
