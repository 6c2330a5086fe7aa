//! How fast `distortion` is.

#[path = "../../dsp/tests/support/speed.rs"]
mod speed;

use goodwire_plugin_distortion::Distortion;

fn main() {
    speed::compare::<Distortion>("distortion", &[]);
}
