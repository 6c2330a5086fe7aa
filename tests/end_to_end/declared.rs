//! What analyses say they can give is what they give, and limits are held against it.

use std::collections::BTreeSet;

use goodwire_proto::v1::{
    Analysis, GetStatusRequest, ListAnalysesRequest, Measurement, measurement::State,
};
use goodwire_tests::{
    daemon::{Daemon, Start},
    rig::{CELLAR, with_links},
};
use prost_types::Struct;

/// After all: what the first two links can be set to.
const TABLE: &str = "[radio]\noccupied = [\"6 20\"]\n\
                     [[channel_table]]\nname = \"belt\"\nradiated_dbm = 10\nneeded_dbm = -84\n\
                     [[channel_table.channel]]\nname = \"1\"\ncentre_mhz = 2410\n\
                     bandwidth_mhz = 1\n[[channel_table.channel]]\nname = \"2\"\n\
                     centre_mhz = 2412\nbandwidth_mhz = 1\n";

/// After two links: the second hums, hisses, bends, clips and hears the first one; a third one's
/// delay moves every second. The reference's return hisses.
const FAULTS: &str = "[link.simulated]\nnoise_dbfs = -80\nhum_dbfs = -60\nhum_hz = 50\n\
                      low_corner_hz = 40\nhigh_corner_hz = 15000\npolynomial = [0.01, 0.02]\n\
                      hard_clip_dbfs = -6\nhears = \"link-1\"\nhears_db = -50\n\
                      [[link]]\nname = \"unsteady\"\nsend = 4\nreturn = 4\n\
                      [link.simulated]\nresync_jitter_ms = 0.2\nresync_every_s = 1\n\
                      [[interface.simulated.return]]\nnumber = 3\nnoise_dbfs = -100\n";

/// What is measured: link, analysis, settings.
type Wanted = (
    &'static str,
    &'static str,
    &'static [(&'static str, &'static str)],
);
const WANTED: [Wanted; 14] = [
    ("link-2", "response", &[("levels_dbfs", "-40,-10")]),
    ("unsteady", "response", &[("repeats", "3")]),
    ("link-2", "distortion", &[("method", "stepped")]),
    ("link-2", "distortion", &[("method", "swept")]),
    ("link-2", "distortion", &[("method", "intermodulation")]),
    ("link-2", "noise", &[]),
    ("unsteady", "latency", &[]),
    ("link-1", "level", &[]),
    ("link-2", "level", &[]),
    ("link-1", "null", &[]),
    ("link-1", "crosstalk", &[]),
    ("link-1", "channels", &[]),
    ("link-1", "dropout", &[("duration_s", "5")]),
    (
        "link-1",
        "endurance",
        &[("longest_h", "0.002"), ("lost_after_s", "5")],
    ),
];

/// Declared, and not given by what is measured here: the reference's return cannot be made to hum,
/// levels are told in dBu where somebody calibrated a send, distances where somebody set marks.
const NOT_GIVEN: [&str; 6] = [
    "dropout level_over_distance",
    "dropout range",
    "level clip_point_dbu",
    "level compression_point_dbu",
    "level unclipped_to_dbu",
    "noise reference_hum",
];

/// Fails where a result holds what its analysis does not declare; gives what it holds.
fn is_declared(analysis: &Analysis, measurement: &Measurement) -> Vec<String> {
    let within = |at: &Option<Struct>, keys: &[String]| {
        let names = at.iter().flat_map(|at| at.fields.keys());
        names.into_iter().all(|name| keys.contains(name))
    };
    let name = &analysis.name;
    for figure in &measurement.figures {
        let found = analysis.figures.iter().find(|one| one.id == figure.id);
        let found = found.unwrap_or_else(|| panic!("{name} does not declare {}", figure.id));
        assert_eq!(found.unit, figure.unit, "{name} {}", figure.id);
        assert!(within(&figure.at, &found.at), "{name} {figure:?}");
    }
    for curve in &measurement.curves {
        let found = analysis.curves.iter().find(|one| one.id == curve.id);
        let found = found.unwrap_or_else(|| panic!("{name} does not declare {}", curve.id));
        let units = (&curve.x_unit, &curve.y_unit);
        assert_eq!((&found.x_unit, &found.y_unit), units, "{name} {}", curve.id);
        assert!(
            within(&curve.at, &found.at),
            "{name} {} {:?}",
            curve.id,
            curve.at
        );
    }
    let figures = measurement.figures.iter().map(|one| &one.id);
    let ids = figures.chain(measurement.curves.iter().map(|one| &one.id));
    ids.map(|id| format!("{} {id}", measurement.analysis))
        .collect()
}

#[tokio::test]
async fn ten_analyses_give_only_what_they_declare_and_all_of_it_but_6() {
    let mut rig = with_links(2) + FAULTS + TABLE;
    for send in ["send = 1\n", "send = 2\n"] {
        rig = rig.replace(send, &format!("{send}channel_table = \"belt\"\n"));
    }
    let daemon = Daemon::start(&rig);
    let client = daemon.connect().await;
    let mut asking = client.analyses.clone();
    let listed = asking.list_analyses(ListAnalysesRequest {});
    let analyses = listed.await.unwrap().into_inner().analyses;
    let of = |id: &str| {
        let name = format!("analyses/{id}");
        analyses.iter().find(|one| one.name == name).unwrap()
    };
    let mut given = BTreeSet::new();
    for (link, analysis, settings) in WANTED {
        let measured = client.measure(link, analysis, settings).await;
        let reason = &measured.reason;
        assert_eq!(
            measured.state(),
            State::Succeeded,
            "{link} {analysis} {reason:?}"
        );
        given.extend(is_declared(of(analysis), &measured));
    }
    let measured: BTreeSet<&str> = WANTED.iter().map(|(_, analysis, _)| *analysis).collect();
    assert_eq!(measured.len(), 10);
    let mut not_given = BTreeSet::new();
    for id in measured {
        let figures = of(id).figures.iter().map(|one| &one.id);
        let all = figures.chain(of(id).curves.iter().map(|one| &one.id));
        not_given.extend(all.map(|one| format!("{id} {one}")));
    }
    not_given.retain(|one| !given.contains(one));
    assert_eq!(not_given.into_iter().collect::<Vec<_>>(), NOT_GIVEN);
}

#[test]
fn two_misspelt_figures_in_limits_are_refused_at_once_with_line_and_nearest_name() {
    let folder = tempfile::tempdir().unwrap();
    let first_line = CELLAR.lines().count() + 1;
    let wrong = CELLAR.to_owned()
        + "[[limit]]\nanalysis = \"latency\"\nfigure = \"latenzy\"\nmax = 3\n\
           [[limit]]\nanalysis = \"response\"\ncurve = \"magnitude\"\nre = \"gian\"\ndrift = 1\n";
    let (code, said) = Start::new().refused(folder.path(), &wrong);
    assert_eq!(code, Some(3), "{said}");
    for (line, right) in [
        (first_line + 2, "\"latency\""),
        (first_line + 7, "\"gain\""),
    ] {
        assert!(
            said.contains(&format!("goodwire.toml:{line}:")),
            "{line}: {said}"
        );
        assert!(said.contains(&format!("right: {right}")), "{right}: {said}");
    }
    assert!(said.contains("2 mistakes in"), "{said}");
}

#[tokio::test]
async fn a_limit_of_an_analysis_that_is_not_installed_is_a_warning_and_no_refusal() {
    let limit = "[[limit]]\nanalysis = \"respones\"\nfigure = \"anything\"\nmax = 3\n";
    let daemon = Daemon::start(&(CELLAR.to_owned() + limit));
    let client = daemon.connect().await;
    let mut asking = client.rig.clone();
    let status = asking.get_status(GetStatusRequest {});
    let notes = status.await.unwrap().into_inner().notes;
    let note = notes
        .iter()
        .find(|note| note.id == "limit-without-analysis");
    let text = &note.unwrap().text;
    assert!(
        text.contains("\"respones\"") && text.contains("\"response\""),
        "{text}"
    );
    assert!(
        daemon.log().contains("which is not installed"),
        "{}",
        daemon.log()
    );
}
