//! Every key that the engine gives has a sentence in every language, with the
//! same values.

use std::collections::BTreeSet;

use serde::Serialize;

use super::super::language::Language;
use super::super::sample;
use super::*;
use crate::advice::{
    Cause, Caution, LookStep, MixerVerdict, Reason, Way, Withheld, instrument_step_words,
};
use crate::alarm::{Priority, Transition};
use crate::engine::{StuckKind, Suppressor};
use crate::model::{DepartureKind, MovementKind};
use crate::rules::causes::{CauseKind, Sign};
use crate::rules::{Condition, LimitLevel};
use crate::signal::{InstrumentClass, InstrumentReason};
use crate::units::Quantity;

/// A list of every variant of an enum; does not compile once one is missing.
macro_rules! all {
    ($enum:ident: $($variant:ident),*) => {{
        // Each variant once, or the match is not exhaustive.
        let _ = |of: $enum| match of { $($enum::$variant { .. } => (),)* };
        [$(stringify!($variant)),*]
    }};
}

fn snake(name: &str) -> String {
    let mut text = String::new();
    for (at, letter) in name.char_indices() {
        if letter.is_uppercase() && at > 0 {
            text.push('_');
        }
        text.extend(letter.to_lowercase());
    }
    text
}

fn language(name: &str) -> Language {
    Language::new(name, &MessageTexts::default()).unwrap()
}

/// Every key that the engine can ask for.
fn asked_for() -> BTreeSet<String> {
    let mut keys = BTreeSet::new();
    let mut add = |table: &str, variants: &[&str]| {
        keys.extend(
            variants
                .iter()
                .map(|name| format!("{table}.{}", snake(name))),
        );
    };
    add(
        "withheld",
        &all!(Withheld: NoConcentration, Silent, Doubted, Bad, Unsure, Instrument, TooFew, Foaming, PumpsStopped, Mixing, OnTarget, StepTooCoarse, NoBalance),
    );
    add(
        "cause",
        &all!(Cause: Amount, NotMixed, Volume, Strength, Factor, TrampOil),
    );
    add(
        "reason",
        &all!(Reason: WaterSuffices, Room, HeadRoom, LeastRoom, DrainForWater, DrainForPremix, LossesMakeRoom, ComesDown, NearEnough, WaitTooLong),
    );
    add(
        "option",
        &all!(Way: WaterOnly, Premix, WaterToMax, PremixToMax, NeatAtPoint, DrainAndWater, DrainAndPremix, WaitAndPremix, WaterAsItFalls, LetItBe),
    );
    add("mixer", &all!(MixerVerdict: Right, SetAnew, BeyondSetting));
    let departures = all!(DepartureKind: MixLost, WaterLost, WaterIn, MixIn, Thinned, Unknown);
    add("departure", &departures);
    add("departure_look", &departures);
    add(
        "fluid",
        &all!(MovementKind: Water, Premix, Concentrate, MixOut, Lines, Thinned, Instrument, Unclear),
    );
    let reasons = all!(InstrumentReason: Silent, Fault, Frozen, JustTouched, OutOfRange, Foam, Noisy, Fouled, Drifting, Spiking);
    for table in ["instrument", "instrument_is", "instrument_why"] {
        add(table, &reasons);
    }
    let classes = all!(InstrumentClass: Good, MaintenanceRequired, OutOfSpecification, FunctionCheck, Failure);
    // Of a good one nothing is told, except where a hand reading contradicts it.
    add("ne107", &classes[1..]);
    add(
        "likely",
        &all!(CauseKind: WaterIn, PlainWater, MixerWeak, MixerStrong, MixIn, TopUpOverdue, Evaporation, Prism, TrampOil, Cleaner, Dilution, Richer, Bacteria, Acid, Electrode, CarryOff, Leak, LinesFilled, DrainedBack, Overfilled, Foam, LevelProbe, Minerals, SaltIn, OtherWater, SoftenedWater, PureWater, ConductivityCell, NitrateTurned, NitrateInWater, NitriteIn, Cooler, LittleFluid, WarmSurroundings, ColdSurroundings, ColdWater, CoolsTooMuch, TemperatureProbe),
    );
    add(
        "sign",
        &all!(Sign: WaterByBalance, MixByBalance, LevelRises, LevelFalls, ConcentrationRises, ConcentrationFalls, ConcentrationSteady, WaterWrittenDown, JustAdded, NothingAdded, MixerReadsWeak, MixerReadsStrong, HandReadsHigher, HandReadsLower, InstrumentAsks, BalanceForbids, ConductivityStays, ConductivityLags, ConductivityHigh, TitrationLess, TitrationMore, OilFound, PhJumped, OxygenLow, GermsFound, Smells, StoodStill, Warm, MixLost, WaterLost, PumpsStarted, PumpsStand, FoamSeen, MineralsHigh, OtherMineralHigh, HardnessNotHigh, WaterBrings, WaterShouldBePure, SoftWaterSalty, EndsHigh, ReadOver, OldCharge, PhOver, PhFell, ConductivityLow, GermsFew, NitrateInWater, LittleNitrate, TemperatureRises, TemperatureFalls, TemperatureSteady, LevelLow, PumpsRun),
    );
    add("hurry", &all!(Priority: Low, Medium, High));
    add(
        "transition",
        &all!(Transition: Raised, RaisedAgain, Acknowledged, Returned, Unacknowledged, Reset, Shelved, Unshelved, Suppressed, Unsuppressed, TakenOutOfService, PutIntoService, Removed),
    );
    add("condition", &all!(LimitLevel: LowLow, Low, High, HighHigh));
    let conditions = all!(Condition: Limit, Silent, Disagrees, Instrument, Loss, Gain, DoseMissed, Contradicted, Mixer, Excess, TrampOil, Factor, Own, Source, Stock, Forward, Disk, StartUp, Overdue, Mineral, Souring, Ahead, Nitrite, PhDrop, Rate, Shifted, PumpsStopped);
    // Limits, minerals and what lies ahead are told by their level, souring by
    // its step, the test plans by theirs; what moves by the way it goes.
    add("condition", &conditions[1..conditions.len() - 8]);
    add(
        "condition",
        &[
            "ExcessHigh",
            "Suspected",
            "Likely",
            "LowAhead",
            "HighAhead",
            "Watch",
            "Act",
            "Falling",
            "Rising",
            "Shifted",
            "Stopped",
        ],
    );
    add(
        "about",
        &[
            "Loss",
            "Gain",
            "DoseMissed",
            "Contradicted",
            "Mixer",
            "TrampOil",
            "Factor",
            "Disk",
            "StartUp",
        ],
    );
    add(
        "suppressed_by",
        &all!(Suppressor: PumpsStopped, ProbeTouched, Recharge, SourceGone, Instrument, Unsettled, Alarm, StartUp),
    );
    add("forward", &all!(StuckKind: Refused, Away, DeadLetters));
    for source in ["broker", "modbus", "serial"] {
        keys.insert(format!("source.{source}"));
    }
    keys.extend(LookStep::ALL.map(|step| keyed("look_at", step)));
    keys.extend(Caution::ALL.map(|caution| keyed("caution", caution)));
    keys.extend(Quantity::ALL.map(|quantity| keyed("quantity", quantity)));
    keys
}

fn keyed(table: &str, variant: impl Serialize) -> String {
    let key = serde_json::to_value(variant).unwrap();
    format!("{table}.{}", key.as_str().unwrap())
}

#[test]
fn every_key_has_a_sentence_with_the_same_values_in_each_language() {
    let (en, de) = (language("en"), language("de"));
    for key in asked_for() {
        assert!(en.sentences.has(&key), "no English sentence {key}");
    }
    let keys = |of: &Language| -> BTreeSet<String> {
        let keys = of.sentences.keys().filter(|key| !key.starts_with("zone."));
        keys.map(str::to_owned).collect()
    };
    assert_eq!(de.borrowed, 0);
    assert_eq!(keys(&en), keys(&de));
    for key in keys(&en) {
        let (en, de) = (en.sentences.names(&key), de.sentences.names(&key));
        assert_eq!(en, de, "{key}");
    }
}

/// The lists of look-at steps, cautions and quantities hold every variant.
#[test]
fn the_lists_are_complete() {
    let steps = all!(LookStep: CountStock, OrderStock, DiskMakeRoom, DiskCopy, DiskSettings, ForwardReach, ForwardLetIn, ForwardLines, ForwardKept, WhatChanged, WhyPumpsStand, StandingFluid, ListedByHand, ListedToldLater, CheckLook, CheckConcentration, CheckPh, CheckNitrite, CheckDipSlide, CheckConductivity, CheckHardness, CheckChloride, CheckMakeUpWater, CheckMixer, CheckTrampOil, CheckCleanOut, EnterCheck, NitriteAgain, NitriteWeekly, NitriteSource, NitriteChange, NitrosaminesMeasured, PhAsMakerSays, PhBacteriaOrAcid, PhChangeFluid, PhKeepCirculating, SourcePower, SourceReport, ReadBlindSumps, AllOfTheDose, EntryAsMeant, ElseThen, MixerParts, SetAndRead, ReadItsSumps, ReadInstead, SeeChannel, DisplayAndLoop, LetSettle, FoamCauses, NothingOverFoam, ProbeWetted, BubblesInCell, WavesUnderProbe, BubblesAtProbe, WipePrism, CleanElectrode, CleanCell, ClearLevelProbe, CleanProbe, EnterCare, FindLeak, EnterTakenOut, KeepFromDrains, FindWater, EnterAdded, ReadBeforeAdding, SampleByHand, LeanCauses, RichCauses, TitrateBeforeThinning, PumpsAndLosses, ReadBeforeTopUp, StopAdding, DrainBack, FoamDeceives, PhByHand, CorrectConcentrationFirst, FallingPh, PhDropSteps, RichLiftsPh, AlkaliCarriedIn, WarmUp, Cooling, WarmFluid, ConductivityByHand, Salts, PumpSupply, FilterLoad, PressureOff, PumpAndNozzles, OpenLine, CompareMeter, MeasureAgain, InstrumentSupply, ReadOncePerShift, CheckEntry, CleanAndCompare, EnterCleaning, SaltsMeasured, SaltsBroughtIn, PurifiedTopUp, SmellAndLook, SecondPh, KeepMoving, AppointedDecide, GoByTitration, SkimOil, LetSampleStand, RepeatBoth, SeeMethods);
    assert_eq!(steps.len(), LookStep::ALL.len());
    let cautions = all!(Caution: Concentrate, PremixOnly, DosingPoint, Waste, MovingParts, ConfinedSpace, Biocide, HotFluid, DataSheets, AlkalineCleaner, BiocideInCleaner, ConfinedSpaceEntry, SlipperyFloor, LockOut, Jetting, ProtectiveEquipment, WasteCodes, ElectricalCabinet, Nitrosamines, ProbeOut);
    assert_eq!(cautions.len(), Caution::ALL.len());
}

/// `check` would not try a sentence that no sample says.
#[test]
fn the_samples_say_every_sentence_that_the_engine_asks_for() {
    let mut shown = String::new();
    sample::each(|about, message| {
        shown.push_str(&serde_json::Value::from(message.data(about)).to_string());
    });
    let is_condition = |part: &str| {
        let first = format!("\"condition\":\"{part}");
        shown.contains(&first) || shown.contains(&format!(".{part}\""))
    };
    for key in asked_for() {
        let (table, own) = key.split_once('.').unwrap();
        let is_said = match table {
            // What is wrong, and with what, stands within the condition's name.
            "condition" => is_condition(&format!("{own}.")) || is_condition(own),
            "quantity" => is_condition(&format!("{own}.")),
            "about" => is_condition(own),
            _ => shown.contains(&format!("\"{own}\"")),
        };
        assert!(is_said, "{key}");
    }
}

/// The engine's own words of cautions, which `calc` and `recharge` print, are
/// those of the messages.
#[test]
fn cautions_are_the_same_everywhere() {
    let en = language("en");
    for caution in Caution::ALL {
        let key = keyed("caution", caution);
        assert_eq!(en.sentences.place(&key).unwrap().text, caution.words());
    }
}

/// So are those of what to look at first at an instrument, in the state of its
/// channel.
#[test]
fn steps_of_instruments_are_the_same_everywhere() {
    let en = language("en");
    for step in LookStep::ALL {
        let key = keyed("look_at", step);
        let words = instrument_step_words(step);
        let text = en.sentences.place(&key).unwrap().text.as_str();
        assert!(words.is_none_or(|words| words == text), "{key}: {text}");
    }
}

/// What each caution must not lack, in German.
#[test]
fn german_cautions_are_no_weaker() {
    let de = language("de");
    for (key, words) in [
        (
            "concentrate",
            &["Haut", "Augen", "Handschuhe", "Schutzbrille"][..],
        ),
        (
            "premix_only",
            &["Niemals", "Konzentrat in das Wasser", "laufenden Pumpen"],
        ),
        ("waste", &["Abfall", "nichts in die Kanalisation"]),
        ("moving_parts", &["Pumpen", "gegen Wiedereinschalten"]),
        ("confined_space", &["Nicht in Behälter", "Erlaubnisschein"]),
        (
            "biocide",
            &["Kein Biozid", "Datenblatt des Lieferanten", "beauftragte"],
        ),
        (
            "data_sheets",
            &["Sicherheitsdatenblatt", "Betriebsanweisung"],
        ),
        (
            "biocide_in_cleaner",
            &["Allergien", "niemals nach diesem Plan"],
        ),
        (
            "confined_space_entry",
            &["Sauerstoff", "Schwefelwasserstoff", "Rettung"],
        ),
        (
            "lock_out",
            &["abgeschaltet", "gegen Wiedereinschalten", "drucklos"],
        ),
        (
            "probe_out",
            &["Pumpen", "gegen Wiedereinschalten", "Haut", "Augen"],
        ),
        ("jetting", &["Atemschutz", "Legionellen"]),
        (
            "waste_codes",
            &["12 01 09*", "12 01 08*", "niemals in die Kanalisation"],
        ),
    ] {
        let text = &de.sentences.place(&format!("caution.{key}")).unwrap().text;
        for word in words {
            assert!(text.contains(word), "{key} lacks \"{word}\": {text}");
        }
    }
}

#[test]
fn settings_know_the_languages_that_come_with_the_program() {
    let known: Vec<_> = MessageTexts::default().languages.into_iter().collect();
    let built_in = super::super::built_in::PHRASES.map(|(name, _)| Arc::<str>::from(name));
    assert_eq!(known, built_in);
}
