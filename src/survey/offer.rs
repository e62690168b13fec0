//! What was heard on a broker as rows, with settings that would take it in.

use super::nodes::{Given, Nodes, Scope, Whose};
use super::pack::Named;
use super::recognise::{Beside, Field, Look, Seen};
use super::report::{Report, Row, Valued, counted};
use super::snippet::Snippets;
use super::topics::{Topic, Topics};
use crate::settings::TimeFormat;

/// What the line of a setting says that may or may not be wanted.
const CHECK: &str = "the message has it: is it this value's? then take the # away";

impl Topics {
    /// What was heard so far.
    pub fn report(&self) -> Report {
        let mut report = Report::default();
        let mut snippets = Snippets::default();
        let ours = self.trees_of_ours();
        let is_ours = |name: &str| ours.iter().find(|tree| name.starts_with(**tree));
        for (name, topic) in self.iter() {
            if is_ours(name).is_some() {
                continue;
            }
            offer(&mut snippets, name, topic);
            let mut row = topic.row(name);
            row.settings = snippets.take();
            report.rows.push(row);
        }
        for (whose, scope) in self.nodes.iter() {
            report.rows.push(scope.row(&mut snippets, whose));
        }
        report.notes.extend(
            ours.iter()
                .map(|tree| format!("left out: {tree}#, which a daemon of ours publishes")),
        );
        if self.others > 0 {
            report.notes.push(format!(
                "and {} of further topics; survey them with a narrower --topic",
                counted(self.others, "message")
            ));
        }
        report.notes.extend(self.nodes.note());
        report
    }
}

impl Nodes {
    fn note(&self) -> Option<String> {
        let others = counted(self.others, "message");
        (self.others > 0)
            .then(|| format!("and {others} of further nodes; survey them with a narrower --topic"))
    }
}

impl Topic {
    fn row(&self, name: &str) -> Row {
        let mut notes = self.look.notes();
        if self.varies {
            notes.push("the messages are not all alike; this is the newest".to_owned());
        }
        Row {
            name: name.to_owned(),
            format: self.look.name().to_owned(),
            messages: self.fresh,
            retained: self.retained,
            every: self.interval(),
            last: Some(self.last),
            values: self.look.values(),
            notes,
            ..Row::default()
        }
    }
}

impl Look {
    fn name(&self) -> &'static str {
        match self {
            Look::Number(_) => "a number",
            Look::Word(_) => "a word",
            Look::Json { .. } => "JSON",
            Look::Senml(pack) if pack.is_cbor => "SenML in CBOR",
            Look::Senml(_) => "SenML in JSON",
            Look::Unknown(_) => "not recognised",
        }
    }

    fn values(&self) -> Vec<Valued> {
        let valued = |place: &str, value: &Seen, unit: &Option<String>| Valued {
            place: place.to_owned(),
            value: value.clone(),
            unit: unit.clone(),
        };
        match self {
            Look::Number(number) => vec![valued("", &Seen::Number(*number), &None)],
            Look::Word(word) => vec![valued("", &Seen::Word(word.clone()), &None)],
            Look::Json { fields, .. } => {
                let each = fields.iter();
                each.map(|f| valued(&f.pointer, &f.seen, &None)).collect()
            }
            Look::Senml(pack) => {
                let each = pack.named.iter();
                each.map(|n| valued(&n.name, &n.seen, &n.unit)).collect()
            }
            Look::Unknown(_) => Vec::new(),
        }
    }

    fn notes(&self) -> Vec<String> {
        match self {
            Look::Json { time, more, .. } => {
                let time = time
                    .iter()
                    .map(|(pointer, _)| format!("{pointer} is its time"));
                time.chain(passed_over(*more)).collect()
            }
            Look::Senml(pack) => passed_over(pack.more).into_iter().collect(),
            Look::Unknown(beginning) => vec![beginning.clone()],
            Look::Number(_) | Look::Word(_) => Vec::new(),
        }
    }
}

fn passed_over(more: usize) -> Option<String> {
    (more > 0).then(|| format!("and {more} that are no single value or beyond what is looked at"))
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
            let document = Document {
                topic: name,
                fields,
                time,
            };
            let values = fields.iter().filter(|field| !document.is_of_another(field));
            values.for_each(|field| document.offer(snippets, field));
        }
        Look::Senml(pack) => pack
            .named
            .iter()
            .for_each(|n| offer_named(snippets, name, n)),
        Look::Unknown(_) => {}
    }
}

/// A JSON message whose values are offered.
struct Document<'a> {
    topic: &'a str,
    fields: &'a [Field],
    time: &'a Option<(String, TimeFormat)>,
}

impl Document<'_> {
    fn offer(&self, snippets: &mut Snippets, field: &Field) {
        let Field { pointer, seen } = field;
        let last_level = self.topic.rsplit('/').next().unwrap_or(self.topic);
        let is_index = field.name().chars().all(|c| c.is_ascii_digit());
        let called = if is_index { last_level } else { field.name() };
        let word = match seen {
            Seen::Word(word) => Some(word),
            Seen::Number(_) => None,
        };
        let told = format!("{} at {pointer}: {seen}", self.topic);
        snippets
            .channel(called, self.topic, word.is_some(), &told)
            .line("topic", self.topic, None)
            .line("payload", "json", None)
            .line("value", pointer, None)
            .time(self.time.as_ref());
        match word {
            Some(word) => {
                snippets.switch_words(word);
            }
            None => self.offer_beside(snippets, field),
        }
    }

    /// Unit and status of a number, switched off.
    fn offer_beside(&self, snippets: &mut Snippets, number: &Field) {
        if let Some(unit) = self.beside(number, Beside::Unit) {
            snippets.perhaps("unit_from", &unit.pointer, CHECK);
        }
        if let Some(status) = self.beside(number, Beside::Status) {
            let good = toml_edit::Value::from(status.seen.to_string());
            snippets
                .perhaps("status", &status.pointer, CHECK)
                .written(&format!("#status_good = [{}]", good.to_string().trim()));
        }
    }

    fn beside(&self, number: &Field, what: Beside) -> Option<&Field> {
        let mut beside = self
            .fields
            .iter()
            .filter(|other| other.pointer != number.pointer);
        beside.find(|other| other.parent() == number.parent() && other.beside() == Some(what))
    }

    /// Whether it says something of a number beside it, and is no value itself.
    fn is_of_another(&self, field: &Field) -> bool {
        let is_number =
            |other: &Field| matches!(other.seen, Seen::Number(_)) && other.beside().is_none();
        let mut others = self.fields.iter();
        field.beside().is_some()
            && others.any(|other| other.parent() == field.parent() && is_number(other))
    }
}

fn offer_named(snippets: &mut Snippets, topic: &str, named: &Named) {
    let quantity = named.quantity(topic);
    if quantity.is_none() && matches!(named.seen, Seen::Word(_)) {
        // Its unit says that it is no state, and nothing else has words.
        return;
    }
    let unit = named
        .unit
        .as_deref()
        .map_or(String::new(), |unit| format!(" {unit}"));
    let told = format!("{topic}, {}: {}{unit}", named.name, named.seen);
    let remark = named
        .unit
        .as_ref()
        .map(|unit| format!("the pack gives its unit: {unit}"));
    snippets
        .channel_of(quantity, named.last_part(), &told)
        .line("topic", topic, None)
        .line("payload", "senml", None)
        .line("name", &named.name, remark.as_deref());
    if let Seen::Word(word) = &named.seen {
        snippets.switch_words(word);
    }
}

impl Scope {
    fn row(&self, snippets: &mut Snippets, whose: &Whose) -> Row {
        let (group, node, device) = whose;
        let node = format!("{group}/{node}");
        let name = match device {
            Some(device) => format!("{node} {device}"),
            None => node.clone(),
        };
        let (mut values, mut notes) = (Vec::new(), Vec::new());
        for (metric, given) in &self.metrics {
            let seen = match given {
                Given::Value(seen) => seen,
                Given::Nothing(why) => {
                    notes.push(format!("{metric}: {why}"));
                    continue;
                }
            };
            values.push(Valued {
                place: metric.clone(),
                value: seen.clone(),
                unit: None,
            });
            let is_word = matches!(seen, Seen::Word(_));
            let called = metric.rsplit('/').next().unwrap_or(metric);
            let told = format!("{name}, {metric}: {seen}");
            snippets
                .channel(called, metric, is_word, &told)
                .line("payload", "sparkplug", None)
                .line("node", &node, None);
            if let Some(device) = device {
                snippets.line("device", device, None);
            }
            snippets.line("metric", metric, None);
        }
        notes.extend(self.notes());
        Row {
            name,
            format: "Sparkplug B".to_owned(),
            messages: self.messages,
            every: self.interval(),
            last: Some(self.last),
            values,
            notes,
            settings: snippets.take(),
            ..Row::default()
        }
    }
}

#[cfg(test)]
mod tests;
