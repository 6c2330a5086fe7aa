//! Reads what a report is about from the store.

use goodwire_proto::v1::{Measurement, Run};

use super::{Report, Subject};
use crate::{
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
    let site = desk.config.site.clone();
    match <[Found; 1]>::try_from(found) {
        Ok([Found::Run(run)]) => of_run(&desk.store, site, *run),
        Ok([Found::Measurement(one)]) => of_set(&desk.store, site, vec![*one]),
        Err(several) => of_set(&desk.store, site, measurements_alone(several)?),
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

fn of_run(store: &Store, site: String, run: Run) -> Result<Report, Refusal> {
    let names = run.checks.iter().map(|check| check.measurement.as_str());
    let measurements = names
        .filter(|name| !name.is_empty())
        .map(|name| store.get(name))
        .collect::<Result<Vec<_>, _>>()?;
    let mut report = of_set(store, site, measurements)?;
    report.run = Some(run);
    Ok(report)
}

fn of_set(store: &Store, site: String, set: Vec<Measurement>) -> Result<Report, Refusal> {
    let subjects = set.into_iter().map(|one| subject(store, one));
    Ok(Report {
        site,
        run: None,
        subjects: subjects.collect::<Result<_, Refusal>>()?,
    })
}

fn subject(store: &Store, measurement: Measurement) -> Result<Subject, Refusal> {
    if measurement.link.is_empty() {
        return Ok(Subject {
            measurement,
            ..Subject::default()
        });
    }
    let baseline = store.baseline(bare(&measurement.link), &measurement.analysis)?;
    Ok(Subject {
        before: store.measurement_before(&measurement)?,
        baseline: baseline.filter(|baseline| baseline.name != measurement.name),
        measurement,
    })
}
