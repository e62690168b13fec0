//! `[forward.NAME]`: servers that get what is stored, as line protocol.

use std::path::Path;
use std::sync::Arc;

use serde::Deserialize;

use crate::units::{Parse, Span};

use super::defaults;
use super::key_path::KeyPath;
use super::mail::trusting;
use super::problem::Problem;
use super::raw::Named;
use super::review::Review;
use super::secret::Secret;
use super::secret_file::{Kept, secret};
use super::tls::TlsSettings;
use super::written::Written;

/// `[forward.NAME]`, as people write it.
#[derive(Debug, Clone, Default, Deserialize)]
#[serde(default, deny_unknown_fields, expecting = "a table")]
pub(super) struct RawForward {
    pub(super) url: Option<String>,
    pub(super) org: Option<String>,
    pub(super) bucket: Option<String>,
    pub(super) token: Option<Secret>,
    pub(super) token_file: Option<String>,
    pub(super) ca_file: Option<String>,
    pub(super) what: Option<Vec<String>>,
    pub(super) sumps: Option<Vec<String>>,
    pub(super) history: Option<String>,
    pub(super) batch: Option<u32>,
    pub(super) timeout: Option<Written>,
    pub(super) connect_timeout: Option<Written>,
}

/// Longest name of an organisation or bucket, in characters. Choice.
const LONGEST_NAME: usize = 200;

/// One server that gets what is stored.
#[derive(Debug, Clone, PartialEq)]
pub struct TargetSettings {
    /// Its name in settings.
    pub name: Arc<str>,
    /// `http://` or `https://`, host and port; nothing behind them.
    pub url: String,
    /// The organisation there; empty where the server knows none.
    pub org: String,
    /// The bucket there; empty where the server knows none.
    pub bucket: String,
    /// By what we are let in, where the server wants it.
    pub token: Option<Secret>,
    /// Who vouches for it, where the way is encrypted.
    pub tls: Option<TlsSettings>,
    /// What it gets.
    pub what: Forwarded,
    /// Names of the sumps that it gets; none for all of them and the plant itself.
    pub sumps: Option<Vec<Arc<str>>>,
    /// What it gets of what was there before it.
    pub history: History,
    /// Most lines that are sent at once, 100 to 100,000.
    pub batch: usize,
    /// For a request and its answer, 1 s to 10 min.
    pub timeout: Span,
    /// For a connection, 100 ms to 1 min.
    pub connect_timeout: Span,
}

/// What a server gets.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Forwarded {
    /// What instruments reported.
    pub readings: bool,
    /// What was worked out of it.
    pub estimates: bool,
    /// Steps of alarms.
    pub alarms: bool,
    /// Doses that were advised.
    pub doses: bool,
    /// What people wrote down.
    pub entries: bool,
}

/// What a server gets of what was stored before it was known.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum History {
    /// Nothing.
    FromNow,
    /// All that there is.
    All,
}

/// Reads every target; nothing stands in place of one that is wrong.
pub(super) fn targets(
    review: &mut Review,
    tables: Named,
    sumps: &[String],
    base: &Path,
) -> Vec<Option<TargetSettings>> {
    let at = KeyPath::root().key("forward");
    let tables = tables.unwrap_or_default().into_iter();
    let targets = tables.map(|(name, part)| {
        let at = at.key(&name);
        review.name(&at, &name);
        let raw: RawForward = review.take(&at, part);
        target(review, &at, &name, &raw, sumps, base)
    });
    targets.collect()
}

fn target(
    review: &mut Review,
    at: &KeyPath,
    name: &str,
    raw: &RawForward,
    sumps: &[String],
    base: &Path,
) -> Option<TargetSettings> {
    let path = at.key("url");
    let example = "url = \"http://127.0.0.1:8086\"";
    let url = review.required(&path, raw.url.as_deref(), example);
    let url = url.and_then(|url| review.good(&path, url_of(url)));
    let is_encrypted = url.as_ref().is_none_or(|url| url.starts_with("https://"));
    let tls = tls(review, at, raw, is_encrypted, base);
    let org = text(review, &at.key("org"), raw.org.as_deref());
    let bucket = text(review, &at.key("bucket"), raw.bucket.as_deref());
    let kept = Kept {
        key: "token",
        file_key: "token_file",
        secret: raw.token.as_ref(),
        file: raw.token_file.as_deref(),
    };
    let token = secret(review, at, kept, base);
    let token = token.and_then(|token| checked_token(review, &at.key("token_file"), token));
    let what = what(review, &at.key("what"), raw.what.as_deref());
    let sumps = of_sumps(review, &at.key("sumps"), raw.sumps.as_deref(), sumps);
    let words = [("from_now", History::FromNow), ("all", History::All)];
    let word = raw.history.as_deref().unwrap_or("from_now");
    let history = review.one_of(&at.key("history"), word, &words);
    let batch = raw.batch.unwrap_or(defaults::FORWARD_BATCH);
    let path = at.key("batch");
    let batch = review.within(&path, batch, (100, 100_000), |lines| lines.to_string());
    let mut time = |key: &str, written: Option<&Written>, usual: Span, range: (Span, Span)| {
        let path = at.key(key);
        let span = review.or_default(&path, written, Span::parse, usual)?;
        review.within(&path, span, range, |span| span.to_string())
    };
    let range = (Span::from_secs(1), Span::from_mins(10));
    let timeout = time(
        "timeout",
        raw.timeout.as_ref(),
        defaults::FORWARD_TIMEOUT,
        range,
    );
    let range = (Span::from_millis(100), Span::from_mins(1));
    let connect_timeout = time(
        "connect_timeout",
        raw.connect_timeout.as_ref(),
        defaults::FORWARD_CONNECT_TIMEOUT,
        range,
    );
    Some(TargetSettings {
        name: name.into(),
        url: url?,
        org: org?,
        bucket: bucket?,
        token: token?,
        tls: tls?,
        what: what?,
        sumps: sumps?,
        history: history?,
        batch: batch? as usize,
        timeout: timeout?,
        connect_timeout: connect_timeout?,
    })
}

/// The address, as the library that sends it will read it: what that cannot read
/// ends the program, and it drops whatever stands behind host and port.
fn url_of(text: &str) -> Result<String, Problem> {
    // A user's password and what stands in a query are not shown.
    let shown = match (text.split_once("://"), text.rsplit_once('@')) {
        (Some((scheme, _)), Some((_, host))) => format!("{scheme}://…@{host}"),
        _ => text.to_owned(),
    };
    let shown: String = shown.chars().take_while(|c| *c != '?').take(60).collect();
    let bad = |allowed: &str| Problem::OutOfRange {
        found: format!("\"{shown}\""),
        allowed: allowed.to_owned(),
    };
    let plain = "http:// or https:// with host and port, as http://127.0.0.1:8086, without user";
    let url = reqwest::Url::parse(text).map_err(|_| bad(plain))?;
    let is_web = matches!(url.scheme(), "http" | "https") && url.has_host();
    let has_user = !url.username().is_empty() || url.password().is_some();
    if !is_web || has_user || url.port() == Some(0) {
        return Err(bad(plain));
    }
    if url.path() != "/" || url.query().is_some() || url.fragment().is_some() {
        return Err(bad(
            "host and port alone: lines always go to /api/v2/write there, and a path would be \
             dropped unseen; put the server behind a host or port of its own",
        ));
    }
    Ok(text.to_owned())
}

fn tls(
    review: &mut Review,
    at: &KeyPath,
    raw: &RawForward,
    is_encrypted: bool,
    base: &Path,
) -> Option<Option<TlsSettings>> {
    if is_encrypted {
        return trusting(review, at, raw.ca_file.as_deref(), base).map(Some);
    }
    if raw.ca_file.is_some() {
        review.tell(&at.key("ca_file"), Problem::OnlyFor("https"));
        return None;
    }
    Some(None)
}

/// A name at the server, empty where none is written.
fn text(review: &mut Review, path: &KeyPath, found: Option<&str>) -> Option<String> {
    let found = found.unwrap_or_default();
    if found.chars().count() <= LONGEST_NAME && !found.contains(char::is_control) {
        return Some(found.to_owned());
    }
    let allowed = format!("a name of at most {LONGEST_NAME} characters, on one line");
    let found = format!("\"{}…\"", found.escape_debug().take(40).collect::<String>());
    review.tell(path, Problem::OutOfRange { found, allowed });
    None
}

/// A token goes into a line of the request as it is.
fn checked_token(
    review: &mut Review,
    path: &KeyPath,
    token: Option<Secret>,
) -> Option<Option<Secret>> {
    let is_good = |token: &Secret| token.reveal().bytes().all(|byte| byte.is_ascii_graphic());
    if token.as_ref().is_none_or(is_good) {
        return Some(token);
    }
    let found = "a token with blanks or other than plain letters".to_owned();
    let allowed = "the token alone, on one line".to_owned();
    review.tell(path, Problem::OutOfRange { found, allowed });
    None
}

fn what(review: &mut Review, path: &KeyPath, found: Option<&[String]>) -> Option<Forwarded> {
    const WORDS: [(&str, u8); 5] = [
        ("readings", 0),
        ("estimates", 1),
        ("alarms", 2),
        ("doses", 3),
        ("entries", 4),
    ];
    let Some(found) = found else {
        return Some(Forwarded {
            readings: true,
            estimates: true,
            alarms: true,
            doses: true,
            entries: true,
        });
    };
    if found.is_empty() {
        let wanted = "words, at least one";
        review.tell(path, Problem::Length { wanted, found: 0 });
        return None;
    }
    let mut what = Forwarded::default();
    for (place, word) in found.iter().enumerate() {
        match review.one_of(&path.item(place), word, &WORDS)? {
            0 => what.readings = true,
            1 => what.estimates = true,
            2 => what.alarms = true,
            3 => what.doses = true,
            _ => what.entries = true,
        }
    }
    Some(what)
}

fn of_sumps(
    review: &mut Review,
    path: &KeyPath,
    found: Option<&[String]>,
    known: &[String],
) -> Option<Option<Vec<Arc<str>>>> {
    let Some(found) = found else {
        return Some(None);
    };
    let mut sumps = Vec::new();
    for (place, name) in found.iter().enumerate() {
        if known.contains(name) {
            sumps.push(name.as_str().into());
        } else {
            let known = known.iter().map(String::as_str);
            review.unknown_name(&path.item(place), "sump", name, known);
            return None;
        }
    }
    Some(Some(sumps))
}
