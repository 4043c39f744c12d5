//! An office on a clock of the test's own, and mail to hand to a carrier.

use allheard::demo;
use allheard::domain::book::Book;
use allheard::gateway::mail::Identity;
use allheard::gateway::memory::{Fate, Memory};
use allheard::gateway::smtp::{Protection, Server, Smtp};
use allheard::gateway::{Carrier, Gateways, Road, Texts};
use allheard::service::office::{Office, Ways};
use allheard::service::ports::{Clock, Content, MailContent, Parcel, Random, Store as _};
use allheard::service::wording::Wording;
use allheard::store::SqlStore;
use jiff::Timestamp;
use rand::{Rng as _, SeedableRng as _};
use rand_chacha::ChaCha8Rng;
use std::path::Path;
use std::sync::{Arc, Mutex};

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
        mail: Carrier { road: mail, per_second: UNBOUNDED, sessions: 1 },
        text: Texts::new(vec![Carrier { road: Road::Memory(memory), per_second: UNBOUNDED, sessions: 1 }]),
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
        let book = demo::book(seed);
        let (begins, ends) = demo::span(&book).unwrap();
        let url = format!("sqlite://{}", folder.join("season.db").display());
        let store = SqlStore::open(&url, Seeded::new(1)).await.unwrap();
        let clock = Arc::new(Hands(Mutex::new(begins)));
        let ways = Ways { base_url: "https://allheard.example".to_owned(), ..Ways::default() };
        let wording = Wording::load(None).unwrap();
        let office = Office::new(store, gateways, clock.clone(), Seeded::new(2), wording, ways);
        assert!(office.store.put_season("season", &book, 0, begins).await.unwrap());
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
