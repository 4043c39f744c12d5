//! A season of ten thousand guardians: planning it again, and changing one number of it.

#![allow(clippy::print_stdout, reason = "figures are shown")]
#![allow(clippy::unwrap_used, reason = "what cannot be set up fails its test")]

mod support;

use allheard::domain::book::Book;
use allheard::domain::season::Channel;
use allheard::gateway::Road;
use allheard::gateway::memory::{Fate, Memory};
use allheard::service::planning::Planned;
use allheard::service::ports::Store as _;
use std::time::Instant;
use support::office::{Season, enlarged, gateways};
use tempfile::TempDir;

/// The demo's children so many times over.
const COPIES: u32 = 19;
/// Guardians there are at least.
const GUARDIANS: usize = 10_000;

async fn season(folder: &TempDir) -> Season {
    let memory = Memory::new(|_, _| Fate::Taken);
    let book = enlarged(1, COPIES, Channel::Mail);
    Season::open_with(folder.path(), book, gateways(Road::Memory(memory))).await
}

/// The workbook with a call of its own for one number at the dress rehearsal.
fn with_a_call(book: &Book) -> Book {
    let mut book = book.clone();
    let rows = &mut book.sheet_mut("running order").rows;
    let row = rows
        .iter_mut()
        .find(|row| row.text("event") == "Dress rehearsal" && row.text("number") != "")
        .unwrap();
    row.set("call", "15:50");
    book
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_change_to_one_number_is_seen_and_made_at_once() {
    let folder = TempDir::new().unwrap();
    let season = season(&folder).await;
    let office = &season.office;
    let guardians = office.desk().await.unwrap().board.season.families().len();
    assert!(guardians >= GUARDIANS, "{guardians} guardians");
    let began = Instant::now();
    let all = office.plan_tick().await.unwrap();
    println!("{guardians} guardians, {} messages planned and stored in {:?}", all.added, began.elapsed());
    for _ in 0..3 {
        let began = Instant::now();
        let again = office.plan_tick().await.unwrap();
        let took = began.elapsed();
        println!("planned again in {took:?}: {:.0} messages a second", all.added as f64 / took.as_secs_f64());
        assert_eq!(again, Planned::default());
    }
    let stored = office.store.season().await.unwrap().unwrap().book;
    let changed = with_a_call(&stored);
    let began = Instant::now();
    let bringing = office.preview(changed, Vec::new()).await.unwrap();
    println!("previewed in {:?}: {:?}", began.elapsed(), bringing.changes);
    let began = Instant::now();
    let brought = office.bring(&bringing).await.unwrap();
    println!("applied in {:?}: {brought:?}", began.elapsed());
}
