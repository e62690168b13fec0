//! What went in and out: by entries, by the balance where nobody wrote it down,
//! and by meters.
//!
//! What the balance says of an entry counts in its place, as it does for
//! `consumption`. Of a new charge, what nobody wrote down of the first fill is
//! taken to be of the target's strength.

use crate::engine::{
    AdditionKind, ChannelKind, Entry, EntryKind, HappeningKind, MeterOf, SumpSetup,
};
use crate::model::money::Litres;
use crate::model::{Movement, MovementKind, Origin};
use crate::units::{Measured, Span, Timestamp};

use super::book::Book;

/// Additions so long before a new charge is told belong to its fill; as the
/// daemon has it.
const FILLED_WITHIN: Span = Span::from_hours(24);

/// Something that went in or out.
#[derive(Debug, Clone, PartialEq)]
pub struct Moved {
    /// When.
    pub time: Timestamp,
    /// What it was.
    pub kind: MovedKind,
    /// How much, L; negative where it went out.
    pub litres: Measured,
    /// Its strength, % by volume; nothing where it is not known.
    pub strength_pct: Option<f64>,
    /// How it is known.
    pub known: Known,
    /// Who wrote it down.
    pub by: Option<String>,
}

/// What went in or out.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum MovedKind {
    /// Water.
    Water,
    /// Concentrate and water, mixed beforehand.
    Premix,
    /// Concentrate as delivered.
    Concentrate,
    /// Mix that was let out.
    Drained,
    /// The part of a first fill that nobody wrote down as additions.
    FirstFill,
    /// Fluid back from the lines, or into them.
    Lines,
}

impl MovedKind {
    /// The key of its name.
    pub const fn name(self) -> &'static str {
        match self {
            MovedKind::Water => "water",
            MovedKind::Premix => "premix",
            MovedKind::Concentrate => "concentrate",
            MovedKind::Drained => "drained",
            MovedKind::FirstFill => "first_fill",
            MovedKind::Lines => "lines",
        }
    }
}

/// How a movement is known.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Known {
    /// Somebody wrote it down, and nothing speaks against it.
    Written,
    /// Nobody did; the readings tell.
    Seen,
    /// Somebody wrote down what the readings contradict.
    Contradicted,
    /// It follows from a new charge.
    Reckoned,
}

impl Known {
    /// The key of its name.
    pub const fn name(self) -> &'static str {
        match self {
            Known::Written => "written",
            Known::Seen => "seen",
            Known::Contradicted => "contradicted",
            Known::Reckoned => "reckoned",
        }
    }
}

impl Moved {
    /// The concentrate in it, L; nothing where its strength is not known.
    pub fn concentrate_l(&self) -> Option<f64> {
        let strength = self.strength_pct?;
        (self.kind != MovedKind::Drained).then_some(self.litres.value * strength / 100.0)
    }

    /// What is used and to be disposed of by it. A premix of unknown strength
    /// counts as water: what it holds beside is not known.
    pub fn litres(&self) -> Litres {
        let value = self.litres.value;
        let concentrate = self
            .concentrate_l()
            .unwrap_or(0.0)
            .clamp(0.0, value.max(0.0));
        match self.kind {
            MovedKind::Lines => Litres::default(),
            MovedKind::Drained => Litres {
                drained_l: value.abs(),
                ..Litres::default()
            },
            _ => Litres {
                concentrate_l: concentrate,
                water_l: (value - concentrate).max(0.0),
                drained_l: 0.0,
            },
        }
    }
}

/// All that went in or out by entries and balance, by time. What a meter counts
/// is not in it.
pub fn moved(setup: &SumpSetup, book: &Book) -> Vec<Moved> {
    let mut moved: Vec<Moved> = book
        .movements()
        .filter_map(|one| by_balance(book, one))
        .collect();
    let told: Vec<&String> = book
        .movements()
        .flat_map(|one| match &one.origin {
            Origin::Logged { entries, .. } | Origin::Contradicted { entries, .. } => {
                entries.as_slice()
            }
            Origin::Inferred => &[],
        })
        .collect();
    let entries = book.written().iter().map(|one| &one.entry);
    let untold = entries.filter(|entry| !told.contains(&&entry.id));
    moved.extend(untold.filter_map(|entry| by_entry(setup, entry)));
    moved.sort_by_key(|one| (one.time, one.kind));
    let fills: Vec<Moved> = book
        .written()
        .iter()
        .filter_map(|one| first_fill(setup, &one.entry, &moved))
        .collect();
    moved.extend(fills);
    moved.sort_by_key(|one| (one.time, one.kind));
    moved
}

fn by_balance(book: &Book, movement: &Movement) -> Option<Moved> {
    let kind = match movement.kind {
        MovementKind::Water => MovedKind::Water,
        MovementKind::Premix => MovedKind::Premix,
        MovementKind::Concentrate => MovedKind::Concentrate,
        MovementKind::MixOut => MovedKind::Drained,
        MovementKind::Lines => MovedKind::Lines,
        MovementKind::Thinned | MovementKind::Instrument | MovementKind::Unclear => return None,
    };
    let (known, entries) = match &movement.origin {
        Origin::Inferred => (Known::Seen, None),
        Origin::Logged { entries, .. } => (Known::Written, entries.first()),
        Origin::Contradicted { entries, .. } => (Known::Contradicted, entries.first()),
    };
    let entry = entries.and_then(|id| book.written().iter().find(|one| one.entry.id == *id));
    let strength = movement.strength_pct.map(|strength| strength.value);
    Some(Moved {
        // The balance puts all that was entered of one step of the readings to that.
        time: match (known, entry) {
            (Known::Written, Some(written)) => written.entry.time,
            _ => movement.time,
        },
        kind,
        litres: movement.litres,
        // Of what was let out while no concentration was known, the strength is not either.
        strength_pct: strength.filter(|pct| *pct > 0.0 || kind != MovedKind::Drained),
        known,
        by: entry.and_then(|one| one.entry.by.clone()),
    })
}

fn by_entry(setup: &SumpSetup, entry: &Entry) -> Option<Moved> {
    let (kind, litres, strength_pct) = match &entry.kind {
        EntryKind::Addition { what, .. } if is_metered(setup, *what) => return None,
        EntryKind::Addition {
            what,
            litres,
            strength_pct,
            ..
        } => match what {
            AdditionKind::Water => (MovedKind::Water, *litres, Some(0.0)),
            AdditionKind::Concentrate => (MovedKind::Concentrate, *litres, Some(100.0)),
            AdditionKind::Premix => (MovedKind::Premix, *litres, *strength_pct),
        },
        EntryKind::Event {
            what: HappeningKind::Drained,
            litres: Some(litres),
            ..
        } => (MovedKind::Drained, -litres, None),
        _ => return None,
    };
    Some(Moved {
        time: entry.time,
        kind,
        litres: Measured::new(litres, setup.metering * litres.abs()),
        strength_pct,
        known: Known::Written,
        by: entry.by.clone(),
    })
}

fn first_fill(setup: &SumpSetup, entry: &Entry, moved: &[Moved]) -> Option<Moved> {
    let EntryKind::Event {
        what: HappeningKind::Recharged,
        litres,
        ..
    } = &entry.kind
    else {
        return None;
    };
    let filled = litres.unwrap_or(setup.working_volume.litres());
    let within = (entry.time - FILLED_WITHIN)..=entry.time;
    let written = moved.iter().filter(|one| {
        within.contains(&one.time) && one.litres.value > 0.0 && one.kind != MovedKind::Lines
    });
    let rest = filled - written.map(|one| one.litres.value).sum::<f64>();
    (rest > 0.0).then(|| Moved {
        time: entry.time,
        kind: MovedKind::FirstFill,
        litres: Measured::new(rest, setup.metering * rest),
        strength_pct: Some(setup.target.percent()),
        known: Known::Reckoned,
        by: entry.by.clone(),
    })
}

/// Whether a meter counts what such an entry tells, as the daemon has it.
fn is_metered(setup: &SumpSetup, what: AdditionKind) -> bool {
    setup.channels.iter().any(|channel| match channel.kind {
        ChannelKind::Meter { of, .. } => matches!(
            (of, what),
            (MeterOf::Water, AdditionKind::Water)
                | (MeterOf::Concentrate, AdditionKind::Concentrate)
                | (MeterOf::Premix(_), AdditionKind::Premix)
        ),
        ChannelKind::Gauge | ChannelKind::Switch { .. } => false,
    })
}

/// What ran through a meter, out of the total that it stood at.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Metered {
    of: MeterOf,
    last: Option<f64>,
}

impl Metered {
    /// Of a meter that has not been read yet.
    pub const fn new(of: MeterOf) -> Self {
        Metered { of, last: None }
    }

    /// The next total, L; gives what ran since the one before.
    pub fn take(&mut self, total: f64) -> Litres {
        let ran = self.last.map_or(0.0, |last| (total - last).max(0.0));
        self.last = Some(total);
        let share = match self.of {
            MeterOf::Water => 0.0,
            MeterOf::Concentrate => 1.0,
            MeterOf::Premix(strength) => strength.fraction(),
        };
        Litres {
            concentrate_l: ran * share,
            water_l: ran * (1.0 - share),
            drained_l: 0.0,
        }
    }
}

/// Adds up.
pub fn add(sum: &mut Litres, more: &Litres) {
    sum.concentrate_l += more.concentrate_l;
    sum.water_l += more.water_l;
    sum.drained_l += more.drained_l;
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::alarm::performance::Period;
    use crate::settings::Settings;

    fn setup() -> SumpSetup {
        let config = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("config");
        let settings = Settings::load(&config, std::iter::empty()).unwrap();
        let mut setup = (*settings.sumps[0]).clone();
        setup
            .channels
            .retain(|channel| channel.kind == ChannelKind::Gauge);
        setup
    }

    fn at(hours: i64) -> Timestamp {
        Timestamp::from_millis(hours * 3_600_000)
    }

    fn book(lines: &[(&str, String)]) -> Book {
        let mut book = Book::new(Period::new(at(0), at(1000)));
        for (kind, line) in lines {
            book.line(at(500), kind, line);
        }
        book.end();
        assert_eq!(book.lost(), (0, 0));
        book
    }

    fn entry(id: &str, hours: i64, more: &str) -> (&'static str, String) {
        let time = at(hours);
        let line = format!(
            "{{\"entry\":{{\"id\":\"{id}\",\"time\":\"{time}\",\"sump\":\"s0\",\"by\":\"anna\",{more}}}}}"
        );
        ("entry", line)
    }

    fn movement(hours: i64, kind: &str, litres: f64, origin: &str) -> (&'static str, String) {
        let time = at(hours);
        let line = format!(
            "{{\"movement\":{{\"time\":\"{time}\",\"until\":\"{time}\",\"kind\":\"{kind}\",\
             \"litres\":{{\"value\":{litres},\"uncertainty\":1.0}},\
             \"strength_pct\":{{\"value\":5.0,\"uncertainty\":0.1}},\"origin\":{origin},\"confidence\":1.0}}}}"
        );
        ("movement", line)
    }

    #[test]
    fn what_the_balance_tells_stands_in_the_place_of_its_entry() {
        let premix =
            "\"kind\":\"addition\",\"what\":\"premix\",\"litres\":40.0,\"strength_pct\":6.0";
        let water = "\"kind\":\"addition\",\"what\":\"water\",\"litres\":25.0";
        let drained = "\"kind\":\"event\",\"what\":\"drained\",\"litres\":30.0";
        let book = book(&[
            entry("a", 10, premix),
            entry("b", 11, water),
            entry("c", 12, drained),
            movement(
                10,
                "premix",
                44.0,
                "{\"by\":\"contradicted\",\"entries\":[\"a\"],\"logged_litres\":40.0,\"logged_strength_pct\":6.0}",
            ),
            movement(20, "premix", 60.0, "{\"by\":\"inferred\"}"),
            movement(30, "instrument", 0.0, "{\"by\":\"inferred\"}"),
        ]);
        let moved = moved(&setup(), &book);
        let told: Vec<_> = moved
            .iter()
            .map(|one| (one.kind, one.known, one.litres.value))
            .collect();
        let expected = [
            (MovedKind::Premix, Known::Contradicted, 44.0),
            (MovedKind::Water, Known::Written, 25.0),
            (MovedKind::Drained, Known::Written, -30.0),
            (MovedKind::Premix, Known::Seen, 60.0),
        ];
        assert_eq!(told, expected);
        assert_eq!(moved[0].by.as_deref(), Some("anna"));
        let mut sum = Litres::default();
        moved.iter().for_each(|one| add(&mut sum, &one.litres()));
        // 5 % of 44 and of 60 L; the rest and 25 L are water.
        assert!((sum.concentrate_l - 5.2).abs() < 1e-9, "{sum:?}");
        assert!((sum.water_l - 123.8).abs() < 1e-9, "{sum:?}");
        assert_eq!(sum.drained_l, 30.0);
    }

    #[test]
    fn what_a_meter_counts_is_not_counted_besides() {
        let config = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("config");
        let settings = Settings::load(&config, std::iter::empty()).unwrap();
        let water = "\"kind\":\"addition\",\"what\":\"water\",\"litres\":25.0";
        let book = book(&[entry("a", 10, water)]);
        let counts_water = |setup: &SumpSetup| is_metered(setup, AdditionKind::Water);
        let mut sumps = settings.sumps.iter();
        let metered = sumps.find(|setup| counts_water(setup)).unwrap();
        assert_eq!(moved(metered, &book), []);
        assert_eq!(moved(&setup(), &book).len(), 1);
    }

    #[test]
    fn a_first_fill_is_what_nobody_wrote_down_of_it() {
        let premix =
            "\"kind\":\"addition\",\"what\":\"premix\",\"litres\":300.0,\"strength_pct\":8.0";
        let charge = "\"kind\":\"event\",\"what\":\"recharged\",\"litres\":800.0";
        let lines = [entry("a", 90, premix), entry("b", 100, charge)];
        let setup = setup();
        let moved = moved(&setup, &book(&lines));
        assert_eq!(moved[1].kind, MovedKind::FirstFill);
        assert_eq!(moved[1].litres.value, 500.0);
        assert_eq!(moved[1].strength_pct, Some(setup.target.percent()));
    }

    #[test]
    fn a_meter_counts_from_its_first_total_on() {
        let mut meter = Metered::new(MeterOf::Concentrate);
        assert_eq!(meter.take(100.0), Litres::default());
        assert_eq!(meter.take(104.0).concentrate_l, 4.0);
        // A total that falls is a new meter: nothing ran backwards.
        assert_eq!(meter.take(2.0), Litres::default());
        assert_eq!(meter.take(5.0).concentrate_l, 3.0);
    }
}
