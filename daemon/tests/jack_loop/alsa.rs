//! The ALSA back end in real time without hardware: libasound's JACK plugin makes ALSA devices of
//! the ports of a server of the test's own.

use std::{io::Write as _, path::PathBuf, time::Duration};

use super::{
    clients::{GAIN, TestClient},
    player::noise,
    server::{Server, Turn},
};
use goodwired::audio::{Heard, Interface, InterfaceError, OpenConfig, devices, open};

const PERIOD_FRAMES: usize = 1024;
const BLOCK_FRAMES: usize = 512;

/// The plugin, where it is installed; else `GOODWIRE_ALSA_JACK_PLUGIN` may name it.
fn plugin() -> Option<PathBuf> {
    let named = std::env::var_os("GOODWIRE_ALSA_JACK_PLUGIN").map(PathBuf::from);
    let installed = ["x86_64", "aarch64"].map(|machine| {
        let folder = format!("/usr/lib/{machine}-linux-gnu/alsa-lib");
        PathBuf::from(folder).join("libasound_module_pcm_jack.so")
    });
    named
        .into_iter()
        .chain(installed)
        .find(|path| path.exists())
}

/// Makes `dut` an ALSA device with both directions, listed as the others are.
fn configure(plugin: &std::path::Path) -> tempfile::NamedTempFile {
    let mut file = tempfile::NamedTempFile::new().unwrap();
    writeln!(
        file,
        r#"</usr/share/alsa/alsa.conf>
pcm_type.jack {{ lib "{}" }}
pcm.dut {{
    type jack
    playback_ports {{ 0 dut:in_1 1 dut:in_2 }}
    capture_ports {{ 0 dut:out_1 1 dut:out_2 }}
    hint {{ show on description "device under test" }}
}}"#,
        plugin.display()
    )
    .unwrap();
    file
}

/// Plays noise for `time` and gives all that was heard, one entry an epoch.
fn record(interface: &mut dyn Interface, time: Duration) -> Vec<(Heard, Vec<Vec<f32>>)> {
    let begun = std::time::Instant::now();
    let (mut next_frame, mut epochs) = (0, Vec::<(Heard, Vec<Vec<f32>>)>::new());
    while begun.elapsed() < time {
        let block: Vec<Vec<f32>> = (0..2)
            .map(|send| {
                let frames = next_frame..next_frame + BLOCK_FRAMES as u64;
                frames.map(|frame| noise(frame, send)).collect()
            })
            .collect();
        let block: Vec<&[f32]> = block.iter().map(Vec::as_slice).collect();
        let mut heard = vec![Vec::new(); 2];
        let wait = Duration::from_millis(50);
        let got = interface
            .exchange(next_frame, &block, &mut heard, wait)
            .unwrap();
        next_frame += BLOCK_FRAMES as u64;
        match epochs
            .last_mut()
            .filter(|(first, _)| first.epoch == got.epoch)
        {
            None => epochs.push((got, heard)),
            Some((first, so_far)) => {
                let expected = first.first_frame + so_far[0].len() as u64;
                assert_eq!((got.first_frame, got.lost), (expected, None));
                for (all, new) in so_far.iter_mut().zip(heard) {
                    all.extend(new);
                }
            }
        }
    }
    epochs
}

/// The offset between what was played and `heard`, where all of it fits to the bit.
fn exact_offset(first_frame: u64, heard: &[f32], channel: usize) -> Option<i64> {
    // Half a second into the epoch all ramps and fillings are over.
    let probe = heard.get(24_000..24_000 + 4800)?;
    let fits = |offset: i64| {
        let frames = (first_frame + 24_000).wrapping_add_signed(-offset)..;
        // The plugin hands over 32-bit floats or integers; half an LSB of 24 bits is allowed.
        frames.zip(probe).all(|(frame, &sample)| {
            (sample - GAIN * noise(frame, channel)).abs() < 0.5 / f32::from(1_u8 << 7) / 65536.0
        })
    };
    (-24_000..24_000).find(|&offset| fits(offset))
}

#[test]
fn both_channels_of_a_capture_share_one_offset_that_another_start_changes_at_will() {
    let Some(_turn) = Turn::take() else { return };
    let Some(plugin) = plugin() else {
        println!("SKIPPED: libasound2-plugins is not installed");
        return;
    };
    let _server = Server::start(PERIOD_FRAMES);
    let dut = TestClient::device_under_test(2);
    let configuration = configure(&plugin);
    // SAFETY: libasound reads it under this turn alone.
    unsafe { std::env::set_var("ALSA_CONFIG_PATH", configuration.path()) };
    let listed = devices::list(true);
    assert!(
        listed
            .devices
            .iter()
            .any(|device| device.id == "dut" && !device.transparent)
    );

    let config = OpenConfig {
        backend: String::from("alsa"),
        rate_hz: 48_000,
        send_count: 2,
        return_count: 2,
        playback: String::from("dut"),
        capture: String::from("dut"),
        ..OpenConfig::default()
    };
    let mut exact_count = 0;
    for _ in 0..3 {
        let mut interface = open(&config).unwrap();
        interface.set_ceilings(&[1.0, 1.0]);
        assert!(!interface.shape().locked && interface.shape().backend == "alsa");
        println!("{:?}", interface.shape());
        for (first, heard) in record(interface.as_mut(), Duration::from_secs(4)) {
            let offsets = [0, 1].map(|k| exact_offset(first.first_frame, &heard[k], k));
            println!(
                "epoch {}: {} frames, offsets {offsets:?}",
                first.epoch,
                heard[0].len()
            );
            if let [Some(one), other] = offsets {
                assert_eq!(Some(one), other);
                exact_count += 1;
            }
        }
        println!("{} xruns", interface.xrun_count());
    }
    assert!(exact_count > 0, "in no epoch came back what was played");

    let mut interface = open(&config).unwrap();
    drop((dut, _server));
    let error = loop {
        let (block, mut heard) = ([0.0; BLOCK_FRAMES], vec![Vec::new(); 2]);
        let wait = Duration::from_millis(50);
        if let Err(error) = interface.exchange(0, &[&block, &block], &mut heard, wait) {
            break error;
        }
    };
    println!("{error}");
    let told = matches!(
        error,
        InterfaceError::Stalled { .. } | InterfaceError::Gone { .. }
    );
    assert!(told && error.to_string().contains("dut"), "{error:?}");
}
