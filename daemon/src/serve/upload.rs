//! Recordings on their way in: spooled to disk as they come, read when all is there.

use std::io::Write;

use goodwire_proto::{
    plugin::v1::{OpenRequest, open_request::Mode},
    v1::{
        AnalyseRecordingsRequest, Measurement, RecordingsHeader, analyse_recordings_request::Piece,
        recording_chunk::File,
    },
};
use prost_types::{Struct, Value, value::Kind};
use tempfile::NamedTempFile;
use tonic::{Status, Streaming};

use super::{errors, marks};
use crate::{
    config::LinkConfig,
    measure::{
        complete::Desk,
        job::{Fate, Job, bare},
        matched,
        recorded::Sounds,
        request::{Found, accepted, of_parameter},
    },
    plugins::check_parameters,
    recordings::{self, Recording, comment},
    refusal::{Refusal, Violation},
    store::StoreError,
};

/// Largest upload of one file, in bytes: two hours of eight channels of float at 48 kHz.
const FILE_BYTES_MAX: u64 = 12 << 30;
/// Name of the parameter that declares sent and returned to be of one clock and start.
const SYNCHRONOUS: &str = "synchronous";

/// An upload that arrived as a whole.
pub(super) struct Received {
    pub(super) header: RecordingsHeader,
    /// Sent, returned, reference.
    files: [Option<NamedTempFile>; 3],
}

/// Takes in an upload. Whatever stops half way leaves nothing behind.
pub(super) async fn receive(
    mut stream: Streaming<AnalyseRecordingsRequest>,
    desk: &Desk,
) -> Result<Received, Status> {
    let refuse = |field: &str, text: &str| errors::status(&Refusal::field(field, text));
    let Some(Piece::Header(header)) = stream.message().await?.and_then(|first| first.piece) else {
        return Err(refuse("header", "the first message has to be the header"));
    };
    let mut files: [Option<NamedTempFile>; 3] = Default::default();
    let mut byte_count = [0_u64; 3];
    while let Some(message) = stream.message().await? {
        let Some(Piece::Chunk(chunk)) = message.piece else {
            return Err(refuse("header", "only the first message may be the header"));
        };
        let index = match chunk.file() {
            File::Sent => 0,
            File::Returned => 1,
            File::Reference => 2,
            File::Unspecified => return Err(refuse("chunk.file", "says of no file")),
        };
        byte_count[index] += chunk.data.len() as u64;
        if byte_count[index] > FILE_BYTES_MAX {
            return Err(refuse("chunk.data", "the file is longer than 12 GiB"));
        }
        let full = |error: std::io::Error| errors::status(&no_room(&error));
        let file = match &mut files[index] {
            Some(file) => file,
            slot => slot.insert(NamedTempFile::new_in(&desk.spool_dir).map_err(full)?),
        };
        file.write_all(&chunk.data).map_err(full)?;
    }
    Ok(Received { header, files })
}

impl Received {
    /// Reads the files and makes the job.
    pub(super) fn into_job(self, desk: &Desk) -> Result<(Job, Sounds), Refusal> {
        let mut wrong = Vec::new();
        let found = desk
            .find(&self.header.analysis)
            .map_err(|one| wrong.push(one))
            .ok();
        if let Some(found) = found.as_ref().filter(|found| found.without_audio) {
            let text = format!(
                "'{}' needs no audio, so that there is nothing to analyse in recordings: measure it",
                found.analysis
            );
            return Err(Refusal::field("analysis", text));
        }
        let link = self.link(desk, &mut wrong);
        let returned = self.read(1, "returned", &mut wrong);
        let sent = match (&found, &returned) {
            (Some(found), Some(returned)) if self.is_sent_needless(found) => {
                Some(silence(returned.rate_hz))
            }
            _ => self.read(0, "sent", &mut wrong),
        };
        let reference = if self.header.reference_in_returned || self.files[2].is_none() {
            None
        } else {
            self.read(2, "reference", &mut wrong)
        };
        let (Some(found), Some(sent), Some(returned)) = (found, sent, returned) else {
            return Err(Refusal::Invalid(wrong));
        };
        let sounds = self.sounds(&sent, &returned, reference.as_ref(), &mut wrong);
        let asked = self.parameters(&found, &sent, &mut wrong);
        let matched = self.matched(desk, &mut wrong)?;
        let (Some(sounds), Some((parameters, synchronous))) = (sounds, asked) else {
            return Err(Refusal::Invalid(wrong));
        };
        if !wrong.is_empty() {
            return Err(Refusal::Invalid(wrong));
        }
        let mut measurement = desk.new_measurement(&found, &parameters, link.as_ref());
        measurement.recorded = true;
        if let Some(matched) = &matched {
            measurement.r#match.clone_from(&matched.name);
        }
        let provenance = measurement.provenance.get_or_insert_default();
        provenance.rate_hz = i32::try_from(returned.rate_hz).unwrap_or(i32::MAX);
        let open = OpenRequest {
            analysis: found.analysis.clone(),
            parameters: Some(parameters),
            mode: Mode::Recorded as i32,
            rate_hz: i32::try_from(sent.rate_hz).unwrap_or(i32::MAX),
            returned_rate_hz: provenance.rate_hz,
            has_reference: sounds.reference.is_some(),
            synchronous,
            r#match: matched.as_ref().and_then(matched::from_measurement),
            ..OpenRequest::default()
        };
        let (plugin, notes, fate) = (found.plugin, Vec::new(), std::sync::Arc::<Fate>::default());
        let job = Job {
            measurement,
            link,
            plugin,
            open,
            notes,
            is_attended: false,
            is_watch: false,
            resumes: false,
            kept_at: None,
            fate,
        };
        accepted(&job)?;
        Ok((job, sounds))
    }

    fn link(&self, desk: &Desk, wrong: &mut Vec<Violation>) -> Option<LinkConfig> {
        let name = bare(&self.header.link);
        if name.is_empty() {
            return None;
        }
        let link = desk
            .config
            .links
            .iter()
            .find(|link| link.name == name)
            .cloned();
        if link.is_none() {
            wrong.push(Violation::new("link", desk.unknown_link(name)));
        }
        link
    }

    /// True where nothing was played, and no sent recording was given.
    fn is_sent_needless(&self, found: &Found) -> bool {
        let given = self.header.parameters.as_ref();
        self.files[0].is_none() && given.is_some_and(|given| found.is_silent_with(given))
    }

    fn name<'a>(&'a self, index: usize, role: &'a str) -> &'a str {
        self.header
            .file_names
            .get(index)
            .filter(|name| !name.is_empty())
            .map_or(role, |name| name)
    }

    fn read(&self, index: usize, role: &str, wrong: &mut Vec<Violation>) -> Option<Recording> {
        let Some(file) = &self.files[index] else {
            wrong.push(Violation::new(
                role,
                format!("the {role} recording is missing or empty"),
            ));
            return None;
        };
        let name = self.name(index, role);
        let read = recordings::read_as(file.path(), name);
        read.map_err(|error| wrong.push(Violation::new(role, error.to_string())))
            .ok()
    }

    fn sounds(
        &self,
        sent: &Recording,
        returned: &Recording,
        reference: Option<&Recording>,
        wrong: &mut Vec<Violation>,
    ) -> Option<Sounds> {
        let mut pick = |recording: &Recording, channel: i32, index: usize, role: &str| {
            recordings::pick(recording, channel, self.name(index, role))
                .map(<[f32]>::to_vec)
                .map_err(|error| wrong.push(Violation::new(role, error.to_string())))
                .ok()
        };
        let header = &self.header;
        let sent = pick(sent, 0, 0, "sent");
        let heard = pick(returned, header.returned_channel, 1, "returned");
        let of_reference = if header.reference_in_returned {
            Some(returned)
        } else {
            reference
        };
        let cable = of_reference.map(|file| pick(file, header.reference_channel, 2, "reference"));
        if let Some(other) = reference.filter(|other| other.rate_hz != returned.rate_hz) {
            let text = format!(
                "has {} Hz and the returned recording {} Hz; they have to be recorded together",
                other.rate_hz, returned.rate_hz
            );
            wrong.push(Violation::new("reference", text));
        }
        let reference = match cable {
            Some(None) => return None,
            Some(cable) => cable,
            None => None,
        };
        let heard = heard?;
        let marks = marks::notes(&header.marks, heard.len(), returned.rate_hz);
        Some(Sounds {
            sent: sent?,
            returned: heard,
            reference,
            marks: marks.map_err(|violations| wrong.extend(violations)).ok()?,
        })
    }

    /// The parameters: what is given goes over what the sent file's comment says.
    fn parameters(
        &self,
        found: &Found,
        sent: &Recording,
        wrong: &mut Vec<Violation>,
    ) -> Option<(Struct, bool)> {
        let mut given = self.header.parameters.clone().unwrap_or_default();
        let synchronous = match given.fields.get(SYNCHRONOUS).map(truth) {
            None => false,
            Some(Some(synchronous)) => synchronous,
            Some(None) => {
                let text = "has to be true or false";
                wrong.push(Violation::new("parameters.synchronous", text));
                false
            }
        };
        // It counts for every analysis, also for one to which it makes no difference.
        if found
            .schema
            .iter()
            .all(|parameter| parameter.id != SYNCHRONOUS)
        {
            given.fields.remove(SYNCHRONOUS);
        }
        let written = sent.comment.as_deref().and_then(comment::decode);
        if let Some(written) = written {
            if written.analysis != found.analysis {
                let text = format!(
                    "is the stimulus of '{}', not of '{}'",
                    written.analysis, found.analysis
                );
                wrong.push(Violation::new("sent", text));
                return None;
            }
            for (id, value) in written.parameters.fields {
                given.fields.entry(id).or_insert(value);
            }
        }
        check_parameters(&found.schema, &given)
            .map_err(|violations| wrong.extend(violations.into_iter().map(of_parameter)))
            .ok()
            .map(|parameters| (parameters, synchronous))
    }

    fn matched(
        &self,
        desk: &Desk,
        wrong: &mut Vec<Violation>,
    ) -> Result<Option<Measurement>, Refusal> {
        let header = &self.header;
        let found = if !header.match_json.is_empty() {
            match matched::from_json(&header.match_json) {
                Ok(measurement) => Some(measurement),
                Err(text) => {
                    wrong.push(Violation::new("match_json", text));
                    return Ok(None);
                }
            }
        } else if header.r#match.is_empty() {
            return Ok(None);
        } else {
            found_in_store(desk, &header.r#match)?
        };
        match found {
            Some(measurement) if matched::from_measurement(&measurement).is_some() => {
                Ok(Some(measurement))
            }
            Some(_) => {
                let text = "has no magnitude and phase to divide out: name a match of `response`";
                wrong.push(Violation::new("match", text));
                Ok(None)
            }
            None => {
                let text = format!("there is no measurement '{}'", header.r#match);
                wrong.push(Violation::new("match", text));
                Ok(None)
            }
        }
    }
}

fn found_in_store(desk: &Desk, name: &str) -> Result<Option<Measurement>, Refusal> {
    match desk.store.get(name) {
        Ok(measurement) => Ok(Some(measurement)),
        Err(StoreError::NotFound { .. }) => Ok(None),
        Err(error) => Err(error.into()),
    }
}

fn no_room(error: &std::io::Error) -> Refusal {
    if error.kind() == std::io::ErrorKind::StorageFull {
        return Refusal::Store(StoreError::Full);
    }
    Refusal::Store(StoreError::Io {
        text: error.to_string(),
    })
}

fn truth(value: &Value) -> Option<bool> {
    match &value.kind {
        Some(Kind::BoolValue(truth)) => Some(*truth),
        Some(Kind::StringValue(text)) => text.parse().ok(),
        _ => None,
    }
}

/// What stands for a sent recording where nothing was played.
fn silence(rate_hz: u32) -> Recording {
    Recording {
        rate_hz,
        channels: vec![vec![0.0]],
        comment: None,
    }
}
