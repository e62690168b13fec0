//! The token in a link: what it permits, signed. Pure: key and time are
//! arguments.
//!
//! ```text
//! base64url( version 1 | expires, s since 1970, 8 bytes | length of contact | contact | alarm id | MAC )
//! ```
//!
//! The MAC is HMAC-SHA-256 (RFC 2104, FIPS 180-4) over a label, the plant's name
//! and everything before it, its first 128 bits (RFC 2104, section 5: half of the
//! hash at least). The alarm's id names one occurrence, so that a token is good
//! for no other. A token has one spelling only: what is decoded must give the
//! same text again. The MAC is compared in constant time, and nothing is said of
//! what a token holds before that.

use openssl::base64;
use openssl::hash::MessageDigest;
use openssl::memcmp;
use openssl::pkey::{PKey, Private};
use openssl::sign::Signer;

use crate::units::Timestamp;

/// The only form there is.
const VERSION: u8 = 1;
/// Bytes of a MAC.
const MAC: usize = 16;
/// Bytes before the contact's name.
const HEAD: usize = 10;
/// Longest token that is looked at.
const LONGEST: usize = 600;

/// What a token permits: this contact may acknowledge this occurrence of an
/// alarm, until then.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Ticket {
    /// Name of the contact.
    pub contact: String,
    /// Id of the alarm, which tells one occurrence from any other.
    pub alarm: String,
    /// Not after this, to the second.
    pub expires: Timestamp,
}

/// Why a token permits nothing.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum TokenError {
    /// It is no token, or was cut.
    Unreadable,
    /// We did not write it, or it was changed.
    Forged,
    /// Its time is over.
    Expired,
}

/// What tokens of one plant are signed with. It never shows.
#[derive(Clone)]
pub(super) struct LinkKey {
    key: PKey<Private>,
    plant: String,
}

impl std::fmt::Debug for LinkKey {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str("LinkKey(…)")
    }
}

impl LinkKey {
    /// With these secret bytes.
    pub(super) fn new(secret: &[u8], plant: &str) -> Self {
        LinkKey {
            key: PKey::hmac(secret).expect("any bytes are a key"),
            plant: plant.to_owned(),
        }
    }

    /// The token of a ticket; the same for the same ticket.
    pub(super) fn write(&self, ticket: &Ticket) -> String {
        let mut bytes = body(ticket);
        let mac = self.mac("acknowledge", &bytes);
        bytes.extend_from_slice(&mac[..MAC]);
        encode(&bytes)
    }

    /// What a token permits at `now`.
    ///
    /// # Errors
    /// Where it permits nothing.
    pub(super) fn read(&self, token: &str, now: Timestamp) -> Result<Ticket, TokenError> {
        let bytes = decode(token).ok_or(TokenError::Unreadable)?;
        let at = bytes.len().checked_sub(MAC).filter(|at| *at >= HEAD);
        let (body, mac) = bytes.split_at(at.ok_or(TokenError::Unreadable)?);
        if !memcmp::eq(&self.mac("acknowledge", body)[..MAC], mac) {
            return Err(TokenError::Forged);
        }
        let ticket = parse(body).ok_or(TokenError::Unreadable)?;
        if now > ticket.expires {
            return Err(TokenError::Expired);
        }
        Ok(ticket)
    }

    /// The id of the entry that is made with a ticket: each makes one, once.
    /// Nobody can work a token out from it.
    pub(super) fn entry_id(&self, ticket: &Ticket) -> String {
        let mac = self.mac("entry", &body(ticket));
        let hex = mac[..12].iter().map(|byte| format!("{byte:02x}"));
        format!("link-{}", hex.collect::<String>())
    }

    fn mac(&self, label: &str, bytes: &[u8]) -> Vec<u8> {
        let digest = MessageDigest::sha256();
        let mut signer = Signer::new(digest, &self.key).expect("HMAC is part of OpenSSL");
        for part in [label.as_bytes(), b"\0", self.plant.as_bytes(), b"\0", bytes] {
            signer.update(part).expect("memory is there");
        }
        signer.sign_to_vec().expect("memory is there")
    }
}

fn body(ticket: &Ticket) -> Vec<u8> {
    // Names of settings have at most 64 letters; a longer one is cut, and then
    // names nobody.
    let contact = ticket.contact.as_bytes();
    let contact = &contact[..contact.len().min(usize::from(u8::MAX))];
    let mut bytes = vec![VERSION];
    bytes.extend_from_slice(&ticket.expires.millis().div_euclid(1000).to_be_bytes());
    bytes.push(contact.len() as u8);
    bytes.extend_from_slice(contact);
    bytes.extend_from_slice(ticket.alarm.as_bytes());
    bytes
}

fn parse(body: &[u8]) -> Option<Ticket> {
    let (head, rest) = body.split_at_checked(HEAD)?;
    let (version, rest_of_head) = head.split_first()?;
    let (expires, length) = rest_of_head.split_at_checked(8)?;
    let expires = i64::from_be_bytes(expires.try_into().ok()?).checked_mul(1000)?;
    let (contact, alarm) = rest.split_at_checked(usize::from(*length.first()?))?;
    (*version == VERSION).then_some(())?;
    Some(Ticket {
        contact: String::from_utf8(contact.to_vec()).ok()?,
        alarm: String::from_utf8(alarm.to_vec()).ok()?,
        expires: Timestamp::from_millis(expires),
    })
}

/// Base64 with the letters of file names, without padding (RFC 4648, section 5).
fn encode(bytes: &[u8]) -> String {
    let text = base64::encode_block(bytes);
    let text = text.trim_end_matches('=').replace('+', "-");
    text.replace('/', "_")
}

/// The bytes of which this is the one spelling.
fn decode(text: &str) -> Option<Vec<u8>> {
    if text.len() > LONGEST || !text.is_ascii() {
        return None;
    }
    let padded = text.replace('-', "+").replace('_', "/");
    let padding = "=".repeat((4 - padded.len() % 4) % 4);
    let bytes = base64::decode_block(&(padded + &padding)).ok()?;
    (encode(&bytes) == text).then_some(bytes)
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn key() -> LinkKey {
        LinkKey::new(b"0123456789abcdef0123456789abcdef", "north")
    }

    fn ticket() -> Ticket {
        Ticket {
            contact: "anna".to_owned(),
            alarm: "mill-4/concentration.low/2026-03-02T13:05:00Z".to_owned(),
            expires: Timestamp::from_millis(1_772_457_900_000),
        }
    }

    #[test]
    fn a_token_says_what_was_written_until_it_expires() {
        let (key, ticket) = (key(), ticket());
        let token = key.write(&ticket);
        assert!(token.len() < 130, "{}", token.len());
        assert_eq!(key.read(&token, ticket.expires), Ok(ticket.clone()));
        let late = Timestamp::from_millis(ticket.expires.millis() + 1);
        assert_eq!(key.read(&token, late), Err(TokenError::Expired));
        // Of another plant with the same key, and of another key.
        for other in [
            LinkKey::new(b"0123456789abcdef0123456789abcdef", "south"),
            LinkKey::new(b"0123456789abcdef0123456789abcdee", "north"),
        ] {
            assert_eq!(other.read(&token, ticket.expires), Err(TokenError::Forged));
        }
        assert!(!format!("{key:?}").contains("0123"));
    }

    /// The MAC as other programs work it out:
    /// `printf … | openssl dgst -sha256 -hmac 0123456789abcdef0123456789abcdef`.
    #[test]
    fn the_mac_is_that_of_the_standard() {
        // RFC 4231, test case 2 (memory of the tag; checked with the openssl
        // program).
        let key = LinkKey::new(b"Jefe", "");
        let mut signer = Signer::new(MessageDigest::sha256(), &key.key).unwrap();
        signer.update(b"what do ya want for nothing?").unwrap();
        let hex: String = signer
            .sign_to_vec()
            .unwrap()
            .iter()
            .map(|byte| format!("{byte:02x}"))
            .collect();
        assert_eq!(
            hex,
            "5bdcc146bf60754e6a042426089575c75a003f089d2739839dec58b964ec3843"
        );
    }

    #[test]
    fn each_ticket_makes_one_entry_and_its_id_is_no_part_of_the_token() {
        let (key, ticket) = (key(), ticket());
        let later = Ticket {
            expires: Timestamp::from_millis(ticket.expires.millis() + 1000),
            ..ticket.clone()
        };
        let id = key.entry_id(&ticket);
        assert_eq!(id, key.entry_id(&ticket));
        assert_ne!(id, key.entry_id(&later));
        assert_eq!(id.len(), 29);
        let mac = decode(&key.write(&ticket)).unwrap();
        let hex: String = mac.iter().map(|byte| format!("{byte:02x}")).collect();
        assert!(!hex.contains(&id[5..]));
    }

    proptest! {
        /// Whatever is changed, added or left out.
        #[test]
        fn no_other_text_is_a_token(
            contact in "[a-z0-9_-]{1,64}", alarm in "[a-z0-9./:-]{0,120}", secs in 0i64..4_000_000_000,
            at in any::<prop::sample::Index>(), letter in any::<char>(), cut in any::<prop::sample::Index>(),
        ) {
            let key = key();
            let ticket = Ticket { contact, alarm, expires: Timestamp::from_millis(secs * 1000) };
            let token = key.write(&ticket);
            let early = Timestamp::from_millis(0);
            prop_assert_eq!(key.read(&token, early), Ok(ticket));
            let place = at.index(token.len());
            let mut changed = token.clone();
            changed.replace_range(place..=place, &letter.to_string());
            if changed != token {
                prop_assert!(key.read(&changed, early).is_err());
            }
            prop_assert!(key.read(&token[..cut.index(token.len())], early).is_err());
            let longer = format!("{token}{letter}");
            prop_assert!(key.read(&longer, early).is_err());
        }

        /// Every bit of what is signed, and of the signature.
        #[test]
        fn no_other_bytes_are_a_token(at in any::<prop::sample::Index>(), bit in 0u8..8) {
            let key = key();
            let mut bytes = decode(&key.write(&ticket())).unwrap();
            let place = at.index(bytes.len());
            bytes[place] ^= 1 << bit;
            let read = key.read(&encode(&bytes), Timestamp::from_millis(0));
            prop_assert_eq!(read, Err(TokenError::Forged));
        }

        #[test]
        fn any_text_is_told_apart_from_tokens(text in "\\PC{0,200}|[A-Za-z0-9_-]{0,700}") {
            prop_assert!(key().read(&text, Timestamp::from_millis(0)).is_err());
        }

        /// Of two that expire at different times, the earlier one goes first.
        #[test]
        fn expiry_keeps_its_order(first in 0i64..4_000_000_000, more in 1i64..1_000_000) {
            let key = key();
            let token = |secs: i64| key.write(&Ticket { expires: Timestamp::from_millis(secs * 1000), ..ticket() });
            let between = Timestamp::from_millis(first * 1000 + 1);
            prop_assert_eq!(key.read(&token(first), between), Err(TokenError::Expired));
            prop_assert!(key.read(&token(first + more), between).is_ok());
        }
    }
}
