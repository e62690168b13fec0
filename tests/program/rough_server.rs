//! A server for line protocol that does as it is told.

use std::collections::VecDeque;
use std::io::{BufRead, BufReader, Read, Write};
use std::net::{TcpListener, TcpStream};
use std::sync::{Arc, Mutex};
use std::time::Duration;

use crate::wait::until;

pub const TOKEN: &str = "open-sesame-1234";

/// What it does with a request.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Does {
    /// Answers with this status, and says the token back.
    Answers(u16),
    /// Says nothing until the other side goes.
    Hangs,
    /// Promises more than it says, and goes.
    BreaksOff,
    /// Takes the lines, and says so after so many milliseconds.
    TakesSlowly(u64),
}

/// A server on a port of its own. It lives as long as the test program.
pub struct RoughServer {
    pub port: u16,
    kept: Arc<Mutex<Kept>>,
}

#[derive(Default)]
struct Kept {
    script: VecDeque<Does>,
    /// What it does once the script is over; takes everything without.
    always: Option<Does>,
    /// It refuses requests that hold a line with one of these.
    refuses: Vec<&'static str>,
    requests: usize,
    lines: Vec<String>,
    heads: Vec<String>,
}

impl RoughServer {
    /// It does these things, one a request, and takes everything then but lines
    /// that contain one of `refuses`.
    pub fn start(script: &[Does], refuses: &[&'static str]) -> Self {
        Self::begin(Kept {
            script: script.to_vec().into(),
            refuses: refuses.to_vec(),
            ..Kept::default()
        })
    }

    /// It does this with every request.
    pub fn start_always(does: Does) -> Self {
        Self::begin(Kept {
            always: Some(does),
            ..Kept::default()
        })
    }

    fn begin(kept: Kept) -> Self {
        let listener = TcpListener::bind("127.0.0.1:0").unwrap();
        let port = listener.local_addr().unwrap().port();
        let kept = Arc::new(Mutex::new(kept));
        let all = Arc::clone(&kept);
        std::thread::spawn(move || {
            for stream in listener.incoming().map_while(Result::ok) {
                let all = Arc::clone(&all);
                std::thread::spawn(move || while serve(&stream, &all).is_some() {});
            }
        });
        RoughServer { port, kept }
    }

    /// Settings of a target.
    pub fn settings(&self, more: &str) -> String {
        format!(
            "[forward.rough]\nurl = \"http://127.0.0.1:{}\"\norg = \"north works\"\nbucket = \"fluids\"\n\
             token_file = \"rough.token\"\n{more}\n",
            self.port
        )
    }

    /// The lines that it took, in their order.
    pub fn lines(&self) -> Vec<String> {
        self.kept.lock().unwrap().lines.clone()
    }

    /// How many requests have come.
    pub fn requests(&self) -> usize {
        self.kept.lock().unwrap().requests
    }

    /// The heads of the requests.
    pub fn heads(&self) -> Vec<String> {
        self.kept.lock().unwrap().heads.clone()
    }

    /// Waits until it took so many lines.
    pub fn has(&self, count: usize) -> Vec<String> {
        until(&format!("{count} lines have come"), || {
            let is_there = self.kept.lock().unwrap().lines.len() >= count;
            is_there.then(|| self.lines())
        })
    }
}

/// Serves one request; nothing where the connection is over.
fn serve(stream: &TcpStream, kept: &Mutex<Kept>) -> Option<()> {
    let mut stream = stream;
    let (head, body) = request(stream)?;
    let (does, refused) = {
        let mut kept = kept.lock().unwrap();
        kept.requests += 1;
        kept.heads.push(head);
        let refused = kept.refuses.iter().copied().find(|bad| body.contains(bad));
        (kept.script.pop_front().or(kept.always), refused)
    };
    let answer = |status: u16, body: &str, length: usize| {
        format!("HTTP/1.1 {status} So\r\nContent-Length: {length}\r\n\r\n{body}")
    };
    let take = || {
        let lines = body.lines().map(str::to_owned);
        kept.lock().unwrap().lines.extend(lines);
        "HTTP/1.1 204 No Content\r\n\r\n".to_owned()
    };
    let text = match (does, refused) {
        (Some(Does::Hangs), _) => {
            let _ = stream.read(&mut [0; 1]);
            return None;
        }
        (Some(Does::BreaksOff), _) => {
            let _ = stream.write_all(answer(500, "half", 100).as_bytes());
            let _ = stream.shutdown(std::net::Shutdown::Both);
            return None;
        }
        (Some(Does::Answers(status)), _) => {
            let words = format!("no, {TOKEN}");
            answer(status, &words, words.len())
        }
        (_, Some(bad)) => {
            let words = format!("unable to parse '{bad}'");
            answer(400, &words, words.len())
        }
        (Some(Does::TakesSlowly(millis)), None) => {
            std::thread::park_timeout(Duration::from_millis(millis));
            take()
        }
        (None, None) => take(),
    };
    stream.write_all(text.as_bytes()).ok()
}

fn request(stream: &TcpStream) -> Option<(String, String)> {
    stream
        .set_read_timeout(Some(Duration::from_secs(60)))
        .unwrap();
    let mut reader = BufReader::new(stream);
    let mut head = String::new();
    loop {
        let mut line = String::new();
        if reader.read_line(&mut line).ok()? == 0 {
            return None;
        }
        if line == "\r\n" {
            break;
        }
        head += &line;
    }
    let length = head.lines().find_map(|line| {
        line.to_lowercase()
            .strip_prefix("content-length: ")?
            .parse()
            .ok()
    })?;
    let mut body = vec![0; length];
    reader.read_exact(&mut body).ok()?;
    Some((head, String::from_utf8(body).ok()?))
}
