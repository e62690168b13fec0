//! The texts that come with the program: the files under config/texts/.

/// The language that others fall back to.
pub(super) const ENGLISH: &str = "en";

/// The file of a language's sentences.
pub(super) const PHRASES_FILE: &str = "phrases.toml";

/// Layouts, for all languages.
pub(super) const LAYOUTS: [(&str, &str); 19] = [
    (
        "advice.txt",
        include_str!("../../../config/texts/advice.txt"),
    ),
    ("alarm.txt", include_str!("../../../config/texts/alarm.txt")),
    ("asked.txt", include_str!("../../../config/texts/asked.txt")),
    ("away.txt", include_str!("../../../config/texts/away.txt")),
    (
        "cautions.txt",
        include_str!("../../../config/texts/cautions.txt"),
    ),
    (
        "departure.txt",
        include_str!("../../../config/texts/departure.txt"),
    ),
    (
        "digest.txt",
        include_str!("../../../config/texts/digest.txt"),
    ),
    ("do.txt", include_str!("../../../config/texts/do.txt")),
    ("dose.txt", include_str!("../../../config/texts/dose.txt")),
    (
        "evidence.txt",
        include_str!("../../../config/texts/evidence.txt"),
    ),
    ("flood.txt", include_str!("../../../config/texts/flood.txt")),
    (
        "likely.txt",
        include_str!("../../../config/texts/likely.txt"),
    ),
    ("mixer.txt", include_str!("../../../config/texts/mixer.txt")),
    (
        "movement.txt",
        include_str!("../../../config/texts/movement.txt"),
    ),
    (
        "options.txt",
        include_str!("../../../config/texts/options.txt"),
    ),
    (
        "outcome.txt",
        include_str!("../../../config/texts/outcome.txt"),
    ),
    ("own.txt", include_str!("../../../config/texts/own.txt")),
    (
        "start_up.txt",
        include_str!("../../../config/texts/start_up.txt"),
    ),
    ("why.txt", include_str!("../../../config/texts/why.txt")),
];

/// The sentences of each language.
pub(super) const PHRASES: [(&str, &str); 2] = [
    ("de", include_str!("../../../config/texts/de/phrases.toml")),
    (
        ENGLISH,
        include_str!("../../../config/texts/en/phrases.toml"),
    ),
];

/// Where a built-in file is said to stand.
pub(super) fn shown(name: &str) -> String {
    format!("{name} (built in)")
}
