//! A plant's own files over the built-in ones, and what is told where they are
//! wrong.

use super::super::sample::about;
use super::super::{sample_advice, sample_alarms};
use super::*;
use crate::advice::VolumeUnit;
use crate::alarm::Transition;
use crate::rules::Condition;
use crate::settings::TextFile;

fn plants(files: &[(Option<&str>, &str, &str)]) -> MessageTexts {
    let mut texts = MessageTexts::default();
    for (language, name, text) in files {
        let folder = language.map(|language| format!("{language}/"));
        texts.languages.extend(language.map(Arc::from));
        texts.files.push(TextFile {
            language: language.map(Arc::from),
            name: (*name).to_owned(),
            shown: format!("messages/{}{name}", folder.unwrap_or_default()),
            text: (*text).to_owned(),
        });
    }
    texts
}

fn wrong(files: &[(Option<&str>, &str, &str)]) -> String {
    Texts::new(&plants(files)).unwrap_err().to_string()
}

fn usual(texts: &Texts, language: &str) -> String {
    told(
        texts,
        language,
        &about(VolumeUnit::Litre),
        &Told::Departure(None),
    )
}

#[test]
fn a_plant_changes_a_sentence_and_nothing_else() {
    let own = "[departure]\nusual = \"{{ title }}: all well again\"\n";
    let texts = Texts::new(&plants(&[(Some("en"), "phrases.toml", own)])).unwrap();
    assert_eq!(usual(&texts, "en"), "Mill 4: all well again");
    assert_eq!(usual(&texts, "de"), usual(&built_in(), "de"));
}

/// A plant begins with copies of what comes with the program: nothing in them
/// may be wrong, and nothing changes by them.
#[test]
fn the_built_in_files_can_be_a_plants_own() {
    let layouts = super::super::built_in::LAYOUTS;
    let layouts = layouts.map(|(name, text)| (None, name, text));
    let phrases = super::super::built_in::PHRASES;
    let phrases = phrases.map(|(name, text)| (Some(name), "phrases.toml", text));
    let files: Vec<_> = layouts.into_iter().chain(phrases).collect();
    let texts = Texts::new(&plants(&files)).unwrap_or_else(|wrong| panic!("{wrong}"));
    assert_eq!(usual(&texts, "de"), usual(&built_in(), "de"));
}

#[test]
fn a_layout_is_for_all_languages_or_for_one() {
    let texts = Texts::new(&plants(&[
        (
            None,
            "departure.txt",
            "{{ title }}: {{ say(\"departure.usual\", title=title) }}!",
        ),
        (Some("de"), "departure.txt", "Kurz: {{ sump }}"),
    ]))
    .unwrap();
    assert_eq!(
        usual(&texts, "en"),
        "Mill 4: Mill 4: losses and gains are usual again!"
    );
    assert_eq!(usual(&texts, "de"), "Kurz: mill-4");
}

#[test]
fn a_language_is_added_by_a_folder_and_english_stands_in() {
    let own = "[form]\ndecimal = \",\"\n[departure]\nusual = \"{{ title }} : tout va bien\"\n";
    let texts = Texts::new(&plants(&[(Some("fr"), "phrases.toml", own)])).unwrap();
    assert_eq!(usual(&texts, "fr"), "Mill 4 : tout va bien");
    let weak = sample_advice::mixer(5.1);
    let text = told(&texts, "fr", &about(VolumeUnit::Litre), &Told::Mixer(&weak));
    assert!(
        text.starts_with("Mill 4: mixer east gives 5,1 ± 0,2 %"),
        "{text}"
    );
    let borrowed: Vec<_> = texts.borrowed().filter(|(_, count)| *count > 0).collect();
    assert!(
        matches!(borrowed[..], [("fr", count)] if count > 100),
        "{borrowed:?}"
    );
}

#[test]
fn mistakes_have_their_place_and_what_is_allowed() {
    for (files, want) in [
        (
            &[(None, "departure.txt", "{{ title }}\n{{ titel }}")][..],
            "messages/departure.txt:2: there is no value \"titel\" here; did you mean \"title\"?",
        ),
        (
            &[(None, "departure.txt", "{{ title }}\n{% if %}")],
            "messages/departure.txt:2: syntax error",
        ),
        (
            &[(
                None,
                "alarm.txt",
                "{{ title }}\n\n{{ alarm.advice.dose.drain }}",
            )],
            "messages/alarm.txt:3: there is no value \"alarm.advice.dose.drain\" here; allowed are ",
        ),
        (
            &[(None, "alarm.txt", "{{ title|uper }}")],
            "messages/alarm.txt:1: unknown filter",
        ),
        (
            &[(None, "mixer.txt", "\n{{ mixer.mixer|number(1) }}")],
            "messages/mixer.txt:2: ",
        ),
        (
            &[(
                None,
                "mixer.txt",
                "{{ say(\"mixer.fund\", mixer, title=title) }}",
            )],
            "messages/mixer.txt:1: there is no sentence \"mixer.fund\"; did you mean \"mixer.found\"?",
        ),
        (
            &[(None, "alram.txt", "{{ title }}")],
            "messages/alram.txt: no message uses it; did you mean \"alarm.txt\"?",
        ),
        (
            &[(
                Some("de"),
                "phrases.toml",
                "[departure]\n\nusual = \"{{ titel }}\"",
            )],
            "messages/de/phrases.toml:3: departure.usual: there is no value \"titel\" here; did you mean \"title\"?",
        ),
        (
            &[(
                Some("de"),
                "phrases.toml",
                "[departure]\nusual = \"{{ title \"",
            )],
            "messages/de/phrases.toml:2: departure.usual: syntax error",
        ),
        (
            &[(Some("de"), "phrases.toml", "[departure]\nusual = 3")],
            "messages/de/phrases.toml:2: departure.usual: expected a sentence in quotes, found integer",
        ),
        (
            &[(Some("de"), "phrases.toml", "a = 1\nb =")],
            "messages/de/phrases.toml:2: not TOML: ",
        ),
        (
            &[(Some("de"), "phrases.toml", "[form]\ncomma = \",\"")],
            "messages/de/phrases.toml:2: form.comma: there is no such key; allowed in [form]: decimal, ",
        ),
        (
            &[(Some("de"), "phrases.toml", "[form]\ntime = \"%Q:%\"")],
            "alarm.txt (built in):",
        ),
    ] {
        let told = wrong(files);
        assert!(
            told.lines().any(|line| line.starts_with(want)),
            "{told}\nwant: {want}"
        );
    }
}

#[test]
fn a_layout_that_runs_on_is_stopped_and_told() {
    let endless = "{% for a in range(9999) %}{% for b in range(9999) %}x{% endfor %}{% endfor %}";
    let told = wrong(&[(None, "mixer.txt", endless)]);
    assert!(
        told.contains("messages/mixer.txt:1: engine ran out of fuel"),
        "{told}"
    );
    let told = wrong(&[(None, "mixer.txt", "{% include \"mixer.txt\" %}")]);
    assert!(told.contains("messages/mixer.txt:1: "), "{told}");
    let long = "{% for a in range(3000) %}a long line that is told again{% endfor %}";
    let told = wrong(&[(None, "mixer.txt", long)]);
    assert!(told.contains("longer than any message"), "{told}");
}

#[test]
fn nothing_is_read_from_elsewhere() {
    let told = wrong(&[(None, "mixer.txt", "{% include \"/etc/passwd\" %}")]);
    assert!(
        told.contains("messages/mixer.txt:1: template not found"),
        "{told}"
    );
}

/// After `check` this cannot happen with data as it is now; a message goes out
/// all the same.
#[test]
fn a_layout_that_fails_later_is_replaced_by_english_and_counted() {
    let own = "{% if title == \"Mill 4\" %}{{ title }}{% else %}{{ say(1, 2, 3) }}{% endif %}";
    let texts = Texts::new(&plants(&[(Some("de"), "departure.txt", own)])).unwrap();
    let about = About {
        title: "Lathe",
        ..about(VolumeUnit::Litre)
    };
    assert_eq!(
        told(&texts, "de", &about, &Told::Departure(None)),
        "Lathe: losses and gains are usual again"
    );
    assert_eq!(texts.failed(), 1);
}

/// A kind of alarm that nobody wrote a sentence for.
#[test]
fn an_unknown_condition_is_told_by_its_name() {
    let own = "[condition]\nstock_low = \"{{ subject }} RUNS OUT\"\n";
    let texts = Texts::new(&plants(&[(Some("en"), "phrases.toml", own)])).unwrap();
    let first = |name: &str| {
        let language = &texts.0.languages["en"];
        let form = Value::from_object(form(language, &TimeZone::UTC, &about(VolumeUnit::Litre)));
        condition::what(&language.sentences, name, &form).unwrap()
    };
    assert_eq!(first("stock_low.soluble-a"), "soluble-a RUNS OUT");
    assert_eq!(first("check_overdue.ph"), "check overdue pH");
    assert_eq!(first("concentration.low"), "concentration TOO LOW");
    let silent = sample_alarms::alarm(Condition::Silent("brix-2".into()), Transition::Raised);
    let text = told(
        &texts,
        "en",
        &about(VolumeUnit::Litre),
        &Told::Alarm(&silent),
    );
    assert!(text.starts_with("Mill 4: probe brix-2 SILENT\n"), "{text}");
}
