//! A host with a season, a daemon on it, and carriers that do as they are told.

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

/// Messages a second of each road: more than any test reaches.
const RATE: &str = "100000.0";

/// The program under test: the one just built, or another such as a release build.
fn program() -> String {
    std::env::var("ALLHEARD_PROGRAM").unwrap_or_else(|_| env!("CARGO_BIN_EXE_allheard").to_owned())
}

/// A text as the gateway was given it.
#[derive(Clone)]
pub struct Taken {
    pub to: String,
    pub reference: String,
    pub words: String,
    pub at: Instant,
}

/// A text gateway that keeps what it is given and takes its time.
#[derive(Clone, Default)]
pub struct Sink {
    pub taken: Arc<Mutex<Vec<Taken>>>,
    pub pause: Arc<Mutex<Duration>>,
    pub status: Arc<Mutex<u16>>,
    /// Texts it has and has not answered yet.
    pub open: Arc<Mutex<usize>>,
}

impl Sink {
    pub async fn start() -> (Sink, u16) {
        let sink = Sink { status: Arc::new(Mutex::new(200)), ..Sink::default() };
        let listener = tokio::net::TcpListener::bind("127.0.0.1:0").await.unwrap();
        let port = listener.local_addr().unwrap().port();
        let app = Router::new().route("/send", post(take)).with_state(sink.clone());
        tokio::spawn(async move { axum::serve(listener, app).await.unwrap() });
        (sink, port)
    }

    pub fn count(&self) -> usize {
        self.taken.lock().unwrap().len()
    }

    /// How often each text came.
    pub fn times(&self) -> BTreeMap<String, usize> {
        times(self.taken.lock().unwrap().iter().map(|text| text.reference.clone()))
    }
}

pub async fn take(
    State(sink): State<Sink>,
    Form(fields): Form<HashMap<String, String>>,
) -> (axum::http::StatusCode, String) {
    let status = *sink.status.lock().unwrap();
    let reference = fields["ref"].clone();
    if status == 200 {
        let taken = Taken {
            to: fields["to"].clone(),
            reference: reference.clone(),
            words: fields["text"].clone(),
            at: Instant::now(),
        };
        sink.taken.lock().unwrap().push(taken);
    }
    let pause = *sink.pause.lock().unwrap();
    *sink.open.lock().unwrap() += 1;
    // Counted down by a task of its own, since a client that goes away ends this one.
    let open = sink.open.clone();
    let done = tokio::spawn(async move {
        tokio::time::sleep(pause).await;
        *open.lock().unwrap() -= 1;
    });
    done.await.unwrap();
    (axum::http::StatusCode::from_u16(status).unwrap(), format!("id {reference}"))
}

/// A zone in which it is the middle of the day now: nothing is out of hours.
pub fn midday() -> String {
    #[allow(clippy::disallowed_methods, reason = "the daemon under test has the host's clock")]
    let hour = Timestamp::now().to_zoned_datetime(jiff::tz::TimeZone::UTC).hour();
    match 12 - i32::from(hour) {
        0 => "Etc/GMT".to_owned(),
        // The names of these zones count westwards.
        ahead @ 1.. => format!("Etc/GMT-{ahead}"),
        behind => format!("Etc/GMT+{}", -behind),
    }
}

/// A season whose first letters are due since this morning: every family by mail and by text.
pub fn book(families: usize) -> Book {
    book_due(families, ("15", "09:00"))
}

/// The same, due so many days before the event, which is in 14 days at noon, at a time of day.
pub fn book_due(families: usize, (days, at): (&str, &str)) -> Book {
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
                ("days before", days),
                ("at", at),
                ("by", by),
                ("answer owed", "yes"),
                ("wording", "call-sheet"),
            ],
        );
    }
    book
}

/// A number in letters, so that no two names are alike.
pub fn letters(mut n: usize) -> String {
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
pub struct Host {
    pub folder: tempfile::TempDir,
    /// Address of its database on a server; empty for a file.
    database: String,
}

impl Host {
    pub fn new(families: usize, mail: u16, text: u16, more: &str) -> Host {
        Host::on("", families, (mail, text), more)
    }

    pub fn on(database: &str, families: usize, ports: (u16, u16), more: &str) -> Host {
        Host::with(database, &book(families), ports, more)
    }

    /// A host with this season in this database.
    pub fn with(database: &str, book: &Book, (mail, text): (u16, u16), more: &str) -> Host {
        let folder = tempfile::tempdir().unwrap();
        let config = format!(
            "[data]\nfolder = \"data\"\ndatabase = \"{database}\"\n[pages]\nlisten = \"127.0.0.1:0\"\n\
             [coordinator]\nmail = \"lead@example.org\"\n\
             [mail]\nby = \"smtp\"\nhost = \"127.0.0.1\"\nport = {mail}\nprotection = \"none\"\nfrom = \"Us <us@example.org>\"\n\
             per_second = {RATE}\nsessions = 4\n\
             [texts]\nby = \"http\"\n[[texts.gateways]]\nname = \"first\"\nurl = \"http://127.0.0.1:{text}/send\"\n\
             fields = {{ to = \"{{to}}\", text = \"{{text}}\", ref = \"{{reference}}\" }}\nid_at = \"pattern:id (\\\\S+)\"\n\
             per_second = {RATE}\nsessions = 4\npatience_seconds = 30\n{more}"
        );
        std::fs::write(folder.path().join("allheard.toml"), config).unwrap();
        let workbook = allheard::workbook::to_xlsx(book).unwrap();
        std::fs::write(folder.path().join("season.xlsx"), workbook).unwrap();
        let host = Host { folder, database: database.to_owned() };
        for arguments in [&["bring", "season.xlsx", "--yes"][..], &["start", "--yes"]] {
            let done = host.run(arguments);
            assert!(done.status.success(), "{}", String::from_utf8_lossy(&done.stderr));
        }
        host
    }

    /// Lets so many messages a second leave by each road.
    pub fn paced(&self, rate: &str) {
        let file = self.path().join("allheard.toml");
        let config = std::fs::read_to_string(&file).unwrap();
        std::fs::write(file, config.replace(RATE, rate)).unwrap();
    }

    pub fn path(&self) -> &Path {
        self.folder.path()
    }

    pub fn run(&self, arguments: &[&str]) -> Output {
        Command::new(program())
            .args(arguments)
            .env("ALLHEARD_CONFIG", "allheard.toml")
            .current_dir(self.path())
            .output()
            .unwrap()
    }

    pub fn said(&self, arguments: &[&str]) -> String {
        let done = self.run(arguments);
        String::from_utf8_lossy(&[done.stdout, done.stderr].concat()).into_owned()
    }

    /// Starts the daemon; gives it back with the address of its pages once they are served.
    pub fn serve(&self) -> Daemon {
        self.serve_in(&[])
    }

    /// The same with some of its environment set.
    pub fn serve_in(&self, environment: &[(&str, &str)]) -> Daemon {
        let mut child = Command::new(program())
            .arg("serve")
            .env("ALLHEARD_CONFIG", "allheard.toml")
            .envs(environment.iter().copied())
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

    /// What a statement finds: two words and a number a row, read beside the daemon.
    pub async fn ask(&self, statement: &'static str) -> Vec<(String, String, i64)> {
        if self.database.is_empty() {
            let url = format!("sqlite://{}", self.database().display());
            let pool = sqlx::SqlitePool::connect(&url).await.unwrap();
            let rows = sqlx::query_as(statement).fetch_all(&pool).await.unwrap();
            pool.close().await;
            rows
        } else {
            let pool = sqlx::PgPool::connect(&self.database).await.unwrap();
            let rows = sqlx::query_as(statement).fetch_all(&pool).await.unwrap();
            pool.close().await;
            rows
        }
    }

    /// Messages by channel and state.
    pub async fn counts(&self) -> BTreeMap<(String, String), i64> {
        let rows = self
            .ask(
                "SELECT channel, state, COUNT(*) FROM message WHERE attempts > 0 OR state <> 'withdrawn' GROUP BY 1, 2",
            )
            .await;
        rows.into_iter().map(|(channel, state, n)| ((channel, state), n)).collect()
    }

    /// Messages of both channels in a state.
    pub async fn in_state(&self, wanted: &str) -> i64 {
        self.counts().await.iter().filter(|((_, state), _)| state == wanted).map(|(_, n)| *n).sum()
    }

    /// Mails in doubt for the first time: these are still to go once more.
    pub async fn mails_doubted_once(&self) -> i64 {
        let rows = self
            .ask(
                "SELECT m.channel, m.state, COUNT(*) FROM message m WHERE m.state = 'uncertain' AND m.channel = 'mail' \
                 AND (SELECT COUNT(*) FROM attempt a WHERE a.message = m.id AND a.outcome = 'uncertain') < 2 GROUP BY 1, 2",
            )
            .await;
        rows.iter().map(|(_, _, n)| *n).sum()
    }

    pub fn database(&self) -> PathBuf {
        self.path().join("data/allheard.db")
    }
}

/// A daemon under way; it is ended with the test.
pub struct Daemon {
    pub child: Child,
    pub address: String,
    pub log: Arc<Mutex<String>>,
}

impl Daemon {
    pub fn signal(&self, name: &str) {
        let sent = Command::new("kill").args([name, &self.child.id().to_string()]).status().unwrap();
        assert!(sent.success());
    }

    /// Waits for the end; how long that took.
    pub fn ends(&mut self, within: Duration) -> Duration {
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

    pub fn get(&self, path: &str) -> String {
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
pub async fn until(what: &str, within: Duration, mut so: impl AsyncFnMut() -> bool) {
    let began = Instant::now();
    while !so().await {
        assert!(began.elapsed() < within, "not within {within:?}: {what}");
        tokio::time::sleep(Duration::from_millis(50)).await;
    }
}

pub fn from_environment(name: &str, otherwise: usize) -> usize {
    std::env::var(name).ok().and_then(|value| value.parse().ok()).unwrap_or(otherwise)
}

/// How often each message came, by the name it is known by.
pub fn times(names: impl Iterator<Item = String>) -> BTreeMap<String, usize> {
    let mut out = BTreeMap::new();
    names.for_each(|name| *out.entry(name).or_default() += 1);
    out
}

pub fn message_id(mail: &str) -> String {
    let line = mail.lines().find(|line| line.to_ascii_lowercase().starts_with("message-id:")).unwrap_or("");
    line.split_once(':').map_or("", |(_, id)| id.trim()).to_owned()
}
