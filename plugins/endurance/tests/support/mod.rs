//! A link, a cable and what befalls them, frame by frame.

use std::cell::RefCell;
use std::ops::Range;

use goodwire_plugin_endurance::Endurance;
use goodwire_plugin_sdk::parameters::request_of_defaults;
use goodwire_plugin_sdk::payload::OpenRequest;
use goodwire_plugin_sdk::payload::open_request::Mode;
use goodwire_plugin_sdk::{Block, Fed, Kind, Plugin, Session, Value};

/// Rate in Hz of everything here.
pub const RATE_HZ: u64 = 48_000;
/// Frames that are fed at a time.
pub const BLOCK: u64 = 4_800;
/// Frames by which the link is later than the cable.
pub const DELAY: u64 = 300;

/// What befalls link and cable, in frames of the returns; gaps from their first to before the last.
pub struct Rig {
    /// Where the link's sound ends for good.
    pub dies_at: u64,
    /// Where it is silent.
    pub gaps: Vec<[u64; 2]>,
    /// Where link and cable are silent.
    pub rig_gaps: Vec<[u64; 2]>,
    /// RMS of the white noise that the dead link gives.
    pub noise: f32,
    /// Whether there is a cable.
    pub has_reference: bool,
    /// The last state that was given.
    pub last_state: RefCell<Vec<u8>>,
}

impl Default for Rig {
    fn default() -> Self {
        Self {
            dies_at: u64::MAX,
            gaps: Vec::new(),
            rig_gaps: Vec::new(),
            noise: 0.0,
            has_reference: true,
            last_state: RefCell::default(),
        }
    }
}

impl Rig {
    /// Feeds blocks until the session has enough or the frames are through; gives where that was.
    pub fn feed(&self, session: &mut dyn Session, frames: Range<u64>) -> u64 {
        let mut noise = Noise(12_345);
        let mut first_frame = frames.start;
        while first_frame < frames.end {
            let cable = self.cable(session, first_frame);
            let link = self.link(session, first_frame, &mut noise);
            let block = Block {
                step: 0,
                repeat: 0,
                first_frame,
                stream_frame: first_frame,
                last: false,
                channels: &[Some(&link), self.has_reference.then_some(&cable)],
            };
            first_frame += BLOCK;
            let fed = session.feed(&block).unwrap();
            let state = session.readings().state;
            if !state.is_empty() {
                self.last_state.replace(state);
            }
            if fed == Fed::Enough {
                break;
            }
        }
        first_frame
    }

    fn cable(&self, session: &mut dyn Session, first_frame: u64) -> Vec<f32> {
        let mut samples = vec![0.0; BLOCK as usize];
        session.render(0, first_frame, &mut samples).unwrap();
        silence(&mut samples, first_frame, &self.rig_gaps);
        samples
    }

    fn link(&self, session: &mut dyn Session, first_frame: u64, noise: &mut Noise) -> Vec<f32> {
        let skip = DELAY.saturating_sub(first_frame) as usize;
        let mut samples = vec![0.0; BLOCK as usize];
        let late = first_frame.saturating_sub(DELAY);
        session.render(0, late, &mut samples[skip..]).unwrap();
        silence(&mut samples, first_frame, &self.gaps);
        silence(&mut samples, first_frame, &self.rig_gaps);
        for (frame, sample) in (first_frame..).zip(&mut samples) {
            if frame >= self.dies_at {
                *sample = self.noise * noise.next();
            }
        }
        samples
    }
}

fn silence(samples: &mut [f32], first_frame: u64, gaps: &[[u64; 2]]) {
    for (frame, sample) in (first_frame..).zip(samples) {
        if gaps.iter().any(|[from, to]| (from..to).contains(&&frame)) {
            *sample = 0.0;
        }
    }
}

/// Uniform white noise of RMS 1.
struct Noise(u64);

impl Noise {
    fn next(&mut self) -> f32 {
        // Knuth's MMIX generator, from memory.
        self.0 = self
            .0
            .wrapping_mul(6_364_136_223_846_793_005)
            .wrapping_add(1_442_695_040_888_963_407);
        let uniform = (self.0 >> 40) as f32 / (1 << 23) as f32 - 1.0;
        uniform * 3.0_f32.sqrt()
    }
}

/// A live request with these settings and defaults else.
pub fn request(settings: &[(&str, f64)], state: Vec<u8>) -> OpenRequest {
    let declared = Endurance::describe().analyses.remove(0).parameters;
    let mut request = request_of_defaults("endurance", &declared);
    let fields = &mut request.parameters.as_mut().unwrap().fields;
    for &(id, number) in settings {
        let kind = Some(Kind::NumberValue(number));
        assert!(
            fields.insert(id.to_owned(), Value { kind }).is_some(),
            "{id}"
        );
    }
    OpenRequest {
        mode: Mode::Live.into(),
        rate_hz: RATE_HZ as i32,
        returned_rate_hz: RATE_HZ as i32,
        has_reference: true,
        state,
        ..request
    }
}

/// A session of [`request`] that is planned and begun.
pub fn open(settings: &[(&str, f64)], state: Vec<u8>) -> Box<dyn Session> {
    begun(&request(settings, state))
}

/// A session that is planned and begun.
pub fn begun(request: &OpenRequest) -> Box<dyn Session> {
    let mut session = Endurance::open(request).unwrap_or_else(|_| panic!("it opens"));
    assert_eq!(session.plan().unwrap().steps[0].frame_count, 0);
    session.begin(0, 0, false).unwrap();
    session
}
