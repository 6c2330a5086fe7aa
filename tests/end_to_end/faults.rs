//! Faults of the simulated rig, each named by a round on the night after its healthy baseline.
//!
//! Every row gives all the findings of its run, so what it does not list must not appear.

mod table;
mod venue;

use goodwire_proto::v1::Run;

use table::{FAULTS, Fault};
use venue::{Venue, baselines, night};

/// What was found, each as `link id`, in order.
fn found(run: &Run) -> Vec<String> {
    let findings = run.findings.iter();
    let mut found: Vec<String> = findings
        .map(|found| {
            let link = found.link.trim_start_matches("links/").to_owned();
            format!("{link} {}", found.finding.clone().unwrap_or_default().id)
        })
        .collect();
    found.sort_unstable();
    found
}

/// Runs the nights of a row after the healthy one; gives the last run.
async fn last_run(fault: &Fault, healthy: &std::path::Path) -> Run {
    let state = venue::copy_of(healthy);
    let mut last = Run::default();
    for changes in fault.nights {
        let venue = Venue {
            changes,
            rig: fault.rig,
            checks: fault.checks,
        };
        last = night(&venue, state.path()).await;
    }
    last
}

#[tokio::test]
async fn twenty_seven_faults_are_named_and_nothing_else_is() {
    assert_eq!(FAULTS.len(), 27 + 1, "and the healthy night");
    let healthy = baselines().await;
    let mut wrong = Vec::new();
    for fault in FAULTS {
        let run = last_run(fault, healthy.path()).await;
        let found = found(&run);
        println!("{:40} {found:?}", fault.name);
        let mut expected = fault.expected.to_vec();
        expected.sort_unstable();
        if found != expected {
            let reasons: Vec<_> = run
                .checks
                .iter()
                .filter_map(|one| one.reason.clone())
                .collect();
            wrong.push(format!(
                "{}: {found:?}, expected {expected:?}; {reasons:?}",
                fault.name
            ));
        }
    }
    assert!(wrong.is_empty(), "{wrong:#?}");
}
