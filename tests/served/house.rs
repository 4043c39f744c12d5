//! The whole program but its sockets: a database in a folder, carriers in memory, a clock that is set by hand.

use std::sync::{Arc, Mutex};

use allheard::domain::book::Book;
use allheard::gateway::{Carrier, Gateways, Road, Texts, memory};
use allheard::inbound::fields::Places;
use allheard::inbound::hook::{self, Form, Hook, Proof, Refused};
use allheard::service::office::{Office, Ways};
use allheard::service::ports::{Clock, Content, Hand, Random};
use allheard::service::wording::Wording;
use allheard::store::SqlStore;
use allheard::web::hook::{HookRead, ReadHook};
use allheard::web::routes::{WebWays, router};
use allheard::workbook;
use axum::Router;
use axum::body::Body;
use axum::http::{HeaderMap, Request, StatusCode};
use jiff::Timestamp;
use tower::ServiceExt as _;

/// Answers of pages are read up to this many octets.
const ANSWER_MAX_OCTETS: usize = 4 * 1024 * 1024;

pub struct Hands(Mutex<Timestamp>);

impl Hands {
    pub fn set(&self, at: &str) {
        *self.0.lock().unwrap() = at.parse().unwrap();
    }
}

impl Clock for Hands {
    fn now(&self) -> Timestamp {
        *self.0.lock().unwrap()
    }
}

/// SplitMix64 (Steele, Lea and Flood, 2014): enough to make tokens differ.
struct Dice(u64);

impl Random for Dice {
    fn fill(&mut self, buffer: &mut [u8]) {
        for chunk in buffer.chunks_mut(8) {
            self.0 = self.0.wrapping_add(0x9E37_79B9_7F4A_7C15);
            let mut z = (self.0 ^ (self.0 >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
            z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
            chunk.copy_from_slice(&(z ^ (z >> 31)).to_le_bytes()[..chunk.len()]);
        }
    }
}

pub struct House {
    pub office: Arc<Office<SqlStore, Gateways>>,
    pub clock: Arc<Hands>,
    pub acted: Arc<Mutex<u32>>,
    router: Router,
    _folder: tempfile::TempDir,
    sessions: Mutex<std::collections::HashMap<String, String>>,
    /// What becomes of whatever is handed over.
    pub fate: Arc<Mutex<memory::Fate>>,
}

/// What the program answered.
pub struct Answer {
    pub status: StatusCode,
    pub headers: HeaderMap,
    pub body: Vec<u8>,
    pub text: String,
}

impl Answer {
    /// A header; empty if it is not there.
    pub fn header(&self, name: &str) -> &str {
        self.headers.get(name).map_or("", |value| value.to_str().unwrap())
    }

    /// The values of every hidden field of a name, in order.
    pub fn hidden(&self, name: &str) -> Vec<String> {
        let start = format!("name=\"{name}\" value=\"");
        let ends = self.text.split(&start).skip(1).map(|rest| rest.split('"').next().unwrap().to_owned());
        ends.collect()
    }

    /// The text without tags, with apostrophes as typed and white space made single.
    pub fn plain(&self) -> String {
        let mut out = String::new();
        let mut inside = false;
        for c in self.text.chars() {
            match c {
                '<' => inside = true,
                '>' => inside = false,
                c if !inside => out.push(c),
                _ => {}
            }
        }
        out.replace("&#39;", "'").split_whitespace().collect::<Vec<_>>().join(" ")
    }
}

fn taken() -> Arc<Mutex<memory::Fate>> {
    Arc::new(Mutex::new(memory::Fate::Taken))
}

fn carrier(fate: &Arc<Mutex<memory::Fate>>) -> Carrier {
    let fate = fate.clone();
    let road = Road::Memory(memory::Memory::new(move |_, _| fate.lock().unwrap().clone()));
    Carrier { road, per_second: 1000.0, sessions: 1 }
}

/// One hook, as the configuration would describe it: a form with a secret in a header.
fn answers_hook() -> Hook {
    Hook {
        name: "answers".to_owned(),
        proof: Proof::Header { name: "x-secret".to_owned() },
        secrets: vec!["whisper".to_owned()],
        form: Form::Form,
        list: String::new(),
        places: Places::Answer {
            from: "from".to_owned(),
            words: "text".to_owned(),
            id: "id".to_owned(),
            at: String::new(),
        },
        answer: "thanks\n".to_owned(),
    }
}

fn read_hook(hooks: Vec<Hook>) -> ReadHook {
    Arc::new(move |request| {
        let Some(hook) = hooks.iter().find(|hook| hook.name == request.name) else { return HookRead::NoSuch };
        let raw =
            hook::HookCall { headers: request.headers.clone(), query: request.query, body: request.body };
        match hook.read(&raw, request.now) {
            Ok(told) => HookRead::Told(told, hook.answer.clone()),
            Err(Refused::Unproven) => HookRead::Unproven,
            Err(Refused::Unreadable(why)) => HookRead::Unreadable(why),
        }
    })
}

impl House {
    /// The season brought on 20 May, nothing sent yet.
    pub async fn open() -> House {
        House::open_with(super::season::book()).await
    }

    /// Another season brought on that day.
    pub async fn open_with(book: Book) -> House {
        let house = House::empty().await;
        house.bring(book).await;
        house
    }

    /// Brings a season of five children as the first, and sets it going.
    pub async fn bring(&self, book: Book) {
        self.bring_only(book).await;
        assert!(self.office.set_going(Hand::Coordinator).await.unwrap());
    }

    /// Brings a season of five children as the first; nothing leaves yet.
    pub async fn bring_only(&self, book: Book) {
        let house = self;
        let bringing = house.office.preview(book, Vec::new()).await.unwrap();
        let errors: Vec<_> = bringing.problems.iter().map(|p| (&p.sheet, p.row, &p.reason)).collect();
        assert!(!bringing.has_errors(), "{errors:?}");
        assert_eq!((bringing.revision, bringing.children), (0, (0, 5)));
        let brought = house.office.bring(&bringing).await.unwrap();
        assert_eq!(brought.revision, 1);
    }

    /// The pages, to be served on a socket.
    pub fn router(&self) -> Router {
        self.router.clone()
    }

    /// Without a season.
    pub async fn empty() -> House {
        House::with(Texts::new(vec![carrier(&taken())]), vec![answers_hook()]).await
    }

    /// Without a season, with carriers of texts and hooks of the test's own.
    pub async fn with(text: Texts, hooks: Vec<Hook>) -> House {
        House::with_ways(text, hooks, |_| {}).await
    }

    /// Without a season, working in ways of its own.
    pub async fn in_other_ways(change: impl FnOnce(&mut Ways)) -> House {
        House::with_ways(Texts::new(vec![carrier(&taken())]), vec![answers_hook()], change).await
    }

    async fn with_ways(text: Texts, hooks: Vec<Hook>, change: impl FnOnce(&mut Ways)) -> House {
        let folder = tempfile::tempdir().unwrap();
        let url = format!("sqlite://{}", folder.path().join("season.db").display());
        let store = SqlStore::open(&url, Box::new(Dice(1))).await.unwrap();
        let clock = Arc::new(Hands(Mutex::new("2027-05-20T09:00:00Z".parse().unwrap())));
        let fate = taken();
        let gateways = Gateways { mail: carrier(&fate), text };
        let mut ways = Ways { base_url: "https://brackwater.example".to_owned(), ..Ways::default() };
        change(&mut ways);
        let wording = Wording::load(None).ok().unwrap();
        let office = Office::new(store, gateways, clock.clone(), Box::new(Dice(2)), wording, ways);
        let office = Arc::new(office);
        let acted = Arc::new(Mutex::new(0));
        let counted = acted.clone();
        let web = WebWays {
            read_hook: read_hook(hooks),
            read_workbook: workbook::read_octets,
            write_workbook: |book| workbook::to_xlsx(book).ok(),
            acted: Arc::new(move || *counted.lock().unwrap() += 1),
        };
        let sessions = Mutex::default();
        House { router: router(office.clone(), web), office, clock, acted, sessions, fate, _folder: folder }
    }

    /// The season with the call sheets of the dress rehearsal sent, on 28 May.
    pub async fn told() -> House {
        let house = House::open().await;
        house.clock.set("2027-05-28T09:30:00Z");
        house.send().await;
        house
    }

    /// Plans and sends what is due.
    pub async fn send(&self) {
        self.office.plan_tick().await.unwrap();
        self.office.send_tick().await.unwrap();
    }

    /// The token of the newest mail to an address.
    pub fn token(&self, address: &str) -> String {
        let words = self.mail(address);
        let (_, rest) = words.split_once("/r/").expect("a link");
        rest.split(|c: char| !c.is_ascii_alphanumeric() && c != '-' && c != '_').next().unwrap().to_owned()
    }

    /// The token of the link that stops messages in the newest mail to an address.
    pub fn stop_token(&self, address: &str) -> String {
        let Road::Memory(memory) = &self.office.gateway.mail.road else { panic!("not memory") };
        let taken = memory.taken();
        let parcel = taken.iter().rev().find(|parcel| parcel.to == address).expect("a mail went there");
        let Content::Mail(mail) = &parcel.content else { panic!("not a mail") };
        mail.stop_link.rsplit('/').next().unwrap().to_owned()
    }

    /// Whether any mail went to an address.
    pub fn has_mail(&self, address: &str) -> bool {
        let Road::Memory(memory) = &self.office.gateway.mail.road else { panic!("not memory") };
        memory.taken().iter().any(|parcel| parcel.to == address)
    }

    /// The words of the newest mail to an address.
    pub fn mail(&self, address: &str) -> String {
        let Road::Memory(memory) = &self.office.gateway.mail.road else { panic!("not memory") };
        let taken = memory.taken();
        let parcel = taken.iter().rev().find(|parcel| parcel.to == address).expect("a mail went there");
        let Content::Mail(mail) = &parcel.content else { panic!("not a mail") };
        mail.text.clone()
    }

    /// The calendar in the newest mail to an address.
    pub fn mail_calendar(&self, address: &str) -> String {
        let Road::Memory(memory) = &self.office.gateway.mail.road else { panic!("not memory") };
        let taken = memory.taken();
        let parcel = taken.iter().rev().find(|parcel| parcel.to == address).expect("a mail went there");
        let Content::Mail(mail) = &parcel.content else { panic!("not a mail") };
        mail.calendar.clone()
    }

    /// Every text that went out: to whom, and its words.
    pub fn texts(&self) -> Vec<(String, String)> {
        let Road::Memory(memory) = &self.office.gateway.text.carriers()[0].road else { panic!("not memory") };
        memory
            .taken()
            .into_iter()
            .map(|parcel| match parcel.content {
                Content::Text(words) => (parcel.to, words),
                Content::Mail(_) => panic!("not a text"),
            })
            .collect()
    }

    /// Everything that went out, mails before texts of the same moment: to whom, and when.
    pub fn outbox(&self) -> Vec<(String, Timestamp)> {
        let roads = [&self.office.gateway.mail.road, &self.office.gateway.text.carriers()[0].road];
        let taken = roads.into_iter().flat_map(|road| match road {
            Road::Memory(memory) => memory.taken(),
            _ => panic!("not memory"),
        });
        let mut all: Vec<_> = taken.map(|parcel| (parcel.to, parcel.at)).collect();
        all.sort_by_key(|(_, at)| *at);
        all
    }

    /// The ref of the household of a guardian.
    pub async fn household(&self, guardian: &str) -> String {
        let desk = self.office.desk().await.unwrap();
        let season = &desk.board.season;
        let care = season.cares.iter().find(|care| season.guardians[care.guardian.at()].name == guardian);
        season.households[care.unwrap().household.at()].reference.clone()
    }

    /// How many mails went out.
    pub fn mails(&self) -> usize {
        let Road::Memory(memory) = &self.office.gateway.mail.road else { panic!("not memory") };
        memory.taken().len()
    }

    pub async fn ask(&self, request: Request<Body>) -> Answer {
        let response = self.router.clone().oneshot(request).await.unwrap();
        let (parts, body) = response.into_parts();
        let body = axum::body::to_bytes(body, ANSWER_MAX_OCTETS).await.unwrap().to_vec();
        let text = String::from_utf8_lossy(&body).into_owned();
        Answer { status: parts.status, headers: parts.headers, body, text }
    }

    pub async fn get(&self, path: &str) -> Answer {
        self.ask(Request::get(path).body(Body::empty()).unwrap()).await
    }

    pub async fn post(&self, path: &str, fields: &[(&str, &str)]) -> Answer {
        self.ask(form(path, fields).body(encoded(fields).into()).unwrap()).await
    }

    /// A page as a browser asks for it that holds some cookie.
    pub async fn with_cookie(&self, cookie: &str, path: &str) -> Answer {
        let request = Request::get(path).header("cookie", format!("allheard={cookie}"));
        self.ask(request.body(Body::empty()).unwrap()).await
    }

    /// The cookie of a browser in which a coordinator's link is opened; of what is no such link, that itself.
    pub async fn session(&self, token: &str) -> String {
        // A session ends after a week; whoever comes later opens the link again.
        let key = format!("{token} {}", self.office.now().as_second() / (3 * 24 * 60 * 60));
        if let Some(session) = self.sessions.lock().unwrap().get(&key) {
            return session.clone();
        }
        let entered = self.get(&format!("/enter/{token}")).await;
        let Some(cookie) = entered.headers.get("set-cookie") else { return token.to_owned() };
        let cookie = cookie.to_str().unwrap();
        let session = cookie.strip_prefix("allheard=").unwrap().split(';').next().unwrap().to_owned();
        self.sessions.lock().unwrap().insert(key, session.clone());
        session
    }

    /// A page of the coordinator.
    pub async fn coordinator_get(&self, token: &str, path: &str) -> Answer {
        let session = self.session(token).await;
        let request = Request::get(path).header("cookie", format!("other=1; allheard={session}"));
        self.ask(request.body(Body::empty()).unwrap()).await
    }

    /// A form of the coordinator.
    pub async fn coordinator_post(&self, token: &str, path: &str, fields: &[(&str, &str)]) -> Answer {
        let session = self.session(token).await;
        let request = form(path, fields)
            .header("cookie", format!("allheard={session}"))
            .header("origin", "https://brackwater.example");
        self.ask(request.body(encoded(fields).into()).unwrap()).await
    }

    /// A file of the coordinator.
    pub async fn upload(&self, token: &str, file: &[u8]) -> Answer {
        let session = self.session(token).await;
        let request = Request::post("/season/workbook")
            .header("cookie", format!("allheard={session}"))
            .header("content-type", format!("multipart/form-data; boundary={BOUNDARY}"));
        self.ask(
            request
                .body(multipart(&[("act", None, b"preview"), ("file", Some("tide.xlsx"), file)]).into())
                .unwrap(),
        )
        .await
    }

    /// Everything that ever happened, as the record is rebuilt from.
    pub async fn trace(&self) -> String {
        let season = self.office.desk().await.unwrap().season;
        use allheard::service::ports::Store as _;
        let history = self.office.store.history(season).await.unwrap();
        format!("{} {:?} {:?}", history.pulse, history.answers, history.addresses)
    }

    /// How many answers are stored.
    pub async fn answers(&self) -> usize {
        let season = self.office.desk().await.unwrap().season;
        use allheard::service::ports::Store as _;
        self.office.store.history(season).await.unwrap().answers.len()
    }
}

pub const BOUNDARY: &str = "between-the-parts";

fn form(path: &str, _: &[(&str, &str)]) -> axum::http::request::Builder {
    Request::post(path).header("content-type", "application/x-www-form-urlencoded")
}

/// `application/x-www-form-urlencoded` of the URL Standard, 5.2.
pub fn encoded(fields: &[(&str, &str)]) -> String {
    let escape = |text: &str| -> String {
        text.bytes()
            .map(|b| match b {
                b'a'..=b'z' | b'A'..=b'Z' | b'0'..=b'9' | b'*' | b'-' | b'.' | b'_' => {
                    (b as char).to_string()
                }
                b' ' => "+".to_owned(),
                _ => format!("%{b:02X}"),
            })
            .collect()
    };
    fields.iter().map(|(n, v)| format!("{}={}", escape(n), escape(v))).collect::<Vec<_>>().join("&")
}

/// `multipart/form-data` (RFC 7578).
pub fn multipart(parts: &[(&str, Option<&str>, &[u8])]) -> Vec<u8> {
    let mut out = Vec::new();
    for (name, file, octets) in parts {
        let file = file.map(|file| format!("; filename=\"{file}\"")).unwrap_or_default();
        let head = format!("--{BOUNDARY}\r\nContent-Disposition: form-data; name=\"{name}\"{file}\r\n\r\n");
        out.extend(head.as_bytes());
        out.extend(*octets);
        out.extend(b"\r\n");
    }
    out.extend(format!("--{BOUNDARY}--\r\n").as_bytes());
    out
}

/// The workbook as a file.
pub fn file(book: &Book) -> Vec<u8> {
    workbook::to_xlsx(book).unwrap()
}
