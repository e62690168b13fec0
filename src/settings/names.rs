//! Names that become topics: no two sources may report on one, and no sump may
//! take theirs or the plant's.

use crate::engine::PLANT;

use super::key_path::KeyPath;
use super::problem::Problem;
use super::review::Review;

/// The source that every daemon has: the socket for the programs of its machine.
const OF_THE_SOCKET: &str = "control";

/// The level of topics below which the sources report, beside the sumps.
const OF_THE_SOURCES: &str = "source";

/// The level below which is told how forwarding goes.
const OF_THE_TARGETS: &str = "forward";

/// Tells every source whose name an earlier one has; each kind of source with
/// its names, in order.
pub(super) fn check_sources(review: &mut Review, kinds: &[(&str, &[String])]) {
    let mut taken: Vec<(&str, KeyPath)> = Vec::new();
    let all = kinds
        .iter()
        .flat_map(|(kind, names)| names.iter().map(move |name| (kind, name)));
    for (kind, name) in all {
        let at = KeyPath::root().key(kind).key(name);
        if name == OF_THE_SOCKET {
            let by = "the control socket, which reports on topics of its own".to_owned();
            let name = name.clone();
            review.tell(&at, Problem::NameTaken { name, by });
            continue;
        }
        match taken.iter().find(|(known, _)| known == name) {
            Some((_, by)) => {
                let (name, by) = (name.clone(), by.to_string());
                review.tell(&at, Problem::NameTaken { name, by });
            }
            None => taken.push((name, at)),
        }
    }
}

/// Tells a sump whose topics would be those of sources, or of the plant.
pub(super) fn check_sumps(review: &mut Review, names: &[String]) {
    let taken = [
        (OF_THE_SOURCES, "the topics on which sources report"),
        (OF_THE_TARGETS, "the topics on which forwarding is reported"),
        (PLANT, "the plant itself, whose alarms are told under it"),
    ];
    for name in names {
        if let Some((_, by)) = taken.iter().find(|(taken, _)| taken == name) {
            let at = KeyPath::root().key("sump").key(name);
            let (name, by) = (name.clone(), (*by).to_owned());
            review.tell(&at, Problem::NameTaken { name, by });
        }
    }
}
