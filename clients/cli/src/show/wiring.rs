//! What is plugged in where.

use goodwire_proto::v1::{Wiring, WiringPair};

use super::{
    Look,
    table::{Cell, Side, Table},
};

/// A line for each pair, then what is wrong.
pub fn render(look: &Look, wiring: &Wiring) -> String {
    let mut text = table(look, wiring);
    text.push('\n');
    if wiring.faults.is_empty() {
        text.push_str("All is as configured.");
    }
    for fault in &wiring.faults {
        text.push_str(&format!("{}: {}\n", fault.id, fault.text));
    }
    let mut text = text.trim_end().to_owned();
    if let Some(level_dbfs) = wiring.level_dbfs {
        text.push_str(&format!("\nThe loudest noise was at {level_dbfs:.0} dBFS."));
    }
    if wiring.simulated {
        text.push_str("\nMade on the simulated rig.");
    }
    text.push('\n');
    text
}

fn table(look: &Look, wiring: &Wiring) -> String {
    let mut table = Table::new([
        ("return", Side::Right),
        ("hears send", Side::Right),
        ("configured as", Side::Short),
        ("gain dB", Side::Right),
        ("delay ms", Side::Right),
        ("polarity", Side::Left),
        ("told at dBFS", Side::Right),
    ]);
    for pair in &wiring.pairs {
        table.row([
            Cell::from(pair.r#return.to_string()),
            send(pair).into(),
            name(pair).into(),
            number(pair.gain_db, 1).into(),
            number(pair.delay_ms, 2).into(),
            polarity(pair).into(),
            number(pair.level_dbfs, 0).into(),
        ]);
    }
    table.render(look)
}

fn send(pair: &WiringPair) -> String {
    match pair.heard {
        true => pair.send.to_string(),
        false => format!("not {}", pair.send),
    }
}

fn name(pair: &WiringPair) -> &str {
    match pair.name.rsplit('/').next() {
        Some("") | None => "-",
        Some(name) => name,
    }
}

fn polarity(pair: &WiringPair) -> &'static str {
    match (pair.heard, pair.inverted) {
        (false, _) => "-",
        (true, false) => "as it is",
        (true, true) => "swapped",
    }
}

fn number(value: Option<f64>, places: usize) -> String {
    value.map_or_else(|| "-".to_owned(), |value| format!("{value:.places$}"))
}

#[cfg(test)]
mod tests {
    use goodwire_proto::v1::WiringFault;

    use super::*;

    #[test]
    fn a_pair_that_is_not_heard_says_so_and_the_fault_stands_below() {
        let look = Look {
            width: 90,
            unicode: false,
            colour: false,
        };
        let pair = |send, r#return, name: &str, heard: bool| WiringPair {
            send,
            r#return,
            name: name.into(),
            heard,
            gain_db: heard.then_some(-3.04),
            delay_ms: heard.then_some(3.125),
            inverted: false,
            level_dbfs: heard.then_some(-80.0),
        };
        let wiring = Wiring {
            pairs: vec![
                pair(1, 1, "links/lectern", false),
                pair(2, 2, "reference", true),
            ],
            faults: vec![WiringFault {
                id: "missing".into(),
                text: "Return 1 hears nothing.".into(),
            }],
            level_dbfs: Some(-40.0),
            simulated: false,
        };
        assert_eq!(
            render(&look, &wiring),
            "  return  hears send  configured as  gain dB  delay ms  polarity  told at dBFS\n       \
                    1       not 1  lectern              -         -  -                    -\n       \
                    2           2  reference         -3.0      3.12  as it is           -80\n\n\
             missing: Return 1 hears nothing.\nThe loudest noise was at -40 dBFS.\n"
        );
    }
}
