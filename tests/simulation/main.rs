//! Seasons lived through step by step with a clock of our own: seeded families, carriers, changes and crashes, and
//! the promises checked from outside after every step.

#![allow(clippy::print_stderr, reason = "what is left out is said")]
#![allow(clippy::unwrap_used, clippy::expect_used, reason = "a helper of a test may fail the test")]

#[path = "../common/mod.rs"]
mod common;
#[path = "../support/database.rs"]
mod database;
mod post;
mod run;
mod school;

use run::{Outcome, Run, Setup, crash_points};
use std::collections::BTreeSet;
use std::sync::Mutex;
use std::sync::atomic::{AtomicU64, Ordering};

/// Small seasons in one go; the environment variable `ALLHEARD_SEASONS` asks for another number.
const SEASONS: u64 = 12;
/// Crashing seasons that are lived through on both databases.
const SEEDS_ON_BOTH: [u64; 2] = [1, 6];
/// Threads that live through seasons side by side.
const WORKERS: usize = 2;

fn live(setup: Setup) -> Outcome {
    let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build().expect("a runtime");
    runtime.block_on(async { Run::new(setup).await.finish().await })
}

fn seasons() -> u64 {
    std::env::var("ALLHEARD_SEASONS").ok().and_then(|n| n.parse().ok()).unwrap_or(SEASONS)
}

#[test]
fn promises_hold_in_every_season_whatever_crashes() {
    let (next, crashed, totals) =
        (AtomicU64::new(0), Mutex::new(BTreeSet::new()), Mutex::new((0, 0, 0, 0, 0)));
    let broken: Mutex<Vec<String>> = Mutex::new(Vec::new());
    std::thread::scope(|scope| {
        for _ in 0..WORKERS {
            scope.spawn(|| {
                loop {
                    let seed = next.fetch_add(1, Ordering::Relaxed);
                    if seed >= seasons() {
                        break;
                    }
                    let outcome = live(Setup::crashing(seed));
                    crashed.lock().unwrap().extend(outcome.crashed);
                    let lines = outcome.breaches.iter().map(|b| format!("seed {seed}: {b}"));
                    broken.lock().unwrap().extend(lines);
                    let mut totals = totals.lock().unwrap();
                    totals.0 += outcome.steps;
                    totals.1 += outcome.offers;
                    totals.2 += outcome.answers;
                    totals.3 += outcome.digests;
                    totals.4 += outcome.held;
                }
            });
        }
    });
    let broken = broken.into_inner().unwrap();
    let (steps, offers, answers, digests, held) = totals.into_inner().unwrap();
    println!(
        "{} seasons: {steps} steps, {offers} parcels and {digests} digests offered, {answers} answers, held {held} times",
        seasons()
    );
    assert!(broken.is_empty(), "{} breaches:\n{}", broken.len(), broken[..broken.len().min(12)].join("\n"));
    assert!(offers > 0 && answers > 0 && digests > 0 && held > 0, "something happened");
    let crashed = crashed.into_inner().unwrap();
    let missed: Vec<_> = crash_points().into_iter().filter(|p| !crashed.contains(p)).collect();
    assert!(seasons() < SEASONS || missed.is_empty(), "never crashed at {missed:?}");
}

#[test]
fn one_seed_is_one_season() {
    for seed in [3, 4] {
        let (first, second) = (live(Setup::small(seed)), live(Setup::small(seed)));
        assert_eq!(first.breaches, Vec::<String>::new());
        assert_eq!(first.trace, second.trace, "seed {seed}");
    }
    assert_ne!(live(Setup::small(3)).trace, live(Setup::small(7)).trace);
}

#[test]
fn a_season_is_the_same_on_both_databases() {
    let Some(cluster) = database::server("a_season_is_the_same_on_both_databases") else { return };
    for seed in SEEDS_ON_BOTH {
        let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build().expect("a runtime");
        let url = runtime.block_on(cluster.database());
        let on_server = live(Setup { url: Some(url), ..Setup::crashing(seed) });
        let on_file = live(Setup::crashing(seed));
        assert_eq!(on_server.breaches, Vec::<String>::new(), "seed {seed}");
        assert_eq!(on_server.trace, on_file.trace, "seed {seed}");
        assert_eq!(on_server.standings, on_file.standings, "seed {seed}");
        let mut kinds: Vec<_> = on_file.standings.iter().filter_map(|line| line.rsplit(' ').next()).collect();
        kinds.sort_unstable();
        kinds.dedup();
        println!("seed {seed}: {} events, standings {kinds:?}", on_file.events);
        assert!(
            on_file.events >= 1_000 && kinds.len() > 1,
            "seed {seed}: {} events, {kinds:?}",
            on_file.events
        );
        assert_eq!((on_server.steps, on_server.offers), (on_file.steps, on_file.offers), "seed {seed}");
    }
}

#[test]
fn with_nothing_in_the_way_the_first_plan_is_what_leaves() {
    let mut setup = Setup::small(8);
    (setup.calm, setup.answers) = (true, false);
    setup.changes.clear();
    let outcome = live(setup);
    assert_eq!(outcome.breaches, Vec::<String>::new());
    assert_eq!(outcome.references, outcome.planned_at_first);
    assert_eq!(outcome.offers, outcome.references.len(), "each once");
}

#[test]
fn promises_hold_in_a_season_of_full_size() {
    let outcome = live(Setup::demo(2));
    println!("{} steps, {} parcels offered, {} answers", outcome.steps, outcome.offers, outcome.answers);
    assert_eq!(outcome.breaches, Vec::<String>::new());
    assert!(outcome.offers > 300 && !outcome.crashed.is_empty());
}

#[test]
fn a_carrier_that_is_handed_a_parcel_twice_is_noticed() {
    let mut setup = Setup::small(8);
    setup.twice = true;
    let outcome = live(setup);
    assert!(outcome.breaches.iter().any(|b| b.starts_with("2:")), "{:?}", outcome.breaches);
    assert!(outcome.breaches.iter().any(|b| b.starts_with("1:")), "{:?}", outcome.breaches);
}
