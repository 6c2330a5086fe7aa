//! One measurement's plugin, from its plan to its result.

use std::sync::Arc;

use goodwire_proto::{
    pipe::{BeginCall, Block, CallKind, RenderCall, read_samples},
    plugin::v1::{FieldViolations, OpenRequest, Plan, Readings, SessionNote, SessionResult},
};
use prost::Message;

use super::{
    child::Group,
    conversation::{Answer, Conversation},
    error::PluginError,
    limits::Limits,
    outcome,
    registry::PluginEntry,
};

/// Frames that are asked for in one call of `render`.
const RENDER_FRAME_COUNT_MAX: u32 = 1 << 18;

/// Most bytes of a state that is to be kept.
const STATE_BYTES_MAX: usize = 4 << 20;

/// What a session says to a block.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Fed {
    /// More is welcome.
    More,
    /// The session has seen enough: stop playing and finish.
    Enough,
}

/// An open session in a process of its own. Every call blocks until the reply is there, at most as
/// long as its limit: use a thread of its own. Dropping it kills the process and all it started.
#[derive(Debug)]
pub struct Session {
    conversation: Conversation,
    limits: Limits,
    ceiling_dbfs: f64,
    other_links: Vec<String>,
}

impl Session {
    /// Starts a host with `plugin` and opens a session there.
    ///
    /// # Errors
    /// `Invalid` names every parameter that does not go with another or with the rate; others as
    /// in [`PluginError`].
    pub fn open(
        plugin: &PluginEntry,
        request: &OpenRequest,
        limits: &Limits,
    ) -> Result<Self, PluginError> {
        let mut conversation = Conversation::start(&plugin.host, &plugin.path, &plugin.label())?;
        let payload = request.encode_to_vec();
        match conversation.call(CallKind::Open, payload, limits.open)? {
            Answer::Done(_) => Ok(Self {
                conversation,
                limits: *limits,
                ceiling_dbfs: request.ceiling_dbfs,
                other_links: request.other_links.clone(),
            }),
            Answer::Invalid(payload) => match FieldViolations::decode(&payload[..]) {
                Ok(said) if !said.violations.is_empty() => {
                    Err(PluginError::Invalid(said.violations))
                }
                _ => Err(conversation.garbage("it refused parameters without naming one")),
            },
            Answer::Enough => Err(conversation.garbage("it had enough before it began")),
        }
    }

    /// The plugin, as `plugin version`.
    #[must_use]
    pub fn plugin(&self) -> &str {
        self.conversation.plugin()
    }

    /// What ends the session from another thread, even within a call.
    #[must_use]
    pub fn stopper(&self) -> Stopper {
        Stopper(self.conversation.group())
    }

    /// Asks what is to be played and heard. The plan has been checked: known captures, sane
    /// lengths, no peak above the ceiling of the request.
    ///
    /// # Errors
    /// As in [`PluginError`].
    pub fn plan(&mut self) -> Result<Plan, PluginError> {
        let plan = self.message(CallKind::Plan, Vec::new())?;
        outcome::check_plan(&plan, self.ceiling_dbfs, &self.other_links)
            .map_err(|what| self.conversation.garbage(what))?;
        Ok(plan)
    }

    /// Asks for `frame_count` samples of the stimulus of `step`, from `first_frame` on. What comes
    /// back has that length and is to be held against the plan with
    /// [`check_peak`](super::check_peak).
    ///
    /// # Errors
    /// As in [`PluginError`].
    pub fn render(
        &mut self,
        step: u32,
        first_frame: u64,
        frame_count: u32,
    ) -> Result<Vec<f32>, PluginError> {
        let mut samples = Vec::with_capacity(frame_count as usize);
        while samples.len() < frame_count as usize {
            let missing = frame_count - samples.len() as u32;
            let asked = RenderCall {
                step,
                frame_count: missing.min(RENDER_FRAME_COUNT_MAX),
                first_frame: first_frame + samples.len() as u64,
            };
            let payload = self.call(CallKind::Render, asked.encode())?;
            if payload.len() != asked.frame_count as usize * size_of::<f32>() {
                let (want, got) = (asked.frame_count, payload.len());
                let what = format!("it rendered {got} bytes where {want} samples were asked for");
                return Err(self.conversation.garbage(what));
            }
            samples.extend(read_samples(&payload));
        }
        Ok(samples)
    }

    /// Says that blocks of a repeat follow. `retry`: what the void repeat fed is to be forgotten.
    ///
    /// # Errors
    /// As in [`PluginError`].
    pub fn begin(&mut self, step: u32, repeat: u32, retry: bool) -> Result<(), PluginError> {
        let asked = BeginCall {
            step,
            repeat,
            retry,
        };
        self.call(CallKind::Begin, asked.encode()).map(drop)
    }

    /// Feeds one block of any length: a long one goes in pieces, the last of which is marked.
    ///
    /// # Panics
    /// Where the channels differ in length or are more than [`Block::CHANNEL_COUNT_MAX`].
    ///
    /// # Errors
    /// As in [`PluginError`].
    pub fn feed(&mut self, block: &Block<'_>) -> Result<Fed, PluginError> {
        let frame_count = block.frame_count();
        let mut start = 0;
        loop {
            let end = frame_count.min(start + Block::FRAME_COUNT_MAX);
            let of_each = block.channels.iter();
            let channels: Vec<Option<&[f32]>> = of_each
                .map(|channel| channel.map(|samples| &samples[start..end]))
                .collect();
            let piece = Block {
                first_frame: block.first_frame + start as u64,
                stream_frame: block.stream_frame + start as u64,
                last: block.last && end == frame_count,
                channels: &channels,
                ..*block
            };
            let payload = piece
                .encode()
                .expect("channels are of one length, and not too many");
            match self.exchange(CallKind::Feed, payload)? {
                Answer::Done(_) if end == frame_count => return Ok(Fed::More),
                Answer::Done(_) => start = end,
                Answer::Enough => return Ok(Fed::Enough),
                Answer::Invalid(_) => unreachable!("only open is answered so"),
            }
        }
    }

    /// Tells the session of something at a frame.
    ///
    /// # Errors
    /// As in [`PluginError`].
    pub fn note(&mut self, note: &SessionNote) -> Result<(), PluginError> {
        self.call(CallKind::Note, note.encode_to_vec()).map(drop)
    }

    /// Asks for the numbers of the moment; checked like those of a result.
    ///
    /// # Errors
    /// As in [`PluginError`].
    pub fn readings(&mut self) -> Result<Readings, PluginError> {
        let readings: Readings = self.message(CallKind::Readings, Vec::new())?;
        outcome::check_figures(&readings.figures)
            .map_err(|what| self.conversation.garbage(what))?;
        if readings.state.len() > STATE_BYTES_MAX {
            let text = format!(
                "gave a state of {} bytes, more than {STATE_BYTES_MAX}",
                readings.state.len()
            );
            return Err(self.conversation.garbage(text));
        }
        Ok(readings)
    }

    /// Asks for the result; once. `ended_early`: not all that was planned has been fed, and not
    /// because the session had enough. What comes back has been checked: finite, rising, of equal
    /// lengths, with known units and well-spelt ids, events in order of time.
    ///
    /// # Errors
    /// As in [`PluginError`].
    pub fn finish(&mut self, ended_early: bool) -> Result<SessionResult, PluginError> {
        let mut result = self.message(CallKind::Finish, vec![ended_early.into()])?;
        outcome::check_result(&result).map_err(|what| self.conversation.garbage(what))?;
        outcome::sort_events(&mut result);
        Ok(result)
    }

    /// Closes the session in good order. A plugin that does not manage that in time is killed,
    /// which costs nobody anything: the result is there already.
    pub fn close(mut self) {
        if let Err(error) = self.call(CallKind::Close, Vec::new()) {
            tracing::debug!("a session did not close: {error}");
        }
    }

    fn exchange(&mut self, call: CallKind, payload: Vec<u8>) -> Result<Answer, PluginError> {
        self.conversation.call(call, payload, self.limits.of(call))
    }

    /// Makes a call that has but one good answer.
    fn call(&mut self, call: CallKind, payload: Vec<u8>) -> Result<Vec<u8>, PluginError> {
        match self.exchange(call, payload)? {
            Answer::Done(payload) => Ok(payload),
            Answer::Enough | Answer::Invalid(_) => {
                unreachable!("only feed and open are answered so")
            }
        }
    }

    fn message<M: Message + Default>(
        &mut self,
        call: CallKind,
        payload: Vec<u8>,
    ) -> Result<M, PluginError> {
        let payload = self.call(call, payload)?;
        M::decode(&payload[..]).map_err(|error| {
            let what = format!("its answer to {call} cannot be read: {error}");
            self.conversation.garbage(what)
        })
    }
}

/// Ends a [`Session`] from another thread: the call under way, and every later one, gives
/// [`PluginError::Stopped`].
#[derive(Debug, Clone)]
pub struct Stopper(Arc<Group>);

impl Stopper {
    /// Kills the plugin's process and all that it started.
    pub fn stop(&self) {
        self.0.stop();
    }
}
