//! Statements about holds, journals, and what a journal knows better.

use super::super::db::Statement;
use super::s;

pub(in crate::store) const HOLDS: Statement = s(0, "SELECT kind, since_ms, why FROM hold ORDER BY kind");
pub(in crate::store) const HOLD_ADD: Statement = s(
    3,
    "INSERT INTO hold (kind, since_ms, why) VALUES ($1, $2, $3) ON CONFLICT (kind) DO NOTHING RETURNING kind",
);
pub(in crate::store) const HOLD_LIFT: Statement = s(1, "DELETE FROM hold WHERE kind = $1 RETURNING kind");
pub(in crate::store) const JOURNALS: Statement = s(0, "SELECT id FROM journal ORDER BY id");
pub(in crate::store) const JOURNAL_ADD: Statement =
    s(2, "INSERT INTO journal (id, made_ms) VALUES ($1, $2) ON CONFLICT (id) DO NOTHING");
pub(in crate::store) const ATTEMPTS_KNOWN: Statement = s(
    1,
    "SELECT m.key, a.number FROM (SELECT value->>0 AS key, CAST(value->>1 AS BIGINT) AS number FROM json_each($1)) AS w \
     JOIN message m ON m.key = w.key JOIN attempt a ON a.message = m.id AND a.number = w.number",
);
pub(in crate::store) const LOST_ADD: Statement = s(
    2,
    "INSERT INTO lost (key, at_ms) SELECT DISTINCT value->>0, CAST($2 AS BIGINT) FROM json_each($1) WHERE true \
     ON CONFLICT (key) DO NOTHING",
);
/// Nobody knows what became of them: they wait for a person, whether they were planned before the copy or are only now.
pub(in crate::store) const LOST_DOUBT: Statement = s(
    0,
    "UPDATE message SET state = 'uncertain', lease_ms = 0, fence = fence + 1, why = 'sent after the copy was made' \
     WHERE state IN ('planned', 'claimed', 'waiting_to_retry') AND key IN (SELECT key FROM lost)",
);
pub(in crate::store) const LOST_ANY: Statement = s(0, "SELECT key FROM lost LIMIT 1");
pub(in crate::store) const LOST_DROP: Statement =
    s(1, "DELETE FROM lost WHERE key IN (SELECT value->>0 FROM json_each($1))");
/// On a server alone: its own clock.
pub(in crate::store) const SERVER_CLOCK: Statement =
    s(0, "SELECT CAST(EXTRACT(EPOCH FROM clock_timestamp()) * 1000 AS BIGINT)");
pub(in crate::store) const NEWEST: Statement = s(0, "SELECT COALESCE((SELECT MAX(at_ms) FROM attempt), 0)");
