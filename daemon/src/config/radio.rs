//! `[[channel_table]]` and `[radio]`: what links can be set to, and what is in the air beside them.

use std::path::{Path, PathBuf};

use goodwire_radio::{
    survey::{SurveyError, typed},
    table::{ROW_COUNT_MAX, Row},
    units,
};

use super::{links::LinkDraft, nearest::nearest, section::Section};

const TABLE_NAME: &str = "a name of up to 63 characters, such as name = \"belt\"";
const CHANNEL_NAME: &str =
    "what the link's display calls the channel, up to 63 characters, such as name = \"3\"";
const CENTRE: &str = "the centre in MHz from the link's manual, such as centre_mhz = 2424";
const BANDWIDTH: &str = "the bandwidth in MHz from the link's manual, such as bandwidth_mhz = 2";
const ROWS: &str = "a [[channel_table.channel]] with name, centre_mhz and bandwidth_mhz for each \
                    channel that the link's manual lists";
const BUDGET: &str = "both radiated_dbm and needed_dbm from the link's manual, or neither";
const OCCUPIED: &str = "a list of texts such as occupied = [\"1 20\", \"6 40+ office\", \
                        \"bluetooth\", \"band 470 478 television\"]";
const SURVEY: &str = "the name of a file, such as survey = \"survey.txt\"";
const NAME_LENGTH_MAX: usize = 63;

/// What links can be set to: the rows of a table from their manual.
#[derive(Debug, Clone, PartialEq)]
pub struct ChannelTableConfig {
    /// Its name.
    pub name: String,
    /// Its rows: at least one, names different, frequencies and widths that can be meant in MHz.
    pub rows: Vec<Row>,
    /// What a link with this table sends and needs; `None` where nobody said.
    pub budget: Option<BudgetConfig>,
}

impl ChannelTableConfig {
    /// The row of that name.
    #[must_use]
    pub fn row(&self, channel: &str) -> Option<&Row> {
        self.rows.iter().find(|row| row.name == channel.trim())
    }
}

/// What a link sends and needs, from its manual.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct BudgetConfig {
    /// Power with the gain of the transmitter's aerial, in dBm.
    pub radiated_dbm: f64,
    /// Gain of the receiver's aerial less its cable, in dB.
    pub receive_gain_db: f64,
    /// Least level with which the link works, in dBm.
    pub needed_dbm: f64,
}

/// What is in the air.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct RadioConfig {
    /// What is known to be there, a line each, as a survey that was typed.
    pub occupied: Vec<String>,
    /// The file with the last survey; `None`: there is none.
    pub survey: Option<SurveyFile>,
}

/// A file that somebody surveys the air into.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct SurveyFile {
    /// Where it is: beside the configuration, unless the path is absolute.
    pub path: PathBuf,
    /// How it is written.
    pub form: Option<SurveyForm>,
}

/// How a survey is written; `None` elsewhere: its text tells.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum SurveyForm {
    /// By hand.
    Typed,
    /// Levels over frequency.
    Spectrum,
    /// What `iw` prints.
    Scan,
}

/// A table as far as it could be read.
pub(super) struct TableDraft {
    table: ChannelTableConfig,
    /// Names of all rows, also of those that are wrong otherwise.
    row_names: Vec<String>,
}

impl TableDraft {
    /// The table; for drafts without a mistake.
    pub(super) fn finish(self) -> ChannelTableConfig {
        self.table
    }
}

/// Reads every `[[channel_table]]`.
pub(super) fn read_tables(file: &Section<'_>) -> Vec<TableDraft> {
    let mut drafts: Vec<TableDraft> = Vec::new();
    for section in file.sections("channel_table", "[[channel_table]]") {
        let name = read_name(&section, TABLE_NAME);
        if !name.is_empty() && drafts.iter().any(|one| one.table.name == name) {
            let wrong = format!("there are two channel tables \"{name}\"");
            section.wrong("name", wrong, "a name of its own for each");
        }
        let (rows, row_names) = read_rows(&section);
        let budget = read_budget(&section);
        section.close();
        drafts.push(TableDraft {
            table: ChannelTableConfig { name, rows, budget },
            row_names,
        });
    }
    drafts
}

/// A name without the spaces round it; empty where it is wrong.
fn read_name(section: &Section<'_>, right: &str) -> String {
    let name = section.need("name", section.text("name", right), right);
    let name = name.unwrap_or_default().trim();
    if name.chars().count() > NAME_LENGTH_MAX {
        section.wrong("name", "`name` is too long", right);
        return String::new();
    }
    name.to_owned()
}

fn read_rows(table: &Section<'_>) -> (Vec<Row>, Vec<String>) {
    let sections = table.sections("channel", "[[channel_table.channel]]");
    let list = table
        .value("channel")
        .and_then(|list| list.get_ref().as_array());
    if list.is_some_and(|list| list.is_empty()) {
        table.wrong("channel", "this table has no channel", ROWS);
    }
    table.need::<()>("channel", None, ROWS);
    if sections.len() > ROW_COUNT_MAX {
        let wrong = format!("there are {} channels in one table", sections.len());
        table.wrong("channel", wrong, format!("{ROW_COUNT_MAX} at most"));
    }
    let (mut rows, mut names) = (Vec::new(), Vec::new());
    for section in sections {
        let name = read_name(&section, CHANNEL_NAME);
        if !name.is_empty() && names.contains(&name) {
            let wrong = format!("two channels of this table are called \"{name}\"");
            section.wrong("name", wrong, "a name of its own for each channel");
        }
        let centre_mhz = read_mhz(&section, "centre_mhz", CENTRE, units::frequency_mhz);
        let bandwidth_mhz = read_mhz(&section, "bandwidth_mhz", BANDWIDTH, |mhz| {
            // How wide is too wide is not known where the centre is not.
            units::bandwidth_mhz(mhz, centre_mhz.unwrap_or(f64::MAX))
        });
        section.close();
        names.push(name.clone());
        if let (Some(centre_mhz), Some(bandwidth_mhz)) = (centre_mhz, bandwidth_mhz) {
            rows.push(Row {
                name,
                centre_mhz,
                bandwidth_mhz,
            });
        }
    }
    (rows, names)
}

/// A number of MHz that `check` takes; where it seems to be of another unit, that is asked.
fn read_mhz(
    section: &Section<'_>,
    key: &'static str,
    right: &str,
    check: impl Fn(f64) -> Result<f64, units::UnitError>,
) -> Option<f64> {
    let number = section.need(key, section.number(key, f64::MIN..=f64::MAX), right)?;
    let checked = check(number);
    checked
        .map_err(|error| tell(section, key, &error.to_string(), right))
        .ok()
}

/// Notes what `said` says of a key: what is wrong, a colon, and what would be right.
fn tell(section: &Section<'_>, key: &str, said: &str, right: &str) {
    let (wrong, right) = said.split_once(": ").unwrap_or((said, right));
    section.wrong(key, format!("`{key}`: {wrong}"), right);
}

fn read_budget(table: &Section<'_>) -> Option<BudgetConfig> {
    // 1 kW, and what a receiver without any noise would need in 1 Hz.
    let radiated_dbm = table.number("radiated_dbm", -60.0..=60.0);
    let needed_dbm = table.number("needed_dbm", -174.0..=0.0);
    let receive_gain_db = table.number("receive_gain_db", -60.0..=60.0);
    let keys = ["radiated_dbm", "needed_dbm", "receive_gain_db"];
    let is_begun = keys.iter().any(|key| table.has(key));
    for key in &keys[..2] {
        if is_begun {
            table.need::<()>(key, None, BUDGET);
        }
    }
    Some(BudgetConfig {
        radiated_dbm: radiated_dbm?,
        receive_gain_db: receive_gain_db.unwrap_or(0.0),
        needed_dbm: needed_dbm?,
    })
}

/// Reads `[radio]`; files are looked for in `folder`.
pub(super) fn read(file: &Section<'_>, folder: &Path) -> RadioConfig {
    let Some(section) = file.section("radio", "[radio]") else {
        return RadioConfig::default();
    };
    let mut occupied = Vec::new();
    for value in section.list("occupied", OCCUPIED).unwrap_or_default() {
        let Some(line) = section.text_in("occupied", value, OCCUPIED) else {
            continue;
        };
        match typed::parse(line) {
            Ok(_) => occupied.push(line.to_owned()),
            Err(error) => {
                let said = match error {
                    SurveyError::Line { what, .. } => what,
                    SurveyError::Empty { right } => format!("nothing is in it: {right}"),
                };
                let (wrong, right) = said.split_once(": ").unwrap_or((&said, OCCUPIED));
                let wrong = format!("\"{line}\" in `occupied`: {wrong}");
                let mistakes = section.mistakes;
                mistakes.wrong(value.span(), wrong, right.to_owned());
            }
        }
    }
    let path = section.text("survey", SURVEY);
    let form = section.choice("survey_form", &["typed", "spectrum", "scan"]);
    if section.has("survey_form") {
        section.need::<()>("survey", None, SURVEY);
    }
    section.close();
    let form = form.map(|form| match form {
        "typed" => SurveyForm::Typed,
        "spectrum" => SurveyForm::Spectrum,
        _ => SurveyForm::Scan,
    });
    let survey = path.map(|path| SurveyFile {
        path: folder.join(path),
        form,
    });
    RadioConfig { occupied, survey }
}

/// Holds what links say of their channels against the tables.
pub(super) fn check_links(links: &[LinkDraft<'_>], tables: &[TableDraft]) {
    for link in links {
        let Some(name) = &link.channel_table else {
            continue;
        };
        let Some(table) = tables.iter().find(|one| one.table.name == *name) else {
            let names = tables.iter().map(|one| one.table.name.as_str());
            let right = one_of(name, names, "a [[channel_table]] of this name");
            let wrong = format!("there is no channel table \"{name}\"");
            link.section.wrong("channel_table", wrong, right);
            continue;
        };
        let channel = link.channel_now.trim();
        let names = || table.row_names.iter().map(String::as_str);
        if !channel.is_empty() && !names().any(|one| one == channel) {
            let right = one_of(channel, names(), "a channel of this name in the table");
            let wrong = format!("the channel table \"{name}\" has no channel \"{channel}\"");
            let mistakes = link.section.mistakes;
            mistakes.wrong(link.channel_span.clone(), wrong, right);
        }
    }
}

/// What would be right: the nearest name, or all there are, or `none` where there is none.
fn one_of<'a>(name: &str, names: impl Iterator<Item = &'a str>, none: &str) -> String {
    let names: Vec<&str> = names.filter(|name| !name.is_empty()).collect();
    match nearest(name, names.iter().copied()) {
        Some(near) => format!("\"{near}\""),
        None if names.is_empty() => none.to_owned(),
        None => format!("one of \"{}\"", names.join("\", \"")),
    }
}
