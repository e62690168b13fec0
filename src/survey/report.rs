//! What was heard on a broker, in words and as settings.

use std::fmt::Write as _;

use super::recognise::{Field, Look, Seen};
use super::snippet::Snippets;
use super::topics::{Topic, Topics};
use crate::units::{Span, Timestamp};

/// What the survey has to say.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Report {
    /// What was seen, in words.
    pub seen: String,
    /// Settings of channels that would take it in; empty if there is nothing.
    pub settings: String,
}

impl Topics {
    /// What was heard until `now`.
    pub fn report(&self, now: Timestamp) -> Report {
        let mut seen = String::new();
        let mut snippets = Snippets::default();
        for (name, topic) in self.iter() {
            // Writing to a String never fails.
            let _ = writeln!(seen, "{name}\n    {}", topic.describe(now));
            for line in topic.look.lines() {
                let _ = writeln!(seen, "    {line}");
            }
            offer(&mut snippets, name, topic);
        }
        if self.others > 0 {
            let _ = writeln!(
                seen,
                "and {} messages of further topics; survey them with a narrower --topic",
                self.others
            );
        }
        Report {
            seen,
            settings: snippets.text().to_owned(),
        }
    }
}

impl Topic {
    fn describe(&self, now: Timestamp) -> String {
        let format = self.look.name();
        let varies = if self.varies { "; not all alike" } else { "" };
        if self.fresh == 0 {
            return format!("{format}; only retained by the broker, of unknown age{varies}");
        }
        let count = match (self.fresh, self.interval()) {
            (1, _) => "1 message".to_owned(),
            (count, Some(interval)) => format!("{count} messages, every {}", about(interval)),
            (count, None) => format!("{count} messages"),
        };
        let retained = if self.retained > 0 {
            "; retained too"
        } else {
            ""
        };
        let ago = about(now - self.last);
        format!("{format}; {count}, the last {ago} ago{retained}{varies}")
    }
}

impl Look {
    fn name(&self) -> &'static str {
        match self {
            Look::Number(_) => "a number",
            Look::Word(_) => "a word",
            Look::Json { .. } => "JSON",
            Look::Unknown(_) => "not recognised",
        }
    }

    fn lines(&self) -> Vec<String> {
        match self {
            Look::Number(number) => vec![number.to_string()],
            Look::Word(word) => vec![word.clone()],
            Look::Json { fields, time, more } => {
                let width = fields.iter().map(|f| f.pointer.len()).max().unwrap_or(0);
                let mut lines: Vec<String> = fields
                    .iter()
                    .map(|field| format!("{:width$}  {}", field.pointer, field.seen))
                    .collect();
                if let Some((pointer, _)) = time {
                    lines.push(format!("{pointer:width$}  a time"));
                }
                if *more > 0 {
                    lines.push(format!(
                        "and {more} that are no single value or beyond what is looked at"
                    ));
                }
                lines
            }
            Look::Unknown(beginning) => vec![beginning.clone()],
        }
    }
}

impl std::fmt::Display for Seen {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Seen::Number(number) => write!(f, "{number}"),
            Seen::Word(word) => f.write_str(word),
        }
    }
}

/// A length of time as people say it.
fn about(span: Span) -> String {
    match span.secs_f64() {
        s if s < 0.95 => format!("{:.0} ms", s * 1000.0),
        s if s < 99.5 => format!("{s:.1} s"),
        s => format!("{:.0} min", s / 60.0),
    }
}

fn offer(snippets: &mut Snippets, name: &str, topic: &Topic) {
    let last_level = name.rsplit('/').next().unwrap_or(name);
    match &topic.look {
        Look::Number(number) => {
            snippets
                .channel(last_level, name, false, &format!("{name}: {number}"))
                .line("topic", name, None);
        }
        Look::Word(word) => {
            snippets
                .channel(last_level, name, true, &format!("{name}: {word}"))
                .line("topic", name, None)
                .switch_words(word);
        }
        Look::Json { fields, time, .. } => {
            for Field { pointer, seen } in fields {
                let field = pointer.rsplit('/').next().unwrap_or_default();
                let is_index = field.chars().all(|c| c.is_ascii_digit());
                let called = if is_index { last_level } else { field };
                let word = match seen {
                    Seen::Word(word) => Some(word),
                    Seen::Number(_) => None,
                };
                let told = format!("{name} at {pointer}: {seen}");
                snippets
                    .channel(called, name, word.is_some(), &told)
                    .line("topic", name, None)
                    .line("payload", "json", None)
                    .line("value", pointer, None)
                    .time(time.as_ref());
                if let Some(word) = word {
                    snippets.switch_words(word);
                }
            }
        }
        Look::Unknown(_) => {}
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::ingest::decode::{Claimed, Decoded, Plan};
    use crate::settings::{Origin, Settings};

    const PLANT: &str = r#"
        [plant]
        name = "north"
        [store]
        folder = "./data"
        [broker.main]
        host = "127.0.0.1"
        [fluid.soluble-a]
        factor = 1.1
        [sump.cell-a]
        fluid = "soluble-a"
        target = "8 %"
        working_volume = "820 L"
        vessel = { shape = "rectangular", length = "1.6 m", width = "0.9 m", height = "0.65 m" }
    "#;

    fn now() -> Timestamp {
        Timestamp::parse("2026-03-02T06:10:00Z").unwrap()
    }

    /// What is offered, put into a plant's settings, reads what was seen.
    #[test]
    fn what_is_offered_reads_what_was_seen() {
        let messages: [(&str, &[u8], &[f64], bool); 5] = [
            ("cells/a/brix", b"7.41", &[7.41], false),
            ("cells/a/pump", b"Running", &[1.0], false),
            ("cells/\"b\"/x y", b"12", &[12.0], false),
            (
                "cells/c",
                br#"{"ph":9.1,"a/b":[1,2],"on":true,"time":"2026-03-02T06:09:58Z","name":"the probe"}"#,
                &[1.0, 2.0, 1.0, 9.1],
                true,
            ),
            ("cells/d", br#"[4.5,{"ts":1772431798,"t":21.5}]"#, &[4.5, 21.5], true),
        ];
        for (topic, payload, values, timed) in messages {
            let mut heard = Topics::default();
            heard.hear(topic, payload, false, now());
            let report = heard.report(now());
            assert!(report.seen.contains(topic));
            let channels = report
                .settings
                .replace("SUMP", "cell-a")
                .replace("\"?\"", "\"brix\"");
            let files = [("plant.toml", PLANT), ("z.toml", channels.as_str())];
            let settings = Settings::from_texts(&files, std::iter::empty())
                .unwrap_or_else(|error| panic!("{error}\n{channels}"));
            let mut read: Vec<Decoded> = Vec::new();
            for route in &settings.routes {
                let Origin::Topic { topics, format, .. } = &route.origin else {
                    panic!("{:?} is no topic", route.origin);
                };
                assert_eq!(*topics, [topic]);
                let mut plan = Plan::default();
                plan.add(format, &route.scale);
                let mut outcomes = Vec::new();
                plan.decode(payload, &mut outcomes);
                read.extend(outcomes.into_iter().map(|outcome| outcome.reading.unwrap()));
            }
            let mut found: Vec<f64> = read.iter().map(|reading| reading.value).collect();
            let mut values = values.to_vec();
            found.sort_by(f64::total_cmp);
            values.sort_by(f64::total_cmp);
            assert_eq!(found, values, "{channels}");
            let at = |reading: &Decoded| matches!(reading.claimed, Claimed::At(_));
            assert_eq!(read.iter().all(at), timed, "{channels}");
        }
    }

    #[test]
    fn what_is_not_recognised_is_listed_and_nothing_is_offered_for_it() {
        let mut topics = Topics::default();
        topics.hear("x", &[0xff, 0, 1], false, now());
        let report = topics.report(now());
        assert!(report.seen.contains("not recognised"), "{}", report.seen);
        assert_eq!(report.settings, "");
    }
}
