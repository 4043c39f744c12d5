//! Statements about replies and other letters of the short queue.

use super::super::db::Statement;
use super::s;

pub(in crate::store) const REPLY_ADD: Statement = s(
    2,
    "INSERT INTO reply (season, channel, address, subject, words, in_reply_to, ready_ms, until_ms, reference, state, \
     lease_ms, attempts, why, by_person) SELECT CAST($2 AS BIGINT), value->>0, value->>1, value->>2, value->>3, value->>4, \
     CAST(value->>5 AS BIGINT), CAST(value->>6 AS BIGINT), value->>7, 'planned', 0, 0, '', CAST(value->>8 AS BIGINT) \
     FROM json_each($1)",
);
/// Written down as under way before the first byte leaves. What nobody's own message asked for does not go to an address
/// that said stop.
pub(in crate::store) const REPLY_CLAIM: Statement = s(
    5,
    "UPDATE reply SET state = 'attempting', attempts = attempts + 1, lease_ms = $4 \
     WHERE state IN ('planned', 'waiting_to_retry') AND id IN (SELECT id FROM reply WHERE season = $1 \
       AND channel = $5 AND state IN ('planned', 'waiting_to_retry') AND ready_ms <= $3 AND until_ms > $3 \
       AND NOT EXISTS (SELECT 1 FROM hold) \
       AND (reference = '' OR NOT EXISTS (SELECT 1 FROM address x WHERE x.season = reply.season \
         AND x.channel = reply.channel AND x.address = reply.address AND x.stopped = 1)) ORDER BY id LIMIT $2) \
     RETURNING id, channel, address, subject, words, in_reply_to, until_ms, attempts, reference",
);
/// What is learnt late still settles what was in doubt.
pub(in crate::store) const REPLY_SETTLE: Statement = s(
    1,
    "UPDATE reply SET state = w.state, ready_ms = w.ready, lease_ms = 0, why = w.why \
     FROM (SELECT CAST(value->>0 AS BIGINT) AS id, CAST(value->>1 AS BIGINT) AS number, value->>2 AS state, \
     CAST(value->>3 AS BIGINT) AS ready, value->>4 AS why FROM json_each($1)) AS w \
     WHERE reply.id = w.id AND reply.attempts = w.number AND reply.state IN ('attempting', 'uncertain')",
);
pub(in crate::store) const REPLY_RENEW: Statement = s(
    2,
    "UPDATE reply SET lease_ms = $2 \
     FROM (SELECT CAST(value->>0 AS BIGINT) AS id, CAST(value->>1 AS BIGINT) AS number FROM json_each($1)) AS w \
     WHERE reply.id = w.id AND reply.attempts = w.number AND reply.state = 'attempting'",
);
pub(in crate::store) const REPLY_DOUBT: Statement = s(
    2,
    "UPDATE reply SET state = 'uncertain', lease_ms = 0, why = 'the program stopped during the attempt' \
     WHERE season = $1 AND state = 'attempting' AND lease_ms <= $2",
);
pub(in crate::store) const REPLY_EXPIRE: Statement = s(
    2,
    "UPDATE reply SET state = 'expired', why = 'its moment passed' \
     WHERE season = $1 AND channel IN ('mail', 'text') AND state IN ('planned', 'waiting_to_retry') AND ready_ms <= $2 AND until_ms <= $2",
);
pub(in crate::store) const REPLY_UNWANTED: Statement = s(
    1,
    "UPDATE reply SET state = 'expired', why = 'the address said stop' \
     WHERE season = $1 AND channel IN ('mail', 'text') AND state IN ('planned', 'waiting_to_retry') AND reference <> '' \
       AND EXISTS (SELECT 1 FROM address x WHERE x.season = reply.season AND x.channel = reply.channel \
         AND x.address = reply.address AND x.stopped = 1)",
);
pub(in crate::store) const REPLIES_TO_SEE: Statement = s(
    2,
    "SELECT id, channel, address, words, state, why, ready_ms FROM reply WHERE season = $1 AND by_person = 1 AND seen = 0 \
     AND state IN ('uncertain', 'refused', 'expired') ORDER BY id LIMIT $2",
);
pub(in crate::store) const REPLY_LET_BE: Statement = s(
    2,
    "UPDATE reply SET seen = 1 WHERE season = $1 AND id = $2 AND by_person = 1 AND seen = 0 \
     AND state IN ('uncertain', 'refused', 'expired') RETURNING id",
);
pub(in crate::store) const REPLY_AGAIN: Statement = s(
    4,
    "UPDATE reply SET state = 'planned', ready_ms = $3, until_ms = $4, why = 'once more, by a person' \
     WHERE season = $1 AND id = $2 AND by_person = 1 AND seen = 0 \
     AND state IN ('uncertain', 'refused', 'expired') RETURNING id",
);
