//! Series of readings and of bytes from the command line.

use super::*;

fn numbers(value: &Value) -> Vec<f64> {
    serde_json::from_value(value.clone()).unwrap()
}

fn rows(text: &str) -> Vec<Vec<&str>> {
    text.lines()
        .filter(|line| !line.starts_with('#'))
        .skip(1)
        .map(|line| line.split(',').collect())
        .collect()
}

#[test]
fn smoothing_agrees_with_the_check_table() {
    let table = rows(include_str!(
        "../../../../tests/reference/filters_small.csv"
    ));
    assert_eq!(table.len(), 24);
    let values: Vec<_> = table.iter().map(|row| row[1]).collect();
    let values = format!("values={}", values.join(","));
    let smoothed = answer(&["ewma", &values, "interval=60s", "time-constant=168.22s"]);
    for (got, row) in numbers(&smoothed["smoothed"]).iter().zip(&table) {
        let want: f64 = row[7].parse().unwrap();
        assert!((got - want).abs() < 1e-4, "{row:?}: {got}");
    }
    assert_eq!(numbers(&smoothed["smoothed"]).len(), 24);
}

#[test]
fn spikes_are_named_by_their_place() {
    let call = ["hampel", "values=6.0, 6.1, 6.0, 6.2, 6.1, 9.9, 6.2"];
    let without = answer(&call);
    assert_eq!(numbers(&without["spike_places"]), [6.0]);
    let filtered = numbers(&without["filtered"]);
    assert_eq!(filtered, [6.0, 6.1, 6.0, 6.2, 6.1, 6.1, 6.2]);
    // Too few readings lie in the window to call one a spike.
    let short = answer(&[&call[..], &["window=2min"]].concat());
    assert_eq!(short["spikes"], 0.0);
}

#[test]
fn a_series_in_text_does_not_push_the_numbers_aside() {
    let text = super::call(
        &["hampel", "values=6.0, 6.1, 6.0, 6.2, 6.1, 9.9, 6.2"],
        false,
    )
    .text;
    let result = "
result
  filtered            6.000, 6.100, 6.000, 6.200, 6.100, 6.100, 6.200
  spikes              1
  at, counted from 1  6
";
    assert!(text.contains(result), "{text}");
}

#[test]
fn what_is_no_series_is_told() {
    let told = mistakes(&["ewma", "values=6.1,,6.2"]);
    assert!(
        told[0].starts_with("values: \"\" is not a plain number"),
        "{told:?}"
    );
    let told = mistakes(&["ewma", "values=6.1", "interval=0s", "time-constant=-1s"]);
    assert_eq!(told.len(), 2, "{told:?}");
    assert!(
        told[0].starts_with("interval is 0 s; give more"),
        "{told:?}"
    );
    let endless = format!("values={}", vec!["1"; 10_001].join(","));
    let told = mistakes(&["ewma", &endless]);
    assert!(told[0].contains("there are 10001 numbers"), "{told:?}");
}

#[test]
fn checks_of_frames_agree_with_the_reference() {
    let table = rows(include_str!("../../../../tests/reference/modbus_crc.csv"));
    assert_eq!(table.len(), 7);
    for row in table {
        let frame = format!("frame={}", row[0]);
        let checked = answer(&["modbus-crc", &frame]);
        assert_eq!(checked["crc_hex"], row[1]);
        assert_eq!(checked["ends_with_its_check"], false);
        let wire = checked["wire_bytes"].as_str().unwrap();
        assert_eq!(wire.replace(' ', ""), row[2]);
        let whole = answer(&["modbus-crc", &format!("{frame}{wire}")]);
        assert_eq!(whole["ends_with_its_check"], true);
        assert_eq!(whole["crc_hex"], row[1]);
    }
    let told = mistakes(&["modbus-crc", "frame=01030"]);
    assert!(told[0].contains("\"01030\" is not a frame"), "{told:?}");
    let long = format!("frame={}", "00".repeat(257));
    assert!(mistakes(&["modbus-crc", &long])[0].contains("there are 257 bytes"));
}

#[test]
fn trends_agree_with_the_check_table() {
    let values = rows(include_str!(
        "../../../../tests/reference/filters_small.csv"
    ));
    let values: Vec<_> = values.iter().map(|row| row[1]).collect();
    let values = format!("values={}", values.join(","));
    let trend = answer(&["theil-sen", &values, "confidence=95%"]);
    let table = rows(include_str!("../../../../tests/reference/trend_small.csv"));
    let want = |name: &str| -> f64 {
        let row = table.iter().find(|row| row[0] == name).unwrap();
        row[1].parse().unwrap()
    };
    let newest = want("theil_sen_intercept_joint") + 23.0 * want("theil_sen_slope");
    for (key, want) in [
        ("slope_per_day", want("theil_sen_slope")),
        ("lowest_slope_per_day", want("theil_sen_slope_lo95")),
        ("highest_slope_per_day", want("theil_sen_slope_hi95")),
        ("tau_b", want("kendall_tau_b")),
        ("newest", newest),
    ] {
        let got = trend[key].as_f64().unwrap();
        assert!((got - want).abs() < 1e-9, "{key}: {got} {want}");
    }
    assert_eq!(trend["certain"], true);
    let few = call(&["theil-sen", "values=1,2"], false);
    assert_eq!(few.verdict, Verdict::Refused);
}

#[test]
fn charts_agree_with_the_handbook() {
    let values = |table: &[Vec<&str>]| {
        let values: Vec<_> = table.iter().map(|row| row[1]).collect();
        format!("values={}", values.join(","))
    };
    let agree = |got: &Value, table: &[Vec<&str>], at: usize| {
        let got = numbers(got);
        assert_eq!(got.len(), table.len());
        for (got, row) in got.iter().zip(table) {
            let want: f64 = row[at].parse().unwrap();
            assert!((got - want).abs() < 1e-6, "{row:?}: {got}");
        }
    };
    let ewma = rows(include_str!("../../../../tests/reference/nist_ewma.csv"));
    let chart = answer(&["ewma-chart", &values(&ewma), "target=50", "sigma=2.0539"]);
    agree(&chart["averages"], &ewma, 3);
    assert_eq!(chart["first_out"], Value::Null);
    assert_eq!(chart["state"], "within");

    let cusum = rows(include_str!("../../../../tests/reference/nist_cusum.csv"));
    let limits = ["target=325", "reference=0.3175", "decision=4.1959"];
    let values = values(&cusum);
    let chart = answer(&[&["cusum", values.as_str()], &limits[..]].concat());
    agree(&chart["high_sums"], &cusum, 4);
    agree(&chart["low_sums"], &cusum, 5);
    assert_eq!(chart["first_out"], 14.0);
    let told = mistakes(&[
        "cusum",
        "values=1",
        "target=1",
        "reference=-1",
        "decision=1",
    ]);
    assert!(told[0].starts_with("the reference value of a"), "{told:?}");
}
