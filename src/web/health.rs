//! `/healthz`: the process lives. `/readyz`: readings come through, since the
//! store commits.

use std::sync::Arc;
use std::sync::atomic::Ordering::Relaxed;
use std::sync::{Mutex, PoisonError};
use std::time::{Duration, Instant};

use axum::Router;
use axum::extract::State;
use axum::http::StatusCode;
use axum::routing::get;
use tokio_util::sync::CancellationToken;

use crate::store;

/// How often it is looked whether the store committed.
const LOOK_EVERY: Duration = Duration::from_secs(1);
/// The engine keeps each watch once a minute, readings or not; where nothing
/// was committed for twice as long, something stands still.
const STILL: Duration = Duration::from_secs(120);

/// Whether readings come through.
#[derive(Debug, Clone)]
pub struct Health {
    stats: Arc<store::Stats>,
    pulse: Arc<Mutex<Pulse>>,
}

/// The last commit that was seen.
#[derive(Debug, Default)]
struct Pulse {
    commits: u64,
    at: Option<Instant>,
}

impl Health {
    /// By what the writer has done.
    pub fn new(stats: Arc<store::Stats>) -> Self {
        Health {
            stats,
            pulse: Arc::default(),
        }
    }

    /// Looks after the commits until `stop`.
    pub async fn watch(self, stop: CancellationToken) {
        let mut every = tokio::time::interval(LOOK_EVERY);
        loop {
            tokio::select! {
                () = stop.cancelled() => return,
                _ = every.tick() => self.look(Instant::now()),
            }
        }
    }

    fn look(&self, now: Instant) {
        let commits = self.stats.commits.load(Relaxed);
        let mut pulse = self.pulse.lock().unwrap_or_else(PoisonError::into_inner);
        if commits > pulse.commits {
            *pulse = Pulse {
                commits,
                at: Some(now),
            };
        }
    }

    /// What is amiss; nothing where readings come through.
    fn amiss(&self, now: Instant) -> Option<&'static str> {
        self.look(now);
        if self.stats.failing.load(Relaxed) {
            return Some("the store cannot write");
        }
        let pulse = self.pulse.lock().unwrap_or_else(PoisonError::into_inner);
        match pulse.at {
            None => Some("starting"),
            Some(at) if now.duration_since(at) > STILL => {
                Some("nothing was stored for two minutes")
            }
            Some(_) => None,
        }
    }
}

/// The pages.
pub fn routes(health: Health) -> Router {
    Router::new()
        .route("/healthz", get(async || "alive\n"))
        .route("/readyz", get(ready))
        .with_state(health)
}

async fn ready(State(health): State<Health>) -> (StatusCode, String) {
    match health.amiss(Instant::now()) {
        None => (StatusCode::OK, "ready\n".to_owned()),
        Some(why) => (
            StatusCode::SERVICE_UNAVAILABLE,
            format!("not ready: {why}\n"),
        ),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn readiness_follows_the_commits() {
        let stats = Arc::new(store::Stats::default());
        let health = Health::new(Arc::clone(&stats));
        let start = Instant::now();
        assert_eq!(health.amiss(start), Some("starting"));
        stats.commits.store(1, Relaxed);
        assert_eq!(health.amiss(start), None);
        assert_eq!(health.amiss(start + STILL), None);
        let late = start + STILL + Duration::from_secs(1);
        assert_eq!(
            health.amiss(late),
            Some("nothing was stored for two minutes")
        );
        stats.commits.store(2, Relaxed);
        assert_eq!(health.amiss(late), None);
        stats.failing.store(true, Relaxed);
        assert_eq!(health.amiss(late), Some("the store cannot write"));
    }
}
