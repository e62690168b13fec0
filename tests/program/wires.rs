//! Peers on serial lines and Modbus TCP, and plants that read them.

use std::io::{BufRead, BufReader, Write};
use std::path::{Path, PathBuf};
use std::process::{Child, ChildStdin, Command, Stdio};

use sumpward::engine::Quality;

use crate::broker::free_port;
use crate::daemon::Daemon;
use crate::plant::{Plant, Wanted};

/// A script of tests/peers as a process, ready to talk; killed when dropped.
pub struct Peer {
    child: Child,
    input: ChildStdin,
}

impl Peer {
    pub fn start<S: AsRef<std::ffi::OsStr>>(script: &str, arguments: &[S]) -> Self {
        let root = Path::new(env!("CARGO_MANIFEST_DIR"));
        let python = root.join("target/peers/bin/python");
        assert!(
            python.exists(),
            "there are no peers in target/peers; run tests/all once"
        );
        let mut child = Command::new(python)
            .arg(root.join("tests/peers").join(script))
            .args(arguments)
            .stdin(Stdio::piped())
            .stdout(Stdio::piped())
            .spawn()
            .unwrap();
        let mut said = String::new();
        let mut output = BufReader::new(child.stdout.take().unwrap());
        output.read_line(&mut said).unwrap();
        assert_eq!(said, "ready\n", "{script} does not start");
        let input = child.stdin.take().unwrap();
        Peer { child, input }
    }

    /// Slaves of pymodbus, on a line with its near end at `link`.
    pub fn slaves(link: &Path, more: &[&str]) -> Self {
        let link = link.to_str().unwrap();
        Peer::start("modbus_slaves.py", &[&["--line", link], more].concat())
    }

    /// An instrument on a line with its near end at `link`.
    pub fn instrument(link: &Path) -> Self {
        Peer::start("line_instrument.py", &[link])
    }

    /// Has these bytes sent.
    pub fn send(&mut self, bytes: &[u8]) {
        let hex: String = bytes.iter().map(|byte| format!("{byte:02x}")).collect();
        writeln!(self.input, "{hex}").unwrap();
        self.input.flush().unwrap();
    }
}

impl Drop for Peer {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

/// A plant without a broker to speak of, whose first sump has these settings
/// besides; `LINK` in them is the path of a line's near end.
pub struct Wired {
    plant: Plant,
}

impl Wired {
    pub fn write(settings: &str) -> Self {
        let plant = Plant::write(&Wanted {
            port: free_port(),
            sumps: 1,
            on_delay: "0 s",
            broker: "",
        });
        let wired = Wired { plant };
        let link = wired.link();
        let text = settings.replace("LINK", link.to_str().unwrap());
        std::fs::write(wired.plant.config().join("wires.toml"), text).unwrap();
        wired
    }

    /// Where the near end of the line is.
    pub fn link(&self) -> PathBuf {
        self.plant.folder().join("line")
    }

    pub fn plant(&self) -> &Plant {
        &self.plant
    }

    pub fn daemon(&self) -> Daemon {
        Daemon::launch(&self.plant)
    }

    /// Values of a channel in the store with their marks, by time.
    pub fn values(&self, channel: &str) -> Vec<(f64, Quality)> {
        let file = self.plant.store().join("sumpward.db");
        let flags = rusqlite::OpenFlags::SQLITE_OPEN_READ_ONLY;
        let Ok(store) = rusqlite::Connection::open_with_flags(file, flags) else {
            return Vec::new();
        };
        let select = "SELECT value, quality FROM series JOIN readings ON series = id
                      WHERE channel = ?1 AND kind = 'reading' ORDER BY time";
        let Ok(mut select) = store.prepare(select) else {
            return Vec::new();
        };
        let rows = select.query_map([channel], |row| {
            Ok((row.get(0)?, Quality::from_bits(row.get(1)?)))
        });
        rows.and_then(Iterator::collect).unwrap_or_default()
    }

    /// Just the values.
    pub fn numbers(&self, channel: &str) -> Vec<f64> {
        let values = self.values(channel);
        values.into_iter().map(|(number, _)| number).collect()
    }
}

/// The settings of a channel of the plant's first sump.
pub fn channel(name: &str, keys: &str) -> String {
    format!("[sump.s0.channel.{name}]\ndespike = false\nsmooth = \"0 s\"\n{keys}\n")
}
