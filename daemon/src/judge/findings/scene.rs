//! What the tests of the rules put before them.

use goodwire_proto::v1::{Figure, Measurement, Note, Reason, measurement::State};

use super::{Seen, findings, run_findings};
use crate::{
    config::LimitConfig,
    judge::{
        judge,
        tests::{baseline, figure, measured},
    },
};

/// One measurement of a link, without a baseline.
pub(super) fn seen(link: &str, analysis: &str, figures: Vec<Figure>) -> Seen {
    Seen {
        measurement: Measurement {
            link: format!("links/{link}"),
            analysis: analysis.to_owned(),
            ..measured(figures)
        },
        ..Seen::default()
    }
}

/// A link whose measurement ended without a signal.
pub(super) fn silent(link: &str) -> Seen {
    failed(link, "no-signal", "the link's return is silent")
}

/// A link whose measurement FAILED.
pub(super) fn failed(link: &str, id: &str, text: &str) -> Seen {
    let mut seen = seen(link, "level", Vec::new());
    seen.measurement.set_state(State::Failed);
    seen.measurement.reason = Some(Reason {
        id: id.to_owned(),
        text: text.to_owned(),
        channel: "link".to_owned(),
    });
    seen
}

/// A link whose measurement ended without a signal at the reference.
pub(super) fn reference_silent(link: &str) -> Seen {
    let mut seen = silent(link);
    let reason = seen.measurement.reason.as_mut();
    reason.expect("it is silent").channel = "reference".to_owned();
    seen
}

impl Seen {
    /// With a baseline of these figures.
    pub(super) fn against(self, figures: Vec<Figure>) -> Self {
        let baseline = Measurement {
            link: self.measurement.link.clone(),
            analysis: self.measurement.analysis.clone(),
            ..baseline(figures)
        };
        Self {
            baseline: Some(baseline),
            ..self
        }
    }

    /// Judged by limits, which hold for the analysis `response`.
    pub(super) fn judged(mut self, limits: &[LimitConfig]) -> Self {
        self.measurement.analysis = "response".to_owned();
        self.measurement.verdict = judge(limits, &self.measurement, self.baseline.as_ref());
        self
    }

    /// With a note.
    pub(super) fn noted(mut self, id: &str, text: &str) -> Self {
        self.measurement.notes.push(Note {
            id: id.to_owned(),
            text: text.to_owned(),
            ..Note::default()
        });
        self
    }

    /// With a switch of its setup.
    pub(super) fn set(mut self, key: &str, value: &str) -> Self {
        let setup = |one: &mut Measurement| one.setup.insert(key.to_owned(), value.to_owned());
        setup(&mut self.measurement);
        self.baseline.iter_mut().for_each(|one| drop(setup(one)));
        self
    }
}

/// What `level` finds.
pub(super) fn level(gain_db: f64, clip_dbfs: f64) -> Vec<Figure> {
    vec![
        figure("gain", gain_db, 0.05),
        figure("clip_point", clip_dbfs, 0.05),
    ]
}

/// The ids that one measurement gives.
pub(super) fn ids(seen: &Seen) -> Vec<String> {
    findings(seen).into_iter().map(|found| found.id).collect()
}

/// What a run gives, each as `link id`.
pub(super) fn run_ids(seen: &[Seen]) -> Vec<String> {
    let found = run_findings(seen).into_iter();
    found
        .map(|found| {
            let link = found.link.trim_start_matches("links/").to_owned();
            format!("{link} {}", found.finding.unwrap_or_default().id)
        })
        .collect()
}

/// The text of a finding of a run.
pub(super) fn text_of(seen: &[Seen], id: &str) -> String {
    let found = run_findings(seen).into_iter();
    let mut found = found.filter_map(|found| found.finding);
    found.find(|found| found.id == id).unwrap_or_default().text
}
