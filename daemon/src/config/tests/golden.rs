//! What a file with more than a dozen mistakes is answered with, to the letter.

use goodwire_proto::v1::{CurveDescription, FigureDescription};

use super::*;

#[test]
fn two_dozen_mistakes_at_once_read_as_in_the_golden_file() {
    reads_as_in_the_golden_file("mistakes", include_str!("../golden/mistakes.toml"));
}

#[test]
fn mistakes_in_limits_of_curves_and_groups_read_as_in_the_golden_file() {
    reads_as_in_the_golden_file("curves", include_str!("../golden/curves.toml"));
}

#[test]
fn mistakes_in_the_ways_of_messages_read_as_in_the_golden_file() {
    reads_as_in_the_golden_file("messages", include_str!("../golden/messages.toml"));
}

#[test]
fn mistakes_in_channel_tables_and_what_is_in_the_air_read_as_in_the_golden_file() {
    reads_as_in_the_golden_file("radio", include_str!("../golden/radio.toml"));
}

#[test]
fn limits_of_what_no_analysis_gives_read_as_in_the_golden_file() {
    let figure = |id: &str, at: &[&str]| FigureDescription {
        id: id.into(),
        at: at.iter().map(ToString::to_string).collect(),
        ..FigureDescription::default()
    };
    let analysis = |id: &str, figures: Vec<FigureDescription>, curves: &[&str]| Analysis {
        name: format!("analyses/{id}"),
        figures,
        curves: curves.iter().map(|id| curve(id)).collect(),
        ..Analysis::default()
    };
    let band = ["from_hz", "to_hz", "frequency_hz"];
    let response = vec![figure("gain", &[]), figure("deviation", &band)];
    let installed = [
        analysis("response", response, &["magnitude", "phase"]),
        analysis("polarity", vec![figure("gain", &[])], &[]),
        // Says nothing of what it gives.
        analysis("silent", Vec::new(), &[]),
    ];
    let text = include_str!("../golden/declared.toml");
    reads_with("declared", text, &installed);
}

fn curve(id: &str) -> CurveDescription {
    CurveDescription {
        id: id.into(),
        ..CurveDescription::default()
    }
}

fn reads_as_in_the_golden_file(name: &str, text: &str) {
    reads_with(name, text, &[]);
}

fn reads_with(name: &str, text: &str, analyses: &[Analysis]) {
    let got = Config::parse(text, &format!("{name}.toml"), analyses)
        .unwrap_err()
        .to_string()
        + "\n";
    let file = Path::new(env!("CARGO_MANIFEST_DIR")).join(format!("src/config/golden/{name}.txt"));
    if std::env::var_os("UPDATE_GOLDEN").is_some() {
        std::fs::write(&file, &got).unwrap();
    }
    let want = std::fs::read_to_string(&file).unwrap();
    assert!(got == want, "got:\n{got}\nwant:\n{want}");
}
