//! Handing a mail to a server (RFC 5321), encrypted by STARTTLS (RFC 3207) or
//! from the first byte on (RFC 8314), with a login (RFC 4954) where it is
//! settled.
//!
//! Refuses: to go on in the clear where encryption was asked for, whatever the
//! server says; to send a password in the clear.

use std::net::IpAddr;
use std::time::Duration;

use openssl::base64;
use tokio::io::{AsyncReadExt, AsyncWriteExt};
use tokio::net::TcpStream;

use crate::settings::{Login, MailSecurity, MailSettings};

use super::delivery::{Stream, Undelivered, connect, encrypt, within};
use super::dialogue::Dialogue;
use super::mime::Mail;

/// For connecting, and for each answer. Choice: servers that take longer are
/// tried again; RFC 5321, section 4.5.3.2, allows them minutes.
const ANSWER: Duration = Duration::from_secs(30);
/// For the answer after the text, which the server may look through first.
/// Choice; it lessens the risk that a mail comes twice.
const TAKING: Duration = Duration::from_secs(120);
/// Longest line of an answer (RFC 5321, section 4.5.3.1.5, has 512).
const LONGEST_LINE: usize = 2048;
/// Most lines of an answer.
const MOST_LINES: usize = 100;

/// A conversation with a server.
struct Talk<'d> {
    stream: Box<dyn Stream>,
    /// Read, and not yet looked at.
    read: Vec<u8>,
    /// How we call ourselves.
    name: String,
    dialogue: &'d mut Dialogue,
}

/// An answer.
#[derive(Debug)]
struct Answer {
    code: u16,
    lines: Vec<String>,
}

impl Answer {
    fn words(&self) -> String {
        format!("{} {}", self.code, self.lines.join(" "))
    }

    /// Whether an extension is offered.
    fn offers(&self, keyword: &str) -> bool {
        self.parameters(keyword).is_some()
    }

    /// What is said of an extension.
    fn parameters(&self, keyword: &str) -> Option<&str> {
        self.lines.iter().skip(1).find_map(|line| {
            let (word, rest) = line.split_once([' ', '=']).unwrap_or((line, ""));
            word.eq_ignore_ascii_case(keyword).then_some(rest)
        })
    }
}

/// Hands a mail over; it is with the server once this is well.
pub(super) async fn send(
    settings: &MailSettings,
    mail: &Mail<'_>,
    dialogue: &mut Dialogue,
) -> Result<(), Undelivered> {
    let mut talk = begin(settings, dialogue).await?;
    if let Some(login) = &settings.login {
        let hello = talk.hello().await?;
        talk.log_in(&hello, login).await?;
    } else {
        talk.hello().await?;
    }
    talk.mail(&format!("MAIL FROM:<{}>", mail.from), 250)
        .await?;
    talk.mail(&format!("RCPT TO:<{}>", mail.to), 250).await?;
    talk.mail("DATA", 354).await?;
    let text = dotted(&mail.written());
    talk.dialogue
        .ours(format_args!("(the mail, {} bytes)", text.len()));
    talk.write(&text).await?;
    let taken = talk.answer(TAKING).await?;
    judge(&taken, 250, "the mail")?;
    // The mail is theirs; how they take leave changes nothing.
    let _ = talk.ask("QUIT", ANSWER).await;
    Ok(())
}

/// The connection, greeted and encrypted as settled.
async fn begin<'d>(
    settings: &MailSettings,
    dialogue: &'d mut Dialogue,
) -> Result<Talk<'d>, Undelivered> {
    let (host, port) = (settings.server.as_str(), settings.port);
    let tcp = within(ANSWER, "connecting", connect(host, port, dialogue)).await?;
    let name = our_name(&tcp);
    let stream: Box<dyn Stream> = match &settings.security {
        MailSecurity::Tls(tls) => {
            let secured = within(ANSWER, "TLS", encrypt(tls, host, tcp, dialogue)).await?;
            Box::new(secured)
        }
        MailSecurity::StartTls(_) | MailSecurity::Plain => Box::new(tcp),
    };
    let mut talk = Talk {
        stream,
        read: Vec::new(),
        name,
        dialogue,
    };
    let greeting = talk.answer(ANSWER).await?;
    passing(&greeting, 220, "the greeting")?;
    let MailSecurity::StartTls(tls) = &settings.security else {
        return Ok(talk);
    };
    let hello = talk.hello().await?;
    if !hello.offers("STARTTLS") {
        return Err(Undelivered::passing(
            "the server offers no STARTTLS; nothing is sent in the clear",
        ));
    }
    let ready = talk.ask("STARTTLS", ANSWER).await?;
    passing(&ready, 220, "STARTTLS")?;
    if !talk.read.is_empty() {
        // It would count as said under encryption.
        return Err(Undelivered::passing(
            "the server said more in the clear than STARTTLS allows",
        ));
    }
    let secured = encrypt(tls, host, talk.stream, talk.dialogue);
    let secured = within(ANSWER, "TLS", secured).await?;
    Ok(Talk {
        stream: Box::new(secured),
        read: Vec::new(),
        name: talk.name,
        dialogue: talk.dialogue,
    })
}

/// Our address stands for the name that a daemon has not (RFC 5321, section
/// 4.1.3).
fn our_name(tcp: &TcpStream) -> String {
    match tcp.local_addr().map(|address| address.ip()) {
        Ok(IpAddr::V4(address)) => format!("[{address}]"),
        Ok(IpAddr::V6(address)) => format!("[IPv6:{address}]"),
        Err(_) => "[127.0.0.1]".to_owned(),
    }
}

impl Talk<'_> {
    /// Says who we are, and hears what the server can do.
    async fn hello(&mut self) -> Result<Answer, Undelivered> {
        let hello = self.ask(&format!("EHLO {}", self.name), ANSWER).await?;
        passing(&hello, 250, "EHLO")?;
        Ok(hello)
    }

    async fn log_in(&mut self, hello: &Answer, login: &Login) -> Result<(), Undelivered> {
        let offered = hello.parameters("AUTH").unwrap_or_default();
        let offers = |way: &str| {
            let mut ways = offered.split_whitespace();
            ways.any(|one| one.eq_ignore_ascii_case(way))
        };
        let (user, password) = (login.user.as_str(), login.password.reveal());
        let done = if offers("PLAIN") {
            let words = base64::encode_block(format!("\0{user}\0{password}").as_bytes());
            self.secretly("AUTH PLAIN", &format!("AUTH PLAIN {words}"))
                .await?
        } else if offers("LOGIN") {
            let asked = self.ask("AUTH LOGIN", ANSWER).await?;
            passing(&asked, 334, "AUTH LOGIN")?;
            let words = base64::encode_block(user.as_bytes());
            let asked = self.secretly("(the user)", &words).await?;
            passing(&asked, 334, "AUTH LOGIN")?;
            let words = base64::encode_block(password.as_bytes());
            self.secretly("(the password)", &words).await?
        } else {
            return Err(Undelivered::passing(format!(
                "the server offers no login by PLAIN or LOGIN, but: {offered}"
            )));
        };
        passing(&done, 235, "the login")
    }

    /// A command about the mail itself, whose refusal is final.
    async fn mail(&mut self, command: &str, wanted: u16) -> Result<(), Undelivered> {
        let answer = self.ask(command, ANSWER).await?;
        judge(&answer, wanted, command)
    }

    async fn ask(&mut self, command: &str, time: Duration) -> Result<Answer, Undelivered> {
        self.dialogue.ours(command);
        self.write(&format!("{command}\r\n")).await?;
        self.answer(time).await
    }

    /// Says something that is shown as `shown`.
    async fn secretly(&mut self, shown: &str, words: &str) -> Result<Answer, Undelivered> {
        self.dialogue.ours(format_args!("{shown} (not shown)"));
        self.write(&format!("{words}\r\n")).await?;
        self.answer(ANSWER).await
    }

    async fn write(&mut self, text: &str) -> Result<(), Undelivered> {
        let stream = &mut self.stream;
        let writing = async {
            stream.write_all(text.as_bytes()).await?;
            stream.flush().await
        };
        within(ANSWER, "the server takes nothing", async {
            writing.await.map_err(lost)
        })
        .await
    }

    async fn answer(&mut self, time: Duration) -> Result<Answer, Undelivered> {
        within(time, "the server", self.next_answer()).await
    }

    async fn next_answer(&mut self) -> Result<Answer, Undelivered> {
        let mut lines = Vec::new();
        loop {
            let line = self.line().await?;
            self.dialogue.theirs(&line);
            let strange = || Undelivered::passing(format!("\"{line}\" is no answer of SMTP"));
            let code = line.get(..3).and_then(|code| code.parse::<u16>().ok());
            let code = code
                .filter(|code| (200..600).contains(code))
                .ok_or_else(strange)?;
            let goes_on = match line.as_bytes().get(3) {
                None | Some(b' ') => false,
                Some(b'-') => true,
                Some(_) => return Err(strange()),
            };
            lines.push(line.get(4..).unwrap_or_default().to_owned());
            if !goes_on {
                return Ok(Answer { code, lines });
            }
            if lines.len() >= MOST_LINES {
                return Err(Undelivered::passing("the server's answer has no end"));
            }
        }
    }

    /// The next line, without its end.
    async fn line(&mut self) -> Result<String, Undelivered> {
        loop {
            if let Some(end) = self.read.iter().position(|byte| *byte == b'\n') {
                let line: Vec<u8> = self.read.drain(..=end).collect();
                let line = String::from_utf8_lossy(&line);
                return Ok(line.trim_end_matches(['\r', '\n']).to_owned());
            }
            if self.read.len() > LONGEST_LINE {
                return Err(Undelivered::passing("the server's line has no end"));
            }
            let mut bytes = [0; 1024];
            let count = self.stream.read(&mut bytes).await.map_err(lost)?;
            if count == 0 {
                return Err(Undelivered::passing("the server closed the connection"));
            }
            self.read.extend_from_slice(&bytes[..count]);
        }
    }
}

fn lost(error: std::io::Error) -> Undelivered {
    Undelivered::passing(format!("the connection is lost: {error}"))
}

/// What is not as wanted may be another time: it is about us and the server,
/// and people can mend it.
fn passing(answer: &Answer, wanted: u16, what: &str) -> Result<(), Undelivered> {
    if answer.code == wanted {
        return Ok(());
    }
    Err(Undelivered::passing(format!(
        "{what} was answered with {}",
        answer.words()
    )))
}

/// A refusal with 5xx is final (RFC 5321, section 4.2.1), unless it is about
/// the login (RFC 4954, section 6).
fn judge(answer: &Answer, wanted: u16, what: &str) -> Result<(), Undelivered> {
    match answer.code {
        code if code == wanted => Ok(()),
        // Whatever a server takes responsibility for, however it says so.
        251 if wanted == 250 => Ok(()),
        530 | 534 | 535 | 538 => passing(answer, wanted, what),
        500.. => Err(Undelivered::Refused(format!(
            "{what} was refused with {}",
            answer.words()
        ))),
        _ => passing(answer, wanted, what),
    }
}

/// The text with its end; lines that begin with a dot get another one (RFC 5321,
/// section 4.5.2).
fn dotted(text: &str) -> String {
    let mut dotted = String::with_capacity(text.len() + 16);
    for line in text.split_inclusive("\r\n") {
        if line.starts_with('.') {
            dotted.push('.');
        }
        dotted.push_str(line);
    }
    if !dotted.ends_with("\r\n") {
        dotted.push_str("\r\n");
    }
    dotted.push_str(".\r\n");
    dotted
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn dots_are_doubled_and_the_text_ends() {
        assert_eq!(dotted("a\r\n.b\r\n..c"), "a\r\n..b\r\n...c\r\n.\r\n");
    }

    #[test]
    fn what_is_final_and_what_is_not() {
        let answer = |code| Answer {
            code,
            lines: vec!["so".into()],
        };
        assert_eq!(judge(&answer(250), 250, "x"), Ok(()));
        assert_eq!(judge(&answer(251), 250, "x"), Ok(()));
        for code in [421, 450, 451, 452, 530, 535, 354] {
            let told = judge(&answer(code), 250, "x");
            assert!(matches!(told, Err(Undelivered::Passing(_))), "{code}");
        }
        for code in [500, 550, 552, 553, 554] {
            let told = judge(&answer(code), 250, "x");
            assert!(matches!(told, Err(Undelivered::Refused(_))), "{code}");
        }
    }

    #[test]
    fn extensions_are_found_however_they_are_written() {
        let hello = Answer {
            code: 250,
            lines: [
                "mail.example.org",
                "SIZE 100",
                "auth=PLAIN LOGIN",
                "starttls",
            ]
            .map(str::to_owned)
            .to_vec(),
        };
        assert!(hello.offers("STARTTLS") && !hello.offers("CHUNKING"));
        assert_eq!(hello.parameters("AUTH"), Some("PLAIN LOGIN"));
        assert!(!hello.offers("mail.example.org"));
    }
}
