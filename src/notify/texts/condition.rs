//! What an alarm's condition is called.

use minijinja::Error;
use minijinja::value::Value;

use super::sentences::{Context, Sentences};

/// What is wrong: the sentence `condition.<key>`, where the key is the whole
/// condition, its first word or its last, and `subject` names the rest. Without
/// such a sentence the condition itself, readable.
pub(super) fn what(sentences: &Sentences, condition: &str, form: &Value) -> Result<String, Error> {
    let parts: Vec<&str> = condition.split('.').collect();
    let (key, rest) = split(sentences, &parts);
    let mut context = Context::from([("subject".to_owned(), Value::from(""))]);
    match key {
        Some(key) => {
            context.insert("subject".to_owned(), named(sentences, rest, form)?.into());
            sentences.say(&key, context, form)
        }
        None => {
            sentences.note_unknown(&format!("condition.{}", parts[0]));
            named(sentences, &parts, form)
        }
    }
}

/// What an alarm is about: what the condition names beside the key of its
/// sentence, or the sentence `about.<condition>` where it names nothing.
pub(super) fn subject(
    sentences: &Sentences,
    condition: &str,
    form: &Value,
) -> Result<String, Error> {
    let parts: Vec<&str> = condition.split('.').collect();
    let (_, rest) = split(sentences, &parts);
    let own = format!("about.{condition}");
    match rest {
        [] if sentences.has(&own) => sentences.say(&own, Context::new(), form),
        [] => what(sentences, condition, form),
        rest => named(sentences, rest, form),
    }
}

/// The key of the sentence, and the parts that name the subject.
fn split<'a>(sentences: &Sentences, parts: &'a [&'a str]) -> (Option<String>, &'a [&'a str]) {
    let key = |part: &str| Some(format!("condition.{part}")).filter(|key| sentences.has(key));
    let whole = key(&parts.join("."));
    let before = &parts[..parts.len() - 1];
    if parts.len() == 1 {
        (whole, &[])
    } else if whole.is_some() {
        (whole, before)
    } else if let Some(first) = key(parts[0]) {
        (Some(first), &parts[1..])
    } else {
        (key(parts[parts.len() - 1]), before)
    }
}

/// Quantities and checks by their names, channels and whatever else as they are.
fn named(sentences: &Sentences, parts: &[&str], form: &Value) -> Result<String, Error> {
    let mut words = Vec::new();
    for part in parts {
        let keys = ["quantity", "check"].map(|table| format!("{table}.{part}"));
        words.push(match keys.iter().find(|key| sentences.has(key)) {
            Some(key) => sentences.say(key, Context::new(), form)?,
            None => part.replace('_', " "),
        });
    }
    Ok(words.join(" "))
}
