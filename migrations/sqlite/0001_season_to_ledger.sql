-- Tables that are looked up by what they hold are kept in that order (WITHOUT ROWID): each row is written once.
-- Instants are milliseconds since 1970 in UTC. Refs name workbook rows for good and hold nothing personal.

CREATE TABLE season (
    id INTEGER PRIMARY KEY,
    reference TEXT NOT NULL UNIQUE,
    revision INTEGER NOT NULL,
    revised_ms INTEGER NOT NULL,
    -- Rises with every change of what was told, answered or stopped, so that a copy in memory knows it is old.
    pulse INTEGER NOT NULL
) STRICT;

-- The workbook in force, a row each, so that a change touches only its own rows.
CREATE TABLE season_row (
    season INTEGER NOT NULL REFERENCES season (id),
    sheet TEXT NOT NULL,
    -- The row's ref, or its position where the sheet has none.
    line TEXT NOT NULL,
    position INTEGER NOT NULL,
    cells TEXT NOT NULL,
    PRIMARY KEY (season, sheet, line)
) STRICT, WITHOUT ROWID;

CREATE TABLE message (
    id INTEGER PRIMARY KEY,
    season INTEGER NOT NULL REFERENCES season (id),
    key TEXT NOT NULL,
    household TEXT NOT NULL,
    -- Refs separated by spaces.
    guardians TEXT NOT NULL,
    channel TEXT NOT NULL CHECK (channel IN ('mail', 'text')),
    wording TEXT NOT NULL,
    owes INTEGER NOT NULL CHECK (owes IN (0, 1)),
    -- A change with no permitted hour left before it is needed.
    at_once INTEGER NOT NULL CHECK (at_once IN (0, 1)),
    due_ms INTEGER NOT NULL,
    until_ms INTEGER NOT NULL,
    state TEXT NOT NULL CHECK (state IN (
        'planned', 'claimed', 'attempting', 'accepted', 'delivered', 'waiting_to_retry',
        'withdrawn', 'expired', 'refused', 'bounced', 'quarantined', 'uncertain')),
    -- 0 once it is withdrawn.
    wanted INTEGER NOT NULL CHECK (wanted IN (0, 1)),
    -- When it may next be claimed.
    ready_ms INTEGER NOT NULL,
    -- When a claim or an attempt is given up for lost; 0 outside those states.
    lease_ms INTEGER NOT NULL,
    fence INTEGER NOT NULL,
    -- Counts claims, to find a message that breaks the sender.
    claims INTEGER NOT NULL,
    -- Counts attempts, for delivery.
    attempts INTEGER NOT NULL,
    why TEXT NOT NULL
) STRICT;

-- A withdrawn message may be wanted again later; only one at a time is wanted.
CREATE UNIQUE INDEX message_key ON message (season, key) WHERE wanted = 1;
-- The one index that a change of state touches.
CREATE INDEX message_state ON message (season, state, channel, ready_ms, until_ms);
CREATE INDEX message_household ON message (household, season);
-- Announcements of changes, which are few.
CREATE INDEX message_change ON message (season, household) WHERE wording IN ('change', 'cancelled');

CREATE TABLE message_part (
    message INTEGER NOT NULL REFERENCES message (id),
    child TEXT NOT NULL,
    event TEXT NOT NULL,
    notice TEXT NOT NULL,
    -- The facts announced by a change, or last told by others; empty before the first attempt.
    fingerprint TEXT NOT NULL,
    -- When it was last attempted; 0 for never.
    told_ms INTEGER NOT NULL,
    PRIMARY KEY (message, child, event, notice)
) STRICT, WITHOUT ROWID;

CREATE TABLE attempt (
    message INTEGER NOT NULL REFERENCES message (id),
    number INTEGER NOT NULL,
    at_ms INTEGER NOT NULL,
    -- Frozen here: a later change of the address does not change what happened.
    address TEXT NOT NULL,
    reference TEXT NOT NULL,
    -- Empty while it is open.
    outcome TEXT NOT NULL,
    outcome_ms INTEGER NOT NULL,
    why TEXT NOT NULL,
    -- Which gateway took it, and what it calls it; empty where it does not say.
    gateway TEXT NOT NULL,
    gateway_id TEXT NOT NULL,
    PRIMARY KEY (message, number)
) STRICT, WITHOUT ROWID;

CREATE INDEX attempt_address ON attempt (address);
CREATE INDEX attempt_gateway ON attempt (gateway_id, gateway);

-- What gateways told of messages afterwards; each piece of news once. Kept while its message is not known yet.
CREATE TABLE receipt (
    season INTEGER NOT NULL REFERENCES season (id),
    gateway TEXT NOT NULL,
    external TEXT NOT NULL,
    reference TEXT NOT NULL,
    news TEXT NOT NULL CHECK (news IN ('delivered', 'failed', 'failed_for_good')),
    at_ms INTEGER NOT NULL,
    joined INTEGER NOT NULL CHECK (joined IN (0, 1)),
    PRIMARY KEY (season, gateway, external)
) STRICT, WITHOUT ROWID;

-- Canonical forms of published facts by their digest.
CREATE TABLE facts (
    season INTEGER NOT NULL REFERENCES season (id),
    fingerprint TEXT NOT NULL,
    form TEXT NOT NULL,
    PRIMARY KEY (season, fingerprint)
) STRICT, WITHOUT ROWID;

CREATE TABLE link (
    hash TEXT PRIMARY KEY,
    season INTEGER NOT NULL REFERENCES season (id),
    kind TEXT NOT NULL CHECK (kind IN ('guardian', 'chaperone', 'coordinator')),
    message INTEGER NOT NULL,
    chaperone TEXT NOT NULL,
    expires_ms INTEGER NOT NULL
) STRICT, WITHOUT ROWID;

-- Private addresses that calendar programs read; everybody has one at a time.
CREATE TABLE feed (
    season INTEGER NOT NULL REFERENCES season (id),
    -- A guardian's ref, or a chaperone's.
    person TEXT NOT NULL,
    -- The guardian's household; empty for a chaperone.
    household TEXT NOT NULL,
    hash TEXT NOT NULL,
    expires_ms INTEGER NOT NULL,
    PRIMARY KEY (season, person, household)
) STRICT, WITHOUT ROWID;
CREATE INDEX feed_hash ON feed (hash);

CREATE TABLE answer (
    id INTEGER PRIMARY KEY,
    season INTEGER NOT NULL REFERENCES season (id),
    at_ms INTEGER NOT NULL,
    road TEXT NOT NULL,
    external TEXT NOT NULL,
    guardian TEXT NOT NULL,
    child TEXT NOT NULL,
    event TEXT NOT NULL,
    -- heard, cant_come, question; empty for a call that reached nobody.
    kind TEXT NOT NULL,
    fingerprint TEXT NOT NULL,
    one_phone INTEGER NOT NULL CHECK (one_phone IN (0, 1)),
    words TEXT NOT NULL,
    noted_by TEXT NOT NULL,
    outcome TEXT NOT NULL,
    UNIQUE (season, road, external, guardian, child, event)
) STRICT;

-- What people sent us, by whatever road; the same act twice has no effect.
CREATE TABLE incoming (
    id INTEGER PRIMARY KEY,
    season INTEGER NOT NULL REFERENCES season (id),
    road TEXT NOT NULL,
    external TEXT NOT NULL,
    -- mail or text; empty for what was written on a page.
    channel TEXT NOT NULL,
    address TEXT NOT NULL,
    at_ms INTEGER NOT NULL,
    words TEXT NOT NULL,
    became TEXT NOT NULL,
    -- Refs with a space on either side of each; a single space where the sender is not known.
    guardians TEXT NOT NULL,
    -- Child and event refs with a slash between, spaces between pairs.
    items TEXT NOT NULL,
    -- It waits for a person.
    waits INTEGER NOT NULL CHECK (waits IN (0, 1)),
    UNIQUE (season, road, external)
) STRICT;

CREATE INDEX incoming_waits ON incoming (season, waits, id);

-- What was last offered to choose from at an address.
CREATE TABLE offer (
    season INTEGER NOT NULL REFERENCES season (id),
    channel TEXT NOT NULL,
    address TEXT NOT NULL,
    at_ms INTEGER NOT NULL,
    kind TEXT NOT NULL,
    choices TEXT NOT NULL,
    PRIMARY KEY (season, channel, address)
) STRICT, WITHOUT ROWID;

-- Answers of ours to a person's own message.
CREATE TABLE reply (
    id INTEGER PRIMARY KEY,
    season INTEGER NOT NULL REFERENCES season (id),
    channel TEXT NOT NULL CHECK (channel IN ('mail', 'text')),
    address TEXT NOT NULL,
    subject TEXT NOT NULL,
    words TEXT NOT NULL,
    -- The mail it answers; empty for none.
    in_reply_to TEXT NOT NULL,
    until_ms INTEGER NOT NULL,
    state TEXT NOT NULL CHECK (state IN (
        'planned', 'attempting', 'waiting_to_retry', 'accepted', 'refused', 'uncertain', 'expired')),
    ready_ms INTEGER NOT NULL,
    lease_ms INTEGER NOT NULL,
    attempts INTEGER NOT NULL,
    why TEXT NOT NULL,
    -- The key of a digest, which nobody's own message asked for; else empty.
    reference TEXT NOT NULL
) STRICT;

CREATE INDEX reply_ready ON reply (season, state, ready_ms);

CREATE TABLE address (
    season INTEGER NOT NULL REFERENCES season (id),
    channel TEXT NOT NULL,
    address TEXT NOT NULL,
    stopped INTEGER NOT NULL CHECK (stopped IN (0, 1)),
    bad INTEGER NOT NULL CHECK (bad IN (0, 1)),
    PRIMARY KEY (season, channel, address)
) STRICT, WITHOUT ROWID;

-- What was told of an event as it ran, in order; append-only.
CREATE TABLE deed (
    season INTEGER NOT NULL REFERENCES season (id),
    event TEXT NOT NULL,
    -- From 1 within the event.
    seq INTEGER NOT NULL,
    -- Given by the form, so that the same act twice has no effect.
    external TEXT NOT NULL,
    at_ms INTEGER NOT NULL,
    act TEXT NOT NULL CHECK (act IN ('begun', 'ended', 'held', 'cut', 'exchanged', 'moved', 'taken_back')),
    -- Ref of the number it is about; empty for a hold of an act and for a deed taken back.
    number TEXT NOT NULL,
    -- The other number, what it moves behind, the act that is held, or the deed that is taken back; else empty.
    other TEXT NOT NULL,
    -- Of a hold; else 0.
    minutes INTEGER NOT NULL,
    PRIMARY KEY (season, event, seq),
    UNIQUE (season, event, external)
) STRICT, WITHOUT ROWID;

-- Append-only; each hash covers the one before.
CREATE TABLE ledger (
    season INTEGER NOT NULL REFERENCES season (id),
    seq INTEGER NOT NULL,
    at_ms INTEGER NOT NULL,
    kind TEXT NOT NULL,
    about TEXT NOT NULL,
    digest TEXT NOT NULL,
    hash TEXT NOT NULL,
    PRIMARY KEY (season, seq)
) STRICT, WITHOUT ROWID;

-- Words beside the chain; deleting a person's words and salt leaves the chain whole.
CREATE TABLE ledger_words (
    season INTEGER NOT NULL,
    seq INTEGER NOT NULL,
    person TEXT NOT NULL,
    words TEXT NOT NULL,
    PRIMARY KEY (season, seq)
) STRICT, WITHOUT ROWID;

CREATE TABLE person_salt (
    season INTEGER NOT NULL,
    person TEXT NOT NULL,
    salt BLOB NOT NULL,
    PRIMARY KEY (season, person)
) STRICT, WITHOUT ROWID;

-- The last digest of each kind for each holder, so that each moment is taken once.
CREATE TABLE digest (
    season INTEGER NOT NULL REFERENCES season (id),
    -- A chaperone's ref, or coordinator.
    holder TEXT NOT NULL,
    kind TEXT NOT NULL,
    -- The moment it was for, whether or not there was anything to say.
    of_ms INTEGER NOT NULL,
    -- What the last one that was sent had seen, by refs and plain words; empty for none.
    form TEXT NOT NULL,
    PRIMARY KEY (season, holder, kind)
) STRICT, WITHOUT ROWID;

-- Whether planned messages may leave: only by a person's word. No row until the season is first set going.
CREATE TABLE course (
    season INTEGER PRIMARY KEY REFERENCES season (id),
    going INTEGER NOT NULL CHECK (going IN (0, 1)),
    since_ms INTEGER NOT NULL,
    by_whom TEXT NOT NULL CHECK (by_whom IN ('coordinator', 'command', 'demonstration'))
) STRICT;

-- Tests a coordinator sent to herself: each once, never told to a family.
CREATE TABLE test_message (
    season INTEGER NOT NULL REFERENCES season (id),
    -- Names the act, so that a form posted twice sends once.
    external TEXT NOT NULL,
    channel TEXT NOT NULL CHECK (channel IN ('mail', 'text')),
    wording TEXT NOT NULL,
    at_ms INTEGER NOT NULL,
    PRIMARY KEY (season, external, channel)
) STRICT, WITHOUT ROWID;

-- What was changed in the workbook, the latest few; a row may be deleted at any time, and is then not taken back.
CREATE TABLE season_change (
    season INTEGER NOT NULL REFERENCES season (id),
    revision INTEGER NOT NULL,
    at_ms INTEGER NOT NULL,
    -- By which action, in a few words.
    what TEXT NOT NULL,
    -- The rows as they were before; empty for the first workbook of all.
    was TEXT NOT NULL,
    PRIMARY KEY (season, revision)
) STRICT, WITHOUT ROWID;

-- The highest number given out under each letter of refs, so that none is ever given to anything else.
CREATE TABLE ref_given (
    season INTEGER NOT NULL REFERENCES season (id),
    letter TEXT NOT NULL,
    highest INTEGER NOT NULL,
    PRIMARY KEY (season, letter)
) STRICT, WITHOUT ROWID;
