//! Lists and pages.

use std::time::Duration;

use super::*;
use crate::clock::Clock;

fn names(page: &Page) -> Vec<String> {
    page.measurements
        .iter()
        .map(|measurement| measurement.name.clone())
        .collect()
}

#[test]
fn seven_measurements_in_pages_of_3_come_newest_first_and_each_once() {
    let dir = tempfile::tempdir().unwrap();
    let store = open(dir.path());
    let mut made: Vec<_> = (0..7)
        .map(|_| kept(&store, "lectern", "level", 0.0).name)
        .collect();
    made.reverse();
    let mut query = ListQuery {
        page_size: 3,
        ..Default::default()
    };
    let mut got = Vec::new();
    for page_length in [3, 3, 1] {
        let page = store.list(&query).unwrap();
        assert_eq!(page.measurements.len(), page_length);
        // What is added between two pages belongs to neither.
        kept(&store, "lectern", "level", 0.0);
        got.extend(names(&page));
        query.page_token = page.next_page_token;
    }
    assert_eq!(query.page_token, "");
    assert_eq!(got, made);
}

#[test]
fn a_list_that_fills_its_page_exactly_has_no_next_page() {
    let dir = tempfile::tempdir().unwrap();
    let store = open(dir.path());
    for _ in 0..3 {
        kept(&store, "lectern", "level", 0.0);
    }
    let page = store
        .list(&ListQuery {
            page_size: 3,
            ..Default::default()
        })
        .unwrap();
    assert_eq!(
        (page.measurements.len(), page.next_page_token.as_str()),
        (3, "")
    );
}

#[test]
fn lists_have_verdict_and_findings_and_no_curves() {
    let dir = tempfile::tempdir().unwrap();
    let store = open(dir.path());
    let whole = kept(&store, "lectern", "level", 0.0);
    let page = store.list(&ListQuery::default()).unwrap();
    assert_eq!(
        page.measurements,
        [Measurement {
            curves: Vec::new(),
            ..whole
        }]
    );
}

#[test]
fn link_analysis_and_time_filter_together() {
    let dir = tempfile::tempdir().unwrap();
    let clock = clock();
    let store = Store::open(dir.path(), clock.clone()).unwrap();
    kept(&store, "lectern", "level", 0.0);
    clock.advance(Duration::from_secs(60));
    let since = Some(clock.timestamp());
    kept(&store, "lectern", "response", 0.0);
    kept(&store, "drum-riser", "level", 0.0);
    let wanted = kept(&store, "lectern", "level", 0.0);
    for link in ["lectern", "links/lectern"] {
        let query = ListQuery {
            link: link.to_owned(),
            analysis: "level".to_owned(),
            since,
            ..Default::default()
        };
        assert_eq!(names(&store.list(&query).unwrap()), [wanted.name.as_str()]);
    }
}

#[test]
fn page_size_0_means_50_and_above_500_means_500_and_below_0_is_refused() {
    let dir = tempfile::tempdir().unwrap();
    let store = open(dir.path());
    let many: Vec<_> = (0..501).map(|_| queued("lectern", "level")).collect();
    store.create(&many, None).unwrap();
    for (asked, got) in [(0, 50), (1, 1), (500, 500), (501, 500), (i32::MAX, 500)] {
        let query = ListQuery {
            page_size: asked,
            ..Default::default()
        };
        assert_eq!(
            store.list(&query).unwrap().measurements.len(),
            got,
            "page_size {asked}"
        );
    }
    let query = ListQuery {
        page_size: -1,
        ..Default::default()
    };
    assert!(matches!(
        store.list(&query),
        Err(StoreError::PageSize { got: -1 })
    ));
}

#[test]
fn tokens_of_other_lists_and_made_up_ones_are_refused() {
    let dir = tempfile::tempdir().unwrap();
    let store = open(dir.path());
    for _ in 0..2 {
        kept(&store, "lectern", "level", 0.0);
    }
    let page = store
        .list(&ListQuery {
            page_size: 1,
            ..Default::default()
        })
        .unwrap();
    let other = ListQuery {
        link: "lectern".to_owned(),
        page_token: page.next_page_token.clone(),
        ..Default::default()
    };
    assert!(matches!(store.list(&other), Err(StoreError::PageToken)));
    for token in [
        "x",
        "é",
        "00000000",
        &page.next_page_token[1..],
        "' OR 1 --",
    ] {
        let query = ListQuery {
            page_token: token.to_owned(),
            ..Default::default()
        };
        assert!(
            matches!(store.list(&query), Err(StoreError::PageToken)),
            "{token}"
        );
    }
}
