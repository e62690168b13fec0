//! `[mail]`: the server that takes mail.

use std::path::Path;

use super::brokers::plain_host;
use super::defaults;
use super::key_path::KeyPath;
use super::problem::Problem;
use super::raw::RawMail;
use super::review::Review;
use super::roads::{Login, MailSecurity, MailSettings};
use super::secret_file::{Kept, secret};
use super::tls::TlsSettings;

/// The words for [`MailSecurity`].
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Word {
    Tls,
    StartTls,
    None,
}

/// Reads the table; `None` where something in it is wrong.
pub(super) fn mail(review: &mut Review, raw: &RawMail, base: &Path) -> Option<MailSettings> {
    let at = KeyPath::root().key("mail");
    let path = at.key("server");
    let server = review.required(
        &path,
        raw.server.as_deref(),
        "server = \"mail.example.org\"",
    );
    let server = server.and_then(|server| plain_host(review, &path, server));
    let words = [
        ("starttls", Word::StartTls),
        ("tls", Word::Tls),
        ("none", Word::None),
    ];
    let word = raw.security.as_deref().unwrap_or("starttls");
    let word = review.one_of(&at.key("security"), word, &words);
    let tls = tls(review, &at, raw, word, base);
    let usual = match word {
        Some(Word::Tls) => defaults::SUBMISSIONS_PORT,
        Some(Word::None) => defaults::SMTP_PORT,
        Some(Word::StartTls) | None => defaults::SUBMISSION_PORT,
    };
    let port = review.within(
        &at.key("port"),
        raw.port.unwrap_or(usual),
        (1, u16::MAX),
        |port| port.to_string(),
    );
    let login = login(review, &at, raw, word, base);
    let path = at.key("from");
    let from = review.required(
        &path,
        raw.from.as_deref(),
        "from = \"sumpward@example.org\"",
    );
    let from = from.and_then(|from| address(review, &path, from));
    let security = match (word?, tls?) {
        (Word::Tls, tls) => MailSecurity::Tls(tls),
        (Word::StartTls, tls) => MailSecurity::StartTls(tls),
        (Word::None, _) => MailSecurity::Plain,
    };
    Some(MailSettings {
        server: server?,
        port: port?,
        security,
        login: login?,
        from: from?,
    })
}

fn tls(
    review: &mut Review,
    at: &KeyPath,
    raw: &RawMail,
    word: Option<Word>,
    base: &Path,
) -> Option<TlsSettings> {
    if word == Some(Word::None) && raw.ca_file.is_some() {
        let only = Problem::OnlyFor("security = \"starttls\" and \"tls\"");
        review.tell(&at.key("ca_file"), only);
        return None;
    }
    trusting(review, at, raw.ca_file.as_deref(), base)
}

/// Encryption that trusts the certificates in a file, or those that the
/// operating system trusts.
pub(super) fn trusting(
    review: &mut Review,
    at: &KeyPath,
    ca_file: Option<&str>,
    base: &Path,
) -> Option<TlsSettings> {
    let settings = TlsSettings {
        ca_file: ca_file.map(|file| base.join(file)),
        identity: None,
    };
    if let Err(error) = settings.connector() {
        review.tell(&at.key(error.key), error.fault);
        return None;
    }
    Some(settings)
}

fn login(
    review: &mut Review,
    at: &KeyPath,
    raw: &RawMail,
    word: Option<Word>,
    base: &Path,
) -> Option<Option<Login>> {
    let kept = Kept {
        key: "password",
        file_key: "password_file",
        secret: raw.password.as_ref(),
        file: raw.password_file.as_deref(),
    };
    let password = secret(review, at, kept, base)?;
    match (&raw.user, password) {
        (None, None) => Some(None),
        (Some(_), _) if word == Some(Word::None) => {
            let only = Problem::OnlyFor("security = \"starttls\" and \"tls\"");
            review.tell(&at.key("user"), only);
            None
        }
        (Some(user), Some(password)) => Some(Some(Login {
            user: user.clone(),
            password,
        })),
        (Some(_), None) => {
            let example = "password_file = \"mail.password\", to go with the user";
            review.missing(&at.key("password_file"), example);
            None
        }
        (None, Some(_)) => {
            let example = "user = \"sumpward\", to go with the password";
            review.missing(&at.key("user"), example);
            None
        }
    }
}

/// A mail address that fits into a command of SMTP as it is: `NAME@DOMAIN`, in
/// ASCII, at most 254 characters (RFC 5321, section 4.5.3.1.3, less the
/// brackets), without quotes.
pub(super) fn address(review: &mut Review, path: &KeyPath, text: &str) -> Option<String> {
    if is_address(text) {
        return Some(text.to_owned());
    }
    let found = format!("\"{}\"", text.chars().take(60).collect::<String>());
    let allowed = "an address alone, as anna@example.org, in plain letters".to_owned();
    review.tell(path, Problem::OutOfRange { found, allowed });
    None
}

/// Dot-atoms of RFC 5322, section 3.2.3, on the left; names of hosts on the
/// right.
fn is_address(text: &str) -> bool {
    let Some((local, domain)) = text.rsplit_once('@') else {
        return false;
    };
    let atom = |c: u8| c.is_ascii_alphanumeric() || b"!#$%&'*+-/=?^_`{|}~".contains(&c);
    let label = |c: u8| c.is_ascii_alphanumeric() || c == b'-';
    let parts = |text: &str, fits: &dyn Fn(u8) -> bool| {
        text.split('.')
            .all(|part| !part.is_empty() && part.bytes().all(fits))
    };
    text.len() <= 254 && local.len() <= 64 && parts(local, &atom) && parts(domain, &label)
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn addresses_are_known() {
        for good in ["a@b", "anna.meier+night@mail.example.org", "o'neil@x-y.z"] {
            assert!(is_address(good), "{good}");
        }
        for bad in [
            "",
            "anna",
            "@b",
            "a@",
            "a b@c",
            "a@b c",
            "a..b@c",
            "<a@b>",
            "Anna <a@b>",
            "a@b,c@d",
            "jürgen@b",
            "a@b\r\nRCPT TO:<c@d>",
            "\"a b\"@c",
        ] {
            assert!(!is_address(bad), "{bad:?}");
        }
    }

    proptest! {
        /// Nothing that is taken can end a line or a command of SMTP.
        #[test]
        fn no_address_breaks_out_of_its_command(text in "\\PC*|[a-z@.<>\r\n ]*") {
            if is_address(&text) {
                prop_assert!(!text.contains(['\r', '\n', '<', '>', ' ', ',']));
            }
        }
    }
}
