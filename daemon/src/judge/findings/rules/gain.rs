//! How gain and clip point of a link stand to its baseline.

use goodwire_proto::v1::Figure;

use crate::judge::findings::evidence::Link;

/// A gain that moved by less than this is left to its limits, in dB.
pub(super) const GAIN_STEP_DB: f64 = 1.0;

/// Gain and clip point have moved against each other, which something before the point that clips
/// does: more gain there brings the clip point down by as much.
pub(super) struct Opposed {
    /// How far the gain has moved.
    pub(super) gain_db: f64,
    /// How far the clip point has moved, in words.
    pub(super) clip: String,
}

/// Whether they have, and by as much.
pub(super) fn opposed(link: &Link<'_>) -> Option<Opposed> {
    let gain_db = link.moved("gain", GAIN_STEP_DB)?;
    let (clip_db, clip) = match (
        link.moved("clip_point", GAIN_STEP_DB),
        out_of_reach_db(link),
    ) {
        (Some(clip_db), _) => (clip_db, format!("{clip_db:+.1} dB")),
        // It moved by this at least, so by as much as the gain came down.
        (None, Some(least_db)) => (least_db.max(-gain_db), format!("{least_db:+.1} dB or more")),
        (None, None) => return None,
    };
    let is_opposed = (gain_db + clip_db).abs() <= GAIN_STEP_DB;
    is_opposed.then_some(Opposed { gain_db, clip })
}

/// True where the clip point has moved or breaks its limit, so that what lies behind the point that
/// clips is not the cause.
pub(super) fn clip_point_is_wrong(link: &Link<'_>) -> bool {
    link.moved("clip_point", GAIN_STEP_DB).is_some()
        || out_of_reach_db(link).is_some()
        || link.too_low("clip_point").is_some()
}

/// How far at least the clip point has risen, where the link no longer clips at any level.
fn out_of_reach_db(link: &Link<'_>) -> Option<f64> {
    link.pairs().find_map(|(now, baseline)| {
        let of = |one: &[Figure], id: &str| {
            let figure = one.iter().find(|figure| figure.id == id);
            figure.and_then(|figure| figure.value)
        };
        let unclipped_dbfs = of(&now.figures, "unclipped_to")?;
        let least_db = unclipped_dbfs - of(&baseline?.figures, "clip_point")?;
        (least_db > GAIN_STEP_DB).then_some(least_db)
    })
}
