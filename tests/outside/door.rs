//! Strangers and crowds at the door.

use super::host::{Daemon, Host, Sink, from_environment, until};
use super::support::server::{MailServer, Script};
use std::io::{Read as _, Write as _};
use std::net::TcpStream;
use std::time::{Duration, Instant};

/// Half requests are closed, and pages and sending go on beside hundreds of them (review of the door).
#[tokio::test(flavor = "multi_thread")]
async fn half_requests_are_closed_and_starve_nobody() {
    let mail = MailServer::start(Script::default()).await;
    let (sink, port) = Sink::start().await;
    let host = Host::new(30, mail.port, port, "");
    let daemon = host.serve();
    let mut half: Vec<TcpStream> = (0..300)
        .map(|n| {
            let mut stream = TcpStream::connect(&daemon.address).unwrap();
            let text: &[u8] = if n % 2 == 0 { b"GET /seas" } else { b"GET / HTTP/1.1\r\nHost: x\r\nX-Slow:" };
            stream.write_all(text).unwrap();
            stream
        })
        .collect();
    assert!(daemon.get("/readyz").starts_with("HTTP/1.1 200"));
    until("all that is due", Duration::from_secs(20), async || mail.count() >= 30 && sink.count() >= 30)
        .await;
    tokio::time::sleep(Duration::from_secs(11)).await;
    let mut closed = 0;
    for stream in &mut half {
        stream.set_read_timeout(Some(Duration::from_millis(500))).unwrap();
        // Closed, with or without a word that it took too long.
        closed += usize::from(stream.read_to_end(&mut Vec::new()).is_ok());
    }
    assert_eq!(closed, half.len(), "half requests are not held open");
    let mut long = TcpStream::connect(&daemon.address).unwrap();
    write!(long, "GET / HTTP/1.1\r\nHost: x\r\nX-Long: {}\r\n\r\n", "a".repeat(300_000)).ok();
    let mut answer = String::new();
    let _ = long.read_to_string(&mut answer);
    assert!(answer.is_empty() || answer.starts_with("HTTP/1.1 4"), "{answer:.80}");
}

/// What a request is answered, and how long that took; the connection stays open until it is dropped.
fn asked(stream: &mut TcpStream, request: &str) -> (String, Duration) {
    let began = Instant::now();
    stream.write_all(request.as_bytes()).unwrap();
    let mut octets = Vec::new();
    let mut some = [0; 65_536];
    loop {
        let n = stream.read(&mut some).unwrap();
        octets.extend_from_slice(&some[..n]);
        let text = String::from_utf8_lossy(&octets);
        if let Some((head, body)) = text.split_once("\r\n\r\n") {
            let length =
                head.to_ascii_lowercase().split_once("content-length: ").map(|(_, rest)| rest.to_owned());
            let length = length.and_then(|rest| rest.split("\r\n").next()?.trim().parse::<usize>().ok());
            if n == 0 || length.is_some_and(|length| body.len() >= length) {
                return (text.into_owned(), began.elapsed());
            }
        }
        assert!(n > 0, "cut short: {}", String::from_utf8_lossy(&octets));
    }
}

/// The hidden fields of the first form of a page that acts there, as a form sends them.
fn form(page: &str) -> (String, String) {
    let form = page.split_once("<form ").map_or("", |(_, rest)| rest.split("</form>").next().unwrap_or(""));
    let value = |tag: &str, name: &str| {
        let rest = tag.split_once(&format!("{name}=\""))?.1;
        Some(rest.split('"').next()?.replace("&amp;", "&").replace("&#x2F;", "/"))
    };
    let action = value(form.split('>').next().unwrap_or(""), "action").unwrap_or_default();
    let fields = form.split('<').filter(|tag| tag.starts_with("input") || tag.starts_with("button"));
    let pairs = fields.filter_map(|tag| Some((value(tag, "name")?, value(tag, "value").unwrap_or_default())));
    let escaped = |text: &str| {
        text.bytes()
            .map(|b| if b.is_ascii_alphanumeric() { char::from(b).to_string() } else { format!("%{b:02X}") })
            .collect::<String>()
    };
    let body: Vec<String> =
        pairs.map(|(name, value)| format!("{}={}", escaped(&name), escaped(&value))).collect();
    (action, body.join("&"))
}

/// A theatre's Wi-Fi is one address for everybody in it: 300 families open their pages at once from there and acknowledge,
/// beside somebody who guesses links; nobody with a link of theirs is turned away.
#[tokio::test(flavor = "multi_thread")]
async fn three_hundred_families_behind_one_address_are_all_let_in() {
    let families = from_environment("ALLHEARD_FAMILIES", 300).min(300);
    let mail = MailServer::start(Script::default()).await;
    let (sink, port) = Sink::start().await;
    let host = Host::new(families, mail.port, port, "");
    let daemon: Daemon = host.serve();
    until("all texts", Duration::from_secs(60), async || sink.count() >= families).await;
    let links: Vec<String> = sink
        .taken
        .lock()
        .unwrap()
        .iter()
        .filter_map(|text| {
            let at = text.words.find("/r/")?;
            Some(text.words[at..].split([' ', '\n']).next()?.to_owned())
        })
        .collect();
    assert_eq!(links.len(), families);
    // Somebody at the same address guesses.
    for n in 0..200 {
        let mut stream = TcpStream::connect(&daemon.address).unwrap();
        asked(&mut stream, &format!("GET /r/guess{n:017} HTTP/1.1\r\nHost: x\r\nConnection: close\r\n\r\n"));
    }
    // All connections stand open at the same time.
    let address = &daemon.address;
    let held = std::sync::Barrier::new(links.len());
    let slowest = std::thread::scope(|scope| {
        let all: Vec<_> = links.iter().map(|link| {
            let held = &held;
            scope.spawn(move || {
                let mut stream = TcpStream::connect(address).unwrap();
                stream.set_read_timeout(Some(Duration::from_secs(20))).unwrap();
                held.wait();
                let head = format!("HTTP/1.1\r\nHost: {address}\r\nX-Forwarded-For: 203.0.113.7\r\n");
                let (page, took) = asked(&mut stream, &format!("GET {link} {head}\r\n"));
                assert!(page.starts_with("HTTP/1.1 200"), "{page:.200}");
                let (action, body) = form(&page);
                let action = if action.is_empty() { link.clone() } else { action };
                let length = body.len();
                let (answer, acted) = asked(&mut stream, &format!(
                    "POST {action} {head}Origin: http://{address}\r\nSec-Fetch-Site: same-origin\r\n\
                     Content-Type: application/x-www-form-urlencoded\r\nContent-Length: {length}\r\n\r\n{body}"
                ));
                assert!(answer.starts_with("HTTP/1.1 200") || answer.starts_with("HTTP/1.1 303"), "{action} {body} {answer:.300}");
                took.max(acted)
            })
        }).collect();
        all.into_iter().map(|one| one.join().unwrap()).max().unwrap()
    });
    let heard =
        host.ask("SELECT 'heard', '', COUNT(DISTINCT guardian) FROM answer WHERE kind = 'heard'").await;
    println!("{families} families at once, the slowest waited {slowest:?}");
    assert_eq!(heard[0].2 as usize, families);
    assert!(slowest < Duration::from_secs(10), "{slowest:?}");
}
