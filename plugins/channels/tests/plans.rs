//! Whole plans of fictional venues, checked by hand: what is told, and what is said of bad input.

use goodwire_plugin_channels::Channels;
use goodwire_plugin_sdk::api::channel_plan::Certainty;
use goodwire_plugin_sdk::api::radio_survey::Form;
use goodwire_plugin_sdk::api::{ChannelPlan, Note, RadioSurvey, note::Level};
use goodwire_plugin_sdk::parameters::request_of_defaults;
use goodwire_plugin_sdk::payload::open_request::Mode;
use goodwire_plugin_sdk::payload::{
    OpenRequest, Plan, Radio, RadioBudget, RadioLink, RadioRow, RadioSurveyed, SessionResult,
};
use goodwire_plugin_sdk::{Kind, OpenError, Plugin, Value};

/// Channels of a fictional table, 2 MHz wide each.
const CENTRES_MHZ: [(&str, f64); 6] = [
    ("1", 2403.5),
    ("2", 2423.5),
    ("3", 2425.5),
    ("4", 2449.5),
    ("5", 2475.0),
    ("6", 2479.0),
];

fn row(name: &str, centre_mhz: f64) -> RadioRow {
    RadioRow {
        name: name.into(),
        centre_mhz,
        bandwidth_mhz: 2.0,
    }
}

/// A request for links with this table, each set to a channel or to none said.
fn request(links: &[(&str, Option<&str>)]) -> OpenRequest {
    let description = Channels::describe();
    let rows: Vec<RadioRow> = CENTRES_MHZ.map(|(name, mhz)| row(name, mhz)).into();
    let links = links.iter().map(|(link, channel)| RadioLink {
        link: (*link).into(),
        same_table: true,
        channel: channel.map(|name| rows.iter().find(|row| row.name == name).unwrap().clone()),
    });
    let links = links.collect();
    let mut request = request_of_defaults("channels", &description.analyses[0].parameters);
    request.set_mode(Mode::Live);
    request.radio = Some(Radio {
        table: "belt".into(),
        rows,
        links,
        occupied: vec!["1 20 box office".into(), "6 20".into(), "11 20".into()],
        ..Radio::default()
    });
    request
}

fn radio(request: &mut OpenRequest) -> &mut Radio {
    request.radio.as_mut().unwrap()
}

fn set(request: &mut OpenRequest, id: &str, value: Kind) {
    let fields = &mut request.parameters.as_mut().unwrap().fields;
    assert!(fields.contains_key(id), "{id} is declared");
    fields.insert(id.into(), Value { kind: Some(value) });
}

fn result(request: &OpenRequest) -> SessionResult {
    let Ok(mut session) = Channels::open(request) else {
        panic!("not opened");
    };
    assert_eq!(session.plan().unwrap(), Plan::default());
    session.finish(false).unwrap()
}

fn refused(request: &OpenRequest) -> String {
    match Channels::open(request) {
        Ok(_) => panic!("opened"),
        Err(OpenError::Failed(failure)) => format!("{}: {}", failure.id, failure.text),
        Err(OpenError::Invalid(violations)) => {
            format!("{}: {}", violations[0].field, violations[0].text)
        }
    }
}

fn plan(result: &SessionResult) -> &ChannelPlan {
    result.channel_plan.as_ref().unwrap()
}

fn channels(result: &SessionResult) -> Vec<&str> {
    let links = plan(result).links.iter();
    links.map(|link| link.channel.as_str()).collect()
}

fn note<'a>(result: &'a SessionResult, id: &str) -> Option<&'a Note> {
    result.notes.iter().find(|note| note.id == id)
}

fn figure(result: &SessionResult, id: &str, channel: &str) -> Option<f64> {
    let at = Kind::StringValue(channel.into());
    let is_there = |at_: &Option<goodwire_plugin_sdk::Struct>| {
        let value = at_.as_ref().and_then(|at| at.fields.get("channel"));
        value.and_then(|value| value.kind.clone()) == Some(at.clone())
    };
    let mut figures = result.figures.iter();
    let found = figures.find(|figure| figure.id == id && is_there(&figure.at));
    found.map(|figure| figure.value.unwrap())
}

fn assert_near(got: Option<f64>, want: f64) {
    assert!((got.unwrap() - want).abs() < 1e-6, "{got:?} {want}");
}

#[test]
fn two_links_get_the_two_channels_that_are_furthest_from_the_wifi_and_are_told_by_how_much() {
    let found = result(&request(&[("lectern", None), ("choir", None)]));
    // Wi-Fi channel 11 ends at 2472 MHz: 5 begins 2 MHz above, 6 begins 6 MHz above; 4 has 1.5 MHz
    // to either side, 2 and 3 have 0.5.
    assert_eq!(channels(&found), ["5", "6"]);
    assert_eq!(plan(&found).certainty(), Certainty::Exact);
    assert_eq!(
        (plan(&found).fitting_count, plan(&found).wanted_count),
        (2, 2)
    );
    assert_near(plan(&found).separation_mhz_least, 2.0);
    assert_near(figure(&found, "separation", "6"), 6.0);
    assert_near(figure(&found, "separation", "4"), 1.5);
    // 2402.5 to 2404.5 MHz is 2.5 MHz from the lower edge of 2402 to 2422 MHz.
    assert_near(figure(&found, "separation", "1"), -2.5);
    assert_near(figure(&found, "overlap", "1"), 100.0);
    assert_near(figure(&found, "overlap", "2"), 0.0);
    // 2476 to 2478 MHz lie between the two.
    assert_near(figure(&found, "link_gap", "5"), 2.0);
    // 2 * 2475 - 2479 = 2471 MHz, 3 MHz below the lower edge of 5.
    assert_near(figure(&found, "intermodulation_gap", "5"), 3.0);
    assert_near(figure(&found, "rank", "6"), 1.0);
    assert_eq!(plan(&found).product_mhz, [2471.0, 2483.0]);
    assert!(plan(&found).flaws.is_empty());
    let named: Vec<&str> = found.notes.iter().map(|note| note.id.as_str()).collect();
    assert_eq!(named, ["law-of-the-place", "no-survey"]);
}

#[test]
fn a_link_that_is_on_a_planned_channel_keeps_it_and_the_other_gets_the_rest() {
    let found = result(&request(&[("lectern", Some("6")), ("choir", Some("1"))]));
    assert_eq!(channels(&found), ["6", "5"]);
    let links = &plan(&found).links;
    assert_eq!(
        (links[0].link.as_str(), links[1].channel_now.as_str()),
        ("links/lectern", "1")
    );
    assert!(!links[0].is_fixed);
}

#[test]
fn with_keep_the_set_link_stays_the_others_are_planned_round_it_and_its_own_trouble_is_told() {
    let mut request = request(&[("lectern", Some("1")), ("choir", None)]);
    set(&mut request, "keep", Kind::BoolValue(true));
    let found = result(&request);
    assert_eq!(channels(&found), ["1", "6"]);
    let links = &plan(&found).links;
    assert!(links[0].is_fixed && !links[1].is_fixed);
    assert_eq!(plan(&found).wanted_count, 1);
    assert!(plan(&found).flaws.is_empty());
    let told = &note(&found, "links-that-stay").unwrap().text;
    assert!(
        told.contains("channel 1 (lectern) is 2.5 MHz inside box office"),
        "{told}"
    );
}

#[test]
fn six_links_where_four_fit_get_the_least_bad_plan_with_its_flaws_worst_first() {
    let mut request = request(&[("lectern", None), ("choir", None)]);
    set(&mut request, "link_count", Kind::NumberValue(6.0));
    let found = result(&request);
    let told = plan(&found);
    assert_eq!((told.fitting_count, told.wanted_count), (4, 6));
    assert_eq!(told.fitting_certainty(), Certainty::Exact);
    let mut all: Vec<&str> = channels(&found);
    all.sort_unstable();
    assert_eq!(all, ["1", "2", "3", "4", "5", "6"]);
    // The two links that are there come before those that are planned for, on channels without flaw.
    assert_eq!(channels(&found)[..2], ["3", "6"]);
    assert!(
        told.flaws[0].contains("2.5 MHz inside box office (Wi-Fi channel 1"),
        "{told:?}"
    );
    let warned = note(&found, "not-all-fit").unwrap();
    assert_eq!(warned.level(), Level::Warning);
    assert!(
        warned.text.starts_with("4 of 6 links fit cleanly"),
        "{}",
        warned.text
    );
}

#[test]
fn seven_links_on_six_rows_leave_one_without_a_channel_and_say_so() {
    let mut request = request(&[("lectern", None)]);
    set(&mut request, "link_count", Kind::NumberValue(7.0));
    let found = result(&request);
    assert_eq!(
        channels(&found)
            .iter()
            .filter(|channel| channel.is_empty())
            .count(),
        1
    );
    assert_eq!(plan(&found).links[6].low_mhz, None);
    assert_eq!(plan(&found).flaws[0], "1 get no channel: the table has 6");
}

#[test]
fn a_link_of_another_table_is_planned_round_and_one_that_is_not_set_is_told() {
    let mut request = request(&[("lectern", None)]);
    let other = |link: &str, channel| RadioLink {
        link: link.into(),
        same_table: false,
        channel,
    };
    let links = &mut radio(&mut request).links;
    links.push(other("foyer", Some(row("G", 2480.5))));
    links.push(other("bar", None));
    let found = result(&request);
    // Channel 6 would share 0.5 MHz with the foyer's 2479.5 to 2481.5 MHz; 5 has 2 MHz to the Wi-Fi.
    assert_eq!(channels(&found), ["5", "G"]);
    assert!(plan(&found).links[1].is_fixed);
    assert_near(figure(&found, "separation", "6"), -0.5);
    assert!(note(&found, "links-unset").unwrap().text.contains("bar"));
}

#[test]
fn a_survey_counts_above_the_threshold_is_told_with_its_origin_and_old_after_4_h() {
    let mut request = request(&[("lectern", None)]);
    radio(&mut request).occupied.clear();
    let survey = |text: &str, form: Form, age_s| RadioSurveyed {
        survey: Some(RadioSurvey {
            text: text.into(),
            form: form.into(),
            origin: "air.csv".into(),
            ..RadioSurvey::default()
        }),
        age_s,
    };
    let spectrum = "frequency_mhz,level_dbm\n2470,-95\n2474,-60\n2476,-60\n2478,-95\n2480,-95\n";
    radio(&mut request).surveys = vec![survey(spectrum, Form::Spectrum, Some(14_401.0))];
    let found = result(&request);
    let occupied = &plan(&found).occupied;
    // Points stand for what is nearer to them than to their neighbours: 2472 to 2477 MHz.
    assert_eq!(occupied.len(), 1);
    assert_eq!(
        (occupied[0].low_mhz, occupied[0].high_mhz),
        (2472.0, 2477.0)
    );
    assert_eq!(occupied[0].origin, "air.csv");
    let told = note(&found, "survey-old").unwrap();
    assert!(
        told.text.contains("4.0 h old") && told.level() == Level::Warning,
        "{told:?}"
    );
    radio(&mut request).surveys = vec![survey(spectrum, Form::Unspecified, Some(14_399.0))];
    assert!(note(&result(&request), "survey-old").is_none());
    radio(&mut request).surveys = vec![survey(spectrum, Form::Unspecified, None)];
    assert!(note(&result(&request), "survey-age-unknown").is_some());
    set(&mut request, "threshold_dbm", Kind::NumberValue(-50.0));
    let quiet = result(&request);
    assert!(plan(&quiet).occupied.is_empty() && figure(&quiet, "separation", "5").is_none());
    assert_near(figure(&quiet, "overlap", "5"), 0.0);
}

#[test]
fn where_nobody_said_what_is_in_the_air_there_is_no_separation_and_a_warning() {
    let mut request = request(&[("lectern", None)]);
    radio(&mut request).occupied.clear();
    let found = result(&request);
    assert_eq!(figure(&found, "separation", "1"), None);
    assert_eq!(figure(&found, "overlap", "1"), None);
    assert_eq!(plan(&found).separation_mhz_least, None);
    let told = note(&found, "nothing-occupied").unwrap();
    assert_eq!(told.level(), Level::Warning);
}

#[test]
fn overlapping_rows_are_a_warning_and_are_never_planned_together() {
    let mut request = request(&[("lectern", None), ("choir", None)]);
    radio(&mut request).rows.push(row("6a", 2480.0));
    let found = result(&request);
    // 6a is the furthest from the Wi-Fi, and 6 overlaps with it.
    assert_eq!(channels(&found), ["5", "6a"]);
    let told = note(&found, "overlapping-rows").unwrap();
    assert!(told.text.contains("6 and 6a"), "{}", told.text);
}

#[test]
fn a_budget_of_94_db_less_20_for_bodies_reaches_48_m_with_a_tenfold_spread_beside_the_walk() {
    let mut request = request(&[("lectern", None)]);
    radio(&mut request).budget = Some(RadioBudget {
        radiated_dbm: 10.0,
        receive_gain_db: 0.0,
        needed_dbm: -84.0,
    });
    radio(&mut request).walked_metres = Some(23.0);
    let found = result(&request);
    let reach = found
        .figures
        .iter()
        .find(|figure| figure.id == "reach")
        .unwrap();
    // ITU-R P.525: 20 lg(4 pi d f / c) = 74 dB at 2479 MHz gives d = 48.23 m.
    let metres = 10f64.powf(74.0 / 20.0) * 299.792_458 / (4.0 * std::f64::consts::PI * 2479.0);
    assert_near(reach.value, metres);
    assert_near(reach.low, metres / 10.0);
    assert_near(reach.high, metres * 10.0);
    let told = &note(&found, "reach").unwrap().text;
    assert!(
        told.contains("no source") && told.contains("held to 23 m"),
        "{told}"
    );
}

#[test]
fn too_few_and_too_many_links_foreign_modes_missing_tables_and_broken_surveys_are_refused() {
    let good = request(&[("lectern", None), ("choir", None)]);
    let mut few = good.clone();
    set(&mut few, "link_count", Kind::NumberValue(1.0));
    assert!(refused(&few).starts_with("link_count: 1 is too few"));
    let mut many = good.clone();
    set(&mut many, "link_count", Kind::NumberValue(64.0));
    let mut other = RadioLink {
        link: "foyer".into(),
        same_table: false,
        channel: Some(row("G", 2480.5)),
    };
    radio(&mut many).links.push(other.clone());
    assert!(refused(&many).contains("65 links"), "{}", refused(&many));
    let mut recorded = good.clone();
    recorded.set_mode(Mode::Recorded);
    assert!(refused(&recorded).starts_with("without-audio"));
    let mut bare = good.clone();
    bare.radio = None;
    assert!(refused(&bare).starts_with("no-channel-table"));
    let mut wide = good.clone();
    radio(&mut wide).rows[2].centre_mhz = 2.4255;
    assert!(refused(&wide).contains("was 2.4255 GHz meant?"));
    let mut wrong = good.clone();
    other.channel = Some(row("G", 0.0));
    radio(&mut wrong).links.push(other);
    assert!(refused(&wrong).starts_with("table-refused: what foyer is set to"));
    let mut broken = good;
    radio(&mut broken).surveys = vec![RadioSurveyed {
        survey: Some(RadioSurvey {
            text: "6 20\n15 20\n".into(),
            ..RadioSurvey::default()
        }),
        age_s: None,
    }];
    assert!(refused(&broken).contains("line 2: Wi-Fi channel 15 does not exist"));
}

#[test]
fn sixty_four_links_on_a_thousand_rows_are_planned_by_a_heuristic_that_says_so() {
    let mut request = request(&[("lectern", None)]);
    let row = |n: u16| RadioRow {
        name: n.to_string(),
        centre_mhz: 470.0 + 0.2 * f64::from(n),
        bandwidth_mhz: 0.2,
    };
    radio(&mut request).rows = (0..1_000).map(row).collect();
    radio(&mut request).occupied = vec!["band 500 508 television".into()];
    set(&mut request, "link_count", Kind::NumberValue(64.0));
    let begun = std::time::Instant::now();
    let found = result(&request);
    println!("{:.1} s", begun.elapsed().as_secs_f64());
    assert_eq!(plan(&found).certainty(), Certainty::Heuristic);
    assert!(note(&found, "heuristic").is_some());
    assert_eq!(plan(&found).product_mhz.len(), 200);
    let fits = plan(&found).fitting_count;
    assert!((1..=64).contains(&fits), "{fits}");
    // The daemon waits 60 s for a result.
    assert!(begun.elapsed().as_secs_f64() < 50.0);
    let bytes = |note: &Note| note.text.len();
    assert!(found.notes.iter().map(bytes).max().unwrap() < 4_000);
}
