//! A walk that was recorded, with the file of marks that somebody wrote along the way.

use std::{fs, path::Path};

use goodwire_tests::{
    command_line::{Said, goodwire},
    daemon::Daemon,
    rig::CELLAR,
};
use serde_json::Value;

const RATE_HZ: u32 = 48_000;
/// The link is 700 frames late and muted for 50 ms from second 10 on.
const DELAY: usize = 700;
const GAP: std::ops::Range<usize> = 480_000..482_400;

/// Writes `sent.wav` with the daemon's help, and `walk.wav` with link and cable.
fn recorded(daemon: &Daemon) {
    let sent = path(daemon, "sent.wav");
    let rate = RATE_HZ.to_string();
    let arguments = ["stimulus", "dropout", "--rate", &rate, "--out", &sent];
    let said = goodwire(
        daemon,
        &[&arguments[..], &["--set", "duration_s=15"]].concat(),
    );
    assert_eq!(said.code, Some(0), "{}", said.err);
    let mut reader = hound::WavReader::open(&sent).unwrap();
    let samples: Vec<f32> = reader.samples().map(Result::unwrap).collect();
    let spec = hound::WavSpec {
        channels: 2,
        ..reader.spec()
    };
    let mut writer = hound::WavWriter::create(path(daemon, "walk.wav"), spec).unwrap();
    for frame in 0..samples.len() + DELAY {
        let late = frame.checked_sub(DELAY).filter(|_| !GAP.contains(&frame));
        writer
            .write_sample(late.map_or(0.0, |at| 0.7 * samples[at]))
            .unwrap();
        let cable = samples.get(frame).copied().unwrap_or(0.0);
        writer.write_sample(cable).unwrap();
    }
    writer.finalize().unwrap();
}

fn path(daemon: &Daemon, name: &str) -> String {
    let path: &Path = &daemon.folder().join(name);
    path.to_str().unwrap().to_owned()
}

fn analysed(daemon: &Daemon, marks: &str) -> Said {
    let file = path(daemon, "marks.csv");
    fs::write(&file, marks).unwrap();
    let (sent, walk) = (path(daemon, "sent.wav"), path(daemon, "walk.wav"));
    let (link, cable) = (format!("{walk}:1"), format!("{walk}:2"));
    let recordings = ["--sent", &sent, "--returned", &link, "--reference", &cable];
    let rest = ["--marks", &file, "--json"];
    goodwire(
        daemon,
        &[&["analyse", "dropout"][..], &recordings, &rest].concat(),
    )
}

fn metres_of(result: &Value, id: &str) -> Vec<f64> {
    let events = result["events"].as_array().unwrap().iter();
    let of_id = events.filter(|event| event["id"] == id);
    of_id
        .map(|event| event["at"]["metres"].as_f64().unwrap())
        .collect()
}

fn range_m(result: &Value) -> f64 {
    let figures = result["figures"].as_array().unwrap();
    let range = figures.iter().find(|figure| figure["id"] == "range");
    range.unwrap()["value"].as_f64().unwrap()
}

#[test]
fn a_gap_half_way_between_marks_is_placed_there_in_metres_and_in_feet() {
    let daemon = Daemon::start(CELLAR);
    recorded(&daemon);
    // From 10 to 20 within four seconds, and the gap two seconds after the first of them.
    for (unit, metres_each) in [("metres", 1.0), ("feet", 0.304_8)] {
        let marks = format!("seconds,{unit},label\n3,2,door\n8,10,bar\n12,20,foyer\n");
        let said = analysed(&daemon, &marks);
        assert_eq!(said.code, Some(0), "{}\n{}", said.err, said.out);
        let result = said.json();
        let near = |got: f64, want: f64| (got - want * metres_each).abs() < 0.01;
        let [gap] = metres_of(&result, "gap")[..] else {
            panic!("{result}")
        };
        assert!(near(gap, 15.0), "{unit}: {gap} m");
        assert!(
            near(range_m(&result), 10.0),
            "{unit}: {} m",
            range_m(&result)
        );
        let marked = metres_of(&result, "mark");
        let want = [2.0, 10.0, 20.0];
        assert!(marked.iter().zip(want).all(|(got, want)| near(*got, want)));
        assert_eq!(marked.len(), 3);
    }
}

#[test]
fn a_mark_after_the_end_of_the_recording_is_refused_by_its_place_and_nothing_is_measured() {
    let daemon = Daemon::start(CELLAR);
    recorded(&daemon);
    let said = analysed(&daemon, "seconds,metres,label\n3,2,door\n99,10,bar\n");
    assert_ne!(said.code, Some(0));
    let told = said.out + &said.err;
    assert!(told.contains("marks[1].start_s"), "{told}");
    assert!(told.contains("99 s is after the end"), "{told}");
    for (line, what) in [("2,4,back", "in order of time"), ("4,-1,back", "0 or more")] {
        let said = analysed(
            &daemon,
            &format!("seconds,metres,label\n3,2,door\n{line}\n"),
        );
        assert_ne!(said.code, Some(0));
        assert!(said.err.contains(what), "{line}: {}", said.err);
    }
    let results = goodwire(&daemon, &["results", "--json"]);
    let none = results.json();
    let count = none.as_array().map_or_else(
        || none["measurements"].as_array().map_or(0, Vec::len),
        Vec::len,
    );
    assert_eq!(count, 0, "{none}");
}
