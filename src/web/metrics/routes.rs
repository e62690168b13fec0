//! The answer to `GET /metrics`.

use std::sync::Arc;
use std::time::{Duration, Instant};

use axum::Router;
use axum::body::Bytes;
use axum::extract::State;
use axum::http::header::{ACCEPT, CONTENT_TYPE, VARY};
use axum::http::{HeaderMap, StatusCode};
use axum::response::{IntoResponse, Response};
use axum::routing::get;
use tokio::sync::Mutex;

use super::accept::Format;
use super::figures::Scrape;
use super::gather::Gather;
use super::text::expose;

/// For so long a scrape is answered with what the one before told. Choice: no
/// collector asks more often, and many that ask at once cost no more than one.
const KEPT: Duration = Duration::from_secs(1);

/// Answers `/metrics`; the sumps take at most `max_series` lines.
pub fn routes(gather: Gather, max_series: usize) -> Router {
    let desk = Desk {
        gather,
        max_series,
        kept: Mutex::new(None),
    };
    Router::new()
        .route("/metrics", get(answer))
        .with_state(Arc::new(desk))
}

struct Desk {
    gather: Gather,
    max_series: usize,
    kept: Mutex<Option<Kept>>,
}

/// A scrape, and the texts that were made of it.
struct Kept {
    at: Instant,
    scrape: Arc<Scrape>,
    texts: Vec<(Format, Bytes)>,
}

async fn answer(State(desk): State<Arc<Desk>>, headers: HeaderMap) -> Response {
    let accept = headers.get_all(ACCEPT).iter();
    let accept: Vec<&str> = accept.filter_map(|value| value.to_str().ok()).collect();
    let accept = accept.join(",");
    let format = Format::accepted(Some(&*accept).filter(|accept| !accept.is_empty()));
    match desk.text(format).await {
        Some(text) => {
            let headers = [(CONTENT_TYPE, format.content_type()), (VARY, "Accept")];
            (headers, text).into_response()
        }
        None => (
            StatusCode::INTERNAL_SERVER_ERROR,
            "the values could not be written; see the daemon's log\n",
        )
            .into_response(),
    }
}

impl Desk {
    /// The newest text that is no older than [`KEPT`]. Those who ask at the same
    /// time wait for the first of them.
    async fn text(&self, format: Format) -> Option<Bytes> {
        let mut kept = self.kept.lock().await;
        let now = match kept.take().filter(|kept| kept.at.elapsed() < KEPT) {
            Some(fresh) => fresh,
            None => Kept {
                scrape: Arc::new(self.gather.scrape().await),
                at: Instant::now(),
                texts: Vec::new(),
            },
        };
        let now = kept.insert(now);
        if let Some((_, text)) = now.texts.iter().find(|(known, _)| *known == format) {
            return Some(text.clone());
        }
        let (scrape, max_series) = (Arc::clone(&now.scrape), self.max_series);
        // Some megabytes of text are not for the thread that everything waits on.
        let written = tokio::task::spawn_blocking(move || expose(&scrape, format, max_series));
        let written = written.await.inspect_err(|error| {
            tracing::error!("a scrape could not be written ({error}); report it");
        });
        let text = Bytes::from(written.ok()?.text);
        now.texts.push((format, text.clone()));
        Some(text)
    }
}
