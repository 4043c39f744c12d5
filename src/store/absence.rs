//! Children who are not coming to an event: rows are added and never changed, the last one of a child counts.

use super::ledger::Note;
use super::{SqlStore, incoming, instant, ledger, messages, ms, sql};
use crate::service::ports::{Delta, NewAbsence, NewReply, StoreFault, StoredAbsence};
use jiff::Timestamp;

/// The last of each, by child and event.
pub(super) async fn read(store: &SqlStore, season: i64) -> Result<Vec<StoredAbsence>, StoreFault> {
    let rows = store.db.fetch(sql::ABSENCES, vec![season.into()]).await?;
    rows.iter()
        .map(|row| {
            let child = row.text(0)?;
            Ok(StoredAbsence {
                at: instant("absence", &child, row.int(2)?)?,
                child,
                event: row.text(1)?,
                said_by: row.text(3)?,
                noted_by: row.text(4)?,
                away: row.bool(5)?,
            })
        })
        .collect()
}

/// Adds an act with what follows from it; false if it was so already.
pub(super) async fn add(
    store: &SqlStore,
    season: i64,
    new: &NewAbsence,
    told: &[NewReply],
    delta: &Delta,
    now: Timestamp,
) -> Result<bool, StoreFault> {
    let mut tx = store.db.begin().await?;
    let whose = || vec![season.into(), new.child.as_str().into(), new.event.as_str().into()];
    let rows = tx.fetch(sql::ABSENCE, whose()).await?;
    let (seq, away) = match rows.first() {
        Some(row) => (row.int(0)?, row.bool(1)?),
        None => (0, false),
    };
    // That it comes after all may be said of one who was only said to be unable to.
    if away && new.away {
        return Ok(false);
    }
    let mut values = whose();
    values.extend([
        (seq + 1).into(),
        ms(now).into(),
        i64::from(new.away).into(),
        new.said_by.as_str().into(),
        new.noted_by.as_str().into(),
    ]);
    if tx.fetch(sql::ABSENCE_ADD, values).await?.is_empty() {
        return Ok(false);
    }
    tx.run(sql::SEASON_BUMP, vec![season.into()]).await?;
    incoming::queue(&mut tx, season, told).await?;
    let about = format!(
        "child={} event={} noted_by={} said_by={} told={}",
        new.child,
        new.event,
        new.noted_by,
        if new.said_by.is_empty() { "-" } else { &new.said_by },
        told.len()
    );
    let kind = if new.away { "not_coming" } else { "coming_after_all" };
    ledger::append(store, &mut tx, season, vec![Note::plain(now, kind, about)]).await?;
    messages::reconcile(store, &mut tx, season, delta, now).await?;
    store.commit(tx, "set_away").await?;
    Ok(true)
}
