//! Links that recovered: they needed attention when they were last checked, and now need none.

use goodwire_proto::v1::{Run, run::State};

use super::message::{checks_of, links_of, needs_attention, outcome_of};
use crate::{
    measure::job::bare,
    store::{RunQuery, Store, StoreError},
};

/// So many runs back it is looked for the last check of a link: one that was away for repair comes
/// back after weeks.
const RUNS_BACK: i32 = 60;

/// Names of the links that need no attention in this run, but did in the last earlier run of its
/// round that checked them.
///
/// # Errors
/// What reading can meet.
pub fn recovered(store: &Store, run: &Run) -> Result<Vec<String>, StoreError> {
    let is_well = |run: &Run, link: &str| !needs_attention(outcome_of(run, link));
    let links = links_of(run).into_iter();
    let well: Vec<&str> = links.filter(|link| is_well(run, link)).collect();
    if well.is_empty() {
        return Ok(Vec::new());
    }
    let query = RunQuery {
        round: run.round.clone(),
        page_size: RUNS_BACK,
        page_token: bare(&run.name).to_owned(),
        ..RunQuery::default()
    };
    let (mut before, _) = store.runs(&query)?;
    before.retain(|run| run.state() == State::Ended);
    let was_ill = |link: &&str| {
        let mut before = before.iter();
        let last = before.find(|run| checks_of(run, link).next().is_some());
        last.is_some_and(|last| !is_well(last, link))
    };
    let recovered = well.into_iter().filter(was_ill);
    Ok(recovered.map(str::to_owned).collect())
}

/// The same; none where the store cannot be read, which is no reason to tell nothing at all.
pub(super) fn or_none(store: &Store, run: &Run) -> Vec<String> {
    recovered(store, run).unwrap_or_else(|error| {
        tracing::error!(run = run.name, %error, "which links recovered cannot be read");
        Vec::new()
    })
}

#[cfg(test)]
mod tests {
    use std::sync::Arc;

    use goodwire_proto::v1::{RunCheck, verdict::Outcome};

    use super::*;
    use crate::{clock::TestClock, store::new_run_name};

    /// Stores an ended run with those outcomes of `lectern` and `foyer`.
    fn night(store: &Store, outcomes: &[(&str, Outcome)]) -> Run {
        let check = |(link, outcome): &(&str, Outcome)| RunCheck {
            link: format!("links/{link}"),
            outcome: (*outcome).into(),
            ..RunCheck::default()
        };
        let mut run = Run {
            name: new_run_name(&TestClock::at(1_714_521_600)),
            round: "rounds/nightly".into(),
            state: State::Running.into(),
            checks: outcomes.iter().map(check).collect(),
            ..Run::default()
        };
        store.begin_run(&run, "").unwrap();
        run.set_state(State::Ended);
        store.end_run(&run, false).unwrap();
        run
    }

    #[test]
    fn a_link_recovers_once_also_when_3_nights_without_it_lie_between() {
        let dir = tempfile::tempdir().unwrap();
        let store = Store::open(dir.path(), Arc::new(TestClock::at(1_714_521_600))).unwrap();
        let all = |lectern, foyer| [("lectern", lectern), ("foyer", foyer)];
        let first = night(&store, &all(Outcome::Fail, Outcome::Pass));
        assert!(recovered(&store, &first).unwrap().is_empty());
        for _ in 0..3 {
            let away = night(&store, &[("foyer", Outcome::Pass)]);
            assert!(recovered(&store, &away).unwrap().is_empty());
        }
        let back = night(&store, &all(Outcome::Pass, Outcome::Drift));
        assert_eq!(recovered(&store, &back).unwrap(), ["lectern"]);
        let after = night(&store, &all(Outcome::Pass, Outcome::Pass));
        assert_eq!(recovered(&store, &after).unwrap(), ["foyer"]);
        let well = night(&store, &all(Outcome::Pass, Outcome::Pass));
        assert!(recovered(&store, &well).unwrap().is_empty());
    }
}
