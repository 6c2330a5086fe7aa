//! Mistakes, one kind at a time.

use super::*;

fn rendered(text: &str) -> String {
    Config::parse(text, "rig.toml", &[])
        .unwrap_err()
        .to_string()
}

#[test]
fn an_empty_file_is_answered_with_the_least_that_works() {
    for text in ["", "\n\n", "# nothing but a remark\n"] {
        let told = rendered(text);
        assert!(
            told.starts_with("rig.toml:1:1: there is nothing in this file"),
            "{told}"
        );
        assert!(told.contains("right: at least this:"), "{told}");
    }
}

#[test]
fn the_least_that_is_told_works() {
    let (_, least) = LEAST.split_once('\n').unwrap();
    Config::parse(least, "least.toml", &[]).unwrap();
}

#[test]
fn what_is_missing_is_named_once_and_where_it_belongs() {
    let told = mistakes("[interface]\nbackend = \"alsa\"\n[[link]]\nname = \"lectern\"\n");
    let want = [
        "1:1 `site` is missing",
        "1:1 `rate` is missing in [interface]",
        "1:1 `playback` is missing in [interface]",
        "1:1 `capture` is missing in [interface]",
        "3:1 `send` is missing in [[link]]",
        "3:1 `return` is missing in [[link]]",
    ];
    assert_eq!(told, want);
}

#[test]
fn lists_of_dropouts_and_xruns_that_are_too_short_overlap_or_go_back_are_refused() {
    let xruns = simulated("[interface.simulated]\nxruns_at_s = [5, 5]\n") + &link("a", 1, 1, "");
    assert_eq!(mistakes(&xruns).len(), 1);
    assert!(rendered(&xruns).contains("`xruns_at_s` goes back in time"));
    for (list, wrong) in [
        ("[[10, 30], [10.02, 5]]", "`dropouts_at` overlap"),
        ("[[10, 30], [9, 5]]", "`dropouts_at` overlap"),
        ("[[10, 1.9]]", "one of `dropouts_at` is too short"),
        ("[10, 30]", "`dropouts_at` is the number 10"),
        ("[[-1, 30]]", "-1"),
    ] {
        let text = format!("[link.simulated]\ndropouts_at = {list}\n");
        let told = rendered(&(simulated("") + &link("a", 1, 1, &text)));
        assert!(told.contains(wrong), "{list}: {told}");
    }
}

#[test]
fn a_missing_interface_is_answered_with_the_least_of_it() {
    let told = rendered("site = \"x\"\n");
    assert!(told.contains("`interface` is missing"), "{told}");
    assert!(told.contains("backend = \"simulated\""), "{told}");
}

#[test]
fn two_links_or_a_link_and_the_reference_on_one_return_are_refused() {
    let two = simulated("") + &link("lectern", 1, 1, "") + &link("drum-riser", 2, 1, "");
    assert_eq!(
        mistakes(&two),
        ["14:10 return 1 belongs to the link \"lectern\" already"]
    );
    let reference = simulated("[reference]\nsend = 2\nreturn = 1\n") + &link("lectern", 1, 1, "");
    assert_eq!(
        mistakes(&reference),
        ["12:10 return 1 belongs to the reference already"]
    );
}

#[test]
fn a_return_beyond_the_stated_count_or_the_listed_ports_is_refused() {
    let stated = simulated("returns = 2\n") + &link("lectern", 1, 3, "");
    let want = ["10:10 the link \"lectern\" uses return 3, but [interface] states only 2"];
    assert_eq!(mistakes(&stated), want);
    let jack = "site = \"x\"\n[interface]\nbackend = \"jack\"\nrate = 48000\n\
                [interface.jack]\nsends = [\"dut:in_1\"]\nreturns = [\"dut:out_1\"]\n\
                [reference]\nsend = 2\nreturn = 1\n";
    let want = ["9:8 the reference uses send 2, but [interface.jack] lists only 1"];
    assert_eq!(mistakes(jack), want);
}

#[test]
fn the_name_all_and_names_that_would_break_lists_are_refused() {
    for name in [
        "all",
        "drum riser",
        "a,b",
        "links/x",
        "-x",
        "",
        "é",
        &"x".repeat(64),
    ] {
        let text = simulated("") + &link(name, 1, 1, "");
        assert_eq!(mistakes(&text).len(), 1, "{name}");
    }
    for name in ["lectern", "L_2", "7th-row", &"x".repeat(63)] {
        let text = simulated("") + &link(name, 1, 1, "");
        Config::parse(&text, "rig.toml", &[]).unwrap();
    }
}

#[test]
fn two_links_of_one_name_are_refused() {
    let text = simulated("") + &link("lectern", 1, 1, "") + &link("lectern", 2, 2, "");
    assert_eq!(mistakes(&text), ["12:8 there are two links \"lectern\""]);
}

#[test]
fn one_key_twice_is_a_mistake_of_writing() {
    let told = mistakes(&simulated("rate = 44100\n"));
    assert_eq!(told.len(), 1, "{told:?}");
    assert!(told[0].starts_with("6:1 duplicate"), "{told:?}");
}

#[test]
fn one_bracket_where_two_are_meant_is_explained() {
    let told = rendered(&simulated("[link]\nname = \"lectern\"\n"));
    assert!(told.contains("`link` is a table"), "{told}");
    assert!(told.contains("under [[link]] (two brackets)"), "{told}");
}

#[test]
fn what_belongs_to_another_back_end_is_refused() {
    let text = "site = \"x\"\n[interface]\nbackend = \"jack\"\ntime = \"virtual\"\nrate = 48000\n";
    let want = ["4:8 `time` belongs to the back end \"simulated\", not to \"jack\""];
    assert_eq!(mistakes(text), want);
    let text = format!(
        "site = \"x\"\n[interface]\nbackend = \"jack\"\nrate = 48000\n{}",
        link("lectern", 1, 1, "[link.simulated]\ngain_db = 1")
    );
    assert_eq!(
        mistakes(&text),
        ["9:1 [link.simulated] belongs to the back end \"simulated\""]
    );
}

#[test]
fn a_link_may_lower_the_ceiling_and_not_raise_it() {
    let text = "site = \"x\"\n[interface]\nbackend = \"jack\"\nrate = 48000\n".to_owned()
        + &link("lectern", 1, 1, "max_send_dbfs = -30");
    let want = ["9:17 `max_send_dbfs` is -30 here, above the rig's -40"];
    assert_eq!(mistakes(&text), want);
}

#[test]
fn rates_from_44100_to_192000_are_right_and_others_are_not() {
    for (rate, right) in [
        ("44100", true),
        ("192000", true),
        ("44099", false),
        ("192001", false),
    ] {
        let text = simulated("").replace("48000", rate);
        assert_eq!(
            Config::parse(&text, "rig.toml", &[]).is_ok(),
            right,
            "{rate}"
        );
    }
    for rate in ["48000.0", "\"48000\"", "-1", "99999999999999999999999999"] {
        let text = simulated("").replace("48000", rate);
        assert_eq!(mistakes(&text).len(), 1, "{rate}");
    }
}

#[test]
fn numbers_that_are_none_are_refused() {
    for number in ["nan", "inf", "-inf", "1e999", "121", "-1"] {
        let text = simulated("") + &link("lectern", 1, 1, &format!("pad_db = {number}"));
        assert_eq!(mistakes(&text).len(), 1, "{number}");
    }
}

#[test]
fn a_filter_corner_at_or_above_half_the_rate_is_refused() {
    let more = "[link.simulated]\nhigh_corner_hz = 24000";
    let told = mistakes(&(simulated("") + &link("lectern", 1, 1, more)));
    assert_eq!(told, ["11:18 `high_corner_hz` is 24000"]);
}

#[test]
fn columns_count_characters_and_the_caret_stands_under_them() {
    let told = rendered(
        "site = \"x\"\n[interface]\nbackend = \"simulated\" # é\nrate = 48000\n\
                         \t\"größe\" = 1\n",
    );
    let want = "rig.toml:5:2: there is no key `größe` in [interface]\n  \
                5 | \t\"größe\" = 1\n    | \t^^^^^^^\n";
    assert!(told.starts_with(want), "{told}");
}

#[test]
fn lines_that_end_as_on_windows_are_shown_without_their_ends() {
    let told = rendered(
        "site = \"x\"\r\nsiet = 1\r\n[interface]\r\nbackend = \"jack\"\r\nrate = 48000\r\n",
    );
    assert!(!told.contains('\r'), "{told:?}");
    assert!(told.contains("  2 | siet = 1\n"), "{told}");
    assert!(told.contains("right: `site`"), "{told}");
}

#[test]
fn after_a_mistake_of_writing_nothing_is_called_missing() {
    let told = mistakes("site = \"x\nfoo = 1\n[interface]\nbackend = \"simulated\"\n");
    assert!(told[0].starts_with("1:"), "{told:?}");
    assert!(
        told.iter().all(|mistake| !mistake.contains("missing")),
        "{told:?}"
    );
    assert!(
        told.iter().any(|mistake| mistake.contains("`foo`")),
        "the rest is read: {told:?}"
    );
}

#[test]
fn a_file_that_is_not_there_or_not_text_is_said_with_its_name() {
    let dir = tempfile::tempdir().unwrap();
    let file = dir.path().join("rig.toml");
    let told = Config::load(&file, &[]).unwrap_err().to_string();
    assert!(told.contains("rig.toml cannot be read"), "{told}");
    std::fs::write(&file, b"site = \"x\"\n# caf\xe9\n").unwrap();
    let told = Config::load(&file, &[]).unwrap_err().to_string();
    assert!(told.contains("rig.toml:2:6: this is not UTF-8"), "{told}");
}

#[test]
fn of_a_thousand_mistakes_50_are_shown_and_the_rest_counted() {
    let text: String = (0..1000).map(|n| format!("key-{n} = 1\n")).collect();
    let told = rendered(&text);
    assert_eq!(
        told.matches("there is no key").count(),
        50 - 2,
        "site and interface are missing"
    );
    assert!(told.contains("and 952 more"), "{told}");
    assert!(told.ends_with("1002 mistakes in rig.toml"), "{told}");
}

#[test]
fn a_line_of_a_million_characters_is_shown_in_part() {
    let text = format!("site = \"x\"\n{} = 1 1\n", "x".repeat(1_000_000));
    assert!(rendered(&text).len() < 2_000);
}
