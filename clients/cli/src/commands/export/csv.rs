//! Tables after RFC 4180: a head with units, comma, CRLF, quotes only where they are needed.

use std::path::{Path, PathBuf};

use goodwire_proto::v1::{Curve, Event, Figure, Measurement, Run, verdict::Outcome};
use prost_types::{Struct, value::Kind};

/// All tables of a measurement with the paths that they go to.
pub fn tables(measurement: &Measurement, out: &Path) -> Vec<(PathBuf, String)> {
    let mut tables = vec![(out.to_owned(), figures(&measurement.figures))];
    for curve in &measurement.curves {
        let several = measurement
            .curves
            .iter()
            .filter(|c| c.id == curve.id)
            .count()
            > 1;
        let suffix = if several {
            format!("{}-{}", curve.id, file_name(&place(curve.at.as_ref())))
        } else {
            file_name(&curve.id)
        };
        tables.push((beside(out, &suffix), curve_table(curve)));
    }
    if !measurement.events.is_empty() {
        tables.push((beside(out, "events"), events(&measurement.events)));
    }
    tables
}

/// The tables of a run: its checks, and the figures of all its measurements.
pub fn run_tables(run: &Run, measured: &[Measurement], out: &Path) -> Vec<(PathBuf, String)> {
    let heads = [
        "link",
        "analysis",
        "verdict",
        "reason",
        "text",
        "measurement",
    ];
    let mut checks = line(&heads.map(String::from));
    for check in &run.checks {
        let reason = check.reason.clone().unwrap_or_default();
        let said = if check.text.is_empty() {
            reason.text
        } else {
            check.text.clone()
        };
        checks.push_str(&line(&[
            bare(&check.link),
            check.analysis.clone(),
            outcome(check.outcome()),
            reason.id,
            said,
            check.measurement.clone(),
        ]));
    }
    let heads = ["link", "analysis"].into_iter().chain(FIGURE_HEADS);
    let mut figures = line(&heads.map(String::from).collect::<Vec<_>>());
    for measurement in measured {
        for figure in &measurement.figures {
            let of = [bare(&measurement.link), measurement.analysis.clone()];
            let row: Vec<_> = of.into_iter().chain(figure_row(figure)).collect();
            figures.push_str(&line(&row));
        }
    }
    vec![(out.to_owned(), checks), (beside(out, "figures"), figures)]
}

const FIGURE_HEADS: [&str; 7] = ["id", "at", "value", "uncertainty", "low", "high", "unit"];

fn figures(figures: &[Figure]) -> String {
    let mut text = line(&FIGURE_HEADS.map(String::from));
    for figure in figures {
        text.push_str(&line(&figure_row(figure)));
    }
    text
}

fn figure_row(figure: &Figure) -> [String; 7] {
    [
        figure.id.clone(),
        place(figure.at.as_ref()),
        number(figure.value),
        number(figure.uncertainty),
        number(figure.low),
        number(figure.high),
        figure.unit.clone(),
    ]
}

/// `PASS` and so on; empty where no limit applies.
fn outcome(outcome: Outcome) -> String {
    match outcome {
        Outcome::Unspecified => String::new(),
        known => known.as_str_name().to_owned(),
    }
}

fn bare(name: &str) -> String {
    name.rsplit('/').next().unwrap_or_default().to_owned()
}

fn curve_table(curve: &Curve) -> String {
    let uncertain = !curve.y_uncertainty.is_empty();
    let mut head = vec![
        format!("x ({})", curve.x_unit),
        format!("{} ({})", curve.id, curve.y_unit),
    ];
    head.extend(uncertain.then(|| format!("uncertainty ({})", curve.y_unit)));
    let mut text = line(&head);
    for (index, (x, y)) in curve.x.iter().zip(&curve.y).enumerate() {
        let mut row = vec![x.to_string(), y.to_string()];
        row.extend(uncertain.then(|| number(curve.y_uncertainty.get(index).copied())));
        text.push_str(&line(&row));
    }
    text
}

fn events(events: &[Event]) -> String {
    let mut text = line(&["id", "start (s)", "duration (s)", "at", "text"].map(String::from));
    for event in events {
        text.push_str(&line(&[
            event.id.clone(),
            number(event.start_s),
            number(event.duration_s),
            place(event.at.as_ref()),
            event.text.clone(),
        ]));
    }
    text
}

/// One record; fields with a comma, a quote or a line end are quoted.
fn line(fields: &[String]) -> String {
    let quoted: Vec<_> = fields
        .iter()
        .map(|field| {
            if field.contains([',', '"', '\r', '\n']) {
                format!("\"{}\"", field.replace('"', "\"\""))
            } else {
                field.clone()
            }
        })
        .collect();
    quoted.join(",") + "\r\n"
}

/// An absent number is an empty field.
fn number(value: Option<f64>) -> String {
    value.map_or_else(String::new, |value| value.to_string())
}

/// `from_hz=20;to_hz=63`.
fn place(at: Option<&Struct>) -> String {
    let fields = at.into_iter().flat_map(|at| &at.fields);
    let pairs: Vec<_> = fields
        .map(|(name, value)| {
            let value = match &value.kind {
                Some(Kind::NumberValue(number)) => number.to_string(),
                Some(Kind::StringValue(text)) => text.clone(),
                Some(Kind::BoolValue(switch)) => switch.to_string(),
                // Places hold numbers and names; anything else has no place in a table.
                _ => String::new(),
            };
            format!("{name}={value}")
        })
        .collect();
    pairs.join(";")
}

/// The path with `-suffix` before its extension.
pub fn beside(out: &Path, suffix: &str) -> PathBuf {
    let stem = out.file_stem().unwrap_or_default().to_string_lossy();
    let name = match out.extension() {
        Some(extension) => format!("{stem}-{suffix}.{}", extension.to_string_lossy()),
        None => format!("{stem}-{suffix}"),
    };
    out.with_file_name(name)
}

/// Only letters, digits, `_`, `.` and `-`.
fn file_name(text: &str) -> String {
    text.chars()
        .map(|c| {
            if c.is_alphanumeric() || "_.-".contains(c) {
                c
            } else {
                '-'
            }
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use goodwire_proto::v1::RunCheck;
    use prost_types::Value;

    fn at(pairs: &[(&str, f64)]) -> Option<Struct> {
        let fields = pairs.iter().map(|(name, number)| {
            let kind = Some(Kind::NumberValue(*number));
            ((*name).to_owned(), Value { kind })
        });
        Some(Struct {
            fields: fields.collect(),
        })
    }

    fn curve(id: &str, level_dbfs: f64) -> Curve {
        Curve {
            id: id.into(),
            x_unit: "Hz".into(),
            y_unit: "dB".into(),
            x: vec![20.0, 31.5],
            y: vec![-0.25, 0.0],
            y_uncertainty: vec![0.01, 0.02],
            at: at(&[("level_dbfs", level_dbfs)]),
        }
    }

    #[test]
    fn figures_have_empty_fields_where_nothing_is_known() {
        let measurement = Measurement {
            figures: vec![Figure {
                id: "deviation".into(),
                value: Some(-0.5),
                uncertainty: Some(0.01),
                unit: "dB".into(),
                at: at(&[("to_hz", 63.0), ("from_hz", 20.0)]),
                ..Figure::default()
            }],
            ..Measurement::default()
        };
        let tables = tables(&measurement, Path::new("out/a.csv"));
        assert_eq!(
            tables,
            [(
                "out/a.csv".into(),
                "id,at,value,uncertainty,low,high,unit\r\n\
                 deviation,from_hz=20;to_hz=63,-0.5,0.01,,,dB\r\n"
                    .into()
            )]
        );
    }

    #[test]
    fn each_curve_is_a_file_of_its_own_told_apart_by_its_place() {
        let measurement = Measurement {
            curves: vec![
                curve("magnitude", -20.0),
                curve("magnitude", -40.0),
                curve("phase", 0.0),
            ],
            ..Measurement::default()
        };
        let tables = tables(&measurement, Path::new("a.csv"));
        let names: Vec<_> = tables
            .iter()
            .map(|(path, _)| path.to_str().unwrap())
            .collect();
        assert_eq!(
            names,
            [
                "a.csv",
                "a-magnitude-level_dbfs--20.csv",
                "a-magnitude-level_dbfs--40.csv",
                "a-phase.csv"
            ]
        );
        assert_eq!(
            tables[3].1,
            "x (Hz),phase (dB),uncertainty (dB)\r\n20,-0.25,0.01\r\n31.5,0,0.02\r\n"
        );
    }

    #[test]
    fn a_run_is_a_table_of_checks_and_one_of_all_figures() {
        let run = Run {
            checks: vec![RunCheck {
                link: "links/lectern".into(),
                analysis: "latency".into(),
                outcome: Outcome::Fail.into(),
                text: "9 ms, above 5 ms".into(),
                measurement: "measurements/1".into(),
                ..RunCheck::default()
            }],
            ..Run::default()
        };
        let measured = Measurement {
            link: "links/lectern".into(),
            analysis: "latency".into(),
            figures: vec![Figure {
                id: "latency".into(),
                value: Some(9.0),
                unit: "ms".into(),
                ..Figure::default()
            }],
            ..Measurement::default()
        };
        let tables = run_tables(&run, &[measured], Path::new("a.csv"));
        assert_eq!(
            tables[0].1,
            "link,analysis,verdict,reason,text,measurement\r\n\
             lectern,latency,FAIL,,\"9 ms, above 5 ms\",measurements/1\r\n"
        );
        assert_eq!(tables[1].0, Path::new("a-figures.csv"));
        assert_eq!(
            tables[1].1,
            "link,analysis,id,at,value,uncertainty,low,high,unit\r\n\
             lectern,latency,latency,,9,,,,ms\r\n"
        );
    }

    #[test]
    fn commas_and_quotes_are_quoted() {
        assert_eq!(
            line(&["a,b".into(), "say \"hi\"".into()]),
            "\"a,b\",\"say \"\"hi\"\"\"\r\n"
        );
    }
}
