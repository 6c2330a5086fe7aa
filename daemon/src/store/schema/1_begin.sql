-- Times are nanoseconds since the beginning of 1970; states and outcomes are the numbers of the API.

CREATE TABLE measurements (
    id            TEXT    NOT NULL PRIMARY KEY,  -- UUIDv7, in lower case with hyphens
    link          TEXT    NOT NULL,              -- without `links/`; empty for recordings of no link
    analysis      TEXT    NOT NULL,
    state         INTEGER NOT NULL,
    is_match      INTEGER NOT NULL,
    create_time   INTEGER NOT NULL,
    end_time      INTEGER,
    request_id    TEXT,
    request_index INTEGER,
    result        BLOB    NOT NULL,              -- a Measurement without curves, verdict and findings
    curves        BLOB    NOT NULL DEFAULT x''   -- a Measurement with its curves alone
) STRICT;

CREATE INDEX measurements_by_link ON measurements (link, id);
CREATE INDEX measurements_by_analysis ON measurements (analysis, id);
CREATE INDEX measurements_by_both ON measurements (link, analysis, id);
-- Has all that is asked for of the last checks of a link, so that no result is read for them.
CREATE INDEX measurements_ended ON measurements (link, analysis, end_time, id, state)
    WHERE state >= 3 AND NOT is_match;
CREATE UNIQUE INDEX measurements_by_request ON measurements (request_id, request_index)
    WHERE request_id IS NOT NULL;
CREATE INDEX measurements_unfinished ON measurements (id) WHERE state < 3;

-- Apart from the result, so that a new limit never rewrites a measurement.
CREATE TABLE judgements (
    measurement TEXT    NOT NULL PRIMARY KEY REFERENCES measurements (id),
    outcome     INTEGER NOT NULL,
    judgement   BLOB    NOT NULL                 -- a Measurement with verdict and findings alone
) STRICT, WITHOUT ROWID;

-- The last figure of each id that was measured live on the link itself.
CREATE TABLE last_figures (
    link        TEXT    NOT NULL,
    analysis    TEXT    NOT NULL,
    figure      TEXT    NOT NULL,
    simulated   INTEGER NOT NULL,
    value       REAL    NOT NULL,
    measurement TEXT    NOT NULL REFERENCES measurements (id),
    PRIMARY KEY (link, analysis, figure, simulated)
) STRICT, WITHOUT ROWID;

CREATE TABLE baselines (
    link        TEXT    NOT NULL,
    analysis    TEXT    NOT NULL,
    measurement TEXT    NOT NULL REFERENCES measurements (id),
    create_time INTEGER NOT NULL,
    PRIMARY KEY (link, analysis)
) STRICT, WITHOUT ROWID;

CREATE TABLE matches (
    link        TEXT    NOT NULL PRIMARY KEY,
    measurement TEXT    NOT NULL REFERENCES measurements (id)
) STRICT, WITHOUT ROWID;

CREATE TABLE calibrations (
    side        INTEGER NOT NULL,
    channel     INTEGER NOT NULL,
    volts       REAL    NOT NULL,
    create_time INTEGER NOT NULL,
    PRIMARY KEY (side, channel)
) STRICT, WITHOUT ROWID;

CREATE TABLE hold (
    only_one    INTEGER NOT NULL PRIMARY KEY CHECK (only_one = 1),
    text        TEXT    NOT NULL,
    create_time INTEGER NOT NULL
) STRICT;
