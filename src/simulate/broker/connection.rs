//! One TCP connection: bytes in, bytes out, and what follows its end.

use std::sync::Arc;
use std::time::Duration;

use tokio::io::{AsyncReadExt, AsyncWriteExt};
use tokio::net::TcpStream;
use tokio::net::tcp::{ReadHalf, WriteHalf};
use tokio::sync::Notify;
use tokio::time::{sleep, timeout};
use tokio_util::sync::CancellationToken;

use super::codec::{Connack, Connect, DecodeError, Incoming, Outgoing, Reason, decode, encode};
use super::exchange::{Afterlife, Collected, Next, Who};
use super::hub::Hub;

/// A connection that has not introduced itself within this time is closed.
const CONNECT_WITHIN: Duration = Duration::from_secs(10);

/// Last words that a peer does not take within this time are not said, and a
/// peer that does not close by then is closed upon.
const FAREWELL_WITHIN: Duration = Duration::from_secs(1);

/// Room made for each read from a socket.
const READ_AT_A_TIME: usize = 16 * 1024;

/// Why a connection ends.
enum End {
    /// The peer is gone, or took its leave: nothing more to say.
    Silent,
    /// Told to the peer with a DISCONNECT.
    Told(Reason),
}

/// Serves one connection until it ends or `stop` is cancelled, then waits for
/// what its end entails: the delayed will, the end of the session.
pub(super) async fn serve(mut stream: TcpStream, hub: Arc<Hub>, stop: CancellationToken) {
    // A failure to switch off Nagle's algorithm only costs speed.
    let _ = stream.set_nodelay(true);
    let max_packet = hub.limits().max_packet as usize;
    let (reader, writer) = stream.split();
    let mut inbox = Inbox::new(reader, max_packet);
    let mut outbox = Outbox::new(writer);
    let Some((who, wake, patience)) = introduce(&mut inbox, &mut outbox, &hub).await else {
        return;
    };
    let end = tokio::select! {
        end = read_all(&mut inbox, &hub, &who, patience) => end,
        end = write_all(&mut outbox, &hub, &who, &wake) => end,
        () = stop.cancelled() => End::Told(Reason::ServerShuttingDown),
    };
    let afterlife = hub.with(|exchange| exchange.part(&who));
    if let End::Told(reason) = end {
        farewell(&mut inbox, &mut outbox, &Outgoing::Disconnect(reason)).await;
    }
    drop(stream);
    if let Some(afterlife) = afterlife {
        tokio::select! {
            () = outlive(&hub, &who, &afterlife) => {}
            () = afterlife.back.cancelled() => {}
            () = stop.cancelled() => {}
        }
    }
}

/// Waits for the CONNECT and lets the client in. The CONNACK is in the outbox
/// then, ahead of anything else.
async fn introduce(
    inbox: &mut Inbox<'_>,
    outbox: &mut Outbox<'_>,
    hub: &Hub,
) -> Option<(Who, Arc<Notify>, Option<Duration>)> {
    let hello = match timeout(CONNECT_WITHIN, inbox.next()).await {
        Ok(Ok(Some(Incoming::Connect(hello)))) => *hello,
        Ok(Err(error)) => {
            farewell(inbox, outbox, &refusal(error)).await;
            return None;
        }
        Ok(Ok(_)) | Err(_) => return None,
    };
    let patience = patience(&hello);
    let wake = Arc::new(Notify::new());
    let admitted = hub.with(|exchange| {
        let who = exchange.connect(hello, Arc::clone(&wake))?;
        exchange.collect(&who, &mut outbox.bytes);
        Ok(who)
    });
    match admitted {
        Ok(who) => Some((who, wake, patience)),
        Err(reason) => {
            let refusal = Outgoing::Connack(Connack::Refused(reason));
            farewell(inbox, outbox, &refusal).await;
            None
        }
    }
}

fn refusal(error: DecodeError) -> Outgoing {
    match error {
        DecodeError::OldVersion(_) => Outgoing::ConnackOfOldVersion,
        error => Outgoing::Connack(Connack::Refused(error.reason())),
    }
}

/// One and a half times the keep alive (section 3.1.2.10); `None` for ever.
fn patience(hello: &Connect) -> Option<Duration> {
    let keep_alive = u64::from(hello.keep_alive);
    (keep_alive > 0).then(|| Duration::from_millis(keep_alive * 1500))
}

async fn read_all(inbox: &mut Inbox<'_>, hub: &Hub, who: &Who, patience: Option<Duration>) -> End {
    loop {
        let read = match patience {
            None => inbox.next().await,
            Some(patience) => match timeout(patience, inbox.next()).await {
                Ok(read) => read,
                Err(_) => return End::Told(Reason::KeepAliveTimeout),
            },
        };
        let packet = match read {
            Ok(Some(packet)) => packet,
            Ok(None) => return End::Silent,
            Err(error) => return End::Told(error.reason()),
        };
        match hub.with(|exchange| exchange.handle(who, packet)) {
            Ok(Next::GoOn) => {}
            Ok(Next::Left) => return End::Silent,
            Err(reason) => return End::Told(reason),
        }
    }
}

async fn write_all(outbox: &mut Outbox<'_>, hub: &Hub, who: &Who, wake: &Notify) -> End {
    loop {
        if outbox.flush().await.is_err() {
            return End::Silent;
        }
        match hub.with(|exchange| exchange.collect(who, &mut outbox.bytes)) {
            Collected::Some => {}
            Collected::Nothing => wake.notified().await,
            Collected::TakenOver => return End::Told(Reason::SessionTakenOver),
            Collected::Cut => return End::Silent,
        }
    }
}

/// Says one thing more and closes, in a bounded time. That the peer is not
/// there to hear it any more is no fault.
async fn farewell(inbox: &mut Inbox<'_>, outbox: &mut Outbox<'_>, packet: &Outgoing) {
    encode(packet, &mut outbox.bytes);
    let said = async {
        outbox.flush().await?;
        outbox.socket.shutdown().await?;
        inbox.discard().await
    };
    let _ = timeout(FAREWELL_WITHIN, said).await;
}

/// Does in time what is left to do. Once the client is back its old name is
/// stale, and nothing happens.
async fn outlive(hub: &Hub, who: &Who, afterlife: &Afterlife) {
    let waited = afterlife.will_after.unwrap_or(0);
    if afterlife.will_after.is_some() {
        sleep(Duration::from_secs(waited.into())).await;
        hub.with(|exchange| exchange.publish_will(who));
    }
    if let Some(end) = afterlife.end_after {
        sleep(Duration::from_secs(end.saturating_sub(waited).into())).await;
        hub.with(|exchange| exchange.end(who));
    }
}

/// Bytes from the peer that are not a whole packet yet.
struct Inbox<'a> {
    socket: ReadHalf<'a>,
    bytes: Vec<u8>,
    taken: usize,
    max_packet: usize,
}

impl<'a> Inbox<'a> {
    fn new(socket: ReadHalf<'a>, max_packet: usize) -> Self {
        Inbox {
            socket,
            bytes: Vec::new(),
            taken: 0,
            max_packet,
        }
    }

    /// The next packet; `None` when the peer is gone.
    async fn next(&mut self) -> Result<Option<Incoming>, DecodeError> {
        loop {
            if let Some((packet, len)) = decode(&self.bytes[self.taken..], self.max_packet)? {
                self.taken += len;
                return Ok(Some(packet));
            }
            self.bytes.drain(..self.taken);
            self.taken = 0;
            self.bytes.reserve(READ_AT_A_TIME);
            match self.socket.read_buf(&mut self.bytes).await {
                Ok(0) | Err(_) => return Ok(None),
                Ok(_) => {}
            }
        }
    }

    /// Takes and forgets what still comes until the peer closes: a socket
    /// closed with bytes unread would take the last words back.
    async fn discard(&mut self) -> std::io::Result<()> {
        loop {
            self.bytes.clear();
            if self.socket.read_buf(&mut self.bytes).await? == 0 {
                return Ok(());
            }
        }
    }
}

/// Bytes to the peer. A write that is given up half way goes on where it
/// stopped, so that last words begin between two packets.
struct Outbox<'a> {
    socket: WriteHalf<'a>,
    bytes: Vec<u8>,
    sent: usize,
}

impl<'a> Outbox<'a> {
    fn new(socket: WriteHalf<'a>) -> Self {
        Outbox {
            socket,
            bytes: Vec::new(),
            sent: 0,
        }
    }

    async fn flush(&mut self) -> std::io::Result<()> {
        while self.sent < self.bytes.len() {
            self.sent += self.socket.write(&self.bytes[self.sent..]).await?;
        }
        self.bytes.clear();
        self.sent = 0;
        Ok(())
    }
}
