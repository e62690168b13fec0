//! `message`: tries the roads to a contact, and shows what waits and what was
//! given up.

use std::fmt::Write as _;
use std::io::Write as _;
use std::time::Duration;

use anyhow::Context;
use clap::Subcommand;

use super::{NO, WELL, WRONG};
use crate::alarm::Priority;
use crate::daemon::{Clock, kept};
use crate::mqtt::{self, Event, Introduction, Leaving, SessionWish};
use crate::notify::away::SUBJECTS as HELD;
use crate::notify::{Address, Dialogue, Note, Post, Reader, Road, Texts};
use crate::settings::{BrokerSettings, Contact, Settings, nearest};
use crate::store::{BROKER, OutboxRow, StoredAside, StoredLetter};
use crate::units::{Timestamp, to_wire};

/// Time for a broker to confirm the test message.
const CONFIRM_WITHIN: Duration = Duration::from_secs(15);
/// Most messages that were put aside that are shown.
const SHOWN: usize = 50;

/// What there is to ask about messages.
#[derive(Debug, Subcommand)]
pub(super) enum Message {
    /// Send a test message by every road of a contact, and print what was said
    /// on the way.
    Try {
        /// The contact.
        #[arg(value_name = "CONTACT")]
        contact: String,
    },
    /// How many messages wait in the store, by receiver.
    Waiting,
    /// Messages that were given up: refused for good, or expired; the newest
    /// first.
    Aside,
}

/// Does what was asked; gives the exit status.
pub(super) fn message(settings: &Settings, what: &Message) -> anyhow::Result<u8> {
    match what {
        Message::Try { contact } => try_roads(settings, contact),
        Message::Waiting => waiting(settings),
        Message::Aside => aside(settings),
    }
}

fn try_roads(settings: &Settings, name: &str) -> anyhow::Result<u8> {
    let texts = match Texts::new(&settings.texts) {
        Ok(texts) => texts,
        Err(mistakes) => {
            eprintln!("{mistakes}");
            return Ok(WRONG);
        }
    };
    let contacts = &settings.contacts;
    let Some(contact) = contacts.iter().find(|contact| *contact.name == *name) else {
        let names = || contacts.iter().map(|contact| &*contact.name);
        let offer = match nearest(name, names()) {
            Some(near) => format!("did you mean \"{near}\"?"),
            None => format!("there are: {}", names().collect::<Vec<_>>().join(", ")),
        };
        eprintln!("there is no contact \"{name}\"; {offer}");
        return Ok(WRONG);
    };
    if !contact.has_road() {
        eprintln!("{name} has neither mail nor webhook nor topic; write one in the settings");
        return Ok(NO);
    }
    let runtime = tokio::runtime::Builder::new_current_thread()
        .enable_all()
        .build()
        .context("cannot start the runtime")?;
    let well = runtime.block_on(try_each(settings, contact, &texts));
    Ok(if well { WELL } else { NO })
}

/// Tries every road; whether all of them led there.
async fn try_each(settings: &Settings, contact: &Contact, texts: &Texts) -> bool {
    let now = Clock::System.now();
    let post = Post::new(settings, texts.clone(), None);
    let rows = post.written(contact, &note(settings, contact, texts, now));
    let addresses = Address::of(settings, contact);
    let mut well = true;
    for row in rows {
        if row.receiver == BROKER {
            let broker = &settings.brokers[settings.messages_broker];
            say(&format!(
                "topic {} at {}:{}",
                row.topic, broker.host, broker.port
            ));
            let done = tokio::time::timeout(CONFIRM_WITHIN, by_topic(broker, &row)).await;
            let done = done.unwrap_or_else(|_| {
                let within = CONFIRM_WITHIN.as_secs();
                Err(anyhow::anyhow!("no confirmation within {within} s"))
            });
            well &= told(done.map_err(|error| format!("{error:#}")));
            continue;
        }
        let Some(address) = addresses.iter().find(|one| one.receiver == row.receiver) else {
            continue;
        };
        match address.road() {
            Road::Mail => say("mail"),
            Road::Webhook => say("webhook"),
        }
        let mut dialogue = Dialogue::default();
        let done = address.deliver(&letter(row), now, &mut dialogue).await;
        for line in dialogue.lines() {
            say(line);
        }
        well &= told(done.map_err(|why| why.to_string()));
    }
    well
}

/// Says how it went; whether it went well.
fn told(done: Result<(), String>) -> bool {
    match &done {
        Ok(()) => say("* taken\n"),
        Err(why) => say(&format!("* NOT taken: {why}\n")),
    }
    done.is_ok()
}

fn note(settings: &Settings, contact: &Contact, texts: &Texts, now: Timestamp) -> Note {
    let plant = &settings.plant.name;
    let reader = Reader {
        language: &contact.language,
        zone: &contact.time_zone,
    };
    let says = |key| texts.sentence(&reader, now, key, &[]);
    let text = format!("{plant}: {}\n{}", says("test.title"), says("test.nothing"));
    let message = serde_json::json!({ "time": now, "text": text });
    Note {
        id: format!("{plant}.test.{}", now.millis()),
        kind: "test".to_owned(),
        payload: to_wire(&message).expect("it has text keys only"),
        text,
        time: now,
        priority: Priority::Low,
    }
}

fn letter(row: OutboxRow) -> StoredLetter {
    StoredLetter {
        id: 0,
        message: row.message.unwrap_or_default(),
        payload: row.payload,
        created: row.created,
        attempts: 0,
        next_attempt: row.created,
    }
}

/// Publishes under a client id of its own, so that a running daemon is not
/// disturbed.
async fn by_topic(broker: &BrokerSettings, row: &OutboxRow) -> anyhow::Result<()> {
    let introduction = Introduction {
        client_id: format!("sumpward-try-{}", std::process::id()),
        session: SessionWish::Fresh,
        will: None,
    };
    let (client, mut events) = mqtt::connect(broker, &introduction)?;
    say("> CONNECT");
    loop {
        match events.next().await? {
            Event::Connected { .. } => {
                say("< CONNACK");
                client.publish(Leaving {
                    topic: &row.topic,
                    payload: row.payload.clone(),
                    retain: false,
                    correlation: None,
                })?;
                say("> PUBLISH");
            }
            Event::Published { refusal: None, .. } => {
                say("< PUBACK");
                client.disconnect()?;
                return Ok(());
            }
            Event::Published {
                refusal: Some(why), ..
            } => anyhow::bail!("the broker refuses it: {why}"),
            _ => {}
        }
    }
}

fn waiting(settings: &Settings) -> anyhow::Result<u8> {
    let Some(reader) = kept::store(settings)? else {
        eprintln!("there is no store yet");
        return Ok(WRONG);
    };
    let receivers = reader.receivers()?;
    let held = reader.waiting_counts(HELD)?;
    if receivers.is_empty() && held.is_empty() {
        say("nothing waits");
    }
    for (receiver, count) in receivers {
        say(&format!("{receiver}: {count}"));
    }
    for (subject, count) in held {
        let contact = subject.trim_start_matches(HELD);
        say(&format!("{contact}: {count} until their working hours"));
    }
    Ok(WELL)
}

fn aside(settings: &Settings) -> anyhow::Result<u8> {
    let Some(reader) = kept::store(settings)? else {
        eprintln!("there is no store yet");
        return Ok(WRONG);
    };
    let aside = reader.put_aside(SHOWN)?;
    if aside.is_empty() {
        say("nothing was put aside");
    }
    for one in aside {
        say(&about(&one));
    }
    Ok(WELL)
}

/// One that was given up, in lines.
fn about(one: &StoredAside) -> String {
    let id = one.message.as_deref().unwrap_or("(without id)");
    let mut text = format!(
        "{} to {}, made {}, put aside {} after {} failed attempts\n  {}",
        id, one.receiver, one.created, one.time, one.attempts, one.why
    );
    for line in one.payload.lines().take(3) {
        let short: String = line.chars().take(160).collect();
        // Writing to a String never fails.
        let _ = write!(text, "\n  | {short}");
    }
    text
}

/// A line on standard output; a reader that went away is no failure of ours.
fn say(line: &str) {
    let _ = writeln!(std::io::stdout(), "{line}");
}
