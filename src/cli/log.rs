//! Where the log goes, and how much of it.

use std::io::IsTerminal;

use tracing_subscriber::filter::LevelFilter;

/// The log goes to standard error; `SUMPWARD_LOG` sets how much, as in
/// `SUMPWARD_LOG=debug`.
pub(super) fn log_to_stderr(usual: &str) {
    let wish = std::env::var("SUMPWARD_LOG").unwrap_or_default();
    let known = says_how_much(&wish);
    if !known && !wish.is_empty() {
        eprintln!(
            "SUMPWARD_LOG: \"{wish}\" does not say how much is logged; write error, warn, info or debug; it stays as usual"
        );
    }
    let filter = tracing_subscriber::EnvFilter::new(if known { &wish } else { usual });
    tracing_subscriber::fmt()
        .with_env_filter(filter)
        .with_writer(std::io::stderr)
        .with_ansi(std::io::stderr().is_terminal())
        .init();
}

/// Whether a text says how much to log: a level, or parts of the program with
/// levels of their own. A single other word would be taken for the name of such
/// a part, and everything else would go unlogged.
fn says_how_much(wish: &str) -> bool {
    let is_level = |part: &str| part.trim().parse::<LevelFilter>().is_ok();
    wish.split(',').all(|part| match part.split_once('=') {
        Some((_, level)) => is_level(level),
        None => !part.is_empty() && is_level(part),
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_word_that_is_no_level_does_not_silence_the_log() {
        for known in [
            "debug",
            "WARN",
            "info,rumqttc=error",
            "sumpward::store=trace",
        ] {
            assert!(says_how_much(known), "{known}");
        }
        for unknown in ["", "loud", "info,loud", "sumpward=loud"] {
            assert!(!says_how_much(unknown), "{unknown}");
        }
    }
}
