//! Running sums over the bins of a spectrum.

/// Running sum of one value a bin: means over any band in no time.
pub(super) struct Sums {
    /// Sum of the first k values that count, and how many count.
    sums: Vec<(f64, u32)>,
    per_bin_hz: f64,
    /// Lowest and highest frequency that means reach to.
    band_hz: [f64; 2],
}

impl Sums {
    /// Sums `values`, bins from 0 Hz on; those that are absent do not count.
    pub(super) fn new(
        values: impl Iterator<Item = Option<f64>>,
        per_bin_hz: f64,
        band_hz: [f64; 2],
    ) -> Self {
        let (mut total, mut count) = (0.0, 0);
        let sums = std::iter::once((0.0, 0))
            .chain(values.map(|value| {
                total += value.unwrap_or(0.0);
                count += u32::from(value.is_some());
                (total, count)
            }))
            .collect();
        Self {
            sums,
            per_bin_hz,
            band_hz,
        }
    }

    /// The value of one bin; 0 where it does not count.
    pub(super) fn value(&self, bin: usize) -> f64 {
        self.sums[bin + 1].0 - self.sums[bin].0
    }

    /// Mean over `half_hz` on either side of `frequency_hz`, within the band. Where less than
    /// half of the bins count the band is widened, to all there is at most.
    pub(super) fn mean(&self, frequency_hz: f64, half_hz: f64) -> f64 {
        let mut half_hz = half_hz;
        loop {
            let low_hz = (frequency_hz - half_hz).max(self.band_hz[0]);
            let high_hz = (frequency_hz + half_hz).min(self.band_hz[1]);
            let last = self.sums.len() - 1;
            let from = ((low_hz / self.per_bin_hz) as usize).min(last - 1);
            let to = ((high_hz / self.per_bin_hz) as usize + 1).clamp(from + 1, last);
            let count = self.sums[to].1 - self.sums[from].1;
            let is_all = low_hz <= self.band_hz[0] && high_hz >= self.band_hz[1];
            if 2 * count as usize >= to - from || is_all {
                return (self.sums[to].0 - self.sums[from].0) / f64::from(count.max(1));
            }
            half_hz *= 1.5;
        }
    }
}
