//! A Modbus slave that comes and goes, whose numbers tell which of its lives
//! they are of.

use std::time::Duration;

use sumpward::engine::Quality;
use sumpward::units::{Span, Timestamp};

use crate::daemon::Daemon;
use crate::plant::now;
use crate::wait::until;
use crate::wires::{Peer, Stored, Wired, channel};

/// Its channels, each with what is added to the number of the life.
const CHANNELS: [(&str, u64); 2] = [("first", 1000), ("second", 3000)];
/// Said of a port that is lost, whatever the reason.
const LOST: &str = "wire=modbus.hall";

/// A slave on a serial line at the near end of a [`Wired`] plant.
pub struct Slave {
    peer: Option<Peer>,
    lives: Vec<Life>,
}

/// From its switching on to the loss of its port.
struct Life {
    from: Timestamp,
    /// When it was gone, and when the daemon knew.
    gone: Option<(Timestamp, Timestamp)>,
}

/// What was stored of a slave.
#[derive(Debug, Default)]
pub struct Told {
    /// Readings of each life, of the channel that has fewer.
    pub of_each_life: Vec<usize>,
    /// Readings with a value that it never had.
    pub never_said: Vec<Stored>,
    /// Readings marked good from when the life that they are of was not.
    pub good_while_gone: Vec<Stored>,
    /// The longest time that the daemon took to know of a loss.
    pub known_after: Span,
    /// The longest time from switching on to a reading.
    pub back_after: Span,
}

/// The settings of its line and channels.
pub fn settings() -> String {
    let line =
        "[modbus.hall]\ndevice = \"LINK\"\nparity = \"none\"\nstop_bits = 1\npoll = \"100 ms\"\n";
    let channels = CHANNELS.iter().zip([0, 100]).map(|((name, _), register)| {
        let keys = format!(
            "quantity = \"redox\"\nplausible = [\"-5000 mV\", \"5000 mV\"]\nmodbus = \"hall\"\nslave = 3\n\
             register = {register}\nregisters = \"input\"\nnumber = \"uint16\""
        );
        channel(name, &keys)
    });
    [line.to_owned()].into_iter().chain(channels).collect()
}

impl Slave {
    /// Switched on.
    pub fn start(wired: &Wired) -> Self {
        let mut slave = Slave {
            peer: None,
            lives: Vec::new(),
        };
        slave.comes(wired);
        slave
    }

    /// Its port is there and it answers, with the numbers of a new life.
    fn comes(&mut self, wired: &Wired) {
        let life = self.lives.len() as u64;
        let numbers: Vec<String> = CHANNELS
            .iter()
            .zip([0, 100])
            .map(|((_, base), register)| format!("3:input:{register}:uint16:AB:{}", base + life))
            .collect();
        let numbers: Vec<&str> = numbers.iter().map(String::as_str).collect();
        let from = now();
        self.peer = Some(Peer::slaves(&wired.link(), &numbers));
        self.lives.push(Life { from, gone: None });
    }

    /// Killed, and its port gone with it; waits until the daemon knows.
    fn goes(&mut self, wired: &Wired, daemon: &Daemon) {
        let lost = || daemon.count_logged_both(LOST, "tried again until it is there");
        let before = lost();
        drop(self.peer.take());
        let gone = now();
        // The name of its port must not lead to somebody else's.
        std::fs::remove_file(wired.link()).unwrap();
        until("the loss of the port is known", || {
            (lost() > before).then_some(())
        });
        let life = self.lives.last_mut().expect("it has been started");
        life.gone = Some((gone, now()));
    }

    /// Lets a time pass, in which it is gone where it `goes`.
    pub fn away(&mut self, goes: bool, wired: &Wired, daemon: &Daemon, pause: Duration) {
        if goes {
            self.goes(wired, daemon);
        }
        std::thread::park_timeout(pause);
        if goes {
            self.comes(wired);
        }
    }

    /// Waits until readings of this life are stored.
    pub fn is_read(&self, wired: &Wired) {
        let life = self.lives.len() as u64 - 1;
        for (name, base) in CHANNELS {
            let wanted = (base + life) as f64;
            until(&format!("{name} gives {wanted}"), || {
                (wired.last(name)? == wanted).then_some(())
            });
        }
    }

    /// What is stored of it.
    pub fn told(&self, wired: &Wired) -> Told {
        let known_after = self.lives.iter().filter_map(|life| life.gone);
        let mut told = Told {
            of_each_life: vec![usize::MAX; self.lives.len()],
            known_after: known_after
                .map(|(gone, known)| known - gone)
                .max()
                .unwrap_or_default(),
            ..Told::default()
        };
        for (name, base) in CHANNELS {
            let mut counts = vec![0; self.lives.len()];
            for stored in wired.stored(name) {
                let said = stored.value - base as f64;
                let Some(place) = (0..counts.len()).find(|place| *place as f64 == said) else {
                    told.never_said.push(stored);
                    continue;
                };
                let life = &self.lives[place];
                if counts[place] == 0 {
                    told.back_after = told.back_after.max(stored.time - life.from);
                }
                counts[place] += 1;
                if stored.quality == Quality::GOOD && !life.was_there(stored.time) {
                    told.good_while_gone.push(stored);
                }
            }
            for (count, least) in counts.into_iter().zip(&mut told.of_each_life) {
                *least = count.min(*least);
            }
        }
        told
    }
}

impl Life {
    /// Until the daemon knew that it was not.
    fn was_there(&self, time: Timestamp) -> bool {
        let known = self.gone.map_or(Timestamp::MAX, |(_, known)| known);
        self.from <= time && time <= known
    }
}
