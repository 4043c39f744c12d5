//! Bringing a workbook: first what it would change, then, if a person says so, taking it in.

use super::falling::{Fall, falls};
use super::foreseeing::{Foreseen, Papers, papers};
use super::office::{InForce, Office, OfficeFault, Ready};
use super::planning::Planned;
use super::ports::{Gateway, Store, StoredSeason};
use crate::domain::board::Board;
use crate::domain::book::{Book, Problem, Weight};
use crate::domain::changes::{Change, ChangeKind, changes};
use crate::domain::holds::{Hold, holds};
use crate::domain::layout::{self, GUARDIAN_LETTER, SHEETS, setting_text};
use crate::domain::reading::translations::unworded;
use crate::domain::reading::{self, Reading};
use crate::domain::refs::{self, Given, Question};
use crate::domain::season::{Ref, Season, Series};
use crate::domain::summary;
use crate::domain::touched::{Touched, touched};
use jiff::Timestamp;
use std::collections::{BTreeMap, BTreeSet};
use std::sync::Arc;

/// The answer that a line is a new one, and none known before.
pub const NEW_LINE: &str = "new";

/// By which action a workbook changes the season, where nothing more is said.
const WORKBOOK: &str = "the workbook was brought";

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
    /// Whom it touches.
    pub people: TouchedPeople,
    /// Which sheets are to be printed again, by event.
    pub papers: Vec<Papers>,
    /// What happens to messages.
    pub foreseen: Foreseen,
    /// Rosters it empties or halves; while there are any it is taken in only after a second look.
    pub holds: Vec<Hold>,
    /// By which action, in a few words.
    pub what: String,
    /// The season in a few sentences, where it is the first workbook of all.
    pub summary: Vec<String>,
    /// Children before and after.
    pub children: (usize, usize),
    /// The revision it was made against; 0 for the first workbook of all.
    pub revision: i64,
    /// The season it makes, where one is in force already.
    pub(super) ready: Option<Ready>,
}

impl Bringing {
    /// Whether a problem forbids taking it in.
    pub fn has_errors(&self) -> bool {
        self.problems.iter().any(|p| p.weight == Weight::Error)
    }

    /// Lines that go: what the second look has to be told.
    pub fn going(&self) -> usize {
        self.changes.iter().filter(|change| change.kind == ChangeKind::Gone).count()
    }
}

/// Whom a change touches, by full names in order.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct TouchedPeople {
    /// Children whose day or line is another.
    pub children: Vec<String>,
    /// Their guardians, and those who are reached in another way.
    pub guardians: Vec<String>,
    /// Chaperones whose duties or line are others.
    pub chaperones: Vec<String>,
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
    /// Another change was taken in meanwhile.
    #[error("the season was changed since this was looked at; look at what it changes again")]
    Moved,
    /// Rosters are emptied or halved, and nobody has looked a second time.
    #[error("{words}; it is taken in only after a second look that names the {going} lines that go")]
    Held {
        /// Which rosters.
        words: String,
        /// How many lines go.
        going: usize,
    },
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
        let in_force = self.in_force().await?;
        let previous = in_force.as_ref().map(|one| (&one.stored.book, &one.stored.given));
        let questions = adopted(&mut book, previous, replies);
        self.look(in_force.as_ref(), book, found, questions).await
    }

    /// What a workbook with its refs would change in the one in force.
    pub(super) async fn look(
        &self,
        in_force: Option<&InForce>,
        book: Book,
        found: Vec<Problem>,
        questions: Vec<Question>,
    ) -> Result<Bringing, OfficeFault> {
        let none = Book::default();
        let stored = in_force.map(|one| &*one.stored);
        let previous = stored.map_or(&none, |s| &s.book);
        let Reading { season, programme, problems: read, kept } =
            reading::read(&book, in_force.map(InForce::before));
        let mut read = read;
        read.extend(season.as_ref().and_then(|season| unworded(season, &self.wording.languages())));
        let warnings = Arc::new(read.clone());
        let children = (previous.rows("children").len(), book.rows("children").len());
        let mut bringing = Bringing {
            problems: reading::causes::told(&book, found, read),
            changes: changes(previous, &book),
            questions,
            falls: Vec::new(),
            people: TouchedPeople::default(),
            papers: Vec::new(),
            foreseen: Foreseen::default(),
            holds: holds(previous, &book),
            what: WORKBOOK.to_owned(),
            summary: season.as_ref().filter(|_| stored.is_none()).map(summary::lines).unwrap_or_default(),
            children,
            revision: stored.map_or(0, |s| s.revision),
            ready: None,
            book,
        };
        let held = bringing.holds.iter().map(held).collect::<Vec<_>>();
        bringing.problems.extend(held);
        bringing.problems.sort_by_key(|p| p.weight);
        let (Some(season), Some(stored)) = (season, stored) else { return Ok(bringing) };
        let before = in_force.and_then(|one| one.board.as_deref());
        let new = Arc::new(Board::with(season, programme, before));
        let mut desk = match self.desk().await {
            Ok(desk) => desk,
            // A stored workbook that no longer reads has nobody to ask again; the new one mends it.
            Err(OfficeFault::NoSeason | OfficeFault::Workbook(_)) => return Ok(bringing),
            Err(fault) => return Err(fault),
        };
        let old = Arc::clone(&desk.board);
        bringing.falls = falls(&old, &desk.record, &new);
        bringing.problems.extend(dropped(&old, &new, self.now()));
        if bringing.changes.is_empty() {
            return Ok(bringing);
        }
        let touched = touched((&stored.book, &old), (&bringing.book, &new));
        bringing.people = people(&old.season, &new.season, &touched);
        bringing.papers = papers(&old, &new, &touched.events, self.now());
        bringing.foreseen = self.foresee(&mut desk, &new, &kept, &touched).await?;
        bringing.ready = Some(Ready { board: new, kept, warnings, touched });
        Ok(bringing)
    }

    /// Takes a workbook in and plans anew. The same workbook again writes nothing; one that empties or halves a roster
    /// is held.
    pub async fn bring(&self, bringing: &Bringing) -> Result<Brought, BringFault> {
        self.take(bringing, None).await
    }

    /// As [`Office::bring`] after a second look, by somebody who says how many lines go.
    pub async fn bring_held(&self, bringing: &Bringing, going: usize) -> Result<Brought, BringFault> {
        self.take(bringing, Some(going)).await
    }

    async fn take(&self, bringing: &Bringing, going: Option<usize>) -> Result<Brought, BringFault> {
        let errors = bringing.problems.iter().filter(|p| p.weight == Weight::Error).count();
        if errors > 0 {
            return Err(BringFault::Errors(errors));
        }
        if !bringing.questions.is_empty() {
            return Err(BringFault::Questions(bringing.questions.len()));
        }
        let stored = self.in_force().await?.map(|one| one.stored);
        if stored.as_ref().map_or(0, |s| s.revision) != bringing.revision {
            return Err(BringFault::Moved);
        }
        if !bringing.holds.is_empty() && going != Some(bringing.going()) {
            let words: Vec<String> = bringing.holds.iter().map(Hold::words).collect();
            return Err(BringFault::Held { words: words.join(", "), going: bringing.going() });
        }
        if bringing.changes.is_empty() {
            return Ok(Brought { revision: bringing.revision, changed: 0, planned: Planned::default() });
        }
        let reference = setting_text(&bringing.book, "ref").to_uppercase();
        let (book, revision, what) = (&bringing.book, bringing.revision, bringing.what.as_str());
        let (now, before) = (self.now(), stored.as_ref().map(|stored| &stored.book));
        let taken = self.store.put_change(&reference, book, before, revision, now, what).await;
        if !taken.map_err(OfficeFault::from)? {
            return Err(BringFault::Moved);
        }
        let planned = match (&bringing.ready, stored) {
            (Some(ready), Some(stored)) => self.plan_touched(ready, bringing, &stored, now).await?,
            _ => self.plan_tick().await?,
        };
        Ok(Brought { revision: bringing.revision + 1, changed: bringing.changes.len(), planned })
    }
}

impl<S: Store, G: Gateway> Office<S, G> {
    /// Lays out a workbook that was taken in, and plans those again whom it touches.
    async fn plan_touched(
        &self,
        ready: &Ready,
        bringing: &Bringing,
        before: &StoredSeason,
        now: Timestamp,
    ) -> Result<Planned, OfficeFault> {
        let stored = StoredSeason {
            id: before.id,
            reference: before.reference.clone(),
            revision: bringing.revision + 1,
            revised_at: now,
            book: bringing.book.clone(),
            given: refs::given_with(&before.given, &bringing.book),
        };
        self.lay_out(stored, ready).await;
        if ready.touched.all_messages {
            return self.plan_tick().await;
        }
        let desk = self.desk().await?;
        let announced = self.store.announced(desk.season).await?;
        let touched: BTreeSet<&str> =
            ready.touched.households.iter().chain(&announced).map(String::as_str).collect();
        let (here, gone): (Vec<&str>, Vec<&str>) =
            touched.into_iter().partition(|household| desk.board.household(household).is_some());
        let here = here.into_iter().filter_map(|household| desk.board.household(household)).collect();
        let mut delta = self.difference_for(&desk, &here, now).await?;
        if !gone.is_empty() {
            self.add_gone(&desk, &mut delta, &gone).await?;
        }
        self.reconcile(&desk, &delta, now).await
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
fn adopted(book: &mut Book, previous: Option<(&Book, &Given)>, replies: &Replies) -> Vec<Question> {
    let asked = |name: &str| replies.keys().any(|key| key.split('/').next() == Some(name));
    for sheet in book.sheets.iter_mut().filter(|sheet| asked(&sheet.name)).map(Arc::make_mut) {
        let name = sheet.name.clone();
        for row in &mut sheet.rows {
            let prefix = format!("{name}/{}/", row.number);
            for (key, reply) in replies.iter().filter(|(key, _)| key.starts_with(&prefix)) {
                let text = if reply == NEW_LINE { "" } else { reply.as_str() };
                row.set(&key[prefix.len()..], text);
            }
        }
    }
    if let Some((previous, _)) = previous {
        book.share(previous);
    }
    let mut open = Vec::new();
    let none = Given::new();
    let given = previous.map_or(&none, |(_, given)| given);
    for question in refs::adopt_above(book, previous.map(|(book, _)| book), given) {
        let settled = replies.get(&question_key(&question)).is_some_and(|reply| reply == NEW_LINE);
        if !(settled && number_new_line(book, previous, &question)) {
            open.push(question);
        }
    }
    open
}

/// Gives a line that is said to be new the next free ref of its sheet; false if there is no such line.
fn number_new_line(book: &mut Book, previous: Option<(&Book, &Given)>, question: &Question) -> bool {
    let letter = match SHEETS.iter().find(|s| s.name == question.sheet).and_then(|s| s.letter) {
        Some(letter) if question.column == "ref" => letter,
        _ => GUARDIAN_LETTER,
    };
    let number = |text: &str| text.strip_prefix(letter).and_then(|digits| digits.parse::<u64>().ok());
    let highest = |book: &Book| {
        let rows = book.rows(&question.sheet).iter();
        rows.filter_map(|row| number(row.text(&question.column))).max().unwrap_or(0)
    };
    let known = previous.map_or(0, |(old, given)| highest(old).max(given.get(&letter).copied().unwrap_or(0)));
    let next = highest(book).max(known) + 1;
    let rows = &mut book.sheet_mut(&question.sheet).rows;
    let Some(row) = rows.iter_mut().find(|row| row.number == question.row) else { return false };
    row.set(&question.column, format!("{letter}{next:03}"));
    true
}

fn held(hold: &Hold) -> Problem {
    // Guardians stand beside children.
    let sheet = if layout::sheet(hold.roster).is_some() { hold.roster } else { "children" };
    Problem {
        weight: Weight::Warning,
        sheet: sheet.to_owned(),
        row: None,
        column: None,
        reason: hold.words(),
        cure: "Look whether lines were lost; it is taken only after a second look.".to_owned(),
    }
}

/// Names of those whom a change touches; who is gone is named as she was.
fn people(old: &Season, new: &Season, touched: &Touched) -> TouchedPeople {
    fn names<T>(refs: &BTreeSet<Ref>, lists: [&[T]; 2], of: impl Fn(&T) -> (&Ref, String)) -> Vec<String> {
        let mut found: BTreeMap<&Ref, String> = BTreeMap::new();
        for one in lists.into_iter().flatten() {
            let (reference, name) = of(one);
            if refs.contains(reference) {
                found.insert(reference, name);
            }
        }
        found.into_values().collect()
    }
    TouchedPeople {
        children: names(&touched.children, [&old.children, &new.children], |child| {
            (&child.reference, format!("{} {}", child.given, child.family).trim().to_owned())
        }),
        guardians: names(&touched.guardians, [old.families(), new.families()], |guardian| {
            (&guardian.reference, guardian.name.clone())
        }),
        chaperones: names(&touched.chaperones, [&old.chaperones, &new.chaperones], |chaperone| {
            (&chaperone.reference, chaperone.name.clone())
        }),
    }
}
