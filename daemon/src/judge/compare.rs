//! Measurements side by side, figure by figure.

use goodwire_proto::v1::{
    CompareMeasurementsResponse, ComparisonCell, ComparisonRow, Figure, Measurement,
};

use super::{drift::setup_differences, place};

/// Puts measurements side by side; the first is what the others are compared with.
///
/// A row is one figure, asked for at one place, in the order in which figures are first met. Where
/// within a band an extreme lay is left out: it differs from measurement to measurement.
#[must_use]
pub fn compare(measurements: &[Measurement]) -> CompareMeasurementsResponse {
    let mut rows: Vec<&Figure> = Vec::new();
    for figure in measurements
        .iter()
        .flat_map(|measurement| &measurement.figures)
    {
        let known = |row: &&Figure| {
            row.id == figure.id && place::same_place(row.at.as_ref(), figure.at.as_ref())
        };
        if !rows.iter().any(known) {
            rows.push(figure);
        }
    }
    CompareMeasurementsResponse {
        rows: rows
            .into_iter()
            .map(|figure| row_of(figure, measurements))
            .collect(),
        setup_differences: setup_differences(measurements),
        measurements: measurements
            .iter()
            .map(|measurement| Measurement {
                curves: Vec::new(),
                ..measurement.clone()
            })
            .collect(),
    }
}

fn row_of(figure: &Figure, measurements: &[Measurement]) -> ComparisonRow {
    let found: Vec<Option<&Figure>> = measurements
        .iter()
        .map(|measurement| place::counterpart(figure, &measurement.figures))
        .collect();
    let first = found.first().copied().flatten();
    let cells = found.iter().enumerate().map(|(index, found)| {
        let Some(found) = found else {
            return ComparisonCell::default();
        };
        let first = first.filter(|_| index > 0);
        let both = first
            .and_then(|first| first.uncertainty)
            .zip(found.uncertainty);
        ComparisonCell {
            value: found.value,
            uncertainty: found.uncertainty,
            difference: first.and_then(|first| Some(found.value? - first.value?)),
            difference_uncertainty: both.map(|(a, b)| a.hypot(b)),
        }
    });
    let at = place::asked(figure.at.as_ref());
    ComparisonRow {
        figure: figure.id.clone(),
        at: (!at.fields.is_empty()).then_some(at),
        unit: figure.unit.clone(),
        cells: cells.collect(),
    }
}
