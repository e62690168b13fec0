//! What is offered of lines, put into a plant's settings, reads them.

use std::time::Duration;

use super::*;
use crate::line::{LineCounts, LineEnd, LineReader};
use crate::settings::Origin;
use crate::survey::plant;
use crate::units::Timestamp;

fn port() -> Port {
    Port {
        device: "/dev/serial/by-id/usb-adapter-if01".to_owned(),
        name: "bench".to_owned(),
        format: PortFormat {
            baud: 4800,
            data_bits: DataBits::Seven,
            parity: Parity::Even,
        },
    }
}

fn heard(text: &[u8]) -> Heard {
    let mut heard = Heard::new();
    let now = Timestamp::from_millis(1_772_431_800_000);
    heard.handle_input(b"\n", Duration::ZERO, now);
    heard.handle_input(text, Duration::ZERO, now);
    heard
}

fn checked(kind: CheckKind, start: &str, text: &str) -> String {
    let digits = kind.digits();
    let check = kind.of(text.as_bytes());
    format!("{start}{text}*{check:0digits$X}\r\n")
}

/// What the settings read in the text, a line after the other.
fn read(offered: &str, text: &[u8]) -> Vec<f64> {
    let settings = plant::with(offered);
    let port = &settings.serial[0];
    assert_eq!(
        (port.port.baud, port.port.data_bits),
        (4800, DataBits::Seven)
    );
    let mut reader = LineReader::new(port.format.clone(), LineEnd::Any, port.longest);
    let mut counts = LineCounts::default();
    let mut read = Vec::new();
    let input = [b"\n", text].concat();
    reader.handle_input(&input, Duration::ZERO, &mut counts, |_, values| {
        let Ok(values) = values else { return };
        for route in &settings.routes {
            let Origin::Line { place, .. } = route.origin else {
                panic!("{:?} is no line", route.origin);
            };
            read.extend(values.get(place));
        }
    });
    read
}

#[test]
fn what_is_offered_reads_what_was_seen() {
    let xor = checked(CheckKind::Xor, "$", "BX=7.42 T=24.1 OK")
        + &checked(CheckKind::Xor, "$", "BX=7.43 T=24.2 ERR");
    let crc = checked(CheckKind::Crc16, "", "7.42;24.1");
    let cases: [(&[u8], &[f64]); 6] = [
        (
            b"BX= 7.42 T=24.1\r\nBX=17.43 T=24.2\r\n",
            &[7.42, 24.1, 17.43, 24.2],
        ),
        (b"7.42;24.1;OK\n7.43;24.2;ERR\n", &[7.42, 24.1, 7.43, 24.2]),
        (b"7.42 \xB0C\r7.43 \xB0C\r", &[7.42, 7.43]),
        (
            b"06:10:00 7.42 24.1\n06:10:01 7.43 24.2\n",
            &[7.42, 24.1, 7.43, 24.2],
        ),
        (xor.as_bytes(), &[7.42, 24.1, 7.43, 24.2]),
        (crc.as_bytes(), &[7.42, 24.1]),
    ];
    for (text, values) in cases {
        let report = report(&heard(text), &port());
        let offered = report.all_settings();
        assert_eq!(read(&offered, text), values, "{offered}");
        let newest: Vec<&Seen> = report.rows[0].values.iter().map(|v| &v.value).collect();
        let count = newest.len();
        let last = values[values.len() - count..]
            .iter()
            .map(|v| Seen::Number(*v));
        assert!(newest.into_iter().cloned().eq(last), "{offered}");
    }
}

#[test]
fn a_check_is_told_by_its_name() {
    let text = checked(CheckKind::Sum, "", "BX=7.42");
    let report = report(&heard(text.as_bytes()), &port());
    let notes = report.rows[0].notes.join("\n");
    assert!(notes.contains("the check at the end is \"sum\""), "{notes}");
    assert!(notes.contains("\"BX=7.42*"), "{notes}");
}

#[test]
fn a_decimal_comma_is_told() {
    let report = report(&heard(b"BX=7,42\r\n"), &port());
    assert_eq!(report.all_settings(), "");
    let notes = report.rows[0].notes.join("\n");
    assert!(notes.contains("decimal comma"), "{notes}");
}

#[test]
fn lines_that_look_otherwise_are_counted() {
    let report = report(&heard(b"pH=9.1\n** LOW BATTERY **\npH=9.2\n"), &port());
    let notes = report.rows[0].notes.join("\n");
    assert!(notes.contains("read 2 of the newest 3 lines"), "{notes}");
    assert!(
        report.settings.contains("pattern = \"pH={ph}\""),
        "{}",
        report.settings
    );
    assert!(report.rows[0].settings.contains("quantity = \"ph\""));
}
