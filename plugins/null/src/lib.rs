//! The analysis `null`: what is left when the cable's sound is taken from the link's.

mod compare;
mod declared;
mod listen;
mod matching;
mod programme;
mod result;
mod session;
mod settings;

use goodwire_plugin_sdk::payload::{AnalysisDescription, Description, OpenRequest};
use goodwire_plugin_sdk::{OpenError, Plugin, Session, describe, export_plugin};

use session::NullSession;
use settings::Settings;

/// The plugin of the analysis `null`.
pub struct Null;

export_plugin!(Null);

impl Plugin for Null {
    fn describe() -> Description {
        let summary = "Plays noise that is spread like programme, matches delay, gain and polarity \
                       of link and cable, and says how much quieter their difference is.";
        let analysis = AnalysisDescription {
            parameters: settings::declared(),
            plays: true,
            figures: declared::figures(),
            curves: declared::curves(),
            ..describe::listener("null", "Null test", summary)
        };
        describe::plugin("null", env!("CARGO_PKG_VERSION"), [analysis])
    }

    fn open(request: &OpenRequest) -> Result<Box<dyn Session>, OpenError> {
        Ok(Box::new(NullSession::new(request, Settings::read(request))))
    }
}
