-- Schema 1. Times are milliseconds since 1970-01-01T00:00:00Z, leap seconds
-- not counted.

-- Small facts about the file itself. clean_stop is 1 while nobody has the
-- store open and the last one closed it in good order.
CREATE TABLE meta (
    name  TEXT PRIMARY KEY,
    value INTEGER NOT NULL
) WITHOUT ROWID, STRICT;
INSERT INTO meta VALUES ('clean_stop', 1);

-- What can have values: one row for each channel and each estimate of a sump.
CREATE TABLE series (
    id       INTEGER PRIMARY KEY,
    sump     TEXT NOT NULL,
    channel  TEXT NOT NULL,
    quantity TEXT NOT NULL,
    unit     TEXT NOT NULL,
    kind     TEXT NOT NULL CHECK (kind IN ('reading', 'estimate')),
    UNIQUE (sump, channel, kind)
) STRICT;

-- The values. quality holds the marks as bits, 0 is good; delay is arrival
-- minus time. That a series exists is seen to once, when it is registered, and
-- not for each row. The time comes first in the key: readings of thousands of
-- series come in side by side, and each commit then touches the last few pages
-- of the table and not one page a series.
CREATE TABLE readings (
    time    INTEGER NOT NULL,
    series  INTEGER NOT NULL,
    value   REAL    NOT NULL,
    quality INTEGER NOT NULL,
    delay   INTEGER NOT NULL,
    PRIMARY KEY (time, series)
) WITHOUT ROWID, STRICT;

-- Append only. body is JSON.
CREATE TABLE journal (
    time INTEGER NOT NULL,
    sump TEXT    NOT NULL,
    seq  INTEGER NOT NULL,
    kind TEXT    NOT NULL,
    body TEXT    NOT NULL,
    PRIMARY KEY (time, sump, seq)
) WITHOUT ROWID, STRICT;

-- Messages that no receiver has confirmed yet, oldest first. A slot holds at
-- most one: the newest state. AUTOINCREMENT, so that no id ever comes back.
CREATE TABLE outbox (
    id      INTEGER PRIMARY KEY AUTOINCREMENT,
    topic   TEXT    NOT NULL,
    payload TEXT    NOT NULL,
    retain  INTEGER NOT NULL,
    slot    TEXT    UNIQUE,
    created INTEGER NOT NULL
) STRICT;

-- Where each sump's watch stood; body is its own affair.
CREATE TABLE snapshots (
    sump TEXT PRIMARY KEY,
    time INTEGER NOT NULL,
    body BLOB    NOT NULL
) STRICT;

-- The newest message without a time of its own that bore a packet identifier,
-- to know a second delivery by: a hash of its topic and payload, and its place
-- among the source's messages.
CREATE TABLE recent_messages (
    source TEXT    NOT NULL,
    packet INTEGER NOT NULL,
    hash   INTEGER NOT NULL,
    seq    INTEGER NOT NULL,
    PRIMARY KEY (source, packet)
) WITHOUT ROWID, STRICT;

-- The readings for other tools: names, RFC 3339 and words.
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
            iif(readings.quality & 1,  ' late', '')     ||
            iif(readings.quality & 2,  ' spike', '')    ||
            iif(readings.quality & 4,  ' clock', '')    ||
            iif(readings.quality & 8,  ' repeated', '') ||
            iif(readings.quality & 16, ' out_of_range', ''))
    END AS quality,
    readings.delay AS delay_ms
FROM readings JOIN series ON series.id = readings.series;
