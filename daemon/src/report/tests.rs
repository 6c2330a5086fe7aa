//! Whole pages from measurements that were made up: what must be in them, and how it is nested.

use goodwire_proto::v1::{
    Curve, Excuse, Figure, Finding, Judgement, Measurement, Note, Reason, Run, RunCheck, Verdict,
    measurement, note, run::State, verdict::Outcome,
};
use prost_types::{Struct, Timestamp, Value, value::Kind};

use super::{Report, Subject, Zone, render};

/// A response that fails in one band, with everything that a page can show.
fn response(link: &str, gain_db: f64) -> Measurement {
    let number = |number| Value {
        kind: Some(Kind::NumberValue(number)),
    };
    let band = Struct {
        fields: [
            ("from_hz".to_owned(), number(125.0)),
            ("to_hz".to_owned(), number(250.0)),
        ]
        .into(),
    };
    let figure = |id: &str, value, at: Option<Struct>| Figure {
        id: id.into(),
        value: Some(value),
        uncertainty: Some(0.06),
        unit: "dB".into(),
        at,
        ..Figure::default()
    };
    let x: Vec<f64> = (0..=30)
        .map(|third| 20.0 * 10f64.powf(f64::from(third) / 10.0))
        .collect();
    Measurement {
        name: format!("measurements/{link}"),
        link: format!("links/{link}"),
        analysis: "response".into(),
        state: measurement::State::Succeeded.into(),
        figures: vec![
            figure("gain", gain_db, None),
            figure("deviation", -4.2, Some(band.clone())),
        ],
        curves: vec![Curve {
            id: "magnitude".into(),
            x_unit: "Hz".into(),
            y_unit: "dB".into(),
            y: x.iter().map(|x| gain_db - 40.0 / x).collect(),
            y_uncertainty: vec![0.1; x.len()],
            x,
            at: None,
        }],
        notes: vec![Note {
            level: note::Level::Warning.into(),
            id: "unmatched-paths".into(),
            text: "The paths were never matched.".into(),
        }],
        findings: vec![Finding {
            id: "low-end-lost".into(),
            text: "The low end is lost: put the input switch to line.".into(),
        }],
        verdict: Some(Verdict {
            outcome: Outcome::Fail.into(),
            judgements: vec![Judgement {
                figure: "deviation".into(),
                at: Some(band),
                outcome: Outcome::Fail.into(),
                text: "Deviation is below the limit of -3 dB.".into(),
                min: Some(-3.0),
                max: Some(3.0),
                unit: "dB".into(),
                ..Judgement::default()
            }],
        }),
        start_time: Some(at_s(1_795_626_300)),
        setup: [("transmitter".to_owned(), "belt unit 3".to_owned())].into(),
        ..Measurement::default()
    }
}

fn at_s(seconds: i64) -> Timestamp {
    Timestamp { seconds, nanos: 0 }
}

fn alone(measurement: Measurement) -> Report {
    Report {
        site: "lantern-cellar".into(),
        zone: Zone::default(),
        run: None,
        subjects: vec![Subject {
            measurement,
            ..Subject::default()
        }],
    }
}

/// Ids of the page, and whether every opened element is closed again in order.
fn ids_of_well_nested(page: &str) -> Vec<&str> {
    let (mut open, mut ids) = (Vec::new(), Vec::new());
    for tag in page.split('<').skip(1) {
        let (tag, _) = tag.split_once('>').expect("a tag ends");
        let name = tag.split_whitespace().next().unwrap_or_default();
        if let Some(id) = tag.split(" id=\"").nth(1) {
            ids.push(id.split('"').next().unwrap_or_default());
        }
        match name {
            "!DOCTYPE" | "meta" | "br" => {}
            _ if tag.ends_with('/') => {}
            _ if name.starts_with('/') => {
                assert_eq!(open.pop(), Some(&name[1..]), "closed by <{tag}>");
            }
            _ => open.push(name),
        }
    }
    assert!(open.is_empty(), "never closed: {open:?}");
    ids
}

#[test]
fn the_page_of_a_failing_link_says_so_first_with_word_shape_and_what_to_do() {
    let page = render(&alone(response("lectern", -3.0)));
    ids_of_well_nested(&page);
    let answer = page.find("lectern fails.").expect("the one sentence");
    let shape = page.find("class=\"shape fail\"").expect("a shape");
    let table = page.find("<table").expect("a table");
    assert!(answer < shape && shape < table);
    for wanted in [
        "<b>1</b> fail",
        "The low end is lost: put the input switch to line.",
        "Deviation is below the limit of -3 dB.",
        "The paths were never matched.",
        "-4.20 ± 0.12 dB",
        "-3 to 3 dB",
        "IEC 60263, 25 dB per decade",
        "Setup: transmitter",
        "2026-11-25",
    ] {
        assert!(page.contains(wanted), "{wanted:?} is not in the page");
    }
    assert!(!page.contains("SIMULATED"));
}

#[test]
fn a_page_takes_nothing_from_outside_and_runs_nothing() {
    let page = render(&alone(response("lectern", -3.0)));
    for word in ["<script", "src=", "@import", "url(", "<link", "http"] {
        let inside_of_tags = page.split('<').filter_map(|tag| tag.split('>').next());
        let style = page
            .split("<style>")
            .nth(1)
            .and_then(|rest| rest.split("</style>").next());
        let found = inside_of_tags.chain(style).find(|tag| tag.contains(word));
        assert!(found.is_none(), "{word:?} in {found:?}");
    }
}

#[test]
fn whatever_people_wrote_is_shown_and_never_becomes_markup() {
    let evil = "<img src=x onerror=\"alert('&')\">";
    let mut measurement = response(evil, -3.0);
    measurement.analysis = evil.into();
    measurement.setup = [(evil.to_owned(), evil.to_owned())].into();
    measurement.findings[0].text = evil.into();
    measurement.notes[0].text = evil.into();
    measurement.curves[0].id = evil.into();
    measurement.curves[0].y_unit = evil.into();
    measurement.figures[0].id = evil.into();
    measurement.figures[0].unit = evil.into();
    if let Some(verdict) = &mut measurement.verdict {
        verdict.judgements[0].text = evil.into();
    }
    let mut report = alone(measurement.clone());
    report.site = evil.into();
    report.subjects.push(Subject {
        before: Some(measurement.clone()),
        baseline: Some(measurement.clone()),
        measurement,
        ..Subject::default()
    });
    report.run = None;
    for page in [render(&report), render(&run_of(&report, evil))] {
        assert!(!page.contains("<img"), "it became markup");
        assert!(page.contains("&lt;img src=x onerror=&quot;alert(&#39;&amp;&#39;)&quot;&gt;"));
        ids_of_well_nested(&page);
    }
}

fn run_of(report: &Report, text: &str) -> Report {
    let mut run = Run {
        name: "runs/1".into(),
        round: format!("rounds/{text}"),
        start_time: Some(at_s(1_795_626_300)),
        excuses: vec![Excuse {
            link: format!("links/{text}"),
            until_time: Some(at_s(1_795_712_700)),
            text: text.into(),
        }],
        ..Run::default()
    };
    run.set_state(State::Ended);
    run.set_outcome(Outcome::Fail);
    run.checks.push(RunCheck {
        link: "links/choir".into(),
        analysis: "latency".into(),
        state: measurement::State::Failed.into(),
        outcome: Outcome::Unmeasured.into(),
        reason: Some(Reason {
            id: "refused".into(),
            text: text.into(),
            ..Default::default()
        }),
        ..RunCheck::default()
    });
    Report {
        run: Some(run),
        ..report.clone()
    }
}

#[test]
fn a_run_of_several_links_counts_them_and_says_who_was_left_out() {
    let mut well = response("choir-left", -3.0);
    well.verdict = Some(Verdict {
        outcome: Outcome::Pass.into(),
        judgements: Vec::new(),
    });
    let mut report = alone(response("lectern", -3.0));
    report.subjects.push(Subject {
        measurement: well,
        ..Subject::default()
    });
    let page = render(&run_of(&report, "workshop"));
    let want = "Of 3 links 1 fails (lectern), 1 could not be told (choir) and 1 passes.";
    assert!(page.contains(want), "{page}");
    assert!(page.contains("workshop was left out, excused until 2026-11-26"));
    assert!(page.contains("Latency was refused: workshop"));
    assert!(page.contains("href=\"#link-3\"") && page.contains("id=\"link-3\""));
}

#[test]
fn a_missed_run_and_one_without_permit_are_no_failures() {
    let mut run = Run {
        round: "rounds/nightly".into(),
        due_time: Some(at_s(1_795_626_300)),
        ..Run::default()
    };
    run.set_state(State::Missed);
    let mut report = Report {
        run: Some(run.clone()),
        ..Report::default()
    };
    assert!(render(&report).contains("This round was missed: nothing was measured."));
    run.set_state(State::Ended);
    run.reason = Some(Reason {
        id: "no-permit".into(),
        text: "No permit was given.".into(),
        ..Default::default()
    });
    report.run = Some(run);
    let page = render(&report);
    assert!(page.contains("Nothing was measured. No permit was given."));
    ids_of_well_nested(&page);
}

#[test]
fn what_moved_by_1_db_since_last_time_is_told_and_what_did_not_move_is_not() {
    let mut report = alone(response("lectern", -4.0));
    report.subjects[0].before = Some(response("lectern", -3.0));
    let page = render(&report);
    let want = "1 of 2 figures has moved by more than the uncertainty: gain by -1.00 ± 0.17 dB.";
    assert!(page.contains(want), "{page}");
    assert!(page.contains("class=\"line before\""), "last time's curve");
}

#[test]
fn three_systems_side_by_side_share_a_table_and_a_picture() {
    let mut report = alone(response("lectern", -3.0));
    for (link, gain_db) in [("choir", -2.0), ("riser", -1.0)] {
        let mut measurement = response(link, gain_db);
        measurement
            .setup
            .insert("transmitter".into(), format!("unit of {link}"));
        report.subjects.push(Subject {
            measurement,
            ..Subject::default()
        });
    }
    let page = render(&report);
    let ids = ids_of_well_nested(&page);
    let mut unique = ids.clone();
    unique.sort_unstable();
    unique.dedup();
    assert_eq!(unique.len(), ids.len(), "an id stands twice: {ids:?}");
    for wanted in [
        "A: lectern",
        "C: riser",
        "unit of choir",
        "id=\"s1-plot-1-title\"",
        "(+2.00 ± 0.17)",
    ] {
        assert!(page.contains(wanted), "{wanted:?} is not in the page");
    }
}

#[test]
fn simulated_results_say_so_loudly() {
    let mut measurement = response("lectern", -3.0);
    measurement.simulated = true;
    let page = render(&alone(measurement));
    let banner = page.find("<strong>SIMULATED</strong>").expect("a banner");
    assert!(banner < page.find("<main>").expect("a main part"));
}

#[test]
fn the_same_report_is_the_same_page_byte_for_byte() {
    let mut measurement = response("lectern", -3.0);
    for key in ["serial", "channel", "input", "gain", "firmware"] {
        measurement.setup.insert(key.into(), key.into());
    }
    // A clone of a map may have another order.
    assert_eq!(
        render(&alone(measurement.clone())),
        render(&alone(measurement))
    );
}

#[test]
fn headings_never_skip_a_level() {
    let mut report = alone(response("lectern", -3.0));
    report.subjects.push(report.subjects[0].clone());
    for page in [render(&report), render(&run_of(&report, "x"))] {
        let levels = page.match_indices("<h").filter_map(|(at, _)| {
            let level = page[at + 2..].chars().next()?;
            level.to_digit(10)
        });
        let levels: Vec<u32> = levels.collect();
        assert_eq!(levels[0], 1);
        assert!(
            levels.windows(2).all(|pair| pair[1] <= pair[0] + 1),
            "{levels:?}"
        );
    }
}
