//! The page to print and sign.

use goodwire_proto::v1::Measurement;

use crate::show::{Look, measurement as view, time};

/// Width of the page in letters: A4 in a plain printer's font.
const WIDTH: usize = 76;

/// What was measured, the limits, and lines for who was there.
pub fn render(link: &str, measured: &[Measurement], limits: &str) -> String {
    let look = Look {
        width: WIDTH,
        unicode: true,
        colour: false,
    };
    let first = measured.first();
    let when = time::full(first.and_then(|one| one.start_time.as_ref()));
    let simulated = if measured.iter().any(|one| one.simulated) {
        "\nSIMULATED: made on the simulated rig, says nothing of any real link.\n"
    } else {
        ""
    };
    let results: String = measured
        .iter()
        .map(|one| view::render(&look, one))
        .collect();
    let line = "_".repeat(30);
    format!(
        "Commissioning of {link}\n{when}\n{simulated}\n{results}\nLimits from now on\n\n{limits}\n\
         Measured by  {line}  date {line}\n\nAccepted by  {line}  date {line}\n"
    )
}
