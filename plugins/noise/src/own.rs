//! What is the link's own, and what the interface adds.

use goodwire_dsp::spectrum::Power;

/// A reference whose noise is within this factor of power (10 dB) of the link's return makes the
/// figure a bound.
const CLEAR: f64 = 10.0;

/// A link's power, referred to the send.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Own {
    /// The link's own; where `bound`, the link's and the interface's together.
    pub power: Power,
    /// True where the reference's is too near to be subtracted.
    pub bound: bool,
}

/// Takes the reference's power out of the link's, where it is at least 10 dB below.
pub fn own(link: Power, reference: Option<Power>) -> Own {
    match reference {
        Some(reference) if reference.value * CLEAR >= link.value => Own {
            power: link,
            bound: true,
        },
        Some(reference) => Own {
            power: link.minus(reference),
            bound: false,
        },
        None => Own {
            power: link,
            bound: false,
        },
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
        assert!((clear.power.value - 0.92).abs() < 1e-12 && !clear.bound);
        assert!((clear.power.variance - 0.01 - 0.008f64.powi(2)).abs() < 1e-12);
        let near = own(power(1.0), Some(power(0.126)));
        assert!((near.power.value - 1.0).abs() < 1e-12 && near.bound);
        assert!(!own(power(1.0), None).bound);
    }
}
