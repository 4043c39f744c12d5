//! The carriers against the outside: what SMTP answers mean (RFC 5321 4.2, RFC 3463), and what lies in the folder.

#![allow(clippy::unwrap_used, reason = "what cannot be set up fails its test")]

mod support;

use allheard::domain::graph::State;
use allheard::domain::season::Channel;
use allheard::gateway::folder::Folder;
use allheard::gateway::memory::{Fate, Memory};
use allheard::gateway::smtp::{Protection, Server, Smtp, SmtpFault, dial};
use allheard::gateway::{Carrier, Gateways, Road, Texts};
use allheard::service::ports::{Content, Gateway as _, Outcome, Store as _};
use jiff::SignedDuration;
use std::fs;
use std::path::{Path, PathBuf};
use std::sync::{Arc, Mutex};
use support::office::{Season, gateways, identity, parcel, server, smtp};
use support::peers::{certificate, program, ready};
use support::server::{HangUp, MailServer, Script, Tls, acceptor};
use tempfile::TempDir;

const TO: &str = "guardian@example.org";

/// Sends one mail to a server with a script; gives back its outcome and the server.
async fn one(script: Script) -> (Outcome, MailServer) {
    let there = MailServer::start(script).await;
    let outcome = smtp(server(there.port, Protection::None)).send(&parcel(1, TO)).await.outcome;
    (outcome, there)
}

fn temporary(outcome: &Outcome) -> bool {
    matches!(outcome, Outcome::Temporary { .. })
}

fn out(outcome: &Outcome) -> bool {
    matches!(outcome, Outcome::Unusable { .. })
}

fn suspect(outcome: &Outcome) -> bool {
    matches!(outcome, Outcome::Suspect { .. })
}

fn refused(outcome: &Outcome, of_the_address: bool) -> bool {
    matches!(outcome, Outcome::Refused { address, .. } if *address == of_the_address)
}

#[tokio::test]
async fn a_mail_that_is_taken_is_accepted_once() {
    let (outcome, there) = one(Script::default()).await;
    assert_eq!(outcome, Outcome::Accepted);
    let seen = there.seen();
    assert_eq!((seen.sessions, seen.messages.len()), (1, 1));
    assert!(
        seen.commands.contains(&"MAIL FROM:<bounces@school.example> BODY=8BITMIME".to_owned()),
        "{seen:?}"
    );
    assert!(seen.commands.contains(&format!("RCPT TO:<{TO}>")), "{seen:?}");
    assert!(seen.messages[0].contains("Message-ID: <parcel1@school.example>\r\n"));
}

#[tokio::test]
async fn the_socket_sends_at_once() {
    let there = MailServer::start(Script::default()).await;
    let socket = dial("localhost", there.port).await.unwrap();
    assert!(socket.nodelay().unwrap(), "TCP_NODELAY");
}

#[tokio::test]
async fn answers_mean_what_the_standard_says() {
    type Expect = fn(&Outcome) -> bool;
    let cases: &[(&str, Script, Expect)] = &[
        ("greylisted", Script { recipient: "451 4.7.1 try later", ..Script::default() }, temporary),
        ("mailbox full", Script { recipient: "452 4.2.2 full", ..Script::default() }, temporary),
        ("no such mailbox", Script { recipient: "550 5.1.1 no such user", ..Script::default() }, |o| {
            refused(o, true)
        }),
        ("disabled mailbox", Script { recipient: "550 5.2.1 disabled", ..Script::default() }, |o| {
            refused(o, true)
        }),
        ("no class", Script { recipient: "550 no such user", ..Script::default() }, |o| refused(o, true)),
        ("relaying denied", Script { recipient: "554 5.7.1 denied", ..Script::default() }, suspect),
        (
            "a class in an address",
            Script { recipient: "550 no user 5.7.1@example.org", ..Script::default() },
            |o| refused(o, true),
        ),
        ("sender refused", Script { mail: "550 5.7.1 not you", ..Script::default() }, out),
        ("sender put off", Script { mail: "451 4.7.0 later", ..Script::default() }, out),
        ("no data", Script { data: "554 5.7.1 denied", ..Script::default() }, suspect),
        ("content refused", Script { end: "554 5.7.1 refused", ..Script::default() }, suspect),
        ("no reason given", Script { end: "554 no", ..Script::default() }, suspect),
        ("spam", Script { end: "550 5.6.0 not so", ..Script::default() }, |o| refused(o, false)),
        ("too large", Script { end: "552 5.3.4 too large", ..Script::default() }, |o| refused(o, false)),
        ("closing", Script { recipient: "421 4.3.2 closing", ..Script::default() }, out),
        ("no room", Script { end: "452 4.3.1 no room", ..Script::default() }, temporary),
        ("busy", Script { greeting: "421 4.3.2 busy", ..Script::default() }, out),
        ("no service", Script { greeting: "554 5.3.2 no", ..Script::default() }, out),
    ];
    for (name, script, expect) in cases {
        let (outcome, _) = one(script.clone()).await;
        assert!(expect(&outcome), "{name}: {outcome:?}");
    }
}

#[tokio::test]
async fn a_lost_answer_to_the_data_is_uncertain_and_nothing_before_it_is() {
    let (outcome, there) = one(Script { hang_up: HangUp::AfterData, ..Script::default() }).await;
    assert!(matches!(outcome, Outcome::Uncertain { .. }), "{outcome:?}");
    assert_eq!(there.seen().messages.len(), 1, "it had it all, and is not given it again");

    let (outcome, there) = one(Script { hang_up: HangUp::AtRecipient, ..Script::default() }).await;
    assert!(out(&outcome), "{outcome:?}");
    assert_eq!((there.seen().sessions, there.seen().messages.len()), (1, 0));
}

#[tokio::test]
async fn nobody_there_is_no_mails_fault() {
    let port = support::peers::free_port();
    let outcome = smtp(server(port, Protection::None)).send(&parcel(1, TO)).await.outcome;
    assert!(out(&outcome), "{outcome:?}");
}

#[tokio::test]
async fn a_session_serves_many_mails_and_a_refused_one_does_not_end_it() {
    let there = MailServer::start(Script::default()).await;
    let gateways = smtp(server(there.port, Protection::None));
    for nth in 0..5 {
        assert_eq!(gateways.send(&parcel(nth, TO)).await.outcome, Outcome::Accepted);
    }
    assert_eq!((there.seen().sessions, there.seen().messages.len()), (1, 5));

    let there = MailServer::start(Script { recipient: "550 5.1.1 no such user", ..Script::default() }).await;
    let gateways = smtp(server(there.port, Protection::None));
    for nth in 0..3 {
        assert!(refused(&gateways.send(&parcel(nth, TO)).await.outcome, true));
    }
    assert_eq!(there.seen().sessions, 1);
}

#[tokio::test]
async fn a_kept_session_the_server_closed_is_opened_again_in_silence() {
    let timed_out = Script { second: Some("421 4.4.2 idle too long"), ..Script::default() };
    for script in [Script { hang_up: HangUp::AfterMessages(1), ..Script::default() }, timed_out] {
        let there = MailServer::start(script).await;
        let gateways = smtp(server(there.port, Protection::None));
        for nth in 0..3 {
            let outcome = gateways.send(&parcel(nth, TO)).await.outcome;
            assert_eq!(outcome, Outcome::Accepted, "mail {nth}");
        }
        let seen = there.seen();
        let of = |nth: usize| seen.messages.iter().filter(|m| m.contains(&format!("<parcel{nth}@"))).count();
        assert_eq!((seen.sessions, [of(0), of(1), of(2)]), (3, [1, 1, 1]));
    }
}

/// A session that failed is never used for the next mail: an answer that comes late would be taken for that mail's own.
#[tokio::test]
async fn a_broken_session_is_not_kept() {
    let there = MailServer::start(Script { hang_up: HangUp::AtRecipient, ..Script::default() }).await;
    let gateways = smtp(server(there.port, Protection::None));
    for nth in 0..3 {
        assert!(out(&gateways.send(&parcel(nth, TO)).await.outcome));
        assert_eq!(there.seen().sessions, nth + 1, "one fresh session a mail, and no second try");
    }
}

/// Certificates, made anew for a test by the tool openssl.
fn certificates(test: &str) -> Option<TempDir> {
    ready(test, &[program("openssl")]).then(|| {
        let folder = TempDir::new().unwrap();
        certificate(folder.path());
        folder
    })
}

fn trusting(port: u16, protection: Protection, folder: &Path) -> Server {
    Server {
        login: Some(("season".to_owned(), "secret".to_owned())),
        trusted: Some(fs::read(folder.join("ca.pem")).unwrap()),
        ..server(port, protection)
    }
}

#[tokio::test]
async fn both_kinds_of_tls_protect_login_and_mail() {
    let Some(folder) = certificates("both_kinds_of_tls_protect_login_and_mail") else { return };
    let tls = acceptor(folder.path());
    for (kind, protection) in
        [(Tls::Offered(tls.clone()), Protection::StartTls), (Tls::AtOnce(tls), Protection::Tls)]
    {
        let there = MailServer::start(Script { tls: Some(kind), ..Script::default() }).await;
        let outcome =
            smtp(trusting(there.port, protection, folder.path())).send(&parcel(1, TO)).await.outcome;
        assert_eq!(outcome, Outcome::Accepted, "{protection:?}");
        let seen = there.seen();
        assert_eq!((seen.messages.len(), seen.encrypted), (1, 1), "{protection:?}");
        let auth = seen.commands.iter().position(|c| c == "AUTH").unwrap();
        let starttls = seen.commands.iter().position(|c| c == "STARTTLS");
        assert_eq!(starttls.is_some_and(|at| at < auth), protection == Protection::StartTls, "{seen:?}");
    }
}

#[tokio::test]
async fn a_server_that_cannot_be_trusted_gets_no_mail() {
    let test = "a_server_that_cannot_be_trusted_gets_no_mail";
    let (Some(own), Some(other)) = (certificates(test), certificates(test)) else { return };
    let tls = acceptor(own.path());
    let cases = [
        ("no STARTTLS", None, Protection::StartTls, own.path()),
        ("another's certificate", Some(Tls::Offered(tls.clone())), Protection::StartTls, other.path()),
        ("another's certificate", Some(Tls::AtOnce(tls)), Protection::Tls, other.path()),
    ];
    for (name, kind, protection, trusted) in cases {
        let there = MailServer::start(Script { tls: kind, ..Script::default() }).await;
        let outcome = smtp(trusting(there.port, protection, trusted)).send(&parcel(1, TO)).await.outcome;
        assert!(matches!(outcome, Outcome::Unusable { .. }), "{name}: {outcome:?}");
        let seen = there.seen();
        let told = seen.commands.iter().any(|c| c.starts_with("MAIL") || c == "AUTH");
        assert!(!told && seen.messages.is_empty(), "{name}: {seen:?}");
    }
}

#[tokio::test]
async fn a_refused_login_is_no_mails_fault() {
    let Some(folder) = certificates("a_refused_login_is_no_mails_fault") else { return };
    let tls = Some(Tls::Offered(acceptor(folder.path())));
    for login in ["535 5.7.8 wrong", "454 4.7.0 later"] {
        let there = MailServer::start(Script { tls: tls.clone(), login, ..Script::default() }).await;
        let gateways = smtp(trusting(there.port, Protection::StartTls, folder.path()));
        let outcome = gateways.send(&parcel(1, TO)).await.outcome;
        assert!(out(&outcome), "{login}: {outcome:?}");
        assert!(!there.seen().commands.iter().any(|c| c.starts_with("MAIL")));
    }
}

#[test]
fn no_password_and_no_mail_goes_over_an_open_line() {
    let open = server(25, Protection::None);
    let elsewhere = Server { host: "mail.example.net".to_owned(), ..open.clone() };
    let with_login = Server { login: Some(("season".to_owned(), "secret".to_owned())), ..open.clone() };
    for wrong in [elsewhere, with_login] {
        assert!(matches!(Smtp::new(wrong, identity()), Err(SmtpFault::Open(_))));
    }
    assert!(Smtp::new(open, identity()).is_ok());
}

fn folder(root: &Path) -> Gateways {
    let mut both = gateways(Road::Folder(Folder::open(root, identity()).unwrap()));
    let road = Road::Folder(Folder::open(root, identity()).unwrap());
    both.text = Texts::new(vec![Carrier { road, per_second: 1e9, sessions: 1 }]);
    both
}

fn files(folder: PathBuf) -> Vec<(String, String)> {
    let mut files: Vec<_> = fs::read_dir(folder)
        .unwrap()
        .map(|entry| entry.unwrap().path())
        .map(|p| (p.file_name().unwrap().to_string_lossy().into_owned(), fs::read_to_string(p).unwrap()))
        .collect();
    files.sort();
    files
}

#[tokio::test]
async fn the_folder_holds_whole_files_under_telling_names() {
    let root = TempDir::new().unwrap();
    let gateways = folder(root.path());
    let mut text = parcel(7, "+442079460123");
    text.content = Content::Text("Ines: call 17:00. Reply YES".to_owned());
    assert_eq!(gateways.send(&text).await.outcome, Outcome::Accepted);
    assert_eq!(gateways.send(&parcel(8, TO)).await.outcome, Outcome::Accepted);

    let [(name, words)] = &files(root.path().join("texts"))[..] else { panic!("one text") };
    assert_eq!(name, "1812043800000.7.txt", "milliseconds since 1970, and the message");
    let expected =
        "To: +442079460123\nDate: 2027-06-03T17:30:00Z\nReference: parcel7\n\nInes: call 17:00. Reply YES";
    assert_eq!(words, expected);
    let [(name, mail)] = &files(root.path().join("mail/new"))[..] else { panic!("one mail") };
    assert_eq!(name, "1812043800000.8.eml");
    assert!(mail.contains("Date: Thu, 03 Jun 2027 17:30:00 +0000\r\n"), "{mail}");
    assert!(mail.ends_with("--\r\n"), "the last boundary closes it");
    assert_eq!(files(root.path().join("mail/tmp")), [], "nothing half-written stays");
}

#[tokio::test]
async fn a_folder_that_is_gone_is_told_and_a_wrong_address_is_refused() {
    let root = TempDir::new().unwrap();
    let gateways = folder(root.path());
    assert!(refused(&gateways.send(&parcel(1, "no address")).await.outcome, true));
    fs::remove_dir_all(root.path().join("mail")).unwrap();
    let outcome = gateways.send(&parcel(1, TO)).await.outcome;
    assert!(matches!(outcome, Outcome::Unusable { .. }), "{outcome:?}");
}

/// A reader that looks at any moment, while mails come in, finds only whole ones.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_file_that_is_there_is_whole() {
    let root = TempDir::new().unwrap();
    let gateways = folder(root.path());
    let new = root.path().join("mail/new");
    let done = std::sync::Arc::new(std::sync::atomic::AtomicBool::new(false));
    let over = done.clone();
    let reader = tokio::task::spawn_blocking(move || {
        let mut looks = 0;
        while !over.load(std::sync::atomic::Ordering::Relaxed) {
            for (name, mail) in files(new.clone()) {
                assert!(mail.ends_with("--\r\n"), "{name} is cut short");
                looks += 1;
            }
        }
        looks
    });
    for nth in 0..60 {
        assert_eq!(gateways.send(&parcel(nth, TO)).await.outcome, Outcome::Accepted);
    }
    done.store(true, std::sync::atomic::Ordering::Relaxed);
    assert!(reader.await.unwrap() > 60);
    assert_eq!(files(root.path().join("mail/new")).len(), 60);
}

/// The lengths and headers of `vectors/email.json` (RFC 5322 2.1.1, RFC 2047 2, RFC 2045 6.7, RFC 8058 3.1), held
/// against the first days of the demo season as they leave.
#[tokio::test]
async fn a_seasons_mails_keep_the_limits_of_the_standards() {
    let root = TempDir::new().unwrap();
    let season = Season::open(root.path(), 3, folder(root.path())).await;
    season.office.plan_tick().await.unwrap();
    let mut accepted = 0;
    while accepted < 400 && season.advance().await {
        accepted += season.office.send_tick().await.unwrap().accepted;
    }
    let vectors: serde_json::Value = serde_json::from_str(include_str!("vectors/email.json")).unwrap();
    let limit = |what: &str| {
        let limits = vectors["limits"].as_array().unwrap();
        limits.iter().find(|l| l["what"] == what).unwrap()["value"].as_u64().unwrap() as usize
    };
    let one_click = vectors["unsubscribe"][0]["headers"][1].as_str().unwrap();
    let mails = files(root.path().join("mail/new"));
    assert!(mails.len() > 100, "{}", mails.len());
    for (name, mail) in &mails {
        assert_eq!(mail.matches('\n').count(), mail.matches("\r\n").count(), "{name}: a bare line end");
        for line in mail.split("\r\n") {
            assert!(line.len() <= limit("line length hard limit, without CRLF"), "{name}: {}", line.len());
        }
        let (head, _) = mail.split_once("\r\n\r\n").unwrap();
        for line in head.split("\r\n") {
            assert!(line.is_ascii(), "{name}: {line}");
            if line.contains("=?") {
                assert!(line.len() <= limit("header line with an encoded-word"), "{name}: {line}");
                let words = line.split_whitespace().filter(|w| w.starts_with("=?"));
                words.for_each(|w| assert!(w.len() <= limit("encoded-word characters"), "{name}: {w}"));
            }
        }
        let unfolded = head.replace("\r\n ", " ");
        assert_eq!(unfolded.lines().filter(|l| *l == one_click).count(), 1, "{name}: {unfolded}");
        let targets: Vec<_> = unfolded.lines().filter_map(|l| l.strip_prefix("List-Unsubscribe: ")).collect();
        let [target] = targets[..] else { panic!("{name}: {targets:?}") };
        assert!(
            target.trim().starts_with("<https://") && target.trim().ends_with('>') && !target.contains(',')
        );
        let quoted = mail.split("--part-").filter(|part| part.contains("quoted-printable"));
        for line in quoted.flat_map(|part| part.split("\r\n\r\n").skip(1)).flat_map(|b| b.split("\r\n")) {
            assert!(line.len() <= limit("quoted-printable line"), "{name}: {line}");
        }
    }
    assert!(season.office.resting().iter().all(|(channel, _)| *channel != Channel::Mail));
}

/// How a season fares with a mail carrier whose fate is decided by what is in a cell.
struct Outage {
    season: Season,
    fate: Arc<Mutex<Fate>>,
    _folder: TempDir,
}

impl Outage {
    /// On a morning on which hundreds of mails are due.
    async fn open(poisoned: &'static str) -> Outage {
        let folder = TempDir::new().unwrap();
        let fate = Arc::new(Mutex::new(Fate::Taken));
        let now = fate.clone();
        let memory =
            Memory::new(
                move |parcel, _| {
                    if parcel.to == poisoned { Fate::Suspect } else { now.lock().unwrap().clone() }
                },
            );
        let season = Season::open(folder.path(), 3, gateways(Road::Memory(memory))).await;
        season.office.plan_tick().await.unwrap();
        // A morning, so that all of it falls into permitted hours, with the season's first letters due.
        season.clock.set("2027-02-14T09:00:00Z".parse().unwrap());
        season.office.plan_tick().await.unwrap();
        Outage { season, fate, _folder: folder }
    }

    /// Lives so many hours minute by minute; gives back in how many minutes a channel rested.
    async fn live(&self, hours: i64) -> usize {
        let mut resting = 0;
        let until = self.season.office.now() + SignedDuration::from_hours(hours);
        while self.season.office.now() < until {
            self.season.office.tend_tick().await.unwrap();
            self.season.office.send_tick().await.unwrap();
            resting += usize::from(!self.season.office.resting().is_empty());
            let next = self.season.office.now() + SignedDuration::from_mins(1);
            self.season.clock.set(next);
        }
        resting
    }

    async fn count(&self, state: State) -> u64 {
        let counts = self.season.office.store.counts(self.season.row().await).await.unwrap();
        let mails = counts.iter().filter(|(s, channel, _)| *s == state && *channel == Channel::Mail);
        mails.map(|(.., n)| *n).sum()
    }

    fn taken(&self) -> usize {
        let Road::Memory(memory) = &self.season.office.gateway.mail.road else { panic!("not memory") };
        memory.taken().len()
    }
}

// Reliability: an outage of three hours gives nothing up, spends a probe now and then, and all of it goes afterwards.
#[tokio::test(flavor = "multi_thread")]
async fn an_outage_of_three_hours_gives_nothing_up() {
    for fate in [Fate::Unusable, Fate::Suspect] {
        let outage = Outage::open("").await;
        *outage.fate.lock().unwrap() = fate.clone();
        let rested = outage.live(3).await;
        assert!(rested > 120, "{fate:?}: the channel rests, and its page says why: {rested} of 180 minutes");
        assert_eq!((outage.taken(), outage.count(State::Refused).await), (0, 0), "{fate:?}");
        let waiting = outage.count(State::WaitingToRetry).await + outage.count(State::Planned).await;
        assert!(waiting > 300, "{waiting}");
        *outage.fate.lock().unwrap() = Fate::Taken;
        outage.live(1).await;
        assert_eq!(outage.count(State::Refused).await, 0, "{fate:?}");
        assert_eq!(outage.count(State::WaitingToRetry).await, 0, "{fate:?}");
        assert!(outage.taken() > 200, "{fate:?}: {}", outage.taken());
        assert!(outage.season.office.resting().is_empty());
    }
}

// One mail that its server never wants is given up while all others are taken; the channel goes on.
#[tokio::test(flavor = "multi_thread")]
async fn one_mail_that_is_never_wanted_is_refused_alone() {
    let book = allheard::demo::book(3);
    let first =
        book.rows("children").iter().map(|row| row.text("guardian 1 e-mail")).find(|mail| !mail.is_empty());
    let poisoned: &'static str = Box::leak(first.unwrap().to_owned().into_boxed_str());
    let outage = Outage::open(poisoned).await;
    outage.live(24).await;
    assert_eq!(outage.count(State::Refused).await, 1);
    assert!(outage.taken() > 300, "{}", outage.taken());
    assert!(outage.season.office.resting().is_empty());
}

// Two things of one moment that belong to no message, such as two replies, are two files.
#[tokio::test]
async fn replies_of_one_moment_do_not_overwrite_one_another() {
    let root = TempDir::new().unwrap();
    let gateways = folder(root.path());
    for (to, reference) in [(TO, "reply1"), (TO, "reply2"), ("other@example.org", "reply2")] {
        let mut reply = parcel(0, to);
        reply.reference = reference.to_owned();
        assert_eq!(gateways.send(&reply).await.outcome, Outcome::Accepted);
    }
    assert_eq!(files(root.path().join("mail/new")).len(), 3);
}
