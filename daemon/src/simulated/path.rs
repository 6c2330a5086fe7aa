//! What a send or a return of the interface does to the sound: roll-off, then gain.

use super::{
    factor_of_db, filters::Filters, noise::WhiteNoise, random::Chance, rms_of_dbfs,
    settings::PathSettings,
};

/// One send or return.
#[derive(Debug, Clone)]
pub struct Path {
    filters: Filters,
    factor: f64,
    /// Noise of a return.
    noise: Option<WhiteNoise>,
}

impl Path {
    /// A send; sends make no noise.
    pub fn send(settings: &PathSettings, rate_hz: f64) -> Self {
        Self {
            filters: settings.filters(rate_hz),
            factor: factor_of_db(settings.gain_db),
            noise: None,
        }
    }

    /// A return.
    pub fn heard(settings: &PathSettings, rate_hz: f64, chance: Chance) -> Self {
        let noise = settings
            .noise_dbfs
            .map(|level| WhiteNoise::new(chance, rms_of_dbfs(level)));
        Self {
            noise,
            ..Self::send(settings, rate_hz)
        }
    }

    /// Takes the block along the path.
    pub fn process(&mut self, first_frame: u64, block: &mut [f64]) {
        self.filters.process(block);
        // Bit for bit the same as without: 1 · x is x.
        if self.factor != 1.0 {
            block.iter_mut().for_each(|x| *x *= self.factor);
        }
        if let Some(noise) = &self.noise {
            noise.add(first_frame, block);
        }
    }

    /// See [`Filters::settle`].
    pub fn settle(&mut self) {
        self.filters.settle();
    }
}
