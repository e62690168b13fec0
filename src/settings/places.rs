//! Where each setting stands, so that a mistake can be shown there.

use std::collections::BTreeMap;
use std::ops::Range;
use std::sync::Arc;

use super::key_path::KeyPath;
use super::mistake::Place;

/// The place of every setting that was read, by path. A plant has tens of thousands
/// of settings, and few are ever wrong: lines are counted when a place is asked for.
#[derive(Debug)]
pub(super) struct Places {
    whole: Place,
    texts: Vec<Lines>,
    variables: Vec<String>,
    known: BTreeMap<KeyPath, Spot>,
}

/// Where one setting stands.
#[derive(Debug, Clone, Copy)]
pub(super) struct Spot {
    /// Its name; for an item of a list, the item.
    pub(super) key: At,
    /// What it is set to; for a table, its name.
    pub(super) value: At,
    /// Which of both it is.
    pub(super) shape: Shape,
}

/// A place among the texts and variables, by their numbers.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum At {
    /// A text as a whole.
    Text(u32),
    /// A byte of a text.
    Byte(u32, u32),
    /// A variable.
    Variable(u32),
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
            texts: Vec::new(),
            variables: Vec::new(),
            known: BTreeMap::new(),
        }
    }

    /// Takes in the text of a file.
    pub(super) fn text(&mut self, file: Arc<str>, text: &str) -> Lines {
        let lines = Lines {
            file,
            text: text.into(),
            number: number(self.texts.len()),
        };
        self.texts.push(lines.clone());
        lines
    }

    /// Takes in the name of an environment variable.
    pub(super) fn variable(&mut self, name: &str) -> At {
        self.variables.push(name.to_owned());
        At::Variable(number(self.variables.len() - 1))
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
        self.place(self.find(path).map(|spot| spot.value))
    }

    /// Where the name of a setting stands.
    pub(super) fn of_key(&self, path: &KeyPath) -> Place {
        self.place(self.find(path).map(|spot| spot.key))
    }

    fn place(&self, at: Option<At>) -> Place {
        match at {
            None => self.whole.clone(),
            Some(At::Text(text)) => self.texts[text as usize].place(None),
            Some(At::Byte(text, byte)) => self.texts[text as usize].place_of(byte as usize),
            Some(At::Variable(name)) => Place::Variable(self.variables[name as usize].clone()),
        }
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
    pub(super) fn at(place: At, shape: Shape) -> Self {
        Spot {
            key: place,
            value: place,
            shape,
        }
    }
}

/// Nobody writes so many bytes of settings that it would not do.
fn number(count: usize) -> u32 {
    u32::try_from(count).unwrap_or(u32::MAX)
}

/// The text of one file, to turn its bytes into lines and columns; copies share it.
#[derive(Debug, Clone)]
pub(super) struct Lines {
    file: Arc<str>,
    text: Arc<str>,
    number: u32,
}

impl Lines {
    /// The beginning of a byte range, to be looked up later; the whole file where
    /// there is none.
    pub(super) fn at(&self, range: Option<Range<usize>>) -> At {
        match range {
            Some(range) => At::Byte(self.number, number(range.start)),
            None => At::Text(self.number),
        }
    }

    /// The beginning of a byte range; the whole file where there is none.
    pub(super) fn place(&self, range: Option<Range<usize>>) -> Place {
        match range {
            Some(range) => self.place_of(range.start),
            None => Place::File(self.file.clone()),
        }
    }

    fn place_of(&self, byte: usize) -> Place {
        let before = &self.text[..self.text.floor_char_boundary(byte)];
        let (above, on_line) = before.rsplit_once('\n').unwrap_or(("", before));
        let is_first = on_line.len() == before.len();
        Place::Spot {
            file: self.file.clone(),
            line: if is_first {
                1
            } else {
                above.matches('\n').count() + 2
            },
            column: on_line.chars().count() + 1,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn counts_lines_and_characters_from_one() {
        let mut places = Places::new(Place::File("settings".into()));
        let lines = places.text("a.toml".into(), "x = 1\nµµ = 2\n");
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
        let mut places = Places::new(Place::File("settings".into()));
        let lines = places.text("a.toml".into(), &"\n".repeat(40));
        let at = |line: usize| lines.at(Some(line - 1..line));
        let table = |line| Spot::at(at(line), Shape::Table);
        let value = |line| Spot::at(at(line), Shape::Value);
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
