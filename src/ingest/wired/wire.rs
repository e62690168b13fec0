//! What a serial port and a socket have in common.

use std::io;

use tokio::io::{AsyncRead, AsyncReadExt, AsyncWrite};
use tokio::net::TcpStream;
use tokio_serial::{ClearBuffer, SerialPort, SerialStream};

/// Bytes read at once.
pub(super) const AT_ONCE: usize = 1024;

/// An open wire. It is never flushed: for a serial port that would block the
/// thread until everything has left.
pub(super) trait Wire: AsyncRead + AsyncWrite + Unpin + Send {
    /// Throws away what has come in and was not read; gives how many bytes.
    fn discard(&mut self) -> io::Result<usize>;
}

impl Wire for SerialStream {
    fn discard(&mut self) -> io::Result<usize> {
        let waiting = self.bytes_to_read()?;
        self.clear(ClearBuffer::Input)?;
        Ok(waiting as usize)
    }
}

impl Wire for TcpStream {
    /// The answers in a stream bear numbers: none needs to be thrown away.
    fn discard(&mut self) -> io::Result<usize> {
        Ok(0)
    }
}

/// Reads what is there, waiting for something. Nothing at all means that the far
/// end is gone: a port that was unplugged says so for ever, without waiting.
pub(super) async fn read(wire: &mut impl Wire, buffer: &mut [u8]) -> Result<usize, Lost> {
    match wire.read(buffer).await {
        Ok(0) => Err(Lost::Ended),
        Ok(len) => Ok(len),
        Err(error) => Err(Lost::Failed(error)),
    }
}

/// Why an open wire is given up.
#[derive(Debug, thiserror::Error)]
pub enum Lost {
    /// It ended.
    #[error("the far end is gone: unplugged, switched off or closed")]
    Ended,
    /// The system says so.
    #[error("the system gave it up: {0}")]
    Failed(#[from] io::Error),
    /// A request could not be written in time.
    #[error("it takes no bytes; look at the far end and its flow control")]
    Stuck,
    /// The master wants it made anew.
    #[error("nothing sensible comes from the far end; the connection is made anew")]
    Useless,
}
