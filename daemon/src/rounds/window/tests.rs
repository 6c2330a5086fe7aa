//! Windows of two hours by a clock that moves as they wait, on a rig that does as each test says.

use std::sync::Mutex;

use goodwire_proto::v1::Reason;
use jiff::{SignedDuration, tz::TimeZone};
use prost_types::Struct;
use tokio_util::sync::CancellationToken;

use super::*;
use crate::{
    config::RoundConfig,
    rounds::{Schedule, outcome, runner::Asked},
};

const LINKS: [&str; 3] = ["lectern", "drum-riser", "stairs"];
const WINDOW: Duration = Duration::from_secs(2 * 3600);
/// What one request of the rig lasts.
const ASK: Duration = Duration::from_secs(20);

/// Why nothing may be played in that minute; `None`: it may.
type Forbidden = fn(minute: u64) -> Option<&'static str>;
/// Why a check of a link fails in that minute; empty: it succeeds.
type Fails = fn(link: &str, analysis: &str, minute: u64) -> &'static str;

struct Rig {
    /// Time since the window opened.
    elapsed: Mutex<Duration>,
    /// When somebody ends the run.
    cancelled: Option<(Duration, CancellationToken)>,
    forbidden: Forbidden,
    fails: Fails,
    /// What was measured: the minute, the link, the analysis, why it failed.
    measured: Mutex<Vec<(u64, String, String, &'static str)>>,
}

impl Rig {
    fn new(forbidden: Forbidden, fails: Fails) -> Self {
        Self {
            elapsed: Mutex::default(),
            cancelled: None,
            forbidden,
            fails,
            measured: Mutex::default(),
        }
    }

    fn minute(&self) -> u64 {
        self.elapsed.lock().unwrap().as_secs() / 60
    }

    /// The minutes in which a check of a link was done to its end.
    fn done(&self, link: &str, analysis: &str) -> Vec<u64> {
        let all = self.measured.lock().unwrap();
        let done = all
            .iter()
            .filter(|(_, of, what, failed)| of == link && what == analysis && failed.is_empty());
        done.map(|(minute, ..)| *minute).collect()
    }

    fn count(&self, link: &str, analysis: &str) -> usize {
        let all = self.measured.lock().unwrap();
        let of = |one: &&(u64, String, String, &str)| one.1 == link && one.2 == analysis;
        all.iter().filter(of).count()
    }
}

impl Checks for Rig {
    fn now(&self) -> Timestamp {
        let elapsed = SignedDuration::try_from(*self.elapsed.lock().unwrap()).unwrap();
        opens().checked_add(elapsed).unwrap()
    }

    async fn pause(&self, time: Duration) {
        let after = *self.elapsed.lock().unwrap() + time;
        match &self.cancelled {
            Some((at, cancel)) if after >= *at => {
                *self.elapsed.lock().unwrap() = *at;
                cancel.cancel();
                std::future::pending().await
            }
            _ => *self.elapsed.lock().unwrap() = after,
        }
    }

    async fn check(&self, one: &mut Performance, asks: Vec<Ask>) {
        for ask in asks {
            if let Some(reason) = (self.forbidden)(self.minute()) {
                one.run.reason = Some(outcome::forbidden(reason, "as told".into()));
                return;
            }
            *self.elapsed.lock().unwrap() += ASK;
            for link in ask.links {
                let (minute, analysis) = (self.minute(), ask.check.analysis.clone());
                let failed = (self.fails)(&link, &analysis, minute);
                one.run.checks.push(RunCheck {
                    link: format!("links/{link}"),
                    analysis: analysis.clone(),
                    reason: (!failed.is_empty()).then(|| Reason {
                        id: failed.into(),
                        ..Reason::default()
                    }),
                    ..RunCheck::default()
                });
                self.measured
                    .lock()
                    .unwrap()
                    .push((minute, link, analysis, failed));
            }
        }
    }
}

fn opens() -> Timestamp {
    "2027-06-01T15:00:00Z".parse().unwrap()
}

fn performance() -> Performance {
    let check = |analysis: &str| CheckConfig {
        analysis: analysis.into(),
        parameters: Struct::default(),
    };
    Performance {
        run: Run::default(),
        round: RoundConfig {
            name: "afternoon".into(),
            schedule: Schedule::window("15:00-17:00", TimeZone::UTC).unwrap(),
            catch_up: SignedDuration::ZERO,
            links: None,
            checks: vec![check("level"), check("response"), check("noise")],
        },
        asked: Asked::default(),
        cancel: CancellationToken::new(),
    }
}

/// Performs a whole window; gives the rig, the run and the minutes that it took.
async fn window(forbidden: Forbidden, fails: Fails) -> (Rig, Run, u64) {
    let rig = Rig::new(forbidden, fails);
    let mut one = performance();
    let until = opens()
        .checked_add(SignedDuration::try_from(WINDOW).unwrap())
        .unwrap();
    perform(&rig, &mut one, &LINKS.map(String::from), until).await;
    let minutes = rig.minute();
    (rig, one.run, minutes)
}

/// Fails unless every check of these links was done exactly once, and nothing failed before.
fn each_once(rig: &Rig, links: &[&str]) {
    for link in links {
        for analysis in ["level", "response", "noise"] {
            assert_eq!(rig.done(link, analysis).len(), 1, "{link} {analysis}");
            assert_eq!(rig.count(link, analysis), 1, "{link} {analysis}");
        }
    }
}

#[tokio::test]
async fn all_links_there_at_once_are_measured_once_within_2_minutes() {
    let (rig, run, minutes) = window(|_| None, |_, _, _| "").await;
    each_once(&rig, &LINKS);
    assert_eq!((run.checks.len(), run.reason, minutes), (9, None, 1));
}

#[tokio::test]
async fn a_link_whose_signal_appears_after_62_minutes_is_measured_once_by_67_and_others_at_once() {
    let appears = |link: &str, _: &str, minute: u64| match link {
        "stairs" if minute < 62 => "no-signal",
        _ => "",
    };
    let (rig, run, minutes) = window(|_| None, appears).await;
    each_once(&rig, &["lectern", "drum-riser"]);
    for analysis in ["level", "response", "noise"] {
        let done = rig.done("stairs", analysis);
        assert!(matches!(done[..], [62..=68]), "{analysis} {done:?}");
    }
    assert_eq!(
        rig.count("stairs", "response"),
        1,
        "nothing else while it was silent"
    );
    assert_eq!((run.checks.len(), run.reason), (9, None));
    assert!((62..=68).contains(&minutes), "{minutes}");
}

#[tokio::test]
async fn a_link_that_hisses_for_2_hours_ends_unrelated_with_the_window_after_a_last_try() {
    let never = |link: &str, _: &str, _: u64| match link {
        "stairs" => "unrelated",
        _ => "",
    };
    let (rig, run, minutes) = window(|_| None, never).await;
    each_once(&rig, &["lectern", "drum-riser"]);
    assert_eq!(rig.count("stairs", "response"), 0);
    // Every 5 min and 20 s for its check: 22 or 23 tries in 120 min, and the one at the end.
    let tries = rig.count("stairs", "level");
    assert!((23..=25).contains(&tries), "{tries} tries");
    let of_it: Vec<_> = run
        .checks
        .iter()
        .filter(|one| one.link == "links/stairs")
        .collect();
    assert_eq!(of_it.len(), 1, "only what came of the last try stays");
    assert_eq!(of_it[0].reason.as_ref().unwrap().id, "unrelated");
    assert_eq!((run.reason, minutes), (None, 120));
}

#[tokio::test]
async fn a_hold_for_the_first_31_minutes_waits_and_then_each_link_is_measured_once() {
    let (rig, run, minutes) = window(|minute| (minute < 31).then_some("HOLD"), |_, _, _| "").await;
    each_once(&rig, &LINKS);
    assert_eq!((run.checks.len(), run.reason), (9, None));
    assert!((31..=37).contains(&minutes), "{minutes}");
}

#[tokio::test]
async fn a_permit_that_never_comes_ends_the_run_with_the_window_as_no_permit() {
    let (rig, run, minutes) = window(|_| Some("PERMIT_REQUIRED"), |_, _, _| "").await;
    assert_eq!(rig.measured.lock().unwrap().len(), 0);
    assert_eq!(run.reason.unwrap().id, "no-permit");
    assert_eq!((run.checks.len(), minutes), (0, 120));
}

#[tokio::test]
async fn a_permit_that_expires_between_2_checks_leaves_what_is_done_and_the_rest_waits() {
    // The first check ends at 0:20, the second at 0:40, the third at 1:00 finds no permit.
    let (rig, run, _) = window(
        |minute| (1..40).contains(&minute).then_some("PERMIT_REQUIRED"),
        |link, _, minute| match link {
            "stairs" if minute < 40 => "no-signal",
            _ => "",
        },
    )
    .await;
    each_once(&rig, &["lectern", "drum-riser"]);
    for analysis in ["level", "response", "noise"] {
        let done = rig.done("stairs", analysis);
        assert!(matches!(done[..], [40..=46]), "{analysis} {done:?}");
    }
    assert_eq!((run.checks.len(), run.reason), (9, None));
}

#[tokio::test]
async fn a_second_check_that_a_hold_ended_is_done_again_and_the_first_is_not() {
    let held = |link: &str, analysis: &str, minute: u64| match (link, analysis) {
        ("lectern", "response") if minute < 20 => "hold",
        _ => "",
    };
    let (rig, run, _) = window(|minute| (2..20).contains(&minute).then_some("HOLD"), held).await;
    each_once(&rig, &["drum-riser", "stairs"]);
    assert_eq!(rig.count("lectern", "level"), 1);
    assert_eq!(rig.count("lectern", "response"), 2);
    assert_eq!(rig.done("lectern", "response").len(), 1);
    assert_eq!((run.checks.len(), run.reason), (9, None));
}

#[tokio::test]
async fn a_round_that_needs_somebody_present_ends_in_its_first_minute() {
    let (_, run, minutes) = window(|_| Some("PRESENCE_REQUIRED"), |_, _, _| "").await;
    assert_eq!(run.reason.unwrap().id, "nobody-present");
    assert_eq!(minutes, 0);
}

#[tokio::test]
async fn a_run_that_is_cancelled_in_minute_12_ends_then() {
    let mut one = performance();
    let at = Duration::from_secs(12 * 60);
    let rig = Rig {
        cancelled: Some((at, one.cancel.clone())),
        ..Rig::new(|_| Some("HOLD"), |_, _, _| "")
    };
    let until = opens().checked_add(SignedDuration::from_hours(2)).unwrap();
    perform(&rig, &mut one, &LINKS.map(String::from), until).await;
    assert_eq!(rig.minute(), 12);
}
