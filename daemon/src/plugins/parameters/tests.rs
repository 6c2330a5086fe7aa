use proptest::prelude::*;

use super::*;

fn parameter(id: &str, kind: parameter::Kind, default: impl Into<Value>) -> Parameter {
    Parameter {
        id: id.into(),
        kind: kind.into(),
        default_value: Some(default.into()),
        ..Default::default()
    }
}

fn list(numbers: &[f64]) -> Value {
    let values = numbers.iter().copied().map(Value::from).collect();
    Value::from(Kind::ListValue(ListValue { values }))
}

fn schema() -> Vec<Parameter> {
    vec![
        Parameter {
            unit: "s".into(),
            min: Some(0.1),
            max: Some(60.0),
            ..parameter("duration_s", parameter::Kind::Number, 5.0)
        },
        Parameter {
            min: Some(1.0),
            ..parameter("repeats", parameter::Kind::Whole, 3.0)
        },
        parameter("synchronous", parameter::Kind::Switch, false),
        Parameter {
            choices: ["none", "1/3", "1/48"].map(String::from).into(),
            ..parameter("smoothing", parameter::Kind::Choice, "none")
        },
        Parameter {
            unit: "Hz".into(),
            max: Some(20_000.0),
            rising: true,
            ..parameter("bands_hz", parameter::Kind::Numbers, list(&[20.0, 63.0]))
        },
        Parameter {
            unit: "dBFS".into(),
            ..parameter("levels_dbfs", parameter::Kind::Numbers, list(&[]))
        },
    ]
}

fn check(given: &[(&str, Value)]) -> Result<Struct, Vec<FieldViolation>> {
    let fields = given
        .iter()
        .map(|(name, value)| ((*name).to_owned(), value.clone()))
        .collect();
    check_parameters(&schema(), &Struct { fields })
}

/// What is told of one wrong value.
fn told(name: &str, value: impl Into<Value>) -> String {
    let violations = check(&[(name, value.into())]).unwrap_err();
    assert_eq!(violations.len(), 1, "{violations:?}");
    assert_eq!(violations[0].field, name);
    violations[0].text.clone()
}

#[test]
fn without_anything_given_all_6_defaults_are_there() {
    let complete = check(&[]).unwrap();
    assert_eq!(complete.fields.len(), 6);
    assert_eq!(complete.fields["duration_s"], Value::from(5.0));
    assert_eq!(complete.fields["smoothing"], Value::from("none"));
    assert_eq!(complete.fields["levels_dbfs"], list(&[]));
}

#[test]
fn text_is_read_by_the_kind() {
    let complete = check(&[
        ("duration_s", "20".into()),
        ("repeats", " 4 ".into()),
        ("synchronous", "true".into()),
        ("smoothing", "1/3".into()),
        ("bands_hz", "100, 200,4e3".into()),
        ("levels_dbfs", "-30".into()),
    ])
    .unwrap();
    assert_eq!(complete.fields["duration_s"], Value::from(20.0));
    assert_eq!(complete.fields["repeats"], Value::from(4.0));
    assert_eq!(complete.fields["synchronous"], Value::from(true));
    assert_eq!(complete.fields["smoothing"], Value::from("1/3"));
    assert_eq!(complete.fields["bands_hz"], list(&[100.0, 200.0, 4000.0]));
    assert_eq!(complete.fields["levels_dbfs"], list(&[-30.0]));
}

#[test]
fn a_single_number_is_a_list_of_one_and_an_empty_list_only_where_it_is_the_default() {
    let complete = check(&[("bands_hz", 50.0.into()), ("levels_dbfs", "".into())]).unwrap();
    assert_eq!(complete.fields["bands_hz"], list(&[50.0]));
    assert_eq!(complete.fields["levels_dbfs"], list(&[]));
    assert!(told("bands_hz", list(&[])).contains("empty"));
}

#[test]
fn four_mistakes_are_told_at_once() {
    let violations = check(&[
        ("duration", 5.0.into()),
        ("duration_s", 0.0.into()),
        ("repeats", 1.5.into()),
        ("bands_hz", "63,63".into()),
        ("synchronous", true.into()),
    ])
    .unwrap_err();
    let fields: Vec<_> = violations
        .iter()
        .map(|violation| violation.field.as_str())
        .collect();
    assert_eq!(fields, ["duration", "duration_s", "repeats", "bands_hz"]);
}

#[test]
fn a_wrong_number_is_told_with_its_bounds_and_unit() {
    let right = "a number from 0.1 to 60 s would be right";
    let cases: [(Value, &str); 6] = [
        (f64::NAN.into(), "NaN is not finite"),
        ("inf".into(), "inf is not finite"),
        ("0,5".into(), "\"0,5\" is no number"),
        (true.into(), "true is no number"),
        (61.0.into(), "61 is too large"),
        (0.05.into(), "0.05 is too small"),
    ];
    for (value, wrong) in cases {
        assert_eq!(told("duration_s", value), format!("{wrong}; {right}"));
    }
    let right = "a whole number of at least 1 would be right";
    for (value, wrong) in [(0.0, "0 is too small"), (1.5, "1.5 is no whole number")] {
        assert_eq!(told("repeats", value), format!("{wrong}; {right}"));
    }
    assert!(told("repeats", 1e300).ends_with(right));
}

#[test]
fn a_wrong_name_switch_or_choice_is_told_with_what_would_be_right() {
    let cases: [(&str, Value, &str); 4] = [
        (
            "duration",
            5.0.into(),
            "there is no such parameter; did you mean duration_s?",
        ),
        (
            "synchronous",
            1.0.into(),
            "1 is no switch; true or false would be right",
        ),
        (
            "smoothing",
            "1/4".into(),
            "\"1/4\" is no choice; did you mean 1/3?",
        ),
        (
            "smoothing",
            "lots".into(),
            "\"lots\" is no choice; one of these would be right: none, 1/3, 1/48",
        ),
    ];
    for (name, value, want) in cases {
        assert_eq!(told(name, value), want);
    }
    assert!(told("volume", 1.0).contains("there are: duration_s, repeats"));
}

#[test]
fn a_wrong_list_is_told_with_what_would_be_right() {
    let each = "numbers separated by commas, each of at most 20000 Hz would be right";
    assert_eq!(
        told("bands_hz", "1,x"),
        format!("\"x\" is no number; {each}")
    );
    assert_eq!(
        told("bands_hz", "1,30000"),
        format!("30000 is too large; {each}")
    );
    assert_eq!(
        told("bands_hz", "63,20"),
        "20 follows 63; rising numbers would be right"
    );
    let any = "numbers separated by commas in dBFS would be right";
    assert_eq!(
        told("levels_dbfs", false),
        format!("false is no list of numbers; {any}")
    );
    assert!(told("bands_hz", list(&vec![1.0; 1001])).contains("1001 numbers are too many"));
}

#[test]
fn null_and_nested_values_are_refused() {
    let null = Value { kind: None };
    let nested = Value::from(Kind::StructValue(Struct::default()));
    for name in [
        "duration_s",
        "repeats",
        "synchronous",
        "smoothing",
        "bands_hz",
    ] {
        assert!(told(name, null.clone()).starts_with("null"), "{name}");
        assert!(
            told(name, nested.clone()).starts_with("an object"),
            "{name}"
        );
    }
}

proptest! {
    /// What passed once passes again and does not change: nothing depends on how it was written.
    #[test]
    fn checking_what_was_checked_changes_nothing(
        duration_s in 0.1..60.0_f64,
        repeats in 1..1000_i32,
        bands in proptest::collection::btree_set(1..20_000_i32, 1..20),
    ) {
        let text = bands.iter().map(i32::to_string).collect::<Vec<_>>().join(",");
        let once = check(&[
            ("duration_s", duration_s.to_string().into()),
            ("repeats", f64::from(repeats).into()),
            ("bands_hz", text.into()),
        ]).unwrap();
        prop_assert_eq!(check_parameters(&schema(), &once), Ok(once.clone()));
        prop_assert_eq!(&once.fields["duration_s"], &Value::from(duration_s));
    }

    /// No text makes it panic, and a refusal always names the field.
    #[test]
    fn any_text_is_read_or_refused(text in ".*") {
        for parameter in schema() {
            if let Err(violations) = check(&[(&parameter.id, text.as_str().into())]) {
                prop_assert_eq!(&violations[0].field, &parameter.id);
            }
        }
    }
}
