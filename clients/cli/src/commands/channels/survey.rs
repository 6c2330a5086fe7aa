//! Surveys that somebody wrote into a file.

use std::{fs, path::Path};

use anyhow::{Context, ensure};
use clap::ValueEnum;
use goodwire_proto::v1::{RadioSurvey, radio_survey};

/// The longest survey that is sent, in bytes: what the daemon takes.
const BYTES_MAX: u64 = 4 << 20;

/// How a survey is written.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub enum Form {
    /// By hand, a transmission a line
    Typed,
    /// Comma-separated frequencies and levels
    Spectrum,
    /// What `iw dev … scan` prints
    Scan,
}

impl From<Form> for radio_survey::Form {
    fn from(form: Form) -> Self {
        match form {
            Form::Typed => Self::Typed,
            Form::Spectrum => Self::Spectrum,
            Form::Scan => Self::Scan,
        }
    }
}

/// Reads a survey; when the file was last changed is when it ended.
///
/// # Errors
/// Where there is no such file, or it holds no text or too much.
pub fn read(path: &Path, form: Option<Form>) -> anyhow::Result<RadioSurvey> {
    let name = path.display();
    let cannot = || format!("the survey {name} cannot be read");
    let known = fs::metadata(path).with_context(cannot)?;
    ensure!(
        known.len() <= BYTES_MAX,
        "the survey {name} has {} bytes: 4 MiB at most",
        known.len()
    );
    let bytes = fs::read(path).with_context(cannot)?;
    let text = String::from_utf8(bytes).with_context(|| format!("{name} is no UTF-8 text"))?;
    Ok(RadioSurvey {
        text,
        form: form
            .map_or_else(radio_survey::Form::default, Into::into)
            .into(),
        // A file system without times leaves the age unknown, which the plan then says.
        end_time: known.modified().ok().map(Into::into),
        origin: name.to_string(),
    })
}

#[cfg(test)]
mod tests {
    use std::time::{Duration, SystemTime};

    use super::*;

    #[test]
    fn a_file_changed_an_hour_ago_is_a_survey_of_then() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("tonight.txt");
        fs::write(&path, "6 20 office\n").unwrap();
        let hour_ago = SystemTime::now() - Duration::from_secs(3600);
        let file = fs::File::options().append(true).open(&path).unwrap();
        file.set_modified(hour_ago).unwrap();
        let survey = read(&path, Some(Form::Typed)).unwrap();
        assert_eq!(survey.end_time, Some(hour_ago.into()));
        assert_eq!(
            (survey.form(), survey.text.as_str()),
            (radio_survey::Form::Typed, "6 20 office\n")
        );
        assert!(survey.origin.ends_with("tonight.txt"));
        assert_eq!(
            read(&path, None).unwrap().form(),
            radio_survey::Form::Unspecified
        );
    }

    #[test]
    fn a_picture_a_missing_file_and_5_mib_are_no_surveys() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("scan.png");
        fs::write(&path, [0x89, 0x50, 0xff]).unwrap();
        assert!(read(&path, None).unwrap_err().to_string().contains("UTF-8"));
        fs::write(&path, vec![b' '; 5 << 20]).unwrap();
        assert!(read(&path, None).unwrap_err().to_string().contains("4 MiB"));
        let missing = read(&folder.path().join("none"), None).unwrap_err();
        assert!(format!("{missing:#}").contains("none cannot be read"));
    }
}
