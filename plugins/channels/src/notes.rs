//! What has to be known to read a plan rightly.

use goodwire_plugin_sdk::api::channel_plan::Certainty;
use goodwire_plugin_sdk::api::{ChannelPlan, Note};
use goodwire_plugin_sdk::figures::{info, warning};
use goodwire_radio::table::Overlaps;

use crate::air::Air;
use crate::chosen::Chosen;
use crate::settings::Settings;
use crate::staying;
use crate::told::OCCUPIED_TOLD;

/// Most characters of what is joined: a note holds 4000 bytes.
const JOINED_CHARACTERS: usize = 900;

/// Sentences after each other, as many as fit, and how many more there are.
pub fn joined(sentences: &[String]) -> String {
    let mut text = String::new();
    for (index, sentence) in sentences.iter().enumerate() {
        let is_full = text.chars().count() + sentence.chars().count() > JOINED_CHARACTERS;
        if index > 0 && is_full {
            let more = sentences.len() - index;
            return format!("{text}; and {more} more");
        }
        if index > 0 {
            text.push_str("; ");
        }
        text.extend(sentence.chars().take(JOINED_CHARACTERS));
    }
    text
}

/// All notes but that of the reach.
pub fn all(chosen: &Chosen<'_>, air: &Air, settings: &Settings, plan: &ChannelPlan) -> Vec<Note> {
    let mut notes = vec![law(&chosen.scene.table_name)];
    notes.extend(air.notes.iter().cloned());
    notes.extend(
        chosen
            .scene
            .table
            .overlaps()
            .map(|overlaps| overlapping(&overlaps)),
    );
    notes.extend(unset(&chosen.scene.unset));
    notes.extend(not_all(plan));
    notes.extend(heuristic(plan, chosen));
    let troubles = staying::troubles(chosen, air, settings);
    if !troubles.is_empty() {
        let text = format!(
            "of the links that stay where they are: {}",
            joined(&troubles)
        );
        notes.push(warning("links-that-stay", text));
    }
    if air.transmissions.len() > OCCUPIED_TOLD {
        let count = air.transmissions.len();
        let text =
            format!("of {count} occupied bands {OCCUPIED_TOLD} are listed; all of them count");
        notes.push(info("occupied-left-out", text));
    }
    notes
}

fn law(table: &str) -> Note {
    let text = format!(
        "what may be used where, at which power and by whom, is the law of the place, and it \
         changes: ask the local regulator, and keep to the maker's setting for the region; only \
         channels of the table \"{table}\" are ever proposed, and one that is free of all that is \
         known here may still be in use: listen before the show"
    );
    info("law-of-the-place", text)
}

fn overlapping(overlaps: &Overlaps) -> Note {
    let pairs = overlaps.told.iter();
    let told: Vec<String> = pairs.map(|[a, b]| format!("{a} and {b}")).collect();
    let more = overlaps.pair_count - told.len();
    let more = if more > 0 {
        format!(", and {more} more")
    } else {
        String::new()
    };
    let text = format!(
        "channels of the table overlap and are never planned together: {}{more}; right on purpose \
         in many tables, else look at their widths again",
        told.join(", ")
    );
    warning("overlapping-rows", text)
}

fn unset(links: &[String]) -> Option<Note> {
    (!links.is_empty()).then(|| {
        let text = format!(
            "nobody said what {} with another table is set to, so that it is not counted: write \
             channel = \"...\" under its [link.setup]",
            links.join(", ")
        );
        warning("links-unset", text)
    })
}

fn not_all(plan: &ChannelPlan) -> Option<Note> {
    (!plan.flaws.is_empty()).then(|| {
        let (fitting, wanted) = (plan.fitting_count, plan.wanted_count);
        let at_least = match plan.fitting_certainty() {
            Certainty::Heuristic => "at least ",
            _ => "",
        };
        let text = format!(
            "{at_least}{fitting} of {wanted} links fit cleanly; this is the least bad plan for all \
             of them: {}",
            joined(&plan.flaws)
        );
        warning("not-all-fit", text)
    })
}

fn heuristic(plan: &ChannelPlan, chosen: &Chosen<'_>) -> Option<Note> {
    (plan.certainty() == Certainty::Heuristic).then(|| {
        let bound = chosen.plan.separation_mhz_bound;
        let bound = bound.map(|mhz| {
            let mhz = crate::words::mhz(mhz);
            format!("; no clean plan keeps more than {mhz} MHz from what is occupied")
        });
        let text = format!(
            "there are too many choices to look at all of them: a heuristic found this plan, and a \
             better one may exist{}",
            bound.unwrap_or_default()
        );
        info("heuristic", text)
    })
}
