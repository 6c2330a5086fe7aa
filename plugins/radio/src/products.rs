//! Third-order intermodulation: where carriers that meet in something bent make new ones.
//!
//! A term of third order multiplies three carriers. Those of its products that stay near them are
//! `2a - b` of two carriers, `n (n - 1)` of `n`, and `a + b - c` of three,
//! `n (n - 1)(n - 2) / 2`. At equal levels one of three carriers is 6.02 dB above one of two:
//! the cube's coefficients are 3/2 and 3/4.
//!
//! **How wide a product is.** To multiply signals is to convolve their spectra. A convolution is
//! zero outside the sum of the bands that went in, and subtracting `c` mirrors its band, so
//! `a + b - c` reaches from `a.low + b.low - c.high` to `a.high + b.high - c.low`: the bandwidths
//! add, and three equal ones make a product three times as wide. Its power gathers in the middle:
//! convolving three even spectra gives the quadratic B-spline, whose middle third holds 2/3 and
//! each outer third 1/6 (integrated from its formula). [`Extent`] chooses between the two views.

use crate::band::Band;

/// How much of a product is kept clear of.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub enum Extent {
    /// Its centre alone, as rasters and rulers count (common practice, no source).
    #[default]
    Centre,
    /// The whole band that the convolution fills.
    Whole,
}

/// Which carriers a product is made of, by their place in the set.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Mix {
    /// `2a - b`.
    Two {
        /// The place of `a`.
        doubled: usize,
        /// The place of `b`.
        taken: usize,
    },
    /// `a + b - c`.
    Three {
        /// The places of `a` and `b`, rising.
        added: [usize; 2],
        /// The place of `c`.
        taken: usize,
    },
}

impl Mix {
    /// The places of what is added, added and taken; in `2a - b` the first two are the same.
    #[must_use]
    pub fn places(self) -> [usize; 3] {
        match self {
            Self::Two { doubled, taken } => [doubled, doubled, taken],
            Self::Three { added, taken } => [added[0], added[1], taken],
        }
    }
}

/// A third-order product of a set of carriers.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Product {
    /// What it is made of.
    pub mix: Mix,
    /// Lower edge of the whole band that it fills, in MHz; below 0 for a few wide carriers.
    pub low_mhz: f64,
    /// Upper edge in MHz.
    pub high_mhz: f64,
}

impl Product {
    fn of(mix: Mix, carrier: impl Fn(usize) -> Band) -> Self {
        let [a, b, c] = mix.places().map(carrier);
        Self {
            mix,
            low_mhz: a.low_mhz() + b.low_mhz() - c.high_mhz(),
            high_mhz: a.high_mhz() + b.high_mhz() - c.low_mhz(),
        }
    }

    /// Where its middle is, in MHz.
    #[must_use]
    pub fn centre_mhz(&self) -> f64 {
        f64::midpoint(self.low_mhz, self.high_mhz)
    }

    /// Gap in MHz between `channel` and the product, edge to edge; negative where it falls in.
    #[must_use]
    pub fn gap_mhz(&self, channel: &Band, extent: Extent) -> f64 {
        let [low_mhz, high_mhz] = match extent {
            Extent::Centre => [self.centre_mhz(); 2],
            Extent::Whole => [self.low_mhz, self.high_mhz],
        };
        (low_mhz - channel.high_mhz()).max(channel.low_mhz() - high_mhz)
    }
}

/// Every third-order product of `carriers` near them, of two first, then of three, in the order of
/// the carriers.
#[must_use]
pub fn third_order(carriers: &[Band]) -> Vec<Product> {
    let places = 0..carriers.len();
    let two = places.clone().flat_map(|doubled| {
        let others = places.clone().filter(move |&taken| taken != doubled);
        others.map(move |taken| Mix::Two { doubled, taken })
    });
    let pairs = places
        .clone()
        .flat_map(|a| places.clone().skip(a + 1).map(move |b| [a, b]));
    let three = pairs.flat_map(|added| {
        let others = places.clone().filter(move |place| !added.contains(place));
        others.map(move |taken| Mix::Three { added, taken })
    });
    two.chain(three)
        .map(|mix| Product::of(mix, |place| carriers[place]))
        .collect()
}

/// The products that `last` adds to those of `carriers`, behind which it takes its place.
pub(crate) fn with_last(carriers: &[Band], last: Band) -> impl Iterator<Item = Product> {
    let new = carriers.len();
    let two = (0..new).flat_map(move |place| {
        [[new, place], [place, new]].map(|[doubled, taken]| Mix::Two { doubled, taken })
    });
    let pairs = (0..new).flat_map(|a| (0..a).map(move |b| [b, a]));
    let three = pairs.flat_map(move |[a, b]| {
        [([a, b], new), ([a, new], b), ([b, new], a)]
            .map(|(added, taken)| Mix::Three { added, taken })
    });
    let carrier = move |place: usize| carriers.get(place).copied().unwrap_or(last);
    two.chain(three).map(move |mix| Product::of(mix, carrier))
}

/// Figure `intermodulation_gap`: MHz from `channel` to the nearest of `products`, edge to edge.
///
/// Negative where one falls in, `None` without products. Products of the channel's own carrier
/// count too: where it is added they lie as far from it as carriers lie apart, but `a + b - c`
/// falls on `c` itself where `c` is midway between the others.
#[must_use]
pub fn intermodulation_gap_mhz(
    channel: &Band,
    products: &[Product],
    extent: Extent,
) -> Option<f64> {
    let gaps = products
        .iter()
        .map(|product| product.gap_mhz(channel, extent));
    gaps.min_by(f64::total_cmp)
}

/// True when no product of `carriers` comes nearer to one of them than `guard_mhz`.
#[must_use]
pub fn are_free(carriers: &[Band], guard_mhz: f64, extent: Extent) -> bool {
    let products = third_order(carriers);
    let gap = |channel| intermodulation_gap_mhz(channel, &products, extent);
    carriers
        .iter()
        .all(|channel| gap(channel).is_none_or(|gap_mhz| keeps_guard(gap_mhz, guard_mhz)))
}

/// True when a gap is at least the guard, to 1 Hz: neither is exact in binary.
#[must_use]
pub(crate) fn keeps_guard(gap_mhz: f64, guard_mhz: f64) -> bool {
    gap_mhz >= guard_mhz - crate::band::TOUCHING_MHZ
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn seven_carriers_added_one_by_one_bring_the_147_products_of_all_of_them_once() {
        let carriers: Vec<Band> = (0..7)
            .map(|n| Band::around(600.0 + f64::from(n * n), 0.2).expect("a band"))
            .collect();
        let sorted = |mut products: Vec<Product>| {
            products.sort_by_key(|product| format!("{:?}", product.mix));
            products
        };
        let one_by_one = (0..7).flat_map(|n| with_last(&carriers[..n], carriers[n]));
        let one_by_one = sorted(one_by_one.collect());
        assert_eq!(one_by_one.len(), 7 * 6 + 7 * 6 * 5 / 2);
        assert_eq!(one_by_one, sorted(third_order(&carriers)));
    }
}
