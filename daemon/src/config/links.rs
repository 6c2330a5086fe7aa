//! `[[link]]`, `[reference]` and `[safety]`.

use std::{collections::BTreeMap, ops::Range};

use super::{
    section::Section,
    simulated,
    types::{LinkConfig, ReferenceConfig, SafetyConfig},
};
use crate::simulated::settings::LinkSettings;

/// A link as far as it could be read, beside the section that it was read from.
pub(super) struct LinkDraft<'t> {
    pub(super) section: Section<'t>,
    /// Empty where it is wrong.
    pub(super) name: String,
    /// `None` where it is wrong.
    pub(super) send: Option<usize>,
    /// `None` where it is wrong.
    pub(super) r#return: Option<usize>,
    /// The group that it belongs to; `None` where it belongs to none.
    pub(super) group: Option<String>,
    /// Name of its channel table; `None` where it has none.
    pub(super) channel_table: Option<String>,
    /// What its setup says it is set to; empty where that says nothing.
    pub(super) channel_now: String,
    /// Where that stands.
    pub(super) channel_span: Range<usize>,
    /// Its own ceiling in dBFS; `None` where it has none.
    pub(super) max_send_dbfs: Option<f64>,
    pad_db: f64,
    setup: BTreeMap<String, String>,
    pub(super) simulated: LinkSettings,
    /// Where `hears` stands.
    pub(super) hears_span: Range<usize>,
}

impl LinkDraft<'_> {
    /// The link; for drafts without a mistake.
    pub(super) fn finish(self, safety: &SafetyConfig) -> LinkConfig {
        LinkConfig {
            name: self.name,
            send: self.send.unwrap_or_default(),
            r#return: self.r#return.unwrap_or_default(),
            pad_db: self.pad_db,
            group: self.group,
            channel_table: self.channel_table,
            max_send_dbfs: self.max_send_dbfs.unwrap_or(safety.max_send_dbfs),
            setup: self.setup,
            simulated: self.simulated,
        }
    }
}

const NAME: &str =
    "a name of letters, digits, `-` and `_`, up to 63 of them, such as \"lectern\"; not `all`";
const CHANNEL_TABLE: &str = "the name of a [[channel_table]], such as channel_table = \"belt\"";
const GROUP: &str = "a name for the group, such as group = \"foyer\"";
const NAME_LENGTH_MAX: usize = 63;
/// A permit is for the night at hand, not for the season.
const PERMIT_HOURS_MAX: f64 = 168.0;
const CEILING_MIN_DBFS: f64 = -120.0;
const SETUP: &str = "a text in quotes, such as gain = \"-10\"";

/// Reads all links, right or wrong.
pub(super) fn read_links<'t>(
    file: &Section<'t>,
    rate_hz: u32,
    is_simulated: bool,
) -> Vec<LinkDraft<'t>> {
    let sections = file.sections("link", "[[link]]");
    sections
        .into_iter()
        .map(|section| read_link(section, rate_hz, is_simulated))
        .collect()
}

fn read_link(section: Section<'_>, rate_hz: u32, is_simulated: bool) -> LinkDraft<'_> {
    let name = section.need("name", section.text("name", NAME), "name = \"lectern\"");
    let name = name.filter(|name| {
        let good = is_link_name(name);
        if !good {
            section.wrong(
                "name",
                format!("\"{name}\" cannot be the name of a link"),
                NAME,
            );
        }
        good
    });
    let send = section.need("send", section.channel("send"), "send = 1");
    let r#return = section.need("return", section.channel("return"), "return = 1");
    let part = section.section("simulated", "[link.simulated]");
    if part.is_some() && !is_simulated {
        let wrong = "[link.simulated] belongs to the back end \"simulated\"";
        let right = "without it, or with backend = \"simulated\"";
        section.wrong("simulated", wrong, right);
    }
    let (simulated, hears_span) = part
        .map(|part| {
            let settings = simulated::read_link(&part, rate_hz);
            part.close();
            (settings, part.span_of("hears"))
        })
        .unwrap_or_default();
    let (setup, channel_span) = read_setup(&section);
    let draft = LinkDraft {
        name: name.unwrap_or_default().to_owned(),
        send,
        r#return,
        max_send_dbfs: section.number("max_send_dbfs", CEILING_MIN_DBFS..=0.0),
        pad_db: section.number_or("pad_db", 0.0..=120.0, 0.0),
        group: section.text("group", GROUP).map(str::to_owned),
        channel_table: section
            .text("channel_table", CHANNEL_TABLE)
            .map(|name| name.trim().to_owned()),
        channel_now: setup.get("channel").cloned().unwrap_or_default(),
        channel_span,
        setup,
        simulated,
        hears_span,
        section,
    };
    draft.section.close();
    draft
}

/// True for names that can stand in `links/{link}`, in lists with commas, and beside `all`.
fn is_link_name(name: &str) -> bool {
    let word = |c: char| c.is_ascii_alphanumeric() || c == '-' || c == '_';
    name.starts_with(|c: char| c.is_ascii_alphanumeric())
        && name.chars().all(word)
        && name.len() <= NAME_LENGTH_MAX
        && name != "all"
}

/// The setup, and where its `channel` stands.
fn read_setup(link: &Section<'_>) -> (BTreeMap<String, String>, Range<usize>) {
    let Some(section) = link.section("setup", "[link.setup]") else {
        return (BTreeMap::new(), 0..0);
    };
    let mut setup = BTreeMap::new();
    for (key, value) in section.entries() {
        // An empty text is allowed here: nobody has to know a serial number.
        match value.get_ref().as_str() {
            Some(text) => {
                setup.insert(key.to_owned(), text.to_owned());
            }
            None => drop(section.text_in(key, value, SETUP)),
        }
    }
    (setup, section.span_of("channel"))
}

/// Reads `[reference]`; its numbers are `None` where they are wrong.
pub(super) fn read_reference<'t>(
    file: &Section<'t>,
) -> Option<(Section<'t>, Option<usize>, Option<usize>)> {
    let section = file.section("reference", "[reference]")?;
    let send = section.need("send", section.channel("send"), "send = 2");
    let r#return = section.need("return", section.channel("return"), "return = 2");
    section.close();
    Some((section, send, r#return))
}

/// The reference; for one without a mistake.
pub(super) fn finish_reference(send: Option<usize>, r#return: Option<usize>) -> ReferenceConfig {
    ReferenceConfig {
        send: send.unwrap_or_default(),
        r#return: r#return.unwrap_or_default(),
    }
}

/// Reads `[safety]`. On real hardware the defaults are careful.
pub(super) fn read_safety(file: &Section<'_>, is_simulated: bool) -> SafetyConfig {
    let mut safety = SafetyConfig {
        max_send_dbfs: if is_simulated { 0.0 } else { -40.0 },
        unattended: is_simulated,
        permit_hours: None,
        quiet_dbfs: -50.0,
    };
    if let Some(section) = file.section("safety", "[safety]") {
        let ceiling_dbfs = CEILING_MIN_DBFS..=0.0;
        safety.max_send_dbfs =
            section.number_or("max_send_dbfs", ceiling_dbfs, safety.max_send_dbfs);
        safety.unattended = section.switch("unattended").unwrap_or(safety.unattended);
        safety.permit_hours = section.number("permit_hours", 0.01..=PERMIT_HOURS_MAX);
        safety.quiet_dbfs = section.number_or("quiet_dbfs", -200.0..=0.0, safety.quiet_dbfs);
        section.close();
    }
    safety
}
