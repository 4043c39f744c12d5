//! The database on a server: killed, away for a while, asked for over TLS.

use super::database;
use super::host::{Host, Sink, from_environment, message_id, times, until};
use super::support::server::{MailServer, Script};
use std::time::{Duration, Instant};

/// A database that is killed and comes back: meanwhile nothing is sent, afterwards all that is due, nothing twice
/// (reliability fault 22). `ALLHEARD_AWAY_SECONDS=3600` keeps it away for an hour.
#[tokio::test(flavor = "multi_thread")]
async fn a_database_that_goes_away_is_waited_for() {
    let away = from_environment("ALLHEARD_AWAY_SECONDS", 6) as u64;
    let Some(cluster) = database::server("a_database_that_goes_away_is_waited_for") else { return };
    let mail = MailServer::start(Script { pause: Duration::from_millis(200), ..Script::default() }).await;
    let (sink, port) = Sink::start().await;
    *sink.pause.lock().unwrap() = Duration::from_millis(200);
    let host = Host::on(&cluster.database().await, 80, (mail.port, port), "");
    let mut daemon = host.serve();
    until("some have gone", Duration::from_secs(30), async || mail.count() >= 8 && sink.count() >= 8).await;
    cluster.kill();
    // What was in flight at that moment may still arrive.
    tokio::time::sleep(Duration::from_secs(2)).await;
    let before = (mail.count(), sink.count());
    let ready = daemon.get("/readyz");
    assert!(ready.starts_with("HTTP/1.1 503"), "{ready}");
    tokio::time::sleep(Duration::from_secs(away.saturating_sub(2))).await;
    // After a quarter of an hour it ends with a clear line, and whoever looks after services starts it afresh.
    let ended = daemon.child.try_wait().unwrap();
    if let Some(ended) = ended {
        let log = daemon.log.lock().unwrap().clone();
        assert!(!ended.success() && log.contains("every round has failed for 15 minutes"), "{log}");
        let started = host.said(&["serve"]);
        assert!(started.contains("cannot be reached"), "{started}");
    }
    let told = mail.seen().messages.iter().filter(|mail| mail.contains("Allheard cannot")).count();
    assert_eq!(
        (mail.count() - told, sink.count()),
        before,
        "nothing leaves that cannot be written down first"
    );
    cluster.again();
    let back = Instant::now();
    if ended.is_some() {
        daemon = host.serve();
    }
    until("all that is due", Duration::from_secs(150), async || {
        let sent = mail.seen().messages;
        times(sent.iter().filter(|mail| mail.contains("To: g")).map(|mail| message_id(mail))).len() >= 80
            && sink.times().len() + host.in_state("uncertain").await as usize >= 80
            && daemon.get("/readyz").starts_with("HTTP/1.1 200")
    })
    .await;
    let sent = mail.seen().messages;
    let mails = times(sent.iter().filter(|mail| mail.contains("To: g")).map(|mail| message_id(mail)));
    let twice = mails.values().filter(|n| **n > 1).count();
    println!(
        "away for {away} s; all sent {:?} after it was back; mails twice {twice}, in doubt {}",
        back.elapsed(),
        host.in_state("uncertain").await
    );
    // In flight; and where the daemon ended meanwhile, what had been answered a moment before: that is gone with it.
    let most = if ended.is_some() { 8 } else { 4 };
    assert!(twice <= most, "no more mails twice than were in flight: {twice}");
    assert!(sink.times().values().all(|n| *n == 1), "no text twice");
    daemon.signal("-TERM");
    daemon.ends(Duration::from_secs(20));
    assert!(host.said(&["ledger", "verify"]).contains("whole"));
}
