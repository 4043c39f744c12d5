//! Links, answers, and addresses that say stop.

use super::db::Tx;
use super::ledger::Note;
use super::{SqlStore, incoming, instant, ledger, messages, ms, set, sql};
use crate::domain::record::AnswerKind;
use crate::domain::season::Channel;
use crate::service::ports::{
    Delta, LinkKind, NewAnswer, NewIncoming, NewLink, OpenLink, StoreFault, StoredLink,
};
use jiff::Timestamp;
use std::collections::HashSet;

pub(super) async fn link(
    store: &SqlStore,
    season: i64,
    hash: &str,
) -> Result<Option<StoredLink>, StoreFault> {
    let rows = store.db.fetch(sql::LINK, vec![season.into(), hash.into()]).await?;
    let Some(row) = rows.first() else { return Ok(None) };
    let message = row.int(1)?;
    Ok(Some(StoredLink {
        hash: hash.to_owned(),
        kind: row.text(0)?,
        message: if message == 0 { None } else { messages::one(store, message).await? },
        chaperone: row.text(2)?,
        expires: instant("link", "", row.int(3)?)?,
        address: row.text(4)?,
        parent: row.text(5)?,
    }))
}

pub(super) async fn add_links(
    tx: &mut Tx,
    season: i64,
    links: impl Iterator<Item = &NewLink>,
) -> Result<(), StoreFault> {
    let rows: Vec<_> = links
        .map(|l| (&l.hash, l.kind.word(), &l.message, &l.chaperone, ms(l.expires), ms(l.made), &l.parent))
        .collect();
    tx.run(sql::LINKS_ADD, vec![set(&rows)?, season.into()]).await?;
    Ok(())
}

/// The coordinator's links in force, the newest first.
pub(super) async fn coordinator_links(
    store: &SqlStore,
    season: i64,
    now: Timestamp,
) -> Result<Vec<OpenLink>, StoreFault> {
    let rows = store.db.fetch(sql::COORDINATOR_LINKS, vec![season.into(), ms(now).into()]).await?;
    rows.iter()
        .map(|row| {
            let made = row.int(1)?;
            Ok(OpenLink {
                hash: row.text(0)?,
                made: if made == 0 { None } else { Some(instant("link", "", made)?) },
                expires: instant("link", "", row.int(2)?)?,
                sessions: row.int(3)?,
            })
        })
        .collect()
}

/// Ends one link, and the sessions that were opened with it.
pub(super) async fn end_link(
    store: &SqlStore,
    season: i64,
    hash: &str,
    now: Timestamp,
) -> Result<bool, StoreFault> {
    let mut tx = store.db.begin().await?;
    let ended = tx.fetch(sql::LINK_END, vec![season.into(), hash.into(), ms(now).into()]).await?;
    let kinds = ended.iter().map(|row| row.text(0)).collect::<Result<Vec<_>, _>>()?;
    if kinds.iter().any(|kind| kind == LinkKind::Coordinator.word()) {
        let about = format!("kind=coordinator sessions={}", kinds.len() - 1);
        ledger::append(store, &mut tx, season, vec![Note::plain(now, "links_ended", about)]).await?;
    }
    store.commit(tx, "end_link").await?;
    Ok(!kinds.is_empty())
}

/// Ends the links of a household, and its private calendar addresses.
pub(super) async fn end_links(
    store: &SqlStore,
    season: i64,
    household: &str,
    now: Timestamp,
) -> Result<u64, StoreFault> {
    let mut tx = store.db.begin().await?;
    let values = || vec![season.into(), household.into(), ms(now).into()];
    let links = tx.fetch(sql::LINKS_END, values()).await?.len();
    let feeds = tx.fetch(sql::FEEDS_END, values()).await?.len();
    let about = format!("household={household} links={links} calendars={feeds}");
    ledger::append(store, &mut tx, season, vec![Note::plain(now, "links_ended", about)]).await?;
    store.commit(tx, "end_links").await?;
    Ok((links + feeds) as u64)
}

/// Adds answers; gives back what the ledger says of those that were new.
pub(super) async fn add_answers(
    tx: &mut Tx,
    season: i64,
    answers: &[NewAnswer],
    now: Timestamp,
) -> Result<Vec<Note>, StoreFault> {
    if answers.is_empty() {
        return Ok(Vec::new());
    }
    let rows: Vec<_> = answers
        .iter()
        .map(|a| {
            (
                ms(a.at),
                &a.road,
                &a.external,
                &a.guardian,
                &a.child,
                &a.event,
                a.kind.map_or("", |k| k.word()),
                a.fingerprint.to_string(),
                i64::from(a.one_phone),
                &a.words,
                &a.noted_by,
                &a.outcome,
            )
        })
        .collect();
    let mut fresh = HashSet::new();
    for row in tx.fetch(sql::ANSWERS_ADD, vec![set(&rows)?, season.into()]).await? {
        fresh.insert((row.text(0)?, row.text(1)?, row.text(2)?));
    }
    Ok(answers
        .iter()
        .filter(|a| fresh.contains(&(a.guardian.clone(), a.child.clone(), a.event.clone())))
        .map(|a| Note {
            at: now,
            kind: if a.kind.is_some() { "answer" } else { "call" },
            about: format!(
                "child={} event={} fingerprint={} guardian={} kind={} noted_by={} road={}",
                a.child,
                a.event,
                a.fingerprint,
                a.guardian,
                a.kind.map_or(a.outcome.as_str(), |k| k.word()),
                if a.noted_by.is_empty() { "-" } else { &a.noted_by },
                a.road
            ),
            words: (!a.words.is_empty()).then(|| (a.guardian.clone(), a.words.clone())),
        })
        .collect())
}

/// A question asked on a page, as it waits for a person.
fn asked(answer: &NewAnswer) -> NewIncoming {
    NewIncoming {
        road: answer.road.clone(),
        external: format!("{} {} {} {}", answer.external, answer.guardian, answer.child, answer.event),
        channel: None,
        address: String::new(),
        at: answer.at,
        words: answer.words.clone(),
        became: "question".to_owned(),
        guardians: vec![answer.guardian.clone()],
        items: vec![(answer.child.clone(), answer.event.clone())],
        waits: true,
    }
}

pub(super) async fn answer(
    store: &SqlStore,
    season: i64,
    answers: &[NewAnswer],
    delta: &Delta,
    now: Timestamp,
) -> Result<bool, StoreFault> {
    let mut tx = store.db.begin().await?;
    let notes = add_answers(&mut tx, season, answers, now).await?;
    if notes.is_empty() {
        return Ok(false);
    }
    tx.run(sql::SEASON_BUMP, vec![season.into()]).await?;
    let questions: Vec<NewIncoming> =
        answers.iter().filter(|a| a.kind == Some(AnswerKind::Question)).map(asked).collect();
    if !questions.is_empty() {
        incoming::add(&mut tx, season, &questions).await?;
    }
    ledger::append(store, &mut tx, season, notes).await?;
    messages::reconcile(store, &mut tx, season, delta, now).await?;
    store.commit(tx, "answer").await?;
    Ok(true)
}

#[allow(clippy::too_many_arguments)]
pub(super) async fn set_stopped(
    store: &SqlStore,
    season: i64,
    (channel, address): (Channel, &str),
    guardians: &[String],
    stopped: bool,
    delta: &Delta,
    now: Timestamp,
) -> Result<(), StoreFault> {
    let mut tx = store.db.begin().await?;
    let values = vec![season.into(), channel.word().into(), address.into(), i64::from(stopped).into()];
    tx.run(sql::ADDRESS_STOP, values).await?;
    tx.run(sql::SEASON_BUMP, vec![season.into()]).await?;
    let notes = stop_notes(guardians, channel.word(), address, stopped, now);
    ledger::append(store, &mut tx, season, notes).await?;
    messages::reconcile(store, &mut tx, season, delta, now).await?;
    store.commit(tx, "set_stopped").await
}

/// What the ledger says of messages stopped or started.
pub(super) fn stop_notes(
    guardians: &[String],
    channel: &str,
    address: &str,
    stopped: bool,
    now: Timestamp,
) -> Vec<Note> {
    guardians
        .iter()
        .map(|g| Note {
            at: now,
            kind: if stopped { "stop" } else { "start" },
            about: format!("channel={channel} guardian={g}"),
            words: Some((g.clone(), address.to_owned())),
        })
        .collect()
}
