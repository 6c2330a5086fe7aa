//! One table of the file, read key by key. Every wrong value is noted and replaced by `None`, so
//! that reading goes on; keys that nobody asked for are unknown ones.

use std::{cell::RefCell, ops::Range, ops::RangeInclusive};

use toml::{
    Spanned,
    de::{DeInteger, DeTable, DeValue},
};

use super::{mistakes::Mistakes, nearest::nearest};

/// A table of the file while it is read.
pub(super) struct Section<'t> {
    /// How messages call it: `[safety]`, `[[link]]`; empty for the file as a whole.
    pub(super) title: String,
    table: &'t DeTable<'t>,
    span: Range<usize>,
    asked: RefCell<Vec<&'static str>>,
    pub(super) mistakes: &'t Mistakes,
}

impl<'t> Section<'t> {
    pub(super) fn new(
        title: &str,
        table: &'t DeTable<'t>,
        span: Range<usize>,
        mistakes: &'t Mistakes,
    ) -> Self {
        Self {
            title: title.to_owned(),
            table,
            span,
            asked: RefCell::default(),
            mistakes,
        }
    }

    /// The value of a key, which is known from now on.
    pub(super) fn value(&self, key: &'static str) -> Option<&'t Spanned<DeValue<'t>>> {
        self.asked.borrow_mut().push(key);
        self.table.get(key)
    }

    /// True where the key is there, right or wrong.
    pub(super) fn has(&self, key: &str) -> bool {
        self.table.contains_key(key)
    }

    /// All keys and values, whatever they are called.
    pub(super) fn entries(&self) -> impl Iterator<Item = (&'t str, &'t Spanned<DeValue<'t>>)> {
        self.table
            .iter()
            .map(|(key, value)| (key.get_ref().as_ref(), value))
    }

    /// Where the value of a key stands; where the section begins if it is not there.
    pub(super) fn span_of(&self, key: &str) -> Range<usize> {
        self.table
            .get(key)
            .map_or_else(|| self.span.clone(), Spanned::span)
    }

    /// Notes that the value of `key` is wrong.
    pub(super) fn wrong(&self, key: &str, wrong: impl Into<String>, right: impl Into<String>) {
        self.mistakes
            .wrong(self.span_of(key), wrong.into(), right.into());
    }

    /// Passes a value on; notes the key as missing where it is not there at all.
    pub(super) fn need<T>(&self, key: &str, got: Option<T>, right: &str) -> Option<T> {
        if !self.has(key) {
            let place = self.place();
            let wrong = format!("`{key}` is missing{place}");
            self.mistakes
                .missing(self.span.clone(), wrong, right.to_owned());
        }
        got
    }

    /// ` in [section]`, or nothing for the file as a whole.
    fn place(&self) -> String {
        if self.title.is_empty() {
            String::new()
        } else {
            format!(" in {}", self.title)
        }
    }

    fn wrong_type(&self, key: &str, value: &Spanned<DeValue<'t>>, right: &str) {
        let kind = described(value.get_ref());
        self.mistakes
            .wrong(value.span(), format!("`{key}` is {kind}"), right.to_owned());
    }

    /// A finite number within `range`; whole numbers are numbers too.
    pub(super) fn number(&self, key: &'static str, range: RangeInclusive<f64>) -> Option<f64> {
        let value = self.value(key)?;
        self.number_in(key, value, range)
    }

    fn number_in(
        &self,
        key: &str,
        value: &Spanned<DeValue<'t>>,
        range: RangeInclusive<f64>,
    ) -> Option<f64> {
        let right = right_number(&range);
        let Some(number) = as_number(value.get_ref()) else {
            self.wrong_type(key, value, &right);
            return None;
        };
        if !range.contains(&number) {
            self.mistakes
                .wrong(value.span(), format!("`{key}` is {number}"), right);
            return None;
        }
        Some(number)
    }

    /// A number within `range`, `default` where there is none.
    pub(super) fn number_or(
        &self,
        key: &'static str,
        range: RangeInclusive<f64>,
        default: f64,
    ) -> f64 {
        self.number(key, range).unwrap_or(default)
    }

    /// A simulated level in dBFS, which may well be above full scale; `-inf` is the level of nothing
    /// at all.
    pub(super) fn level_or(&self, key: &'static str, default: Option<f64>) -> Option<f64> {
        match self.value(key) {
            None => default,
            Some(value) if as_number(value.get_ref()) == Some(f64::NEG_INFINITY) => None,
            Some(value) => self.number_in(key, value, -200.0..=60.0),
        }
    }

    /// A whole number within `range`.
    pub(super) fn whole(&self, key: &'static str, range: RangeInclusive<u64>) -> Option<u64> {
        let value = self.value(key)?;
        let right = format!("a whole number {}", between(range.start(), range.end()));
        let Some(integer) = value.get_ref().as_integer() else {
            self.wrong_type(key, value, &right);
            return None;
        };
        let whole = as_i128(integer).and_then(|whole| u64::try_from(whole).ok());
        if whole.is_none_or(|whole| !range.contains(&whole)) {
            self.mistakes
                .wrong(value.span(), format!("`{key}` is {integer}"), right);
            return None;
        }
        whole
    }

    /// The number of a send or return, from 1.
    pub(super) fn channel(&self, key: &'static str) -> Option<usize> {
        self.whole(key, 1..=CHANNEL_MAX)
            .and_then(|number| usize::try_from(number).ok())
    }

    /// `true` or `false`.
    pub(super) fn switch(&self, key: &'static str) -> Option<bool> {
        let value = self.value(key)?;
        let switch = value.get_ref().as_bool();
        if switch.is_none() {
            self.wrong_type(key, value, "`true` or `false`, without quotes");
        }
        switch
    }

    /// A text that is not empty.
    pub(super) fn text(&self, key: &'static str, right: &str) -> Option<&'t str> {
        let value = self.value(key)?;
        self.text_in(key, value, right)
    }

    /// A value that has to be a text, and not an empty one.
    pub(super) fn text_in(
        &self,
        key: &str,
        value: &'t Spanned<DeValue<'t>>,
        right: &str,
    ) -> Option<&'t str> {
        let Some(text) = value.get_ref().as_str() else {
            self.wrong_type(key, value, right);
            return None;
        };
        if text.trim().is_empty() {
            self.mistakes
                .wrong(value.span(), format!("`{key}` is empty"), right.to_owned());
            return None;
        }
        Some(text)
    }

    /// One of a few words.
    pub(super) fn choice(&self, key: &'static str, words: &[&'static str]) -> Option<&'static str> {
        let all: Vec<String> = words.iter().map(|word| format!("\"{word}\"")).collect();
        let right = format!("one of {}", all.join(", "));
        let text = self.text(key, &right)?;
        let known = words.iter().find(|word| **word == text).copied();
        if known.is_none() {
            let right = match nearest(text, words.iter().copied()) {
                Some(near) => format!("\"{near}\"? Allowed is {right}"),
                None => right,
            };
            self.wrong(key, format!("`{key}` is \"{text}\""), right);
        }
        known
    }

    /// The values of a list. `right` says what they have to be.
    pub(super) fn list(
        &self,
        key: &'static str,
        right: &str,
    ) -> Option<Vec<&'t Spanned<DeValue<'t>>>> {
        let value = self.value(key)?;
        let Some(list) = value.get_ref().as_array() else {
            self.wrong_type(key, value, right);
            return None;
        };
        Some(list.iter().collect())
    }

    /// A list of texts; the wrong ones are noted and left out.
    pub(super) fn texts(&self, key: &'static str, right: &str) -> Option<Vec<String>> {
        let values = self.list(key, right)?;
        let texts = values
            .into_iter()
            .filter_map(|value| self.text_in(key, value, right));
        Some(texts.map(str::to_owned).collect())
    }

    /// A list of numbers within `range`; the wrong ones are noted and left out.
    pub(super) fn numbers(
        &self,
        key: &'static str,
        range: RangeInclusive<f64>,
    ) -> Option<Vec<f64>> {
        let right = format!("a list: each {}", right_number(&range));
        let values = self.list(key, &right)?;
        let number = |value| self.number_in(key, value, range.clone());
        Some(values.into_iter().filter_map(number).collect())
    }

    /// A list of pairs of numbers within `range`; the wrong ones are noted and left out.
    pub(super) fn pairs(
        &self,
        key: &'static str,
        right: &str,
        range: RangeInclusive<f64>,
    ) -> Option<Vec<(f64, f64)>> {
        let values = self.list(key, right)?;
        let pair = |value: &'t Spanned<DeValue<'t>>| {
            let list = value.get_ref().as_array();
            let numbers: Vec<_> = list.into_iter().flat_map(|list| list.iter()).collect();
            let [first, second] = numbers[..] else {
                self.wrong_type(key, value, right);
                return None;
            };
            let first = self.number_in(key, first, range.clone())?;
            Some((first, self.number_in(key, second, range.clone())?))
        };
        Some(values.into_iter().filter_map(pair).collect())
    }

    /// A table below this one.
    pub(super) fn section(&self, key: &'static str, title: &str) -> Option<Section<'t>> {
        let value = self.value(key)?;
        let Some(table) = value.get_ref().as_table() else {
            self.wrong_type(key, value, &format!("a table of its own, under {title}"));
            return None;
        };
        Some(Section::new(title, table, value.span(), self.mistakes))
    }

    /// The tables of a list of tables.
    pub(super) fn sections(&self, key: &'static str, title: &str) -> Vec<Section<'t>> {
        let right = format!("any number of tables, each under {title} (two brackets)");
        let Some(values) = self.list(key, &right) else {
            return Vec::new();
        };
        let mut sections = Vec::new();
        for value in values {
            match value.get_ref().as_table() {
                Some(table) => {
                    sections.push(Section::new(title, table, value.span(), self.mistakes));
                }
                None => self.wrong_type(key, value, &right),
            }
        }
        sections
    }

    /// Ends the reading: keys that nobody asked for are unknown.
    pub(super) fn close(&self) {
        let asked = self.asked.borrow();
        for (key, _) in self.table.iter() {
            let name = key.get_ref().as_ref();
            if asked.contains(&name) {
                continue;
            }
            let right = match nearest(name, asked.iter().copied()) {
                Some(near) => format!("`{near}`"),
                None => format!("one of `{}`", asked.join("`, `")),
            };
            let wrong = format!("there is no key `{name}`{}", self.place());
            self.mistakes.wrong(key.span(), wrong, right);
        }
    }
}

/// More channels than any interface has.
pub(super) const CHANNEL_MAX: u64 = 1024;

/// The number that a value is; `None` for anything else.
pub(super) fn as_number(value: &DeValue<'_>) -> Option<f64> {
    match value {
        DeValue::Integer(integer) => as_i128(integer).map(|whole| whole as f64),
        DeValue::Float(float) => float.as_str().parse().ok(),
        _ => None,
    }
}

fn as_i128(integer: &DeInteger<'_>) -> Option<i128> {
    i128::from_str_radix(integer.as_str(), integer.radix()).ok()
}

fn right_number(range: &RangeInclusive<f64>) -> String {
    format!("a number {}", between(range.start(), range.end()))
}

/// `from LOW to HIGH`, without the ends that only keep out what is no number.
fn between<T: PartialOrd + std::fmt::Display + Copy + Into<Bound>>(low: &T, high: &T) -> String {
    let (from, to) = ((*low).into(), (*high).into());
    match (from, to) {
        (Bound::Open, Bound::Open) => "that is finite".to_owned(),
        (Bound::Open, _) => format!("up to {high}"),
        (_, Bound::Open) => format!("from {low}"),
        _ => format!("from {low} to {high}"),
    }
}

/// Whether an end of a range means something.
enum Bound {
    Open,
    Closed,
}

impl From<f64> for Bound {
    fn from(end: f64) -> Self {
        if end.abs() == f64::MAX {
            Self::Open
        } else {
            Self::Closed
        }
    }
}

impl From<u64> for Bound {
    fn from(end: u64) -> Self {
        if end == i64::MAX.unsigned_abs() {
            Self::Open
        } else {
            Self::Closed
        }
    }
}

/// A value in words, for messages.
pub(super) fn described(value: &DeValue<'_>) -> String {
    match value {
        DeValue::String(text) => format!("the text \"{text}\""),
        DeValue::Integer(integer) => format!("the number {integer}"),
        DeValue::Float(float) => format!("the number {float}"),
        DeValue::Boolean(switch) => format!("`{switch}`"),
        DeValue::Datetime(_) => "a date or time".to_owned(),
        DeValue::Array(_) => "a list".to_owned(),
        DeValue::Table(_) => "a table".to_owned(),
    }
}
