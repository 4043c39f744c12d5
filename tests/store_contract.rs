//! What every database must keep: the same cases against each engine, a new one being one more line.

#![allow(clippy::print_stdout, clippy::print_stderr, reason = "what runs and what is left out is said")]
#![allow(clippy::unwrap_used, clippy::expect_used, reason = "a helper of a test may fail the test")]

mod common;
#[path = "support/database.rs"]
mod database;

use allheard::demo;
use allheard::domain::book::Book;
use allheard::domain::facts::Fingerprint;
use allheard::domain::graph::{self, State, Step};
use allheard::domain::record::AnswerKind;
use allheard::domain::season::Channel;
use allheard::service::ports::{
    Course, Decided, DeedKind, Delta, Doubt, FeedHolder, Hand, LinkKind, Lost, NewAbsence, NewAnswer,
    NewAttempt, NewDigest, NewFeed, NewLink, NewReply, NextOn, SaidDigest, Settled, SettledReply, Store,
    StoreFault, StoredDeed, StoredMessage, StoredPart, TendRules, Tended, Unsent,
};
use allheard::store::SqlStore;
use allheard::store::db::{Statement, Value};
use allheard::store::sql;
use common::{Seeded, at, verify_ledger};
use database::Cluster;
use jiff::{SignedDuration, Timestamp};
use std::collections::BTreeSet;
use std::sync::Arc;

/// The databases the store runs on.
#[derive(Clone, Copy)]
enum Engine<'a> {
    Sqlite,
    Postgres(&'a Cluster),
}

/// Every case, once on a file of its own and, one after the other, on a server.
macro_rules! cases {
    ($($case:ident),* $(,)?) => {
        mod on_sqlite {
            $(
                #[tokio::test(flavor = "multi_thread")]
                async fn $case() {
                    super::$case(super::Engine::Sqlite).await;
                }
            )*
        }

        #[tokio::test(flavor = "multi_thread")]
        async fn all_of_it_on_postgresql() {
            let Some(cluster) = database::server("all_of_it_on_postgresql") else { return };
            $(
                println!("{}", stringify!($case));
                $case(Engine::Postgres(&cluster)).await;
            )*
        }
    };
}

cases! {
    who_is_not_coming_is_kept_act_by_act,
    every_statement_prepares_with_as_many_placeholders_as_it_says,
    a_workbook_comes_back_as_it_was_and_the_same_again_changes_no_row,
    a_workbook_made_from_an_old_one_is_not_put_in_force,
    the_latest_change_can_be_undone_and_a_ref_is_never_given_twice,
    each_message_has_one_claimer_of_eight,
    a_write_with_an_old_fence_changes_no_message,
    three_claims_without_an_attempt_set_a_message_aside,
    a_suspect_is_claimed_alone_and_after_the_others,
    an_open_attempt_is_doubted_and_only_mail_is_repeated_once,
    no_attempt_is_written_when_the_world_has_moved_on,
    one_rate_holds_for_all_who_share_the_database,
    nothing_is_claimed_while_sending_is_held,
    a_write_given_up_half_way_leaves_nothing_open,
    what_a_journal_knows_better_is_never_sent_by_itself,
    what_came_back_waits_until_a_person_decides,
    a_persons_own_answer_stays_until_somebody_decides,
    a_coordinators_link_ends_with_the_sessions_opened_by_it,
    nothing_planned_leaves_before_the_season_is_set_going_nor_while_it_is_paused,
    no_attempt_begins_after_a_pause_however_they_race,
    a_test_to_the_coordinator_is_noted_once_and_tells_nobody,
    a_moved_due_time_binds_whoever_waits,
    an_answer_has_its_effect_once_however_often_it_comes,
    everybody_has_one_calendar_address,
    a_digests_moment_is_taken_once_with_its_letter,
    a_deed_takes_its_place_once_and_is_never_changed,
    a_withdrawn_message_may_be_wanted_again_but_is_alive_once,
    a_database_of_a_newer_program_is_refused_in_one_line,
    a_hundred_thousand_messages_are_stored_in_time,
    every_operation_moves_messages_along_the_graph_only,
    the_ledger_shows_every_changed_byte_and_survives_erasing_a_person,
}

const SEASON: i64 = 1;
const RULES: TendRules =
    TendRules { claims_max: 3, mail_wait_ms: 900_000, text_wait_ms: 900_000, text_known_again: false };
/// No rate of a road is in the way here.
const ANY_RATE: f64 = 1e6;
/// Seconds that storing 100,000 messages may take here, where nothing is optimised and others use the machine.
const STORING_SECONDS_MAX: f64 = 20.0;

struct Bench {
    store: Arc<SqlStore>,
    url: String,
    _dir: tempfile::TempDir,
}

async fn fresh(engine: Engine<'_>) -> Bench {
    let dir = tempfile::tempdir().unwrap();
    let url = match engine {
        Engine::Sqlite => format!("sqlite://{}", dir.path().join("store.db").display()),
        Engine::Postgres(cluster) => cluster.database().await,
    };
    let store = Arc::new(SqlStore::open(&url, Seeded::boxed(1, "salts")).await.unwrap());
    Bench { store, url, _dir: dir }
}

/// A bench with a season in force that has been set going.
async fn with_season(engine: Engine<'_>) -> Bench {
    let bench = brought(engine).await;
    assert!(bench.store.set_course(SEASON, true, Hand::Command, now()).await.unwrap());
    bench
}

/// A bench with a season in force that nobody has set going.
async fn brought(engine: Engine<'_>) -> Bench {
    let bench = fresh(engine).await;
    assert!(bench.store.put_season("s", &Book::default(), 0, now()).await.unwrap());
    bench
}

fn now() -> Timestamp {
    at("2027-03-20T12:00:00Z")
}

fn minutes(n: i64) -> SignedDuration {
    SignedDuration::from_mins(n)
}

fn message(key: &str, channel: Channel) -> StoredMessage {
    StoredMessage {
        id: 0,
        key: key.to_owned(),
        household: "HG001".to_owned(),
        guardians: vec!["G001".to_owned()],
        channel,
        wording: "call-sheet".to_owned(),
        owes: true,
        at_once: false,
        due: now(),
        until: now() + SignedDuration::from_hours(24),
        state: State::Planned,
        fence: 0,
        claims: 0,
        attempts: 0,
        spared: 0,
        why: String::new(),
        parts: vec![StoredPart {
            child: "C001".to_owned(),
            event: "E001".to_owned(),
            notice: "T001".to_owned(),
            fingerprint: None,
        }],
    }
}

fn attempt(message: &StoredMessage) -> NewAttempt {
    NewAttempt {
        message: message.id,
        fence: message.fence,
        number: message.attempts + 1,
        channel: message.channel,
        address: "g1@example.com".to_owned(),
        reference: message.key.clone(),
        words: "Call 17:00".to_owned(),
        link: NewLink {
            hash: format!("{} {}", message.key, message.attempts),
            kind: LinkKind::Guardian,
            message: message.id,
            chaperone: String::new(),
            expires: message.until,
            made: Timestamp::UNIX_EPOCH,
            parent: String::new(),
        },
        stop: None,
        told: vec![("C001".to_owned(), "E001".to_owned(), "T001".to_owned(), Fingerprint(7))],
        forms: vec![(Fingerprint(7), "facts 1\n".to_owned())],
        household: message.household.clone(),
        guardians: message.guardians.clone(),
    }
}

fn settled(message: &StoredMessage, to: State) -> Settled {
    Settled {
        message: message.id,
        fence: message.fence,
        number: message.attempts + 1,
        to,
        ready: now(),
        bad_address: false,
        gateway: String::new(),
        gateway_id: String::new(),
        why: String::new(),
        spared: false,
    }
}

fn unsent(message: &StoredMessage, to: State) -> Unsent {
    Unsent { message: message.id, fence: message.fence, to, ready: now(), why: String::new() }
}

fn said(external: &str, words: &str) -> NewAnswer {
    NewAnswer {
        at: now(),
        road: "page".to_owned(),
        external: external.to_owned(),
        guardian: "G001".to_owned(),
        child: "C001".to_owned(),
        event: "E001".to_owned(),
        kind: Some(AnswerKind::Heard),
        fingerprint: Fingerprint(7),
        one_phone: false,
        words: words.to_owned(),
        noted_by: String::new(),
        outcome: String::new(),
    }
}

impl Bench {
    async fn add(&self, messages: Vec<StoredMessage>) {
        let delta = Delta { add: messages, ..Delta::default() };
        self.store.reconcile(SEASON, &delta, now()).await.unwrap();
    }

    async fn claim(&self, channel: Channel, at: Timestamp) -> Vec<StoredMessage> {
        self.store.claim(SEASON, channel, 1_000, ANY_RATE, at, at + minutes(15)).await.unwrap().messages
    }

    async fn attempt(&self, message: &StoredMessage, at: Timestamp) -> Vec<i64> {
        self.store.attempt(SEASON, 1, &[&attempt(message)], at, at + minutes(15)).await.unwrap()
    }

    async fn tend(&self, at: Timestamp) -> Tended {
        self.store.tend(SEASON, at, RULES).await.unwrap()
    }

    /// The message of an id as it is now.
    async fn message(&self, id: i64) -> StoredMessage {
        let all = self.store.messages_in(SEASON, &State::ALL, 1_000_000).await.unwrap();
        all.into_iter().find(|m| m.id == id).unwrap()
    }

    async fn raw(&self, text: &'static str, values: Vec<Value>) -> u64 {
        let mut tx = self.store.db().begin().await.unwrap();
        let touched = tx.run(Statement { text, binds: values.len() }, values).await.unwrap();
        tx.commit().await.unwrap();
        touched
    }

    async fn one(&self, text: &'static str) -> i64 {
        self.store.db().fetch(Statement { text, binds: 0 }, vec![]).await.unwrap()[0].int(0).unwrap()
    }

    async fn ledger_lines(&self) -> i64 {
        self.one("SELECT COUNT(*) FROM ledger").await
    }
}

async fn every_statement_prepares_with_as_many_placeholders_as_it_says(engine: Engine<'_>) {
    let bench = fresh(engine).await;
    assert!(sql::ALL.len() > 40);
    for (name, statement) in sql::ALL {
        let counted = bench.store.db().count_placeholders(*statement).await;
        assert_eq!(counted.unwrap(), statement.binds, "{name}");
    }
    let wrong = Statement { text: "SELECT CAST($1 AS BIGINT) + CAST($2 AS BIGINT)", binds: 1 };
    assert_eq!(bench.store.db().count_placeholders(wrong).await.unwrap(), 2, "the count can differ");
}

async fn a_workbook_comes_back_as_it_was_and_the_same_again_changes_no_row(engine: Engine<'_>) {
    let bench = fresh(engine).await;
    let book = demo::book(7);
    assert!(bench.store.season().await.unwrap().is_none());
    assert!(bench.store.put_season("demo", &book, 0, now()).await.unwrap());
    let stored = bench.store.season().await.unwrap().unwrap();
    assert_eq!((stored.revision, stored.revised_at), (1, now()));
    assert_eq!(stored.book, book);
    assert!(bench.store.put_season("demo", &book, 1, now()).await.unwrap());
    let lines = bench.store.ledger(SEASON, 0, 10).await.unwrap();
    assert_eq!(lines.last().unwrap().entry.about, "changed=0 gone=0 revision=2");
    let (at, mut other) = demo::changes(7, &book).remove(0);
    other.sheet_mut("children").rows.iter_mut().zip(2..).for_each(|(row, n)| row.number = n);
    assert!(bench.store.put_season("demo", &other, 2, at).await.unwrap());
    assert_eq!(bench.store.season().await.unwrap().unwrap().book, other);
}

async fn the_latest_change_can_be_undone_and_a_ref_is_never_given_twice(engine: Engine<'_>) {
    let bench = fresh(engine).await;
    let book = demo::book(7);
    let store = &bench.store;
    assert!(store.put_season("demo", &book, 0, now()).await.unwrap());
    assert_eq!(store.book_before(SEASON, 1).await.unwrap(), None, "before the first there is nothing");
    let given = store.season().await.unwrap().unwrap().given;
    // A line goes, one differs, and one is new.
    let mut other = book.clone();
    let children = &mut other.sheet_mut("children").rows;
    let last = children.pop().unwrap();
    children[0].set("ages", "5-6");
    let mut row = children[1].clone();
    row.set("ref", "C9001");
    children.push(row);
    children.iter_mut().zip(2..).for_each(|(row, number)| row.number = number);
    assert!(store.put_change("demo", &other, None, 1, now(), "three things").await.unwrap());
    let stored = store.season().await.unwrap().unwrap();
    assert_eq!(stored.book, other);
    assert_eq!(stored.given[&'C'], 9001);
    assert_eq!(stored.given[&'G'], given[&'G']);
    assert!(!stored.book.rows("children").iter().any(|row| row.text("ref") == last.text("ref")));
    let back = store.book_before(SEASON, 2).await.unwrap().unwrap();
    assert_eq!(back, book);
    // Taken back it is the latest, and what came before it no longer is.
    assert!(store.put_change("demo", &back, None, 2, now(), "taken back").await.unwrap());
    assert_eq!(store.book_before(SEASON, 2).await.unwrap(), None);
    assert_eq!(store.book_before(SEASON, 3).await.unwrap().unwrap(), other);
    assert_eq!(store.season().await.unwrap().unwrap().given[&'C'], 9001, "given once, given for good");
    let changes = store.changes(SEASON, 10).await.unwrap();
    let words: Vec<_> = changes.iter().map(|c| (c.revision, c.what.as_str(), c.known)).collect();
    assert_eq!(words, [(3, "taken back", true), (2, "three things", true), (1, "", false)]);
    // So many are kept, and no more.
    for revision in 3..60 {
        assert!(store.put_change("demo", &back, None, revision, now(), "again").await.unwrap());
    }
    assert_eq!(store.changes(SEASON, 100).await.unwrap().len(), 50);
}

async fn a_workbook_made_from_an_old_one_is_not_put_in_force(engine: Engine<'_>) {
    let bench = brought(engine).await;
    for stale in [0, 2, 7] {
        assert!(!bench.store.put_season("s", &demo::book(1), stale, now()).await.unwrap(), "{stale}");
    }
    let stored = bench.store.season().await.unwrap().unwrap();
    assert_eq!((stored.revision, stored.book), (1, Book::default()));
    assert_eq!(bench.ledger_lines().await, 1);
}

async fn each_message_has_one_claimer_of_eight(engine: Engine<'_>) {
    let bench = with_season(engine).await;
    bench.add((0..300).map(|n| message(&format!("k{n}"), Channel::Mail)).collect()).await;
    let claimers: Vec<_> = (0..8)
        .map(|_| {
            let store = bench.store.clone();
            tokio::spawn(async move {
                let mut mine = Vec::new();
                loop {
                    let lease = now() + minutes(15);
                    let some =
                        store.claim(SEASON, Channel::Mail, 7, ANY_RATE, now(), lease).await.unwrap().messages;
                    if some.is_empty() {
                        return mine;
                    }
                    mine.extend(some.into_iter().map(|m| (m.id, m.fence)));
                }
            })
        })
        .collect();
    let mut all = Vec::new();
    for claimer in claimers {
        all.extend(claimer.await.unwrap());
    }
    let ids: BTreeSet<i64> = all.iter().map(|(id, _)| *id).collect();
    assert_eq!((all.len(), ids.len()), (300, 300));
    let later = now() + minutes(16);
    assert_eq!(bench.tend(later).await.released, 300);
    let again = bench.claim(Channel::Mail, later).await;
    for message in &again {
        let before = all.iter().find(|(id, _)| *id == message.id).unwrap().1;
        assert!(message.fence > before, "fences rise");
    }
    assert_eq!(again.len(), 300);
}

async fn a_write_with_an_old_fence_changes_no_message(engine: Engine<'_>) {
    let bench = with_season(engine).await;
    bench.add(vec![message("k", Channel::Mail)]).await;
    let old = bench.claim(Channel::Mail, now()).await.remove(0);
    bench.tend(now() + minutes(16)).await;
    let new = bench.claim(Channel::Mail, now() + minutes(16)).await.remove(0);
    let before = bench.ledger_lines().await;
    assert_eq!(bench.attempt(&old, now() + minutes(16)).await, Vec::<i64>::new());
    bench.store.put_back(SEASON, &[unsent(&old, State::Withdrawn)], now()).await.unwrap();
    assert_eq!(bench.message(new.id).await.state, State::Claimed);
    assert_eq!(bench.attempt(&new, now() + minutes(16)).await, vec![new.id]);
    bench.store.settle(SEASON, &[settled(&old, State::Refused)], now()).await.unwrap();
    let seen = bench.message(new.id).await;
    assert_eq!((seen.state, seen.fence), (State::Attempting, new.fence));
    assert_eq!(bench.ledger_lines().await, before + 1, "the attempt alone was written down");
}

/// An operation of the store and where it may lead a message, by the step of the graph it takes.
#[derive(Debug, Clone, Copy)]
enum Operation {
    Withdraw,
    Retime,
    Claim,
    Attempt,
    Settle(State),
    PutBack(State),
    LeaseEnds,
    MomentPasses,
    WaitEnds,
    Decide(State),
    TakeUp,
    LetBe,
    Recall,
}

impl Operation {
    /// The steps it may take, with the states it takes them from.
    fn steps(self) -> Vec<(Step, Vec<State>)> {
        use State::{
            Accepted, Attempting, Claimed, Expired, Planned, Quarantined, Refused, Uncertain, WaitingToRetry,
            Withdrawn,
        };
        match self {
            Operation::Withdraw => vec![(Step::Withdraw, graph::from_states(Step::Withdraw).to_vec())],
            Operation::Retime => vec![],
            Operation::Claim => vec![(Step::Claim, vec![Planned, WaitingToRetry])],
            Operation::Attempt => vec![(Step::Attempt, vec![Claimed])],
            Operation::Settle(Accepted) => {
                vec![(Step::Accept, vec![Attempting]), (Step::Resolve, vec![Uncertain])]
            }
            Operation::Settle(WaitingToRetry) => vec![(Step::RetryLater, vec![Attempting])],
            Operation::Settle(Refused) => vec![(Step::Refuse, vec![Attempting])],
            Operation::Settle(_) => vec![(Step::Doubt, vec![Attempting])],
            Operation::PutBack(Planned) => vec![(Step::Postpone, vec![Claimed])],
            Operation::PutBack(Withdrawn) => vec![(Step::Withdraw, vec![Claimed])],
            Operation::PutBack(Expired) => vec![(Step::Expire, vec![Claimed])],
            Operation::PutBack(Quarantined) => vec![(Step::Quarantine, vec![Claimed])],
            Operation::PutBack(_) => vec![(Step::Refuse, vec![Claimed])],
            Operation::LeaseEnds => vec![(Step::Release, vec![Claimed]), (Step::Doubt, vec![Attempting])],
            Operation::MomentPasses => vec![(Step::Expire, vec![Planned, WaitingToRetry])],
            Operation::WaitEnds => vec![(Step::TryAgain, vec![Uncertain])],
            Operation::Decide(Accepted) => vec![(Step::Resolve, vec![Uncertain])],
            Operation::Decide(_) => vec![(Step::TryAgain, vec![Uncertain])],
            Operation::TakeUp => vec![(Step::TakeUp, graph::from_states(Step::TakeUp).to_vec())],
            Operation::LetBe => vec![],
            Operation::Recall => vec![(Step::Recall, graph::from_states(Step::Recall).to_vec())],
        }
    }

    async fn run(self, bench: &Bench, message: &StoredMessage) {
        let store = &bench.store;
        match self {
            Operation::Withdraw => {
                let delta = Delta { withdraw: vec![(message.id, "test".to_owned())], ..Delta::default() };
                store.reconcile(SEASON, &delta, now()).await.unwrap();
            }
            Operation::Retime => {
                let retime = vec![(message.id, now(), message.until, true)];
                store.reconcile(SEASON, &Delta { retime, ..Delta::default() }, now()).await.unwrap();
            }
            Operation::Claim => drop(bench.claim(Channel::Mail, now()).await),
            Operation::Attempt => drop(bench.attempt(message, now()).await),
            Operation::Settle(to) => {
                let outcome = Settled { number: message.attempts, ..settled(message, to) };
                store.settle(SEASON, &[outcome], now()).await.unwrap();
            }
            Operation::PutBack(to) => store.put_back(SEASON, &[unsent(message, to)], now()).await.unwrap(),
            Operation::LeaseEnds | Operation::WaitEnds => {
                bench.tend(now() + minutes(16)).await;
            }
            Operation::MomentPasses => {
                bench.tend(now() + minutes(2)).await;
            }
            Operation::Decide(_) | Operation::TakeUp | Operation::LetBe => {
                let what = match self {
                    Operation::Decide(State::Accepted) => Decided::Arrived,
                    Operation::Decide(_) => Decided::AgainInDoubt,
                    Operation::TakeUp => Decided::TakeUp,
                    _ => Decided::LetBe,
                };
                store.decide(SEASON, &[message.id], what, now()).await.unwrap();
            }
            Operation::Recall => {
                store.doubt_lost(std::slice::from_ref(&message.key), now()).await.map(|_| ()).unwrap();
            }
        }
    }
}

async fn every_operation_moves_messages_along_the_graph_only(engine: Engine<'_>) {
    use State::{Accepted, Expired, Planned, Quarantined, Refused, Uncertain, WaitingToRetry, Withdrawn};
    let operations = [
        Operation::Withdraw,
        Operation::Retime,
        Operation::Claim,
        Operation::Attempt,
        Operation::Settle(Accepted),
        Operation::Settle(WaitingToRetry),
        Operation::Settle(Refused),
        Operation::Settle(Uncertain),
        Operation::PutBack(Planned),
        Operation::PutBack(Withdrawn),
        Operation::PutBack(Expired),
        Operation::PutBack(Refused),
        Operation::PutBack(Quarantined),
        Operation::LeaseEnds,
        Operation::MomentPasses,
        Operation::WaitEnds,
        Operation::Decide(Accepted),
        Operation::Decide(WaitingToRetry),
        Operation::TakeUp,
        Operation::LetBe,
        Operation::Recall,
    ];
    let bench = with_season(engine).await;
    let mut cases = 0;
    for operation in operations {
        for state in State::ALL {
            cases += 1;
            bench.raw("UPDATE message SET state = 'withdrawn' WHERE season = $1", vec![SEASON.into()]).await;
            bench.add(vec![message(&format!("k{cases}"), Channel::Mail)]).await;
            let id = bench.one("SELECT MAX(id) FROM message").await;
            let held = matches!(state, State::Claimed | State::Attempting);
            let until = if matches!(operation, Operation::MomentPasses) { minutes(1) } else { minutes(600) };
            let long = if matches!(operation, Operation::MomentPasses) { 60 } else { 15 };
            let lease = if held { (now() + minutes(long)).as_millisecond() } else { 0 };
            bench
                .raw(
                    "UPDATE message SET state = $2, fence = 3, claims = 2, attempts = 1, lease_ms = $3, \
                         until_ms = $4 WHERE id = $1",
                    vec![
                        id.into(),
                        state.word().into(),
                        lease.into(),
                        (now() + until).as_millisecond().into(),
                    ],
                )
                .await;
            // For the second try the one attempt lies back; otherwise it has only just been made.
            let since = if matches!(operation, Operation::WaitEnds) { now() } else { now() + minutes(10) };
            bench
                    .raw(
                        "INSERT INTO attempt (message, number, at_ms, address, reference, outcome, outcome_ms, why, gateway, gateway_id) \
                         VALUES ($1, 1, $2, 'g1@example.com', 'k', 'uncertain', 0, '', '', '')",
                        vec![id.into(), since.as_millisecond().into()],
                    )
                    .await;
            let before = bench.message(id).await;
            if matches!(operation, Operation::WaitEnds) && held {
                continue;
            }
            operation.run(&bench, &before).await;
            let expect = operation
                .steps()
                .into_iter()
                .find(|(_, from)| from.contains(&state))
                .map_or(state, |(step, _)| graph::next(state, step).expect("the graph has that arrow"));
            assert_eq!(bench.message(id).await.state, expect, "{operation:?} from {state}");
        }
    }
    assert_eq!(cases, operations.len() * State::ALL.len());
    assert_eq!(verify_ledger(&*bench.store, SEASON).await.unwrap(), bench.ledger_lines().await);
}

// What ends the program each time must not take its neighbours along: after two claims that came to nothing it is claimed by
// itself, and only when nothing else waits (reliability fault 35).
async fn a_suspect_is_claimed_alone_and_after_the_others(engine: Engine<'_>) {
    let bench = with_season(engine).await;
    bench.add((0..5).map(|n| message(&format!("k{n}"), Channel::Mail)).collect()).await;
    let mut at = now();
    for _ in 0..2 {
        assert_eq!(bench.claim(Channel::Mail, at).await.len(), 5);
        at += minutes(15);
        assert_eq!(bench.tend(at).await.released, 5);
    }
    bench.add(vec![message("new", Channel::Mail)]).await;
    let keys = async |at| bench.claim(Channel::Mail, at).await.into_iter().map(|m| m.key).collect::<Vec<_>>();
    assert_eq!(keys(at).await, ["new"]);
    // Each by itself; the one whose claim came to nothing once more waits behind the others.
    assert_eq!(keys(at).await, ["k0"]);
    at += minutes(15);
    bench.store.tend(SEASON, at, TendRules { claims_max: 5, ..RULES }).await.unwrap();
    assert_eq!(keys(at).await, ["new"]);
    for key in ["k1", "k2", "k3", "k4", "k0"] {
        assert_eq!(keys(at).await, [key]);
    }
    assert!(keys(at).await.is_empty());
}

async fn three_claims_without_an_attempt_set_a_message_aside(engine: Engine<'_>) {
    let bench = with_season(engine).await;
    bench.add(vec![message("k", Channel::Mail)]).await;
    let mut at = now();
    for turn in 1..=3 {
        assert_eq!(bench.claim(Channel::Mail, at).await.len(), 1);
        at += minutes(15);
        let tended = bench.tend(at).await;
        assert_eq!((tended.released, tended.quarantined), if turn < 3 { (1, 0) } else { (0, 1) });
    }
    assert_eq!(bench.claim(Channel::Mail, at).await.len(), 0);
    // One that is only put back for the night is never set aside.
    bench.add(vec![message("night", Channel::Mail)]).await;
    for _ in 0..6 {
        let claimed = bench.claim(Channel::Mail, at).await.remove(0);
        bench.store.put_back(SEASON, &[unsent(&claimed, State::Planned)], at).await.unwrap();
    }
    bench.claim(Channel::Mail, at).await;
    assert_eq!(bench.tend(at + minutes(15)).await.quarantined, 0);
}

async fn an_open_attempt_is_doubted_and_only_mail_is_repeated_once(engine: Engine<'_>) {
    let bench = with_season(engine).await;
    for (channel, repeats) in [(Channel::Mail, [1, 0]), (Channel::Text, [0, 0])] {
        bench.add(vec![message(channel.word(), channel)]).await;
        let mut at = now();
        let mut claimed = bench.claim(channel, at).await.remove(0);
        for again in repeats {
            assert_eq!(bench.attempt(&claimed, at).await, vec![claimed.id]);
            assert_eq!(bench.tend(at + minutes(14)).await, Tended::default(), "the lease still runs");
            at += minutes(15);
            let tended = bench.tend(at).await;
            // The wait is counted from the attempt, so a lease that long is followed by the second try at once.
            assert_eq!((tended.doubted, tended.tried_again), (1, again), "{channel:?}");
            let Some(next) = bench.claim(channel, at).await.pop() else { break };
            claimed = next;
        }
        assert_eq!(bench.message(claimed.id).await.state, State::Uncertain);
        assert_eq!(bench.tend(at + minutes(300)).await, Tended::default(), "it waits for a person");
        assert_eq!(bench.store.decide(SEASON, &[claimed.id], Decided::Arrived, at).await.unwrap(), 1);
        assert_eq!(bench.store.decide(SEASON, &[claimed.id], Decided::Arrived, at).await.unwrap(), 0);
    }
}

async fn one_rate_holds_for_all_who_share_the_database(engine: Engine<'_>) {
    let bench = with_season(engine).await;
    bench.add((0..40).map(|n| message(&format!("k{n:02}"), Channel::Mail)).collect()).await;
    let other = SqlStore::open(&bench.url, Seeded::boxed(9, "salts")).await.unwrap();
    let claim = async |store: &SqlStore, at: Timestamp| {
        store.claim(SEASON, Channel::Mail, 7, 10.0, at, at + minutes(1)).await.unwrap()
    };
    // A burst is a second's worth: seven to one process, three to the other, and then nothing for a second.
    let at = now();
    assert_eq!(claim(&bench.store, at).await.messages.len(), 7);
    assert_eq!(claim(&other, at).await.messages.len(), 3);
    let full = claim(&bench.store, at).await;
    assert_eq!((full.messages.len(), full.again_at), (0, Some(at + SignedDuration::from_secs(1))));
    let half = at + SignedDuration::from_millis(500);
    assert_eq!(claim(&other, half).await.messages.len(), 5);
    // Another channel has a rate of its own, and a clock set back stops nothing for longer than a burst.
    assert!(claim(&bench.store, half - SignedDuration::from_hours(2)).await.messages.is_empty());
    assert_eq!(claim(&bench.store, half + SignedDuration::from_secs(1)).await.messages.len(), 7);
    other.close().await;
}

async fn nothing_is_claimed_while_sending_is_held(engine: Engine<'_>) {
    let bench = with_season(engine).await;
    bench.add(vec![message("k1", Channel::Mail), message("k2", Channel::Mail)]).await;
    let claimed = bench.store.claim(SEASON, Channel::Mail, 1, ANY_RATE, now(), now() + minutes(15)).await;
    let claimed = claimed.unwrap().messages.remove(0);
    assert!(bench.store.hold(Doubt::Clock, "it jumped", now()).await.unwrap());
    assert!(!bench.store.hold(Doubt::Clock, "again", now()).await.unwrap(), "one hold of a kind");
    assert_eq!(bench.attempt(&claimed, now()).await, Vec::<i64>::new(), "a claim is no start");
    assert!(bench.claim(Channel::Mail, now()).await.is_empty());
    assert_eq!(bench.store.next_on(SEASON, Channel::Mail, now()).await.unwrap(), NextOn::default());
    let holds = bench.store.holds().await.unwrap();
    assert_eq!((holds.len(), holds[0].doubt, holds[0].why.as_str()), (1, Doubt::Clock, "it jumped"));
    assert!(bench.store.lift(Doubt::Clock).await.unwrap() && !bench.store.lift(Doubt::Clock).await.unwrap());
    assert_eq!(bench.attempt(&claimed, now()).await, vec![claimed.id]);
    assert_eq!(bench.claim(Channel::Mail, now()).await.len(), 1);
}

// A full file makes SQLite roll back by itself (sqlite.org, "Response To Errors Within A Transaction"): what came after it in
// the same transaction was once committed line by line, and every later transaction failed.
#[tokio::test(flavor = "multi_thread")]
async fn after_a_full_file_nothing_is_written_singly_and_the_next_write_works() {
    let bench = with_season(Engine::Sqlite).await;
    let say = |text: &'static str| Statement { text, binds: 0 };
    let mut tx = bench.store.db().begin().await.unwrap();
    let pages = tx.fetch(say("PRAGMA page_count"), vec![]).await.unwrap()[0].int(0).unwrap();
    // A limit of this connection alone.
    assert!(pages < 2_000, "{pages} pages");
    tx.fetch(say("PRAGMA max_page_count = 2000"), vec![]).await.unwrap();
    let line = Statement { text: "INSERT INTO lost (key, at_ms) VALUES ($1, 1)", binds: 1 };
    let mut full = None;
    for n in 0..4_000 {
        let key = Value::Text(format!("{n:06}{}", "x".repeat(8_000)));
        if let Err(fault) = tx.run(line, vec![key]).await {
            full = Some(fault.to_string());
            break;
        }
    }
    let full = full.expect("the file is full");
    assert!(full.contains("full"), "{full}");
    // From here on the transaction takes nothing.
    let small = || vec![Value::Text("small".to_owned())];
    assert!(tx.run(line, small()).await.unwrap_err().to_string().contains("failed before"));
    assert!(tx.commit().await.is_err());
    let count = "SELECT COUNT(*) FROM lost";
    assert_eq!(bench.one(count).await, 0, "nothing of it is there");
    // The next writer has a sound connection.
    let mut tx = bench.store.db().begin().await.unwrap();
    tx.run(line, small()).await.unwrap();
    tx.commit().await.unwrap();
    assert_eq!(bench.one(count).await, 1);
}

/// Asks a future so often and no more; whether it was ready by then.
async fn given_up_at(most: u64, asked: impl Future<Output = ()>) -> bool {
    let mut asked = std::pin::pin!(asked);
    let mut times = 0;
    std::future::poll_fn(|context| {
        if times == most {
            return std::task::Poll::Ready(false);
        }
        times += 1;
        asked.as_mut().poll(context).map(|()| true)
    })
    .await
}

// A caller that goes away in the middle of BEGIN once left a transaction open in the pool, into which whoever came next wrote
// and nobody committed (transact-rs/sqlx 4393).
async fn a_write_given_up_half_way_leaves_nothing_open(engine: Engine<'_>) {
    let bench = with_season(engine).await;
    let mut ended = 0;
    for n in 0..400_u64 {
        let begun = async {
            drop(bench.store.db().begin().await.unwrap());
        };
        ended += u64::from(given_up_at(n % 12, begun).await);
    }
    println!("{ended} of 400 were not given up");
    assert!(ended < 400, "some were given up");
    // Whatever was begun is ended; what is written now is there for everybody.
    tokio::time::sleep(std::time::Duration::from_millis(300)).await;
    for n in 0..12 {
        let doubt = if n % 2 == 0 {
            bench.store.hold(Doubt::Clock, "it jumped", now()).await
        } else {
            bench.store.lift(Doubt::Clock).await
        };
        assert!(doubt.unwrap(), "write {n}");
    }
    assert!(bench.store.hold(Doubt::Clock, "it jumped", now()).await.unwrap());
    let other = SqlStore::open(&bench.url, Seeded::boxed(9, "salts")).await.unwrap();
    assert_eq!(other.holds().await.unwrap().len(), 1, "seen by another");
    if matches!(engine, Engine::Postgres(_)) {
        let open = "SELECT COUNT(*) FROM pg_stat_activity WHERE datname = current_database() AND state LIKE 'idle in transaction%'";
        let open =
            other.db().fetch(Statement { text: open, binds: 0 }, vec![]).await.unwrap()[0].int(0).unwrap();
        assert_eq!(open, 0, "transactions that nobody ends");
    }
    other.close().await;
}

async fn what_a_journal_knows_better_is_never_sent_by_itself(engine: Engine<'_>) {
    let bench = with_season(engine).await;
    bench.add(vec![message("k1", Channel::Mail)]).await;
    let lost = |key: &str| Lost { key: key.to_owned(), number: 1 };
    let unknown = bench.store.unknown_attempts(&[lost("k1"), lost("k2")]).await.unwrap();
    assert_eq!(unknown, [lost("k1"), lost("k2")]);
    assert_eq!(bench.store.doubt_lost(&["k1".to_owned(), "k2".to_owned()], now()).await.unwrap(), 1);
    // One that is planned only now is the same message.
    bench.add(vec![message("k2", Channel::Mail), message("k3", Channel::Mail)]).await;
    let claimed = bench.claim(Channel::Mail, now()).await;
    assert_eq!(claimed.iter().map(|m| m.key.as_str()).collect::<Vec<_>>(), ["k3"]);
    // An attempt that the database has is no news.
    bench.attempt(&claimed[0], now()).await;
    assert!(bench.store.unknown_attempts(&[lost("k3")]).await.unwrap().is_empty());
    bench.store.settle(SEASON, &[settled(&claimed[0], State::Accepted)], now()).await.unwrap();
    let doubted = bench.store.messages_to_see(SEASON, &[State::Uncertain], 10).await.unwrap();
    assert_eq!(doubted.len(), 2);
    assert_eq!(bench.tend(now() + minutes(60)).await.tried_again, 0, "a person decides");
    // A person sends one again after all, and it is not doubted a second time.
    let first = doubted.iter().find(|m| m.key == "k1").unwrap().id;
    assert_eq!(bench.store.decide(SEASON, &[first], Decided::AgainInDoubt, now()).await.unwrap(), 1);
    bench.add(vec![message("k4", Channel::Mail)]).await;
    assert_eq!(bench.claim(Channel::Mail, now() + minutes(20)).await.len(), 2, "k1 and k4");
    bench.store.register_journal("a1", now()).await.unwrap();
    bench.store.register_journal("a1", now()).await.unwrap();
    assert_eq!(bench.store.journals().await.unwrap(), ["a1"]);
}

async fn what_came_back_waits_until_a_person_decides(engine: Engine<'_>) {
    let bench = with_season(engine).await;
    bench.add(vec![message("k", Channel::Mail)]).await;
    let claimed = bench.claim(Channel::Mail, now()).await.remove(0);
    bench.attempt(&claimed, now()).await;
    let refused = Settled { bad_address: true, ..settled(&claimed, State::Refused) };
    bench.store.settle(SEASON, &[refused], now()).await.unwrap();
    let to_see = async || bench.store.messages_to_see(SEASON, &[State::Refused], 10).await.unwrap().len();
    assert_eq!(to_see().await, 1);
    // Once more: the address counts as good again, and what was tried counts against nothing.
    assert_eq!(bench.store.decide(SEASON, &[claimed.id], Decided::TakeUp, now()).await.unwrap(), 1);
    let again = bench.claim(Channel::Mail, now()).await.remove(0);
    assert_eq!((again.attempts, again.spared), (1, 1));
    assert_eq!(bench.attempt(&again, now()).await, vec![again.id]);
    let refused = Settled { number: 2, ..settled(&again, State::Refused) };
    bench.store.settle(SEASON, &[refused], now()).await.unwrap();
    assert_eq!(bench.store.decide(SEASON, &[claimed.id], Decided::LetBe, now()).await.unwrap(), 1);
    assert_eq!(bench.store.decide(SEASON, &[claimed.id], Decided::LetBe, now()).await.unwrap(), 0);
    assert_eq!((to_see().await, bench.message(claimed.id).await.state), (0, State::Refused));
}

async fn a_persons_own_answer_stays_until_somebody_decides(engine: Engine<'_>) {
    let bench = with_season(engine).await;
    let store = &bench.store;
    let answer = NewReply {
        channel: Channel::Text,
        address: "+447700900021".to_owned(),
        subject: String::new(),
        words: "The stage door.".to_owned(),
        in_reply_to: String::new(),
        ready: now(),
        until: now() + minutes(60),
        reference: String::new(),
        by_person: true,
    };
    let automatic = NewReply { by_person: false, words: "Noted.".to_owned(), ..answer.clone() };
    store.put_reply(SEASON, &answer, &[], now()).await.unwrap();
    store.put_reply(SEASON, &automatic, &[], now()).await.unwrap();
    let claim = async |at: Timestamp| {
        store.claim_replies(SEASON, Channel::Text, 10, ANY_RATE, at, at + minutes(15)).await.unwrap()
    };
    let end = |id: i64, number: i64, to: State| SettledReply {
        id,
        number,
        to,
        ready: now(),
        why: "hung up".to_owned(),
    };
    let claimed = claim(now()).await;
    let ends: Vec<_> = claimed.iter().map(|reply| end(reply.id, reply.number, State::Uncertain)).collect();
    store.settle_replies(&ends).await.unwrap();
    let open = store.replies_to_see(SEASON, 10).await.unwrap();
    assert_eq!(open.len(), 1, "nobody wrote the other");
    assert!(open[0].is_uncertain && open[0].words == "The stage door.");
    let id = open[0].id;
    assert!(store.decide_reply(SEASON, id, Some(now() + minutes(90)), now()).await.unwrap());
    assert!(store.replies_to_see(SEASON, 10).await.unwrap().is_empty(), "it is on its way again");
    let again = claim(now()).await.remove(0);
    store.settle_replies(&[end(again.id, again.number, State::Refused)]).await.unwrap();
    assert_eq!(store.replies_to_see(SEASON, 10).await.unwrap().len(), 1, "it comes back");
    assert!(store.decide_reply(SEASON, id, None, now()).await.unwrap());
    assert!(!store.decide_reply(SEASON, id, None, now()).await.unwrap());
    assert!(store.replies_to_see(SEASON, 10).await.unwrap().is_empty());
}

async fn a_coordinators_link_ends_with_the_sessions_opened_by_it(engine: Engine<'_>) {
    let bench = with_season(engine).await;
    let store = &bench.store;
    let link = |hash: &str, kind, parent: &str| NewLink {
        hash: hash.to_owned(),
        kind,
        message: 0,
        chaperone: String::new(),
        expires: now() + minutes(600),
        made: now(),
        parent: parent.to_owned(),
    };
    for new in [
        link("one", LinkKind::Coordinator, ""),
        link("two", LinkKind::Coordinator, ""),
        link("s1", LinkKind::Session, "one"),
        link("s2", LinkKind::Session, "one"),
        link("s3", LinkKind::Session, "two"),
    ] {
        store.put_link(SEASON, &new).await.unwrap();
    }
    let open = async || {
        let links = store.coordinator_links(SEASON, now()).await.unwrap();
        links.into_iter().map(|link| (link.hash, link.sessions)).collect::<Vec<_>>()
    };
    assert_eq!(open().await, [("one".to_owned(), 2), ("two".to_owned(), 1)]);
    assert!(store.end_link(SEASON, "s1", now()).await.unwrap());
    assert_eq!(open().await, [("one".to_owned(), 1), ("two".to_owned(), 1)]);
    assert!(store.end_link(SEASON, "one", now()).await.unwrap());
    assert!(!store.end_link(SEASON, "one", now()).await.unwrap());
    assert_eq!(open().await, [("two".to_owned(), 1)]);
    assert_eq!(store.link(SEASON, "s2").await.unwrap().unwrap().expires, now());
}

async fn no_attempt_is_written_when_the_world_has_moved_on(engine: Engine<'_>) {
    for reason in ["nothing", "revision", "stopped", "withdrawn"] {
        let bench = with_season(engine).await;
        bench.add(vec![message("k", Channel::Mail)]).await;
        let claimed = bench.claim(Channel::Mail, now()).await.remove(0);
        let store = &bench.store;
        match reason {
            "revision" => assert!(store.put_season("s", &demo::book(1), 1, now()).await.unwrap()),
            "stopped" => {
                let who = ["G001".to_owned()];
                let none = Delta::default();
                store
                    .set_stopped(SEASON, Channel::Mail, "g1@example.com", &who, true, &none, now())
                    .await
                    .unwrap();
            }
            "withdrawn" => Operation::Withdraw.run(&bench, &claimed).await,
            _ => {}
        }
        let allowed = bench.attempt(&claimed, now()).await;
        assert_eq!(allowed.len(), usize::from(reason == "nothing"), "{reason}");
        assert_eq!(bench.one("SELECT COUNT(*) FROM attempt").await, allowed.len() as i64, "{reason}");
        assert_eq!(bench.one("SELECT COUNT(*) FROM link").await, allowed.len() as i64, "{reason}");
    }
}

async fn nothing_planned_leaves_before_the_season_is_set_going_nor_while_it_is_paused(engine: Engine<'_>) {
    let bench = brought(engine).await;
    let store = &bench.store;
    let set = async |going, by, at| store.set_course(SEASON, going, by, at).await.unwrap();
    bench.add(vec![message("k", Channel::Mail), message("l", Channel::Mail)]).await;
    assert_eq!(store.course(SEASON).await.unwrap(), Course::NotYet);
    assert!(!set(false, Hand::Coordinator, now()).await, "what never went cannot be paused");
    assert_eq!(bench.claim(Channel::Mail, now()).await.len(), 0);
    assert_eq!(store.next_due(SEASON).await.unwrap(), None, "nothing is to be woken for");
    assert!(set(true, Hand::Coordinator, now()).await);
    assert!(!set(true, Hand::Command, now() + minutes(1)).await, "twice is once");
    let going = Course::Going { since: now(), by: Hand::Coordinator };
    assert_eq!(store.course(SEASON).await.unwrap(), going);
    assert_eq!(store.next_due(SEASON).await.unwrap(), Some(now()));
    let claimed = store
        .claim(SEASON, Channel::Mail, 1, ANY_RATE, now(), now() + minutes(15))
        .await
        .unwrap()
        .messages
        .remove(0);
    assert!(set(false, Hand::Command, now() + minutes(2)).await);
    assert!(!set(false, Hand::Command, now() + minutes(3)).await);
    assert_eq!(bench.claim(Channel::Mail, now() + minutes(2)).await.len(), 0);
    assert_eq!(bench.attempt(&claimed, now() + minutes(2)).await, Vec::<i64>::new(), "a claim is no start");
    store.put_back(SEASON, &[unsent(&claimed, State::Planned)], now() + minutes(2)).await.unwrap();
    let paused = Course::Paused { since: now() + minutes(2), by: Hand::Command };
    assert_eq!(store.course(SEASON).await.unwrap(), paused);
    // A day later their moment has passed: they expire as they do anyway.
    assert_eq!(bench.tend(now() + minutes(23 * 60)).await.expired, 0);
    assert!(set(true, Hand::Command, now() + minutes(23 * 60)).await);
    assert_eq!(bench.claim(Channel::Mail, now() + minutes(23 * 60)).await.len(), 2, "nothing was lost");
    let kinds: Vec<(String, String)> = store
        .ledger(SEASON, 1, 10)
        .await
        .unwrap()
        .into_iter()
        .map(|line| (line.entry.kind, line.entry.about))
        .collect();
    let expected = [("set_going", "coordinator"), ("paused", "command"), ("going_on", "command")];
    assert_eq!(kinds, expected.map(|(kind, by)| (kind.to_owned(), format!("by={by}"))));
    verify_ledger(&**store, SEASON).await.expect("the chain is whole");
}

/// Senders claim and begin attempts as fast as they can while the season is paused and set going. Whatever a pause says
/// it found when it was over is all there is until the season goes on.
async fn no_attempt_begins_after_a_pause_however_they_race(engine: Engine<'_>) {
    let bench = with_season(engine).await;
    bench.add((0..200).map(|n| message(&format!("k{n}"), Channel::Mail)).collect()).await;
    let senders: Vec<_> = (0..4)
        .map(|_| {
            let store = bench.store.clone();
            tokio::spawn(async move {
                let mut begun = 0;
                loop {
                    let lease = now() + minutes(15);
                    for one in
                        store.claim(SEASON, Channel::Mail, 3, ANY_RATE, now(), lease).await.unwrap().messages
                    {
                        let began = store.attempt(SEASON, 1, &[&attempt(&one)], now(), lease).await.unwrap();
                        begun += began.len();
                        if began.is_empty() {
                            store.put_back(SEASON, &[unsent(&one, State::Planned)], now()).await.unwrap();
                        }
                    }
                    if begun_all(&store).await {
                        break;
                    }
                    tokio::task::yield_now().await;
                }
                begun
            })
        })
        .collect();
    let mut pauses = 0;
    while !begun_all(&bench.store).await {
        assert!(bench.store.set_course(SEASON, false, Hand::Coordinator, now()).await.unwrap());
        let begun = bench.one("SELECT COUNT(*) FROM attempt").await;
        tokio::time::sleep(std::time::Duration::from_millis(5)).await;
        assert_eq!(bench.one("SELECT COUNT(*) FROM attempt").await, begun, "after pause {pauses}");
        assert!(bench.store.set_course(SEASON, true, Hand::Coordinator, now()).await.unwrap());
        tokio::time::sleep(std::time::Duration::from_millis(5)).await;
        pauses += 1;
    }
    let mut begun = 0;
    for sender in senders {
        begun += sender.await.unwrap();
    }
    assert_eq!(begun, 200, "each began once, after {pauses} pauses");
    assert!(pauses > 1, "the pauses fell among the attempts");
}

/// Whether every message of the race has begun.
async fn begun_all(store: &SqlStore) -> bool {
    let count = Statement { text: "SELECT COUNT(*) FROM attempt", binds: 0 };
    store.db().fetch(count, vec![]).await.unwrap()[0].int(0).unwrap() == 200
}

async fn a_test_to_the_coordinator_is_noted_once_and_tells_nobody(engine: Engine<'_>) {
    let bench = brought(engine).await;
    let store = &bench.store;
    let pulse = store.pulse(SEASON).await.unwrap();
    let note = async |act: &str, channel| store.note_test(SEASON, act, channel, "eve", now()).await.unwrap();
    assert!(note("one", Channel::Mail).await);
    assert!(!note("one", Channel::Mail).await, "a form posted twice");
    assert!(note("one", Channel::Text).await && note("two", Channel::Mail).await);
    let history = store.history(SEASON).await.unwrap();
    assert!(history.tellings.is_empty() && history.answers.is_empty());
    assert_eq!(store.pulse(SEASON).await.unwrap(), pulse, "nothing that was told has changed");
    let lines = store.ledger(SEASON, 1, 10).await.unwrap();
    assert_eq!(lines.len(), 3);
    assert_eq!(lines[0].entry.kind, "test");
    assert_eq!(lines[0].entry.about, "channel=mail to=coordinator wording=eve");
}

async fn everybody_has_one_calendar_address(engine: Engine<'_>) {
    let bench = with_season(engine).await;
    let holder = |person: &str, household: &str| FeedHolder {
        person: person.to_owned(),
        household: household.to_owned(),
    };
    let put = async |hash: &str, holders: &[FeedHolder], hours: i64| {
        let expires = now() + SignedDuration::from_hours(hours);
        let feed = NewFeed { hash: hash.to_owned(), holders: holders.to_vec(), expires };
        bench.store.put_feed(SEASON, &feed).await.unwrap();
    };
    let found = async |hash: &str| bench.store.feed(SEASON, hash).await.unwrap();
    assert_eq!(found("one").await, None);
    // Two guardians of one telephone have an address together, in this household; a chaperone has one without any.
    let (may, lee) = (holder("G001", "H001"), holder("G002", "H001"));
    let (elsewhere, noor) = (holder("G001", "H002"), holder("V001", ""));
    put("one", &[lee.clone(), may.clone()], 1).await;
    put("two", std::slice::from_ref(&elsewhere), 2).await;
    put("three", std::slice::from_ref(&noor), 3).await;
    let one = found("one").await.unwrap();
    assert_eq!((one.holders, one.expires), (vec![may.clone(), lee.clone()], now() + minutes(60)));
    assert_eq!(found("two").await.unwrap().holders, [elsewhere]);
    assert_eq!(found("three").await.unwrap().holders, [noor]);
    // A new one of hers leaves the old one to the other; when he has a new one too it is gone.
    put("four", std::slice::from_ref(&may), 4).await;
    assert_eq!(found("one").await.unwrap().holders, std::slice::from_ref(&lee));
    assert_eq!(found("four").await.unwrap().expires, now() + minutes(240));
    put("five", std::slice::from_ref(&lee), 5).await;
    assert_eq!(found("one").await, None);
    assert_eq!(bench.store.feed(SEASON + 1, "five").await.unwrap(), None);
}

/// Each moment of a holder is taken by one of several processes, with its letter, its link and a line of the ledger.
async fn a_digests_moment_is_taken_once_with_its_letter(engine: Engine<'_>) {
    let bench = with_season(engine).await;
    let store = &bench.store;
    let now = at("2027-03-13T18:00:00Z");
    let digest = |of: &str, said: Option<&str>| NewDigest {
        holder: "V001".to_owned(),
        kind: "list".to_owned(),
        of: at(of),
        said: said.map(|form| SaidDigest {
            form: form.to_owned(),
            letter: NewReply {
                channel: Channel::Mail,
                address: "odile@example.com".to_owned(),
                subject: "Your list".to_owned(),
                words: "One to ring.".to_owned(),
                in_reply_to: String::new(),
                ready: now,
                until: now + SignedDuration::from_hours(2),
                reference: format!("digest {of}"),
                by_person: false,
            },
            link: Some(NewLink {
                hash: format!("hash {of}"),
                kind: LinkKind::Chaperone,
                message: 0,
                chaperone: "V001".to_owned(),
                expires: now + SignedDuration::from_hours(48),
                made: Timestamp::UNIX_EPOCH,
                parent: String::new(),
            }),
        }),
    };
    let last = || async {
        let all = store.digests(SEASON).await.unwrap();
        all.into_iter().map(|d| (d.holder, d.kind, d.of, d.form)).collect::<Vec<_>>()
    };
    assert_eq!(last().await, vec![]);
    let today = "2027-03-13T18:00:00Z";
    let takers = (0..4).map(|_| {
        let (store, new) = (store.clone(), digest(today, Some("E001 C001 waiting\n")));
        tokio::spawn(async move { store.put_digests(SEASON, &[new], now).await.unwrap() })
    });
    let mut put = 0;
    for taker in takers.collect::<Vec<_>>() {
        put += taker.await.unwrap();
    }
    assert_eq!(put, 1);
    let row = |of: &str, form: &str| ("V001".to_owned(), "list".to_owned(), at(of), form.to_owned());
    assert_eq!(last().await, vec![row(today, "E001 C001 waiting\n")]);
    assert!(store.link(SEASON, &format!("hash {today}")).await.unwrap().is_some());
    // An earlier moment is gone; a later one without anything to say keeps what was seen last.
    assert_eq!(
        store.put_digests(SEASON, &[digest("2027-03-12T18:00:00Z", Some("x"))], now).await.unwrap(),
        0
    );
    assert_eq!(store.put_digests(SEASON, &[digest("2027-03-14T18:00:00Z", None)], now).await.unwrap(), 0);
    assert_eq!(last().await, vec![row("2027-03-14T18:00:00Z", "E001 C001 waiting\n")]);
    // What a clock a year ahead has taken is given up once the clock is right.
    let ahead = at("2028-03-13T18:00:00Z");
    assert_eq!(store.put_digests(SEASON, &[digest("2028-03-13T18:00:00Z", None)], ahead).await.unwrap(), 0);
    let right = at("2027-03-15T18:00:00Z");
    assert_eq!(store.put_digests(SEASON, &[digest("2027-03-15T18:00:00Z", None)], right).await.unwrap(), 0);
    assert_eq!(last().await, vec![row("2027-03-15T18:00:00Z", "E001 C001 waiting\n")]);
    let lines = store.ledger(SEASON, 0, 1_000).await.unwrap();
    let told: Vec<_> = lines.iter().filter(|line| line.entry.kind == "digest").collect();
    assert_eq!(told.len(), 1);
    assert!(told[0].entry.about.contains("guardians=V001"), "{}", told[0].entry.about);
    verify_ledger(&**store, SEASON).await.unwrap();
    // Whoever said stop is not sent it; what answers a person's own message still goes.
    let own = ["V001".to_owned()];
    let nothing = Delta::default();
    store.set_stopped(SEASON, Channel::Mail, "odile@example.com", &own, true, &nothing, now).await.unwrap();
    let mut direct = digest(today, Some("x")).said.unwrap().letter;
    direct.reference = String::new();
    store.put_reply(SEASON, &direct, &[], now).await.unwrap();
    let lease = now + SignedDuration::from_mins(15);
    let claimed = store.claim_replies(SEASON, Channel::Mail, 10, ANY_RATE, now, lease).await.unwrap();
    assert_eq!(claimed.iter().map(|r| r.reference.as_str()).collect::<Vec<_>>(), [""]);
    bench.tend(now).await;
    store.set_stopped(SEASON, Channel::Mail, "odile@example.com", &own, false, &nothing, now).await.unwrap();
    assert!(
        store.claim_replies(SEASON, Channel::Mail, 10, ANY_RATE, now, lease).await.unwrap().is_empty(),
        "it was given up"
    );
}

async fn a_moved_due_time_binds_whoever_waits(engine: Engine<'_>) {
    for state in [State::Planned, State::Claimed, State::WaitingToRetry] {
        let bench = with_season(engine).await;
        bench.add(vec![message("k", Channel::Mail)]).await;
        let mut claimed = message("k", Channel::Mail);
        if state != State::Planned {
            claimed = bench.claim(Channel::Mail, now()).await.remove(0);
        }
        if state == State::WaitingToRetry {
            bench.attempt(&claimed, now()).await;
            bench.store.settle(SEASON, &[settled(&claimed, state)], now()).await.unwrap();
        }
        let id = bench.one("SELECT MAX(id) FROM message").await;
        let later = now() + minutes(120);
        let retime = vec![(id, later, later + minutes(60), false)];
        bench.store.reconcile(SEASON, &Delta { retime, ..Delta::default() }, now()).await.unwrap();
        bench.tend(now() + minutes(16)).await;
        assert_eq!(bench.claim(Channel::Mail, now() + minutes(119)).await.len(), 0, "{state}");
        assert_eq!(bench.claim(Channel::Mail, later).await.len(), 1, "{state}");
    }
}

async fn an_answer_has_its_effect_once_however_often_it_comes(engine: Engine<'_>) {
    let bench = with_season(engine).await;
    bench.add(vec![message("k", Channel::Mail)]).await;
    let id = bench.one("SELECT MAX(id) FROM message").await;
    let copies: Vec<_> = (0..8)
        .map(|_| {
            let store = bench.store.clone();
            let delta = Delta {
                withdraw: vec![(id, "answered".to_owned())],
                add: vec![message("next", Channel::Text)],
                ..Delta::default()
            };
            tokio::spawn(async move { store.answer(SEASON, &[said("x", "")], &delta, now()).await.unwrap() })
        })
        .collect();
    let mut fresh = 0;
    for copy in copies {
        fresh += i32::from(copy.await.unwrap());
    }
    assert_eq!(fresh, 1);
    assert_eq!(bench.store.history(SEASON).await.unwrap().answers.len(), 1);
    assert_eq!(bench.message(id).await.state, State::Withdrawn);
    assert_eq!(bench.one("SELECT COUNT(*) FROM message").await, 2);
    assert!(bench.store.answer(SEASON, &[said("y", "")], &Delta::default(), now()).await.unwrap());
}

async fn a_withdrawn_message_may_be_wanted_again_but_is_alive_once(engine: Engine<'_>) {
    let bench = with_season(engine).await;
    for turn in 1..=3 {
        bench.add(vec![message("k", Channel::Mail)]).await;
        bench.add(vec![message("k", Channel::Mail)]).await;
        assert_eq!(bench.one("SELECT COUNT(*) FROM message").await, turn);
        let open = bench.store.open_messages(SEASON, Some(&["HG001"])).await.unwrap();
        assert_eq!((open.len(), open[0].parts.len()), (1, 1));
        Operation::Withdraw.run(&bench, &open[0]).await;
        assert_eq!(bench.store.open_messages(SEASON, None).await.unwrap().len(), 0);
    }
}

async fn a_deed_takes_its_place_once_and_is_never_changed(engine: Engine<'_>) {
    let bench = with_season(engine).await;
    let lines = bench.ledger_lines().await;
    let deed = |seq: i64, external: &str, kind| StoredDeed {
        seq,
        external: external.to_owned(),
        at: now() + minutes(seq),
        kind,
        number: "N001".to_owned(),
        other: String::new(),
        minutes: 0,
    };
    let mut list: Vec<StoredDeed> =
        (1..).zip(DeedKind::ALL).map(|(seq, kind)| deed(seq, &format!("form {seq}"), kind)).collect();
    list[2].minutes = 4;
    list[3].other = "N002".to_owned();
    for deed in &list {
        assert!(bench.store.add_deed(SEASON, "E001", deed).await.unwrap());
    }
    // The same form again, and another form for a place that is taken.
    let again = StoredDeed { seq: 8, number: "N009".to_owned(), ..list[0].clone() };
    assert!(!bench.store.add_deed(SEASON, "E001", &again).await.unwrap());
    assert!(!bench.store.add_deed(SEASON, "E001", &deed(7, "form 9", DeedKind::Cut)).await.unwrap());
    // Another event has deeds of its own, under the same names.
    assert!(bench.store.add_deed(SEASON, "E002", &list[0]).await.unwrap());
    assert_eq!(bench.store.deeds(SEASON, "E001").await.unwrap(), list);
    assert_eq!(bench.store.deeds(SEASON, "E002").await.unwrap(), list[..1]);
    assert_eq!(bench.store.deeds(SEASON, "E003").await.unwrap(), []);
    // Each is in the record once, by refs and row ids only, and the chain holds.
    assert_eq!(bench.ledger_lines().await, lines + 8);
    assert_eq!(verify_ledger(&*bench.store, SEASON).await, Ok(lines + 8));
    let told: Vec<_> = bench.store.ledger(SEASON, lines, 100).await.unwrap();
    assert!(told.iter().all(|line| line.entry.kind == "deed" && line.words.is_none()));
    assert_eq!(told[2].entry.about, "act=held event=E001 minutes=4 number=N001 other=- seq=3");
    assert_eq!(told[3].entry.about, "act=cut event=E001 minutes=0 number=N001 other=N002 seq=4");
    assert_eq!(told[2].entry.at, list[2].at);
}

async fn who_is_not_coming_is_kept_act_by_act(engine: Engine<'_>) {
    let bench = with_season(engine).await;
    let act = |away, by: &str| NewAbsence {
        child: "C001".to_owned(),
        event: "E001".to_owned(),
        away,
        said_by: "G001".to_owned(),
        noted_by: by.to_owned(),
    };
    let delta = Delta::default();
    let set =
        async |away, by| bench.store.set_away(SEASON, &act(away, by), &[], &delta, now()).await.unwrap();
    let before = bench.store.pulse(SEASON).await.unwrap();
    assert!(set(true, "V001").await);
    assert!(!set(true, "coordinator").await, "it was so already");
    let kept = bench.store.history(SEASON).await.unwrap();
    assert_eq!(kept.pulse, before + 1);
    assert_eq!((kept.absences.len(), kept.absences[0].away), (1, true));
    assert_eq!((kept.absences[0].noted_by.as_str(), kept.absences[0].said_by.as_str()), ("V001", "G001"));
    assert!(set(false, "coordinator").await);
    let kept = bench.store.history(SEASON).await.unwrap();
    assert_eq!((kept.absences.len(), kept.absences[0].away), (1, false));
    assert!(set(true, "coordinator").await);
    let ledger = bench.store.ledger(SEASON, 0, 1_000).await.unwrap();
    let kinds: Vec<&str> = ledger.iter().map(|line| line.entry.kind.as_str()).collect();
    let of = |kind: &str| kinds.iter().filter(|one| **one == kind).count();
    assert_eq!((of("not_coming"), of("coming_after_all")), (2, 1));
}

async fn the_ledger_shows_every_changed_byte_and_survives_erasing_a_person(engine: Engine<'_>) {
    const CHANGES: [(&str, &str); 5] = [
        ("at", "UPDATE ledger SET at_ms = at_ms + 1 WHERE seq = $1"),
        ("kind", "UPDATE ledger SET kind = kind || 'x' WHERE seq = $1"),
        ("about", "UPDATE ledger SET about = 'X' || substr(about, 2) WHERE seq = $1"),
        ("digest", "UPDATE ledger SET digest = digest || '0' WHERE seq = $1"),
        ("hash", "UPDATE ledger SET hash = 'f' || substr(hash, 1, 63) WHERE seq = $1"),
    ];
    for (what, change) in CHANGES {
        let bench = with_words(engine).await;
        let lines = bench.ledger_lines().await;
        assert_eq!(verify_ledger(&*bench.store, SEASON).await, Ok(lines));
        assert_eq!(bench.raw(change, vec![3_i64.into()]).await, 1);
        let fault = verify_ledger(&*bench.store, SEASON).await.unwrap_err();
        assert!(fault.contains("line 3 "), "{what}: {fault}");
    }
    let bench = with_words(engine).await;
    let other = "UPDATE ledger_words SET words = words || '.' WHERE seq = $1";
    assert_eq!(bench.raw(other, vec![3_i64.into()]).await, 1);
    let fault = verify_ledger(&*bench.store, SEASON).await.unwrap_err();
    assert!(fault.contains("line 3 "), "{fault}");
    bench.raw("DELETE FROM ledger_words WHERE person = $1", vec!["G001".into()]).await;
    bench.raw("DELETE FROM person_salt WHERE person = $1", vec!["G001".into()]).await;
    let lines = bench.ledger_lines().await;
    assert_eq!(verify_ledger(&*bench.store, SEASON).await, Ok(lines), "erased, and still whole");
    let left = bench.store.ledger(SEASON, 0, 100).await.unwrap();
    assert!(left.iter().all(|line| line.words.is_none()));
}

/// A season set going, an attempt with words and two answers with words: five lines.
async fn with_words(engine: Engine<'_>) -> Bench {
    let bench = with_season(engine).await;
    bench.add(vec![message("k", Channel::Mail)]).await;
    let claimed = bench.claim(Channel::Mail, now()).await.remove(0);
    bench.attempt(&claimed, now()).await;
    for external in ["x", "y"] {
        let answer = said(external, "We will be five minutes late.");
        assert!(bench.store.answer(SEASON, &[answer], &Delta::default(), now()).await.unwrap());
    }
    assert_eq!(bench.ledger_lines().await, 5);
    bench
}

async fn a_database_of_a_newer_program_is_refused_in_one_line(engine: Engine<'_>) {
    let bench = fresh(engine).await;
    bench
            .raw(
                "INSERT INTO _sqlx_migrations (version, description, installed_on, success, checksum, execution_time) \
                 VALUES ($1, 'later', CURRENT_TIMESTAMP, TRUE, '', 0)",
                vec![999_999_i64.into()],
            )
            .await;
    bench.store.close().await;
    match SqlStore::open(&bench.url, Seeded::boxed(1, "salts")).await {
        Err(StoreFault::Refused(line)) => {
            assert!(line.contains("newer program") && line.contains("999999"), "{line}");
            assert!(!line.contains('\n'), "{line}");
        }
        Err(other) => panic!("{other}"),
        Ok(_) => panic!("it was opened"),
    }
}

/// Columns of a database in order, and whether each is always filled; types by SQLite's names.
const COLUMNS_SQLITE: &str = "SELECT m.name, c.name, c.type, c.\"notnull\" + c.pk > 0 FROM sqlite_schema m \
     JOIN pragma_table_info(m.name) c WHERE m.type = 'table' AND m.name NOT LIKE '\\_%' ESCAPE '\\' \
     AND m.name NOT LIKE 'sqlite%' ORDER BY m.name, c.cid";
const COLUMNS_POSTGRES: &str = "SELECT CAST(table_name AS TEXT), CAST(column_name AS TEXT), CASE data_type \
     WHEN 'bigint' THEN 'INTEGER' WHEN 'text' THEN 'TEXT' WHEN 'bytea' THEN 'BLOB' ELSE CAST(data_type AS TEXT) END, \
     CAST(CASE WHEN is_nullable = 'NO' THEN 1 ELSE 0 END AS BIGINT) FROM information_schema.columns \
     WHERE table_schema = 'public' AND table_name NOT LIKE '\\_%' ORDER BY table_name COLLATE \"C\", ordinal_position";

async fn columns(engine: Engine<'_>) -> Vec<(String, String, String, i64)> {
    let bench = fresh(engine).await;
    let text = match engine {
        Engine::Sqlite => COLUMNS_SQLITE,
        Engine::Postgres(_) => COLUMNS_POSTGRES,
    };
    let rows = bench.store.db().fetch(Statement { text, binds: 0 }, vec![]).await.unwrap();
    rows.iter()
        .map(|r| (r.text(0).unwrap(), r.text(1).unwrap(), r.text(2).unwrap(), r.int(3).unwrap()))
        .collect()
}

#[tokio::test]
async fn both_databases_have_the_same_columns() {
    let Some(cluster) = database::server("both_databases_have_the_same_columns") else { return };
    let (file, server) = (columns(Engine::Sqlite).await, columns(Engine::Postgres(&cluster)).await);
    assert!(file.len() > 80 && file.iter().all(|(.., filled)| *filled == 1), "{file:?}");
    assert_eq!(file, server);
}

async fn a_hundred_thousand_messages_are_stored_in_time(engine: Engine<'_>) {
    let bench = with_season(engine).await;
    let messages: Vec<_> = (0..100_000).map(|n| message(&format!("{n:032x}"), Channel::Mail)).collect();
    let delta = Delta { add: messages, ..Delta::default() };
    let begun = std::time::Instant::now();
    bench.store.reconcile(SEASON, &delta, now()).await.unwrap();
    let seconds = begun.elapsed().as_secs_f64();
    println!("100,000 messages stored in {seconds:.2} s");
    assert_eq!(bench.one("SELECT COUNT(*) FROM message_part").await, 100_000);
    assert!(seconds < STORING_SECONDS_MAX, "{seconds} s");
}
