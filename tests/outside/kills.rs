//! The daemon killed while messages leave, on a file and on a server's database.

use super::database;
use super::host::{Host, Sink, from_environment, message_id, times, until};
use super::support::server::{MailServer, Script};
use std::collections::{BTreeMap, BTreeSet};
use std::time::{Duration, Instant};

/// Sessions of each road, and so the most of each that can be in flight.
const SESSIONS: usize = 4;

#[tokio::test(flavor = "multi_thread")]
async fn kills_lose_nothing_and_double_no_more_than_was_in_flight() {
    kill_while_messages_leave("").await;
}

#[tokio::test(flavor = "multi_thread")]
async fn kills_lose_nothing_on_postgresql() {
    let Some(cluster) = database::server("kills_lose_nothing_on_postgresql") else { return };
    kill_while_messages_leave(&cluster.database().await).await;
}

/// Kills while messages leave: nothing is lost, no text goes twice, and no more is in doubt than was in flight.
async fn kill_while_messages_leave(database: &str) {
    let (kills, families) =
        (from_environment("ALLHEARD_KILLS", 4), from_environment("ALLHEARD_FAMILIES", 48));
    let pause = Duration::from_millis(30);
    let mail = MailServer::start(Script { pause, ..Script::default() }).await;
    let (sink, port) = Sink::start().await;
    *sink.pause.lock().unwrap() = pause;
    let host = Host::on(database, families, (mail.port, port), "");
    // So that messages leave for as long as kills go on.
    host.paced(if kills > 10 { "8.0" } else { "20.0" });
    let mut open: BTreeSet<(String, i64)> = BTreeSet::new();
    let (mut while_sending, mut most, mut truly) = (0, 0, (0, 0));
    for killed in 0..kills {
        let mut daemon = host.serve();
        let before = mail.count() + sink.count();
        // Spread over the time in which messages leave, at whatever point of an exchange.
        let share = (3 * families / 2 / kills).max(1);
        let began = Instant::now();
        while mail.count() + sink.count() < before + share && began.elapsed() < Duration::from_secs(3) {
            tokio::time::sleep(Duration::from_millis(3)).await;
        }
        tokio::time::sleep(Duration::from_millis(37 * killed as u64 % 223)).await;
        while_sending += usize::from(mail.count() + sink.count() > before);
        truly.0 += mail.seen().open;
        truly.1 += *sink.open.lock().unwrap();
        daemon.child.kill().unwrap();
        daemon.child.wait().unwrap();
        // What was begun and not yet written down; some of it from the kill before. A server may still be at its last commit.
        tokio::time::sleep(Duration::from_millis(80)).await;
        let rows = host.ask("SELECT channel, state, id FROM message WHERE state = 'attempting'").await;
        let known = open.len();
        open.extend(rows.into_iter().map(|(channel, _, id)| (channel, id)));
        most = most.max(open.len() - known);
    }
    let mut daemon = host.serve();
    // What was claimed or begun by the dead is free within 90 seconds; a mail in doubt then goes once more.
    let began = Instant::now();
    until("nothing waits any more", Duration::from_secs(240), async || {
        let counts = host.counts().await;
        let waits =
            |state: &str| counts.iter().filter(|((_, s), _)| s == state).map(|(_, n)| *n).sum::<i64>();
        waits("planned") + waits("claimed") + waits("attempting") + waits("waiting_to_retry") == 0
            && host.mails_doubted_once().await == 0
    })
    .await;
    let settled = began.elapsed();
    daemon.signal("-TERM");
    daemon.ends(Duration::from_secs(20));
    let counts = host.counts().await;
    let in_doubt = |channel: &str| {
        counts.get(&(channel.to_owned(), "uncertain".to_owned())).copied().unwrap_or(0) as usize
    };
    let in_flight = |channel: &str| open.iter().filter(|(by, _)| by == channel).count();
    let sent = mail.seen().messages;
    let mails = times(sent.iter().filter(|mail| mail.contains("To: g")).map(|mail| message_id(mail)));
    let texts = sink.times();
    let doubled = |all: &BTreeMap<String, usize>| all.values().filter(|n| **n > 1).count();
    let aside = |channel: &str| {
        counts.get(&(channel.to_owned(), "quarantined".to_owned())).copied().unwrap_or(0) as usize
    };
    println!(
        "{}: {kills} kills, {while_sending} of them while messages left; {families} mails and {families} texts due: {} and {} \
         arrived, mails twice {}, texts twice {}; in flight at the kills {} mails and {} texts by the record, at most {most} at one, {} and {} by the carriers; left to a \
         person {} mails and {} texts, set aside {} and {}; settled {settled:?} after the last start",
        if database.is_empty() { "SQLite" } else { "PostgreSQL" },
        mails.len(),
        texts.len(),
        doubled(&mails),
        doubled(&texts),
        in_flight("mail"),
        in_flight("text"),
        truly.0,
        truly.1,
        in_doubt("mail"),
        in_doubt("text"),
        aside("mail"),
        aside("text"),
    );
    assert_eq!((aside("mail"), aside("text")), (0, 0), "nothing is taken for what ended the program");
    assert!(
        mails.len() + in_doubt("mail") >= families,
        "every mail arrived or is shown to a person: {counts:?}"
    );
    assert!(
        texts.len() + in_doubt("text") >= families,
        "every text arrived or is shown to a person: {counts:?}"
    );
    assert_eq!(doubled(&texts), 0, "no text twice");
    assert!(mails.values().all(|n| *n <= 2), "no mail more than twice");
    // Of each road as many as it has sessions, and as many answered a moment ago and not yet written down.
    assert!(most <= 4 * SESSIONS, "no more at a kill than there are sessions: {most}");
    assert!(doubled(&mails) <= in_flight("mail"), "no mail twice that was not in flight at a kill");
    assert!(in_doubt("text") <= in_flight("text"), "no text in doubt that was not in flight at a kill");
    let verified = host.said(&["ledger", "verify"]);
    assert!(verified.contains("whole"), "{verified}");
}
