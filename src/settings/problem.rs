//! What can be wrong with a setting, in words that say what is allowed.

use crate::chemistry::{
    BufferError, CellError, ChartError, CompensationError, ElectrodeError, PhCalibrationError,
    ProbeFactorError, RefractometerError, StandardError,
};
use crate::line::PatternError;
use crate::model::money::CurrencyError;
use crate::model::{ShiftError, ShiftPatternError};
use crate::rules::own::OwnMistake;
use crate::signal::LoopRangeError;
use crate::units::{Quantity, Span};
use crate::vessel::{StrappingError, VesselError};

use super::json_pointer::PointerError;
use super::prices::PriceError;
use super::senml_name::SenmlNameError;
use super::template::TemplateError;
use super::tls::TlsFault;
use super::topic::TopicError;
use crate::units::QuantityError;
use crate::units::nearest;

/// What is wrong with one setting, what is allowed, and what was probably
/// meant.
#[derive(Debug, thiserror::Error)]
pub enum Problem {
    /// The file is no TOML from here on.
    #[error("not TOML: {0}")]
    Syntax(String),
    /// A file or folder that cannot be read.
    #[error("cannot be read: {0}")]
    Unreadable(#[source] std::io::Error),
    /// Bytes that are no text.
    #[error("is not UTF-8 text")]
    NotText,
    /// A folder without settings.
    #[error("holds no settings; write them into files that end in .toml")]
    NoFiles,
    /// A key that no setting can have.
    #[error("\"{0}\" cannot be the name of a setting: only letters, digits, - and _ can")]
    BadKey(String),
    /// A key that this table does not have.
    #[error("there is no such setting; {}", offer(*.nearest, .allowed))]
    UnknownKey {
        /// The right key that was probably meant.
        nearest: Option<&'static str>,
        /// Every key of this table.
        allowed: &'static [&'static str],
    },
    /// A value of the wrong kind.
    #[error("expected {expected}, found {found}")]
    WrongKind {
        /// What is wanted.
        expected: String,
        /// What was found.
        found: String,
    },
    /// Something that every plant must say.
    #[error("is missing; write for example {0}")]
    Missing(&'static str),
    /// A text that is not the quantity wanted.
    #[error(transparent)]
    Quantity(#[from] QuantityError),
    /// A text that is no plain number.
    #[error("\"{found}\" is not a number; write it as {example}")]
    NotANumber {
        /// What was found.
        found: String,
        /// One way to write it.
        example: &'static str,
    },
    /// A value outside of what it can be.
    #[error("{found} is not allowed; allowed is {allowed}")]
    OutOfRange {
        /// What was found.
        found: String,
        /// What is allowed.
        allowed: String,
    },
    /// Two values in the wrong order.
    #[error("{low_name} ({low}) must be below {high_name} ({high})")]
    Order {
        /// Name of the value that must be lower.
        low_name: String,
        /// That value.
        low: String,
        /// Name of the value that must be higher.
        high_name: String,
        /// That value.
        high: String,
    },
    /// A word that would mean on and off.
    #[error("\"{0}\" stands for on already; a word can mean one of them only")]
    OnAndOff(String),
    /// A word that is not one of a fixed few.
    #[error("\"{found}\" is not one of them; {}", offer(nearest(.found, .allowed.iter().copied()), .allowed))]
    NotOneOf {
        /// What was found.
        found: String,
        /// Every word that is allowed.
        allowed: Vec<&'static str>,
    },
    /// A reference to something that does not exist.
    #[error("there is no {kind} \"{found}\"; {}", offer(nearest(.found, .known.iter().map(String::as_str)), .known))]
    UnknownName {
        /// What is referred to.
        kind: &'static str,
        /// The name found.
        found: String,
        /// Every name that exists.
        known: Vec<String>,
    },
    /// A name that cannot be a level of a topic.
    #[error(
        "\"{0}\" cannot be a name: it becomes part of topics, so it has 1 to 64 of a-z, 0-9, - and _"
    )]
    BadName(String),
    /// A name whose topics are another's already.
    #[error("\"{name}\" is already the name of {by}; choose another")]
    NameTaken {
        /// The name.
        name: String,
        /// Path of the settings that have it, or what else does.
        by: String,
    },
    /// A channel that is called silent between two readings.
    #[error(
        "{line} is asked every {poll} only, so that the channel would be called silent each time \
         after {silent_after}; make poll shorter, or silent_after longer"
    )]
    SilentBetween {
        /// Path of the line's settings.
        line: String,
        /// The time between two readings.
        poll: Span,
        /// The longest time without one.
        silent_after: Span,
    },
    /// Pages that other machines could reach, and nobody asked for that.
    #[error(
        "{0} can be reached from other machines; write open_to_network = true if that is meant, \
         or listen on 127.0.0.1 and let a server that encrypts hand requests on"
    )]
    OpenToNetwork(String),
    /// A broken topic.
    #[error(transparent)]
    Topic(#[from] TopicError),
    /// A topic that already has a meaning.
    #[error("messages on \"{topic}\" already go to {by}; give each channel messages of its own")]
    TopicTaken {
        /// The topic found here.
        topic: String,
        /// Path of the setting that has it too.
        by: String,
    },
    /// A part of the messages on a topic that already has a meaning.
    #[error(
        "\"{part}\" of the messages on \"{topic}\" already goes to {by}; give each channel a part of its own"
    )]
    PartTaken {
        /// The topic.
        topic: String,
        /// The part found here.
        part: String,
        /// Path of the setting that has it too.
        by: String,
    },
    /// A port that another source has already.
    #[error("{device} is already the port of {by}; a port has one source")]
    DeviceTaken {
        /// The device.
        device: String,
        /// Path of the source that has it.
        by: String,
    },
    /// Registers that another channel reads as another number.
    #[error("register {first} to {last} overlaps with another number at {by}; look them up again")]
    RegistersTaken {
        /// The first register.
        first: u32,
        /// The last one.
        last: u32,
        /// Path of the setting that has some of them.
        by: String,
    },
    /// A text that is no pattern of lines.
    #[error(transparent)]
    Pattern(#[from] PatternError),
    /// Values that are no range of a loop.
    #[error(transparent)]
    Loop(#[from] LoopRangeError),
    /// A broken JSON Pointer.
    #[error(transparent)]
    Pointer(#[from] PointerError),
    /// A text that no record of SenML can have as its name.
    #[error(transparent)]
    SenmlName(#[from] SenmlNameError),
    /// Numbers that make no chart.
    #[error(transparent)]
    Chart(#[from] ChartError),
    /// Dimensions that make no tank.
    #[error(transparent)]
    Vessel(#[from] VesselError),
    /// Points that make no strapping table.
    #[error(transparent)]
    Strapping(#[from] StrappingError),
    /// Readings that make no calibration.
    #[error(transparent)]
    Calibration(#[from] CalibrationProblem),
    /// A text that is no day.
    #[error("\"{0}\" is not a date; write it as \"2026-03-02\"")]
    NotADate(String),
    /// A zone that the time zone database does not have.
    #[error("there is no time zone \"{found}\"; {}", match .nearest {
        Some(name) => format!("did you mean \"{name}\"?"),
        None => "write its name in the IANA time zone database, as \"Europe/Vienna\"".to_owned(),
    })]
    UnknownZone {
        /// What was found.
        found: String,
        /// The zone that was probably meant.
        nearest: Option<String>,
    },
    /// A text that is no shift.
    #[error(transparent)]
    Shift(#[from] ShiftError),
    /// Shifts that make no week.
    #[error(transparent)]
    Shifts(#[from] ShiftPatternError),
    /// A compensation that the instrument does already.
    #[error(
        "the instrument compensates for temperature itself (compensation = \"by_instrument\"), and to \
         do so twice falsifies the reading; leave this out, or switch the instrument's own \
         compensation off and write another compensation"
    )]
    CompensatedTwice,
    /// A compensation at a sump without a thermometer.
    #[error(
        "needs the temperature of the fluid, and this sump has no channel that measures it; add \
         one with quantity = \"temperature\", or let the instrument do it"
    )]
    NoThermometer,
    /// A fluid whose coefficient is not known.
    #[error(
        "the data sheet of {0} has no temperature_coefficient; write it there, as \
         temperature_coefficient = \"-0.08 °Bx/K\", or write \"as_water\" here"
    )]
    NoCoefficient(String),
    /// A key that does nothing here.
    #[error("has no effect: it is for {0} only")]
    OnlyFor(&'static str),
    /// A text that is no currency.
    #[error(transparent)]
    Currency(#[from] CurrencyError),
    /// A text that is no price.
    #[error(transparent)]
    Price(#[from] PriceError),
    /// An amount of a cleaner that holds a biocide.
    #[error(
        "the cleaner holds a biocide (contains_biocide = true), and an amount of biocide is never \
         told here; leave this out: amounts only from the supplier's data sheet, by appointed persons"
    )]
    AmountOfBiocide,
    /// An alarm that also keeps doses back.
    #[error(
        "cannot be switched off: a probe that a hand reading contradicts must not set a dose unseen; \
         give its channel another hand_tolerance instead"
    )]
    DoubtStays,
    /// Two keys that exclude each other.
    #[error("write either {0} or {1}, not both")]
    NotBoth(&'static str, &'static str),
    /// A list of the wrong length.
    #[error("is a list of {wanted}, found {found} items")]
    Length {
        /// What it should hold.
        wanted: &'static str,
        /// How many it holds.
        found: usize,
    },
    /// A limit on something that is not measured.
    #[error("this sump has no channel that measures {0}, so its limits can never be watched")]
    NotMeasured(Quantity),
    /// Two clients under one id.
    #[error(
        "\"{id}\" is also the client id at the same broker of {other}; each would throw the other out"
    )]
    ClientIdTaken {
        /// The id.
        id: String,
        /// Path of the other broker's settings.
        other: String,
    },
    /// A password in a settings file.
    #[error(
        "a password does not belong into a settings file, which people copy and print; write password_file = \"…\" or set {0}"
    )]
    PasswordInFile(String),
    /// A file for a password or secret with nothing in it.
    #[error("the file holds no password")]
    EmptySecret,
    /// A secret that is too easy to guess.
    #[error(
        "the secret has fewer than {0} characters; make one by chance, as openssl rand -hex 32 does"
    )]
    ShortSecret(usize),
    /// A chain of contacts without an end.
    #[error("the chain comes back to \"{0}\"; it must end with somebody who escalates to nobody")]
    EscalatesInACircle(String),
    /// A contact without a road.
    #[error("\"{0}\" has neither mail nor webhook nor topic, so that nothing can be told there")]
    CannotBeTold(String),
    /// A broken template of topics.
    #[error(transparent)]
    Template(#[from] TemplateError),
    /// A certificate or key that cannot be used.
    #[error(transparent)]
    Tls(#[from] TlsFault),
    /// A wrong rule of the plant's own.
    #[error(transparent)]
    OwnRule(#[from] OwnMistake),
    /// Anything else that reading into types found.
    #[error("{0}")]
    Other(String),
}

/// Why an instrument cannot be calibrated so.
#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
pub enum CalibrationProblem {
    /// A buffer without a pH.
    #[error(transparent)]
    Buffer(#[from] BufferError),
    /// Readings in buffers that make no electrode.
    #[error(transparent)]
    Ph(#[from] PhCalibrationError),
    /// A slope that is no electrode's.
    #[error(transparent)]
    Electrode(#[from] ElectrodeError),
    /// A standard without a conductivity.
    #[error(transparent)]
    Standard(#[from] StandardError),
    /// A constant that is no cell's.
    #[error(transparent)]
    Cell(#[from] CellError),
    /// A reading too far from the standard.
    #[error(transparent)]
    Factor(#[from] ProbeFactorError),
    /// A coefficient that is no fluid's.
    #[error(transparent)]
    Compensation(#[from] CompensationError),
    /// Readings that make no refractometer.
    #[error(transparent)]
    Refractometer(#[from] RefractometerError),
}

impl Problem {
    /// Whether a whole file of settings could not be looked into.
    pub(super) fn hides_settings(&self) -> bool {
        matches!(
            self,
            Problem::Syntax(_) | Problem::Unreadable(_) | Problem::NotText | Problem::NoFiles
        )
    }

    /// Whether it lies in the name of the setting, not in what it is set to.
    pub(super) fn is_about_the_name(&self) -> bool {
        matches!(
            self,
            Problem::UnknownKey { .. }
                | Problem::OnlyFor(_)
                | Problem::CompensatedTwice
                | Problem::AmountOfBiocide
        )
    }
}

/// The nearest right word; where none is near, all of them.
fn offer(nearest: Option<&str>, allowed: &[impl AsRef<str>]) -> String {
    match (nearest, allowed) {
        (Some(word), _) => format!("did you mean \"{word}\"?"),
        (None, []) => "there is none to choose from".to_owned(),
        (None, words) => {
            let words: Vec<_> = words.iter().map(AsRef::as_ref).collect();
            format!("allowed here: {}", words.join(", "))
        }
    }
}
