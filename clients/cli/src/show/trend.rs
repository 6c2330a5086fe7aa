//! A figure over the weeks, with its trend.

use goodwire_proto::v1::GetTrendResponse;

use super::{Look, plot, time};

/// The trend in a sentence, then the figure over time.
pub fn render(look: &Look, figure: &str, trend: &GetTrendResponse) -> String {
    let first = trend.points.first().and_then(|point| point.time.as_ref());
    let last = trend.points.last().and_then(|point| point.time.as_ref());
    let span = first.zip(last).map_or_else(String::new, |(first, last)| {
        format!("{} to {}", time::parts(first).0, time::parts(last).0)
    });
    let title = format!("{figure}, {} points, {span}", trend.points.len());
    let sentence = look.wrap("  ", &trend.text);
    format!("{title}\n{sentence}\n{}", plot::history(look, trend))
}
