//! The analysis `crosstalk`: what the other links' returns hear of this link's send.

mod declared;
mod faint;
mod heard;
mod result;
mod session;
mod settings;

use goodwire_plugin_sdk::payload::{AnalysisDescription, Description, OpenRequest};
use goodwire_plugin_sdk::{OpenError, Plugin, Session, describe, export_plugin};

use session::CrosstalkSession;
use settings::Settings;

/// The plugin of the analysis `crosstalk`.
pub struct Crosstalk;

export_plugin!(Crosstalk);

impl Plugin for Crosstalk {
    fn describe() -> Description {
        let summary = "Plays a sweep into this link alone and says how much of it the other links' \
                       returns hear.";
        let analysis = AnalysisDescription {
            parameters: settings::declared(),
            plays: true,
            figures: declared::figures(),
            curves: declared::curves(),
            ..describe::listener("crosstalk", "Crosstalk", summary)
        };
        describe::plugin("crosstalk", env!("CARGO_PKG_VERSION"), [analysis])
    }

    fn open(request: &OpenRequest) -> Result<Box<dyn Session>, OpenError> {
        Ok(Box::new(CrosstalkSession::new(
            request,
            Settings::read(request),
        )))
    }
}
