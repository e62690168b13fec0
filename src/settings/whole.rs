//! From the sources to the settings of the whole plant.

use std::path::Path;
use std::sync::Arc;

use jiff::tz::TimeZone;

use crate::engine::AdmissionSetup;
use crate::units::{Parse, Span};

use super::brokers::{self, Brokers};
use super::choice;
use super::cleaners;
use super::contacts;
use super::defaults;
use super::fluids;
use super::key_path::KeyPath;
use super::layers;
use super::line_ports;
use super::mail;
use super::masters;
use super::message_texts;
use super::mistake::SettingsError;
use super::mixers;
use super::names;
use super::origin::Ways;
use super::own_rules;
use super::plant::{PlantSettings, Settings};
use super::plant_rules::{self, PlantRules, Watchable};
use super::ports;
use super::prices;
use super::problem::Problem;
use super::raw::{RawAdmission, RawEngine, RawMessages, RawPlant, RawSettings};
use super::registers;
use super::review::Review;
use super::roads::MessageSettings;
use super::shifts::{self, PlantShifts};
use super::sources::{Sources, is_name};
use super::stocks;
use super::store;
use super::sumps::{self, Sumps, Surrounding};
use super::targets;
use super::topic::check_exact;
use super::topics::{self, Claim};
use super::waters;
use super::web;
use super::webhooks;
use super::wired_origin::Wires;
use super::written::Written;

impl Settings {
    /// Reads `*.toml` and `fluids/*.toml` of the folder `dir`, by name, later
    /// ones over earlier ones, and the variables of `env` that begin with
    /// `SUMPWARD__` over all of them.
    ///
    /// # Errors
    /// Everything that is wrong, at once.
    pub fn load(
        dir: &Path,
        env: impl Iterator<Item = (String, String)>,
    ) -> Result<Settings, SettingsError> {
        settings(Sources::of_folder(dir, env))
    }

    /// Reads texts with the names of files, in the order given; one named
    /// `fluids/x.toml` is the data sheet of the fluid `x`. Files that they
    /// refer to are looked for in the working directory.
    ///
    /// # Errors
    /// Everything that is wrong, at once.
    pub fn from_texts(
        files: &[(&str, &str)],
        env: impl Iterator<Item = (String, String)>,
    ) -> Result<Settings, SettingsError> {
        settings(Sources::of_texts(files, env))
    }
}

fn settings(sources: Sources) -> Result<Settings, SettingsError> {
    let base = sources.base.clone();
    let (mut review, tree) = Review::of(layers::merge(sources));
    let raw: RawSettings = review.take(&KeyPath::root(), tree);
    let built = build(&mut review, raw, &base);
    let (mistakes, remarks) = review.into_told();
    if !mistakes.is_empty() {
        return Err(SettingsError::new(mistakes));
    }
    let built = built.expect("whatever could not be built was told as a mistake");
    Ok(Settings { remarks, ..built })
}

fn build(review: &mut Review, raw: RawSettings, base: &Path) -> Option<Settings> {
    let mut raw_plant = raw.plant.unwrap_or_default();
    let rules = plant_rules::plant_rules(review, &raw_plant.rules.take().unwrap_or_default());
    let time_zone = shifts::time_zone(review, &KeyPath::root().key("plant"), &raw_plant);
    let shifts = PlantShifts::read(review, raw.shifts.as_ref(), time_zone.clone());
    let plant = plant(review, raw_plant, time_zone.clone());
    let name = plant.as_ref().map(|plant| &*plant.name);
    let brokers = brokers::brokers(review, raw.broker, name, base);
    let messages = raw.messages.unwrap_or_default();
    let messages_broker = messages_broker(review, &messages, &brokers);
    let masters = masters::masters(review, raw.modbus);
    let line_ports = line_ports::line_ports(review, raw.serial);
    ports::check_devices(review, masters.ports().chain(line_ports.ports()));
    let kinds = [
        ("broker", &brokers.names[..]),
        ("modbus", &masters.names[..]),
        ("serial", &line_ports.names[..]),
    ];
    names::check_sources(review, &kinds);
    let waters = waters::waters(review, raw.water);
    let prices = prices::prices(review, raw.prices);
    let choice = choice::choice(review, &raw.choice.unwrap_or_default());
    let fluids = fluids::fluids(review, raw.fluid, prices.as_ref());
    let cleaners = cleaners::cleaners(review, raw.cleaner);
    let stocks = stocks::stocks(review, raw.stock, &fluids);
    let around = Surrounding {
        fluids: &fluids,
        shifts: &shifts,
        checks: raw.checks.as_ref(),
        waters: &waters,
        cleaners: &cleaners,
        prices,
        choice,
        ways: Ways {
            brokers: &brokers,
            usual_broker: messages_broker,
            wires: Wires {
                masters: &masters,
                ports: &line_ports,
            },
        },
    };
    let mut sumps = sumps::sumps(review, raw.sump, &around);
    let entry_topic = entry_topic(review, &messages, plant.as_ref());
    claim_entries(&mut sumps, messages_broker, entry_topic.as_deref());
    topics::check(review, &sumps.claims);
    topics::check_templates(review, &sumps.claims, &brokers);
    if let (Some(broker), Some(plant)) = (messages_broker, &plant) {
        let ours = format!("{}/{}", plant.base_topic, plant.name);
        topics::check_ours(review, &brokers, broker, &ours);
    }
    registers::check(review, &sumps.taken);
    names::check_sumps(review, &sumps.names);
    let texts = message_texts::message_texts(review, &messages, base);
    let (webhook_names, webhooks) = webhooks::webhooks(review, raw.webhook, base);
    let around = contacts::Around {
        sumps: &sumps.names,
        webhooks: &webhook_names,
        has_mail: raw.mail.is_some(),
        zone: time_zone.as_ref(),
        texts: texts.as_ref(),
    };
    let contacts = contacts::contacts(review, raw.contact, &around);
    let mail = match &raw.mail {
        None => Some(None),
        Some(raw) => mail::mail(review, raw, base).map(Some),
    };
    let web = match &raw.web {
        None => Some(None),
        Some(raw) => web::web(review, raw, base).map(Some),
    };
    let forward = targets::targets(review, raw.forward, &sumps.names, base);
    let expire_after = expire_after(review, &messages);
    let own_rules = own_rules::own_rules(review, raw.rule, &sumps.names);
    let mixers = mixers::mixers(review, raw.mixer, &sumps.names);
    let store = store::store(review, raw.store.unwrap_or_default());
    let admission = admission(review, &raw.admission.unwrap_or_default());
    let threads = threads(review, &raw.engine.unwrap_or_default());
    let (mixers, mut setups) = (all(mixers), all(sumps.setups));
    for setup in setups.iter_mut().flatten() {
        setup.start_up = rules.as_ref().is_some_and(PlantRules::tell_start_up);
    }
    if let (Some(mixers), Some(setups)) = (&mixers, &mut setups) {
        mixers::connect(mixers, setups);
    }
    if let Some(setups) = &setups {
        own_rules.check_reach(review, setups);
    }
    mixers?;
    let own_rules = own_rules.all_right();
    if let (Some(own_rules), Some(setups), Some(plant)) = (&own_rules, &mut setups, &plant) {
        own_rules::connect(own_rules, setups, &plant.time_zone);
    }
    let brokers = all(brokers.settings)?;
    let modbus = all(masters.settings)?;
    let serial = all(line_ports.settings)?;
    let routes = all(sumps.routes)?;
    let stocks = all(stocks)?;
    let forward = all(forward)?;
    let watched = Watchable {
        brokers: &brokers,
        modbus: &modbus,
        serial: &serial,
        routes: &routes,
        stocks: &stocks,
        targets: &forward,
    };
    Some(Settings {
        plant: plant?,
        store: store?,
        watched: watched.setup(&rules?),
        brokers,
        modbus,
        serial,
        messages_broker: messages_broker?,
        entry_topic: entry_topic?,
        texts: texts?,
        sumps: setups?.into_iter().map(Arc::new).collect(),
        routes,
        messages: MessageSettings {
            expire_after: expire_after?,
            mail: mail?,
            webhooks: all(webhooks)?,
        },
        contacts: all(contacts)?,
        web: web?,
        forward,
        own_rules: own_rules?,
        stocks,
        series: sumps.series,
        admission: admission?,
        engine_threads: threads?,
        remarks: Vec::new(),
    })
}

fn all<T>(parts: Vec<Option<T>>) -> Option<Vec<T>> {
    parts.into_iter().collect()
}

fn plant(review: &mut Review, raw: RawPlant, time_zone: Option<TimeZone>) -> Option<PlantSettings> {
    let at = KeyPath::root().key("plant");
    let path = at.key("name");
    let name = review.required(&path, raw.name, "name = \"north\" under [plant]");
    let name = name.filter(|name| {
        let good = is_name(name);
        if !good {
            review.tell(&path, Problem::BadName(name.chars().take(70).collect()));
        }
        good
    });
    let base = raw
        .base_topic
        .unwrap_or_else(|| defaults::BASE_TOPIC.to_owned());
    let checked = review.good(&at.key("base_topic"), check_exact(&base));
    checked?;
    Some(PlantSettings {
        name: name?.into(),
        base_topic: base,
        time_zone: time_zone?,
    })
}

fn messages_broker(review: &mut Review, raw: &RawMessages, brokers: &Brokers) -> Option<usize> {
    let path = KeyPath::root().key("messages").key("broker");
    match (raw.broker.as_deref(), brokers.names.len()) {
        (Some(name), _) => brokers.named(review, &path, name),
        (None, 0) => None,
        (None, 1) => Some(0),
        (None, _) => {
            let example = "broker = \"main\" under [messages], as there are several brokers";
            review.missing(&path, example);
            None
        }
    }
}

fn entry_topic(
    review: &mut Review,
    raw: &RawMessages,
    plant: Option<&PlantSettings>,
) -> Option<String> {
    match &raw.entry_topic {
        None => plant.map(|plant| format!("{}/{}/entry", plant.base_topic, plant.name)),
        Some(topic) => {
            let path = KeyPath::root().key("messages").key("entry_topic");
            review.good(&path, check_exact(topic))?;
            Some(topic.clone())
        }
    }
}

fn expire_after(review: &mut Review, raw: &RawMessages) -> Option<Span> {
    let path = KeyPath::root().key("messages").key("expire_after");
    let written = raw.expire_after.as_ref();
    let span = review.or_default(&path, written, Span::parse, defaults::EXPIRE_AFTER)?;
    let range = (Span::from_mins(1), Span::from_hours(30 * 24));
    review.within(&path, span, range, |span| span.to_string())
}

/// Entries come first, so that a channel that takes their topic is told.
fn claim_entries(sumps: &mut Sumps, broker: Option<usize>, topic: Option<&str>) {
    if let (Some(broker), Some(topic)) = (broker, topic) {
        let claim = Claim {
            broker,
            topic: topic.to_owned(),
            part: None,
            path: KeyPath::root().key("messages").key("entry_topic"),
        };
        sumps.claims.insert(0, claim);
    }
}

fn admission(review: &mut Review, raw: &RawAdmission) -> Option<AdmissionSetup> {
    let mut span = |key: &str, written: Option<&Written>, usual: Span| {
        let path = KeyPath::root().key("admission").key(key);
        let span = review.or_default(&path, written, Span::parse, usual)?;
        let range = (Span::ZERO, Span::from_hours(366 * 24));
        review.within(&path, span, range, |span| span.to_string())
    };
    let future_skew = span(
        "future_skew",
        raw.future_skew.as_ref(),
        defaults::FUTURE_SKEW,
    );
    let oldest = span("oldest", raw.oldest.as_ref(), defaults::OLDEST);
    let late_after = span("late_after", raw.late_after.as_ref(), defaults::LATE_AFTER);
    Some(AdmissionSetup {
        future_skew: future_skew?,
        oldest: oldest?,
        late_after: late_after?,
    })
}

fn threads(review: &mut Review, raw: &RawEngine) -> Option<usize> {
    let path = KeyPath::root().key("engine").key("threads");
    let threads = raw.threads.unwrap_or(defaults::ENGINE_THREADS);
    review
        .within(&path, threads, (1, 256), |threads| threads.to_string())
        .map(usize::from)
}
