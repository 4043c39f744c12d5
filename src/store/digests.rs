//! Digests: each moment of a holder is taken once, together with the letter that leaves for it.

use super::ledger::Note;
use super::{SqlStore, incoming, instant, ledger, ms, people, sql};
use crate::service::ports::{NewDigest, SaidDigest, StoreFault, StoredDigest};
use jiff::Timestamp;

pub(super) async fn all(store: &SqlStore, season: i64) -> Result<Vec<StoredDigest>, StoreFault> {
    let rows = store.db.fetch(sql::DIGESTS, vec![season.into()]).await?;
    rows.iter()
        .map(|row| {
            let holder = row.text(0)?;
            let of = instant("digest", &holder, row.int(2)?)?;
            Ok(StoredDigest { holder, kind: row.text(1)?, of, form: row.text(3)? })
        })
        .collect()
}

/// A moment that another process took, or an earlier one, changes nothing; gives back how many letters were put down.
pub(super) async fn put(
    store: &SqlStore,
    season: i64,
    new: &[NewDigest],
    now: Timestamp,
) -> Result<usize, StoreFault> {
    let mut tx = store.db.begin().await?;
    let (mut notes, mut letters, mut links) = (Vec::new(), Vec::new(), Vec::new());
    for digest in new {
        let form = digest.said.as_ref().map_or("", |said| said.form.as_str());
        let values = vec![
            season.into(),
            digest.holder.as_str().into(),
            digest.kind.as_str().into(),
            ms(digest.of).into(),
            form.into(),
            ms(now).into(),
        ];
        let taken = !tx.fetch(sql::DIGEST_TAKE, values).await?.is_empty();
        let Some(said) = digest.said.as_ref().filter(|_| taken) else { continue };
        notes.push(note(digest, said, now));
        letters.push(said.letter.clone());
        links.extend(said.link.clone());
    }
    incoming::queue(&mut tx, season, &letters).await?;
    if !links.is_empty() {
        people::add_links(&mut tx, season, links.iter()).await?;
    }
    ledger::append(store, &mut tx, season, notes).await?;
    store.commit(tx, "put_digests").await?;
    Ok(letters.len())
}

fn note(digest: &NewDigest, said: &SaidDigest, now: Timestamp) -> Note {
    let letter = &said.letter;
    let kind = digest.kind.split(' ').next().unwrap_or_default();
    Note {
        at: now,
        kind: "digest",
        about: format!(
            "message={} channel={} guardians={} kind={kind}",
            letter.reference,
            letter.channel.word(),
            digest.holder,
        ),
        words: Some((digest.holder.clone(), format!("{}\n{}", letter.address, letter.words))),
    }
}
