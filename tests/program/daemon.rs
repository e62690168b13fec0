//! The built daemon as a process.

use std::cell::RefCell;
use std::io::{BufRead, BufReader};
use std::process::{Child, Command, ExitStatus, Stdio};
use std::sync::{Arc, Mutex};

use sumpward::store::{Reader, SeriesKind};

use crate::plant::Plant;
use crate::wait::until;

/// A running daemon; killed when dropped.
pub struct Daemon {
    child: RefCell<Child>,
    log: Arc<Mutex<Vec<String>>>,
}

impl Daemon {
    /// Started and subscribed at the broker of its settings.
    pub fn start(plant: &Plant) -> Self {
        let daemon = Self::launch(plant);
        daemon.logged("subscribed");
        daemon
    }

    /// Started; not yet connected to anything.
    pub fn launch(plant: &Plant) -> Self {
        Self::spawn(Command::new(env!("CARGO_BIN_EXE_sumpward")), plant)
    }

    /// Started and subscribed, and able to live with
    /// [`Daemon::limit_files`]: a shell ignores the signal for it that would
    /// end it at the limit.
    pub fn start_with_limits(plant: &Plant) -> Self {
        let mut shell = Command::new("sh");
        shell.args(["-c", "trap '' XFSZ; exec \"$0\" \"$@\""]);
        shell.arg(env!("CARGO_BIN_EXE_sumpward"));
        let daemon = Self::spawn(shell, plant);
        daemon.logged("subscribed");
        daemon
    }

    /// No file that it writes may grow beyond so many bytes: the store's
    /// writes fail, as on a full disk.
    pub fn limit_files(&self, bytes: &str) {
        let pid = self.child.borrow().id().to_string();
        // The soft limit alone, so that it can be lifted again.
        let limit = format!("--fsize={bytes}:");
        let set = Command::new("prlimit")
            .args(["--pid", &pid, &limit])
            .status();
        assert!(set.expect("util-linux is installed").success());
    }

    fn spawn(mut command: Command, plant: &Plant) -> Self {
        let mut child = command
            .args(["run", "--config"])
            .arg(plant.config())
            .current_dir(plant.folder())
            .stderr(Stdio::piped())
            .spawn()
            .unwrap();
        let log = Arc::new(Mutex::new(Vec::new()));
        let (lines, kept) = (
            BufReader::new(child.stderr.take().unwrap()),
            Arc::clone(&log),
        );
        std::thread::spawn(move || {
            for line in lines.lines().map_while(Result::ok) {
                kept.lock().unwrap().push(line);
            }
        });
        Daemon {
            child: RefCell::new(child),
            log,
        }
    }

    /// Waits until a line of the log contains this.
    pub fn logged(&self, what: &str) -> String {
        until(&format!("the log says \"{what}\""), || {
            let found = {
                let log = self.log.lock().unwrap();
                log.iter().find(|line| line.contains(what)).cloned()
            };
            let ended = self.child.borrow_mut().try_wait().unwrap();
            assert!(
                found.is_some() || ended.is_none(),
                "the daemon ended before it said \"{what}\""
            );
            found
        })
    }

    /// Lines of the log that contain this.
    pub fn count_logged(&self, what: &str) -> usize {
        self.count_logged_both(what, "")
    }

    /// Lines of the log that contain both.
    pub fn count_logged_both(&self, one: &str, other: &str) -> usize {
        let log = self.log.lock().unwrap();
        let both = |line: &&String| line.contains(one) && line.contains(other);
        log.iter().filter(both).count()
    }

    /// Processor time that it has taken so far, s.
    pub fn cpu_seconds(&self) -> f64 {
        let file = format!("/proc/{}/stat", self.child.borrow().id());
        let text = std::fs::read_to_string(file).unwrap();
        // proc(5): fields 14 and 15 are user and system time; the name before
        // them ends in the last parenthesis. Linux counts hundredths for all.
        let (_, fields) = text.rsplit_once(')').unwrap();
        let fields = fields.split_whitespace().skip(11).take(2);
        fields
            .map(|ticks| ticks.parse::<f64>().unwrap())
            .sum::<f64>()
            / 100.0
    }

    /// Whether SIGSTOP has reached it.
    pub fn is_stopped(&self) -> bool {
        let file = format!("/proc/{}/stat", self.child.borrow().id());
        let text = std::fs::read_to_string(file).unwrap();
        // proc(5): the state comes after the name, T where it is stopped.
        text.rsplit_once(')')
            .unwrap()
            .1
            .trim_start()
            .starts_with('T')
    }

    /// SIGKILL: no chance to do anything.
    pub fn kill(self) {
        let mut child = self.child.borrow_mut();
        child.kill().unwrap();
        child.wait().unwrap();
    }

    /// Sends a signal by name.
    pub fn signal(&self, name: &str) {
        let pid = self.child.borrow().id().to_string();
        let sent = Command::new("kill")
            .args(["-s", name, &pid])
            .status()
            .unwrap();
        assert!(sent.success());
    }

    /// Waits for the end.
    pub fn ended(&self) -> ExitStatus {
        until("the daemon ends", || {
            self.child.borrow_mut().try_wait().unwrap()
        })
    }
}

impl Drop for Daemon {
    fn drop(&mut self) {
        let mut child = self.child.borrow_mut();
        let _ = child.kill();
        let _ = child.wait();
        if std::thread::panicking() {
            eprintln!("the daemon's log:\n{}", self.log.lock().unwrap().join("\n"));
        }
    }
}

/// Readings (not estimates) in the plant's store.
pub fn stored(plant: &Plant) -> u64 {
    Reader::open(&plant.store())
        .and_then(|reader| reader.count_readings(SeriesKind::Reading))
        .unwrap_or(0)
}

/// The journal in the plant's store, as JSON lines.
pub fn journal(plant: &Plant) -> Vec<String> {
    let reader = Reader::open(&plant.store()).unwrap();
    reader
        .journal(None, 100_000)
        .unwrap()
        .into_iter()
        .map(|line| line.body)
        .collect()
}
