//! A real mosquitto, and a client to talk to it.

use std::net::{TcpListener, TcpStream};
use std::path::Path;
use std::process::{Child, Command, Stdio};
use std::sync::atomic::{AtomicU16, Ordering};
use std::sync::mpsc;
use std::time::Duration;

use rumqttc::Outgoing;
use rumqttc::v5::mqttbytes::QoS;
use rumqttc::v5::mqttbytes::v5::{Packet, PublishProperties};
use rumqttc::v5::{Client, Event, MqttOptions};
use tempfile::TempDir;

use crate::wait::{PATIENCE, until};

/// What is said beyond the plain configuration.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Keeps {
    /// Sessions and queues survive a restart.
    Sessions,
    /// Nothing survives a restart.
    Nothing,
}

/// A running mosquitto; killed when dropped.
pub struct Mosquitto {
    pub port: u16,
    folder: TempDir,
    child: Child,
}

impl Mosquitto {
    pub fn start(keeps: Keeps) -> Self {
        Self::start_with(keeps, "")
    }

    /// With further lines of configuration; they replace earlier ones.
    pub fn start_with(keeps: Keeps, more: &str) -> Self {
        Self::begin(free_port(), keeps, more)
    }

    /// On this port, without memory.
    pub fn start_on(port: u16) -> Self {
        Self::begin(port, Keeps::Nothing, "")
    }

    fn begin(port: u16, keeps: Keeps, more: &str) -> Self {
        let folder = tempfile::tempdir().unwrap();
        let persistence = match keeps {
            Keeps::Sessions => format!(
                "persistence true\npersistence_location {}/\nautosave_interval 1\n",
                folder.path().display()
            ),
            Keeps::Nothing => "persistence false\n".to_owned(),
        };
        // As root mosquitto would drop to a user that cannot write here.
        let text = format!(
            "listener {port} 127.0.0.1\nallow_anonymous true\nuser root\nmax_inflight_messages 0\n\
             max_queued_messages 0\nmax_queued_bytes 0\nset_tcp_nodelay true\n{persistence}{more}\n"
        );
        std::fs::write(folder.path().join("mosquitto.conf"), text).unwrap();
        let child = spawn(folder.path());
        let broker = Mosquitto {
            port,
            folder,
            child,
        };
        broker.wait();
        broker
    }

    fn wait(&self) {
        let address = ("127.0.0.1", self.port);
        until("mosquitto listens", || TcpStream::connect(address).ok());
    }

    /// SIGKILL.
    pub fn kill(&mut self) {
        self.child.kill().unwrap();
        self.child.wait().unwrap();
    }

    /// Ends it in good order: it writes down what it knows.
    pub fn stop(&mut self) {
        let pid = self.child.id().to_string();
        let sent = Command::new("kill").arg(&pid).status().unwrap();
        assert!(sent.success());
        self.child.wait().unwrap();
    }

    /// Takes away what it wrote down of its sessions.
    pub fn forget(&self) {
        std::fs::remove_file(self.folder.path().join("mosquitto.db")).unwrap();
    }

    /// Stops it in its tracks without ending it: it answers nothing more.
    pub fn freeze(&self) {
        let pid = self.child.id().to_string();
        let sent = Command::new("kill")
            .args(["-s", "STOP", &pid])
            .status()
            .unwrap();
        assert!(sent.success());
    }

    /// Starts it again on the same port and folder.
    pub fn start_again(&mut self) {
        self.child = spawn(self.folder.path());
        self.wait();
    }
}

impl Drop for Mosquitto {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

fn spawn(folder: &Path) -> Child {
    Command::new("mosquitto")
        .arg("-c")
        .arg(folder.join("mosquitto.conf"))
        .stdout(Stdio::null())
        .stderr(Stdio::null())
        .spawn()
        .expect("mosquitto is installed (tests/all installs it)")
}

/// A port that nothing listens on, below those that the system deals out, and
/// never the same twice in one test run.
pub fn free_port() -> u16 {
    static NEXT: AtomicU16 = AtomicU16::new(0);
    let first = 20_000 + (std::process::id() % 100) as u16 * 100;
    until("a port is free", || {
        let port = first + NEXT.fetch_add(1, Ordering::Relaxed) % 100;
        TcpListener::bind(("127.0.0.1", port)).ok().map(|_| port)
    })
}

/// A client of the test's own, run by a thread.
pub struct TestClient {
    client: Client,
    published: mpsc::Receiver<()>,
    received: mpsc::Receiver<(String, String)>,
    correlated: mpsc::Receiver<Vec<u8>>,
}

impl TestClient {
    /// Connected and subscribed to `filters`.
    pub fn connect(port: u16, id: &str, filters: &[&str]) -> Self {
        let mut options = MqttOptions::new(id, "127.0.0.1", port);
        options.set_keep_alive(Duration::from_secs(30));
        options.set_receive_maximum(Some(1000));
        options.set_max_packet_size(Some(1 << 20));
        let (client, mut connection) = Client::new(options, 1000);
        for filter in filters {
            client.subscribe(*filter, QoS::AtLeastOnce).unwrap();
        }
        let (acknowledged, published) = mpsc::channel();
        let (subscribed, subscriptions) = mpsc::channel();
        let (message, received) = mpsc::channel();
        let (correlation, correlated) = mpsc::channel();
        std::thread::spawn(move || {
            for event in connection.iter() {
                match event {
                    Ok(Event::Incoming(Packet::PubAck(_))) => {
                        if acknowledged.send(()).is_err() {
                            return;
                        }
                    }
                    Ok(Event::Incoming(Packet::SubAck(_))) => {
                        let _ = subscribed.send(());
                    }
                    Ok(Event::Incoming(Packet::Publish(publish))) => {
                        let properties = publish.properties.as_ref();
                        if let Some(data) = properties.and_then(|of| of.correlation_data.as_ref()) {
                            let _ = correlation.send(data.to_vec());
                        }
                        let text = |bytes: &[u8]| String::from_utf8_lossy(bytes).into_owned();
                        if message
                            .send((text(&publish.topic), text(&publish.payload)))
                            .is_err()
                        {
                            return;
                        }
                    }
                    Ok(Event::Outgoing(Outgoing::Disconnect)) => return,
                    Ok(_) => {}
                    Err(_) => std::thread::park_timeout(Duration::from_millis(50)),
                }
            }
        });
        for _ in filters {
            subscriptions
                .recv_timeout(PATIENCE)
                .expect("the broker grants the subscription");
        }
        TestClient {
            client,
            published,
            received,
            correlated,
        }
    }

    /// Hands a QoS 1 message over; [`TestClient::confirmed`] waits for it.
    pub fn send(&self, topic: &str, payload: impl Into<Vec<u8>>) {
        self.client
            .publish(topic, QoS::AtLeastOnce, false, payload.into())
            .unwrap();
    }

    /// Leaves a message at the broker for those who subscribe later.
    pub fn retain(&self, topic: &str, payload: impl Into<Vec<u8>>) {
        self.client
            .publish(topic, QoS::AtLeastOnce, true, payload.into())
            .unwrap();
        self.confirmed(1);
    }

    /// Sends a message and asks for the answer on a topic, with something to
    /// know it by; waits until the broker confirmed it.
    pub fn ask(&self, topic: &str, payload: &str, answer_to: &str, correlation: &[u8]) {
        let properties = PublishProperties {
            response_topic: Some(answer_to.to_owned()),
            correlation_data: Some(correlation.to_vec().into()),
            ..PublishProperties::default()
        };
        self.client
            .publish_with_properties(
                topic,
                QoS::AtLeastOnce,
                false,
                payload.to_owned(),
                properties,
            )
            .unwrap();
        self.confirmed(1);
    }

    /// What the next message is to be known by.
    pub fn correlation(&self) -> Vec<u8> {
        self.correlated
            .recv_timeout(PATIENCE)
            .expect("a message with correlation data comes")
    }

    /// Waits until the broker confirmed so many more messages.
    pub fn confirmed(&self, count: usize) {
        for _ in 0..count {
            self.published
                .recv_timeout(PATIENCE)
                .expect("the broker confirms");
        }
    }

    /// Sends one message and waits until the broker confirmed it.
    pub fn publish(&self, topic: &str, payload: impl Into<Vec<u8>>) {
        self.send(topic, payload);
        self.confirmed(1);
    }

    /// The next message whose topic ends so.
    pub fn next(&self, ending: &str) -> serde_json::Value {
        loop {
            let (topic, payload) = self
                .received
                .recv_timeout(PATIENCE)
                .expect("a message comes");
            if topic.ends_with(ending) {
                return serde_json::from_str(&payload).expect("messages are JSON");
            }
        }
    }

    /// Everything received so far.
    pub fn so_far(&self) -> Vec<(String, String)> {
        self.received.try_iter().collect()
    }
}

/// Takes leave, so that another client may use the same id.
impl Drop for TestClient {
    fn drop(&mut self) {
        let _ = self.client.try_disconnect();
    }
}
