//! Many links and analyses at a glance: who is ill, and why.

use goodwire_proto::v1::{Measurement, measurement::State, verdict::Outcome};

use super::{
    Look, Mark,
    results::link,
    table::{Cell, Side, Table},
};

/// A table of links and analyses; below it, a paragraph for each link that is not well.
pub fn render(look: &Look, measurements: &[Measurement]) -> String {
    let links = distinct(measurements.iter().map(link));
    let analyses = distinct(measurements.iter().map(|m| m.analysis.clone()));
    let heads = analyses
        .iter()
        .map(|analysis| (analysis.as_str(), Side::Left));
    let mut table = Table::new([("link", Side::Short)].into_iter().chain(heads));
    let of = |name: &String| {
        measurements
            .iter()
            .filter(|m| link(m) == *name)
            .collect::<Vec<_>>()
    };
    for name in &links {
        let measured = of(name);
        let cells = analyses.iter().map(|analysis| {
            let last = measured.iter().rev().find(|m| m.analysis == *analysis);
            last.map_or_else(Cell::default, |m| Cell::mark(look, Mark::of(m)))
        });
        table.row([Cell::from(name.clone())].into_iter().chain(cells));
    }
    let mut text = table.render(look);
    let mut all_well = true;
    for name in &links {
        let why = why(look, &of(name));
        if !why.is_empty() {
            all_well = false;
            text.push_str(&look.heading(&format!("{name} is not well:")));
            text.push_str(&why);
        }
    }
    if all_well {
        text.push_str("\nEvery link is well.\n");
    }
    text
}

fn distinct(names: impl Iterator<Item = String>) -> Vec<String> {
    let mut distinct = Vec::new();
    for name in names {
        if !distinct.contains(&name) {
            distinct.push(name);
        }
    }
    distinct
}

/// Broken limits, reasons and likely causes of one link; empty where all is well.
fn why(look: &Look, measured: &[&Measurement]) -> String {
    let mut text = String::new();
    for measurement in measured {
        if let Some(reason) = &measurement.reason {
            let sentence = format!("{}: {} ({})", measurement.analysis, reason.text, reason.id);
            text.push_str(&look.wrap("  - ", &sentence));
        }
        let judgements = measurement
            .verdict
            .iter()
            .flat_map(|verdict| &verdict.judgements);
        for judgement in judgements.filter(|j| j.outcome != i32::from(Outcome::Pass)) {
            let shape = Mark::of_outcome(judgement.outcome).shape(look);
            let sentence = format!("{}: {}", measurement.analysis, judgement.text);
            text.push_str(&look.wrap(&format!("  {shape} "), &sentence));
        }
    }
    let findings = measured
        .iter()
        .filter(|m| m.state() == State::Succeeded)
        .flat_map(|m| &m.findings);
    for sentence in distinct(findings.map(|finding| finding.text.clone())) {
        text.push_str(&look.wrap(look.either("  → ", "  > "), &sentence));
    }
    text
}

#[cfg(test)]
mod tests {
    use super::*;
    use goodwire_proto::v1::{Finding, Judgement, Verdict};

    fn measurement(link: &str, outcome: Outcome) -> Measurement {
        let mut judgement = Judgement {
            figure: "clip_point".into(),
            text: "Clip point is -31 dBFS, below the limit of -20 dBFS.".into(),
            ..Judgement::default()
        };
        judgement.set_outcome(outcome);
        let mut verdict = Verdict {
            judgements: vec![judgement],
            ..Verdict::default()
        };
        verdict.set_outcome(outcome);
        let mut measurement = Measurement {
            link: format!("links/{link}"),
            analysis: "level".into(),
            verdict: Some(verdict),
            ..Measurement::default()
        };
        measurement.set_state(State::Succeeded);
        measurement
    }

    #[test]
    fn the_ill_link_is_named_with_broken_limit_and_cause() {
        let mut ill = measurement("drum-riser", Outcome::Fail);
        ill.findings.push(Finding {
            id: "overdriven".into(),
            text: "The transmitter clips early.".into(),
        });
        let look = Look {
            width: 80,
            unicode: false,
            colour: false,
        };
        assert_eq!(
            render(&look, &[measurement("lectern", Outcome::Pass), ill]),
            "  link        level\n  \
               lectern     + pass\n  \
               drum-riser  X fail\n\
             \ndrum-riser is not well:\n  \
               X level: Clip point is -31 dBFS, below the limit of -20 dBFS.\n  \
               > The transmitter clips early.\n"
        );
        let well = render(&look, &[measurement("lectern", Outcome::Pass)]);
        assert!(well.ends_with("\nEvery link is well.\n"));
    }
}
