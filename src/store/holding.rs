//! Holds, the register of journals, and the clock of a database server.

use super::{SqlStore, db::Db, instant, ms, set, sql};
use crate::domain::facts::Fingerprint;
use crate::service::ports::{Doubt, Lost, SendingHold, StoreFault};
use jiff::Timestamp;
use std::collections::{HashMap, HashSet};

pub(super) async fn holds(store: &SqlStore) -> Result<Vec<SendingHold>, StoreFault> {
    let rows = store.db.fetch(sql::HOLDS, vec![]).await?;
    rows.iter()
        .map(|row| {
            let word = row.text(0)?;
            let doubt = Doubt::from_word(&word).ok_or_else(|| StoreFault::BrokenRow {
                table: "hold",
                row: word.clone(),
                reason: "nothing of that name can be in doubt".to_owned(),
            })?;
            Ok(SendingHold { doubt, since: instant("hold", &word, row.int(1)?)?, why: row.text(2)? })
        })
        .collect()
}

pub(super) async fn hold(
    store: &SqlStore,
    doubt: Doubt,
    why: &str,
    at: Timestamp,
) -> Result<bool, StoreFault> {
    let mut tx = store.db.begin().await?;
    let rows = tx.fetch(sql::HOLD_ADD, vec![doubt.word().into(), ms(at).into(), why.into()]).await?;
    store.commit(tx, "hold").await?;
    Ok(!rows.is_empty())
}

pub(super) async fn lift(store: &SqlStore, doubt: Doubt) -> Result<bool, StoreFault> {
    let mut tx = store.db.begin().await?;
    let rows = tx.fetch(sql::HOLD_LIFT, vec![doubt.word().into()]).await?;
    store.commit(tx, "lift").await?;
    Ok(!rows.is_empty())
}

pub(super) async fn journals(store: &SqlStore) -> Result<Vec<String>, StoreFault> {
    store.db.fetch(sql::JOURNALS, vec![]).await?.iter().map(|row| row.text(0)).collect()
}

pub(super) async fn register(store: &SqlStore, journal: &str, at: Timestamp) -> Result<(), StoreFault> {
    let mut tx = store.db.begin().await?;
    tx.run(sql::JOURNAL_ADD, vec![journal.into(), ms(at).into()]).await?;
    store.commit(tx, "register_journal").await
}

/// Those of some attempts that the database does not know.
pub(super) async fn unknown(store: &SqlStore, attempts: &[Lost]) -> Result<Vec<Lost>, StoreFault> {
    let rows: Vec<_> = attempts.iter().map(|one| (&one.key, one.number)).collect();
    let known = store.db.fetch(sql::ATTEMPTS_KNOWN, vec![set(&rows)?]).await?;
    let known: HashSet<(String, i64)> =
        known.iter().map(|row| Ok((row.text(0)?, row.int(1)?))).collect::<Result<_, StoreFault>>()?;
    Ok(attempts.iter().filter(|one| !known.contains(&(one.key.clone(), one.number))).cloned().collect())
}

/// Messages of which the journal knows more than the database: nobody knows what became of them.
pub(super) async fn doubt(store: &SqlStore, keys: &[String], at: Timestamp) -> Result<u64, StoreFault> {
    let mut tx = store.db.begin().await?;
    let values = || -> Result<Vec<_>, StoreFault> {
        Ok(vec![set(&keys.iter().map(|key| (key,)).collect::<Vec<_>>())?])
    };
    tx.run(sql::LOST_ADD, {
        let mut all = values()?;
        all.push(ms(at).into());
        all
    })
    .await?;
    let moved = tx.run(sql::LOST_DOUBT, vec![]).await?;
    store.commit(tx, "doubt_lost").await?;
    Ok(moved)
}

/// What messages told whose attempts are lost.
pub(super) async fn tell(
    store: &SqlStore,
    season: i64,
    told: &[(i64, String, String, String, Fingerprint)],
    forms: &[(Fingerprint, String)],
    at: Timestamp,
) -> Result<(), StoreFault> {
    let mut tx = store.db.begin().await?;
    let told: Vec<_> = told.iter().map(|(m, c, e, n, f)| (m, c, e, n, f.to_string())).collect();
    tx.run(sql::TELL, vec![set(&told)?, ms(at).into()]).await?;
    let forms: HashMap<String, &String> = forms.iter().map(|(f, form)| (f.to_string(), form)).collect();
    let forms: Vec<_> = forms.into_iter().collect();
    tx.run(sql::FACTS_ADD, vec![set(&forms)?, season.into()]).await?;
    tx.run(sql::SEASON_BUMP, vec![season.into()]).await?;
    store.commit(tx, "tell_recalled").await
}

/// When the latest attempt began; none before the first.
pub(super) async fn newest(store: &SqlStore) -> Result<Option<Timestamp>, StoreFault> {
    let rows = store.db.fetch(sql::NEWEST, vec![]).await?;
    match rows.first().map(|row| row.int(0)).transpose()? {
        None | Some(0) => Ok(None),
        Some(at) => instant("attempt", "", at).map(Some),
    }
}

/// The database server's own clock; none where the database is a file on this host.
pub(super) async fn their_clock(store: &SqlStore) -> Result<Option<Timestamp>, StoreFault> {
    match &store.db {
        Db::Sqlite { .. } => Ok(None),
        Db::Postgres { .. } => {
            let rows = store.db.fetch(sql::SERVER_CLOCK, vec![]).await?;
            rows.first().map(|row| instant("clock", "", row.int(0)?)).transpose()
        }
    }
}
