//! Long sequences of actions at random, taken back at random: after each the office stands where a fresh one would.

use super::house::House;
use super::season::{add, book};
use allheard::demo::dice::Dice;
use allheard::domain::board::Board;
use allheard::domain::book::Book;
use allheard::domain::edit::{ContactText, Edit, GuardianText, Joining, Moved, Substitute};
use allheard::domain::graph::State;
use allheard::domain::plan::plan;
use allheard::domain::reading;
use allheard::domain::season::{Event, Slot};
use allheard::domain::standing::{Standing, standing};
use allheard::service::bringing::Bringing;
use allheard::service::office::rebuild;
use allheard::service::planning::Planned;
use allheard::service::ports::{Hand, LinkKind, NewAttempt, NewLink, Store as _, StoredMessage};
use jiff::{SignedDuration, Timestamp};
use std::collections::BTreeMap;

/// Actions of the long sequence, and of the others.
const ACTIONS: usize = 1_000;
const FEWER: usize = 100;
/// Children at most and at least, so that the season stays small.
const CHILDREN: std::ops::RangeInclusive<usize> = 4..=8;
/// Chaperones at most.
const CHAPERONES: usize = 5;
const GIVEN: [&str; 6] = ["Flo", "Gil", "Hana", "Ivo", "Jun", "Kai"];

type Standings = BTreeMap<[String; 3], Standing>;

/// An attempt as the sender would write it down.
pub fn attempt(message: &StoredMessage) -> NewAttempt {
    NewAttempt {
        message: message.id,
        fence: message.fence,
        number: message.attempts + 1,
        channel: message.channel,
        address: "may@example.org".to_owned(),
        reference: message.key.clone(),
        words: "old words".to_owned(),
        link: NewLink {
            hash: format!("hash {}", message.id),
            kind: LinkKind::Guardian,
            message: message.id,
            chaperone: String::new(),
            expires: message.until,
            made: Timestamp::UNIX_EPOCH,
            parent: String::new(),
        },
        stop: None,
        told: Vec::new(),
        forms: Vec::new(),
        household: message.household.clone(),
        guardians: message.guardians.clone(),
    }
}

fn season() -> Book {
    let mut book = book();
    for row in &mut book.sheet_mut("children").rows {
        row.set("guardian 1 texts", "yes");
    }
    for (row, mail) in
        book.sheet_mut("chaperones").rows.iter_mut().zip(["noor@example.org", "ewa@example.org"])
    {
        row.set("e-mail", mail);
    }
    for (kind, to, wording, days) in [
        ("dress rehearsal", "chaperones", "duty", "6"),
        ("dress rehearsal", "not heard from", "reminder", "3"),
        ("show", "everyone", "call-sheet", "6"),
        ("show", "not heard from", "reminder", "2"),
    ] {
        let name = format!("{kind} to {to}");
        let by = if wording == "reminder" { "text" } else { "mail and text" };
        let cells = [
            ("name", name.as_str()),
            ("about", kind),
            ("to", to),
            ("counted from", "call"),
            ("days before", days),
            ("at", "12:00"),
            ("by", by),
            ("answer owed", "yes"),
            ("wording", wording),
        ];
        add(&mut book, "notices", &cells);
    }
    book
}

fn standings(board: &Board, record: &allheard::domain::record::Record) -> Standings {
    let season = &board.season;
    let mut out = Standings::new();
    for care in &season.cares {
        for at in board.programme.of_person(care.who) {
            let item = allheard::domain::board::Item { who: care.who, event: Some(at.event) };
            let (who, event) = board.item_refs(item);
            let guardian = &season.guardians[care.guardian.at()].reference;
            let key = [guardian.clone(), who.to_owned(), event.to_owned()];
            out.insert(key, standing(board, record, care.guardian, item));
        }
    }
    out
}

/// What happened, counted.
#[derive(Debug, Default)]
struct Counts {
    done: usize,
    undone: usize,
    refused: usize,
    restored: usize,
    planned: usize,
    answers: usize,
}

struct Play {
    house: House,
    dice: Dice,
    seed: u64,
    now: Timestamp,
    joined: usize,
    counts: Counts,
}

impl Play {
    async fn new(seed: u64) -> Play {
        let house = House::empty().await;
        let bringing = house.office.preview(season(), Vec::new()).await.unwrap();
        house.office.bring(&bringing).await.unwrap();
        assert!(house.office.set_going(Hand::Command).await.unwrap());
        let now: Timestamp = "2027-05-28T08:50:00Z".parse().unwrap();
        house.clock.set(&now.to_string());
        let dice = Dice::new(seed, "edits");
        Play { house, dice, seed, now, joined: 0, counts: Counts::default() }
    }

    fn one<'a, T>(&mut self, list: &'a [T]) -> &'a T {
        &list[self.dice.below(list.len())]
    }

    async fn board(&self) -> std::sync::Arc<Board> {
        self.house.office.desk().await.unwrap().board.clone()
    }

    /// The standings as the office has them in memory.
    async fn standings(&self) -> Standings {
        let desk = self.house.office.desk().await.unwrap();
        standings(&desk.board, &desk.record)
    }

    async fn edit(&mut self) -> Edit {
        let board = self.board().await;
        let season = &board.season;
        let stored = self.house.office.store.season().await.unwrap().unwrap();
        let event: &Event = self.one(&season.events);
        let reference = event.reference.clone();
        let hour = 16 + self.dice.below(2);
        match self.dice.below(11) {
            0 if event.cancelled => Edit::Reinstate { event: reference },
            0 => Edit::CallOff { event: reference },
            1 | 2 => {
                let call = format!("{hour}:{:02}", self.dice.below(4) * 15);
                Edit::Move { event: reference, to: Moved { call: Some(call), ..Moved::default() } }
            }
            3 => {
                let numbers = event.order.iter().filter_map(|slot| match slot {
                    Slot::Number { number, .. } => Some(season.numbers[number.at()].reference.clone()),
                    Slot::Interval(_) => None,
                });
                let numbers: Vec<String> = numbers.collect();
                Edit::Cut { number: self.one(&numbers).clone(), events: vec![reference] }
            }
            4 if season.children.len() > *CHILDREN.start() => {
                Edit::Leaves { child: self.one(&season.children).reference.clone() }
            }
            4 | 5 if season.children.len() < *CHILDREN.end() => {
                self.joined += 1;
                let mail = format!("joined{}@example.org", self.joined);
                let guardian = GuardianText {
                    name: format!("Adult Marsh{}", self.joined),
                    contact: ContactText { mail, ..ContactText::default() },
                    brings: "yes".to_owned(),
                    ..GuardianText::default()
                };
                Edit::Joins(Box::new(Joining {
                    given: (*self.one(&GIVEN)).to_owned(),
                    family: format!("Marsh{}", self.joined),
                    numbers: "Harbour Bells".to_owned(),
                    guardians: vec![guardian],
                    ..Joining::default()
                }))
            }
            4..=6 => {
                let numbers = *self.one(&["Harbour Bells", "Paper Boats", "Harbour Bells; Paper Boats"]);
                let child = self.one(&season.children).reference.clone();
                Edit::Dances { child, numbers: numbers.to_owned() }
            }
            7 => {
                let person = self.one(&season.guardians).reference.clone();
                let mut by = ContactText::of(&stored.book, &person).unwrap();
                match self.dice.below(3) {
                    0 => by.mobile = format!("07700 9001{:02}", self.dice.below(100)),
                    1 => by.mail = format!("other{}@example.org", self.dice.below(100)),
                    _ => by.texts = (*self.one(&["yes", "no", ""])).to_owned(),
                }
                Edit::Reached { person, by: Box::new(by) }
            }
            8 => {
                let by = if season.chaperones.len() < CHAPERONES && self.dice.chance(0.3) {
                    self.joined += 1;
                    let mail = format!("helper{}@example.org", self.joined);
                    Substitute::New {
                        name: format!("Helper Hale{}", self.joined),
                        contact: ContactText { mail, ..ContactText::default() },
                        adult: "yes".to_owned(),
                        vetted_until: String::new(),
                    }
                } else {
                    Substitute::Known(self.one(&season.chaperones).reference.clone())
                };
                let chaperone = self.one(&season.chaperones).reference.clone();
                let event = self.dice.chance(0.5).then_some(reference);
                Edit::Replace { chaperone, event, by: Box::new(by) }
            }
            9 if event.decide_by.is_some() => Edit::GoesOn { event: reference },
            9 => Edit::Decide { event: reference, by: format!("{hour}:00") },
            _ => Edit::Door {
                place: season.places[0].reference.clone(),
                door: (*self.one(&["stage door", "river door", "glass door"])).to_owned(),
                collect_at: String::new(),
            },
        }
    }

    /// Takes in what was looked at; what the look foresaw is what comes of it.
    async fn take(&mut self, bringing: &Bringing) {
        let brought = self.house.office.bring(bringing).await.unwrap();
        let foreseen = &bringing.foreseen;
        let counts = Planned {
            added: foreseen.added.len(),
            withdrawn: foreseen.withdrawn.len(),
            moved: foreseen.moved.len(),
        };
        assert_eq!(brought.planned, counts, "seed {}: {}", self.seed, bringing.what);
        self.counts.planned += brought.planned.added + brought.planned.withdrawn + brought.planned.moved;
    }

    /// Everything stored is read by nobody who was there before, and planned anew.
    async fn afresh(&self, after: &str) {
        let office = &self.house.office;
        let stored = office.store.season().await.unwrap().unwrap();
        let (season, problems) = reading::season(&stored.book);
        let board = Board::of(season.unwrap_or_else(|| panic!("seed {}, {after}: {problems:?}", self.seed)));
        let history = office.store.history(stored.id).await.unwrap();
        let record = rebuild(&board, &history, stored.revised_at);
        assert_eq!(self.standings().await, standings(&board, &record), "seed {}: {after}", self.seed);
        let mut wanted: Vec<_> = plan(&board, &record, office.now())
            .into_iter()
            .map(|want| (want.key, want.due, want.until, want.at_once))
            .collect();
        let open = office.store.open_messages(stored.id, None).await.unwrap();
        assert!(open.iter().all(|message| message.state == State::Planned));
        let mut open: Vec<_> = open
            .into_iter()
            .map(|message| (message.key, message.due, message.until, message.at_once))
            .collect();
        wanted.sort();
        open.sort();
        assert_eq!(open, wanted, "seed {}: {after}", self.seed);
    }

    /// Time passes: what is due is sent, and somebody may answer.
    async fn live(&mut self) {
        self.now += SignedDuration::from_mins(20 + self.dice.below(60) as i64);
        self.house.clock.set(&self.now.to_string());
        self.house.send().await;
        let board = self.board().await;
        let guardian = self.one(&board.season.guardians);
        let Some(mail) = guardian.contact.mail_to().filter(|mail| self.house.has_mail(mail)) else { return };
        let path = format!("/r/{}", self.house.token(mail));
        let page = self.house.get(&path).await;
        for (item, seen) in page.hidden("item").iter().zip(page.hidden("fingerprint")) {
            self.house.post(&path, &[("item", item), ("fingerprint", &seen), ("act", "heard")]).await;
            self.counts.answers += 1;
        }
    }

    async fn play(mut self, actions: usize) -> Counts {
        let office = self.house.office.clone();
        // What stood before the latest action, while nothing was told or answered since.
        let mut before: Option<(i64, Standings)> = None;
        for _ in 0..actions {
            if self.dice.chance(0.12) {
                self.live().await;
                before = None;
            }
            office.plan_tick().await.unwrap();
            let revision = office.store.season().await.unwrap().unwrap().revision;
            let stood = self.standings().await;
            if revision > 1 && self.dice.chance(0.3) {
                let bringing = office.preview_undo(revision).await.unwrap().unwrap();
                if bringing.has_errors() || !bringing.holds.is_empty() {
                    self.counts.refused += 1;
                    continue;
                }
                self.take(&bringing).await;
                self.counts.undone += usize::from(!bringing.changes.is_empty());
                self.afresh(&bringing.what).await;
                if let Some((made, then)) = before.take().filter(|(made, _)| *made == revision) {
                    assert_eq!(self.standings().await, then, "seed {}: revision {made} undone", self.seed);
                    self.counts.restored += 1;
                }
                continue;
            }
            let edit = self.edit().await;
            let bringing = match office.preview_edit(&edit).await.unwrap() {
                Ok(bringing) if !bringing.has_errors() && bringing.holds.is_empty() => bringing,
                _ => {
                    self.counts.refused += 1;
                    continue;
                }
            };
            assert_eq!(bringing.questions, vec![], "seed {}: {edit:?}", self.seed);
            self.take(&bringing).await;
            self.counts.done += usize::from(!bringing.changes.is_empty());
            self.afresh(&bringing.what).await;
            before = (!bringing.changes.is_empty()).then_some((revision + 1, stood));
        }
        self.counts
    }
}

async fn check(seed: u64, actions: usize) {
    let counts = Play::new(seed).await.play(actions).await;
    println!("seed {seed}: {counts:?}");
    assert!(counts.done * 3 > actions && counts.undone * 6 > actions, "{counts:?}");
    assert!(counts.restored > 0 && counts.planned > actions / 4 && counts.answers > 0, "{counts:?}");
}

#[tokio::test]
async fn after_a_thousand_actions_and_their_undoing_all_stands_as_planned_afresh() {
    check(1, ACTIONS).await;
}

#[tokio::test]
async fn other_sequences_end_no_otherwise() {
    for seed in 2..5 {
        check(seed, FEWER).await;
    }
}
