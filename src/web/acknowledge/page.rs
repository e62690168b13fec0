//! The page as HTML: one file, no script, readable on a phone with gloves on.

use std::sync::LazyLock;

use openssl::base64;
use openssl::sha::sha256;

/// Grey when nothing is wrong, one strong colour for what asks; never colour
/// alone. Letters and button are large enough for a thumb in a glove (WCAG 2.2,
/// 2.5.5: 44 px at least).
const STYLE: &str = "\
:root{color-scheme:light dark;--ink:#1c2126;--paper:#f4f5f6;--card:#fff;--line:#c9ced3;--ask:#8a3b00;--quiet:#4d565e}\
@media(prefers-color-scheme:dark){:root{--ink:#e8eaec;--paper:#15181b;--card:#1f2428;--line:#3d454c;--ask:#ffb27a;--quiet:#aab2b9}}\
*{box-sizing:border-box}\
body{margin:0;background:var(--paper);color:var(--ink);font:18px/1.45 system-ui,sans-serif;overflow-wrap:anywhere}\
main{max-width:40rem;margin:0 auto;padding:1rem}\
h1{font-size:1.5rem;line-height:1.25;margin:.5rem 0 1rem}\
p,ul{margin:.6rem 0}ul{padding-left:1.3rem}\
section,form{background:var(--card);border:1px solid var(--line);border-radius:.5rem;padding:.8rem 1rem;margin:1rem 0}\
.state{border-left:.5rem solid var(--line);font-weight:600}\
.asks{border-left-color:var(--ask)}\
.small{color:var(--quiet);font-size:.9rem}\
button{display:block;width:100%;min-height:4rem;border:0;border-radius:.5rem;background:#1f4e79;color:#fff;font:inherit;font-size:1.3rem;font-weight:700}\
button:focus-visible{outline:.25rem solid var(--ask);outline-offset:.2rem}";

/// What the page may do: look as above, and send its own form to where it came
/// from.
pub(super) static POLICY: LazyLock<String> = LazyLock::new(|| {
    let hash = base64::encode_block(&sha256(STYLE.as_bytes()));
    format!(
        "default-src 'none'; style-src 'sha256-{hash}'; form-action 'self'; base-uri 'none'; \
         frame-ancestors 'none'"
    )
});

/// What a page says, every text still plain.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub(super) struct Page {
    /// Of the language.
    pub(super) language: String,
    /// Shown by the browser.
    pub(super) title: String,
    /// How it stands.
    pub(super) state: String,
    /// Whether that asks for somebody.
    pub(super) asks: bool,
    /// The message as it was sent: its first line is the heading, lines that
    /// begin with `- ` are lists.
    pub(super) message: String,
    /// The form, where there is something to press.
    pub(super) form: Option<Form>,
}

/// The form.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Form {
    pub(super) token: String,
    pub(super) button: String,
    /// Lines below the button.
    pub(super) small: Vec<String>,
}

impl Page {
    /// As HTML.
    pub(super) fn html(&self) -> String {
        let mut html = format!(
            "<!doctype html>\n<html lang=\"{}\">\n<head>\n<meta charset=\"utf-8\">\n\
             <meta name=\"viewport\" content=\"width=device-width,initial-scale=1\">\n\
             <meta name=\"robots\" content=\"noindex\">\n<title>{}</title>\n\
             <style>{STYLE}</style>\n</head>\n<body>\n<main>\n",
            escaped(&self.language),
            escaped(&self.title)
        );
        let mut lines = self.message.lines();
        let heading = lines.next().unwrap_or(&self.title);
        html += &format!("<h1>{}</h1>\n", escaped(heading));
        let class = if self.asks { "state asks" } else { "state" };
        html += &format!(
            "<section class=\"{class}\" role=\"status\">{}</section>\n",
            escaped(&self.state)
        );
        if let Some(form) = &self.form {
            html += &form.html();
        }
        html += &body(lines);
        html += "</main>\n</body>\n</html>\n";
        html
    }
}

impl Form {
    fn html(&self) -> String {
        let small = self.small.iter();
        let small = small.map(|line| format!("<p class=\"small\">{}</p>\n", escaped(line)));
        format!(
            "<form method=\"post\" action=\"../acknowledge\">\n\
             <input type=\"hidden\" name=\"token\" value=\"{}\">\n\
             <button type=\"submit\">{}</button>\n{}</form>\n",
            escaped(&self.token),
            escaped(&self.button),
            small.collect::<String>()
        )
    }
}

/// The rest of a message.
fn body<'a>(lines: impl Iterator<Item = &'a str>) -> String {
    let mut html = String::new();
    let mut in_list = false;
    for line in lines.filter(|line| !line.trim().is_empty()) {
        let item = line.strip_prefix("- ");
        if item.is_some() != in_list {
            in_list = item.is_some();
            html += if in_list { "<ul>\n" } else { "</ul>\n" };
        }
        html += &match item {
            Some(item) => format!("<li>{}</li>\n", escaped(item)),
            None => format!("<p>{}</p>\n", escaped(line)),
        };
    }
    if in_list {
        html += "</ul>\n";
    }
    html
}

/// Safe between tags and within quotes.
fn escaped(text: &str) -> String {
    let mut safe = String::with_capacity(text.len());
    for letter in text.chars() {
        match letter {
            '&' => safe.push_str("&amp;"),
            '<' => safe.push_str("&lt;"),
            '>' => safe.push_str("&gt;"),
            '"' => safe.push_str("&quot;"),
            '\'' => safe.push_str("&#39;"),
            letter => safe.push(letter),
        }
    }
    safe
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn a_message_becomes_a_page() {
        let page = Page {
            language: "en".to_owned(),
            title: "Acknowledge".to_owned(),
            state: "Nobody has.".to_owned(),
            asks: true,
            message: "Mill 4: TOO LOW\nDo:\n- one\n- two\nWhy: <3 %".to_owned(),
            form: Some(Form {
                token: "abc".to_owned(),
                button: "I do".to_owned(),
                small: vec!["You are: anna".to_owned()],
            }),
        };
        let html = page.html();
        for part in [
            "<h1>Mill 4: TOO LOW</h1>",
            "<p>Do:</p>\n<ul>\n<li>one</li>\n<li>two</li>\n</ul>\n<p>Why: &lt;3 %</p>",
            "<form method=\"post\" action=\"../acknowledge\">",
            "name=\"token\" value=\"abc\"",
        ] {
            assert!(html.contains(part), "{html}");
        }
        assert!(!html.contains("<script"), "{html}");
        assert!(POLICY.contains("style-src 'sha256-"));
    }

    proptest! {
        /// Whatever stands in names, notes and titles, no tag comes of it.
        #[test]
        fn no_text_becomes_a_tag(text in "\\PC*|[<>&\"'/a-z \n-]*") {
            let plain = Page::default().html();
            let page = Page {
                state: text.clone(),
                title: text.clone(),
                language: text.clone(),
                // A dash begins an item of a list, which has tags of its own.
                message: format!("a\n{text}").replace('-', "+"),
                ..Page::default()
            };
            let tags = |html: &str| html.matches('<').count();
            let lines = page.message.lines().skip(1).filter(|line| !line.trim().is_empty());
            prop_assert_eq!(tags(&page.html()), tags(&plain) + 2 * lines.count());
        }
    }
}
