//! The metrics of a node itself or of one device: which are wanted, and what
//! the latest birth calls them.

use std::collections::HashMap;
use std::collections::hash_map::Entry;
use std::sync::Arc;

use crate::units::Timestamp;

use super::metric::Metric;
use super::outcome::{Footing, News, Trouble};
use super::payload::Payload;
use super::wanted::{Desk, Wanted};

/// What an alias stands for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Alias {
    /// The wanted metric at this place in the scope.
    Wanted(usize),
    /// A metric that no channel wants.
    Unwanted,
    /// Two metrics.
    Twice,
}

/// The standard makes aliases unique in a node. Here each is looked up among
/// those of the node or device that the topic names, so that a node that uses
/// one for two of its devices is still read right.
#[derive(Debug, Default)]
pub(super) struct Scope {
    wanted: Vec<Wanted>,
    by_name: HashMap<Arc<str>, usize>,
    /// Those of unwanted metrics too, to tell them from unknown ones; they are
    /// as many as one birth can have.
    aliases: HashMap<u64, Alias>,
    /// When the birth was sent that the aliases come from.
    born: Option<Timestamp>,
}

impl Scope {
    /// A channel wants this metric.
    pub(super) fn want(&mut self, name: &str, place: usize) {
        let name: Arc<str> = name.into();
        self.by_name.insert(Arc::clone(&name), self.wanted.len());
        self.wanted.push(Wanted::new(place, name));
    }

    /// The place of a wanted metric in the host.
    pub(super) fn place(&self, name: &str) -> Option<usize> {
        let &at = self.by_name.get(name)?;
        Some(self.wanted[at].place)
    }

    /// The birth that the aliases come from is over.
    pub(super) fn forget(&mut self) {
        self.aliases.clear();
        self.born = None;
    }

    /// Whether there is a birth that says what the aliases are.
    pub(super) fn is_born(&self) -> bool {
        self.born.is_some()
    }

    /// Whether a message that is delivered again was sent under the birth that
    /// the aliases come from.
    pub(super) fn covers(&self, sent: Option<Timestamp>) -> bool {
        self.born.zip(sent).is_some_and(|(born, sent)| born <= sent)
    }

    /// Nothing of it holds any more.
    pub(super) fn gone(&self, time: Timestamp, desk: &mut Desk<'_>) {
        for wanted in &self.wanted {
            let time = wanted.no_earlier(time);
            desk.find(wanted.place, News::Gone { time });
        }
    }

    /// Takes in a birth: from now on its aliases count and no others.
    pub(super) fn birth(&mut self, payload: &Payload<'_>, desk: &mut Desk<'_>) {
        self.forget();
        self.born = Some(payload.time.unwrap_or(desk.arrival));
        for wanted in &mut self.wanted {
            (wanted.datatype, wanted.in_birth) = (None, false);
        }
        for metric in &payload.metrics {
            let at = metric.name.and_then(|name| self.by_name.get(name).copied());
            if let Some(alias) = metric.alias {
                self.learn(alias, at, desk);
            }
            if let Some(at) = at {
                let wanted = &mut self.wanted[at];
                (wanted.datatype, wanted.in_birth) = (metric.datatype, true);
                wanted.read(metric, Footing::Certain, desk);
            }
        }
        self.tell_missing(desk);
    }

    /// A birth holds every metric that there will be.
    fn tell_missing(&self, desk: &mut Desk<'_>) {
        let time = desk.sent.unwrap_or(desk.arrival);
        for wanted in self.wanted.iter().filter(|wanted| !wanted.in_birth) {
            let time = wanted.no_earlier(time);
            desk.counters.not_in_birth += 1;
            let metric = Arc::clone(&wanted.name);
            desk.out
                .trouble_of(wanted.place, Trouble::NotInBirth { metric });
            desk.find(wanted.place, News::Gone { time });
        }
    }

    fn learn(&mut self, alias: u64, wanted: Option<usize>, desk: &mut Desk<'_>) {
        if self.wanted.is_empty() {
            return;
        }
        let meant = wanted.map_or(Alias::Unwanted, Alias::Wanted);
        match self.aliases.entry(alias) {
            // Several values of one metric may stand in one message.
            Entry::Occupied(known) if *known.get() == meant => {}
            Entry::Occupied(mut known) => {
                known.insert(Alias::Twice);
                desk.counters.alias_twice += 1;
                desk.out.trouble(Trouble::AliasTwice { alias });
            }
            Entry::Vacant(room) => {
                room.insert(meant);
            }
        }
    }

    /// Takes in values. Names are always believed, aliases only where `footing`
    /// says how far. Says whether everything was understood: else a new birth
    /// is wanted.
    pub(super) fn data(
        &mut self,
        payload: &Payload<'_>,
        footing: Option<Footing>,
        desk: &mut Desk<'_>,
    ) -> bool {
        let mut understood = true;
        for metric in &payload.metrics {
            match (metric.name, metric.alias) {
                (Some(name), _) => {
                    if let Some(&at) = self.by_name.get(name) {
                        self.wanted[at].read(metric, Footing::Certain, desk);
                    }
                }
                (None, Some(alias)) => {
                    understood &= self.by_alias(alias, metric, footing, desk);
                }
                (None, None) => {
                    desk.counters.nameless += 1;
                    desk.out.trouble(Trouble::Nameless);
                }
            }
        }
        understood
    }

    fn by_alias(
        &mut self,
        alias: u64,
        metric: &Metric<'_>,
        footing: Option<Footing>,
        desk: &mut Desk<'_>,
    ) -> bool {
        if self.wanted.is_empty() {
            return true;
        }
        let Some(footing) = footing else {
            desk.counters.before_birth += 1;
            desk.out.trouble(Trouble::BeforeBirth { alias });
            return false;
        };
        match self.aliases.get(&alias) {
            Some(&Alias::Wanted(at)) => self.wanted[at].read(metric, footing, desk),
            Some(Alias::Unwanted) => {}
            Some(Alias::Twice) => {
                desk.counters.alias_twice += 1;
                desk.out.trouble(Trouble::AliasTwice { alias });
            }
            None => {
                desk.counters.unknown_alias += 1;
                desk.out.trouble(Trouble::UnknownAlias { alias });
                return false;
            }
        }
        true
    }
}
