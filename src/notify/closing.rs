//! What a receiver's own copy of a message about an alarm ends with: the link by
//! which they acknowledge.

use crate::units::to_wire;

/// Behind the text of a mail.
pub(super) fn in_text(text: &str, words: &str, url: &str) -> String {
    format!("{text}\n\n{words}\n{url}")
}

/// As one value more of an object of JSON.
pub(super) fn in_payload(payload: &str, url: &str) -> String {
    with_value(payload, "acknowledge", url)
}

/// An object of JSON with one text more at its end.
pub(super) fn with_value(payload: &str, key: &str, text: &str) -> String {
    let text = to_wire(&text).expect("text can be written");
    let open = payload.strip_suffix('}').unwrap_or(payload);
    format!("{open},\"{key}\":{text}}}")
}
