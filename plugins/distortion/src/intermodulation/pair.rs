//! Pairs of tones and what a bent line makes of them.

/// Highest order of products that are kept from folding onto those that are measured.
const FOLDING_ORDER_MAX: i32 = 9;

/// How far they have to keep, in Hz.
const FOLDING_DISTANCE_HZ: f64 = 25.0;

/// How a pair is made and what is read of it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Kind {
    /// A low, loud tone and a high, soft one.
    Modulation,
    /// Two equal tones.
    Difference,
}

/// `a` times the low frequency plus `b` times the high one.
pub type Product = (i32, i32);

impl Kind {
    /// Id of the figure.
    pub fn id(self) -> &'static str {
        match self {
            Self::Modulation => "imd_modulation",
            Self::Difference => "imd_difference",
        }
    }

    /// The products of second and of third order; those of one order add up arithmetically.
    pub fn products(self) -> [&'static [Product]; 2] {
        match self {
            Self::Modulation => [&[(1, 1), (-1, 1)], &[(2, 1), (-2, 1)]],
            Self::Difference => [&[(-1, 1)], &[(-1, 2), (2, -1)]],
        }
    }
}

/// Two tones that sound at once.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct TonePair {
    /// What kind of pair it is.
    pub kind: Kind,
    /// Frequency of the low tone in Hz.
    pub low_hz: f64,
    /// Frequency of the high tone in Hz.
    pub high_hz: f64,
}

impl TonePair {
    /// The tones' shares of the peak: 4 to 1, or equal ones.
    pub fn shares(&self) -> [f64; 2] {
        match self.kind {
            Kind::Modulation => [0.8, 0.2],
            Kind::Difference => [0.5, 0.5],
        }
    }

    /// Frequency of a product in Hz.
    pub fn product_hz(&self, (a, b): Product) -> f64 {
        f64::from(a) * self.low_hz + f64::from(b) * self.high_hz
    }

    /// The pair with its high tone (and, of equal tones, the low one) lowered by up to 2 %, so that
    /// no product up to the ninth order of a digital link at `rate_hz` folds onto one that is
    /// measured; as it is where there is no such pair.
    pub fn clear_of_folding(self, rate_hz: f64) -> Self {
        let lowered = |step: u32| {
            let share = 1.0 - 0.001 * f64::from(step);
            // Unequal steps: differences of the two move as well.
            let high_hz = (self.high_hz * share).round();
            let low_hz = match self.kind {
                Kind::Modulation => self.low_hz,
                Kind::Difference => (self.low_hz * share * share).round(),
            };
            Self {
                low_hz,
                high_hz,
                ..self
            }
        };
        std::iter::once(self)
            .chain((1..=20).map(lowered))
            .find(|pair| pair.folding_distance_hz(rate_hz) >= FOLDING_DISTANCE_HZ)
            .unwrap_or(self)
    }

    /// Least distance in Hz between a product that folded and a line that is measured.
    fn folding_distance_hz(&self, rate_hz: f64) -> f64 {
        let measured: Vec<f64> = (self.kind.products().into_iter().flatten())
            .chain(&[(1, 0), (0, 1)])
            .map(|&product| self.product_hz(product))
            .collect();
        let mut least = f64::INFINITY;
        for a in -FOLDING_ORDER_MAX..=FOLDING_ORDER_MAX {
            let rest = FOLDING_ORDER_MAX - a.abs();
            for b in -rest..=rest {
                let product_hz = self.product_hz((a, b));
                if product_hz < rate_hz / 2.0 {
                    continue;
                }
                let folded_hz = (product_hz - rate_hz * (product_hz / rate_hz).round()).abs();
                for line_hz in &measured {
                    least = least.min((folded_hz - line_hz).abs());
                }
            }
        }
        least
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn clear_pairs_lie_within_4_percent_and_keep_25_hz_from_what_folds() {
        for rate_hz in [44_100.0, 48_000.0, 96_000.0] {
            for (kind, low_hz, high_hz) in [
                (Kind::Modulation, 60.0, 7_000.0),
                (Kind::Modulation, 250.0, 8_000.0),
                (Kind::Difference, 17_000.0, 18_000.0),
                (Kind::Difference, 13_435.0, 14_142.0),
                (Kind::Difference, 3_359.0, 3_536.0),
            ] {
                let pair = TonePair {
                    kind,
                    low_hz,
                    high_hz,
                };
                let clear = pair.clear_of_folding(rate_hz);
                assert!(
                    clear.folding_distance_hz(rate_hz) >= 25.0,
                    "{clear:?} at {rate_hz} Hz"
                );
                assert!((0.98 * high_hz - 0.5..=high_hz).contains(&clear.high_hz));
                assert!((0.96 * low_hz - 0.5..=low_hz).contains(&clear.low_hz));
            }
        }
    }
}
