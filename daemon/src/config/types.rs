//! What a configuration says, checked: plain values that need no further checks.
//!
//! Levels are in dBFS of the waveform's peak, sends and returns count from 1.

use std::collections::BTreeMap;

use jiff::SignedDuration;
use prost_types::Struct;

use super::{ChannelTableConfig, MessagesConfig, RadioConfig};
use crate::rounds::Schedule;
use crate::simulated::settings::{LinkSettings, PathSettings, RigSettings};

/// A whole configuration file.
#[derive(Debug, Clone, PartialEq)]
pub struct Config {
    /// The site's name.
    pub site: String,
    /// The audio interface.
    pub interface: InterfaceConfig,
    /// The plain cable that links are compared with; `None`: the rig has none.
    pub reference: Option<ReferenceConfig>,
    /// The links, in the order of the file. May be none.
    pub links: Vec<LinkConfig>,
    /// What links can be set to, in the order of the file.
    pub channel_tables: Vec<ChannelTableConfig>,
    /// What is in the air.
    pub radio: RadioConfig,
    /// What may be played, and when.
    pub safety: SafetyConfig,
    /// The limits, in the order of the file.
    pub limits: Vec<LimitConfig>,
    /// The rounds, in the order of the file.
    pub rounds: Vec<RoundConfig>,
    /// Curves of measurements older than so many days are dropped; `None`: all are kept.
    pub keep_curves_days: Option<u32>,
    /// Who is told of runs; `None`: nobody.
    pub messages: Option<MessagesConfig>,
    /// Where the page and the metrics are served, `HOST:PORT` on loopback; `None`: nowhere.
    pub page_listen: Option<String>,
    /// BLAKE3 hash of the file's text, in hexadecimal.
    pub hash: String,
}

/// The audio interface.
#[derive(Debug, Clone, PartialEq)]
pub struct InterfaceConfig {
    /// The back end with its own settings.
    pub backend: Backend,
    /// Rate in Hz, from 44100 to 192000.
    pub rate_hz: u32,
    /// How many sends there are: as stated, else the length of `[interface.jack] sends`, else as
    /// many as the highest number in use.
    pub send_count: usize,
    /// How many returns there are, found in the same way.
    pub return_count: usize,
}

/// The back end of the interface.
#[derive(Debug, Clone, PartialEq)]
pub enum Backend {
    /// The built-in interface with simulated links.
    Simulated(SimulatedConfig),
    /// A JACK server.
    Jack(JackConfig),
    /// Two ALSA devices.
    Alsa(AlsaConfig),
}

impl Backend {
    /// `simulated`, `jack` or `alsa`.
    #[must_use]
    pub fn name(&self) -> &'static str {
        match self {
            Self::Simulated(_) => "simulated",
            Self::Jack(_) => "jack",
            Self::Alsa(_) => "alsa",
        }
    }

    /// True for the simulated rig: nobody can be hurt or disturbed there.
    #[must_use]
    pub fn is_simulated(&self) -> bool {
        matches!(self, Self::Simulated(_))
    }
}

/// What the simulated interface is like.
#[derive(Debug, Clone, PartialEq)]
pub struct SimulatedConfig {
    /// What paces the frames.
    pub time: SimulatedTime,
    /// What happens to the interface as a whole.
    pub rig: RigSettings,
    /// Sends that are not plain, by number.
    pub sends: BTreeMap<usize, PathSettings>,
    /// Returns that are not plain, by number.
    pub returns: BTreeMap<usize, PathSettings>,
}

/// What paces the frames of the simulated interface.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum SimulatedTime {
    /// As fast as they are computed.
    Virtual,
    /// The machine's clock.
    Real,
}

/// Which ports of the JACK graph the sends and returns belong to.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct JackConfig {
    /// The k-th send is connected to the k-th port. Empty: no send is connected to anything.
    pub sends: Vec<String>,
    /// The k-th return is connected from the k-th port. Empty: no return is connected.
    pub returns: Vec<String>,
}

/// ALSA devices, by the ids that `devices` prints.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct AlsaConfig {
    /// The device that plays.
    pub playback: String,
    /// The device that captures.
    pub capture: String,
}

/// The plain cable beside the links.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct ReferenceConfig {
    /// The send that feeds it.
    pub send: usize,
    /// The return that hears it.
    pub r#return: usize,
}

/// One link.
#[derive(Debug, Clone, PartialEq)]
pub struct LinkConfig {
    /// Its name, without `links/`.
    pub name: String,
    /// The send that feeds its transmitter.
    pub send: usize,
    /// The return that hears its receiver.
    pub r#return: usize,
    /// A known attenuator between send and transmitter in dB, 0 or more.
    pub pad_db: f64,
    /// The group of links that limits can name; `None`: it belongs to none.
    pub group: Option<String>,
    /// Name of the channel table that says what it can be set to; `None`: nobody said.
    pub channel_table: Option<String>,
    /// Highest allowed peak of this link's stimulus in dBFS: its own, else the rig's.
    /// What a send may play is [`Config::send_ceiling_dbfs`].
    pub max_send_dbfs: f64,
    /// What the link is made of and how its switches stand, in free text.
    pub setup: BTreeMap<String, String>,
    /// What the link does to the sound on the simulated rig.
    pub simulated: LinkSettings,
}

/// What may be played, and when.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SafetyConfig {
    /// Highest allowed peak of every send in dBFS.
    pub max_send_dbfs: f64,
    /// True where sound may be played with nobody present.
    pub unattended: bool,
    /// Sound with nobody present needs a permit that is no older than so many hours; `None`: it
    /// needs none.
    pub permit_hours: Option<f64>,
    /// The returns are quiet while no 100 ms RMS is above this many dBFS.
    pub quiet_dbfs: f64,
}

/// What a figure must satisfy: at least one of `min`, `max` and `drift`; or what a whole curve must.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct LimitConfig {
    /// Name of the link; `None`: every link, or every one of the group.
    pub link: Option<String>,
    /// The group of links that is meant; `None`: no group.
    pub group: Option<GroupConfig>,
    /// Id of the analysis.
    pub analysis: String,
    /// Id of the figure; empty for a limit of a curve.
    pub figure: String,
    /// What the curve must satisfy; `None` for a limit of a figure.
    pub curve: Option<CurveLimit>,
    /// Which figures or curves of that id: those that agree on every key. Empty: all.
    pub at: BTreeMap<String, AtValue>,
    /// The least allowed, in the figure's unit.
    pub min: Option<f64>,
    /// The most allowed, in the figure's unit.
    pub max: Option<f64>,
    /// Allowed change from the baseline, in the figure's or curve's unit, 0 or more.
    pub drift: Option<f64>,
    /// A trend that reaches the limit within so many weeks is told; `None`: 8.
    pub horizon_weeks: Option<f64>,
}

impl LimitConfig {
    /// Id of the figure or curve that is meant.
    #[must_use]
    pub fn subject(&self) -> &str {
        self.curve.as_ref().map_or(&self.figure, |curve| &curve.id)
    }
}

/// Links that a limit names together.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct GroupConfig {
    /// Its name.
    pub name: String,
    /// Names of its links, without `links/`, in the order of the file.
    pub links: Vec<String>,
}

/// What a whole curve must satisfy: at least one of `upper`, `lower` and the limit's `drift`.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct CurveLimit {
    /// Id of the curve.
    pub id: String,
    /// The most allowed as corners x and y, x rising: none, or two and more. Outside of them
    /// everything is allowed.
    pub upper: Vec<[f64; 2]>,
    /// The least allowed, as `upper`.
    pub lower: Vec<[f64; 2]>,
    /// Id of the figure whose value is subtracted from the curve first.
    pub re: Option<String>,
    /// From where to where drift counts, rising; `None`: wherever the baseline has the curve.
    pub drift_range: Option<[f64; 2]>,
}

/// A named list of checks over links.
#[derive(Debug, Clone, PartialEq)]
pub struct RoundConfig {
    /// Its name, without `rounds/`.
    pub name: String,
    /// When it is due.
    pub schedule: Schedule,
    /// How late a due date may still be run.
    pub catch_up: SignedDuration,
    /// Names of the links that it checks; `None`: all.
    pub links: Option<Vec<String>>,
    /// What is checked on each link, in order.
    pub checks: Vec<CheckConfig>,
}

/// One analysis of a round.
#[derive(Debug, Clone, PartialEq)]
pub struct CheckConfig {
    /// Id of the analysis.
    pub analysis: String,
    /// Its parameters, not yet held against its schema.
    pub parameters: Struct,
}

/// A value of `at`.
#[derive(Debug, Clone, PartialEq)]
pub enum AtValue {
    /// A finite number.
    Number(f64),
    /// A name.
    Text(String),
}

impl Config {
    /// The link of that name, with or without `links/` before it.
    #[must_use]
    pub fn link(&self, name: &str) -> Option<&LinkConfig> {
        let bare = name.strip_prefix("links/").unwrap_or(name);
        self.links.iter().find(|link| link.name == bare)
    }

    /// The channel table of a link; `None` where it has none.
    #[must_use]
    pub fn channel_table(&self, link: &LinkConfig) -> Option<&ChannelTableConfig> {
        let name = link.channel_table.as_ref()?;
        self.channel_tables.iter().find(|table| table.name == *name)
    }

    /// The round of that name, with or without `rounds/` before it.
    #[must_use]
    pub fn round(&self, name: &str) -> Option<&RoundConfig> {
        let bare = name.strip_prefix("rounds/").unwrap_or(name);
        self.rounds.iter().find(|round| round.name == bare)
    }

    /// Highest allowed peak of a send in dBFS: the lowest of the rig's and of every link's on it.
    #[must_use]
    pub fn send_ceiling_dbfs(&self, send: usize) -> f64 {
        self.links
            .iter()
            .filter(|link| link.send == send)
            .map(|link| link.max_send_dbfs)
            .fold(self.safety.max_send_dbfs, f64::min)
    }
}
