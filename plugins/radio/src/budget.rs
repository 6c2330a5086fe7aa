//! How far a link may reach: free-space loss, margins, noise, and how little that is worth.

use std::f64::consts::PI;

/// Speed of light in m/s, exact. Source: SI.
const LIGHT_M_PER_S: f64 = 299_792_458.0;

/// Boltzmann's constant in J/K, exact. Source: SI.
const BOLTZMANN_J_PER_K: f64 = 1.380_649e-23;

/// Temperature in K that noise figures refer to. Source: ITU-R P.372 (from memory).
pub const NOISE_TEMPERATURE_K: f64 = 290.0;

/// What bodies between the aerials may take, in dB: a person in the way, a pack worn under
/// clothes. Common practice, no source.
pub const BODY_MARGIN_DB_USUAL: f64 = 20.0;

/// Standard uncertainty in dB of a loss that is computed for a room in which nothing was measured.
///
/// Source: ITU-R P.1238, indoor propagation: the loss around its mean over distance spreads with a
/// standard deviation of 8 to 12 dB in homes, offices and shops at 2 GHz (from memory).
pub const ROOM_SPREAD_DB: f64 = 10.0;

/// Coverage factor of the reach that is reported: about 95 % of a normal spread. Source: JCGM 100
/// (GUM), 6.2.
const COVERAGE_FACTOR: f64 = 2.0;

/// Why a budget cannot be drawn up.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum BudgetError {
    /// A number that has to be above zero is not, or is no number.
    #[error("{what} is {value} {unit}: it has to be above zero")]
    NotPositive {
        /// What it is.
        what: &'static str,
        /// What was given.
        value: f64,
        /// Its unit.
        unit: &'static str,
    },
    /// A level or gain is no number.
    #[error("{what} is {value} {unit}: it has to be a finite number")]
    NotFinite {
        /// What it is.
        what: &'static str,
        /// What was given.
        value: f64,
        /// Its unit.
        unit: &'static str,
    },
    /// The aerials are so near that they do not radiate at each other.
    #[error(
        "at {distance_m} m the aerials are nearer than {near_m:.2} m, a wavelength over 2 pi, \
         where free-space loss does not hold"
    )]
    TooNear {
        /// Distance that was given.
        distance_m: f64,
        /// Least distance at which the formula is used.
        near_m: f64,
    },
}

/// Free-space basic transmission loss in dB between isotropic aerials: `20 lg(4 pi d f / c)`.
///
/// Source: ITU-R P.525; with f in MHz and d in m it is `20 lg f + 20 lg d - 27.5522`, with d in km
/// `+ 32.4478`, which the Recommendation prints as 32.4. Holds for distances of many wavelengths.
///
/// # Errors
///
/// Frequencies or distances that are not above zero; a distance below a wavelength over 2 pi, in
/// the near field of small aerials.
pub fn free_space_loss_db(frequency_mhz: f64, distance_m: f64) -> Result<f64, BudgetError> {
    positive("the frequency", frequency_mhz, "MHz")?;
    positive("the distance", distance_m, "m")?;
    let wavelength_m = LIGHT_M_PER_S / (frequency_mhz * 1e6);
    let near_m = wavelength_m / (2.0 * PI);
    if distance_m < near_m {
        return Err(BudgetError::TooNear { distance_m, near_m });
    }
    Ok(20.0 * (4.0 * PI * distance_m / wavelength_m).log10())
}

/// Thermal noise in dBm: `10 lg(k T B / 1 mW)`, -173.975 dBm in 1 Hz at 290 K.
///
/// # Errors
///
/// Bandwidths or temperatures that are not above zero.
pub fn thermal_noise_dbm(bandwidth_mhz: f64, temperature_k: f64) -> Result<f64, BudgetError> {
    positive("the bandwidth", bandwidth_mhz, "MHz")?;
    positive("the temperature", temperature_k, "K")?;
    let power_mw = BOLTZMANN_J_PER_K * temperature_k * bandwidth_mhz * 1e6 * 1e3;
    Ok(10.0 * power_mw.log10())
}

/// What a link sends and what it needs, from its manual.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Budget {
    /// Centre of the channel in MHz.
    pub frequency_mhz: f64,
    /// Power of the transmitter with the gain of its aerial (EIRP), in dBm.
    pub radiated_dbm: f64,
    /// Gain of the receiver's aerial less what its cable loses, in dB over isotropic.
    pub receive_gain_db: f64,
    /// Least level at the receiver with which the link still works, in dBm.
    pub needed_dbm: f64,
    /// What is set aside for bodies in the way, in dB; see [`BODY_MARGIN_DB_USUAL`].
    pub body_margin_db: f64,
    /// Standard uncertainty of the loss in the room, in dB; see [`ROOM_SPREAD_DB`].
    pub room_spread_db: f64,
}

/// How far a link reaches.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Reach {
    /// Distance in m at which the margin is gone, in free space.
    pub distance_m: f64,
    /// The same if the room takes more than free space does, by twice the spread.
    pub distance_m_low: f64,
    /// The same if it takes less, as corridors do.
    pub distance_m_high: f64,
}

impl Budget {
    /// What is left at `distance_m` in dB after loss, bodies and need; negative when too little.
    ///
    /// Its uncertainty is that of the room, [`Budget::room_spread_db`] times two for 95 %.
    ///
    /// # Errors
    ///
    /// Numbers that are none, and those of [`free_space_loss_db`].
    pub fn margin_db(&self, distance_m: f64) -> Result<f64, BudgetError> {
        Ok(self.bearable_loss_db()? - free_space_loss_db(self.frequency_mhz, distance_m)?)
    }

    /// The distance at which the margin is gone.
    ///
    /// 6 dB are a factor of two in distance, and a spread of 10 dB, twice, one of ten either way:
    /// that is honest for a room in which nothing was measured. Walls, people, stages and
    /// reflections make it so; walk the room with the link to know better.
    ///
    /// # Errors
    ///
    /// Numbers that are none, or a reach within the near field.
    pub fn reach(&self) -> Result<Reach, BudgetError> {
        let bearable_db = self.bearable_loss_db()?;
        let spread_db = COVERAGE_FACTOR * self.room_spread_db;
        let wavelength_m = LIGHT_M_PER_S / (self.frequency_mhz * 1e6);
        let at = |loss_db: f64| wavelength_m / (4.0 * PI) * 10f64.powf(loss_db / 20.0);
        let distance_m = at(bearable_db);
        // Refuses a reach at which the formula does not hold.
        free_space_loss_db(self.frequency_mhz, distance_m)?;
        Ok(Reach {
            distance_m,
            distance_m_low: at(bearable_db - spread_db),
            distance_m_high: at(bearable_db + spread_db),
        })
    }

    /// Loss in dB with which the link just works, bodies in the way.
    fn bearable_loss_db(&self) -> Result<f64, BudgetError> {
        positive("the frequency", self.frequency_mhz, "MHz")?;
        positive("the spread of the room", self.room_spread_db, "dB")?;
        for (what, value, unit) in [
            ("the radiated power", self.radiated_dbm, "dBm"),
            ("the receiver's gain", self.receive_gain_db, "dB"),
            ("the needed level", self.needed_dbm, "dBm"),
            ("the margin for bodies", self.body_margin_db, "dB"),
        ] {
            if !value.is_finite() {
                return Err(BudgetError::NotFinite { what, value, unit });
            }
        }
        Ok(self.radiated_dbm + self.receive_gain_db - self.needed_dbm - self.body_margin_db)
    }
}

/// Least level in dBm that a receiver needs: thermal noise at 290 K, its noise figure, and the
/// ratio of signal to noise that its modulation takes.
///
/// # Errors
///
/// A bandwidth that is not above zero.
pub fn needed_dbm(
    bandwidth_mhz: f64,
    noise_figure_db: f64,
    signal_to_noise_db: f64,
) -> Result<f64, BudgetError> {
    let noise_dbm = thermal_noise_dbm(bandwidth_mhz, NOISE_TEMPERATURE_K)?;
    Ok(noise_dbm + noise_figure_db + signal_to_noise_db)
}

fn positive(what: &'static str, value: f64, unit: &'static str) -> Result<(), BudgetError> {
    if value.is_finite() && value > 0.0 {
        return Ok(());
    }
    Err(BudgetError::NotPositive { what, value, unit })
}
