//! Posting a message as JSON, signed.
//!
//! The signature is HMAC-SHA-256 (RFC 2104, FIPS 180-4) over the time in
//! seconds since 1970, a dot, and the body, in hexadecimal. Refuses: to follow a
//! redirect, to read more of an answer than it must.

use std::time::Duration;

use http_body_util::{BodyExt, Full};
use hyper::body::Bytes;
use hyper::{Request, Response, StatusCode};
use hyper_util::rt::TokioIo;
use openssl::hash::MessageDigest;
use openssl::pkey::PKey;
use openssl::sign::Signer;

use crate::settings::{Secret, WebhookSettings};
use crate::store::StoredLetter;
use crate::units::Timestamp;

use super::delivery::{Stream, Undelivered, connect, encrypt, within};
use super::dialogue::Dialogue;

/// For the whole exchange. Choice: a receiver writes a message down in less.
const EXCHANGE: Duration = Duration::from_secs(15);
/// Most of an answer's head that is read, bytes.
const HEAD: usize = 16 * 1024;
/// Most of an answer's body that is read, bytes. What comes after is nobody's
/// business.
const BODY: usize = 64 * 1024;

/// Posts a message; the receiver has it once this is well.
pub(super) async fn post(
    settings: &WebhookSettings,
    letter: &StoredLetter,
    now: Timestamp,
    dialogue: &mut Dialogue,
) -> Result<(), Undelivered> {
    let exchange = exchange(settings, letter, now, dialogue);
    let status = within(EXCHANGE, "the receiver", exchange).await?;
    judge(status)
}

async fn exchange(
    settings: &WebhookSettings,
    letter: &StoredLetter,
    now: Timestamp,
    dialogue: &mut Dialogue,
) -> Result<StatusCode, Undelivered> {
    let request = request(settings, letter, now)?;
    let tcp = connect(&settings.host, settings.port, dialogue).await?;
    let stream: Box<dyn Stream> = match &settings.tls {
        Some(tls) => Box::new(encrypt(tls, &settings.host, tcp, dialogue).await?),
        None => Box::new(tcp),
    };
    let (mut sender, connection) = hyper::client::conn::http1::Builder::new()
        .max_buf_size(HEAD)
        .handshake(TokioIo::new(stream))
        .await
        .map_err(unclear)?;
    show_request(&request, dialogue);
    // Works on the connection while the answer is waited for, and no longer.
    let answering = async {
        let answer = sender.send_request(request).await.map_err(unclear)?;
        show_answer(&answer, dialogue);
        let status = answer.status();
        read_through(answer).await?;
        Ok(status)
    };
    tokio::pin!(answering);
    tokio::pin!(connection);
    tokio::select! {
        status = &mut answering => status,
        // The end of the connection may come with the end of the answer.
        _ = &mut connection => answering.await,
    }
}

fn request(
    settings: &WebhookSettings,
    letter: &StoredLetter,
    now: Timestamp,
) -> Result<Request<Full<Bytes>>, Undelivered> {
    let usual = if settings.tls.is_some() { 443 } else { 80 };
    let host = match settings.port {
        port if port == usual => settings.host.clone(),
        port => format!("{}:{port}", settings.host),
    };
    let seconds = now.millis().div_euclid(1000);
    Request::post(&settings.target)
        .header("host", host)
        .header(
            "user-agent",
            concat!("sumpward/", env!("CARGO_PKG_VERSION")),
        )
        .header("content-type", "application/json")
        .header("connection", "close")
        .header("sumpward-id", &letter.message)
        .header("sumpward-time", seconds)
        .header(
            "sumpward-signature",
            signature(&settings.secret, seconds, &letter.payload),
        )
        .body(Full::new(Bytes::from(letter.payload.clone())))
        .map_err(|error| Undelivered::Refused(format!("it cannot be posted: {error}")))
}

/// `sha256=` and the signature in hexadecimal.
pub(super) fn signature(secret: &Secret, seconds: i64, body: &str) -> String {
    let signed = PKey::hmac(secret.reveal().as_bytes()).and_then(|key| {
        let mut signer = Signer::new(MessageDigest::sha256(), &key)?;
        signer.update(format!("{seconds}.").as_bytes())?;
        signer.update(body.as_bytes())?;
        signer.sign_to_vec()
    });
    let bytes = signed.expect("HMAC-SHA-256 takes every key and every text");
    let digits = bytes.iter().map(|byte| format!("{byte:02x}"));
    format!("sha256={}", digits.collect::<String>())
}

/// Reads the answer to its end, or to the most that is read: one that is cut
/// off confirms nothing.
async fn read_through(answer: Response<hyper::body::Incoming>) -> Result<(), Undelivered> {
    let mut body = answer.into_body();
    let mut read = 0;
    while let Some(frame) = body.frame().await {
        let frame = frame.map_err(unclear)?;
        read += frame.data_ref().map_or(0, Bytes::len);
        if read > BODY {
            break;
        }
    }
    Ok(())
}

fn unclear(error: hyper::Error) -> Undelivered {
    let mut why = format!("no clear answer: {error}");
    let mut source = std::error::Error::source(&error);
    while let Some(inner) = source {
        why = format!("{why}: {inner}");
        source = inner.source();
    }
    Undelivered::Passing(why)
}

/// 2xx is well. Of what is the sender's fault (4xx) only 408 and 429 can pass.
fn judge(status: StatusCode) -> Result<(), Undelivered> {
    let why = format!("the receiver answered {status}");
    match status {
        status if status.is_success() => Ok(()),
        StatusCode::REQUEST_TIMEOUT | StatusCode::TOO_MANY_REQUESTS => {
            Err(Undelivered::Passing(why))
        }
        status if status.is_client_error() => Err(Undelivered::Refused(why)),
        status if status.is_redirection() => Err(Undelivered::Passing(format!(
            "{why}; redirects are not followed, write the right url"
        ))),
        _ => Err(Undelivered::Passing(why)),
    }
}

fn show_request(request: &Request<Full<Bytes>>, dialogue: &mut Dialogue) {
    // What stands in a query may be a secret.
    let query = request.uri().query().map_or("", |_| "?(not shown)");
    dialogue.ours(format_args!(
        "POST {}{query} HTTP/1.1",
        request.uri().path()
    ));
    for (name, value) in request.headers() {
        dialogue.ours(format_args!("{name}: {}", value.to_str().unwrap_or("…")));
    }
}

fn show_answer(answer: &Response<hyper::body::Incoming>, dialogue: &mut Dialogue) {
    dialogue.theirs(format_args!("{:?} {}", answer.version(), answer.status()));
    for (name, value) in answer.headers() {
        let value = String::from_utf8_lossy(value.as_bytes()).into_owned();
        dialogue.theirs(format_args!("{name}: {value}"));
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The worked example of the README; worked out with `openssl dgst`.
    #[test]
    fn the_worked_example_of_the_signature_holds() {
        let secret = Secret::new("0123456789abcdef0123456789abcdef");
        let body = r#"{"id":"north.mill-4.1795900000000.7.anna"}"#;
        assert_eq!(
            signature(&secret, 1_795_900_000, body),
            "sha256=675e9795fccc5cf872b0bb4aec7751e94760e3f04d43ddd1f3b0760bab7c7eda"
        );
    }

    #[test]
    fn what_is_final_and_what_is_not() {
        let judged = |code| judge(StatusCode::from_u16(code).unwrap());
        for code in [200, 201, 202, 204] {
            assert_eq!(judged(code), Ok(()), "{code}");
        }
        for code in [301, 302, 307, 408, 429, 500, 502, 503] {
            assert!(
                matches!(judged(code), Err(Undelivered::Passing(_))),
                "{code}"
            );
        }
        for code in [400, 401, 403, 404, 410, 422] {
            assert!(
                matches!(judged(code), Err(Undelivered::Refused(_))),
                "{code}"
            );
        }
    }
}
