//! Calls and replies with one host.

use std::{
    io,
    os::unix::process::ExitStatusExt,
    path::Path,
    process::ExitStatus,
    sync::Arc,
    time::{Duration, Instant},
};

use goodwire_proto::pipe::{CallKind, Frame, ReplyKind};

use super::{
    child::{Child, Group},
    error::PluginError,
    words::is_kebab_case,
};

/// How long a host whose pipe has closed may take to end, so that its own cause is told.
const END_GRACE: Duration = Duration::from_millis(200);
/// Whose sound a plugin's failure may speak of; empty: nobody's.
const CHANNELS: [&str; 3] = ["", "link", "reference"];
/// Most characters of a plugin's own text that are kept.
const TEXT_CHARACTERS_MAX: usize = 1000;

/// A reply that is no failure.
#[derive(Debug)]
pub(super) enum Answer {
    /// The call succeeded, with its payload.
    Done(Vec<u8>),
    /// No more is needed.
    Enough,
    /// The parameters are wrong: encoded field violations.
    Invalid(Vec<u8>),
}

/// A host that answers calls. After any error but `Failed` it is dead.
#[derive(Debug)]
pub(super) struct Conversation {
    child: Child,
    plugin: String,
    sequence: u32,
}

impl Conversation {
    /// Starts `host` with the library at `path`; `plugin` names it in errors.
    ///
    /// # Errors
    /// `Unusable` where no process can be started.
    pub fn start(host: &Path, path: &Path, plugin: &str) -> Result<Self, PluginError> {
        let child = Child::start(host, path, plugin).map_err(|error| PluginError::Unusable {
            plugin: plugin.to_owned(),
            text: format!("its host {} cannot be started: {error}", host.display()),
        })?;
        Ok(Self {
            child,
            plugin: plugin.to_owned(),
            sequence: 0,
        })
    }

    /// The plugin's name in errors.
    pub fn plugin(&self) -> &str {
        &self.plugin
    }

    /// What stops the host from another thread.
    pub fn group(&self) -> Arc<Group> {
        self.child.group()
    }

    /// Makes one call and waits for its reply, at most `limit`.
    ///
    /// # Errors
    /// Every [`PluginError`] but `Invalid`.
    pub fn call(
        &mut self,
        call: CallKind,
        payload: Vec<u8>,
        limit: Duration,
    ) -> Result<Answer, PluginError> {
        self.child.set_deadline(Instant::now() + limit);
        self.sequence = self.sequence.wrapping_add(1);
        let frame = Frame {
            kind: call as u32,
            sequence: self.sequence,
            payload,
        };
        let reply = frame
            .write(&mut self.child)
            .and_then(|()| Frame::read(&mut self.child))
            .and_then(|reply| reply.ok_or_else(|| io::ErrorKind::UnexpectedEof.into()));
        match reply {
            Ok(reply) if reply.sequence == self.sequence => self.understand(call, reply),
            Ok(reply) => {
                let (want, got) = (self.sequence, reply.sequence);
                Err(self.garbage(format!("reply {got} came to call {want}")))
            }
            Err(error) => Err(self.lost(call, limit, &error)),
        }
    }

    /// Ends the host, and says that the plugin gave nonsense.
    pub fn garbage(&mut self, what: impl Into<String>) -> PluginError {
        self.end(Duration::ZERO);
        PluginError::Garbage {
            plugin: self.plugin.clone(),
            what: what.into(),
        }
    }

    fn understand(&mut self, call: CallKind, reply: Frame) -> Result<Answer, PluginError> {
        let text = || clipped(&String::from_utf8_lossy(&reply.payload));
        match ReplyKind::of(reply.kind) {
            Some(ReplyKind::Done) => Ok(Answer::Done(reply.payload)),
            Some(ReplyKind::Enough) if call == CallKind::Feed => Ok(Answer::Enough),
            Some(ReplyKind::Invalid) if call == CallKind::Open => {
                Ok(Answer::Invalid(reply.payload))
            }
            Some(ReplyKind::Failed) => Err(failed(&text())),
            Some(ReplyKind::Broken) => {
                let how = text();
                let log = self.child.log_tail();
                self.end(Duration::ZERO);
                let plugin = self.plugin.clone();
                Err(PluginError::Crashed {
                    plugin,
                    call,
                    how,
                    log,
                })
            }
            Some(ReplyKind::Garbage) => Err(self.garbage(text())),
            Some(ReplyKind::Unusable) => Err(PluginError::Unusable {
                plugin: self.plugin.clone(),
                text: text(),
            }),
            _ => Err(self.garbage(format!("a reply of kind {} came to {call}", reply.kind))),
        }
    }

    /// What it means that no reply came. The host is ended.
    fn lost(&mut self, call: CallKind, limit: Duration, error: &io::Error) -> PluginError {
        let plugin = self.plugin.clone();
        match error.kind() {
            io::ErrorKind::TimedOut => {
                self.end(Duration::ZERO);
                let log = self.child.log_tail();
                PluginError::Hung {
                    plugin,
                    call,
                    limit,
                    log,
                }
            }
            io::ErrorKind::InvalidData => self.garbage(error.to_string()),
            io::ErrorKind::InvalidInput => PluginError::Unusable {
                plugin,
                text: format!("a call is too long: {error}"),
            },
            _ => {
                let how = self.end(END_GRACE);
                if self.child.group().is_stopped() {
                    return PluginError::Stopped { plugin };
                }
                let log = self.child.log_tail();
                PluginError::Crashed {
                    plugin,
                    call,
                    how,
                    log,
                }
            }
        }
    }

    /// Ends the host and says what became of it.
    fn end(&mut self, grace: Duration) -> String {
        match self.child.end(grace) {
            Ok(status) => fate(status),
            Err(error) => format!("its process is lost: {error}"),
        }
    }
}

/// The plugin's own failure from `id: sentence` or `id@channel: sentence`.
fn failed(text: &str) -> PluginError {
    let split = text.split_once(": ").map(|(head, text)| {
        let (id, channel) = head.split_once('@').unwrap_or((head, ""));
        (id, channel, text)
    });
    let (id, channel, text) = match split {
        Some((id, channel, text)) if is_kebab_case(id) && CHANNELS.contains(&channel) => {
            (id, channel, text)
        }
        _ => ("plugin-failed", "", text),
    };
    let text = if text.trim().is_empty() {
        "the plugin gave no reason"
    } else {
        text
    };
    PluginError::Failed {
        id: id.to_owned(),
        text: text.to_owned(),
        channel: channel.to_owned(),
    }
}

/// What became of a process, in words.
fn fate(status: ExitStatus) -> String {
    match (status.signal(), status.code()) {
        (Some(libc::SIGKILL), _) => {
            "its process was killed: it had closed its pipe, or the machine ran out of memory"
                .into()
        }
        (Some(signal), _) => format!("its process was killed by {}", signal_name(signal)),
        (None, Some(code)) => format!("its process exited with code {code}"),
        (None, None) => "its process ended".into(),
    }
}

fn signal_name(signal: i32) -> String {
    match signal {
        libc::SIGSEGV => "SIGSEGV".into(),
        libc::SIGABRT => "SIGABRT".into(),
        libc::SIGBUS => "SIGBUS".into(),
        libc::SIGFPE => "SIGFPE".into(),
        libc::SIGILL => "SIGILL".into(),
        libc::SIGTERM => "SIGTERM".into(),
        libc::SIGPIPE => "SIGPIPE".into(),
        libc::SIGTRAP => "SIGTRAP".into(),
        other => format!("signal {other}"),
    }
}

/// A plugin's text in one line of bearable length.
fn clipped(text: &str) -> String {
    let shown = |character: char| {
        if character.is_control() {
            ' '
        } else {
            character
        }
    };
    text.chars().map(shown).take(TEXT_CHARACTERS_MAX).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_failure_is_split_into_id_and_sentence_and_plain_text_gets_an_id() {
        let split = |text| match failed(text) {
            PluginError::Failed { id, text, channel } => {
                let head = format!("{id} {channel}").trim_end().to_owned();
                (head, text)
            }
            other => panic!("{other:?}"),
        };
        let pair = |head: &str, text: &str| (head.to_owned(), text.to_owned());
        assert_eq!(
            split("no-signal: it is silent: all"),
            pair("no-signal", "it is silent: all")
        );
        assert_eq!(
            split("no-signal@reference: it is silent"),
            pair("no-signal reference", "it is silent")
        );
        let nobodys = "no-signal@cellar: it is silent";
        assert_eq!(split(nobodys), pair("plugin-failed", nobodys));
        assert_eq!(
            split("Out of luck: yes"),
            pair("plugin-failed", "Out of luck: yes")
        );
        assert_eq!(
            split(""),
            pair("plugin-failed", "the plugin gave no reason")
        );
    }
}
