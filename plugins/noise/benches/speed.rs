//! How fast `noise` is.

#[path = "../../dsp/tests/support/speed.rs"]
mod speed;

use goodwire_plugin_noise::Noise;

fn main() {
    // With tone and bursts about as long as the other stimuli.
    speed::compare::<Noise>("noise", &[("duration_s", 3.0)]);
}
