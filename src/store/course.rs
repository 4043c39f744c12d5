//! Whether the season is going, and the tests a coordinator sent to herself.

use super::ledger::Note;
use super::{SqlStore, db, instant, ledger, ms, sql};
use crate::domain::season::Channel;
use crate::service::ports::{Course, Hand, StoreFault};
use jiff::Timestamp;

pub(super) async fn read(store: &SqlStore, season: i64) -> Result<Course, StoreFault> {
    course(season, store.db.fetch(sql::COURSE, vec![season.into()]).await?.first())
}

fn course(season: i64, row: Option<&db::DbRow>) -> Result<Course, StoreFault> {
    let Some(row) = row else { return Ok(Course::NotYet) };
    let (name, word) = (season.to_string(), row.text(2)?);
    let since = instant("course", &name, row.int(1)?)?;
    let by = Hand::from_word(&word).ok_or_else(|| StoreFault::BrokenRow {
        table: "course",
        row: name,
        reason: format!("'{word}' is nobody"),
    })?;
    Ok(if row.bool(0)? { Course::Going { since, by } } else { Course::Paused { since, by } })
}

pub(super) async fn set(
    store: &SqlStore,
    season: i64,
    going: bool,
    by: Hand,
    at: Timestamp,
) -> Result<bool, StoreFault> {
    let mut tx = store.db.begin().await?;
    let before = course(season, tx.fetch(sql::COURSE, vec![season.into()]).await?.first())?;
    let kind = match (before, going) {
        (Course::NotYet, true) => "set_going",
        (Course::Paused { .. }, true) => "going_on",
        (Course::Going { .. }, false) => "paused",
        (Course::Going { .. }, true) | (Course::NotYet | Course::Paused { .. }, false) => return Ok(false),
    };
    let values = vec![season.into(), i64::from(going).into(), ms(at).into(), by.word().into()];
    tx.run(sql::COURSE_SET, values).await?;
    let note = Note::plain(at, kind, format!("by={}", by.word()));
    ledger::append(store, &mut tx, season, vec![note]).await?;
    store.commit(tx, "set_course").await?;
    Ok(true)
}

pub(super) async fn note_test(
    store: &SqlStore,
    season: i64,
    external: &str,
    channel: Channel,
    wording: &str,
    at: Timestamp,
) -> Result<bool, StoreFault> {
    let mut tx = store.db.begin().await?;
    let values = vec![season.into(), external.into(), channel.word().into(), wording.into(), ms(at).into()];
    if tx.fetch(sql::TEST_ADD, values).await?.is_empty() {
        return Ok(false);
    }
    let about = format!("channel={} to=coordinator wording={wording}", channel.word());
    ledger::append(store, &mut tx, season, vec![Note::plain(at, "test", about)]).await?;
    store.commit(tx, "note_test").await?;
    Ok(true)
}
