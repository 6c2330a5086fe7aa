//! What was heard of one play.

use goodwire_dsp::align::{AlignError, Alignment, Recordings, align, refuse_clipped};
use goodwire_dsp::response::{SweepResponse, SweepTrain, deconvolve};
use goodwire_dsp::stimulus::Stimulus;
use goodwire_plugin_sdk::Failure;
use goodwire_plugin_sdk::payload::OpenRequest;
use goodwire_plugin_sdk::payload::open_request::Mode;
use goodwire_plugin_sdk::take::Take;

/// A play on the frames of its stimulus, and the answer to each of its sweeps.
pub struct Heard {
    pub alignment: Alignment,
    pub train: SweepTrain,
    pub sweeps: Vec<SweepResponse>,
}

impl Heard {
    /// Aligns and divides `take`, which is of `stimulus`.
    pub fn of(
        request: &OpenRequest,
        stimulus: &Stimulus<SweepTrain>,
        mut take: Take,
    ) -> Result<Self, Failure> {
        if request.mode() == Mode::Recorded {
            if !stimulus.is_what_was_sent(&take.sent) {
                return Err(refused(&AlignError::SentMismatch));
            }
        } else {
            take.sent = stimulus.whole();
        }
        let recordings = Recordings {
            sent: &take.sent,
            layout: stimulus.layout(),
            returned: &take.returned,
            reference: take.reference.as_deref(),
            returned_rate_hz: f64::from(request.returned_rate_hz),
        };
        let alignment = align(&recordings).map_err(|error| refused(&error))?;
        refuse_clipped(&recordings, &alignment).map_err(|error| refused(&error))?;
        let train = stimulus.body().clone();
        let sweeps = deconvolve(&alignment, &train)
            .map_err(|error| Failure::new("unrelated", error.to_string()))?;
        Ok(Self {
            alignment,
            train,
            sweeps,
        })
    }
}

fn refused(error: &AlignError) -> Failure {
    Failure::new(error.id(), error.to_string())
}
