//! How fast mail leaves over one session. Against the stall of an unset TCP_NODELAY (44 ms a message) none of these
//! figures is in reach: it would be 23 messages a second.

#![allow(clippy::print_stdout, reason = "figures and findings are shown")]
#![allow(clippy::unwrap_used, reason = "what cannot be set up fails its test")]

mod support;

use allheard::domain::graph::State;
use allheard::domain::season::Channel;
use allheard::gateway::smtp::Protection;
use allheard::service::ports::{Gateway as _, Outcome, Store as _};
use std::process::Command;
use std::time::{Duration, Instant};
use support::office::{Season, parcel, server, smtp};
use support::peers::{Running, free_port, program, ready};
use support::server::{MailServer, Script};
use tempfile::TempDir;

/// What one session must do, messages a second.
const PER_SECOND: f64 = 500.0;
/// The same for the whole office in a build without optimisation, where composing takes most of the time.
const PER_SECOND_UNOPTIMISED: f64 = 60.0;

/// One after another: each is measured alone.
static ALONE: tokio::sync::Mutex<()> = tokio::sync::Mutex::const_new(());

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn one_session_passes_on_without_a_stall() {
    const MAILS: usize = 200;
    let _alone = ALONE.lock().await;
    let there = MailServer::start(Script::default()).await;
    let gateways = smtp(server(there.port, Protection::None));
    let began = Instant::now();
    for nth in 0..MAILS {
        assert_eq!(gateways.send(&parcel(nth, "guardian@example.org")).await.outcome, Outcome::Accepted);
    }
    let rate = MAILS as f64 / began.elapsed().as_secs_f64();
    println!("one session: {rate:.0} messages of 2 KB a second");
    let seen = there.seen();
    assert_eq!((seen.sessions, seen.messages.len()), (1, MAILS));
    assert!(seen.messages[0].len() > 2_000, "{}", seen.messages[0].len());
    assert!(rate >= PER_SECOND, "{rate:.0} messages a second");
}

/// Postfix's own sink takes the mail; the office claims, composes, writes attempts and outcomes to a file as always.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn the_whole_office_keeps_one_session_busy() {
    const MAILS: usize = 1_500;
    let sink = program("smtp-sink");
    if !ready("the_whole_office_keeps_one_session_busy", std::slice::from_ref(&sink)) {
        return;
    }
    let _alone = ALONE.lock().await;
    let port = free_port();
    let mut command = Command::new(sink.unwrap());
    if support::peers::root().is_ok() {
        command.args(["-u", "nobody"]);
    }
    let _sink = Running::start(command.arg("-4").arg(format!("127.0.0.1:{port}")).arg("64"), port);

    let folder = TempDir::new().unwrap();
    let season = Season::open(folder.path(), 3, smtp(server(port, Protection::None))).await;
    season.office.plan_tick().await.unwrap();
    let row = season.row().await;
    let mailed = async || {
        let counts = season.office.store.counts(row).await.unwrap();
        let of = |(state, channel, n): &(State, Channel, u64)| {
            if (*state, *channel) == (State::Accepted, Channel::Mail) { *n as usize } else { 0 }
        };
        counts.iter().map(of).sum::<usize>()
    };
    let (mut sent, mut busy) = (0, Duration::ZERO);
    while mailed().await < MAILS && season.advance().await {
        let began = Instant::now();
        sent += season.office.send_tick().await.unwrap().accepted;
        busy += began.elapsed();
    }
    let mails = mailed().await;
    assert!(mails >= MAILS, "{mails} mails");
    // Texts of the same ticks cost the office as much to write down; they go to memory and are not counted.
    let rate = mails as f64 / busy.as_secs_f64();
    println!(
        "whole office, one session: {rate:.0} mails a second, with {} texts in the same time",
        sent - mails
    );
    let floor = if cfg!(debug_assertions) { PER_SECOND_UNOPTIMISED } else { PER_SECOND };
    assert!(rate >= floor, "{rate:.0} mails a second");
}
