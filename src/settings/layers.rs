//! Lays the sources over each other: files by name, then the environment.
//! Tables join, values of later layers replace earlier ones.

use std::sync::{Arc, Mutex, MutexGuard, PoisonError};

use config::{Config, ConfigError, Environment, Map, Source as Layer, Value, ValueKind};
use toml_edit::{Document, Item, Key, TableLike};

use super::key_path::KeyPath;
use super::mistake::{Mistake, Place};
use super::places::{Lines, Places, Shape, Spot};
use super::problem::Problem;
use super::sources::{PREFIX, Source, Sources};

/// Parts that the path of a setting can have at most; the deepest real one
/// has seven.
const DEEPEST: usize = 16;

/// The settings as one tree, and where each of them stands.
#[derive(Debug)]
pub(super) struct Merged {
    /// The tree.
    pub(super) tree: Value,
    /// The places.
    pub(super) places: Places,
    /// Whether every source could be read; if not, what is missing may stand
    /// in the part that was not read.
    pub(super) complete: bool,
    /// What was wrong with the sources themselves.
    pub(super) mistakes: Vec<Mistake>,
}

/// Merges all sources.
pub(super) fn merge(sources: Sources) -> Merged {
    let mut laying = Laying {
        places: Places::new(Place::File(sources.whole.clone())),
        mistakes: sources.mistakes,
    };
    let mut builder = Config::builder();
    for source in sources.texts {
        if let Some(layer) = laying.file(&source) {
            builder = builder.add_source(layer);
        }
    }
    let hidden = |mistake: &Mistake| mistake.problem.hides_settings();
    let complete = !laying.mistakes.iter().any(hidden);
    for (name, text) in sources.variables {
        if let Some(layer) = laying.variable(name, text) {
            builder = builder.add_source(layer);
        }
    }
    let tree = builder
        .build()
        .map(|merged| merged.cache)
        .unwrap_or_else(|error| laying.refuse(&sources.whole, &error));
    Merged {
        tree,
        places: laying.places,
        complete,
        mistakes: laying.mistakes,
    }
}

#[derive(Debug)]
struct Laying {
    places: Places,
    mistakes: Vec<Mistake>,
}

impl Laying {
    /// One file as a layer, its settings noted in the places.
    fn file(&mut self, source: &Source) -> Option<FileLayer> {
        let lines = self.places.text(source.name.clone(), &source.text);
        let document = match Document::parse(source.text.as_str()) {
            Ok(document) => document,
            Err(error) => {
                let problem = Problem::Syntax(one_line(error.message()));
                self.tell(lines.place(error.span()), String::new(), problem);
                return None;
            }
        };
        if source.mount != KeyPath::root() {
            let top = Spot::at(lines.at(None), Shape::Table);
            self.places.note(source.mount.clone(), top);
        }
        let tree = self.table(&mut document.into_table(), &source.mount, &lines);
        Some(FileLayer {
            tree: Mutex::new(hang(tree, &source.mount)),
        })
    }

    /// What stands in a table is taken out of it, so that the document is gone by
    /// the time the tree is there: of a large plant each takes tens of megabytes.
    fn table(
        &mut self,
        table: &mut dyn TableLike,
        path: &KeyPath,
        lines: &Lines,
    ) -> Map<String, Value> {
        let names: Vec<String> = table.iter().map(|(name, _)| name.to_owned()).collect();
        let mut values = Map::new();
        for name in names {
            let Some((key, item)) = table.get_key_value(&name) else {
                continue;
            };
            if !is_key(&name) {
                let problem = Problem::BadKey(name);
                self.tell(lines.place(key.span()), path.to_string(), problem);
                continue;
            }
            let here = path.key(&name);
            if let Some(variable) = secret_variable(&here) {
                let problem = Problem::PasswordInFile(variable);
                self.tell(lines.place(key.span()), here.to_string(), problem);
                continue;
            }
            self.places.note(here.clone(), spot(key, item, lines));
            let item = table.get_mut(&name).map(std::mem::take);
            let value = self.item(item.unwrap_or_default(), &here, lines);
            values.insert(name, value);
        }
        values
    }

    fn item(&mut self, mut item: Item, path: &KeyPath, lines: &Lines) -> Value {
        if let Some(table) = item.as_table_like_mut() {
            return self.table(table, path, lines).into();
        }
        match item {
            Item::Value(value) => self.value(value, path, lines),
            Item::ArrayOfTables(tables) => {
                let tables = tables.into_iter().enumerate();
                let values = tables.map(|(place, mut table)| {
                    Value::from(self.table(&mut table, &path.item(place), lines))
                });
                Value::from(values.collect::<Vec<_>>())
            }
            Item::Table(_) | Item::None => Value::new(None, ValueKind::Nil),
        }
    }

    fn value(&mut self, value: toml_edit::Value, path: &KeyPath, lines: &Lines) -> Value {
        use toml_edit::Value as Toml;
        match value {
            Toml::String(text) => text.into_value().into(),
            Toml::Integer(number) => number.into_value().into(),
            Toml::Float(number) => number.into_value().into(),
            Toml::Boolean(truth) => truth.into_value().into(),
            Toml::Datetime(time) => time.value().to_string().into(),
            Toml::InlineTable(mut table) => self.table(&mut table, path, lines).into(),
            Toml::Array(list) => {
                let values = list.into_iter().enumerate().map(|(place, value)| {
                    let here = path.item(place);
                    let spot = Spot::at(lines.at(value.span()), Shape::Value);
                    self.places.note(here.clone(), spot);
                    self.value(value, &here, lines)
                });
                Value::from(values.collect::<Vec<_>>())
            }
        }
    }

    /// One environment variable as a layer.
    fn variable(&mut self, name: String, text: String) -> Option<Environment> {
        let parts: Vec<String> = name[PREFIX.len()..]
            .split("__")
            .map(str::to_ascii_lowercase)
            .collect();
        if parts.len() > DEEPEST || !parts.iter().all(|part| is_key(part)) {
            let problem = Problem::BadKey(parts.join("."));
            self.tell(Place::Variable(name), String::new(), problem);
            return None;
        }
        let at = self.places.variable(&name);
        let mut path = KeyPath::root();
        for (place, part) in parts.iter().enumerate() {
            path = path.key(part);
            let shape = match place + 1 == parts.len() {
                true => Shape::Value,
                false => Shape::Table,
            };
            let spot = Spot::at(at, shape);
            self.places.note(path.clone(), spot);
        }
        let alone = Map::from([(name, text)]);
        Some(
            Environment::with_prefix(PREFIX.trim_end_matches('_'))
                .prefix_separator("__")
                .separator("__")
                .source(Some(alone)),
        )
    }

    fn refuse(&mut self, whole: &Arc<str>, error: &ConfigError) -> Value {
        let problem = Problem::Other(one_line(&error.to_string()));
        self.tell(Place::File(whole.clone()), String::new(), problem);
        Value::from(Map::<String, Value>::new())
    }

    fn tell(&mut self, place: Place, path: String, problem: Problem) {
        self.mistakes.push(Mistake {
            place,
            path,
            problem,
        });
    }
}

fn spot(key: &Key, item: &Item, lines: &Lines) -> Spot {
    let key = lines.at(key.span());
    match item.as_table_like() {
        Some(_) => Spot::at(key, Shape::Table),
        None => Spot {
            key,
            value: lines.at(item.span()),
            shape: Shape::Value,
        },
    }
}

/// The tree of one file, as `config` takes it: the first to ask for it gets it.
#[derive(Debug)]
struct FileLayer {
    tree: Mutex<Map<String, Value>>,
}

impl FileLayer {
    fn tree(&self) -> MutexGuard<'_, Map<String, Value>> {
        self.tree.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

impl Layer for FileLayer {
    fn clone_into_box(&self) -> Box<dyn Layer + Send + Sync> {
        Box::new(FileLayer {
            tree: Mutex::new(self.tree().clone()),
        })
    }
    fn collect(&self) -> Result<Map<String, Value>, ConfigError> {
        Ok(std::mem::take(&mut *self.tree()))
    }
}

/// Puts a tree under the tables that `mount` names.
fn hang(tree: Map<String, Value>, mount: &KeyPath) -> Map<String, Value> {
    let names = mount.as_str().split('.').filter(|name| !name.is_empty());
    names.rev().fold(tree, |inner, name| {
        Map::from([(name.to_owned(), Value::from(inner))])
    })
}

/// `config` reads the keys of a layer as paths; these characters have no
/// meaning there.
fn is_key(name: &str) -> bool {
    let fits = |b: u8| b.is_ascii_alphanumeric() || b == b'-' || b == b'_';
    !name.is_empty() && name.bytes().all(fits)
}

/// The variable that a secret belongs into, if the setting at this path is
/// one.
fn secret_variable(path: &KeyPath) -> Option<String> {
    let parts: Vec<&str> = path.as_str().split('.').collect();
    let is_secret = matches!(
        parts[..],
        ["broker", _, "password"]
            | ["mail", "password"]
            | ["webhook", _, "secret"]
            | ["web", "key"]
            | ["forward", _, "token"]
    );
    is_secret.then(|| format!("{PREFIX}{}", parts.join("__").to_ascii_uppercase()))
}

fn one_line(text: &str) -> String {
    text.split_whitespace().collect::<Vec<_>>().join(" ")
}
