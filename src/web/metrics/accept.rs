//! Which text whoever asks can read, by its `Accept` header (RFC 9110, 12.5.1).

/// A text for programs that collect values.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Format {
    /// OpenMetrics 1.0.0.
    OpenMetrics,
    /// What came before it: plain text, version 0.0.4. A browser shows it too.
    Plain,
}

impl Format {
    /// The one to answer with. Whoever names none gets OpenMetrics.
    pub fn accepted(accept: Option<&str>) -> Format {
        let (mut open_metrics, mut plain) = (0.0_f32, 0.0_f32);
        for range in accept.unwrap_or("*/*").split(',') {
            let mut parts = range.split(';').map(str::trim);
            let kind = parts.next().unwrap_or_default().to_ascii_lowercase();
            let (mut quality, mut version) = (1.0_f32, None);
            for part in parts {
                match part.split_once('=').map(|(k, v)| (k.trim(), v.trim())) {
                    Some(("q", value)) => quality = value.parse().unwrap_or(0.0),
                    Some(("version", value)) => version = Some(value.trim_matches('"')),
                    _ => {}
                }
            }
            match (&*kind, version) {
                ("application/openmetrics-text", None | Some("1.0.0"))
                | ("application/*" | "*/*", _) => open_metrics = open_metrics.max(quality),
                ("text/plain", None | Some("0.0.4")) | ("text/*" | "text/html", _) => {
                    plain = plain.max(quality);
                }
                _ => {}
            }
        }
        if plain > open_metrics {
            Format::Plain
        } else {
            Format::OpenMetrics
        }
    }

    /// What it is called in the `Content-Type` header.
    pub const fn content_type(self) -> &'static str {
        match self {
            Format::OpenMetrics => "application/openmetrics-text; version=1.0.0; charset=utf-8",
            Format::Plain => "text/plain; version=0.0.4; charset=utf-8",
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn whoever_names_a_text_gets_it() {
        for (accept, wanted) in [
            (None, Format::OpenMetrics),
            (Some("*/*"), Format::OpenMetrics),
            (
                Some("text/plain;version=0.0.4;q=0.5,*/*;q=0.1"),
                Format::Plain,
            ),
            (
                Some(
                    "application/openmetrics-text;version=1.0.0,\
                     application/openmetrics-text;version=0.0.1;q=0.75,text/plain;version=0.0.4;q=0.5",
                ),
                Format::OpenMetrics,
            ),
            (
                Some("application/openmetrics-text; version=\"0.0.1\", text/plain; q=0.2"),
                Format::Plain,
            ),
            (
                Some("text/html,application/xml;q=0.9,*/*;q=0.8"),
                Format::Plain,
            ),
            (Some("application/json"), Format::OpenMetrics),
            (Some("text/plain;q=none, */*;q=0.1"), Format::OpenMetrics),
            (Some(""), Format::OpenMetrics),
        ] {
            assert_eq!(Format::accepted(accept), wanted, "{accept:?}");
        }
    }
}
