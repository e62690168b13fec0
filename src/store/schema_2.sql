-- Schema 2, on top of schema 1.

-- How far somebody has come who works through something in order: an import
-- through its file. Moved in the transaction of the rows that it speaks of;
-- moved_at is when.
CREATE TABLE cursors (
    name     TEXT PRIMARY KEY,
    position INTEGER NOT NULL,
    moved_at INTEGER NOT NULL
) WITHOUT ROWID, STRICT;

-- Finds an entry by its sump and id, however long ago it was made.
CREATE INDEX journal_entries
    ON journal (sump, iif(json_valid(body), json_extract(body, '$.entry.id'), NULL))
    WHERE kind = 'entry';
