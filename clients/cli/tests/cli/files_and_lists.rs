//! Uploads, stimuli, lists, pipes and private daemons against a server whose answers the test
//! decides.

use std::{
    fs,
    io::Read,
    path::Path,
    process::{Child, Command},
    time::Duration,
};

use crate::mock::{Mock, Script, Watch, ended, plain};
use goodwire_proto::v1::{
    StimulusHeader, StimulusSamples, analyse_recordings_request::Piece, recording_chunk::File,
    stream_stimulus_response::Piece as Stimulus, verdict::Outcome,
};
use rustix::process::{Pid, Signal, kill_process, test_kill_process};
use tonic::Status;

fn analysing() -> Mock {
    Mock::start(Script {
        watches: vec![(
            "measurements/of-upload".into(),
            Watch::Ends(Box::new(ended("upload", Outcome::Pass))),
        )],
        ..Script::default()
    })
}

#[tokio::test(flavor = "multi_thread")]
async fn a_file_of_both_channels_is_sent_once_in_pieces_of_256_kib() {
    let mock = analysing();
    let walk: Vec<u8> = (0..600_000_u32).map(|n| n.to_le_bytes()[0]).collect();
    fs::write(mock.folder().join("sent.wav"), b"sent").unwrap();
    fs::write(mock.folder().join("walk.wav"), &walk).unwrap();
    let output = mock.run(&[
        "analyse",
        "response",
        "--sent",
        "sent.wav",
        "--returned",
        "walk.wav:1",
        "--reference",
        "./walk.wav:2",
    ]);
    assert_eq!(output.status.code(), Some(0), "{output:?}");
    mock.asked(|script| {
        let Piece::Header(header) = &script.uploaded[0] else {
            panic!("the first piece is no header")
        };
        assert_eq!((header.returned_channel, header.reference_channel), (1, 2));
        assert!(header.reference_in_returned);
        assert_eq!(header.file_names, ["sent.wav", "walk.wav"]);
        let mut files: [Vec<u8>; 2] = Default::default();
        for piece in &script.uploaded[1..] {
            let Piece::Chunk(chunk) = piece else {
                panic!("a second header")
            };
            assert!(chunk.data.len() <= 256 << 10);
            let at = usize::from(chunk.file() == File::Returned);
            files[at].extend(&chunk.data);
        }
        assert_eq!(files, [b"sent".to_vec(), walk.clone()]);
    });
}

#[tokio::test(flavor = "multi_thread")]
async fn a_missing_or_empty_file_is_named_before_anybody_is_asked() {
    let mock = analysing();
    fs::write(mock.folder().join("empty.wav"), b"").unwrap();
    for (file, why) in [
        ("gone.wav", "No such file"),
        ("empty.wav", "empty"),
        (".", "no file"),
    ] {
        let output = mock.run(&["analyse", "response", "--sent", file, "--returned", file]);
        assert_eq!(output.status.code(), Some(3));
        let said = String::from_utf8(output.stderr).unwrap();
        assert!(said.contains(file) && said.contains(why), "{said}");
        assert!(output.stdout.is_empty());
    }
    mock.asked(|script| assert!(script.uploaded.is_empty()));
}

fn stimulus(pieces: Vec<Result<Stimulus, Status>>) -> Mock {
    let header = StimulusHeader {
        rate_hz: 44_100,
        frame_count: 3,
        peak_dbfs: -20.0,
        comment: "goodwire level".into(),
    };
    let mut stimulus = vec![Ok(Stimulus::Header(header))];
    stimulus.extend(pieces);
    Mock::start(Script {
        stimulus,
        ..Script::default()
    })
}

#[tokio::test(flavor = "multi_thread")]
async fn a_stimulus_is_written_as_32_bit_float_mono() {
    let samples = |samples: &[f32]| {
        Ok(Stimulus::Samples(StimulusSamples {
            samples: samples.to_vec(),
        }))
    };
    let mock = stimulus(vec![samples(&[0.0, 0.1]), samples(&[-0.1])]);
    let output = mock.run(&["stimulus", "level", "--rate", "44100", "--out", "s.wav"]);
    assert_eq!(output.status.code(), Some(0), "{output:?}");
    let mut wav = hound::WavReader::open(mock.folder().join("s.wav")).unwrap();
    assert_eq!((wav.spec().sample_rate, wav.spec().channels), (44_100, 1));
    let read: Vec<f32> = wav.samples().map(Result::unwrap).collect();
    assert_eq!(read, [0.0, 0.1, -0.1]);
}

#[tokio::test(flavor = "multi_thread")]
async fn a_stimulus_that_breaks_off_leaves_no_file() {
    for pieces in [vec![], vec![Err(Status::internal("the plugin crashed"))]] {
        let mock = stimulus(pieces);
        let before = fs::read_dir(mock.folder()).unwrap().count();
        let output = mock.run(&["stimulus", "level", "--rate", "44100", "--out", "s.wav"]);
        assert_eq!(output.status.code(), Some(3), "{output:?}");
        assert_eq!(fs::read_dir(mock.folder()).unwrap().count(), before);
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn an_empty_list_still_prints_its_key() {
    let mock = Mock::start(Script::default());
    let output = mock.run(&["links", "--json"]);
    let document: serde_json::Value = serde_json::from_slice(&output.stdout).unwrap();
    assert_eq!(document, serde_json::json!({"links": []}));
}

#[tokio::test(flavor = "multi_thread")]
async fn results_go_on_through_pages_up_to_the_limit() {
    let mock = Mock::start(Script::default());
    let output = mock.run(&["results", "--json", "--limit", "1203"]);
    let document: serde_json::Value = serde_json::from_slice(&output.stdout).unwrap();
    assert_eq!(document["measurements"].as_array().unwrap().len(), 1203);
}

#[tokio::test(flavor = "multi_thread")]
async fn whoever_stops_reading_is_no_mistake() {
    let mock = Mock::start(Script::default());
    let mut child = mock
        .command(&["results", "--limit", "5000"])
        .spawn()
        .unwrap();
    let mut first = [0; 10];
    let mut pipe = child.stdout.take().unwrap();
    tokio::task::block_in_place(|| pipe.read_exact(&mut first).unwrap());
    drop(pipe);
    let output = tokio::task::block_in_place(|| child.wait_with_output().unwrap());
    assert_eq!(output.status.code(), Some(0));
    assert_eq!(String::from_utf8(output.stderr).unwrap(), "");
}

/// The command line beside a `goodwired` that is a shell script.
fn beside(script: &str) -> tempfile::TempDir {
    let folder = tempfile::tempdir().unwrap();
    let text = folder.path().join("text");
    fs::write(&text, format!("#!/bin/sh\n{script}\n")).unwrap();
    install(
        Path::new(env!("CARGO_BIN_EXE_goodwire")),
        &folder.path().join("goodwire"),
    );
    install(&text, &folder.path().join("goodwired"));
    fs::remove_file(&text).unwrap();
    folder
}

/// Copies a program by a process of its own: a file that we had open for writing while another
/// test forked could not be started ("text file busy").
fn install(from: &Path, to: &Path) {
    let mut command = Command::new("install");
    let status = command.args(["-m", "755"]).args([from, to]).status();
    assert!(status.unwrap().success());
}

/// Starts it on a default socket where nobody listens.
fn spawn(folder: &Path) -> Child {
    plain(&folder.join("goodwire"), &["analyses"])
        .env("PATH", "/usr/bin:/bin")
        .env("TMPDIR", folder)
        .current_dir(folder)
        .spawn()
        .unwrap()
}

/// Waits until the daemon has written its process id.
async fn daemon(folder: &Path) -> Pid {
    for _ in 0..500 {
        let text = fs::read_to_string(folder.join("pid")).unwrap_or_default();
        if let Some(pid) = text.trim().parse().ok().and_then(Pid::from_raw) {
            return pid;
        }
        tokio::time::sleep(Duration::from_millis(20)).await;
    }
    panic!("the daemon was not started within 10 s");
}

async fn gone(pid: Pid) {
    for _ in 0..500 {
        if test_kill_process(pid).is_err() || is_zombie(pid) {
            return;
        }
        tokio::time::sleep(Duration::from_millis(20)).await;
    }
    panic!("process {pid:?} was left behind");
}

/// True for a process that has ended and that nobody has asked after, as in a container whose
/// first process does not reap.
fn is_zombie(pid: Pid) -> bool {
    let stat = fs::read_to_string(format!("/proc/{}/stat", pid.as_raw_nonzero()));
    stat.is_ok_and(|stat| stat.contains(") Z "))
}

/// Writes its process id, says nothing, and stays.
const SILENT: &str = "echo $$ > pid.new; mv pid.new pid; exec sleep 600";

#[tokio::test(flavor = "multi_thread")]
async fn an_interrupt_ends_the_private_daemon_too() {
    let folder = beside(SILENT);
    let child = spawn(folder.path());
    let daemon = daemon(folder.path()).await;
    let own = Pid::from_raw(i32::try_from(child.id()).unwrap()).unwrap();
    kill_process(own, Signal::INT).unwrap();
    let output = tokio::task::block_in_place(|| child.wait_with_output().unwrap());
    assert_eq!(output.status.code(), Some(130), "{output:?}");
    assert!(
        test_kill_process(daemon).is_err(),
        "the daemon outlived its command"
    );
    let left = fs::read_dir(folder.path()).unwrap().count();
    assert_eq!(
        left, 3,
        "goodwire, goodwired and pid; the temporary folder is still there"
    );
}

#[tokio::test(flavor = "multi_thread")]
async fn even_a_killed_command_leaves_no_private_daemon_behind() {
    let folder = beside(SILENT);
    let mut child = spawn(folder.path());
    let daemon = daemon(folder.path()).await;
    child.kill().unwrap();
    child.wait().unwrap();
    gone(daemon).await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_private_daemon_that_does_not_start_is_quoted() {
    let folder = beside("echo 'the plugins are broken' >&2; exit 4");
    let mut command = plain(&folder.path().join("goodwire"), &["analyses"]);
    let output = tokio::task::block_in_place(|| command.output().unwrap());
    assert_eq!(output.status.code(), Some(3));
    let said = String::from_utf8(output.stderr).unwrap();
    assert!(
        said.contains("the plugins are broken") && said.contains('4'),
        "{said}"
    );
}

#[tokio::test(flavor = "multi_thread")]
async fn a_server_that_was_asked_for_and_is_not_there_is_never_replaced_by_a_private_one() {
    let folder = beside(SILENT);
    let arguments = ["--server", "unix:/nowhere/goodwire.sock", "analyses"];
    let mut command = plain(&folder.path().join("goodwire"), &arguments);
    let output = tokio::task::block_in_place(|| command.output().unwrap());
    assert_eq!(output.status.code(), Some(3));
    let said = String::from_utf8(output.stderr).unwrap();
    assert!(
        said.contains("/nowhere/goodwire.sock") && said.contains("goodwired --config"),
        "{said}"
    );
    assert!(!folder.path().join("pid").exists());
}

#[tokio::test(flavor = "multi_thread")]
async fn each_sound_of_a_result_is_exported_as_a_wav_file_beside_the_others() {
    let mock = Mock::start(Script {
        sounds: vec![
            ("link".into(), vec![0.5, -0.25, 0.125]),
            ("difference".into(), vec![1e-4, 0.0]),
        ],
        ..Script::default()
    });
    let output = mock.run(&["export", "one", "--format", "wav", "--out", "null.wav"]);
    assert_eq!(output.status.code(), Some(0), "{output:?}");
    let said = String::from_utf8(output.stdout).unwrap();
    assert_eq!(said, "null-link.wav\nnull-difference.wav\n");
    let mut file = hound::WavReader::open(mock.folder().join("null-link.wav")).unwrap();
    let samples: Vec<f32> = file.samples().map(Result::unwrap).collect();
    assert_eq!(samples, [0.5, -0.25, 0.125]);
}

#[tokio::test(flavor = "multi_thread")]
async fn a_measurement_without_sounds_says_which_analysis_has_some() {
    let mock = Mock::start(Script::default());
    let output = mock.run(&["export", "one", "--format", "wav", "--out", "null.wav"]);
    assert_eq!(output.status.code(), Some(3), "{output:?}");
    let said = String::from_utf8(output.stderr).unwrap();
    assert!(
        said.contains("has no sounds") && said.contains("null"),
        "{said}"
    );
}
