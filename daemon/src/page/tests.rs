//! What pages say of states that were made up.

use axum::{http::StatusCode, response::IntoResponse};
use goodwire_proto::v1::{Excuse, Measurement, RunCheck};

use super::{
    answer::Trouble,
    front::{Front, LinkState, Progress},
    link::Span,
};
use crate::report::mark::Mark;

fn links(states: &[(&str, Option<Mark>, bool)]) -> Front {
    let state = |(name, mark, is_away): &(&str, Option<Mark>, bool)| LinkState {
        name: (*name).to_owned(),
        mark: *mark,
        excuse: is_away.then(Excuse::default),
        ..LinkState::default()
    };
    Front {
        links: states.iter().map(state).collect(),
        ..Front::default()
    }
}

#[test]
fn the_first_sentence_says_that_all_is_well_or_who_needs_attention() {
    let well = Some(Mark::Pass);
    let all = links(&[("a", well, false), ("b", well, false)]);
    assert_eq!(all.sentence(), "All is well: 2 links checked.");
    let one = links(&[("a", well, false), ("b", Some(Mark::Fail), false)]);
    assert_eq!(one.sentence(), "1 of 2 links needs attention: b.");
    let mixed = links(&[
        ("a", Some(Mark::Drift), false),
        ("b", Some(Mark::Unmeasured), false),
        ("c", None, false),
        ("d", Some(Mark::Fail), true),
        ("e", Some(Mark::NoLimit), false),
    ]);
    assert_eq!(
        mixed.sentence(),
        "2 of 5 links need attention: a and b. e is without a limit to be judged by. \
         c is not measured yet. d is away, and excused."
    );
}

#[test]
fn a_running_round_names_its_analysis_links_share_and_what_is_done() {
    let now = |link: &str| Measurement {
        link: format!("links/{link}"),
        analysis: "response".into(),
        progress: 0.436,
        ..Measurement::default()
    };
    let mut progress = Progress {
        links: vec!["lectern".into(), "choir".into()],
        checks: vec!["latency".into(), "response".into()],
        measured_now: vec![now("choir"), now("lectern")],
        ..Progress::default()
    };
    progress.run.checks.push(RunCheck {
        link: "links/choir".into(),
        analysis: "latency".into(),
        ..RunCheck::default()
    });
    assert_eq!(
        progress.sentence(),
        "Response is measured now on choir and lectern (43 %). 1 of 4 checks is done."
    );
    progress.measured_now.clear();
    let want = "Nothing is on the rig at this moment. 1 of 4 checks is done.";
    assert_eq!(progress.sentence(), want);
    assert!(progress.render(false).contains("href=\"/?still\""));
}

#[tokio::test]
async fn a_refusal_has_its_status_and_shows_markup_as_text() {
    let trouble = Trouble::new(StatusCode::NOT_FOUND, "there is no link '<b>'");
    let response = trouble.into_response();
    assert_eq!(response.status(), 404);
    let body = axum::body::to_bytes(response.into_body(), 1 << 20).await;
    let text = String::from_utf8(body.unwrap().to_vec()).unwrap();
    assert!(
        text.contains("There is no link &#39;&lt;b&gt;&#39;"),
        "{text}"
    );
}

#[test]
fn a_span_is_1_to_5200_weeks_or_all_and_a_year_where_nothing_is_said() {
    assert_eq!(Span::parse(None), Some(Span::Weeks(52)));
    assert_eq!(Span::parse(Some("weeks=13")), Some(Span::Weeks(13)));
    assert_eq!(Span::parse(Some("all")), Some(Span::All));
    for wrong in ["weeks=0", "weeks=5201", "weeks=-1", "days=3"] {
        assert_eq!(Span::parse(Some(wrong)), None, "{wrong}");
    }
}
