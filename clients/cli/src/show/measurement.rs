//! One measurement on the screen.

mod figures;

use goodwire_proto::v1::{Event, Measurement, note::Level, verdict::Outcome};

use super::{
    Look, Mark, channels,
    look::Paint,
    number, place, plot,
    table::{Side, Table},
    time,
};

/// More events than this are counted, not listed.
const EVENTS_MAX: usize = 20;

/// A measurement with everything that people want to know of it, plots included.
pub fn render(look: &Look, measurement: &Measurement) -> String {
    let plots = plots(look, measurement);
    format!("{}{plots}", render_short(look, measurement))
}

/// Several measurements below each other, without plots.
pub fn render_several(look: &Look, measurements: &[Measurement]) -> String {
    let parts: Vec<_> = measurements
        .iter()
        .map(|measurement| render_short(look, measurement))
        .collect();
    parts.join("\n")
}

fn render_short(look: &Look, measurement: &Measurement) -> String {
    let mut text = head(look, measurement);
    if let Some(reason) = &measurement.reason {
        text.push_str(&look.wrap("  ", &format!("{}: {}", reason.id, reason.text)));
    }
    if !measurement.figures.is_empty() || measurement.channel_plan.is_some() {
        text.push('\n');
        text.push_str(&figures(look, measurement));
    }
    text.push_str(&judgements(look, measurement));
    text.push_str(&events(look, &measurement.events));
    text.push_str(&notes(look, measurement));
    text.push_str(&findings(look, measurement));
    text
}

/// The figures as tables; those of a channel plan stand channel by channel.
fn figures(look: &Look, measurement: &Measurement) -> String {
    let Some(plan) = &measurement.channel_plan else {
        return figures::render(look, measurement);
    };
    let text = channels::render(look, plan, &measurement.figures);
    let rest = Measurement {
        figures: channels::of_the_whole(measurement),
        verdict: measurement.verdict.clone(),
        ..Measurement::default()
    };
    match rest.figures.is_empty() {
        true => text,
        false => format!("{text}\n{}", figures::render(look, &rest)),
    }
}

/// What it is, how it ended, where from; `simulated` stands out.
fn head(look: &Look, measurement: &Measurement) -> String {
    let mut what = vec![measurement.analysis.clone()];
    if let Some(link) = measurement.link.strip_prefix("links/") {
        what.push(link.to_owned());
    }
    if measurement.is_match {
        what.push("match".into());
    }
    if measurement.recorded {
        what.push("from recordings".into());
    }
    if measurement.simulated {
        what.push("SIMULATED".into());
    }
    let title = what.join(look.either(" · ", " * "));
    let mark = Mark::of(measurement);
    let verdict = mark.text(look);
    let gap = look
        .width
        .saturating_sub(title.chars().count() + verdict.chars().count())
        .max(2);
    let when = time::full(measurement.create_time.as_ref());
    format!(
        "{}{}{}\n{}\n",
        look.paint(Paint::Bold, &title),
        " ".repeat(gap),
        look.paint(mark.paint(), &verdict),
        look.paint(
            Paint::Dim,
            format!("{}  {when}", measurement.name).trim_end()
        )
    )
}

/// What the limits say: what is not well in sentences, what is well as a count.
fn judgements(look: &Look, measurement: &Measurement) -> String {
    let Some(verdict) = &measurement.verdict else {
        return String::new();
    };
    let passed = |outcome: i32| outcome == i32::from(Outcome::Pass);
    let kept = verdict
        .judgements
        .iter()
        .filter(|j| passed(j.outcome))
        .count();
    let mut text = look.heading("Limits");
    for judgement in verdict.judgements.iter().filter(|j| !passed(j.outcome)) {
        let mark = Mark::of_outcome(judgement.outcome).text(look);
        text.push_str(&look.wrap(&format!("  {mark}: "), &judgement.text));
    }
    if kept > 0 {
        let mark = Mark::of_outcome(Outcome::Pass.into()).text(look);
        text.push_str(&format!(
            "  {mark}: {kept} of {}\n",
            verdict.judgements.len()
        ));
    }
    text
}

fn events(look: &Look, events: &[Event]) -> String {
    if events.is_empty() {
        return String::new();
    }
    let mut table = Table::new([
        ("event", Side::Left),
        ("start s", Side::Right),
        ("length ms", Side::Right),
        ("where", Side::Short),
        ("label", Side::Short),
    ]);
    for event in events.iter().take(EVENTS_MAX) {
        table.row([
            event.id.clone(),
            event
                .start_s
                .map_or_else(String::new, |s| format!("{s:.3}")),
            event
                .duration_s
                .map_or_else(String::new, |s| number::plain(s * 1000.0)),
            place(event.at.as_ref()),
            event.text.clone(),
        ]);
    }
    let mut text = look.heading("Events") + &table.render(look);
    if events.len() > EVENTS_MAX {
        text.push_str(&format!(
            "  and {} more: see --json\n",
            events.len() - EVENTS_MAX
        ));
    }
    text
}

fn notes(look: &Look, measurement: &Measurement) -> String {
    if measurement.notes.is_empty() {
        return String::new();
    }
    let mut text = look.heading("Notes");
    for note in &measurement.notes {
        let first = if note.level() == Level::Warning {
            "  ! "
        } else {
            "  - "
        };
        text.push_str(&look.wrap(first, &format!("{} ({})", note.text, note.id)));
    }
    text
}

fn findings(look: &Look, measurement: &Measurement) -> String {
    if measurement.findings.is_empty() {
        return String::new();
    }
    let mut text = look.heading("Likely cause");
    for finding in &measurement.findings {
        let arrow = look.either("  → ", "  > ");
        text.push_str(&look.wrap(arrow, &format!("{} ({})", finding.text, finding.id)));
    }
    text
}

/// Plots of the curves that say more as a picture.
fn plots(look: &Look, measurement: &Measurement) -> String {
    let mut text = String::new();
    if let Some(plan) = &measurement.channel_plan {
        text.push_str(&look.heading("Bands over frequency"));
        text.push_str(&channels::picture(look, plan));
    }
    for curve in &measurement.curves {
        let picture = match curve.id.as_str() {
            "magnitude" => plot::magnitude(look, curve),
            "input_output" => plot::input_output(look, curve, gain_db(measurement)),
            "level" | "level_over_distance" => plot::watched(look, curve, &measurement.events),
            _ => continue,
        };
        if picture.is_empty() {
            continue;
        }
        let title = format!(
            "{} {}",
            curve.id.replace('_', " "),
            place(curve.at.as_ref())
        );
        let title = format!("{}, {}", title.trim_end(), curve.y_unit);
        text.push_str(&look.heading(&title));
        text.push_str(&picture);
    }
    text
}

fn gain_db(measurement: &Measurement) -> Option<f64> {
    measurement.figures.iter().find(|f| f.id == "gain")?.value
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::show::place::tests::at;
    use goodwire_proto::v1::{
        Curve, Figure, Finding, Judgement, Note, Reason, Verdict, measurement::State,
    };

    const LOOK: Look = Look {
        width: 80,
        unicode: true,
        colour: false,
    };

    fn response() -> Measurement {
        let mut note = Note {
            id: "unmatched-paths".into(),
            text: "The two paths were never matched, so their own difference is in these figures."
                .into(),
            ..Note::default()
        };
        note.set_level(Level::Info);
        let mut verdict = Verdict::default();
        verdict.set_outcome(Outcome::Fail);
        let mut judgement = Judgement {
            figure: "deviation".into(),
            text: "Deviation from 8 kHz to 16 kHz is -4.2 dB, below the limit of -3 dB.".into(),
            at: Some(at(&[("from_hz", 8_000.0), ("to_hz", 16_000.0)])),
            ..Judgement::default()
        };
        judgement.set_outcome(Outcome::Fail);
        verdict.judgements = vec![judgement];
        let mut measurement = Measurement {
            name: "measurements/019ab0c3".into(),
            link: "links/foyer".into(),
            analysis: "response".into(),
            simulated: true,
            create_time: Some("2026-11-25T09:41:02Z".parse().unwrap()),
            figures: vec![
                Figure {
                    id: "gain".into(),
                    value: Some(-0.4217),
                    uncertainty: Some(0.0137),
                    unit: "dB".into(),
                    ..Figure::default()
                },
                Figure {
                    id: "deviation".into(),
                    value: Some(-4.21),
                    uncertainty: Some(0.03),
                    unit: "dB".into(),
                    at: Some(at(&[
                        ("from_hz", 8_000.0),
                        ("to_hz", 16_000.0),
                        ("frequency_hz", 15_900.0),
                    ])),
                    ..Figure::default()
                },
            ],
            curves: vec![Curve {
                id: "magnitude".into(),
                x_unit: "Hz".into(),
                y_unit: "dB".into(),
                x: vec![20.0, 20_000.0],
                y: vec![0.0, 0.0],
                ..Curve::default()
            }],
            notes: vec![note],
            verdict: Some(verdict),
            findings: vec![Finding {
                id: "treble-lost".into(),
                text: "The high end is lost: look for a narrow channel filter.".into(),
            }],
            ..Measurement::default()
        };
        measurement.set_state(State::Succeeded);
        measurement
    }

    #[test]
    fn a_failed_link_is_told_in_words_shapes_and_sentences() {
        let want = "\
response · foyer · SIMULATED                                              ✗ fail
measurements/019ab0c3  2026-11-25 09:41:02 UTC

  figure     where                      value      ±  unit  limit
  gain                                 -0.422  0.014  dB
  deviation  8 to 16 kHz, at 15.9 kHz   -4.21   0.03  dB    ✗

Limits
  ✗ fail: Deviation from 8 kHz to 16 kHz is -4.2 dB, below the limit of -3 dB.

Notes
  - The two paths were never matched, so their own difference is in these
    figures. (unmatched-paths)

Likely cause
  → The high end is lost: look for a narrow channel filter. (treble-lost)
";
        assert_eq!(render_short(&LOOK, &response()), want);
    }

    #[test]
    fn plots_come_with_a_single_measurement_and_fit_80_columns() {
        let text = render(&LOOK, &response());
        assert!(text.contains("magnitude, dB"));
        assert!(
            text.lines().all(|line| line.chars().count() <= 80),
            "{text}"
        );
        assert!(!render_several(&LOOK, &[response()]).contains("magnitude, dB"));
    }

    #[test]
    fn a_measurement_that_failed_says_why() {
        let mut measurement = Measurement {
            analysis: "latency".into(),
            reason: Some(Reason {
                id: "room-in-use".into(),
                text: "somebody plays".into(),
                ..Reason::default()
            }),
            ..Measurement::default()
        };
        measurement.set_state(State::Failed);
        let text = render(&LOOK, &measurement);
        assert!(text.contains("! failed") && text.contains("room-in-use: somebody plays"));
    }
}
