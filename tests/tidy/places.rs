//! One job per place: what may be named only where it belongs, and versions in one file.

use super::files::{self, Source};

/// Fails where a line of code outside `home` names one of `words`.
fn only_in(home: &[&str], words: &[&str], within: fn(&Source) -> bool) {
    let mut seen_at_home = 0;
    let mut wrong = Vec::new();
    for source in files::all()
        .iter()
        .filter(|s| s.ends_with(".rs") && within(s))
    {
        for (number, line) in source.code() {
            if !words.iter().any(|word| line.contains(word)) {
                continue;
            }
            if home.iter().any(|home| source.path.starts_with(home)) {
                seen_at_home += 1;
            } else {
                wrong.push(format!("{}:{number}: {}", source.path, line.trim()));
            }
        }
    }
    assert!(
        wrong.is_empty(),
        "{words:?} belong into {home:?} alone:\n{}",
        wrong.join("\n")
    );
    assert!(
        seen_at_home > 0,
        "{words:?} are not in {home:?} either: is this check still right?"
    );
}

#[test]
fn the_audio_library_is_named_in_daemon_src_audio_alone() {
    only_in(&["daemon/src/audio/"], &["cpal::"], |source| {
        !source.is_test()
    });
}

#[test]
fn the_server_side_of_the_api_is_named_in_daemon_src_serve_alone() {
    only_in(
        &["daemon/src/serve"],
        &["tonic::", "tonic_", "_server::"],
        |source| source.path.starts_with("daemon/src/"),
    );
}

#[test]
fn libraries_are_loaded_in_plugins_host_alone() {
    only_in(&["plugins/host/"], &["libloading::", "dlopen"], |source| {
        !source.is_test()
    });
}

#[test]
fn the_database_is_named_in_daemon_src_store_alone() {
    only_in(
        &["daemon/src/store"],
        &["rusqlite::", "SELECT ", "INSERT INTO "],
        |source| !source.is_test(),
    );
}

#[test]
fn the_arithmetic_of_analyses_does_no_input_or_output_and_reads_no_clock() {
    let words = [
        "std::fs",
        "std::net",
        "std::io",
        "SystemTime",
        "Instant::",
        "println!",
        "tracing",
    ];
    let folders = ["plugins/dsp/src/", "plugins/radio/src/"];
    let mut wrong = Vec::new();
    for source in files::all()
        .iter()
        .filter(|s| folders.iter().any(|folder| s.path.starts_with(folder)))
    {
        for (number, line) in source.code() {
            if words.iter().any(|word| line.contains(word)) {
                wrong.push(format!("{}:{number}: {}", source.path, line.trim()));
            }
        }
    }
    assert!(
        wrong.is_empty(),
        "{folders:?} only compute:\n{}",
        wrong.join("\n")
    );
}

#[test]
fn versions_of_dependencies_stand_in_the_root_manifest_alone() {
    let mut wrong = Vec::new();
    for manifest in files::all().iter().filter(|s| s.ends_with("/Cargo.toml")) {
        let mut in_dependencies = false;
        for (index, line) in manifest.text.lines().enumerate() {
            if line.starts_with('[') {
                in_dependencies = line.contains("dependencies");
            }
            if in_dependencies && line.contains('=') && !line.contains("workspace = true") {
                wrong.push(format!("{}:{}: {line}", manifest.path, index + 1));
            }
        }
    }
    assert!(
        wrong.is_empty(),
        "not from the workspace:\n{}",
        wrong.join("\n")
    );
}

#[test]
fn the_daemon_depends_on_no_plugin_and_a_client_not_on_the_daemon() {
    for manifest in files::all().iter().filter(|s| s.ends_with("/Cargo.toml")) {
        let forbidden: &[&str] = match manifest.path.split('/').next() {
            // The arithmetic of `goodwire-dsp` and `goodwire-radio` it may use.
            Some("daemon") => &["goodwire-plugin", "goodwire-watching", "libloading"],
            Some("clients") => &[
                "goodwired",
                "goodwire-dsp",
                "goodwire-radio",
                "goodwire-plugin",
            ],
            Some("plugins") => &["goodwired", "tonic", "tokio"],
            _ => continue,
        };
        for word in forbidden {
            let wrong = manifest.text.lines().find(|line| line.starts_with(word));
            assert!(
                wrong.is_none(),
                "{}: {}",
                manifest.path,
                wrong.unwrap_or_default()
            );
        }
    }
}
