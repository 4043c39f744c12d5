-- Attempts that were the road's fault and not the message's: they count against nothing.
ALTER TABLE message ADD COLUMN spared BIGINT NOT NULL DEFAULT 0;

-- Whether a person has looked at what was refused, came back or was set aside, and lets it be.
ALTER TABLE message ADD COLUMN seen BIGINT NOT NULL DEFAULT 0 CHECK (seen IN (0, 1));

-- Until when a road has used up its rate, in microseconds since 1970: one for all processes on this database.
CREATE TABLE pace (
    season BIGINT NOT NULL REFERENCES season (id),
    channel TEXT NOT NULL,
    free_us BIGINT NOT NULL,
    PRIMARY KEY (season, channel)
);

-- Why nothing is sent until a witness or a person agrees; while there is a row, nothing is claimed.
CREATE TABLE hold (
    kind TEXT PRIMARY KEY CHECK (kind IN ('clock', 'restored')),
    since_ms BIGINT NOT NULL,
    -- A few words without personal data.
    why TEXT NOT NULL
);

-- The journals of attempts that lie beside this database, one for each data folder that writes to it; nothing but their names.
CREATE TABLE journal (
    id TEXT PRIMARY KEY,
    made_ms BIGINT NOT NULL
);

-- Messages of which a journal knows an attempt that this database, put back from a copy, does not.
CREATE TABLE lost (
    key TEXT PRIMARY KEY,
    at_ms BIGINT NOT NULL
);

-- Replies in a person's own words stay to be seen where nobody knows whether they arrived, or where they did not.
ALTER TABLE reply ADD COLUMN by_person BIGINT NOT NULL DEFAULT 0 CHECK (by_person IN (0, 1));
ALTER TABLE reply ADD COLUMN seen BIGINT NOT NULL DEFAULT 0 CHECK (seen IN (0, 1));

-- Links have two more kinds: one that only stops messages, and the session of a browser that opened the coordinator's link.
ALTER TABLE link DROP CONSTRAINT link_kind_check;
ALTER TABLE link ADD CONSTRAINT link_kind_check
    CHECK (kind IN ('guardian', 'stop', 'chaperone', 'coordinator', 'session'));
ALTER TABLE link ADD COLUMN made_ms BIGINT NOT NULL DEFAULT 0;
ALTER TABLE link ADD COLUMN parent TEXT NOT NULL DEFAULT '';
