//! A message as mail (RFC 5322, RFC 2045, RFC 2047): one part of text in UTF-8.

use std::fmt::Write as _;

use jiff::fmt::rfc2822::DateTimePrinter;
use openssl::base64;

use crate::units::Timestamp;

/// Writes dates.
static DATES: DateTimePrinter = DateTimePrinter::new();
/// Most characters of a subject. Choice: more than a phone shows.
const SUBJECT: usize = 160;
/// Bytes of UTF-8 in an encoded word: base64 makes 52 characters of 39, and a
/// line with such a word has at most 76, its name included (RFC 2047, section 2).
const WORD: usize = 39;
/// Bytes in a line of base64: 76 characters (RFC 2045, section 6.8).
const LINE: usize = 57;

/// What a mail says.
#[derive(Debug, Clone, Copy)]
pub(super) struct Mail<'a> {
    pub(super) from: &'a str,
    pub(super) to: &'a str,
    /// The first line is the subject.
    pub(super) text: &'a str,
    /// When it was made.
    pub(super) time: Timestamp,
    /// What tells it from all others, in letters, digits, dots, `-` and `_`.
    pub(super) id: &'a str,
}

impl Mail<'_> {
    /// The mail in lines that end with CR LF; the same whenever it is asked for.
    pub(super) fn written(&self) -> String {
        let (_, domain) = self.from.rsplit_once('@').unwrap_or(("", self.from));
        let mut mail = format!("From: <{}>\r\nTo: <{}>\r\n", self.from, self.to);
        let _ = write!(
            mail,
            "Subject: {}\r\nDate: {}\r\nMessage-ID: <{}@{domain}>\r\n",
            subject(self.text),
            date(self.time),
            self.id
        );
        // Nobody's absence notice answers it (RFC 3834, section 5).
        mail.push_str(
            "Auto-Submitted: auto-generated\r\nMIME-Version: 1.0\r\n\
             Content-Type: text/plain; charset=utf-8\r\n\
             Content-Transfer-Encoding: base64\r\n\r\n",
        );
        let body = self.text.replace("\r\n", "\n").replace('\n', "\r\n") + "\r\n";
        for line in body.as_bytes().chunks(LINE) {
            mail.push_str(&base64::encode_block(line));
            mail.push_str("\r\n");
        }
        mail
    }
}

/// The first line, as a header takes it.
fn subject(text: &str) -> String {
    let line = text.lines().next().unwrap_or_default();
    let plain = line.chars().map(|c| if c.is_control() { ' ' } else { c });
    let line: String = plain.take(SUBJECT).collect();
    let is_plain = line.len() <= 60 && line.bytes().all(|b| (b' '..=b'~').contains(&b));
    if is_plain && !line.contains("=?") {
        return line;
    }
    let mut words = Vec::new();
    let mut word = String::new();
    for c in line.chars() {
        if word.len() + c.len_utf8() > WORD {
            words.push(std::mem::take(&mut word));
        }
        word.push(c);
    }
    words.push(word);
    let encoded = words
        .iter()
        .map(|word| format!("=?UTF-8?B?{}?=", base64::encode_block(word.as_bytes())));
    encoded.collect::<Vec<_>>().join("\r\n ")
}

fn date(time: Timestamp) -> String {
    jiff::Timestamp::from_millisecond(time.millis())
        .ok()
        .and_then(|time| DATES.timestamp_to_string(&time).ok())
        .unwrap_or_else(|| "Thu, 1 Jan 1970 00:00:00 +0000".to_owned())
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn mail<'a>(text: &'a str) -> Mail<'a> {
        Mail {
            from: "sumpward@example.org",
            to: "anna@example.org",
            text,
            time: Timestamp::from_millis(1_795_900_000_000),
            id: "north.m1.1795900000000.4.anna",
        }
    }

    /// Header fields unfolded, and the text that the body stands for.
    fn read(mail: &str) -> (Vec<String>, String) {
        let (head, body) = mail.split_once("\r\n\r\n").unwrap();
        let head = head.replace("\r\n ", " ");
        let coded: String = body.split("\r\n").collect();
        let text = String::from_utf8(base64::decode_block(&coded).unwrap()).unwrap();
        (head.split("\r\n").map(str::to_owned).collect(), text)
    }

    #[test]
    fn a_plain_mail_is_as_the_standards_have_it() {
        let (head, text) = read(&mail("Mill: TOO LOW\nDo: add 5 L.").written());
        assert_eq!(
            head,
            [
                "From: <sumpward@example.org>",
                "To: <anna@example.org>",
                "Subject: Mill: TOO LOW",
                "Date: Sat, 28 Nov 2026 21:06:40 -0000",
                "Message-ID: <north.m1.1795900000000.4.anna@example.org>",
                "Auto-Submitted: auto-generated",
                "MIME-Version: 1.0",
                "Content-Type: text/plain; charset=utf-8",
                "Content-Transfer-Encoding: base64",
            ]
        );
        assert_eq!(text, "Mill: TOO LOW\r\nDo: add 5 L.\r\n");
    }

    #[test]
    fn a_subject_of_other_letters_is_encoded() {
        // By hand: the base64 of "Fräse: 5 °C" in UTF-8.
        assert_eq!(
            subject("Fräse: 5 °C\nmore"),
            "=?UTF-8?B?RnLDpHNlOiA1IMKwQw==?="
        );
        assert_eq!(subject(""), "");
    }

    proptest! {
        /// Whatever the text, no line is too long, no header is added, and the
        /// text comes back.
        #[test]
        fn no_text_breaks_out_of_its_place(text in "(?s).{0,400}") {
            let written = mail(&text).written();
            prop_assert!(written.is_ascii());
            prop_assert!(written.split("\r\n").all(|line| line.len() <= 78));
            prop_assert!(!written.replace("\r\n", "").contains(['\r', '\n']));
            let (head, body) = read(&written);
            prop_assert_eq!(head.len(), 9);
            let same = |text: &str| text.replace("\r\n", "\n");
            prop_assert_eq!(same(&body), same(&text) + "\n");
        }
    }
}
