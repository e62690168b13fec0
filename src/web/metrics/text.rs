//! From figures to text.

use std::sync::Arc;

use prometheus_client::encoding::{prometheus_text, text};
use prometheus_client::registry::Registry;

use super::accept::Format;
use super::daemon::DaemonValues;
use super::figures::Scrape;
use super::plant::{PlantValues, series_of};

/// Beginning of all names.
const PREFIX: &str = "sumpward";

/// A text, and what it leaves out.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Exposition {
    /// The text.
    pub text: String,
    /// Sumps left out, as the text would have become too large.
    pub left_out: usize,
}

/// Writes a scrape. The sumps take at most `max_series` lines together; those
/// beyond are left out, from the first on that does not fit.
pub fn expose(scrape: &Arc<Scrape>, format: Format, max_series: usize) -> Exposition {
    let mut room = max_series;
    let mut fits = |sump: &_| match room.checked_sub(series_of(sump)) {
        Some(left) => {
            room = left;
            true
        }
        None => false,
    };
    let told = scrape.sumps.iter().take_while(|sump| fits(sump)).count();
    let left_out = scrape.sumps.len() - told;
    let mut registry = Registry::with_prefix(PREFIX);
    registry.register_collector(Box::new(DaemonValues {
        scrape: Arc::clone(scrape),
        left_out,
    }));
    registry.register_collector(Box::new(PlantValues {
        scrape: Arc::clone(scrape),
        told,
    }));
    let mut text = String::new();
    let written = match format {
        Format::OpenMetrics => text::encode(&mut text, &registry),
        Format::Plain => prometheus_text::encode(&mut text, &registry),
    };
    written.expect("writing into a string does not fail");
    Exposition { text, left_out }
}
