//! What people send us, what follows from it, our replies, and what gateways tell afterwards.

use super::db::{DbRow, Tx};
use super::ledger::Note;
use super::pace::Pace;
use super::{SqlStore, channel, instant, ledger, messages, ms, people, set, sql, state};
use crate::domain::graph::State;
use crate::domain::season::Channel;
use crate::service::ports::{
    ClaimedReply, Effects, NewIncoming, NewReceipt, NewReply, News, Offer, OpenReply, Receipted,
    SettledReply, StoreFault, StoredIncoming,
};
use jiff::Timestamp;

/// Adds what arrived; false if the same act was known.
pub(super) async fn add(tx: &mut Tx, season: i64, new: &[NewIncoming]) -> Result<bool, StoreFault> {
    let rows: Vec<_> = new
        .iter()
        .map(|i| {
            let items: Vec<String> =
                i.items.iter().map(|(child, event)| format!("{child}/{event}")).collect();
            (
                &i.road,
                &i.external,
                i.channel.map_or("", |c| c.word()),
                &i.address,
                ms(i.at),
                &i.words,
                &i.became,
                format!(" {} ", i.guardians.join(" ")),
                items.join(" "),
                i64::from(i.waits),
            )
        })
        .collect();
    let added = tx.fetch(sql::INCOMING_ADD, vec![set(&rows)?, season.into()]).await?;
    Ok(!added.is_empty())
}

/// Takes in what people sent, all of it in one transaction; says of each whether it was new.
pub(super) async fn take_in(
    store: &SqlStore,
    season: i64,
    all: &[(&NewIncoming, &Effects)],
    now: Timestamp,
) -> Result<Vec<bool>, StoreFault> {
    let mut tx = store.db.begin().await?;
    let mut taken = Vec::with_capacity(all.len());
    let mut notes = Vec::new();
    let mut changes = false;
    for (new, effects) in all {
        let is_new = add(&mut tx, season, std::slice::from_ref(*new)).await?;
        taken.push(is_new);
        if !is_new {
            continue;
        }
        notes.extend(effects_of(&mut tx, season, new, effects, now).await?);
        changes |= !effects.answers.is_empty() || effects.stop.is_some();
    }
    if !taken.contains(&true) {
        return Ok(taken);
    }
    ledger::append(store, &mut tx, season, notes).await?;
    if changes {
        tx.run(sql::SEASON_BUMP, vec![season.into()]).await?;
    }
    for ((_, effects), _) in all.iter().zip(&taken).filter(|(_, is_new)| **is_new) {
        messages::reconcile(store, &mut tx, season, &effects.delta, now).await?;
    }
    store.commit(tx, "take_in").await?;
    Ok(taken)
}

/// What follows from one of them, but for the plan; gives back what the ledger says of it.
async fn effects_of(
    tx: &mut Tx,
    season: i64,
    new: &NewIncoming,
    effects: &Effects,
    now: Timestamp,
) -> Result<Vec<Note>, StoreFault> {
    let mut notes = vec![came_in(new, now)];
    notes.extend(people::add_answers(tx, season, &effects.answers, now).await?);
    let word = new.channel.map_or("", |c| c.word());
    if let Some((stopped, addresses)) = &effects.stop {
        for address in addresses {
            let values =
                vec![season.into(), word.into(), address.as_str().into(), i64::from(*stopped).into()];
            tx.run(sql::ADDRESS_STOP, values).await?;
        }
        notes.extend(people::stop_notes(&new.guardians, word, &new.address, *stopped, now));
    }
    let at_address = || vec![season.into(), word.into(), new.address.as_str().into()];
    match &effects.offer {
        Some(offer) => {
            let mut values = at_address();
            values.extend([ms(offer.at).into(), offer.kind.as_str().into(), offer.choices.as_str().into()]);
            tx.run(sql::OFFER_PUT, values).await?;
        }
        None if !effects.answers.is_empty() => {
            tx.run(sql::OFFER_DROP, at_address()).await?;
        }
        None => {}
    }
    notes.extend(add_replies(tx, season, &effects.replies, &new.guardians, now).await?);
    Ok(notes)
}

fn came_in(new: &NewIncoming, now: Timestamp) -> Note {
    let about = format!(
        "became={} channel={} guardians={} road={}",
        new.became,
        new.channel.map_or("-", |c| c.word()),
        if new.guardians.is_empty() { "-".to_owned() } else { new.guardians.join(",") },
        new.road
    );
    // Words of somebody unknown belong to nobody's salt but their own address's, which is never written in clear.
    let person = new.guardians.first().cloned().unwrap_or_else(|| format!("stranger {}", new.address));
    Note { at: now, kind: "incoming", about, words: Some((person, new.words.clone())) }
}

/// Puts letters into the short queue.
pub(super) async fn queue(tx: &mut Tx, season: i64, letters: &[NewReply]) -> Result<(), StoreFault> {
    let rows: Vec<_> = letters
        .iter()
        .map(|r| {
            let (ready, until) = (ms(r.ready), ms(r.until));
            let by_person = i64::from(r.by_person);
            (
                r.channel.word(),
                &r.address,
                &r.subject,
                &r.words,
                &r.in_reply_to,
                ready,
                until,
                &r.reference,
                by_person,
            )
        })
        .collect();
    if !rows.is_empty() {
        tx.run(sql::REPLY_ADD, vec![set(&rows)?, season.into()]).await?;
    }
    Ok(())
}

async fn add_replies(
    tx: &mut Tx,
    season: i64,
    replies: &[NewReply],
    guardians: &[String],
    now: Timestamp,
) -> Result<Vec<Note>, StoreFault> {
    queue(tx, season, replies).await?;
    let person =
        |r: &NewReply| guardians.first().cloned().unwrap_or_else(|| format!("stranger {}", r.address));
    Ok(replies
        .iter()
        .map(|r| Note {
            at: now,
            kind: "reply",
            about: format!("channel={}", r.channel.word()),
            words: Some((person(r), format!("{}\n{}", r.address, r.words))),
        })
        .collect())
}

pub(super) async fn put_reply(
    store: &SqlStore,
    season: i64,
    reply: &NewReply,
    guardians: &[String],
    now: Timestamp,
) -> Result<(), StoreFault> {
    let mut tx = store.db.begin().await?;
    let notes = add_replies(&mut tx, season, std::slice::from_ref(reply), guardians, now).await?;
    ledger::append(store, &mut tx, season, notes).await?;
    store.commit(tx, "put_reply").await
}

fn stored(row: &DbRow) -> Result<StoredIncoming, StoreFault> {
    let id = row.int(0)?;
    let word = row.text(3)?;
    let pairs = row.text(9)?;
    Ok(StoredIncoming {
        id,
        waits: row.int(10)? != 0,
        incoming: NewIncoming {
            road: row.text(1)?,
            external: row.text(2)?,
            channel: Channel::from_word(&word),
            address: row.text(4)?,
            at: instant("incoming", &id.to_string(), row.int(5)?)?,
            words: row.text(6)?,
            became: row.text(7)?,
            guardians: row.text(8)?.split_whitespace().map(str::to_owned).collect(),
            items: pairs
                .split_whitespace()
                .filter_map(|pair| pair.split_once('/'))
                .map(|(child, event)| (child.to_owned(), event.to_owned()))
                .collect(),
            waits: row.int(10)? != 0,
        },
    })
}

pub(super) async fn waiting(
    store: &SqlStore,
    season: i64,
    most: u32,
) -> Result<Vec<StoredIncoming>, StoreFault> {
    let rows = store.db.fetch(sql::INCOMING_WAITING, vec![season.into(), i64::from(most).into()]).await?;
    rows.iter().map(stored).collect()
}

pub(super) async fn of_guardian(
    store: &SqlStore,
    season: i64,
    guardian: &str,
    most: u32,
) -> Result<Vec<StoredIncoming>, StoreFault> {
    let pattern = format!("% {guardian} %");
    let values = vec![season.into(), pattern.into(), i64::from(most).into()];
    store.db.fetch(sql::INCOMING_OF, values).await?.iter().map(stored).collect()
}

pub(super) async fn one(
    store: &SqlStore,
    season: i64,
    id: i64,
) -> Result<Option<StoredIncoming>, StoreFault> {
    store.db.fetch(sql::INCOMING_ONE, vec![season.into(), id.into()]).await?.first().map(stored).transpose()
}

pub(super) async fn answer_question(
    store: &SqlStore,
    season: i64,
    id: i64,
    reply: Option<&NewReply>,
    guardians: &[String],
    now: Timestamp,
) -> Result<bool, StoreFault> {
    let mut tx = store.db.begin().await?;
    if tx.fetch(sql::INCOMING_DONE, vec![season.into(), id.into()]).await?.is_empty() {
        return Ok(false);
    }
    let replies: Vec<NewReply> = reply.into_iter().cloned().collect();
    let mut notes = add_replies(&mut tx, season, &replies, guardians, now).await?;
    notes.push(Note::plain(
        now,
        "question_closed",
        format!("incoming={id} replied={}", u8::from(reply.is_some())),
    ));
    ledger::append(store, &mut tx, season, notes).await?;
    store.commit(tx, "answer_question").await?;
    Ok(true)
}

pub(super) async fn offer(
    store: &SqlStore,
    season: i64,
    by: Channel,
    address: &str,
) -> Result<Option<Offer>, StoreFault> {
    let rows = store.db.fetch(sql::OFFER, vec![season.into(), by.word().into(), address.into()]).await?;
    let Some(row) = rows.first() else { return Ok(None) };
    Ok(Some(Offer { at: instant("offer", "", row.int(0)?)?, kind: row.text(1)?, choices: row.text(2)? }))
}

pub(super) async fn claim_replies(
    store: &SqlStore,
    season: i64,
    by: Channel,
    (most, per_second): (u32, f64),
    now: Timestamp,
    lease_until: Timestamp,
) -> Result<Vec<ClaimedReply>, StoreFault> {
    let mut tx = store.db.begin().await?;
    let values =
        vec![season.into(), i64::from(most).into(), ms(now).into(), ms(lease_until).into(), by.word().into()];
    let rows = tx.fetch(sql::REPLY_CLAIM, values).await?;
    if rows.is_empty() {
        return Ok(Vec::new());
    }
    let pace = Pace::read(&mut tx, season, by, per_second, now).await?;
    pace.use_up(&mut tx, rows.len()).await?;
    store.commit(tx, "claim_replies").await?;
    let mut claimed = rows
        .iter()
        .map(|row| {
            let id = row.int(0)?;
            Ok(ClaimedReply {
                id,
                channel: channel("reply", &id.to_string(), &row.text(1)?)?,
                address: row.text(2)?,
                subject: row.text(3)?,
                words: row.text(4)?,
                in_reply_to: row.text(5)?,
                until: instant("reply", &id.to_string(), row.int(6)?)?,
                number: row.int(7)?,
                reference: row.text(8)?,
            })
        })
        .collect::<Result<Vec<_>, StoreFault>>()?;
    claimed.sort_by_key(|reply| reply.id);
    Ok(claimed)
}

pub(super) async fn renew_replies(
    store: &SqlStore,
    held: &[(i64, i64)],
    lease_until: Timestamp,
) -> Result<(), StoreFault> {
    let mut tx = store.db.begin().await?;
    tx.run(sql::REPLY_RENEW, vec![set(&held)?, ms(lease_until).into()]).await?;
    store.commit(tx, "renew_replies").await
}

pub(super) async fn settle_replies(store: &SqlStore, settled: &[SettledReply]) -> Result<(), StoreFault> {
    let mut tx = store.db.begin().await?;
    let rows: Vec<_> = settled.iter().map(|r| (&r.id, &r.number, r.to.word(), ms(r.ready), &r.why)).collect();
    tx.run(sql::REPLY_SETTLE, vec![set(&rows)?]).await?;
    store.commit(tx, "settle_replies").await
}

/// A person's own answers of which nobody knows whether they arrived, or which did not.
pub(super) async fn replies_to_see(
    store: &SqlStore,
    season: i64,
    most: u32,
) -> Result<Vec<OpenReply>, StoreFault> {
    let rows = store.db.fetch(sql::REPLIES_TO_SEE, vec![season.into(), i64::from(most).into()]).await?;
    rows.iter()
        .map(|row| {
            let id = row.int(0)?;
            let key = id.to_string();
            Ok(OpenReply {
                id,
                channel: channel("reply", &key, &row.text(1)?)?,
                address: row.text(2)?,
                words: row.text(3)?,
                is_uncertain: row.text(4)? == State::Uncertain.word(),
                why: row.text(5)?,
                at: instant("reply", &key, row.int(6)?)?,
            })
        })
        .collect()
}

/// A person lets such an answer be, or sends it once more.
pub(super) async fn decide_reply(
    store: &SqlStore,
    season: i64,
    id: i64,
    again_until: Option<Timestamp>,
    now: Timestamp,
) -> Result<bool, StoreFault> {
    let mut tx = store.db.begin().await?;
    let rows = match again_until {
        None => tx.fetch(sql::REPLY_LET_BE, vec![season.into(), id.into()]).await?,
        Some(until) => {
            let values = vec![season.into(), id.into(), ms(now).into(), ms(until).into()];
            tx.fetch(sql::REPLY_AGAIN, values).await?
        }
    };
    store.commit(tx, "decide_reply").await?;
    Ok(!rows.is_empty())
}

pub(super) async fn receipt(
    store: &SqlStore,
    season: i64,
    new: &NewReceipt,
    now: Timestamp,
) -> Result<Receipted, StoreFault> {
    let mut tx = store.db.begin().await?;
    let values = vec![
        season.into(),
        new.gateway.as_str().into(),
        new.external.as_str().into(),
        new.reference.as_str().into(),
        new.news.word().into(),
        ms(now).into(),
    ];
    if tx.fetch(sql::RECEIPT_ADD, values).await?.is_empty() {
        return Ok(Receipted::Known);
    }
    let joined = join(store, &mut tx, season, new, now).await?;
    store.commit(tx, "receipt").await?;
    Ok(joined)
}

/// Lets news take effect on its message, or leaves it for when the message is known.
pub(super) async fn join(
    store: &SqlStore,
    tx: &mut Tx,
    season: i64,
    new: &NewReceipt,
    now: Timestamp,
) -> Result<Receipted, StoreFault> {
    let values = vec![season.into(), new.gateway.as_str().into(), new.reference.as_str().into()];
    let found = tx.fetch(sql::RECEIPT_FIND, values).await?;
    let Some(row) = found.first() else { return Ok(Receipted::Parked) };
    let (id, number) = (row.int(0)?, row.int(1)?);
    let (by, address) = (channel("message", &id.to_string(), &row.text(2)?)?, row.text(3)?);
    let values = vec![season.into(), new.gateway.as_str().into(), new.external.as_str().into()];
    tx.run(sql::RECEIPT_JOIN, values).await?;
    let step = if new.news == News::Delivered { sql::DELIVER } else { sql::RETURN };
    let moved = tx.fetch(step, vec![season.into(), id.into()]).await?;
    let Some(row) = moved.first() else { return Ok(Receipted::Known) };
    let to = state("message", &id.to_string(), &row.text(4)?)?;
    if new.news == News::FailedForGood {
        let pair = [(id, number)];
        tx.run(sql::ADDRESSES_BAD, vec![set(&pair)?, season.into()]).await?;
    }
    let notes = messages::ended(tx, &moved, now).await?;
    ledger::append(store, tx, season, notes).await?;
    if to == State::Bounced {
        tx.run(sql::SEASON_BUMP, vec![season.into()]).await?;
    }
    Ok(Receipted::Moved { channel: by, address, to })
}
