//! The broker against the client library that the daemon uses, and against
//! bytes where no library would send them.

use std::time::Duration;

use rumqttc::v5::mqttbytes::QoS;
use rumqttc::v5::mqttbytes::v5::{DisconnectReasonCode, LastWill, Packet, PubAckReason, Publish};
use rumqttc::v5::{AsyncClient, ConnectionError, Event, EventLoop, MqttOptions, StateError};
use tokio::io::{AsyncReadExt, AsyncWriteExt};
use tokio::net::TcpStream;
use tokio::time::timeout;

use super::*;

/// No condition here takes longer than this on any machine that works.
const DEADLINE: Duration = Duration::from_secs(20);

async fn in_time<T>(work: impl Future<Output = T>) -> T {
    timeout(DEADLINE, work).await.expect("not within 20 s")
}

async fn broker() -> Broker {
    Broker::start(0, BrokerLimits::default()).await.unwrap()
}

/// A client and its end of the wire.
struct Peer {
    client: AsyncClient,
    wire: EventLoop,
}

impl Peer {
    fn options(broker: &Broker, id: &str) -> MqttOptions {
        let mut options = MqttOptions::new(id, "127.0.0.1", broker.address().port());
        options.set_manual_acks(true);
        options.set_clean_start(false);
        options.set_session_expiry_interval(Some(3600));
        options
    }

    /// Connects; tells whether there was a session.
    async fn connect(options: MqttOptions) -> (Peer, bool) {
        let (client, wire) = AsyncClient::new(options, 1000);
        let mut peer = Peer { client, wire };
        let session_present = peer.connack().await;
        (peer, session_present)
    }

    async fn new(broker: &Broker, id: &str) -> Peer {
        Peer::connect(Peer::options(broker, id)).await.0
    }

    async fn packet(&mut self) -> Result<Packet, ConnectionError> {
        in_time(async {
            loop {
                if let Event::Incoming(packet) = self.wire.poll().await? {
                    return Ok(packet);
                }
            }
        })
        .await
    }

    async fn connack(&mut self) -> bool {
        loop {
            if let Ok(Packet::ConnAck(answer)) = self.packet().await {
                return answer.session_present;
            }
        }
    }

    async fn subscribe(&mut self, filter: &str, qos: QoS) {
        self.client.subscribe(filter, qos).await.unwrap();
        while !matches!(self.packet().await.unwrap(), Packet::SubAck(_)) {}
    }

    async fn publish(&mut self, topic: &str, qos: QoS, retain: bool, payload: &str) {
        self.client
            .publish(topic, qos, retain, payload.to_owned())
            .await
            .unwrap();
        while qos == QoS::AtLeastOnce && !matches!(self.packet().await.unwrap(), Packet::PubAck(_))
        {
        }
    }

    async fn message(&mut self) -> Publish {
        loop {
            if let Packet::Publish(message) = self.packet().await.unwrap() {
                return message;
            }
        }
    }

    /// Acknowledges, and goes on polling until the broker knows; what comes in
    /// meanwhile is lost to the test.
    async fn acknowledge(&mut self, message: &Publish, broker: &Broker, left: usize) {
        self.client.ack(message).await.unwrap();
        in_time(async {
            while broker.outstanding(&self.wire.options.client_id()) > left {
                tokio::select! {
                    event = self.wire.poll() => { event.unwrap(); }
                    () = tokio::task::yield_now() => {}
                }
            }
        })
        .await;
    }
}

fn text(message: &Publish) -> &str {
    std::str::from_utf8(&message.payload).unwrap()
}

#[tokio::test]
async fn a_message_stays_outstanding_until_it_is_acknowledged() {
    let broker = broker().await;
    let mut hearer = Peer::new(&broker, "hearer").await;
    let mut speaker = Peer::new(&broker, "speaker").await;
    hearer.subscribe("a/b", QoS::AtLeastOnce).await;
    in_time(broker.listening("hearer")).await;
    speaker.publish("a/b", QoS::AtLeastOnce, false, "7").await;
    assert_eq!(broker.outstanding("hearer"), 1);
    let message = hearer.message().await;
    assert_eq!((text(&message), message.dup), ("7", false));
    assert_eq!(broker.outstanding("hearer"), 1);
    hearer.acknowledge(&message, &broker, 0).await;
    in_time(broker.drained("hearer")).await;
    in_time(broker.drained("nobody")).await;
}

#[tokio::test]
async fn drained_resolves_when_the_last_acknowledgement_comes() {
    let broker = broker().await;
    let mut hearer = Peer::new(&broker, "hearer").await;
    let mut speaker = Peer::new(&broker, "speaker").await;
    hearer.subscribe("#", QoS::AtLeastOnce).await;
    for n in 0..100 {
        speaker
            .publish("n", QoS::AtLeastOnce, false, &n.to_string())
            .await;
    }
    assert_eq!(broker.outstanding("hearer"), 100);
    let hear = async {
        let mut heard = Vec::new();
        loop {
            let message = hearer.message().await;
            heard.push(text(&message).parse::<i32>().unwrap());
            hearer.client.ack(&message).await.unwrap();
            if heard.len() == 100 {
                assert_eq!(heard, (0..100).collect::<Vec<_>>());
                loop {
                    hearer.wire.poll().await.unwrap();
                }
            }
        }
    };
    tokio::select! {
        () = in_time(broker.drained("hearer")) => {}
        () = hear => {}
    }
    assert_eq!(broker.outstanding("hearer"), 0);
}

#[tokio::test]
async fn what_was_not_acknowledged_comes_again_after_a_broken_connection() {
    let broker = broker().await;
    let mut hearer = Peer::new(&broker, "hearer").await;
    let mut speaker = Peer::new(&broker, "speaker").await;
    hearer.subscribe("#", QoS::AtLeastOnce).await;
    for payload in ["1", "2"] {
        speaker.publish("n", QoS::AtLeastOnce, false, payload).await;
    }
    let (first, second) = (hearer.message().await, hearer.message().await);
    hearer.acknowledge(&first, &broker, 1).await;
    broker.cut("hearer");
    assert!(hearer.packet().await.is_err());
    speaker.publish("n", QoS::AtLeastOnce, false, "3").await;
    assert!(hearer.connack().await, "the session is still there");
    let again = hearer.message().await;
    assert_eq!((text(&again), again.dup), ("2", true));
    assert_eq!(again.pkid, second.pkid);
    let third = hearer.message().await;
    assert_eq!((text(&third), third.dup), ("3", false));
}

#[tokio::test]
async fn a_clean_start_forgets() {
    let broker = broker().await;
    let mut hearer = Peer::new(&broker, "hearer").await;
    hearer.subscribe("#", QoS::AtLeastOnce).await;
    drop(hearer);
    let (again, session_present) = Peer::connect(Peer::options(&broker, "hearer")).await;
    assert!(session_present);
    drop(again);
    let mut options = Peer::options(&broker, "hearer");
    options.set_clean_start(true);
    assert!(!Peer::connect(options).await.1);
}

#[tokio::test]
async fn a_session_ends_after_its_expiry() {
    let broker = broker().await;
    let mut options = Peer::options(&broker, "hearer");
    options.set_session_expiry_interval(Some(1));
    let (mut hearer, _) = Peer::connect(options).await;
    hearer.subscribe("#", QoS::AtLeastOnce).await;
    drop(hearer);
    let mut speaker = Peer::new(&broker, "speaker").await;
    speaker.publish("n", QoS::AtLeastOnce, false, "1").await;
    assert_eq!(broker.outstanding("hearer"), 1);
    in_time(broker.drained("hearer")).await;
    assert!(!Peer::connect(Peer::options(&broker, "hearer")).await.1);
}

#[tokio::test]
async fn the_last_value_of_a_topic_is_kept_until_it_is_cleared() {
    let broker = broker().await;
    let mut speaker = Peer::new(&broker, "speaker").await;
    for payload in ["1", "2"] {
        speaker
            .publish("kept/a", QoS::AtLeastOnce, true, payload)
            .await;
    }
    let mut hearer = Peer::new(&broker, "hearer").await;
    hearer.subscribe("kept/+", QoS::AtLeastOnce).await;
    let message = hearer.message().await;
    assert_eq!((text(&message), message.retain), ("2", true));
    speaker.publish("kept/a", QoS::AtLeastOnce, true, "3").await;
    let message = hearer.message().await;
    assert_eq!((text(&message), message.retain), ("3", false));
    speaker.publish("kept/a", QoS::AtLeastOnce, true, "").await;
    speaker.publish("kept/b", QoS::AtLeastOnce, true, "4").await;
    let mut late = Peer::new(&broker, "late").await;
    late.subscribe("kept/+", QoS::AtMostOnce).await;
    let message = late.message().await;
    assert_eq!((text(&message), message.qos), ("4", QoS::AtMostOnce));
}

fn with_will(broker: &Broker, id: &str) -> MqttOptions {
    let mut options = Peer::options(broker, id);
    let will = LastWill::new(
        format!("{id}/gone"),
        "offline",
        QoS::AtLeastOnce,
        true,
        None,
    );
    options.set_last_will(will);
    options
}

#[tokio::test]
async fn a_will_goes_out_when_the_connection_breaks_and_not_on_leave_taking() {
    let broker = broker().await;
    let mut hearer = Peer::new(&broker, "hearer").await;
    hearer.subscribe("+/gone", QoS::AtLeastOnce).await;
    let (mut polite, _) = Peer::connect(with_will(&broker, "polite")).await;
    polite.client.disconnect().await.unwrap();
    while polite.packet().await.is_ok() {}
    let (_lost, _) = Peer::connect(with_will(&broker, "lost")).await;
    broker.cut("lost");
    let message = hearer.message().await;
    assert_eq!(&message.topic[..], b"lost/gone");
    assert_eq!(text(&message), "offline");
}

#[tokio::test]
async fn a_second_connection_takes_the_session_over() {
    let broker = broker().await;
    let mut old = Peer::new(&broker, "pen").await;
    let (_new, session_present) = Peer::connect(Peer::options(&broker, "pen")).await;
    assert!(session_present);
    let told = loop {
        match old.packet().await {
            Ok(Packet::Disconnect(told)) => break told.reason_code,
            Ok(_) => {}
            Err(ConnectionError::MqttState(StateError::ServerDisconnect {
                reason_code, ..
            })) => break reason_code,
            Err(error) => panic!("{error:?}"),
        }
    };
    assert_eq!(told, DisconnectReasonCode::SessionTakenOver);
}

#[tokio::test]
async fn wildcards_choose_and_unsubscribing_ends_it() {
    let broker = broker().await;
    let mut hearer = Peer::new(&broker, "hearer").await;
    let mut speaker = Peer::new(&broker, "speaker").await;
    hearer.subscribe("plant/+/brix", QoS::AtLeastOnce).await;
    hearer.subscribe("µ/#", QoS::AtLeastOnce).await;
    for topic in ["plant/a/ph", "plant/a/brix", "plant/a/b/brix", "µ", "µ/1/2"] {
        speaker.publish(topic, QoS::AtLeastOnce, false, "1").await;
    }
    for topic in ["plant/a/brix", "µ", "µ/1/2"] {
        assert_eq!(&hearer.message().await.topic[..], topic.as_bytes());
    }
    hearer.client.unsubscribe("µ/#").await.unwrap();
    while !matches!(hearer.packet().await.unwrap(), Packet::UnsubAck(_)) {}
    speaker.publish("µ", QoS::AtLeastOnce, false, "1").await;
    speaker
        .publish("plant/b/brix", QoS::AtMostOnce, false, "1")
        .await;
    let ack = async { while speaker.packet().await.is_ok() {} };
    tokio::select! {
        message = hearer.message() => assert_eq!(&message.topic[..], b"plant/b/brix"),
        () = ack => {}
    }
}

#[tokio::test]
async fn publishers_learn_that_nobody_listens() {
    let broker = broker().await;
    let mut speaker = Peer::new(&broker, "speaker").await;
    speaker
        .client
        .publish("void", QoS::AtLeastOnce, false, "1")
        .await
        .unwrap();
    let reason = loop {
        if let Packet::PubAck(answer) = speaker.packet().await.unwrap() {
            break answer.reason;
        }
    };
    assert_eq!(reason, PubAckReason::NoMatchingSubscribers);
}

#[tokio::test]
async fn no_more_than_the_receive_maximum_is_under_way() {
    let broker = broker().await;
    let mut options = Peer::options(&broker, "hearer");
    options.set_receive_maximum(Some(2));
    let (mut hearer, _) = Peer::connect(options).await;
    hearer.subscribe("#", QoS::AtLeastOnce).await;
    let mut speaker = Peer::new(&broker, "speaker").await;
    for n in 0..4 {
        speaker
            .publish("n", QoS::AtLeastOnce, false, &n.to_string())
            .await;
    }
    let held = [hearer.message().await, hearer.message().await];
    // The answer to this comes behind any message that was sent before it.
    hearer.client.unsubscribe("other").await.unwrap();
    loop {
        match hearer.packet().await.unwrap() {
            Packet::UnsubAck(_) => break,
            Packet::Publish(third) => panic!("a third message is under way: {third:?}"),
            _ => {}
        }
    }
    hearer.client.ack(&held[0]).await.unwrap();
    assert_eq!(text(&hearer.message().await), "2");
}

#[tokio::test]
async fn a_message_larger_than_the_client_takes_is_left_out_and_counted() {
    let broker = broker().await;
    let mut options = Peer::options(&broker, "hearer");
    options.set_max_packet_size(Some(1000));
    let (mut hearer, _) = Peer::connect(options).await;
    hearer.subscribe("#", QoS::AtLeastOnce).await;
    let mut speaker = Peer::new(&broker, "speaker").await;
    speaker
        .publish("n", QoS::AtLeastOnce, false, &"x".repeat(2000))
        .await;
    speaker.publish("n", QoS::AtLeastOnce, false, "good").await;
    assert_eq!(text(&hearer.message().await), "good");
    assert_eq!(broker.dropped(), 1);
}

#[tokio::test]
async fn version_3_1_1_is_refused_in_its_own_words() {
    let broker = broker().await;
    let options = rumqttc::MqttOptions::new("old", "127.0.0.1", broker.address().port());
    let (_client, mut wire) = rumqttc::AsyncClient::new(options, 10);
    let error = in_time(wire.poll()).await.unwrap_err();
    assert!(
        matches!(
            error,
            rumqttc::ConnectionError::ConnectionRefused(
                rumqttc::ConnectReturnCode::RefusedProtocolVersion
            )
        ),
        "{error:?}"
    );
}

/// Connects with a keep alive in seconds, without a library.
async fn raw(broker: &Broker, keep_alive: u8) -> TcpStream {
    let mut stream = TcpStream::connect(broker.address()).await.unwrap();
    let mut hello = b"\x10\x10\x00\x04MQTT\x05\x02\x00".to_vec();
    hello.push(keep_alive);
    hello.extend_from_slice(b"\x00\x00\x03raw");
    stream.write_all(&hello).await.unwrap();
    stream
}

/// Everything that comes until the broker closes.
async fn to_the_end(mut stream: TcpStream) -> Vec<u8> {
    let mut bytes = Vec::new();
    in_time(stream.read_to_end(&mut bytes)).await.unwrap();
    bytes
}

#[tokio::test]
async fn a_silent_client_is_sent_away() {
    let broker = broker().await;
    let bytes = to_the_end(raw(&broker, 1).await).await;
    assert_eq!(bytes[..4], [0x20, bytes[1], 0, 0]);
    assert!(bytes.ends_with(&[0xE0, 2, 0x8D, 0]), "{bytes:02X?}");
}

#[tokio::test]
async fn qos_2_is_refused_and_announced_so() {
    let broker = broker().await;
    let mut stream = raw(&broker, 0).await;
    stream
        .write_all(b"\x34\x07\x00\x01t\x00\x01\x00x")
        .await
        .unwrap();
    let bytes = to_the_end(stream).await;
    assert!(
        bytes.windows(2).any(|pair| pair == [0x24, 1]),
        "maximum QoS"
    );
    assert!(bytes.ends_with(&[0xE0, 2, 0x9B, 0]), "{bytes:02X?}");
}

#[tokio::test]
async fn filters_that_are_not_served_get_their_reason_code() {
    let broker = broker().await;
    let mut stream = raw(&broker, 0).await;
    stream
        .write_all(b"\x82\x1B\x00\x09\x00\x00\x03a/#\x02\x00\x04a/#b\x00\x00\x08$share/g\x01")
        .await
        .unwrap();
    let granted = [0x90, 6, 0, 9, 0, 0x01, 0x8F, 0x9E];
    let mut bytes = Vec::new();
    while !bytes.ends_with(&granted) {
        assert_ne!(in_time(stream.read_buf(&mut bytes)).await.unwrap(), 0);
        assert!(bytes.len() < 100, "{bytes:02X?}");
    }
}

#[tokio::test]
async fn stopping_tells_the_clients() {
    let broker = broker().await;
    let mut stream = raw(&broker, 0).await;
    stream.read_u8().await.unwrap();
    let (bytes, ()) = tokio::join!(to_the_end(stream), in_time(broker.stop()));
    assert!(bytes.ends_with(&[0xE0, 2, 0x8B, 0]), "{bytes:02X?}");
}
