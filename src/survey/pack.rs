//! Records of SenML in a message.

use super::guess;
use super::recognise::{Seen, is_word};
use crate::ingest::decode::senml::{self, Record, Time, Value};
use crate::settings::Reports;
use crate::units::Quantity;

/// Names of one pack that are told apart; records of others are counted.
const NAMES: usize = 64;
/// Begins a pack in JSON, perhaps behind white space.
const JSON: u8 = b'[';

/// A pack of records.
#[derive(Debug, Clone, PartialEq)]
pub struct Pack {
    /// Whether it is written in CBOR; else in JSON.
    pub is_cbor: bool,
    /// One a name: its newest record with a number or a word.
    pub named: Vec<Named>,
    /// Records that are passed over: of further names, or without a number or
    /// a word.
    pub more: usize,
}

/// What one name of a pack says.
#[derive(Debug, Clone, PartialEq)]
pub struct Named {
    /// Base name and name together.
    pub name: String,
    /// The unit, as written.
    pub unit: Option<String>,
    /// The newest value.
    pub seen: Seen,
    /// Whether the pack says when it was.
    pub timed: bool,
}

/// The pack that a message is, if it is one with records.
pub(super) fn recognise(payload: &[u8]) -> Option<Pack> {
    let records = senml::read(payload).ok().filter(|all| !all.is_empty())?;
    let mut pack = Pack {
        is_cbor: !payload.trim_ascii_start().starts_with(&[JSON]),
        named: Vec::new(),
        more: 0,
    };
    for record in records {
        pack.keep(record);
    }
    Some(pack)
}

impl Pack {
    /// Records come in the order of time: a later one of a name stands in the
    /// place of an earlier one.
    fn keep(&mut self, record: Record) {
        let seen = match record.value {
            Some(Value::Number(number)) => Seen::Number(number),
            Some(Value::Boolean(truth)) => Seen::Word(truth.to_string()),
            Some(Value::Text(text)) if is_word(&text) => Seen::Word(text),
            _ => return self.more += 1,
        };
        let named = Named {
            name: record.name.to_string(),
            unit: record.unit,
            seen,
            timed: record.time != Time::NOW,
        };
        match self.named.iter().position(|known| known.name == named.name) {
            Some(place) => self.named[place] = named,
            None if self.named.len() < NAMES => self.named.push(named),
            None => self.more += 1,
        }
    }
}

impl Named {
    /// What it is called behind the last mark in its name, as in
    /// `urn:dev:ow:10e2073a01080063:brix`.
    pub(super) fn last_part(&self) -> &str {
        let parts = self.name.rsplit([':', '/', '.']);
        parts
            .into_iter()
            .find(|part| !part.is_empty())
            .unwrap_or(&self.name)
    }

    /// The quantity that its name suggests, if its unit allows it; else the only
    /// one that its unit allows.
    pub(super) fn quantity(&self, topic: &str) -> Option<Quantity> {
        let fits = |quantity: &Quantity| {
            let unit = self.unit.as_deref();
            unit.is_none_or(|unit| senml::conversion(unit, Reports::Quantity(*quantity)).is_ok())
        };
        if let Seen::Word(_) = self.seen {
            return Some(Quantity::State).filter(fits);
        }
        let by_name = guess::quantity(&self.name).or_else(|| guess::quantity(topic));
        let numbers = |quantity: &Quantity| *quantity != Quantity::State;
        by_name.filter(numbers).filter(fits).or_else(|| {
            self.unit.as_ref()?;
            let mut allowed = Quantity::ALL.into_iter().filter(numbers).filter(fits);
            allowed.next().filter(|_| allowed.next().is_none())
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn the_newest_record_of_each_name_counts() {
        let text = br#"[{"bn":"urn:dev:ow:1:","bt":1772431790,"n":"t","u":"Cel","v":21.5},
            {"n":"t","u":"Cel","t":5,"v":21.75},{"n":"pump","vb":true},{"n":"raw","vd":"AQI"}]"#;
        let pack = recognise(text).unwrap();
        assert!(!pack.is_cbor);
        assert_eq!(pack.more, 1);
        let told: Vec<_> = pack.named.iter().map(|n| (&*n.name, &n.seen)).collect();
        let pump = Seen::Word("true".to_owned());
        assert_eq!(
            told,
            [
                ("urn:dev:ow:1:t", &Seen::Number(21.75)),
                ("urn:dev:ow:1:pump", &pump)
            ]
        );
    }

    #[test]
    fn a_unit_speaks_against_a_name_and_for_itself() {
        let quantity = |name: &str, unit: Option<&str>| {
            let named = Named {
                name: name.to_owned(),
                unit: unit.map(str::to_owned),
                seen: Seen::Number(1.0),
                timed: false,
            };
            named.quantity("cells/a")
        };
        assert_eq!(quantity("a:brix", None), Some(Quantity::Brix));
        assert_eq!(quantity("a:x", Some("Cel")), Some(Quantity::Temperature));
        assert_eq!(
            quantity("a:level", Some("Cel")),
            Some(Quantity::Temperature)
        );
        assert_eq!(quantity("a:x", Some("l")), None, "a volume, or a meter");
        assert_eq!(quantity("a:pump", Some("Ohm")), None);
    }

    #[test]
    fn what_is_no_pack_is_left_to_others() {
        for payload in [&b"[]"[..], b"7.4", b"[4.5]", b"{}", b"\x80", b""] {
            assert_eq!(recognise(payload), None, "{payload:?}");
        }
    }

    proptest! {
        #[test]
        fn no_bytes_panic(bytes in prop::collection::vec(any::<u8>(), 0..100)) {
            let _ = recognise(&bytes);
        }

        #[test]
        fn names_are_bounded_and_the_rest_is_counted(count in 1usize..200) {
            let records: Vec<String> =
                (0..count).map(|n| format!("{{\"n\":\"a{n}\",\"v\":{n}}}")).collect();
            let pack = recognise(format!("[{}]", records.join(",")).as_bytes()).unwrap();
            prop_assert!(pack.named.len() <= NAMES);
            prop_assert_eq!(pack.named.len() + pack.more, count);
        }
    }
}
