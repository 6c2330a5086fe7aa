//! Programme that is made up: syllables with stops and hisses, and notes with drums, with pauses and
//! natural decays. Nothing in it stops as abruptly as a link that mutes.

use std::f64::consts::TAU;

use goodwire_dsp::noise;

pub const RATE_HZ: f64 = 48_000.0;

/// A resonance of two poles.
#[derive(Clone, Copy, Default)]
struct Resonance {
    back: [f64; 2],
    gain: f64,
    state: [f64; 2],
}

impl Resonance {
    fn new(hz: f64, width_hz: f64) -> Self {
        let r = (-std::f64::consts::PI * width_hz / RATE_HZ).exp();
        Self {
            back: [2.0 * r * (TAU * hz / RATE_HZ).cos(), -r * r],
            gain: 1.0 - r,
            state: [0.0; 2],
        }
    }

    fn step(&mut self, x: f64) -> f64 {
        let y = self.gain * x + self.back[0] * self.state[0] + self.back[1] * self.state[1];
        self.state = [y, self.state[0]];
        y
    }
}

struct Draw {
    seed: u64,
    count: u64,
}

impl Draw {
    fn between(&mut self, low: f64, high: f64) -> f64 {
        self.count += 1;
        low + (high - low) * (noise::white(self.seed, self.count) / 2.0 + 0.5)
    }
}

/// Some seconds of speech (`seed` even) or music (odd) at a peak of some -10 dBFS, over a floor of
/// room noise 60 dB below full scale.
pub fn programme(seconds: usize, seed: u64) -> Vec<f32> {
    let mut samples = vec![0.0; seconds * RATE_HZ as usize];
    let mut draw = Draw { seed, count: 0 };
    let mut at = 0.3 * RATE_HZ;
    while (at as usize) < samples.len() {
        let rest = &mut samples[at as usize..];
        let length_s = if seed.is_multiple_of(2) {
            syllable(rest, &mut draw)
        } else {
            stroke(rest, &mut draw)
        };
        at += length_s * RATE_HZ;
    }
    let peak = samples.iter().fold(1e-9_f64, |peak, x| peak.max(x.abs()));
    let floor = |n: usize| 1e-3 * noise::gaussian(seed ^ 0xF100, n as u64);
    let mixed = samples.iter().enumerate();
    mixed
        .map(|(n, x)| (0.3 * x / peak + floor(n)) as f32)
        .collect()
}

/// A hiss or a stop, then a vowel that decays, then now and then a pause. Gives its seconds.
fn syllable(into: &mut [f64], draw: &mut Draw) -> f64 {
    let mut length_s = 0.0;
    let kind = draw.between(0.0, 1.0);
    if kind < 0.35 {
        let (rise_s, fall_s) = (draw.between(0.01, 0.04), draw.between(0.01, 0.03));
        let hiss_s = draw.between(0.05, 0.15);
        let mut colour = Resonance::new(draw.between(3_000.0, 8_000.0), 2_000.0);
        let loud = draw.between(0.02, 0.2);
        for (n, x) in into
            .iter_mut()
            .take(frames(hiss_s + 8.0 * fall_s))
            .enumerate()
        {
            let t = n as f64 / RATE_HZ;
            let envelope = (t / rise_s).min(1.0) * (-(t - hiss_s).max(0.0) / fall_s).exp();
            *x += loud
                * envelope
                * colour.step(noise::gaussian(
                    draw.seed ^ 1,
                    draw.count * 100_000 + n as u64,
                ));
        }
        length_s += hiss_s;
    } else if kind < 0.6 {
        // A stop: silence, then a burst.
        length_s += draw.between(0.04, 0.1);
        let from = frames(length_s).min(into.len());
        let mut colour = Resonance::new(draw.between(1_000.0, 4_000.0), 1_500.0);
        let decay_s = draw.between(0.003, 0.01);
        for (n, x) in into[from..].iter_mut().take(frames(0.08)).enumerate() {
            let envelope = (-(n as f64) / RATE_HZ / decay_s).exp();
            *x += envelope
                * colour.step(noise::gaussian(
                    draw.seed ^ 2,
                    draw.count * 100_000 + n as u64,
                ));
        }
        length_s += draw.between(0.01, 0.03);
    }
    length_s += vowel(into, draw, length_s);
    if draw.between(0.0, 1.0) < 0.15 {
        length_s += draw.between(0.2, 2.0);
    }
    length_s
}

/// A vowel of three formants from `from_s` on. Gives its seconds.
fn vowel(into: &mut [f64], draw: &mut Draw, from_s: f64) -> f64 {
    let from = frames(from_s).min(into.len());
    let (long_s, pitch_hz) = (draw.between(0.08, 0.3), draw.between(75.0, 260.0));
    let (rise_s, fall_s) = (draw.between(0.005, 0.03), draw.between(0.008, 0.05));
    let mut formants = [
        Resonance::new(draw.between(300.0, 800.0), draw.between(50.0, 100.0)),
        Resonance::new(draw.between(900.0, 2_300.0), draw.between(60.0, 150.0)),
        Resonance::new(draw.between(2_400.0, 3_500.0), draw.between(100.0, 250.0)),
    ];
    let mut phase = 0.0;
    for (n, x) in into[from..]
        .iter_mut()
        .take(frames(long_s + 8.0 * fall_s))
        .enumerate()
    {
        let t = n as f64 / RATE_HZ;
        phase += pitch_hz * (1.0 - 0.2 * t / long_s) / RATE_HZ;
        let pulse = if phase >= 1.0 {
            phase -= 1.0;
            1.0
        } else {
            0.0
        };
        let envelope = (t / rise_s).min(1.0) * (-(t - long_s).max(0.0) / fall_s).exp();
        let breath = 0.01 * noise::gaussian(draw.seed ^ 3, draw.count * 100_000 + n as u64);
        let sound = envelope * (20.0 * pulse + breath);
        *x += formants.iter_mut().map(|one| one.step(sound)).sum::<f64>();
    }
    long_s
}

/// A note or a drum, then time to the next one, now and then a pause. Gives its seconds.
fn stroke(into: &mut [f64], draw: &mut Draw) -> f64 {
    let loud = draw.between(0.1, 1.0);
    if draw.between(0.0, 1.0) < 0.4 {
        let decay_s = 0.008 * 20f64.powf(draw.between(0.0, 1.0));
        let mut colour = Resonance::new(draw.between(150.0, 9_000.0), draw.between(200.0, 5_000.0));
        for (n, x) in into.iter_mut().take(frames(12.0 * decay_s)).enumerate() {
            let envelope = (-(n as f64) / RATE_HZ / decay_s).exp();
            *x += 4.0
                * loud
                * envelope
                * colour.step(noise::gaussian(
                    draw.seed ^ 4,
                    draw.count * 100_000 + n as u64,
                ));
        }
    } else {
        let hz = 55.0 * 2f64.powf(draw.between(0.0, 5.0));
        let (ring_s, held_s) = (draw.between(0.1, 2.0), draw.between(0.05, 1.5));
        let damp_s = draw.between(0.01, 0.08);
        let detune = draw.between(0.997, 1.003);
        for (n, x) in into
            .iter_mut()
            .take(frames(held_s + 10.0 * damp_s))
            .enumerate()
        {
            let t = n as f64 / RATE_HZ;
            let envelope =
                (t / 0.003).min(1.0) * (-t / ring_s - (t - held_s).max(0.0) / damp_s).exp();
            let wave: f64 = (1..=6)
                .map(f64::from)
                .filter(|k| k * hz < 15_000.0)
                .map(|k| ((TAU * hz * k * t).sin() + (TAU * hz * detune * k * t).sin()) / k)
                .sum();
            *x += 0.5 * loud * envelope * wave;
        }
    }
    let next_s = draw.between(0.05, 0.5);
    if draw.between(0.0, 1.0) < 0.03 {
        next_s + draw.between(1.0, 4.0)
    } else {
        next_s
    }
}

fn frames(seconds: f64) -> usize {
    (seconds * RATE_HZ) as usize
}
