//! What has happened, read back whole to rebuild the record in memory.

use super::db::DbRow;
use super::{SqlStore, absence, channel, fingerprint, instant, sql, state};
use crate::domain::facts::Fingerprint;
use crate::domain::record::AnswerKind;
use crate::service::ports::{
    History, NewAnswer, StoreFault, StoredAddress, StoredAnswer, StoredPart, StoredTelling,
};

pub(super) async fn read(store: &SqlStore, season: i64) -> Result<History, StoreFault> {
    // The pulse is read first: whatever is committed meanwhile only makes the copy look old, never new.
    let head = store.db.fetch(sql::SEASON_PULSE, vec![season.into()]).await?;
    let head = |at| head.first().map_or(Ok(0), |row| row.int(at));
    let (pulse, revision) = (head(0)?, head(1)?);
    Ok(History {
        tellings: tellings(store, season).await?,
        answers: answers(store, season).await?,
        absences: absence::read(store, season).await?,
        addresses: addresses(store, season).await?,
        texted: texted(store, season).await?,
        pulse,
        revision,
        revised_at: instant("season", &season.to_string(), head(2)?)?,
    })
}

async fn tellings(store: &SqlStore, season: i64) -> Result<Vec<StoredTelling>, StoreFault> {
    const TABLE: &str = "message_part";
    let telling = |row: DbRow| {
        let child = row.text(3)?;
        Ok(StoredTelling {
            guardians: row.text(0)?.split(' ').map(str::to_owned).collect(),
            channel: channel(TABLE, &child, &row.text(1)?)?,
            state: state(TABLE, &child, &row.text(2)?)?,
            at: instant(TABLE, &child, row.int(7)?)?,
            failed_at: row.text(8)?,
            part: StoredPart {
                event: row.text(4)?,
                notice: row.text(5)?,
                fingerprint: fingerprint(TABLE, &child, &row.text(6)?)?,
                child,
            },
        })
    };
    store.db.fetch_each(sql::TELLINGS, vec![season.into()], telling).await
}

async fn answers(store: &SqlStore, season: i64) -> Result<Vec<StoredAnswer>, StoreFault> {
    stored(&store.db.fetch(sql::ANSWERS, vec![season.into()]).await?)
}

fn stored(rows: &[DbRow]) -> Result<Vec<StoredAnswer>, StoreFault> {
    const TABLE: &str = "answer";
    rows.iter()
        .map(|row| {
            let id = row.int(0)?;
            let key = id.to_string();
            let kind = row.text(7)?;
            Ok(StoredAnswer {
                id,
                answer: NewAnswer {
                    at: instant(TABLE, &key, row.int(1)?)?,
                    road: row.text(2)?,
                    external: row.text(3)?,
                    guardian: row.text(4)?,
                    child: row.text(5)?,
                    event: row.text(6)?,
                    kind: AnswerKind::from_word(&kind),
                    fingerprint: fingerprint(TABLE, &key, &row.text(8)?)?.unwrap_or(Fingerprint(0)),
                    one_phone: row.bool(9)?,
                    words: row.text(10)?,
                    noted_by: row.text(11)?,
                    outcome: row.text(12)?,
                },
            })
        })
        .collect()
}

async fn texted(store: &SqlStore, season: i64) -> Result<Vec<String>, StoreFault> {
    store.db.fetch(sql::TEXTED, vec![season.into()]).await?.iter().map(|row| row.text(0)).collect()
}

async fn addresses(store: &SqlStore, season: i64) -> Result<Vec<StoredAddress>, StoreFault> {
    let rows = store.db.fetch(sql::ADDRESSES, vec![season.into()]).await?;
    rows.iter()
        .map(|row| {
            Ok(StoredAddress {
                channel: channel("address", "", &row.text(0)?)?,
                address: row.text(1)?,
                stopped: row.bool(2)?,
                bad: row.bool(3)?,
            })
        })
        .collect()
}
