//! Where the shards lay how their sumps stand, for whoever asked.

use std::sync::atomic::AtomicU64;
use std::sync::atomic::Ordering::{AcqRel, Acquire, Relaxed, Release};
use std::sync::{Arc, Mutex, PoisonError};
use std::time::Duration;

use tokio::sync::Notify;

use super::figures::ShardFigures;
use crate::engine::{AlarmCounts, SumpFigures};

/// One place for each shard.
#[derive(Debug)]
pub struct Board {
    /// How often somebody has asked.
    asked: AtomicU64,
    places: Vec<Place>,
    /// Woken when a shard has laid something down.
    news: Notify,
}

/// What one shard lays down.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Laid {
    /// Its sumps, in their order.
    pub sumps: Vec<SumpFigures>,
    /// The plant's own alarms, where the shard has its watch.
    pub plant: Option<AlarmCounts>,
}

#[derive(Debug, Default)]
struct Place {
    laid: Mutex<Arc<Laid>>,
    /// Up to which question it has answered.
    answered: AtomicU64,
    busy_us: AtomicU64,
    contents: AtomicU64,
    late: AtomicU64,
}

impl Board {
    /// For so many shards.
    pub fn new(shards: usize) -> Self {
        Board {
            asked: AtomicU64::new(0),
            places: (0..shards).map(|_| Place::default()).collect(),
            news: Notify::new(),
        }
    }

    /// The question that a shard has not answered yet.
    #[inline]
    pub fn question(&self, shard: usize) -> Option<u64> {
        let asked = self.asked.load(Acquire);
        (asked != self.places[shard].answered.load(Relaxed)).then_some(asked)
    }

    /// A shard's answer.
    pub fn lay(&self, shard: usize, question: u64, laid: Laid) {
        let place = &self.places[shard];
        *place.laid.lock().unwrap_or_else(PoisonError::into_inner) = Arc::new(laid);
        place.answered.store(question, Release);
        self.news.notify_waiters();
    }

    /// A shard worked for so long on so many readings and the like.
    pub fn count_work(&self, shard: usize, time: Duration, contents: usize) {
        let place = &self.places[shard];
        let micros = u64::try_from(time.as_micros()).unwrap_or(u64::MAX);
        place.busy_us.fetch_add(micros, Relaxed);
        place.contents.fetch_add(contents as u64, Relaxed);
    }

    /// A shard kept so many values as late.
    pub fn count_late(&self, shard: usize, late: u64) {
        if late > 0 {
            self.places[shard].late.fetch_add(late, Relaxed);
        }
    }

    /// What all shards have laid down, asked for now; of one that does not answer
    /// within `patience`, what it laid down last. Whether all have answered.
    pub async fn ask(&self, patience: Duration) -> (Vec<Arc<Laid>>, bool) {
        let question = self.asked.fetch_add(1, AcqRel) + 1;
        let answers = async {
            loop {
                let news = self.news.notified();
                if self.is_answered(question) {
                    return;
                }
                news.await;
            }
        };
        let all = tokio::time::timeout(patience, answers).await.is_ok();
        let laid = self.places.iter().map(|place| {
            let laid = place.laid.lock().unwrap_or_else(PoisonError::into_inner);
            Arc::clone(&laid)
        });
        (laid.collect(), all)
    }

    fn is_answered(&self, question: u64) -> bool {
        let mut places = self.places.iter();
        places.all(|place| place.answered.load(Acquire) >= question)
    }

    /// What a shard has done; what waits for it is not known here.
    pub fn work(&self, shard: usize) -> ShardFigures {
        let place = &self.places[shard];
        ShardFigures {
            busy_s: place.busy_us.load(Relaxed) as f64 / 1e6,
            contents: place.contents.load(Relaxed),
            late: place.late.load(Relaxed),
            ..ShardFigures::default()
        }
    }

    /// How many shards there are.
    pub fn shards(&self) -> usize {
        self.places.len()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[tokio::test]
    async fn whoever_asks_gets_answers_to_that_question() {
        let board = Arc::new(Board::new(2));
        assert_eq!(board.question(0), None);
        let asking = tokio::spawn({
            let board = Arc::clone(&board);
            async move { board.ask(Duration::from_secs(60)).await }
        });
        for shard in 0..2 {
            let question = loop {
                match board.question(shard) {
                    Some(question) => break question,
                    None => tokio::task::yield_now().await,
                }
            };
            let plant = (shard == 1).then(AlarmCounts::default);
            let sumps = Vec::new();
            board.lay(shard, question, Laid { sumps, plant });
            assert_eq!(board.question(shard), None);
        }
        let (laid, all) = asking.await.unwrap();
        assert!(all && laid[0].plant.is_none() && laid[1].plant.is_some());
    }

    #[tokio::test]
    async fn a_shard_that_does_not_answer_holds_nobody_up() {
        let board = Board::new(1);
        board.lay(
            0,
            0,
            Laid {
                sumps: Vec::new(),
                plant: Some(AlarmCounts::default()),
            },
        );
        let (laid, all) = board.ask(Duration::from_millis(1)).await;
        assert!(!all && laid[0].plant.is_some());
    }
}
