//! The running daemon against what is outside of it: slow and silent carriers, signals, kills, strangers at the door, a copy put
//! back. The real program, a mail server and a text gateway in the test itself, everything on loopback.
//!
//! `ALLHEARD_KILLS=160 ALLHEARD_FAMILIES=500 cargo test --test outside -- --nocapture` kills as often, among 1,000 messages.

#![allow(clippy::print_stdout, reason = "figures are shown")]
#![allow(clippy::unwrap_used, reason = "a helper of a test may fail the test")]

mod support;

use allheard::domain::book::{Book, Row};
use axum::Router;
use axum::extract::{Form, State};
use axum::routing::post;
use jiff::{Timestamp, ToSpan as _};
use std::collections::{BTreeMap, HashMap};
use std::io::{BufRead as _, BufReader, Read as _, Write as _};
use std::net::TcpStream;
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Output, Stdio};
use std::sync::{Arc, Mutex};
use std::time::{Duration, Instant};
use support::server::{MailServer, Script};

/// A text gateway that keeps what it is given and takes its time.
#[derive(Clone, Default)]
struct Sink {
    taken: Arc<Mutex<Vec<(String, String, Instant)>>>,
    pause: Arc<Mutex<Duration>>,
    status: Arc<Mutex<u16>>,
}

impl Sink {
    async fn start() -> (Sink, u16) {
        let sink = Sink { status: Arc::new(Mutex::new(200)), ..Sink::default() };
        let listener = tokio::net::TcpListener::bind("127.0.0.1:0").await.unwrap();
        let port = listener.local_addr().unwrap().port();
        let app = Router::new().route("/send", post(take)).with_state(sink.clone());
        tokio::spawn(async move { axum::serve(listener, app).await.unwrap() });
        (sink, port)
    }

    fn count(&self) -> usize {
        self.taken.lock().unwrap().len()
    }
}

async fn take(
    State(sink): State<Sink>,
    Form(fields): Form<HashMap<String, String>>,
) -> (axum::http::StatusCode, String) {
    let status = *sink.status.lock().unwrap();
    let reference = fields["ref"].clone();
    if status == 200 {
        sink.taken.lock().unwrap().push((fields["to"].clone(), reference.clone(), Instant::now()));
    }
    let pause = *sink.pause.lock().unwrap();
    tokio::time::sleep(pause).await;
    (axum::http::StatusCode::from_u16(status).unwrap(), format!("id {reference}"))
}

/// A zone in which it is the middle of the day now: nothing is out of hours.
fn midday() -> String {
    #[allow(clippy::disallowed_methods, reason = "the daemon under test has the host's clock")]
    let hour = Timestamp::now().to_zoned_datetime(jiff::tz::TimeZone::UTC).hour();
    match 12 - i32::from(hour) {
        0 => "Etc/GMT".to_owned(),
        // The names of these zones count westwards.
        ahead @ 1.. => format!("Etc/GMT-{ahead}"),
        behind => format!("Etc/GMT+{}", -behind),
    }
}

/// A season whose first letters are due: every family by mail and by text.
fn book(families: usize) -> Book {
    let mut book = Book::default();
    let mut add = |sheet: &str, cells: &[(&str, &str)]| {
        let rows = &mut book.sheet_mut(sheet).rows;
        let mut row = Row { number: u32::try_from(rows.len() + 2).unwrap(), ..Row::default() };
        cells.iter().for_each(|(column, text)| row.set(column, *text));
        rows.push(row);
    };
    let zone = midday();
    for (setting, value) in [
        ("version", "1"),
        ("name", "The Brass Heron"),
        ("school", "Fenmouth Dance"),
        ("zone", zone.as_str()),
        ("country", "GB"),
        ("telephone", "01632 960100"),
    ] {
        add("season", &[("setting", setting), ("value", value)]);
    }
    add("places", &[("name", "Playhouse"), ("door", "stage door"), ("sign-in minutes", "5")]);
    #[allow(clippy::disallowed_methods, reason = "the daemon under test has the host's clock")]
    let today = Timestamp::now().to_zoned_datetime(jiff::tz::TimeZone::UTC).date();
    let day = today.checked_add(14.days()).unwrap().to_string();
    let event = [
        ("name", "Dress rehearsal"),
        ("kind", "dress rehearsal"),
        ("place", "Playhouse"),
        ("date", day.as_str()),
        ("call", "12:00"),
        ("starts", "13:00"),
        ("ends", "15:00"),
    ];
    add("events", &event);
    add("numbers", &[("name", "Fog"), ("length", "3:00")]);
    add("chaperones", &[("name", "Uma Lock")]);
    add("duties", &[("chaperone", "Uma Lock"), ("event", "all"), ("number", "Fog"), ("signs in", "yes")]);
    for n in 0..families {
        let (given, family) = (format!("Ada{}", letters(n)), format!("Reed{}", letters(n)));
        let (parent, other) = (format!("Rosa {family}"), format!("Ivo {family}"));
        let (mail, phone) = (format!("g{n}@example.org"), format!("07700 900{n:03}"));
        // One parent has a mail address and the other a telephone number, so that both are written to at once.
        let cells = [
            ("given name", given.as_str()),
            ("family name", family.as_str()),
            ("numbers", "Fog"),
            ("guardian 1 name", parent.as_str()),
            ("guardian 1 e-mail", mail.as_str()),
            ("guardian 2 name", other.as_str()),
            ("guardian 2 mobile", phone.as_str()),
            ("guardian 2 texts", "yes"),
        ];
        add("children", &cells);
    }
    for by in ["mail", "text"] {
        add(
            "notices",
            &[
                ("name", &format!("Dress rehearsal by {by}")),
                ("about", "dress rehearsal"),
                ("to", "everyone"),
                ("counted from", "call"),
                ("days before", "15"),
                ("at", "09:00"),
                ("by", by),
                ("answer owed", "yes"),
                ("wording", "call-sheet"),
            ],
        );
    }
    book
}

/// A number in letters, so that no two names are alike.
fn letters(mut n: usize) -> String {
    let mut out = String::new();
    loop {
        out.push(char::from(b'a' + u8::try_from(n % 26).unwrap()));
        n /= 26;
        if n == 0 {
            return out;
        }
    }
}

/// A host's folder with a season in it, set going.
struct Host {
    folder: tempfile::TempDir,
}

impl Host {
    fn new(families: usize, mail: u16, text: u16, more: &str) -> Host {
        Host::on("", families, (mail, text), more)
    }

    fn on(database: &str, families: usize, (mail, text): (u16, u16), more: &str) -> Host {
        let folder = tempfile::tempdir().unwrap();
        let config = format!(
            "[data]\nfolder = \"data\"\ndatabase = \"{database}\"\n[pages]\nlisten = \"127.0.0.1:0\"\n\
             [coordinator]\nmail = \"lead@example.org\"\n\
             [mail]\nby = \"smtp\"\nhost = \"127.0.0.1\"\nport = {mail}\nprotection = \"none\"\nfrom = \"Us <us@example.org>\"\n\
             per_second = 100000.0\nsessions = 4\n\
             [texts]\nby = \"http\"\n[[texts.gateways]]\nname = \"first\"\nurl = \"http://127.0.0.1:{text}/send\"\n\
             fields = {{ to = \"{{to}}\", text = \"{{text}}\", ref = \"{{reference}}\" }}\nid_at = \"pattern:id (\\\\S+)\"\n\
             per_second = 100000.0\nsessions = 4\npatience_seconds = 30\n{more}"
        );
        std::fs::write(folder.path().join("allheard.toml"), config).unwrap();
        let workbook = allheard::workbook::to_xlsx(&book(families)).unwrap();
        std::fs::write(folder.path().join("season.xlsx"), workbook).unwrap();
        let host = Host { folder };
        for arguments in [&["bring", "season.xlsx", "--yes"][..], &["start", "--yes"]] {
            let done = host.run(arguments);
            assert!(done.status.success(), "{}", String::from_utf8_lossy(&done.stderr));
        }
        host
    }

    fn path(&self) -> &Path {
        self.folder.path()
    }

    fn run(&self, arguments: &[&str]) -> Output {
        Command::new(env!("CARGO_BIN_EXE_allheard"))
            .args(arguments)
            .env("ALLHEARD_CONFIG", "allheard.toml")
            .current_dir(self.path())
            .output()
            .unwrap()
    }

    fn said(&self, arguments: &[&str]) -> String {
        let done = self.run(arguments);
        String::from_utf8_lossy(&[done.stdout, done.stderr].concat()).into_owned()
    }

    /// Starts the daemon; gives it back with the address of its pages once they are served.
    fn serve(&self) -> Daemon {
        let mut child = Command::new(env!("CARGO_BIN_EXE_allheard"))
            .arg("serve")
            .env("ALLHEARD_CONFIG", "allheard.toml")
            .current_dir(self.path())
            .stderr(Stdio::piped())
            .spawn()
            .unwrap();
        let mut log = BufReader::new(child.stderr.take().unwrap());
        let (mut said, mut line) = (String::new(), String::new());
        let address = loop {
            line.clear();
            assert!(log.read_line(&mut line).unwrap() > 0, "the daemon ended: {said}");
            said.push_str(&line);
            if let Some((_, address)) = line.split_once("pages at http://") {
                break address.trim().to_owned();
            }
        };
        let rest = Arc::new(Mutex::new(said));
        let written = rest.clone();
        std::thread::spawn(move || {
            for line in log.lines().map_while(Result::ok) {
                written.lock().unwrap().push_str(&format!("{line}\n"));
            }
        });
        Daemon { child, address, log: rest }
    }

    /// Messages and replies by channel and state, read beside the daemon.
    async fn counts(&self) -> BTreeMap<(String, String), i64> {
        let url = format!("sqlite://{}", self.database().display());
        let pool = sqlx::SqlitePool::connect(&url).await.unwrap();
        let rows: Vec<(String, String, i64)> =
            sqlx::query_as("SELECT channel, state, COUNT(*) FROM message WHERE attempts > 0 OR state <> 'withdrawn' GROUP BY 1, 2")
                .fetch_all(&pool)
                .await
                .unwrap();
        pool.close().await;
        rows.into_iter().map(|(channel, state, n)| ((channel, state), n)).collect()
    }

    /// Messages of a channel in doubt for the first time: a mail of these is still to go once more.
    async fn doubted_once(&self, channel: &str) -> i64 {
        let url = format!("sqlite://{}", self.database().display());
        let pool = sqlx::SqlitePool::connect(&url).await.unwrap();
        let once = "SELECT COUNT(*) FROM message m WHERE m.state = 'uncertain' AND m.channel = $1 \
             AND (SELECT COUNT(*) FROM attempt a WHERE a.message = m.id AND a.outcome = 'uncertain') < 2";
        let count = sqlx::query_scalar(once).bind(channel).fetch_one(&pool).await.unwrap();
        pool.close().await;
        count
    }

    fn database(&self) -> PathBuf {
        self.path().join("data/allheard.db")
    }
}

/// A daemon under way; it is ended with the test.
struct Daemon {
    child: Child,
    address: String,
    log: Arc<Mutex<String>>,
}

impl Daemon {
    fn signal(&self, name: &str) {
        let sent = Command::new("kill").args([name, &self.child.id().to_string()]).status().unwrap();
        assert!(sent.success());
    }

    /// Waits for the end; how long that took.
    fn ends(&mut self, within: Duration) -> Duration {
        let began = Instant::now();
        while self.child.try_wait().unwrap().is_none() {
            assert!(
                began.elapsed() < within,
                "still running after {:?}: {}",
                began.elapsed(),
                self.log.lock().unwrap()
            );
            std::thread::sleep(Duration::from_millis(20));
        }
        began.elapsed()
    }

    fn get(&self, path: &str) -> String {
        let mut stream = TcpStream::connect(&self.address).unwrap();
        stream.set_read_timeout(Some(Duration::from_secs(10))).unwrap();
        write!(stream, "GET {path} HTTP/1.1\r\nHost: x\r\nConnection: close\r\n\r\n").unwrap();
        let mut answer = String::new();
        stream.read_to_string(&mut answer).unwrap();
        answer
    }
}

impl Drop for Daemon {
    fn drop(&mut self) {
        if self.child.try_wait().is_ok_and(|ended| ended.is_none()) {
            let _ = self.child.kill();
            let _ = self.child.wait();
        }
    }
}

/// Waits until something is so.
async fn until(what: &str, within: Duration, mut so: impl AsyncFnMut() -> bool) {
    let began = Instant::now();
    while !so().await {
        assert!(began.elapsed() < within, "not within {within:?}: {what}");
        tokio::time::sleep(Duration::from_millis(50)).await;
    }
}

fn from_environment(name: &str, otherwise: usize) -> usize {
    std::env::var(name).ok().and_then(|value| value.parse().ok()).unwrap_or(otherwise)
}

/// How often each message came, by the name it is known by.
fn times(names: impl Iterator<Item = String>) -> BTreeMap<String, usize> {
    let mut out = BTreeMap::new();
    names.for_each(|name| *out.entry(name).or_default() += 1);
    out
}

fn message_id(mail: &str) -> String {
    let line = mail.lines().find(|line| line.to_ascii_lowercase().starts_with("message-id:")).unwrap_or("");
    line.split_once(':').map_or("", |(_, id)| id.trim()).to_owned()
}

/// A gateway that takes 3 s for each text: mail goes at its own pace all the same (reliability fault 13).
#[tokio::test(flavor = "multi_thread")]
async fn a_slow_gateway_slows_itself_alone() {
    let mail = MailServer::start(Script::default()).await;
    let (sink, port) = Sink::start().await;
    *sink.pause.lock().unwrap() = Duration::from_secs(3);
    let host = Host::new(60, mail.port, port, "");
    let _daemon = host.serve();
    let began = Instant::now();
    until("all mails", Duration::from_secs(20), async || mail.seen().messages.len() >= 60).await;
    let (took, texts) = (began.elapsed(), sink.count());
    println!("60 mails in {took:?}, {texts} texts begun meanwhile by 4 sessions of 3 s each");
    assert!(
        texts <= 4 * (1 + took.as_secs() as usize / 3),
        "no more at once than there are sessions: {texts}"
    );
}

/// At SIGTERM nothing is begun any more, what is under way is waited for and written down, and the rest goes back
/// (reliability fault 33).
#[tokio::test(flavor = "multi_thread")]
async fn an_end_begins_nothing_and_writes_down_what_was_begun() {
    let mail = MailServer::start(Script { pause: Duration::from_secs(4), ..Script::default() }).await;
    let (sink, port) = Sink::start().await;
    *sink.pause.lock().unwrap() = Duration::from_secs(4);
    let host = Host::new(40, mail.port, port, "");
    let mut daemon = host.serve();
    until("some are under way", Duration::from_secs(20), async || {
        mail.seen().messages.len() >= 4 && sink.count() >= 4
    })
    .await;
    // Somebody who hangs on does not hold it up.
    let mut half = TcpStream::connect(&daemon.address).unwrap();
    half.write_all(b"GET /season HT").unwrap();
    daemon.signal("-TERM");
    tokio::time::sleep(Duration::from_secs(1)).await;
    let begun = (mail.seen().messages.len(), sink.count());
    let took = daemon.ends(Duration::from_secs(20));
    let after = (mail.seen().messages.len(), sink.count());
    println!("ended {:?} after the signal; begun {begun:?} a second after it, {after:?} at the end", took);
    assert_eq!(after, begun, "nothing was begun after the first second");
    let counts = host.counts().await;
    let of = |channel: &str, state: &str| {
        counts.get(&(channel.to_owned(), state.to_owned())).copied().unwrap_or(0) as usize
    };
    for (channel, taken) in [("mail", after.0), ("text", after.1)] {
        assert_eq!(of(channel, "accepted"), taken, "{channel}: {counts:?}");
        let open = of(channel, "claimed") + of(channel, "attempting") + of(channel, "uncertain");
        assert_eq!(open, 0, "{channel}: {counts:?}");
    }
}

/// A second signal ends at once.
#[tokio::test(flavor = "multi_thread")]
async fn a_second_signal_waits_for_nothing() {
    let mail = MailServer::start(Script { pause: Duration::from_secs(30), ..Script::default() }).await;
    let (_sink, port) = Sink::start().await;
    let host = Host::new(8, mail.port, port, "");
    let mut daemon = host.serve();
    until("some are under way", Duration::from_secs(20), async || mail.seen().messages.len() >= 4).await;
    daemon.signal("-TERM");
    tokio::time::sleep(Duration::from_secs(1)).await;
    assert!(daemon.child.try_wait().unwrap().is_none(), "the first signal waits for what is under way");
    daemon.signal("-TERM");
    let took = daemon.ends(Duration::from_secs(5));
    println!("ended {took:?} after the second signal");
}

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
    until("all that is due", Duration::from_secs(20), async || {
        mail.seen().messages.len() >= 30 && sink.count() >= 30
    })
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

/// A copy put back sends nothing again: the journal beside the database knows better (reliability fault 24).
#[tokio::test(flavor = "multi_thread")]
async fn a_copy_put_back_sends_nothing_again() {
    let mail = MailServer::start(Script { pause: Duration::from_millis(100), ..Script::default() }).await;
    let (sink, port) = Sink::start().await;
    *sink.pause.lock().unwrap() = Duration::from_millis(100);
    let host = Host::new(80, mail.port, port, "");
    let mut daemon = host.serve();
    until("some have gone", Duration::from_secs(20), async || mail.seen().messages.len() >= 10).await;
    let copied = host.said(&["backup", "copy.db"]);
    assert!(copied.contains("copied and looked over"), "{copied}");
    assert!(host.said(&["backup", "copy.db"]).contains("is there already"));
    let at_the_copy = mail.seen().messages.len() + sink.count();
    assert!(host.said(&["restore", "copy.db", "--yes"]).contains("is running"), "not while it runs");
    until("all have gone", Duration::from_secs(30), async || {
        mail.seen().messages.len() >= 80 && sink.count() >= 80
    })
    .await;
    daemon.signal("-TERM");
    daemon.ends(Duration::from_secs(20));
    let put_back = host.said(&["restore", "copy.db", "--yes"]);
    assert!(put_back.contains("put back"), "{put_back}");
    let _again = host.serve();
    tokio::time::sleep(Duration::from_secs(4)).await;
    let names = |sent: Vec<String>| times(sent.into_iter()).into_values().filter(|n| *n > 1).count();
    let mails = names(mail.seen().messages.iter().map(|mail| message_id(mail)).collect());
    let texts = names(sink.taken.lock().unwrap().iter().map(|(_, reference, _)| reference.clone()).collect());
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
    assert!(host.said(&["restore", "missing.db", "--yes"]).contains("there is no such file"));
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
    until("all mails", Duration::from_secs(20), async || mail.seen().messages.len() >= 4).await;
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

/// Kills while messages leave: nothing is lost, no text goes twice, and no more is in doubt than was in flight.
#[tokio::test(flavor = "multi_thread")]
async fn kills_lose_nothing_and_double_no_more_than_was_in_flight() {
    let (kills, families) =
        (from_environment("ALLHEARD_KILLS", 5), from_environment("ALLHEARD_FAMILIES", 60));
    let pause = Duration::from_millis(30);
    let mail = MailServer::start(Script { pause, ..Script::default() }).await;
    let (sink, port) = Sink::start().await;
    *sink.pause.lock().unwrap() = pause;
    let host = Host::new(families, mail.port, port, "");
    let mut killed = 0;
    while killed < kills {
        let mut daemon = host.serve();
        let before = mail.seen().messages.len() + sink.count();
        let all = before >= 2 * families;
        // Spread over the time in which messages leave, at whatever point of an exchange.
        let share = (2 * families / kills).max(1);
        let began = Instant::now();
        while !all
            && mail.seen().messages.len() + sink.count() < before + share
            && began.elapsed() < Duration::from_secs(3)
        {
            tokio::time::sleep(Duration::from_millis(3)).await;
        }
        tokio::time::sleep(Duration::from_millis(7 * (killed as u64 % 11))).await;
        daemon.child.kill().unwrap();
        daemon.child.wait().unwrap();
        killed += 1;
    }
    let mut daemon = host.serve();
    // What was claimed or begun by the dead is free within 90 seconds; a mail in doubt then goes once more.
    let began = Instant::now();
    until("nothing waits any more", Duration::from_secs(240), async || {
        let counts = host.counts().await;
        let waits =
            |state: &str| counts.iter().filter(|((_, s), _)| s == state).map(|(_, n)| *n).sum::<i64>();
        waits("planned") + waits("claimed") + waits("attempting") + waits("waiting_to_retry") == 0
            && host.doubted_once("mail").await == 0
    })
    .await;
    let settled = began.elapsed();
    daemon.signal("-TERM");
    daemon.ends(Duration::from_secs(20));
    let counts = host.counts().await;
    let mails_in_doubt =
        counts.get(&("mail".to_owned(), "uncertain".to_owned())).copied().unwrap_or(0) as usize;
    let texts_in_doubt =
        counts.get(&("text".to_owned(), "uncertain".to_owned())).copied().unwrap_or(0) as usize;
    let mails =
        times(mail.seen().messages.iter().filter(|mail| mail.contains("g")).map(|mail| message_id(mail)));
    let texts = times(sink.taken.lock().unwrap().iter().map(|(_, reference, _)| reference.clone()));
    let doubled = |all: &BTreeMap<String, usize>| all.values().filter(|n| **n > 1).count();
    println!(
        "{kills} kills, {families} mails and {families} texts due: {} and {} arrived, mails twice {}, texts twice {}, \
         left to a person {mails_in_doubt} mails and {texts_in_doubt} texts; settled {settled:?} after the last start",
        mails.len(),
        texts.len(),
        doubled(&mails),
        doubled(&texts),
    );
    assert!(
        mails.len() + mails_in_doubt >= families,
        "every mail arrived or is shown to a person: {counts:?}"
    );
    assert!(
        texts.len() + texts_in_doubt >= families,
        "every text arrived or is shown to a person: {counts:?}"
    );
    assert_eq!(doubled(&texts), 0, "no text twice");
    assert!(mails.values().all(|n| *n <= 2), "no mail more than twice");
    let flight = 4 * kills;
    assert!(
        doubled(&mails) <= flight && texts_in_doubt <= flight,
        "no more than four of each in flight at a kill"
    );
    let verified = host.said(&["ledger", "verify"]);
    assert!(verified.contains("whole"), "{verified}");
}

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
    let written: Vec<String> = sink.taken.lock().unwrap().iter().map(|(to, ..)| to.clone()).collect();
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
        let others = taken.iter().filter(|(to, ..)| !stopping.contains(to)).map(|(to, ..)| to);
        others.collect::<std::collections::BTreeSet<_>>().len() >= 30
    })
    .await;
    let taken = sink.taken.lock().unwrap().clone();
    let mut late = Vec::new();
    for (to, reference, at) in &taken {
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
        taken.iter().filter(|(to, reference, _)| stopping.contains(to) && reference.starts_with("reply"));
    println!(
        "{} stops, {} confirmed, {} texts handed over later than a second after",
        stopping.len(),
        confirmed.count(),
        late.len()
    );
    assert!(late.is_empty(), "{late:?}");
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
    until("some have gone", Duration::from_secs(20), async || mail.seen().messages.len() >= 8).await;
    let filler = data.join("filler");
    let mut file = std::fs::File::create(&filler).unwrap();
    while file.write_all(&[0; 65_536]).is_ok() {}
    while file.write_all(&[0; 512]).is_ok() {}
    let full = Instant::now();
    tokio::time::sleep(Duration::from_secs(4)).await;
    let ready = daemon.get("/readyz");
    assert!(ready.starts_with("HTTP/1.1 503"), "{ready}");
    let told = |seen: &support::server::Seen| {
        seen.messages.iter().any(|mail| mail.contains("Allheard cannot write"))
    };
    until("the coordinator is told", Duration::from_secs(30), async || told(&mail.seen())).await;
    let stuck = mail.seen().messages.len();
    while full.elapsed() < Duration::from_secs(seconds) {
        tokio::time::sleep(Duration::from_millis(200)).await;
    }
    let still = mail.seen().messages.len();
    std::fs::remove_file(&filler).unwrap();
    drop(file);
    let freed = Instant::now();
    until("sending goes on", Duration::from_secs(40), async || mail.seen().messages.len() > still + 4).await;
    let resumed = freed.elapsed();
    until("all that is due", Duration::from_secs(120), async || {
        let mails = times(mail.seen().messages.iter().map(|mail| message_id(mail)));
        mails.len() > 150 && sink.count() >= 150 && daemon.get("/readyz").starts_with("HTTP/1.1 200")
    })
    .await;
    let texts = times(sink.taken.lock().unwrap().iter().map(|(_, reference, _)| reference.clone()));
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
