//! Surveys: what is read, and what is said where something cannot be.

use super::edges;
use goodwire_radio::band::Band;
use goodwire_radio::survey::spectrum::Spectrum;
use goodwire_radio::survey::{Form, Survey, SurveyError, read, scan, typed};

/// Fictional networks in the form of the Linux tool, from memory of it; addresses of the range
/// that is kept free for own use.
const SCAN: &str = "\
BSS 02:00:00:00:01:01(on wlan0)
\tlast seen: 5521.713s [boottime]
\tTSF: 1849219433 usec (0d, 00:30:49)
\tfreq: 2412
\tbeacon interval: 100 TUs
\tcapability: ESS Privacy ShortSlotTime (0x0411)
\tsignal: -48.00 dBm
\tlast seen: 120 ms ago
\tSSID: Cellar bar
\tSupported rates: 1.0* 2.0* 5.5* 11.0* 6.0 9.0 12.0 18.0
\tDS Parameter set: channel 1
\tHT capabilities:
\t\tCapabilities: 0x18c
\t\t\tHT20
\tHT operation:
\t\t * primary channel: 1
\t\t * secondary channel offset: no secondary
\t\t * STA channel width: 20 MHz
\tBSS Load:
\t\t * station count: 3
BSS 02:00:00:00:01:02(on wlan0) -- associated
\tfreq: 2437.0
\tsignal: -61.50 dBm
\tlast seen: 4300 ms ago
\tSSID: Band: green room
\tSupported rates: 6.0* 9.0 12.0* 18.0 24.0* 36.0 48.0 54.0
\tHT operation:
\t\t * primary channel: 6
\t\t * secondary channel offset: above
\t\t * STA channel width: any
BSS 02:00:00:00:01:03(on wlan0)
\tfreq: 5180
\tsignal: -70.00 dBm
\tlast seen: 0 ms ago
\tSSID:\x20
\tHT operation:
\t\t * primary channel: 36
\t\t * secondary channel offset: above
\tVHT operation:
\t\t * channel width: 1 (80 MHz)
\t\t * center freq segment 1: 42
\t\t * center freq segment 2: 0
\t\t * VHT basic MCS set: 0xfffc
";

fn bands(survey: &Survey) -> Vec<Band> {
    survey
        .heard
        .iter()
        .map(|heard| heard.occupant.band)
        .collect()
}

/// By hand. Channel 1 with basic rates of 1 to 11 Mbit/s: 22 MHz around 2412. Channel 6 with its
/// second 20 MHz above: 2427 to 2467. Channel 36 in a block of 80 MHz around 5000 + 5·42 = 5210.
#[test]
fn a_scan_of_three_networks_gives_22_mhz_at_2412_40_mhz_at_2447_and_80_mhz_at_5210() {
    let survey = scan::parse(SCAN).unwrap();
    let want = [
        edges(2401.0, 2423.0),
        edges(2427.0, 2467.0),
        edges(5170.0, 5250.0),
    ];
    assert_eq!(bands(&survey), want);
    assert_eq!(survey.notes, []);
    let names: Vec<_> = survey.heard.iter().map(|h| &h.occupant.name[..]).collect();
    assert_eq!(
        names,
        [
            "Cellar bar (Wi-Fi channel 1, 22 MHz)",
            "Band: green room (Wi-Fi channel 6, 40 MHz)",
            "a hidden network (Wi-Fi channel 36, 80 MHz)",
        ]
    );
    let levels: Vec<_> = survey.heard.iter().filter_map(|h| h.level_dbm).collect();
    assert_eq!(levels, [-48.0, -61.5, -70.0]);
}

#[test]
fn a_scan_that_ended_60_s_ago_is_64_3_s_old_and_one_of_yesterday_is_old() {
    let survey = scan::parse(SCAN).unwrap();
    // The oldest entry was heard 4300 ms before the end.
    assert!((survey.age_s(60.0) - 64.3).abs() < 1e-9);
    assert!(!survey.is_old(60.0));
    assert!(survey.is_old(86_400.0));
}

#[test]
fn with_a_threshold_of_minus_65_dbm_the_network_at_minus_70_dbm_is_left_out() {
    let survey = scan::parse(SCAN).unwrap();
    let occupied = survey.occupancy(-65.0);
    assert_eq!(
        occupied.bands(),
        [edges(2401.0, 2423.0), edges(2427.0, 2467.0)]
    );
    assert_eq!(survey.occupancy(f64::NEG_INFINITY).bands().len(), 3);
}

/// The scan of one network at `freq` with a VHT operation of these three numbers.
fn very_high(freq: &str, numbers: [u16; 3]) -> Vec<Band> {
    let [width, first, second] = numbers;
    let text = format!(
        "BSS 02:00:00:00:01:01(on wlan0)\r\n\tfreq: {freq}\r\n\tVHT operation:\r\n\
         \t\t * channel width: {width} (some MHz)\r\n\
         \t\t * center freq segment 1: {first}\r\n\t\t * center freq segment 2: {second}\r\n"
    );
    bands(&scan::parse(&text).unwrap())
}

/// By hand: number 50 is 5250 MHz, 58 is 5290, 106 is 5530, 155 is 5775.
#[test]
fn widths_of_160_and_80_plus_80_mhz_are_read_in_both_their_spellings() {
    let whole = [edges(5170.0, 5330.0)];
    assert_eq!(very_high("5180", [1, 42, 50]), whole);
    assert_eq!(very_high("5180", [2, 50, 0]), whole);
    let two = [edges(5490.0, 5570.0), edges(5735.0, 5815.0)];
    assert_eq!(very_high("5500", [1, 106, 155]), two);
    assert_eq!(very_high("5500", [3, 106, 155]), two);
    assert_eq!(very_high("5180", [0, 0, 0]), [edges(5170.0, 5190.0)]);
}

#[test]
fn what_a_scan_does_not_say_is_noted_with_the_line_of_the_network() {
    let text = "\
Scan of this evening
BSS 02:00:00:00:01:01(on wlan0)
\tSSID: no frequency
BSS 02:00:00:00:01:02(on wlan0)
\tfreq: 58320
BSS 02:00:00:00:01:03(on wlan0)
\tfreq: 5955
BSS 02:00:00:00:01:04(on wlan0)
\tfreq: 2437
\tsignal: 45/100
\tHT operation:
\t\t * primary channel: 5
";
    let survey = scan::parse(text).unwrap();
    assert_eq!(
        bands(&survey),
        [edges(5945.0, 5965.0), edges(2427.0, 2447.0)]
    );
    assert_eq!(survey.heard[1].level_dbm, None);
    let told: Vec<_> = survey.notes.iter().map(|n| (n.line, &n.text[..])).collect();
    assert_eq!(
        told,
        [
            (2, "passed over: the network has no line `freq`"),
            (
                4,
                "passed over: 58320 MHz is no Wi-Fi channel at 2.4, 5 or 6 GHz"
            ),
            (
                6,
                "the width of a 6 GHz network is not read, 20 MHz are taken"
            ),
            (8, "it says channel 5 but was heard on 6, which is taken"),
        ]
    );
}

/// A scan that broke off anywhere: only within `freq:` or before the first `BSS ` is it refused.
#[test]
fn a_scan_cut_off_after_each_of_its_bytes_gives_the_networks_whose_frequency_was_complete() {
    for length in 0..=SCAN.len() {
        let text = &SCAN[..length];
        let complete = ["freq: 2412", "freq: 2437", "freq: 5180"];
        let complete = complete.iter().filter(|line| text.contains(*line)).count();
        match scan::parse(text) {
            Ok(survey) => assert_eq!(survey.heard.len(), complete, "at {length}"),
            Err(SurveyError::Line { .. }) => {
                assert!(
                    text.trim_end().trim_end_matches(':').ends_with("freq"),
                    "at {length}"
                );
            }
            Err(SurveyError::Empty { .. }) => assert!(length < "BSS ".len()),
        }
    }
}

#[test]
fn a_scan_with_a_word_for_a_frequency_or_without_networks_is_refused() {
    let error = scan::parse("BSS 02:00:00:00:01:01(on wlan0)\n\tfreq: many\n").unwrap_err();
    assert_eq!(
        error.to_string(),
        "line 2: freq: \"many\" is not a frequency in MHz"
    );
    let error = scan::parse("command failed: Operation not permitted (-1)\n").unwrap_err();
    assert!(matches!(error, SurveyError::Empty { .. }), "{error}");
}

#[test]
fn a_typed_table_of_nine_lines_gives_nine_bands_with_their_names() {
    let text = "\
# the venue, on Thursday
1 20
6 40- office upstairs

11 22   # old
36 80
3
802.15.4 15 lamps
bluetooth 38
bluetooth  # everywhere
band 470 478 television 21
";
    let survey = typed::parse(text).unwrap();
    assert_eq!(
        bands(&survey),
        [
            edges(2402.0, 2422.0),
            edges(2407.0, 2447.0),
            edges(2451.0, 2473.0),
            edges(5170.0, 5250.0),
            edges(2412.0, 2432.0),
            edges(2424.0, 2426.0),
            edges(2425.0, 2427.0),
            edges(2401.0, 2481.0),
            edges(470.0, 478.0),
        ]
    );
    let name = |index: usize| &survey.heard[index].occupant.name[..];
    assert_eq!(
        name(1),
        "office upstairs (Wi-Fi channel 6, 40 MHz, second half below)"
    );
    assert_eq!(name(5), "lamps (802.15.4 channel 15)");
    assert_eq!(name(8), "television 21 (470 to 478 MHz)");
}

#[test]
fn wrong_lines_of_a_typed_table_are_refused_with_their_number_and_what_would_be_right() {
    for (text, want) in [
        (
            "15 20",
            "Wi-Fi channel 15 does not exist: 1 to 14 do at 2.4 GHz, 36 to 177 at 5 GHz",
        ),
        (
            "0 20",
            "Wi-Fi channel 0 at 2.4 GHz does not exist: 1 to 14 do",
        ),
        (
            "6 40",
            "say where the second 20 MHz are: 40+ (above) or 40- (below)",
        ),
        ("6 80", "\"80\" is no width at 2.4 GHz: 20, 22, 40+ or 40-"),
        ("36 22", "\"22\" is no width at 5 GHz: 20, 40, 80 or 160"),
        (
            "2412 20",
            "2412 is a frequency and no channel: write the number of the channel, \
             or `band` and the edges in MHz",
        ),
        (
            "2.437 20",
            "2.437 is a frequency and no channel: write the number of the channel, \
             or `band` and the edges in MHz",
        ),
        (
            "band 2.43 2.44",
            "2.43 MHz is not likely here: was 2.43 GHz meant? then write 2430 (MHz)",
        ),
        (
            "band 478 470",
            "a band from 478 to 470 MHz has no width: the lower edge comes first",
        ),
        (
            "802.15.4 5",
            "802.15.4 channel 5 at 2.4 GHz does not exist: 11 to 26 do",
        ),
    ] {
        let error = typed::parse(&format!("1 20\n\n{text}\n")).unwrap_err();
        assert_eq!(error.to_string(), format!("line 3: {want}"));
    }
    let error = typed::parse("six 20").unwrap_err().to_string();
    assert!(error.starts_with("line 1: \"six\" is not a number here: write"));
    assert!(typed::parse("# nothing\n").is_err());
}

/// By hand, points every 0.1 MHz: 470.1 and 470.2 are at -60 or louder and stand for 470.05 to
/// 470.25; the last, 470.5, reaches as far out as in, 470.45 to 470.55.
#[test]
fn a_spectrum_above_minus_60_dbm_gives_the_bands_half_a_step_around_its_points() {
    let text = "# noted\nfrequency_mhz,level_dbm\n470.0,-90\n470.1,-60\n470.2,-55.5\n\
                470.3,-80\n470.4,-inf\n470.5,-40\n";
    let spectrum = Spectrum::parse(text).unwrap();
    let bands = spectrum.bands_above(-60.0);
    let got: Vec<_> = bands
        .iter()
        .flat_map(|b| [b.low_mhz(), b.high_mhz()])
        .collect();
    let want = [470.05, 470.25, 470.45, 470.55];
    assert_eq!(got.len(), want.len());
    for (got_mhz, want_mhz) in got.into_iter().zip(want) {
        super::assert_mhz(got_mhz, want_mhz, "edge");
    }
    assert_eq!(spectrum.level_unit(), "dbm");
    assert_eq!(spectrum.bands_above(0.0), []);
    assert_eq!(spectrum.bands_above(f64::NEG_INFINITY).len(), 1);
}

#[test]
fn the_same_spectrum_in_hz_khz_and_ghz_with_decimal_commas_gives_the_same_bands() {
    let want = Spectrum::parse("MHz,dBm\n470,-90\n471,-50\n472,-90\n").unwrap();
    let want = want.bands_above(-60.0);
    for text in [
        "Frequency (Hz);Level [dBm]\r\n470000000;-90,0\r\n471000000;-50,5\r\n472000000;-90\r\n",
        "freq/kHz\tdBm\n470000\t-90,0\n471000,0\t-50\n472000\t-90\n",
        "\u{feff}f GHz,max dBm,mean dBm\n0.470,-90,-91\n0.471,-50,-60\n0.472,-90,-91\n",
    ] {
        let got = Spectrum::parse(text).unwrap().bands_above(-60.0);
        assert_eq!(got.len(), 1);
        super::assert_mhz(got[0].low_mhz(), want[0].low_mhz(), text);
        super::assert_mhz(got[0].high_mhz(), want[0].high_mhz(), text);
    }
}

#[test]
fn spectra_without_units_with_falling_or_unlikely_frequencies_are_refused_with_their_line() {
    for (text, want) in [
        (
            "470.0,-90\n470.1,-80\n",
            "line 1: \"470.0,-90\" does not name the units: begin with a header such as \
             `frequency_mhz,level_dbm`",
        ),
        (
            "MHz,dBm\n470.1,-90\n470.0,-80\n",
            "line 3: frequencies have to rise, 470 MHz comes after 470.1 MHz",
        ),
        ("MHz,dBm\n470.1,loud\n", "line 2: \"loud\" is not a number"),
        ("MHz,dBm\n470.1\n", "line 2: \"\" is not a number"),
        ("MHz,dBm\n470.1,NaN\n", "line 2: \"NaN\" is not a number"),
        (
            "MHz,dBm\n470100000,-90\n",
            "line 2: 470100000 in the header's unit is not likely: 470100000 MHz is not likely \
             here: was 470100000 Hz meant? then write 470.1 (MHz)",
        ),
    ] {
        assert_eq!(Spectrum::parse(text).unwrap_err().to_string(), want);
    }
    for text in ["", "MHz,dBm\n", "MHz,dBm\n470.1,-90\n"] {
        let error = Spectrum::parse(text).unwrap_err();
        assert!(matches!(error, SurveyError::Empty { .. }), "{error}");
    }
}

#[test]
fn the_form_is_found_out_from_the_text_and_may_be_said() {
    for (text, form) in [
        (SCAN, Form::Scan),
        ("# noon\n6 20\n", Form::Typed),
        ("6 20 # with, a comma\n", Form::Typed),
        (
            "\u{feff}frequency_mhz;level_dbm\n2400;-90\n2401;-90\n",
            Form::Spectrum,
        ),
        ("", Form::Typed),
    ] {
        assert_eq!(Form::of(text), form, "{text:?}");
    }
    assert_eq!(read(SCAN, None, -90.0), scan::parse(SCAN));
    assert_eq!(
        read("6 20\n", Some(Form::Typed), -90.0),
        typed::parse("6 20\n")
    );
    assert!(read("6 20\n", Some(Form::Scan), -90.0).is_err());
}

#[test]
fn a_spectrum_counts_where_it_is_above_the_threshold_in_dbuv_107_db_higher() {
    // 1 mW at 50 ohm is 0.2236 V: 20 lg(223607 µV / 1 µV) = 106.99 dBµV.
    let text = |unit: &str, high: f64| {
        format!("frequency_mhz,level_{unit}\n2400,-300\n2402,{high}\n2404,-300\n")
    };
    let count = |unit: &str, high: f64| read(&text(unit, high), None, -80.0).unwrap().heard.len();
    assert_eq!((count("dbm", -79.9), count("dbm", -80.1)), (1, 0));
    assert_eq!((count("dbuv", 27.0), count("dbuv", 26.9)), (1, 0));
    let survey = read(&text("dbfs", -70.0), None, -80.0).unwrap();
    assert_eq!(survey.heard[0].occupant.band, edges(2401.0, 2403.0));
    assert!(
        survey.notes[0].text.contains("dBm cannot be told"),
        "{:?}",
        survey.notes
    );
}

#[test]
fn a_threshold_below_all_of_the_spectrum_is_asked_about() {
    let text = "frequency_mhz,level_dbm\n2400,-60\n2402,-61\n2404,-62\n";
    let survey = read(text, None, -90.0).unwrap();
    assert!(
        survey.notes[0].text.contains("then raise it"),
        "{:?}",
        survey.notes
    );
    assert!(read(text, None, -60.5).unwrap().notes.is_empty());
}
