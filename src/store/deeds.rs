//! What was told of events as they ran: rows are added and never changed.

use super::ledger::Note;
use super::{SqlStore, instant, ledger, ms, sql};
use crate::service::ports::{DeedKind, StoreFault, StoredDeed};

pub(super) async fn read(store: &SqlStore, season: i64, event: &str) -> Result<Vec<StoredDeed>, StoreFault> {
    let rows = store.db.fetch(sql::DEEDS, vec![season.into(), event.into()]).await?;
    rows.iter()
        .map(|row| {
            let (seq, word) = (row.int(0)?, row.text(3)?);
            let name = format!("{event} {seq}");
            let kind = DeedKind::from_word(&word).ok_or_else(|| StoreFault::BrokenRow {
                table: "deed",
                row: name.clone(),
                reason: format!("'{word}' is no act"),
            })?;
            Ok(StoredDeed {
                seq,
                external: row.text(1)?,
                at: instant("deed", &name, row.int(2)?)?,
                kind,
                number: row.text(4)?,
                other: row.text(5)?,
                minutes: u32::try_from(row.int(6)?).unwrap_or(0),
            })
        })
        .collect()
}

pub(super) async fn add(
    store: &SqlStore,
    season: i64,
    event: &str,
    deed: &StoredDeed,
) -> Result<bool, StoreFault> {
    let mut tx = store.db.begin().await?;
    let values = vec![
        season.into(),
        event.into(),
        deed.seq.into(),
        deed.external.as_str().into(),
        ms(deed.at).into(),
        deed.kind.word().into(),
        deed.number.as_str().into(),
        deed.other.as_str().into(),
        i64::from(deed.minutes).into(),
    ];
    if tx.fetch(sql::DEED_ADD, values).await?.is_empty() {
        return Ok(false);
    }
    let about = format!(
        "act={} event={event} minutes={} number={} other={} seq={}",
        deed.kind.word(),
        deed.minutes,
        or_dash(&deed.number),
        or_dash(&deed.other),
        deed.seq
    );
    ledger::append(store, &mut tx, season, vec![Note::plain(deed.at, "deed", about)]).await?;
    store.commit(tx, "add_deed").await?;
    Ok(true)
}

fn or_dash(word: &str) -> &str {
    if word.is_empty() { "-" } else { word }
}
