//! What a batch hears, and how loud it may come back.

use goodwire_proto::plugin::v1::plan::capture::Kind;

use super::{super::conductor::Conductor, Batch};
use crate::{audio::performance::Prediction, config::LinkConfig, safety};

impl Batch {
    /// Returns of the other links that the plan hears, from 0, in its order.
    pub(super) fn other_returns(&self, links: &[LinkConfig]) -> Vec<usize> {
        let captures = self.score.plan.captures.iter();
        captures
            .filter(|capture| capture.kind() == Kind::Other)
            .filter_map(|capture| links.iter().find(|link| link.name == capture.link))
            .map(|link| link.r#return - 1)
            .collect()
    }

    /// Returns of the links that are matched, from 0.
    pub(super) fn cabled_returns(&self) -> Vec<usize> {
        let matched = self
            .workers
            .iter()
            .filter(|worker| worker.job.open.is_match);
        matched
            .filter_map(|worker| Some(worker.job.link.as_ref()?.r#return - 1))
            .collect()
    }

    /// Frames by which a worker's send is later than the reference's.
    pub(super) fn stagger(&self, worker: usize) -> u64 {
        let send = self
            .sends
            .iter()
            .find(|send| send.workers.contains(&worker));
        send.map_or(0, |send| send.delay_frames)
    }

    /// What is expected of the returns: the louder of the quiet room and the send with the gain.
    pub(super) fn predictions(&self, step: usize, conductor: &Conductor) -> Vec<Prediction> {
        if self.quiet_dbfs.is_empty() {
            return Vec::new();
        }
        let sent_dbfs = self.score.plan.steps[step].peak_dbfs;
        let expect = |return_index: usize, gain_db: Option<f64>| Prediction {
            return_index,
            peak_dbfs: safety::expected_dbfs(self.quiet_dbfs[return_index], sent_dbfs, gain_db),
        };
        let store = &conductor.desk.store;
        let links = self
            .workers
            .iter()
            .filter_map(|worker| worker.job.link.as_ref());
        let mut expected: Vec<Prediction> = links
            .map(|link| {
                expect(
                    link.r#return - 1,
                    safety::last_gain_db(store, &link.name, self.shape.simulated),
                )
            })
            .collect();
        expected.extend(
            self.reference
                .map(|reference| expect(reference.r#return - 1, None)),
        );
        expected
    }
}
