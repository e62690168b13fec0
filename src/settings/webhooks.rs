//! `[webhook.NAME]`: where JSON is posted to.

use std::path::Path;

use super::key_path::KeyPath;
use super::mail::trusting;
use super::problem::Problem;
use super::raw::{Named, RawWebhook};
use super::review::Review;
use super::roads::WebhookSettings;
use super::secret_file::{Kept, secret};

/// Fewest bytes of a secret. Choice: 128 bits; RFC 2104, section 3, advises
/// against keys shorter than the hash, and people write letters.
const SHORTEST_SECRET: usize = 16;

/// Reads every webhook; nothing stands in place of one that is wrong.
pub(super) fn webhooks(
    review: &mut Review,
    tables: Named,
    base: &Path,
) -> (Vec<String>, Vec<Option<WebhookSettings>>) {
    let at = KeyPath::root().key("webhook");
    let mut all = (Vec::new(), Vec::new());
    for (name, part) in tables.unwrap_or_default() {
        let at = at.key(&name);
        review.name(&at, &name);
        let raw: RawWebhook = review.take(&at, part);
        all.1.push(webhook(review, &at, &name, &raw, base));
        all.0.push(name);
    }
    all
}

fn webhook(
    review: &mut Review,
    at: &KeyPath,
    name: &str,
    raw: &RawWebhook,
    base: &Path,
) -> Option<WebhookSettings> {
    let path = at.key("url");
    let example = "url = \"https://example.org/sumpward\"";
    let url = review.required(&path, raw.url.as_deref(), example);
    let url = url.and_then(|url| review.good(&path, Url::read(url)));
    let secret = signing_secret(review, at, raw, base);
    let encrypted = url.as_ref().is_none_or(|url| url.encrypted);
    if !encrypted && raw.ca_file.is_some() {
        review.tell(&at.key("ca_file"), Problem::OnlyFor("https"));
        return None;
    }
    let tls = trusting(review, at, raw.ca_file.as_deref(), base);
    let (url, tls) = (url?, tls?);
    Some(WebhookSettings {
        name: name.into(),
        host: url.host,
        port: url.port,
        target: url.target,
        tls: url.encrypted.then_some(tls),
        secret: secret?,
    })
}

fn signing_secret(
    review: &mut Review,
    at: &KeyPath,
    raw: &RawWebhook,
    base: &Path,
) -> Option<super::Secret> {
    let kept = Kept {
        key: "secret",
        file_key: "secret_file",
        secret: raw.secret.as_ref(),
        file: raw.secret_file.as_deref(),
    };
    let path = at.key("secret_file");
    let found = secret(review, at, kept, base)?;
    let found = review.required(&path, found, "secret_file = \"webhook.secret\"")?;
    if found.reveal().len() < SHORTEST_SECRET {
        review.tell(&path, Problem::ShortSecret(SHORTEST_SECRET));
        return None;
    }
    Some(found)
}

/// The parts of an address on the web.
#[derive(Debug, Clone, PartialEq, Eq)]
struct Url {
    encrypted: bool,
    host: String,
    port: u16,
    target: String,
}

impl Url {
    /// Reads `http://` and `https://`, without a user.
    fn read(text: &str) -> Result<Url, Problem> {
        // Not shown whole: what follows the host may be a secret.
        let shown: String = text.chars().take_while(|c| *c != '?').take(40).collect();
        let bad = || Problem::OutOfRange {
            found: format!("\"{shown}\""),
            allowed: "http:// or https://, a host, and a path, without user and #".to_owned(),
        };
        let uri: hyper::Uri = text.parse().map_err(|_| bad())?;
        let (encrypted, usual) = match uri.scheme_str() {
            Some("https") => (true, 443),
            Some("http") => (false, 80),
            _ => return Err(bad()),
        };
        let authority = uri.authority().ok_or_else(bad)?;
        if authority.as_str().contains('@') || authority.host().is_empty() || text.contains('#') {
            return Err(bad());
        }
        let target = uri.path_and_query().map_or("/", |target| target.as_str());
        Ok(Url {
            encrypted,
            host: authority.host().to_owned(),
            port: authority.port_u16().unwrap_or(usual),
            target: target.to_owned(),
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn addresses_are_taken_apart() {
        let url = Url::read("https://hooks.example.org/a/b?c=d").unwrap();
        assert_eq!((url.host.as_str(), url.port), ("hooks.example.org", 443));
        assert_eq!((url.target.as_str(), url.encrypted), ("/a/b?c=d", true));
        let url = Url::read("http://127.0.0.1:8080").unwrap();
        assert_eq!((url.port, url.target.as_str()), (8080, "/"));
        for bad in [
            "",
            "hooks.example.org",
            "ftp://a/b",
            "http://",
            "https://user:word@a/b",
            "https://a/b#c",
            "https://a b/",
        ] {
            let told = Url::read(bad).unwrap_err().to_string();
            assert!(told.contains("http:// or https://"), "{bad}: {told}");
        }
    }
}
