-- The log. Rows are only ever added: triggers refuse to change or delete them, and
-- each row carries the hash of the row before (docs/log.md).
CREATE TABLE entries (
    number       INTEGER PRIMARY KEY CHECK (number > 0),
    journey      INTEGER NOT NULL CHECK (journey > 0),
    slot         INTEGER NOT NULL CHECK (slot > 0 AND slot <= number), -- the entry first written in its place
    supersedes   INTEGER REFERENCES entries (number),
    kind         TEXT    NOT NULL,
    time_ns      INTEGER NOT NULL, -- since 1970-01-01T00:00:00Z
    written_ns   INTEGER NOT NULL,
    photo_sha256 BLOB CHECK (length(photo_sha256) = 32),
    import_key   TEXT,
    note         TEXT    NOT NULL,
    content      TEXT    NOT NULL, -- JSON; angles in radians, lengths in metres, durations in nanoseconds
    previous     BLOB    NOT NULL CHECK (length(previous) = 32),
    hash         BLOB    NOT NULL CHECK (length(hash) = 32)
) STRICT;

CREATE INDEX entries_in_order ON entries (journey, slot, number);
CREATE UNIQUE INDEX entries_superseded_once ON entries (supersedes) WHERE supersedes IS NOT NULL;
CREATE INDEX entries_by_photo ON entries (photo_sha256) WHERE photo_sha256 IS NOT NULL;
CREATE UNIQUE INDEX entries_import_once ON entries (import_key) WHERE import_key IS NOT NULL;

CREATE TRIGGER entries_follow BEFORE INSERT ON entries
WHEN NEW.number IS NOT coalesce((SELECT max(number) FROM entries), 0) + 1
  OR NEW.previous IS NOT coalesce((SELECT hash FROM entries ORDER BY number DESC LIMIT 1), zeroblob(32))
BEGIN SELECT RAISE(ABORT, 'an entry must follow the last one'); END;

CREATE TRIGGER entries_keep BEFORE UPDATE ON entries
BEGIN SELECT RAISE(ABORT, 'entries are never changed'); END;

CREATE TRIGGER entries_stay BEFORE DELETE ON entries
BEGIN SELECT RAISE(ABORT, 'entries are never deleted'); END;

-- What a reading by the dial leaves behind; its hashes stand in the entry's content.
CREATE TABLE evidence (
    entry   INTEGER PRIMARY KEY REFERENCES entries (number),
    reading TEXT, -- JSON as the reader wrote it
    overlay BLOB  -- JPEG
) STRICT;

CREATE TRIGGER evidence_keep BEFORE UPDATE ON evidence
BEGIN SELECT RAISE(ABORT, 'evidence is never changed'); END;

CREATE TRIGGER evidence_stay BEFORE DELETE ON evidence
BEGIN SELECT RAISE(ABORT, 'evidence is never deleted'); END;

-- What the work-up has in hand after an entry: a cache that can be made anew.
CREATE TABLE states (
    journey INTEGER NOT NULL,
    slot    INTEGER NOT NULL,
    version INTEGER NOT NULL, -- of the program that worked it up
    state   TEXT    NOT NULL, -- JSON
    PRIMARY KEY (journey, slot)
) STRICT, WITHOUT ROWID;
