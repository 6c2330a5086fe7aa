//! The analysis `level`: one frequency at rising levels, and what the link makes of each.

mod clipper;
mod crossing;
mod declared;
mod disturbed;
mod figures;
mod gain;
mod order;
mod reading;
mod session;
mod settings;
mod settling;

use goodwire_plugin_sdk::payload::{AnalysisDescription, Description, OpenRequest};
use goodwire_plugin_sdk::{OpenError, Plugin, Session, export_plugin};

use session::LevelSession;
use settings::Settings;

/// The plugin of the analysis `level`.
pub struct Level;

export_plugin!(Level);

impl Plugin for Level {
    fn describe() -> Description {
        Description {
            plugin: "level".to_owned(),
            version: env!("CARGO_PKG_VERSION").to_owned(),
            analyses: vec![AnalysisDescription {
                id: "level".to_owned(),
                title: "Level".to_owned(),
                summary: "Gain, polarity, and where the link begins to compress and to clip, from \
                          one frequency at rising levels."
                    .to_owned(),
                parameters: settings::parameters(),
                plays: true,
                figures: declared::figures(),
                curves: declared::curves(),
                ..AnalysisDescription::default()
            }],
        }
    }

    fn open(request: &OpenRequest) -> Result<Box<dyn Session>, OpenError> {
        let settings = Settings::read(request).map_err(OpenError::Invalid)?;
        Ok(Box::new(LevelSession::new(request, settings)))
    }
}
