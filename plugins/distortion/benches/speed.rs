//! How fast `distortion` is.

#[path = "../../dsp/tests/support/speed.rs"]
mod speed;

use goodwire_plugin_distortion::Distortion;

fn main() {
    for method in ["stepped", "swept", "intermodulation"] {
        speed::compare_method::<Distortion>("distortion", method);
    }
}
