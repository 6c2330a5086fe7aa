//! Whose send a return hears, told by the wake-up: its noise has another seed on every send.
//!
//! What a return heard while its own wake-up and another send's both played is correlated with
//! either. Independent white noise of N frames has a likeness of standard deviation 1 / √N, so with
//! 1.5 s of wake-up a neighbour is told from about 30 dB below the link's own sound up.

use std::{ops::Range, sync::Arc};

use goodwire_dsp::fft::{Transform, smooth_size};
use goodwire_proto::v1::{Note, note::Level};

use super::complete::note;
use crate::audio::performance::Captured;

/// A return hears a neighbour beside its own send.
pub const BESIDE: &str = "neighbours-sound";
/// A return hears a neighbour and nothing of its own send.
pub const INSTEAD: &str = "neighbours-sound-instead";

/// A likeness of more standard deviations is no chance: over the 12 000 places of a search and 56
/// pairs of links it comes by chance once in 10⁹ batches.
const SIGMAS: f64 = 8.0;
/// Shorter stretches that two wake-ups share say nothing, in seconds.
const SHARED_S: f64 = 0.3;
/// No link is later than this, in seconds; one that is, is not told from a silent one here.
const LATE_S: f64 = 0.25;

/// The wake-up of one send.
#[derive(Debug, Clone)]
pub struct WakeUp {
    /// Names of the links on the send.
    pub links: String,
    /// Frames by which it plays later than the reference.
    pub delay_frames: u64,
    /// Its stimulus, which begins with the wake-up.
    pub stimulus: Arc<[f32]>,
}

/// Listens to one return while the wake-ups of a batch play.
#[derive(Debug)]
pub struct Ear {
    wake_ups: Arc<[WakeUp]>,
    own: usize,
    wake_frames: usize,
    rate_hz: f64,
    return_index: usize,
    heard: Vec<f32>,
}

impl Ear {
    /// For the return at `return_index`, whose own send has `wake_ups[own]`.
    pub fn new(
        wake_ups: &Arc<[WakeUp]>,
        own: usize,
        return_index: usize,
        [wake_s, rate_hz]: [f64; 2],
    ) -> Self {
        Self {
            wake_ups: Arc::clone(wake_ups),
            own,
            wake_frames: (wake_s * rate_hz) as usize,
            rate_hz,
            return_index,
            heard: Vec::new(),
        }
    }

    /// Hears more, until the own wake-up has ended.
    pub fn hear(&mut self, captured: &Captured) {
        let end = self.wake_ups[self.own].delay_frames as usize + self.wake_frames;
        if captured.first_frame == self.heard.len() as u64 && self.heard.len() < end {
            self.heard.extend(&captured.returns[self.return_index]);
        }
    }

    /// Says whose send was heard: of several the loudest. `None` where it was the own one alone.
    pub fn note(&self) -> Option<Note> {
        let own = self.likeness(self.own)?;
        let others = (0..self.wake_ups.len()).filter(|other| *other != self.own);
        let told = others.filter_map(|other| {
            let is_other = self.wake_up(other) != self.wake_up(self.own);
            let likeness = self.likeness(other).filter(|_| is_other)?;
            likeness.is_told().then_some((other, likeness.value))
        });
        let (other, value) = told.max_by(|one, two| one.1.total_cmp(&two.1))?;
        let text = format!(
            "The return hears the sound of {}'s send",
            self.wake_ups[other].links
        );
        Some(if own.is_told() {
            let level_db = 20.0 * (value / own.value).log10();
            let text = format!("{text} ({level_db:.0} dB re its own)");
            note(Level::Warning, BESIDE, text)
        } else {
            let text = format!("{text} instead of its own");
            note(Level::Warning, INSTEAD, text)
        })
    }

    fn wake_up(&self, index: usize) -> &[f32] {
        let stimulus = &self.wake_ups[index].stimulus;
        &stimulus[..self.wake_frames.min(stimulus.len())]
    }

    /// Performance frames in which the own wake-up and that one both play.
    fn shared(&self, other: usize) -> Range<usize> {
        let delays = [self.own, other].map(|index| self.wake_ups[index].delay_frames as usize);
        let end = delays[0].min(delays[1]) + self.wake_frames;
        delays[0].max(delays[1])..end.min(self.heard.len())
    }

    /// How like the return is to a wake-up, at the best place; `None` where too little is shared.
    fn likeness(&self, other: usize) -> Option<Likeness> {
        let shared = self.shared(other);
        if (shared.len() as f64) < SHARED_S * self.rate_hz {
            return None;
        }
        let late_frames = (LATE_S * self.rate_hz) as usize;
        let (wake_up, delay) = (
            self.wake_up(other),
            self.wake_ups[other].delay_frames as usize,
        );
        let sent = |frame: usize| {
            let index = (frame + shared.start).checked_sub(delay + late_frames);
            index.and_then(|index| wake_up.get(index)).copied()
        };
        let heard: Vec<f64> = self.heard[shared.clone()]
            .iter()
            .map(|&x| x.into())
            .collect();
        let sent: Vec<f64> = (0..shared.len() + late_frames)
            .map(|frame| sent(frame).unwrap_or_default().into())
            .collect();
        Some(Likeness {
            value: likeness(&heard, &sent),
            frame_count: shared.len(),
        })
    }
}

/// A normalised correlation, 0 to 1, over so many frames.
struct Likeness {
    value: f64,
    frame_count: usize,
}

impl Likeness {
    fn is_told(&self) -> bool {
        self.value > SIGMAS / (self.frame_count as f64).sqrt()
    }
}

/// Largest `|sum y x_m| / sqrt(sum y² sum x_m²)` of `y` and every stretch `x_m` of `x` as long.
fn likeness(y: &[f64], x: &[f64]) -> f64 {
    let mut transform = Transform::new(smooth_size(x.len()));
    let [spectrum_y, spectrum_x] = transform.forward_pair(y, x);
    let pairs = spectrum_y.iter().zip(&spectrum_x);
    let product: Vec<_> = pairs.map(|(y, x)| y.conj() * x).collect();
    let [correlation, _] = transform.inverse_pair(&product, &product);
    let energy = |samples: &[f64]| samples.iter().map(|x| x * x).sum::<f64>();
    let (energy_y, mut energy_x) = (energy(y), energy(&x[..y.len()]));
    let mut best: f64 = 0.0;
    for place in 0..=x.len() - y.len() {
        let scale = (energy_y * energy_x).sqrt();
        if scale > 0.0 {
            best = best.max(correlation[place].abs() / scale);
        }
        if let Some(next) = x.get(place + y.len()) {
            energy_x += next * next - x[place] * x[place];
        }
    }
    best
}

#[cfg(test)]
mod tests {
    use goodwire_dsp::noise;

    use super::*;

    const RATE_HZ: f64 = 48_000.0;
    const WAKE_FRAMES: usize = 72_000;

    /// What the first of three links hears: of each send so much, 4 ms late, in a little noise.
    fn heard(factors: [f64; 3]) -> Option<Note> {
        let wake_up = |seed: u64| WakeUp {
            links: format!("link-{seed}"),
            delay_frames: (seed - 1) * 4800,
            stimulus: (0..WAKE_FRAMES as u64)
                .map(|n| noise::white(seed, n) as f32)
                .collect(),
        };
        let wake_ups: Arc<[WakeUp]> = (1..=3).map(wake_up).collect();
        let sound = |frame: usize| {
            let of = |(wake_up, factor): (&WakeUp, f64)| {
                let index = frame.checked_sub(192 + wake_up.delay_frames as usize)?;
                Some(factor * f64::from(*wake_up.stimulus.get(index)?))
            };
            let sum: f64 = wake_ups.iter().zip(factors).filter_map(of).sum();
            (sum + 1e-3 * noise::white(99, frame as u64)) as f32
        };
        let mut ear = Ear::new(&wake_ups, 0, 0, [1.5, RATE_HZ]);
        for first in (0..90_000).step_by(4096) {
            ear.hear(&Captured {
                epoch: 1,
                first_frame: first as u64,
                stream_frame: first as u64,
                returns: vec![(first..first + 4096).map(sound).collect()],
            });
        }
        ear.note()
    }

    #[test]
    fn a_neighbour_20_db_below_the_own_sound_is_told_within_1_db_and_the_own_alone_is_not() {
        let note = heard([0.5, 0.0, 0.05]).expect("it is heard");
        assert_eq!(note.id, BESIDE);
        let right = ["(-19 dB", "(-20 dB", "(-21 dB"];
        assert!(
            note.text.contains("link-3") && right.iter().any(|one| note.text.contains(one)),
            "{}",
            note.text
        );
        assert_eq!(heard([0.5, 0.0, 0.0]), None);
    }

    #[test]
    fn a_neighbour_instead_of_the_own_sound_is_told_and_silence_is_not() {
        let note = heard([0.0, 0.5, 0.0]).expect("it is heard");
        assert_eq!(note.id, INSTEAD);
        assert!(note.text.contains("link-2's send instead"), "{}", note.text);
        assert_eq!(heard([0.0; 3]), None);
    }
}
