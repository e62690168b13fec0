//! The switch that says whether the circulation pumps of a sump run.

use crate::units::Quantity;

use super::key_path::KeyPath;
use super::raw::RawChannel;
use super::review::Review;
use super::written::Written;

/// The channels that are switches, by name and place.
pub(super) fn switches(raws: &[(String, RawChannel)]) -> Vec<(String, u16)> {
    (0u16..)
        .zip(raws)
        .filter(|(_, (_, raw))| raw.quantity.as_deref() == Some(Quantity::State.name()))
        .map(|(place, (name, _))| (name.clone(), place))
        .collect()
}

/// The place of the pumps' switch: the one written, none for `false`; without
/// a word the only switch that there is, as with several it would be a guess.
pub(super) fn pump(
    review: &mut Review,
    at: &KeyPath,
    written: Option<&Written>,
    switches: &[(String, u16)],
) -> Option<Option<u16>> {
    let Some(written) = written else {
        return Some(match switches {
            [(_, only)] => Some(*only),
            _ => None,
        });
    };
    if written.is_off() {
        return Some(None);
    }
    let meant = switches.iter().find(|(name, _)| name == written.text());
    if meant.is_none() {
        let known = switches.iter().map(|(name, _)| name.as_str());
        let kind = "channel of quantity = \"state\" here with the name";
        review.unknown_name(&at.key("pump"), kind, written.text(), known);
    }
    meant.map(|(_, place)| Some(*place))
}
