//! The table, the links that have it, and those with another.

use goodwire_plugin_sdk::parameters::violation;
use goodwire_plugin_sdk::payload::{Radio, RadioRow};
use goodwire_plugin_sdk::{Failure, OpenError};
use goodwire_radio::band::Band;
use goodwire_radio::plan::LINK_COUNT_MAX;
use goodwire_radio::table::{Row, Table};

use crate::settings::Settings;

/// A link with the table that is planned from.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Own {
    /// Its bare name; empty for one that is not in the configuration yet.
    pub link: String,
    /// The row of the table that it is set to now, from 0.
    pub now: Option<usize>,
}

/// A link with another table that is set to a channel there: a carrier that stays.
#[derive(Debug, Clone, PartialEq)]
pub struct Other {
    /// Its bare name.
    pub link: String,
    /// What its table calls its channel.
    pub channel: String,
    /// Where that is.
    pub band: Band,
}

/// Everything that is planned with and round.
#[derive(Debug, Clone, PartialEq)]
pub struct Scene {
    /// Name of the table.
    pub table_name: String,
    /// Its channels.
    pub table: Table,
    /// The links with this table, in the order of the configuration, then further ones.
    pub own: Vec<Own>,
    /// Those of other tables of which is known what they are set to.
    pub others: Vec<Other>,
    /// Bare names of those of which it is not.
    pub unset: Vec<String>,
}

impl Scene {
    /// Reads what the daemon knows.
    pub fn of(radio: &Radio, settings: &Settings) -> Result<Self, OpenError> {
        let rows: Vec<Row> = radio.rows.iter().map(row).collect();
        let table = Table::check(&rows);
        let table = table.map_err(|errors| Failure::new("table-refused", errors.to_string()))?;
        let mut scene = Self {
            table_name: radio.table.clone(),
            table,
            own: Vec::new(),
            others: Vec::new(),
            unset: Vec::new(),
        };
        for link in &radio.links {
            let name = link.link.clone();
            match &link.channel {
                channel if link.same_table => {
                    let now = channel.as_ref().map(|channel| scene.row(&channel.name));
                    let now = now.transpose()?;
                    scene.own.push(Own { link: name, now });
                }
                Some(channel) => scene.others.push(other(name, channel)?),
                None => scene.unset.push(name),
            }
        }
        scene.add_further(settings.link_count)?;
        Ok(scene)
    }

    /// The row that a channel has, from 0.
    fn row(&self, channel: &str) -> Result<usize, Failure> {
        let channels = self.table.channels();
        let row = channels.iter().position(|one| one.name == channel.trim());
        row.ok_or_else(|| {
            let text = format!("the table {:?} has no channel {channel:?}", self.table_name);
            Failure::new("table-refused", text)
        })
    }

    /// Adds links up to the count that is to be planned for; 0: none.
    fn add_further(&mut self, link_count: usize) -> Result<(), OpenError> {
        let refused = |text: String| OpenError::Invalid(vec![violation("link_count", text)]);
        let (known, table) = (self.own.len(), &self.table_name);
        if link_count > 0 && link_count < known {
            return Err(refused(format!(
                "{link_count} is too few: the configuration has {known} links with the table \
                 {table:?}; 0 plans for those, a greater number for more"
            )));
        }
        let further = Own {
            link: String::new(),
            now: None,
        };
        self.own.resize(link_count.max(known), further);
        let carrier_count = self.own.len() + self.others.len();
        if carrier_count > LINK_COUNT_MAX {
            return Err(refused(format!(
                "{carrier_count} links, those of other tables among them, are too many to plan at \
                 once: {LINK_COUNT_MAX} at most"
            )));
        }
        Ok(())
    }
}

fn row(row: &RadioRow) -> Row {
    Row {
        name: row.name.clone(),
        centre_mhz: row.centre_mhz,
        bandwidth_mhz: row.bandwidth_mhz,
    }
}

fn other(link: String, channel: &RadioRow) -> Result<Other, OpenError> {
    let table = Table::check(&[row(channel)]);
    let table = table.map_err(|errors| {
        let text = format!("what {link} is set to: {errors}");
        Failure::new("table-refused", text)
    })?;
    let [channel] = table.channels() else {
        unreachable!("a table of one row has one channel");
    };
    Ok(Other {
        link,
        channel: channel.name.clone(),
        band: channel.band,
    })
}
