//! Links in a row, and what their delays add up to.

use super::{
    Look, Mark,
    number::rounded,
    table::{Cell, Side, Table},
    time,
};
use crate::commands::chain::{Part, Sum};
use goodwire_proto::v1::verdict::Outcome;

/// Less is not shown, in ms.
const JITTER_SHOWN_MS: f64 = 0.001;

/// A row a link, the sum below, and what it means.
pub fn render(look: &Look, parts: &[Part], sum: &Sum) -> String {
    let mut table = Table::new([
        ("link", Side::Short),
        ("latency", Side::Right),
        ("±", Side::Left),
        ("unit", Side::Left),
        ("measured", Side::Left),
    ]);
    for part in parts {
        let (latency, uncertainty) = rounded(part.latency_ms, Some(part.uncertainty_ms));
        let simulated = if part.simulated { ", simulated" } else { "" };
        table.row([
            Cell::from(part.link.clone()),
            latency.into(),
            uncertainty.into(),
            "ms".into(),
            format!("{}{simulated}", time::full(part.end_time.as_ref())).into(),
        ]);
    }
    let (latency, uncertainty) = rounded(sum.latency_ms, Some(sum.uncertainty_ms));
    let total = format!(
        "In a row: {latency} ± {uncertainty} ms, as far as sound goes in {:.1} m of air (20 °C).",
        sum.air_path_m
    );
    let mut text = table.render(look);
    text.push('\n');
    text.push_str(&look.wrap("", &total));
    if sum.jitter_ms >= JITTER_SHOWN_MS {
        let jitter = format!(
            "From repeat to repeat it differs by up to {:.3} ms.",
            sum.jitter_ms
        );
        text.push_str(&look.wrap("", &jitter));
    }
    if let Some(limit_ms) = sum.limit_ms {
        let outcome = Outcome::from_str_name(sum.outcome).unwrap_or(Outcome::Unmeasured);
        let mark = Mark::of_outcome(outcome.into()).text(look);
        text.push_str(&look.wrap("", &format!("{mark}: the limit is {limit_ms} ms.")));
    }
    if let Some((metres, arrival_ms)) = sum.direct {
        let behind_ms = sum.latency_ms - arrival_ms;
        let order = if behind_ms < 0.0 { "before" } else { "after" };
        let direct = format!(
            "Direct sound is at {metres:.1} m after {arrival_ms:.1} ms: the links are {:.1} ms \
             {order} it.",
            behind_ms.abs()
        );
        text.push_str(&look.wrap("", &direct));
    }
    text
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_sum_stands_below_the_links_with_its_limit_and_the_direct_sound() {
        let part = Part {
            link: "stage-box".into(),
            measurement: "measurements/1".into(),
            latency_ms: 19.4,
            uncertainty_ms: 0.01,
            jitter_ms: 0.0,
            end_time: Some("2026-11-25T15:00:00Z".parse().unwrap()),
            simulated: true,
        };
        let sum = Sum {
            latency_ms: 19.4,
            uncertainty_ms: 0.01,
            jitter_ms: 0.0,
            air_path_m: 6.658,
            limit_ms: Some(10.0),
            outcome: "FAIL",
            direct: Some((12.0, 34.965)),
        };
        let look = Look {
            width: 100,
            unicode: true,
            colour: false,
        };
        assert_eq!(
            render(&look, &[part], &sum),
            "  link       latency  ±      unit  measured\n  \
               stage-box   19.400  0.010  ms    2026-11-25 15:00:00 UTC, simulated\n\n\
             In a row: 19.400 ± 0.010 ms, as far as sound goes in 6.7 m of air (20 °C).\n\
             ✗ fail: the limit is 10 ms.\n\
             Direct sound is at 12.0 m after 35.0 ms: the links are 15.6 ms before it.\n"
        );
    }
}
