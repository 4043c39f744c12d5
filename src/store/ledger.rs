//! The ledger: append-only, one hash chain a season, words and salts beside it.

use super::db::Tx;
use super::{SqlStore, instant, ms, set, sql};
use crate::domain::chain::{self, LedgerEntry};
use crate::service::ports::{LedgerLine, StoreFault};
use jiff::Timestamp;
use std::collections::{BTreeSet, HashMap};

/// Octets of a person's salt (128 bits).
pub(super) const SALT_OCTETS: usize = 16;

/// Something to be written down.
pub(super) struct Note {
    pub at: Timestamp,
    pub kind: &'static str,
    pub about: String,
    /// Whose words, and the words.
    pub words: Option<(String, String)>,
}

impl Note {
    /// A note without words.
    pub fn plain(at: Timestamp, kind: &'static str, about: String) -> Note {
        Note { at, kind, about, words: None }
    }
}

/// Appends notes inside a transaction, so that the chain and what it tells of are committed together.
pub(super) async fn append(
    store: &SqlStore,
    tx: &mut Tx,
    season: i64,
    notes: Vec<Note>,
) -> Result<(), StoreFault> {
    if notes.is_empty() {
        return Ok(());
    }
    let salts = salts(store, tx, season, &notes).await?;
    let tail = tx.fetch(sql::LEDGER_TAIL, vec![season.into()]).await?;
    let (mut seq, mut hash) = match tail.first() {
        Some(row) => (row.int(0)?, row.text(1)?),
        None => (0, chain::seed(&season.to_string())),
    };
    let (mut lines, mut words) = (Vec::with_capacity(notes.len()), Vec::new());
    for note in notes {
        seq += 1;
        let digest = match &note.words {
            Some((person, text)) => chain::salted(salts.get(person).map_or(&[], Vec::as_slice), text),
            None => String::new(),
        };
        let entry = LedgerEntry { at: note.at, kind: note.kind.to_owned(), about: note.about, digest };
        hash = chain::link(&hash, seq, &entry);
        lines.push((seq, ms(entry.at), entry.kind, entry.about, entry.digest, hash.clone()));
        if let Some((person, text)) = note.words {
            words.push((seq, person, text));
        }
    }
    tx.run(sql::LEDGER_ADD, vec![set(&lines)?, season.into()]).await?;
    if !words.is_empty() {
        tx.run(sql::WORDS_ADD, vec![set(&words)?, season.into()]).await?;
    }
    Ok(())
}

/// The salt of every person whose words are noted; new persons get one.
async fn salts(
    store: &SqlStore,
    tx: &mut Tx,
    season: i64,
    notes: &[Note],
) -> Result<HashMap<String, Vec<u8>>, StoreFault> {
    let persons: BTreeSet<&str> =
        notes.iter().filter_map(|n| n.words.as_ref()).map(|(p, _)| p.as_str()).collect();
    let mut salts = HashMap::new();
    if persons.is_empty() {
        return Ok(salts);
    }
    for row in tx.fetch(sql::SALTS, vec![season.into(), set(&persons)?]).await? {
        salts.insert(row.text(0)?, row.bytes(1)?);
    }
    for person in persons {
        if !salts.contains_key(person) {
            let salt = store.salt()?;
            tx.run(sql::SALT_ADD, vec![season.into(), person.into(), salt.clone().into()]).await?;
            salts.insert(person.to_owned(), salt);
        }
    }
    Ok(salts)
}

pub(super) async fn read(
    store: &SqlStore,
    season: i64,
    after: i64,
    most: u32,
) -> Result<Vec<LedgerLine>, StoreFault> {
    let rows = store.db.fetch(sql::LEDGER, vec![season.into(), after.into(), i64::from(most).into()]).await?;
    rows.iter()
        .map(|row| {
            let seq = row.int(0)?;
            let (words, salt) = (row.text(6)?, row.bytes(7)?);
            Ok(LedgerLine {
                seq,
                entry: LedgerEntry {
                    at: instant("ledger", &seq.to_string(), row.int(1)?)?,
                    kind: row.text(2)?,
                    about: row.text(3)?,
                    digest: row.text(4)?,
                },
                hash: row.text(5)?,
                words: (!salt.is_empty()).then_some((salt, words)),
            })
        })
        .collect()
}
