-- Attempts that were the road's fault and not the message's: they count against nothing.
ALTER TABLE message ADD COLUMN spared INTEGER NOT NULL DEFAULT 0;

-- Whether a person has looked at what was refused, came back or was set aside, and lets it be.
ALTER TABLE message ADD COLUMN seen INTEGER NOT NULL DEFAULT 0 CHECK (seen IN (0, 1));

-- Until when a road has used up its rate, in microseconds since 1970: one for all processes on this database.
CREATE TABLE pace (
    season INTEGER NOT NULL REFERENCES season (id),
    channel TEXT NOT NULL,
    free_us INTEGER NOT NULL,
    PRIMARY KEY (season, channel)
) STRICT, WITHOUT ROWID;

-- Why nothing is sent until a witness or a person agrees; while there is a row, nothing is claimed.
CREATE TABLE hold (
    kind TEXT PRIMARY KEY CHECK (kind IN ('clock', 'restored')),
    since_ms INTEGER NOT NULL,
    -- A few words without personal data.
    why TEXT NOT NULL
) STRICT, WITHOUT ROWID;

-- The journals of attempts that lie beside this database, one for each data folder that writes to it; nothing but their names.
CREATE TABLE journal (
    id TEXT PRIMARY KEY,
    made_ms INTEGER NOT NULL
) STRICT, WITHOUT ROWID;

-- Messages of which a journal knows an attempt that this database, put back from a copy, does not.
CREATE TABLE lost (
    key TEXT PRIMARY KEY,
    at_ms INTEGER NOT NULL
) STRICT, WITHOUT ROWID;

-- Replies in a person's own words stay to be seen where nobody knows whether they arrived, or where they did not.
ALTER TABLE reply ADD COLUMN by_person INTEGER NOT NULL DEFAULT 0 CHECK (by_person IN (0, 1));
ALTER TABLE reply ADD COLUMN seen INTEGER NOT NULL DEFAULT 0 CHECK (seen IN (0, 1));

-- Links have two more kinds: one that only stops messages, and the session of a browser that opened the coordinator's link.
CREATE TABLE link_again (
    hash TEXT PRIMARY KEY,
    season INTEGER NOT NULL REFERENCES season (id),
    kind TEXT NOT NULL CHECK (kind IN ('guardian', 'stop', 'chaperone', 'coordinator', 'session')),
    message INTEGER NOT NULL,
    chaperone TEXT NOT NULL,
    expires_ms INTEGER NOT NULL,
    -- When it was made; 0 where that was before this column.
    made_ms INTEGER NOT NULL DEFAULT 0,
    -- The link a session was opened with; empty for other kinds.
    parent TEXT NOT NULL DEFAULT ''
) STRICT, WITHOUT ROWID;
INSERT INTO link_again (hash, season, kind, message, chaperone, expires_ms)
SELECT hash, season, kind, message, chaperone, expires_ms FROM link;
DROP TABLE link;
ALTER TABLE link_again RENAME TO link;
