//! The settings under `demo/plant` describe this very plant.

use std::path::Path;

use toml_edit::{DocumentMut, Item};

use super::*;

fn read(name: &str) -> DocumentMut {
    let path = Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("demo/plant")
        .join(name);
    let text = std::fs::read_to_string(&path).unwrap_or_else(|e| panic!("{path:?}: {e}"));
    text.parse().unwrap_or_else(|e| panic!("{path:?}: {e}"))
}

/// A setting such as `"800 L"` as a number, if it has this unit.
fn number(item: &Item, unit: &str) -> f64 {
    let text = item.as_str().unwrap_or_else(|| panic!("{item} is no text"));
    let (number, found) = text.split_once(' ').unwrap();
    assert_eq!(found, unit, "{text}");
    number.parse().unwrap()
}

fn tank(vessel: &Item) -> Tank {
    let metres = |key: &str| number(&vessel[key], "m");
    match vessel["shape"].as_str().unwrap() {
        "rectangular" => Tank::Rectangular {
            length_m: metres("length"),
            width_m: metres("width"),
            height_m: metres("height"),
        },
        "horizontal_cylinder" => Tank::HorizontalCylinder {
            diameter_m: metres("diameter"),
            length_m: metres("length"),
            heads: match vessel["heads"].as_str().unwrap() {
                "flat" => Heads::Flat,
                "ellipsoidal_2to1" => Heads::Ellipsoidal2To1,
                other => panic!("{other}"),
            },
        },
        other => panic!("{other}"),
    }
}

#[test]
fn sumps_in_the_settings_are_the_sumps_of_the_plant() {
    let document = read("sumps.toml");
    let sumps = document["sump"].as_table().unwrap();
    let named: Vec<&str> = sumps.iter().map(|(name, _)| name).collect();
    assert_eq!(named, SUMPS.map(|spec| spec.name));
    for spec in &SUMPS {
        let sump = &document["sump"][spec.name];
        assert_eq!(sump["fluid"].as_str(), Some(spec.fluid.name));
        assert_eq!(number(&sump["target"], "%"), spec.target_pct);
        let edge = |place: usize| {
            number(
                &Item::Value(sump["window"][place].clone().into_value().unwrap()),
                "%",
            )
        };
        assert_eq!((edge(0), edge(1)), spec.window_pct);
        assert_eq!(number(&sump["working_volume"], "L"), spec.working_volume_l);
        assert_eq!(number(&sump["max_volume"], "L"), spec.max_volume_l);
        assert_eq!(number(&sump["lines"], "L"), spec.lines_l);
        let circulation = number(&sump["circulation"], "L/min");
        assert_eq!(circulation, spec.circulation_l_per_min);
        assert_eq!(number(&sump["water_zero"], "°Bx"), spec.water_zero_brix);
        assert_eq!(tank(&sump["vessel"]), spec.tank);
    }
}

#[test]
fn channels_in_the_settings_are_those_that_report() {
    let document = read("sumps.toml");
    let readings = Plant::new(1, Timestamp::from_millis(0), &[])
        .step(Timestamp::from_millis(READING_INTERVAL.millis()));
    for reading in &readings {
        let channel = &document["sump"][&*reading.sump]["channel"][reading.channel.name()];
        assert_eq!(channel["quantity"].as_str(), Some(reading.channel.name()));
        assert_eq!(channel["topic"].as_str(), Some(&*reading.topic()));
        assert_eq!(channel["payload"].as_str(), Some("json"));
        let unit = match reading.channel {
            Channel::Brix => "°Bx",
            Channel::Ph => "pH",
            Channel::Conductivity => "µS/cm",
            Channel::Temperature => "°C",
            Channel::Level => "mm",
        };
        assert_eq!(channel["unit"].as_str(), Some(unit));
        let sent: serde_json::Value = serde_json::from_slice(&reading.payload()).unwrap();
        let pointed = |key: &str| sent.pointer(channel[key].as_str().unwrap());
        let value = pointed("value").and_then(serde_json::Value::as_f64);
        assert_eq!(value, Some(reading.value));
        assert_eq!(pointed("time"), Some(&reading.time.to_string().into()));
    }
    assert_eq!(readings.len(), SUMPS.len() * Channel::ALL.len());
}

#[test]
fn fluids_in_the_settings_have_the_factors_of_the_plant() {
    for spec in &SUMPS {
        let sheet = read(&format!("fluids/{}.toml", spec.fluid.name));
        assert_eq!(sheet["factor"].as_float(), Some(spec.fluid.factor));
    }
}

#[test]
fn sumps_fit_into_their_tanks() {
    for spec in &SUMPS {
        let tank = spec.tank.litres_at(spec.tank.height_m());
        assert!(spec.max_volume_l - spec.lines_l < tank, "{}", spec.name);
        assert!(
            spec.working_volume_l * 1.05 < spec.max_volume_l,
            "{}",
            spec.name
        );
    }
}
