//! The daemon on one screen.

use goodwire_proto::v1::{Calibration, Interface, Plugin, Status, interface, note::Level, plugin};

use super::{
    Look,
    look::Paint,
    table::{Side, Table},
    time,
};

/// State of daemon, interface, rig and plugins.
pub fn render(look: &Look, status: &Status) -> String {
    let title = format!("goodwired {} at {}", status.version, status.site);
    let mut text = look.paint(Paint::Bold, &title) + "\n\n";
    let mut say = |name: &str, value: String| {
        text.push_str(&look.wrap(&format!("  {name:10} "), &value));
    };
    if let Some(interface) = &status.interface {
        say("interface", interface_words(interface));
        say("sound", sound_words(interface));
    }
    say("rig", rig_words(status));
    say("playing", permission_words(status));
    for calibration in &status.calibrations {
        say("calibrated", calibration_words(calibration));
    }
    say("work", work_words(status));
    if let Some(hold) = &status.hold {
        let since = time::full(hold.create_time.as_ref());
        let why = if hold.text.is_empty() {
            "no reason given"
        } else {
            &hold.text
        };
        text.push_str(&look.wrap(
            "  ! ",
            &format!("HELD since {since}: {why}. Nothing plays until `goodwire release`."),
        ));
    }
    text.push_str(&plugins(look, &status.plugins));
    if !status.notes.is_empty() {
        text.push_str(&look.heading("Notes"));
    }
    for note in &status.notes {
        let first = if note.level() == Level::Warning {
            "  ! "
        } else {
            "  - "
        };
        text.push_str(&look.wrap(first, &note.text));
    }
    text
}

fn interface_words(interface: &Interface) -> String {
    let state = match interface.state() {
        interface::State::Ready => "ready",
        interface::State::Opening => "opening",
        interface::State::Lost => "LOST",
        interface::State::Waiting => "waiting",
        interface::State::Unspecified => "in a state that this goodwire does not know",
    };
    let mut words = interface.backend.clone();
    if !interface.device.is_empty() && interface.device != interface.backend {
        words = format!("{words}, {}", interface.device);
    }
    if interface.simulated && interface.backend != "simulated" {
        words.push_str(" (SIMULATED)");
    }
    words = format!("{words}: {state}");
    if !interface.text.is_empty() {
        words = format!("{words}, {}", interface.text);
    }
    words
}

fn sound_words(interface: &Interface) -> String {
    let mut words = vec![
        format!("{} Hz", interface.rate_hz),
        format!("{} sends", interface.send_count),
        format!("{} returns", interface.return_count),
        format!("{} time", interface.time),
    ];
    if interface.period_frames > 0 {
        words.push(format!("period {}", interface.period_frames));
    }
    if let Some(latency_ms) = interface.output_latency_ms {
        words.push(format!("output latency {latency_ms:.1} ms"));
    }
    if interface.xrun_count > 0 {
        words.push(format!("{} xruns", interface.xrun_count));
    }
    if !interface.scheduling.is_empty() {
        words.push(format!("scheduled {}", interface.scheduling));
    }
    words.join(", ")
}

fn rig_words(status: &Status) -> String {
    let reference = status.reference.as_ref().map_or_else(
        || "no reference cable".to_owned(),
        |cable| {
            format!(
                "reference cable from send {} to return {}",
                cable.send, cable.r#return
            )
        },
    );
    let links = if status.link_count == 1 {
        "link"
    } else {
        "links"
    };
    format!("{} {links}, {reference}", status.link_count)
}

fn permission_words(status: &Status) -> String {
    let permit = status.permit.as_ref();
    let who = match (status.unattended, status.permit_needed, permit) {
        (false, ..) => "only where somebody is present".to_owned(),
        (true, false, _) => "with nobody present".to_owned(),
        (true, true, None) => "with nobody present once there is a permit".to_owned(),
        (true, true, Some(permit)) => {
            let until = time::full(permit.until_time.as_ref());
            format!("with nobody present until {until}")
        }
    };
    format!("at most {:.1} dBFS peak, {who}", status.max_send_dbfs)
}

fn calibration_words(calibration: &Calibration) -> String {
    let side = calibration.side().as_str_name().to_lowercase();
    format!(
        "{side} {}: full scale is {} V",
        calibration.channel, calibration.volts
    )
}

fn work_words(status: &Status) -> String {
    let running: Vec<_> = status
        .running
        .iter()
        .map(|m| {
            let link = m.link.trim_start_matches("links/");
            format!("{} {link} {:.0} %", m.analysis, m.progress * 100.0)
        })
        .collect();
    match (running.is_empty(), status.queued_count) {
        (true, 0) => "nothing runs or waits".into(),
        (true, waiting) => format!("{waiting} waiting"),
        (false, waiting) => format!("runs {}; {waiting} waiting", running.join(", ")),
    }
}

fn plugins(look: &Look, plugins: &[Plugin]) -> String {
    if plugins.is_empty() {
        return "\nNo plugins were found: nothing can be measured.\n".into();
    }
    let mut table = Table::new([
        ("plugin", Side::Left),
        ("version", Side::Left),
        ("state", Side::Left),
        ("analyses", Side::Short),
    ]);
    let mut broken = String::new();
    for one in plugins {
        let state = match one.state() {
            plugin::State::Ready => "ready",
            plugin::State::SetAside => "set aside",
            plugin::State::Broken | plugin::State::Unspecified => "BROKEN",
        };
        let name = if one.plugin.is_empty() {
            one.path.rsplit('/').next().unwrap_or_default()
        } else {
            &one.plugin
        };
        table.row([name, &one.version, state, &one.analyses.join(", ")]);
        if !one.text.is_empty() {
            broken.push_str(&look.wrap("  ! ", &format!("{}: {}", one.path, one.text)));
        }
    }
    format!("\n{}{broken}", table.render(look))
}

#[cfg(test)]
mod tests {
    use super::*;
    use goodwire_proto::v1::{HoldState, Reference};

    #[test]
    fn one_screen_tells_interface_rig_permission_hold_and_plugins() {
        let mut interface = Interface {
            backend: "simulated".into(),
            device: "simulated".into(),
            rate_hz: 48_000,
            send_count: 2,
            return_count: 5,
            simulated: true,
            time: "virtual".into(),
            ..Interface::default()
        };
        interface.set_state(interface::State::Ready);
        let mut response = Plugin {
            path: "/lib/libgoodwire_response.so".into(),
            plugin: "response".into(),
            version: "0.1.0".into(),
            analyses: vec!["response".into()],
            ..Plugin::default()
        };
        response.set_state(plugin::State::Ready);
        let status = Status {
            version: "0.1.0".into(),
            site: "lantern-cellar".into(),
            interface: Some(interface),
            reference: Some(Reference {
                send: 2,
                r#return: 2,
            }),
            link_count: 4,
            plugins: vec![response],
            hold: Some(HoldState {
                text: "sound check".into(),
                create_time: Some("2026-11-25T18:00:00Z".parse().unwrap()),
            }),
            unattended: true,
            ..Status::default()
        };
        let look = Look {
            width: 80,
            unicode: true,
            colour: false,
        };
        assert_eq!(
            render(&look, &status),
            "\
goodwired 0.1.0 at lantern-cellar

  interface  simulated: ready
  sound      48000 Hz, 2 sends, 5 returns, virtual time
  rig        4 links, reference cable from send 2 to return 2
  playing    at most 0.0 dBFS peak, with nobody present
  work       nothing runs or waits
  ! HELD since 2026-11-25 18:00:00 UTC: sound check. Nothing plays until
    `goodwire release`.

  plugin    version  state  analyses
  response  0.1.0    ready  response
"
        );
    }
}
