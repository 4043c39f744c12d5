//! The demonstration: an invented season run end to end with nothing configured, on a clock of its own.

mod volunteers;

pub use volunteers::Round;

use super::chance::SeededRandom;
use super::clock::SetClock;
use super::{House, StartFault};
use crate::audit::{self, Line, Violations};
use crate::demo::{self, Families, FamilyAct, MessageFate};
use crate::domain::board::NO_EVENT;
use crate::domain::book::Book;
use crate::domain::graph::State;
use crate::domain::record::AnswerKind;
use crate::domain::season::Channel;
use crate::domain::segments;
use crate::domain::standing::Standing;
use crate::domain::wall;
use crate::gateway::folder::Folder;
use crate::gateway::mail::Identity;
use crate::gateway::{Carrier, Gateways, Road, Texts};
use crate::service::answering::SheetData;
use crate::service::office::{Office, OfficeFault, Ways};
use crate::service::ports::{Clock as _, Hand, Store as _, Tended};
use crate::service::sending::Sent;
use crate::service::wording::Wording;
use crate::store::SqlStore;
use jiff::{SignedDuration, Timestamp};
use serde_json::{Map, Value, json};
use std::cmp::Reverse;
use std::collections::{BTreeMap, BinaryHeap, HashSet, VecDeque};
use std::path::{Path, PathBuf};
use std::sync::Arc;

/// Messages a second the invented carriers take.
const CARRIER_PER_SECOND: f64 = 50.0;
/// Files written at once, so that the disk is waited for once and not for each.
const CARRIER_SESSIONS: usize = 8;
/// Messages claimed at once: the carriers are slow, and a small machine should be enough.
const BATCH: u32 = 100;
/// Where the invented coordinator reads her mail (RFC 2606: a name kept for examples).
const COORDINATOR: &str = "coordinator@example.org";
/// Characters of a link's token.
const TOKEN_CHARACTERS: usize = 22;
/// How long after a mail was taken its bounce arrives.
const BOUNCE_AFTER: SignedDuration = SignedDuration::from_mins(2);
/// Ledger lines read at once.
const LEDGER_PAGE: u32 = 500;

/// Something a family, or a mail server, will do.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
enum Coming {
    Act { token: String, act: FamilyAct },
    Bounce { key: String },
}

/// What goes wrong with a demonstration.
#[derive(Debug, thiserror::Error)]
pub enum DemoFault {
    /// It cannot start.
    #[error(transparent)]
    Start(#[from] StartFault),
    /// The office.
    #[error(transparent)]
    Office(#[from] OfficeFault),
    /// A folder or a file.
    #[error("the demonstration's folder: {0}")]
    Io(#[from] std::io::Error),
    /// The invented season is not one.
    #[error("the invented season has no dates")]
    NoDates,
}

impl From<crate::service::ports::StoreFault> for DemoFault {
    fn from(fault: crate::service::ports::StoreFault) -> Self {
        DemoFault::Office(OfficeFault::Store(fault))
    }
}

/// A demonstration under way.
pub struct Demo {
    /// The office.
    pub house: Arc<House>,
    /// Its clock.
    pub clock: Arc<SetClock>,
    /// The seed.
    pub seed: u64,
    /// When it ends.
    pub end: Timestamp,
    families: Families,
    outbox: PathBuf,
    seen: HashSet<String>,
    coming: BinaryHeap<Reverse<(Timestamp, u64, Coming)>>,
    order: u64,
    books: Vec<(Timestamp, Book)>,
    changes: VecDeque<(Timestamp, Book)>,
    planned_revision: i64,
    /// When something is next to be sent or tended, as of the last step.
    due: Option<Timestamp>,
    /// When a digest may next be due.
    digest_due: Option<Timestamp>,
    /// When volunteers next sit down to ring and to answer.
    round_at: Option<Timestamp>,
    /// What they have done so far.
    pub done: Round,
    /// A link that a family has been sent, to show.
    pub family_link: Option<String>,
}

/// What one step did.
#[derive(Debug, Default, Clone, Copy)]
pub struct DemoStep {
    /// Messages handed over.
    pub sent: usize,
    /// Answers given.
    pub answers: usize,
    /// What volunteers did.
    pub round: Round,
    /// The workbook changed.
    pub changed: bool,
    /// When the next one is due; none at the end.
    pub next: Option<Timestamp>,
}

impl Demo {
    /// Sets a demonstration up in a folder: database, outbox and the workbook.
    pub async fn open(folder: &Path, seed: u64, base_url: &str) -> Result<Demo, DemoFault> {
        let book = demo::book(seed);
        let (start, end) = demo::span(&book).ok_or(DemoFault::NoDates)?;
        let changes = demo::changes(seed, &book);
        let outbox = folder.join("outbox");
        let database = format!("sqlite://{}", folder.join("allheard.db").display());
        let random = || Box::new(SeededRandom::new(seed));
        let store = SqlStore::open(&database, random()).await.map_err(StartFault::Store)?;
        let clock = Arc::new(SetClock::at(start));
        let ways = Ways {
            base_url: base_url.to_owned(),
            batch: BATCH,
            // A season goes by in minutes here, and whoever looks on stays in.
            session_lives: SignedDuration::from_hours(24 * 400),
            coordinator: vec![(Channel::Mail, COORDINATOR.to_owned())],
            ..Ways::default()
        };
        let wording = Wording::load(None).map_err(StartFault::Templates)?;
        let gateways = gateways(&outbox, &book, seed)?;
        let house = Arc::new(Office::new(store, gateways, clock.clone(), random(), wording, ways));
        house.store.put_season("demo", &book, 0, start).await?;
        let season = house.desk().await?.season;
        house.store.set_course(season, true, Hand::Demonstration, start).await?;
        Ok(Demo {
            house,
            clock,
            seed,
            end,
            families: Families::new(&book, seed),
            outbox,
            seen: HashSet::new(),
            coming: BinaryHeap::new(),
            order: 0,
            books: vec![(start, book)],
            changes: changes.into(),
            planned_revision: 0,
            due: Some(start),
            digest_due: Some(start),
            round_at: None,
            done: Round::default(),
            family_link: None,
        })
    }

    /// One step at the clock's present instant.
    pub async fn step(&mut self) -> Result<DemoStep, DemoFault> {
        let now = self.clock.now();
        let mut step = DemoStep { changed: self.take_changes(now).await?, ..DemoStep::default() };
        let digests = step.changed || self.digest_due.is_some_and(|at| at <= now);
        let idle = !step.changed && !digests && self.due.is_none_or(|at| at > now);
        let season = self.plan_if_needed(idle).await?;
        if digests {
            self.digest_due = self.house.digest_tick().await?.next;
        }
        let sent = if idle { Sent::default() } else { self.house.send_tick().await? };
        step.sent = sent.attempted;
        if sent.attempted > 0 {
            self.read_outbox(now).await?;
        }
        while self.coming.peek().is_some_and(|Reverse((at, _, _))| *at <= now) {
            if let Some(Reverse((_, _, coming))) = self.coming.pop() {
                step.answers += usize::from(self.happen(coming).await?);
            }
        }
        match self.round_at {
            Some(at) if at <= now => {
                step.round = self.round(now).await?;
                self.done.add(step.round);
                self.round_at = Some(self.next_round(now).await?);
            }
            Some(_) => {}
            None => self.round_at = Some(self.next_round(now).await?),
        }
        // What is due already waits for a carrier's rate, and `again_at` says until when.
        let due = self.house.store.next_due(season).await?;
        let due = due.filter(|at| sent.again_at.is_none() || *at > now);
        self.due = [due, sent.again_at].into_iter().flatten().min();
        let next = [
            due,
            sent.again_at,
            self.digest_due,
            self.coming.peek().map(|Reverse((at, _, _))| *at),
            self.changes.front().map(|(at, _)| *at),
            self.round_at,
        ];
        let next = next.into_iter().flatten().min().map(|at| at.max(now + SignedDuration::from_millis(1)));
        step.next = next.filter(|at| *at <= self.end);
        Ok(step)
    }

    /// Runs as fast as it can until a family has a letter in hand.
    pub async fn run_to_first_letter(&mut self) -> Result<(), DemoFault> {
        while self.family_link.is_none()
            && let Some(next) = self.step().await?.next
        {
            self.clock.advance_to(next);
        }
        Ok(())
    }

    /// Runs to the end as fast as it can.
    pub async fn run(&mut self) -> Result<(), DemoFault> {
        while let Some(next) = self.step().await?.next {
            self.clock.advance_to(next);
        }
        self.clock.advance_to(self.end);
        self.house.tend_tick().await?;
        Ok(())
    }

    async fn take_changes(&mut self, now: Timestamp) -> Result<bool, DemoFault> {
        let mut changed = false;
        while self.changes.front().is_some_and(|(at, _)| *at <= now) {
            if let Some((_, book)) = self.changes.pop_front() {
                let revision = self.house.desk().await?.revision;
                changed |= self.house.store.put_season("demo", &book, revision, now).await?;
                self.families.learn(&book);
                self.books.push((now, book));
            }
        }
        Ok(changed)
    }

    async fn plan_if_needed(&mut self, idle: bool) -> Result<i64, DemoFault> {
        let tended = if idle { Tended::default() } else { self.house.tend_tick().await? };
        let (season, revision) = {
            let desk = self.house.desk().await?;
            (desk.season, desk.revision)
        };
        if revision != self.planned_revision || tended.expired > 0 {
            self.house.plan_tick().await?;
            self.planned_revision = revision;
        }
        Ok(season)
    }

    /// Families read what has arrived since the last time.
    async fn read_outbox(&mut self, now: Timestamp) -> Result<(), DemoFault> {
        let mut fresh: Vec<(String, Channel, PathBuf)> = Vec::new();
        for (part, channel) in [("mail/new", Channel::Mail), ("texts", Channel::Text)] {
            for entry in std::fs::read_dir(self.outbox.join(part))? {
                let entry = entry?;
                let name = entry.file_name().to_string_lossy().into_owned();
                if !self.seen.contains(&name) {
                    fresh.push((name, channel, entry.path()));
                }
            }
        }
        fresh.sort();
        for (name, channel, path) in fresh {
            self.seen.insert(name);
            if let Some(letter) = Arrived::read(channel, &std::fs::read(path)?) {
                self.arrive(channel, letter, now).await?;
            }
        }
        Ok(())
    }

    async fn arrive(&mut self, channel: Channel, letter: Arrived, now: Timestamp) -> Result<(), DemoFault> {
        if self.families.gateway_fate(channel.word(), &letter.to) == MessageFate::Bounce {
            self.push(now + BOUNCE_AFTER, Coming::Bounce { key: letter.key });
            return Ok(());
        }
        let link = self.house.open_link(&letter.token).await?;
        let Some(message) = link.and_then(|link| link.message) else { return Ok(()) };
        let has_times = message.parts.len() > 1 && message.parts.iter().any(|part| part.event != NO_EVENT);
        if self.family_link.is_none() && has_times {
            self.family_link = Some(letter.token.clone());
        }
        if let Some(reaction) = self.families.receive(now, channel.word(), &letter.to, message.owes) {
            self.push(reaction.at, Coming::Act { token: letter.token, act: reaction.act });
        }
        Ok(())
    }

    fn push(&mut self, at: Timestamp, coming: Coming) {
        self.order += 1;
        self.coming.push(Reverse((at, self.order, coming)));
    }

    /// Lets something happen; true if somebody answered.
    async fn happen(&mut self, coming: Coming) -> Result<bool, DemoFault> {
        let (token, act) = match coming {
            Coming::Bounce { key } => {
                self.house.bounced(&key).await?;
                return Ok(false);
            }
            Coming::Act { token, act } => (token, act),
        };
        let kind = match act {
            FamilyAct::Heard => AnswerKind::Heard,
            FamilyAct::CantCome => AnswerKind::CantCome,
            FamilyAct::Question => AnswerKind::Question,
            FamilyAct::StopTexts => return Ok(self.house.set_stopped_by_link(&token, true).await?),
        };
        let Some(page) = self.house.guardian_data(&token).await? else { return Ok(false) };
        // They answer what the message asked, and leave the rest of the page as it is.
        let about = |sheet: &&SheetData| kind != AnswerKind::CantCome || sheet.item.event.is_some();
        let sheets = page.sheets.iter().filter(|sheet| sheet.by_this).filter(about);
        let most = match kind {
            AnswerKind::Heard => usize::MAX,
            // One event is the one they can't make, or ask about.
            AnswerKind::CantCome | AnswerKind::Question => 1,
        };
        let seen: Vec<_> = sheets
            .take(most)
            .map(|sheet| {
                let (child, event) = page.board.item_refs(sheet.item);
                (child, event, sheet.fingerprint)
            })
            .collect();
        let words = if kind == AnswerKind::Question { "Which door is it, please?" } else { "" };
        self.house.answer_all_by_link(&token, &seen, kind, words).await?;
        Ok(true)
    }

    /// A link to the list of a chaperone who looks after a number.
    pub async fn chaperone(&self) -> Result<Option<(String, String)>, DemoFault> {
        let found = {
            let desk = self.house.desk().await?;
            let season = &desk.board.season;
            let duty = season.duties.iter().find(|duty| duty.number.is_some());
            duty.map(|duty| {
                let chaperone = &season.chaperones[duty.chaperone.at()];
                (chaperone.reference.clone(), chaperone.name.clone())
            })
        };
        let Some((reference, name)) = found else { return Ok(None) };
        Ok(self.house.chaperone_link(&reference).await?.map(|token| (name, token)))
    }

    /// An instant on the season's wall clock.
    pub async fn local(&self, at: Timestamp) -> Result<String, DemoFault> {
        let desk = self.house.desk().await?;
        Ok(wall::local(&desk.board.season.zone, at).strftime("%a %d %b %H:%M").to_string())
    }

    /// The next event, with its settled children and all.
    pub async fn next_event(&self, now: Timestamp) -> Result<(String, u64, u64), DemoFault> {
        let lists = self.house.event_lists().await?;
        let desk = self.house.desk().await?;
        let next = lists.iter().find(|l| desk.board.season.curtain_up(l.event) > now).or(lists.last());
        Ok(next.map_or((String::new(), 0, 0), |list| {
            (desk.board.season.events[list.event.at()].name.clone(), list.settled.0, list.settled.1)
        }))
    }

    /// How many acknowledgements the last change withdrew.
    pub async fn open_again(&self) -> Result<String, DemoFault> {
        let before = Standing::ALL.iter().position(|s| *s == Standing::HeardBefore).unwrap_or(0);
        let lists = self.house.event_lists().await?;
        let count: u64 = lists.iter().map(|list| list.recipients[before]).sum();
        Ok(format!("{count} who had been heard from are asked again"))
    }

    /// What the independent checker makes of it.
    pub async fn violations(&self) -> Result<Violations, DemoFault> {
        let season = self.house.desk().await?.season;
        self.house.clear_desk().await;
        let mut ledger = audit::Ledger::default();
        let mut after = 0;
        loop {
            let page = self.house.store.ledger(season, after, LEDGER_PAGE).await?;
            let Some(last) = page.last() else { break };
            after = last.seq;
            let lines: Vec<Line> = page
                .into_iter()
                .map(|line| Line {
                    at: line.entry.at,
                    kind: line.entry.kind,
                    about: line
                        .entry
                        .about
                        .split(' ')
                        .filter_map(|pair| pair.split_once('='))
                        .map(|(name, value)| (name.to_owned(), value.to_owned()))
                        .collect::<BTreeMap<_, _>>(),
                })
                .collect();
            ledger.add(&lines);
        }
        Ok(audit::count(&self.books, &self.outbox, &ledger))
    }

    /// The season as one JSON object, but for time and memory.
    pub async fn summary(&self) -> Result<Value, DemoFault> {
        let data = self.house.season_data().await?;
        let season = &data.board.season;
        let count =
            |state: State| -> u64 { data.counts.iter().filter(|(s, ..)| *s == state).map(|(.., n)| n).sum() };
        let taken = [State::Accepted, State::Delivered, State::Bounced];
        let by_channel = |channel: Channel| -> u64 {
            data.counts.iter().filter(|(s, c, _)| taken.contains(s) && *c == channel).map(|(.., n)| n).sum()
        };
        let mut standing = Map::new();
        let mut settled = Map::new();
        for list in &data.events {
            let name = season.events[list.event.at()].name.clone();
            let words: Map<String, Value> = Standing::ALL
                .iter()
                .zip(list.recipients)
                .map(|(s, n)| (s.word().to_owned(), json!(n)))
                .collect();
            standing.insert(name.clone(), Value::Object(words));
            settled.insert(name, json!([list.settled.0, list.settled.1]));
        }
        let violations = self.violations().await?;
        Ok(json!({
            "seed": self.seed,
            "children": season.children.len(),
            "guardians": season.families().len(),
            "chaperones": season.chaperones.len(),
            "messages": {
                "planned": data.counts.iter().map(|(.., n)| n).sum::<u64>(),
                "accepted": count(State::Accepted),
                "delivered": count(State::Delivered),
                "withdrawn": count(State::Withdrawn),
                "expired": count(State::Expired),
                "refused": count(State::Refused),
                "bounced": count(State::Bounced),
                "uncertain": count(State::Uncertain),
            },
            "by_channel": { "mail": by_channel(Channel::Mail), "text": by_channel(Channel::Text) },
            "text_segments": self.text_segments()?,
            "volunteers": {
                "rung": self.done.rung,
                "yes": self.done.yes,
                "at_the_door": self.done.at_the_door,
                "not_coming": self.done.not_coming,
                "answered": self.done.answered,
            },
            "standing": standing,
            "settled": settled,
            "violations": {
                "duplicate": violations.duplicate,
                "out_of_hours": violations.out_of_hours,
                "after_opt_out": violations.after_opt_out,
                "stale_facts": violations.stale_facts,
                "wrong_names": violations.wrong_names,
                "after_absence": violations.after_absence,
                "half_said": violations.half_said,
                "lost": violations.lost,
            },
        }))
    }

    fn text_segments(&self) -> Result<usize, DemoFault> {
        let mut sum = 0;
        for entry in std::fs::read_dir(self.outbox.join("texts"))? {
            let text = std::fs::read_to_string(entry?.path())?;
            let body = text.split_once("\n\n").map_or("", |(_, body)| body);
            sum += segments::count(body).segments.len();
        }
        Ok(sum)
    }
}

/// A message as its reader finds it.
struct Arrived {
    to: String,
    key: String,
    token: String,
}

impl Arrived {
    fn read(channel: Channel, bytes: &[u8]) -> Option<Arrived> {
        let (to, key, body) = match channel {
            Channel::Text => {
                let text = String::from_utf8_lossy(bytes);
                let (head, body) = text.split_once("\n\n")?;
                let field = |name: &str| {
                    head.lines().find_map(|line| line.strip_prefix(name)).map(|value| value.trim().to_owned())
                };
                (field("To:")?, field("Reference:")?, body.to_owned())
            }
            Channel::Mail => {
                let mail = mail_parser::MessageParser::default().parse(bytes)?;
                let to = mail.to()?.first()?.address()?.to_owned();
                let key = mail.message_id()?.split('@').next()?.to_owned();
                (to, key, mail.body_text(0)?.into_owned())
            }
        };
        let at = body.find("/r/")? + "/r/".len();
        let token: String = body[at..].chars().take(TOKEN_CHARACTERS).collect();
        Some(Arrived { to, key, token })
    }
}

fn gateways(outbox: &Path, book: &Book, seed: u64) -> Result<Gateways, DemoFault> {
    let address = |text: &str| -> Result<lettre::message::Mailbox, DemoFault> {
        text.parse()
            .map_err(|_| DemoFault::Start(StartFault::Setting("the demonstration's sender".to_owned())))
    };
    let from = address("Ashlarmere chaperones <chaperones@example.org>")?;
    let identity = Identity {
        plus: false,
        reply_to: Some(from.clone()),
        bounces: from.email.clone(),
        domain: "example.org".to_owned(),
        from,
    };
    let carrier = |channel: Channel| -> Result<Carrier, DemoFault> {
        let families = Families::new(book, seed);
        let refuses =
            Box::new(move |to: &str| families.gateway_fate(channel.word(), to) == MessageFate::Refuse);
        let folder = Folder::open(outbox, identity.clone())?.refusing(refuses);
        Ok(Carrier { road: Road::Folder(folder), per_second: CARRIER_PER_SECOND, sessions: CARRIER_SESSIONS })
    };
    Ok(Gateways { mail: carrier(Channel::Mail)?, text: Texts::new(vec![carrier(Channel::Text)?]) })
}

/// The most memory this process has used, octets; 0 where the system does not say.
pub fn peak_rss_bytes() -> u64 {
    let status = std::fs::read_to_string("/proc/self/status").unwrap_or_default();
    let line = status.lines().find_map(|line| line.strip_prefix("VmHWM:")).unwrap_or("0");
    line.split_whitespace().next().and_then(|n| n.parse::<u64>().ok()).unwrap_or(0) * 1024
}
