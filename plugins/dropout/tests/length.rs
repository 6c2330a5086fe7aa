//! How long may be watched: a day live, half an hour from files.

use goodwire_plugin_dropout::Dropout;
use goodwire_plugin_sdk::parameters::request_of_defaults;
use goodwire_plugin_sdk::payload::OpenRequest;
use goodwire_plugin_sdk::payload::open_request::Mode;
use goodwire_plugin_sdk::{Kind, OpenError, Plugin, Value};

fn request(mode: Mode, seconds: f64) -> OpenRequest {
    let declared = Dropout::describe().analyses.remove(0).parameters;
    let mut request = request_of_defaults("dropout", &declared);
    let fields = &mut request.parameters.as_mut().unwrap().fields;
    let kind = Some(Kind::NumberValue(seconds));
    fields.insert("duration_s".to_owned(), Value { kind });
    OpenRequest {
        mode: mode.into(),
        rate_hz: 48_000,
        returned_rate_hz: 48_000,
        ..request
    }
}

#[test]
fn a_day_is_watched_live_and_no_file_has_more_than_1800_s() {
    let mut session =
        Dropout::open(&request(Mode::Live, 86_400.0)).unwrap_or_else(|_| panic!("a day is taken"));
    let expected = session.plan().unwrap().steps[0].expected_frame_count;
    assert!(expected.is_some_and(|frames| frames >= 86_400.0 * 48_000.0));
    for mode in [Mode::Stimulus, Mode::Recorded] {
        assert!(Dropout::open(&request(mode, 1_800.0)).is_ok());
        let Err(OpenError::Invalid(wrong)) = Dropout::open(&request(mode, 1_801.0)) else {
            panic!("{mode:?} of 1801 s was taken");
        };
        assert_eq!(wrong[0].field, "duration_s");
        assert!(wrong[0].text.contains("at most 1800 s, not 1801 s"));
    }
}
