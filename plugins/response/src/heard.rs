//! What was heard of one play.

use std::ops::Range;

use goodwire_dsp::align::{AlignError, Alignment, Recordings, align, refuse_clipped};
use goodwire_dsp::response::{
    Averaged, Paces, SweepResponse, SweepTrain, average, deconvolve, paces,
};
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
    /// How the delays moved meanwhile.
    pub paces: Paces,
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
            paces: paces(&alignment, &train, &sweeps),
            alignment,
            train,
            sweeps,
        })
    }

    /// Numbers of those of the sweeps `range` within which the delay did not step; all where none
    /// is left.
    pub fn sound(&self, range: Range<usize>) -> Vec<usize> {
        self.paces.sound_sweeps(&self.alignment, &self.train, range)
    }

    /// The mean of the sweeps numbered `indices`.
    pub fn average(&self, indices: &[usize], band_hz: [f64; 2]) -> Averaged {
        let sweeps: Vec<_> = indices.iter().map(|&index| &self.sweeps[index]).collect();
        average(&sweeps, band_hz)
    }
}

fn refused(error: &AlignError) -> Failure {
    Failure::new(error.id(), error.to_string()).about(error.channel())
}
