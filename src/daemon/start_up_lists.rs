//! What the sumps suppress since they started after a stand-still: laid down by the
//! workers, and told to the plant.

use std::sync::atomic::AtomicU64;
use std::sync::atomic::Ordering::{Acquire, Release};
use std::sync::{Arc, Mutex, PoisonError};
use std::time::{Duration, Instant};

use crate::engine::ListedAlarm;
use crate::ingest::Content;

/// A list that has not changed is told again this often, as its values go on. Choice.
const TELL_EVERY: Duration = Duration::from_secs(30);

/// One place for each worker.
#[derive(Debug)]
pub(super) struct StartUpLists {
    /// None before the worker has laid its first.
    places: Vec<Mutex<Option<Vec<ListedAlarm>>>>,
    /// How often one was laid that is another than before.
    changes: AtomicU64,
}

impl StartUpLists {
    /// For so many workers.
    pub(super) fn new(workers: usize) -> Self {
        StartUpLists {
            places: (0..workers).map(|_| Mutex::default()).collect(),
            changes: AtomicU64::new(0),
        }
    }

    /// What the sumps of a worker have on the list now.
    pub(super) fn lay(&self, place: usize, listed: Vec<ListedAlarm>) {
        let mut laid = self.places[place]
            .lock()
            .unwrap_or_else(PoisonError::into_inner);
        let ids = |of: &[ListedAlarm]| -> Vec<Arc<str>> {
            of.iter().map(|one| Arc::clone(&one.id)).collect()
        };
        let same = laid
            .as_deref()
            .is_some_and(|laid| ids(laid) == ids(&listed));
        *laid = Some(listed);
        drop(laid);
        if !same {
            self.changes.fetch_add(1, Release);
        }
    }

    /// All of it; nothing before every worker has laid its own.
    fn all(&self) -> Option<Vec<ListedAlarm>> {
        let mut all = Vec::new();
        for place in &self.places {
            let laid = place.lock().unwrap_or_else(PoisonError::into_inner);
            all.extend(laid.as_ref()?.iter().cloned());
        }
        Some(all)
    }
}

/// Looks at the lists.
pub(super) struct StartUpWatcher {
    lists: Arc<StartUpLists>,
    /// At which change it last told the plant, when, and whether there was anything.
    told: Option<(u64, Instant, bool)>,
}

impl StartUpWatcher {
    pub(super) fn new(lists: Arc<StartUpLists>) -> Self {
        StartUpWatcher { lists, told: None }
    }

    /// The whole list, where the plant is to be told: it has changed, or there is
    /// one and it was told a while ago.
    pub(super) fn look(&mut self) -> Option<Content> {
        let change = self.lists.changes.load(Acquire);
        let is_known = self
            .told
            .is_some_and(|(told, at, any)| told == change && (!any || at.elapsed() < TELL_EVERY));
        if is_known {
            return None;
        }
        let listed = self.lists.all()?;
        self.told = Some((change, Instant::now(), !listed.is_empty()));
        Some(Content::StartUp { listed })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::alarm::Priority;
    use crate::units::Timestamp;

    fn listed(sump: &str) -> ListedAlarm {
        ListedAlarm {
            id: format!("{sump}/ph.low/x").into(),
            sump: sump.into(),
            title: sump.into(),
            condition: "ph.low".into(),
            priority: Priority::Medium,
            value: Some(8.1),
            unit: None,
            limit: Some(8.5),
            since: Timestamp::MIN,
            listed: Timestamp::MIN,
        }
    }

    fn told(content: Option<Content>) -> Option<Vec<String>> {
        content.map(|content| match content {
            Content::StartUp { listed } => listed.iter().map(|one| one.sump.to_string()).collect(),
            other => panic!("{other:?} is no list"),
        })
    }

    #[test]
    fn nothing_is_told_before_every_worker_has_laid_its_list_and_then_what_changes() {
        let lists = Arc::new(StartUpLists::new(2));
        let mut watcher = StartUpWatcher::new(Arc::clone(&lists));
        assert_eq!(told(watcher.look()), None);
        lists.lay(1, vec![listed("b")]);
        assert_eq!(told(watcher.look()), None);
        lists.lay(0, Vec::new());
        assert_eq!(told(watcher.look()), Some(vec!["b".to_owned()]));
        lists.lay(1, vec![listed("b")]);
        assert_eq!(told(watcher.look()), None);
        lists.lay(0, vec![listed("a")]);
        assert_eq!(
            told(watcher.look()),
            Some(vec!["a".to_owned(), "b".to_owned()])
        );
        lists.lay(0, Vec::new());
        lists.lay(1, Vec::new());
        assert_eq!(told(watcher.look()), Some(Vec::new()));
        assert_eq!(told(watcher.look()), None);
    }
}
