//! Messages as people read them.

mod asked;
mod keys;
mod overlay;
mod whole;

use std::sync::LazyLock;

use super::data::{About, Told};
use super::*;

pub(super) fn built_in() -> Texts {
    static ONCE: LazyLock<Texts> = LazyLock::new(|| Texts::new(&MessageTexts::default()).unwrap());
    ONCE.clone()
}

pub(super) fn told(texts: &Texts, language: &str, about: &About<'_>, told: &Told<'_>) -> String {
    let zone = TimeZone::get("Europe/Vienna").unwrap();
    let reader = Reader {
        language,
        zone: &zone,
    };
    texts.tell(&reader, about, told)
}
