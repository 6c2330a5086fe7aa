//! How many seconds of sound a watch judges in a second, of one link with its cable at 48 kHz. The
//! goal is 300: 24 hours in less than five minutes.

use std::hint::black_box;

use criterion::{Criterion, Throughput};
use goodwire_dsp::watch::{Heard, NoiseWatch, Pilot, Watch};

const RATE_HZ: f64 = 48_000.0;
const FRAMES: usize = 20 * 48_000;
const BLOCK: usize = 4_096;
/// Frames by which the link is later.
const DELAY: usize = 917;

fn main() {
    let mut criterion = Criterion::default().configure_from_args();
    let mut group = criterion.benchmark_group("watch");
    group.sample_size(10);
    // Elements are frames: 14.4 Melem/s are 300 times real time.
    group.throughput(Throughput::Elements(FRAMES as u64));
    let mut cable = vec![0.0; FRAMES];
    Pilot::new(RATE_HZ, -20.0, 1).render(0, &mut cable);
    let mut link = vec![0.0; DELAY];
    link.extend(&cable[..FRAMES - DELAY]);
    group.bench_function("noise, a healthy link", |bench| {
        bench.iter(|| judged(&link, &cable));
    });
    group.bench_function("the pilot alone", |bench| {
        let mut pilot = Pilot::new(RATE_HZ, -20.0, 1);
        let mut block = vec![0.0; FRAMES];
        bench.iter(|| pilot.render(0, black_box(&mut block)));
    });
    group.finish();
    criterion.final_summary();
}

fn judged(link: &[f32], cable: &[f32]) -> u64 {
    let mut watch = NoiseWatch::new(RATE_HZ);
    let blocks = link.chunks(BLOCK).zip(cable.chunks(BLOCK));
    for (number, (link, cable)) in (0..).zip(blocks) {
        watch.hear(&Heard {
            first_frame: number * BLOCK as u64,
            link: black_box(link),
            reference: Some(cable),
        });
    }
    watch.judged_frame_count()
}
