-- `untold` holds runs whose message has yet to be addressed: whoever writes a run knows nothing of
-- the ways by which people are told. Here is what has to go out by each way, on its own pace.
CREATE TABLE outbox (
    way  TEXT    NOT NULL,                       -- command, webhook, mail
    run  TEXT    NOT NULL REFERENCES runs (id),
    time INTEGER NOT NULL,                       -- ns since 1970 when it was put here
    PRIMARY KEY (way, run)
) STRICT, WITHOUT ROWID;
