//! The figures of a measurement as tables.

use goodwire_proto::v1::{Figure, Judgement, Measurement, verdict::Outcome};

use crate::show::{
    Look, Mark, number, place, rounded,
    table::{Cell, Side, Table},
};

/// Figures of one id at so many places are shown as a column of their own.
const PLACES_MIN: usize = 3;

/// All figures: first those that stand alone, then those that are told of many places.
pub fn render(look: &Look, measurement: &Measurement) -> String {
    let figures = &measurement.figures;
    let judgements = measurement
        .verdict
        .as_ref()
        .map_or(&[][..], |verdict| &verdict.judgements);
    let groups = groups(figures);
    let alone = figures.iter().filter(|figure| {
        !groups
            .iter()
            .any(|group| group.ids.contains(&figure.id.as_str()))
    });
    let mut table = Table::new([
        ("figure", Side::Left),
        ("where", Side::Short),
        ("value", Side::Right),
        (look.either("±", "+/-"), Side::Right),
        ("unit", Side::Left),
        ("limit", Side::Left),
    ]);
    let mut empty = true;
    for figure in alone {
        let (value, spread) = numbers(figure);
        table.row([
            Cell::from(figure.id.clone()),
            place(figure.at.as_ref()).into(),
            value.into(),
            spread.into(),
            figure.unit.clone().into(),
            limit(look, figure, judgements),
        ]);
        empty = false;
    }
    let mut parts = Vec::new();
    if !empty {
        parts.push(table.render(look));
    }
    parts.extend(groups.iter().flat_map(|group| group.render(look, figures)));
    parts.join("\n")
}

/// Value and uncertainty, or the interval where it is not symmetric; one that has no upper end is at
/// least so much.
fn numbers(figure: &Figure) -> (String, String) {
    let Some(value) = figure.value else {
        return (String::new(), String::new());
    };
    match (figure.low, figure.high) {
        (Some(low), Some(high)) => number::between(value, low, high),
        (Some(_), None) => (number::plain(value), "or more".into()),
        _ => rounded(value, figure.uncertainty),
    }
}

/// The worst that the limits say of this very figure.
fn limit(look: &Look, figure: &Figure, judgements: &[Judgement]) -> Cell {
    judgements
        .iter()
        .filter(|judgement| judgement.figure == figure.id && concerns(judgement, figure))
        .max_by_key(|judgement| severity(judgement.outcome))
        .map_or_else(Cell::default, |judgement| {
            Cell::shape(look, Mark::of_outcome(judgement.outcome))
        })
}

/// True where every place that the judgement names is the figure's.
fn concerns(judgement: &Judgement, figure: &Figure) -> bool {
    let Some(wanted) = &judgement.at else {
        return true;
    };
    let has = figure.at.as_ref();
    wanted
        .fields
        .iter()
        .all(|(name, value)| has.and_then(|at| at.fields.get(name)) == Some(value))
}

fn severity(outcome: i32) -> usize {
    [
        Outcome::Pass,
        Outcome::Drift,
        Outcome::Unmeasured,
        Outcome::Fail,
    ]
    .iter()
    .position(|known| i32::from(*known) == outcome)
    .unwrap_or(0)
}

/// Ids that are told of many places, most of them the same.
struct Group<'a> {
    ids: Vec<&'a str>,
    places: Vec<String>,
}

/// Finds the ids that make a table of places; an id alone makes none. The reference's own
/// figures stand in a table of their own.
fn groups(figures: &[Figure]) -> Vec<Group<'_>> {
    let mut groups: Vec<Group> = Vec::new();
    for (id, places) in places_of_ids(figures) {
        if places.len() < PLACES_MIN {
            continue;
        }
        let is_kin = |group: &&mut Group| {
            is_of_reference(group.ids[0]) == is_of_reference(id)
                && places.iter().any(|place| group.places.contains(place))
        };
        let Some(group) = groups.iter_mut().find(is_kin) else {
            let ids = vec![id];
            groups.push(Group { ids, places });
            continue;
        };
        group.ids.push(id);
        for place in places {
            if !group.places.contains(&place) {
                group.places.push(place);
            }
        }
    }
    groups.retain(|group| group.ids.len() > 1);
    groups
}

/// Every id with its places, in the order of the figures.
fn places_of_ids(figures: &[Figure]) -> Vec<(&str, Vec<String>)> {
    let mut found: Vec<(&str, Vec<String>)> = Vec::new();
    for figure in figures {
        let place = place(figure.at.as_ref());
        match found.iter_mut().find(|(id, _)| *id == figure.id) {
            Some((_, places)) => places.push(place),
            None => found.push((&figure.id, vec![place])),
        }
    }
    found
}

fn is_of_reference(id: &str) -> bool {
    id.starts_with("reference_")
}

impl Group<'_> {
    /// As many tables as the width asks for.
    fn render(&self, look: &Look, figures: &[Figure]) -> Vec<String> {
        let columns: Vec<_> = self
            .ids
            .iter()
            .map(|id| self.column(look, id, figures))
            .collect();
        let width = |column: &(String, Vec<String>)| {
            let cells = column.1.iter().map(|cell| cell.chars().count());
            cells.chain([column.0.chars().count()]).max().unwrap_or(0) + 2
        };
        let places = self.places.iter().map(|place| place.chars().count());
        let left = places.max().unwrap_or(0) + 2;
        let (mut tables, mut from) = (Vec::new(), 0);
        while from < columns.len() {
            let mut total = left + width(&columns[from]);
            let mut to = from + 1;
            while to < columns.len() && total + width(&columns[to]) <= look.width {
                total += width(&columns[to]);
                to += 1;
            }
            tables.push(self.table(look, &columns[from..to]));
            from = to;
        }
        tables
    }

    /// Head and cells of one id; a place that it is not told of stays empty.
    fn column(&self, look: &Look, id: &str, figures: &[Figure]) -> (String, Vec<String>) {
        let same: Vec<_> = figures.iter().filter(|figure| figure.id == id).collect();
        let unit = same.first().map_or("", |figure| figure.unit.as_str());
        let at = |wanted: &String| same.iter().find(|f| place(f.at.as_ref()) == *wanted);
        let cells = self
            .places
            .iter()
            .map(|wanted| at(wanted).map_or_else(String::new, |figure| cell(look, figure)));
        (
            format!("{id} {unit}").trim_end().to_owned(),
            cells.collect(),
        )
    }

    fn table(&self, look: &Look, columns: &[(String, Vec<String>)]) -> String {
        let heads = columns.iter().map(|(head, _)| (head.as_str(), Side::Right));
        let mut table = Table::new([("where", Side::Left)].into_iter().chain(heads));
        for (row, place) in self.places.iter().enumerate() {
            let cells = columns.iter().map(|(_, cells)| cells[row].clone());
            table.row([place.clone()].into_iter().chain(cells));
        }
        table.render(look)
    }
}

/// Value and uncertainty in one cell.
fn cell(look: &Look, figure: &Figure) -> String {
    let (value, spread) = numbers(figure);
    if spread.is_empty() {
        return value;
    }
    let between = look.either(" ±", " +-");
    format!("{value}{between}{spread}")
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::show::place::tests::at;

    #[test]
    fn many_tones_make_a_table_with_units_in_its_heads() {
        let figure = |id: &str, hz: f64, value: f64| Figure {
            id: id.into(),
            value: Some(value),
            uncertainty: Some(0.001),
            unit: "%".into(),
            at: Some(at(&[("frequency_hz", hz)])),
            ..Figure::default()
        };
        let mut figures: Vec<_> = [100.0, 1_000.0, 6_000.0, 7_000.0]
            .iter()
            .flat_map(|hz| [figure("thd", *hz, 0.01), figure("thd_n", *hz, 0.02)])
            .collect();
        // One of them could not be had.
        figures.pop();
        let look = Look {
            width: 80,
            unicode: true,
            colour: false,
        };
        let measurement = Measurement {
            figures,
            ..Measurement::default()
        };
        assert_eq!(
            render(&look, &measurement),
            "  where            thd %         thd_n %\n  \
               100 Hz  0.0100 ±0.0010  0.0200 ±0.0010\n  \
               1 kHz   0.0100 ±0.0010  0.0200 ±0.0010\n  \
               6 kHz   0.0100 ±0.0010  0.0200 ±0.0010\n  \
               7 kHz   0.0100 ±0.0010\n"
        );
    }

    #[test]
    fn a_link_that_still_ran_after_10_h_ran_36000_s_or_more() {
        let ran = Figure {
            value: Some(36_000.0),
            low: Some(36_000.0),
            ..Figure::default()
        };
        assert_eq!(numbers(&ran), ("36000".into(), "or more".into()));
    }
}
