//! What all methods have in common: a stimulus is played, what returns is aligned with it.

use goodwire_dsp::align::{AlignError, Alignment, Recordings, Track, align};
use goodwire_dsp::stimulus::{Body, Stimulus};
use goodwire_dsp::tone::Heard;
use goodwire_plugin_sdk::payload::open_request::Mode;
use goodwire_plugin_sdk::payload::{OpenRequest, Plan, SessionResult};
use goodwire_plugin_sdk::take::{Take, Taking, plan_of_one_step};
use goodwire_plugin_sdk::{Block, Failure, Fed, Session};

/// One way of trying a link.
pub trait Method {
    /// What its stimulus is made of, wake-up and bursts apart.
    type Body: Body;

    /// The stimulus.
    fn stimulus(&self) -> Stimulus<Self::Body>;

    /// The result of what returned.
    ///
    /// # Errors
    /// Why there is none.
    fn result(&self, returns: &Returns<'_, Self::Body>) -> Result<SessionResult, Failure>;
}

/// What returned of a stimulus.
pub struct Returns<'a, B> {
    /// What was asked for.
    pub request: &'a OpenRequest,
    /// What was played.
    pub stimulus: &'a Stimulus<B>,
    /// What was recorded.
    pub take: &'a Take,
    /// Where the stimulus lies in it.
    pub alignment: &'a Alignment,
}

impl<B: Body> Returns<'_, B> {
    /// The link's return and the reference's, where there is one, by the tones of the body.
    pub fn heard(&self) -> (Heard<'_>, Option<Heard<'_>>) {
        let link = self.one(&self.take.returned, &self.alignment.link);
        let reference = (self.take.reference.as_ref()).zip(self.alignment.reference.as_ref());
        (
            link,
            reference.map(|(samples, track)| self.one(samples, track)),
        )
    }

    /// True where there is a reference to compare with.
    pub fn has_reference(&self) -> bool {
        self.take.reference.is_some()
    }

    fn one<'b>(&'b self, samples: &'b [f32], track: &Track) -> Heard<'b> {
        let layout = self.stimulus.layout();
        Heard::new(
            samples,
            f64::from(self.request.returned_rate_hz),
            track,
            layout.body.start,
            layout.rate_hz,
        )
    }
}

/// A session of any method.
pub struct MethodSession<M: Method> {
    request: OpenRequest,
    method: M,
    stimulus: Stimulus<M::Body>,
    taking: Taking,
}

impl<M: Method> MethodSession<M> {
    /// Starts one.
    pub fn new(request: &OpenRequest, method: M) -> Self {
        Self {
            stimulus: method.stimulus(),
            taking: Taking::new(request),
            request: request.clone(),
            method,
        }
    }

    /// What was sent: live the stimulus itself, else the file, which has to be this stimulus.
    fn sent(&self, take: &mut Take) -> Result<Vec<f32>, Failure> {
        if self.request.mode() == Mode::Live {
            return Ok(self.stimulus.whole());
        }
        if self.stimulus.is_what_was_sent(&take.sent) {
            return Ok(std::mem::take(&mut take.sent));
        }
        Err(refused(&AlignError::SentMismatch))
    }
}

/// The failure that a recording is refused with.
pub fn refused(error: &AlignError) -> Failure {
    Failure::new(error.id(), error.to_string()).about(error.channel())
}

impl<M: Method> Session for MethodSession<M> {
    fn plan(&mut self) -> Result<Plan, Failure> {
        let layout = self.stimulus.layout();
        Ok(plan_of_one_step(
            layout.frame_count(),
            layout.tail_frame_count(),
            self.stimulus.peak_dbfs(),
        ))
    }

    fn render(&mut self, _: u32, first_frame: u64, samples: &mut [f32]) -> Result<(), Failure> {
        self.stimulus.render(first_frame, samples);
        Ok(())
    }

    fn begin(&mut self, _: u32, _: u32, retry: bool) -> Result<(), Failure> {
        self.taking.begin(retry);
        Ok(())
    }

    fn feed(&mut self, block: &Block<'_>) -> Result<Fed, Failure> {
        self.taking.feed(block)
    }

    fn finish(&mut self, _: bool) -> Result<SessionResult, Failure> {
        let mut take = self.taking.finish();
        let sent = self.sent(&mut take)?;
        let alignment = align(&Recordings {
            sent: &sent,
            layout: self.stimulus.layout(),
            returned: &take.returned,
            reference: take.reference.as_deref(),
            returned_rate_hz: f64::from(self.request.returned_rate_hz),
        })
        .map_err(|error| refused(&error))?;
        self.method.result(&Returns {
            request: &self.request,
            stimulus: &self.stimulus,
            take: &take,
            alignment: &alignment,
        })
    }
}
