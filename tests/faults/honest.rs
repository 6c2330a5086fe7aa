//! Plugins that behave: one in C, one in Rust through the SDK.

use std::time::{Duration, Instant};

use goodwire_proto::{
    plugin::v1::{LostFrames, Mark, SessionNote, session_note},
    v1::Figure,
};
use goodwired::plugins::{
    Block, Fed, Limits, PluginEntry, PluginError, Session, check_parameters, check_peak,
};
use prost_types::Struct;

use super::ground::{Census, alone, c_plugin, find, request, rust_plugin};

/// Opens a session of the plugin's only analysis with its defaults and what is `given`.
fn open(plugin: &PluginEntry, given: &[(&str, &str)]) -> Result<Session, PluginError> {
    let analysis = &plugin.description.analyses[0];
    let fields = given
        .iter()
        .map(|(name, value)| ((*name).into(), (*value).into()))
        .collect();
    let parameters = check_parameters(&analysis.parameters, &Struct { fields }).unwrap();
    let mut request = request(&analysis.id);
    request.parameters = Some(parameters);
    Session::open(plugin, &request, &Limits::default())
}

/// One block of the first step from `first_frame` on.
fn block<'a>(first_frame: u64, last: bool, channels: &'a [Option<&'a [f32]>]) -> Block<'a> {
    Block {
        step: 0,
        repeat: 0,
        first_frame,
        stream_frame: first_frame,
        last,
        channels,
    }
}

fn value(figures: &[Figure], id: &str) -> f64 {
    let figure = figures.iter().find(|figure| figure.id == id);
    figure
        .unwrap_or_else(|| panic!("no figure {id} in {figures:?}"))
        .value
        .unwrap()
}

/// Plays the whole first step through a link of half the amplitude, in blocks of 4096 frames.
fn measure(session: &mut Session) -> f64 {
    let plan = session.plan().unwrap();
    let step = &plan.steps[0];
    let stimulus = session.render(0, 0, step.frame_count as u32).unwrap();
    check_peak(&stimulus, step.peak_dbfs, session.plugin()).unwrap();
    let heard: Vec<f32> = stimulus.iter().map(|sample| 0.5 * sample).collect();
    session.begin(0, 0, false).unwrap();
    for (index, samples) in heard.chunks(4096).enumerate() {
        let first_frame = index as u64 * 4096;
        let last = first_frame as usize + samples.len() == heard.len();
        let mut channels = vec![None; plan.captures.len()];
        channels[0] = Some(samples);
        assert_eq!(
            session.feed(&block(first_frame, last, &channels)),
            Ok(Fed::More)
        );
    }
    20.0 * f64::from(
        heard
            .iter()
            .fold(0.0_f32, |peak, sample| peak.max(sample.abs())),
    )
    .log10()
}

#[test]
fn a_plugin_in_c_measures_and_takes_notes_of_96_lost_frames_and_a_mark_at_0_25_s() {
    let _alone = alone();
    let folder = tempfile::tempdir().unwrap();
    c_plugin(
        "plugins/abi/examples/goodwire_plugin_peak.c",
        folder.path(),
        "peak",
        "-Werror",
    );
    let plugin = find(folder.path(), "peak");
    let before = Census::take();
    let mut session = open(&plugin, &[("level_dbfs", "-26")]).unwrap();
    let want_dbfs = measure(&mut session);
    let lost = session_note::Note::Lost(LostFrames {
        frame_count: Some(96.0),
    });
    let mark = session_note::Note::Mark(Mark {
        metres: Some(18.0),
        label: "bar".into(),
    });
    session
        .note(&SessionNote {
            note: Some(lost),
            at_frame: 4800.0,
        })
        .unwrap();
    session
        .note(&SessionNote {
            note: Some(mark),
            at_frame: 12_000.0,
        })
        .unwrap();
    let readings = session.readings().unwrap();
    // The plugin computes with f64 from f32 samples: equal but for the last bits of log10.
    assert!((value(&readings.figures, "peak") - want_dbfs).abs() < 1e-9);
    let result = session.finish(false).unwrap();
    session.close();
    let got_dbfs = value(&result.figures, "peak");
    assert!(
        (got_dbfs - want_dbfs).abs() < 1e-9,
        "got {got_dbfs} dBFS, want {want_dbfs} dBFS"
    );
    // -26 dBFS through half the amplitude; 997 Hz at 48 kHz comes within 1e-4 dB of its crest.
    assert!(
        (got_dbfs - (-26.0 - 6.0206)).abs() < 1e-3,
        "got {got_dbfs} dBFS"
    );
    assert!((value(&result.figures, "lost_frames") - 96.0).abs() < f64::EPSILON);
    assert_eq!(result.events.len(), 1);
    assert_eq!(
        (result.events[0].id.as_str(), result.events[0].text.as_str()),
        ("mark", "bar")
    );
    assert_eq!(result.events[0].start_s, Some(0.25));
    assert_eq!(Census::take(), before);
}

#[test]
fn a_stimulus_is_the_same_bit_for_bit_however_it_is_cut() {
    let _alone = alone();
    let folder = tempfile::tempdir().unwrap();
    c_plugin(
        "plugins/abi/examples/goodwire_plugin_peak.c",
        folder.path(),
        "peak",
        "-Werror",
    );
    for plugin in [find(folder.path(), "peak"), find_loudest()] {
        let mut session = open(&plugin, &[]).unwrap();
        let end = session.plan().unwrap().steps[0].frame_count as usize;
        let whole = session.render(0, 0, 300_000).unwrap();
        let mut pieces = Vec::new();
        for frame_count in [1, 4095, 43_904, 52_000, 200_000] {
            pieces.extend(session.render(0, pieces.len() as u64, frame_count).unwrap());
        }
        assert!(
            whole == pieces,
            "{} renders differently when cut",
            plugin.label()
        );
        assert!(whole[..end].iter().any(|&sample| sample != 0.0));
        assert!(
            whole[end..].iter().all(|&sample| sample == 0.0),
            "not silent past the end"
        );
    }
}

fn find_loudest() -> std::sync::Arc<PluginEntry> {
    find(rust_plugin("loudest").parent().unwrap(), "loudest")
}

#[test]
fn the_example_of_the_sdk_measures_and_fails_with_its_own_words() {
    let _alone = alone();
    let plugin = find_loudest();
    let before = Census::take();
    let mut session = open(&plugin, &[]).unwrap();
    let want_dbfs = measure(&mut session);
    let result = session.finish(false).unwrap();
    session.close();
    assert!((value(&result.figures, "peak") - want_dbfs).abs() < 1e-9);

    let mut session = open(&plugin, &[]).unwrap();
    session.plan().unwrap();
    session.begin(0, 0, false).unwrap();
    session.feed(&block(0, true, &[Some(&[0.0; 480])])).unwrap();
    let error = session.finish(false).unwrap_err();
    let (id, text) = ("no-signal".into(), "the link returned silence".into());
    let channel = String::new();
    assert_eq!(error, PluginError::Failed { id, text, channel });
    assert!(!error.is_fault());
    drop(session);
    assert_eq!(Census::take(), before);
}

#[test]
fn a_panic_in_any_call_of_an_sdk_plugin_is_told_as_a_crash_with_its_words() {
    let _alone = alone();
    let plugin = find(rust_plugin("panics").parent().unwrap(), "panics");
    let before = Census::take();
    for place in [
        "open", "plan", "render", "begin", "feed", "note", "readings", "finish",
    ] {
        let run = || -> Result<(), PluginError> {
            let mut session = open(&plugin, &[("place", place)])?;
            session.plan()?;
            session.render(0, 0, 10)?;
            session.begin(0, 0, false)?;
            session.feed(&block(0, true, &[]))?;
            session.note(&SessionNote::default())?;
            session.readings()?;
            session.finish(false).map(drop)
        };
        let Err(PluginError::Crashed { call, how, log, .. }) = run() else {
            panic!("no crash in {place}");
        };
        assert_eq!(call.to_string(), place);
        assert_eq!(how, format!("plugin-panicked: a bug in {place}"));
        assert!(log.contains("panicked at"), "{log}");
    }
    assert_eq!(Census::take(), before);
}

#[test]
fn a_session_is_stopped_from_another_thread_within_a_second() {
    let _alone = alone();
    let folder = tempfile::tempdir().unwrap();
    super::ground::zoo(folder.path(), 0);
    let plugin = find(folder.path(), "sleep");
    let mut session = Session::open(&plugin, &request("sleep"), &Limits::default()).unwrap();
    session.begin(0, 0, false).unwrap();
    let stopper = session.stopper();
    let start = Instant::now();
    let stopping = std::thread::spawn(move || stopper.stop());
    let error = session
        .feed(&block(0, true, &[Some(&[0.0; 480])]))
        .unwrap_err();
    assert_eq!(
        error,
        PluginError::Stopped {
            plugin: "zoo 0.6.6".into()
        }
    );
    assert!(
        start.elapsed() < Duration::from_secs(1),
        "took {:?}",
        start.elapsed()
    );
    assert!(session.plan().is_err(), "a stopped session answers");
    stopping.join().unwrap();
}

/// The best of several tries: what else runs on the machine is not measured.
fn best_of<T>(count: usize, mut once: impl FnMut() -> T) -> Duration {
    let timed = |_| {
        let start = Instant::now();
        once();
        start.elapsed()
    };
    (0..count).map(timed).min().unwrap()
}

#[test]
fn from_start_to_first_feed_takes_less_than_50_ms() {
    let _alone = alone();
    let plugin = find_loudest();
    let best = best_of(20, || {
        let mut session = open(&plugin, &[]).unwrap();
        session.plan().unwrap();
        session.begin(0, 0, false).unwrap();
        session
            .feed(&block(0, false, &[Some(&[0.0; 1024])]))
            .unwrap();
        session
    });
    println!("start to first feed, with the end of the process: {best:?}");
    assert!(best < Duration::from_millis(50), "took {best:?}");
}

#[test]
fn feeding_16_channels_keeps_100_times_ahead_of_48_khz() {
    let _alone = alone();
    let plugin = find_loudest();
    let mut session = open(&plugin, &[]).unwrap();
    session.plan().unwrap();
    session.begin(0, 0, false).unwrap();
    let samples = vec![0.1_f32; 4096];
    let channels = [Some(&samples[..]); 16];
    let mut first_frame = 0;
    let best = best_of(50, || {
        session.feed(&block(first_frame, false, &channels)).unwrap();
        first_frame += 4096;
    });
    println!("one block of 16 x 4096 samples: {best:?}");
    let block_s = 4096.0 / 48_000.0;
    assert!(
        best.as_secs_f64() < block_s / 100.0,
        "took {best:?} for {block_s} s of sound"
    );
}
