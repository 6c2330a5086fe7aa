//! How far a figure has moved from the baseline's.

use goodwire_proto::v1::{Figure, Measurement, verdict::Outcome};

use super::{
    interval::{Interval, Standing},
    limit::Said,
    place, words,
};

/// What a drift limit says of a figure.
///
/// The change lies in an interval of its own, coverage 2, both uncertainties counted. All of it
/// within ± `allowed`: PASS. All of it beyond: DRIFT. Where ± `allowed` lies inside it, nothing
/// can be told: UNMEASURED, as for every limit. A baseline of another setup is not compared with.
pub(super) fn against_baseline(
    allowed: f64,
    figure: &Figure,
    interval: &Interval,
    measurement: &Measurement,
    baseline: &Measurement,
) -> Said {
    let name = words::figure_in_words(figure);
    if let Some(said) = other_setup(&name, measurement, baseline) {
        return said;
    }
    let before = place::counterpart(figure, &baseline.figures);
    let Some(before) = before.and_then(Interval::of) else {
        return (
            Outcome::Unmeasured,
            format!("{name} is not in the baseline."),
        );
    };
    let change = interval.change_from(&before);
    let unit = figure.unit.as_str();
    let allowed_text = words::with_unit(&words::number(allowed), unit);
    let moved = format!(
        "{name} has moved by {} from the baseline's {}",
        words::interval(&change, unit),
        words::value(&before, unit),
    );
    match change.against(Some(-allowed), Some(allowed)) {
        Standing::Inside => (
            Outcome::Pass,
            format!("{moved}; allowed is {allowed_text}."),
        ),
        Standing::Outside => (
            Outcome::Drift,
            format!("{moved}, further than {allowed_text}."),
        ),
        Standing::Across => (
            Outcome::Unmeasured,
            format!("{moved}: too uncertain to tell; allowed is {allowed_text}."),
        ),
    }
}

/// That a baseline of another setup is not compared with; `None` where it is of the same.
pub(super) fn other_setup(
    name: &str,
    measurement: &Measurement,
    baseline: &Measurement,
) -> Option<Said> {
    let differences = setup_differences([measurement, baseline]);
    let text = format!(
        "{name} is not compared with the baseline, which was made with another setup ({}).",
        differences.join(", ")
    );
    (!differences.is_empty()).then_some((Outcome::Unmeasured, text))
}

/// The keys whose values are not the same in all measurements; `simulated` is one of them, as a
/// simulated link says nothing of a real one.
pub(crate) fn setup_differences<'a>(
    measurements: impl IntoIterator<Item = &'a Measurement> + Clone,
) -> Vec<String> {
    let all = || measurements.clone().into_iter();
    let mut keys: Vec<&str> = all()
        .flat_map(|measurement| measurement.setup.keys().map(String::as_str))
        .collect();
    keys.sort_unstable();
    keys.dedup();
    let mut differences: Vec<String> = keys
        .into_iter()
        .filter(|key| !alike(all().map(|measurement| measurement.setup.get(*key))))
        .map(str::to_owned)
        .collect();
    if !alike(all().map(|measurement| measurement.simulated)) {
        differences.push("simulated".to_owned());
    }
    differences
}

fn alike<T: PartialEq>(mut values: impl Iterator<Item = T>) -> bool {
    let Some(first) = values.next() else {
        return true;
    };
    values.all(|value| value == first)
}
