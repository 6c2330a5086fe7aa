-- The figures of every live measurement of a link by themselves, so that a history is read without
-- reading results. A series is one figure of a link at one place.

CREATE TABLE series (
    id       INTEGER NOT NULL PRIMARY KEY,
    link     TEXT    NOT NULL,
    analysis TEXT    NOT NULL,
    figure   TEXT    NOT NULL,
    place    BLOB    NOT NULL,                   -- what was asked for, a google.protobuf.Struct
    unit     TEXT    NOT NULL,
    UNIQUE (link, analysis, figure, place)
) STRICT;

CREATE TABLE figures (
    series      INTEGER NOT NULL REFERENCES series (id),
    time        INTEGER NOT NULL,                -- ns since 1970 when the measurement was asked for
    measurement BLOB    NOT NULL,                -- its UUID, 16 bytes
    setup       INTEGER NOT NULL,                -- a hash: another one is another setup
    value       REAL    NOT NULL,
    uncertainty REAL,
    PRIMARY KEY (series, time, measurement)
) STRICT, WITHOUT ROWID;

-- Lists of the measurements with one outcome, newest first.
CREATE INDEX judgements_by_outcome ON judgements (outcome, measurement);
