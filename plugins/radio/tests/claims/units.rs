//! Units mixed up: noticed and asked about.

use goodwire_radio::units::{UnitError, bandwidth_mhz, frequency_mhz};

/// Unit that is asked about, and what it would be in MHz.
fn asked(result: Result<f64, UnitError>) -> Option<(&'static str, f64)> {
    match result {
        Err(UnitError::OtherUnit {
            unit, meant_mhz, ..
        }) => Some((unit, meant_mhz)),
        _ => None,
    }
}

#[test]
fn a_frequency_of_2_4_is_asked_about_as_ghz_of_2412000_as_khz_and_of_2_412e9_as_hz() {
    assert_eq!(asked(frequency_mhz(2.4)), Some(("GHz", 2400.0)));
    assert_eq!(asked(frequency_mhz(0.6065)), Some(("GHz", 606.5)));
    assert_eq!(asked(frequency_mhz(2_412_000.0)), Some(("kHz", 2412.0)));
    assert_eq!(asked(frequency_mhz(606_500.0)), Some(("kHz", 606.5)));
    assert_eq!(asked(frequency_mhz(2.412e9)), Some(("Hz", 2412.0)));
    assert_eq!(asked(frequency_mhz(174e6)), Some(("Hz", 174.0)));
    assert_eq!(
        frequency_mhz(2.4).unwrap_err().to_string(),
        "2.4 MHz is not likely here: was 2.4 GHz meant? then write 2400 (MHz)"
    );
}

#[test]
fn frequencies_from_20_to_100000_mhz_are_taken_as_they_are() {
    for mhz in [20.0, 36.7, 174.0, 606.5, 2412.0, 5825.0, 60_480.0, 1e5] {
        assert_eq!(frequency_mhz(mhz), Ok(mhz));
    }
}

#[test]
fn no_unit_makes_a_frequency_of_zero_minus_1_nan_0_001_or_1e12() {
    assert!(matches!(
        frequency_mhz(0.0),
        Err(UnitError::NotPositive { .. })
    ));
    assert!(matches!(
        frequency_mhz(-1.0),
        Err(UnitError::NotPositive { .. })
    ));
    assert!(matches!(
        frequency_mhz(f64::NAN),
        Err(UnitError::NotFinite { .. })
    ));
    for value in [0.001, 1e12] {
        assert!(matches!(
            frequency_mhz(value),
            Err(UnitError::OutOfReach { .. })
        ));
    }
}

#[test]
fn a_bandwidth_of_200_at_606_or_2450_mhz_is_asked_about_as_khz_and_of_200000_as_hz() {
    assert_eq!(asked(bandwidth_mhz(200.0, 606.5)), Some(("kHz", 0.2)));
    assert_eq!(asked(bandwidth_mhz(200.0, 2450.0)), Some(("kHz", 0.2)));
    assert_eq!(asked(bandwidth_mhz(200_000.0, 606.5)), Some(("Hz", 0.2)));
    assert_eq!(asked(bandwidth_mhz(0.000_5, 606.5)), Some(("GHz", 0.5)));
}

#[test]
fn bandwidths_from_6_25_khz_to_40_mhz_at_2_4_ghz_and_500_mhz_at_6_5_ghz_are_taken_as_they_are() {
    for (mhz, centre_mhz) in [
        (0.006_25, 40.0),
        (0.2, 606.5),
        (20.0, 470.0),
        (40.0, 2412.0),
        (500.0, 6500.0),
    ] {
        assert_eq!(bandwidth_mhz(mhz, centre_mhz), Ok(mhz));
    }
    assert!(matches!(
        bandwidth_mhz(0.0, 606.5),
        Err(UnitError::NotPositive { .. })
    ));
}
