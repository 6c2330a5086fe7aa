//! Bands: worked by hand on whole MHz.

use super::{around, assert_mhz, edges};
use goodwire_radio::band::{Band, BandError, Occupancy};

#[test]
fn a_channel_of_20_mhz_at_2437_mhz_reaches_from_2427_to_2447_mhz() {
    let band = around(2437.0, 20.0);
    assert_eq!([band.low_mhz(), band.high_mhz()], [2427.0, 2447.0]);
    assert_eq!([band.centre_mhz(), band.width_mhz()], [2437.0, 20.0]);
}

/// A channel 2 MHz wide moves up into the band 2427 to 2447 MHz and out of it again. By hand:
/// at 2420 its upper edge 2421 is 6 below 2427; at 2426 it touches; at 2427 it is half in and has
/// to go down by 1; at 2430 down by 4 (2431 to 2427); at 2437, the middle, by 11 to either side.
#[test]
fn separation_falls_from_6_to_minus_11_mhz_as_a_channel_sinks_into_a_band() {
    let occupied = Occupancy::union([edges(2427.0, 2447.0)]);
    for (centre_mhz, want_mhz, want_percent) in [
        (2420.0, 6.0, 0.0),
        (2426.0, 0.0, 0.0),
        (2427.0, -1.0, 50.0),
        (2430.0, -4.0, 100.0),
        (2437.0, -11.0, 100.0),
        (2444.0, -4.0, 100.0),
        (2447.5, -0.5, 25.0),
        (2450.0, 2.0, 0.0),
    ] {
        let channel = around(centre_mhz, 2.0);
        let got_mhz = occupied.separation_mhz(&channel).unwrap();
        assert_mhz(got_mhz, want_mhz, &format!("at {centre_mhz} MHz"));
        assert_eq!(occupied.overlap_percent(&channel), want_percent);
    }
}

/// Moving a channel by as much as a negative separation says, down or up, sets it free: a check
/// of the definition that does not use its formula.
#[test]
fn a_channel_moved_by_its_negative_separation_shares_nothing_and_1_khz_less_is_not_enough() {
    let band = edges(2427.0, 2447.0);
    for tenths in 0..260 {
        let centre_mhz = 2424.05 + f64::from(tenths) / 10.0;
        let channel = around(centre_mhz, 3.0);
        let gap_mhz = channel.gap_mhz(&band);
        if gap_mhz >= 0.0 {
            assert_eq!(channel.shared_mhz(&band), 0.0);
            continue;
        }
        let free = |way_mhz: f64| {
            [way_mhz, -way_mhz]
                .iter()
                .any(|way_mhz| around(centre_mhz + way_mhz, 3.0).shared_mhz(&band) < 1e-9)
        };
        assert!(free(-gap_mhz), "{centre_mhz} MHz by {gap_mhz} MHz");
        assert!(!free(-gap_mhz - 0.001), "{centre_mhz} MHz");
    }
}

#[test]
fn three_overlapping_bands_and_one_that_touches_become_one_and_cover_a_channel_once() {
    let occupied = Occupancy::union([
        edges(2440.0, 2450.0),
        edges(2401.0, 2423.0),
        edges(2412.0, 2432.0),
        edges(2432.0, 2434.0),
        edges(2404.0, 2406.0),
    ]);
    assert_eq!(
        occupied.bands(),
        [edges(2401.0, 2434.0), edges(2440.0, 2450.0)]
    );
    // 2424 to 2444: 2424 to 2434 and 2440 to 2444 are taken, 14 of 20 MHz.
    assert_eq!(occupied.overlap_percent(&around(2434.0, 20.0)), 70.0);
}

#[test]
fn with_nothing_occupied_there_is_no_separation_and_an_overlap_of_0_percent() {
    let channel = around(606.5, 0.2);
    assert_eq!(Occupancy::default().separation_mhz(&channel), None);
    assert_eq!(Occupancy::default().overlap_percent(&channel), 0.0);
}

/// 606.1 + 0.1 and 606.3 - 0.1 differ in the last bit, though both are 606.2.
#[test]
fn neighbours_0_2_mhz_wide_and_0_2_mhz_apart_touch_and_do_not_overlap() {
    for tenths in 0..1_000 {
        let centre_mhz = 470.1 + f64::from(tenths) * 0.1;
        let [first, second] = [centre_mhz, centre_mhz + 0.2].map(|mhz| around(mhz, 0.2));
        assert!(!first.overlaps(&second), "{first:?} {second:?}");
        assert!(first.overlaps(&around(centre_mhz + 0.199, 0.2)));
    }
}

#[test]
fn bands_of_no_width_with_edges_in_the_wrong_order_or_nan_are_refused() {
    assert!(matches!(
        Band::around(606.5, 0.0),
        Err(BandError::NoWidth { .. })
    ));
    assert!(matches!(
        Band::from_edges(2447.0, 2427.0),
        Err(BandError::NoWidth { .. })
    ));
    for (low_mhz, high_mhz) in [(f64::NAN, 1.0), (1.0, f64::INFINITY), (-1.0, 1.0)] {
        let error = Band::from_edges(low_mhz, high_mhz).unwrap_err();
        assert!(matches!(error, BandError::Edges { .. }), "{error}");
    }
}
