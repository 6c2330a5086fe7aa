//! Taking over measurements that were made elsewhere or earlier.

use goodwire_proto::v1::{Measurement, measurement::State};

use super::{Store, error::StoreError, measurements};

impl Store {
    /// Stores measurements that have ended, all or none, in one transaction, as if each had been
    /// created and finished here.
    ///
    /// # Errors
    /// [`StoreError::State`] for one that has not ended, and what writing can meet: a name that is
    /// there already, for example.
    pub fn import(&self, ended: Vec<Measurement>) -> Result<(), StoreError> {
        self.write(move |transaction| {
            for measurement in &ended {
                measurements::refuse_unfinished(measurement)?;
                let mut running = Measurement {
                    name: measurement.name.clone(),
                    link: measurement.link.clone(),
                    analysis: measurement.analysis.clone(),
                    is_match: measurement.is_match,
                    create_time: measurement.create_time,
                    ..Measurement::default()
                };
                running.set_state(State::Running);
                measurements::insert(transaction, &running, None, 0)?;
                measurements::end(transaction, measurement)?;
            }
            Ok(())
        })
    }
}
