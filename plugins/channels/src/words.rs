//! What is bad about a plan, in sentences.

use goodwire_radio::band::Band;
use goodwire_radio::plan::{Flaw, Member};

use crate::air::Air;
use crate::chosen::{Carrier, Chosen};
use crate::settings::Settings;

/// MHz to 1 kHz, without zeros at its end.
pub fn mhz(mhz: f64) -> String {
    let text = format!("{mhz:.3}");
    let text = text.trim_end_matches('0').trim_end_matches('.');
    // Of -0.0001 the sign alone would be left.
    if text == "-0" {
        "0".to_owned()
    } else {
        text.to_owned()
    }
}

/// A level to 0.1 dB, without a zero at its end.
pub fn level(db: f64) -> String {
    let text = format!("{db:.1}");
    text.trim_end_matches(".0").to_owned()
}

/// A carrier by its channel and its link.
pub fn carrier(carrier: &Carrier) -> String {
    if carrier.link.is_empty() {
        return format!("channel {}", carrier.channel);
    }
    format!("channel {} ({})", carrier.channel, carrier.link)
}

/// Two carriers that overlap.
pub fn overlap(first: &str, second: &str, shared_mhz: f64) -> String {
    format!("{first} and {second} overlap by {} MHz", mhz(shared_mhz))
}

/// A channel that does not keep the clearance, beside whom.
pub fn occupied(who: &str, separation_mhz: f64, beside: &str, clearance_mhz: f64) -> String {
    if separation_mhz < 0.0 {
        return format!("{who} is {} MHz inside {beside}", mhz(-separation_mhz));
    }
    let (separation, clearance) = (mhz(separation_mhz), mhz(clearance_mhz));
    format!("{who} is {separation} MHz from {beside}, and {clearance} MHz were to be kept")
}

/// A product that comes too near, made of whom: added, added, taken.
pub fn product(victim: &str, made_of: [&str; 3], centre_mhz: f64, gap_mhz: f64) -> String {
    let [a, b, taken] = made_of;
    let sum = if a == b {
        format!("twice {a} less {taken}")
    } else {
        format!("{a} and {b} less {taken}")
    };
    let centre = mhz(centre_mhz);
    let place = if gap_mhz < 0.0 {
        format!("inside {victim}")
    } else {
        format!("{} MHz from {victim}", mhz(gap_mhz))
    };
    format!("the product of {sum} falls on {centre} MHz, {place}")
}

/// The name of what is nearest to a band, of the air and of the links of other tables.
pub fn nearest(chosen: &Chosen<'_>, air: &Air, band: &Band) -> String {
    let others = chosen.scene.others.iter();
    let others = others.map(|other| (other.band, format!("the link {}", other.link)));
    let heard = air.transmissions.iter().map(|one| &one.heard.occupant);
    let heard = heard.map(|occupant| (occupant.band, occupant.name.clone()));
    let gap_mhz = |one: &(Band, String)| band.gap_mhz(&one.0);
    let nearest = heard
        .chain(others)
        .min_by(|a, b| gap_mhz(a).total_cmp(&gap_mhz(b)));
    nearest.map_or_else(|| "what is occupied".to_owned(), |(_, name)| name)
}

/// Every flaw in a sentence.
pub fn flaws(chosen: &Chosen<'_>, air: &Air, settings: &Settings) -> Vec<String> {
    let who = |member: &Member| match member {
        Member::Fixed(place) => carrier(&chosen.staying[*place]),
        Member::Row(row) => {
            let place = chosen.rows.iter().position(|one| *one == Some(*row));
            let link = place.map(|place| chosen.scene.own[place].link.clone());
            let channel = &chosen.scene.table.channels()[*row];
            carrier(&Carrier {
                link: link.unwrap_or_default(),
                channel: channel.name.clone(),
                band: channel.band,
            })
        }
    };
    let sentence = |flaw: &Flaw| match flaw {
        Flaw::NotPlaced { link_count } => {
            let row_count = chosen.scene.table.channels().len();
            format!("{link_count} get no channel: the table has {row_count}")
        }
        Flaw::Overlap {
            first,
            second,
            shared_mhz,
        } => overlap(&who(first), &who(second), *shared_mhz),
        Flaw::Occupied {
            row,
            separation_mhz,
        } => {
            let beside = nearest(chosen, air, &chosen.scene.table.channels()[*row].band);
            let clearance_mhz = settings.rules.clearance_mhz;
            occupied(
                &who(&Member::Row(*row)),
                *separation_mhz,
                &beside,
                clearance_mhz,
            )
        }
        Flaw::Product {
            victim,
            made_of,
            centre_mhz,
            gap_mhz,
        } => {
            let [a, b, taken] = made_of.each_ref().map(who);
            product(&who(victim), [&a, &b, &taken], *centre_mhz, *gap_mhz)
        }
    };
    chosen.plan.flaws.iter().map(sentence).collect()
}
