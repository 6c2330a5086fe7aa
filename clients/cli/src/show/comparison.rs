//! Measurements side by side.

use goodwire_proto::v1::{CompareMeasurementsResponse, ComparisonCell, ComparisonRow, Measurement};

use super::{
    Look, Mark, place, results, rounded,
    table::{Cell, Side, Table},
    time,
};

/// So many measurements stand beside each other in one table of 80 columns: the first and one more.
const OTHERS_PER_TABLE: usize = 1;
/// A wider terminal takes one more for so many columns.
const COLUMNS_PER_OTHER: usize = 30;

/// Who is who, the setups that differ, and the figures with their differences.
pub fn render(look: &Look, comparison: &CompareMeasurementsResponse) -> String {
    let measurements = &comparison.measurements;
    let mut text = legend(look, measurements);
    if !comparison.setup_differences.is_empty() {
        text.push_str(&look.heading("Setups differ"));
        text.push_str(&setups(look, comparison));
    }
    if comparison.rows.is_empty() {
        text.push_str("\nNone of them has figures.\n");
        return text;
    }
    let room = look.width.saturating_sub(80) / COLUMNS_PER_OTHER;
    let others: Vec<_> = (1..measurements.len()).collect();
    for some in others.chunks(OTHERS_PER_TABLE + room) {
        text.push('\n');
        text.push_str(&figures(look, &comparison.rows, some));
    }
    text
}

/// A, B, C, …; beyond Z, numbers.
fn letter(index: usize) -> String {
    match u8::try_from(index) {
        Ok(index) if index < 26 => char::from(b'A' + index).to_string(),
        _ => (index + 1).to_string(),
    }
}

fn legend(look: &Look, measurements: &[Measurement]) -> String {
    let mut table = Table::new([
        ("", Side::Left),
        ("link", Side::Short),
        ("analysis", Side::Short),
        ("verdict", Side::Left),
        ("made", Side::Left),
        ("", Side::Left),
    ]);
    for (index, measurement) in measurements.iter().enumerate() {
        let simulated = if measurement.simulated {
            "SIMULATED"
        } else {
            ""
        };
        table.row([
            Cell::from(letter(index)),
            results::link(measurement).into(),
            measurement.analysis.clone().into(),
            Cell::mark(look, Mark::of(measurement)),
            time::full(measurement.create_time.as_ref()).into(),
            simulated.into(),
        ]);
    }
    table.render(look)
}

fn setups(look: &Look, comparison: &CompareMeasurementsResponse) -> String {
    let letters = (0..comparison.measurements.len()).map(|index| (letter(index), Side::Short));
    let mut table = Table::new(
        [("setup".to_owned(), Side::Left)]
            .into_iter()
            .chain(letters),
    );
    for key in &comparison.setup_differences {
        let values = comparison.measurements.iter().map(|measurement| {
            let value = measurement.setup.get(key);
            value.cloned().unwrap_or_else(|| "-".into())
        });
        table.row([key.clone()].into_iter().chain(values));
    }
    table.render(look)
}

/// The figures of the first and of some others, each with its difference from the first.
fn figures(look: &Look, rows: &[ComparisonRow], others: &[usize]) -> String {
    let first = letter(0);
    let heads = others.iter().flat_map(|index| {
        let letter = letter(*index);
        let difference = format!("{letter} {} {first}", look.either('−', '-'));
        [(letter, Side::Right), (difference, Side::Right)]
    });
    let left = [
        ("figure".to_owned(), Side::Short),
        ("unit".to_owned(), Side::Left),
        (first.clone(), Side::Right),
    ];
    let mut table = Table::new(left.into_iter().chain(heads));
    for row in rows {
        let cell = |index: &usize| row.cells.get(*index);
        if !others
            .iter()
            .chain([&0])
            .filter_map(cell)
            .any(|c| c.value.is_some())
        {
            continue;
        }
        let value = |index: &usize| cell(index).map_or_else(String::new, value);
        let pairs = others.iter().flat_map(|index| {
            let difference = cell(index).map_or_else(String::new, |c| difference(look, c));
            [value(index), difference]
        });
        let figure = format!("{} {}", row.figure, place(row.at.as_ref()));
        let head = [figure.trim_end().to_owned(), row.unit.clone(), value(&0)];
        table.row(head.into_iter().chain(pairs));
    }
    table.render(look)
}

/// A value, rounded to its own uncertainty.
fn value(cell: &ComparisonCell) -> String {
    let rounded = |value| rounded(value, cell.uncertainty).0;
    cell.value.map_or_else(String::new, rounded)
}

/// A difference with its sign and its uncertainty.
fn difference(look: &Look, cell: &ComparisonCell) -> String {
    let Some(difference) = cell.difference else {
        return String::new();
    };
    let sign = if difference > 0.0 { "+" } else { "" };
    let (value, spread) = rounded(difference, cell.difference_uncertainty);
    if spread.is_empty() {
        return format!("{sign}{value}");
    }
    format!("{sign}{value} {}{spread}", look.either("±", "+-"))
}

#[cfg(test)]
mod tests {
    use super::*;
    use goodwire_proto::v1::measurement::State;

    fn measurement(link: &str, channel: &str) -> Measurement {
        let mut measurement = Measurement {
            link: format!("links/{link}"),
            analysis: "latency".into(),
            create_time: Some("2026-11-25T09:41:02Z".parse().unwrap()),
            setup: [("channel".to_owned(), channel.to_owned())].into(),
            ..Measurement::default()
        };
        measurement.set_state(State::Succeeded);
        measurement
    }

    #[test]
    fn differences_stand_beside_the_values_and_setups_that_differ_are_named() {
        let comparison = CompareMeasurementsResponse {
            measurements: vec![measurement("lectern", "2"), measurement("foyer", "5")],
            rows: vec![ComparisonRow {
                figure: "latency".into(),
                unit: "ms".into(),
                cells: vec![
                    ComparisonCell {
                        value: Some(4.0),
                        uncertainty: Some(0.002),
                        ..ComparisonCell::default()
                    },
                    ComparisonCell {
                        value: Some(4.5),
                        uncertainty: Some(0.002),
                        difference: Some(0.5),
                        difference_uncertainty: Some(0.0028),
                    },
                ],
                ..ComparisonRow::default()
            }],
            setup_differences: vec!["channel".into()],
        };
        let look = Look {
            width: 80,
            unicode: true,
            colour: false,
        };
        assert_eq!(
            render(&look, &comparison),
            "     link     analysis  verdict      made\n  \
               A  lectern  latency   · no limits  2026-11-25 09:41:02 UTC\n  \
               B  foyer    latency   · no limits  2026-11-25 09:41:02 UTC\n\
             \nSetups differ\n  \
               setup    A  B\n  \
               channel  2  5\n\
             \n  \
               figure   unit      A      B          B − A\n  \
               latency  ms    4.000  4.500  +0.500 ±0.003\n"
        );
    }
}
