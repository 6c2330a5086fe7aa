//! Channels of standards against published numbers.

use super::edges;
use goodwire_radio::band::Band;
use goodwire_radio::occupied::{
    ChannelError, Dsss, Occupant, Secondary, Width5, bluetooth_hopping, bluetooth_le, ieee802154,
    wifi_2g4, wifi_5g,
};

/// Channel, centre, edges at 20 MHz, edges at 22 MHz, all in MHz. Source: IEEE 802.11 clauses 15
/// to 19 and Annex E (start 2407 MHz, steps of 5 MHz, 12 MHz to channel 14, as also printed in
/// public documentation of simulators); edges computed by hand from the centres.
const WIFI_2G4: [[u16; 6]; 14] = [
    [1, 2412, 2402, 2422, 2401, 2423],
    [2, 2417, 2407, 2427, 2406, 2428],
    [3, 2422, 2412, 2432, 2411, 2433],
    [4, 2427, 2417, 2437, 2416, 2438],
    [5, 2432, 2422, 2442, 2421, 2443],
    [6, 2437, 2427, 2447, 2426, 2448],
    [7, 2442, 2432, 2452, 2431, 2453],
    [8, 2447, 2437, 2457, 2436, 2458],
    [9, 2452, 2442, 2462, 2441, 2463],
    [10, 2457, 2447, 2467, 2446, 2468],
    [11, 2462, 2452, 2472, 2451, 2473],
    [12, 2467, 2457, 2477, 2456, 2478],
    [13, 2472, 2462, 2482, 2461, 2483],
    [14, 2484, 2474, 2494, 2473, 2495],
];

fn band(result: Result<Occupant, ChannelError>) -> Band {
    result.unwrap().band
}

#[test]
fn the_14_channels_at_2_4_ghz_lie_where_ieee_802_11_puts_them_20_and_22_mhz_wide() {
    for row in WIFI_2G4 {
        let [_, centre, low_20, high_20, low_22, high_22] = row.map(f64::from);
        let narrow = band(wifi_2g4(row[0], Dsss::Silent, None));
        assert_eq!(narrow, edges(low_20, high_20));
        assert_eq!(narrow.centre_mhz(), centre);
        assert_eq!(
            band(wifi_2g4(row[0], Dsss::Sent, None)),
            edges(low_22, high_22)
        );
    }
}

/// Source: IEEE 802.11, high throughput: the secondary channel is four numbers away (from memory).
/// Channel 1 with 5: 2402 to 2442. Channel 11 with 7: 2432 to 2472. 40 MHz are the union of both.
#[test]
fn a_40_mhz_channel_is_the_union_of_two_that_are_four_numbers_apart() {
    for primary in 1..=9 {
        let both = band(wifi_2g4(primary, Dsss::Silent, Some(Secondary::Above)));
        assert_eq!(
            both,
            band(wifi_2g4(primary + 4, Dsss::Sent, Some(Secondary::Below)))
        );
        let low = band(wifi_2g4(primary, Dsss::Silent, None));
        let high = band(wifi_2g4(primary + 4, Dsss::Silent, None));
        assert_eq!(both, edges(low.low_mhz(), high.high_mhz()));
    }
    let first = wifi_2g4(1, Dsss::Silent, Some(Secondary::Above)).unwrap();
    assert_eq!(first.band, edges(2402.0, 2442.0));
    assert_eq!(first.name, "Wi-Fi channel 1, 40 MHz, second half above");
}

#[test]
fn channels_0_and_15_and_a_second_half_above_10_or_below_4_are_refused_with_what_is_right() {
    for channel in [0, 15, 36] {
        let error = wifi_2g4(channel, Dsss::Silent, None).unwrap_err();
        let want = format!("Wi-Fi channel {channel} at 2.4 GHz does not exist: 1 to 14 do");
        assert_eq!(error.to_string(), want);
    }
    for (channel, secondary, right) in [
        (10, Secondary::Above, "channels 1 to 9 have one there"),
        (4, Secondary::Below, "channels 5 to 13 have one there"),
        (14, Secondary::Below, "channels 5 to 13 have one there"),
    ] {
        let error = wifi_2g4(channel, Dsss::Silent, Some(secondary)).unwrap_err();
        assert_eq!(error.right, right);
    }
}

/// Blocks and their centre channel numbers. Source: IEEE 802.11 Annex E (from memory).
const BLOCKS: [(Width5, &[u16], u16); 11] = [
    (Width5::Mhz40, &[36, 40], 38),
    (Width5::Mhz40, &[140, 144], 142),
    (Width5::Mhz40, &[149, 153], 151),
    (Width5::Mhz80, &[36, 40, 44, 48], 42),
    (Width5::Mhz80, &[52, 56, 60, 64], 58),
    (Width5::Mhz80, &[100, 104, 108, 112], 106),
    (Width5::Mhz80, &[132, 136, 140, 144], 138),
    (Width5::Mhz80, &[149, 153, 157, 161], 155),
    (Width5::Mhz160, &[36, 40, 44, 48, 52, 56, 60, 64], 50),
    (
        Width5::Mhz160,
        &[100, 104, 108, 112, 116, 120, 124, 128],
        114,
    ),
    (
        Width5::Mhz160,
        &[149, 153, 157, 161, 165, 169, 173, 177],
        163,
    ),
];

#[test]
fn every_channel_of_a_block_at_5_ghz_names_the_same_band_around_5000_plus_5_n() {
    for (width, channels, centre) in BLOCKS {
        let width_mhz = 20.0 * channels.len() as f64;
        let centre_mhz = 5000.0 + 5.0 * f64::from(centre);
        let want = Band::around(centre_mhz, width_mhz).unwrap();
        for &channel in channels {
            assert_eq!(band(wifi_5g(channel, width)), want, "{channel} {width:?}");
        }
    }
    assert_eq!(band(wifi_5g(36, Width5::Mhz20)), edges(5170.0, 5190.0));
    assert_eq!(band(wifi_5g(165, Width5::Mhz20)), edges(5815.0, 5835.0));
}

/// Without the crate's rule: 36 to 64 are 8 channels, 100 to 144 are 12, 149 to 177 are 8, so
/// there are 28 of 20 MHz, 14 of 40, 7 of 80, and of 160 the last four of the twelve are left out.
#[test]
fn there_are_28_channels_of_20_mhz_14_of_40_7_of_80_and_3_of_160_at_5_ghz() {
    for (width, want) in [(20, 28), (40, 14), (80, 7), (160, 3)] {
        let width = Width5::of_mhz(width).unwrap();
        let mut lows: Vec<u32> = (0..=200)
            .filter_map(|n| wifi_5g(n, width).ok())
            .map(|occupant| occupant.band.low_mhz() as u32)
            .collect();
        lows.dedup();
        assert_eq!(lows.len(), want, "{width:?}: {lows:?}");
    }
    assert_eq!(Width5::of_mhz(30), None);
}

#[test]
fn channel_38_is_refused_as_the_middle_of_36_and_40_and_132_in_160_mhz_as_beyond_the_last_block() {
    let error = wifi_5g(38, Width5::Mhz40).unwrap_err();
    assert_eq!(
        error.right,
        "38 is the middle of a wider block, name its channel 36 or 40"
    );
    let error = wifi_5g(66, Width5::Mhz20).unwrap_err();
    assert_eq!(
        error.right,
        "36 to 64, 100 to 144 and 149 to 177 do, in steps of 4"
    );
    let error = wifi_5g(132, Width5::Mhz160).unwrap_err();
    assert_eq!(
        error.to_string(),
        "a 160 MHz block with Wi-Fi channel 132 does not exist: \
         from 100 on, 128 is the last channel in such a block"
    );
}

/// Source: IEEE 802.15.4; the centres 2405 to 2480 MHz are also those of public driver code.
#[test]
fn the_16_channels_of_ieee_802_15_4_lie_5_mhz_apart_from_2405_to_2480_mhz_2_mhz_wide() {
    let centres: Vec<f64> = (0..100)
        .filter_map(|n| ieee802154(n).ok())
        .inspect(|occupant| assert_eq!(occupant.band.width_mhz(), 2.0))
        .map(|occupant| occupant.band.centre_mhz())
        .collect();
    let want: Vec<f64> = (2405..=2480).step_by(5).map(f64::from).collect();
    assert_eq!(centres, want);
    let error = ieee802154(10).unwrap_err();
    assert_eq!(
        error.to_string(),
        "802.15.4 channel 10 at 2.4 GHz does not exist: 11 to 26 do"
    );
}

/// Source: Bluetooth Core (from memory): LE has 40 places 2402 + 2 i MHz, i = 0 to 39, of which
/// those with i = 0, 12 and 39 are the advertising channels 37, 38 and 39.
#[test]
fn the_40_channels_of_bluetooth_le_fill_2402_to_2480_mhz_and_advertise_at_2402_2426_and_2480() {
    let mut centres: Vec<f64> = (0..=39)
        .map(|n| band(bluetooth_le(n)).centre_mhz())
        .collect();
    assert_eq!(centres[37..], [2402.0, 2426.0, 2480.0]);
    centres.sort_by(f64::total_cmp);
    let want: Vec<f64> = (2402..=2480).step_by(2).map(f64::from).collect();
    assert_eq!(centres, want);
    assert!(bluetooth_le(40).is_err());
    assert_eq!(bluetooth_hopping().band, edges(2401.0, 2481.0));
}

#[test]
fn a_band_that_the_user_adds_keeps_its_name_and_edges() {
    let channel = Occupant::between("television 21", 470.0, 478.0).unwrap();
    assert_eq!(channel.band, edges(470.0, 478.0));
    assert_eq!(channel.name, "television 21");
    assert!(Occupant::between("backwards", 478.0, 470.0).is_err());
}
