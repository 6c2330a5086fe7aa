//! How what was seen is kept, so that another session goes on from it.

use goodwire_plugin_sdk::Failure;
use goodwire_plugin_sdk::payload::OpenRequest;
use serde::{Deserialize, Serialize, de::DeserializeOwned};

/// Version of what is kept: raise it with every change of a type that is.
const VERSION: u32 = 1;

/// Seconds of sound between two states.
const EVERY_S: f64 = 1.0;

/// What is kept, and whose it is.
#[derive(Serialize, Deserialize)]
struct Kept<T> {
    version: u32,
    asked: String,
    seen: T,
}

/// Says when a state is due, and writes it.
#[derive(Debug, Clone)]
pub struct Keeper {
    asked: String,
    every_frames: u64,
    next_frame: u64,
}

impl Keeper {
    /// For the session of a request.
    #[must_use]
    pub fn new(request: &OpenRequest) -> Self {
        Self {
            asked: asked(request),
            every_frames: (EVERY_S * f64::from(request.returned_rate_hz)) as u64,
            next_frame: 0,
        }
    }

    /// Something happened that nobody should lose: a state is due at once.
    pub fn hurry(&mut self) {
        self.next_frame = 0;
    }

    /// The state at a frame; empty where none is due.
    pub fn state<T: Serialize>(&mut self, frame: u64, seen: &T) -> Vec<u8> {
        if frame < self.next_frame {
            return Vec::new();
        }
        self.next_frame = frame + self.every_frames;
        let kept = Kept {
            version: VERSION,
            asked: self.asked.clone(),
            seen,
        };
        serde_json::to_vec(&kept).expect("numbers and texts can always be written")
    }
}

/// What an earlier session of the same request saw; `None` where there was none.
///
/// # Errors
/// `state-unreadable` where it is damaged, of another version, or of another request.
pub fn read_back<T: DeserializeOwned>(request: &OpenRequest) -> Result<Option<T>, Failure> {
    if request.state.is_empty() {
        return Ok(None);
    }
    let unreadable = |text: String| {
        let text = format!("what was seen before cannot be gone on from: {text}; measure again");
        Failure::new("state-unreadable", text)
    };
    let kept: Kept<serde_json::Value> = serde_json::from_slice(&request.state)
        .map_err(|error| unreadable(format!("it is damaged ({error})")))?;
    if kept.version != VERSION {
        let text = format!("it is of version {}, not {VERSION}", kept.version);
        return Err(unreadable(text));
    }
    if kept.asked != asked(request) {
        let text = "it is of another measurement: rate, reference or parameters are not the same";
        return Err(unreadable(text.to_owned()));
    }
    let seen = serde_json::from_value(kept.seen);
    seen.map(Some)
        .map_err(|error| unreadable(format!("it is damaged ({error})")))
}

/// What has to be the same for what was seen to be gone on from.
fn asked(request: &OpenRequest) -> String {
    let fields = request.parameters.iter().flat_map(|all| &all.fields);
    let parameters: Vec<String> = fields
        .map(|(id, value)| format!("{id}={value:?}"))
        .collect();
    format!(
        "{} at {} Hz, reference {}, {}",
        request.analysis,
        request.returned_rate_hz,
        request.has_reference,
        parameters.join(", ")
    )
}

#[cfg(test)]
mod tests {
    use goodwire_plugin_sdk::parameters::{number, request_of_defaults};

    use super::*;

    fn request(wake_s: f64, state: &[u8]) -> OpenRequest {
        OpenRequest {
            returned_rate_hz: 1_000,
            state: state.to_vec(),
            ..request_of_defaults("dropout", &[number("wake_s", "s", wake_s, "")])
        }
    }

    #[test]
    fn a_state_is_given_once_a_second_and_at_once_where_something_happened() {
        let mut keeper = Keeper::new(&request(1.5, &[]));
        let given: Vec<u64> = (0..30_u64)
            .map(|number| 100 * number)
            .filter(|&frame| !keeper.state(frame, &7).is_empty())
            .collect();
        assert_eq!(given, [0, 1_000, 2_000]);
        keeper.hurry();
        assert!(!keeper.state(2_950, &7).is_empty());
    }

    #[test]
    fn it_is_read_back_by_the_same_request_and_refused_by_another_or_where_it_is_cut_short() {
        let state = Keeper::new(&request(1.5, &[])).state(0, &[1.0, 2.5]);
        let again = read_back::<[f64; 2]>(&request(1.5, &state));
        assert_eq!(again, Ok(Some([1.0, 2.5])));
        assert_eq!(read_back::<u32>(&request(1.5, &[])), Ok(None));
        let wrong = |request: &OpenRequest| read_back::<[f64; 2]>(request).unwrap_err();
        assert!(
            wrong(&request(2.0, &state))
                .text
                .contains("another measurement")
        );
        for length in 1..state.len() {
            let failure = wrong(&request(1.5, &state[..length]));
            assert_eq!(failure.id, "state-unreadable");
        }
        let text = String::from_utf8(state).unwrap();
        let newer = text.replace("\"version\":1", "\"version\":2");
        assert!(
            wrong(&request(1.5, newer.as_bytes()))
                .text
                .contains("version 2, not 1")
        );
    }
}
