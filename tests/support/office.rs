//! An office on a clock of the test's own, and mail to hand to a carrier.

use allheard::demo;
use allheard::domain::book::Book;
use allheard::domain::season::Channel;
use allheard::gateway::mail::Identity;
use allheard::gateway::memory::{Fate, Memory};
use allheard::gateway::smtp::{Protection, Server, Smtp};
use allheard::gateway::{Carrier, Gateways, Road, Texts};
use allheard::service::office::{Office, Ways};
use allheard::service::ports::{Clock, Content, Hand, MailContent, Parcel, Random, Store as _};
use allheard::service::wording::Wording;
use allheard::store::SqlStore;
use jiff::Timestamp;
use rand::{Rng as _, SeedableRng as _};
use rand_chacha::ChaCha8Rng;
use std::path::Path;
use std::sync::{Arc, Mutex};

/// Area codes in use in North America.
const AREA_CODES: [u32; 100] = [
    201, 202, 203, 205, 206, 207, 208, 209, 210, 212, 213, 214, 215, 216, 217, 218, 219, 224, 225, 228, 229,
    231, 234, 239, 240, 248, 251, 252, 253, 254, 256, 260, 262, 267, 269, 270, 276, 281, 301, 302, 303, 304,
    305, 307, 308, 309, 310, 312, 313, 314, 315, 316, 317, 318, 319, 320, 321, 323, 325, 330, 334, 336, 337,
    339, 347, 351, 352, 360, 361, 386, 401, 402, 404, 405, 406, 407, 408, 409, 410, 412, 413, 414, 415, 417,
    419, 423, 425, 432, 434, 435, 440, 443, 469, 478, 479, 480, 484, 501, 502, 503,
];

/// A rate no test reaches, messages a second.
const UNBOUNDED: f64 = 1e9;

/// A clock that moves when it is told to.
pub struct Hands(Mutex<Timestamp>);

impl Hands {
    pub fn set(&self, at: Timestamp) {
        *self.0.lock().unwrap() = at;
    }
}

impl Clock for Hands {
    fn now(&self) -> Timestamp {
        *self.0.lock().unwrap()
    }
}

/// The same bytes each time.
pub struct Seeded(ChaCha8Rng);

impl Seeded {
    pub fn new(seed: u64) -> Box<Seeded> {
        Box::new(Seeded(ChaCha8Rng::seed_from_u64(seed)))
    }
}

impl Random for Seeded {
    fn fill(&mut self, buffer: &mut [u8]) {
        self.0.fill_bytes(buffer);
    }
}

/// An invented school; the host is reserved (RFC 2606).
pub fn identity() -> Identity {
    Identity {
        plus: true,
        from: "Écola Brightwater <season@school.example>".parse().unwrap(),
        reply_to: Some("answers@school.example".parse().unwrap()),
        bounces: "bounces@school.example".parse().unwrap(),
        domain: "school.example".to_owned(),
    }
}

/// A mail server on this host.
pub fn server(port: u16, protection: Protection) -> Server {
    Server {
        host: "localhost".to_owned(),
        port,
        protection,
        login: None,
        trusted: None,
        hello: "allheard.example".to_owned(),
    }
}

/// Mail through one session to a server; texts stay in memory.
pub fn gateways(mail: Road) -> Gateways {
    let memory = Memory::new(|_, _| Fate::Taken);
    Gateways {
        mail: Carrier { road: mail, per_second: UNBOUNDED, sessions: 32 },
        text: Texts::new(vec![Carrier { road: Road::Memory(memory), per_second: UNBOUNDED, sessions: 32 }]),
    }
}

/// Mail by SMTP.
pub fn smtp(server: Server) -> Gateways {
    gateways(Road::Smtp(Box::new(Smtp::new(server, identity()).unwrap())))
}

/// A mail of about 2 KB.
pub fn parcel(nth: usize, to: &str) -> Parcel {
    let line =
        "Bring: black tights, hair in a bun, and a drink in a bottle that closes. Zoë’s group enters left.\n";
    Parcel {
        message: i64::try_from(nth).unwrap(),
        to: to.to_owned(),
        reference: format!("parcel{nth}"),
        at: "2027-06-03T17:30:00Z".parse().unwrap(),
        content: Content::Mail(Box::new(MailContent {
            subject: "Dress rehearsal: call 17:00".to_owned(),
            text: line.repeat(10),
            html: format!("<p>{}</p>", line.repeat(8)),
            calendar: String::new(),
            in_reply_to: String::new(),
            reply_token: String::new(),
            stop_link: "https://allheard.example/s/token".to_owned(),
            language: "en".to_owned(),
        })),
    }
}

/// The demo's children many times over, each copy with families, phones and addresses of its own, reached by one channel
/// only. Numbers are of the range 555-0100 to 555-0199 of many area codes, which is reserved for fiction.
pub fn enlarged(seed: u64, copies: u32, channel: Channel) -> Book {
    let mut book = demo::book(seed);
    let sheet = book.sheet_mut("children");
    let mut rows = Vec::new();
    let mut phones: std::collections::HashMap<(u32, String), String> = std::collections::HashMap::new();
    for copy in 0..copies {
        for row in &sheet.rows {
            let mut row = row.clone();
            row.number += copy * 1_000;
            let own = |reference: &str| match reference.split_at_checked(1) {
                Some((letter, nth)) => format!("{letter}{}", copy * 1_000 + nth.parse::<u32>().unwrap()),
                None => String::new(),
            };
            row.set("ref", own(row.text("ref")));
            let family = format!("{} {}", row.text("family name"), letters(copy));
            row.set("family name", family);
            for guardian in 1..=4 {
                let column = |what: &str| format!("guardian {guardian} {what}");
                row.set(&column("ref"), own(row.text(&column("ref"))));
                let phone = row.text(&column("mobile")).to_owned();
                if channel == Channel::Mail {
                    row.set(&column("mobile"), "");
                } else if !phone.is_empty() {
                    let next = phones.len();
                    let new = || format!("+1 {} 555 01{:02}", AREA_CODES[next / 100], next % 100);
                    let phone = phones.entry((copy, phone)).or_insert_with(new).clone();
                    row.set(&column("mobile"), phone);
                }
                let mail = row.text(&column("e-mail")).to_owned();
                if !mail.is_empty() {
                    let mail =
                        if channel == Channel::Mail { format!("c{copy}.{mail}") } else { String::new() };
                    row.set(&column("e-mail"), mail);
                }
                let name = row.text(&column("name")).to_owned();
                if !name.is_empty() {
                    row.set(&column("name"), format!("{name} {}", letters(copy)));
                }
            }
            rows.push(row);
        }
    }
    sheet.rows = rows;
    book
}

/// Tells copies apart by letters, as names hold no digits.
fn letters(copy: u32) -> String {
    let pair = [copy / 26, copy % 26].map(|n| char::from(b'a' + n as u8));
    pair.iter().collect::<String>().to_uppercase()
}

/// An office over a database file with the demo season brought, its clock at the season's first moment.
pub struct Season {
    pub office: Office<SqlStore, Gateways>,
    pub clock: Arc<Hands>,
    pub book: Book,
    pub begins: Timestamp,
    pub ends: Timestamp,
}

impl Season {
    pub async fn open(folder: &Path, seed: u64, gateways: Gateways) -> Season {
        Season::open_with(folder, demo::book(seed), gateways).await
    }

    pub async fn open_with(folder: &Path, book: Book, gateways: Gateways) -> Season {
        let (begins, ends) = demo::span(&book).unwrap();
        let url = format!("sqlite://{}", folder.join("season.db").display());
        let store = SqlStore::open(&url, Seeded::new(1)).await.unwrap();
        let clock = Arc::new(Hands(Mutex::new(begins)));
        let ways = Ways { base_url: "https://allheard.example".to_owned(), ..Ways::default() };
        let wording = Wording::load(None).unwrap();
        let office = Office::new(store, gateways, clock.clone(), Seeded::new(2), wording, ways);
        assert!(office.store.put_season("season", &book, 0, begins).await.unwrap());
        let row = office.desk().await.unwrap().season;
        assert!(office.store.set_course(row, true, Hand::Command, begins).await.unwrap());
        Season { office, clock, book, begins, ends }
    }

    /// The store's row of the season.
    pub async fn row(&self) -> i64 {
        self.office.desk().await.unwrap().season
    }

    /// Moves the clock to the next moment at which something can leave; false when the season is over.
    pub async fn advance(&self) -> bool {
        let next = self.office.store.next_due(self.row().await).await.unwrap();
        let Some(next) = next.filter(|next| *next < self.ends) else { return false };
        // A carrier that was rested is waited for.
        let rested = self.office.resting().into_iter().filter_map(|(_, rest)| rest.until).max();
        self.clock.set(next.max(rested.unwrap_or(next)).max(self.office.now()));
        true
    }
}
