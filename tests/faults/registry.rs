//! Finding plugins: probing, changes, duplicates, and setting aside.

use std::{
    fs,
    path::Path,
    time::{Duration, Instant},
};

use goodwire_proto::v1::plugin::State;
use goodwired::plugins::{FindError, Registry};

use super::ground::{Census, alone, c_plugin, host, zoo};

const PEAK: &str = "plugins/abi/examples/goodwire_plugin_peak.c";

fn scan(folder: &Path) -> Registry {
    Registry::scan(&[folder.to_owned()], &host())
}

#[test]
fn libraries_that_are_bad_before_any_session_are_broken_and_say_why() {
    let _alone = alone();
    let folder = tempfile::tempdir().unwrap();
    let bad_entries = [
        "hung in describe",
        "killed by SIGABRT",
        "cannot be read",
        "killed by SIGABRT",
        "hung in describe",
        "the plugin speaks ABI 2, this host 1",
        "the plugin's table has no describe",
        "exports no symbol goodwire_plugin",
        "does not speak ABI 1",
    ];
    for number in 1..=bad_entries.len() {
        zoo(folder.path(), number as u32);
    }
    fs::write(
        folder.path().join("libgoodwire_plugin_zoo_text.so"),
        "no library at all",
    )
    .unwrap();
    fs::write(folder.path().join("libother.so"), "not looked at").unwrap();
    let before = Census::take();
    let registry = scan(folder.path());
    let plugins = registry.plugins();
    assert_eq!(plugins.len(), bad_entries.len() + 1);
    let texts = bad_entries.into_iter().chain(["file too short"]);
    for (plugin, text) in plugins.iter().zip(texts) {
        assert_eq!(plugin.state(), State::Broken, "{plugin:?}");
        assert!(plugin.text.contains(text), "want {text:?} in {plugin:?}");
    }
    assert_eq!(registry.analyses(), []);
    assert_eq!(Census::take(), before);
}

#[test]
fn a_plugin_is_probed_again_only_when_its_file_changes() {
    let _alone = alone();
    let folder = tempfile::tempdir().unwrap();
    let library = c_plugin(PEAK, folder.path(), "peak", "-Werror");
    let registry = scan(folder.path());
    let first = registry.find("peak", None).unwrap();
    assert_eq!(
        first.plugin.hash,
        blake3::hash(&fs::read(&library).unwrap())
            .to_hex()
            .to_string()
    );
    registry.rescan();
    let same = registry.find("peak", None).unwrap();
    assert!(
        std::sync::Arc::ptr_eq(&first.plugin, &same.plugin),
        "it was probed again"
    );

    // Another file in its place, as an upgrade leaves it.
    let other = tempfile::tempdir().unwrap();
    fs::rename(zoo(other.path(), 0), &library).unwrap();
    let zoo = registry.find("segfault", None).unwrap();
    assert_ne!(zoo.plugin.hash, first.plugin.hash);
    assert!(matches!(
        registry.find("peak", None),
        Err(FindError::Unknown { .. })
    ));

    fs::remove_file(&library).unwrap();
    registry.rescan();
    assert_eq!(registry.plugins(), []);
}

#[test]
fn of_two_plugins_of_one_analysis_the_first_by_path_is_used_and_a_note_says_so() {
    let _alone = alone();
    let folder = tempfile::tempdir().unwrap();
    let second = c_plugin(PEAK, folder.path(), "b_second", "-Werror");
    let first = folder.path().join("libgoodwire_plugin_a_first.so");
    fs::copy(&second, &first).unwrap();
    let registry = scan(folder.path());
    assert_eq!(registry.find("peak", None).unwrap().plugin.path, first);
    assert_eq!(registry.analyses().len(), 1);
    let notes = registry.notes();
    assert_eq!(notes.len(), 1);
    assert_eq!(notes[0].id, "duplicate-analysis");
    assert!(notes[0].text.contains("b_second") && notes[0].text.contains("a_first"));
}

#[test]
fn three_failures_in_a_row_set_a_plugin_aside_until_it_is_asked_for_by_name() {
    let _alone = alone();
    let folder = tempfile::tempdir().unwrap();
    let path = c_plugin(PEAK, folder.path(), "peak", "-Werror");
    let registry = scan(folder.path());
    let state = || registry.plugins()[0].state();
    registry.report_failure(&path);
    registry.report_failure(&path);
    registry.report_success(&path);
    registry.report_failure(&path);
    registry.report_failure(&path);
    assert_eq!(state(), State::Ready, "two in a row are not three");
    registry.report_failure(&path);
    assert_eq!(state(), State::SetAside);
    let error = registry.find("peak", None).unwrap_err();
    let told = error.to_string();
    assert!(told.contains("peak 1.0.0 was set aside"), "{told}");
    assert!(told.contains("ask for peak/peak to try it again"), "{told}");
    assert!(registry.find("peak", Some("peak")).is_ok());
    registry.report_success(&path);
    assert_eq!(state(), State::Ready);
    assert!(registry.find("peak", None).is_ok());
}

#[test]
fn an_unknown_analysis_is_told_with_the_nearest_name() {
    let _alone = alone();
    let folder = tempfile::tempdir().unwrap();
    c_plugin(PEAK, folder.path(), "peak", "-Werror");
    let registry = scan(folder.path());
    let told = |analysis| registry.find(analysis, None).unwrap_err().to_string();
    assert_eq!(
        told("paek"),
        "there is no analysis \"paek\"; did you mean \"peak\"?"
    );
    assert_eq!(
        told("latency"),
        "there is no analysis \"latency\"; there are: peak"
    );
    let error = registry.find("peak", Some("paek")).unwrap_err();
    assert_eq!(
        error.to_string(),
        "there is no analysis \"paek/peak\"; did you mean \"peak/peak\"?"
    );
    let missing = scan(&folder.path().join("missing"));
    assert_eq!(missing.notes()[0].id, "plugin-folder-unreadable");
}

#[test]
fn four_plugins_are_probed_within_200_ms() {
    let _alone = alone();
    let folder = tempfile::tempdir().unwrap();
    let first = c_plugin(PEAK, folder.path(), "1", "-Werror");
    for number in 2..=4 {
        let copy = folder
            .path()
            .join(format!("libgoodwire_plugin_{number}.so"));
        fs::copy(&first, copy).unwrap();
    }
    let timed = |_| {
        let start = Instant::now();
        assert_eq!(scan(folder.path()).plugins().len(), 4);
        start.elapsed()
    };
    let best = (0..5).map(timed).min().unwrap();
    println!("four plugins: {best:?}");
    assert!(best < Duration::from_millis(200), "took {best:?}");
}
