//! Where the delay stepped while the sweeps were played.

use goodwire_plugin_sdk::figures::{event, warning};
use goodwire_plugin_sdk::payload::SessionResult;

use crate::heard::Heard;
use crate::settings::Settings;
use crate::waking::Waking;

/// Tells every step, and whether one lies in what the curve is of.
pub fn tell(settings: &Settings, heard: &Heard, waking: &Waking, result: &mut SessionResult) {
    for told in heard.paces.told(heard.alignment.layout.rate_hz) {
        let [from_s, to_s] = told.between_s;
        let event = event(told.id, from_s, Some(to_s - from_s), told.text);
        result.events.push(event);
    }
    let is_spoilt = |level: usize| {
        let used = waking.sweeps_of(settings, heard, level);
        heard.paces.spoil(&heard.alignment, &heard.train, &used)
    };
    if (0..settings.levels_dbfs.len()).any(is_spoilt) {
        result.notes.push(warning(
            "slip",
            "the delay stepped within a sweep, or in the silence before it, and no other sweep \
             stands in for it: about the frequencies that were passed then the response may not \
             be the link's, measure again",
        ));
    }
}
