//! Rehearsing a season: the draws, the words that texts are counted by, the threads, and what is told of it.

mod told;

use super::chance::HostRandom;
use super::config::Config;
use crate::domain::board::{Board, Item};
use crate::domain::book::Book;
use crate::domain::plan::Wanted;
use crate::domain::record::Record;
use crate::domain::rehearsal::chance::{DRAWS, Page};
use crate::domain::rehearsal::fit::fitted;
use crate::domain::rehearsal::habits::Fitted;
use crate::domain::rehearsal::stage::first_due;
use crate::domain::rehearsal::{
    Chance, Gain, Habits, RehearsalOutlook, Stage, Terms, VariantChange, run, variants,
};
use crate::domain::season::{GuardianId, HouseholdId, Season};
use crate::domain::segments;
use crate::service::composing::preview;
use crate::service::office::{Ways, rebuild};
use crate::service::ports::{Content, Store as _, StoreFault};
use crate::service::wording::Wording;
use crate::store::SqlStore;
use jiff::Timestamp;
use jiff::civil::Time;
use rand_chacha::ChaCha8Rng;
use rand_chacha::rand_core::{Rng as _, SeedableRng as _};
use std::collections::HashMap;
use std::sync::Mutex;

/// 32-bit words of a ChaCha block (RFC 8439 section 2.3): just the draws of one page.
const BLOCK_WORDS: u128 = 16;
/// Threads that live through seasons at once, at most.
const THREADS_MAX: usize = 8;
/// Those not heard from are rung at this local time (an assumption: when people are at home).
const RING_AT: Time = Time::constant(18, 0, 0, 0);

/// The draws of a seed: one block of the cipher's key stream a page, found by its number and never in passing.
pub struct Draws(ChaCha8Rng);

impl Draws {
    /// Pages of a seed.
    pub fn new(seed: u64) -> Draws {
        Draws(ChaCha8Rng::seed_from_u64(seed))
    }
}

impl Chance for Draws {
    fn page(&self, page: Page) -> [f64; DRAWS] {
        let mut words = self.0.clone();
        words.set_stream(page.stream());
        words.set_word_pos(u128::from(page.block()) * BLOCK_WORDS);
        std::array::from_fn(|_| (words.next_u64() >> 11) as f64 / (1u64 << 53) as f64)
    }
}

/// What decides the words of a planned text.
type Worded = (HouseholdId, Vec<GuardianId>, Vec<Item>, String, bool);

/// Segments of planned texts, from their real words; the same words are composed once.
struct Scales<'a> {
    wording: &'a Wording,
    ways: &'a Ways,
    known: Mutex<HashMap<Worded, u32>>,
}

impl Scales<'_> {
    fn weigh(&self, board: &Board, wanted: &Wanted) -> u32 {
        let items = wanted.parts.iter().map(|(item, _)| *item).collect();
        let key = (wanted.household, wanted.guardians.clone(), items, wanted.wording.clone(), wanted.owes);
        if let Some(known) = self.known.lock().ok().and_then(|known| known.get(&key).copied()) {
            return known;
        }
        let segments = match preview(
            (board, &Record::default()),
            &HashMap::new(),
            self.wording,
            wanted,
            self.ways,
            wanted.due,
        ) {
            Ok(Content::Text(text)) => segments::count(&text).segments.len() as u32,
            // A wording that fails is told by `check` of the templates; here it counts as one.
            Ok(Content::Mail(_)) | Err(_) => 1,
        };
        if let Ok(mut known) = self.known.lock() {
            known.insert(key, segments);
        }
        segments
    }
}

/// How to rehearse.
#[derive(Debug, Clone, Copy)]
pub struct Wish {
    /// Seasons.
    pub seasons: u32,
    /// Seasons on which changes of plan are tried, at most all.
    pub tried: u32,
    /// Which families.
    pub seed: u64,
    /// From when on; none for the first notice.
    pub from: Option<Timestamp>,
    /// Days before an event at which those not heard from are rung.
    pub ring_days: i32,
    /// Days before an event for "settled early".
    pub early_days: i32,
    /// Price of a segment.
    pub per_text: Option<f64>,
    /// Price of a mail.
    pub per_mail: Option<f64>,
}

/// What a rehearsal showed.
pub struct Report {
    /// How it was rehearsed.
    pub wish: Wish,
    /// The season as it is planned.
    pub stage: Stage,
    /// How seasons go.
    pub outlook: RehearsalOutlook,
    /// What changes of plan would buy, the best first.
    pub gains: Vec<Gain>,
    /// The habits that were used.
    pub habits: Habits,
    /// What of them was learnt.
    pub fitted: Option<Fitted>,
}

/// What has happened in the season of a configuration, read against a board; none if no season was brought.
///
/// # Errors
/// The database cannot be opened or read.
pub async fn so_far(
    config: &Config,
    board: &Board,
    book: &Book,
    now: Timestamp,
) -> Result<Option<Record>, StoreFault> {
    let store = SqlStore::open(&config.data.database(), Box::new(HostRandom)).await?;
    let Some(stored) = store.season().await? else { return Ok(None) };
    let history = store.history(stored.id).await?;
    // A workbook that is not in force yet would be from now on.
    let revised_at = if stored.book == *book { stored.revised_at } else { now };
    Ok(Some(rebuild(board, &history, revised_at)))
}

/// Rehearses a season with what has happened in it so far; none if no notice falls due in it.
pub fn rehearse(
    season: &Season,
    so_far: Option<&Record>,
    wish: &Wish,
    wording: &Wording,
    ways: &Ways,
) -> Option<Report> {
    let changes: Vec<(VariantChange, Board)> = variants::worth_trying(season, wish.ring_days)
        .into_iter()
        .filter(|_| wish.tried > 0)
        .filter_map(|change| Some((change, Board::of(change.apply(season)?))))
        .collect();
    let board = Board::of(season.clone());
    let boards = || changes.iter().map(|(_, board)| board).chain([&board]);
    let first = boards().filter_map(first_due).min()?;
    first_due(&board)?;
    let from = wish.from.unwrap_or(first);
    let terms = Terms { from, ring_days: wish.ring_days, ring_at: RING_AT, early_days: wish.early_days };
    let nothing = Record { revised_at: from, ..Record::default() };
    let record = so_far.unwrap_or(&nothing);
    let fitted = so_far.map(|record| fitted(&board, record, from));
    let habits = fitted.as_ref().map_or(Habits::assumed(), |fitted| Habits::assumed().with(fitted));
    let stage = Stage::new(board, record, terms);
    let changed: Vec<(VariantChange, Stage)> =
        changes.into_iter().map(|(change, board)| (change, Stage::new(board, record, terms))).collect();
    let scales = Scales { wording, ways, known: Mutex::default() };
    let pages = Draws::new(wish.seed);
    let weigh = |board: &Board, wanted: &Wanted| scales.weigh(board, wanted);
    let share = |first: u32, step: u32| {
        let mut outlook = RehearsalOutlook::of(&stage);
        let mut gains: Vec<Gain> = changed.iter().map(|(change, _)| Gain::of(*change)).collect();
        for season in (first..wish.seasons).step_by(step as usize) {
            let course = run::live(&stage, &habits, &pages, season, &weigh);
            outlook.add(&stage, &course);
            if season < wish.tried {
                for (gain, (_, other)) in gains.iter_mut().zip(&changed) {
                    let after = run::live(other, &habits, &pages, season, &weigh);
                    gain.add((&stage, &course), (other, &after));
                }
            }
        }
        (outlook, gains)
    };
    let threads = std::thread::available_parallelism().map_or(1, usize::from).min(THREADS_MAX) as u32;
    let (outlook, mut gains) = std::thread::scope(|scope| {
        let share = &share;
        let others: Vec<_> = (1..threads).map(|first| scope.spawn(move || share(first, threads))).collect();
        let (mut outlook, mut gains) = share(0, threads);
        for other in others {
            let (more, better) = other.join().unwrap_or_else(|panic| std::panic::resume_unwind(panic));
            outlook.join(&more);
            gains.iter_mut().zip(&better).for_each(|(gain, other)| gain.join(other));
        }
        (outlook, gains)
    });
    gains.sort_by(|a, b| b.worth().total_cmp(&a.worth()));
    Some(Report { wish: *wish, stage, outlook, gains, habits, fitted })
}
