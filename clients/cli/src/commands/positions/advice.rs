//! Which position of an input switch suits a source.
//!
//! A position suits where its clip point stays clear of the source's loudest peaks; of those that
//! suit, the one with the most gain has the least noise of its own in what arrives.

use goodwire_proto::v1::{Measurement, measurement::State};

use crate::{show::plain, values::Positions};

/// How far the source's loudest peaks have to stay below the clip point, in dB: what is loudest at
/// the rehearsal is not what is loudest in the evening. Common practice, no source.
const HEADROOM_DB: f64 = 6.0;

/// Loudest peaks of a source.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Source {
    /// In dBFS at the send.
    Dbfs(f64),
    /// In dBu at the link.
    Dbu(f64),
    /// Nobody said.
    Unknown,
}

impl Source {
    /// From what was said.
    pub fn of(dbfs: Option<f64>, dbu: Option<f64>) -> Self {
        match (dbfs, dbu) {
            (Some(level), _) => Self::Dbfs(level),
            (None, Some(level)) => Self::Dbu(level),
            (None, None) => Self::Unknown,
        }
    }

    /// The level, its unit, and the end of the figures' names that speak it.
    fn scale(self) -> (Option<f64>, &'static str, &'static str) {
        match self {
            Self::Dbfs(level) => (Some(level), "dBFS", ""),
            Self::Dbu(level) => (Some(level), "dBu", "_dbu"),
            Self::Unknown => (None, "dBFS", ""),
        }
    }
}

/// What one position can take.
#[derive(Debug, Clone, Copy)]
struct Limit {
    /// The clip point, or the highest level that was played.
    level: f64,
    /// True where it clipped there.
    clipped: bool,
    gain_db: Option<f64>,
}

/// Says in sentences what each position can take, and which suits the source.
pub fn tell(positions: &Positions, measured: &[Measurement], source: Source) -> Vec<String> {
    let (level, unit, ending) = source.scale();
    let limits: Vec<(&String, Option<Limit>)> = positions
        .names
        .iter()
        .zip(measured)
        .map(|(name, one)| (name, limit(one, ending)))
        .collect();
    let mut told: Vec<String> = limits
        .iter()
        .map(|(name, limit)| one_position(name, *limit, unit))
        .collect();
    if let Some(level) = level {
        told.push(verdict(&positions.switch, &limits, level, unit));
    }
    told
}

fn limit(measurement: &Measurement, ending: &str) -> Option<Limit> {
    if measurement.state() != State::Succeeded {
        return None;
    }
    let figure = |id: &str| {
        let found = measurement.figures.iter().find(|figure| figure.id == id);
        found.and_then(|figure| figure.value)
    };
    let gain_db = figure("gain");
    let clip = figure(&format!("clip_point{ending}")).map(|level| Limit {
        level,
        clipped: true,
        gain_db,
    });
    let unclipped = || {
        figure(&format!("unclipped_to{ending}")).map(|level| Limit {
            level,
            clipped: false,
            gain_db,
        })
    };
    clip.or_else(unclipped)
}

fn one_position(name: &str, limit: Option<Limit>, unit: &str) -> String {
    match limit {
        None => format!("{name}: nothing is known of where it overloads in {unit}."),
        Some(Limit { level, clipped, .. }) => {
            let most = plain_db(level - HEADROOM_DB);
            let level = plain_db(level);
            let how = if clipped {
                format!("clips at {level} {unit}")
            } else {
                format!("is clean up to the {level} {unit} that were played")
            };
            format!(
                "{name}: {how}, which suits sources whose loudest peaks reach {most} {unit} \
                 ({HEADROOM_DB} dB of headroom)."
            )
        }
    }
}

fn verdict(switch: &str, limits: &[(&String, Option<Limit>)], level: f64, unit: &str) -> String {
    let suits = |limit: &Limit| level + HEADROOM_DB <= limit.level;
    let best = limits
        .iter()
        .filter_map(|(name, limit)| limit.filter(suits).map(|limit| (name, limit)))
        .max_by(|(_, a), (_, b)| gain(a).total_cmp(&gain(b)));
    let level = plain_db(level);
    match best {
        Some((name, _)) => format!(
            "For peaks of {level} {unit}, set `{switch}` to `{name}`: of the positions that stay \
             clean it has the most gain, so the least noise."
        ),
        None => format!(
            "No position is known to stay clean with peaks of {level} {unit}: turn the source \
             down, put a pad before the transmitter, or measure to a higher level."
        ),
    }
}

fn gain(limit: &Limit) -> f64 {
    limit.gain_db.unwrap_or(f64::NEG_INFINITY)
}

/// Rounded to a tenth: nobody sets a level closer.
fn plain_db(level: f64) -> String {
    plain((level * 10.0).round() / 10.0)
}

#[cfg(test)]
mod tests {
    use goodwire_proto::v1::Figure;

    use super::*;

    fn measured(clip: Option<f64>, unclipped: Option<f64>, gain_db: f64) -> Measurement {
        let figure = |id: &str, value: Option<f64>| {
            value.map(|value| Figure {
                id: id.into(),
                value: Some(value),
                ..Figure::default()
            })
        };
        let mut measurement = Measurement {
            figures: [
                figure("gain", Some(gain_db)),
                figure("clip_point", clip),
                figure("unclipped_to", unclipped),
            ]
            .into_iter()
            .flatten()
            .collect(),
            ..Measurement::default()
        };
        measurement.set_state(State::Succeeded);
        measurement
    }

    fn line_and_mic() -> (Positions, Vec<Measurement>) {
        let positions = "input=line,mic".parse().unwrap();
        let measured = vec![
            measured(None, Some(0.0), -10.0),
            measured(Some(-31.04), None, 20.0),
        ];
        (positions, measured)
    }

    #[test]
    fn a_loud_source_goes_to_line_and_a_quiet_one_to_the_position_with_more_gain() {
        let (positions, measured) = line_and_mic();
        let last = |level| {
            tell(&positions, &measured, Source::Dbfs(level))
                .pop()
                .unwrap()
        };
        assert!(
            last(-20.0).contains("set `input` to `line`"),
            "{}",
            last(-20.0)
        );
        // 6 dB below the -31.04 dBFS of `mic` it is at its limit.
        assert!(last(-37.05).contains("set `input` to `mic`"));
        assert!(last(-37.03).contains("set `input` to `line`"));
        assert!(last(-5.0).contains("No position"));
    }

    #[test]
    fn each_position_says_what_it_can_take_also_where_nothing_is_known() {
        let (positions, mut measured) = line_and_mic();
        let told = tell(&positions, &measured, Source::Unknown);
        assert_eq!(told.len(), 2);
        assert!(told[0].contains("clean up to the 0 dBFS") && told[0].contains("reach -6 dBFS"));
        assert!(told[1].contains("clips at -31 dBFS") && told[1].contains("reach -37 dBFS"));
        measured[1].set_state(State::Failed);
        assert!(tell(&positions, &measured, Source::Unknown)[1].contains("nothing is known"));
        // Without a calibration no figure speaks dBu.
        assert!(tell(&positions, &measured, Source::Dbu(4.0))[0].contains("in dBu"));
    }
}
