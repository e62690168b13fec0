use std::sync::Arc;

use jiff::tz::TimeZone;
use proptest::prelude::*;

use super::*;
use crate::alarm::performance::Course;
use crate::engine::{Quality, SumpSetup};
use crate::report::facts::book::Book;
use crate::report::facts::sump::Collect;
use crate::report::tables::of_sump;
use crate::report::words::Words;
use crate::settings::Settings;
use crate::units::Span;

fn setup() -> SumpSetup {
    let config = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("config");
    let settings = Settings::load(&config, std::iter::empty()).unwrap();
    (*settings.sumps[0]).clone()
}

fn period() -> Period {
    let at = |text: &str| Timestamp::parse(text).unwrap();
    Period::new(at("2026-03-02T00:00:00Z"), at("2026-03-16T00:00:00Z"))
}

/// A page about a sump in which this text stands wherever people may write one.
fn page(setup: &SumpSetup, text: &str, language: &str) -> String {
    let words = Words::of(language, &[]).unwrap();
    let zone = TimeZone::UTC;
    let voice = Voice {
        words: &words,
        condition: &|condition| condition.to_owned(),
        zone: &zone,
    };
    let period = period();
    let mut collect = Collect::new(setup, period, &zone, &Course::default());
    for (channel, is_estimate, from) in collect.wanted() {
        for n in 0..200 {
            let time = from + Span::from_hours(n);
            let value = 5.0 + (n % 40) as f64 / 7.0;
            collect.value(&channel, is_estimate, time, value, Quality::GOOD);
        }
    }
    let mut book = Book::new(period);
    let time = period.from + Span::from_hours(30);
    let said = serde_json::to_string(text).unwrap();
    let entries = [
        format!("\"kind\":\"note\",\"text\":{said}"),
        format!("\"kind\":\"impression\",\"smell\":\"stale\",\"text\":{said}"),
        format!("\"kind\":\"hand_reading\",\"quantity\":\"ph\",\"value\":9.1,\"written\":{said}"),
        format!("\"kind\":\"addition\",\"what\":\"water\",\"litres\":40.0,\"water\":{said}"),
        format!("\"kind\":\"event\",\"what\":\"probe_cleaned\",\"channel\":{said}"),
        format!("\"kind\":\"withdrawn\",\"text\":{said},\"supersedes\":\"0\""),
    ];
    for (id, entry) in entries.iter().enumerate() {
        let line = format!(
            "{{\"entry\":{{\"id\":\"{id}\",\"time\":\"{time}\",\"sump\":\"s0\",\"by\":{said},{entry}}}}}"
        );
        book.line(time, "entry", &line);
    }
    book.end();
    assert_eq!(book.lost(), (0, 0));
    let facts = collect.end(book, None);
    let titles = [
        (setup.name.to_string(), text.to_owned()),
        ("b".to_owned(), String::new()),
    ];
    let head = Head {
        plant: text,
        period,
        made: period.to,
        version: "0.0.0",
        sumps: &titles,
    };
    let by_day = alarms_by_day(&[], period, &voice);
    begin(&head, &voice)
        + &chapter("plant_alarms", &[], &[by_day], &voice)
        + &sump(&facts, &of_sump(&facts), &voice)
        + end()
}

/// The texts of a page, tags left out.
fn texts(document: &roxmltree::Document<'_>) -> Vec<String> {
    let nodes = document.descendants().filter(roxmltree::Node::is_text);
    nodes
        .filter_map(|node| node.text().map(str::to_owned))
        .collect()
}

fn parsed(page: &str) -> roxmltree::Document<'_> {
    let options = roxmltree::ParsingOptions {
        allow_dtd: true,
        ..roxmltree::ParsingOptions::default()
    };
    roxmltree::Document::parse_with_options(page, options).unwrap()
}

#[test]
fn a_page_is_whole_and_asks_nobody_for_anything() {
    let setup = setup();
    for language in ["en", "de"] {
        let page = page(&setup, "anna", language);
        let document = parsed(&page);
        for node in document.descendants().filter(roxmltree::Node::is_element) {
            let name = node.tag_name().name();
            assert!(
                !["script", "img", "link", "iframe", "object"].contains(&name),
                "{name}"
            );
            for attribute in node.attributes() {
                let value = attribute.value();
                assert!(!attribute.name().starts_with("on"), "{}", attribute.name());
                let elsewhere = value.contains("://") && attribute.name() != "xmlns";
                assert!(!elsewhere, "{value}");
            }
            match name {
                "svg" if node.attribute("role") == Some("img") => {
                    let has = |name: &str| {
                        node.children()
                            .any(|one| one.has_tag_name(("http://www.w3.org/2000/svg", name)))
                    };
                    assert!(has("title") && has("desc"));
                }
                "table" => assert!(
                    node.descendants()
                        .any(|one| one.tag_name().name() == "caption")
                ),
                "th" => assert!(node.attribute("scope").is_some()),
                _ => {}
            }
        }
        let mut ids: Vec<&str> = document
            .descendants()
            .filter_map(|node| node.attribute("id"))
            .collect();
        let all = ids.len();
        ids.sort_unstable();
        ids.dedup();
        assert_eq!(ids.len(), all, "an id stands twice");
        assert!(!page.contains("url(http") && !page.contains("@import"));
    }
}

#[test]
fn every_key_of_a_page_has_words() {
    let setup = setup();
    let words = Words::of("en", &[]).unwrap();
    let zone = TimeZone::UTC;
    let mut collect = Collect::new(&setup, period(), &zone, &Course::default());
    collect.value("brix", false, period().from, 6.0, Quality::GOOD);
    let facts = collect.end(Book::new(period()), None);
    for (chapter, tables) in of_sump(&facts) {
        assert!(
            words.find(&format!("chapter.{chapter}")).is_some(),
            "{chapter}"
        );
        for table in tables {
            assert!(
                words.find(&format!("table.{}", table.name)).is_some(),
                "{}",
                table.name
            );
            for column in table.columns {
                assert!(
                    words.find(&format!("column.{column}")).is_some(),
                    "{column}"
                );
            }
            for row in &table.rows {
                assert_eq!(row.len(), table.columns.len(), "{}", table.name);
                for cell in row {
                    if let Cell::Word(key) | Cell::Alert(key) = cell {
                        assert!(words.find(key).is_some(), "{key}");
                    }
                }
            }
        }
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(48))]
    #[test]
    fn any_text_of_people_stays_text(text in "[<>&\"'\\\\;{}\\]\\u{0}-\\u{20}a-z]{1,20}|.{1,30}") {
        let mut setup = setup();
        setup.title = text.clone();
        let fluid = Arc::make_mut(&mut setup.fluid);
        fluid.title = text.clone();
        let page = page(&setup, &text, "en");
        let document = parsed(&page);
        // It stands there as it was written, but for what no page may hold.
        let shown: String = text
            .chars()
            .map(|letter| match letter {
                '\r' => '\n',
                '\t' | '\n' => letter,
                letter if letter.is_control() || matches!(letter, '\u{fffe}' | '\u{ffff}') => '\u{fffd}',
                letter => letter,
            })
            .collect();
        let texts = texts(&document);
        prop_assert!(texts.iter().filter(|one| **one == shown).count() >= 5, "{:?}", shown);
        // And makes no element of its own.
        let known = page_elements(&self::page(&self::setup(), "anna", "en"));
        for name in page_elements(&page) {
            prop_assert!(known.contains(&name), "{}", name);
        }
    }
}

fn page_elements(page: &str) -> std::collections::BTreeSet<String> {
    let document = parsed(page);
    let elements = document.descendants().filter(roxmltree::Node::is_element);
    elements
        .map(|node| node.tag_name().name().to_owned())
        .collect()
}
