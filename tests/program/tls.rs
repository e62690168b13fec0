//! Over TLS, against a certificate of our own making.

use std::path::Path;
use std::process::{Command, Stdio};

use crate::broker::{Keeps, Mosquitto};
use crate::daemon::Daemon;
use crate::plant::{Plant, Wanted};

/// A certificate for 127.0.0.1 that vouches for itself.
pub fn certificate(folder: &Path, name: &str) {
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

fn plant(port: u16, protocol: &str, tls: &str) -> Plant {
    Plant::write(&Wanted {
        port,
        sumps: 1,
        on_delay: "0 s",
        broker: &format!("protocol = \"{protocol}\"\ntls = {{ {tls} }}"),
    })
}

/// `KEY = "FILE"`, as a setting.
fn file(key: &str, folder: &Path, name: &str) -> String {
    format!("{key} = \"{}\"", folder.join(name).display())
}

#[test]
fn a_broker_is_trusted_by_the_named_certificate_only() {
    let folder = tempfile::tempdir().unwrap();
    let folder = folder.path();
    certificate(folder, "ours");
    certificate(folder, "other");
    let broker = Mosquitto::start_with(
        Keeps::Nothing,
        &format!(
            "certfile {0}/ours.crt\nkeyfile {0}/ours.key",
            folder.display()
        ),
    );
    let trusting = plant(broker.port, "5", &file("ca_file", folder, "ours.crt"));
    let _subscribed = Daemon::start(&trusting);
    let doubtful = plant(broker.port, "5", &file("ca_file", folder, "other.crt"));
    let doubting = Daemon::launch(&doubtful);
    let told = doubting.logged("TLS");
    assert!(told.contains("tls.ca_file"), "{told}");
}

#[test]
fn a_broker_that_wants_to_see_a_certificate_gets_ours() {
    let folder = tempfile::tempdir().unwrap();
    let folder = folder.path();
    certificate(folder, "broker");
    certificate(folder, "daemon");
    let broker = Mosquitto::start_with(
        Keeps::Nothing,
        &format!(
            "certfile {0}/broker.crt\nkeyfile {0}/broker.key\ncafile {0}/daemon.crt\nrequire_certificate true",
            folder.display()
        ),
    );
    let ca = file("ca_file", folder, "broker.crt");
    let identity = [
        file("cert_file", folder, "daemon.crt"),
        file("key_file", folder, "daemon.key"),
    ]
    .join(", ");
    for protocol in ["5", "3.1.1"] {
        let known = plant(broker.port, protocol, &format!("{ca}, {identity}"));
        let _subscribed = Daemon::start(&known);
        let unknown = plant(broker.port, protocol, &ca);
        let refused = Daemon::launch(&unknown);
        refused.logged("tls.cert_file and tls.key_file");
    }
}

#[test]
fn files_that_cannot_be_used_are_told_by_check() {
    let folder = tempfile::tempdir().unwrap();
    let folder = folder.path();
    certificate(folder, "ours");
    certificate(folder, "other");
    std::fs::write(folder.join("words.pem"), "no certificate\n").unwrap();
    let key = std::fs::read_to_string(folder.join("ours.key")).unwrap();
    let old = key.replace("PRIVATE KEY", "RSA PRIVATE KEY");
    std::fs::write(folder.join("old.key"), old).unwrap();
    let locked = key.replace("PRIVATE KEY", "ENCRYPTED PRIVATE KEY");
    std::fs::write(folder.join("locked.key"), locked).unwrap();
    let ca = |name: &str| file("ca_file", folder, name);
    let identity = |key: &str| {
        let cert = file("cert_file", folder, "ours.crt");
        format!("{cert}, {}", file("key_file", folder, key))
    };
    for (tls, key, words) in [
        (ca("missing.crt"), "ca_file", "cannot be read"),
        (ca("words.pem"), "ca_file", "no certificate in PEM"),
        (ca("ours.key"), "ca_file", "no certificate in PEM"),
        (identity("words.pem"), "key_file", "no private key in PEM"),
        (identity("ours.crt"), "key_file", "no private key in PEM"),
        (identity("old.key"), "key_file", "openssl pkcs8"),
        (identity("locked.key"), "key_file", "locked with a password"),
        (identity("other.key"), "key_file", "cannot be used together"),
        (
            file("cert_file", folder, "ours.crt"),
            "key_file",
            "is missing",
        ),
        (
            file("key_file", folder, "ours.key"),
            "cert_file",
            "is missing",
        ),
    ] {
        let plant = plant(1, "5", &tls);
        let checked = Command::new(env!("CARGO_BIN_EXE_sumpward"))
            .args(["check", "--config"])
            .arg(plant.config())
            .output()
            .unwrap();
        let told = String::from_utf8_lossy(&checked.stderr).into_owned();
        assert_eq!(checked.status.code(), Some(2), "{tls}: {told}");
        let place = format!("broker.main.tls.{key}: ");
        assert!(
            told.contains("plant.toml:9:") && told.contains(&place) && told.contains(words),
            "{tls}: {told}"
        );
    }
}
