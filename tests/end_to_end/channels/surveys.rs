//! Surveys of a request and of the configuration: how old, how written, and what is wrong.

use std::{
    fs::{self, File},
    time::{Duration, SystemTime},
};

use goodwire_proto::v1::{MeasureRequest, Measurement, RadioSurvey, radio_survey::Form};
use goodwire_tests::{
    client::{Client, has_note, request},
    daemon::Daemon,
};
use tonic::{Code, Status};

use super::{plan, venue};

/// A request with a survey that ended so many seconds ago.
fn surveyed(text: &str, ended_s: Option<u64>) -> MeasureRequest {
    let end_time = ended_s.map(|ended_s| (SystemTime::now() - Duration::from_secs(ended_s)).into());
    MeasureRequest {
        survey: Some(RadioSurvey {
            text: text.into(),
            form: Form::Unspecified.into(),
            end_time,
            origin: "a slip of paper".into(),
        }),
        ..request("lectern", "channels", &[])
    }
}

async fn measured(client: &Client, request: MeasureRequest) -> Result<Measurement, Status> {
    let asked = client.ask(request).await?;
    Ok(client.end_of(&asked[0].name).await)
}

#[tokio::test]
async fn a_survey_of_the_request_counts_beside_what_is_configured_and_is_told_to_be_old_after_4_h()
{
    let daemon = Daemon::start(&venue::simulated());
    let client = daemon.connect().await;
    let fresh = measured(&client, surveyed("bluetooth 39\n", Some(60)))
        .await
        .unwrap();
    let heard: Vec<&str> = plan(&fresh)
        .occupied
        .iter()
        .map(|one| one.origin.as_str())
        .collect();
    assert_eq!(
        heard,
        [
            "configuration",
            "configuration",
            "configuration",
            "a slip of paper"
        ]
    );
    assert!(!has_note(&fresh, "survey-old") && !has_note(&fresh, "no-survey"));
    let old = measured(&client, surveyed("bluetooth 39\n", Some(5 * 3_600)))
        .await
        .unwrap();
    assert!(has_note(&old, "survey-old"));
    let unknown = measured(&client, surveyed("bluetooth 39\n", None))
        .await
        .unwrap();
    assert!(has_note(&unknown, "survey-age-unknown"));
    let none = client.measure("lectern", "channels", &[]).await;
    assert!(has_note(&none, "no-survey"));
}

#[tokio::test]
async fn what_is_wrong_with_a_survey_is_refused_with_its_line_and_field() {
    let daemon = Daemon::start(&venue::simulated());
    let client = daemon.connect().await;
    let mut future = surveyed("6 20\n", None);
    let ahead = SystemTime::now() + Duration::from_secs(7_200);
    future.survey.as_mut().unwrap().end_time = Some(ahead.into());
    let mut of_sound = surveyed("6 20\n", Some(0));
    of_sound.analysis = "latency".into();
    for (request, right) in [
        (
            surveyed("6 20\n15 20\n", Some(0)),
            "survey.text: line 2: Wi-Fi channel 15",
        ),
        (
            surveyed("6 20\n2.437 20\n", Some(0)),
            "is a frequency and no channel",
        ),
        (surveyed("", Some(0)), "survey.text: nothing was found"),
        (future, "survey.end_time: lies 7"),
        (of_sound, "survey: 'latency' hears the link"),
    ] {
        let refused = measured(&client, request).await.unwrap_err();
        assert_eq!(refused.code(), Code::InvalidArgument);
        assert!(
            refused.message().contains(right),
            "{right}: {}",
            refused.message()
        );
    }
    let longest = "# a remark\n".repeat((4 << 20) / 11) + "6 20\n";
    let refused = measured(&client, surveyed(&longest, Some(0)))
        .await
        .unwrap_err();
    assert!(
        refused.message().contains("4194304"),
        "{}",
        refused.message()
    );
    let long = surveyed(&longest[1_000..], Some(0));
    assert!(measured(&client, long).await.is_ok(), "just below 4 MiB");
}

#[tokio::test]
async fn the_configured_survey_is_read_at_every_plan_and_is_as_old_as_its_file() {
    let survey = "[radio]\nsurvey = \"air.txt\"";
    let daemon = Daemon::start(&venue::simulated().replace("[radio]", survey));
    let client = daemon.connect().await;
    let refused = client
        .ask(request("lectern", "channels", &[]))
        .await
        .unwrap_err();
    assert_eq!(refused.code(), Code::FailedPrecondition);
    assert!(
        refused
            .message()
            .contains("air.txt of [radio] cannot be read"),
        "{refused:?}"
    );
    let file = daemon.folder().join("air.txt");
    fs::write(&file, "band 2479 2484 oven\n").unwrap();
    let fresh = client.measure("lectern", "channels", &[]).await;
    assert!(
        plan(&fresh)
            .occupied
            .iter()
            .any(|one| one.origin.ends_with("air.txt"))
    );
    assert!(!has_note(&fresh, "survey-old"));
    let written = SystemTime::now() - Duration::from_secs(6 * 3_600);
    File::options()
        .write(true)
        .open(&file)
        .unwrap()
        .set_modified(written)
        .unwrap();
    assert!(has_note(
        &client.measure("lectern", "channels", &[]).await,
        "survey-old"
    ));
    let given = measured(&client, surveyed("bluetooth 39\n", Some(0)))
        .await
        .unwrap();
    assert!(
        !has_note(&given, "survey-old"),
        "what the request says takes its place"
    );
    fs::write(&file, "15 20\n").unwrap();
    let refused = client
        .ask(request("lectern", "channels", &[]))
        .await
        .unwrap_err();
    assert!(
        refused.message().contains("line 1: Wi-Fi channel 15"),
        "{refused:?}"
    );
}
