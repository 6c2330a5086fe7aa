//! What a measurement is held against, from the store.

use goodwire_proto::v1::Measurement;

use super::{complete::Desk, job::bare};
use crate::{
    judge::Seen,
    store::{ListQuery, StoreError},
};

/// So many earlier measurements are looked at.
const HISTORY_COUNT: i32 = 16;

impl Desk {
    /// A measurement with its baseline and the earlier ones of its link and analysis. What cannot
    /// be read is left out and logged.
    pub fn seen(&self, measurement: Measurement) -> Seen {
        let link = bare(&measurement.link).to_owned();
        let unread = |error: StoreError| {
            tracing::error!(%error, measurement = %measurement.name, "what was before cannot be read");
        };
        let baseline = self.store.baseline(&link, &measurement.analysis);
        let baseline = baseline.map_err(unread).ok().flatten();
        let query = ListQuery {
            link: link.clone(),
            analysis: measurement.analysis.clone(),
            page_size: HISTORY_COUNT,
            ..ListQuery::default()
        };
        let page = (!link.is_empty()).then(|| self.store.list(&query));
        let page = page.and_then(|page| page.map_err(unread).ok());
        let is_earlier =
            |one: &Measurement| one.name < measurement.name && !one.is_match && !one.recorded;
        let history = page.into_iter().flat_map(|page| page.measurements);
        let history = history.filter(is_earlier).collect();
        Seen {
            measurement,
            baseline,
            history,
        }
    }
}
