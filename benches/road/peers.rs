//! The processes around: a real mosquitto and the built daemon.

use std::io::{BufRead, BufReader};
use std::net::{TcpListener, TcpStream};
use std::process::{Child, Command, Stdio};
use std::sync::{Arc, Mutex, MutexGuard};
use std::time::{Duration, Instant};

use tempfile::TempDir;

use crate::plant::Plant;

/// Longest wait for anything; it only matters when something is broken.
pub const PATIENCE: Duration = Duration::from_secs(120);

/// Waits until `condition` gives something, looking every `pause`.
///
/// # Panics
/// When it does not within [`PATIENCE`].
pub fn until<T>(what: &str, pause: Duration, mut condition: impl FnMut() -> Option<T>) -> T {
    let begun = Instant::now();
    loop {
        if let Some(found) = condition() {
            return found;
        }
        assert!(begun.elapsed() < PATIENCE, "waited in vain until {what}");
        std::thread::sleep(pause);
    }
}

/// A process that is killed when dropped.
pub struct Running(Child);

impl Running {
    /// Takes charge of a process.
    pub fn new(child: Child) -> Self {
        Running(child)
    }

    /// Its id.
    pub fn pid(&self) -> u32 {
        self.0.id()
    }

    fn has_ended(&mut self) -> bool {
        !matches!(self.0.try_wait(), Ok(None))
    }
}

impl Drop for Running {
    fn drop(&mut self) {
        let _ = self.0.kill();
        let _ = self.0.wait();
    }
}

/// A mosquitto of our own, with no limits that could make it lose a message.
pub struct Mosquitto {
    /// Where it listens.
    pub port: u16,
    process: Running,
    _folder: TempDir,
}

impl Mosquitto {
    /// Starts one on a free port.
    pub fn start() -> Self {
        let folder = tempfile::tempdir().expect("a temporary folder can be made");
        let port = free_port();
        let text = format!(
            "listener {port} 127.0.0.1\nallow_anonymous true\npersistence false\n\
             max_inflight_messages 0\nmax_queued_messages 0\nset_tcp_nodelay true\n"
        );
        let configuration = folder.path().join("mosquitto.conf");
        std::fs::write(&configuration, text).expect("the folder is ours");
        let child = Command::new("mosquitto")
            .arg("-c")
            .arg(&configuration)
            .stdout(Stdio::null())
            .stderr(Stdio::null())
            .spawn()
            .expect("mosquitto is installed");
        let process = Running::new(child);
        let address = ("127.0.0.1", port);
        until("mosquitto listens", Duration::from_millis(10), || {
            TcpStream::connect(address).ok()
        });
        Mosquitto {
            port,
            process,
            _folder: folder,
        }
    }

    /// Its process id.
    pub fn pid(&self) -> u32 {
        self.process.pid()
    }
}

fn free_port() -> u16 {
    TcpListener::bind(("127.0.0.1", 0))
        .and_then(|listener| listener.local_addr())
        .expect("a port is free")
        .port()
}

/// The built daemon.
pub struct Daemon {
    process: Running,
    log: Arc<Mutex<Vec<String>>>,
}

impl Daemon {
    /// Started and subscribed at the broker of its settings. `details` are
    /// what its log tells beyond the usual, as in SUMPWARD_LOG.
    pub fn start(plant: &Plant, details: &str) -> Self {
        let mut child = Command::new(env!("CARGO_BIN_EXE_sumpward"))
            .args(["run", "--config"])
            .arg(plant.config())
            .env("SUMPWARD_LOG", format!("info,rumqttc=error,{details}"))
            .env("NO_COLOR", "1")
            .stderr(Stdio::piped())
            .spawn()
            .expect("cargo has built the program");
        let lines = BufReader::new(child.stderr.take().expect("it is piped"));
        let kept = Arc::new(Mutex::new(Vec::new()));
        let log = Arc::clone(&kept);
        std::thread::spawn(move || {
            for line in lines.lines().map_while(Result::ok) {
                lock(&kept).push(line);
            }
        });
        let mut daemon = Daemon {
            process: Running::new(child),
            log,
        };
        let log = Arc::clone(&daemon.log);
        let subscribed = |line: &String| line.contains(" subscribed");
        daemon.until("it has subscribed", Duration::from_millis(10), || {
            lock(&log).iter().any(subscribed).then_some(())
        });
        daemon
    }

    /// Waits until `condition` gives something, looking every `pause`.
    ///
    /// # Panics
    /// When the daemon ends before, or it takes longer than [`PATIENCE`].
    pub fn until<T>(
        &mut self,
        what: &str,
        pause: Duration,
        mut condition: impl FnMut() -> Option<T>,
    ) -> T {
        let Daemon { process, log } = self;
        until(what, pause, || {
            let told = || lock(log).join("\n");
            assert!(!process.has_ended(), "the daemon has ended:\n{}", told());
            condition()
        })
    }

    /// Its process id.
    pub fn pid(&self) -> u32 {
        self.process.pid()
    }

    /// The lines of its log so far.
    pub fn log(&self) -> Vec<String> {
        lock(&self.log).clone()
    }
}

fn lock(log: &Mutex<Vec<String>>) -> MutexGuard<'_, Vec<String>> {
    log.lock().expect("nobody panics holding it")
}
