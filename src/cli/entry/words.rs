//! From the words of the command line to an entry.

use jiff::tz::TimeZone;
use serde_json::{Map, Value};

use super::What;
use super::when::{AHEAD, WhenError, moment, shown};
use crate::units::{Parse, QuantityError, Span, Timestamp, Volume};

/// Why the words make no entry.
#[derive(Debug, thiserror::Error)]
pub(super) enum WordsError {
    #[error(
        "the sump and the kind are missing: entry SUMP hand-reading brix 6.2 (entry --help tells the rest)"
    )]
    Nothing,
    #[error("--at: {0}")]
    When(#[from] WhenError),
    #[error("--at: {at} is yet to come, it is {now} now; write when it was so")]
    ToCome { at: String, now: String },
    #[error(
        "\"{0}\" does not begin with a number; write it with a decimal point, as 6.2 or 10 °dH"
    )]
    NoNumber(String),
    #[error(transparent)]
    Litres(#[from] QuantityError),
}

/// The entry that the words describe.
pub(super) fn entry(
    what: &What,
    now: jiff::Timestamp,
    zone: &TimeZone,
) -> Result<Value, WordsError> {
    let [sump, kind, rest @ ..] = &what.words[..] else {
        return Err(WordsError::Nothing);
    };
    let time = time(what, now, zone)?;
    let kind = word(kind);
    let mut entry = Map::new();
    let mut set = |field: &str, value: Value| {
        entry.insert(field.to_owned(), value);
    };
    set("sump", sump.as_str().into());
    set("time", time.to_string().into());
    let text = rest.join(" ");
    match kind.as_str() {
        "hand_reading" => {
            if let [quantity, value @ ..] = rest {
                set("quantity", word(quantity).into());
                let value = value.join(" ");
                if !value.is_empty() {
                    let (number, unit) = number_and_unit(&value)?;
                    set("value", number.into());
                    if !unit.is_empty() {
                        set("unit", unit.into());
                    }
                }
            }
        }
        "addition" | "event" => {
            if let [what, amount @ ..] = rest {
                set("what", word(what).into());
                let amount = amount.join(" ");
                if !amount.is_empty() {
                    set("litres", litres(&amount)?.into());
                }
            }
        }
        "acknowledge" | "unshelve" | "in_service" | "reset" => set("alarm", text.into()),
        "shelve" => {
            if let [alarm, hours, reason @ ..] = rest {
                set("alarm", alarm.as_str().into());
                set("hours", hours_of(hours)?.into());
                set("reason", reason.join(" ").into());
            }
        }
        "out_of_service" => {
            if let [alarm, reason @ ..] = rest {
                set("alarm", alarm.as_str().into());
                set("reason", reason.join(" ").into());
            }
        }
        _ if text.is_empty() => {}
        _ => set("text", text.into()),
    }
    set("kind", kind.into());
    options(what, &mut set);
    Ok(Value::Object(entry))
}

/// When it was so. Nobody has measured tomorrow yet: that is a slip of the date.
fn time(what: &What, now: jiff::Timestamp, zone: &TimeZone) -> Result<Timestamp, WordsError> {
    let wall = Timestamp::from_millis(now.as_millisecond());
    let Some(at) = &what.at else {
        return Ok(wall);
    };
    let time = moment(at, now, zone)?;
    if time.millis() > (now + AHEAD).as_millisecond() {
        let (at, now) = (shown(time, zone), shown(wall, zone));
        return Err(WordsError::ToCome { at, now });
    }
    Ok(time)
}

fn options(what: &What, set: &mut impl FnMut(&str, Value)) {
    for (field, given) in [
        ("by", &what.by),
        ("supersedes", &what.supersedes),
        ("id", &what.id),
        ("water", &what.water),
        ("advice", &what.advice),
        ("channel", &what.channel),
        ("mixer", &what.mixer),
    ] {
        if let Some(given) = given {
            set(field, given.as_str().into());
        }
    }
    for (field, given) in [("method", &what.method), ("smell", &what.smell)] {
        if let Some(given) = given {
            set(field, word(given).into());
        }
    }
    if let Some(strength) = what.strength {
        set("strength_pct", strength.into());
    }
    if !what.look.is_empty() {
        let look: Vec<String> = what.look.iter().map(|look| word(look)).collect();
        set("look", look.into());
    }
}

/// On the command line words may have dashes.
fn word(text: &str) -> String {
    text.replace('-', "_")
}

/// A bare number is litres.
fn litres(text: &str) -> Result<f64, WordsError> {
    if let Ok(litres) = text.parse() {
        return Ok(litres);
    }
    Ok(Volume::parse(text)?.litres())
}

/// Plain hours, or a time with its unit.
fn hours_of(text: &str) -> Result<f64, WordsError> {
    if let Ok(hours) = text.parse() {
        return Ok(hours);
    }
    Ok(Span::parse(text)?.secs_f64() / 3600.0)
}

fn number_and_unit(text: &str) -> Result<(f64, &str), WordsError> {
    // The longest beginning that is a number: a unit may begin with an e.
    let ends = text.char_indices().map(|(at, c)| at + c.len_utf8()).rev();
    let found = ends
        .filter_map(|end| Some((end, text[..end].trim_end().parse::<f64>().ok()?)))
        .find(|(_, number)| number.is_finite());
    let (end, number) = found.ok_or_else(|| WordsError::NoNumber(text.to_owned()))?;
    if text[end..].starts_with(',') {
        return Err(WordsError::NoNumber(text.to_owned()));
    }
    Ok((number, text[end..].trim()))
}

#[cfg(test)]
mod tests {
    use clap::Parser;
    use serde_json::json;

    use super::*;

    #[derive(Parser)]
    struct Line {
        #[command(flatten)]
        what: What,
    }

    fn read(line: &[&str]) -> Result<Value, WordsError> {
        let line = Line::try_parse_from([&["entry"], line].concat()).unwrap();
        let now = "2026-03-02T08:00:00Z".parse().unwrap();
        entry(&line.what, now, &TimeZone::UTC)
    }

    #[test]
    fn what_is_yet_to_come_is_refused() {
        let note = |at| read(&["mill", "note", "foam", "--at", at]);
        let error = note("2026-03-03 07:00").unwrap_err().to_string();
        assert!(error.contains("is yet to come"), "{error}");
        assert!(note("2026-03-02 08:01").is_ok(), "clocks differ");
    }

    #[test]
    fn words_become_the_entry_that_they_describe() {
        for (line, expected) in [
            (
                &[
                    "mill",
                    "hand-reading",
                    "brix",
                    "6.2",
                    "--by",
                    "anna",
                    "--at",
                    "06:10",
                ][..],
                json!({"kind": "hand_reading", "quantity": "brix", "value": 6.2, "by": "anna", "time": "2026-03-02T06:10:00Z"}),
            ),
            (
                &[
                    "mill",
                    "hand-reading",
                    "hardness",
                    "10°dH",
                    "--method",
                    "test-strip",
                ],
                json!({"kind": "hand_reading", "quantity": "hardness", "value": 10.0, "unit": "°dH", "method": "test_strip"}),
            ),
            (
                &["mill", "hand-reading", "redox", "-120", "mV"],
                json!({"kind": "hand_reading", "quantity": "redox", "value": -120.0, "unit": "mV"}),
            ),
            (
                &["mill", "hand-reading", "bacteria", "1e5"],
                json!({"kind": "hand_reading", "quantity": "bacteria", "value": 1e5}),
            ),
            (
                &[
                    "mill",
                    "addition",
                    "premix",
                    "85",
                    "L",
                    "--strength",
                    "19.3",
                    "--water",
                    "tap",
                    "--advice",
                    "mill/advice/1",
                ],
                json!({"kind": "addition", "what": "premix", "litres": 85.0, "strength_pct": 19.3, "water": "tap", "advice": "mill/advice/1"}),
            ),
            (
                &["mill", "addition", "water", "30"],
                json!({"kind": "addition", "what": "water", "litres": 30.0}),
            ),
            (
                &["mill", "event", "drained", "0.089m3"],
                json!({"kind": "event", "what": "drained", "litres": 89.0}),
            ),
            (
                &["mill", "event", "pumps-on"],
                json!({"kind": "event", "what": "pumps_on"}),
            ),
            (
                &[
                    "mill",
                    "impression",
                    "since",
                    "Monday",
                    "--smell",
                    "stale",
                    "--look",
                    "foam,oil-film",
                ],
                json!({"kind": "impression", "text": "since Monday", "smell": "stale", "look": ["foam", "oil_film"]}),
            ),
            (
                &["mill", "note", "tramp oil"],
                json!({"kind": "note", "text": "tramp oil"}),
            ),
            (
                &["mill", "acknowledge", "mill/ph.low/1"],
                json!({"kind": "acknowledge", "alarm": "mill/ph.low/1"}),
            ),
            (
                &["mill", "withdrawn", "--supersedes", "a1"],
                json!({"kind": "withdrawn", "supersedes": "a1"}),
            ),
        ] {
            let mut full = json!({"sump": "mill", "time": "2026-03-02T08:00:00Z"});
            full.as_object_mut()
                .unwrap()
                .extend(expected.as_object().unwrap().clone());
            assert_eq!(read(line).unwrap(), full, "{line:?}");
        }
    }

    #[test]
    fn words_that_make_none_are_told() {
        assert!(matches!(read(&["mill"]), Err(WordsError::Nothing)));
        for (line, words) in [
            (&["mill", "hand-reading", "ph", "nine"][..], "\"nine\""),
            (&["mill", "hand-reading", "ph", "8,7"], "\"8,7\""),
            (&["mill", "addition", "water", "30 kg"], "allowed: L"),
            (&["mill", "note", "x", "--at", "noon"], "\"noon\""),
        ] {
            let told = read(line).unwrap_err().to_string();
            assert!(told.contains(words), "{told}");
        }
    }
}
