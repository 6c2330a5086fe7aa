//! Channel plans in the report: which link is set to which channel, how every channel stands, and
//! the picture of it, which can also stand alone.

mod air;
mod alone;
mod draw;
mod panel;
mod picture;
mod region;
mod rows;
mod standing;
mod text;
mod words;

#[cfg(test)]
mod made_up;
#[cfg(test)]
mod tests;

use goodwire_proto::v1::{ChannelPlan, Measurement};

pub(crate) use alone::file;

use super::html::{Safe, list, scrolled};
use panel::Sign;
use standing::Standing;

/// What a measurement says of channels; `id` is unique in the page, `what` says whose they are.
/// Empty where it holds no plan.
pub(super) fn section(measurement: &Measurement, id: &str, what: &str) -> String {
    let Some(plan) = &measurement.channel_plan else {
        return String::new();
    };
    let flaws = plan.flaws.iter().map(|flaw| super::words::sentence(flaw));
    let flaws = flaws.chain(Some(words::left_out(plan)).filter(|text| !text.is_empty()));
    let flaws: Vec<String> = flaws.map(|flaw| Safe(&flaw).to_string()).collect();
    let picture = picture::of_plan(plan, &format!("{id}-plan"), &title(what));
    let picture = picture.map_or(String::new(), |picture| {
        scrolled(picture.title(), &picture.element("", ""))
    });
    format!(
        "<p>{}</p>\n{}{}{picture}{}",
        Safe(&words::outcome(plan)),
        list("said", &flaws),
        links(plan, &format!("Plan of {what}")),
        channels(measurement, plan, &format!("All channels, by rank: {what}")),
    )
}

/// What the picture of a plan is called.
pub(crate) fn title(what: &str) -> String {
    format!("{what}: bands over frequency")
}

/// Link by link.
fn links(plan: &ChannelPlan, caption: &str) -> String {
    let rows = plan.links.iter().enumerate().map(|(index, link)| {
        let channel = match (link.channel.as_str(), Sign::of(link)) {
            ("", _) => "no channel is left".to_owned(),
            (channel, Sign::Set) => format!("<strong>{}</strong>", Safe(channel)),
            (channel, Sign::Stay) => format!("{}, as it is", Safe(channel)),
            (channel, Sign::Fixed) => format!("{}, fixed", Safe(channel)),
        };
        let edges = link.low_mhz.zip(link.high_mhz);
        let place = edges.map_or(String::new(), |(low, high)| words::place(low, high));
        let clear = edges.map_or(String::new(), |(low, high)| words::nearest(plan, low, high));
        let name = words::link(plan, index);
        format!(
            "<tr><th scope=\"row\">{}</th><td>{}</td><td>{channel}</td>\
             <td class=\"number\">{place}</td><td class=\"what\">{}</td>\
             <td class=\"what\">{}</td></tr>\n",
            Safe(&name),
            Safe(&link.channel_now),
            Safe(&clear),
            Safe(&words::neighbour(plan, index)),
        )
    });
    let heads = [
        "Link",
        "Now",
        "Set it to",
        "MHz",
        "In the air",
        "Nearest link",
    ];
    table(caption, &heads, &rows.collect::<String>())
}

/// Channel by channel, the best first.
fn channels(measurement: &Measurement, plan: &ChannelPlan, caption: &str) -> String {
    let rows = standing::by_rank(measurement, plan).into_iter().map(|one| {
        let Standing {
            channel,
            rank,
            separation_mhz,
            overlap_percent,
            link_gap_mhz,
            gap_mhz,
        } = one;
        let number = |value: Option<f64>| value.map_or("–".to_owned(), text::mhz);
        let rank = number(rank);
        let numbers = [separation_mhz, overlap_percent, link_gap_mhz, gap_mhz].map(|one| {
            let told = number(one);
            format!("<td class=\"number\">{told}</td>")
        });
        format!(
            "<tr><td class=\"number\">{rank}</td><th scope=\"row\">{}</th>\
             <td class=\"number\">{}</td>{}<td>{}</td></tr>\n",
            Safe(&channel.name),
            words::place(channel.low_mhz, channel.high_mhz),
            numbers.concat(),
            Safe(&words::users(plan, channel)),
        )
    });
    let heads = [
        "Rank",
        "Channel",
        "MHz",
        "Separation (MHz)",
        "Overlap (%)",
        "From a link (MHz)",
        "From a product (MHz)",
        "Planned for",
    ];
    table(caption, &heads, &rows.collect::<String>())
}

fn table(caption: &str, heads: &[&str], rows: &str) -> String {
    let heads = heads
        .iter()
        .map(|head| format!("<th scope=\"col\">{head}</th>"))
        .collect::<String>();
    let table = format!(
        "<table class=\"channels\">\n<caption>{}</caption>\n<thead><tr>{heads}</tr></thead>\n\
         <tbody>\n{rows}</tbody>\n</table>\n",
        Safe(caption)
    );
    scrolled(caption, &table)
}
