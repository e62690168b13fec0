//! Tells the plant how its disk and its servers of series stand, and what its sumps
//! suppress since they started after a stand-still.

use std::sync::Arc;
use std::time::{Duration, Instant};

use tokio_util::sync::CancellationToken;

use super::Clock;
use super::disk_watch::DiskWatcher;
use super::forward_watch::ForwardWatcher;
use super::plant_desk;
use super::start_up_lists::{StartUpLists, StartUpWatcher};
use crate::forward::TargetReport;
use crate::ingest::{Content, Intake};
use crate::settings::Settings;
use crate::store::Stats;

/// They are looked at this often.
const LOOK_EVERY: Duration = Duration::from_secs(1);
/// What has not turned is told again this often, as its figures go on. Choice.
const TELL_EVERY: Duration = Duration::from_secs(30);

/// Looks at them.
pub(super) struct PlantNews {
    disk: Option<DiskWatcher>,
    forwards: Vec<ForwardWatcher>,
    start_up: Option<StartUpWatcher>,
    /// What was said of each last, and when.
    said: Vec<Option<(Content, Instant)>>,
    /// The plant's place behind the sumps.
    plant: u32,
    intake: Intake,
    clock: Clock,
}

impl PlantNews {
    /// Of what the settings have an alarm for.
    pub(super) fn new(
        settings: &Settings,
        reports: &[Arc<TargetReport>],
        stats: Arc<Stats>,
        lists: Arc<StartUpLists>,
        intake: &Intake,
        clock: &Clock,
    ) -> Self {
        let watched = &settings.watched;
        let disk = watched
            .disk
            .map(|_| DiskWatcher::new(&settings.store, stats));
        let forwards = watched.forwards.iter().filter_map(|target| {
            let report = reports.iter().find(|report| report.name == target.name)?;
            Some(ForwardWatcher::new(Arc::clone(report)))
        });
        let forwards: Vec<_> = forwards.collect();
        PlantNews {
            said: vec![None; forwards.len() + 1],
            disk,
            forwards,
            start_up: watched.start_up.map(|_| StartUpWatcher::new(lists)),
            plant: settings.sumps.len() as u32,
            intake: intake.clone(),
            clock: clock.clone(),
        }
    }

    /// Looks until `stop`, and at nothing after it.
    pub(super) async fn run(mut self, stop: CancellationToken) {
        let mut every = tokio::time::interval(LOOK_EVERY);
        loop {
            tokio::select! {
                biased;
                () = stop.cancelled() => return,
                _ = every.tick() => {}
            }
            let news = self.look();
            if news.is_empty() {
                continue;
            }
            let told = plant_desk::tell(&self.intake, self.plant, &self.clock, news);
            if told.await.is_err() {
                return;
            }
        }
    }

    /// What is new.
    fn look(&mut self) -> Vec<Content> {
        let now = self.clock.now();
        let disk = self.disk.as_mut().and_then(DiskWatcher::look);
        let forwards = self.forwards.iter_mut().map(|one| one.look(now));
        let all: Vec<_> = [disk].into_iter().chain(forwards).collect();
        let mut news = Vec::new();
        for (content, said) in all.into_iter().zip(&mut self.said) {
            let Some(content) = content else { continue };
            let is_known = said
                .as_ref()
                .is_some_and(|(said, at)| is_alike(said, &content) && at.elapsed() < TELL_EVERY);
            if !is_known {
                *said = Some((content.clone(), Instant::now()));
                news.push(content);
            }
        }
        news.extend(self.start_up.as_mut().and_then(StartUpWatcher::look));
        news
    }
}

/// Whether both say the same but for figures.
fn is_alike(one: &Content, other: &Content) -> bool {
    match (one, other) {
        (Content::Disk { full: one }, Content::Disk { full: other }) => {
            one.is_some() == other.is_some()
        }
        (Content::Forward { stuck: one, .. }, Content::Forward { stuck: other, .. }) => {
            one.as_ref().map(|one| (one.kind, &one.why))
                == other.as_ref().map(|other| (other.kind, &other.why))
        }
        _ => false,
    }
}
