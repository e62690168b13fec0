//! Where each setting stands, so that a mistake can be shown there.

use std::collections::BTreeMap;
use std::ops::Range;
use std::sync::Arc;

use super::key_path::KeyPath;
use super::mistake::Place;

/// The place of every setting that was read, by path.
#[derive(Debug)]
pub(super) struct Places {
    whole: Place,
    known: BTreeMap<KeyPath, Spot>,
}

/// Where one setting stands.
#[derive(Debug, Clone)]
pub(super) struct Spot {
    /// Its name; for an item of a list, the item.
    pub(super) key: Place,
    /// What it is set to; for a table, its name.
    pub(super) value: Place,
    /// Which of both it is.
    pub(super) shape: Shape,
}

/// What stands at a path.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Shape {
    /// A table; later files add to it.
    Table,
    /// A value; later files replace it.
    Value,
}

impl Places {
    /// No setting known yet; `whole` is named where nothing nearer is.
    pub(super) fn new(whole: Place) -> Self {
        Places {
            whole,
            known: BTreeMap::new(),
        }
    }

    /// Notes a setting. A table stays where it was first seen, a value moves
    /// to where it was last set.
    pub(super) fn note(&mut self, path: KeyPath, spot: Spot) {
        let stays = spot.shape == Shape::Table
            && matches!(self.known.get(&path), Some(known) if known.shape == Shape::Table);
        if !stays {
            self.known.insert(path, spot);
        }
    }

    /// Where the value of a setting stands; for one that is not there, the
    /// table that it should stand in.
    pub(super) fn of_value(&self, path: &KeyPath) -> Place {
        self.find(path)
            .map_or_else(|| self.whole.clone(), |spot| spot.value.clone())
    }

    /// Where the name of a setting stands.
    pub(super) fn of_key(&self, path: &KeyPath) -> Place {
        self.find(path)
            .map_or_else(|| self.whole.clone(), |spot| spot.key.clone())
    }

    fn find(&self, path: &KeyPath) -> Option<&Spot> {
        let mut path = Some(path.clone());
        while let Some(here) = path {
            if let Some(spot) = self.known.get(&here) {
                return Some(spot);
            }
            path = here.parent();
        }
        None
    }
}

impl Spot {
    /// A setting whose name and value stand at one place.
    pub(super) fn at(place: Place, shape: Shape) -> Self {
        Spot {
            key: place.clone(),
            value: place,
            shape,
        }
    }
}

/// Turns byte offsets of one file into lines and columns.
#[derive(Debug)]
pub(super) struct Lines<'a> {
    file: Arc<str>,
    text: &'a str,
    starts: Vec<usize>,
}

impl<'a> Lines<'a> {
    pub(super) fn of(file: Arc<str>, text: &'a str) -> Self {
        let after_breaks = text.match_indices('\n').map(|(at, _)| at + 1);
        let starts = std::iter::once(0).chain(after_breaks).collect();
        Lines { file, text, starts }
    }

    /// The beginning of a byte range; the whole file where there is none.
    pub(super) fn place(&self, range: Option<Range<usize>>) -> Place {
        let Some(range) = range else {
            return Place::File(self.file.clone());
        };
        let at = self.text.floor_char_boundary(range.start);
        let line = self.starts.partition_point(|start| *start <= at);
        let before = &self.text[self.starts[line - 1]..at];
        Place::Spot {
            file: self.file.clone(),
            line,
            column: before.chars().count() + 1,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn counts_lines_and_characters_from_one() {
        let lines = Lines::of("a.toml".into(), "x = 1\nµµ = 2\n");
        assert_eq!(lines.place(Some(0..1)).to_string(), "a.toml:1:1");
        assert_eq!(lines.place(Some(6..8)).to_string(), "a.toml:2:1");
        assert_eq!(lines.place(Some(13..14)).to_string(), "a.toml:2:6");
        assert_eq!(lines.place(Some(999..1000)).to_string(), "a.toml:3:1");
        assert_eq!(lines.place(None).to_string(), "a.toml");
    }

    #[test]
    fn finds_the_table_that_lacks_a_setting() {
        let line = |line| Place::Spot {
            file: "a.toml".into(),
            line,
            column: 1,
        };
        let table = |at| Spot::at(line(at), Shape::Table);
        let value = |at| Spot::at(line(at), Shape::Value);
        let mut places = Places::new(Place::File("settings".into()));
        places.note(KeyPath::of("sump.a"), table(3));
        places.note(KeyPath::of("sump.a.title"), value(4));
        places.note(KeyPath::of("sump.a"), table(30));
        places.note(KeyPath::of("sump.a.title"), value(31));
        assert_eq!(places.of_value(&KeyPath::of("sump.a.fluid")), line(3));
        assert_eq!(places.of_key(&KeyPath::of("sump.a.title")), line(31));
        let nowhere = places.of_value(&KeyPath::of("plant"));
        assert_eq!(nowhere, Place::File("settings".into()));
    }
}
