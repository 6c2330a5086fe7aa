//! The rig's links.

use goodwire_proto::v1::Link;

use super::{
    Look, Mark, number,
    table::{Cell, Side, Table},
    time,
};

/// A table of links; below it, what each is made of and what was last said by each analysis.
pub fn render(look: &Look, links: &[Link]) -> String {
    if links.is_empty() {
        return "The rig has no links.\n".into();
    }
    let mut table = Table::new([
        ("link", Side::Short),
        ("send", Side::Right),
        ("return", Side::Right),
        ("pad dB", Side::Right),
        ("ceiling dBFS", Side::Right),
        ("gain dB", Side::Right),
        ("clips dBFS", Side::Right),
        ("verdict", Side::Left),
    ]);
    for link in links {
        let known = |value: Option<f64>| value.map_or_else(String::new, |v| format!("{v:.2}"));
        table.row([
            Cell::from(bare(link)),
            link.send.to_string().into(),
            link.r#return.to_string().into(),
            number::plain(link.pad_db).into(),
            number::plain(link.max_send_dbfs).into(),
            known(link.gain_db).into(),
            known(link.clip_point_dbfs).into(),
            Cell::mark(look, Mark::of_outcome(link.outcome)),
        ]);
    }
    let details: String = links.iter().map(|link| detail(look, link)).collect();
    format!("{}{details}", table.render(look))
}

fn bare(link: &Link) -> &str {
    link.name.trim_start_matches("links/")
}

/// Setup, match and last checks of one link; empty where there is nothing to tell.
fn detail(look: &Look, link: &Link) -> String {
    let mut setup: Vec<_> = link
        .setup
        .iter()
        .map(|(key, value)| format!("{key} {value}"))
        .collect();
    setup.sort();
    let mut text = String::new();
    if !setup.is_empty() {
        text.push_str(&look.wrap("  ", &setup.join(", ")));
    }
    let mut table = Table::new([("", Side::Left), ("", Side::Left), ("", Side::Left)]);
    for check in &link.checks {
        table.row([
            Cell::from(check.analysis.clone()),
            Cell::mark(look, Mark::of_state(check.state, check.outcome)),
            time::full(check.end_time.as_ref()).into(),
        ]);
    }
    text.push_str(&table.body(look));
    if text.is_empty() {
        return text;
    }
    let matched = if link.r#match.is_empty() {
        ""
    } else {
        " (matched)"
    };
    format!(
        "{}{text}",
        look.heading(&format!("{}{matched}", bare(link)))
    )
}

#[cfg(test)]
mod tests {
    use super::*;
    use goodwire_proto::v1::{LinkCheck, measurement::State, verdict::Outcome};

    #[test]
    fn links_show_wiring_verdict_and_last_checks() {
        let lectern = Link {
            name: "links/lectern".into(),
            send: 1,
            r#return: 1,
            pad_db: 40.0,
            max_send_dbfs: -20.0,
            gain_db: Some(-0.1),
            outcome: Outcome::Pass.into(),
            setup: [("channel".to_owned(), "2".to_owned())].into(),
            checks: vec![LinkCheck {
                analysis: "latency".into(),
                state: State::Succeeded.into(),
                outcome: Outcome::Pass.into(),
                end_time: Some("2026-11-25T09:00:00Z".parse().unwrap()),
                ..LinkCheck::default()
            }],
            ..Link::default()
        };
        let foyer = Link {
            name: "links/foyer".into(),
            send: 2,
            r#return: 3,
            ..Link::default()
        };
        let look = Look {
            width: 80,
            unicode: true,
            colour: false,
        };
        assert_eq!(
            render(&look, &[lectern, foyer]),
            "  link     send  return  pad dB  ceiling dBFS  gain dB  verdict\n  \
               lectern     1       1      40           -20    -0.10  ✓ pass\n  \
               foyer       2       3       0             0           · no limits\n\
             \nlectern\n  \
               channel 2\n  \
               latency  ✓ pass  2026-11-25 09:00:00 UTC\n"
        );
        assert_eq!(render(&look, &[]), "The rig has no links.\n");
    }
}
