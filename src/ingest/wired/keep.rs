//! Keeping a wire open.

use std::fmt;
use std::time::{Duration, Instant};

use tokio_util::sync::CancellationToken;

use crate::ingest::intake::IntakeClosed;

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

/// Opens the wire, attends to it and closes it, again and again until `stop`.
pub(super) async fn keep_open(mut source: impl Attend, stop: CancellationToken) {
    let keeping = async {
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
                        Left::Closed => return,
                        Left::Lost(lost) => source.state().failed(&lost, lasted),
                    }
                }
            }
            tokio::time::sleep(pauses.after_failure(lasted)).await;
        }
    };
    tokio::select! {
        () = stop.cancelled() => {}
        () = keeping => {}
    }
}
