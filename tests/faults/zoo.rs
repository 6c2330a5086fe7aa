//! Plugins that misbehave: each costs its own measurement, in time, and leaves nothing behind.

use std::{
    io::{self, Write},
    process::{Command, Stdio},
    thread,
    time::{Duration, Instant},
};

use goodwire_proto::{
    pipe::{CallKind, Frame},
    plugin::v1::SessionNote,
};
use goodwired::plugins::{Block, Limits, PluginEntry, PluginError, Session, check_peak};
use prost::Message;
use rustix::io::dup;

use super::ground::{Census, alone, find, host, request, zoo};

/// How long a feed may take in these tests.
const FEED_LIMIT: Duration = Duration::from_millis(500);

/// What is to become of a measurement; texts are parts of the error's sentence.
#[derive(Debug, Clone, Copy)]
enum Want {
    Success,
    Crashed(&'static str),
    Hung,
    Garbage(&'static str),
    Failed(&'static str),
    Invalid,
    /// A crash or garbage: what a lie about lengths comes to depends on the memory behind it.
    Fault,
}

/// Every kind of the zoo and what is to become of it.
const KINDS: [(&str, Want); 41] = [
    ("good", Want::Success),
    ("segfault", Want::Crashed("killed by SIGSEGV")),
    (
        "abort",
        Want::Crashed("its log ends: first line / second line / the reason why it aborts"),
    ),
    ("exit-zero", Want::Crashed("exited with code 0")),
    ("stack-overflow", Want::Crashed("has overflowed its stack")),
    ("divide", Want::Crashed("killed by SIGFPE")),
    ("loop", Want::Hung),
    ("sleep", Want::Hung),
    ("stop-itself", Want::Hung),
    ("ignore-term", Want::Hung),
    ("endless-output", Want::Hung),
    ("loud-output", Want::Success),
    ("read-input", Want::Success),
    ("allocate", Want::Crashed("killed by SIGSEGV")),
    ("close-all", Want::Crashed("exited with code 1")),
    ("forge", Want::Garbage("a frame of")),
    ("forks", Want::Success),
    ("fork-and-die", Want::Crashed("killed by SIGABRT")),
    ("broken", Want::Crashed("a table is upside down")),
    ("failed", Want::Failed("no-signal")),
    ("wordless", Want::Failed("plugin-failed")),
    ("invalid", Want::Invalid),
    ("invalid-none", Want::Garbage("without naming one")),
    ("no-session", Want::Garbage("without giving a session")),
    (
        "garbage-plan",
        Want::Garbage("its answer to plan cannot be read"),
    ),
    (
        "loud-plan",
        Want::Garbage("a peak of 0.00 dBFS where -20.00 dBFS is allowed"),
    ),
    (
        "garbage-result",
        Want::Garbage("its answer to finish cannot be read"),
    ),
    (
        "null-bytes",
        Want::Garbage("plan handed out 22 bytes at null"),
    ),
    (
        "huge-length",
        Want::Garbage("handed out 18446744073709551615 bytes"),
    ),
    ("lying-length", Want::Fault),
    ("odd-status", Want::Garbage("plan gave the status 77")),
    ("enough-to-plan", Want::Garbage("plan gave the status 1")),
    ("nan-figure", Want::Garbage("not finite")),
    ("falling-curve", Want::Garbage("does not rise from 2 to 1")),
    ("lost-values", Want::Garbage("2 places and 1 values")),
    ("odd-unit", Want::Garbage("unknown unit \"parsec\"")),
    (
        "too-loud",
        Want::Garbage("peaks at -6.02 dBFS, above the -40.00 dBFS"),
    ),
    ("nan-samples", Want::Garbage("not a number")),
    ("close-hangs", Want::Success),
    ("descriptors", Want::Success),
    ("die-in-finish", Want::Crashed("process was killed")),
];

/// One whole measurement, and how long its last call took.
fn measure(plugin: &PluginEntry, kind: &str) -> (Result<(), PluginError>, Duration) {
    let limits = Limits {
        feed: FEED_LIMIT,
        ..Limits::default()
    };
    let mut start = Instant::now();
    let mut steps = || -> Result<(), PluginError> {
        let mut session = Session::open(plugin, &request(kind), &limits)?;
        start = Instant::now();
        let plan = session.plan()?;
        start = Instant::now();
        let samples = session.render(0, 0, 4800)?;
        check_peak(&samples, plan.steps[0].peak_dbfs, session.plugin())?;
        session.begin(0, 0, false)?;
        let channels = [Some(&samples[..])];
        let block = Block {
            step: 0,
            repeat: 0,
            first_frame: 0,
            stream_frame: 0,
            last: true,
            channels: &channels,
        };
        start = Instant::now();
        session.feed(&block)?;
        session.note(&SessionNote::default())?;
        session.readings()?;
        start = Instant::now();
        session.finish(false)?;
        session.close();
        Ok(())
    };
    let outcome = steps();
    (outcome, start.elapsed())
}

fn is_wanted(outcome: &Result<(), PluginError>, want: Want) -> bool {
    let sentence = outcome
        .as_ref()
        .err()
        .map(ToString::to_string)
        .unwrap_or_default();
    match (outcome, want) {
        (Ok(()), Want::Success)
        | (Err(PluginError::Hung { .. }), Want::Hung)
        | (Err(PluginError::Crashed { .. } | PluginError::Garbage { .. }), Want::Fault) => true,
        (Err(PluginError::Crashed { .. }), Want::Crashed(part))
        | (Err(PluginError::Garbage { .. }), Want::Garbage(part)) => {
            sentence.contains(part) && sentence.contains("zoo 0.6.6")
        }
        (Err(PluginError::Failed { id, .. }), Want::Failed(want)) => id == want,
        (Err(PluginError::Invalid(violations)), Want::Invalid) => violations[0].field == "stop_hz",
        _ => false,
    }
}

#[test]
fn each_of_41_kinds_ends_as_it_should_in_time_and_leaves_nothing_behind() {
    let _alone = alone();
    let folder = tempfile::tempdir().unwrap();
    zoo(folder.path(), 0);
    let plugin = find(folder.path(), "good");
    assert_eq!(
        plugin.description.analyses.len(),
        KINDS.len(),
        "a kind is not tried"
    );
    // Libraries that the daemon loads open descriptors that children would inherit.
    let inheritable = dup(io::stderr()).unwrap();
    let before = Census::take();
    for (kind, want) in KINDS {
        let (outcome, took) = measure(&plugin, kind);
        println!("{kind}: {took:?}: {outcome:?}");
        assert!(
            is_wanted(&outcome, want),
            "{kind}: want {want:?}, got {outcome:?}"
        );
        let most = match want {
            Want::Hung => FEED_LIMIT + Duration::from_secs(1),
            // The close may take its limit of 1 s, and has cost nobody anything.
            Want::Success => Duration::from_secs(5),
            _ => Duration::from_secs(1),
        };
        assert!(took < most, "{kind}: took {took:?}, at most {most:?}");
        assert_eq!(Census::take(), before, "{kind} left something behind");
    }
    drop(inheritable);
}

#[test]
fn a_crash_costs_a_measurement_beside_it_nothing() {
    let _alone = alone();
    let folder = tempfile::tempdir().unwrap();
    zoo(folder.path(), 0);
    let plugin = find(folder.path(), "good");
    thread::scope(|scope| {
        let beside = scope.spawn(|| {
            (0..20)
                .map(|_| measure(&plugin, "good").0)
                .collect::<Vec<_>>()
        });
        for kind in ["segfault", "abort", "close-all", "forge", "fork-and-die"] {
            assert!(measure(&plugin, kind).0.is_err(), "{kind}");
        }
        assert_eq!(beside.join().unwrap(), vec![Ok(()); 20]);
    });
}

/// What a killed daemon leaves behind ends by itself, even while the plugin computes for ever.
#[test]
fn a_host_in_an_endless_loop_ends_within_a_second_of_its_daemon() {
    let _alone = alone();
    let folder = tempfile::tempdir().unwrap();
    let library = zoo(folder.path(), 0);
    let mut child = Command::new(host())
        .arg(library)
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .spawn()
        .unwrap();
    let mut input = child.stdin.take().unwrap();
    let mut output = child.stdout.take().unwrap();
    let mut call = |kind: CallKind, payload: Vec<u8>| {
        Frame {
            kind: kind as u32,
            sequence: 0,
            payload,
        }
        .write(&mut input)
        .unwrap();
    };
    call(CallKind::Open, request("loop").encode_to_vec());
    Frame::read(&mut output).unwrap().unwrap();
    let block = Block {
        step: 0,
        repeat: 0,
        first_frame: 0,
        stream_frame: 0,
        last: true,
        channels: &[],
    };
    call(CallKind::Feed, block.encode().unwrap());
    input.flush().unwrap();
    assert_eq!(
        child.try_wait().unwrap(),
        None,
        "it ended before it was left"
    );
    drop(input);
    let start = Instant::now();
    while child.try_wait().unwrap().is_none() {
        if start.elapsed() > Duration::from_secs(1) {
            child.kill().unwrap();
            child.wait().unwrap();
            panic!("the host outlived its daemon");
        }
        thread::sleep(Duration::from_millis(5));
    }
}
