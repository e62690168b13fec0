//! A receiver of webhooks that does as it is told.

use std::collections::VecDeque;
use std::io::{BufRead, BufReader, Read, Write};
use std::net::{TcpListener, TcpStream};
use std::sync::{Arc, Mutex};
use std::time::Duration;

use openssl::hash::MessageDigest;
use openssl::pkey::PKey;
use openssl::sign::Signer;
use serde_json::Value;

use crate::wait::until;

pub const SECRET: &str = "0123456789abcdef0123456789abcdef";

/// What it does with a request.
#[derive(Debug, Clone)]
pub enum Does {
    /// Answers with this status and a short text.
    Answers(u16),
    /// Says nothing until the other side goes.
    Hangs,
    /// Promises more than it says, and goes.
    BreaksOff,
    /// Answers with what is no HTTP.
    Babbles,
    /// Says 200 and then never ends.
    TalksOn,
    /// Sends the asker to another place.
    Redirects(String),
}

/// A request that came.
#[derive(Debug, Clone)]
pub struct Came {
    pub path: String,
    pub headers: Vec<(String, String)>,
    pub body: String,
}

/// A receiver on a port of its own. It lives as long as the test program.
pub struct Receiver {
    pub port: u16,
    came: Arc<Mutex<Vec<Came>>>,
}

impl Receiver {
    /// It does these things, one a request, and takes everything then.
    pub fn start(script: &[Does]) -> Self {
        let listener = TcpListener::bind("127.0.0.1:0").unwrap();
        let port = listener.local_addr().unwrap().port();
        let came = Arc::new(Mutex::new(Vec::new()));
        let script = Arc::new(Mutex::new(VecDeque::from(script.to_vec())));
        let all = Arc::clone(&came);
        std::thread::spawn(move || {
            for stream in listener.incoming().map_while(Result::ok) {
                let (all, script) = (Arc::clone(&all), Arc::clone(&script));
                std::thread::spawn(move || serve(stream, &all, &script));
            }
        });
        Receiver { port, came }
    }

    /// A webhook and a contact that has it.
    pub fn settings(&self) -> String {
        format!(
            "[webhook.book]\nurl = \"http://127.0.0.1:{}/in?key=hidden\"\nsecret_file = \"book.secret\"\n\
             [contact.anna]\nwebhook = \"book\"\n",
            self.port
        )
    }

    /// What came so far.
    pub fn came(&self) -> Vec<Came> {
        self.came.lock().unwrap().clone()
    }

    /// Waits until so many requests have come.
    pub fn has(&self, count: usize) -> Vec<Came> {
        until(&format!("{count} requests have come"), || {
            let came = self.came();
            (came.len() >= count).then_some(came)
        })
    }
}

impl Came {
    pub fn header(&self, name: &str) -> &str {
        let found = self.headers.iter().find(|(known, _)| known == name);
        found.map_or("", |(_, value)| value)
    }

    pub fn json(&self) -> Value {
        serde_json::from_str(&self.body).unwrap()
    }

    /// Whether it is signed with the secret, as the README says.
    pub fn is_signed(&self) -> bool {
        let key = PKey::hmac(SECRET.as_bytes()).unwrap();
        let mut signer = Signer::new(MessageDigest::sha256(), &key).unwrap();
        let signed = format!("{}.{}", self.header("sumpward-time"), self.body);
        signer.update(signed.as_bytes()).unwrap();
        let digits: String = signer
            .sign_to_vec()
            .unwrap()
            .iter()
            .map(|byte| format!("{byte:02x}"))
            .collect();
        self.header("sumpward-signature") == format!("sha256={digits}")
    }
}

fn serve(mut stream: TcpStream, all: &Mutex<Vec<Came>>, script: &Mutex<VecDeque<Does>>) {
    let Some(came) = request(&stream) else { return };
    let does = script.lock().unwrap().pop_front();
    all.lock().unwrap().push(came);
    let answer = |status: u16, more: &str, length: usize, body: &str| {
        format!("HTTP/1.1 {status} So\r\n{more}Content-Length: {length}\r\n\r\n{body}")
    };
    let text = match does.unwrap_or(Does::Answers(200)) {
        Does::Answers(status) => answer(status, "", 7, "\0{]gar}"),
        Does::BreaksOff => answer(200, "", 100, "half"),
        Does::Babbles => "ok thanks\r\n\r\n".to_owned(),
        Does::Redirects(to) => answer(307, &format!("Location: {to}\r\n"), 0, ""),
        Does::Hangs => {
            let _ = stream.read(&mut [0; 1]);
            return;
        }
        Does::TalksOn => {
            let _ = stream.write_all(b"HTTP/1.1 200 OK\r\n\r\n");
            while stream.write_all(&[b'x'; 4096]).is_ok() {}
            return;
        }
    };
    let _ = stream.write_all(text.as_bytes());
}

fn request(stream: &TcpStream) -> Option<Came> {
    stream
        .set_read_timeout(Some(Duration::from_secs(60)))
        .unwrap();
    let mut reader = BufReader::new(stream);
    let mut line = String::new();
    reader.read_line(&mut line).ok()?;
    let path = line.split(' ').nth(1)?.to_owned();
    let mut headers = Vec::new();
    loop {
        let mut line = String::new();
        reader.read_line(&mut line).ok()?;
        let Some((name, value)) = line.trim_end().split_once(": ") else {
            break;
        };
        headers.push((name.to_lowercase(), value.to_owned()));
    }
    let length = headers.iter().find(|(name, _)| name == "content-length")?;
    let mut body = vec![0; length.1.parse().ok()?];
    reader.read_exact(&mut body).ok()?;
    Some(Came {
        path,
        headers,
        body: String::from_utf8(body).ok()?,
    })
}
