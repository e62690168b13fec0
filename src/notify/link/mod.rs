//! Links by which a receiver acknowledges an alarm.

mod key;
mod token;

use std::sync::Arc;

use crate::settings::Settings;
use crate::units::{Span, Timestamp};

pub use key::LinkKeyError;
pub use token::{Ticket, TokenError};

use token::LinkKey;

/// The page that links lead to, below the public address.
pub const ACKNOWLEDGE: &str = "/acknowledge";

/// Writes and reads the links of one plant.
#[derive(Debug, Clone)]
pub struct Links(Arc<Inner>);

#[derive(Debug)]
struct Inner {
    /// Public address, without a slash at the end.
    address: String,
    /// How long a link is good.
    valid: Span,
    key: LinkKey,
}

impl Links {
    /// For this plant, where people can reach its pages. The store's folder is
    /// there and locked.
    ///
    /// # Errors
    /// When the secret can neither be read nor made.
    pub fn open(settings: &Settings) -> Result<Option<Self>, LinkKeyError> {
        let Some(web) = &settings.web else {
            return Ok(None);
        };
        let Some(address) = &web.public_address else {
            return Ok(None);
        };
        let secret = match &web.key {
            Some(secret) => secret.reveal().as_bytes().to_vec(),
            None => key::kept(&settings.store.folder)?,
        };
        Ok(Some(Links::new(
            address,
            web.link_valid,
            &secret,
            &settings.plant.name,
        )))
    }

    /// With these.
    pub(crate) fn new(address: &str, valid: Span, secret: &[u8], plant: &str) -> Self {
        Links(Arc::new(Inner {
            address: address.to_owned(),
            valid,
            key: LinkKey::new(secret, plant),
        }))
    }

    /// The link by which this contact, who is told at `at`, may acknowledge
    /// this occurrence of an alarm.
    pub fn url(&self, alarm: &str, contact: &str, at: Timestamp) -> String {
        let inner = &self.0;
        let token = inner.key.write(&Ticket {
            contact: contact.to_owned(),
            alarm: alarm.to_owned(),
            expires: at + inner.valid,
        });
        format!("{}{ACKNOWLEDGE}/{token}", inner.address)
    }

    /// What a token permits at `now`.
    ///
    /// # Errors
    /// Where it permits nothing.
    pub fn read(&self, token: &str, now: Timestamp) -> Result<Ticket, TokenError> {
        self.0.key.read(token, now)
    }

    /// The id of the one entry that a ticket makes.
    pub fn entry_id(&self, ticket: &Ticket) -> String {
        self.0.key.entry_id(ticket)
    }
}
