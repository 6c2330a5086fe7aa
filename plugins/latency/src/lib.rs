//! The analysis `latency`: how late a link is, how steadily, and on which clock.

mod declared;
mod result;
mod session;
mod settings;

use goodwire_plugin_sdk::payload::{AnalysisDescription, Description, OpenRequest};
use goodwire_plugin_sdk::{OpenError, Plugin, Session, export_plugin};

/// The plugin.
pub struct Latency;

impl Plugin for Latency {
    fn describe() -> Description {
        Description {
            plugin: "latency".to_owned(),
            version: env!("CARGO_PKG_VERSION").to_owned(),
            analyses: vec![AnalysisDescription {
                id: "latency".to_owned(),
                title: "Latency".to_owned(),
                summary: "Plays several short sweeps and gives the latency of the link against \
                          the cable, how far it changes from one to the next, and how far the \
                          clocks are apart."
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
        Ok(Box::new(session::LatencySession::new(request, settings)))
    }
}

export_plugin!(Latency);
