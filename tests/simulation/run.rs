//! One simulated season: the real office on a real database file, people, crashes, and the invariants after every step.

use crate::common::{self, HandClock, Seeded, at};
use crate::post::{Offer, Post, World};
use crate::school;
use allheard::demo::dice::Dice;
use allheard::domain::board::Item;
use allheard::domain::book::Book;
use allheard::domain::graph::{self, State, Step};
use allheard::domain::hash;
use allheard::domain::record::AnswerKind;
use allheard::domain::season::Channel;
use allheard::domain::standing::standing;
use allheard::service::answering::Noted;
use allheard::service::office::{Office, OfficeFault, Ways};
use allheard::service::ports::{CrashPoint, Decided, Doubt, Hand, LinkKind, NewLink, Store, StoreFault};
use allheard::service::wording::Wording;
use allheard::store::SqlStore;
use allheard::store::db::{Db, Statement};
use jiff::{SignedDuration, Timestamp};
use std::collections::{BTreeMap, BTreeSet};
use std::sync::Arc;

/// Steps after which a season that does not end is taken for stuck.
const STEPS_MAX: usize = 20_000;
/// Crash points of one season.
const CRASHES: usize = 6;
/// Holds of one season.
const HOLDS: usize = 3;
/// The longest time between two looks at the office.
const LONGEST_PAUSE: SignedDuration = SignedDuration::from_hours(6);
/// How long a person lets an uncertain message lie.
const PATIENCE: SignedDuration = SignedDuration::from_hours(3);

/// Every place where the program may end.
pub fn crash_points() -> Vec<CrashPoint> {
    const COMMITS: [&str; 14] = [
        "put_season",
        "reconcile",
        "claim",
        "attempt",
        "settle",
        "put_back",
        "tend",
        "answer",
        "set_stopped",
        "decide",
        "put_link",
        "put_digests",
        "claim_replies",
        "settle_replies",
    ];
    let around = COMMITS.into_iter().flat_map(|c| [CrashPoint::BeforeCommit(c), CrashPoint::AfterCommit(c)]);
    around.chain([CrashPoint::AfterEffect]).collect()
}

/// What a run is about.
pub struct Setup {
    pub seed: u64,
    pub book: Book,
    pub changes: Vec<(Timestamp, Book)>,
    pub begins: Timestamp,
    pub ends: Timestamp,
    /// Crash points with the passing at which they strike.
    pub crashes: BTreeMap<CrashPoint, u32>,
    /// Steps at which sending is held because of the clock, with for how many.
    pub holds: BTreeMap<usize, usize>,
    /// Whether the carriers take everything.
    pub calm: bool,
    /// Whether people answer at all.
    pub answers: bool,
    /// Planted fault.
    pub twice: bool,
    /// The database; none for a SQLite file of its own.
    pub url: Option<String>,
}

impl Setup {
    /// A small season without crashes.
    pub fn small(seed: u64) -> Setup {
        let book = school::book(seed);
        Setup {
            seed,
            changes: school::changes(seed, &book),
            book,
            begins: at(school::BEGINS),
            ends: at(school::ENDS),
            crashes: BTreeMap::new(),
            holds: BTreeMap::new(),
            calm: seed.is_multiple_of(4),
            answers: true,
            twice: false,
            url: None,
        }
    }

    /// The last day of a season of full size: everybody is caught up with at once, and a call moves in the morning.
    pub fn demo(seed: u64) -> Setup {
        let book = allheard::demo::book(seed);
        let (_, ends) = allheard::demo::span(&book).expect("the demo has a span");
        let mut changed = book.clone();
        let sunday = allheard::demo::words::CLOCK_CHANGE_SHOW;
        let lines = &mut changed.sheet_mut("running order").rows;
        let mut orders = lines.iter_mut().filter(|line| line.text("event") == sunday);
        let line = orders.nth(3).expect("a running order");
        line.set("call", "12:30");
        Setup {
            changes: vec![(at("2027-03-28T07:30:00Z"), changed)],
            book,
            begins: at("2027-03-28T07:00:00Z"),
            ends,
            answers: false,
            ..Setup::crashing(seed)
        }
    }

    /// A small season with some of the crash points, by turns.
    pub fn crashing(seed: u64) -> Setup {
        let points = crash_points();
        let mut dice = Dice::new(seed, "crashes");
        let mut setup = Setup::small(seed);
        for _ in 0..HOLDS {
            setup.holds.insert(5 + dice.below(60), 1 + dice.below(4));
        }
        for nth in 0..CRASHES {
            let point = points[(seed as usize * CRASHES + nth) % points.len()];
            let rare = ["put_season", "set_stopped", "decide", "put_link", "claim_replies", "settle_replies"]
                .iter()
                .any(|name| [CrashPoint::BeforeCommit(name), CrashPoint::AfterCommit(name)].contains(&point));
            let seldom = ["reconcile", "put_back", "tend"]
                .iter()
                .any(|name| [CrashPoint::BeforeCommit(name), CrashPoint::AfterCommit(name)].contains(&point));
            let most = if seldom { 2 } else { 6 };
            setup.crashes.insert(point, if rare { 1 } else { 1 + dice.below(most) as u32 });
        }
        setup
    }
}

/// What a run leaves behind.
pub struct Outcome {
    pub trace: String,
    pub crashed: BTreeSet<CrashPoint>,
    pub breaches: Vec<String>,
    /// How often sending was held.
    pub held: usize,
    pub offers: usize,
    /// Digests offered to the carriers.
    pub digests: usize,
    pub references: BTreeSet<String>,
    pub planned_at_first: BTreeSet<String>,
    pub steps: usize,
    pub answers: usize,
    /// Everything that happened, counted.
    pub events: usize,
    /// Where each guardian is with each child and event at the end.
    pub standings: Vec<String>,
}

#[derive(Debug, Clone)]
enum Act {
    /// A scanner fetches the page.
    Look(String),
    /// A person answers everything on the page.
    Answer(String, AnswerKind),
    /// A person stops, or starts, messages to the address.
    Stop(String, bool),
}

#[derive(Debug, Clone, PartialEq, Eq)]
struct Seen {
    state: State,
    fence: i64,
    claims: i64,
    attempts: i64,
}

/// What an operation may do to messages.
const TENDING: &[Step] = &[Step::Quarantine, Step::Release, Step::Expire, Step::Doubt, Step::TryAgain];
const PLANNING: &[Step] = &[Step::Withdraw];
const SENDING: &[Step] = &[
    Step::Claim,
    Step::Release,
    Step::Postpone,
    Step::Attempt,
    Step::Accept,
    Step::RetryLater,
    Step::Refuse,
    Step::Doubt,
    Step::Withdraw,
    Step::Expire,
    Step::Quarantine,
];
const DECIDING: &[Step] = &[Step::Resolve, Step::TryAgain];

pub struct Run {
    setup: Setup,
    clock: HandClock,
    world: Arc<World>,
    db: Arc<Db>,
    url: String,
    office: Option<Office<SqlStore, Post>>,
    lives: u64,
    armed: BTreeMap<CrashPoint, u32>,
    crashed: BTreeSet<CrashPoint>,
    seen: BTreeMap<i64, Seen>,
    revision: i64,
    acts: BTreeMap<(Timestamp, u64), Act>,
    acted: u64,
    again_at: Option<Timestamp>,
    digest_at: Option<Timestamp>,
    read: usize,
    said: BTreeSet<(String, String, String, AnswerKindWord)>,
    recorded: BTreeSet<(String, String, String, AnswerKindWord)>,
    repeats_granted: BTreeMap<i64, usize>,
    /// The step at which the hold in force ends.
    held_until: Option<usize>,
    held: usize,
    trace: Vec<String>,
    dice: Dice,
    _dir: tempfile::TempDir,
}

type AnswerKindWord = &'static str;

/// Ends the step when the program crashed in it.
macro_rules! survive {
    ($run:expr, $steps:expr, $call:expr) => {{
        let result = $call;
        match result {
            Ok(value) => {
                $run.look($steps).await;
                Some(value)
            }
            Err(fault) => {
                $run.reopen(fault.into(), $steps).await;
                None
            }
        }
    }};
}

impl Run {
    pub async fn new(setup: Setup) -> Run {
        let dir = tempfile::tempdir().expect("a folder");
        let file = || format!("sqlite://{}", dir.path().join("season.db").display());
        let url = setup.url.clone().unwrap_or_else(file);
        let world = Arc::new(World::default());
        let db = Arc::new(Db::open(&url).await.expect("a database"));
        let wording = Wording::load(None).expect("the templates load");
        let mut run = Run {
            clock: HandClock::new(setup.begins),
            world,
            db,
            url,
            office: None,
            lives: 0,
            armed: setup.crashes.clone(),
            crashed: BTreeSet::new(),
            seen: BTreeMap::new(),
            revision: 0,
            acts: BTreeMap::new(),
            acted: 0,
            again_at: None,
            digest_at: None,
            read: 0,
            said: BTreeSet::new(),
            recorded: BTreeSet::new(),
            repeats_granted: BTreeMap::new(),
            held_until: None,
            held: 0,
            trace: Vec::new(),
            dice: Dice::new(setup.seed, "people"),
            setup,
            _dir: dir,
        };
        run.open(wording).await;
        run
    }

    async fn open(&mut self, wording: Wording) {
        self.lives += 1;
        let seed = self.setup.seed;
        let salts = Seeded::boxed(seed, &format!("salts {}", self.lives));
        let store = SqlStore::open(&self.url, salts).await.expect("the store opens again");
        for (point, nth) in &self.armed {
            store.crashes.plan(*point, *nth);
        }
        let mut post = Post::new(seed, self.setup.calm, self.world.clone(), self.db.clone());
        post.twice = self.setup.twice;
        let clock = Arc::new(self.clock.clone());
        let coordinator = vec![(Channel::Mail, "coordinator@example.org".to_owned())];
        let ways = Ways { coordinator, ..Ways::default() };
        let random = Seeded::boxed(seed, &format!("tokens {}", self.lives));
        self.office = Some(Office::new(store, post, clock, random, wording, ways));
    }

    fn office(&self) -> &Office<SqlStore, Post> {
        self.office.as_ref().expect("the office is open")
    }

    fn now(&self) -> Timestamp {
        self.office().now()
    }

    /// The program ended at a crash point: whatever it held in memory is gone.
    async fn reopen(&mut self, fault: OfficeFault, steps: &[Step]) {
        let OfficeFault::Store(StoreFault::Crash(point)) = fault else {
            panic!("seed {}: {fault}", self.setup.seed);
        };
        self.trace.push(format!("crash {point:?}"));
        self.crashed.insert(point);
        self.armed.remove(&point);
        let Some(office) = self.office.take() else { return };
        let Office { store, wording, .. } = office;
        store.close().await;
        drop(store);
        self.open(wording).await;
        self.look(steps).await;
        self.clock.set(self.now() + SignedDuration::from_secs(7));
    }

    pub async fn finish(mut self) -> Outcome {
        self.put(self.setup.book.clone()).await;
        let season = self.office().desk().await.expect("a season").season;
        let going = self.office().store.set_course(season, true, Hand::Command, self.now()).await;
        assert!(going.expect("the store answers"), "it is set going once");
        let mut changes: std::collections::VecDeque<_> = self.setup.changes.drain(..).collect();
        let (mut steps, mut planned_at_first) = (0, BTreeSet::new());
        loop {
            steps += 1;
            assert!(steps < STEPS_MAX, "seed {}: no end in sight", self.setup.seed);
            if changes.front().is_some_and(|(at, _)| *at <= self.now())
                && let Some((_, book)) = changes.pop_front()
            {
                self.put(book).await;
            }
            self.clock_in_doubt(steps).await;
            let held = self.held_until.is_some();
            let before = self.handed_over();
            let done = self.step(steps).await;
            if held && self.handed_over() != before {
                self.world.breach(format!("messages left while sending was held, at step {steps}"));
            }
            if done {
                if planned_at_first.is_empty() {
                    planned_at_first = self.keys().await;
                }
                self.deliver().await;
                self.act().await;
                let next = self.next(changes.front().map(|(at, _)| *at)).await;
                if next > self.setup.ends {
                    break;
                }
                self.clock.set(next);
            }
        }
        // Nobody leaves a hold for ever.
        if self.held_until.take().is_some() {
            self.office().settle_doubt(Doubt::Clock).await.expect("the store answers");
        }
        // A last round, so that what people decided at the end is carried out.
        while !self.step(steps).await {}
        self.close(steps, planned_at_first).await
    }

    /// Planned messages that were handed over so far.
    fn handed_over(&self) -> usize {
        self.world.offers.lock().unwrap().iter().filter(|offer| offer.parcel.message != 0).count()
    }

    /// At some steps the clock is in doubt, until a person says that it is right.
    async fn clock_in_doubt(&mut self, step: usize) {
        if let Some(length) = self.setup.holds.get(&step).filter(|_| self.held_until.is_none()) {
            self.held_until = Some(step + length);
            self.held += 1;
            self.office().hold(Doubt::Clock, "the clock was set").await.expect("the store answers");
            self.trace.push(format!("held at step {step}"));
        }
        if self.held_until.is_some_and(|until| step >= until) {
            self.held_until = None;
            // By a person: a server's own clock knows nothing of a simulated season.
            self.office().settle_doubt(Doubt::Clock).await.expect("the store answers");
            let holds = self.office().holds().await.expect("the store answers");
            if !holds.is_empty() {
                self.world.breach(format!("a hold that was settled stays: {holds:?}"));
            }
            self.trace.push(format!("goes on at step {step}"));
        }
    }

    /// Puts a workbook in force; after a crash it looks whether that happened, and does it again if not.
    async fn put(&mut self, book: Book) {
        self.world.boards.lock().unwrap().insert(self.revision + 1, common::board(&book));
        loop {
            let (revision, now) = (self.revision, self.now());
            let result = self.office().store.put_season("salt", &book, revision, now).await;
            if survive!(self, &[], result.map_err(OfficeFault::from)) == Some(true) {
                break;
            }
            let stored = self.office().store.season().await.expect("the store answers");
            if stored.map_or(0, |s| s.revision) > revision {
                break;
            }
        }
        self.revision += 1;
        self.trace.push(format!("revision {} at {}", self.revision, self.now()));
    }

    /// One round of the daemon; false if it crashed.
    async fn step(&mut self, nth: usize) -> bool {
        let result = self.office().tend_tick().await;
        if survive!(self, TENDING, result).is_none() {
            return false;
        }
        self.uncertain_are_settled().await;
        for again in [false, true] {
            let result = self.office().plan_tick().await;
            let Some(planned) = survive!(self, PLANNING, result) else { return false };
            if again && planned != Default::default() {
                let detail = self.wanted_again().await;
                self.world.breach(format!(
                    "{}: planning again is not harmless: {planned:?} {detail:.600}",
                    self.now()
                ));
            }
        }
        let result = self.office().digest_tick().await;
        let Some(digested) = survive!(self, &[], result) else { return false };
        self.digest_at = digested.next;
        let result = self.office().send_tick().await;
        let Some(sent) = survive!(self, SENDING, result) else { return false };
        self.again_at = sent.again_at;
        if nth % 16 == 3 {
            let link = NewLink {
                hash: hash::hex(&hash::sha256(format!("{} {nth}", self.setup.seed).as_bytes())),
                kind: LinkKind::Chaperone,
                message: 0,
                chaperone: "V001".to_owned(),
                expires: self.setup.ends,
                made: self.now(),
                parent: String::new(),
            };
            let season = 1;
            let result = self.office().store.put_link(season, &link).await;
            if survive!(self, &[], result.map_err(OfficeFault::from)).is_none() {
                return false;
            }
        }
        true
    }

    /// People get what was taken, and some of them will act on it.
    async fn deliver(&mut self) {
        let offers: Vec<_> = self.world.offers.lock().unwrap().iter().skip(self.read).cloned().collect();
        self.read += offers.len();
        for offer in offers {
            let line = (&offer.parcel.reference, &offer.parcel.to, offer.parcel.at, &offer.fate);
            self.trace.push(format!("offer {line:?}"));
            if !offer.taken() || !self.setup.answers {
                continue;
            }
            let (Some(token), now) = (offer.token(), self.now()) else { continue };
            let act = match self.dice.weighted(&[35.0, 5.0, 5.0, 5.0, 2.0, 48.0]) {
                0 => Some(Act::Answer(token.clone(), AnswerKind::Heard)),
                1 => Some(Act::Answer(token.clone(), AnswerKind::CantCome)),
                2 => Some(Act::Answer(token.clone(), AnswerKind::Question)),
                3 => Some(Act::Stop(token.clone(), true)),
                4 => Some(Act::Stop(token.clone(), false)),
                _ => None,
            };
            if let Some(act) = act {
                let minutes = 1 + self.dice.below(30 * 60) as i64;
                self.later(now + SignedDuration::from_mins(minutes), act);
            }
            if offer.channel == Channel::Mail && self.dice.chance(0.3) {
                self.later(now + SignedDuration::from_secs(20), Act::Look(token));
            }
        }
    }

    fn later(&mut self, at: Timestamp, act: Act) {
        self.acted += 1;
        self.acts.insert((at, self.acted), act);
    }

    async fn act(&mut self) {
        loop {
            let now = self.now();
            let Some(entry) = self.acts.first_entry().filter(|entry| entry.key().0 <= now) else { break };
            let act = entry.remove();
            self.trace.push(format!("act {act:?}"));
            let before = self.pulse().await;
            let done = match &act {
                Act::Look(token) => {
                    let data = self.office().guardian_data(token).await.expect("a page");
                    assert_eq!(self.pulse().await, before, "a page that is looked at changes nothing");
                    self.trace.push(format!("page of {}", data.map_or(0, |d| d.sheets.len())));
                    true
                }
                Act::Answer(token, kind) => self.answer(token, *kind).await,
                Act::Stop(token, stop) => {
                    let result = self.office().set_stopped_by_link(token, *stop).await;
                    survive!(self, PLANNING, result).is_some()
                }
            };
            if !done {
                // The page failed, so the person tries once more.
                self.later(self.now(), act);
            }
        }
        self.decide().await;
    }

    async fn answer(&mut self, token: &str, kind: AnswerKind) -> bool {
        let Some(data) = self.office().guardian_data(token).await.expect("a page") else { return true };
        for sheet in data.sheets.iter().filter(|sheet| sheet.by_this) {
            let (child, event) = data.board.item_refs(sheet.item);
            for guardian in &data.guardians {
                let guardian = data.board.season.guardians[guardian.at()].reference.clone();
                self.said.insert((guardian, child.to_owned(), event.to_owned(), kind.word()));
            }
            // A double tap: the second says nothing new.
            for tap in 0..2 {
                let office = self.office();
                let result = office.answer_by_link(token, child, event, sheet.fingerprint, kind, "").await;
                let Some(noted) = survive!(self, PLANNING, result) else { return false };
                if tap == 1 && noted == Noted::Recorded {
                    self.world.breach(format!("a double tap was recorded twice: {child}/{event} {kind:?}"));
                }
                if noted == Noted::Recorded {
                    for guardian in &data.guardians {
                        let guardian = data.board.season.guardians[guardian.at()].reference.clone();
                        self.recorded.insert((guardian, child.to_owned(), event.to_owned(), kind.word()));
                    }
                }
            }
        }
        true
    }

    /// The coordinator looks at what nobody can know, and says what became of some of it.
    async fn decide(&mut self) {
        for (id, channel, since) in self.uncertain().await {
            if channel == "mail" || self.now() < since + PATIENCE || !self.dice.chance(0.5) {
                continue;
            }
            let arrived = self.dice.chance(0.5);
            let result = self
                .office()
                .decide(id, if arrived { Decided::Arrived } else { Decided::AgainInDoubt })
                .await;
            let done = survive!(self, DECIDING, result).map(|done| done > 0);
            if !arrived && self.seen.get(&id).is_some_and(|s| s.state == State::WaitingToRetry) {
                *self.repeats_granted.entry(id).or_default() += 1;
            }
            if done.is_none() {
                break;
            }
        }
    }

    async fn next(&mut self, change: Option<Timestamp>) -> Timestamp {
        let now = self.now();
        let due = self.office().store.next_due(1).await.expect("the store answers");
        let mut next = now + LONGEST_PAUSE;
        // Mail is taken up again a quarter of an hour after nobody knew what became of it.
        let mails = self.uncertain().await.into_iter().filter(|(_, channel, _)| channel == "mail");
        if let Some(again) =
            mails.map(|(_, _, at)| at + SignedDuration::from_mins(15)).filter(|at| *at > now).min()
        {
            next = next.min(again);
        }
        let act = self.acts.keys().next().map(|(at, _)| *at);
        // What is due while its carrier rests waits for the end of that rest.
        let due = due.map(|due| self.again_at.filter(|again| due <= now && *again > now).unwrap_or(due));
        for moment in [due, act, change, self.digest_at].into_iter().flatten() {
            next = next.min(moment);
        }
        next.max(now + SignedDuration::from_secs(1))
    }
}

// What is looked at from outside.
impl Run {
    async fn rows(&self, statement: Statement) -> Vec<allheard::store::db::DbRow> {
        self.db.fetch(statement, vec![]).await.expect("the database answers")
    }

    async fn pulse(&self) -> i64 {
        self.office().store.pulse(1).await.expect("the store answers")
    }

    async fn wanted_again(&self) -> String {
        let desk = self.office().desk().await.expect("a desk");
        let mut out = String::new();
        let open = self.office().store.open_messages(1, None).await.expect("messages");
        let all = self.office().store.messages_in(1, &State::ALL, 10_000).await.expect("messages");
        for want in allheard::domain::plan::plan(&desk.board, &desk.record, self.now()) {
            if !open.iter().any(|m| m.key == want.key) {
                out.push_str(&format!("{want:?} stored {:?}", all.iter().find(|m| m.key == want.key)));
            }
        }
        out
    }

    async fn keys(&self) -> BTreeSet<String> {
        const KEYS: Statement = Statement { text: "SELECT key FROM message", binds: 0 };
        self.rows(KEYS).await.iter().map(|row| row.text(0).expect("a key")).collect()
    }

    async fn uncertain(&self) -> Vec<(i64, String, Timestamp)> {
        const UNCERTAIN: Statement = Statement {
            text: "SELECT m.id, m.channel, (SELECT MAX(a.at_ms) FROM attempt a WHERE a.message = m.id) \
                   FROM message m WHERE m.state = 'uncertain' ORDER BY m.id",
            binds: 0,
        };
        let rows = self.rows(UNCERTAIN).await;
        rows.iter()
            .map(|row| {
                let at = Timestamp::from_millisecond(row.int(2).expect("an instant")).expect("an instant");
                (row.int(0).expect("an id"), row.text(1).expect("a channel"), at)
            })
            .collect()
    }

    /// Invariants 2, 7 and 8, after anything that may have changed a message.
    async fn look(&mut self, steps: &[Step]) {
        const MESSAGES: Statement = Statement {
            text: "SELECT id, state, fence, claims, attempts, lease_ms FROM message ORDER BY id",
            binds: 0,
        };
        let mut now = BTreeMap::new();
        for row in self.rows(MESSAGES).await {
            let int = |at| row.int(at).expect("a number");
            let state = State::from_word(&row.text(1).expect("a state")).expect("a known state");
            let held = matches!(state, State::Claimed | State::Attempting);
            if held != (int(5) > 0) {
                self.world.breach(format!("7: message {} is {state} with a lease of {}", int(0), int(5)));
            }
            now.insert(int(0), Seen { state, fence: int(2), claims: int(3), attempts: int(4) });
        }
        for (id, new) in &now {
            let old = self.seen.get(id);
            if old == Some(new) {
                continue;
            }
            let before = old.map_or(State::Planned, |old| old.state);
            if !reachable(before, new.state, steps) {
                self.world
                    .breach(format!("8: message {id} went from {before} to {} by {steps:?}", new.state));
            }
            if let Some(old) = old
                && (new.fence < old.fence || (new.claims > old.claims && new.fence == old.fence))
            {
                self.world
                    .breach(format!("7: message {id}: the fence went from {} to {}", old.fence, new.fence));
            }
            self.trace.push(format!("message {id} {new:?}"));
        }
        if let Some(gone) = self.seen.keys().find(|id| !now.contains_key(id)) {
            self.world.breach(format!("message {gone} is gone"));
        }
        let sent = self.world.offers.lock().unwrap().len();
        if steps == SENDING || sent != self.read {
            self.once_each().await;
        }
        self.seen = now;
    }

    /// Invariant 2: what a carrier took of one message, and of one notice for one guardian, is at most one more than
    /// the attempts whose outcome nobody knew.
    async fn once_each(&self) {
        const ATTEMPTS: Statement = Statement {
            text: "SELECT m.key, COUNT(*), SUM(CASE WHEN a.outcome IN ('uncertain', '') THEN 1 ELSE 0 END) \
                   FROM attempt a JOIN message m ON m.id = a.message GROUP BY m.key",
            binds: 0,
        };
        let mut attempts: BTreeMap<String, (i64, i64)> = BTreeMap::new();
        for row in self.rows(ATTEMPTS).await {
            let int = |at| row.int(at).expect("a number");
            attempts.insert(row.text(0).expect("a key"), (int(1), int(2)));
        }
        let mut taken: BTreeMap<String, (i64, i64)> = BTreeMap::new();
        let mut told: BTreeMap<[String; 5], (i64, BTreeSet<String>)> = BTreeMap::new();
        for offer in self.world.offers.lock().unwrap().iter().filter(|offer| offer.parcel.message != 0) {
            let reference = &offer.parcel.reference;
            let count = taken.entry(reference.clone()).or_default();
            count.0 += 1;
            count.1 += i64::from(offer.taken());
            for (child, event, notice, _) in offer.parts.iter().filter(|p| p.2 != "change") {
                for guardian in offer.guardians.split(' ') {
                    let about = [offer.channel.word(), guardian, child, event, notice];
                    let entry = told.entry(about.map(str::to_owned)).or_default();
                    entry.0 += i64::from(offer.taken());
                    entry.1.insert(reference.clone());
                }
            }
        }
        for (key, (offered, taken)) in taken {
            let (tried, unknown) = attempts.get(&key).copied().unwrap_or_default();
            if offered > tried {
                self.world
                    .breach(format!("1: message {key} was offered {offered} times in {tried} attempts"));
            }
            if taken > 1 + unknown {
                self.world.breach(format!("2: message {key} left {taken} times, {unknown} unknown"));
            }
        }
        self.digests_once_each().await;
        for (about, (taken, keys)) in told {
            let unknown: i64 = keys.iter().filter_map(|k| attempts.get(k)).map(|(_, unknown)| unknown).sum();
            if taken > 1 + unknown {
                self.world.breach(format!("2: {about:?} was told {taken} times, {unknown} unknown"));
            }
        }
    }

    /// A digest leaves at most once, even where nobody knows whether it did; and a holder gets no more of them on one day
    /// than her rule has times.
    async fn digests_once_each(&self) {
        const LETTERS: Statement = Statement {
            text: "SELECT CASE WHEN reference = '' THEN 'reply' || CAST(id AS TEXT) ELSE reference END, attempts FROM reply",
            binds: 0,
        };
        let mut tried: BTreeMap<String, i64> = BTreeMap::new();
        for row in self.rows(LETTERS).await {
            tried.insert(row.text(0).expect("a key"), row.int(1).expect("a count"));
        }
        let (mut offered, mut taken, mut days) = (BTreeMap::new(), BTreeMap::new(), BTreeMap::new());
        let direct =
            |offer: &&Offer| offer.parcel.message == 0 && !offer.parcel.reference.starts_with("alarm");
        for offer in self.world.offers.lock().unwrap().iter().filter(direct) {
            let Offer { parcel, .. } = offer;
            *offered.entry(parcel.reference.clone()).or_insert(0) += 1;
            *taken.entry(parcel.reference.clone()).or_insert(0) += i64::from(offer.taken());
            let day =
                parcel.at.to_zoned_datetime(jiff::tz::TimeZone::get("Europe/London").expect("a zone")).date();
            // Word of a carrier's trouble comes when there is trouble.
            if !parcel.reference.starts_with("reply") {
                *days.entry((parcel.to.clone(), day)).or_insert(0) += i64::from(offer.taken());
            }
        }
        for (key, count) in offered {
            let tried = tried.get(&key).copied().unwrap_or(0);
            if count > tried || taken[&key] > 1 {
                self.world.breach(format!(
                    "2: digest {key} was offered {count} times in {tried} attempts and left {} times",
                    taken[&key]
                ));
            }
        }
        for ((to, day), count) in days {
            // Twice a day by rule, and on two days of the season a list to greet by besides.
            let most = if to.contains('@') { 1 } else { 3 };
            if count > most {
                self.world.breach(format!("{to} got {count} digests on {day}"));
            }
        }
    }

    /// Invariant 3: after tending no mail whose second try is due lies about; no text goes again but by a person.
    async fn uncertain_are_settled(&self) {
        const LYING: Statement = Statement {
            text: "SELECT m.id FROM message m WHERE m.state = 'uncertain' AND m.channel = 'mail' AND m.until_ms > $1 \
                   AND (SELECT MAX(a.at_ms) FROM attempt a WHERE a.message = m.id) + 900000 <= $1 \
                   AND (SELECT COUNT(*) FROM attempt a WHERE a.message = m.id AND a.outcome = 'uncertain') < 2",
            binds: 1,
        };
        const AGAIN: Statement = Statement {
            text: "SELECT m.id, m.channel, COUNT(*) FROM message m JOIN attempt a ON a.message = m.id \
                   WHERE a.number > (SELECT MIN(b.number) FROM attempt b WHERE b.message = m.id \
                     AND b.outcome IN ('uncertain', '')) \
                   AND EXISTS (SELECT 1 FROM attempt c WHERE c.message = m.id AND c.number = a.number - 1 \
                     AND c.outcome = 'uncertain') GROUP BY m.id, m.channel",
            binds: 0,
        };
        let lying = self.db.fetch(LYING, vec![self.now().as_millisecond().into()]).await.expect("rows");
        for row in lying {
            self.world.breach(format!("3: mail {} lies uncertain", row.int(0).expect("an id")));
        }
        for row in self.rows(AGAIN).await {
            let (id, repeats) = (row.int(0).expect("an id"), row.int(2).expect("a count"));
            let granted = self.repeats_granted.get(&id).copied().unwrap_or(0) as i64;
            let allowed = granted + i64::from(row.text(1).expect("a channel") == "mail");
            if repeats > allowed {
                self.world.breach(format!("3: message {id} was repeated {repeats} times, {allowed} allowed"));
            }
        }
    }

    /// The end of the season: everything has ended or lies before a person, and the record holds.
    async fn close(self, steps: usize, planned_at_first: BTreeSet<String>) -> Outcome {
        let store = &self.office().store;
        for (id, seen) in &self.seen {
            if seen.state.is_open() && seen.state != State::Uncertain {
                let left = store.messages_in(1, &[seen.state], 10_000).await.expect("a list");
                let left = left.into_iter().find(|m| m.id == *id);
                self.world.breach(format!("message {id} is left {} at {}: {left:?}", seen.state, self.now()));
            }
        }
        let shown =
            store.messages_in(1, &[State::Uncertain, State::Quarantined], 10_000).await.expect("a list");
        let waiting = |s: &&Seen| matches!(s.state, State::Uncertain | State::Quarantined);
        if shown.len() != self.seen.values().filter(waiting).count() {
            self.world.breach("3: an uncertain message is not shown".to_owned());
        }
        if self.seen.values().any(|s| s.state == State::Quarantined) {
            self.world.breach("a message was set aside although none is broken".to_owned());
        }
        let history = store.history(1).await.expect("a history");
        let mut stored = BTreeSet::new();
        for line in &history.answers {
            let a = &line.answer;
            let kind = a.kind.map_or("", AnswerKind::word);
            stored.insert((a.guardian.clone(), a.child.clone(), a.event.clone(), kind));
        }
        if let Some(invented) = stored.iter().find(|answer| !self.said.contains(*answer)) {
            self.world.breach(format!("an answer nobody gave: {invented:?}"));
        }
        if let Some(lost) = self.recorded.iter().find(|answer| !stored.contains(*answer)) {
            self.world.breach(format!("an answer was lost: {lost:?}"));
        }
        self.everyone_knows().await;
        let standings = self.standings().await;
        if let Err(fault) = common::verify_ledger(store, 1).await {
            self.world.breach(fault);
        }
        store.close().await;
        self.db.close().await;
        let offers = self.world.offers.lock().unwrap();
        // Digests belong to no plan.
        let planned = || offers.iter().filter(|offer| offer.parcel.message != 0);
        Outcome {
            trace: hash::hex(&hash::sha256(self.trace.join("\n").as_bytes())),
            crashed: self.crashed,
            held: self.held,
            breaches: self.world.breaches.lock().unwrap().clone(),
            offers: planned().count(),
            digests: offers
                .iter()
                .filter(|o| o.parcel.message == 0)
                .filter(|o| !["reply", "alarm"].iter().any(|begin| o.parcel.reference.starts_with(begin)))
                .count(),
            references: planned().map(|o| o.parcel.reference.clone()).collect(),
            planned_at_first,
            steps,
            answers: stored.len(),
            events: self.trace.len(),
            standings,
        }
    }

    async fn standings(&self) -> Vec<String> {
        let Ok(desk) = self.office().desk().await else { return Vec::new() };
        let (board, record) = (&desk.board, &desk.record);
        let itineraries = board.programme.itineraries();
        itineraries
            .map(|it| Item { who: it.who, event: Some(it.event) })
            .flat_map(|item| board.cares_of(item.who).map(move |care| (care.guardian, item)))
            .map(|(guardian, item)| {
                let (child, event) = board.item_refs(item);
                let who = &board.season.guardians[guardian.at()].reference;
                format!("{who} {child} {event} {}", standing(board, record, guardian, item).word())
            })
            .collect()
    }

    /// Where the carriers take everything, whoever can be reached was told last what held at the end, unless the last
    /// change came too late to tell.
    async fn everyone_knows(&self) {
        let Ok(desk) = self.office().desk().await else { return };
        let notice = SignedDuration::from_hours(24);
        for ((guardian, item), told) in desk.record.told.iter().filter(|_| self.setup.calm) {
            let early = desk.board.needed_by(*item) > desk.record.revised_at + notice;
            let way = allheard::domain::standing::reachable(&desk.board, &desk.record, *guardian);
            if early && way && told.fingerprint != desk.board.fingerprint(*item) {
                self.world.breach(format!("guardian {guardian:?} was never told the change of {item:?}"));
            }
        }
    }
}

/// Whether the graph leads from one state to another by these steps alone.
fn reachable(from: State, to: State, steps: &[Step]) -> bool {
    let mut reached = BTreeSet::from([from]);
    loop {
        let next: BTreeSet<State> = reached
            .iter()
            .flat_map(|state| steps.iter().filter_map(|step| graph::next(*state, *step)))
            .chain(reached.iter().copied())
            .collect();
        if next.len() == reached.len() {
            return reached.contains(&to);
        }
        reached = next;
    }
}
