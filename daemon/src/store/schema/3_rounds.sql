-- Rounds: what was run and what was missed, permits, and links that are away.

CREATE TABLE runs (
    id         TEXT    NOT NULL PRIMARY KEY,    -- UUIDv7: in the order of their beginning
    round      TEXT    NOT NULL,
    request_id TEXT,
    time       INTEGER NOT NULL,                -- ns since 1970 when it was due, else when it began
    state      INTEGER NOT NULL,
    run        BLOB    NOT NULL                 -- a Run with everything
) STRICT, WITHOUT ROWID;

CREATE INDEX runs_by_round ON runs (round, id);
CREATE UNIQUE INDEX runs_by_request ON runs (request_id) WHERE request_id IS NOT NULL;
CREATE INDEX runs_unfinished ON runs (id) WHERE state < 2;

-- Every due date is here once: with its run, or with the entry that says that it was missed.
CREATE TABLE due_dates (
    round  TEXT    NOT NULL,
    time   INTEGER NOT NULL,                    -- ns since 1970
    missed INTEGER NOT NULL,
    run    TEXT    NOT NULL REFERENCES runs (id),
    PRIMARY KEY (round, time)
) STRICT, WITHOUT ROWID;

-- Since when a round has its schedule: what was due before is none of its due dates.
CREATE TABLE schedules (
    round    TEXT    NOT NULL PRIMARY KEY,
    schedule TEXT    NOT NULL,
    time     INTEGER NOT NULL
) STRICT, WITHOUT ROWID;

CREATE TABLE permit (
    only_one    INTEGER NOT NULL PRIMARY KEY CHECK (only_one = 1),
    text        TEXT    NOT NULL,
    create_time INTEGER NOT NULL,
    until_time  INTEGER                          -- ns since 1970; null: as long as one counts
) STRICT;

CREATE TABLE excuses (
    link       TEXT    NOT NULL PRIMARY KEY,
    until_time INTEGER NOT NULL,
    text       TEXT    NOT NULL
) STRICT, WITHOUT ROWID;

-- Runs of which a message has still to go out.
CREATE TABLE untold (
    run TEXT NOT NULL PRIMARY KEY REFERENCES runs (id)
) STRICT, WITHOUT ROWID;
