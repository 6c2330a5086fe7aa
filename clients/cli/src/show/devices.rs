//! What the audio back ends can see.

use goodwire_proto::v1::{Device, Note};

use super::{
    Look,
    table::{Side, Table},
};

/// A table of devices, what else is to be known of each, and the back ends that could not be asked.
pub fn render(look: &Look, devices: &[Device], notes: &[Note]) -> String {
    let mut text = String::new();
    if devices.is_empty() {
        text.push_str("No audio device is to be seen.\n");
    } else {
        let mut table = Table::new([
            ("back end", Side::Left),
            ("id", Side::Left),
            ("sends", Side::Right),
            ("returns", Side::Right),
            ("unchanged", Side::Left),
            ("name", Side::Short),
        ]);
        for device in devices {
            let count = |count: Option<i32>| count.map_or_else(|| "?".into(), |n| n.to_string());
            table.row([
                device.backend.clone(),
                device.id.clone(),
                count(device.send_count),
                count(device.return_count),
                (if device.transparent { "yes" } else { "no" }).to_owned(),
                device.title.clone(),
            ]);
        }
        text.push_str(&table.render(look));
    }
    let remarks = devices
        .iter()
        .filter(|device| !device.text.is_empty())
        .map(|device| format!("{}: {}", device.id, device.text))
        .chain(notes.iter().map(|note| note.text.clone()));
    for remark in remarks {
        text.push_str(&look.wrap("  - ", &remark));
    }
    text
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn devices_show_their_ids_and_whether_they_change_the_sound() {
        let device = Device {
            backend: "alsa".into(),
            id: "hw:CARD=Box,DEV=0".into(),
            title: "Box".into(),
            send_count: Some(2),
            transparent: true,
            text: "two clocks' worth of offsets".into(),
            ..Device::default()
        };
        let look = Look {
            width: 80,
            unicode: true,
            colour: false,
        };
        assert_eq!(
            render(&look, &[device], &[]),
            "  back end  id                 sends  returns  unchanged  name\n  \
               alsa      hw:CARD=Box,DEV=0      2        ?  yes        Box\n  \
               - hw:CARD=Box,DEV=0: two clocks' worth of offsets\n"
        );
        assert!(render(&look, &[], &[]).starts_with("No audio device"));
    }
}
