//! A line to a broker that breaks where the test wants it to.

use std::collections::VecDeque;
use std::io::{Read, Write};
use std::net::{Shutdown, TcpListener, TcpStream};
use std::sync::{Arc, Mutex};

/// Bytes after which each connection breaks, in the order of connections.
type Breaks = Arc<Mutex<VecDeque<usize>>>;

/// Listens on a port of its own and hands everything on to the broker; the
/// first connections break after so many bytes from the broker, wherever in a
/// packet that is, and the later ones last.
pub fn breaking_line(broker: u16, breaks: &[usize]) -> u16 {
    let listener = TcpListener::bind(("127.0.0.1", 0)).unwrap();
    let port = listener.local_addr().unwrap().port();
    let breaks: Breaks = Arc::new(Mutex::new(breaks.iter().copied().collect()));
    std::thread::spawn(move || {
        for client in listener.incoming().map_while(Result::ok) {
            let Ok(server) = TcpStream::connect(("127.0.0.1", broker)) else {
                continue;
            };
            let most = breaks.lock().unwrap().pop_front().unwrap_or(usize::MAX);
            let (from, to) = (client.try_clone().unwrap(), server.try_clone().unwrap());
            std::thread::spawn(move || pass(from, to, usize::MAX));
            std::thread::spawn(move || pass(server, client, most));
        }
    });
    port
}

/// Passes on until so many bytes have gone through, then breaks both ways.
fn pass(mut from: TcpStream, mut to: TcpStream, most: usize) {
    let mut left = most;
    let mut bytes = [0; 4096];
    while left > 0 {
        let room = bytes.len().min(left);
        match from.read(&mut bytes[..room]) {
            Ok(count) if count > 0 && to.write_all(&bytes[..count]).is_ok() => left -= count,
            _ => break,
        }
    }
    let _ = from.shutdown(Shutdown::Both);
    let _ = to.shutdown(Shutdown::Both);
}
