//! Rigs whose noise is known in closed form.
#![allow(dead_code, reason = "each test file uses its part")]

#[path = "../../../dsp/tests/support/link.rs"]
mod link;

use goodwire_dsp::noise::gaussian;
use goodwire_plugin_noise::Noise;
use goodwire_plugin_sdk::Failure;
use goodwire_plugin_sdk::payload::SessionResult;
pub use link::*;

pub const RATE_HZ: f64 = 48_000.0;

/// A link with white noise beside a cable with white noise.
pub struct Rig {
    pub bench: Bench,
    pub sent: Vec<f32>,
    pub rate_hz: f64,
    /// Gain of both returns, of the link alone, and noise (RMS) at the link's and the reference's
    /// return.
    pub gain: f64,
    pub link_gain: f64,
    pub noise: f64,
    pub reference_noise: f64,
    pub seed: u64,
}

impl Rig {
    /// Listens for `duration_s`, with a noise of 1e-4 at the link's return and 1e-6 at the other.
    pub fn new(rate_hz: f64, duration_s: f64) -> Self {
        let bench = Bench::of::<Noise>("noise", rate_hz as i32)
            .set("duration_s", duration_s)
            .set("wake_s", 0.2);
        Self {
            sent: bench.sent::<Noise>(),
            bench,
            rate_hz,
            gain: 1.0,
            link_gain: 1.0,
            noise: 1e-4,
            reference_noise: 1e-6,
            seed: 1,
        }
    }

    /// The link's return, with `more(n)` on top, and the reference's.
    pub fn returns(&self, more: impl Fn(f64) -> f64) -> (Vec<f32>, Vec<f32>) {
        let (late, count) = (200, self.sent.len() + 4_800);
        let sent = |n: usize| f64::from(self.sent.get(n).copied().unwrap_or(0.0));
        let link = (0..count).map(|n| {
            let heard = self.link_gain * n.checked_sub(late).map_or(0.0, sent);
            let noise = self.noise * gaussian(2 * self.seed, n as u64);
            (self.gain * (heard + noise + more(n as f64 / self.rate_hz))) as f32
        });
        let reference = (0..count).map(|n| {
            let noise = self.reference_noise * gaussian(2 * self.seed + 1, n as u64);
            (self.gain * (sent(n) + noise)) as f32
        });
        (link.collect(), reference.collect())
    }

    pub fn run(&self, more: impl Fn(f64) -> f64) -> SessionResult {
        let (link, reference) = self.returns(more);
        let result = self.analyse(&link, Some(&reference)).unwrap();
        check_finite(&result);
        result
    }

    pub fn analyse(
        &self,
        link: &[f32],
        reference: Option<&[f32]>,
    ) -> Result<SessionResult, Failure> {
        self.bench.analyse::<Noise>(&self.sent, link, reference)
    }

    /// Second of the recording at which the silence that is measured begins and ends.
    pub fn silence_s(&self) -> [f64; 2] {
        let last = self.sent.len() as f64 / self.rate_hz - 0.15 - 0.3;
        [0.2 + 0.05 + 0.15 + 0.15 + 3.3 + 0.51, last]
    }
}

/// Level in dBFS of white noise of this RMS from 20 Hz to 20 kHz.
pub fn white_dbfs(rms: f64, rate_hz: f64) -> f64 {
    10.0 * (2.0 * rms * rms * 19_980.0 / (rate_hz / 2.0)).log10()
}

/// Asserts that a figure is `want` within `within`.
pub fn near(result: &SessionResult, id: &str, want: f64, within: f64) {
    let [got, told] = value(result, id);
    println!("{id}: {got:.4} ± {told:.4}, want {want:.4}");
    assert!((got - want).abs() < within, "{id}: {got}, want {want}");
}

/// Frequencies and levels of all lines of an id.
pub fn lines(result: &SessionResult, id: &str) -> Vec<[f64; 3]> {
    let of_id = result.figures.iter().filter(|figure| figure.id == id);
    let place = |figure: &goodwire_plugin_sdk::api::Figure| {
        let kind = figure
            .at
            .as_ref()?
            .fields
            .get("frequency_hz")?
            .kind
            .clone()?;
        match kind {
            goodwire_plugin_sdk::Kind::NumberValue(number) => Some(number),
            _ => None,
        }
    };
    of_id
        .map(|figure| {
            [
                place(figure).unwrap(),
                figure.value.unwrap(),
                figure.uncertainty.unwrap_or_else(|| quarter(figure)),
            ]
        })
        .collect()
}

/// A quarter of the interval of a bound: two deviations to either side.
fn quarter(figure: &goodwire_plugin_sdk::api::Figure) -> f64 {
    (figure.high.unwrap() - figure.low.unwrap()) / 4.0
}
