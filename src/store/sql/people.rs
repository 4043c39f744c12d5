//! Statements about links, answers, addresses, and children who are not coming.

use super::super::db::Statement;
use super::s;

pub(in crate::store) const LINKS_ADD: Statement = s(
    2,
    "INSERT INTO link (hash, season, kind, message, chaperone, expires_ms, made_ms, parent) \
     SELECT value->>0, CAST($2 AS BIGINT), value->>1, CAST(value->>2 AS BIGINT), value->>3, CAST(value->>4 AS BIGINT), \
     CAST(value->>5 AS BIGINT), value->>6 FROM json_each($1) WHERE true ON CONFLICT (hash) DO NOTHING",
);
pub(in crate::store) const LINKS_END: Statement = s(
    3,
    "UPDATE link SET expires_ms = $3 WHERE season = $1 AND expires_ms > $3 \
     AND message IN (SELECT id FROM message WHERE season = $1 AND household = $2) RETURNING hash",
);
pub(in crate::store) const COORDINATOR_LINKS: Statement = s(
    2,
    "SELECT l.hash, l.made_ms, l.expires_ms, (SELECT CAST(COUNT(*) AS BIGINT) FROM link x WHERE x.season = $1 \
       AND x.kind = 'session' AND x.parent = l.hash AND x.expires_ms > $2) \
     FROM link l WHERE l.season = $1 AND l.kind = 'coordinator' AND l.expires_ms > $2 ORDER BY l.made_ms DESC, l.hash",
);
/// With the sessions that were opened with it.
pub(in crate::store) const LINK_END: Statement = s(
    3,
    "UPDATE link SET expires_ms = $3 WHERE season = $1 AND expires_ms > $3 AND (hash = $2 OR parent = $2) RETURNING kind",
);
pub(in crate::store) const FEEDS_END: Statement = s(
    3,
    "UPDATE feed SET expires_ms = $3 WHERE season = $1 AND household = $2 AND expires_ms > $3 RETURNING hash",
);
pub(in crate::store) const FEED: Statement = s(
    2,
    "SELECT person, household, expires_ms FROM feed WHERE season = $1 AND hash = $2 ORDER BY person, household",
);
pub(in crate::store) const FEED_PUT: Statement = s(
    2,
    "INSERT INTO feed (season, person, household, hash, expires_ms) \
     SELECT CAST($2 AS BIGINT), value->>0, value->>1, value->>2, CAST(value->>3 AS BIGINT) \
     FROM json_each($1) WHERE true ON CONFLICT (season, person, household) \
     DO UPDATE SET hash = excluded.hash, expires_ms = excluded.expires_ms",
);
pub(in crate::store) const LINK: Statement = s(
    2,
    "SELECT l.kind, l.message, l.chaperone, l.expires_ms, \
     COALESCE((SELECT a.address FROM attempt a WHERE a.message = l.message ORDER BY a.number DESC LIMIT 1), ''), l.parent \
     FROM link l WHERE l.season = $1 AND l.hash = $2",
);
pub(in crate::store) const ANSWERS_ADD: Statement = s(
    2,
    "INSERT INTO answer (season, at_ms, road, external, guardian, child, event, kind, fingerprint, one_phone, words, \
     noted_by, outcome) \
     SELECT CAST($2 AS BIGINT), CAST(value->>0 AS BIGINT), value->>1, value->>2, value->>3, value->>4, value->>5, value->>6, \
     value->>7, CAST(value->>8 AS BIGINT), value->>9, value->>10, value->>11 FROM json_each($1) WHERE true \
     ON CONFLICT (season, road, external, guardian, child, event) DO NOTHING \
     RETURNING guardian, child, event",
);
pub(in crate::store) const ANSWERS: Statement = s(
    1,
    "SELECT id, at_ms, road, external, guardian, child, event, kind, fingerprint, one_phone, words, noted_by, outcome \
     FROM answer WHERE season = $1 ORDER BY id",
);
pub(in crate::store) const ADDRESSES: Statement =
    s(1, "SELECT channel, address, stopped, bad FROM address WHERE season = $1");
pub(in crate::store) const ADDRESS_STOP: Statement = s(
    4,
    "INSERT INTO address (season, channel, address, stopped, bad) VALUES ($1, $2, $3, $4, 0) \
     ON CONFLICT (season, channel, address) DO UPDATE SET stopped = excluded.stopped",
);
pub(in crate::store) const ADDRESSES_BAD: Statement = s(
    2,
    "INSERT INTO address (season, channel, address, stopped, bad) \
     SELECT DISTINCT CAST($2 AS BIGINT), m.channel, a.address, 0, 1 FROM json_each($1) AS w \
     JOIN attempt a ON a.message = CAST(w.value->>0 AS BIGINT) AND a.number = CAST(w.value->>1 AS BIGINT) \
     JOIN message m ON m.id = a.message WHERE true \
     ON CONFLICT (season, channel, address) DO UPDATE SET bad = 1",
);
pub(in crate::store) const ABSENCES: Statement = s(
    1,
    "SELECT a.child, a.event, a.at_ms, a.said_by, a.noted_by, a.away FROM absence a WHERE a.season = $1 \
     AND a.seq = (SELECT MAX(b.seq) FROM absence b WHERE b.season = a.season AND b.child = a.child \
       AND b.event = a.event) ORDER BY a.child, a.event",
);
pub(in crate::store) const ABSENCE: Statement = s(
    3,
    "SELECT seq, away FROM absence WHERE season = $1 AND child = $2 AND event = $3 ORDER BY seq DESC LIMIT 1",
);
pub(in crate::store) const ABSENCE_ADD: Statement = s(
    8,
    "INSERT INTO absence (season, child, event, seq, at_ms, away, said_by, noted_by) \
     VALUES ($1, $2, $3, $4, $5, $6, $7, $8) ON CONFLICT DO NOTHING RETURNING seq",
);
pub(in crate::store) const TEXTED: Statement = s(
    1,
    "SELECT DISTINCT a.address FROM attempt a JOIN message m ON m.id = a.message \
     WHERE m.season = $1 AND m.channel = 'text'",
);
