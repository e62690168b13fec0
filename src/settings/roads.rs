//! The roads that messages to people take, as settled.

use std::sync::Arc;

use jiff::civil::Time;
use jiff::tz::TimeZone;

use crate::alarm::Priority;
use crate::model::ShiftPattern;
use crate::units::{Span, Timestamp};

use super::secret::Secret;
use super::tls::TlsSettings;

/// What all messages to people have in common.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct MessageSettings {
    /// A message to a person that could not be delivered for so long is put
    /// aside, 1 min to 30 d.
    pub expire_after: Span,
    /// The server that takes mail.
    pub mail: Option<MailSettings>,
    /// Where JSON is posted to, by name.
    pub webhooks: Vec<WebhookSettings>,
}

/// The server that takes mail from us (RFC 5321, submission after RFC 6409).
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct MailSettings {
    /// Name or address of its machine.
    pub server: String,
    /// TCP port.
    pub port: u16,
    /// How the way there is protected.
    pub security: MailSecurity,
    /// By what we log in, where the server wants it.
    pub login: Option<Login>,
    /// The address that messages come from.
    pub from: String,
}

/// A user and the password.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Login {
    /// Name.
    pub user: String,
    /// Password.
    pub password: Secret,
}

/// How the way to a mail server is protected.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum MailSecurity {
    /// TLS from the first byte on (RFC 8314).
    Tls(TlsSettings),
    /// Plain at first, encrypted by STARTTLS (RFC 3207) before anything else is
    /// said; without it nothing is sent.
    StartTls(TlsSettings),
    /// Not at all.
    Plain,
}

/// Where JSON is posted to.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct WebhookSettings {
    /// Name in settings.
    pub name: Arc<str>,
    /// Name or address of the machine.
    pub host: String,
    /// TCP port.
    pub port: u16,
    /// Path and query that are asked for.
    pub target: String,
    /// Encryption, with `https`.
    pub tls: Option<TlsSettings>,
    /// What messages are signed with.
    pub secret: Secret,
}

/// Who is told when nobody acknowledges.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Escalation {
    /// After so long, 1 s to 7 d.
    pub after: Span,
    /// Place of the next one in the list of contacts.
    pub to: usize,
}

/// Who is told about sumps.
#[derive(Debug, Clone, PartialEq)]
pub struct Contact {
    /// Name in settings.
    pub name: Arc<str>,
    /// Topic on the messages' broker that messages for them go to.
    pub topic: Option<String>,
    /// Mail address.
    pub mail: Option<String>,
    /// Place in [`MessageSettings::webhooks`].
    pub webhook: Option<usize>,
    /// Places in [`super::Settings::sumps`] of the sumps that they care for.
    pub sumps: Vec<usize>,
    /// The lowest priority that they are told of.
    pub priorities: Priority,
    /// When they work; always, where nothing is written.
    pub hours: Option<Arc<ShiftPattern>>,
    /// Whether messages of high priority wait for the working hours too.
    pub high_waits: bool,
    /// Whose clocks the digest goes by.
    pub time_zone: TimeZone,
    /// The language that they are told in.
    pub language: Arc<str>,
    /// Who is told when they do not acknowledge.
    pub escalation: Option<Escalation>,
    /// When the daily digest is sent, by the clocks of their zone.
    pub digest: Option<Time>,
}

impl Contact {
    /// Whether there is any way to tell them something.
    pub fn has_road(&self) -> bool {
        self.topic.is_some() || self.mail.is_some() || self.webhook.is_some()
    }

    /// When a message of this priority that is made at `now` is sent: at once,
    /// or when they next work. Where no hours come within a year, at once.
    pub fn told_at(&self, now: Timestamp, priority: Priority) -> Timestamp {
        let Some(hours) = &self.hours else { return now };
        let at_once = priority == Priority::High && !self.high_waits;
        if at_once || hours.is_working(now) {
            return now;
        }
        hours.next_change(now).unwrap_or(now)
    }
}
