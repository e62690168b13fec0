//! What was asked of the broker, and what it answered.

use std::collections::VecDeque;
use std::ops::Range;
use std::time::{Duration, Instant};

use crate::mqtt::{Client, NoRoom};

/// Topic filters in one SUBSCRIBE packet.
const FILTERS_A_PACKET: usize = 100;
/// A broker that answers a SUBSCRIBE at all does so within this time, unless
/// it has messages for us to send before.
const ANSWER_WITHIN: Duration = Duration::from_secs(10);
/// Refused topics that are named; the others are counted.
const NAMED: usize = 10;

/// The subscriptions of one connection.
#[derive(Debug, Default)]
pub(super) struct Subscriptions {
    filters: Vec<String>,
    /// The packets without an answer, in the order in which they leave.
    asked: VecDeque<Asked>,
    /// Packets of `asked` that have left.
    left: usize,
    /// When the broker was last seen at work while we waited.
    waiting_since: Option<Instant>,
    refused: Vec<Refused>,
}

#[derive(Debug)]
struct Asked {
    filters: Range<usize>,
    packet: u16,
}

/// A topic filter that the broker refuses.
#[derive(Debug, Clone, PartialEq, Eq)]
struct Refused {
    filter: String,
    why: &'static str,
}

impl Subscriptions {
    /// Asks for everything, on a new connection: a subscription that the
    /// session still holds is unchanged by it.
    pub(super) fn ask(filters: &[String], client: &Client, now: Instant) -> Result<Self, NoRoom> {
        let mut this = Subscriptions {
            filters: filters.to_vec(),
            waiting_since: (!filters.is_empty()).then_some(now),
            ..Subscriptions::default()
        };
        for start in (0..filters.len()).step_by(FILTERS_A_PACKET) {
            let range = start..filters.len().min(start + FILTERS_A_PACKET);
            client.subscribe(&filters[range.clone()])?;
            this.asked.push_back(Asked {
                filters: range,
                packet: 0,
            });
        }
        Ok(this)
    }

    /// A SUBSCRIBE has left under this packet identifier.
    pub(super) fn handle_leaving(&mut self, packet: u16) {
        if let Some(asked) = self.asked.get_mut(self.left) {
            asked.packet = packet;
            self.left += 1;
        }
    }

    /// An answer came. The library uses identifiers again that have no answer
    /// yet, so that the oldest that bears it is meant.
    pub(super) fn handle_answer(
        &mut self,
        packet: u16,
        refusals: &[Option<&'static str>],
        now: Instant,
    ) {
        let left = self.asked.iter().take(self.left);
        let Some(place) = left.into_iter().position(|asked| asked.packet == packet) else {
            return;
        };
        let asked = self.asked.remove(place).expect("its place was just found");
        self.left -= 1;
        for (filter, refusal) in self.filters[asked.filters].iter().zip(refusals) {
            if let Some(why) = *refusal {
                let filter = filter.clone();
                self.refused.push(Refused { filter, why });
            }
        }
        self.waiting_since = (!self.asked.is_empty()).then_some(now);
    }

    /// A message came: the broker is at work, and may answer behind it.
    pub(super) fn handle_message(&mut self, now: impl FnOnce() -> Instant) {
        if let Some(since) = &mut self.waiting_since {
            *since = now();
        }
    }

    /// Whether everything has been answered.
    pub(super) fn is_answered(&self) -> bool {
        self.asked.is_empty()
    }

    /// Until when the broker has to answer.
    pub(super) fn deadline(&self) -> Option<Instant> {
        self.waiting_since.map(|since| since + ANSWER_WITHIN)
    }

    /// What the broker refuses, and why.
    pub(super) fn refused(&self) -> impl Iterator<Item = (&str, &'static str)> {
        self.refused.iter().map(|one| (&*one.filter, one.why))
    }

    /// Tells how it came out, once it has.
    pub(super) fn tell(&self, broker: &str) {
        let topics = self.filters.len() - self.refused.len();
        tracing::info!(%broker, topics, "subscribed");
        for Refused { filter, why } in self.refused.iter().take(NAMED) {
            tracing::error!(
                %broker, topic = filter,
                "the broker refuses the subscription: {why}; its readings will not come"
            );
        }
        if self.refused.len() > NAMED {
            let others = self.refused.len() - NAMED;
            tracing::error!(%broker, others, "the broker refuses further subscriptions");
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::mqtt::{self, Events, Introduction, SessionWish};
    use crate::settings::{BrokerSettings, Protocol};
    use crate::units::Span;

    /// A client that is never connected: it only takes things over.
    fn client() -> (Client, Events) {
        let broker = BrokerSettings {
            name: "main".into(),
            host: "127.0.0.1".to_owned(),
            port: 1883,
            client_id: "us".to_owned(),
            user: None,
            password: None,
            template: None,
            tls: None,
            keep_alive: Span::from_secs(30),
            max_packet: 1024,
            protocol: Protocol::V311,
            ask_rebirth: true,
        };
        let introduction = Introduction {
            client_id: "us".to_owned(),
            session: SessionWish::Kept,
            will: None,
        };
        mqtt::connect(&broker, &introduction).unwrap()
    }

    fn refusals(granted: usize, refused: usize) -> Vec<Option<&'static str>> {
        let granted = std::iter::repeat_n(None, granted);
        granted
            .chain(std::iter::repeat_n(Some("no"), refused))
            .collect()
    }

    #[test]
    fn answers_name_the_topics_even_where_an_identifier_is_used_twice() {
        let filters: Vec<String> = (0..250).map(|n| format!("t/{n}")).collect();
        let now = Instant::now();
        let (client, _events) = client();
        let mut asked = Subscriptions::ask(&filters, &client, now).unwrap();
        for packet in [1, 2, 1] {
            asked.handle_leaving(packet);
        }
        asked.handle_answer(1, &refusals(100, 0), now);
        asked.handle_answer(1, &refusals(49, 1), now);
        assert!(!asked.is_answered());
        asked.handle_answer(2, &refusals(99, 1), now);
        assert!(asked.is_answered());
        let refused: Vec<_> = asked.refused.iter().map(|one| &*one.filter).collect();
        assert_eq!(refused, ["t/249", "t/199"]);
        assert_eq!(asked.deadline(), None);
    }

    #[test]
    fn a_broker_that_sends_messages_first_has_time_to_answer() {
        let begun = Instant::now();
        let (client, _events) = client();
        let mut asked = Subscriptions::ask(&["a".to_owned()], &client, begun).unwrap();
        asked.handle_leaving(1);
        let later = begun + ANSWER_WITHIN;
        asked.handle_message(|| later);
        assert_eq!(asked.deadline(), Some(later + ANSWER_WITHIN));
        asked.handle_answer(1, &refusals(1, 0), later);
        asked.handle_message(|| unreachable!("nothing is waited for"));
        assert_eq!(asked.deadline(), None);
    }

    #[test]
    fn an_answer_to_nothing_harms_nothing() {
        let now = Instant::now();
        let (client, _events) = client();
        let mut asked = Subscriptions::ask(&[], &client, now).unwrap();
        asked.handle_answer(1, &refusals(3, 3), now);
        asked.handle_leaving(2);
        assert!(asked.is_answered() && asked.deadline().is_none());
    }
}
