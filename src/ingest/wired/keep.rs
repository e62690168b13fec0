//! Keeping a wire open.

use std::convert::Infallible;
use std::fmt;
use std::time::{Duration, Instant};

use tokio_util::sync::CancellationToken;

use crate::ingest::intake::IntakeClosed;

use super::deliver::Deliver;
use super::pause::Pauses;
use super::state::State;
use super::wire::Lost;

/// A source while its wire comes and goes.
pub(super) trait Attend: Send {
    /// The wire.
    type Wire: Send;
    /// Why it does not open.
    type Refusal: fmt::Display + Send;

    /// Opens the wire.
    fn open(&mut self) -> impl Future<Output = Result<Self::Wire, Self::Refusal>> + Send;

    /// Reads an open wire until it is lost, or nobody takes readings any more.
    fn attend(&mut self, wire: Self::Wire) -> impl Future<Output = Left> + Send;

    /// Where its readings go.
    fn deliver(&mut self) -> &mut Deliver;

    /// How the wire does.
    fn state(&mut self) -> &mut State;
}

/// Why a wire is left.
#[derive(Debug)]
pub(super) enum Left {
    /// Nobody takes readings any more.
    Closed,
    /// It was lost.
    Lost(Lost),
}

impl From<IntakeClosed> for Left {
    fn from(_: IntakeClosed) -> Self {
        Left::Closed
    }
}

impl From<Lost> for Left {
    fn from(lost: Lost) -> Self {
        Left::Lost(lost)
    }
}

/// When the daemon stops, a store that is slow is waited for so long.
const LEAVING: Duration = Duration::from_secs(2);

/// Opens the wire, attends to it and closes it, again and again until `stop`.
pub(super) async fn keep_open(mut source: impl Attend, stop: CancellationToken) {
    tokio::select! {
        () = stop.cancelled() => {}
        _ = keep(&mut source) => {}
    }
    let handed = tokio::time::timeout(LEAVING, source.deliver().hand_on()).await;
    if !matches!(handed, Ok(Ok(()))) {
        source.deliver().give_up();
    }
}

async fn keep(source: &mut impl Attend) -> Result<Infallible, IntakeClosed> {
    let mut pauses = Pauses::default();
    loop {
        let mut lasted = Duration::ZERO;
        match source.open().await {
            Err(refusal) => source.state().failed(&refusal, lasted),
            Ok(wire) => {
                source.state().opened();
                let since = Instant::now();
                // The wire is closed when this is done, before it is opened
                // again.
                let left = source.attend(wire).await;
                lasted = since.elapsed();
                match left {
                    Left::Closed => return Err(IntakeClosed),
                    Left::Lost(lost) => source.state().failed(&lost, lasted),
                }
            }
        }
        pause(source.deliver(), pauses.after_failure(lasted)).await?;
    }
}

/// Waits, and meanwhile hands on what is held still.
async fn pause(deliver: &mut Deliver, pause: Duration) -> Result<(), IntakeClosed> {
    let over = tokio::time::sleep(pause);
    tokio::pin!(over);
    tokio::select! {
        handed = deliver.hand_on() => handed?,
        () = &mut over => return Ok(()),
    }
    over.await;
    Ok(())
}

#[cfg(test)]
mod tests {
    use std::sync::Arc;

    use tokio::sync::{Notify, mpsc};

    use super::*;
    use crate::ingest::intake::Batch;
    use crate::ingest::wired::deliver::tests::deliver;
    use crate::ingest::wired::state::tests::port;
    use crate::units::Timestamp;

    const NOW: Timestamp = Timestamp::from_millis(1_700_000_000_000);

    /// A wire that gives three values, and then waits for the shard.
    struct Three {
        deliver: Deliver,
        state: State,
        waits: Arc<Notify>,
    }

    impl Attend for Three {
        type Wire = ();
        type Refusal = Infallible;

        async fn open(&mut self) -> Result<(), Infallible> {
            Ok(())
        }

        async fn attend(&mut self, (): ()) -> Left {
            for number in [1.0, 2.0, 3.0] {
                self.deliver.value(0, number, "here");
            }
            self.waits.notify_one();
            match self.deliver.hand_on().await {
                Ok(()) => std::future::pending().await,
                Err(closed) => closed.into(),
            }
        }

        fn deliver(&mut self) -> &mut Deliver {
            &mut self.deliver
        }

        fn state(&mut self) -> &mut State {
            &mut self.state
        }
    }

    /// Stops a wire that waits for a full shard with its three values; `then` is
    /// what becomes of the shard. Gives how many readings that held before.
    async fn stop(then: impl AsyncFnOnce(mpsc::Receiver<Batch>)) -> usize {
        let (mut deliver, room) = deliver();
        while room.len() < room.max_capacity() {
            deliver.value(0, 0.0, "here");
            deliver.hand_on().await.unwrap();
        }
        let before = room.len();
        let waits = Arc::new(Notify::new());
        let wire = Three {
            deliver,
            state: State::new(Arc::new(port()), Arc::new(|| NOW)),
            waits: Arc::clone(&waits),
        };
        let stop = CancellationToken::new();
        let stopping = async {
            waits.notified().await;
            stop.cancel();
            // The stop is seen while the shard is full still.
            tokio::task::yield_now().await;
            then(room).await;
        };
        tokio::join!(keep_open(wire, stop.clone()), stopping);
        before
    }

    #[tokio::test]
    async fn readings_that_wait_for_a_busy_shard_are_handed_on_at_the_stop() {
        let mut got = 0;
        let before = stop(async |mut room| {
            while let Some(batch) = room.recv().await {
                got += batch.arrived.len();
            }
        });
        let before = before.await;
        assert_eq!(got, before + 3);
    }
}
