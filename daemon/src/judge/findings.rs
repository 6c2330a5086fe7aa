//! The likely causes of what is wrong, each in a sentence with what to do about it.
//!
//! A rule looks at what is known of a link (its measurements of one run, their baselines, earlier
//! ones, and the other links of that run) and says what it sees or nothing. Outside a run a link
//! has one measurement and no other links. The causes are common practice of the trade, no source;
//! what each rule relies on stands beside it, and docs/findings.md tells them all.

mod evidence;
mod rules;

#[cfg(test)]
mod nights;
#[cfg(test)]
mod scene;

use goodwire_proto::v1::{Finding, Measurement, RunFinding};

use evidence::{Evidence, Link};

/// A measurement with what it is held against.
#[derive(Debug, Clone, Default)]
pub struct Seen {
    /// It has ended and been judged.
    pub measurement: Measurement,
    /// The baseline of its link and analysis, where one is set.
    pub baseline: Option<Measurement>,
    /// Earlier ones of its link and analysis, newest first, without curves; as many as are at hand.
    pub history: Vec<Measurement>,
}

/// Says what one measurement alone tells of its link.
#[must_use]
pub fn findings(seen: &Seen) -> Vec<Finding> {
    let found = run_findings(std::slice::from_ref(seen)).into_iter();
    found.filter_map(|found| found.finding).collect()
}

/// Says what the measurements of a run tell together, by link, in the order of the links' first
/// measurements. Matches are left out.
#[must_use]
pub fn run_findings(seen: &[Seen]) -> Vec<RunFinding> {
    let links = Link::all(seen);
    let of_link = |index: usize| {
        let evidence = Evidence::new(&links, index);
        let name = links[index].measurement().link.clone();
        rules::of(&links[index]).iter().filter_map(move |rule| {
            Some(RunFinding {
                link: name.clone(),
                finding: Some(Finding {
                    id: rule.id.to_owned(),
                    text: (rule.look)(&evidence)?,
                }),
            })
        })
    };
    (0..links.len()).flat_map(of_link).collect()
}

#[cfg(test)]
mod tests {
    use super::{rules::RULES, scene, *};
    use crate::judge::tests::{figure, within};

    #[test]
    fn every_finding_has_its_line_in_the_page_and_an_id_of_its_own() {
        let page = include_str!("../../../docs/findings.md");
        for rule in &RULES {
            let line = format!("| `{}` |", rule.id);
            assert_eq!(page.matches(&line).count(), 1, "{}", rule.id);
        }
        assert_eq!(
            page.matches("\n| `").count(),
            RULES.len(),
            "no line without a rule"
        );
    }

    #[test]
    fn a_healthy_link_that_is_as_it_was_has_no_finding() {
        let mut figures = scene::level(0.0, -12.0);
        figures.extend([
            figure("polarity", 1.0, 0.0),
            figure("corner_high", 20_000.0, 50.0),
            figure("corner_low", 12.0, 0.5),
            figure("latency", 4.0, 0.001),
            figure("jitter", 0.01, 0.005),
        ]);
        let now = || scene::seen("lectern", "", figures.clone());
        let limits = [within("gain", -3.0, 3.0)];
        assert_eq!(scene::ids(&now().judged(&limits)), [""; 0]);
        let compared = now().against(figures.clone()).judged(&limits);
        assert_eq!(scene::ids(&compared), [""; 0]);
    }

    #[test]
    fn nothing_is_found_about_a_match() {
        let mut cable = scene::seen("lectern", "level", vec![figure("polarity", -1.0, 0.0)]);
        cable.measurement.is_match = true;
        assert_eq!(findings(&cable), []);
    }
}
