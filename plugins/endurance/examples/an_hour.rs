//! How much of a processor watching one link takes: feeds an hour of sound through a session.
//!
//! `cargo run --release -p goodwire-plugin-endurance --example an_hour [SECONDS]`

use std::time::{Duration, Instant};

use goodwire_plugin_endurance::Endurance;
use goodwire_plugin_sdk::parameters::request_of_defaults;
use goodwire_plugin_sdk::payload::OpenRequest;
use goodwire_plugin_sdk::payload::open_request::Mode;
use goodwire_plugin_sdk::{Block, Plugin};

const RATE_HZ: usize = 48_000;
/// A tenth of a second, in which the daemon asks for readings once.
const BLOCK: usize = 4_800;
/// Frames by which the link is later than the cable.
const DELAY: usize = 300;

fn main() {
    let seconds = std::env::args().nth(1).and_then(|text| text.parse().ok());
    let seconds: usize = seconds.unwrap_or(3_600);
    let declared = Endurance::describe().analyses.remove(0).parameters;
    let request = OpenRequest {
        mode: Mode::Live.into(),
        rate_hz: RATE_HZ as i32,
        returned_rate_hz: RATE_HZ as i32,
        has_reference: true,
        ..request_of_defaults("endurance", &declared)
    };
    let Ok(mut session) = Endurance::open(&request) else {
        panic!("the defaults are taken");
    };
    let (mut fed, mut state_bytes) = (Duration::ZERO, 0);
    let mut played = vec![0.0; DELAY + BLOCK];
    for first_frame in (0..seconds * RATE_HZ).step_by(BLOCK) {
        // What was played last is what the link returns first.
        played.copy_within(BLOCK.., 0);
        let now = session.render(0, first_frame as u64, &mut played[DELAY..]);
        now.expect("it plays");
        let block = Block {
            step: 0,
            repeat: 0,
            first_frame: first_frame as u64,
            stream_frame: first_frame as u64,
            last: false,
            channels: &[Some(&played[..BLOCK]), Some(&played[DELAY..])],
        };
        let begin = Instant::now();
        session.feed(&block).expect("it hears");
        state_bytes = state_bytes.max(session.readings().state.len());
        fed += begin.elapsed();
    }
    let ratio = seconds as f64 / fed.as_secs_f64();
    println!(
        "{seconds} s of one link at {RATE_HZ} Hz in {:.1} s: {ratio:.0} times real time, {:.2} % of a \
         core; the largest state has {state_bytes} bytes",
        fed.as_secs_f64(),
        100.0 / ratio
    );
}
