//! Checking the record: the chain is computed again, and words that are still there are held against their digests.

use super::chance::HostRandom;
use super::config::Config;
use crate::domain::chain;
use crate::service::ports::{Store, StoreFault};
use crate::store::SqlStore;

/// Lines read at once.
const PAGE: u32 = 5_000;

/// What the check found.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum LedgerVerdict {
    /// Nothing was changed, removed in between or put in.
    Whole {
        /// Number of lines.
        lines: i64,
        /// Lines whose words have been erased.
        erased: u64,
    },
    /// The first line that does not fit.
    Broken {
        /// Its position.
        seq: i64,
        /// What is wrong.
        reason: String,
    },
    /// There is no season.
    NoSeason,
}

/// Checks the record in the database of a configuration.
///
/// # Errors
/// The database cannot be opened or read.
pub async fn verify_stored(config: &Config) -> Result<LedgerVerdict, StoreFault> {
    let store = SqlStore::open(&config.data.database(), Box::new(HostRandom)).await?;
    verify(&store).await
}

/// Checks the record of the season in force.
pub async fn verify(store: &impl Store) -> Result<LedgerVerdict, StoreFault> {
    let Some(season) = store.season().await? else { return Ok(LedgerVerdict::NoSeason) };
    let (mut last, mut hash, mut erased) = (0, chain::seed(&season.id.to_string()), 0);
    loop {
        let page = store.ledger(season.id, last, PAGE).await?;
        if page.is_empty() {
            return Ok(LedgerVerdict::Whole { lines: last, erased });
        }
        for line in page {
            let broken =
                |reason: &str| Ok(LedgerVerdict::Broken { seq: line.seq, reason: reason.to_owned() });
            if line.seq != last + 1 {
                return broken("a line before it is missing");
            }
            hash = chain::link(&hash, line.seq, &line.entry);
            if hash != line.hash {
                return broken("it, or a line before it, was changed");
            }
            match &line.words {
                Some((salt, words)) if chain::salted(salt, words) != line.entry.digest => {
                    return broken("the words beside it were changed");
                }
                None if !line.entry.digest.is_empty() => erased += 1,
                _ => {}
            }
            last = line.seq;
        }
    }
}
