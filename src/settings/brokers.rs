//! The brokers, and how we are known to them.

use std::collections::HashMap;
use std::path::Path;

use crate::units::{Parse, Span};

use super::defaults;
use super::key_path::KeyPath;
use super::measure;
use super::plant::{BrokerSettings, Protocol};
use super::problem::Problem;
use super::raw::{Named, RawBroker, RawTls};
use super::review::Review;
use super::secret_file::{Kept, secret};
use super::template::{self, Templating};
use super::tls::{IdentityFiles, TlsSettings};
use super::written::Switch;

/// Largest packet of the protocol (MQTT 5.0, section 1.5.5: 268 435 455 bytes
/// after a header of at most 5).
const LARGEST_PACKET: u32 = 268_435_455;

/// The brokers by name. In the list of settings nothing stands in place of one
/// that is wrong.
#[derive(Debug)]
pub(super) struct Brokers {
    /// The names, in order.
    pub(super) names: Vec<String>,
    /// Their settings, in the same order.
    pub(super) settings: Vec<Option<BrokerSettings>>,
    /// Their templates, in the same order.
    pub(super) templates: Vec<Templating>,
}

impl Brokers {
    /// Place of the broker that `path` refers to by name.
    pub(super) fn named(&self, review: &mut Review, path: &KeyPath, name: &str) -> Option<usize> {
        let place = self.names.iter().position(|known| known == name);
        if place.is_none() {
            review.unknown_name(path, "broker", name, self.names.iter().map(String::as_str));
        }
        place
    }
}

/// Reads every broker. Paths of files are relative to `base`.
pub(super) fn brokers(
    review: &mut Review,
    tables: Named,
    plant: Option<&str>,
    base: &Path,
) -> Brokers {
    let at = KeyPath::root().key("broker");
    let mut brokers = Brokers {
        names: Vec::new(),
        settings: Vec::new(),
        templates: Vec::new(),
    };
    for (name, part) in tables.unwrap_or_default() {
        let at = at.key(&name);
        review.name(&at, &name);
        let raw: RawBroker = review.take(&at, part);
        let template = template::template(review, &at.key("template"), raw.template.as_ref());
        let broker = broker(review, &at, &name, &raw, plant, base);
        let broker = broker.map(|broker| BrokerSettings {
            template: match &template {
                Templating::Good(template) => Some(template.filter()),
                Templating::None | Templating::Wrong => None,
            },
            ..broker
        });
        brokers.templates.push(template);
        brokers.names.push(name);
        brokers.settings.push(broker);
    }
    if brokers.names.is_empty() {
        review.missing(&at, "[broker.main] with host = \"127.0.0.1\"");
    }
    check_client_ids(review, &brokers);
    brokers
}

fn broker(
    review: &mut Review,
    at: &KeyPath,
    name: &str,
    raw: &RawBroker,
    plant: Option<&str>,
    base: &Path,
) -> Option<BrokerSettings> {
    let host = host(review, at, raw);
    let tls = tls(review, at, raw, base);
    let port = port(review, at, raw);
    let client_id = client_id(review, at, name, raw, plant);
    let kept = Kept {
        key: "password",
        file_key: "password_file",
        secret: raw.password.as_ref(),
        file: raw.password_file.as_deref(),
    };
    let password = secret(review, at, kept, base);
    let keep_alive = keep_alive(review, at, raw);
    let max_packet = max_packet(review, at, raw);
    let protocol = protocol(review, at, raw);
    if raw.user.is_none() && (raw.password.is_some() || raw.password_file.is_some()) {
        review.missing(
            &at.key("user"),
            "user = \"sumpward\", to go with the password",
        );
    }
    Some(BrokerSettings {
        name: name.into(),
        host: host?,
        port: port?,
        client_id: client_id?,
        user: raw.user.clone(),
        password: password?,
        template: None,
        tls: tls?,
        keep_alive: keep_alive?,
        max_packet: max_packet?,
        protocol: protocol?,
        ask_rebirth: raw.ask_rebirth.unwrap_or(defaults::ASK_REBIRTH),
    })
}

fn host(review: &mut Review, at: &KeyPath, raw: &RawBroker) -> Option<String> {
    let path = at.key("host");
    let host = review.required(&path, raw.host.as_deref(), "host = \"127.0.0.1\"")?;
    plain_host(review, &path, host)
}

/// A host, without scheme and port.
pub(super) fn plain_host(review: &mut Review, path: &KeyPath, host: &str) -> Option<String> {
    let plain = !host.is_empty() && !host.contains(|c: char| c.is_whitespace() || c == '/');
    if !plain {
        let found = format!("\"{}\"", host.chars().take(40).collect::<String>());
        let allowed = "a name or address alone, without :// and without port".to_owned();
        review.tell(path, Problem::OutOfRange { found, allowed });
        return None;
    }
    Some(host.to_owned())
}

fn port(review: &mut Review, at: &KeyPath, raw: &RawBroker) -> Option<u16> {
    let (plain, encrypted) = defaults::PORTS;
    let usual = match raw.tls {
        Some(Switch::On(_)) => encrypted,
        Some(Switch::Off) | None => plain,
    };
    let port = raw.port.unwrap_or(usual);
    review.within(&at.key("port"), port, (1, u16::MAX), |port| {
        port.to_string()
    })
}

fn client_id(
    review: &mut Review,
    at: &KeyPath,
    name: &str,
    raw: &RawBroker,
    plant: Option<&str>,
) -> Option<String> {
    let Some(id) = &raw.client_id else {
        return plant.map(|plant| format!("sumpward-{plant}-{name}"));
    };
    if id.is_empty() || id.len() > 200 || id.contains(char::is_control) {
        let found = format!("\"{}\"", id.chars().take(40).collect::<String>());
        let allowed = "text of 1 to 200 bytes, the same at every start".to_owned();
        review.tell(&at.key("client_id"), Problem::OutOfRange { found, allowed });
        return None;
    }
    Some(id.clone())
}

fn tls(
    review: &mut Review,
    at: &KeyPath,
    raw: &RawBroker,
    base: &Path,
) -> Option<Option<TlsSettings>> {
    let Some(Switch::On(raw)) = &raw.tls else {
        return Some(None);
    };
    let at = at.key("tls");
    let settings = TlsSettings {
        ca_file: raw.ca_file.as_ref().map(|file| base.join(file)),
        identity: identity(review, &at, raw, base)?,
    };
    if let Err(error) = settings.connector() {
        review.tell(&at.key(error.key), error.fault);
        return None;
    }
    Some(Some(settings))
}

/// Certificate and key by which we are known; one without the other is told.
fn identity(
    review: &mut Review,
    at: &KeyPath,
    raw: &RawTls,
    base: &Path,
) -> Option<Option<IdentityFiles>> {
    match (&raw.cert_file, &raw.key_file) {
        (None, None) => Some(None),
        (Some(cert), Some(key)) => Some(Some(IdentityFiles {
            cert_file: base.join(cert),
            key_file: base.join(key),
        })),
        (Some(_), None) => {
            let example = "key_file = \"client.key\", the private key to go with cert_file";
            review.missing(&at.key("key_file"), example);
            None
        }
        (None, Some(_)) => {
            let example = "cert_file = \"client.crt\", the certificate to go with key_file";
            review.missing(&at.key("cert_file"), example);
            None
        }
    }
}

/// The version of MQTT, and what goes with MQTT 5 only.
fn protocol(review: &mut Review, at: &KeyPath, raw: &RawBroker) -> Option<Protocol> {
    let word = raw.protocol.as_ref().map_or("5", |written| written.text());
    let words = [("5", Version::V5), ("3.1.1", Version::V311)];
    match review.one_of(&at.key("protocol"), word, &words)? {
        Version::V5 => {
            let receive_maximum = receive_maximum(review, at, raw);
            let session_expiry = session_expiry(review, at, raw);
            Some(Protocol::V5 {
                receive_maximum: receive_maximum?,
                session_expiry: session_expiry?,
            })
        }
        Version::V311 => {
            let written = [
                ("receive_maximum", raw.receive_maximum.is_some()),
                ("session_expiry", raw.session_expiry.is_some()),
            ];
            for (key, _) in written.iter().filter(|(_, written)| *written) {
                review.tell(&at.key(key), Problem::OnlyFor("protocol = \"5\""));
            }
            Some(Protocol::V311)
        }
    }
}

/// The words that `protocol` can be.
#[derive(Debug, Clone, Copy)]
enum Version {
    V5,
    V311,
}

fn keep_alive(review: &mut Review, at: &KeyPath, raw: &RawBroker) -> Option<Span> {
    let path = at.key("keep_alive");
    let written = raw.keep_alive.as_ref();
    let span = review.or_default(&path, written, Span::parse, defaults::KEEP_ALIVE)?;
    let range = (Span::from_secs(5), Span::from_hours(18));
    review.within(&path, span, range, |span| span.to_string())
}

fn session_expiry(review: &mut Review, at: &KeyPath, raw: &RawBroker) -> Option<Span> {
    let path = at.key("session_expiry");
    let written = raw.session_expiry.as_ref();
    let span = review.or_default(&path, written, Span::parse, defaults::SESSION_EXPIRY)?;
    let range = (Span::from_mins(1), Span::from_hours(365 * 24));
    review.within(&path, span, range, |span| span.to_string())
}

fn max_packet(review: &mut Review, at: &KeyPath, raw: &RawBroker) -> Option<u32> {
    let path = at.key("max_packet");
    let written = raw.max_packet.as_ref();
    let size = review.or_default(&path, written, measure::bytes, defaults::MAX_PACKET)?;
    review.within(&path, size, (1024, LARGEST_PACKET), |size| {
        format!("{size} B")
    })
}

fn receive_maximum(review: &mut Review, at: &KeyPath, raw: &RawBroker) -> Option<u16> {
    let most = raw.receive_maximum.unwrap_or(defaults::RECEIVE_MAXIMUM);
    let path = at.key("receive_maximum");
    review.within(&path, most, (1, u16::MAX), |most| most.to_string())
}

/// Two clients with one id at one broker throw each other out for ever.
fn check_client_ids(review: &mut Review, brokers: &Brokers) {
    let mut seen: HashMap<(&str, u16, &str), &str> = HashMap::new();
    for broker in brokers.settings.iter().flatten() {
        let client = (broker.host.as_str(), broker.port, broker.client_id.as_str());
        if let Some(other) = seen.insert(client, &broker.name) {
            let problem = Problem::ClientIdTaken {
                id: broker.client_id.clone(),
                other: format!("broker.{other}"),
            };
            let at = KeyPath::root().key("broker").key(&broker.name);
            review.tell(&at.key("client_id"), problem);
        }
    }
}
