//! `demo`: the invented plant, self-contained.
//!
//! A simulated plant reports over real MQTT, through a loopback broker inside
//! this process, to the same daemon that `run` starts, with a store in a
//! folder. Only the clock is another one: it is moved in steps of the plant's
//! reading interval, each as soon as the daemon has stored the one before and
//! the wanted speed allows. A simulated crew hears the daemon's messages and
//! does what they say.

mod line;
mod screen;
mod told;

use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::time::{Duration, Instant};

use anyhow::{Context, bail};
use tokio_util::sync::CancellationToken;

use self::line::Line;
use self::screen::Screen;
use self::told::{TimeOfPlay, Told};
use crate::daemon::{self, Clock};
use crate::settings::Settings;
use crate::simulate::broker::{Broker, BrokerLimits};
use crate::simulate::crew::Crew;
use crate::simulate::plant::{self, Plant, READING_INTERVAL, START};
use crate::store::{Reader, SeriesKind};
use crate::units::{Span, Timestamp};

/// The plant's settings, as in demo/plant.
const FILES: [(&str, &str); 5] = [
    ("plant.toml", include_str!("../../../demo/plant/plant.toml")),
    ("sumps.toml", include_str!("../../../demo/plant/sumps.toml")),
    (
        "fluids/semi_synthetic.toml",
        include_str!("../../../demo/plant/fluids/semi_synthetic.toml"),
    ),
    (
        "fluids/soluble.toml",
        include_str!("../../../demo/plant/fluids/soluble.toml"),
    ),
    (
        "fluids/synthetic.toml",
        include_str!("../../../demo/plant/fluids/synthetic.toml"),
    ),
];
/// What the environment may add to the settings: where the demo is looked at from,
/// and where its values go.
const WANTED: [&str; 2] = ["SUMPWARD__WEB__", "SUMPWARD__FORWARD__"];
/// The daemon must take a step in within this time.
const STEP_DEADLINE: Duration = Duration::from_secs(30);
/// The plant's faults are planned so far ahead.
const PLANNED: Span = Span::from_hours(24 * 366);

/// How the demo is to be played.
#[derive(Debug)]
pub(super) struct Demo {
    /// Ends by itself after so many seconds.
    pub(super) seconds: Option<u64>,
    /// Ends by itself after so many simulated hours.
    pub(super) hours: Option<u32>,
    /// Simulated seconds in a real one, at most.
    pub(super) speed: f64,
    /// Chance of the plant and the crew.
    pub(super) seed: u64,
    /// Where the store goes; a new folder if not given.
    pub(super) folder: Option<PathBuf>,
}

/// Plays the demo; prints what came of it last.
pub(super) fn run(demo: &Demo) -> anyhow::Result<()> {
    let folder = new_folder(demo.folder.as_deref())?;
    let runtime = tokio::runtime::Builder::new_multi_thread()
        .worker_threads(2)
        .enable_all()
        .build()
        .context("cannot start the runtime")?;
    runtime.block_on(play(demo, &folder))?;
    tell_counts(&folder)
}

/// The demo's times lie in the past, so that it never goes on in an old store.
fn new_folder(wanted: Option<&Path>) -> anyhow::Result<PathBuf> {
    let folder = wanted.map_or_else(
        || std::env::temp_dir().join(format!("sumpward-demo-{}", std::process::id())),
        Path::to_path_buf,
    );
    if folder.join(crate::store::FILE_NAME).exists() {
        bail!(
            "{} holds a store already; name a new folder",
            folder.display()
        );
    }
    Ok(folder)
}

async fn play(demo: &Demo, folder: &Path) -> anyhow::Result<()> {
    let broker = Broker::start(0, BrokerLimits::default()).await?;
    let settings = Arc::new(settings(broker.address().port(), folder)?);
    let daemon_id = settings.brokers[settings.messages_broker].client_id.clone();
    let clock = Clock::simulated(START);
    let mut line = Line::connect(broker.address().port(), &message_filter(&settings)).await?;

    let stop_daemon = CancellationToken::new();
    let daemon = tokio::spawn(daemon::run(
        Arc::clone(&settings),
        clock.clone(),
        stop_daemon.clone(),
    ));
    broker.listening(&daemon_id).await;

    let mut screen = Screen::open(demo.speed, folder);
    let mut stage = Stage {
        plant: Plant::new(demo.seed, START, &plant::timetable(PLANNED)),
        crew: Crew::new(demo.seed),
        clock,
        entry_topic: settings.entry_topic.clone(),
    };
    let stop = CancellationToken::new();
    stop_on_interrupt(stop.clone());
    let begun = Instant::now();
    let end = demo
        .seconds
        .map(|seconds| begun + Duration::from_secs(seconds));
    let last = demo
        .hours
        .map(|hours| START + Span::from_hours(hours.into()));
    let played = async {
        while !stop.is_cancelled()
            && end.is_none_or(|end| Instant::now() < end)
            && last.is_none_or(|last| stage.plant.now() < last)
        {
            if daemon.is_finished() {
                bail!("the daemon ended early; see the log above");
            }
            stage
                .step(&broker, &daemon_id, &mut line, &mut screen)
                .await?;
            let played = (stage.plant.now() - START).secs_f64();
            let due = begun + Duration::from_secs_f64(played / demo.speed);
            tokio::select! {
                () = stop.cancelled() => {}
                () = tokio::time::sleep_until(due.into()) => {}
            }
        }
        Ok(())
    }
    .await;
    screen.close();
    stop_daemon.cancel();
    let ended = daemon.await.context("the daemon failed")?;
    line.close();
    broker.stop().await;
    played?;
    ended.context("the daemon did not end well")
}

/// The plant's settings, on this broker and folder.
fn settings(port: u16, folder: &Path) -> anyhow::Result<Settings> {
    let own = [
        ("SUMPWARD__BROKER__DEMO__PORT".to_owned(), port.to_string()),
        (
            "SUMPWARD__STORE__FOLDER".to_owned(),
            folder.display().to_string(),
        ),
        // Each step of the play waits for its commit.
        (
            "SUMPWARD__STORE__COMMIT_AFTER".to_owned(),
            "2 ms".to_owned(),
        ),
    ];
    let wanted = |name: &str| WANTED.iter().any(|table| name.starts_with(table));
    let more = std::env::vars().filter(|(name, _)| wanted(name));
    Ok(Settings::from_texts(&FILES, own.into_iter().chain(more))?)
}

fn message_filter(settings: &Settings) -> String {
    format!("{}/{}/#", settings.plant.base_topic, settings.plant.name)
}

/// Ctrl-C or SIGTERM ends the play in good order; the second one at once.
fn stop_on_interrupt(stop: CancellationToken) {
    if let Err(error) = super::run::stop_on_signal(stop) {
        eprintln!("sumpward: {error:#}; end the demo with --seconds");
    }
}

/// The plant, its crew and their clock.
struct Stage {
    plant: Plant,
    crew: Crew,
    clock: Clock,
    entry_topic: String,
}

impl Stage {
    /// One reading interval of the plant, until the daemon has stored it and
    /// the crew has done what is due.
    async fn step(
        &mut self,
        broker: &Broker,
        daemon_id: &str,
        line: &mut Line,
        screen: &mut Screen,
    ) -> anyhow::Result<()> {
        let now = self.plant.now() + READING_INTERVAL;
        let readings = self.plant.step(now);
        self.clock.set(now);
        for reading in &readings {
            line.publish(&reading.topic(), reading.payload()).await?;
        }
        for entry in self.crew.work(&mut self.plant)? {
            screen.tell(&Told::crew(&entry));
            line.publish(&self.entry_topic, entry.payload()).await?;
        }
        let taken_in = async {
            line.confirmed().await?;
            broker.drained(daemon_id).await;
            anyhow::Ok(())
        };
        tokio::time::timeout(STEP_DEADLINE, taken_in)
            .await
            .context("the daemon did not take the readings in")??;
        self.hear(now, line, screen)?;
        screen.draw(TimeOfPlay(now));
        Ok(())
    }

    fn hear(&mut self, now: Timestamp, line: &mut Line, screen: &mut Screen) -> anyhow::Result<()> {
        while let Some((topic, payload)) = line.received() {
            self.crew.hear(&topic, &payload, now)?;
            screen.hear(&topic, &payload);
        }
        Ok(())
    }
}

/// What came of it, last and in a form that a script can read.
fn tell_counts(folder: &Path) -> anyhow::Result<()> {
    let reader = Reader::open(folder)?;
    println!("store: {}", folder.join(crate::store::FILE_NAME).display());
    println!(
        "readings stored: {}",
        reader.count_readings(SeriesKind::Reading)?
    );
    println!(
        "alarms raised: {}",
        reader.count_journal("alarm", Some(("transition", "raised")))?
    );
    println!("advice given: {}", reader.count_journal("advice", None)?);
    println!(
        "advice followed: {}",
        reader.count_journal("advice_followed", None)?
    );
    Ok(())
}
