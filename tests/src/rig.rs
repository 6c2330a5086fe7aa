//! Configurations of simulated rigs.

use std::fmt::Write;

/// Two links that share a send, and a cable: virtual time.
pub const CELLAR: &str = r#"
site = "lantern-cellar"
[interface]
backend = "simulated"
time = "virtual"
rate = 48000
[reference]
send = 2
return = 2
[[link]]
name = "lectern"
send = 1
return = 1
[link.setup]
channel = "2"
[link.simulated]
gain_db = -3.0
delay_ms = 3.125
low_corner_hz = 30.0
high_corner_hz = 16000.0
hard_clip_dbfs = -6.0
polynomial = [0.0, 0.05]
[[link]]
name = "drum-riser"
send = 1
return = 3
[link.simulated]
inverted = true
"#;

/// For the cellar: a round of `latency` on both links, with a limit that one of them breaks.
pub const NIGHTLY: &str = r#"
[[limit]]
link = "lectern"
analysis = "latency"
figure = "latency"
max = 2.0
[[round]]
name = "nightly"
checks = ["latency"]
"#;

/// The same by the machine's clock, so that there is time to interfere.
#[must_use]
pub fn cellar_in_real_time() -> String {
    CELLAR.replace("time = \"virtual\"", "time = \"real\"")
}

/// So many links on sends of their own, and a cable after them.
#[must_use]
pub fn with_links(count: usize) -> String {
    let mut text = format!(
        "site = \"many\"\n[interface]\nbackend = \"simulated\"\ntime = \"virtual\"\nrate = 48000\n\
         [reference]\nsend = {0}\nreturn = {0}\n",
        count + 1
    );
    for number in 1..=count {
        write!(
            text,
            "[[link]]\nname = \"link-{number}\"\nsend = {number}\nreturn = {number}\n"
        )
        .expect("writing to a string does not fail");
    }
    text
}
