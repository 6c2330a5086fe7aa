//! How fast `level` is.

#[path = "../../dsp/tests/support/speed.rs"]
mod speed;

use goodwire_plugin_level::Level;

fn main() {
    // From -20 dBFS up, in steps of 2 dB: about as long as the other stimuli.
    speed::compare::<Level>("level", &[("min_dbfs", -20.0), ("step_db", 2.0)]);
}
