//! What is the link's own, and what the interface adds.

use goodwire_dsp::spectrum::Power;

/// A reference whose noise is within this factor of power (10 dB) of the link's return makes the
/// figure a bound.
const CLEAR: f64 = 10.0;

/// A link's power, referred to the send.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Own {
    /// The link's own; where it is a bound, the link's and the interface's together.
    pub power: Power,
    /// Where the reference's is too near to be subtracted: what would be left if it were.
    pub least: Option<Power>,
}

/// Takes the reference's power out of the link's, where it is at least 10 dB below.
pub fn own(link: Power, reference: Option<Power>) -> Own {
    let left = reference.map(|reference| link.minus(reference));
    match reference {
        Some(reference) if reference.value * CLEAR >= link.value => Own {
            power: link,
            least: left,
        },
        _ => Own {
            power: left.unwrap_or(link),
            least: None,
        },
    }
}

impl Own {
    /// True where it is an upper bound.
    pub fn is_bound(&self) -> bool {
        self.least.is_some()
    }

    /// Of a bound, the powers between which 95 % of the truths lie, if the interface adds to the
    /// link's return at most as much as to the reference's.
    pub fn interval(&self) -> Option<[f64; 2]> {
        let two_deviations = |power: Power| 2.0 * power.variance.sqrt();
        self.least.map(|least| {
            [
                (least.value - two_deviations(least)).max(0.0),
                self.power.value + two_deviations(self.power),
            ]
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_reference_11_db_below_is_subtracted_and_one_9_db_below_makes_a_bound() {
        let power = |value: f64| Power {
            value,
            variance: (0.1 * value).powi(2),
        };
        let clear = own(power(1.0), Some(power(0.08)));
        assert!((clear.power.value - 0.92).abs() < 1e-12 && !clear.is_bound());
        assert!((clear.power.variance - 0.01 - 0.008f64.powi(2)).abs() < 1e-12);
        let near = own(power(1.0), Some(power(0.126)));
        assert!((near.power.value - 1.0).abs() < 1e-12 && near.is_bound());
        // Left are 1 - 0.126, less two deviations of 0.1 and 0.0126 together.
        let [low, high] = near.interval().unwrap();
        assert!((low - 0.874 + 2.0 * 0.1f64.hypot(0.0126)).abs() < 1e-12);
        assert!((high - 1.2).abs() < 1e-12);
        assert!(!own(power(1.0), None).is_bound());
    }
}
