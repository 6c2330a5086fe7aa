//! Reads what a report is about from the store.

use goodwire_proto::v1::{Measurement, Run};

use super::{Mask, Report, Subject, Zone};
use crate::{
    judge,
    measure::{complete::Desk, job::bare},
    refusal::{Refusal, Violation},
    store::{Store, StoreError},
};

/// Most measurements that stand side by side in one report.
const MEASUREMENTS_MAX: usize = 100;

/// Reads what a report of one run, or of measurements, is about. Blocks.
///
/// # Errors
/// [`Refusal::NotFound`] with every name that is not there, [`Refusal::Invalid`] where a run is not
/// named alone, and what reading can meet.
pub fn gather(desk: &Desk, names: &[String]) -> Result<Report, Refusal> {
    if names.is_empty() || names.len() > MEASUREMENTS_MAX {
        let text = format!(
            "{} names were given; a report is of one run, or of 1 to {MEASUREMENTS_MAX} measurements",
            names.len()
        );
        return Err(Refusal::field("names", text));
    }
    let found = find_all(&desk.store, names)?;
    match <[Found; 1]>::try_from(found) {
        Ok([Found::Run(run)]) => of_run(desk, *run),
        Ok([Found::Measurement(one)]) => of_set(desk, vec![*one]),
        Err(several) => of_set(desk, measurements_alone(several)?),
    }
}

enum Found {
    Run(Box<Run>),
    Measurement(Box<Measurement>),
}

fn find_all(store: &Store, names: &[String]) -> Result<Vec<Found>, Refusal> {
    let (mut found, mut missing) = (Vec::new(), Vec::new());
    for name in names {
        match find(store, name)? {
            Some(one) => found.push(one),
            None => missing.push(format!("'{name}'")),
        }
    }
    if missing.is_empty() {
        return Ok(found);
    }
    let text = format!("there is no run and no measurement {}", missing.join(", "));
    Err(Refusal::NotFound(text))
}

/// A name with its collection is looked for there alone, a bare id in both.
fn find(store: &Store, name: &str) -> Result<Option<Found>, Refusal> {
    if !name.starts_with("runs/")
        && let Some(found) = there(store.get(name))?
    {
        return Ok(Some(Found::Measurement(Box::new(found))));
    }
    if name.starts_with("measurements/") {
        return Ok(None);
    }
    Ok(there(store.run(name))?.map(|run| Found::Run(Box::new(run))))
}

/// `None` for what is not there; every other error is one.
fn there<T>(read: Result<T, StoreError>) -> Result<Option<T>, Refusal> {
    match read {
        Ok(found) => Ok(Some(found)),
        Err(StoreError::NotFound { .. }) => Ok(None),
        Err(error) => Err(error.into()),
    }
}

fn measurements_alone(found: Vec<Found>) -> Result<Vec<Measurement>, Refusal> {
    let (mut measurements, mut runs) = (Vec::new(), Vec::new());
    for one in found {
        match one {
            Found::Measurement(measurement) => measurements.push(*measurement),
            Found::Run(run) => runs.push(Violation::new(
                "names",
                format!(
                    "{} is a run; a report of a run is of nothing else",
                    run.name
                ),
            )),
        }
    }
    if runs.is_empty() {
        return Ok(measurements);
    }
    Err(Refusal::Invalid(runs))
}

fn of_run(desk: &Desk, run: Run) -> Result<Report, Refusal> {
    let names = run.checks.iter().map(|check| check.measurement.as_str());
    let measurements = names
        .filter(|name| !name.is_empty())
        .map(|name| desk.store.get(name))
        .collect::<Result<Vec<_>, _>>()?;
    let mut report = of_set(desk, measurements)?;
    report.zone = Zone::of_round(&desk.config, &run.round);
    report.run = Some(run);
    Ok(report)
}

fn of_set(desk: &Desk, set: Vec<Measurement>) -> Result<Report, Refusal> {
    let subjects = set.into_iter().map(|one| subject(desk, one));
    Ok(Report {
        site: desk.config.site.clone(),
        zone: Zone::of_machine(),
        run: None,
        subjects: subjects.collect::<Result<_, Refusal>>()?,
    })
}

fn subject(desk: &Desk, measurement: Measurement) -> Result<Subject, Refusal> {
    if measurement.link.is_empty() {
        return Ok(Subject {
            measurement,
            ..Subject::default()
        });
    }
    let store = &desk.store;
    let baseline = store.baseline(bare(&measurement.link), &measurement.analysis)?;
    Ok(Subject {
        before: store.measurement_before(&measurement)?,
        baseline: baseline.filter(|baseline| baseline.name != measurement.name),
        masks: masks(desk, &measurement),
        measurement,
    })
}

/// The masks of the present configuration, where the curves themselves are.
fn masks(desk: &Desk, measurement: &Measurement) -> Vec<Mask> {
    let masked = judge::masked(&desk.config.limits, measurement);
    let masks = masked.into_iter().filter_map(|(wanted, curve)| {
        let re = judge::curve::level_of(wanted, measurement)?;
        let raised = |corners: &[[f64; 2]]| corners.iter().map(|[x, y]| [*x, y + re]).collect();
        Some(Mask {
            curve: curve.id.clone(),
            at: curve.at.clone(),
            upper: raised(&wanted.upper),
            lower: raised(&wanted.lower),
        })
    });
    masks.collect()
}
