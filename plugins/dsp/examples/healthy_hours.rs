//! Watches healthy simulated links, each of other filters, clock, level, noise and coder, and prints
//! every lapse that is invented: `cargo run --release -p goodwire-dsp --example healthy_hours -- 100 7`
//! for 100 links of 6 minutes each, from number 7 on: so that several processes share the work.

use std::f64::consts::TAU;

use goodwire_dsp::noise;
use goodwire_dsp::watch::{Heard, NoiseWatch, Pilot, Watch};

const RATE_HZ: f64 = 48_000.0;
const FRAMES: usize = 360 * 48_000;

fn main() {
    let asked = |place: usize| {
        std::env::args()
            .nth(place)
            .and_then(|text| text.parse().ok())
    };
    let (count, first): (u64, u64) = (asked(1).unwrap_or(10), asked(2).unwrap_or(0));
    let mut sent = vec![0.0; FRAMES];
    let (mut hours, mut watched_s, mut invented) = (0.0, 0.0, 0);
    for seed in first..first + count {
        Pilot::new(RATE_HZ, -20.0, seed).render(0, &mut sent);
        let link = carried(&sent, seed);
        let start = std::time::Instant::now();
        let mut watch = NoiseWatch::new(RATE_HZ);
        for (k, (link, cable)) in link.chunks(4096).zip(sent.chunks(4096)).enumerate() {
            watch.hear(&Heard {
                first_frame: 4096 * k as u64,
                link,
                reference: Some(cable),
            });
        }
        watch.close();
        watched_s += start.elapsed().as_secs_f64();
        let lapses = watch.take_lapses();
        invented += lapses.len();
        hours += watch.judged_frame_count() as f64 / RATE_HZ / 3600.0;
        if !lapses.is_empty() {
            println!("link {seed}: {lapses:?}");
        }
        let speed = hours * 3600.0 / watched_s;
        println!("{hours:.2} h judged at {speed:.0} times real time, {invented} invented");
    }
}

/// A link drawn from the seed: delay of 0.05 to 0.3 s, so that no drift makes it early, clock
/// within 100 ppm, high-pass to 80 Hz, low-pass from 4 kHz, level swaying by 3 dB, noise to 20 dB
/// below it, every other one with a 4-bit coder.
fn carried(sent: &[f32], seed: u64) -> Vec<f32> {
    let draw = |n: u64| noise::white(seed, n) / 2.0 + 0.5;
    let (delay, ppm) = (2_400.0 + draw(1) * 12_000.0, 200.0 * draw(2) - 100.0);
    let pole = |hz: f64| (-TAU * hz / RATE_HZ).exp();
    let low = 1.0 - pole(4_000.0 * 4f64.powf(draw(3)));
    let high = pole(80.0 * draw(4));
    let (sway_db, period_s) = (3.0 * draw(5), 5.0 + 20.0 * draw(6));
    let (mut smooth, mut slow) = (0.0, 0.0);
    let mut back: Vec<f64> = (0..sent.len())
        .map(|n| {
            smooth += low * (between(sent, n as f64 * (1.0 - ppm * 1e-6) - delay) - smooth);
            slow = high * slow + (1.0 - high) * smooth;
            let sway = sway_db * (n as f64 / RATE_HZ / period_s * TAU).sin();
            -0.4 * (smooth - slow) * 10f64.powf(sway / 20.0)
        })
        .collect();
    if seed % 2 == 1 {
        code(&mut back, 8.0);
    }
    let power = back.iter().map(|x| x * x).sum::<f64>() / back.len() as f64;
    let hiss = power.sqrt() * 10f64.powf(-(20.0 + 30.0 * draw(7)) / 20.0);
    let noisy = back.iter().zip(0u64..);
    noisy
        .map(|(x, n)| (x + hiss * 3f64.sqrt() * noise::white(seed ^ 77, n)) as f32)
        .collect()
}

/// Blocks of 5 ms, each in `2 x half_steps` steps of its own peak.
fn code(back: &mut [f64], half_steps: f64) {
    for block in back.chunks_mut(240) {
        let peak = block.iter().fold(1e-9_f64, |peak, x| peak.max(x.abs()));
        let step = peak / half_steps;
        block
            .iter_mut()
            .for_each(|x| *x = (*x / step).round() * step);
    }
}

/// Third-order Lagrange interpolation, silence outside.
fn between(sent: &[f32], at: f64) -> f64 {
    let base = at.floor();
    let t = at - base;
    let x = |k: i64| {
        let place = usize::try_from(base as i64 + k).ok();
        place
            .and_then(|i| sent.get(i))
            .map_or(0.0, |x| f64::from(*x))
    };
    x(-1) * -t * (t - 1.0) * (t - 2.0) / 6.0
        + x(0) * (t + 1.0) * (t - 1.0) * (t - 2.0) / 2.0
        + x(1) * -(t + 1.0) * t * (t - 2.0) / 2.0
        + x(2) * (t + 1.0) * t * (t - 1.0) / 6.0
}
