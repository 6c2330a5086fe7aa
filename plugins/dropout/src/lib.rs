//! The analysis `dropout`: when and for how long a link's sound was lost while the cable's was there.

mod body;
mod declared;
mod notes;
mod recorded;
mod result;
mod session;
mod settings;

use goodwire_plugin_sdk::payload::{AnalysisDescription, Description, OpenRequest, Silence};
use goodwire_plugin_sdk::{OpenError, Plugin, Session, describe, export_plugin};

use session::DropoutSession;
use settings::Settings;

/// The plugin of the analysis `dropout`.
pub struct Dropout;

export_plugin!(Dropout);

impl Plugin for Dropout {
    fn describe() -> Description {
        let silent_with = [("pilot", "none"), ("source", "external")];
        let silence = |(parameter, value): (&str, &str)| Silence {
            parameter: parameter.to_owned(),
            value: value.to_owned(),
        };
        let summary = "Plays noise that never repeats and compares the link with the cable moment by \
                       moment: finds where the sound was lost, or hidden by a repeated packet, a fade \
                       or comfort noise, from 2 ms on. Without a dropout, 3 h show fewer than one an \
                       hour with 95 % confidence, 18 min fewer than ten. With pilot=none it plays \
                       nothing and watches programme for mutes, clicks, clipping and lost level.";
        let analysis = AnalysisDescription {
            parameters: settings::declared(),
            plays: true,
            silent_with: silent_with.map(silence).into(),
            figures: declared::figures(),
            curves: declared::curves(),
            ..describe::listener("dropout", "Dropouts", summary)
        };
        describe::plugin("dropout", env!("CARGO_PKG_VERSION"), [analysis])
    }

    fn open(request: &OpenRequest) -> Result<Box<dyn Session>, OpenError> {
        let settings = Settings::read(request);
        let wrong = settings.wrong(request);
        if !wrong.is_empty() {
            return Err(OpenError::Invalid(wrong));
        }
        Ok(Box::new(DropoutSession::new(request, settings)?))
    }
}
