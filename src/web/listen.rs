//! The socket and the connections on it.

use std::io;
use std::net::{SocketAddr, TcpListener as StdListener};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::Duration;

use axum::Router;
use axum::middleware;
use hyper::body::Incoming;
use hyper::server::conn::http1;
use hyper::service::service_fn;
use hyper_util::rt::{TokioIo, TokioTimer};
use hyper_util::service::TowerToHyperService;
use tokio::net::{TcpListener, TcpStream};
use tokio::task::{JoinError, JoinSet};
use tokio::time::{sleep, timeout};
use tokio_util::sync::CancellationToken;

use super::guard::guard;
use super::mishaps::{Mishap, Mishaps};

/// Connections that are heard at once.
pub const CONNECTIONS: usize = 64;
/// Largest head of a request, bytes, and most lines of it.
const LARGEST_HEAD: usize = 16 << 10;
/// See [`LARGEST_HEAD`].
const MOST_HEADERS: usize = 64;
/// A head must be there after so long, the first byte of it included: whoever
/// writes slowly, or not at all, is cut.
const HEAD_WITHIN: Duration = Duration::from_secs(10);
/// A connection ends after so long, whatever goes on: whoever reads slowly is
/// cut.
const LONGEST_STAY: Duration = Duration::from_secs(120);
/// For answers under way, when the daemon stops or a stay ends.
const LEAVING: Duration = Duration::from_secs(2);
/// Pause after a connection could not be taken on.
const ACCEPT_PAUSE: Duration = Duration::from_millis(100);
/// Said to those who are too many.
const CROWDED: &[u8] =
    b"HTTP/1.1 503 Service Unavailable\r\nconnection: close\r\nretry-after: 5\r\ncontent-length: 0\r\n\r\n";

/// Why there are no pages.
#[derive(Debug, thiserror::Error)]
#[error(
    "the pages cannot be served on {address}: {source}; name another web.listen, or stop what listens there"
)]
pub struct ListenError {
    address: SocketAddr,
    source: io::Error,
}

/// A socket that is bound and not heard yet.
#[derive(Debug)]
pub struct Listener {
    socket: StdListener,
    /// Where it listens.
    pub address: SocketAddr,
}

impl Listener {
    /// Binds the address.
    ///
    /// # Errors
    /// When somebody else has it, or it may not be bound.
    pub fn bind(address: SocketAddr) -> Result<Self, ListenError> {
        let bound = StdListener::bind(address).and_then(|socket| {
            socket.set_nonblocking(true)?;
            Ok(socket)
        });
        let socket = bound.map_err(|source| ListenError { address, source })?;
        Ok(Listener { socket, address })
    }

    /// Serves these pages until `stop`; answers under way may then end, for a
    /// moment.
    ///
    /// # Errors
    /// When the runtime cannot take the socket.
    pub async fn serve(
        self,
        pages: Router,
        mishaps: Mishaps,
        stop: CancellationToken,
    ) -> io::Result<()> {
        let listener = TcpListener::from_std(self.socket)?;
        let guarded = middleware::from_fn_with_state(mishaps.clone(), guard);
        let server = Server {
            pages: pages.layer(guarded),
            mishaps,
            stop,
        };
        server.listen(&listener).await;
        Ok(())
    }
}

#[derive(Clone)]
struct Server {
    pages: Router,
    mishaps: Mishaps,
    stop: CancellationToken,
}

impl Server {
    async fn listen(self, listener: &TcpListener) {
        let mut peers = JoinSet::new();
        loop {
            tokio::select! {
                () = self.stop.cancelled() => break,
                Some(ended) = peers.join_next() => self.ended(&ended),
                accepted = listener.accept() => match accepted {
                    Ok((peer, _)) if peers.len() < CONNECTIONS => {
                        peers.spawn(self.clone().converse(peer));
                    }
                    Ok((peer, _)) => {
                        self.mishaps.tell(Mishap::Crowded);
                        // Whether it hears that or not, it is not let in.
                        let _ = peer.try_write(CROWDED);
                    }
                    Err(_) => {
                        self.mishaps.tell(Mishap::NotLetIn);
                        sleep(ACCEPT_PAUSE).await;
                    }
                },
            }
        }
        // Each of them has been told; what does not end in time is dropped.
        let _ = timeout(LEAVING, async {
            while let Some(ended) = peers.join_next().await {
                self.ended(&ended);
            }
        })
        .await;
    }

    fn ended(&self, ended: &Result<(), JoinError>) {
        if ended.as_ref().is_err_and(JoinError::is_panic) {
            self.mishaps.tell(Mishap::Fault);
        }
    }

    async fn converse(self, peer: TcpStream) {
        let asked = Arc::new(AtomicBool::new(false));
        let pages = TowerToHyperService::new(self.pages);
        let noted = Arc::clone(&asked);
        let service = service_fn(move |request: hyper::Request<Incoming>| {
            noted.store(true, Ordering::Relaxed);
            hyper::service::Service::call(&pages, request)
        });
        let mut builder = http1::Builder::new();
        builder
            .timer(TokioTimer::new())
            .header_read_timeout(HEAD_WITHIN)
            .max_headers(MOST_HEADERS)
            .max_buf_size(LARGEST_HEAD);
        let connection = builder.serve_connection(TokioIo::new(peer), service);
        tokio::pin!(connection);
        let ended = tokio::select! {
            ended = connection.as_mut() => Some(ended),
            () = self.stop.cancelled() => None,
            () = sleep(LONGEST_STAY) => None,
        };
        let ended = match ended {
            Some(ended) => ended,
            None => {
                connection.as_mut().graceful_shutdown();
                timeout(LEAVING, connection).await.unwrap_or(Ok(()))
            }
        };
        match ended {
            // A connection that was used and then kept open may run out.
            Err(error) if error.is_timeout() && !asked.load(Ordering::Relaxed) => {
                self.mishaps.tell(Mishap::SlowHead);
            }
            Err(error) if error.is_parse() => self.mishaps.tell(Mishap::Unreadable),
            // Whoever went away in between is nobody's mishap.
            _ => {}
        }
    }
}
