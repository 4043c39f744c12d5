//! The host's clock set wrong while the daemon runs, by a library that changes what programs are told of the time (faketime).

use super::database;
use super::host::{Daemon, Host, Sink, book_due, until};
use super::support::server::{MailServer, Script};
use jiff::{SignedDuration, Timestamp};
use std::path::{Path, PathBuf};
use std::time::Duration;

/// The library, where a distribution puts it; none where it is not installed, which is a failure where `CI` is set.
fn library(test: &str) -> Option<PathBuf> {
    let places =
        ["/usr/lib/x86_64-linux-gnu/faketime", "/usr/lib/aarch64-linux-gnu/faketime", "/usr/lib/faketime"];
    let found =
        places.iter().map(|place| Path::new(place).join("libfaketime.so.1")).find(|path| path.exists());
    if found.is_none() {
        assert!(
            std::env::var_os("CI").is_none(),
            "{test} needs faketime; tests/run installs what tests need"
        );
        println!("{test}: not run, faketime is not installed");
    }
    found
}

/// A daemon that is told the time by a file.
fn served_by(host: &Host, library: &Path, time: &Path) -> Daemon {
    let (library, file) = (library.display().to_string(), time.display().to_string());
    host.serve_in(&[
        ("LD_PRELOAD", &library),
        ("FAKETIME_TIMESTAMP_FILE", &file),
        ("FAKETIME_NO_CACHE", "1"),
        ("FAKETIME_DONT_FAKE_MONOTONIC", "1"),
    ])
}

/// Due in an hour or so: the next full hour but one, in the zone in which it is about noon.
fn in_more_than_an_hour() -> String {
    #[allow(clippy::disallowed_methods, reason = "the daemon under test has the host's clock")]
    let now = Timestamp::now().to_zoned_datetime(jiff::tz::TimeZone::UTC);
    format!("{:02}:{:02}", 13, now.minute().min(58) + 1)
}

/// Two hours forward: nothing that is not due is sent, the coordinator hears of it, and a person's word ends it
/// (reliability fault 25). Back again: nothing goes twice (fault 26).
#[tokio::test(flavor = "multi_thread")]
async fn a_clock_set_forward_sends_nothing_before_its_time() {
    let Some(library) = library("a_clock_set_forward_sends_nothing_before_its_time") else { return };
    let mail = MailServer::start(Script::default()).await;
    let (sink, port) = Sink::start().await;
    let book = book_due(20, ("14", &in_more_than_an_hour()));
    let host = Host::with("", &book, (mail.port, port), "");
    let time = host.path().join("time");
    std::fs::write(&time, "+0").unwrap();
    let daemon = served_by(&host, &library, &time);
    tokio::time::sleep(Duration::from_secs(2)).await;
    assert_eq!((mail.count(), sink.count()), (0, 0), "nothing is due yet");
    std::fs::write(&time, "+2h").unwrap();
    until("the coordinator is told", Duration::from_secs(60), async || {
        mail.seen().messages.iter().any(|mail| mail.contains("Allheard holds all messages"))
    })
    .await;
    let families =
        |mail: &MailServer| mail.seen().messages.iter().filter(|mail| mail.contains("To: g")).count();
    tokio::time::sleep(Duration::from_secs(5)).await;
    assert_eq!((families(&mail), sink.count()), (0, 0), "an hour early nothing leaves");
    let state = host.said(&["start"]);
    assert!(state.contains("clock") && state.contains("--clock-is-right"), "{state}");
    // Time alone lifts nothing; a person's word does. The text gateway's clock is heard only when the first texts leave: it
    // speaks against ours and may hold the rest, and a person's second word overrules that for good.
    let mut words = 0;
    let goes_on = |words: &mut usize| {
        *words += 1;
        assert!(host.said(&["start", "--clock-is-right"]).contains("noted: sending goes on"));
    };
    goes_on(&mut words);
    until("all that is due by that clock", Duration::from_secs(120), async || {
        if words == 1 && host.said(&["start"]).contains("ahead of that of the text gateway") {
            goes_on(&mut words);
        }
        tokio::time::sleep(Duration::from_secs(1)).await;
        families(&mail) >= 20 && sink.count() >= 20
    })
    .await;
    std::fs::write(&time, "+0").unwrap();
    tokio::time::sleep(SignedDuration::from_secs(8).unsigned_abs()).await;
    assert_eq!((families(&mail), sink.count()), (20, 20), "set back, nothing goes twice");
    drop(daemon);
}

/// Two daemons on one database judge each other's claims by their own clocks: one whose clock is a minute off the server's
/// claims nothing and says so (reliability fault 28), and goes on when the clock is right.
#[tokio::test(flavor = "multi_thread")]
async fn a_host_whose_clock_differs_from_the_servers_claims_nothing() {
    let test = "a_host_whose_clock_differs_from_the_servers_claims_nothing";
    let Some(library) = library(test) else { return };
    let Some(cluster) = database::server(test) else { return };
    let mail = MailServer::start(Script::default()).await;
    let (sink, port) = Sink::start().await;
    let host = Host::on(&cluster.database().await, 20, (mail.port, port), "");
    let time = host.path().join("time");
    std::fs::write(&time, "+60s").unwrap();
    let daemon = served_by(&host, &library, &time);
    until("the coordinator is told", Duration::from_secs(40), async || {
        mail.seen().messages.iter().any(|mail| mail.contains("clock is wrong"))
    })
    .await;
    let before = sink.count();
    tokio::time::sleep(Duration::from_secs(3)).await;
    assert!(
        sink.count() == before && before < 20,
        "{before} texts before the clocks were compared, none after"
    );
    let ready = daemon.get("/readyz");
    assert!(ready.contains("503") && ready.contains("differs from the database server"), "{ready}");
    std::fs::write(&time, "+0").unwrap();
    until("all that is due", Duration::from_secs(60), async || sink.times().len() >= 20).await;
    assert!(sink.times().values().all(|n| *n == 1));
}

/// Damage that comes while the daemon runs is found when the database is looked over by schedule, and ends it in one clear
/// line (reliability fault 23).
#[tokio::test(flavor = "multi_thread")]
async fn damage_under_way_is_found_by_schedule() {
    let Some(library) = library("damage_under_way_is_found_by_schedule") else { return };
    let mail = MailServer::start(Script::default()).await;
    let (_sink, port) = Sink::start().await;
    let host = Host::with("", &book_due(60, ("14", &in_more_than_an_hour())), (mail.port, port), "");
    let time = host.path().join("time");
    std::fs::write(&time, "+0").unwrap();
    let mut daemon = served_by(&host, &library, &time);
    tokio::time::sleep(Duration::from_secs(1)).await;
    use std::os::unix::fs::FileExt as _;
    let database = std::fs::OpenOptions::new().write(true).open(host.database()).unwrap();
    let pages = database.metadata().unwrap().len() / 4096;
    let noise: Vec<u8> = (0..4096_u32).map(|n| (n * 37 % 251) as u8).collect();
    for page in pages / 2..pages {
        database.write_all_at(&noise, page * 4096).unwrap();
    }
    // Six minutes pass, as far as the daemon can tell.
    std::fs::write(&time, "+6m").unwrap();
    daemon.ends(Duration::from_secs(60));
    let log = daemon.log.lock().unwrap().clone();
    assert!(log.contains("is damaged") && log.contains("allheard restore"), "{log}");
    assert!(!daemon.child.wait().unwrap().success());
}
