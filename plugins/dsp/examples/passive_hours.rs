//! Watches healthy programme without a pilot, and prints every lapse that is invented:
//! `cargo run --release -p goodwire-dsp --example passive_hours -- 60` for 60 stretches of 2 minutes,
//! each alone and beside a cable.

#[path = "../tests/programme/mod.rs"]
mod programme;

use goodwire_dsp::watch::{Heard, PassiveWatch, Watch};
use programme::{RATE_HZ, programme};

/// The link is this much later than the cable, in frames.
const DELAY: usize = 1_500;

fn main() {
    let asked = std::env::args().nth(1).and_then(|count| count.parse().ok());
    let (mut hours, mut watched_s) = ([0.0; 2], 0.0);
    for seed in 0..asked.unwrap_or(10u64) {
        let cable = programme(120, seed);
        let mut link = vec![0.0; cable.len()];
        let mut smooth = 0.0;
        for (n, x) in cable[..cable.len() - DELAY].iter().enumerate() {
            smooth += 0.5 * (x - smooth);
            link[n + DELAY] = 0.4 * smooth;
        }
        for has_reference in [false, true] {
            let start = std::time::Instant::now();
            let mut watch = PassiveWatch::new(RATE_HZ, has_reference);
            for (k, (link, cable)) in link.chunks(4096).zip(cable.chunks(4096)).enumerate() {
                watch.hear(&Heard {
                    first_frame: 4096 * k as u64,
                    link,
                    reference: has_reference.then_some(cable),
                });
            }
            watch.close();
            watched_s += start.elapsed().as_secs_f64();
            hours[usize::from(has_reference)] +=
                watch.judged_frame_count() as f64 / RATE_HZ / 3600.0;
            for lapse in watch.take_lapses() {
                let at_s = lapse.start_frame / RATE_HZ;
                println!("seed {seed}, cable {has_reference}: {at_s:.3} s {lapse:?}");
            }
        }
        let speed = (hours[0] + hours[1]) * 3600.0 / watched_s;
        println!(
            "{:.2} h alone and {:.2} h beside a cable judged, {speed:.0} times real time",
            hours[0], hours[1]
        );
    }
}
