//! What was measured, newest first.

use goodwire_proto::v1::Measurement;

use super::{
    Look, Mark,
    look::Paint,
    table::{Cell, Side, Table},
    time,
};

/// A table for each day.
pub fn render(look: &Look, measurements: &[Measurement]) -> String {
    if measurements.is_empty() {
        return "Nothing was measured.\n".into();
    }
    let days = measurements.chunk_by(|a, b| day(a) == day(b));
    let tables: Vec<_> = days.map(|of_day| table(look, of_day)).collect();
    tables.join("\n")
}

fn day(measurement: &Measurement) -> String {
    measurement
        .create_time
        .as_ref()
        .map_or_else(String::new, |time| time::parts(time).0)
}

fn table(look: &Look, measurements: &[Measurement]) -> String {
    let mut table = Table::new([
        ("at", Side::Left),
        ("link", Side::Short),
        ("analysis", Side::Short),
        ("verdict", Side::Left),
        ("measurement", Side::Left),
    ])
    .tight();
    for measurement in measurements {
        let clock = measurement
            .create_time
            .as_ref()
            .map(|time| time::parts(time).1);
        // Hours and minutes: the name itself tells the rest of the order.
        let clock: String = clock.unwrap_or_default().chars().take(5).collect();
        table.row([
            Cell::from(clock),
            link(measurement).into(),
            measurement.analysis.clone().into(),
            Cell::mark(look, Mark::of(measurement)),
            measurement.name.trim_start_matches("measurements/").into(),
        ]);
    }
    let day = measurements.first().map(day).unwrap_or_default();
    let head = look.paint(Paint::Bold, &format!("{day} UTC"));
    format!("{head}\n{}", table.render(look))
}

/// The link's bare name; what recordings are of where there is none.
pub fn link(measurement: &Measurement) -> String {
    match measurement.link.strip_prefix("links/") {
        Some(link) => link.to_owned(),
        None if measurement.recorded => "(recordings)".into(),
        None => measurement.link.clone(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use goodwire_proto::v1::measurement::State;

    #[test]
    fn results_fit_80_columns_with_whole_names() {
        let mut one = Measurement {
            name: "measurements/019ab0c3-7d5e-7000-8000-0123456789ab".into(),
            link: "links/monitor-left".into(),
            analysis: "distortion".into(),
            create_time: Some("2026-11-25T09:41:02Z".parse().unwrap()),
            ..Measurement::default()
        };
        one.set_state(State::Succeeded);
        let mut other = one.clone();
        other.create_time = Some("2026-11-24T23:00:00Z".parse().unwrap());
        let look = Look {
            width: 80,
            unicode: true,
            colour: false,
        };
        let text = render(&look, &[one, other]);
        assert!(
            text.lines().all(|line| line.chars().count() <= 80),
            "{text}"
        );
        assert!(
            text.contains("monitor-left distortion · no limits"),
            "{text}"
        );
        assert!(
            text.contains("019ab0c3-7d5e-7000-8000-0123456789ab"),
            "{text}"
        );
        assert_eq!(
            text.lines().filter(|line| line.contains("UTC")).count(),
            2,
            "{text}"
        );
    }
}
