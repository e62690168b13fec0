//! What a server's answer to a write means.

/// What is to be done after an answer, or for want of one.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) enum Answer {
    /// The lines are there.
    Taken,
    /// Something is wrong with lines: which of them is found out by halves.
    BadLines(Complaint),
    /// The request was too large for it.
    TooLarge(String),
    /// The server will take nothing from us until a person has mended something.
    Shut(String),
    /// The same may be taken another time.
    Passing(String),
    /// There was no answer in time: less may be taken in time.
    Slow(String),
}

/// What a server says of lines.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Complaint {
    /// Its words.
    pub(super) words: String,
    /// How many lines it says that it dropped; the others of the request are
    /// there then.
    pub(super) dropped: Option<usize>,
    /// Whether it is about lines beyond doubt: about their age or their types.
    pub(super) is_certain: bool,
}

/// So much of a server's words is kept, in characters.
const WORDS: usize = 400;

/// Said with status 500 by some servers, and about lines all the same.
const ABOUT_LINES: [&str; 3] = ["field type conflict", "partial write", "beyond retention"];

/// What an answer with this status and text means.
pub(super) fn judge(status: u16, text: &str, secret: &str) -> Answer {
    let said = words(text, secret);
    let told = match said.as_str() {
        "" => format!("status {status}"),
        said => format!("status {status}: {said}"),
    };
    let lower = text.to_lowercase();
    let is_certain = ABOUT_LINES.iter().any(|about| lower.contains(about));
    let complaint = |words| Complaint {
        words,
        dropped: dropped(&lower),
        is_certain,
    };
    match status {
        200..=299 => Answer::Taken,
        413 => Answer::TooLarge(told),
        400 | 422 => Answer::BadLines(complaint(told)),
        500..=599 if is_certain => Answer::BadLines(complaint(told)),
        408 | 425 | 429 | 500..=599 => Answer::Passing(told),
        300..=399 => Answer::Shut(format!(
            "{told}; redirects are not followed, write the right url"
        )),
        _ => Answer::Shut(told),
    }
}

/// The number behind `dropped=`, as servers tell of partial writes.
fn dropped(text: &str) -> Option<usize> {
    let (_, behind) = text.split_once("dropped=")?;
    let digits = behind.len()
        - behind
            .trim_start_matches(|c: char| c.is_ascii_digit())
            .len();
    behind[..digits].parse().ok()
}

/// The beginning of a server's words, on one line and without our secret, which it
/// may have said back to us.
pub(super) fn words(text: &str, secret: &str) -> String {
    let text = match secret {
        "" => text.to_owned(),
        secret => text.replace(secret, "(not shown)"),
    };
    let plain = |c: char| if c.is_control() { ' ' } else { c };
    let words: String = text.trim().chars().take(WORDS).map(plain).collect();
    words.trim_end().to_owned()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn each_status_has_its_meaning() {
        for status in [200, 204] {
            assert_eq!(judge(status, "", ""), Answer::Taken);
        }
        for status in [400, 422] {
            let answer = judge(status, "unable to parse", "");
            assert!(matches!(answer, Answer::BadLines(_)), "{status}");
        }
        assert!(matches!(judge(413, "", ""), Answer::TooLarge(_)));
        for status in [301, 307, 401, 403, 404, 405, 415] {
            assert!(matches!(judge(status, "", ""), Answer::Shut(_)), "{status}");
        }
        for status in [408, 429, 500, 502, 503, 504] {
            assert!(
                matches!(judge(status, "busy", ""), Answer::Passing(_)),
                "{status}"
            );
        }
    }

    #[test]
    fn a_complaint_about_lines_is_known_in_disguise() {
        let text = "{\"message\":\"Partial write: points beyond retention policy dropped=17\"}";
        let Answer::BadLines(complaint) = judge(500, text, "") else {
            panic!("it is about lines");
        };
        assert_eq!((complaint.dropped, complaint.is_certain), (Some(17), true));
        assert!(complaint.words.starts_with("status 500: {\"message\""));
    }

    #[test]
    fn words_are_cut_and_hold_no_secret() {
        let told = words("no\r\nsesame here\u{7}", "sesame");
        assert_eq!(told, "no  (not shown) here");
        assert_eq!(words(&"x".repeat(10_000), "").len(), WORDS);
    }
}
