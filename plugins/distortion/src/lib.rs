//! The analysis `distortion`: what a link adds to steady tones.

mod figures;
mod reading;
mod session;
mod settings;

use goodwire_plugin_sdk::payload::{AnalysisDescription, Description, OpenRequest};
use goodwire_plugin_sdk::{OpenError, Plugin, Session, export_plugin};

use session::DistortionSession;
use settings::Settings;

/// The plugin of the analysis `distortion`.
pub struct Distortion;

export_plugin!(Distortion);

impl Plugin for Distortion {
    fn describe() -> Description {
        Description {
            plugin: "distortion".to_owned(),
            version: env!("CARGO_PKG_VERSION").to_owned(),
            analyses: vec![AnalysisDescription {
                id: "distortion".to_owned(),
                title: "Distortion".to_owned(),
                summary: "Harmonics and noise that the link adds to tones, one frequency after \
                          the other, the reference's own taken out."
                    .to_owned(),
                parameters: settings::parameters(),
                plays: true,
            }],
        }
    }

    fn open(request: &OpenRequest) -> Result<Box<dyn Session>, OpenError> {
        let settings = Settings::read(request).map_err(OpenError::Invalid)?;
        Ok(Box::new(DistortionSession::new(request, settings)))
    }
}
