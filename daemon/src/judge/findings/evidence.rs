//! What the rules look at.

use goodwire_proto::v1::{
    Event, Figure, Judgement, Measurement, Note, measurement::State, verdict::Outcome,
};
use prost_types::value::Kind;

use super::Seen;
use crate::{
    judge::{
        drift::setup_differences,
        interval::{Interval, Standing},
        place,
    },
    measure::job::bare,
};

/// A link, and the other links of the run.
pub(super) struct Evidence<'a> {
    pub(super) link: &'a Link<'a>,
    pub(super) others: Vec<&'a Link<'a>>,
}

/// What is known of one link: its measurements, one at least.
pub(super) struct Link<'a> {
    seen: Vec<&'a Seen>,
}

impl<'a> Evidence<'a> {
    pub(super) fn new(links: &'a [Link<'a>], index: usize) -> Self {
        let others = links
            .iter()
            .enumerate()
            .filter(|(other, _)| *other != index);
        Self {
            link: &links[index],
            others: others.map(|(_, link)| link).collect(),
        }
    }

    /// All links of the run, this one first.
    pub(super) fn everyone(&self) -> impl Iterator<Item = &'a Link<'a>> {
        std::iter::once(self.link).chain(self.others.iter().copied())
    }
}

impl<'a> Link<'a> {
    /// The links of a run, each with its measurements. Matches are no evidence.
    pub(super) fn all(seen: &'a [Seen]) -> Vec<Self> {
        let mut links: Vec<Self> = Vec::new();
        for one in seen.iter().filter(|one| !one.measurement.is_match) {
            let is_its = |link: &&mut Self| link.measurement().link == one.measurement.link;
            match links.iter_mut().find(is_its) {
                Some(link) => link.seen.push(one),
                None => links.push(Self { seen: vec![one] }),
            }
        }
        links
    }

    /// Its first measurement.
    pub(super) fn measurement(&self) -> &'a Measurement {
        &self.seen[0].measurement
    }

    pub(super) fn measurements(&self) -> impl Iterator<Item = &'a Measurement> {
        self.seen.iter().map(|seen| &seen.measurement)
    }

    /// Its name without the collection.
    pub(super) fn name(&self) -> &'a str {
        bare(&self.measurement().link)
    }

    /// How a switch of its setup stands.
    pub(super) fn setup(&self, key: &str) -> Option<&'a str> {
        self.measurement().setup.get(key).map(String::as_str)
    }

    /// Setup keys that differ from those of a baseline.
    pub(super) fn setup_differences(&self) -> Vec<String> {
        let mut keys: Vec<String> = self
            .seen
            .iter()
            .flat_map(|seen| differences(seen))
            .collect();
        keys.sort_unstable();
        keys.dedup();
        keys
    }

    /// Its figures of that id, from whatever has succeeded.
    pub(super) fn figures(&self, id: &str) -> impl Iterator<Item = &'a Figure> {
        let figures = self.pairs().flat_map(|(now, _)| &now.figures);
        figures.filter(move |figure| figure.id == id)
    }

    pub(super) fn figure(&self, id: &str) -> Option<&'a Figure> {
        self.figures(id).next()
    }

    pub(super) fn value(&self, id: &str) -> Option<f64> {
        self.figure(id).and_then(|figure| figure.value)
    }

    /// Notes of that id.
    pub(super) fn note(&self, id: &str) -> Option<&'a Note> {
        let mut notes = self.measurements().flat_map(|one| &one.notes);
        notes.find(|note| note.id == id)
    }

    /// Events of that id.
    pub(super) fn event(&self, id: &str) -> Option<&'a Event> {
        let mut events = self.measurements().flat_map(|one| &one.events);
        events.find(|event| event.id == id)
    }

    /// What has succeeded, with the baselines that were made with the same setup.
    pub(super) fn pairs(&self) -> impl Iterator<Item = (&'a Measurement, Option<&'a Measurement>)> {
        let succeeded = |seen: &&&Seen| seen.measurement.state() == State::Succeeded;
        let seen = self.seen.iter().filter(succeeded);
        seen.map(|seen| (&seen.measurement, baseline(seen)))
    }

    /// The change of a figure from the baseline's.
    pub(super) fn change(&self, id: &str) -> Option<Interval> {
        self.pairs().find_map(|(now, baseline)| {
            let before = &baseline?.figures;
            let mut figures = now.figures.iter().filter(|figure| figure.id == id);
            figures.find_map(|figure| {
                let before = place::counterpart(figure, before)?;
                Some(Interval::of(figure)?.change_from(&Interval::of(before)?))
            })
        })
    }

    /// The change of a figure, where it is beyond ± `step` with all its uncertainty.
    pub(super) fn moved(&self, id: &str, step: f64) -> Option<f64> {
        let change = self.change(id)?;
        let beyond = change.against(Some(-step), Some(step)) == Standing::Outside;
        beyond.then_some(change.value)
    }

    /// True where the figure is within ± `step` of the baseline's, its uncertainty left aside.
    pub(super) fn stayed(&self, id: &str, step: f64) -> bool {
        self.change(id)
            .is_some_and(|change| change.value.abs() <= step)
    }

    /// A figure of the last measurements, the oldest first and today's last: those with the same
    /// setup, and of several figures of the id the first.
    pub(super) fn series(&self, id: &str) -> Vec<f64> {
        let of = |one: &Measurement| {
            let figure = one.figures.iter().find(|figure| figure.id == id);
            figure.and_then(|figure| figure.value)
        };
        let measured = |seen: &&&'a Seen| of(&seen.measurement).is_some();
        let Some(seen) = self.seen.iter().find(measured) else {
            return Vec::new();
        };
        let comparable = |one: &&Measurement| {
            one.state() == State::Succeeded
                && setup_differences([*one, &seen.measurement]).is_empty()
        };
        let all = std::iter::once(&seen.measurement).chain(&seen.history);
        let mut series: Vec<f64> = all.filter(comparable).filter_map(of).collect();
        series.reverse();
        series
    }

    /// The first judgement of that figure that says FAIL and has its value below its least.
    pub(super) fn too_low(&self, id: &str) -> Option<&'a Judgement> {
        self.failed(id).find(|one| one.value < one.min)
    }

    /// The first judgement of that figure that says FAIL and has its value above its most.
    pub(super) fn too_high(&self, id: &str) -> Option<&'a Judgement> {
        self.failed(id)
            .find(|one| one.max.is_some_and(|max| one.value > Some(max)))
    }

    fn failed(&self, id: &str) -> impl Iterator<Item = &'a Judgement> {
        let verdicts = self.measurements().filter_map(|one| one.verdict.as_ref());
        let judgements = verdicts.flat_map(|verdict| &verdict.judgements);
        judgements.filter(move |one| {
            one.figure == id && one.outcome() == Outcome::Fail && one.value.is_some()
        })
    }
}

/// The baseline, where it is another measurement and was made with the same setup.
fn baseline(seen: &Seen) -> Option<&Measurement> {
    seen.baseline
        .as_ref()
        .filter(|baseline| baseline.name != seen.measurement.name)
        .filter(|_| differences(seen).is_empty())
}

fn differences(seen: &Seen) -> Vec<String> {
    let baseline = seen.baseline.iter();
    baseline
        .filter(|baseline| baseline.name != seen.measurement.name)
        .flat_map(|baseline| setup_differences([&seen.measurement, baseline]))
        .collect()
}

/// A number that tells where a figure was found.
pub(super) fn at_number(figure: &Figure, key: &str) -> Option<f64> {
    match figure.at.as_ref()?.fields.get(key)?.kind {
        Some(Kind::NumberValue(number)) => Some(number),
        _ => None,
    }
}

/// A name that tells where a figure was found.
pub(super) fn at_name<'a>(figure: &'a Figure, key: &str) -> Option<&'a str> {
    match figure.at.as_ref()?.fields.get(key)?.kind.as_ref() {
        Some(Kind::StringValue(name)) => Some(name),
        _ => None,
    }
}
