//! Links whose response is known in closed form, and the way of a recording through a session.
#![allow(dead_code, reason = "each test file uses its part")]

use goodwire_dsp::Complex64;
use goodwire_dsp::fft::{Transform, smooth_size};
use goodwire_dsp::noise;
use goodwire_dsp::resample::Resampler;
use goodwire_plugin_sdk::api::{Curve, Figure};
use goodwire_plugin_sdk::parameters::request_of_defaults;
use goodwire_plugin_sdk::payload::open_request::Mode;
use goodwire_plugin_sdk::payload::{OpenRequest, SessionResult};
use goodwire_plugin_sdk::{Block, Failure, Kind, Plugin, Session, Value};

/// `samples` through a link of response `gain(f)`, exactly: by multiplication of spectra, with
/// `tail` frames of silence for what rings on.
pub fn through(
    samples: &[f32],
    rate_hz: f64,
    tail: usize,
    gain: impl Fn(f64) -> Complex64,
) -> Vec<f32> {
    let size = smooth_size(samples.len() + tail + 48_000);
    let input: Vec<f64> = samples.iter().map(|&x| f64::from(x)).collect();
    let mut transform = Transform::new(size);
    let [mut spectrum, silent] = transform.forward_pair(&input, &[]);
    for (bin, value) in spectrum.iter_mut().enumerate() {
        *value *= gain(bin as f64 * rate_hz / size as f64);
    }
    let [output, _] = transform.inverse_pair(&spectrum, &silent);
    output[..samples.len() + tail]
        .iter()
        .map(|&x| x as f32)
        .collect()
}

/// A delay of `frames` at `rate_hz`.
pub fn delayed(frames: f64, rate_hz: f64) -> impl Fn(f64) -> Complex64 {
    move |f| Complex64::cis(-std::f64::consts::TAU * f * frames / rate_hz)
}

/// Butterworth low-pass of `order` with its -3 dB corner at `corner_hz`: the analogue prototype
/// `1 / prod(s - p_k)`, `p_k = exp(j pi (2k + n - 1) / (2n))`, evaluated at `s = j f / corner`.
pub fn low_pass(corner_hz: f64, order: usize) -> impl Fn(f64) -> Complex64 {
    move |f| {
        let s = Complex64::new(0.0, f / corner_hz);
        let poles = (1..=order).map(|k| {
            let angle = std::f64::consts::PI * (2 * k + order - 1) as f64 / (2 * order) as f64;
            Complex64::cis(angle)
        });
        poles.fold(Complex64::new(1.0, 0.0), |product, pole| {
            product / (s - pole)
        })
    }
}

/// The high-pass that belongs to [`low_pass`]: `s` and `1/s` swapped.
pub fn high_pass(corner_hz: f64, order: usize) -> impl Fn(f64) -> Complex64 {
    let low = low_pass(corner_hz, order);
    move |f| {
        if f == 0.0 {
            return Complex64::default();
        }
        low(corner_hz * corner_hz / f).conj()
    }
}

/// A resonance or notch: `(s^2 + s g / q + 1) / (s^2 + s / q + 1)`; gain g at the centre.
pub fn bell(centre_hz: f64, q: f64, gain: f64) -> impl Fn(f64) -> Complex64 {
    move |f| {
        let s = Complex64::new(0.0, f / centre_hz);
        (s * s + s * gain / q + 1.0) / (s * s + s / q + 1.0)
    }
}

/// Adds white Gaussian noise of this RMS.
pub fn with_noise(samples: &[f32], rms: f64, seed: u64) -> Vec<f32> {
    samples
        .iter()
        .zip(0u64..)
        .map(|(&x, n)| (f64::from(x) + rms * noise::gaussian(seed, n)) as f32)
        .collect()
}

/// `samples` on a clock that is off by `ppm` (plus: more samples).
pub fn on_clock(samples: &[f32], ppm: f64) -> Vec<f32> {
    if ppm == 0.0 {
        return samples.to_vec();
    }
    let input: Vec<f64> = samples.iter().map(|&x| f64::from(x)).collect();
    let step = 1.0 / (1.0 + ppm * 1e-6);
    let output = Resampler::new(step).resample(&input, 0.0, step, samples.len());
    output.iter().map(|&x| x as f32).collect()
}

/// One analysis, set.
pub struct Bench {
    pub request: OpenRequest,
}

impl Bench {
    /// `analysis` of `P` with its defaults, recorded at `rate_hz`.
    pub fn of<P: Plugin>(analysis: &str, rate_hz: i32) -> Self {
        let description = P::describe();
        let parameters = &description.analyses[0].parameters;
        let mut request = request_of_defaults(analysis, parameters);
        request.mode = Mode::Recorded.into();
        (request.rate_hz, request.returned_rate_hz) = (rate_hz, rate_hz);
        Self { request }
    }

    pub fn set(mut self, id: &str, number: f64) -> Self {
        self.insert(id, Kind::NumberValue(number));
        self
    }

    pub fn insert(&mut self, id: &str, kind: Kind) {
        let value = Value { kind: Some(kind) };
        let fields = &mut self.request.parameters.as_mut().unwrap().fields;
        assert!(
            fields.insert(id.to_owned(), value).is_some(),
            "no parameter {id}"
        );
    }

    /// The stimulus.
    pub fn sent<P: Plugin>(&self) -> Vec<f32> {
        let mut session = self.open::<P>();
        let plan = session.plan().unwrap();
        let mut samples = vec![0.0; plan.steps[0].frame_count as usize];
        session.render(0, 0, &mut samples).unwrap();
        let peak = samples.iter().fold(0f32, |peak, x| peak.max(x.abs()));
        assert!(20.0 * f64::from(peak).log10() <= plan.steps[0].peak_dbfs + 1e-5);
        samples
    }

    fn open<P: Plugin>(&self) -> Box<dyn Session> {
        match P::open(&self.request) {
            Ok(session) => session,
            Err(error) => panic!("{error:?}"),
        }
    }

    /// Analyses recordings.
    pub fn analyse<P: Plugin>(
        &self,
        sent: &[f32],
        returned: &[f32],
        reference: Option<&[f32]>,
    ) -> Result<SessionResult, Failure> {
        let mut session = self.open::<P>();
        session.plan()?;
        session.begin(0, 0, false)?;
        for (index, chunk) in sent.chunks(65_536).enumerate() {
            session.feed(&block(index * 65_536, &[None, None, Some(chunk)]))?;
        }
        for (index, chunk) in returned.chunks(65_536).enumerate() {
            let first = index * 65_536;
            let reference = reference.map(|samples| &samples[first..first + chunk.len()]);
            session.feed(&block(first, &[Some(chunk), reference, None]))?;
        }
        session.finish(false)
    }
}

fn block<'a>(first: usize, channels: &'a [Option<&'a [f32]>]) -> Block<'a> {
    Block {
        step: 0,
        repeat: 0,
        first_frame: first as u64,
        stream_frame: first as u64,
        last: false,
        channels,
    }
}

/// The figure of this id; panics where it is absent.
pub fn figure<'a>(result: &'a SessionResult, id: &str) -> &'a Figure {
    result
        .figures
        .iter()
        .find(|figure| figure.id == id)
        .unwrap_or_else(|| panic!("no figure {id}: {:?}", result.figures))
}

/// Value and uncertainty of the figure of this id.
pub fn value(result: &SessionResult, id: &str) -> [f64; 2] {
    let figure = figure(result, id);
    [figure.value.unwrap(), figure.uncertainty.unwrap()]
}

/// The curve of this id; panics where it is absent.
pub fn curve<'a>(result: &'a SessionResult, id: &str) -> &'a Curve {
    result
        .curves
        .iter()
        .find(|curve| curve.id == id)
        .expect("the curve is there")
}

/// Whether there is a note of this id.
pub fn has_note(result: &SessionResult, id: &str) -> bool {
    result.notes.iter().any(|note| note.id == id)
}

/// Every number of a result is finite, every uncertainty 0 or more, every interval about its value.
pub fn check_finite(result: &SessionResult) {
    for figure in &result.figures {
        let value = figure.value.unwrap();
        assert!(value.is_finite(), "{figure:?}");
        let is_right = match (figure.uncertainty, figure.low, figure.high) {
            (Some(uncertainty), None, None) => uncertainty >= 0.0,
            (None, Some(low), Some(high)) => low <= value && value <= high,
            _ => false,
        };
        assert!(is_right, "{figure:?}");
    }
    for curve in &result.curves {
        assert!(
            curve
                .y
                .iter()
                .chain(&curve.y_uncertainty)
                .all(|y| y.is_finite()),
            "{}",
            curve.id
        );
        assert_eq!(curve.x.len(), curve.y.len());
        assert!(curve.x.windows(2).all(|pair| pair[0] < pair[1]));
    }
}
