//! Finds the place of a short piece of a link in all that a player may play.

use super::narrow::{Narrow, decimation};
use crate::{Complex64, fft::Transform};

/// Frames that are rendered at a time, in samples of the watch.
const STEP: usize = 4096;
/// Points of the transforms: some 8 s at 16 kHz.
const SIZE: usize = 1 << 17;
/// The piece is found where it is as like as this: 11 standard deviations of noise, where an hour
/// of 16 kHz has 6 x 10^7 places, of which the best is at 6.
const LIKENESS_MIN: f64 = 0.2;

/// A piece of a link, prepared.
pub struct Search {
    rate_hz: f64,
    energy: f64,
    length: usize,
    transform: Transform,
    /// Conjugate spectrum of the piece.
    wanted: Vec<Complex64>,
}

impl Search {
    /// Prepares the search for `piece`, at `rate_hz`.
    #[must_use]
    pub fn new(rate_hz: f64, piece: &[f32]) -> Self {
        let mut samples = Vec::new();
        Narrow::new(rate_hz).take(piece, &mut samples);
        let mut transform = Transform::new(SIZE);
        let mut wanted = padded(&samples);
        transform.forward(&mut wanted);
        wanted.iter_mut().for_each(|value| *value = value.conj());
        Self {
            rate_hz,
            energy: samples.iter().map(|x| x * x).sum(),
            length: samples.len(),
            transform,
            wanted,
        }
    }

    /// The frame of `render`'s sound at which the piece begins, to a sample of the watch; `None`
    /// where it is nowhere in the first `frame_count` frames, or silent.
    pub fn place(
        mut self,
        render: &mut dyn FnMut(u64, &mut [f32]),
        frame_count: u64,
    ) -> Option<u64> {
        let whole = decimation(self.rate_hz);
        let mut narrow = Narrow::new(self.rate_hz);
        let mut frames = vec![0.0; STEP * whole];
        let (mut sound, mut first, mut rendered) = (Vec::new(), 0u64, 0u64);
        let mut best = (LIKENESS_MIN, None);
        while rendered < frame_count {
            let count = (frame_count - rendered).min(frames.len() as u64) as usize;
            render(rendered, &mut frames[..count]);
            narrow.take(&frames[..count], &mut sound);
            rendered += count as u64;
            if sound.len() < SIZE - STEP && rendered < frame_count {
                continue;
            }
            let (likeness, at) = self.best(&sound);
            if likeness > best.0 {
                best = (likeness, Some((first + at as u64) * whole as u64));
            }
            let done = sound.len().saturating_sub(self.length);
            sound.drain(..done);
            first += done as u64;
        }
        best.1
    }

    /// Largest likeness in `sound`, at most [`SIZE`] long, whatever its sign, and its place.
    fn best(&mut self, sound: &[f64]) -> (f64, usize) {
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

fn padded(samples: &[f64]) -> Vec<Complex64> {
    let mut data: Vec<Complex64> = samples.iter().map(|x| Complex64::from(*x)).collect();
    data.resize(SIZE, Complex64::default());
    data
}
