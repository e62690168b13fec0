//! The dotted path of a setting, as people and messages write it.

use std::fmt;

/// Path of a setting from the root, as `sump.turning-cell.window[0]`. Keys
/// with other characters than letters, digits, `-` and `_` never get this far,
/// so the path needs no quotes.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Hash, Default)]
pub(super) struct KeyPath(String);

impl KeyPath {
    /// The root of all settings.
    pub(super) const fn root() -> Self {
        KeyPath(String::new())
    }

    /// From text that is already in this form.
    #[cfg(test)]
    pub(super) fn of(text: impl Into<String>) -> Self {
        KeyPath(text.into())
    }

    /// The setting `key` in the table at this path.
    pub(super) fn key(&self, key: &str) -> Self {
        if self.0.is_empty() {
            KeyPath(key.to_owned())
        } else {
            KeyPath([&self.0, ".", key].concat())
        }
    }

    /// Place `index` in the list at this path.
    pub(super) fn item(&self, index: usize) -> Self {
        KeyPath(format!("{}[{index}]", self.0))
    }

    /// The table or list that this stands in; nothing for the root.
    pub(super) fn parent(&self) -> Option<Self> {
        if self.0.is_empty() {
            return None;
        }
        let cut = self.0.rfind(['.', '[']).unwrap_or(0);
        Some(KeyPath(self.0[..cut].to_owned()))
    }

    /// As text; empty for the root.
    pub(super) fn as_str(&self) -> &str {
        &self.0
    }
}

impl fmt::Display for KeyPath {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.0)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn walks_down_and_up() {
        let window = KeyPath::root().key("sump").key("cell-a").key("window");
        assert_eq!(window.item(1).to_string(), "sump.cell-a.window[1]");
        assert_eq!(window.item(1).parent(), Some(window.clone()));
        assert_eq!(window.parent(), Some(KeyPath::of("sump.cell-a")));
        assert_eq!(KeyPath::of("sump").parent(), Some(KeyPath::root()));
        assert_eq!(KeyPath::root().parent(), None);
    }
}
