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
