-- Schema 4, on top of schema 3.

-- Stretches of time, ends included, in which values or journal lines came in
-- after those who forward them had passed: they are read once more. Written in
-- the transaction of those rows; cursor is the name of a row of cursors.
CREATE TABLE late_spans (
    cursor TEXT    NOT NULL,
    first  INTEGER NOT NULL,
    last   INTEGER NOT NULL,
    PRIMARY KEY (cursor, first)
) WITHOUT ROWID, STRICT;
