//! Golomb rulers: their lengths are published, what they promise is tried out.

use super::{around, assert_mhz};
use goodwire_radio::band::Band;
use goodwire_radio::products::{Extent, are_free};
use goodwire_radio::ruler::{is_golomb, shortest, span_mhz_min};

/// Source: OEIS A003022, from the ruler with two marks on.
const LENGTHS: [u32; 11] = [1, 3, 6, 11, 17, 25, 34, 44, 55, 72, 85];

#[test]
fn rulers_of_2_to_12_marks_have_the_published_lengths_and_no_difference_twice() {
    for (order, want) in (2..).zip(LENGTHS) {
        let marks = shortest(order).unwrap();
        assert_eq!(marks.len(), order);
        assert_eq!(marks.last(), Some(&want));
        assert!(is_golomb(marks), "{marks:?}");
    }
    assert_eq!(shortest(0).or(shortest(1)).or(shortest(13)), None);
    assert!(!is_golomb(&[0, 1, 2]) && !is_golomb(&[3, 3]));
}

/// All `a + b - c` with c neither a nor b, and a = b allowed: products of two and three carriers.
fn products_of(marks: &[u32]) -> Vec<i64> {
    let marks: Vec<i64> = marks.iter().map(|&m| m.into()).collect();
    let mut found = Vec::new();
    for &a in &marks {
        for &b in &marks {
            found.extend(
                marks
                    .iter()
                    .filter(|&&c| c != a && c != b)
                    .map(|c| a + b - c),
            );
        }
    }
    found
}

#[test]
fn no_product_of_two_or_three_marks_of_a_ruler_of_2_to_12_falls_on_a_mark() {
    for order in 2..=12 {
        let marks = shortest(order).unwrap();
        let products = products_of(marks);
        let hit = marks.iter().find(|&&m| products.contains(&m.into()));
        assert_eq!(hit, None, "order {order}");
    }
}

/// The other way round too: every set of marks within 0 to 12 is a ruler exactly when no product
/// falls on a mark. Sets of one mark are rulers without products.
#[test]
fn of_all_8191_sets_of_marks_up_to_12_exactly_the_rulers_have_no_product_on_a_mark() {
    for bits in 1u32..1 << 13 {
        let marks: Vec<u32> = (0..13).filter(|n| bits >> n & 1 == 1).collect();
        let products = products_of(&marks);
        let is_free = marks.iter().all(|&m| !products.contains(&m.into()));
        assert_eq!(is_free, is_golomb(&marks), "{marks:?}");
    }
}

/// Nothing shorter is clean: tried out for every set of marks, up to 5 marks and one step less
/// than the published length.
#[test]
fn no_3_4_or_5_marks_in_one_step_less_than_the_ruler_are_free_of_products() {
    for order in 3..=5 {
        let length = LENGTHS[order - 2];
        for bits in 1u32..1 << length {
            let marks: Vec<u32> = (0..length).filter(|n| bits >> n & 1 == 1).collect();
            assert!(marks.len() != order || !is_golomb(&marks), "{marks:?}");
        }
    }
}

/// Six carriers of 0.2 MHz on a raster of 0.4 MHz: products are 0.4 MHz from the carriers' centres
/// at least, 0.3 MHz from their edges; one of the six moved by one step lands on products again.
#[test]
fn six_carriers_on_the_ruler_times_0_4_mhz_keep_0_3_mhz_from_all_products_within_6_8_mhz() {
    let set = |marks: &[u32]| -> Vec<Band> {
        let centre_mhz = |&mark: &u32| 606.0 + 0.4 * f64::from(mark);
        marks.iter().map(|m| around(centre_mhz(m), 0.2)).collect()
    };
    let marks = shortest(6).unwrap();
    assert!(are_free(&set(marks), 0.3, Extent::Centre));
    assert!(!are_free(&set(&[0, 1, 4, 9, 12, 17]), 0.3, Extent::Centre));
    assert_mhz(span_mhz_min(6, 0.4).unwrap(), 6.8, "17 steps");
    assert_eq!(span_mhz_min(1, 0.4), Some(0.0));
    assert_eq!(span_mhz_min(13, 0.4), None);
}

/// What a ruler does not promise: 3a - 2b of fifth order. By hand on 0 1 4 6: 3·4 - 2·6 = 0.
#[test]
fn the_ruler_0_1_4_6_has_a_fifth_order_product_on_a_mark() {
    let marks = shortest(4).unwrap();
    assert!(marks.contains(&4) && marks.contains(&6));
    assert_eq!(Some(3 * 4 - 2 * 6), marks.first().copied());
}
