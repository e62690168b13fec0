-- Schema 3, on top of schema 2.

-- Whom a message is for: 'broker', or a contact and a road, as 'anna/mail';
-- for each the messages keep their order. message is the id by which whoever
-- gets it knows it again. A message is not tried before next_attempt, and put
-- aside once expires is over.
ALTER TABLE outbox ADD COLUMN receiver TEXT NOT NULL DEFAULT 'broker';
ALTER TABLE outbox ADD COLUMN message TEXT;
ALTER TABLE outbox ADD COLUMN attempts INTEGER NOT NULL DEFAULT 0;
ALTER TABLE outbox ADD COLUMN next_attempt INTEGER NOT NULL DEFAULT 0;
ALTER TABLE outbox ADD COLUMN expires INTEGER;
CREATE INDEX outbox_by_receiver ON outbox (receiver, id);
CREATE INDEX outbox_by_expiry ON outbox (expires) WHERE expires IS NOT NULL;

-- What is to happen at a later time unless something comes in between:
-- messages that wait for working hours, and escalations of alarms that nobody
-- has acknowledged, whose subject is the alarm. body is JSON.
CREATE TABLE waiting (
    id      INTEGER PRIMARY KEY AUTOINCREMENT,
    due     INTEGER NOT NULL,
    subject TEXT,
    body    TEXT    NOT NULL
) STRICT;
CREATE INDEX waiting_by_due ON waiting (due);
CREATE INDEX waiting_by_subject ON waiting (subject) WHERE subject IS NOT NULL;

-- Messages that were given up: refused for good, or expired. The newest are
-- kept. time is when, why is for people.
CREATE TABLE put_aside (
    id       INTEGER PRIMARY KEY AUTOINCREMENT,
    receiver TEXT    NOT NULL,
    message  TEXT,
    topic    TEXT    NOT NULL,
    payload  TEXT    NOT NULL,
    created  INTEGER NOT NULL,
    attempts INTEGER NOT NULL,
    time     INTEGER NOT NULL,
    why      TEXT    NOT NULL
) STRICT;
