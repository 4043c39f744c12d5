//! Answers and stops that come while texts leave.

use super::host::{Host, Sink, Taken, from_environment, until};
use super::support::server::{MailServer, Script};
use std::io::{BufRead as _, BufReader, Read as _, Write as _};
use std::net::TcpStream;
use std::sync::Arc;
use std::time::{Duration, Instant};

/// Answers that come together are taken in together: durable before the 200, each counted once.
#[tokio::test(flavor = "multi_thread")]
async fn a_storm_of_answers_is_taken_in_in_groups() {
    let answers = from_environment("ALLHEARD_ANSWERS", 400);
    let families = 200;
    let mail = MailServer::start(Script::default()).await;
    let (sink, port) = Sink::start().await;
    let hook = "[[texts.hooks]]\nname = \"answers\"\ntells = \"answers\"\nfrom = \"from\"\nwords = \"text\"\nid = \"id\"\n\
                proof = \"header\"\nproof_in = \"x-secret\"\nsecrets = [\"storm\"]\n";
    let host = Host::new(families, mail.port, port, hook);
    let daemon = host.serve();
    until("all texts", Duration::from_secs(30), async || sink.count() >= families).await;
    let next = Arc::new(std::sync::atomic::AtomicUsize::new(0));
    let began = Instant::now();
    let threads: Vec<_> = (0..64)
        .map(|_| {
            let (next, address) = (next.clone(), daemon.address.clone());
            std::thread::spawn(move || {
                let mut stream = BufReader::new(TcpStream::connect(&address).unwrap());
                let mut good = 0;
                loop {
                    let n = next.fetch_add(1, std::sync::atomic::Ordering::SeqCst);
                    if n >= answers {
                        return good;
                    }
                    // Every tenth comes a second time.
                    let id = if n % 10 == 9 { n - 1 } else { n };
                    let body = format!("from=07700900{:03}&text=YES&id=m{id}", id % families);
                    let head = format!(
                        "POST /hook/answers HTTP/1.1\r\nHost: x\r\nX-Secret: storm\r\n\
                         Content-Type: application/x-www-form-urlencoded\r\nContent-Length: {}\r\n\r\n{body}",
                        body.len()
                    );
                    stream.get_mut().write_all(head.as_bytes()).unwrap();
                    let (mut status, mut line, mut length) = (String::new(), String::new(), 0);
                    stream.read_line(&mut status).unwrap();
                    loop {
                        line.clear();
                        stream.read_line(&mut line).unwrap();
                        if let Some((_, n)) = line.to_ascii_lowercase().split_once("content-length:") {
                            length = n.trim().parse().unwrap();
                        }
                        if line.trim().is_empty() {
                            break;
                        }
                    }
                    stream.read_exact(&mut vec![0; length]).unwrap();
                    good += usize::from(status.starts_with("HTTP/1.1 200"));
                }
            })
        })
        .collect();
    let good: usize = threads.into_iter().map(|thread| thread.join().unwrap()).sum();
    let took = began.elapsed();
    println!(
        "{answers} answers over 64 connections in {took:?}: {:.0} a second",
        answers as f64 / took.as_secs_f64()
    );
    assert_eq!(good, answers, "each was answered with 200: {}", daemon.log.lock().unwrap());
    let url = format!("sqlite://{}", host.database().display());
    let pool = sqlx::SqlitePool::connect(&url).await.unwrap();
    let count = async |what: &'static str| {
        sqlx::query_scalar::<_, i64>(what).fetch_one(&pool).await.unwrap() as usize
    };
    let expected = (0..answers).filter(|n| n % 10 != 9).count();
    assert_eq!(count("SELECT COUNT(*) FROM incoming").await, expected, "the same act once");
    let heard = count("SELECT COUNT(DISTINCT guardian) FROM answer WHERE kind = 'heard'").await;
    assert_eq!(
        heard,
        (0..answers)
            .filter(|n| n % 10 != 9)
            .map(|n| n % families)
            .collect::<std::collections::BTreeSet<_>>()
            .len()
    );
    pool.close().await;
    let floor = if cfg!(debug_assertions) { 100.0 } else { 500.0 };
    assert!(answers as f64 / took.as_secs_f64() >= floor, "{took:?}");
    assert!(host.said(&["ledger", "verify"]).contains("whole"));
}

/// A stop is looked at before each hand-over: once it was answered, that number gets nothing more (reliability fault 39).
#[tokio::test(flavor = "multi_thread")]
async fn after_a_stop_was_answered_no_text_goes_there() {
    let mail = MailServer::start(Script::default()).await;
    let (sink, port) = Sink::start().await;
    *sink.pause.lock().unwrap() = Duration::from_secs(1);
    let hook = "[[texts.hooks]]\nname = \"answers\"\ntells = \"answers\"\nfrom = \"from\"\nwords = \"text\"\nid = \"id\"\n\
                proof = \"header\"\nproof_in = \"x-secret\"\nsecrets = [\"storm\"]\n";
    let host = Host::new(40, mail.port, port, hook);
    let daemon = host.serve();
    until("the first texts", Duration::from_secs(20), async || sink.count() >= 4).await;
    // Numbers that have not been written to yet, while dozens wait.
    let written: Vec<String> = sink.taken.lock().unwrap().iter().map(|text| text.to.clone()).collect();
    let numbers = (0..40).map(|n| format!("+447700900{n:03}"));
    let stopping: Vec<String> =
        numbers.filter(|number| !written.contains(number)).skip(12).take(10).collect();
    let mut answered = Vec::new();
    for (n, number) in stopping.iter().enumerate() {
        let body = format!("from={}&text=STOP&id=s{n}", number.replace('+', "%2B"));
        let mut stream = TcpStream::connect(&daemon.address).unwrap();
        write!(
            stream,
            "POST /hook/answers HTTP/1.1\r\nHost: x\r\nX-Secret: storm\r\nConnection: close\r\n\
             Content-Type: application/x-www-form-urlencoded\r\nContent-Length: {}\r\n\r\n{body}",
            body.len()
        )
        .unwrap();
        let mut answer = String::new();
        stream.read_to_string(&mut answer).unwrap();
        assert!(answer.starts_with("HTTP/1.1 200"), "{answer}");
        answered.push((number.clone(), Instant::now()));
    }
    until("the others are written to", Duration::from_secs(60), async || {
        let taken = sink.taken.lock().unwrap();
        let others = taken.iter().map(|text| &text.to).filter(|to| !stopping.contains(to));
        others.collect::<std::collections::BTreeSet<_>>().len() >= 30
    })
    .await;
    let taken = sink.taken.lock().unwrap().clone();
    let mut late = Vec::new();
    for Taken { to, reference, at, .. } in &taken {
        let stop = answered.iter().find(|(number, _)| number == to);
        // The one confirmation that it was heard is an answer to their own message.
        if let Some((_, stop)) = stop
            && !reference.starts_with("reply")
            && *at > *stop + Duration::from_secs(1)
        {
            late.push((to.clone(), *at - *stop));
        }
    }
    let confirmed =
        taken.iter().filter(|text| stopping.contains(&text.to) && text.reference.starts_with("reply"));
    println!(
        "{} stops, {} confirmed, {} texts handed over later than a second after",
        stopping.len(),
        confirmed.count(),
        late.len()
    );
    assert!(late.is_empty(), "{late:?}");
}
