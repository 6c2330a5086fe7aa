//! The user's table: what is refused, and what is only told.

use goodwire_radio::table::{Row, Table, TableError};

fn row(name: &str, centre_mhz: f64, bandwidth_mhz: f64) -> Row {
    let name = name.to_owned();
    Row {
        name,
        centre_mhz,
        bandwidth_mhz,
    }
}

fn errors(rows: &[Row]) -> Vec<TableError> {
    Table::check(rows).unwrap_err().0
}

#[test]
fn a_table_of_three_rows_keeps_their_order_names_and_bands() {
    let rows = [
        row(" B 2 ", 606.9, 0.2),
        row("A 1", 606.5, 0.2),
        row("C 3", 607.8, 0.2),
    ];
    let table = Table::check(&rows).unwrap();
    let names: Vec<_> = table.channels().iter().map(|c| c.name.as_str()).collect();
    assert_eq!(names, ["B 2", "A 1", "C 3"]);
    assert_eq!(table.bands()[0], super::around(606.9, 0.2));
    assert_eq!(table.overlaps(), None);
}

#[test]
fn five_wrong_rows_of_six_are_told_at_once_each_with_its_number_and_what_would_be_right() {
    let told: Vec<_> = errors(&[
        row("1", 606.5, 0.2),
        row("1", 606.9, 0.2),
        row("", 607.3, 0.2),
        row("4", 2.404, 0.2),
        row("5", 607.8, 0.0),
        row("6", 608.2, 200.0),
    ])
    .iter()
    .map(ToString::to_string)
    .collect();
    assert_eq!(
        told,
        [
            "rows 1 and 2 are both called \"1\": each channel needs its own name",
            "row 3 has no name: give it the one the link's display shows",
            "row 4 (4): centre_mhz: 2.404 MHz is not likely here: was 2.404 GHz meant? \
             then write 2404 (MHz)",
            "row 5 (5): bandwidth_mhz: 0 MHz is not above zero",
            "row 6 (6): bandwidth_mhz: 200 MHz is not likely here: was 200 kHz meant? \
             then write 0.2 (MHz)",
        ]
    );
}

#[test]
fn an_empty_table_and_one_of_1001_rows_are_refused_and_one_of_1000_is_not() {
    assert_eq!(errors(&[]), [TableError::Empty]);
    let rows: Vec<Row> = (0..1_001)
        .map(|n| row(&n.to_string(), 470.0 + f64::from(n) * 0.2, 0.2))
        .collect();
    assert_eq!(
        errors(&rows),
        [TableError::TooManyRows { row_count: 1_001 }]
    );
    assert_eq!(Table::check(&rows[..1_000]).unwrap().overlaps(), None);
}

/// By hand: steps of 0.1 MHz, 0.2 MHz wide: each overlaps the next and only touches the one after.
#[test]
fn of_30_channels_on_half_their_width_29_pairs_overlap_and_the_first_20_are_told() {
    let rows: Vec<Row> = (0..30)
        .map(|n| row(&format!("ch {n}"), 606.5 + f64::from(n) * 0.1, 0.2))
        .collect();
    let overlaps = Table::check(&rows).unwrap().overlaps().unwrap();
    assert_eq!(overlaps.pair_count, 29);
    assert_eq!(overlaps.told.len(), 20);
    assert_eq!(overlaps.told[19], ["ch 19", "ch 20"]);
}
