//! Private addresses of calendars.

use super::{SqlStore, instant, ms, set, sql};
use crate::service::ports::{FeedHolder, NewFeed, StoreFault, StoredFeed};

pub(super) async fn feed(
    store: &SqlStore,
    season: i64,
    hash: &str,
) -> Result<Option<StoredFeed>, StoreFault> {
    let rows = store.db.fetch(sql::FEED, vec![season.into(), hash.into()]).await?;
    let Some(first) = rows.first() else { return Ok(None) };
    let expires = instant("feed", "", first.int(2)?)?;
    let holder = |row: &super::db::DbRow| {
        Ok::<_, StoreFault>(FeedHolder { person: row.text(0)?, household: row.text(1)? })
    };
    Ok(Some(StoredFeed { holders: rows.iter().map(holder).collect::<Result<_, _>>()?, expires }))
}

pub(super) async fn put(store: &SqlStore, season: i64, feed: &NewFeed) -> Result<(), StoreFault> {
    let rows: Vec<_> =
        feed.holders.iter().map(|h| (&h.person, &h.household, &feed.hash, ms(feed.expires))).collect();
    let mut tx = store.db.begin().await?;
    tx.run(sql::FEED_PUT, vec![set(&rows)?, season.into()]).await?;
    store.commit(tx, "put_feed").await
}
