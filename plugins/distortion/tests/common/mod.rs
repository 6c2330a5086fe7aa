//! Runs the plugin on links that are made of closed forms.

#![allow(dead_code, reason = "not every file of tests uses all of it")]

pub mod coverage;

use goodwire_dsp::noise::gaussian;
use goodwire_dsp::resample::Resampler;
use goodwire_plugin_distortion::Distortion;
use goodwire_plugin_sdk::api::{Curve, Figure};
use goodwire_plugin_sdk::payload::open_request::Mode;
use goodwire_plugin_sdk::payload::{OpenRequest, SessionResult};
use goodwire_plugin_sdk::{
    Block, Failure, Kind, ListValue, Plugin, Session, Value, parameters::request_of_defaults,
};

pub const RATE_HZ: i32 = 48_000;

/// A request with the defaults of the schema, some other values, and other frequencies if any.
pub fn request(mode: Mode, set: &[(&str, f64)], freqs_hz: &[f64]) -> OpenRequest {
    let declared = &Distortion::describe().analyses[0].parameters;
    let mut request = request_of_defaults("distortion", declared);
    for (id, number) in set {
        let value = Value {
            kind: Some(Kind::NumberValue(*number)),
        };
        let fields = &mut request.parameters.as_mut().unwrap().fields;
        assert!(fields.insert((*id).to_owned(), value).is_some(), "{id}");
    }
    if !freqs_hz.is_empty() {
        let values = freqs_hz.iter().map(|&hz| Value {
            kind: Some(Kind::NumberValue(hz)),
        });
        let list = Kind::ListValue(ListValue {
            values: values.collect(),
        });
        let fields = &mut request.parameters.as_mut().unwrap().fields;
        fields.insert("freqs_hz".to_owned(), Value { kind: Some(list) });
    }
    request.set_mode(mode);
    request.rate_hz = RATE_HZ;
    request.returned_rate_hz = RATE_HZ;
    request
}

/// The whole stimulus with its tail.
pub fn stimulus(request: &OpenRequest) -> Vec<f32> {
    let mut session = open(request);
    let step = session.plan().unwrap().steps[0];
    let mut samples = vec![0.0; (step.frame_count + step.tail_frame_count) as usize];
    session.render(0, 0, &mut samples).unwrap();
    let peak = samples.iter().fold(0f32, |peak, x| peak.max(x.abs()));
    let bound = 10f64.powf(step.peak_dbfs / 20.0) * (1.0 + 1e-7);
    assert!(f64::from(peak) <= bound, "peak {peak}, bound {bound}");
    samples
}

fn open(request: &OpenRequest) -> Box<dyn Session> {
    match Distortion::open(request) {
        Ok(session) => session,
        Err(error) => panic!("{error:?}"),
    }
}

/// What a memoryless link makes of a stimulus: later by `delay` frames, with white noise.
pub fn through(
    sent: &[f32],
    delay: usize,
    noise: f64,
    seed: u64,
    link: impl Fn(f64) -> f64,
) -> Vec<f32> {
    (0..sent.len())
        .map(|n| n.checked_sub(delay).map_or(0.0, |at| f64::from(sent[at])))
        .enumerate()
        .map(|(n, x)| (link(x) + noise * gaussian(seed, n as u64)) as f32)
        .collect()
}

/// Feeds recordings and finishes.
pub fn analyse(
    request: &OpenRequest,
    sent: &[f32],
    returned: &[f32],
    reference: Option<&[f32]>,
) -> Result<SessionResult, Failure> {
    let mut session = open(request);
    let step = session.plan()?.steps[0];
    session.begin(0, 0, false)?;
    if request.mode() == Mode::Recorded {
        let sent = &sent[..(step.frame_count as usize).min(sent.len())];
        feed(&mut *session, &[None, None, Some(sent)])?;
    }
    feed(&mut *session, &[Some(returned), reference, None])?;
    session.finish(false)
}

fn feed(session: &mut dyn Session, channels: &[Option<&[f32]>]) -> Result<(), Failure> {
    let block = Block {
        step: 0,
        repeat: 0,
        first_frame: 0,
        stream_frame: 0,
        last: true,
        channels,
    };
    session.feed(&block).map(|_| ())
}

/// Value and uncertainty of a figure of one tone; of an asymmetric one the quarter of its interval.
pub fn figure_at(result: &SessionResult, id: &str, freq_hz: f64) -> Option<(f64, f64)> {
    let found = found_at(result, id, freq_hz)?;
    let deviation = match (found.uncertainty, found.low, found.high) {
        (Some(deviation), None, None) => deviation,
        (None, Some(low), Some(high)) => (high - low) / 4.0,
        other => panic!("{id}: {other:?}"),
    };
    Some((found.value.unwrap(), deviation))
}

/// A figure of one tone.
pub fn found_at<'a>(result: &'a SessionResult, id: &str, freq_hz: f64) -> Option<&'a Figure> {
    let frequency = Some(Kind::NumberValue(freq_hz));
    result.figures.iter().find(|figure| {
        let at = &figure.at.as_ref().unwrap().fields;
        figure.id == id && at["frequency_hz"].kind == frequency
    })
}

/// The request with another method.
pub fn with_method(mut request: OpenRequest, method: &str) -> OpenRequest {
    let kind = Some(Kind::StringValue(method.to_owned()));
    let fields = &mut request.parameters.as_mut().unwrap().fields;
    fields.insert("method".to_owned(), Value { kind });
    request
}

/// A curve.
pub fn curve<'a>(result: &'a SessionResult, id: &str) -> Option<&'a Curve> {
    result.curves.iter().find(|curve| curve.id == id)
}

/// True where there is such a note.
pub fn has_note(result: &SessionResult, id: &str) -> bool {
    result.notes.iter().any(|note| note.id == id)
}

/// What a recorder with another rate and clock makes of a sound: plus `ppm` gives more samples. It
/// starts `before_s` before the sound and ends as long after it.
pub fn recorded_by(sound: &[f32], rate_hz: f64, ppm: f64, before_s: f64) -> Vec<f32> {
    let step = f64::from(RATE_HZ) / (rate_hz * (1.0 + ppm * 1e-6));
    let sound: Vec<f64> = sound.iter().map(|&x| f64::from(x)).collect();
    let before = before_s * rate_hz;
    let count = (sound.len() as f64 / step + 2.0 * before) as usize;
    Resampler::new(step)
        .resample(&sound, -before * step, step, count)
        .iter()
        .map(|&x| x as f32)
        .collect()
}
