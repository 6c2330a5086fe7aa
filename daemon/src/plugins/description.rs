//! What a plugin says of itself, checked when it is probed.

use std::collections::HashSet;

use goodwire_proto::{
    plugin::v1::{AnalysisDescription, Description},
    v1::{Parameter, parameter::Kind},
};

use super::{
    outcome::{AT_COUNT_MAX, check_unit},
    parameters,
    words::{is_kebab_case, is_snake_case},
};

/// Most analyses of a plugin.
const ANALYSIS_COUNT_MAX: usize = 64;
/// Most parameters of an analysis.
const PARAMETER_COUNT_MAX: usize = 128;
/// Most figures or curves that an analysis declares.
const OUTCOME_COUNT_MAX: usize = 256;
/// Most choices of a parameter.
const CHOICE_COUNT_MAX: usize = 128;
/// Most bytes of a text.
const TEXT_BYTES_MAX: usize = 2_000;

/// Checks a whole description.
///
/// # Errors
/// The first thing that is wrong, in a sentence.
pub(super) fn check(description: &Description) -> Result<(), String> {
    let Description {
        plugin,
        version,
        analyses,
    } = description;
    if !is_kebab_case(plugin) {
        return Err(format!("its name {plugin:?} is not in kebab-case"));
    }
    if !is_version(version) {
        return Err(format!("its version {version:?} is not of the form 1.2.3"));
    }
    if analyses.is_empty() || analyses.len() > ANALYSIS_COUNT_MAX {
        let count = analyses.len();
        return Err(format!(
            "it has {count} analyses; 1 to {ANALYSIS_COUNT_MAX} would be right"
        ));
    }
    let mut seen = HashSet::new();
    for analysis in analyses {
        let id = &analysis.id;
        if !is_kebab_case(id) {
            return Err(format!("its analysis {id:?} is not in kebab-case"));
        }
        if !seen.insert(id) {
            return Err(format!("its analysis {id} is there twice"));
        }
        check_analysis(analysis).map_err(|wrong| format!("its analysis {id}: {wrong}"))?;
    }
    Ok(())
}

fn check_analysis(analysis: &AnalysisDescription) -> Result<(), String> {
    if analysis.title.is_empty() || analysis.summary.is_empty() {
        return Err("it has no title or no summary".into());
    }
    if analysis.title.len() + analysis.summary.len() > TEXT_BYTES_MAX {
        return Err("its title and summary are too long".into());
    }
    if analysis.parameters.len() > PARAMETER_COUNT_MAX {
        return Err(format!("it has {} parameters", analysis.parameters.len()));
    }
    if analysis.without_audio && (analysis.plays || !analysis.silent_with.is_empty()) {
        return Err("it needs no audio, and yet it plays".into());
    }
    let mut seen = HashSet::new();
    for parameter in &analysis.parameters {
        let id = &parameter.id;
        if !is_snake_case(id) {
            return Err(format!("parameter {id:?} is not in snake_case"));
        }
        if !seen.insert(id) {
            return Err(format!("parameter {id} is there twice"));
        }
        check_parameter(parameter).map_err(|wrong| format!("parameter {id}: {wrong}"))?;
    }
    for silence in &analysis.silent_with {
        let has = |one: &&Parameter| one.id == silence.parameter;
        let choices = analysis.parameters.iter().find(has).map(|one| &one.choices);
        if !choices.is_some_and(|choices| choices.contains(&silence.value)) {
            let (parameter, value) = (&silence.parameter, &silence.value);
            return Err(format!(
                "it is silent with {parameter:?} = {value:?}, which is no choice"
            ));
        }
    }
    let figures = analysis.figures.iter();
    check_outcomes(figures.map(|one| (&one.id, vec![&one.unit], &one.at)))?;
    let curves = analysis.curves.iter();
    check_outcomes(curves.map(|one| (&one.id, vec![&one.x_unit, &one.y_unit], &one.at)))
}

/// Checks declared figures or curves: id, units and the keys of `at` of each.
fn check_outcomes<'a>(
    declared: impl ExactSizeIterator<Item = (&'a String, Vec<&'a String>, &'a Vec<String>)>,
) -> Result<(), String> {
    if declared.len() > OUTCOME_COUNT_MAX {
        let count = declared.len();
        return Err(format!("it declares {count} figures or curves"));
    }
    let mut seen = HashSet::new();
    for (id, units, at) in declared {
        if !is_snake_case(id) {
            return Err(format!("figure or curve {id:?} is not in snake_case"));
        }
        if !seen.insert(id) {
            return Err(format!("figure or curve {id} is declared twice"));
        }
        let wrong = |wrong| format!("figure or curve {id} {wrong}");
        units
            .iter()
            .try_for_each(|unit| check_unit(unit))
            .map_err(wrong)?;
        if at.len() > AT_COUNT_MAX || !at.iter().all(|key| is_snake_case(key)) {
            return Err(wrong("is declared at impossible keys".into()));
        }
    }
    Ok(())
}

fn check_parameter(parameter: &Parameter) -> Result<(), String> {
    let kind = parameter.kind();
    if kind == Kind::Unspecified {
        return Err("it does not say what values it takes".into());
    }
    if parameter.text.len() > TEXT_BYTES_MAX {
        return Err("its text is too long".into());
    }
    let bounds = [parameter.min, parameter.max];
    if bounds.iter().flatten().any(|bound| !bound.is_finite()) {
        return Err("it has a bound that is not finite".into());
    }
    if let (Some(min), Some(max)) = (parameter.min, parameter.max)
        && min > max
    {
        return Err(format!(
            "its bounds {min} and {max} leave nothing between them"
        ));
    }
    let choice_count = parameter.choices.len();
    if (kind == Kind::Choice) != (choice_count > 0) || choice_count > CHOICE_COUNT_MAX {
        return Err(format!("it has {choice_count} choices"));
    }
    if parameter.level && !matches!(kind, Kind::Number | Kind::Numbers) {
        return Err("it is a level but no number".into());
    }
    let default = parameter
        .default_value
        .as_ref()
        .ok_or("it has no default")?;
    parameters::read(parameter, default).map_err(|wrong| format!("its default: {wrong}"))?;
    Ok(())
}

/// Three numbers, then what may follow in SemVer.
fn is_version(version: &str) -> bool {
    let core = version.split(['-', '+']).next().unwrap_or_default();
    let is_number = |part: &str| !part.is_empty() && part.chars().all(|one| one.is_ascii_digit());
    version.len() <= 64
        && version
            .chars()
            .all(|one| one.is_ascii_alphanumeric() || ".-+".contains(one))
        && core.split('.').count() == 3
        && core.split('.').all(is_number)
}

#[cfg(test)]
mod tests {
    use goodwire_proto::v1::FigureDescription;
    use prost_types::Value;

    use super::*;

    fn parameter() -> Parameter {
        Parameter {
            id: "duration_s".into(),
            kind: Kind::Number.into(),
            default_value: Some(Value::from(1.0)),
            max: Some(10.0),
            ..Default::default()
        }
    }

    fn description() -> Description {
        Description {
            plugin: "level".into(),
            version: "1.0.0-rc.1".into(),
            analyses: vec![AnalysisDescription {
                id: "level".into(),
                title: "Level".into(),
                summary: "Finds the gain.".into(),
                parameters: vec![parameter()],
                plays: true,
                figures: vec![FigureDescription {
                    id: "gain".into(),
                    unit: "dB".into(),
                    at: vec!["frequency_hz".into()],
                }],
                curves: Vec::new(),
                ..AnalysisDescription::default()
            }],
        }
    }

    fn description_with(change: impl FnOnce(&mut Description)) -> Result<(), String> {
        let mut description = description();
        change(&mut description);
        check(&description)
    }

    fn parameter_with(change: impl FnOnce(&mut Parameter)) -> Result<(), String> {
        description_with(|description| change(&mut description.analyses[0].parameters[0]))
    }

    #[test]
    fn an_honest_description_passes_and_crooked_ones_are_told() {
        assert_eq!(check(&description()), Ok(()));
        assert!(check(&Description::default()).is_err());
        assert!(description_with(|one| one.version = "1.0".into()).is_err());
        assert!(description_with(|one| one.version = "1.0.0\n".into()).is_err());
        assert!(description_with(|one| one.plugin = "Le vel".into()).is_err());
        assert!(description_with(|one| one.analyses.clear()).is_err());
        assert!(description_with(|one| one.analyses[0].title.clear()).is_err());
        let twice = |one: &mut Description| one.analyses.push(one.analyses[0].clone());
        assert!(description_with(twice).unwrap_err().contains("twice"));
    }

    #[test]
    fn an_analysis_without_audio_that_plays_is_told() {
        let without_audio = |plays| {
            description_with(|one| {
                one.analyses[0].without_audio = true;
                one.analyses[0].plays = plays;
            })
        };
        assert_eq!(without_audio(false), Ok(()));
        assert!(without_audio(true).unwrap_err().contains("needs no audio"));
    }

    #[test]
    fn a_declared_figure_with_a_crooked_id_unit_or_key_or_there_twice_is_told() {
        let figure_with = |change: fn(&mut FigureDescription)| {
            description_with(|one| change(&mut one.analyses[0].figures[0])).unwrap_err()
        };
        assert!(figure_with(|one| one.id = "Gain".into()).contains("snake_case"));
        assert!(figure_with(|one| one.unit = "furlongs".into()).contains("unknown unit"));
        assert!(figure_with(|one| one.at.push("a b".into())).contains("impossible keys"));
        let twice = |one: &mut Description| {
            let figures = &mut one.analyses[0].figures;
            figures.push(figures[0].clone());
        };
        assert!(description_with(twice).unwrap_err().contains("twice"));
    }

    #[test]
    fn a_parameter_whose_default_breaks_its_own_bounds_is_told() {
        let wrong = parameter_with(|one| one.max = Some(0.5)).unwrap_err();
        assert!(wrong.contains("its default: 1 is too large"), "{wrong}");
        assert!(parameter_with(|one| one.default_value = None).is_err());
        assert!(parameter_with(|one| one.kind = 0).is_err());
        assert!(parameter_with(|one| one.kind = 99).is_err());
        assert!(parameter_with(|one| one.min = Some(20.0)).is_err());
        assert!(parameter_with(|one| one.max = Some(f64::NAN)).is_err());
        assert!(parameter_with(|one| one.choices = vec!["a".into()]).is_err());
        assert!(parameter_with(|one| one.kind = Kind::Choice.into()).is_err());
        assert!(parameter_with(|one| one.id = "duration-s".into()).is_err());
    }
}
