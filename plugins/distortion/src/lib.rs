//! The analysis `distortion`: what a link adds to tones, one by one, gliding, or two at a time.

mod common_notes;
mod declared;
mod intermodulation;
mod playing;
mod settings;
mod shown;
mod stepped;
mod swept;

use goodwire_plugin_sdk::parameters::Parameters;
use goodwire_plugin_sdk::payload::{AnalysisDescription, Description, OpenRequest};
use goodwire_plugin_sdk::{OpenError, Plugin, Session, export_plugin};

use intermodulation::Intermodulation;
use playing::MethodSession;
use stepped::Stepped;
use swept::Swept;

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
                summary: "Harmonics, noise and intermodulation that the link adds to tones, the \
                          reference's own taken out: at single frequencies, over all of them, or \
                          with two tones at once."
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
        let session: Box<dyn Session> = match Parameters::of(request).choice("method") {
            "swept" => Box::new(MethodSession::new(
                request,
                Swept::open(request).map_err(OpenError::Invalid)?,
            )),
            "intermodulation" => Box::new(MethodSession::new(
                request,
                Intermodulation::open(request).map_err(OpenError::Invalid)?,
            )),
            _ => Box::new(MethodSession::new(
                request,
                Stepped::open(request).map_err(OpenError::Invalid)?,
            )),
        };
        Ok(session)
    }
}
