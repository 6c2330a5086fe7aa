use super::*;

fn open(playback: &str, capture: &str) -> InterfaceError {
    let config = OpenConfig {
        backend: String::from("alsa"),
        rate_hz: 48_000,
        send_count: 2,
        return_count: 2,
        playback: playback.to_owned(),
        capture: capture.to_owned(),
        ..OpenConfig::default()
    };
    match super::super::open(&config) {
        Ok(_) => panic!("{playback} and {capture} opened"),
        Err(error) => error,
    }
}

#[test]
fn device_that_does_not_exist_is_gone_by_its_id() {
    let error = open("hw:CARD=Nowhere,DEV=0", "null");
    assert!(matches!(error, InterfaceError::Gone { .. }), "{error:?}");
    assert!(
        error.to_string().contains("hw:CARD=Nowhere,DEV=0"),
        "{error}"
    );
    assert!(error.to_string().contains("goodwire devices"), "{error}");
}

#[test]
fn null_device_is_refused_because_it_has_no_clock() {
    let error = open("null", "null");
    assert!(matches!(error, InterfaceError::Unfit { .. }), "{error:?}");
    assert!(error.to_string().contains("has no clock"), "{error}");
}

#[test]
fn busy_device_is_waited_for_and_the_mend_is_named() {
    let busy = cpal::Error::new(cpal::ErrorKind::DeviceBusy);
    let error = refused("hw:CARD=Box,DEV=0", &busy);
    assert!(matches!(error, InterfaceError::Waiting { .. }), "{error:?}");
    assert!(error.to_string().contains("WirePlumber"), "{error}");
}

#[test]
fn forbidden_device_names_the_group() {
    let denied = cpal::Error::new(cpal::ErrorKind::PermissionDenied);
    let error = refused("hw:CARD=Box,DEV=0", &denied);
    assert!(matches!(error, InterfaceError::Unfit { .. }), "{error:?}");
    assert!(error.to_string().contains("group audio"), "{error}");
}
