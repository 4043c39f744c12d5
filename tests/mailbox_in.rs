//! Answers by mail through a real mail server: Postfix takes them, Dovecot keeps them, and our own eye on the mailbox
//! (IDLE) takes them in, whatever happens to the connection or the server's numbers.

#![allow(clippy::unwrap_used, reason = "what cannot be set up fails its test")]

#[path = "served/house.rs"]
#[allow(dead_code, reason = "made for the tests of the pages")]
mod house;
#[path = "served/season.rs"]
#[allow(dead_code, reason = "made for the tests of the pages")]
mod season;
mod support;

use allheard::app::letters;
use allheard::app::wake::Wake;
use allheard::domain::standing::Standing;
use allheard::gateway::smtp::Smtp;
use allheard::gateway::tls::client_config;
use allheard::gateway::{Carrier, Gateways, Road, Texts};
use allheard::inbound::letter::OwnMail;
use allheard::inbound::mailbox::{Mailbox, Protection};
use allheard::service::ports::{Gateway as _, Outcome, Parcel, Store as _};
use house::House;
use std::collections::BTreeSet;
use std::fs;
use std::io::Write as _;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};
use std::sync::Arc;
use std::time::Duration;
use support::mail_server::{PASSWORD, Servers};
use support::peers::{here, program, ready, root, run, within};
use tokio_util::sync::CancellationToken;

const ANSWERS: &str = "answers@school.example";

fn mailbox(servers: &Servers) -> Mailbox {
    let pem = fs::read(servers.folder.path().join("ca.pem")).unwrap();
    let tls = client_config(Some(&pem)).unwrap();
    Mailbox {
        host: "localhost".to_owned(),
        port: servers.imap,
        protection: Protection::StartTls,
        login: (ANSWERS.to_owned(), PASSWORD.replace(' ', "-")),
        tls: Arc::new(tls),
        folder: "INBOX".to_owned(),
        processed: "Processed".to_owned(),
        poll: Duration::from_secs(600),
    }
}

fn send(servers: &Servers, from: &str, to: &str, mail: &str) {
    let mut python = Command::new(program("python3").unwrap())
        .arg(here("tests/peers/send_mail.py"))
        .arg(servers.smtp.to_string())
        .arg(servers.folder.path().join("ca.pem"))
        .args([&PASSWORD.replace(' ', "-"), from, to])
        .stdin(Stdio::piped())
        .spawn()
        .unwrap();
    python.stdin.take().unwrap().write_all(mail.as_bytes()).unwrap();
    assert!(python.wait().unwrap().success());
}

fn letter(id: &str, headers: &str, words: &str) -> String {
    format!(
        "From: May Finch <may@example.org>\r\nTo: {ANSWERS}\r\nSubject: Re: Dress rehearsal\r\nMessage-ID: <{id}@example.org>\r\n{headers}\r\n\
         {words}\r\n\r\nOn Fri, 28 May 2027 at 10:31, the school wrote:\r\n> Reply YES\r\n"
    )
}

/// Where the mailbox lies on the disk.
fn maildir(servers: &Servers) -> PathBuf {
    servers.folder.path().join("boxes/school.example/answers/mail")
}

fn count(folder: &Path) -> usize {
    ["new", "cur"].iter().map(|part| fs::read_dir(folder.join(part)).map_or(0, Iterator::count)).sum()
}

/// Ends the server's processes that hold our sessions.
fn kill_sessions(servers: &Servers) {
    let master = fs::read_to_string(servers.folder.path().join("run/master.pid")).unwrap();
    let listed = run(Command::new("pgrep").args(["-P", master.trim(), "-x", "imap"]));
    for pid in listed.split_whitespace() {
        run(Command::new("kill").args(["-KILL", pid]));
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn answers_by_mail_come_in_whatever_happens_to_the_connection() {
    let needed = [program("dovecot"), program("postfix"), program("python3"), program("pgrep"), root()];
    if !ready("answers_by_mail_come_in_whatever_happens_to_the_connection", &needed) {
        return;
    }
    let servers = Servers::start(&BTreeSet::from([ANSWERS.to_owned()]));
    let house = House::told().await;
    let office = house.office.clone();
    let own = OwnMail { domain: "school.example".to_owned(), base_url: office.ways.base_url.clone() };
    let (stop, acted) = (CancellationToken::new(), Arc::new(Wake::default()));
    let watching = tokio::spawn(letters::watch(office.clone(), mailbox(&servers), own, acted, stop.clone()));
    let heard = async || {
        let at = Standing::ALL.iter().position(|s| *s == Standing::Heard).unwrap();
        office.event_lists().await.unwrap().iter().map(|list| list.recipients[at]).sum::<u64>()
    };
    let waiting = async || office.season_data().await.unwrap().asked.len();
    let processed = maildir(&servers).join(".Processed");

    // A machine's answer first: it is moved away, and nobody has been heard from.
    let token = house.token("may@example.org");
    let to = format!("answers+{token}@school.example");
    send(&servers, "may@example.org", &to, &letter("auto", "Auto-Submitted: auto-replied\r\n", "YES"));
    assert!(within(async || count(&processed) == 1).await);
    assert_eq!((heard().await, waiting().await), (0, 0));

    send(&servers, "may@example.org", &to, &letter("one", "", "Yes, thank you"));
    assert!(within(async || heard().await == 1).await, "the token in the address proves it");

    kill_sessions(&servers);
    send(&servers, "may@example.org", ANSWERS, &letter("two", "", "Which door is it?"));
    assert!(within(async || waiting().await == 1).await, "it comes back after its session was killed");

    // The server's numbers begin anew, and one mail comes again under its old name.
    servers.stop();
    for entry in fs::read_dir(maildir(&servers)).unwrap().flatten() {
        if entry.file_name().to_string_lossy().starts_with("dovecot") {
            fs::remove_file(entry.path()).unwrap();
        }
    }
    servers.again();
    send(&servers, "may@example.org", ANSWERS, &letter("two", "", "Which door is it?"));
    send(&servers, "may@example.org", ANSWERS, &letter("three", "", "And where do I park?"));
    assert!(within(async || waiting().await == 2).await, "nothing is lost");
    assert!(within(async || count(&maildir(&servers)) == 0).await, "everything is moved away");
    assert_eq!(
        (heard().await, waiting().await, house.answers().await),
        (1, 2, 1),
        "and nothing counts twice"
    );

    // A mail of ours that a real mail server could not deliver comes back, and its message with it.
    let row = office.desk().await.unwrap().season;
    let lives = office.store.lives(row, None, 0, 10).await.unwrap();
    let message = &lives[0].0;
    let memory = || {
        Road::Memory(allheard::gateway::memory::Memory::new(|_, _| allheard::gateway::memory::Fate::Taken))
    };
    let mut identity = support::office::identity();
    identity.bounces = ANSWERS.parse().unwrap();
    let gateways = Gateways {
        mail: Carrier {
            road: Road::Smtp(Box::new(Smtp::new(servers.client(), identity).unwrap())),
            per_second: 100.0,
            sessions: 1,
        },
        text: Texts::new(vec![Carrier { road: memory(), per_second: 100.0, sessions: 1 }]),
    };
    let parcel =
        Parcel { reference: message.key.clone(), ..support::office::parcel(1, "gone@school.example") };
    assert_eq!(gateways.send(&parcel).await.outcome, Outcome::Accepted);
    let state = async || {
        let lives = office.store.lives(row, None, 0, 10).await.unwrap();
        lives.iter().find(|(m, _)| m.id == message.id).map(|(m, _)| m.state.word()).unwrap()
    };
    assert!(within(async || state().await == "bounced").await, "{}", state().await);

    stop.cancel();
    assert!(tokio::time::timeout(Duration::from_secs(5), watching).await.is_ok(), "it ends when told");
}
