//! The plant's list of what is wrong with its sumps at the start after a stand-still.

use std::collections::{BTreeMap, BTreeSet};
use std::sync::Arc;

use serde::{Deserialize, Serialize};

use crate::alarm::{Priority, Verdict};
use crate::units::{Span, Timestamp};

/// So many are told; the rest is counted.
const MOST_TOLD: usize = 500;
/// What is added to the list after it was told is told so long after the first of
/// it, all together. Choice: as long as the first of a start wait for each other.
const GATHERED: Span = Span::from_mins(30);

/// An alarm of a sump that the plant's alarm tells of.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct ListedAlarm {
    /// Tells this occurrence from any other.
    pub id: Arc<str>,
    /// The sump's name.
    pub sump: Arc<str>,
    /// Its title.
    pub title: Arc<str>,
    /// What is wrong, as it is written: `ph.low_low`.
    pub condition: Arc<str>,
    /// How much hurry the alarm has by itself.
    pub priority: Priority,
    /// The value now, if there is one.
    pub value: Option<f64>,
    /// The unit of value and limit.
    pub unit: Option<Arc<str>>,
    /// The limit that was crossed.
    pub limit: Option<f64>,
    /// When the condition began.
    pub since: Timestamp,
    /// When it was put on the list.
    pub listed: Timestamp,
}

impl ListedAlarm {
    /// How far it lies beyond its limit, as a share of that.
    fn beyond(&self) -> f64 {
        let both = self.value.zip(self.limit.filter(|limit| *limit != 0.0));
        both.map_or(0.0, |(value, limit)| ((value - limit) / limit).abs())
    }
}

/// The list as it is told.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct StartUpList {
    /// How many sumps are on it.
    pub sumps: usize,
    /// What is wrong, the worst first: by hurry, then by how far it lies beyond its
    /// limit.
    pub alarms: Vec<ListedAlarm>,
    /// So many more are on it.
    pub more: usize,
}

/// What is remembered of the list.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
pub(super) struct StartUpWatch {
    listed: Vec<ListedAlarm>,
    /// The sumps that people were told of, with the most hurry there.
    told: BTreeMap<Arc<str>, Priority>,
}

impl StartUpWatch {
    /// The list is this now.
    pub(super) fn step(&mut self, listed: &[ListedAlarm]) {
        self.listed = listed.to_vec();
    }

    pub(super) fn verdict(&self) -> Verdict {
        Verdict::of(!self.listed.is_empty())
    }

    /// When it is to be told again: there are sumps on it that people were not told
    /// of, or something with more hurry at one that they were. Who is called to a sump
    /// finds what else there is.
    pub(super) fn more_due(&self) -> Option<Timestamp> {
        let is_known = |one: &&ListedAlarm| {
            let told = self.told.get(&one.sump);
            told.is_some_and(|told| *told >= one.priority)
        };
        let more = self.listed.iter().filter(|one| !is_known(one));
        let first = more.map(|one| one.listed).min();
        first.map(|first| first + GATHERED)
    }

    /// People are told of what is on it. What they were told of before they know,
    /// whether it is still on it or not, until nothing is.
    pub(super) fn tell(&mut self) {
        if self.listed.is_empty() {
            self.told.clear();
        }
        for one in &self.listed {
            let told = self
                .told
                .entry(Arc::clone(&one.sump))
                .or_insert(one.priority);
            *told = one.priority.max(*told);
        }
    }

    /// The list as it is told.
    pub(super) fn list(&self) -> StartUpList {
        let sumps: BTreeSet<&str> = self.listed.iter().map(|one| &*one.sump).collect();
        let sumps = sumps.len();
        let mut alarms = self.listed.clone();
        alarms.sort_by(|one, other| {
            let by_hurry = other.priority.cmp(&one.priority);
            let by_value = other.beyond().total_cmp(&one.beyond());
            let by_name = (&one.sump, &one.condition).cmp(&(&other.sump, &other.condition));
            by_hurry.then(by_value).then(by_name)
        });
        let more = alarms.len().saturating_sub(MOST_TOLD);
        alarms.truncate(MOST_TOLD);
        StartUpList {
            sumps,
            alarms,
            more,
        }
    }
}
