use goodwire_proto::plugin::v1::plan::Capture;
use prost_types::Value;

use super::*;

fn figure() -> Figure {
    Figure {
        id: "gain".into(),
        value: Some(-0.4),
        uncertainty: Some(0.01),
        unit: "dB".into(),
        ..Default::default()
    }
}

fn curve() -> Curve {
    Curve {
        id: "magnitude".into(),
        x_unit: "Hz".into(),
        y_unit: "dB".into(),
        x: vec![20.0, 40.0],
        y: vec![0.0, -1.0],
        y_uncertainty: vec![0.1, 0.2],
        ..Default::default()
    }
}

fn step() -> Step {
    Step {
        frame_count: 48_000,
        tail_frame_count: 4_800,
        repeat_count: 2,
        peak_dbfs: -40.0,
        loss: Loss::Retry.into(),
        ..Step::default()
    }
}

fn figure_with(change: impl FnOnce(&mut Figure)) -> Result<(), Wrong> {
    let mut figure = figure();
    change(&mut figure);
    check_figures(&[figure])
}

fn curve_with(change: impl FnOnce(&mut Curve)) -> Result<(), Wrong> {
    let mut curve = curve();
    change(&mut curve);
    check_curves(&[curve])
}

fn step_with(change: impl FnOnce(&mut Step)) -> Result<(), Wrong> {
    let mut step = step();
    change(&mut step);
    let plan = Plan {
        steps: vec![step],
        ..Plan::default()
    };
    check_plan(&plan, -40.0, &[])
}

fn at(name: &str, value: impl Into<Value>) -> Option<Struct> {
    Some(Struct {
        fields: [(name.to_owned(), value.into())].into(),
    })
}

#[test]
fn an_honest_result_passes() {
    let result = SessionResult {
        figures: vec![
            figure(),
            Figure {
                at: at("frequency_hz", 997.0),
                ..figure()
            },
        ],
        curves: vec![curve()],
        events: vec![Event {
            id: "gap".into(),
            start_s: Some(1.0),
            ..Default::default()
        }],
        notes: vec![Note {
            level: 1,
            id: "no-clip-point".into(),
            text: "none".into(),
        }],
        ..SessionResult::default()
    };
    assert_eq!(check_result(&result), Ok(()));
}

#[test]
fn a_figure_that_cannot_be_believed_is_told() {
    assert_eq!(figure_with(|_| ()), Ok(()));
    assert!(figure_with(|figure| figure.value = None).is_err());
    assert!(figure_with(|figure| figure.value = Some(f64::NAN)).is_err());
    assert!(figure_with(|figure| figure.value = Some(f64::INFINITY)).is_err());
    assert!(figure_with(|figure| figure.uncertainty = Some(-1.0)).is_err());
    assert!(figure_with(|figure| figure.uncertainty = Some(f64::NAN)).is_err());
    assert!(figure_with(|figure| figure.low = Some(0.0)).is_err());
    assert!(figure_with(|figure| figure.high = Some(-1.0)).is_err());
    assert!(figure_with(|figure| figure.unit = "furlong".into()).is_err());
    assert!(figure_with(|figure| figure.id = "Gain".into()).is_err());
    assert!(figure_with(|figure| figure.at = at("frequency_hz", f64::NAN)).is_err());
    assert!(figure_with(|figure| figure.at = at("two words", 1.0)).is_err());
    assert!(
        check_figures(&[figure(), figure()])
            .unwrap_err()
            .contains("twice")
    );
    let many = vec![figure(); ITEM_COUNT_MAX + 1];
    assert!(check_figures(&many).unwrap_err().contains("10001 figures"));
}

#[test]
fn a_curve_that_cannot_be_believed_is_told() {
    assert_eq!(curve_with(|_| ()), Ok(()));
    assert_eq!(curve_with(|curve| curve.y_uncertainty.clear()), Ok(()));
    assert!(curve_with(|curve| curve.y.truncate(1)).is_err());
    assert!(curve_with(|curve| curve.y_uncertainty.truncate(1)).is_err());
    assert!(curve_with(|curve| curve.x[1] = 20.0).is_err());
    assert!(curve_with(|curve| curve.x[1] = f64::NAN).is_err());
    assert!(curve_with(|curve| curve.y[0] = f64::NEG_INFINITY).is_err());
    assert!(curve_with(|curve| curve.y_uncertainty[0] = -0.1).is_err());
    assert!(curve_with(|curve| curve.x_unit = "hz".into()).is_err());
    let long = curve_with(|curve| {
        curve.x = (0..1_000_001).map(f64::from).collect();
        curve.y = vec![0.0; 1_000_001];
        curve.y_uncertainty.clear();
    });
    assert!(long.unwrap_err().contains("1000001 points"));
}

#[test]
fn events_and_notes_that_cannot_be_believed_are_told() {
    let event = |start_s, duration_s| Event {
        id: "gap".into(),
        start_s: Some(start_s),
        duration_s: Some(duration_s),
        ..Default::default()
    };
    assert_eq!(check_event(&event(1.0, 0.0)), Ok(()));
    assert!(check_event(&event(f64::NAN, 0.0)).is_err());
    assert!(check_event(&event(0.0, -1.0)).is_err());
    assert!(
        check_event(&Event {
            id: "Gap!".into(),
            ..event(0.0, 0.0)
        })
        .is_err()
    );
    let note = |level, id: &str| Note {
        level,
        id: id.into(),
        text: String::new(),
    };
    assert_eq!(check_note(&note(2, "x")), Ok(()));
    assert!(check_note(&note(0, "x")).is_err());
    assert!(check_note(&note(9, "x")).is_err());
    assert!(check_note(&note(1, "")).is_err());
    let long = Note {
        text: "x".repeat(TEXT_BYTES_MAX + 1),
        ..note(1, "x")
    };
    assert!(check_note(&long).is_err());
}

#[test]
fn events_come_in_order_of_time() {
    let event = |start_s| Event {
        start_s,
        ..Default::default()
    };
    let mut result = SessionResult {
        events: vec![event(Some(3.0)), event(Some(-1.0)), event(None)],
        ..Default::default()
    };
    sort_events(&mut result);
    let starts: Vec<_> = result.events.iter().map(|event| event.start_s).collect();
    assert_eq!(starts, [None, Some(-1.0), Some(3.0)]);
}

#[test]
fn a_plan_above_the_ceiling_of_minus_40_dbfs_or_without_sense_is_told() {
    assert_eq!(step_with(|_| ()), Ok(()));
    assert!(step_with(|step| step.frame_count = 0).is_err());
    assert!(step_with(|step| step.loss = Loss::Cut.into()).is_err());
    let without_end = |step: &mut Step| {
        (step.frame_count, step.tail_frame_count, step.repeat_count) = (0, 0, 1);
        step.loss = Loss::Cut.into();
    };
    assert_eq!(step_with(without_end), Ok(()));
    assert_eq!(step_with(|step| step.peak_dbfs = f64::NEG_INFINITY), Ok(()));
    assert!(
        step_with(|step| step.peak_dbfs = -39.9)
            .unwrap_err()
            .contains("-39.90 dBFS")
    );
    assert!(step_with(|step| step.peak_dbfs = f64::NAN).is_err());
    assert!(step_with(|step| step.frame_count = -1).is_err());
    assert!(step_with(|step| step.tail_frame_count = -1).is_err());
    assert!(step_with(|step| step.repeat_count = 0).is_err());
    assert!(step_with(|step| step.loss = 0).is_err());
    assert!(step_with(|step| step.loss = 7).is_err());
}

#[test]
fn a_plan_that_hears_a_channel_twice_or_one_that_is_not_there_is_refused() {
    let capture = |kind: i32, link: &str| Capture {
        kind,
        link: link.into(),
    };
    let others = ["foyer".to_owned(), "choir".to_owned()];
    let check = |captures: &[Capture]| {
        let plan = Plan {
            captures: captures.to_vec(),
            ..Plan::default()
        };
        check_plan(&plan, 0.0, &others)
    };
    let (link, foyer) = (capture(1, ""), capture(4, "foyer"));
    check(&[link.clone(), foyer.clone(), capture(4, "choir")]).unwrap();
    assert!(check(&[link.clone(), link]).is_err());
    assert!(check(&[foyer.clone(), foyer]).is_err());
    assert!(check(&[capture(4, "kitchen")]).is_err());
    assert!(check(&[capture(0, "")]).is_err());
}
