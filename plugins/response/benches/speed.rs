//! How fast `response` is.

#[path = "../../dsp/tests/support/speed.rs"]
mod speed;

use goodwire_plugin_response::Response;

fn main() {
    speed::compare::<Response>("response", &[]);
}
