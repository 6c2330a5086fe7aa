//! The analysis `channels`: which radio channels several links should be set to, so that they stay
//! clear of what is in the air, of each other and of each other's intermodulation. It plays and
//! hears nothing.
//!
//! The way of the data: `air` is what the configuration and the surveys say, `scene` the table and
//! the links, `chosen` the plan, and `figures`, `told`, `notes` and `reach` say it.

mod air;
mod chosen;
mod declared;
mod figures;
mod notes;
mod reach;
mod scene;
mod session;
mod settings;
mod staying;
mod told;
mod words;

use goodwire_plugin_sdk::payload::open_request::Mode;
use goodwire_plugin_sdk::payload::{AnalysisDescription, Description, OpenRequest};
use goodwire_plugin_sdk::{Failure, OpenError, Plugin, Session, export_plugin};

/// The plugin.
pub struct Channels;

impl Plugin for Channels {
    fn describe() -> Description {
        Description {
            plugin: "channels".to_owned(),
            version: env!("CARGO_PKG_VERSION").to_owned(),
            analyses: vec![AnalysisDescription {
                id: "channels".to_owned(),
                title: "Radio channels".to_owned(),
                summary: "Plans which channels of its own table a link and its like should be set \
                          to: clear of what is in the air, of each other and of their \
                          intermodulation. Needs no audio; the law of the place is not known to \
                          it."
                .to_owned(),
                parameters: settings::declared(),
                figures: declared::figures(),
                without_audio: true,
                ..AnalysisDescription::default()
            }],
        }
    }

    fn open(request: &OpenRequest) -> Result<Box<dyn Session>, OpenError> {
        if request.mode() != Mode::Live {
            let text = "there is no sound in a channel plan: nothing is played or recorded for it";
            return Err(Failure::new("without-audio", text).into());
        }
        let radio = request.radio.as_ref().ok_or_else(|| {
            let text = "the link has no channel table: its manual lists what it can be set to";
            Failure::new("no-channel-table", text)
        })?;
        let settings = settings::Settings::read(request);
        let scene = scene::Scene::of(radio, &settings)?;
        let air = air::Air::of(radio, settings.threshold_dbm)?;
        Ok(Box::new(session::ChannelsSession {
            settings,
            scene,
            air,
            radio: radio.clone(),
        }))
    }
}

export_plugin!(Channels);
