//! The socket and the conversations on it.

use std::fs::{self, Permissions};
use std::io;
use std::os::unix::fs::{FileTypeExt, PermissionsExt};
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::time::{Duration, Instant};

use tokio::io::{AsyncBufRead, AsyncBufReadExt, AsyncReadExt, AsyncWriteExt, BufReader};
use tokio::net::{UnixListener, UnixStream};
use tokio::task::JoinSet;
use tokio::time::timeout;
use tokio_util::sync::CancellationToken;

use super::Control;
use super::shape::{Answer, Message};

/// The socket's name in the store's folder.
pub const SOCKET_NAME: &str = "control.sock";
/// Its name while others might still enter; no longer than the other.
const UNREADY_NAME: &str = "control.new";
/// Longest line of a request, bytes.
pub const LONGEST_LINE: usize = 512 << 10;
/// Peers that are heard at once.
pub const CONNECTIONS: usize = 8;

/// A line that has begun must be there after so long, and an answer be read.
const PATIENCE: Duration = Duration::from_secs(10);
/// A peer that asks nothing for so long is cut.
const IDLE: Duration = Duration::from_secs(300);
/// For requests under way, when the daemon stops.
const LEAVING: Duration = Duration::from_secs(2);
/// Pause after a peer could not be let in.
const ACCEPT_PAUSE: Duration = Duration::from_millis(100);
/// Cut peers are told in the log at most so often.
const TELL_EVERY: Duration = Duration::from_secs(60);
/// `sun_path` of unix(7) with its closing zero, bytes.
const LONGEST_PATH: usize = 107;

/// Why there is no socket.
#[derive(Debug, thiserror::Error)]
pub enum SocketError {
    /// The system has no room for the path.
    #[error(
        "the control socket's path {} has {} bytes, and at most {LONGEST_PATH} fit; name a shorter store.folder, perhaps a relative one",
        path.display(),
        path.as_os_str().len()
    )]
    TooLong {
        /// The path.
        path: PathBuf,
    },
    /// Something else lies there.
    #[error("{} is in the way of the control socket and is none; move it away", path.display())]
    InTheWay {
        /// The path.
        path: PathBuf,
    },
    /// The system refuses.
    #[error("the control socket {} cannot be opened: {source}", path.display())]
    Open {
        /// The path.
        path: PathBuf,
        /// Why.
        source: io::Error,
    },
}

/// Why a peer is cut.
#[derive(Debug, thiserror::Error)]
enum Cut {
    #[error("its line is longer than {LONGEST_LINE} bytes")]
    TooLong,
    #[error("it takes longer than {} s over a line", PATIENCE.as_secs())]
    Slow,
    #[error("it asked nothing for {} s", IDLE.as_secs())]
    Idle,
    #[error(transparent)]
    Io(#[from] io::Error),
}

/// Opens the socket in `folder`. Whoever holds the folder's lock may take a
/// socket away that a daemon left there which did not stop in good order.
pub(super) fn open(folder: &Path) -> Result<UnixListener, SocketError> {
    let path = folder.join(SOCKET_NAME);
    if path.as_os_str().len() > LONGEST_PATH {
        return Err(SocketError::TooLong { path });
    }
    // Bound under another name, so that the socket has its name only once
    // nobody else may enter.
    let unready = folder.join(UNREADY_NAME);
    let bind = || {
        if fs::symlink_metadata(&unready).is_ok() {
            fs::remove_file(&unready)?;
        }
        let listener = UnixListener::bind(&unready)?;
        fs::set_permissions(&unready, Permissions::from_mode(0o600))?;
        fs::rename(&unready, &path)?;
        Ok(listener)
    };
    match fs::symlink_metadata(&path) {
        Ok(found) if !found.file_type().is_socket() => Err(SocketError::InTheWay { path }),
        _ => bind().map_err(|source| SocketError::Open {
            path: path.clone(),
            source,
        }),
    }
}

impl Control {
    /// Listens until `stop`; without a socket it says so and goes on without.
    pub async fn run(self, stop: CancellationToken) {
        match open(&self.folder) {
            Ok(listener) => {
                let path = self.folder.join(SOCKET_NAME);
                Arc::new(self).listen(&listener, &stop).await;
                // The lock is still held, so that it is ours.
                let _ = fs::remove_file(path);
            }
            Err(error) => {
                tracing::error!(
                    "{error}; until then entries come over MQTT only, and nothing can be imported"
                );
                stop.cancelled().await;
            }
        }
    }

    async fn listen(self: Arc<Self>, listener: &UnixListener, stop: &CancellationToken) {
        let mut peers = JoinSet::new();
        let mut cuts = Cuts::default();
        loop {
            tokio::select! {
                () = stop.cancelled() => break,
                Some(ended) = peers.join_next() => {
                    if let Ok(Err(cut)) = ended {
                        cuts.tell(&cut);
                    }
                }
                accepted = listener.accept() => match accepted {
                    Ok((peer, _)) if peers.len() < CONNECTIONS => {
                        let control = Arc::clone(&self);
                        peers.spawn(control.converse(peer, stop.clone()));
                    }
                    Ok((peer, _)) => turn_away(peer).await,
                    Err(error) => {
                        tracing::warn!("a peer of the control socket was not let in: {error}");
                        tokio::time::sleep(ACCEPT_PAUSE).await;
                    }
                },
            }
        }
        // What is under way is on its way to the store and may still be answered.
        let _ = timeout(LEAVING, async {
            while peers.join_next().await.is_some() {}
        })
        .await;
    }

    async fn converse(
        self: Arc<Self>,
        peer: UnixStream,
        stop: CancellationToken,
    ) -> Result<(), Cut> {
        let (read, mut write) = peer.into_split();
        let mut read = BufReader::new(read);
        let mut line = Vec::new();
        loop {
            tokio::select! {
                biased;
                () = stop.cancelled() => return Ok(()),
                came = next_line(&mut read, &mut line) => match came {
                    Ok(true) => {}
                    Ok(false) => return Ok(()),
                    Err(cut) => {
                        let why = cut.to_string();
                        let _ = say(&mut write, Answer::Refused { why }).await;
                        return Err(cut);
                    }
                },
            }
            let answer = self.answer(&line).await;
            say(&mut write, answer).await?;
        }
    }
}

/// Reads the next line; `false` at the end.
async fn next_line(
    read: &mut (impl AsyncBufRead + Unpin),
    line: &mut Vec<u8>,
) -> Result<bool, Cut> {
    line.clear();
    let begun = timeout(IDLE, read.fill_buf())
        .await
        .map_err(|_| Cut::Idle)?;
    if begun?.is_empty() {
        return Ok(false);
    }
    let mut bounded = read.take(LONGEST_LINE as u64 + 1);
    let rest = bounded.read_until(b'\n', line);
    timeout(PATIENCE, rest).await.map_err(|_| Cut::Slow)??;
    match line.last() {
        Some(b'\n') => Ok(true),
        _ if line.len() > LONGEST_LINE => Err(Cut::TooLong),
        // The peer went away in the middle of a line.
        _ => Ok(false),
    }
}

async fn say(write: &mut (impl AsyncWriteExt + Unpin), answer: Answer) -> Result<(), Cut> {
    let mut bytes =
        serde_json::to_vec(&Message::new(answer)).expect("an answer has text keys only");
    bytes.push(b'\n');
    let written = timeout(PATIENCE, write.write_all(&bytes)).await;
    Ok(written.map_err(|_| Cut::Slow)??)
}

async fn turn_away(mut peer: UnixStream) {
    let why = format!("{CONNECTIONS} others are being heard; try again in a moment");
    // Whether it hears that or not, it is not let in.
    let _ = say(&mut peer, Answer::Refused { why }).await;
}

/// Peers that were cut, counted and told.
#[derive(Default)]
struct Cuts {
    count: u64,
    told_at: Option<Instant>,
}

impl Cuts {
    fn tell(&mut self, cut: &Cut) {
        self.count += 1;
        let now = Instant::now();
        if self
            .told_at
            .is_none_or(|told| now.duration_since(told) >= TELL_EVERY)
        {
            self.told_at = Some(now);
            tracing::warn!(
                count = self.count,
                "a peer of the control socket was cut: {cut}"
            );
        }
    }
}
