//! A season's mail through a real mail server into real mailboxes, read back by readers that share no code with us:
//! Postfix takes it (STARTTLS, login, certificate verified), Dovecot keeps it, Python reads it by IMAP, PyPI's
//! icalendar and npm's ical.js read its calendars.

#![allow(clippy::print_stdout, reason = "figures and findings are shown")]
#![allow(clippy::unwrap_used, reason = "what cannot be set up fails its test")]

mod support;

use allheard::domain::board::Board;
use allheard::domain::graph::State;
use allheard::domain::reading;
use allheard::domain::season::Channel;
use allheard::service::ports::Store as _;
use jiff::Timestamp;
use serde_json::Value;
use std::collections::{BTreeMap, BTreeSet, HashMap};
use std::process::Command;
use std::thread::sleep;
use std::time::{Duration, Instant};
use support::mail_server::Servers;
use support::office::{Season, smtp};
use support::peers::{here, node_package, program, python, read_calendars, ready, root, run};
use tempfile::TempDir;

/// Mails to send, at least: the house rules to everybody first, which have no calendar, then call sheets, which have.
const MAILS: u64 = 1_100;
/// How long the mail server may take to put the last of them into its mailbox.
const DELIVERY: Duration = Duration::from_secs(60);

/// Every message as the reader tells it.
fn read(servers: &Servers, zone: &str) -> Vec<Value> {
    let mut reader = Command::new(python().unwrap());
    reader.arg(here("tests/peers/read_mail.py")).arg(servers.folder.path());
    let said = run(reader.arg(servers.imap.to_string()).arg(zone));
    said.lines().map(|line| serde_json::from_str(line).unwrap()).collect()
}

fn texts<'a>(message: &'a Value, header: &str) -> Vec<&'a str> {
    message["headers"][header].as_array().unwrap().iter().map(|v| v.as_str().unwrap()).collect()
}

fn mail_addresses(board: &Board) -> BTreeSet<String> {
    board.season.guardians.iter().filter_map(|g| g.contact.mail.as_ref().map(|m| m.0.clone())).collect()
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_seasons_mail_arrives_whole_and_once() {
    let needed = [
        program("postfix"),
        program("dovecot"),
        program("openssl"),
        program("node"),
        node_package("ical.js"),
        python(),
        root(),
    ];
    if !ready("a_seasons_mail_arrives_whole_and_once", &needed) {
        return;
    }
    let board = Board::of(reading::season(&allheard::demo::book(5)).0.unwrap());
    let mut recipients = mail_addresses(&board);
    let unknown = recipients.pop_first().unwrap();
    let servers = Servers::start(&recipients);
    let folder = TempDir::new().unwrap();
    let season = Season::open(folder.path(), 5, smtp(servers.client())).await;
    season.office.plan_tick().await.unwrap();
    let began = Instant::now();
    let sent_at = send(&season).await;
    println!("{} mails taken by Postfix in {:?}", sent_at.len(), began.elapsed());

    let refused =
        season.office.store.messages_in(season.row().await, &[State::Refused], 1_000).await.unwrap();
    let refused: Vec<_> = refused.iter().filter(|m| m.channel == Channel::Mail).collect();
    assert!(!refused.is_empty() && refused.iter().all(|m| m.attempts == 1), "{} refused", refused.len());
    let history = season.office.store.history(season.row().await).await.unwrap();
    let bad: Vec<&str> = history
        .addresses
        .iter()
        .filter(|a| a.bad && a.channel == Channel::Mail)
        .map(|a| &*a.address)
        .collect();
    assert_eq!(bad, [unknown.as_str()], "the address nobody has, and no other, is marked as not working");

    let began = Instant::now();
    while servers.delivered() < sent_at.len() && began.elapsed() < DELIVERY {
        sleep(Duration::from_millis(50));
    }
    println!("{} of {} delivered after {:?}", servers.delivered(), sent_at.len(), began.elapsed());
    let messages = read(&servers, "Europe/London");
    assert_eq!(messages.len(), sent_at.len());
    println!("{} mails read back after {:?}", messages.len(), began.elapsed());
    let mut keys: Vec<String> = messages.iter().map(|m| texts(m, "Message-ID")[0].to_owned()).collect();
    keys.sort();
    let expected: Vec<String> = sent_at.keys().map(|key| format!("<{key}@school.example>")).collect();
    assert_eq!(keys, expected, "every Message-ID once");
    for message in &messages {
        headers(message, &sent_at);
        words(message);
    }
    calendars(&board, &messages);
    let accented = messages.iter().filter(|m| !m["text"].as_str().unwrap().is_ascii()).count();
    let spanish = messages.iter().filter(|m| texts(m, "Content-Language") == ["es"]).count();
    assert!(accented > 20 && spanish > 0, "{accented} with accents, {spanish} in Spanish");
}

/// Sends until enough is accepted; gives back the key of each accepted mail with its moment.
async fn send(season: &Season) -> BTreeMap<String, Timestamp> {
    let row = season.row().await;
    let mut sent_at = BTreeMap::new();
    while (sent_at.len() as u64) < MAILS && season.advance().await {
        season.office.send_tick().await.unwrap();
        let accepted = season.office.store.messages_in(row, &[State::Accepted], u32::MAX).await.unwrap();
        for message in accepted.into_iter().filter(|m| m.channel == Channel::Mail) {
            sent_at.entry(message.key).or_insert(season.office.now());
        }
    }
    assert!(sent_at.len() as u64 >= MAILS, "{} mails", sent_at.len());
    sent_at
}

fn headers(message: &Value, sent_at: &BTreeMap<String, Timestamp>) {
    let id = texts(message, "Message-ID")[0];
    assert_eq!(message["faults"], Value::Array(vec![]), "{id}");
    assert_eq!(texts(message, "To"), [message["box"].as_str().unwrap()], "{id}: in its own mailbox");
    assert_eq!(texts(message, "From"), ["Écola Brightwater <season@school.example>"], "{id}");
    let [answers] = texts(message, "Reply-To")[..] else { panic!("{id}: one place for answers") };
    let token = answers.strip_prefix("answers+").and_then(|rest| rest.strip_suffix("@school.example"));
    assert_eq!(token.map(str::len), Some(22), "{id}: {answers} carries the proof of an answer (RFC 5233)");
    assert_eq!(texts(message, "Return-Path"), ["<bounces@school.example>"], "{id}");
    assert_eq!(texts(message, "Auto-Submitted"), ["auto-generated"], "{id}: RFC 3834 5.2");
    assert_eq!(texts(message, "List-Unsubscribe-Post"), ["List-Unsubscribe=One-Click"], "{id}: RFC 8058 3.1");
    let [stop] = texts(message, "List-Unsubscribe")[..] else { panic!("{id}: one way to stop") };
    assert!(stop.starts_with("<https://allheard.example/") && stop.ends_with('>'), "{id}: {stop}");
    let key = id.trim_matches(['<', '>']).split('@').next().unwrap();
    assert_eq!(message["seconds"].as_f64(), Some(sent_at[key].as_second() as f64), "{id}: Date");
    // The server's own line says how the mail came: with TLS and a login (RFC 3848: ESMTPSA).
    let received = texts(message, "Received").join(" ");
    assert!(received.contains("ESMTPSA"), "{id}: {received}");
}

fn words(message: &Value) {
    let id = texts(message, "Message-ID")[0];
    let (text, html) = (message["text"].as_str().unwrap(), message["html"].as_str().unwrap());
    assert!(text.len() > 80 && html.contains("</p>"), "{id}: {text}\n{html}");
    for words in [text, html, texts(message, "Subject")[0]] {
        assert!(!words.contains(['\u{fffd}']) && !words.contains("Ã"), "{id}: accents broken: {words}");
    }
    let linked = message["links"].as_array().unwrap();
    assert!(!linked.is_empty(), "{id}: no link in the HTML");
    for link in linked.iter().map(|l| l.as_str().unwrap()).filter(|l| !l.starts_with("tel:")) {
        assert!(link.starts_with("https://allheard.example/") && text.contains(link), "{id}: {link}");
    }
    // What the calendar says, as the season's clocks show it, is what the words say.
    for entry in message["entries"].as_array().unwrap() {
        let local = entry["local"].as_str().unwrap();
        let clock = local.split(' ').nth(1).unwrap();
        assert!(text.contains(clock), "{id}: {clock} is not in the words: {text}");
    }
}

/// Both readers find the same entries, and these are the calls of the plan.
fn calendars(board: &Board, messages: &[Value]) {
    let with: Vec<&Value> = messages.iter().filter(|m| m["calendar"] != "").collect();
    assert!(with.len() > 50, "{} calendars", with.len());
    let list: Vec<String> = with.iter().map(|m| m["calendar"].as_str().unwrap().to_owned()).collect();
    let second = read_calendars("ical.js", &list);
    assert_eq!(second.len(), with.len());
    let mut calls: HashMap<String, String> = HashMap::new();
    for (message, second) in with.iter().zip(second) {
        let first = message["entries"].as_array().unwrap();
        let second = second.as_array().unwrap();
        assert!(!first.is_empty() && first.len() == second.len());
        for (one, other) in first.iter().zip(second) {
            for field in ["item", "start", "end"] {
                assert_eq!(one[field], other[field], "{field} of both readers");
            }
            let (item, start) = (one["item"].as_str().unwrap(), one["start"].as_str().unwrap());
            calls.insert(item.to_owned(), start.to_owned());
        }
    }
    for (item, start) in calls {
        let (child, event) = item.split_once('/').unwrap();
        let planned = board.itinerary(board.item(child, event).unwrap()).unwrap().call_at;
        assert_eq!(start.parse::<Timestamp>().unwrap(), planned, "{item}");
    }
}
