//! The analysis `response`: gain and phase of a link over frequency, against the cable.

mod coder;
mod declared;
mod heard;
mod levels;
mod result;
mod session;
mod settings;
mod steps;
mod waking;

use goodwire_plugin_sdk::payload::{AnalysisDescription, Description, OpenRequest};
use goodwire_plugin_sdk::{OpenError, Plugin, Session, export_plugin};

/// The plugin.
pub struct Response;

impl Plugin for Response {
    fn describe() -> Description {
        Description {
            plugin: "response".to_owned(),
            version: env!("CARGO_PKG_VERSION").to_owned(),
            analyses: vec![AnalysisDescription {
                id: "response".to_owned(),
                title: "Frequency response".to_owned(),
                summary: "Plays exponential sweeps and gives magnitude, phase and group delay of \
                          the link against the cable, its gain, its corners and how far each band \
                          deviates."
                    .to_owned(),
                parameters: settings::declared(),
                plays: true,
                figures: declared::figures(),
                curves: declared::curves(),
                ..AnalysisDescription::default()
            }],
        }
    }

    fn open(request: &OpenRequest) -> Result<Box<dyn Session>, OpenError> {
        let settings = settings::Settings::read(request).map_err(OpenError::Invalid)?;
        Ok(Box::new(session::ResponseSession::new(request, settings)))
    }
}

export_plugin!(Response);
