//! The analysis `endurance`: how long a link runs on a charge.

mod declared;
mod life;
mod result;
mod session;
mod settings;

use goodwire_plugin_sdk::payload::open_request::Mode;
use goodwire_plugin_sdk::payload::{AnalysisDescription, Description, OpenRequest};
use goodwire_plugin_sdk::{Failure, OpenError, Plugin, Session, describe, export_plugin};

use session::EnduranceSession;
use settings::Settings;

/// The plugin of the analysis `endurance`.
pub struct Endurance;

export_plugin!(Endurance);

impl Plugin for Endurance {
    fn describe() -> Description {
        // The cautions for lithium cells: common practice, no source; the maker's manual decides.
        let summary = "Plays noise that never repeats until the link has been lost for good, and \
                       tells how long it ran: from a full charge of both ends, with the speakers \
                       off. Lithium cells: charge attended and on the maker's charger, use none \
                       that is swollen, damaged or hot, and do as the maker's manual says.";
        let analysis = AnalysisDescription {
            parameters: settings::declared(),
            plays: true,
            figures: declared::figures(),
            curves: declared::curves(),
            ..describe::listener("endurance", "Run time of a charge", summary)
        };
        describe::plugin("endurance", env!("CARGO_PKG_VERSION"), [analysis])
    }

    fn open(request: &OpenRequest) -> Result<Box<dyn Session>, OpenError> {
        if request.mode() != Mode::Live {
            let text = "how long a charge lasts is measured live: it plays until the link is lost \
                        for good; gaps in recordings are told by `dropout`";
            return Err(Failure::new("live-only", text).into());
        }
        let settings = Settings::read(request);
        let wrong = settings.wrong();
        if !wrong.is_empty() {
            return Err(OpenError::Invalid(wrong));
        }
        Ok(Box::new(EnduranceSession::new(request, settings)?))
    }
}
