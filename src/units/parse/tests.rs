use std::fmt;

use proptest::prelude::*;

use super::*;

fn fault<T: Parse + fmt::Debug>(text: &str) -> QuantityFault {
    T::parse(text).unwrap_err().fault
}

#[test]
fn reads_what_people_write() {
    assert_eq!(Volume::parse("820L").unwrap().litres(), 820.0);
    assert_eq!(Volume::parse(" 1.2 m³ ").unwrap().litres(), 1200.0);
    assert_eq!(Volume::parse("250 ml").unwrap().litres(), 0.25);
    assert_eq!(Volume::parse("1 gal(us)").unwrap().litres(), 3.785411784);
    assert_eq!(Concentration::parse("4.2%").unwrap().percent(), 4.2);
    assert_eq!(Brix::parse("3.5 °Bx").unwrap().degrees(), 3.5);
    assert_eq!(Brix::parse("-0.1bx").unwrap().degrees(), -0.1);
    assert_eq!(Length::parse("35mm").unwrap().metres(), 0.035);
    assert_eq!(Length::parse("10 in").unwrap().metres(), 0.254);
    assert_eq!(Flow::parse("6 m3/h").unwrap().litres_per_minute(), 100.0);
    assert_eq!(Flow::parse("60 l/h").unwrap().litres_per_minute(), 1.0);
    let loss = |text| LossRate::parse(text).unwrap().litres_per_day();
    assert_eq!(loss("40 L/d"), 40.0);
    assert_eq!(loss("2 l/h"), 48.0);
    assert_eq!(loss("350 L/week"), 50.0);
    assert_eq!(loss("0.6 m³/d"), 600.0);
    assert_eq!(Ph::parse("9.1 ph").unwrap().units(), 9.1);
    assert_eq!(Current::parse("0.012 A").unwrap().milliamperes(), 12.0);
    assert_eq!(Potential::parse("-0.13 V").unwrap().millivolts(), -130.0);
    let conductance = Conductance::parse("1.4 mS").unwrap();
    assert_eq!(conductance.microsiemens(), 1400.0);
    assert_eq!(CellConstant::parse("0.5 cm⁻¹").unwrap().per_cm(), 0.5);
    assert_eq!(CellConstant::parse("100 1/m").unwrap().per_cm(), 1.0);
    let alpha = RelativeCoefficient::parse("2 %/K").unwrap();
    assert_eq!(alpha.percent_per_kelvin(), 2.0);
    let falling = BrixCoefficient::parse("-0.07 °Bx/K").unwrap();
    assert_eq!(falling.degrees_per_kelvin(), -0.07);
    assert_eq!(Span::parse("1.5 h").unwrap(), Span::from_mins(90));
    assert_eq!(Span::parse("2e3ms").unwrap(), Span::from_secs(2));
}

#[test]
fn scales_of_temperature_meet() {
    for text in ["25 °C", "25degC", "25 c", "298.15 K", "77 °F", "77F"] {
        let t = Temperature::parse(text).unwrap().celsius();
        assert!((t - 25.0).abs() < 1e-12, "{text} became {t}");
    }
}

#[test]
fn both_micro_signs_and_plain_u_are_micro() {
    for text in ["1413 µS/cm", "1413 μS/cm", "1413uS/cm", "1.413 mS/cm"] {
        let k = Conductivity::parse(text).unwrap();
        assert_eq!(k.microsiemens_per_cm(), 1413.0, "{text}");
    }
    let sea = Conductivity::parse("5.3 S/m").unwrap();
    assert_eq!(sea.microsiemens_per_cm(), 53_000.0);
}

#[test]
fn tells_each_fault() {
    assert_eq!(fault::<Volume>(""), QuantityFault::NoNumber);
    assert_eq!(fault::<Volume>("full"), QuantityFault::NoNumber);
    assert_eq!(fault::<Volume>("inf L"), QuantityFault::NoNumber);
    assert_eq!(fault::<Volume>("- 3 L"), QuantityFault::NoNumber);
    assert_eq!(fault::<Brix>("3,5 °Bx"), QuantityFault::Comma);
    assert_eq!(fault::<Volume>("1,000 L"), QuantityFault::Comma);
    assert_eq!(fault::<Volume>("1e999 L"), QuantityFault::TooLarge);
    assert_eq!(fault::<Span>("1e18 s"), QuantityFault::TooLarge);
    assert_eq!(fault::<Volume>("820"), QuantityFault::NoUnit);
    assert_eq!(fault::<Volume>("820 kg"), QuantityFault::WrongUnit);
    assert_eq!(fault::<Length>("3 L"), QuantityFault::WrongUnit);
    // Not 0.51: the 1 belongs to the unit.
    assert_eq!(fault::<CellConstant>("0.51/cm"), QuantityFault::WrongUnit);
}

#[test]
fn a_message_says_what_was_found_and_every_unit() {
    let told = Volume::parse("820").unwrap_err().to_string();
    assert_eq!(
        told,
        "\"820\" is not a volume: the unit is missing; \
         write a number and a unit (allowed: L, l, mL, m3, m³, gal(US))"
    );
    let told = Quantity::Level.parse_value("3 L").unwrap_err().to_string();
    assert!(told.contains("\"3 L\" is not a level"), "{told}");
    assert!(told.contains("m, cm, mm, in"), "{told}");
}

#[test]
fn case_matters_where_it_decides() {
    const BOTH: Dimension = Dimension {
        name: "test",
        units: &["mS", "MS"],
        lines: &[Linear::times(1e-3), Linear::times(1e6)],
    };
    assert_eq!(BOTH.read("1 MS").unwrap(), 1e6);
    assert_eq!(
        BOTH.read("1 ms").unwrap_err().fault,
        QuantityFault::WrongUnit
    );
}

#[test]
fn converts_payload_units() {
    let of = |quantity: Quantity, unit| quantity.unit_conversion(unit).unwrap();
    assert_eq!(of(Quantity::Level, "mm").apply(412.0), 0.412);
    assert_eq!(of(Quantity::Conductivity, "mS/cm").apply(2.5), 2500.0);
    assert_eq!(of(Quantity::Ph, "pH"), Linear::IDENTITY);
    let wrong = Quantity::Brix.unit_conversion("%").unwrap_err();
    assert_eq!(wrong.fault, QuantityFault::WrongUnit);
    for quantity in Quantity::ALL {
        assert_eq!(of(quantity, quantity.unit()), Linear::IDENTITY);
        assert_eq!(quantity.units()[0], quantity.unit());
    }
}

#[test]
fn units_of_hardness_agree_with_the_reference() {
    let rows = include_str!("../../../tests/reference/hardness_units.csv");
    let scale = |unit: &str| {
        let ours = match unit {
            "gpg_US" => "gpg",
            "clark_e" => "°e",
            other => other,
        };
        Hardness::unit_conversion(ours).unwrap().scale
    };
    let mut compared = 0;
    for row in rows.lines().filter(|row| row.ends_with(",computed")) {
        let cells: Vec<&str> = row.split(',').collect();
        let factor: f64 = cells[2].parse().unwrap();
        let ours = scale(cells[0]) / scale(cells[1]);
        assert!((ours - factor).abs() < 1e-6, "{row}: {ours}");
        compared += 1;
    }
    assert_eq!(compared, 42, "seven units, each in the six others");
}

proptest! {
    #[test]
    fn never_panics(text in "\\PC*") {
        let _ = Volume::parse(&text);
        let _ = Span::parse(&text);
        for quantity in Quantity::ALL {
            let _ = quantity.parse_value(&text);
            let _ = quantity.unit_conversion(&text);
        }
    }

    #[test]
    fn never_panics_near_the_grammar(text in "[-+]?[0-9.,eE]{0,9}[ \u{a0}]?[°µμ%a-zA-Z/³]{0,6}") {
        if let Ok(volume) = Volume::parse(&text) {
            prop_assert!(volume.litres().abs() <= LARGEST);
        }
        let _ = Span::parse(&text);
        for quantity in Quantity::ALL {
            if let Ok(value) = quantity.parse_value(&text) {
                prop_assert!(value.abs() <= LARGEST);
            }
        }
    }

    #[test]
    fn every_unit_reads_back(value in -1e6f64..1e6, which in 0..Quantity::ALL.len(), unit in 0usize..16) {
        let quantity = Quantity::ALL[which];
        let unit = quantity.units()[unit % quantity.units().len()];
        let line = quantity.unit_conversion(unit).unwrap();
        let read = quantity.parse_value(&format!("{value} {unit}")).unwrap();
        prop_assert_eq!(read, line.apply(value));
        let direct = value * line.scale + line.offset;
        prop_assert!((read - direct).abs() <= 1e-12 * (1.0 + direct.abs()));
    }

    #[test]
    fn what_is_printed_in_full_reads_back(litres in -1e9f64..1e9) {
        let volume = Volume::from_litres(litres);
        let read = Volume::parse(&format!("{volume:.17}")).unwrap();
        prop_assert!((read.litres() - litres).abs() <= 1e-15 * litres.abs());
    }

    #[test]
    fn spans_keep_their_milliseconds(millis in -9_000_000_000_000i64..9_000_000_000_000) {
        let span = Span::from_millis(millis);
        prop_assert_eq!(Span::parse(&format!("{millis} ms")).unwrap(), span);
    }
}
