-- What a running watch has seen so far, so that it outlives the daemon. Gone once it has ended.
CREATE TABLE watches (
    measurement TEXT    PRIMARY KEY REFERENCES measurements (id),
    open        BLOB    NOT NULL,                -- goodwire.plugin.v1.OpenRequest with the state
    resumes     INTEGER NOT NULL,                -- 1: it goes on by itself after a restart
    frame       INTEGER NOT NULL,                -- up to which it was seen
    boot        TEXT    NOT NULL,                -- id of the machine's start
    since_boot  INTEGER NOT NULL,                -- ns since then when that frame was heard
    time        INTEGER NOT NULL                 -- the same in ns since 1970
) STRICT, WITHOUT ROWID;
