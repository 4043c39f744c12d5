//! The post as the outside world: what it was given is the truth of what left, and it looks into the database with a
//! connection of its own at the moment each parcel is handed over.

use allheard::demo::dice::Dice;
use allheard::domain::board::Board;
use allheard::domain::hash;
use allheard::domain::itinerary::Itinerary;
use allheard::domain::season::{About, Channel};
use allheard::gateway::memory::{Fate, Memory};
use allheard::gateway::{Carrier, Gateways, Road, Texts};
use allheard::service::ports::{Content, Gateway, Handed, Parcel};
use allheard::store::db::{Db, Statement, Value};
use jiff::civil::time;
use jiff::{SignedDuration, Timestamp};
use std::collections::{BTreeMap, HashMap};
use std::sync::{Arc, Mutex};

/// One part of a parcel: child, event, notice and the facts told.
pub type Part = (String, String, String, String);

/// One parcel offered to the carriers.
#[derive(Debug, Clone)]
pub struct Offer {
    pub parcel: Parcel,
    pub channel: Channel,
    pub fate: Fate,
    /// What the open attempt said at that moment.
    pub guardians: String,
    pub parts: Vec<Part>,
}

impl Offer {
    /// Whether it left.
    pub fn taken(&self) -> bool {
        matches!(self.fate, Fate::Taken | Fate::TakenUnsaid)
    }

    /// The token of its page; an eve message that asks nothing has no link.
    pub fn token(&self) -> Option<String> {
        let words = match &self.parcel.content {
            Content::Text(text) => text,
            Content::Mail(mail) => &mail.text,
        };
        let rest = words.split_once("/r/")?.1;
        Some(rest.chars().take_while(|c| c.is_ascii_alphanumeric() || *c == '-' || *c == '_').collect())
    }
}

/// What outlives a crash of the program.
#[derive(Default)]
pub struct World {
    pub offers: Mutex<Vec<Offer>>,
    pub breaches: Mutex<Vec<String>>,
    /// By revision.
    pub boards: Mutex<BTreeMap<i64, Board>>,
    tries: Mutex<HashMap<String, u64>>,
}

impl World {
    /// Notes that an invariant does not hold.
    pub fn breach(&self, text: String) {
        let mut breaches = self.breaches.lock().unwrap();
        if !breaches.contains(&text) {
            breaches.push(text);
        }
    }
}

/// The carriers, with a witness.
pub struct Post {
    inner: Gateways,
    world: Arc<World>,
    db: Arc<Db>,
    /// Planted fault: the carrier is handed each parcel a second time.
    pub twice: bool,
    last_fate: Arc<Mutex<Fate>>,
}

/// What fate holds for the n-th offer of a reference.
fn fate(seed: u64, calm: bool, reference: &str, nth: u64) -> Fate {
    if calm {
        return Fate::Taken;
    }
    let word = hash::sha256(format!("{reference} {nth}").as_bytes());
    let mix = u64::from_le_bytes([word[0], word[1], word[2], word[3], word[4], word[5], word[6], word[7]]);
    let mut dice = Dice::new(seed ^ mix, "fate");
    match dice.weighted(&[78.0, 6.0, 4.0, 7.0, 3.0, 2.0]) {
        0 => Fate::Taken,
        1 => Fate::TakenUnsaid,
        2 => Fate::LostUnsaid,
        3 => Fate::NotNow,
        4 => Fate::Refused,
        _ => Fate::Unusable,
    }
}

impl Post {
    /// Carriers whose fates depend on the seed and the message alone.
    pub fn new(seed: u64, calm: bool, world: Arc<World>, db: Arc<Db>) -> Post {
        let last_fate = Arc::new(Mutex::new(Fate::Taken));
        let carrier = || {
            let (last, world) = (last_fate.clone(), world.clone());
            let memory = Memory::new(move |parcel, _| {
                let mut tries = world.tries.lock().unwrap();
                let nth = tries.entry(parcel.reference.clone()).or_default();
                *nth += 1;
                let fate = fate(seed, calm, &parcel.reference, *nth);
                *last.lock().unwrap() = fate.clone();
                fate
            });
            Carrier { road: Road::Memory(memory), per_second: 1_000.0, sessions: 1 }
        };
        let inner = Gateways { mail: carrier(), text: Texts::new(vec![carrier()]) };
        Post { inner, world, db, twice: false, last_fate }
    }

    /// Looks at what is durable at this moment: invariants 1, 4, 5 and 6.
    async fn witness(&self, parcel: &Parcel, channel: Channel) -> Option<(String, Vec<Part>)> {
        const OPEN: Statement = Statement {
            text: "SELECT m.guardians, m.at_once, m.due_ms, m.until_ms, a.at_ms, s.revision, \
                   (SELECT COUNT(*) FROM address x WHERE x.season = m.season AND x.channel = m.channel \
                     AND x.address = a.address AND x.stopped = 1) \
                   FROM message m JOIN attempt a ON a.message = m.id AND a.number = m.attempts \
                   JOIN season s ON s.id = m.season \
                   WHERE m.id = $1 AND m.state = 'attempting' AND m.lease_ms > $2 AND a.outcome = '' \
                   AND a.address = $3 AND a.reference = $4 AND m.channel = $5",
            binds: 5,
        };
        const PARTS: Statement = Statement {
            text: "SELECT child, event, notice, fingerprint FROM message_part WHERE message = $1 AND told_ms = $2 \
                   ORDER BY child, event, notice",
            binds: 2,
        };
        let values: Vec<Value> = vec![
            parcel.message.into(),
            parcel.at.as_millisecond().into(),
            parcel.to.as_str().into(),
            parcel.reference.as_str().into(),
            channel.word().into(),
        ];
        // Word that everything is held goes straight to the coordinator, since nothing else leaves.
        if parcel.reference.starts_with("alarm") {
            return None;
        }
        if parcel.message == 0 {
            self.witness_digest(parcel, channel).await;
            return None;
        }
        let rows = self.db.fetch(OPEN, values).await.expect("the database answers");
        let Some(row) = rows.first() else {
            self.world.breach(format!("1: message {} leaves without a durable attempt", parcel.message));
            return None;
        };
        let int = |at| row.int(at).expect("a number");
        let parts = self.db.fetch(PARTS, vec![parcel.message.into(), int(4).into()]).await.expect("parts");
        let text = |row: &allheard::store::db::DbRow, at| row.text(at).expect("text");
        let parts: Vec<Part> =
            parts.iter().map(|row| (text(row, 0), text(row, 1), text(row, 2), text(row, 3))).collect();
        let id = parcel.message;
        if int(6) != 0 {
            self.world.breach(format!("4: message {id} leaves for an address that said stop"));
        }
        let now = parcel.at.as_millisecond();
        if now < int(2) || now >= int(3) {
            self.world.breach(format!(
                "6: message {id} leaves at {now}, due {}, useful until {}",
                int(2),
                int(3)
            ));
        }
        let boards = self.world.boards.lock().unwrap();
        match boards.get(&int(5)) {
            Some(board) => self.facts_and_hours(board, parcel, &parts, int(1) != 0),
            None => self.world.breach(format!("revision {} is unknown", int(5))),
        }
        Some((text(row, 0), parts))
    }

    /// A digest leaves the same way: written down first, at a permitted hour, and not to an address that said stop. So does
    /// word of a carrier's trouble to the coordinator, at any hour.
    async fn witness_digest(&self, parcel: &Parcel, channel: Channel) {
        const OPEN: Statement = Statement {
            text: "SELECT r.until_ms, (SELECT COUNT(*) FROM address x WHERE x.season = r.season \
                     AND x.channel = r.channel AND x.address = r.address AND x.stopped = 1) FROM reply r \
                   WHERE (r.reference = $1 OR (r.reference = '' AND 'reply' || CAST(r.id AS TEXT) = $1)) \
                   AND r.state = 'attempting' AND r.lease_ms > $2 AND r.address = $3 \
                   AND r.channel = $4",
            binds: 4,
        };
        let now = parcel.at.as_millisecond();
        let values: Vec<Value> = vec![
            parcel.reference.as_str().into(),
            now.into(),
            parcel.to.as_str().into(),
            channel.word().into(),
        ];
        let rows = self.db.fetch(OPEN, values).await.expect("the database answers");
        let Some(row) = rows.first() else {
            self.world.breach(format!("1: digest {} leaves without being written down", parcel.reference));
            return;
        };
        let int = |at| row.int(at).expect("a number");
        // That it was heard is confirmed to the address itself, with the way back.
        let words = match &parcel.content {
            Content::Text(text) => text,
            Content::Mail(mail) => &mail.text,
        };
        if int(1) != 0 && !words.contains("/stop/") {
            self.world.breach(format!("4: digest {} leaves for an address that said stop", parcel.reference));
        }
        let zone = jiff::tz::TimeZone::get("Europe/London").expect("a zone");
        let clock = zone.to_datetime(parcel.at).time();
        let alarm = parcel.reference.starts_with("reply");
        if now >= int(0) || !alarm && !(time(8, 0, 0, 0)..time(20, 30, 0, 0)).contains(&clock) {
            self.world.breach(format!("6: digest {} leaves at {clock}", parcel.reference));
        }
    }

    fn facts_and_hours(&self, board: &Board, parcel: &Parcel, parts: &[Part], at_once: bool) {
        let (id, now) = (parcel.message, parcel.at);
        let clock = board.season.zone.to_datetime(now).time();
        if !at_once && !(time(8, 0, 0, 0)..time(20, 30, 0, 0)).contains(&clock) {
            self.world.breach(format!("6: message {id} leaves at {clock}"));
        }
        if parts.is_empty() {
            self.world.breach(format!("5: message {id} tells nothing"));
        }
        let mut earliest: Option<Timestamp> = None;
        for (child, event, notice, fingerprint) in parts {
            let Some(item) = board.item(child, event) else {
                self.world.breach(format!("5: message {id} is about {child}/{event}, which is gone"));
                continue;
            };
            if board.fingerprint(item).to_string() != *fingerprint {
                self.world.breach(format!("5: message {id} tells facts of {child}/{event} that do not hold"));
            }
            if now >= board.over_at(item) {
                self.world.breach(format!("6: message {id} tells of {child}/{event} after it is over"));
            }
            if let Some(at) = board.notice(notice) {
                let due = match item.event {
                    None => board.season_due(at),
                    // The first letter tells the dates of the season beside the rules.
                    Some(_) if board.season.notices[at].about == About::Season => board.season_due(at),
                    Some(event) => board.programme.position(item.who, event).and_then(|it| board.due(it, at)),
                };
                match due {
                    Some(due) => earliest = Some(earliest.map_or(due.at, |e| e.min(due.at))),
                    None => self.world.breach(format!("5: {notice} is not about {child}/{event} any more")),
                }
            }
        }
        let slack = SignedDuration::from_mins(1);
        if earliest.is_some_and(|due| now + slack < due) {
            self.world
                .breach(format!("6: message {id} leaves at {now}, its first notice is due {earliest:?}"));
        }
        self.times_in_words(board, parcel, parts);
    }

    /// The times as a family reads them: the calendar of a mail, and the one call of a text, are today's.
    fn times_in_words(&self, board: &Board, parcel: &Parcel, parts: &[Part]) {
        let items: std::collections::BTreeSet<_> =
            parts.iter().filter_map(|(child, event, ..)| board.item(child, event)).collect();
        let calls: Vec<_> = items.iter().filter_map(|item| board.itinerary(*item)).collect();
        let introduces =
            |notice: &str| board.notice(notice).is_some_and(|at| board.season.notices[at].introduces());
        match &parcel.content {
            Content::Mail(mail) if parts.iter().any(|p| introduces(&p.2)) => {
                let told = |it: &&&Itinerary| mail.text.contains(&it.call.strftime("%H:%M").to_string());
                if !mail.calendar.is_empty() || calls.iter().any(|it| told(&it)) {
                    self.world.breach(format!("5: mail {} introduces and tells times", parcel.message));
                }
                let season = &board.season;
                // Who signs is named; the others of a long list stand on the page.
                let mut names = calls.iter().flat_map(|it| it.signs_in.into_iter().chain(it.signs_out));
                if !names.all(|who| mail.text.contains(&season.chaperones[who.at()].name)) {
                    self.world.breach(format!("mail {} leaves a chaperone out", parcel.message));
                }
            }
            Content::Mail(mail) => {
                for it in calls {
                    let start = format!("DTSTART:{}", it.call_at.strftime("%Y%m%dT%H%M%SZ"));
                    if !mail.calendar.contains(&start) {
                        self.world.breach(format!("5: mail {} lacks {start}", parcel.message));
                    }
                }
            }
            Content::Text(text)
                if calls.len() == 1 && parts.iter().any(|p| p.2 == "T004" || p.2 == "T005") =>
            {
                let call = calls[0].call.strftime("%H:%M").to_string();
                if !text.contains(&call) {
                    self.world.breach(format!("5: text {} lacks the call {call}: {text}", parcel.message));
                }
            }
            Content::Text(_) => {}
        }
    }

    async fn offer(&self, parcel: &Parcel, channel: Channel) -> Handed {
        let witnessed = self.witness(parcel, channel).await.unwrap_or_default();
        // A carrier that rests is not even offered it, and then no fate is drawn.
        *self.last_fate.lock().unwrap() = Fate::NotNow;
        let outcome = self.inner.send(parcel).await;
        let fate = self.last_fate.lock().unwrap().clone();
        let (guardians, parts) = witnessed;
        let offer = Offer { parcel: parcel.clone(), channel, fate, guardians, parts };
        self.world.offers.lock().unwrap().push(offer);
        outcome
    }
}

impl Gateway for Post {
    async fn send(&self, parcel: &Parcel) -> Handed {
        let channel = match parcel.content {
            Content::Text(_) => Channel::Text,
            Content::Mail(_) => Channel::Mail,
        };
        let outcome = self.offer(parcel, channel).await;
        if self.twice {
            return self.offer(parcel, channel).await;
        }
        outcome
    }

    fn per_second(&self, channel: Channel) -> f64 {
        self.inner.per_second(channel)
    }

    fn sessions(&self, channel: Channel) -> usize {
        self.inner.sessions(channel)
    }
}
