//! Bands in MHz: edges, overlap, and the way to the nearest band that is occupied.

/// What counts as touching: 1 Hz in MHz. Centres and widths of a manual are not exact in binary,
/// so that neighbours which share an edge seem to overlap by some 1e-13 MHz.
pub const TOUCHING_MHZ: f64 = 1e-6;

/// A band of frequencies in MHz, always of some width above zero.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Band {
    low_mhz: f64,
    high_mhz: f64,
}

/// Why two numbers are not a band.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum BandError {
    /// An edge or a width is NaN or infinite, or an edge is not above 0 MHz.
    #[error("a band from {low_mhz} to {high_mhz} MHz does not exist: edges are above 0 MHz")]
    Edges {
        /// Lower edge as given or computed.
        low_mhz: f64,
        /// Upper edge as given or computed.
        high_mhz: f64,
    },
    /// The upper edge is not above the lower one.
    #[error("a band from {low_mhz} to {high_mhz} MHz has no width: the lower edge comes first")]
    NoWidth {
        /// Lower edge as given or computed.
        low_mhz: f64,
        /// Upper edge as given or computed.
        high_mhz: f64,
    },
}

impl Band {
    /// The band between two edges in MHz.
    ///
    /// # Errors
    ///
    /// Edges that are no numbers above zero, or not in order.
    pub fn from_edges(low_mhz: f64, high_mhz: f64) -> Result<Self, BandError> {
        if !(low_mhz.is_finite() && high_mhz.is_finite() && low_mhz > 0.0) {
            return Err(BandError::Edges { low_mhz, high_mhz });
        }
        if high_mhz <= low_mhz {
            return Err(BandError::NoWidth { low_mhz, high_mhz });
        }
        Ok(Self { low_mhz, high_mhz })
    }

    /// The band of `width_mhz` around `centre_mhz`.
    ///
    /// # Errors
    ///
    /// As [`Band::from_edges`].
    pub fn around(centre_mhz: f64, width_mhz: f64) -> Result<Self, BandError> {
        Self::from_edges(centre_mhz - width_mhz / 2.0, centre_mhz + width_mhz / 2.0)
    }

    /// Lower edge in MHz.
    #[must_use]
    pub fn low_mhz(&self) -> f64 {
        self.low_mhz
    }

    /// Upper edge in MHz.
    #[must_use]
    pub fn high_mhz(&self) -> f64 {
        self.high_mhz
    }

    /// Middle between the edges in MHz.
    #[must_use]
    pub fn centre_mhz(&self) -> f64 {
        f64::midpoint(self.low_mhz, self.high_mhz)
    }

    /// Width in MHz.
    #[must_use]
    pub fn width_mhz(&self) -> f64 {
        self.high_mhz - self.low_mhz
    }

    /// Gap to another band in MHz, edge to edge: 0 where they touch, negative where they overlap.
    ///
    /// `max(other.low - self.high, self.low - other.high)`. A negative gap is the shortest way by
    /// which this band would have to be moved to be clear of the other one. It grows steadily
    /// while a channel sinks into a band, and stays meaningful when it is wholly inside.
    #[must_use]
    pub fn gap_mhz(&self, other: &Self) -> f64 {
        (other.low_mhz - self.high_mhz).max(self.low_mhz - other.high_mhz)
    }

    /// True when the two share more than an edge.
    #[must_use]
    pub fn overlaps(&self, other: &Self) -> bool {
        self.gap_mhz(other) < -TOUCHING_MHZ
    }

    /// What both have in common in MHz, 0 or more.
    #[must_use]
    pub fn shared_mhz(&self, other: &Self) -> f64 {
        (self.high_mhz.min(other.high_mhz) - self.low_mhz.max(other.low_mhz)).max(0.0)
    }
}

/// All that is occupied: bands in rising order that neither overlap nor touch.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Occupancy {
    bands: Vec<Band>,
}

impl Occupancy {
    /// The union of `bands`, in whatever order they come. Those that touch become one.
    #[must_use]
    pub fn union(bands: impl IntoIterator<Item = Band>) -> Self {
        let mut sorted: Vec<Band> = bands.into_iter().collect();
        sorted.sort_by(|a, b| a.low_mhz.total_cmp(&b.low_mhz));
        let mut union: Vec<Band> = Vec::with_capacity(sorted.len());
        for band in sorted {
            match union.last_mut() {
                Some(last) if last.gap_mhz(&band) <= TOUCHING_MHZ => {
                    last.high_mhz = last.high_mhz.max(band.high_mhz);
                }
                _ => union.push(band),
            }
        }
        Self { bands: union }
    }

    /// The bands, rising.
    #[must_use]
    pub fn bands(&self) -> &[Band] {
        &self.bands
    }

    /// Figure `separation`: MHz from `channel` to the nearest occupied band, edge to edge.
    ///
    /// Negative inside: the shortest way out of the band, see [`Band::gap_mhz`]. `None` when
    /// nothing is occupied.
    #[must_use]
    pub fn separation_mhz(&self, channel: &Band) -> Option<f64> {
        let gaps = self.bands.iter().map(|band| channel.gap_mhz(band));
        gaps.min_by(f64::total_cmp)
    }

    /// Figure `overlap`: the share of `channel` that is occupied, 0 to 100 %.
    #[must_use]
    pub fn overlap_percent(&self, channel: &Band) -> f64 {
        let shared_mhz: f64 = self.bands.iter().map(|band| channel.shared_mhz(band)).sum();
        100.0 * shared_mhz / channel.width_mhz()
    }
}
