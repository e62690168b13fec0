//! The languages of messages, and a plant's own texts.

use std::fs;

use super::{FLUID, PLANT, read, told, variables};
use crate::settings::Settings;

/// The settings of a folder with this folder of texts, in files by name.
fn loaded(files: &[(&str, &str)]) -> Result<Settings, String> {
    let dir = tempfile::tempdir().unwrap();
    let plant = format!("{PLANT}[messages]\nfolder = \"words\"\n");
    for (name, text) in [("plant.toml", &*plant), ("fluids/soluble-a.toml", FLUID)]
        .iter()
        .chain(files)
    {
        let path = dir.path().join(name);
        fs::create_dir_all(path.parent().unwrap()).unwrap();
        fs::write(path, text).unwrap();
    }
    let told = Settings::load(dir.path(), variables(&[]));
    let folder = dir.path().display().to_string();
    told.map_err(|error| error.to_string().replace(&folder, "DIR"))
}

#[test]
fn contacts_read_the_plants_language_or_their_own() {
    let settings =
        read("[messages]\nlanguage = \"de\"\n[contact.a]\n[contact.b]\nlanguage = \"en\"\n")
            .unwrap();
    let languages: Vec<&str> = settings.contacts.iter().map(|c| &*c.language).collect();
    assert_eq!(
        (&*settings.texts.language, &languages[..]),
        ("de", &["de", "en"][..])
    );
    told(
        "[messages]\nlanguage = \"dee\"\n",
        &["z.toml:2:12: messages.language: there is no language \"dee\"; did you mean \"de\"?"],
    );
    told(
        "[contact.a]\nlanguage = \"french\"\n",
        &["z.toml:2:12: contact.a.language: there is no language \"french\"; allowed here: de, en"],
    );
}

#[test]
fn a_folder_makes_a_language() {
    let files = [
        ("words/alarm.txt", "a"),
        ("words/fr/phrases.toml", "b"),
        ("words/fr/notes.md", "c"),
        ("people.toml", "[contact.a]\nlanguage = \"fr\"\n"),
    ];
    let settings = loaded(&files).unwrap();
    assert_eq!(&*settings.contacts[0].language, "fr");
    let files: Vec<_> = settings
        .texts
        .files
        .iter()
        .map(|file| (file.language.as_deref(), &*file.name, &*file.text))
        .collect();
    assert_eq!(
        files,
        [(None, "alarm.txt", "a"), (Some("fr"), "phrases.toml", "b")]
    );
}

#[test]
fn texts_that_cannot_be_read_are_told() {
    let place = "DIR/plant.toml:17:10: messages.folder: ";
    let long = "x".repeat(64 * 1024 + 1);
    for (files, want) in [
        (&[][..], "DIR/words cannot be read: "),
        (
            &[("words/phrases.toml", "")],
            "DIR/words/phrases.toml is never read: ",
        ),
        (
            &[("words/de/phrase.toml", "")],
            "DIR/words/de/phrase.toml is never read: ",
        ),
        (&[("words/Fr/phrases.toml", "")], "\"Fr\" cannot be a name"),
        (
            &[("words/alarm.txt", &*long)],
            "DIR/words/alarm.txt is too much: ",
        ),
    ] {
        let told = loaded(files).unwrap_err();
        assert!(told.starts_with(&format!("{place}{want}")), "{told}");
    }
}
