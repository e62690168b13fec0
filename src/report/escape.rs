//! Text between tags and in attributes.

/// The text so that no letter of it is taken for a tag, an end of an attribute or
/// a control character: those that neither HTML nor XML may hold become U+FFFD.
pub fn escape(text: &str) -> String {
    let mut safe = String::with_capacity(text.len());
    for letter in text.chars() {
        match letter {
            '&' => safe.push_str("&amp;"),
            '<' => safe.push_str("&lt;"),
            '>' => safe.push_str("&gt;"),
            '"' => safe.push_str("&quot;"),
            '\'' => safe.push_str("&#39;"),
            '\t' | '\n' => safe.push(letter),
            '\r' => safe.push('\n'),
            '\u{0}'..='\u{1f}' | '\u{7f}'..='\u{9f}' | '\u{fffe}' | '\u{ffff}' => {
                safe.push('\u{fffd}');
            }
            letter => safe.push(letter),
        }
    }
    safe
}
