//! The configuration: one TOML file. All mistakes are told at once, each with its place and with
//! what would be right.
//!
//! `toml` with `serde` would report the first mistake alone, so the spanned tables are read here
//! key by key: a wrong value is noted, replaced by a default, and reading goes on.

mod declared;
mod interface;
mod limits;
mod links;
mod masks;
mod messages;
mod mistakes;
mod nearest;
mod radio;
mod rounds;
mod section;
mod simulated;
mod types;
mod wiring;

#[cfg(test)]
mod tests;

use std::{net::ToSocketAddrs, path::Path};

use goodwire_proto::v1::Analysis;
use toml::de::DeTable;

pub use messages::{
    MailConfig, MailTls, MessagesConfig, MessagesWhen, Secret, WAY_NAMES, WebhookConfig,
};
pub use mistakes::{ConfigErrors, ConfigMistake};
pub use nearest::nearest;
pub use radio::{BudgetConfig, ChannelTableConfig, RadioConfig, SurveyFile, SurveyForm};
pub use types::{
    AlsaConfig, AtValue, Backend, CheckConfig, Config, CurveLimit, GroupConfig, InterfaceConfig,
    JackConfig, LimitConfig, LinkConfig, ReferenceConfig, RoundConfig, SafetyConfig,
    SimulatedConfig, SimulatedTime,
};

use mistakes::Mistakes;
use section::Section;

const LISTEN: &str = "an address on loopback, such as listen = \"127.0.0.1:9480\"; other machines \
                      reach it through an SSH tunnel or a proxy that protects it";

/// A hundred years.
const KEEP_DAYS_MAX: u64 = 36_500;

/// The least that works, for whoever begins with nothing.
const LEAST: &str = r#"at least this:
site = "lantern-cellar"

[interface]
backend = "simulated"
time = "virtual"
rate = 48000

[[link]]
name = "lectern"
send = 1
return = 1"#;

impl Config {
    /// Reads and checks a configuration file. Limits are held against what the installed
    /// `analyses` say they can give.
    ///
    /// # Errors
    /// [`ConfigErrors`] with every mistake, or saying why the file cannot be read.
    pub fn load(path: &Path, analyses: &[Analysis]) -> Result<Self, ConfigErrors> {
        let file = path.display().to_string();
        let unreadable = |text| ConfigErrors::Unreadable {
            file: file.clone(),
            text,
        };
        let bytes = std::fs::read(path).map_err(|error| unreadable(error.to_string()))?;
        match String::from_utf8(bytes) {
            Ok(text) => Self::parse(&text, &file, analyses),
            Err(error) => {
                let at = error.utf8_error().valid_up_to();
                let text = String::from_utf8_lossy(error.as_bytes()).into_owned();
                let mistakes = Mistakes::default();
                let right = "a text file in UTF-8, as every editor can write it";
                mistakes.writing(at..at + 1, "this is not UTF-8".to_owned(), right.to_owned());
                Err(ConfigErrors::Mistakes {
                    file,
                    mistakes: mistakes.place(&text),
                })
            }
        }
    }

    /// Checks the text of a configuration; `file_name` is for the messages, `analyses` are those
    /// that are installed.
    ///
    /// # Errors
    /// [`ConfigErrors::Mistakes`] with every mistake.
    pub fn parse(text: &str, file_name: &str, analyses: &[Analysis]) -> Result<Self, ConfigErrors> {
        let (table, errors) = DeTable::parse_recoverable(text);
        let mistakes = Mistakes::default();
        wiring::note_writing(&errors, &mistakes);
        let config = if table.get_ref().is_empty() && errors.is_empty() {
            let wrong = "there is nothing in this file".to_owned();
            mistakes.missing(0..0, wrong, LEAST.to_owned());
            None
        } else {
            let file = Section::new("", table.get_ref(), 0..0, &mistakes);
            let folder = Path::new(file_name).parent().unwrap_or(Path::new(""));
            read_file(&file, text, folder, analyses)
        };
        let mistakes = mistakes.place(text);
        match config {
            Some(config) if mistakes.is_empty() => Ok(config),
            _ => Err(ConfigErrors::Mistakes {
                file: file_name.to_owned(),
                mistakes,
            }),
        }
    }
}

/// Reads everything; what it gives counts only where no mistake was noted.
fn read_file(
    file: &Section<'_>,
    text: &str,
    folder: &Path,
    analyses: &[Analysis],
) -> Option<Config> {
    let right = "a name for the site, such as site = \"lantern-cellar\"";
    let site = file.need("site", file.text("site", right), right);
    let interface = interface::read(file);
    // Where the back end is not known, nothing is held against the links for it.
    let backend = interface.as_ref().and_then(|draft| draft.backend.as_ref());
    let is_simulated = backend.is_none_or(Backend::is_simulated);
    let rate_hz = interface.as_ref().map_or(192_000, |draft| draft.rate_hz);
    let reference = links::read_reference(file);
    let links = links::read_links(file, rate_hz, is_simulated);
    let tables = radio::read_tables(file);
    let radio = radio::read(file, folder);
    let safety = links::read_safety(file, is_simulated);
    let limits = limits::read(file, &links, analyses);
    let rounds = rounds::read(file, &links);
    let keep_curves_days = read_store(file);
    let messages = messages::read(file);
    let page_listen = read_page(file);
    file.close();
    wiring::check_names(&links);
    radio::check_links(&links, &tables);
    wiring::check_ceilings(&links, &safety);
    let interface = interface?;
    let counts = wiring::check(&interface, reference.as_ref(), &links);
    Some(Config {
        site: site?.to_owned(),
        interface: InterfaceConfig {
            backend: interface.backend?,
            rate_hz: interface.rate_hz,
            send_count: counts.send_count,
            return_count: counts.return_count,
        },
        reference: reference.map(|(_, send, ret)| links::finish_reference(send, ret)),
        links: links.into_iter().map(|link| link.finish(&safety)).collect(),
        channel_tables: tables.into_iter().map(radio::TableDraft::finish).collect(),
        radio,
        safety,
        limits,
        rounds,
        keep_curves_days,
        messages,
        page_listen,
        hash: blake3::hash(text.as_bytes()).to_hex().to_string(),
    })
}

/// Reads `[store]`: for how many days curves are kept.
fn read_store(file: &Section<'_>) -> Option<u32> {
    let section = file.section("store", "[store]")?;
    let days = section.whole("keep_curves_days", 1..=KEEP_DAYS_MAX);
    section.close();
    days.and_then(|days| u32::try_from(days).ok())
}

/// Reads `[page]`.
fn read_page(file: &Section<'_>) -> Option<String> {
    let section = file.section("page", "[page]")?;
    let listen = section.need("listen", section.text("listen", LISTEN), LISTEN);
    if let Some(wrong) = listen.filter(|listen| !is_loopback(listen)) {
        section.wrong("listen", format!("\"{wrong}\" cannot be served"), LISTEN);
    }
    section.close();
    listen.map(str::to_owned)
}

fn is_loopback(listen: &str) -> bool {
    let addresses = listen.to_socket_addrs();
    addresses.is_ok_and(|mut all| all.all(|address| address.ip().is_loopback()))
}
