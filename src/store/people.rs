//! Links, answers, and addresses that say stop.

use super::db::Tx;
use super::ledger::Note;
use super::{SqlStore, instant, ledger, messages, ms, sql};
use crate::domain::season::Channel;
use crate::service::ports::{Delta, NewAnswer, NewLink, StoreFault, StoredLink};
use jiff::Timestamp;
use serde_json::json;
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
    }))
}

pub(super) async fn add_links(
    tx: &mut Tx,
    season: i64,
    links: impl Iterator<Item = &NewLink>,
) -> Result<(), StoreFault> {
    let rows: Vec<_> =
        links.map(|l| json!([l.hash, l.kind.word(), l.message, l.chaperone, ms(l.expires)])).collect();
    tx.run(sql::LINKS_ADD, vec![json!(rows).to_string().into(), season.into()]).await?;
    Ok(())
}

pub(super) async fn answer(
    store: &SqlStore,
    season: i64,
    answers: &[NewAnswer],
    delta: &Delta,
    now: Timestamp,
) -> Result<bool, StoreFault> {
    let rows: Vec<_> = answers
        .iter()
        .map(|a| {
            json!([
                ms(a.at),
                a.road,
                a.external,
                a.guardian,
                a.child,
                a.event,
                a.kind.map_or("", |k| k.word()),
                a.fingerprint.to_string(),
                i64::from(a.one_phone),
                a.words,
                a.noted_by,
                a.outcome
            ])
        })
        .collect();
    let mut tx = store.db.begin().await?;
    let mut fresh = HashSet::new();
    for row in tx.fetch(sql::ANSWERS_ADD, vec![json!(rows).to_string().into(), season.into()]).await? {
        fresh.insert((row.text(0)?, row.text(1)?, row.text(2)?));
    }
    if fresh.is_empty() {
        return Ok(false);
    }
    tx.run(sql::SEASON_BUMP, vec![season.into()]).await?;
    let notes = answers
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
        .collect();
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
    tx.run(sql::ADDRESS_STOP, vec![season.into(), channel.word().into(), address.into(), stopped.into()])
        .await?;
    tx.run(sql::SEASON_BUMP, vec![season.into()]).await?;
    let kind = if stopped { "stop" } else { "start" };
    let notes = guardians
        .iter()
        .map(|g| Note {
            at: now,
            kind,
            about: format!("channel={} guardian={g}", channel.word()),
            words: Some((g.clone(), address.to_owned())),
        })
        .collect();
    ledger::append(store, &mut tx, season, notes).await?;
    messages::reconcile(store, &mut tx, season, delta, now).await?;
    store.commit(tx, "set_stopped").await
}
