-- Schema 5, on top of schema 4.

-- How far the readings are packed. Every value with a time before packed_to is
-- in blocks or in late_readings; what readings still holds of that time is
-- waiting to be deleted, and blocks that begin later are not complete yet.
-- What comes with a time before settling_to goes to late_readings. Complete
-- hours before rolled_to are rolled up. Readings before raw_from were deleted.
INSERT INTO meta VALUES
    ('packed_to',   -9223372036854775808),
    ('settling_to', -9223372036854775808),
    ('rolled_to',   -9223372036854775808),
    ('raw_from',    -9223372036854775808);

-- Settled values of one series; src/store/packing/mod.rs tells what body is.
-- The blocks of a series do not overlap. live is the time of the first value
-- that did not come late. A rowid table, so that bodies do not spill.
CREATE TABLE blocks (
    id     INTEGER PRIMARY KEY,
    series INTEGER NOT NULL,
    first  INTEGER NOT NULL,
    last   INTEGER NOT NULL,
    count  INTEGER NOT NULL,
    live   INTEGER,
    body   BLOB    NOT NULL
) STRICT;
CREATE INDEX blocks_by_series ON blocks (series, first, last, count, live);

-- Values that came when those around them were packed already, until they are
-- packed with them.
CREATE TABLE late_readings (
    series  INTEGER NOT NULL,
    time    INTEGER NOT NULL,
    value   REAL    NOT NULL,
    quality INTEGER NOT NULL,
    delay   INTEGER NOT NULL,
    PRIMARY KEY (series, time)
) WITHOUT ROWID, STRICT;

-- What the good values of a series were in an hour or a day (UTC): step is its
-- length in ms, good and count the numbers of good and of all values.
CREATE TABLE rollups (
    series INTEGER NOT NULL,
    step   INTEGER NOT NULL CHECK (step IN (3600000, 86400000)),
    start  INTEGER NOT NULL,
    min    REAL,
    mean   REAL,
    max    REAL,
    good   INTEGER NOT NULL,
    count  INTEGER NOT NULL,
    PRIMARY KEY (series, step, start)
) WITHOUT ROWID, STRICT;

-- The minutes of an hour as a JSON array, one item for each from the first on:
-- null without values, the value where there is one and it is good, or
-- [min, mean, max, good, count], without good where all are. The mean has three
-- decimals more than the values. Only of hours with more than 120 values: of
-- fewer, minutes would be no less than the values themselves.
CREATE TABLE rollup_minutes (
    id     INTEGER PRIMARY KEY,
    series INTEGER NOT NULL,
    hour   INTEGER NOT NULL,
    body   TEXT    NOT NULL,
    UNIQUE (series, hour)
) STRICT;

-- Hours to be rolled up again, since late values have come to them.
CREATE TABLE rollup_due (
    series INTEGER NOT NULL,
    hour   INTEGER NOT NULL,
    PRIMARY KEY (series, hour)
) WITHOUT ROWID, STRICT;

-- The recent readings for other tools: those that are not packed yet.
DROP VIEW readings_plain;
CREATE VIEW readings_plain AS
WITH recent AS (
    SELECT series, time, value, quality, delay FROM readings
    WHERE time >= (SELECT value FROM meta WHERE name = 'packed_to')
    UNION ALL
    SELECT series, time, value, quality, delay FROM late_readings
)
SELECT
    series.sump,
    series.channel,
    series.kind,
    series.quantity,
    series.unit,
    strftime('%Y-%m-%dT%H:%M:%fZ', recent.time / 1000.0, 'unixepoch') AS time,
    recent.value,
    CASE recent.quality
        WHEN 0 THEN 'good'
        ELSE ltrim(
            iif(recent.quality & 1,  ' late', '')         ||
            iif(recent.quality & 2,  ' spike', '')        ||
            iif(recent.quality & 4,  ' clock', '')        ||
            iif(recent.quality & 8,  ' repeated', '')     ||
            iif(recent.quality & 16, ' out_of_range', '') ||
            iif(recent.quality & 32, ' fault', '')        ||
            iif(recent.quality & 64, ' unsure', ''))
    END AS quality,
    recent.delay AS delay_ms
FROM recent JOIN series ON series.id = recent.series;

-- All rollups for other tools.
CREATE VIEW rollups_plain AS
WITH rolled AS (
    SELECT series, iif(step = 3600000, 'hour', 'day') AS step, start,
           min, mean, max, good, count
    FROM rollups
    UNION ALL
    SELECT series, 'minute', hour + 60000 * minute.key,
           iif(minute.type = 'array', json_extract(minute.value, '$[0]'), minute.value),
           iif(minute.type = 'array', json_extract(minute.value, '$[1]'), minute.value),
           iif(minute.type = 'array', json_extract(minute.value, '$[2]'), minute.value),
           iif(minute.type = 'array', json_extract(minute.value, '$[3]'), 1),
           iif(minute.type = 'array', json_extract(minute.value, '$[#-1]'), 1)
    FROM rollup_minutes JOIN json_each(rollup_minutes.body) AS minute
    WHERE minute.type <> 'null'
)
SELECT
    series.sump,
    series.channel,
    series.kind,
    series.quantity,
    series.unit,
    rolled.step,
    strftime('%Y-%m-%dT%H:%M:%fZ', rolled.start / 1000.0, 'unixepoch') AS start,
    rolled.min,
    rolled.mean,
    rolled.max,
    rolled.good,
    rolled.count
FROM rolled JOIN series ON series.id = rolled.series;
