//! Lists of measurements, newest first, in pages.
//!
//! A page begins after the last id of the page before (a keyset), so pages neither skip nor
//! repeat anything when measurements are added between them, and every read is short.

use goodwire_proto::v1::{Measurement, verdict::Outcome};
use prost_types::Timestamp;
use rusqlite::ToSql;

use super::{
    Store,
    error::StoreError,
    names::link_of,
    rows::{join, to_ns},
};

/// Which measurements are listed.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct ListQuery {
    /// Only of this link; empty: of all.
    pub link: String,
    /// Only of this analysis, by its bare id; empty: of all.
    pub analysis: String,
    /// Only created at or after this time.
    pub since: Option<Timestamp>,
    /// Only with this verdict; [`Outcome::Unspecified`]: with any, and with none.
    pub outcome: Outcome,
    /// At most so many; 0 means 50, above 500 is taken as 500.
    pub page_size: i32,
    /// `next_page_token` of the page before; empty: the first page.
    pub page_token: String,
}

/// A page of measurements.
#[derive(Debug, Clone, PartialEq)]
pub struct Page {
    /// Newest first, with verdict and findings, without curves.
    pub measurements: Vec<Measurement>,
    /// Asks for the next page; empty: there is none.
    pub next_page_token: String,
}

const SIZE_DEFAULT: usize = 50;
const SIZE_MAX: usize = 500;
/// Hexadecimal digits of the filter's hash in a token.
const MARK_DIGITS: usize = 8;

impl Store {
    /// Lists measurements, newest first.
    ///
    /// # Errors
    /// [`StoreError::PageSize`], [`StoreError::PageToken`], and what reading can meet.
    pub fn list(&self, query: &ListQuery) -> Result<Page, StoreError> {
        let size = page_size(query.page_size)?;
        let before = position(query)?;
        let link = link_of(&query.link);
        let since = query.since.as_ref().map(to_ns);
        let mut conditions = vec!["1"];
        let mut values: Vec<&dyn ToSql> = Vec::new();
        if !link.is_empty() {
            conditions.push("link = ?");
            values.push(&link);
        }
        if !query.analysis.is_empty() {
            conditions.push("analysis = ?");
            values.push(&query.analysis);
        }
        if let Some(since) = &since {
            conditions.push("create_time >= ?");
            values.push(since);
        }
        let outcome = i32::from(query.outcome);
        // With a verdict asked for, the order has to be that of its index: ordered by `id`, SQLite
        // sorts all that have it before it gives the first (4 s of ten years, else 0.2 ms).
        let (joined, id, before_id) = match query.outcome {
            Outcome::Unspecified => ("LEFT JOIN", "id", "id < ?"),
            _ => {
                conditions.push("outcome = ?");
                values.push(&outcome);
                ("JOIN", "measurement", "measurement < ?")
            }
        };
        if let Some(before) = &before {
            conditions.push(before_id);
            values.push(before);
        }
        let sql = format!(
            "SELECT result, judgement FROM measurements
             {joined} judgements ON measurement = id
             WHERE {} ORDER BY {id} DESC LIMIT {}",
            conditions.join(" AND "),
            size + 1
        );
        let mut measurements = self.read(|connection| {
            let mut statement = connection.prepare_cached(&sql)?;
            let rows = statement.query_map(values.as_slice(), |row| Ok(join(row, 0, 2)))?;
            rows.map(|row| row?)
                .collect::<Result<Vec<Measurement>, StoreError>>()
        })?;
        let has_more = measurements.len() > size;
        measurements.truncate(size);
        let last = measurements.last().filter(|_| has_more);
        let next_page_token = last
            .map(|last| token(query, &last.name))
            .unwrap_or_default();
        Ok(Page {
            measurements,
            next_page_token,
        })
    }
}

/// How many are meant by a `page_size` of a request.
pub(super) fn page_size(asked: i32) -> Result<usize, StoreError> {
    match usize::try_from(asked) {
        Ok(0) => Ok(SIZE_DEFAULT),
        Ok(size) => Ok(size.min(SIZE_MAX)),
        Err(_) => Err(StoreError::PageSize { got: asked }),
    }
}

/// A few digits that differ from filter to filter: a token of another list is then refused.
fn mark(query: &ListQuery) -> String {
    let since = query.since.as_ref().map(to_ns);
    let (link, outcome) = (link_of(&query.link), query.outcome);
    let text = format!("{link}\n{}\n{since:?}\n{outcome:?}", query.analysis);
    blake3::hash(text.as_bytes()).to_hex()[..MARK_DIGITS].to_owned()
}

fn token(query: &ListQuery, name: &str) -> String {
    format!(
        "{}{}",
        mark(query),
        super::names::id_of(name).replace('-', "")
    )
}

/// The id after which the page begins.
fn position(query: &ListQuery) -> Result<Option<String>, StoreError> {
    let token = query.page_token.as_str();
    if token.is_empty() {
        return Ok(None);
    }
    let id = token
        .strip_prefix(&mark(query))
        .ok_or(StoreError::PageToken)?;
    let id = uuid::Uuid::try_parse(id).map_err(|_| StoreError::PageToken)?;
    Ok(Some(id.hyphenated().to_string()))
}
