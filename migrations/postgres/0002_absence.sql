-- Children who are not coming to an event, this once: each act is a row, the last one counts. No reason is kept.
CREATE TABLE absence (
    season BIGINT NOT NULL REFERENCES season (id),
    child TEXT NOT NULL,
    event TEXT NOT NULL,
    -- From 1 for each child and event.
    seq BIGINT NOT NULL,
    at_ms BIGINT NOT NULL,
    -- 0 takes it back.
    away BIGINT NOT NULL CHECK (away IN (0, 1)),
    -- A guardian's ref; empty where nobody of the family said it.
    said_by TEXT NOT NULL,
    -- A chaperone's ref, or coordinator.
    noted_by TEXT NOT NULL,
    PRIMARY KEY (season, child, event, seq)
);
