//! Bringing a workbook: first what it would change, then, if a person says so, taking it in.

use super::office::{Office, OfficeFault};
use super::planning::Planned;
use super::ports::{Gateway, Store};
use crate::domain::board::{Board, NO_EVENT};
use crate::domain::book::{Book, Problem, Weight};
use crate::domain::changes::{Change, changes};
use crate::domain::facts::{Difference, Field};
use crate::domain::layout::{GUARDIAN_LETTER, SHEETS, setting_text};
use crate::domain::reading;
use crate::domain::record::Record;
use crate::domain::refs::{self, Question};
use crate::domain::season::Series;
use crate::domain::standing::heard;
use jiff::Timestamp;
use std::collections::BTreeMap;

/// The answer that a line is a new one, and none known before.
pub const NEW_LINE: &str = "new";

/// Answers to questions about lines: by [`question_key`], a ref or [`NEW_LINE`].
pub type Replies = BTreeMap<String, String>;

/// What a workbook would do, made against one revision of the season.
#[derive(Debug, Clone)]
pub struct Bringing {
    /// The workbook with every ref filled in that is certain.
    pub book: Book,
    /// Everything wrong with it, errors first.
    pub problems: Vec<Problem>,
    /// What only a person can decide before it may be taken in.
    pub questions: Vec<Question>,
    /// What it changes; nothing for the same workbook again.
    pub changes: Vec<Change>,
    /// Which acknowledgements it withdraws.
    pub falls: Vec<Fall>,
    /// Children before and after.
    pub children: (usize, usize),
    /// The revision it was made against; 0 for the first workbook of all.
    pub revision: i64,
}

impl Bringing {
    /// Whether a problem forbids taking it in.
    pub fn has_errors(&self) -> bool {
        self.problems.iter().any(|p| p.weight == Weight::Error)
    }

    /// Whether fewer than half the children are left: more often a slip than a wish.
    pub fn is_halved(&self) -> bool {
        self.children.1 * 2 < self.children.0
    }
}

/// Acknowledgements of one event that fall for one reason.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Fall {
    /// Ref of the event, or [`NO_EVENT`] for the season's house rules.
    pub event: String,
    /// Name of the event; empty for the season's house rules.
    pub name: String,
    /// Which published facts change, in words.
    pub what: String,
    /// Full names of the children.
    pub children: Vec<String>,
    /// How many acknowledgements: guardians and children.
    pub count: usize,
}

/// What taking a workbook in did.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Brought {
    /// The revision in force.
    pub revision: i64,
    /// Things it changed; 0 when it was the same workbook again and nothing was written.
    pub changed: usize,
    /// What planning did afterwards.
    pub planned: Planned,
}

/// Why a workbook was not taken in.
#[derive(Debug, thiserror::Error)]
pub enum BringFault {
    /// It has errors.
    #[error("the workbook has {0} errors; mend them and bring it again")]
    Errors(usize),
    /// Questions are open.
    #[error("{0} questions about its lines are open; answer them first")]
    Questions(usize),
    /// Another workbook was taken in meanwhile.
    #[error("another workbook was taken in since this one was looked at; look at what it changes again")]
    Moved,
    /// The office cannot work.
    #[error(transparent)]
    Office(#[from] OfficeFault),
}

/// Names a question within one workbook, such as `children/14/ref`.
pub fn question_key(question: &Question) -> String {
    format!("{}/{}/{}", question.sheet, question.row, question.column)
}

impl<S: Store, G: Gateway> Office<S, G> {
    /// What a workbook would change. `found` are the problems met while its file was read. Writes nothing.
    pub async fn preview(&self, book: Book, found: Vec<Problem>) -> Result<Bringing, OfficeFault> {
        self.preview_answered(book, found, &Replies::new()).await
    }

    /// As [`Office::preview`], with answers to questions an earlier look asked.
    pub async fn preview_answered(
        &self,
        mut book: Book,
        found: Vec<Problem>,
        replies: &Replies,
    ) -> Result<Bringing, OfficeFault> {
        let stored = self.store.season().await?;
        let previous = stored.as_ref().map(|s| &s.book);
        let questions = adopted(&mut book, previous, replies);
        let (season, read) = reading::season(&book);
        let children = (previous.map_or(0, |old| old.rows("children").len()), book.rows("children").len());
        let mut bringing = Bringing {
            problems: merged(found, read),
            changes: changes(previous.unwrap_or(&Book::default()), &book),
            questions,
            falls: Vec::new(),
            children,
            revision: stored.as_ref().map_or(0, |s| s.revision),
            book,
        };
        if bringing.is_halved() {
            bringing.problems.push(halved(children));
        }
        bringing.problems.sort_by_key(|p| p.weight);
        if let Some(season) = season
            && stored.is_some()
        {
            let new = Board::of(season);
            match self.desk().await {
                Ok(desk) => {
                    bringing.falls = falls(&desk.board, &desk.record, &new);
                    bringing.problems.extend(dropped(&desk.board, &new, self.now()));
                }
                // A stored workbook that no longer reads has nobody to ask again; the new one mends it.
                Err(OfficeFault::NoSeason | OfficeFault::Workbook(_)) => {}
                Err(fault) => return Err(fault),
            }
        }
        Ok(bringing)
    }

    /// Takes a workbook in and plans anew. The same workbook again writes nothing.
    pub async fn bring(&self, bringing: &Bringing) -> Result<Brought, BringFault> {
        let errors = bringing.problems.iter().filter(|p| p.weight == Weight::Error).count();
        if errors > 0 {
            return Err(BringFault::Errors(errors));
        }
        if !bringing.questions.is_empty() {
            return Err(BringFault::Questions(bringing.questions.len()));
        }
        let stored = self.store.season().await.map_err(OfficeFault::from)?;
        if stored.map_or(0, |s| s.revision) != bringing.revision {
            return Err(BringFault::Moved);
        }
        if bringing.changes.is_empty() {
            return Ok(Brought { revision: bringing.revision, changed: 0, planned: Planned::default() });
        }
        let reference = setting_text(&bringing.book, "ref").to_uppercase();
        let taken = self.store.put_season(&reference, &bringing.book, bringing.revision, self.now()).await;
        if !taken.map_err(OfficeFault::from)? {
            return Err(BringFault::Moved);
        }
        let planned = self.plan_tick().await?;
        Ok(Brought { revision: bringing.revision + 1, changed: bringing.changes.len(), planned })
    }
}

/// Days to come that fall out of a line that comes round again: unlike those called off, nobody is told of them.
fn dropped(old: &Board, new: &Board, now: Timestamp) -> Vec<Problem> {
    let gone = |series: &Series| {
        let events = series.events.iter().filter(|id| old.season.curtain_up(**id) > now);
        let events = events.map(|id| &old.season.events[id.at()]);
        let gone = events.filter(|event| !event.cancelled && new.event(&event.reference).is_none());
        gone.map(|event| event.date.to_string()).collect::<Vec<_>>()
    };
    let told = |series: &Series| {
        let dates = gone(series);
        (!dates.is_empty()).then(|| Problem {
            weight: Weight::Warning,
            sheet: "events".to_owned(),
            row: None,
            column: Some("repeats".to_owned()),
            reason: format!(
                "'{}' no longer has {}, and families who know of it are told nothing",
                series.name,
                dates.join(", ")
            ),
            cure: "Keep the day in the rule and write it in 'not on': then it is called off and families are told.".to_owned(),
        })
    };
    old.season.series.iter().filter_map(told).collect()
}

/// Gives the workbook its refs and leaves the questions that the replies do not answer.
fn adopted(book: &mut Book, previous: Option<&Book>, replies: &Replies) -> Vec<Question> {
    for sheet in &mut book.sheets {
        let name = sheet.name.clone();
        for row in &mut sheet.rows {
            let prefix = format!("{name}/{}/", row.number);
            for (key, reply) in replies.iter().filter(|(key, _)| key.starts_with(&prefix)) {
                let text = if reply == NEW_LINE { "" } else { reply.as_str() };
                row.set(&key[prefix.len()..], text);
            }
        }
    }
    let mut open = Vec::new();
    for question in refs::adopt(book, previous) {
        let settled = replies.get(&question_key(&question)).is_some_and(|reply| reply == NEW_LINE);
        if !(settled && number_new_line(book, previous, &question)) {
            open.push(question);
        }
    }
    open
}

/// Gives a line that is said to be new the next free ref of its sheet; false if there is no such line.
fn number_new_line(book: &mut Book, previous: Option<&Book>, question: &Question) -> bool {
    let letter = match SHEETS.iter().find(|s| s.name == question.sheet).and_then(|s| s.letter) {
        Some(letter) if question.column == "ref" => letter,
        _ => GUARDIAN_LETTER,
    };
    let number = |text: &str| text.strip_prefix(letter).and_then(|digits| digits.parse::<u64>().ok());
    let highest = |book: &Book| {
        let rows = book.rows(&question.sheet).iter();
        rows.filter_map(|row| number(row.text(&question.column))).max().unwrap_or(0)
    };
    let next = highest(book).max(previous.map_or(0, highest)) + 1;
    let rows = &mut book.sheet_mut(&question.sheet).rows;
    let Some(row) = rows.iter_mut().find(|row| row.number == question.row) else { return false };
    row.set(&question.column, format!("{letter}{next:03}"));
    true
}

/// Problems of the file and of what it says; that a column missing as a whole is empty in each line is not told again.
fn merged(found: Vec<Problem>, read: Vec<Problem>) -> Vec<Problem> {
    let told = |p: &Problem| {
        found.iter().any(|q| {
            q.weight == Weight::Error
                && q.sheet == p.sheet
                && q.row.is_none()
                && (q.column == p.column || q.column.is_none())
        })
    };
    let read: Vec<Problem> =
        read.into_iter().filter(|p| !(p.reason.ends_with("is empty") && told(p))).collect();
    found.into_iter().chain(read).collect()
}

fn halved((before, after): (usize, usize)) -> Problem {
    Problem {
        weight: Weight::Warning,
        sheet: "children".to_owned(),
        row: None,
        column: None,
        reason: format!("{after} children stand here where there were {before}"),
        cure: "Look whether lines were lost; take the workbook only if so many children have left."
            .to_owned(),
    }
}

/// The acknowledgements in force that the facts of another season withdraw, by event and by what changes.
fn falls(old: &Board, record: &Record, new: &Board) -> Vec<Fall> {
    let mut groups: BTreeMap<(usize, String, String), (Vec<String>, usize)> = BTreeMap::new();
    let mut answered: Vec<_> = record.answers.keys().copied().collect();
    answered.sort();
    for (guardian, item) in answered {
        if heard(old, record, guardian, item).is_none() {
            continue;
        }
        let (child, event) = old.item_refs(item);
        // A child or an event that is gone is not asked about again.
        let Some(then) = new.item(child, event) else { continue };
        if new.fingerprint(then) == old.fingerprint(item) {
            continue;
        }
        let what = difference_words(&old.facts(item).changes_to(&new.facts(then)));
        let order = item.event.map_or(usize::MAX, |e| e.at());
        let (names, count) = groups.entry((order, event.to_owned(), what)).or_default();
        let name = old.season.full_name(item.who);
        if !names.contains(&name) {
            names.push(name);
        }
        *count += 1;
    }
    groups
        .into_iter()
        .map(|((_, event, what), (children, count))| Fall {
            name: old.event(&event).map(|e| old.season.events[e.at()].name.clone()).unwrap_or_default(),
            event: if event.is_empty() { NO_EVENT.to_owned() } else { event },
            what,
            children,
            count,
        })
        .collect()
}

fn difference_words(differences: &[Difference]) -> String {
    let words: Vec<String> = differences
        .iter()
        .map(|d| {
            let name = match d.field {
                Field::Cancelled => return "called off, or back on".to_owned(),
                Field::Rules => return "house rules".to_owned(),
                Field::Date => "date",
                Field::Place => "place",
                Field::Door => "door",
                Field::Call => "call",
                Field::ParkBy => "park by",
                Field::Ready => "how to arrive",
                Field::Bring => "what to bring",
                Field::TurnIn => "turn-in",
                Field::CollectAt => "where to collect",
                Field::CollectFrom => "collect not before",
                Field::Briefing => "briefing",
                Field::Station => "at her place",
                Field::Until => "over",
                Field::Numbers => "numbers",
                Field::Task => "task",
                Field::SignsIn => "signs in",
                Field::SignsOut => "signs out",
            };
            match (d.old.as_str(), d.new.as_str()) {
                ("", new) => format!("{name} {new}"),
                (_, "") => format!("no {name} any more"),
                (old, new) => format!("{name} {old} becomes {new}"),
            }
        })
        .collect();
    // Everything else goes when an event is called off; saying so once is enough.
    match words.iter().find(|w| w.starts_with("called off")) {
        Some(off) => off.clone(),
        None => words.join(", "),
    }
}
