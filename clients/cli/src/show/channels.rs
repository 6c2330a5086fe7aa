//! A channel plan: which link is set to which channel, how every channel stands, and the bands as
//! plain characters.

mod bands;
mod standing;
mod words;

use goodwire_proto::v1::{ChannelPlan, Figure, Measurement, PlannedLink};

use super::{
    Look, number,
    table::{Side, Table},
};

pub use bands::picture;
pub use standing::channel_of;

/// What the plan comes to, link by link, and every channel by its rank.
pub fn render(look: &Look, plan: &ChannelPlan, figures: &[Figure]) -> String {
    let mut text = look.wrap("", &words::outcome(plan));
    for flaw in &plan.flaws {
        text.push_str(&look.wrap("  ! ", flaw));
    }
    text.push('\n');
    text.push_str(&links(look, plan));
    text.push_str(&look.heading("Channels, the best first"));
    text + &channels(look, plan, figures)
}

/// The figures that stand for the whole plan, and not for one of its channels.
pub fn of_the_whole(measurement: &Measurement) -> Vec<Figure> {
    let figures = measurement.figures.iter();
    let whole = figures.filter(|figure| channel_of(figure).is_none());
    whole.cloned().collect()
}

fn links(look: &Look, plan: &ChannelPlan) -> String {
    let mut table = Table::new([
        ("link", Side::Left),
        ("now", Side::Left),
        ("set it to", Side::Left),
        ("MHz", Side::Right),
        ("to next", Side::Right),
        ("in the air", Side::Short),
    ]);
    for (index, link) in plan.links.iter().enumerate() {
        let edges = link.low_mhz.zip(link.high_mhz);
        let told = |tell: &dyn Fn(f64, f64) -> String| {
            edges.map_or_else(String::new, |(low, high)| tell(low, high))
        };
        table.row([
            words::link(plan, index),
            link.channel_now.clone(),
            set_to(link),
            told(&|low, high| words::mhz(0.5 * (low + high))),
            words::to_next_link(plan, index),
            told(&|low, high| words::nearest(plan, low, high)),
        ]);
    }
    let meaning = "All in MHz; `to next`: to the nearest other link, negative where they overlap.";
    table.render(look) + &look.wrap("  ", meaning)
}

fn set_to(link: &PlannedLink) -> String {
    match link.channel.as_str() {
        "" => "none left".to_owned(),
        channel if link.is_fixed => format!("{channel} (fixed)"),
        channel if link.channel == link.channel_now => format!("{channel} (stays)"),
        channel => channel.to_owned(),
    }
}

fn channels(look: &Look, plan: &ChannelPlan, figures: &[Figure]) -> String {
    let mut table = Table::new([
        ("rank", Side::Right),
        ("channel", Side::Left),
        ("MHz", Side::Right),
        ("separation", Side::Right),
        ("overlap %", Side::Right),
        ("to link", Side::Right),
        ("to product", Side::Right),
        ("for", Side::Left),
    ]);
    for one in standing::by_rank(plan, figures) {
        let number = |value: Option<f64>| value.map_or_else(|| "-".to_owned(), words::mhz);
        let channel = one.channel;
        table.row([
            number(one.rank),
            channel.name.clone(),
            words::mhz(0.5 * (channel.low_mhz + channel.high_mhz)),
            number(one.separation_mhz),
            one.overlap_percent
                .map_or_else(|| "-".to_owned(), number::plain),
            number(one.link_gap_mhz),
            number(one.gap_mhz),
            words::users(plan, channel),
        ]);
    }
    table.render(look)
}

#[cfg(test)]
mod tests {
    use goodwire_proto::v1::{OccupiedBand, RadioChannel, channel_plan::Certainty};
    use prost_types::{Struct, Value, value::Kind};

    use super::*;

    pub(super) const LOOK: Look = Look {
        width: 80,
        unicode: true,
        colour: false,
    };

    fn figure(id: &str, channel: &str, value: f64) -> Figure {
        let kind = Some(Kind::StringValue(channel.into()));
        let at = Struct {
            fields: [("channel".to_owned(), Value { kind })].into(),
        };
        Figure {
            id: id.into(),
            value: Some(value),
            at: Some(at),
            ..Figure::default()
        }
    }

    /// Three channels of 1 MHz beside Wi-Fi channel 6, for two links of a rig and a third.
    pub(super) fn plan() -> ChannelPlan {
        let channel = |name: &str, centre_mhz: f64| RadioChannel {
            name: name.into(),
            low_mhz: centre_mhz - 0.5,
            high_mhz: centre_mhz + 0.5,
        };
        let channels = vec![
            channel("A", 2424.0),
            channel("B", 2436.0),
            channel("C", 2449.0),
        ];
        let link = |link: &str, index: usize, now: &str| {
            let channel: &RadioChannel = &channels[index];
            PlannedLink {
                link: link.into(),
                channel: channel.name.clone(),
                low_mhz: Some(channel.low_mhz),
                high_mhz: Some(channel.high_mhz),
                channel_now: now.into(),
                is_fixed: false,
            }
        };
        let without = PlannedLink::default();
        let mut plan = ChannelPlan {
            links: vec![
                link("links/lectern", 2, "B"),
                link("links/choir", 0, "A"),
                without,
            ],
            occupied: vec![OccupiedBand {
                name: "Wi-Fi channel 6, 20 MHz".into(),
                low_mhz: 2427.0,
                high_mhz: 2447.0,
                level_dbm: Some(-52.0),
                origin: "configuration".into(),
            }],
            channels,
            product_mhz: vec![2399.0, 2474.0],
            fitting_count: 2,
            wanted_count: 3,
            flaws: vec!["one link has no channel: the table has 3, and 2 are clear".into()],
            ..ChannelPlan::default()
        };
        plan.set_certainty(Certainty::Exact);
        plan.set_fitting_certainty(Certainty::Exact);
        plan
    }

    #[test]
    fn a_plan_says_what_to_set_how_clear_it_is_and_how_every_channel_stands() {
        let figures = [
            figure("rank", "C", 1.0),
            figure("separation", "C", 1.5),
            figure("overlap", "C", 0.0),
            figure("link_gap", "C", 24.0),
            figure("intermodulation_gap", "C", 25.0),
            figure("rank", "B", 3.0),
            figure("overlap", "B", 100.0),
            figure("rank", "A", 2.0),
        ];
        assert_eq!(
            render(&LOOK, &plan(), &figures),
            "\
2 of 3 links fit cleanly, and this is the least bad plan for all; everything was
searched: no plan is better.
  ! one link has no channel: the table has 3, and 2 are clear

  link            now  set it to   MHz  to next  in the air
  lectern         B    C          2449       24  1.5 above Wi-Fi channel 6, 20 …
  choir           A    A (stays)  2424       24  2.5 below Wi-Fi channel 6, 20 …
  further link 1       none left
  All in MHz; `to next`: to the nearest other link, negative where they overlap.

Channels, the best first
  rank  channel   MHz  separation  overlap %  to link  to product  for
     1  C        2449         1.5          0       24          25  lectern
     2  A        2424           -          -        -           -  choir
     3  B        2436           -        100        -           -
"
        );
    }

    #[test]
    fn figures_of_channels_are_not_told_twice() {
        let reach = Figure {
            id: "reach".into(),
            ..Figure::default()
        };
        let measurement = Measurement {
            figures: vec![figure("rank", "A", 1.0), reach.clone()],
            ..Measurement::default()
        };
        assert_eq!(of_the_whole(&measurement), [reach]);
    }
}
