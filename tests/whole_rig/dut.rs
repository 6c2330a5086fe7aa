//! The link under test and the cable beside it, as one JACK client.

use std::{
    collections::VecDeque,
    sync::{
        Arc,
        atomic::{AtomicBool, AtomicU32, AtomicU64, Ordering},
    },
    time::{Duration, Instant},
};

use jack::{AsyncClient, AudioIn, AudioOut, Client, ClientOptions, Control, Port, ProcessScope};

/// How late the link is.
pub const DELAY_FRAMES: usize = 480;
/// Its gain: -6 dB and a little.
pub const GAIN_DB: f64 = -6.0;
/// Where it clips, in dBFS of the send.
pub const CLIP_DBFS: f64 = -30.0;

/// What can be turned while it runs, and what it saw.
pub struct Knobs {
    /// Further gain of the link's output in dB, the bits of an `f32`.
    more_gain_db: AtomicU32,
    /// True while somebody plays programme in the room: both returns hear it.
    pub programme: AtomicBool,
    /// Non-zero samples that came in on either send.
    pub non_zero_count: AtomicU64,
    /// Largest absolute sample that came in on either send, the bits of an `f32`.
    peak: AtomicU32,
    /// When the last non-zero sample came in, in µs since `begun`.
    last_sound_us: AtomicU64,
    begun: Instant,
}

impl Knobs {
    /// Turns the link's output up.
    pub fn turn_up(&self, gain_db: f32) {
        self.more_gain_db
            .store(gain_db.to_bits(), Ordering::Release);
    }

    /// Peak of the sends so far in dBFS.
    pub fn peak_dbfs(&self) -> f64 {
        20.0 * f64::from(f32::from_bits(self.peak.load(Ordering::Acquire))).log10()
    }

    /// From `since` to the last sound on the sends.
    pub fn sounded_on_after(&self, since: Instant) -> Duration {
        let last = self.begun + Duration::from_micros(self.last_sound_us.load(Ordering::Acquire));
        last.saturating_duration_since(since)
    }
}

/// The running client `dut`.
pub struct Dut {
    client: Option<AsyncClient<(), Link>>,
    /// What can be turned, and what it saw.
    pub knobs: Arc<Knobs>,
}

struct Link {
    inputs: [Port<AudioIn>; 2],
    outputs: [Port<AudioOut>; 2],
    delay: VecDeque<f32>,
    programme_frame: u32,
    knobs: Arc<Knobs>,
}

impl Dut {
    /// Registers `dut:in_1`, `dut:in_2`, `dut:out_1`, `dut:out_2`.
    pub fn start() -> Self {
        let (client, _) = Client::new("dut", ClientOptions::NO_START_SERVER).unwrap();
        let input = |name| client.register_port(name, AudioIn::default()).unwrap();
        let output = |name| client.register_port(name, AudioOut::default()).unwrap();
        let knobs = Arc::new(Knobs {
            more_gain_db: AtomicU32::new(0.0_f32.to_bits()),
            programme: AtomicBool::new(false),
            non_zero_count: AtomicU64::new(0),
            peak: AtomicU32::new(0),
            last_sound_us: AtomicU64::new(0),
            begun: Instant::now(),
        });
        let link = Link {
            inputs: [input("in_1"), input("in_2")],
            outputs: [output("out_1"), output("out_2")],
            delay: VecDeque::from(vec![0.0; DELAY_FRAMES]),
            programme_frame: 0,
            knobs: Arc::clone(&knobs),
        };
        Self {
            client: Some(client.activate_async((), link).unwrap()),
            knobs,
        }
    }

    /// Leaves it to a server that is dead: closing would wait for an answer.
    pub fn abandon(mut self) {
        std::mem::forget(self.client.take());
    }
}

impl jack::ProcessHandler for Link {
    fn process(&mut self, _: &Client, scope: &ProcessScope) -> Control {
        let more_db = f32::from_bits(self.knobs.more_gain_db.load(Ordering::Acquire));
        let gain = 10_f32.powf((GAIN_DB as f32 + more_db) / 20.0);
        let clip = 10_f32.powf(CLIP_DBFS as f32 / 20.0);
        let [link_in, cable_in] = &self.inputs;
        let (link_in, cable_in) = (link_in.as_slice(scope), cable_in.as_slice(scope));
        look(&self.knobs, link_in.iter().chain(cable_in));
        let [link_out, cable_out] = &mut self.outputs;
        let outputs = link_out
            .as_mut_slice(scope)
            .iter_mut()
            .zip(cable_out.as_mut_slice(scope));
        for ((link_out, cable_out), (&link, &cable)) in outputs.zip(link_in.iter().zip(cable_in)) {
            self.delay.push_back(gain * link.clamp(-clip, clip));
            *link_out = self.delay.pop_front().unwrap_or_default();
            *cable_out = cable;
            if self.knobs.programme.load(Ordering::Acquire) {
                // A tone of 440 Hz that comes and goes twice a second, at -20 dBFS.
                self.programme_frame = self.programme_frame.wrapping_add(1);
                let time_s = self.programme_frame as f32 / 48000.0;
                let beat = if (2.0 * time_s).fract() < 0.5 {
                    0.1
                } else {
                    0.001
                };
                let programme = beat * (std::f32::consts::TAU * (440.0 * time_s).fract()).sin();
                *link_out += programme;
                *cable_out += programme;
            }
        }
        Control::Continue
    }
}

fn look<'a>(knobs: &Knobs, samples: impl Iterator<Item = &'a f32>) {
    let (mut peak, mut count) = (f32::from_bits(knobs.peak.load(Ordering::Acquire)), 0);
    for sample in samples.filter(|sample| **sample != 0.0) {
        peak = peak.max(sample.abs());
        count += 1;
    }
    if count > 0 {
        knobs.peak.store(peak.to_bits(), Ordering::Release);
        knobs.non_zero_count.fetch_add(count, Ordering::AcqRel);
        let now_us = u64::try_from(knobs.begun.elapsed().as_micros()).unwrap_or(u64::MAX);
        knobs.last_sound_us.store(now_us, Ordering::Release);
    }
}
