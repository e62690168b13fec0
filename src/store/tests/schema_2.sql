-- Schema 2, on top of schema 1.

-- How far somebody has come who works through something in order: an import
-- through its file. Moved in the transaction of the rows that it speaks of;
-- moved_at is when.
CREATE TABLE cursors (
    name     TEXT PRIMARY KEY,
    position INTEGER NOT NULL,
    moved_at INTEGER NOT NULL
) WITHOUT ROWID, STRICT;

-- By which the receiver of a message knows what it asked for.
ALTER TABLE outbox ADD COLUMN correlation BLOB;

-- Finds an entry by its sump and id, however long ago it was made.
CREATE INDEX journal_entries
    ON journal (sump, iif(json_valid(body), json_extract(body, '$.entry.id'), NULL))
    WHERE kind = 'entry';

-- The readings for other tools, with the marks that have come since.
DROP VIEW readings_plain;
CREATE VIEW readings_plain AS
SELECT
    series.sump,
    series.channel,
    series.kind,
    series.quantity,
    series.unit,
    strftime('%Y-%m-%dT%H:%M:%fZ', readings.time / 1000.0, 'unixepoch') AS time,
    readings.value,
    CASE readings.quality
        WHEN 0 THEN 'good'
        ELSE ltrim(
            iif(readings.quality & 1,  ' late', '')         ||
            iif(readings.quality & 2,  ' spike', '')        ||
            iif(readings.quality & 4,  ' clock', '')        ||
            iif(readings.quality & 8,  ' repeated', '')     ||
            iif(readings.quality & 16, ' out_of_range', '') ||
            iif(readings.quality & 32, ' fault', '')        ||
            iif(readings.quality & 64, ' unsure', ''))
    END AS quality,
    readings.delay AS delay_ms
FROM readings JOIN series ON series.id = readings.series;
