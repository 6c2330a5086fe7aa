//! Three links and a cable, and nights of rounds on one state folder.

use std::{collections::BTreeMap, fmt::Write, fs, path::Path};

use goodwire_proto::v1::{Run, RunRoundRequest, SetBaselineRequest, WatchRunRequest, run::State};
use goodwire_tests::{client::Client, daemon::Start};
use tempfile::TempDir;

use super::table::{ALL, Change};

/// Name and dock; the k-th link is on send and return 1, 3, 4.
const LINKS: [(&str, u32, &str); 3] = [
    ("lectern", 1, "stage-left"),
    ("riser", 3, "stage-left"),
    ("choir", 4, "balcony"),
];

/// What every link is like while it is well.
const HEALTHY: [(&str, &str); 4] = [
    ("low_corner_hz", "30.0"),
    ("high_corner_hz", "16000.0"),
    ("noise_dbfs", "-90.0"),
    ("hard_clip_dbfs", "-6.0"),
];

const LIMIT: &str = "[[limit]]\nanalysis = \"distortion\"\nfigure = \"thd\"\nmax = 1.0\n";

/// The venue on one night.
pub struct Venue<'a> {
    pub changes: &'a [Change],
    pub rig: &'a str,
    pub checks: &'a [&'a str],
}

impl Venue<'_> {
    fn configuration(&self) -> String {
        let mut text = format!(
            "site = \"lantern-cellar\"\n[interface]\nbackend = \"simulated\"\n\
             time = \"virtual\"\nrate = 48000\n{}[reference]\nsend = 2\nreturn = 2\n{LIMIT}\
             [[round]]\nname = \"nightly\"\nchecks = [{}]\n",
            self.rig,
            self.checks.join(", ")
        );
        for (name, number, dock) in LINKS {
            let mut settings = BTreeMap::from(HEALTHY);
            let own = self.changes.iter().filter(|(link, ..)| *link == name);
            settings.extend(own.map(|(_, key, value)| (*key, *value)));
            write!(
                text,
                "[[link]]\nname = \"{name}\"\nsend = {number}\nreturn = {number}\n\
                 setup.dock = \"{dock}\"\n"
            )
            .expect("writing to a string does not fail");
            if let Some(firmware) = settings.remove("setup.firmware") {
                writeln!(text, "setup.firmware = {firmware}")
                    .expect("writing to a string does not fail");
            }
            text.push_str("[link.simulated]\n");
            for (key, value) in settings {
                writeln!(text, "{key} = {value}").expect("writing to a string does not fail");
            }
        }
        text
    }
}

/// The state folder after a healthy night whose results all became baselines.
pub async fn baselines() -> TempDir {
    let state = TempDir::with_prefix("goodwire-").expect("a temporary folder can be made");
    let healthy = Venue {
        changes: &[],
        rig: "",
        checks: ALL,
    };
    let mut daemon = Start::new()
        .state(state.path())
        .run(&healthy.configuration());
    let client = daemon.connect().await;
    for check in run(&client).await.checks {
        let request = SetBaselineRequest {
            measurement: check.measurement.clone(),
        };
        let set = client.judgement.clone().set_baseline(request).await;
        set.unwrap_or_else(|error| panic!("{} of {}: {error}", check.analysis, check.link));
    }
    end(&mut daemon);
    state
}

/// Runs the round once on that state folder.
pub async fn night(venue: &Venue<'_>, state: &Path) -> Run {
    let mut daemon = Start::new().state(state).run(&venue.configuration());
    let run = run(&daemon.connect().await).await;
    end(&mut daemon);
    run
}

/// A copy of a state folder that no daemon uses.
pub fn copy_of(state: &Path) -> TempDir {
    let copy = TempDir::with_prefix("goodwire-").expect("a temporary folder can be made");
    for entry in fs::read_dir(state).expect("it is there") {
        let path = entry.expect("it can be read").path();
        if path.is_file() {
            let name = path.file_name().expect("a file has a name");
            fs::copy(&path, copy.path().join(name)).expect("it can be copied");
        }
    }
    copy
}

/// Asks the daemon to end, so that the store is closed before another one opens it.
fn end(daemon: &mut goodwire_tests::daemon::Daemon) {
    daemon.ask_to_end();
    daemon.wait(std::time::Duration::from_secs(20));
}

async fn run(client: &Client) -> Run {
    let request = RunRoundRequest {
        name: "nightly".into(),
        present: true,
        ..RunRoundRequest::default()
    };
    let begun = client.rounds.clone().run_round(request).await.unwrap();
    let name = begun.into_inner().name;
    let request = WatchRunRequest { name };
    let news = client.rounds.clone().watch_run(request).await.unwrap();
    let (mut news, mut last) = (news.into_inner(), None);
    while let Some(message) = news.message().await.unwrap() {
        last = message.run;
    }
    let last: Run = last.expect("the present state comes at once");
    assert_eq!(last.state(), State::Ended, "{:?}", last.reason);
    last
}
