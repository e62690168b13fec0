//! A mail server of another make, and what it took.

use std::path::{Path, PathBuf};

use serde_json::Value;
use tempfile::TempDir;

use crate::broker::free_port;
use crate::tls::certificate;
use crate::wires::Peer;

/// A running mail server; killed when dropped.
pub struct MailServer {
    pub port: u16,
    folder: TempDir,
    _peer: Peer,
}

impl MailServer {
    /// With `security` as in the settings, a login (`sumpward`, `open sesame`)
    /// where it is encrypted, and these answers to RCPT.
    pub fn start(security: &str, answers: &str) -> Self {
        let folder = tempfile::tempdir().unwrap();
        let port = free_port();
        certificate(folder.path(), "ours");
        let path = |name: &str| folder.path().join(name).display().to_string();
        let mut arguments = vec![
            "--port".to_owned(),
            port.to_string(),
            "--folder".to_owned(),
            path(""),
            "--security".to_owned(),
            security.to_owned(),
            "--answers".to_owned(),
            answers.to_owned(),
        ];
        if security != "none" {
            let more = [
                ("--cert", path("ours.crt")),
                ("--key", path("ours.key")),
                ("--user", "sumpward".to_owned()),
                ("--password", "open sesame".to_owned()),
            ];
            for (key, value) in more {
                arguments.extend([key.to_owned(), value]);
            }
        }
        let peer = Peer::start("mail_server.py", &arguments);
        MailServer {
            port,
            folder,
            _peer: peer,
        }
    }

    pub fn folder(&self) -> &Path {
        self.folder.path()
    }

    /// `[mail]` for it; the password lies in a file.
    pub fn settings(&self, security: &str) -> String {
        let mut text = format!(
            "[mail]\nserver = \"127.0.0.1\"\nport = {}\nsecurity = \"{security}\"\nfrom = \"sumpward@example.org\"\n",
            self.port
        );
        if security != "none" {
            let password = self.folder().join("password");
            std::fs::write(&password, "open sesame\n").unwrap();
            text += &format!(
                "ca_file = \"{}\"\nuser = \"sumpward\"\npassword_file = \"{}\"\n",
                self.folder().join("ours.crt").display(),
                password.display()
            );
        }
        text
    }

    /// The mails that it took, in order.
    pub fn taken(&self) -> Vec<Value> {
        self.read("taken.ndjson")
    }

    /// The mails whose text it has and has not answered for.
    pub fn held(&self) -> Vec<Value> {
        self.read("held.ndjson")
    }

    /// From now on it answers for no mail.
    pub fn hold(&self) {
        std::fs::write(self.hold_file(), "").unwrap();
    }

    /// It answers again.
    pub fn go_on(&self) {
        std::fs::remove_file(self.hold_file()).unwrap();
    }

    fn hold_file(&self) -> PathBuf {
        self.folder().join("hold")
    }

    fn read(&self, name: &str) -> Vec<Value> {
        let text = std::fs::read_to_string(self.folder().join(name)).unwrap_or_default();
        // The last line may still be on its way.
        text.lines()
            .filter_map(|line| serde_json::from_str(line).ok())
            .collect()
    }
}
