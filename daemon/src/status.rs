//! The state of daemon, interface, rig and plugins, as one message.

use std::collections::BTreeSet;

use goodwire_proto::v1::{
    HoldState, Interface, Note, Reference, Status, interface::State, note::Level,
};

use crate::{
    audio::{TimeSource, engine::EngineStatus},
    config::{Backend, SimulatedTime, nearest},
    measure::complete::{Desk, note},
    safety,
    store::StoreError,
};

/// A device's own output latency above this is told: `stop` is silent so much later.
const LATENCY_WARN_MS: f64 = 50.0;

/// Gathers the state.
///
/// # Errors
/// Where the store cannot be read.
pub fn of(desk: &Desk, engine: &EngineStatus) -> Result<Status, StoreError> {
    let config = &desk.config;
    let hold = desk.store.hold()?;
    let mut notes = notes(desk, engine);
    notes.extend_from_slice(desk.store.notes());
    notes.extend(desk.registry.notes());
    Ok(Status {
        version: env!("CARGO_PKG_VERSION").into(),
        site: config.site.clone(),
        interface: Some(interface(desk, engine)),
        reference: config.reference.map(|reference| Reference {
            send: number(reference.send),
            r#return: number(reference.r#return),
        }),
        link_count: number(config.links.len()),
        plugins: desk.registry.plugins(),
        hold: hold.map(|hold| HoldState {
            text: hold.text,
            create_time: hold.create_time,
        }),
        queued_count: number(desk.queue.waiting_count()),
        running: desk.watchers.running(),
        notes,
        max_send_dbfs: config.safety.max_send_dbfs,
        unattended: config.safety.unattended,
        calibrations: desk.store.calibrations()?,
        permit: safety::permit_now(&desk.store, &config.safety, &*desk.clock)?,
        permit_needed: config.safety.permit_hours.is_some(),
    })
}

fn number(count: usize) -> i32 {
    i32::try_from(count).unwrap_or(i32::MAX)
}

fn interface(desk: &Desk, engine: &EngineStatus) -> Interface {
    let config = &desk.config.interface;
    let simulated = config.backend.is_simulated();
    let state = match (&engine.shape, engine.tried, engine.waiting) {
        (Some(_), ..) => State::Ready,
        (None, false, _) => State::Opening,
        (None, true, true) => State::Waiting,
        (None, true, false) => State::Lost,
    };
    let shape = engine.shape.as_ref();
    Interface {
        backend: config.backend.name().into(),
        device: shape.map(|shape| shape.device.clone()).unwrap_or_default(),
        state: state as i32,
        text: engine.text.clone(),
        rate_hz: i32::try_from(shape.map_or(config.rate_hz, |one| one.rate_hz)).unwrap_or(i32::MAX),
        period_frames: shape.map_or(0, |shape| number(shape.period_frames)),
        send_count: number(config.send_count),
        return_count: number(config.return_count),
        simulated,
        time: time(&config.backend).into(),
        locked: shape.is_some_and(|shape| shape.locked),
        output_latency_ms: shape.and_then(|shape| shape.output_latency_ms),
        xrun_count: i32::try_from(engine.xrun_count).unwrap_or(i32::MAX),
        epoch: i32::try_from(engine.epoch).unwrap_or(i32::MAX),
        scheduling: shape
            .map(|shape| shape.scheduling.clone())
            .unwrap_or_default(),
    }
}

fn time(backend: &Backend) -> &'static str {
    match backend {
        Backend::Simulated(simulated) if simulated.time == SimulatedTime::Virtual => "virtual",
        Backend::Simulated(_) => "real",
        Backend::Jack(_) | Backend::Alsa(_) => "device",
    }
}

fn notes(desk: &Desk, engine: &EngineStatus) -> Vec<Note> {
    let mut notes = Vec::new();
    let mut say = |level: Level, id: &str, text: String| notes.push(note(level, id, text));
    if desk.config.reference.is_none() {
        let text = "the rig has no reference: results are against what was played, and faults of \
                    the interface look like faults of the link";
        say(Level::Warning, "no-reference", text.into());
    }
    if !desk.config.safety.unattended {
        let text = "nothing is played unless somebody says with each request that sound may be \
                    played (--present), or safety.unattended = true";
        say(Level::Info, "presence-needed", text.into());
    }
    if let Some(text) = unconnected(&desk.config.interface.backend) {
        say(Level::Warning, "nothing-connected", text);
    }
    for text in limits_without_analysis(desk) {
        say(Level::Warning, "limit-without-analysis", text);
    }
    let Some(shape) = &engine.shape else {
        return notes;
    };
    if let Some(latency_ms) = shape.output_latency_ms.filter(|ms| *ms > LATENCY_WARN_MS) {
        let text = format!(
            "the device's own output latency is {latency_ms:.0} ms: after `stop` it sounds that \
             much longer; a shorter period helps"
        );
        say(Level::Warning, "slow-device", text);
    }
    if !shape.locked && shape.time == TimeSource::Device {
        let text = "sends and returns of this device do not share one start: delay is only known \
                    with a reference in the same capture";
        say(Level::Info, "two-clocks", text.into());
    }
    notes
}

/// What is said of each analysis that limits name and no plugin provides: it may still be installed.
#[must_use]
pub fn limits_without_analysis(desk: &Desk) -> Vec<String> {
    let installed = desk.registry.analyses();
    let names = || {
        let names = installed.iter();
        names.map(|one| one.name.trim_start_matches("analyses/"))
    };
    let limits = desk.config.limits.iter();
    let wanted: BTreeSet<&str> = limits.map(|limit| limit.analysis.as_str()).collect();
    let missing = wanted
        .into_iter()
        .filter(|id| !names().any(|name| name == *id));
    let told = missing.map(|id| {
        let meant = nearest(id, names()).map(|near| format!("; did you mean \"{near}\"?"));
        let meant = meant.unwrap_or_default();
        format!("a [[limit]] names the analysis \"{id}\", which is not installed{meant}")
    });
    told.collect()
}

/// What a JACK configuration leaves without any connection; `None` where all is listed.
fn unconnected(backend: &Backend) -> Option<String> {
    let Backend::Jack(jack) = backend else {
        return None;
    };
    let (keys, sides) = match (jack.sends.is_empty(), jack.returns.is_empty()) {
        (true, true) => (
            "sends and returns",
            "nothing is played and nothing is heard",
        ),
        (true, false) => ("sends", "nothing is played"),
        (false, true) => ("returns", "nothing is heard"),
        (false, false) => return None,
    };
    Some(format!(
        "[interface.jack] lists no {keys}: {sides} until it names the ports to connect, as \
         `goodwire devices` prints them"
    ))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::config::JackConfig;

    #[test]
    fn ports_that_no_one_listed_are_told_and_listed_ones_are_not() {
        let told = |sends: &[&str], returns: &[&str]| {
            let names = |all: &[&str]| all.iter().map(ToString::to_string).collect();
            unconnected(&Backend::Jack(JackConfig {
                sends: names(sends),
                returns: names(returns),
            }))
        };
        assert_eq!(told(&["a:in"], &["a:out"]), None);
        assert!(told(&[], &[]).unwrap().contains("no sends and returns"));
        assert!(told(&[], &["a:out"]).unwrap().contains("nothing is played"));
        assert!(told(&["a:in"], &[]).unwrap().contains("nothing is heard"));
    }
}
