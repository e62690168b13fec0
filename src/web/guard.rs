//! What holds for every page: how long and how much is read, how long an answer
//! may take, and what browsers are told not to do.

use std::error::Error as _;
use std::time::Duration;

use axum::body::{Body, to_bytes};
use axum::extract::{Request, State};
use axum::http::header::{
    CACHE_CONTROL, CONTENT_SECURITY_POLICY, HeaderName, REFERRER_POLICY, X_CONTENT_TYPE_OPTIONS,
};
use axum::http::{HeaderMap, HeaderValue, StatusCode};
use axum::middleware::Next;
use axum::response::{IntoResponse, Response};
use http_body_util::LengthLimitError;
use tokio::time::timeout;

use super::mishaps::{Mishap, Mishaps};

/// Longest body of a request, bytes: many times a form of ours.
pub const LONGEST_BODY: usize = 8 << 10;
/// A body must be there after so long.
const BODY_WITHIN: Duration = Duration::from_secs(10);
/// An answer must be ready after so long. A disk that refuses holds one up.
const ANSWER_WITHIN: Duration = Duration::from_secs(30);

/// What a page without a policy of its own may do: nothing.
const POLICY: &str = "default-src 'none'; base-uri 'none'; form-action 'none'; \
                      frame-ancestors 'none'";

/// Reads the body, lets the page answer, and puts on what all answers bear.
pub(super) async fn guard(
    State(mishaps): State<Mishaps>,
    request: Request,
    next: Next,
) -> Response {
    let mut answer = match whole(request).await {
        Ok(request) => match timeout(ANSWER_WITHIN, next.run(request)).await {
            Ok(answer) => answer,
            Err(_) => {
                mishaps.tell(Mishap::LateAnswer);
                plain(StatusCode::SERVICE_UNAVAILABLE, "no answer yet; try again")
            }
        },
        Err(mishap) => {
            mishaps.tell(mishap);
            match mishap {
                Mishap::LongBody => plain(StatusCode::PAYLOAD_TOO_LARGE, "too long"),
                _ => plain(StatusCode::REQUEST_TIMEOUT, "too slow"),
            }
        }
    };
    put_on(answer.headers_mut());
    answer
}

fn plain(status: StatusCode, words: &'static str) -> Response {
    (status, words).into_response()
}

/// The request with its body read.
async fn whole(request: Request) -> Result<Request, Mishap> {
    let (head, body) = request.into_parts();
    let read = timeout(BODY_WITHIN, to_bytes(body, LONGEST_BODY)).await;
    let read = read.map_err(|_| Mishap::SlowBody)?;
    let body = read.map_err(|error| {
        let too_long = error
            .source()
            .is_some_and(<dyn std::error::Error>::is::<LengthLimitError>);
        if too_long {
            Mishap::LongBody
        } else {
            Mishap::SlowBody
        }
    })?;
    Ok(Request::from_parts(head, Body::from(body)))
}

/// No answer is kept anywhere, framed, guessed at, or told of to other sites. A
/// page may bring a policy of its own.
fn put_on(headers: &mut HeaderMap) {
    let always: [(HeaderName, &str); 4] = [
        (CACHE_CONTROL, "no-store"),
        (REFERRER_POLICY, "no-referrer"),
        (X_CONTENT_TYPE_OPTIONS, "nosniff"),
        (HeaderName::from_static("x-frame-options"), "DENY"),
    ];
    for (name, value) in always {
        headers.insert(name, HeaderValue::from_static(value));
    }
    headers
        .entry(CONTENT_SECURITY_POLICY)
        .or_insert(HeaderValue::from_static(POLICY));
}
