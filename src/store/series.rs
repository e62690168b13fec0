//! Series and their rows in the store.

use std::collections::HashMap;
use std::sync::Arc;

use rusqlite::{Connection, OptionalExtension, Transaction, TransactionBehavior};

use crate::engine::SeriesIx;
use crate::units::Quantity;

use super::error::StoreError;

/// What the values of a series are.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum SeriesKind {
    /// An instrument reported them.
    Reading,
    /// The engine computed them.
    Estimate,
}

impl SeriesKind {
    /// The word in the store.
    pub const fn name(self) -> &'static str {
        match self {
            SeriesKind::Reading => "reading",
            SeriesKind::Estimate => "estimate",
        }
    }
}

/// One series as the settings want it; its unit is that of the quantity.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct SeriesRow {
    /// Name of the sump.
    pub sump: Arc<str>,
    /// Name of the channel or the estimate within the sump.
    pub channel: Arc<str>,
    /// What it measures.
    pub quantity: Quantity,
    /// What its values are.
    pub kind: SeriesKind,
}

/// A series' id in the store; it stays the same for ever.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct SeriesId(pub(super) i64);

/// Which row of the store each series of the plant has.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct SeriesMap {
    ids: Vec<SeriesId>,
    places: HashMap<SeriesId, SeriesIx>,
}

impl SeriesMap {
    /// The row of a series.
    pub fn id(&self, series: SeriesIx) -> Option<SeriesId> {
        self.ids.get(series.0 as usize).copied()
    }

    /// The series of a row; `None` where the settings no longer have it.
    pub fn series(&self, id: SeriesId) -> Option<SeriesIx> {
        self.places.get(&id).copied()
    }

    /// Adds the next series; says whether its row is new to the map.
    fn push(&mut self, id: SeriesId) -> bool {
        let place = SeriesIx(u32::try_from(self.ids.len()).expect("SeriesIx counts all series"));
        self.ids.push(id);
        self.places.insert(id, place).is_none()
    }
}

/// Finds or makes the row of each series; the place in `rows` is its
/// [`SeriesIx`].
pub(super) fn register(
    connection: &mut Connection,
    rows: &[SeriesRow],
) -> Result<SeriesMap, StoreError> {
    let doing = || StoreError::doing("register its series");
    let transaction = connection
        .transaction_with_behavior(TransactionBehavior::Immediate)
        .map_err(doing())?;
    let mut map = SeriesMap::default();
    for row in rows {
        let id = match kept(&transaction, row)? {
            Some(id) => id,
            None => add(&transaction, row).map_err(doing())?,
        };
        if !map.push(id) {
            return Err(StoreError::SeriesTwice {
                sump: Arc::clone(&row.sump),
                channel: Arc::clone(&row.channel),
            });
        }
    }
    transaction.commit().map_err(doing())?;
    Ok(map)
}

fn kept(transaction: &Transaction<'_>, row: &SeriesRow) -> Result<Option<SeriesId>, StoreError> {
    let found = transaction
        .prepare_cached(
            "SELECT id, quantity, unit FROM series WHERE sump = ?1 AND channel = ?2 AND kind = ?3",
        )
        .and_then(|mut select| {
            select
                .query_row((&row.sump, &row.channel, row.kind.name()), |found| {
                    Ok((found.get(0)?, found.get(1)?, found.get(2)?))
                })
                .optional()
        })
        .map_err(StoreError::doing("look up a series"))?;
    let Some((id, kept_quantity, kept_unit)): Option<(i64, Box<str>, Box<str>)> = found else {
        return Ok(None);
    };
    if *kept_quantity == *row.quantity.name() && *kept_unit == *row.quantity.unit() {
        return Ok(Some(SeriesId(id)));
    }
    Err(StoreError::SeriesChanged {
        sump: Arc::clone(&row.sump),
        channel: Arc::clone(&row.channel),
        kept_quantity,
        kept_unit,
        quantity: row.quantity,
    })
}

fn add(transaction: &Transaction<'_>, row: &SeriesRow) -> rusqlite::Result<SeriesId> {
    let mut insert = transaction.prepare_cached(
        "INSERT INTO series (sump, channel, quantity, unit, kind) VALUES (?1, ?2, ?3, ?4, ?5)",
    )?;
    let (quantity, unit) = (row.quantity.name(), row.quantity.unit());
    insert
        .insert((&row.sump, &row.channel, quantity, unit, row.kind.name()))
        .map(SeriesId)
}

#[cfg(test)]
mod tests {
    use super::super::Store;
    use super::*;

    fn row(channel: &str, quantity: Quantity, kind: SeriesKind) -> SeriesRow {
        SeriesRow {
            sump: "m1".into(),
            channel: channel.into(),
            quantity,
            kind,
        }
    }

    #[test]
    fn series_keep_their_rows_whatever_order_they_come_in() {
        let folder = tempfile::tempdir().unwrap();
        let mut store = Store::open(folder.path()).unwrap();
        let brix = row("brix", Quantity::Brix, SeriesKind::Reading);
        let ph = row("ph", Quantity::Ph, SeriesKind::Reading);
        let estimate = row("brix", Quantity::Brix, SeriesKind::Estimate);
        let before = store.register(&[brix.clone(), ph.clone()]).unwrap();
        let after = store.register(&[estimate, ph, brix]).unwrap();
        assert_eq!(after.id(SeriesIx(1)), before.id(SeriesIx(1)));
        assert_eq!(after.id(SeriesIx(2)), before.id(SeriesIx(0)));
        assert_eq!(before.series(after.id(SeriesIx(0)).unwrap()), None);
        assert_eq!(
            after.series(before.id(SeriesIx(0)).unwrap()),
            Some(SeriesIx(2))
        );
        assert_eq!(after.id(SeriesIx(3)), None);
    }

    #[test]
    fn a_series_never_changes_its_meaning() {
        let folder = tempfile::tempdir().unwrap();
        let mut store = Store::open(folder.path()).unwrap();
        let as_brix = row("probe", Quantity::Brix, SeriesKind::Reading);
        let as_ph = row("probe", Quantity::Ph, SeriesKind::Reading);
        let new = row("other", Quantity::Ph, SeriesKind::Reading);
        store.register(std::slice::from_ref(&as_brix)).unwrap();
        let told = store.register(&[new, as_ph]).unwrap_err().to_string();
        assert!(
            told.contains("brix in °Bx") && told.contains("ph in pH"),
            "{told}"
        );
        // Nothing of a refused list is kept.
        let kept: i64 = store
            .connection
            .query_row("SELECT count(*) FROM series", (), |r| r.get(0))
            .unwrap();
        assert_eq!(kept, 1);

        store
            .connection
            .execute("UPDATE series SET unit = 'g/L'", ())
            .unwrap();
        let told = store.register(&[as_brix]).unwrap_err().to_string();
        assert!(told.contains("kept as brix in g/L"), "{told}");
    }

    #[test]
    fn the_same_series_twice_is_refused() {
        let folder = tempfile::tempdir().unwrap();
        let mut store = Store::open(folder.path()).unwrap();
        let brix = row("brix", Quantity::Brix, SeriesKind::Reading);
        assert!(matches!(
            store.register(&[brix.clone(), brix]),
            Err(StoreError::SeriesTwice { .. })
        ));
    }
}
