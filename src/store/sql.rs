//! Every statement there is, by the table it is mostly about. Sets of rows come in as one JSON text.

use super::db::Statement;

mod holding;
mod people;
mod replies;

pub(super) use holding::*;
pub(super) use people::*;
pub(super) use replies::*;

const fn s(binds: usize, text: &'static str) -> Statement {
    Statement { text, binds }
}

/// All statements with their names, for the test that prepares each.
pub const ALL: &[(&str, Statement)] = &[
    ("SEASON", SEASON),
    ("SEASON_ROWS", SEASON_ROWS),
    ("SEASON_ROWS_OF", SEASON_ROWS_OF),
    ("SEASON_ADD", SEASON_ADD),
    ("SEASON_REVISE", SEASON_REVISE),
    ("SEASON_BUMP", SEASON_BUMP),
    ("SEASON_PULSE", SEASON_PULSE),
    ("ROWS_PUT", ROWS_PUT),
    ("ROWS_DROP", ROWS_DROP),
    ("CHANGE_ADD", CHANGE_ADD),
    ("CHANGES_FORGET", CHANGES_FORGET),
    ("CHANGES", CHANGES),
    ("CHANGE_LINES", CHANGE_LINES),
    ("GIVEN", GIVEN),
    ("GIVE", GIVE),
    ("MESSAGE_HIGHEST", MESSAGE_HIGHEST),
    ("MESSAGES_ADD", MESSAGES_ADD),
    ("MESSAGES_AFTER", MESSAGES_AFTER),
    ("GIVE_WAY", GIVE_WAY),
    ("PARTS_ADD", PARTS_ADD),
    ("WITHDRAW", WITHDRAW),
    ("RETIME", RETIME),
    ("OPEN_OF_ALL", OPEN_OF_ALL),
    ("OPEN_OF_HOUSEHOLDS", OPEN_OF_HOUSEHOLDS),
    ("OPEN_LINES", OPEN_LINES),
    ("OPEN_HOUSEHOLDS", OPEN_HOUSEHOLDS),
    ("ANNOUNCED", ANNOUNCED),
    ("MESSAGES_IN", MESSAGES_IN),
    ("MESSAGE", MESSAGE),
    ("MESSAGE_OF_KEY", MESSAGE_OF_KEY),
    ("PARTS_OF_OPEN", PARTS_OF_OPEN),
    ("PARTS_OF", PARTS_OF),
    ("CLAIM", CLAIM),
    ("ATTEMPT", ATTEMPT),
    ("CLAIM_ALONE", CLAIM_ALONE),
    ("RENEW", RENEW),
    ("PACE", PACE),
    ("HOLDS", HOLDS),
    ("HOLD_ADD", HOLD_ADD),
    ("HOLD_LIFT", HOLD_LIFT),
    ("JOURNALS", JOURNALS),
    ("JOURNAL_ADD", JOURNAL_ADD),
    ("ATTEMPTS_KNOWN", ATTEMPTS_KNOWN),
    ("NEWEST", NEWEST),
    ("LOST_ADD", LOST_ADD),
    ("LOST_ANY", LOST_ANY),
    ("LOST_DOUBT", LOST_DOUBT),
    ("LOST_DROP", LOST_DROP),
    ("NEXT_ON", NEXT_ON),
    ("PACE_SET", PACE_SET),
    ("ATTEMPTS_ADD", ATTEMPTS_ADD),
    ("TELL", TELL),
    ("FACTS_ADD", FACTS_ADD),
    ("LINKS_ADD", LINKS_ADD),
    ("LINKS_END", LINKS_END),
    ("COORDINATOR_LINKS", COORDINATOR_LINKS),
    ("LINK_END", LINK_END),
    ("FEEDS_END", FEEDS_END),
    ("FEED", FEED),
    ("FEED_PUT", FEED_PUT),
    ("SETTLE", SETTLE),
    ("ATTEMPT_END", ATTEMPT_END),
    ("PUT_BACK", PUT_BACK),
    ("TEND_QUARANTINE", TEND_QUARANTINE),
    ("TEND_RELEASE", TEND_RELEASE),
    ("TEND_EXPIRE", TEND_EXPIRE),
    ("TEND_DOUBT", TEND_DOUBT),
    ("TEND_DOUBT_ATTEMPTS", TEND_DOUBT_ATTEMPTS),
    ("TEND_TRY_AGAIN", TEND_TRY_AGAIN),
    ("DECIDE", DECIDE),
    ("TAKE_UP", TAKE_UP),
    ("ADDRESSES_GOOD", ADDRESSES_GOOD),
    ("LET_BE", LET_BE),
    ("MESSAGES_TO_SEE", MESSAGES_TO_SEE),
    ("REPLIES_TO_SEE", REPLIES_TO_SEE),
    ("REPLY_LET_BE", REPLY_LET_BE),
    ("REPLY_AGAIN", REPLY_AGAIN),
    ("BOUNCE", BOUNCE),
    ("NEXT_DUE", NEXT_DUE),
    ("COUNTS", COUNTS),
    ("LINK", LINK),
    ("ANSWERS_ADD", ANSWERS_ADD),
    ("ANSWERS", ANSWERS),
    ("TELLINGS", TELLINGS),
    ("TEXTED", TEXTED),
    ("ADDRESSES", ADDRESSES),
    ("ADDRESS_STOP", ADDRESS_STOP),
    ("ADDRESSES_BAD", ADDRESSES_BAD),
    ("FACTS", FACTS),
    ("ASKED_AT", ASKED_AT),
    ("ATTEMPTS_OF", ATTEMPTS_OF),
    ("MESSAGES_OF", MESSAGES_OF),
    ("MESSAGES_LATEST", MESSAGES_LATEST),
    ("RECEIPT_ADD", RECEIPT_ADD),
    ("RECEIPT_JOIN", RECEIPT_JOIN),
    ("RECEIPTS_PARKED", RECEIPTS_PARKED),
    ("RECEIPT_FIND", RECEIPT_FIND),
    ("DELIVER", DELIVER),
    ("RETURN", RETURN),
    ("INCOMING_ADD", INCOMING_ADD),
    ("INCOMING_WAITING", INCOMING_WAITING),
    ("INCOMING_OF", INCOMING_OF),
    ("INCOMING_ONE", INCOMING_ONE),
    ("INCOMING_DONE", INCOMING_DONE),
    ("OFFER_PUT", OFFER_PUT),
    ("OFFER_DROP", OFFER_DROP),
    ("OFFER", OFFER),
    ("REPLY_ADD", REPLY_ADD),
    ("REPLY_CLAIM", REPLY_CLAIM),
    ("REPLY_SETTLE", REPLY_SETTLE),
    ("REPLY_RENEW", REPLY_RENEW),
    ("REPLY_DOUBT", REPLY_DOUBT),
    ("REPLY_EXPIRE", REPLY_EXPIRE),
    ("REPLY_UNWANTED", REPLY_UNWANTED),
    ("DIGESTS", DIGESTS),
    ("DIGEST_TAKE", DIGEST_TAKE),
    ("DEED_ADD", DEED_ADD),
    ("DEEDS", DEEDS),
    ("ABSENCES", ABSENCES),
    ("ABSENCE", ABSENCE),
    ("ABSENCE_ADD", ABSENCE_ADD),
    ("COURSE", COURSE),
    ("COURSE_SET", COURSE_SET),
    ("TEST_ADD", TEST_ADD),
    ("LEDGER_TAIL", LEDGER_TAIL),
    ("LEDGER_ADD", LEDGER_ADD),
    ("WORDS_ADD", WORDS_ADD),
    ("SALTS", SALTS),
    ("SALT_ADD", SALT_ADD),
    ("LEDGER", LEDGER),
];

pub(super) const SEASON: Statement =
    s(0, "SELECT id, reference, revision, revised_ms FROM season ORDER BY id DESC LIMIT 1");
pub(super) const SEASON_ROWS: Statement =
    s(1, "SELECT sheet, line, position, cells FROM season_row WHERE season = $1 ORDER BY sheet, position");
pub(super) const SEASON_ROWS_OF: Statement = s(
    2,
    "SELECT sheet, line, position, cells FROM season_row WHERE season = $1 \
     AND sheet IN (SELECT value FROM json_each($2)) ORDER BY sheet, position",
);
pub(super) const SEASON_ADD: Statement = s(
    2,
    "INSERT INTO season (reference, revision, revised_ms, pulse) VALUES ($1, 1, $2, 1) \
     ON CONFLICT (reference) DO NOTHING RETURNING id",
);
pub(super) const SEASON_REVISE: Statement = s(
    3,
    "UPDATE season SET revision = revision + 1, revised_ms = $3, pulse = pulse + 1 \
     WHERE id = $1 AND revision = $2 RETURNING revision",
);
pub(super) const SEASON_BUMP: Statement = s(1, "UPDATE season SET pulse = pulse + 1 WHERE id = $1");
pub(super) const SEASON_PULSE: Statement =
    s(1, "SELECT pulse, revision, revised_ms FROM season WHERE id = $1");
pub(super) const ROWS_PUT: Statement = s(
    2,
    "INSERT INTO season_row (season, sheet, line, position, cells) \
     SELECT CAST($2 AS BIGINT), value->>0, value->>1, CAST(value->>2 AS BIGINT), value->>3 FROM json_each($1) WHERE true \
     ON CONFLICT (season, sheet, line) DO UPDATE SET position = excluded.position, cells = excluded.cells",
);
pub(super) const ROWS_DROP: Statement = s(
    2,
    "DELETE FROM season_row WHERE season = $2 \
     AND (sheet, line) IN (SELECT value->>0, value->>1 FROM json_each($1))",
);

pub(super) const CHANGE_ADD: Statement =
    s(5, "INSERT INTO season_change (season, revision, at_ms, what, was) VALUES ($1, $2, $3, $4, $5)");
pub(super) const CHANGES_FORGET: Statement =
    s(2, "DELETE FROM season_change WHERE season = $1 AND revision <= $2");
pub(super) const CHANGES: Statement = s(
    2,
    "SELECT revision, at_ms, what, CAST(CASE WHEN was = '' THEN 0 ELSE 1 END AS BIGINT) FROM season_change WHERE season = $1 \
     ORDER BY revision DESC LIMIT $2",
);
/// Only of the latest change: what an earlier one replaced may have been replaced again.
pub(super) const CHANGE_LINES: Statement = s(
    2,
    "SELECT c.was FROM season_change c JOIN season s ON s.id = c.season AND s.revision = c.revision \
     WHERE c.season = $1 AND c.revision = $2",
);
pub(super) const GIVEN: Statement = s(1, "SELECT letter, highest FROM ref_given WHERE season = $1");
pub(super) const GIVE: Statement = s(
    2,
    "INSERT INTO ref_given (season, letter, highest) \
     SELECT CAST($2 AS BIGINT), value->>0, CAST(value->>1 AS BIGINT) FROM json_each($1) WHERE true \
     ON CONFLICT (season, letter) DO UPDATE SET highest = CASE WHEN excluded.highest > ref_given.highest \
     THEN excluded.highest ELSE ref_given.highest END",
);

/// The highest number given to a message: the next ones follow it, given by the caller inside the same transaction.
pub(super) const MESSAGE_HIGHEST: Statement = s(0, "SELECT COALESCE(MAX(id), 0) FROM message");
pub(super) const MESSAGES_ADD: Statement = s(
    2,
    "INSERT INTO message (season, id, key, household, guardians, channel, wording, owes, at_once, due_ms, until_ms, \
     state, wanted, ready_ms, lease_ms, fence, claims, attempts, why) \
     SELECT CAST($2 AS BIGINT), CAST(value->>0 AS BIGINT), value->>1, value->>2, value->>3, value->>4, value->>5, \
     CAST(value->>6 AS BIGINT), CAST(value->>7 AS BIGINT), CAST(value->>8 AS BIGINT), CAST(value->>9 AS BIGINT), \
     'planned', 1, CAST(value->>8 AS BIGINT), 0, 0, 0, 0, '' FROM json_each($1) WHERE true \
     ON CONFLICT (season, key) WHERE wanted = 1 DO NOTHING",
);
pub(super) const MESSAGES_AFTER: Statement = s(1, "SELECT id FROM message WHERE id > $1");
/// What failed for good is no longer wanted once the same is planned again, as when somebody has another address.
pub(super) const GIVE_WAY: Statement = s(
    2,
    "UPDATE message SET wanted = 0 WHERE season = $2 AND wanted = 1 AND state IN ('refused', 'bounced') \
     AND key IN (SELECT value FROM json_each($1)) RETURNING id",
);
pub(super) const PARTS_ADD: Statement = s(
    1,
    "INSERT INTO message_part (message, child, event, notice, fingerprint, told_ms) \
     SELECT CAST(value->>0 AS BIGINT), value->>1, value->>2, value->>3, value->>4, 0 FROM json_each($1)",
);
pub(super) const WITHDRAW: Statement = s(
    1,
    "UPDATE message SET state = 'withdrawn', wanted = 0, why = w.why, lease_ms = 0, fence = fence + 1 \
     FROM (SELECT CAST(value->>0 AS BIGINT) AS id, value->>1 AS why FROM json_each($1)) AS w \
     WHERE message.id = w.id AND message.state IN ('planned', 'claimed', 'waiting_to_retry', 'uncertain') \
     RETURNING message.id, message.channel, message.household, message.guardians, message.state, message.why, message.key",
);
/// What waits for another try, or is claimed by a sender that may be gone, must not go before its new due time either.
pub(super) const RETIME: Statement = s(
    1,
    "UPDATE message SET due_ms = w.due, until_ms = w.until, at_once = w.at_once, \
     ready_ms = CASE WHEN state = 'planned' OR ready_ms < w.due THEN w.due ELSE ready_ms END \
     FROM (SELECT CAST(value->>0 AS BIGINT) AS id, CAST(value->>1 AS BIGINT) AS due, \
     CAST(value->>2 AS BIGINT) AS until, CAST(value->>3 AS BIGINT) AS at_once FROM json_each($1)) AS w \
     WHERE message.id = w.id AND message.state IN ('planned', 'claimed', 'waiting_to_retry')",
);

pub(super) const OPEN_OF_ALL: Statement = s(
    1,
    "SELECT id, key, household, guardians, channel, wording, owes, at_once, due_ms, until_ms, state, fence, claims, \
     attempts, why, spared FROM message WHERE season = $1 \
     AND state IN ('planned', 'claimed', 'attempting', 'waiting_to_retry', 'uncertain') ORDER BY id",
);
/// What is asked in this way of the state is looked up by household; by state every open message would be gone through.
pub(super) const OPEN_OF_HOUSEHOLDS: Statement = s(
    2,
    "SELECT id, key, household, guardians, channel, wording, owes, at_once, due_ms, until_ms, state, fence, claims, \
     attempts, why, spared FROM message WHERE season = $1 AND household IN (SELECT value FROM json_each($2)) \
     AND (state IN ('planned', 'claimed', 'attempting', 'waiting_to_retry', 'uncertain')) IS TRUE ORDER BY id",
);
/// One row a household, since a row a message costs more to hand over than to read.
pub(super) const OPEN_LINES: Statement = s(
    2,
    "SELECT household, string_agg(key || ' ' || due_ms || ' ' || until_ms || ' ' || at_once || ' ' || state, ',') \
     FROM message WHERE season = $1 AND household IN (SELECT value FROM json_each($2)) \
     AND (state IN ('planned', 'claimed', 'attempting', 'waiting_to_retry', 'uncertain')) IS TRUE GROUP BY household",
);
pub(super) const OPEN_HOUSEHOLDS: Statement = s(
    1,
    "SELECT DISTINCT household FROM message WHERE season = $1 \
     AND state IN ('planned', 'claimed', 'attempting', 'waiting_to_retry', 'uncertain')",
);
pub(super) const ANNOUNCED: Statement = s(
    1,
    "SELECT DISTINCT household FROM message WHERE season = $1 AND wording IN ('change', 'cancelled') \
     AND state IN ('planned', 'claimed', 'attempting', 'waiting_to_retry', 'uncertain')",
);
pub(super) const MESSAGES_IN: Statement = s(
    3,
    "SELECT id, key, household, guardians, channel, wording, owes, at_once, due_ms, until_ms, state, fence, claims, \
     attempts, why, spared FROM message WHERE season = $1 AND state IN (SELECT value FROM json_each($2)) \
     ORDER BY due_ms DESC, id DESC LIMIT $3",
);
pub(super) const MESSAGE: Statement = s(
    1,
    "SELECT id, key, household, guardians, channel, wording, owes, at_once, due_ms, until_ms, state, fence, claims, \
     attempts, why, spared FROM message WHERE id = $1",
);
pub(super) const MESSAGE_OF_KEY: Statement = s(
    2,
    "SELECT id, key, household, guardians, channel, wording, owes, at_once, due_ms, until_ms, state, fence, claims, \
     attempts, why, spared FROM message WHERE season = $1 AND key = $2 AND wanted = 1",
);
pub(super) const PARTS_OF_OPEN: Statement = s(
    1,
    "SELECT p.message, p.child, p.event, p.notice, p.fingerprint FROM message_part p \
     JOIN message m ON m.id = p.message WHERE m.season = $1 \
     AND m.state IN ('planned', 'claimed', 'attempting', 'waiting_to_retry', 'uncertain')",
);
pub(super) const PARTS_OF: Statement = s(
    1,
    "SELECT message, child, event, notice, fingerprint FROM message_part \
     WHERE message IN (SELECT CAST(value AS BIGINT) FROM json_each($1))",
);

/// What was in a claim that came to nothing twice may be what ends the program: it is left to [`CLAIM_ALONE`].
pub(super) const CLAIM: Statement = s(
    5,
    "UPDATE message SET state = 'claimed', fence = fence + 1, claims = claims + 1, lease_ms = $5 \
     WHERE state IN ('planned', 'waiting_to_retry') AND id IN ( \
       SELECT id FROM message WHERE season = $1 AND channel = $2 AND state IN ('planned', 'waiting_to_retry') \
       AND ready_ms <= $4 AND until_ms > $4 AND claims - attempts < 2 \
       AND EXISTS (SELECT 1 FROM course c WHERE c.season = $1 AND c.going = 1) \
       AND NOT EXISTS (SELECT 1 FROM hold) \
       ORDER BY until_ms, id LIMIT $3 /* skip locked */) \
     RETURNING id, key, household, guardians, channel, wording, owes, at_once, due_ms, until_ms, state, fence, claims, \
     attempts, why, spared",
);
/// When nothing else waits, one of those, by itself, so that no neighbour is set aside with it; the least suspicious first.
pub(super) const CLAIM_ALONE: Statement = s(
    5,
    "UPDATE message SET state = 'claimed', fence = fence + 1, claims = claims + 1, lease_ms = $5 \
     WHERE state IN ('planned', 'waiting_to_retry') AND id IN ( \
       SELECT id FROM message WHERE season = $1 AND channel = $2 AND state IN ('planned', 'waiting_to_retry') \
       AND ready_ms <= $4 AND until_ms > $4 AND claims - attempts >= 2 AND $3 > 0 \
       AND EXISTS (SELECT 1 FROM course c WHERE c.season = $1 AND c.going = 1) \
       AND NOT EXISTS (SELECT 1 FROM hold) \
       ORDER BY claims - attempts, until_ms, id LIMIT 1 /* skip locked */) \
     RETURNING id, key, household, guardians, channel, wording, owes, at_once, due_ms, until_ms, state, fence, claims, \
     attempts, why, spared",
);
pub(super) const RENEW: Statement = s(
    2,
    "UPDATE message SET lease_ms = $2 \
     FROM (SELECT CAST(value->>0 AS BIGINT) AS id, CAST(value->>1 AS BIGINT) AS fence FROM json_each($1)) AS w \
     WHERE message.id = w.id AND message.fence = w.fence AND message.state IN ('claimed', 'attempting')",
);
pub(super) const PACE: Statement = s(2, "SELECT free_us FROM pace WHERE season = $1 AND channel = $2");
pub(super) const PACE_SET: Statement = s(
    3,
    "INSERT INTO pace (season, channel, free_us) VALUES ($1, $2, $3) \
     ON CONFLICT (season, channel) DO UPDATE SET free_us = excluded.free_us",
);
pub(super) const ATTEMPT: Statement = s(
    4,
    "UPDATE message SET state = 'attempting', attempts = w.number, lease_ms = $4 \
     FROM (SELECT CAST(value->>0 AS BIGINT) AS id, CAST(value->>1 AS BIGINT) AS fence, \
     CAST(value->>2 AS BIGINT) AS number, value->>3 AS channel, value->>4 AS address FROM json_each($1)) AS w \
     WHERE message.id = w.id AND message.fence = w.fence AND message.state = 'claimed' \
     AND (SELECT revision FROM season WHERE id = $2) = $3 \
     AND EXISTS (SELECT 1 FROM course c WHERE c.season = $2 AND c.going = 1) AND NOT EXISTS (SELECT 1 FROM hold) \
     AND NOT EXISTS (SELECT 1 FROM address a WHERE a.season = $2 AND a.channel = w.channel \
       AND a.address = w.address AND (a.stopped = 1 OR a.bad = 1)) \
     RETURNING message.id",
);
pub(super) const ATTEMPTS_ADD: Statement = s(
    2,
    "INSERT INTO attempt (message, number, at_ms, address, reference, outcome, outcome_ms, why, gateway, gateway_id) \
     SELECT CAST(value->>0 AS BIGINT), CAST(value->>1 AS BIGINT), CAST($2 AS BIGINT), value->>2, value->>3, '', 0, '', '', '' \
     FROM json_each($1)",
);
pub(super) const TELL: Statement = s(
    2,
    "INSERT INTO message_part (message, child, event, notice, fingerprint, told_ms) \
     SELECT CAST(value->>0 AS BIGINT), value->>1, value->>2, value->>3, value->>4, CAST($2 AS BIGINT) \
     FROM json_each($1) WHERE true \
     ON CONFLICT (message, child, event, notice) \
     DO UPDATE SET fingerprint = excluded.fingerprint, told_ms = excluded.told_ms",
);
pub(super) const FACTS_ADD: Statement = s(
    2,
    "INSERT INTO facts (season, fingerprint, form) SELECT CAST($2 AS BIGINT), value->>0, value->>1 FROM json_each($1) WHERE true \
     ON CONFLICT (season, fingerprint) DO NOTHING",
);
pub(super) const SETTLE: Statement = s(
    1,
    "UPDATE message SET state = w.state, ready_ms = w.ready, lease_ms = 0, why = w.why, spared = message.spared + w.spared \
     FROM (SELECT CAST(value->>0 AS BIGINT) AS id, CAST(value->>1 AS BIGINT) AS fence, value->>2 AS state, \
     CAST(value->>3 AS BIGINT) AS ready, value->>4 AS why, CAST(value->>5 AS BIGINT) AS spared FROM json_each($1)) AS w \
     WHERE message.id = w.id AND message.fence = w.fence AND message.state IN ('attempting', 'uncertain') \
     AND (message.state = 'attempting' OR w.state = 'accepted') \
     RETURNING message.id, message.channel, message.household, message.guardians, message.state, message.why, message.key",
);
pub(super) const ATTEMPT_END: Statement = s(
    2,
    "UPDATE attempt SET outcome = w.outcome, outcome_ms = $2, why = w.why, gateway = w.gateway, \
     gateway_id = w.gateway_id \
     FROM (SELECT CAST(value->>0 AS BIGINT) AS message, CAST(value->>1 AS BIGINT) AS number, value->>2 AS outcome, \
     value->>3 AS why, value->>4 AS gateway, value->>5 AS gateway_id FROM json_each($1)) AS w \
     WHERE attempt.message = w.message AND attempt.number = w.number",
);
/// A postponed claim says nothing against the message, so its claim is not counted.
pub(super) const PUT_BACK: Statement = s(
    1,
    "UPDATE message SET state = w.state, wanted = CASE WHEN w.state = 'withdrawn' THEN 0 ELSE 1 END, \
     ready_ms = w.ready, lease_ms = 0, why = w.why, \
     claims = CASE WHEN w.state = 'planned' THEN claims - 1 ELSE claims END \
     FROM (SELECT CAST(value->>0 AS BIGINT) AS id, CAST(value->>1 AS BIGINT) AS fence, value->>2 AS state, \
     CAST(value->>3 AS BIGINT) AS ready, value->>4 AS why FROM json_each($1)) AS w \
     WHERE message.id = w.id AND message.fence = w.fence AND message.state = 'claimed' \
     RETURNING message.id, message.channel, message.household, message.guardians, message.state, message.why, message.key",
);

pub(super) const TEND_QUARANTINE: Statement = s(
    3,
    "UPDATE message SET state = 'quarantined', lease_ms = 0, fence = fence + 1, why = 'broke the sender' \
     WHERE season = $1 AND state = 'claimed' AND lease_ms <= $2 AND claims - attempts >= $3 \
     RETURNING id, channel, household, guardians, state, why, key",
);
pub(super) const TEND_RELEASE: Statement = s(
    2,
    "UPDATE message SET state = 'planned', lease_ms = 0, fence = fence + 1 \
     WHERE season = $1 AND state = 'claimed' AND lease_ms <= $2 RETURNING id",
);
pub(super) const TEND_EXPIRE: Statement = s(
    2,
    "UPDATE message SET state = 'expired', lease_ms = 0, why = 'its moment passed' \
     WHERE season = $1 AND channel IN ('mail', 'text') AND state IN ('planned', 'waiting_to_retry') \
     AND ready_ms <= $2 AND until_ms <= $2 \
     RETURNING id, channel, household, guardians, state, why, key",
);
pub(super) const TEND_DOUBT: Statement = s(
    2,
    "UPDATE message SET state = 'uncertain', lease_ms = 0, why = 'the program stopped during the attempt' \
     WHERE season = $1 AND state = 'attempting' AND lease_ms <= $2 \
     RETURNING id, channel, household, guardians, state, why, key",
);
pub(super) const TEND_DOUBT_ATTEMPTS: Statement = s(
    2,
    "UPDATE attempt SET outcome = 'uncertain', outcome_ms = $2 WHERE outcome = '' \
     AND message IN (SELECT CAST(value AS BIGINT) FROM json_each($1))",
);
/// Only channels whose other side knows a second copy by its reference are repeated by rule, once.
pub(super) const TEND_TRY_AGAIN: Statement = s(
    3,
    "UPDATE message SET state = 'waiting_to_retry', ready_ms = $2, why = 'once more under the same reference' \
     WHERE season = $1 AND state = 'uncertain' AND until_ms > $2 \
     AND (SELECT MAX(a.at_ms) FROM attempt a WHERE a.message = message.id) + \
       (SELECT CAST(value->>1 AS BIGINT) FROM json_each($3) WHERE value->>0 = message.channel) <= $2 \
     AND (SELECT COUNT(*) FROM attempt a WHERE a.message = message.id AND a.outcome = 'uncertain') < 2 \
     RETURNING id",
);
pub(super) const DECIDE: Statement = s(
    4,
    "UPDATE message SET state = $3, ready_ms = $4, why = 'decided by a person' \
     WHERE season = $1 AND id IN (SELECT CAST(value AS BIGINT) FROM json_each($2)) AND state = 'uncertain' \
     RETURNING id, channel, household, guardians, state, why, key",
);
/// What was tried before counts against nothing any more.
pub(super) const TAKE_UP: Statement = s(
    3,
    "UPDATE message SET state = 'waiting_to_retry', ready_ms = $3, spared = attempts, why = 'once more, by a person' \
     WHERE season = $1 AND id IN (SELECT CAST(value AS BIGINT) FROM json_each($2)) AND until_ms > $3 AND wanted = 1 \
     AND state IN ('refused', 'bounced', 'quarantined') \
     RETURNING id, channel, household, guardians, state, why, key",
);
pub(super) const ADDRESSES_GOOD: Statement = s(
    2,
    "UPDATE address SET bad = 0 WHERE season = $1 AND bad = 1 AND EXISTS (SELECT 1 FROM attempt a \
     JOIN message m ON m.id = a.message WHERE m.id IN (SELECT CAST(value AS BIGINT) FROM json_each($2)) \
     AND m.channel = address.channel AND a.address = address.address)",
);
pub(super) const LET_BE: Statement = s(
    2,
    "UPDATE message SET seen = 1 WHERE season = $1 AND id IN (SELECT CAST(value AS BIGINT) FROM json_each($2)) \
     AND seen = 0 AND state IN ('refused', 'bounced', 'quarantined') RETURNING id",
);
pub(super) const MESSAGES_TO_SEE: Statement = s(
    3,
    "SELECT id, key, household, guardians, channel, wording, owes, at_once, due_ms, until_ms, state, fence, claims, \
     attempts, why, spared FROM message WHERE season = $1 AND state IN (SELECT value FROM json_each($2)) AND seen = 0 \
     ORDER BY due_ms DESC, id DESC LIMIT $3",
);
pub(super) const BOUNCE: Statement = s(
    2,
    "UPDATE message SET state = 'bounced', why = 'came back' \
     WHERE season = $1 AND key = $2 AND wanted = 1 AND state IN ('accepted', 'delivered') \
     RETURNING id, channel, household, guardians, state, why, key, attempts, \
     (SELECT a.address FROM attempt a WHERE a.message = message.id AND a.number = message.attempts)",
);
/// What is planned counts only while the season is going: nothing can be claimed before, and what expires then is tended
/// at the daemon's ordinary pace.
pub(super) const NEXT_DUE: Statement = s(
    1,
    "SELECT COALESCE(MIN(at), -1) FROM ( \
       SELECT MIN(ready_ms) AS at FROM message WHERE season = $1 AND state = 'planned' AND channel = 'mail' \
       AND EXISTS (SELECT 1 FROM course WHERE season = $1 AND going = 1) \
       UNION ALL SELECT MIN(ready_ms) FROM message WHERE season = $1 AND state = 'planned' AND channel = 'text' \
       AND EXISTS (SELECT 1 FROM course WHERE season = $1 AND going = 1) \
       UNION ALL SELECT MIN(ready_ms) FROM message WHERE season = $1 AND state = 'waiting_to_retry' \
       AND EXISTS (SELECT 1 FROM course WHERE season = $1 AND going = 1) \
       UNION ALL SELECT MIN(lease_ms) FROM message WHERE season = $1 AND state IN ('claimed', 'attempting') \
       UNION ALL SELECT MIN(ready_ms) FROM reply WHERE season = $1 AND state IN ('planned', 'waiting_to_retry') \
       UNION ALL SELECT MIN(lease_ms) FROM reply WHERE season = $1 AND state = 'attempting') AS moments",
);
/// The same on one channel, messages and replies apart, as far as they could be claimed.
pub(super) const NEXT_ON: Statement = s(
    3,
    "SELECT COALESCE((SELECT MIN(ready_ms) FROM message WHERE season = $1 AND channel = $2 AND state = 'planned' \
         AND until_ms > $3 AND EXISTS (SELECT 1 FROM course WHERE season = $1 AND going = 1)), -1), \
       COALESCE((SELECT MIN(ready_ms) FROM message WHERE season = $1 AND channel = $2 AND state = 'waiting_to_retry' \
         AND until_ms > $3 AND EXISTS (SELECT 1 FROM course WHERE season = $1 AND going = 1)), -1), \
       COALESCE((SELECT MIN(ready_ms) FROM reply WHERE season = $1 AND channel = $2 \
         AND state IN ('planned', 'waiting_to_retry') AND until_ms > $3), -1), \
       (SELECT CAST(COUNT(*) AS BIGINT) FROM hold)",
);
pub(super) const COUNTS: Statement = s(
    1,
    "SELECT state, channel, CAST(COUNT(*) AS BIGINT) FROM message WHERE season = $1 GROUP BY state, channel",
);

pub(super) const TELLINGS: Statement = s(
    1,
    "SELECT m.guardians, m.channel, m.state, p.child, p.event, p.notice, p.fingerprint, p.told_ms, \
     CASE WHEN m.state IN ('refused', 'bounced') THEN COALESCE((SELECT a.address FROM attempt a \
       WHERE a.message = m.id ORDER BY a.number DESC LIMIT 1), '') ELSE '' END \
     FROM message m JOIN message_part p ON p.message = m.id \
     WHERE m.season = $1 AND (p.told_ms > 0 OR m.state = 'quarantined') ORDER BY p.told_ms, m.id",
);
pub(super) const FACTS: Statement = s(2, "SELECT form FROM facts WHERE season = $1 AND fingerprint = $2");

/// Messages that asked an address for an answer, newest first.
pub(super) const ASKED_AT: Statement = s(
    4,
    "SELECT id, key, household, guardians, channel, wording, owes, at_once, due_ms, until_ms, state, fence, claims, \
     attempts, why, spared FROM message WHERE season = $1 AND channel = $2 AND owes = 1 \
     AND state IN ('attempting', 'accepted', 'delivered', 'uncertain') \
     AND id IN (SELECT a.message FROM attempt a WHERE a.address = $3) ORDER BY id DESC LIMIT $4",
);
pub(super) const ATTEMPTS_OF: Statement = s(
    1,
    "SELECT message, number, at_ms, outcome, outcome_ms, why, gateway FROM attempt \
     WHERE message IN (SELECT CAST(value AS BIGINT) FROM json_each($1)) ORDER BY message, number",
);
pub(super) const MESSAGES_OF: Statement = s(
    3,
    "SELECT id, key, household, guardians, channel, wording, owes, at_once, due_ms, until_ms, state, fence, claims, \
     attempts, why, spared FROM message WHERE season = $1 AND household = $2 ORDER BY due_ms DESC, id DESC LIMIT $3",
);
/// Messages by when they were last tried, newest first.
pub(super) const MESSAGES_LATEST: Statement = s(
    3,
    "SELECT m.id, m.key, m.household, m.guardians, m.channel, m.wording, m.owes, m.at_once, m.due_ms, m.until_ms, \
     m.state, m.fence, m.claims, m.attempts, m.why, m.spared FROM message m \
     JOIN attempt a ON a.message = m.id AND a.number = m.attempts WHERE m.season = $1 \
     ORDER BY a.at_ms DESC, m.id DESC LIMIT $3 OFFSET $2",
);
pub(super) const RECEIPT_ADD: Statement = s(
    6,
    "INSERT INTO receipt (season, gateway, external, reference, news, at_ms, joined) \
     VALUES ($1, $2, $3, $4, $5, $6, 0) ON CONFLICT (season, gateway, external) DO NOTHING RETURNING news",
);
pub(super) const RECEIPT_JOIN: Statement =
    s(3, "UPDATE receipt SET joined = 1 WHERE season = $1 AND gateway = $2 AND external = $3");
/// News that came before its message's own identifier was known.
pub(super) const RECEIPTS_PARKED: Statement = s(
    2,
    "SELECT r.gateway, r.external, r.reference, r.news FROM receipt r WHERE r.season = $1 AND r.joined = 0 \
     AND r.reference IN (SELECT value->>0 FROM json_each($2)) ORDER BY r.at_ms",
);
/// The latest attempt known by our own reference, or by what the gateway calls it.
pub(super) const RECEIPT_FIND: Statement = s(
    3,
    "SELECT m.id, a.number, m.channel, a.address FROM ( \
       SELECT id FROM message WHERE season = $1 AND key = $3 AND wanted = 1 \
       UNION SELECT message FROM attempt WHERE gateway_id = $3 AND gateway = $2) AS found \
     CROSS JOIN message m CROSS JOIN attempt a \
     WHERE m.id = found.id AND m.season = $1 AND a.message = m.id AND a.number = m.attempts \
     AND (m.key = $3 OR (a.gateway_id = $3 AND a.gateway = $2)) ORDER BY m.id DESC LIMIT 1",
);
pub(super) const DELIVER: Statement = s(
    2,
    "UPDATE message SET state = 'delivered', lease_ms = 0, why = '' \
     WHERE season = $1 AND id = $2 AND state IN ('attempting', 'accepted', 'uncertain') \
     RETURNING id, channel, household, guardians, state, why, key",
);
pub(super) const RETURN: Statement = s(
    2,
    "UPDATE message SET state = 'bounced', lease_ms = 0, why = 'came back' \
     WHERE season = $1 AND id = $2 AND state IN ('attempting', 'accepted', 'uncertain') \
     RETURNING id, channel, household, guardians, state, why, key",
);
pub(super) const INCOMING_ADD: Statement = s(
    2,
    "INSERT INTO incoming (season, road, external, channel, address, at_ms, words, became, guardians, items, waits) \
     SELECT CAST($2 AS BIGINT), value->>0, value->>1, value->>2, value->>3, CAST(value->>4 AS BIGINT), value->>5, value->>6, \
     value->>7, value->>8, CAST(value->>9 AS BIGINT) FROM json_each($1) WHERE true \
     ON CONFLICT (season, road, external) DO NOTHING RETURNING id",
);
pub(super) const INCOMING_WAITING: Statement = s(
    2,
    "SELECT id, road, external, channel, address, at_ms, words, became, guardians, items, waits FROM incoming \
     WHERE season = $1 AND waits = 1 ORDER BY id LIMIT $2",
);
/// What came from one person; the pattern is her ref between spaces and percent signs.
pub(super) const INCOMING_OF: Statement = s(
    3,
    "SELECT id, road, external, channel, address, at_ms, words, became, guardians, items, waits FROM incoming \
     WHERE season = $1 AND guardians LIKE $2 ORDER BY id DESC LIMIT $3",
);
pub(super) const INCOMING_ONE: Statement = s(
    2,
    "SELECT id, road, external, channel, address, at_ms, words, became, guardians, items, waits FROM incoming \
     WHERE season = $1 AND id = $2",
);
pub(super) const INCOMING_DONE: Statement =
    s(2, "UPDATE incoming SET waits = 0 WHERE season = $1 AND id = $2 AND waits = 1 RETURNING id");
pub(super) const OFFER_PUT: Statement = s(
    6,
    "INSERT INTO offer (season, channel, address, at_ms, kind, choices) VALUES ($1, $2, $3, $4, $5, $6) \
     ON CONFLICT (season, channel, address) DO UPDATE SET at_ms = excluded.at_ms, kind = excluded.kind, \
     choices = excluded.choices",
);
pub(super) const OFFER_DROP: Statement =
    s(3, "DELETE FROM offer WHERE season = $1 AND channel = $2 AND address = $3");
pub(super) const OFFER: Statement =
    s(3, "SELECT at_ms, kind, choices FROM offer WHERE season = $1 AND channel = $2 AND address = $3");

pub(super) const DIGESTS: Statement =
    s(1, "SELECT holder, kind, of_ms, form FROM digest WHERE season = $1 ORDER BY holder, kind");
/// Only a later moment than the last is taken, so that two processes cannot both take one, unless the last is still to
/// come and was taken by a wrong clock; what was seen last stays where nothing is said.
pub(super) const DIGEST_TAKE: Statement = s(
    6,
    "INSERT INTO digest (season, holder, kind, of_ms, form) VALUES ($1, $2, $3, $4, $5) \
     ON CONFLICT (season, holder, kind) DO UPDATE SET of_ms = excluded.of_ms, \
       form = CASE WHEN excluded.form = '' THEN digest.form ELSE excluded.form END \
     WHERE digest.of_ms < excluded.of_ms OR digest.of_ms > $6 RETURNING holder",
);

/// Nothing is added where the place is taken or the same act was told before.
pub(super) const DEED_ADD: Statement = s(
    9,
    "INSERT INTO deed (season, event, seq, external, at_ms, act, number, other, minutes) \
     VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9) ON CONFLICT DO NOTHING RETURNING seq",
);
pub(super) const DEEDS: Statement = s(
    2,
    "SELECT seq, external, at_ms, act, number, other, minutes FROM deed WHERE season = $1 AND event = $2 ORDER BY seq",
);

pub(super) const COURSE: Statement = s(1, "SELECT going, since_ms, by_whom FROM course WHERE season = $1");
pub(super) const COURSE_SET: Statement = s(
    4,
    "INSERT INTO course (season, going, since_ms, by_whom) VALUES ($1, $2, $3, $4) \
     ON CONFLICT (season) DO UPDATE SET going = excluded.going, since_ms = excluded.since_ms, by_whom = excluded.by_whom",
);
pub(super) const TEST_ADD: Statement = s(
    5,
    "INSERT INTO test_message (season, external, channel, wording, at_ms) VALUES ($1, $2, $3, $4, $5) \
     ON CONFLICT (season, external, channel) DO NOTHING RETURNING at_ms",
);

pub(super) const LEDGER_TAIL: Statement =
    s(1, "SELECT seq, hash FROM ledger WHERE season = $1 ORDER BY seq DESC LIMIT 1");
pub(super) const LEDGER_ADD: Statement = s(
    2,
    "INSERT INTO ledger (season, seq, at_ms, kind, about, digest, hash) \
     SELECT CAST($2 AS BIGINT), CAST(value->>0 AS BIGINT), CAST(value->>1 AS BIGINT), value->>2, value->>3, value->>4, value->>5 \
     FROM json_each($1)",
);
pub(super) const WORDS_ADD: Statement = s(
    2,
    "INSERT INTO ledger_words (season, seq, person, words) \
     SELECT CAST($2 AS BIGINT), CAST(value->>0 AS BIGINT), value->>1, value->>2 FROM json_each($1)",
);
pub(super) const SALTS: Statement = s(
    2,
    "SELECT person, salt FROM person_salt WHERE season = $1 AND person IN (SELECT value FROM json_each($2))",
);
pub(super) const SALT_ADD: Statement =
    s(3, "INSERT INTO person_salt (season, person, salt) VALUES ($1, $2, $3)");
pub(super) const LEDGER: Statement = s(
    3,
    "SELECT l.seq, l.at_ms, l.kind, l.about, l.digest, l.hash, COALESCE(w.words, ''), COALESCE(s.salt, '') \
     FROM ledger l LEFT JOIN ledger_words w ON w.season = l.season AND w.seq = l.seq \
     LEFT JOIN person_salt s ON s.season = w.season AND s.person = w.person \
     WHERE l.season = $1 AND l.seq > $2 ORDER BY l.seq LIMIT $3",
);
