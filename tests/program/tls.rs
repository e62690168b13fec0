//! Over TLS, against a certificate of our own making.

use std::path::Path;
use std::process::{Command, Stdio};

use crate::broker::{Keeps, Mosquitto};
use crate::daemon::Daemon;
use crate::plant::{Plant, Wanted};

/// A certificate for 127.0.0.1 that vouches for itself.
fn certificate(folder: &Path, name: &str) {
    let made = Command::new("openssl")
        .args([
            "req",
            "-x509",
            "-newkey",
            "rsa:2048",
            "-nodes",
            "-days",
            "2",
            "-subj",
            "/CN=invented",
        ])
        .args([
            "-addext",
            "subjectAltName=IP:127.0.0.1",
            "-addext",
            "basicConstraints=critical,CA:TRUE",
        ])
        .arg("-keyout")
        .arg(folder.join(format!("{name}.key")))
        .arg("-out")
        .arg(folder.join(format!("{name}.crt")))
        .stderr(Stdio::null())
        .status()
        .expect("openssl is installed (tests/all installs it)");
    assert!(made.success());
}

fn plant_trusting(port: u16, ca_file: &Path) -> Plant {
    let tls = format!("tls = {{ ca_file = \"{}\" }}", ca_file.display());
    Plant::write(&Wanted {
        port,
        sumps: 1,
        on_delay: "0 s",
        broker: &tls,
    })
}

#[test]
fn a_broker_is_trusted_by_the_named_certificate_only() {
    let folder = tempfile::tempdir().unwrap();
    certificate(folder.path(), "ours");
    certificate(folder.path(), "other");
    let (ours, other) = (
        folder.path().join("ours.crt"),
        folder.path().join("other.crt"),
    );
    let broker = Mosquitto::start_with(
        Keeps::Nothing,
        &format!(
            "certfile {}\nkeyfile {}",
            ours.display(),
            folder.path().join("ours.key").display()
        ),
    );
    let trusting = plant_trusting(broker.port, &ours);
    let _subscribed = Daemon::start(&trusting);
    let doubtful = plant_trusting(broker.port, &other);
    let doubting = Daemon::launch(&doubtful);
    let told = doubting.logged("TLS");
    assert!(told.contains("tls.ca_file"), "{told}");
}
