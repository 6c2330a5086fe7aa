//! The analysis `noise`: what the link says when nothing is said to it.

mod declared;
mod figures;
mod hum;
mod own;
mod reading;
mod session;
mod settings;
mod weighted;

use goodwire_plugin_sdk::payload::{AnalysisDescription, Description, OpenRequest};
use goodwire_plugin_sdk::{OpenError, Plugin, Session, describe, export_plugin};

use session::NoiseSession;
use settings::Settings;

/// The plugin of the analysis `noise`.
pub struct Noise;

export_plugin!(Noise);

impl Plugin for Noise {
    fn describe() -> Description {
        let summary = "Listens to the link while it is silent and while it carries a faint tone: \
                       noise unweighted, A, BS.468 and CCIR-RMS, dynamic range, hum.";
        let analysis = AnalysisDescription {
            parameters: settings::declared(),
            plays: true,
            figures: declared::figures(),
            curves: declared::curves(),
            ..describe::listener("noise", "Noise", summary)
        };
        describe::plugin("noise", env!("CARGO_PKG_VERSION"), [analysis])
    }

    fn open(request: &OpenRequest) -> Result<Box<dyn Session>, OpenError> {
        Ok(Box::new(NoiseSession::new(
            request,
            Settings::read(request),
        )))
    }
}
