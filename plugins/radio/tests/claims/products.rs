//! Third-order products against counts, a worked example and the B-spline.

use super::{around, assert_mhz, edges};
use goodwire_radio::band::Band;
use goodwire_radio::products::{Extent, Mix, are_free, intermodulation_gap_mhz, third_order};

fn carriers(centres_mhz: &[f64], width_mhz: f64) -> Vec<Band> {
    centres_mhz
        .iter()
        .map(|&mhz| around(mhz, width_mhz))
        .collect()
}

/// Source: combinatorics, `n (n - 1)` and `n (n - 1)(n - 2) / 2`.
#[test]
fn of_2_to_16_carriers_there_are_as_many_products_as_can_be_counted() {
    for (count, two, three) in [
        (1, 0, 0),
        (2, 2, 0),
        (3, 6, 3),
        (4, 12, 12),
        (5, 20, 30),
        (6, 30, 60),
        (8, 56, 168),
        (12, 132, 660),
        (16, 240, 1_680),
    ] {
        let centres: Vec<f64> = (0..count).map(|n| 600.0 + f64::from(n * n)).collect();
        let products = third_order(&carriers(&centres, 0.2));
        let of_two = |mix: &Mix| matches!(mix, Mix::Two { .. });
        let found = products.iter().filter(|p| of_two(&p.mix)).count();
        assert_eq!([found, products.len() - found], [two, three], "of {count}");
    }
}

/// By hand: 2·606.5 - 606.9 = 606.1, 2·606.5 - 607.8 = 605.2, 2·606.9 - 606.5 = 607.3,
/// 2·606.9 - 607.8 = 606.0, 2·607.8 - 606.5 = 609.1, 2·607.8 - 606.9 = 608.7; 606.5 + 606.9 - 607.8
/// = 605.6, 606.5 + 607.8 - 606.9 = 607.4, 606.9 + 607.8 - 606.5 = 608.2.
#[test]
fn carriers_at_606_5_606_9_and_607_8_mhz_have_the_nine_products_worked_by_hand() {
    let products = third_order(&carriers(&[606.5, 606.9, 607.8], 0.2));
    let want = [
        606.1, 605.2, 607.3, 606.0, 609.1, 608.7, 605.6, 607.4, 608.2,
    ];
    assert_eq!(products.len(), want.len());
    for (product, want_mhz) in products.iter().zip(want) {
        assert_mhz(
            product.centre_mhz(),
            want_mhz,
            &format!("{:?}", product.mix),
        );
        // Three bands of 0.2 MHz went in.
        assert_mhz(product.high_mhz - product.low_mhz, 0.6, "width");
    }
}

/// By hand, the same set: 606.9 reaches from 606.8 to 607.0, the nearest product is 607.3: 0.3 MHz.
/// Whole it begins at 607.0 and touches. A channel at 607.35 ± 0.1, in no carrier's place, has
/// 607.3 and 607.4 inside, the deeper one being 0.05 MHz from the edge it is nearest to.
#[test]
fn the_gap_of_606_9_mhz_to_its_nearest_product_is_0_3_mhz_to_its_centre_and_0_to_its_edge() {
    let set = carriers(&[606.5, 606.9, 607.8], 0.2);
    let products = third_order(&set);
    let gap = |channel: &Band, extent| intermodulation_gap_mhz(channel, &products, extent).unwrap();
    assert_mhz(gap(&set[1], Extent::Centre), 0.3, "centre");
    assert_mhz(gap(&set[1], Extent::Whole), 0.0, "whole");
    assert_mhz(gap(&around(607.35, 0.2), Extent::Centre), -0.05, "hit");
    assert!(are_free(&set, 0.3, Extent::Centre));
    assert!(!are_free(&set, 0.301, Extent::Centre));
    assert_eq!(intermodulation_gap_mhz(&set[0], &[], Extent::Whole), None);
}

/// 2·(f + d) - f = f + 2 d: equal spacing is the worst case.
#[test]
fn three_equally_spaced_carriers_have_a_product_on_a_carrier_and_one_moved_by_0_1_mhz_has_not() {
    assert!(!are_free(
        &carriers(&[606.0, 606.5, 607.0], 0.1),
        0.0,
        Extent::Centre
    ));
    assert!(are_free(
        &carriers(&[606.0, 606.5, 607.1], 0.1),
        0.05,
        Extent::Centre
    ));
}

/// Carriers of 0.1, 0.2 and 0.4 MHz: a + b - c is 0.7 MHz wide, 2a - b 0.4 MHz, by adding widths.
#[test]
fn widths_of_unequal_carriers_add_to_0_7_mhz_for_three_and_0_4_mhz_for_two() {
    let set = [around(606.0, 0.1), around(607.0, 0.2), around(609.0, 0.4)];
    for product in third_order(&set) {
        let width_mhz = product.high_mhz - product.low_mhz;
        match product.mix {
            Mix::Three { .. } => assert_mhz(width_mhz, 0.7, "three"),
            Mix::Two {
                doubled: 0,
                taken: 1,
            } => assert_mhz(width_mhz, 0.4, "two"),
            Mix::Two { .. } => {}
        }
    }
}

/// Multiplies lines instead of adding widths: every line of a, of b and of c, 0.01 MHz apart. The
/// outermost products are the edges; the share within the middle third is that of the quadratic
/// B-spline, 2/3, within what 21 lines resolve (a line at either edge of the third: 0.05).
#[test]
fn products_of_21_lines_each_fill_the_band_and_two_thirds_fall_into_its_middle_third() {
    let [a, b, c] = [
        edges(606.0, 606.2),
        edges(607.0, 607.2),
        edges(609.0, 609.2),
    ];
    let lines = |band: Band| (0..=20).map(move |n| band.low_mhz() + f64::from(n) * 0.01);
    let mut sums = Vec::new();
    for a in lines(a) {
        for b in lines(b) {
            sums.extend(lines(c).map(|c| a + b - c));
        }
    }
    sums.sort_by(f64::total_cmp);
    let products = third_order(&[a, b, c]);
    let product = products.iter().find(|p| {
        p.mix
            == Mix::Three {
                added: [0, 1],
                taken: 2,
            }
    });
    let product = product.unwrap();
    assert_mhz(sums[0], product.low_mhz, "lowest line");
    assert_mhz(*sums.last().unwrap(), product.high_mhz, "highest line");
    let middle = sums
        .iter()
        .filter(|&&mhz| (mhz - product.centre_mhz()).abs() < 0.1)
        .count();
    let share = middle as f64 / sums.len() as f64;
    assert!((share - 2.0 / 3.0).abs() < 0.05, "{share}");
}
