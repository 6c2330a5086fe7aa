//! Frequencies in the wrong unit: noticed, and asked about instead of guessed.

/// Lowest frequency in MHz that is taken as one: below it nearly every number is one in GHz.
/// Radio microphones and hearing loops begin at about 27 MHz (common practice, no source).
const LOWEST_MHZ: f64 = 20.0;

/// Highest frequency in MHz that is taken as one, above the 60 GHz band.
const HIGHEST_MHZ: f64 = 100_000.0;

/// Bandwidth in MHz below which no sound fits: a fifth of a telephone voice channel of 6.25 kHz
/// (common practice, no source).
const NARROWEST_MHZ: f64 = 0.001_25;

/// Widest bandwidth as a share of the centre below [`ULTRA_WIDEBAND_MHZ`]: 23.5 MHz at 470 MHz,
/// 120 MHz at 2.4 GHz, more than any link there uses (common practice, no source).
const WIDEST_SHARE: f64 = 0.05;

/// Widest bandwidth as a share of the centre above it: from 0.20 on a signal is 'ultra-wideband'
/// and has no channels. Source: 47 CFR 15.503 (d) (from memory).
const WIDEST_SHARE_ABOVE: f64 = 0.2;

/// Frequency in MHz from which on ultra-wideband is found. Source: 47 CFR 15.517 (from memory).
const ULTRA_WIDEBAND_MHZ: f64 = 3_100.0;

/// Why a number is not taken as a frequency or a bandwidth in MHz.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum UnitError {
    /// Not a number, or infinite.
    #[error("{value} is not a number of MHz")]
    NotFinite {
        /// What was given.
        value: f64,
    },
    /// Zero or less.
    #[error("{value} MHz is not above zero")]
    NotPositive {
        /// What was given.
        value: f64,
    },
    /// The number makes sense in another unit.
    #[error(
        "{value} MHz is not likely here: was {value} {unit} meant? then write {meant_mhz} (MHz)"
    )]
    OtherUnit {
        /// What was given.
        value: f64,
        /// The unit in which it makes sense.
        unit: &'static str,
        /// The same in MHz.
        meant_mhz: f64,
    },
    /// The number makes sense in no unit.
    #[error("{value} MHz is out of reach: {low_mhz} to {high_mhz} MHz can be planned")]
    OutOfReach {
        /// What was given.
        value: f64,
        /// Lowest that is taken.
        low_mhz: f64,
        /// Highest that is taken.
        high_mhz: f64,
    },
}

/// Takes `value` as a frequency in MHz, 20 MHz to 100 GHz.
///
/// Below, it is asked whether GHz was meant; above, kHz (to 20 million, 20 GHz) or Hz. The ranges
/// of the units do not overlap, so that there is one question at most.
///
/// # Errors
///
/// Every other number, NaN included.
pub fn frequency_mhz(value: f64) -> Result<f64, UnitError> {
    positive(value)?;
    let (unit, meant_mhz) = match value {
        _ if value < LOWEST_MHZ => ("GHz", value * 1e3),
        _ if value <= HIGHEST_MHZ => return Ok(value),
        _ if value < LOWEST_MHZ * 1e6 => ("kHz", value / 1e3),
        _ => ("Hz", value / 1e6),
    };
    if (LOWEST_MHZ..=HIGHEST_MHZ).contains(&meant_mhz) {
        return Err(UnitError::OtherUnit {
            value,
            unit,
            meant_mhz,
        });
    }
    Err(UnitError::OutOfReach {
        value,
        low_mhz: LOWEST_MHZ,
        high_mhz: HIGHEST_MHZ,
    })
}

/// Takes `value` as the bandwidth in MHz of a channel at `centre_mhz`, 1.25 kHz to a twentieth of
/// the centre, from 3.1 GHz on to a fifth.
///
/// # Errors
///
/// Every other number, NaN included; with the question for kHz or Hz where a wider one would make
/// sense in it, for GHz where a narrower one would.
pub fn bandwidth_mhz(value: f64, centre_mhz: f64) -> Result<f64, UnitError> {
    positive(value)?;
    let high_mhz = if centre_mhz < ULTRA_WIDEBAND_MHZ {
        WIDEST_SHARE * centre_mhz
    } else {
        WIDEST_SHARE_ABOVE * centre_mhz
    };
    let fits = |mhz: f64| NARROWEST_MHZ <= mhz && mhz <= high_mhz;
    if fits(value) {
        return Ok(value);
    }
    // Divided and not multiplied by 1e-3: only so does 200 kHz become 0.2 MHz to the last bit.
    let units = [
        ("GHz", value * 1e3),
        ("kHz", value / 1e3),
        ("Hz", value / 1e6),
    ];
    Err(match units.into_iter().find(|&(_, mhz)| fits(mhz)) {
        Some((unit, meant_mhz)) => UnitError::OtherUnit {
            value,
            unit,
            meant_mhz,
        },
        None => UnitError::OutOfReach {
            value,
            low_mhz: NARROWEST_MHZ,
            high_mhz,
        },
    })
}

fn positive(value: f64) -> Result<(), UnitError> {
    if !value.is_finite() {
        return Err(UnitError::NotFinite { value });
    }
    if value <= 0.0 {
        return Err(UnitError::NotPositive { value });
    }
    Ok(())
}
