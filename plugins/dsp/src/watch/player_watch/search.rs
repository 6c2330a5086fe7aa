//! Finds the place of a short piece of a link in all that a player may play, step by step.

use crate::watch::narrow::{Narrow, decimation};
use crate::{Complex64, fft::Transform};

/// Hum and handling noise below this are kept out.
const LOW_HZ: f64 = 150.0;
/// Points of the transforms: some 8 s at 16 kHz.
const SIZE: usize = 1 << 17;
/// The piece is found where it is as like as this: 11 standard deviations of noise, where half an
/// hour of 16 kHz has 3 x 10^7 places, of which the best is at 6.
const LIKENESS_MIN: f64 = 0.2;

/// What a step found.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Found {
    /// There is more to look through.
    NotYet,
    /// The frame at which the piece begins, to a sample of the watch.
    At(u64),
    /// The piece is nowhere.
    Nowhere,
}

/// A piece of a link, and how far it was looked for.
pub struct Search {
    whole: usize,
    energy: f64,
    length: usize,
    transform: Transform,
    /// Conjugate spectrum of the piece.
    wanted: Vec<Complex64>,
    narrow: Narrow,
    /// Samples that are looked through next, and the sample at which they begin.
    sound: Vec<f64>,
    first: u64,
    rendered: u64,
}

impl Search {
    /// Prepares the search for `piece`, at `rate_hz`.
    #[must_use]
    pub fn new(rate_hz: f64, piece: &[f32]) -> Self {
        let mut samples = Vec::new();
        Narrow::new(rate_hz, LOW_HZ).take(piece, &mut samples);
        let mut transform = Transform::new(SIZE);
        let mut wanted = padded(&samples);
        transform.forward(&mut wanted);
        wanted.iter_mut().for_each(|value| *value = value.conj());
        Self {
            whole: decimation(rate_hz),
            energy: samples.iter().map(|x| x * x).sum(),
            length: samples.len(),
            transform,
            wanted,
            narrow: Narrow::new(rate_hz, LOW_HZ),
            sound: Vec::new(),
            first: 0,
            rendered: 0,
        }
    }

    /// Looks through the next seconds of the first `frame_count` frames of `render`.
    pub fn step(&mut self, render: &mut dyn FnMut(u64, &mut [f32]), frame_count: u64) -> Found {
        let room = ((SIZE - self.sound.len()) * self.whole) as u64;
        let count = (frame_count - self.rendered).min(room) as usize;
        let mut frames = vec![0.0; count];
        render(self.rendered, &mut frames);
        self.narrow.take(&frames, &mut self.sound);
        self.rendered += count as u64;
        let (likeness, at) = self.best();
        if likeness >= LIKENESS_MIN {
            return Found::At((self.first + at as u64) * self.whole as u64);
        }
        let done = self.sound.len().saturating_sub(self.length);
        self.sound.drain(..done);
        self.first += done as u64;
        if self.rendered < frame_count {
            Found::NotYet
        } else {
            Found::Nowhere
        }
    }

    /// Largest likeness in the sound, whatever its sign, and its place.
    fn best(&mut self) -> (f64, usize) {
        let sound = &self.sound;
        let mut data = padded(sound);
        self.transform.forward(&mut data);
        for (value, wanted) in data.iter_mut().zip(&self.wanted) {
            *value *= wanted;
        }
        self.transform.inverse(&mut data);
        let places = sound.len().saturating_sub(self.length);
        let mut energy: f64 = sound.iter().take(self.length).map(|x| x * x).sum();
        let mut best = (0.0, 0);
        for at in 0..places {
            let norm = (self.energy * energy).sqrt();
            let likeness = data[at].re.abs() / norm.max(f64::MIN_POSITIVE);
            // Below this the piece or the sound is silence, where rounding would decide.
            if norm > 1e-9 && likeness > best.0 {
                best = (likeness, at);
            }
            energy += sound[at + self.length].powi(2) - sound[at].powi(2);
            energy = energy.max(0.0);
        }
        best
    }
}

fn padded(sound: &[f64]) -> Vec<Complex64> {
    let mut data: Vec<Complex64> = sound.iter().map(|x| Complex64::from(*x)).collect();
    data.resize(SIZE, Complex64::default());
    data
}
