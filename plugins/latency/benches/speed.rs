//! How fast `latency` is.

#[path = "../../dsp/tests/support/speed.rs"]
mod speed;

use goodwire_plugin_latency::Latency;

fn main() {
    speed::compare::<Latency>("latency", &[]);
}
