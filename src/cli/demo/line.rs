//! The demo's own line to its broker: instruments and crew speak over it, and
//! what the daemon says comes back.

use std::time::Duration;

use anyhow::Context;
use rumqttc::v5::mqttbytes::QoS;
use rumqttc::v5::mqttbytes::v5::Packet;
use rumqttc::v5::{AsyncClient, Event, MqttOptions};
use tokio::sync::{mpsc, watch};
use tokio::task::JoinHandle;

/// Messages that may wait to be heard.
const WAITING: usize = 4096;
/// Publishes that may wait to leave.
const LEAVING: usize = 1024;
/// Largest message, in bytes.
const LARGEST: u32 = 1 << 20;

/// A client of the broker.
pub(super) struct Line {
    client: AsyncClient,
    sent: u64,
    confirmed: watch::Receiver<u64>,
    messages: mpsc::Receiver<(String, Vec<u8>)>,
    polling: JoinHandle<()>,
}

impl Line {
    /// Connects and subscribes.
    pub(super) async fn connect(port: u16, filter: &str) -> anyhow::Result<Self> {
        let mut options = MqttOptions::new("demo", "127.0.0.1", port);
        options.set_keep_alive(Duration::from_secs(30));
        options.set_max_packet_size(Some(LARGEST));
        options.set_receive_maximum(Some(LEAVING as u16));
        let (client, mut events) = AsyncClient::new(options, LEAVING);
        let (count, confirmed) = watch::channel(0);
        let (door, messages) = mpsc::channel(WAITING);
        let (subscribed, mut ready) = mpsc::channel(1);
        let polling = tokio::spawn(async move {
            while let Ok(event) = events.poll().await {
                match event {
                    Event::Incoming(Packet::PubAck(_)) => count.send_modify(|n| *n += 1),
                    Event::Incoming(Packet::SubAck(_)) => {
                        // Only the first answer is waited for.
                        let _ = subscribed.try_send(());
                    }
                    Event::Incoming(Packet::Publish(message)) => {
                        let topic = String::from_utf8_lossy(&message.topic).into_owned();
                        if door.send((topic, message.payload.to_vec())).await.is_err() {
                            return;
                        }
                    }
                    _ => {}
                }
            }
        });
        client
            .subscribe(filter, QoS::AtLeastOnce)
            .await
            .context("cannot subscribe")?;
        ready
            .recv()
            .await
            .context("the demo's broker does not answer")?;
        Ok(Line {
            client,
            sent: 0,
            confirmed,
            messages,
            polling,
        })
    }

    /// Publishes at QoS 1.
    pub(super) async fn publish(&mut self, topic: &str, payload: Vec<u8>) -> anyhow::Result<()> {
        self.client
            .publish(topic, QoS::AtLeastOnce, false, payload)
            .await
            .context("cannot publish")?;
        self.sent += 1;
        Ok(())
    }

    /// Waits until the broker has confirmed everything published so far.
    pub(super) async fn confirmed(&mut self) -> anyhow::Result<()> {
        let sent = self.sent;
        self.confirmed
            .wait_for(|confirmed| *confirmed >= sent)
            .await
            .context("the line to the demo's broker broke")?;
        Ok(())
    }

    /// The next message that has come, if any.
    pub(super) fn received(&mut self) -> Option<(String, Vec<u8>)> {
        self.messages.try_recv().ok()
    }

    /// Hangs up.
    pub(super) fn close(self) {
        self.polling.abort();
    }
}
