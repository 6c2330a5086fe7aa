//! JACK clients of the test's own: the device under test, and a loudspeaker that listens.

use std::{
    sync::{
        Arc, Mutex,
        atomic::{AtomicU32, AtomicU64, Ordering},
    },
    thread,
    time::Duration,
};

use jack::{AsyncClient, AudioIn, AudioOut, Client, ClientOptions, Control, Port, ProcessScope};

/// Gain of the device under test: a power of two, so that the loop is exact to the bit.
pub const GAIN: f32 = 0.5;

/// What a client of the test's own saw.
#[derive(Default)]
pub struct Sight {
    /// Non-zero samples that came in.
    pub non_zero_count: AtomicU64,
    /// The server's frame of the last non-zero sample.
    pub last_non_zero_frame: AtomicU32,
    /// Largest step between two samples that follow each other, the bits of an `f32`.
    pub largest_step: AtomicU32,
    /// Let the next cycle take so many ms.
    pub dawdle_ms: AtomicU64,
}

impl Sight {
    /// Largest step between two samples that followed each other.
    pub fn largest_step(&self) -> f32 {
        f32::from_bits(self.largest_step.load(Ordering::Acquire))
    }
}

struct Through {
    inputs: Vec<Port<AudioIn>>,
    outputs: Vec<Port<AudioOut>>,
    before: Vec<f32>,
    sight: Arc<Sight>,
}

impl jack::ProcessHandler for Through {
    fn process(&mut self, _: &Client, scope: &ProcessScope) -> Control {
        let dawdle_ms = self.sight.dawdle_ms.swap(0, Ordering::AcqRel);
        if dawdle_ms > 0 {
            thread::sleep(Duration::from_millis(dawdle_ms));
        }
        for (channel, input) in self.inputs.iter().enumerate() {
            let samples = input.as_slice(scope);
            look(
                samples,
                scope.last_frame_time(),
                &mut self.before[channel],
                &self.sight,
            );
            if let Some(output) = self.outputs.get_mut(channel) {
                let through = output.as_mut_slice(scope).iter_mut().zip(samples);
                through.for_each(|(out, sample)| *out = GAIN * sample);
            }
        }
        Control::Continue
    }
}

fn look(samples: &[f32], first_frame: u32, before: &mut f32, sight: &Sight) {
    let mut largest = sight.largest_step();
    for (frame, &sample) in (first_frame..).zip(samples) {
        if sample != 0.0 {
            sight.non_zero_count.fetch_add(1, Ordering::AcqRel);
            sight.last_non_zero_frame.store(frame, Ordering::Release);
        }
        largest = largest.max((sample - *before).abs());
        *before = sample;
    }
    sight
        .largest_step
        .store(largest.to_bits(), Ordering::Release);
}

/// A client of the test's own.
pub struct TestClient {
    client: AsyncClient<(), Through>,
    /// What it saw.
    pub sight: Arc<Sight>,
}

impl TestClient {
    /// The device under test: `dut:in_k` to `dut:out_k`.
    pub fn device_under_test(channel_count: usize) -> Self {
        Self::open("dut", "in", Some("out"), channel_count)
    }

    /// Takes whatever is sent to the loudspeakers: cpal connects its ports to whatever matches
    /// `system:playback_`, and so does this client's name.
    pub fn loudspeaker() -> Self {
        Self::open("listening-system", "playback", None, 2)
    }

    fn open(name: &str, input: &str, output: Option<&str>, channel_count: usize) -> Self {
        let (client, _) = Client::new(name, ClientOptions::NO_START_SERVER).unwrap();
        let port = |stem: &str, k: usize| format!("{stem}_{k}");
        let inputs = (1..=channel_count)
            .map(|k| {
                client
                    .register_port(&port(input, k), AudioIn::default())
                    .unwrap()
            })
            .collect();
        let outputs = output.map_or_else(Vec::new, |stem| {
            (1..=channel_count)
                .map(|k| {
                    client
                        .register_port(&port(stem, k), AudioOut::default())
                        .unwrap()
                })
                .collect()
        });
        let sight = Arc::new(Sight::default());
        let before = vec![0.0; channel_count];
        let through = Through {
            inputs,
            outputs,
            before,
            sight: Arc::clone(&sight),
        };
        Self {
            client: client.activate_async((), through).unwrap(),
            sight,
        }
    }

    /// The client itself.
    pub fn client(&self) -> &Client {
        self.client.as_client()
    }
}

/// All connections that end at a port whose name matches `pattern`, as they were seen over time.
pub struct ConnectionWatch {
    seen: Arc<Mutex<Vec<String>>>,
    client: AsyncClient<Seer, ()>,
}

struct Seer {
    seen: Arc<Mutex<Vec<String>>>,
}

impl jack::NotificationHandler for Seer {
    fn ports_connected(&mut self, client: &Client, a: jack::PortId, b: jack::PortId, on: bool) {
        let name = |id| {
            client
                .port_by_id(id)
                .and_then(|port| port.name().ok())
                .unwrap_or_default()
        };
        let sign = if on { "+" } else { "-" };
        self.seen
            .lock()
            .unwrap()
            .push(format!("{sign} {} > {}", name(a), name(b)));
    }
}

impl ConnectionWatch {
    /// Watches from now on.
    pub fn begin() -> Self {
        let (client, _) = Client::new("watch", ClientOptions::NO_START_SERVER).unwrap();
        let seen = Arc::<Mutex<Vec<String>>>::default();
        let client = client
            .activate_async(
                Seer {
                    seen: Arc::clone(&seen),
                },
                (),
            )
            .unwrap();
        Self { seen, client }
    }

    /// Every change so far, `+ source > target` or `- source > target`.
    pub fn seen(&self) -> Vec<String> {
        self.seen.lock().unwrap().clone()
    }

    /// The client itself.
    pub fn client(&self) -> &Client {
        self.client.as_client()
    }
}
