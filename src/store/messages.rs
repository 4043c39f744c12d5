//! Every step of a message's life, each inside one transaction with its ledger entry.

use super::db::{DbRow, Statement, Tx, Value};
use super::ledger::Note;
use super::pace::Pace;
use super::people::add_links;
use super::{SqlStore, channel, fingerprint, incoming, instant, ledger, ms, set, sql, state};
use crate::domain::graph::State;
use crate::domain::season::Channel;
use crate::service::ports::{
    Claimed, Decided, Delta, NewAttempt, NewLink, NewReceipt, News, NextOn, OpenLine, Settled, StoreFault,
    StoredAttempt, StoredMessage, StoredPart, TendRules, Tended, Unsent,
};
use jiff::Timestamp;
use std::collections::{HashMap, HashSet};

/// Rows in one statement, so that one JSON text stays small.
const ROWS_PER_STATEMENT: usize = 2_000;

fn message(row: &DbRow) -> Result<StoredMessage, StoreFault> {
    const TABLE: &str = "message";
    let id = row.int(0)?;
    let key = id.to_string();
    Ok(StoredMessage {
        id,
        key: row.text(1)?,
        household: row.text(2)?,
        guardians: row.text(3)?.split(' ').map(str::to_owned).collect(),
        channel: channel(TABLE, &key, &row.text(4)?)?,
        wording: row.text(5)?,
        owes: row.bool(6)?,
        at_once: row.bool(7)?,
        due: instant(TABLE, &key, row.int(8)?)?,
        until: instant(TABLE, &key, row.int(9)?)?,
        state: state(TABLE, &key, &row.text(10)?)?,
        fence: row.int(11)?,
        claims: row.int(12)?,
        attempts: row.int(13)?,
        why: row.text(14)?,
        spared: row.int(15)?,
        parts: Vec::new(),
    })
}

/// Gives messages their parts.
fn with_parts(mut messages: Vec<StoredMessage>, rows: Vec<DbRow>) -> Result<Vec<StoredMessage>, StoreFault> {
    let mut parts: HashMap<i64, Vec<StoredPart>> = HashMap::new();
    for row in rows {
        let id = row.int(0)?;
        parts.entry(id).or_default().push(StoredPart {
            child: row.text(1)?,
            event: row.text(2)?,
            notice: row.text(3)?,
            fingerprint: fingerprint("message_part", &id.to_string(), &row.text(4)?)?,
        });
    }
    for message in &mut messages {
        message.parts = parts.remove(&message.id).unwrap_or_default();
        message.parts.sort();
    }
    Ok(messages)
}

fn ids(messages: &[StoredMessage]) -> Result<Value, StoreFault> {
    set(&messages.iter().map(|m| m.id).collect::<Vec<_>>())
}

pub(super) async fn open(
    store: &SqlStore,
    season: i64,
    households: Option<&[&str]>,
) -> Result<Vec<StoredMessage>, StoreFault> {
    match households {
        None => {
            let rows = store.db.fetch(sql::OPEN_OF_ALL, vec![season.into()]).await?;
            let messages = rows.iter().map(message).collect::<Result<_, _>>()?;
            with_parts(messages, store.db.fetch(sql::PARTS_OF_OPEN, vec![season.into()]).await?)
        }
        Some(households) => {
            let values = vec![season.into(), set(&households)?];
            let rows = store.db.fetch(sql::OPEN_OF_HOUSEHOLDS, values).await?;
            let messages: Vec<_> = rows.iter().map(message).collect::<Result<_, _>>()?;
            let parts = store.db.fetch(sql::PARTS_OF, vec![ids(&messages)?]).await?;
            with_parts(messages, parts)
        }
    }
}

pub(super) async fn open_lines(
    store: &SqlStore,
    season: i64,
    households: &[&str],
) -> Result<HashMap<String, Vec<OpenLine>>, StoreFault> {
    let rows = store.db.fetch(sql::OPEN_LINES, vec![season.into(), set(&households)?]).await?;
    rows.iter()
        .map(|row| {
            let (household, lines) = (row.text(0)?, row.text(1)?);
            let lines: Option<Vec<OpenLine>> = lines.split(',').map(open_line).collect();
            let lines = lines.ok_or_else(|| StoreFault::BrokenRow {
                table: "message",
                row: household.clone(),
                reason: "a key or a time of its messages is not what it should be".to_owned(),
            })?;
            Ok((household, lines))
        })
        .collect()
}

/// A message in short: key, due, until, at once, state.
fn open_line(text: &str) -> Option<OpenLine> {
    let mut words = text.split(' ');
    let key = u128::from_str_radix(words.next()?, 16).ok()?;
    let (due, until) = (words.next()?.parse().ok()?, words.next()?.parse().ok()?);
    let at_once = words.next()? == "1";
    let state = State::from_word(words.next()?)?;
    let movable = matches!(state, State::Planned | State::Claimed | State::WaitingToRetry);
    Some(OpenLine { key, due, until, at_once, movable })
}

/// Households by a statement that lists them.
pub(super) async fn households(
    store: &SqlStore,
    listed: Statement,
    season: i64,
) -> Result<Vec<String>, StoreFault> {
    let rows = store.db.fetch(listed, vec![season.into()]).await?;
    rows.iter().map(|row| row.text(0)).collect()
}

pub(super) async fn of_key(
    store: &SqlStore,
    season: i64,
    key: &str,
) -> Result<Option<StoredMessage>, StoreFault> {
    first(store, &store.db.fetch(sql::MESSAGE_OF_KEY, vec![season.into(), key.into()]).await?).await
}

pub(super) async fn one(store: &SqlStore, id: i64) -> Result<Option<StoredMessage>, StoreFault> {
    first(store, &store.db.fetch(sql::MESSAGE, vec![id.into()]).await?).await
}

async fn first(store: &SqlStore, rows: &[DbRow]) -> Result<Option<StoredMessage>, StoreFault> {
    let messages: Vec<_> = rows.iter().map(message).collect::<Result<_, _>>()?;
    let parts = store.db.fetch(sql::PARTS_OF, vec![ids(&messages)?]).await?;
    Ok(with_parts(messages, parts)?.into_iter().next())
}

pub(super) async fn in_states(
    store: &SqlStore,
    season: i64,
    states: &[State],
    most: u32,
) -> Result<Vec<StoredMessage>, StoreFault> {
    let words: Vec<&str> = states.iter().map(|s| s.word()).collect();
    let values = vec![season.into(), set(&words)?, i64::from(most).into()];
    let rows = store.db.fetch(sql::MESSAGES_IN, values).await?;
    let messages: Vec<_> = rows.iter().map(message).collect::<Result<_, _>>()?;
    let parts = store.db.fetch(sql::PARTS_OF, vec![ids(&messages)?]).await?;
    with_parts(messages, parts)
}

/// Refs of a message's parts as the ledger writes them: child/event/notice, commas between.
fn items(parts: &[StoredPart]) -> String {
    let words: Vec<String> = parts.iter().map(|p| format!("{}/{}/{}", p.child, p.event, p.notice)).collect();
    words.join(",")
}

/// Ledger notes for messages that reached a state: rows of id, channel, household, guardians, state, why, key.
pub(super) async fn ended(tx: &mut Tx, rows: &[DbRow], at: Timestamp) -> Result<Vec<Note>, StoreFault> {
    let mut parts: HashMap<i64, Vec<StoredPart>> = HashMap::new();
    // Databases give rows back in orders of their own; the chain must not depend on it.
    let mut rows: Vec<(String, &DbRow)> =
        rows.iter().map(|r| Ok((r.text(6)?, r))).collect::<Result<_, StoreFault>>()?;
    rows.sort_by(|a, b| a.0.cmp(&b.0));
    let rows: Vec<&DbRow> = rows.into_iter().map(|(_, row)| row).collect();
    let list = rows.iter().map(|r| r.int(0)).collect::<Result<Vec<_>, _>>()?;
    for row in tx.fetch(sql::PARTS_OF, vec![set(&list)?]).await? {
        parts.entry(row.int(0)?).or_default().push(StoredPart {
            child: row.text(1)?,
            event: row.text(2)?,
            notice: row.text(3)?,
            fingerprint: None,
        });
    }
    rows.iter()
        .map(|row| {
            let id = row.int(0)?;
            let word = row.text(4)?;
            let mut mine = parts.remove(&id).unwrap_or_default();
            mine.sort();
            let about = format!(
                "channel={} guardians={} household={} items={} message={} why={}",
                row.text(1)?,
                row.text(3)?.replace(' ', ","),
                row.text(2)?,
                items(&mine),
                row.text(6)?,
                row.text(5)?.replace(' ', "_")
            );
            Ok(Note::plain(at, State::from_word(&word).map_or("other", State::word), about))
        })
        .collect()
}

pub(super) async fn reconcile(
    store: &SqlStore,
    tx: &mut Tx,
    season: i64,
    delta: &Delta,
    at: Timestamp,
) -> Result<(), StoreFault> {
    withdraw(store, tx, season, &delta.withdraw, at).await?;
    for chunk in delta.retime.chunks(ROWS_PER_STATEMENT) {
        let rows: Vec<_> =
            chunk.iter().map(|(id, due, until, once)| (id, ms(*due), ms(*until), i64::from(*once))).collect();
        tx.run(sql::RETIME, vec![set(&rows)?]).await?;
    }
    // Messages that leave together lie together, so that a batch touches few pages.
    let mut new: Vec<&StoredMessage> = delta.add.iter().collect();
    new.sort_by_key(|message| message.due);
    for chunk in new.chunks(ROWS_PER_STATEMENT) {
        add(tx, season, chunk).await?;
    }
    // What a journal knows to have left is not sent again because it is planned again; hardly ever is there any.
    if !delta.add.is_empty() && !tx.fetch(sql::LOST_ANY, vec![]).await?.is_empty() {
        tx.run(sql::LOST_DOUBT, vec![]).await?;
    }
    Ok(())
}

async fn withdraw(
    store: &SqlStore,
    tx: &mut Tx,
    season: i64,
    list: &[(i64, String)],
    at: Timestamp,
) -> Result<(), StoreFault> {
    for chunk in list.chunks(ROWS_PER_STATEMENT) {
        let rows: Vec<_> = chunk.iter().map(|(id, why)| (id, why)).collect();
        let rows = tx.fetch(sql::WITHDRAW, vec![set(&rows)?]).await?;
        let notes = ended(tx, &rows, at).await?;
        ledger::append(store, tx, season, notes).await?;
    }
    Ok(())
}

async fn add(tx: &mut Tx, season: i64, messages: &[&StoredMessage]) -> Result<(), StoreFault> {
    let highest = tx.fetch(sql::MESSAGE_HIGHEST, vec![]).await?.first().map_or(Ok(0), |row| row.int(0))?;
    let numbered = || (highest + 1..).zip(messages);
    let rows: Vec<_> = numbered()
        .map(|(id, m)| {
            (
                id,
                &m.key,
                &m.household,
                m.guardians.join(" "),
                m.channel.word(),
                &m.wording,
                i64::from(m.owes),
                i64::from(m.at_once),
                ms(m.due),
                ms(m.until),
            )
        })
        .collect();
    let added = tx.run(sql::MESSAGES_ADD, vec![set(&rows)?, season.into()]).await?;
    // One that is wanted already stays as it is, and so do its parts, unless it has failed for good.
    let there: Option<HashSet<i64>> = if added as usize == messages.len() {
        None
    } else {
        let mut there = after(tx, highest).await?;
        let missing: Vec<_> = rows.iter().filter(|row| !there.contains(&row.0)).collect();
        let keys: Vec<&String> = missing.iter().map(|row| row.1).collect();
        if !tx.fetch(sql::GIVE_WAY, vec![set(&keys)?, season.into()]).await?.is_empty() {
            tx.run(sql::MESSAGES_ADD, vec![set(&missing)?, season.into()]).await?;
            there = after(tx, highest).await?;
        }
        Some(there)
    };
    let parts: Vec<_> = numbered()
        .filter(|(id, _)| there.as_ref().is_none_or(|there| there.contains(id)))
        .flat_map(|(id, m)| {
            m.parts.iter().map(move |p| {
                (id, &p.child, &p.event, &p.notice, p.fingerprint.map_or(String::new(), |f| f.to_string()))
            })
        })
        .collect();
    tx.run(sql::PARTS_ADD, vec![set(&parts)?]).await?;
    Ok(())
}

/// The messages numbered above one.
async fn after(tx: &mut Tx, id: i64) -> Result<HashSet<i64>, StoreFault> {
    let rows = tx.fetch(sql::MESSAGES_AFTER, vec![id.into()]).await?;
    rows.iter().map(|row| row.int(0)).collect()
}

pub(super) async fn claim(
    store: &SqlStore,
    season: i64,
    channel: Channel,
    (most, per_second): (u32, f64),
    now: Timestamp,
    lease_until: Timestamp,
) -> Result<Claimed, StoreFault> {
    let mut tx = store.db.begin().await?;
    let pace = Pace::read(&mut tx, season, channel, per_second, now).await?;
    let most = most.min(pace.room());
    if most == 0 {
        return Ok(Claimed { messages: Vec::new(), again_at: pace.whole_again() });
    }
    let values = vec![
        season.into(),
        channel.word().into(),
        i64::from(most).into(),
        ms(now).into(),
        ms(lease_until).into(),
    ];
    let mut rows = tx.fetch(sql::CLAIM, values.clone()).await?;
    if rows.is_empty() {
        rows = tx.fetch(sql::CLAIM_ALONE, values).await?;
    }
    if rows.is_empty() {
        return Ok(Claimed::default());
    }
    let messages: Vec<_> = rows.iter().map(message).collect::<Result<_, _>>()?;
    let parts = tx.fetch(sql::PARTS_OF, vec![ids(&messages)?]).await?;
    pace.use_up(&mut tx, messages.len()).await?;
    store.commit(tx, "claim").await?;
    let mut messages = with_parts(messages, parts)?;
    messages.sort_by_key(|m| (m.until, m.id));
    Ok(Claimed { messages, again_at: None })
}

pub(super) async fn renew(
    store: &SqlStore,
    held: &[(i64, i64)],
    lease_until: Timestamp,
) -> Result<(), StoreFault> {
    let mut tx = store.db.begin().await?;
    tx.run(sql::RENEW, vec![set(&held)?, ms(lease_until).into()]).await?;
    store.commit(tx, "renew").await
}

pub(super) async fn attempt(
    store: &SqlStore,
    season: i64,
    revision: i64,
    attempts: &[&NewAttempt],
    now: Timestamp,
    lease_until: Timestamp,
) -> Result<Vec<i64>, StoreFault> {
    let mut tx = store.db.begin().await?;
    let rows: Vec<_> =
        attempts.iter().map(|a| (&a.message, &a.fence, &a.number, a.channel.word(), &a.address)).collect();
    let values = vec![set(&rows)?, season.into(), revision.into(), ms(lease_until).into()];
    let allowed =
        tx.fetch(sql::ATTEMPT, values).await?.iter().map(|row| row.int(0)).collect::<Result<Vec<_>, _>>()?;
    let among: HashSet<i64> = allowed.iter().copied().collect();
    let going: Vec<&NewAttempt> = attempts.iter().copied().filter(|a| among.contains(&a.message)).collect();
    if going.is_empty() {
        return Ok(allowed);
    }
    let rows: Vec<_> = going.iter().map(|a| (&a.message, &a.number, &a.address, &a.reference)).collect();
    tx.run(sql::ATTEMPTS_ADD, vec![set(&rows)?, ms(now).into()]).await?;
    let told: Vec<_> = going
        .iter()
        .flat_map(|a| a.told.iter().map(move |(c, e, n, f)| (&a.message, c, e, n, f.to_string())))
        .collect();
    tx.run(sql::TELL, vec![set(&told)?, ms(now).into()]).await?;
    let forms: HashMap<String, &String> =
        going.iter().flat_map(|a| a.forms.iter()).map(|(f, form)| (f.to_string(), form)).collect();
    let forms: Vec<_> = forms.into_iter().collect();
    tx.run(sql::FACTS_ADD, vec![set(&forms)?, season.into()]).await?;
    let links: Vec<&NewLink> =
        going.iter().flat_map(|a| std::iter::once(&a.link).chain(a.stop.as_ref())).collect();
    add_links(&mut tx, season, links.into_iter()).await?;
    ledger::append(store, &mut tx, season, going.iter().map(|a| attempted(a, now)).collect()).await?;
    tx.run(sql::SEASON_BUMP, vec![season.into()]).await?;
    store.commit(tx, "attempt").await?;
    Ok(allowed)
}

fn attempted(a: &NewAttempt, at: Timestamp) -> Note {
    let items: Vec<String> = a.told.iter().map(|(c, e, n, _)| format!("{c}/{e}/{n}")).collect();
    let about = format!(
        "channel={} guardians={} household={} items={} message={} number={}",
        a.channel.word(),
        a.guardians.join(","),
        a.household,
        items.join(","),
        a.reference,
        a.number
    );
    let person = a.guardians.first().cloned().unwrap_or_default();
    Note {
        at,
        kind: State::Attempting.word(),
        about,
        words: Some((person, format!("{}\n{}", a.address, a.words))),
    }
}

pub(super) async fn settle(
    store: &SqlStore,
    season: i64,
    outcomes: &[Settled],
    now: Timestamp,
) -> Result<(), StoreFault> {
    let mut tx = store.db.begin().await?;
    let rows: Vec<_> = outcomes
        .iter()
        .map(|o| (&o.message, &o.fence, o.to.word(), ms(o.ready), &o.why, i64::from(o.spared)))
        .collect();
    let moved = tx.fetch(sql::SETTLE, vec![set(&rows)?]).await?;
    let ended_rows: Vec<DbRow> = moved;
    let ends: Vec<_> = outcomes
        .iter()
        .map(|o| (&o.message, &o.number, o.to.word(), &o.why, &o.gateway, &o.gateway_id))
        .collect();
    tx.run(sql::ATTEMPT_END, vec![set(&ends)?, ms(now).into()]).await?;
    let bad: Vec<_> = outcomes.iter().filter(|o| o.bad_address).map(|o| (&o.message, &o.number)).collect();
    if !bad.is_empty() {
        tx.run(sql::ADDRESSES_BAD, vec![set(&bad)?, season.into()]).await?;
    }
    let notes = ended(&mut tx, &ended_rows, now).await?;
    ledger::append(store, &mut tx, season, notes).await?;
    join_parked(store, &mut tx, season, outcomes, now).await?;
    tx.run(sql::SEASON_BUMP, vec![season.into()]).await?;
    store.commit(tx, "settle").await
}

/// Receipts that overtook the gateway's own answer take effect now that its identifiers are known.
async fn join_parked(
    store: &SqlStore,
    tx: &mut Tx,
    season: i64,
    outcomes: &[Settled],
    now: Timestamp,
) -> Result<(), StoreFault> {
    let named: Vec<_> =
        outcomes.iter().filter(|o| !o.gateway_id.is_empty()).map(|o| (&o.gateway_id,)).collect();
    if named.is_empty() {
        return Ok(());
    }
    for row in tx.fetch(sql::RECEIPTS_PARKED, vec![season.into(), set(&named)?]).await? {
        let Some(news) = News::from_word(&row.text(3)?) else { continue };
        let parked =
            NewReceipt { gateway: row.text(0)?, external: row.text(1)?, reference: row.text(2)?, news };
        incoming::join(store, tx, season, &parked, now).await?;
    }
    Ok(())
}

/// Messages that asked an address for an answer, newest first.
pub(super) async fn asked_at(
    store: &SqlStore,
    season: i64,
    channel: Channel,
    address: &str,
    most: u32,
) -> Result<Vec<StoredMessage>, StoreFault> {
    let values = vec![season.into(), channel.word().into(), address.into(), i64::from(most).into()];
    let rows = store.db.fetch(sql::ASKED_AT, values).await?;
    let messages: Vec<_> = rows.iter().map(message).collect::<Result<_, _>>()?;
    let parts = store.db.fetch(sql::PARTS_OF, vec![ids(&messages)?]).await?;
    with_parts(messages, parts)
}

/// Messages with their attempts: of a household, by due time, or all by when they were last tried; newest first.
pub(super) async fn lives(
    store: &SqlStore,
    season: i64,
    household: Option<&str>,
    skip: u32,
    most: u32,
) -> Result<Vec<(StoredMessage, Vec<StoredAttempt>)>, StoreFault> {
    let most = i64::from(most);
    let rows = match household {
        Some(household) => {
            store.db.fetch(sql::MESSAGES_OF, vec![season.into(), household.into(), most.into()]).await?
        }
        None => {
            store
                .db
                .fetch(sql::MESSAGES_LATEST, vec![season.into(), i64::from(skip).into(), most.into()])
                .await?
        }
    };
    let messages: Vec<_> = rows.iter().map(message).collect::<Result<_, _>>()?;
    let parts = store.db.fetch(sql::PARTS_OF, vec![ids(&messages)?]).await?;
    let mut attempts: HashMap<i64, Vec<StoredAttempt>> = HashMap::new();
    for row in store.db.fetch(sql::ATTEMPTS_OF, vec![ids(&messages)?]).await? {
        let id = row.int(0)?;
        let key = id.to_string();
        let ended = row.int(4)?;
        attempts.entry(id).or_default().push(StoredAttempt {
            at: instant("attempt", &key, row.int(2)?)?,
            outcome: row.text(3)?,
            ended: if ended == 0 { None } else { Some(instant("attempt", &key, ended)?) },
            why: row.text(5)?,
            gateway: row.text(6)?,
        });
    }
    let messages = with_parts(messages, parts)?;
    Ok(messages
        .into_iter()
        .map(|m| (attempts.remove(&m.id).unwrap_or_default(), m))
        .map(|(a, m)| (m, a))
        .collect())
}

pub(super) async fn put_back(
    store: &SqlStore,
    season: i64,
    unsent: &[Unsent],
    now: Timestamp,
) -> Result<(), StoreFault> {
    let mut tx = store.db.begin().await?;
    let rows: Vec<_> =
        unsent.iter().map(|u| (&u.message, &u.fence, u.to.word(), ms(u.ready), &u.why)).collect();
    let moved = tx.fetch(sql::PUT_BACK, vec![set(&rows)?]).await?;
    let (mut at_end, mut set_aside) = (Vec::new(), false);
    for row in moved {
        let state = state("message", "", &row.text(4)?)?;
        set_aside |= state == State::Quarantined;
        if state.is_end() {
            at_end.push(row);
        }
    }
    let notes = ended(&mut tx, &at_end, now).await?;
    ledger::append(store, &mut tx, season, notes).await?;
    if set_aside {
        // What is set aside is part of the record: it must not be planned again.
        tx.run(sql::SEASON_BUMP, vec![season.into()]).await?;
    }
    store.commit(tx, "put_back").await
}

pub(super) async fn tend(
    store: &SqlStore,
    season: i64,
    now: Timestamp,
    rules: TendRules,
) -> Result<Tended, StoreFault> {
    let mut tx = store.db.begin().await?;
    let at = || vec![season.into(), ms(now).into()];
    let values = vec![season.into(), ms(now).into(), rules.claims_max.into()];
    let quarantined = tx.fetch(sql::TEND_QUARANTINE, values).await?;
    let released = tx.fetch(sql::TEND_RELEASE, at()).await?;
    let expired = tx.fetch(sql::TEND_EXPIRE, at()).await?;
    let doubted = tx.fetch(sql::TEND_DOUBT, at()).await?;
    if !doubted.is_empty() {
        let list = doubted.iter().map(|r| r.int(0)).collect::<Result<Vec<_>, _>>()?;
        tx.run(sql::TEND_DOUBT_ATTEMPTS, vec![set(&list)?, ms(now).into()]).await?;
    }
    let mut again = vec![("mail", rules.mail_wait_ms)];
    again.extend(rules.text_known_again.then_some(("text", rules.text_wait_ms)));
    let values = vec![season.into(), ms(now).into(), set(&again)?];
    tx.run(sql::REPLY_DOUBT, at()).await?;
    tx.run(sql::REPLY_EXPIRE, at()).await?;
    tx.run(sql::REPLY_UNWANTED, vec![season.into()]).await?;
    let again = tx.fetch(sql::TEND_TRY_AGAIN, values).await?;
    let tended = Tended {
        doubted: doubted.len() as u64,
        released: released.len() as u64,
        expired: expired.len() as u64,
        quarantined: quarantined.len() as u64,
        tried_again: again.len() as u64,
    };
    if tended == Tended::default() {
        store.commit(tx, "tend").await?;
        return Ok(tended);
    }
    for rows in [quarantined, expired, doubted] {
        let notes = ended(&mut tx, &rows, now).await?;
        ledger::append(store, &mut tx, season, notes).await?;
    }
    if tended.doubted + tended.quarantined + tended.tried_again > 0 {
        tx.run(sql::SEASON_BUMP, vec![season.into()]).await?;
    }
    store.commit(tx, "tend").await?;
    Ok(tended)
}

pub(super) async fn next_due(store: &SqlStore, season: i64) -> Result<Option<Timestamp>, StoreFault> {
    let rows = store.db.fetch(sql::NEXT_DUE, vec![season.into()]).await?;
    match rows.first().map(|row| row.int(0)).transpose()? {
        None | Some(-1) => Ok(None),
        Some(at) => Ok(Some(instant("message", "", at)?)),
    }
}

pub(super) async fn next_on(
    store: &SqlStore,
    season: i64,
    by: Channel,
    now: Timestamp,
) -> Result<NextOn, StoreFault> {
    let rows = store.db.fetch(sql::NEXT_ON, vec![season.into(), by.word().into(), ms(now).into()]).await?;
    let Some(row) = rows.first() else { return Ok(NextOn::default()) };
    if row.int(3)? > 0 {
        return Ok(NextOn::default());
    }
    let at = |column| match row.int(column)? {
        -1 => Ok(None),
        at => instant("message", "", at).map(Some),
    };
    let message = [at(0)?, at(1)?].into_iter().flatten().min();
    Ok(NextOn { message, reply: at(2)? })
}

/// Messages that a person has to look at, newest first.
pub(super) async fn to_see(
    store: &SqlStore,
    season: i64,
    states: &[State],
    most: u32,
) -> Result<Vec<StoredMessage>, StoreFault> {
    let words: Vec<&str> = states.iter().map(|s| s.word()).collect();
    let values = vec![season.into(), set(&words)?, i64::from(most).into()];
    let rows = store.db.fetch(sql::MESSAGES_TO_SEE, values).await?;
    let messages: Vec<_> = rows.iter().map(message).collect::<Result<_, _>>()?;
    let parts = store.db.fetch(sql::PARTS_OF, vec![ids(&messages)?]).await?;
    with_parts(messages, parts)
}

pub(super) async fn decide(
    store: &SqlStore,
    season: i64,
    messages: &[i64],
    what: Decided,
    now: Timestamp,
) -> Result<u64, StoreFault> {
    let mut tx = store.db.begin().await?;
    let of_set = || -> Result<Vec<Value>, StoreFault> { Ok(vec![season.into(), set(&messages)?]) };
    let (to, step) = match what {
        Decided::Arrived => (State::Accepted, sql::DECIDE),
        Decided::AgainInDoubt => (State::WaitingToRetry, sql::DECIDE),
        Decided::TakeUp => {
            tx.run(sql::ADDRESSES_GOOD, of_set()?).await?;
            (State::WaitingToRetry, sql::TAKE_UP)
        }
        Decided::LetBe => {
            let rows = tx.fetch(sql::LET_BE, of_set()?).await?;
            store.commit(tx, "decide").await?;
            return Ok(rows.len() as u64);
        }
    };
    let mut values = of_set()?;
    if what != Decided::TakeUp {
        values.push(to.word().into());
    }
    values.push(ms(now).into());
    let rows = tx.fetch(step, values).await?;
    if rows.is_empty() {
        return Ok(0);
    }
    let keys: Vec<(String,)> =
        rows.iter().map(|row| Ok((row.text(6)?,))).collect::<Result<_, StoreFault>>()?;
    tx.run(sql::LOST_DROP, vec![set(&keys)?]).await?;
    let notes = ended(&mut tx, &rows, now).await?;
    ledger::append(store, &mut tx, season, notes).await?;
    tx.run(sql::SEASON_BUMP, vec![season.into()]).await?;
    store.commit(tx, "decide").await?;
    Ok(rows.len() as u64)
}

pub(super) async fn bounce(
    store: &SqlStore,
    season: i64,
    key: &str,
    now: Timestamp,
) -> Result<Option<(Channel, String)>, StoreFault> {
    let mut tx = store.db.begin().await?;
    let rows = tx.fetch(sql::BOUNCE, vec![season.into(), key.into()]).await?;
    let Some(row) = rows.first() else { return Ok(None) };
    let found = (channel("message", key, &row.text(1)?)?, row.text(8)?);
    let pair = [(row.int(0)?, row.int(7)?)];
    tx.run(sql::ADDRESSES_BAD, vec![set(&pair)?, season.into()]).await?;
    let notes = ended(&mut tx, &rows, now).await?;
    ledger::append(store, &mut tx, season, notes).await?;
    tx.run(sql::SEASON_BUMP, vec![season.into()]).await?;
    store.commit(tx, "bounce").await?;
    Ok(Some(found))
}

pub(super) async fn counts(store: &SqlStore, season: i64) -> Result<Vec<(State, Channel, u64)>, StoreFault> {
    let rows = store.db.fetch(sql::COUNTS, vec![season.into()]).await?;
    rows.iter()
        .map(|row| {
            let state = state("message", "", &row.text(0)?)?;
            let channel = channel("message", "", &row.text(1)?)?;
            Ok((state, channel, u64::try_from(row.int(2)?).unwrap_or(0)))
        })
        .collect()
}
