//! What was heard: the link and the reference as always, and the other links' returns beside them.

use goodwire_plugin_sdk::payload::plan::{Capture, capture};
use goodwire_plugin_sdk::payload::{OpenRequest, Plan};
use goodwire_plugin_sdk::take::{Take, Taking};
use goodwire_plugin_sdk::{Block, Failure, Fed};

/// Captures of a usual plan; the other links' come after them.
const USUAL_COUNT: usize = 3;

/// Adds the returns of all other links to a plan, and asks for the rig alone.
pub fn with_others(mut plan: Plan, request: &OpenRequest) -> Plan {
    plan.alone = true;
    plan.captures
        .extend(request.other_links.iter().map(|link| Capture {
            kind: capture::Kind::Other.into(),
            link: link.clone(),
        }));
    plan
}

/// Gathers all channels.
pub struct Hearing {
    usual: Taking,
    others: Vec<Vec<f32>>,
}

impl Hearing {
    /// Starts gathering.
    pub fn new(request: &OpenRequest) -> Self {
        Self {
            usual: Taking::new(request),
            others: vec![Vec::new(); request.other_links.len()],
        }
    }

    /// Forgets a void repeat.
    pub fn begin(&mut self, retry: bool) {
        self.usual.begin(retry);
        if retry {
            self.others.iter_mut().for_each(Vec::clear);
        }
    }

    /// Takes a block; frames that were skipped are silence.
    ///
    /// # Errors
    /// `too-long`, as [`Taking::feed`].
    pub fn feed(&mut self, block: &Block<'_>) -> Result<Fed, Failure> {
        let fed = self.usual.feed(block)?;
        let first = usize::try_from(block.first_frame).unwrap_or(usize::MAX);
        let channels = block.channels.iter().skip(USUAL_COUNT);
        for (other, samples) in self.others.iter_mut().zip(channels) {
            if let Some(samples) = samples {
                other.resize(first.max(other.len()), 0.0);
                other.truncate(first);
                other.extend_from_slice(samples);
            }
        }
        Ok(fed)
    }

    /// What was gathered: the usual, and one return an other link.
    pub fn finish(&mut self) -> (Take, Vec<Vec<f32>>) {
        (self.usual.finish(), std::mem::take(&mut self.others))
    }
}
