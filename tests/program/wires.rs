//! Peers on serial lines and Modbus TCP, and plants that read them.

use std::io::{BufRead, BufReader, Write};
use std::path::{Path, PathBuf};
use std::process::{Child, ChildStdin, ChildStdout, Command, Stdio};

use rusqlite::{Connection, OpenFlags};
use sumpward::engine::Quality;
use sumpward::units::Timestamp;

use crate::broker::free_port;
use crate::daemon::Daemon;
use crate::plant::{Plant, Wanted};

/// A script of tests/peers as a process, ready to talk; killed when dropped.
pub struct Peer {
    child: Child,
    input: ChildStdin,
    output: BufReader<ChildStdout>,
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
        let mut peer = Peer {
            input: child.stdin.take().unwrap(),
            output: BufReader::new(child.stdout.take().unwrap()),
            child,
        };
        peer.says("ready");
        peer
    }

    /// Waits for this line, which must be the next.
    fn says(&mut self, line: &str) {
        let mut said = String::new();
        self.output.read_line(&mut said).unwrap();
        assert_eq!(said.trim_end(), line);
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
        self.tell(&hex);
    }

    /// Has it send garbage as fast as the line takes it, until it is told
    /// anything else.
    pub fn flood(&mut self) {
        self.tell("flood");
    }

    /// Waits until all that it sent has been read at the near end.
    pub fn drained(&mut self) {
        self.tell("drain");
        self.says("drained");
    }

    fn tell(&mut self, command: &str) {
        writeln!(self.input, "{command}").unwrap();
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
        let wanted = Wanted {
            port: free_port(),
            sumps: 1,
            on_delay: "0 s",
            broker: "",
        };
        Self::write_with(&wanted, settings)
    }

    /// With a broker.
    pub fn write_with(wanted: &Wanted<'_>, settings: &str) -> Self {
        let plant = Plant::write(wanted);
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

    /// Readings of a channel in the store, by time.
    pub fn stored(&self, channel: &str) -> Vec<Stored> {
        let Some(store) = self.store() else {
            return Vec::new();
        };
        let select = "SELECT time, value, quality FROM series JOIN readings ON series = id
                      WHERE channel = ?1 AND kind = 'reading' ORDER BY time";
        let Ok(mut select) = store.prepare(select) else {
            return Vec::new();
        };
        let rows = select.query_map([channel], |row| {
            Ok(Stored {
                time: Timestamp::from_millis(row.get(0)?),
                value: row.get(1)?,
                quality: Quality::from_bits(row.get(2)?),
            })
        });
        rows.and_then(Iterator::collect).unwrap_or_default()
    }

    /// Values of a channel in the store with their marks, by time.
    pub fn values(&self, channel: &str) -> Vec<(f64, Quality)> {
        let stored = self.stored(channel);
        stored
            .into_iter()
            .map(|one| (one.value, one.quality))
            .collect()
    }

    /// The newest value of a channel of the first sump in the store.
    pub fn last(&self, channel: &str) -> Option<f64> {
        let select = "SELECT value FROM readings WHERE series =
                      (SELECT id FROM series WHERE sump = 's0' AND channel = ?1 AND kind = 'reading')
                      ORDER BY time DESC LIMIT 1";
        let newest = self.store()?.query_row(select, [channel], |row| row.get(0));
        newest.ok()
    }

    /// The store, once there is one.
    fn store(&self) -> Option<Connection> {
        let file = self.plant.store().join("sumpward.db");
        Connection::open_with_flags(file, OpenFlags::SQLITE_OPEN_READ_ONLY).ok()
    }

    /// Just the values.
    pub fn numbers(&self, channel: &str) -> Vec<f64> {
        let values = self.values(channel);
        values.into_iter().map(|(number, _)| number).collect()
    }
}

/// A reading in the store.
#[derive(Debug, Clone, Copy)]
pub struct Stored {
    pub time: Timestamp,
    pub value: f64,
    pub quality: Quality,
}

/// The settings of a channel of the plant's first sump.
pub fn channel(name: &str, keys: &str) -> String {
    format!("[sump.s0.channel.{name}]\ndespike = false\nsmooth = \"0 s\"\n{keys}\n")
}
