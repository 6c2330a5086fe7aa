//! Comparisons.

use super::*;

fn band(frequency_hz: f64, value: f64) -> Figure {
    Figure {
        at: at(&[
            ("from_hz", 20.0),
            ("to_hz", 63.0),
            ("frequency_hz", frequency_hz),
        ]),
        ..figure("deviation", value, 0.4)
    }
}

#[test]
fn differences_are_against_the_first_with_both_uncertainties() {
    let first = measured(vec![figure("gain", 1.0, 0.3)]);
    let second = measured(vec![figure("gain", 3.5, 0.4)]);
    let rows = compare(&[first, second]).rows;
    assert_eq!(rows.len(), 1);
    let [first, second] = &rows[0].cells[..] else {
        panic!("{rows:?}")
    };
    assert_eq!((first.value, first.difference), (Some(1.0), None));
    assert_eq!((second.value, second.difference), (Some(3.5), Some(2.5)));
    assert_eq!(second.difference_uncertainty, Some(0.5), "√(0.3² + 0.4²)");
}

#[test]
fn a_band_is_one_row_wherever_its_extreme_lay() {
    let rows = compare(&[
        measured(vec![band(24.1, 1.0)]),
        measured(vec![band(60.0, 2.0)]),
    ])
    .rows;
    assert_eq!(rows.len(), 1);
    assert_eq!(rows[0].at, at(&[("from_hz", 20.0), ("to_hz", 63.0)]));
    assert_eq!(rows[0].cells[1].difference, Some(1.0));
}

#[test]
fn tones_of_two_frequencies_are_two_rows_and_what_is_absent_leaves_its_cell_empty() {
    let tone = |frequency_hz, value| Figure {
        at: at(&[("frequency_hz", frequency_hz)]),
        ..figure("thd", value, 0.1)
    };
    let first = measured(vec![tone(100.0, 1.0)]);
    let second = measured(vec![tone(1000.0, 2.0), tone(100.0, 1.5)]);
    let rows = compare(&[first, second]).rows;
    assert_eq!(rows.len(), 2);
    assert_eq!(rows[0].cells[1].difference, Some(0.5));
    assert_eq!(rows[1].cells[0], Default::default());
    assert_eq!(
        (rows[1].cells[1].value, rows[1].cells[1].difference),
        (Some(2.0), None)
    );
}

#[test]
fn an_uncertainty_that_is_not_known_leaves_that_of_the_difference_out() {
    let first = measured(vec![Figure {
        uncertainty: None,
        ..figure("dropouts", 1.0, 0.0)
    }]);
    let second = measured(vec![figure("dropouts", 3.0, 0.4)]);
    let rows = compare(&[first, second]).rows;
    assert_eq!(rows[0].cells[1].difference, Some(2.0));
    assert_eq!(rows[0].cells[1].difference_uncertainty, None);
}

#[test]
fn setup_keys_that_differ_are_named_and_curves_are_left_out() {
    let mut first = measured(Vec::new());
    first.curves.push(Default::default());
    first.setup.insert("gain".to_owned(), "-10".to_owned());
    first.setup.insert("channel".to_owned(), "2".to_owned());
    let mut second = first.clone();
    second.setup.insert("gain".to_owned(), "0".to_owned());
    let compared = compare(&[first, second]);
    assert_eq!(compared.setup_differences, ["gain"]);
    assert!(
        compared
            .measurements
            .iter()
            .all(|measurement| measurement.curves.is_empty())
    );
}
