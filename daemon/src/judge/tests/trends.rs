//! Trends against SciPy, closed forms and many seeds.

use goodwire_proto::v1::Figure;

use super::*;

/// A history every 0.2 weeks, and what `scipy.stats.theilslopes(values, weeks, 0.95)` says of it
/// (SciPy 1.17.1; made by `tests/reference/test_trend.py`, which holds the same numbers).
struct Case {
    values: &'static [f64],
    slope: f64,
    low: f64,
    high: f64,
    now: f64,
}

const SCIPY: [Case; 3] = [
    Case {
        values: &[
            -1.384, -1.098, -0.823, -0.869, -1.366, -1.13, -1.145, -1.137, -1.097, -1.362, -1.179,
            -1.33, -1.3, -1.378,
        ],
        slope: -0.11666666666666659,
        low: -0.23944444444444443,
        high: 0.022499999999999742,
        now: -1.3136666666666663,
    },
    Case {
        values: &[
            -1.029, -1.017, -0.857, -0.92, -0.954, -0.89, -0.846, -1.487, -1.595, -1.165, -1.166,
            -1.079, -1.054, -1.483, -1.65, -1.588, -1.141, -1.59, -1.46, -1.26, -1.918, -1.338,
            -1.249, -1.047, -1.773, -1.471, -1.155, -1.141, -1.235, -1.238, -1.843, -1.795, -0.946,
            -1.408, -1.839, -2.024, -1.47, -2.163, -1.953, -1.784, -2.093, -2.048, -2.134, -1.933,
            -1.719, -1.932, -2.91, -1.807, -1.624, -1.956, -2.184, -2.66, -2.407, -1.689, -2.468,
            -1.983, -2.261, -2.133, -2.579, -2.325,
        ],
        slope: -0.11545000000000002,
        low: -0.1392307692307692,
        high: -0.09077777777777779,
        now: -2.290655,
    },
    Case {
        values: &[
            -1.5, -1.7, -1.3, -1.2, -1.8, -2.2, -0.3, -0.7, -1.4, -0.7, -0.9, -0.8, -0.6, -1.0,
            -0.8, -1.1, -1.2, 0.0, -0.4, -0.5, -1.1, -0.4, -1.4, -1.1, -0.5, -1.5, 0.0, -0.5, -1.1,
            -1.6, -0.6,
        ],
        slope: 0.09999999999999998,
        low: -0.024999999999999967,
        high: 0.21874999999999997,
        now: -0.7,
    },
];

fn every(weeks: f64, values: impl IntoIterator<Item = f64>) -> Vec<Night> {
    let values = values.into_iter().enumerate();
    let night = |(index, value)| Night {
        week: index as f64 * weeks,
        value,
    };
    values.map(night).collect()
}

/// Evenly spread numbers, the same for a seed: a linear congruence (Knuth, MMIX), its upper bits.
struct Numbers(u64);

impl Numbers {
    fn even(&mut self) -> f64 {
        self.0 = self
            .0
            .wrapping_mul(6_364_136_223_846_793_005)
            .wrapping_add(1_442_695_040_888_963_407);
        (self.0 >> 11) as f64 / (1u64 << 53) as f64
    }

    /// Nearly normal, of deviation 1: the sum of twelve even ones.
    fn normal(&mut self) -> f64 {
        (0..12).map(|_| self.even()).sum::<f64>() - 6.0
    }
}

#[test]
fn slopes_and_intervals_of_three_histories_are_those_of_scipy_to_1e_12() {
    for case in SCIPY {
        let got = Trend::of(&every(0.2, case.values.iter().copied())).unwrap();
        let pairs = [
            (got.slope, case.slope),
            (got.low, case.low),
            (got.high, case.high),
            (got.now, case.now),
        ];
        for (got, want) in pairs {
            assert!((got - want).abs() < 1e-12, "got {got}, want {want}");
        }
    }
}

#[test]
fn thirteen_nights_or_less_than_2_weeks_make_no_trend() {
    assert_eq!(Trend::of(&every(1.0, vec![1.0; 13])), None);
    assert_eq!(Trend::of(&every(1.9 / 13.0, vec![1.0; 14])), None);
    assert!(Trend::of(&every(2.0 / 13.0, vec![1.0; 14])).is_some());
    assert_eq!(Trend::of(&[]), None);
}

#[test]
fn a_tenth_of_wild_nights_leaves_the_slope_of_a_line_where_it_is() {
    let line = |index: usize| match index % 10 {
        3 => 40.0,
        _ => -0.12 * index as f64 / 7.0,
    };
    let trend = Trend::of(&every(1.0 / 7.0, (0..60).map(line))).unwrap();
    assert!((trend.slope + 0.12).abs() < 1e-9, "{trend:?}");
}

#[test]
fn steady_links_have_a_trend_in_5_percent_of_1000_seeds_as_an_interval_of_95_percent_should() {
    let mut certain = 0;
    for seed in 0..1000 {
        let mut numbers = Numbers(seed * 7919 + 1);
        let trend = Trend::of(&every(1.0 / 7.0, (0..40).map(|_| numbers.normal()))).unwrap();
        certain += usize::from(trend.is_certain());
    }
    // 50 of 1000 with a deviation of 6.9: three of them to either side.
    assert!((29..=71).contains(&certain), "{certain} of 1000");
}

#[test]
fn a_gain_that_falls_by_0_12_db_a_week_is_told_5_weeks_before_its_limit() {
    let mut numbers = Numbers(3);
    let falling = |index: usize| -1.0 - 0.12 * index as f64 / 7.0 + 0.1 * numbers.normal();
    let nights = every(1.0 / 7.0, (0..84).map(falling));
    let figure = Figure {
        id: "gain".to_owned(),
        unit: "dB".to_owned(),
        ..Default::default()
    };
    // After 12 weeks at -2.4 dB: 0.6 dB above the limit.
    let limit = within("gain", -3.0, 3.0);
    let text = trend_finding(&limit, &figure, &nights).unwrap().text;
    assert!(text.starts_with("Gain falls by 0.1"), "{text}");
    assert!(
        text.contains("reaches its limit of -3 dB in about 5 weeks (4 to 6)"),
        "{text}"
    );
    let short = LimitConfig {
        horizon_weeks: Some(3.0),
        ..limit.clone()
    };
    assert!(trend_finding(&short, &figure, &nights).is_none());
    // Away from a limit, beyond it, and without a trend nothing is told.
    assert!(
        trend_finding(
            &LimitConfig {
                min: None,
                ..limit.clone()
            },
            &figure,
            &nights
        )
        .is_none()
    );
    assert!(trend_finding(&within("gain", -2.0, 2.0), &figure, &nights).is_none());
    let steady = every(1.0 / 7.0, (0..84).map(|_| -2.9 + 0.05 * numbers.normal()));
    assert!(trend_finding(&limit, &figure, &steady).is_none());
}

#[test]
fn ten_years_of_nights_are_joined_to_400_and_keep_their_slope() {
    let mut numbers = Numbers(11);
    let values = (0..3652).map(|index| 0.001 * index as f64 / 7.0 + 0.1 * numbers.normal());
    let trend = Trend::of(&every(1.0 / 7.0, values)).unwrap();
    assert!(trend.low < 0.001 && 0.001 < trend.high, "{trend:?}");
    assert!(trend.high - trend.low < 0.000_1, "{trend:?}");
}

#[test]
fn a_slope_is_told_to_two_digits_of_half_its_range_without_zeros_that_all_share() {
    let figure = Figure {
        id: "gain".to_owned(),
        unit: "dB".to_owned(),
        ..Default::default()
    };
    let told = |slope, low, high| {
        let trend = Trend {
            slope,
            low,
            high,
            now: 0.0,
        };
        crate::judge::trend_in_words(&figure, &trend)
    };
    assert_eq!(
        told(-0.120_04, -0.150_02, -0.089_98),
        "Gain falls by 0.12 dB (0.09 to 0.15) a week"
    );
    assert_eq!(
        told(0.351_23, 0.330_49, 0.367_51),
        "Gain rises by 0.351 dB (0.330 to 0.368) a week"
    );
    assert_eq!(
        told(0.283_746, 0.283_746, 0.283_746),
        "Gain rises by 0.284 dB a week"
    );
}
