-- Sounds of results, for listening; those of the newest measurements that have any are kept.
CREATE TABLE sounds (
    measurement TEXT NOT NULL REFERENCES measurements (id),
    sound       TEXT NOT NULL,
    samples     BLOB NOT NULL,                   -- 32-bit floats, little-endian
    PRIMARY KEY (measurement, sound)
) STRICT;
