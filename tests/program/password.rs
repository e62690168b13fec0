//! Brokers that want a name and a password.

use std::path::Path;
use std::process::{Command, Stdio};

use crate::broker::{Keeps, Mosquitto};
use crate::daemon::Daemon;
use crate::plant::{Plant, Wanted};
use crate::wait::until;

#[test]
fn only_the_right_password_opens_and_a_wrong_one_is_not_hammered() {
    let folder = tempfile::tempdir().unwrap();
    let passwords = folder.path().join("passwords");
    write_passwords(&passwords);
    let more = format!(
        "allow_anonymous false\npassword_file {}",
        passwords.display()
    );
    let broker = Mosquitto::start_with(Keeps::Nothing, &more);
    for protocol in ["5", "3.1.1"] {
        let told = |password: &str| {
            let file = folder.path().join(format!("{protocol}-{password}"));
            std::fs::write(&file, format!("{password}\n")).unwrap();
            let plant = Plant::write(&Wanted {
                port: broker.port,
                sumps: 1,
                on_delay: "0 s",
                broker: &format!(
                    "protocol = \"{protocol}\"\nuser = \"sumpward\"\npassword_file = \"{}\"",
                    file.display()
                ),
            });
            (Daemon::launch(&plant), plant)
        };
        let (right, _plant) = told("open-sesame");
        right.logged("subscribed");
        let (wrong, _plant) = told("open-barley");
        let line = wrong.logged("not connected: the broker refuses user name or password");
        assert!(line.contains("password_file"), "{line}");
        let pause: u64 = until("the pause is told", || {
            let (_, rest) = line.split_once("again_in_ms=")?;
            rest.split_whitespace().next()?.parse().ok()
        });
        assert!(pause >= 7_500, "{line}");
        assert_eq!(wrong.count_logged("barley"), 0);
    }
}

fn write_passwords(file: &Path) {
    let made = Command::new("mosquitto_passwd")
        .args(["-b", "-c"])
        .arg(file)
        .args(["sumpward", "open-sesame"])
        .stderr(Stdio::null())
        .status()
        .expect("mosquitto_passwd comes with mosquitto");
    assert!(made.success());
}
