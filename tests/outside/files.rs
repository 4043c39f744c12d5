//! The data folder: copies, damage, rights, a full disk.

use super::host::{Host, Sink, from_environment, message_id, times, until};
use super::support::server::{MailServer, Script};
use std::collections::BTreeMap;
use std::io::Write as _;
use std::path::Path;
use std::process::Command;
use std::time::{Duration, Instant};

/// A copy put back sends nothing again: the journal beside the database knows better (reliability fault 24).
#[tokio::test(flavor = "multi_thread")]
async fn a_copy_put_back_sends_nothing_again() {
    let mail = MailServer::start(Script { pause: Duration::from_millis(100), ..Script::default() }).await;
    let (sink, port) = Sink::start().await;
    *sink.pause.lock().unwrap() = Duration::from_millis(100);
    let host = Host::new(80, mail.port, port, "");
    let mut daemon = host.serve();
    until("some have gone", Duration::from_secs(20), async || mail.count() >= 10).await;
    let copied = host.said(&["backup", "copy.db"]);
    assert!(copied.contains("copied and looked over"), "{copied}");
    assert!(host.said(&["backup", "copy.db"]).contains("is there already"));
    let at_the_copy = mail.count() + sink.count();
    assert!(host.said(&["restore", "copy.db", "--yes"]).contains("is running"), "not while it runs");
    until("all have gone", Duration::from_secs(30), async || mail.count() >= 80 && sink.count() >= 80).await;
    daemon.signal("-TERM");
    daemon.ends(Duration::from_secs(20));
    // Twice: the one kept the first time is not lost by the second.
    for kept in 1..=2 {
        let put_back = host.said(&["restore", "copy.db", "--yes"]);
        assert!(put_back.contains("put back"), "{put_back}");
        let entries = std::fs::read_dir(host.path().join("data")).unwrap();
        let names = entries.map(|entry| entry.unwrap().file_name().into_string().unwrap());
        let before = names.filter(|name| {
            name.contains(".before-restore-") && !name.ends_with("-wal") && !name.ends_with("-shm")
        });
        assert_eq!(before.count(), kept);
    }
    let _again = host.serve();
    tokio::time::sleep(Duration::from_secs(4)).await;
    let names = |sent: Vec<String>| times(sent.into_iter()).into_values().filter(|n| *n > 1).count();
    let mails = names(mail.seen().messages.iter().map(|mail| message_id(mail)).collect());
    let texts = sink.times().into_values().filter(|n| *n > 1).count();
    println!("{at_the_copy} of 160 had gone at the copy; {mails} mails and {texts} texts were sent twice");
    assert_eq!((mails, texts), (0, 0));
    let state = host.said(&["start"]);
    assert!(state.contains("older than what was sent since") && state.contains("--after-restore"), "{state}");
    // What the coordinator was told went out though everything is held.
    assert!(mail.seen().messages.iter().any(|mail| mail.contains("Allheard holds all messages")));
    // When a person has agreed, what is in doubt still waits for a decision of its own.
    assert!(host.said(&["start", "--after-restore"]).contains("noted: sending goes on"));
    tokio::time::sleep(Duration::from_secs(2)).await;
    let again = names(mail.seen().messages.iter().map(|mail| message_id(mail)).collect());
    assert_eq!(again, 0);
}

/// A copy that is none, and a database that is damaged, are refused in one clear line (reliability fault 23).
#[tokio::test(flavor = "multi_thread")]
async fn what_is_damaged_is_said_at_the_start() {
    let mail = MailServer::start(Script::default()).await;
    let (_sink, port) = Sink::start().await;
    let host = Host::new(60, mail.port, port, "");
    std::fs::write(host.path().join("none.db"), b"not a database at all, and long enough to be looked at")
        .unwrap();
    assert!(host.said(&["restore", "none.db", "--yes"]).contains("no sound copy"));
    assert!(host.said(&["restore", "missing.db"]).contains("there is no such file"));
    std::fs::write(host.path().join("empty.db"), b"").unwrap();
    assert!(host.said(&["restore", "empty.db", "--yes"]).contains("database of something else"));
    assert!(host.said(&["restore", "data", "--yes"]).contains("it is no file"));
    let file = host.database();
    let mut octets = std::fs::read(&file).unwrap();
    let middle = octets.len() / 2 / 4096 * 4096;
    octets[middle..middle + 8192].iter_mut().enumerate().for_each(|(n, octet)| *octet = (n * 37 % 251) as u8);
    std::fs::write(&file, octets).unwrap();
    let started = host.run(&["serve"]);
    let words = String::from_utf8_lossy(&started.stderr).into_owned();
    assert!(
        !started.status.success() && words.contains("is damaged") && words.contains("allheard restore"),
        "{words}"
    );
}

/// What others on the host could read is not readable; what they can is said.
#[cfg(unix)]
#[tokio::test(flavor = "multi_thread")]
async fn what_is_written_is_its_owners_alone() {
    use std::os::unix::fs::PermissionsExt as _;
    let mail = MailServer::start(Script::default()).await;
    let (_sink, port) = Sink::start().await;
    let host = Host::new(4, mail.port, port, "secret = \"hush\"\n");
    let daemon = host.serve();
    until("all mails", Duration::from_secs(20), async || mail.count() >= 4).await;
    let mode = |path: &Path| std::fs::metadata(path).unwrap().permissions().mode() & 0o777;
    let data = host.path().join("data");
    assert_eq!(mode(&data), 0o700);
    for entry in std::fs::read_dir(&data).unwrap() {
        let path = entry.unwrap().path();
        assert_eq!(mode(&path), 0o600, "{}", path.display());
    }
    let copied = host.said(&["backup", "copy.db"]);
    assert!(copied.contains("copied"), "{copied}");
    assert_eq!(mode(&host.path().join("copy.db")), 0o600);
    let log = daemon.log.lock().unwrap().clone();
    assert!(log.contains("holds a secret and others on this host can read it"), "{log}");
    assert!(!log.contains("/enter/") && !log.contains("hush"), "no link and no secret in the log: {log}");
    assert!(!log.contains('\u{1b}'), "no colours where nobody looks: {log}");
}

/// A full disk stops nothing for good: nothing leaves that is not written down, `/readyz` says so, and sending goes on by
/// itself when there is room (reliability fault 21).
#[tokio::test(flavor = "multi_thread")]
#[ignore = "needs leave to mount a small file system; run it by `cargo test --test outside -- --ignored`"]
async fn a_full_disk_is_waited_out() {
    let seconds = from_environment("ALLHEARD_FULL_SECONDS", 20) as u64;
    let mail = MailServer::start(Script { pause: Duration::from_millis(300), ..Script::default() }).await;
    let (sink, port) = Sink::start().await;
    *sink.pause.lock().unwrap() = Duration::from_millis(300);
    let host = Host::new(150, mail.port, port, "");
    // The season was brought into an ordinary folder; it goes on in one of 24 MiB.
    let data = host.path().join("data");
    let kept = host.path().join("kept");
    std::fs::rename(&data, &kept).unwrap();
    std::fs::create_dir(&data).unwrap();
    let run = |program: &str, arguments: &[&str]| {
        assert!(Command::new(program).args(arguments).status().unwrap().success(), "{program} {arguments:?}");
    };
    let place = data.display().to_string();
    run("mount", &["-t", "tmpfs", "-o", "size=24m", "none", &place]);
    for entry in std::fs::read_dir(&kept).unwrap() {
        let entry = entry.unwrap();
        std::fs::copy(entry.path(), data.join(entry.file_name())).unwrap();
    }
    let mut daemon = host.serve();
    until("some have gone", Duration::from_secs(20), async || mail.count() >= 8).await;
    let filler = data.join("filler");
    let mut file = std::fs::File::create(&filler).unwrap();
    while file.write_all(&[0; 65_536]).is_ok() {}
    while file.write_all(&[0; 512]).is_ok() {}
    let full = Instant::now();
    tokio::time::sleep(Duration::from_secs(4)).await;
    let ready = daemon.get("/readyz");
    assert!(ready.starts_with("HTTP/1.1 503"), "{ready}");
    let told = |seen: &super::support::server::Seen| {
        seen.messages.iter().any(|mail| mail.contains("Allheard cannot write"))
    };
    until("the coordinator is told", Duration::from_secs(30), async || told(&mail.seen())).await;
    let stuck = mail.count();
    while full.elapsed() < Duration::from_secs(seconds) {
        tokio::time::sleep(Duration::from_millis(200)).await;
    }
    let still = mail.count();
    std::fs::remove_file(&filler).unwrap();
    drop(file);
    let freed = Instant::now();
    until("sending goes on", Duration::from_secs(40), async || mail.count() > still + 4).await;
    let resumed = freed.elapsed();
    until("all that is due", Duration::from_secs(120), async || {
        let mails = times(mail.seen().messages.iter().map(|mail| message_id(mail)));
        mails.len() > 150 && sink.count() >= 150 && daemon.get("/readyz").starts_with("HTTP/1.1 200")
    })
    .await;
    let texts = sink.times();
    let mails = times(mail.seen().messages.iter().map(|mail| message_id(mail)));
    let twice = |all: &BTreeMap<String, usize>| all.values().filter(|n| **n > 1).count();
    println!(
        "full for {seconds} s ({} mails left meanwhile); sending again {resumed:?} after there was room; mails twice {}, texts twice {}",
        still - stuck,
        twice(&mails),
        twice(&texts)
    );
    daemon.signal("-TERM");
    daemon.ends(Duration::from_secs(20));
    let verified = host.said(&["ledger", "verify"]);
    run("umount", &[&place]);
    assert!(verified.contains("whole"), "{verified}");
    assert_eq!((twice(&mails), twice(&texts)), (0, 0));
}
