//! The other end of the socket, for the programs of the command line.

use std::io::{self, BufRead, BufReader, Read, Write};
use std::os::unix::net::UnixStream;
use std::path::{Path, PathBuf};
use std::time::Duration;

use super::SOCKET_NAME;
use super::shape::{Answer, Message, Request, Who};

/// Longest answer that is read, bytes: some thousand sumps.
const LONGEST_ANSWER: u64 = 16 << 20;
/// A daemon that answers later than this is not waited for. A disk that
/// refuses holds an answer back.
const PATIENCE: Duration = Duration::from_secs(60);

/// Why a daemon cannot be asked.
#[derive(Debug, thiserror::Error)]
pub enum ClientError {
    /// Nobody listens.
    #[error(
        "no daemon runs on the store in {}: start it with `sumpward run`, then try again; if it runs, give its settings with --config and call this from its working directory",
        folder.display()
    )]
    NoDaemon {
        /// The store's folder.
        folder: PathBuf,
        /// What the system said.
        source: io::Error,
    },
    /// The folder or the socket is closed to this user.
    #[error(
        "the control socket in {} is closed to you: run this as the daemon's user, or as root",
        folder.display()
    )]
    NotAllowed {
        /// The store's folder.
        folder: PathBuf,
        /// What the system said.
        source: io::Error,
    },
    /// The conversation broke off.
    #[error(
        "the daemon went away before it answered ({0}); whether it kept the last part is not known: do the same again, nothing is taken twice"
    )]
    Gone(io::Error),
    /// It takes too long.
    #[error(
        "the daemon has not answered for {} s; its log says why (a disk that refuses?). Do the same again later, nothing is taken twice",
        PATIENCE.as_secs()
    )]
    NoAnswer,
    /// The answer is none.
    #[error(
        "the daemon's answer cannot be read ({0}); it is probably of another version: restart it"
    )]
    Answer(serde_json::Error),
    /// The daemon refuses.
    #[error("{0}")]
    Refused(String),
    /// The answer belongs to another question.
    #[error(
        "the daemon answered something else than was asked; it is probably of another version: restart it"
    )]
    Unasked,
}

/// A conversation with the running daemon.
#[derive(Debug)]
pub struct Client {
    peer: BufReader<UnixStream>,
}

impl Client {
    /// Calls the daemon that has the store in `folder`.
    ///
    /// # Errors
    /// When none does, or it may not be called.
    pub fn connect(folder: &Path) -> Result<Self, ClientError> {
        let peer = UnixStream::connect(folder.join(SOCKET_NAME)).map_err(|source| {
            let folder = std::path::absolute(folder).unwrap_or_else(|_| folder.to_owned());
            match source.kind() {
                io::ErrorKind::PermissionDenied => ClientError::NotAllowed { folder, source },
                _ => ClientError::NoDaemon { folder, source },
            }
        })?;
        peer.set_read_timeout(Some(PATIENCE))
            .and_then(|()| peer.set_write_timeout(Some(PATIENCE)))
            .map_err(ClientError::Gone)?;
        Ok(Client {
            peer: BufReader::new(peer),
        })
    }

    /// Asks, and waits for the answer.
    ///
    /// # Errors
    /// When there is none, or the request is refused as a whole.
    pub fn ask(&mut self, request: Request) -> Result<Answer, ClientError> {
        let mut line =
            serde_json::to_vec(&Message::new(request)).expect("a request has text keys only");
        line.push(b'\n');
        let written = self.peer.get_mut().write_all(&line);
        let mut answer = String::new();
        let mut bounded = (&mut self.peer).take(LONGEST_ANSWER);
        // Who is turned away is told why before it has asked.
        if bounded.read_line(&mut answer).map_err(failed)? == 0 {
            let why = written.err();
            return Err(failed(why.unwrap_or(io::ErrorKind::UnexpectedEof.into())));
        }
        let answer: Message<Answer> = serde_json::from_str(&answer).map_err(ClientError::Answer)?;
        match answer.body {
            Answer::Refused { why } => Err(ClientError::Refused(why)),
            answer => Ok(answer),
        }
    }

    /// Asks which plant the daemon watches.
    ///
    /// # Errors
    /// As [`Client::ask`].
    pub fn who(&mut self) -> Result<Who, ClientError> {
        match self.ask(Request::Who)? {
            Answer::Who(who) => Ok(who),
            _ => Err(ClientError::Unasked),
        }
    }
}

fn failed(error: io::Error) -> ClientError {
    match error.kind() {
        io::ErrorKind::WouldBlock | io::ErrorKind::TimedOut => ClientError::NoAnswer,
        _ => ClientError::Gone(error),
    }
}
