//! Link budgets against ITU-R P.525 and the SI.

use goodwire_radio::budget::{
    Budget, BudgetError, free_space_loss_db, needed_dbm, thermal_noise_dbm,
};

#[track_caller]
fn assert_db(got_db: f64, want_db: f64) {
    // The published tables are rounded to 0.001 dB.
    assert!(
        (got_db - want_db).abs() < 5.1e-4,
        "got {got_db} dB, want {want_db} dB"
    );
}

/// Loss in dB at 1 m and 100 m. Source: ITU-R P.525, `20 lg(4 pi d f / c)` with c exact, evaluated
/// in Python.
#[test]
fn free_space_loss_from_500_to_5800_mhz_at_1_and_100_m_is_that_of_itu_r_p_525() {
    for (frequency_mhz, at_1_m, at_100_m) in [
        (500.0, 26.427, 66.427),
        (600.0, 28.011, 68.011),
        (863.0, 31.168, 71.168),
        (1800.0, 37.553, 77.553),
        (2412.0, 40.095, 80.095),
        (2450.0, 40.231, 80.231),
        (2483.5, 40.349, 80.349),
        (5800.0, 47.716, 87.716),
    ] {
        assert_db(free_space_loss_db(frequency_mhz, 1.0).unwrap(), at_1_m);
        assert_db(free_space_loss_db(frequency_mhz, 100.0).unwrap(), at_100_m);
    }
    // The constant that the Recommendation prints as 32.4, for 1 MHz at 1 km.
    assert_db(free_space_loss_db(1.0, 1_000.0).unwrap(), 32.448);
}

#[test]
fn twice_the_distance_or_the_frequency_takes_6_02_db_more() {
    let loss_db = |mhz, m| free_space_loss_db(mhz, m).unwrap();
    let more_db = 20.0 * 2f64.log10();
    assert_db(loss_db(606.5, 20.0) - loss_db(606.5, 10.0), more_db);
    assert_db(loss_db(1213.0, 10.0) - loss_db(606.5, 10.0), more_db);
}

/// Source: k T B with the SI's constant at 290 K, evaluated in Python.
#[test]
fn thermal_noise_is_minus_173_975_dbm_in_1_hz_and_minus_120_965_dbm_in_200_khz() {
    for (bandwidth_mhz, want_dbm) in [
        (1e-6, -173.975),
        (0.015, -132.214),
        (0.2, -120.965),
        (2.0, -110.965),
        (20.0, -100.965),
    ] {
        assert_db(thermal_noise_dbm(bandwidth_mhz, 290.0).unwrap(), want_dbm);
    }
    // By hand: -120.965 + 6 + 12.
    assert_db(needed_dbm(0.2, 6.0, 12.0).unwrap(), -102.965);
}

/// 10 mW at 600 MHz to a receiver that needs -90 dBm, 20 dB for bodies: 80 dB of loss are bearable.
/// By hand: 28.011 dB at 1 m leave 51.989 dB, 10^(51.989 / 20) = 397.6 m.
fn budget() -> Budget {
    Budget {
        frequency_mhz: 600.0,
        radiated_dbm: 10.0,
        receive_gain_db: 0.0,
        needed_dbm: -90.0,
        body_margin_db: 20.0,
        room_spread_db: 10.0,
    }
}

#[test]
fn a_link_of_10_dbm_that_needs_minus_90_dbm_reaches_398_m_or_a_tenth_or_ten_times_that() {
    let reach = budget().reach().unwrap();
    assert!((reach.distance_m - 397.6).abs() < 0.1, "{reach:?}");
    // Twice 10 dB are a factor of ten in distance.
    assert!((reach.distance_m_low - 39.76).abs() < 0.01, "{reach:?}");
    assert!((reach.distance_m_high - 3_976.0).abs() < 1.0, "{reach:?}");
    assert_db(budget().margin_db(reach.distance_m).unwrap(), 0.0);
    // 68.011 dB at 100 m leave 11.989 dB.
    assert_db(budget().margin_db(100.0).unwrap(), 11.989);
}

#[test]
fn a_distance_of_zero_nan_levels_and_a_distance_in_the_near_field_are_refused() {
    let is_not_positive = |e| matches!(e, BudgetError::NotPositive { .. });
    assert!(is_not_positive(free_space_loss_db(600.0, 0.0).unwrap_err()));
    assert!(is_not_positive(
        free_space_loss_db(f64::NAN, 1.0).unwrap_err()
    ));
    assert!(is_not_positive(thermal_noise_dbm(-0.2, 290.0).unwrap_err()));
    // 0.4997 m of wavelength at 600 MHz over 2 pi are 0.0795 m.
    assert!(free_space_loss_db(600.0, 0.08).is_ok());
    let error = free_space_loss_db(600.0, 0.079).unwrap_err();
    assert_eq!(
        error.to_string(),
        "at 0.079 m the aerials are nearer than 0.08 m, a wavelength over 2 pi, \
         where free-space loss does not hold"
    );
    let certain = Budget {
        room_spread_db: 0.0,
        ..budget()
    };
    assert!(is_not_positive(certain.reach().unwrap_err()));
    let budget = Budget {
        needed_dbm: f64::NAN,
        ..budget()
    };
    assert!(matches!(budget.reach(), Err(BudgetError::NotFinite { .. })));
}
