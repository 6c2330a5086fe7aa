//! What people write on the command line: settings, files with a channel, times.

use std::{
    collections::BTreeMap,
    path::PathBuf,
    str::FromStr,
    time::{Duration, SystemTime},
};

use anyhow::bail;
use prost_types::{Struct, Timestamp, Value, value::Kind};

/// `NAME=VALUE` of `--set`.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Setting {
    name: String,
    value: String,
}

impl FromStr for Setting {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, String> {
        match text.split_once('=') {
            Some((name, value)) if !name.trim().is_empty() => Ok(Self {
                name: name.trim().to_owned(),
                value: value.trim().to_owned(),
            }),
            _ => Err(format!("`{text}` is not NAME=VALUE")),
        }
    }
}

impl Setting {
    /// A setting that was not written by anybody.
    pub fn new(name: &str, value: &str) -> Self {
        Self {
            name: name.to_owned(),
            value: value.to_owned(),
        }
    }

    /// True where it sets the parameter of this name.
    pub fn names(&self, name: &str) -> bool {
        self.name == name
    }

    /// True where it sets the parameter of this name to this value.
    pub fn is(&self, name: &str, value: &str) -> bool {
        self.names(name) && self.value == value
    }
}

/// `SWITCH=ONE,OTHER`: the positions of a switch.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Positions {
    /// The switch, as a key of the setup.
    pub switch: String,
    /// Its positions, two or more, each once.
    pub names: Vec<String>,
}

impl FromStr for Positions {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, String> {
        let right = "two or more positions, as in input=line,mic";
        let (switch, names) = text
            .split_once('=')
            .ok_or(format!("`{text}` is not {right}"))?;
        let names: Vec<String> = names
            .split(',')
            .map(|name| name.trim().to_owned())
            .collect();
        let twice = (1..names.len()).any(|index| names[..index].contains(&names[index]));
        if switch.trim().is_empty() || names.len() < 2 || names.contains(&String::new()) || twice {
            return Err(format!("`{text}` is not {right}, each once"));
        }
        Ok(Self {
            switch: switch.trim().to_owned(),
            names,
        })
    }
}

/// The settings as the parameters of a request; the server reads each by its parameter's kind.
///
/// # Errors
/// Names what is set twice.
pub fn parameters(settings: &[Setting]) -> anyhow::Result<Option<Struct>> {
    let mut fields = BTreeMap::new();
    for Setting { name, value } in settings {
        let value = Value {
            kind: Some(Kind::StringValue(value.clone())),
        };
        if fields.insert(name.clone(), value).is_some() {
            bail!("`{name}` is set twice");
        }
    }
    Ok((!fields.is_empty()).then_some(Struct { fields }))
}

/// The settings as a place: what reads as a number is one.
///
/// # Errors
/// Names what is set twice.
pub fn at(settings: &[Setting]) -> anyhow::Result<Option<Struct>> {
    let mut place = parameters(settings)?;
    for value in place.iter_mut().flat_map(|place| place.fields.values_mut()) {
        if let Some(Kind::StringValue(text)) = &value.kind
            && let Ok(number) = text.parse()
        {
            value.kind = Some(Kind::NumberValue(number));
        }
    }
    Ok(place)
}

/// `FILE[:CH]`: a recording, and which of its channels is meant.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct FileChannel {
    /// The file.
    pub path: PathBuf,
    /// The channel, from 1; 0 where none was given.
    pub channel: i32,
}

impl FromStr for FileChannel {
    type Err = String;

    /// A trailing `:NUMBER` is the channel, unless a file of the whole name exists.
    fn from_str(text: &str) -> Result<Self, String> {
        let whole = Self {
            path: text.into(),
            channel: 0,
        };
        let Some((path, channel)) = text.rsplit_once(':') else {
            return Ok(whole);
        };
        let is_number = !channel.is_empty() && channel.bytes().all(|byte| byte.is_ascii_digit());
        if !is_number || path.is_empty() || whole.path.exists() {
            return Ok(whole);
        }
        match channel.parse() {
            Ok(channel) if channel > 0 => Ok(Self {
                path: path.into(),
                channel,
            }),
            _ => Err(format!("`{text}`: channels count from 1")),
        }
    }
}

/// A time: RFC 3339, a date, or an age such as `90min`, `24h`, `7d`.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Since(pub Timestamp);

impl FromStr for Since {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, String> {
        if let Some(age) = age(text) {
            let time = SystemTime::now().checked_sub(age);
            return time
                .map(|time| Self(time.into()))
                .ok_or_else(|| format!("`{text}` ago is before all time"));
        }
        text.parse().map(Self).map_err(|_| {
            format!(
                "`{text}` is no time: write 2026-11-25, 2026-11-25T22:00:00Z, \
                 or an age like 90min, 24h, 7d"
            )
        })
    }
}

/// A time to come: RFC 3339, a date, or a span from now on such as `90min`, `6h`, `14d`.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Until(pub Timestamp);

impl FromStr for Until {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, String> {
        if let Some(span) = age(text) {
            let time = SystemTime::now().checked_add(span);
            return time
                .map(|time| Self(time.into()))
                .ok_or_else(|| format!("`{text}` from now is after all time"));
        }
        text.parse().map(Self).map_err(|_| {
            format!(
                "`{text}` is no time: write 2026-11-25, 2026-11-25T22:00:00Z, \
                 or a span from now on like 90min, 6h, 14d"
            )
        })
    }
}

/// Reads an age: a whole number with `s`, `min`, `h` or `d`.
fn age(text: &str) -> Option<Duration> {
    let digits = text.bytes().take_while(u8::is_ascii_digit).count();
    let (number, unit) = text.split_at(digits);
    let seconds = match unit {
        "s" => 1,
        "min" => 60,
        "h" => 3_600,
        "d" => 86_400,
        _ => return None,
    };
    number
        .parse::<u64>()
        .ok()?
        .checked_mul(seconds)
        .map(Duration::from_secs)
}

/// `LINK[,LINK…]` or `all`, as the request wants it.
///
/// # Errors
/// Where a name is empty.
pub fn links(text: &str) -> anyhow::Result<Vec<String>> {
    let links: Vec<_> = text.split(',').map(|link| link.trim().to_owned()).collect();
    if links.iter().any(String::is_empty) {
        bail!("`{text}` has an empty link name: write LINK,LINK or all");
    }
    Ok(links)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn file(path: &str, channel: i32) -> FileChannel {
        FileChannel {
            path: path.into(),
            channel,
        }
    }

    #[test]
    fn a_setting_keeps_what_stands_behind_the_first_equals_sign() {
        assert_eq!(
            "bands_hz = 20,63=x".parse(),
            Ok(Setting {
                name: "bands_hz".into(),
                value: "20,63=x".into()
            })
        );
        for wrong in ["colour", "=red", " =1", ""] {
            assert!(wrong.parse::<Setting>().unwrap_err().contains(wrong));
        }
    }

    #[test]
    fn what_is_set_twice_is_named() {
        let twice = ["a=1", "b=2", "a=3"].map(|text| text.parse().unwrap());
        assert!(parameters(&twice).unwrap_err().to_string().contains("`a`"));
        assert_eq!(parameters(&[]).unwrap(), None);
        assert_eq!(parameters(&twice[..2]).unwrap().unwrap().fields.len(), 2);
    }

    #[test]
    fn a_trailing_number_is_the_channel() {
        assert_eq!("walk.wav:2".parse(), Ok(file("walk.wav", 2)));
        assert_eq!("walk.wav".parse(), Ok(file("walk.wav", 0)));
        assert_eq!("a:b.wav".parse(), Ok(file("a:b.wav", 0)));
        assert_eq!("a:1:12".parse(), Ok(file("a:1", 12)));
        assert_eq!("walk.wav:".parse(), Ok(file("walk.wav:", 0)));
        assert!("walk.wav:0".parse::<FileChannel>().is_err());
        assert!("walk.wav:99999999999".parse::<FileChannel>().is_err());
    }

    #[test]
    fn a_file_whose_name_ends_in_a_number_wins_over_the_channel() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("take:3");
        std::fs::write(&path, "").unwrap();
        let text = path.to_str().unwrap();
        assert_eq!(text.parse(), Ok(file(text, 0)));
        assert_eq!(format!("{text}:3").parse(), Ok(file(text, 3)));
    }

    #[test]
    fn times_are_rfc_3339_dates_or_ages() {
        let Since(time) = "2026-11-25T09:00:00+01:00".parse().unwrap();
        assert_eq!(time.to_string(), "2026-11-25T08:00:00Z");
        assert_eq!(
            "2026-11-25".parse::<Since>().unwrap().0.to_string(),
            "2026-11-25T00:00:00Z"
        );
        let day_ago = "24h".parse::<Since>().unwrap().0.seconds;
        let now = Timestamp::from(SystemTime::now()).seconds;
        assert!((now - day_ago - 86_400).abs() <= 1);
        for wrong in ["yesterday", "24", "h", "99999999999999999d"] {
            assert!(wrong.parse::<Since>().unwrap_err().contains(wrong));
        }
    }

    #[test]
    fn lists_of_links_have_no_empty_names() {
        assert_eq!(links("lectern, foyer").unwrap(), ["lectern", "foyer"]);
        assert!(links("lectern,,foyer").is_err());
        assert!(links("").is_err());
    }
}
