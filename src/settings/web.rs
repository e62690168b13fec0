//! `[web]`: the pages that the daemon itself serves.

use std::net::SocketAddr;
use std::path::Path;

use serde::Deserialize;

use super::defaults;
use super::key_path::KeyPath;
use super::problem::Problem;
use super::review::Review;
use super::secret::Secret;
use super::secret_file::{Kept, secret};
use super::written::Written;
use crate::units::{Parse, Span};

/// `[web]`, as people write it.
#[derive(Debug, Clone, Default, Deserialize)]
#[serde(default, deny_unknown_fields, expecting = "a table")]
pub(super) struct RawWeb {
    pub(super) listen: Option<String>,
    pub(super) open_to_network: Option<bool>,
    pub(super) public_address: Option<String>,
    pub(super) link_valid: Option<Written>,
    pub(super) key: Option<Secret>,
    pub(super) key_file: Option<String>,
    pub(super) metrics_max_series: Option<u32>,
}

/// The pages that the daemon serves.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct WebSettings {
    /// Where it listens.
    pub listen: SocketAddr,
    /// Under which address people reach the pages from outside, without a
    /// slash at the end; what stands there encrypts, and hands on.
    pub public_address: Option<String>,
    /// How long the link in a message is good, 1 min to 30 d.
    pub link_valid: Span,
    /// What links are signed with; without it the store has a secret of its own.
    pub key: Option<Secret>,
    /// Lines that the sumps may take in `/metrics`; those beyond are left out.
    pub metrics_max_series: usize,
}

/// Fewest letters of a key. Choice: 128 bits where they are hexadecimal digits.
const SHORTEST_KEY: usize = 32;

/// Longest public address, in bytes. Choice: a link must fit into a line of a
/// mail.
const LONGEST_ADDRESS: usize = 200;

/// Reads the table; `None` where something in it is wrong.
pub(super) fn web(review: &mut Review, raw: &RawWeb, base: &Path) -> Option<WebSettings> {
    let at = KeyPath::root().key("web");
    let listen = listen(review, &at, raw);
    let public_address = match &raw.public_address {
        None => Some(None),
        Some(text) => {
            let read = public_address(text);
            review.good(&at.key("public_address"), read).map(Some)
        }
    };
    let path = at.key("link_valid");
    let written = raw.link_valid.as_ref();
    let valid = review.or_default(&path, written, Span::parse, defaults::LINK_VALID);
    let valid = valid.and_then(|valid| {
        let range = (Span::from_mins(1), Span::from_hours(30 * 24));
        review.within(&path, valid, range, |span| span.to_string())
    });
    let key = key(review, &at, raw, base);
    let most = raw.metrics_max_series;
    let most = most.unwrap_or(defaults::METRICS_MAX_SERIES);
    let path = at.key("metrics_max_series");
    let most = review.within(&path, most, (0, 1_000_000), |series| series.to_string());
    Some(WebSettings {
        listen: listen?,
        metrics_max_series: most? as usize,
        public_address: public_address?,
        link_valid: valid?,
        key: key?,
    })
}

fn key(review: &mut Review, at: &KeyPath, raw: &RawWeb, base: &Path) -> Option<Option<Secret>> {
    let kept = Kept {
        key: "key",
        file_key: "key_file",
        secret: raw.key.as_ref(),
        file: raw.key_file.as_deref(),
    };
    let found = secret(review, at, kept, base)?;
    let is_short = |key: &Secret| key.reveal().len() < SHORTEST_KEY;
    if found.as_ref().is_some_and(is_short) {
        review.tell(&at.key("key_file"), Problem::ShortSecret(SHORTEST_KEY));
        return None;
    }
    Some(found)
}

/// This machine alone, unless it is said that others may come.
fn listen(review: &mut Review, at: &KeyPath, raw: &RawWeb) -> Option<SocketAddr> {
    let path = at.key("listen");
    let text = raw.listen.as_deref().unwrap_or(defaults::WEB_LISTEN);
    let read = text.parse::<SocketAddr>().ok();
    let read = read.filter(|address| address.port() != 0);
    let address = review.good(&path, read.ok_or_else(|| bad_listen(text)))?;
    if !address.ip().is_loopback() && raw.open_to_network != Some(true) {
        review.tell(&path, Problem::OpenToNetwork(address.to_string()));
        return None;
    }
    Some(address)
}

fn bad_listen(text: &str) -> Problem {
    Problem::OutOfRange {
        found: format!("\"{}\"", text.chars().take(60).collect::<String>()),
        allowed: "an address and a port, as 127.0.0.1:8480 or [::1]:8480".to_owned(),
    }
}

/// An address on the web that links can begin with: `https`, or `http` on this
/// machine alone; without user, query and #.
fn public_address(text: &str) -> Result<String, Problem> {
    // Not shown whole: what follows the host may be a secret.
    let shown: String = text.chars().take_while(|c| *c != '?').take(60).collect();
    let bad = || Problem::OutOfRange {
        found: format!("\"{shown}\""),
        allowed: "https:// and a host, perhaps with a path, without user, ? and #; \
                  http:// for this machine alone"
            .to_owned(),
    };
    let uri: hyper::Uri = text.parse().map_err(|_| bad())?;
    let authority = uri.authority().ok_or_else(bad)?;
    let plain = authority
        .host()
        .trim_start_matches('[')
        .trim_end_matches(']');
    let here = plain == "localhost"
        || plain
            .parse::<std::net::IpAddr>()
            .is_ok_and(|address| address.is_loopback());
    let good = match uri.scheme_str() {
        Some("https") => true,
        Some("http") => here,
        _ => false,
    };
    let odd = authority.as_str().contains('@') || text.contains(['#', '?']);
    if !good || odd || plain.is_empty() || text.len() > LONGEST_ADDRESS {
        return Err(bad());
    }
    Ok(text.trim_end_matches('/').to_owned())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn links_begin_with_an_encrypted_address_or_with_this_machine() {
        for (text, kept) in [
            ("https://fluids.example.org/", "https://fluids.example.org"),
            (
                "https://example.org:8443/sumpward",
                "https://example.org:8443/sumpward",
            ),
            ("http://127.0.0.1:8480", "http://127.0.0.1:8480"),
            ("http://[::1]:8480/", "http://[::1]:8480"),
            ("http://localhost:8480", "http://localhost:8480"),
        ] {
            assert_eq!(public_address(text).unwrap(), kept);
        }
        for bad in [
            "",
            "fluids.example.org",
            "http://fluids.example.org",
            "http://10.0.0.3:8480",
            "ftp://fluids.example.org",
            "https://anna@fluids.example.org",
            "https://fluids.example.org/?a=b",
            "https://fluids.example.org/#a",
            "https://",
        ] {
            assert!(public_address(bad).is_err(), "{bad}");
        }
    }
}
