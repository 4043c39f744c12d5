//! The guardian's page behind her link: today's facts for each child and event, and her answer.

use askama::Template;

use super::sheet::{FamilyEvent, SheetItem, SheetView, answered_words, owes, standing_words};
use super::{AsOf, QUESTION_CHARACTERS, StandingMark, Telephone};
use crate::web::labels::{Labels, fill};

/// The season's house rules, acknowledged once for all children named.
#[derive(Debug, Clone)]
pub struct HouseRules {
    /// One item a child.
    pub items: Vec<SheetItem>,
    /// Given names, in the order of `items`.
    pub givens: Vec<String>,
    /// Short name and text of each rule; the text in the page's language where there is one.
    pub rules: Vec<(String, String)>,
    /// Where this guardian's answer stands: the worst of all items.
    pub standing: StandingMark,
    /// When she last answered, local.
    pub answered: Option<AsOf>,
}

impl HouseRules {
    /// Whether an answer is still owed.
    pub fn owes(&self) -> bool {
        owes(self.standing)
    }

    /// The heading.
    pub fn title(&self, labels: &Labels) -> String {
        fill(labels.rules_for, &[&labels.list(&self.givens)])
    }

    /// The standing in words.
    pub fn standing_words(&self, labels: &Labels) -> String {
        standing_words(self.standing, labels, "")
    }

    /// When she last answered, in words; empty if never.
    pub fn answered_words(&self, labels: &Labels) -> String {
        answered_words(self.answered.as_ref(), labels)
    }
}

/// What became of a form just posted.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum NotedKind {
    /// Acknowledged.
    Heard,
    /// Can't come.
    CantCome,
    /// A question was passed on.
    Question,
    /// Not noted: the facts had changed since the page was opened.
    Stale,
    /// Nothing was written where a question was to be.
    Empty,
    /// A request went to the school.
    Requested,
}

/// One line of what was noted from the form just posted.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct NotedLine {
    /// What became of it.
    pub kind: NotedKind,
    /// Given name, or names.
    pub given: String,
    /// Event, or the words for the house rules.
    pub event: String,
    /// The rule of that event, where a question asks for early release; else empty.
    pub rule: String,
}

impl NotedLine {
    fn words(&self, labels: &Labels) -> String {
        if self.kind == NotedKind::Empty {
            return labels.empty_question.to_owned();
        }
        let text = match self.kind {
            NotedKind::Heard => labels.noted_heard,
            NotedKind::CantCome => labels.noted_cant_come,
            NotedKind::Question => labels.noted_question,
            NotedKind::Requested => labels.noted_request,
            NotedKind::Stale | NotedKind::Empty => labels.noted_stale,
        };
        let said = fill(text, &[&self.given, &self.event]);
        if self.rule.is_empty() { said } else { format!("{} {said}", self.rule) }
    }
}

/// A link to the same page in another language.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct OtherLanguage {
    /// Relative address, such as `?lang=es`.
    pub href: String,
    /// BCP 47 tag.
    pub lang: String,
    /// The language's own name.
    pub name: String,
}

/// The page behind `/r/TOKEN`, before and after an answer.
#[derive(Debug, Template)]
#[template(path = "guardian.html")]
pub struct GuardianPage {
    /// Words of the reader's language.
    pub labels: &'static Labels,
    /// Name of the school.
    pub school: String,
    /// Name of the production.
    pub season: String,
    /// Whether times are said with am and pm.
    pub twelve: bool,
    /// When the page was put together.
    pub as_of: AsOf,
    /// The same page in other languages.
    pub others: Vec<OtherLanguage>,
    /// What became of the form just posted; empty on GET.
    pub noted: Vec<NotedLine>,
    /// The sheets, soonest first.
    pub sheets: Vec<SheetView>,
    /// The season's house rules, where they are asked for.
    pub rules: Option<HouseRules>,
    /// The school's telephone, where families may ring.
    pub telephone: Option<Telephone>,
    /// Address of the page about calendars, whose file has the same with `.ics`.
    pub calendar_href: Option<String>,
}

impl GuardianPage {
    /// Whether the page is about one thing only, so that its title heads the page.
    pub fn single(&self) -> bool {
        self.events().len() + usize::from(self.rules.is_some()) == 1
    }

    /// The sheets by event: what the message asks first stays first, siblings at one event stand together.
    pub fn events(&self) -> Vec<FamilyEvent<'_>> {
        let mut groups: Vec<Vec<&SheetView>> = Vec::new();
        let event = |sheet: &SheetView| sheet.item.item.split('/').nth(1).map(str::to_owned);
        for sheet in &self.sheets {
            let alike = |group: &&mut Vec<&SheetView>| {
                let first = group[0];
                event(first) == event(sheet)
                    && first.shift.is_none()
                    && sheet.shift.is_none()
                    && first.called_off == sheet.called_off
            };
            match groups.iter_mut().find(alike) {
                Some(group) => group.push(sheet),
                None => groups.push(vec![sheet]),
            }
        }
        groups.into_iter().map(FamilyEvent::of).collect()
    }

    /// What every event says in the same words, where there are several.
    pub fn same_every_time(&self) -> Vec<(&'static str, String)> {
        let going: Vec<&SheetView> =
            self.sheets.iter().filter(|sheet| !sheet.called_off && sheet.shift.is_none()).collect();
        let events: std::collections::BTreeSet<&str> =
            going.iter().filter_map(|sheet| sheet.item.item.split('/').nth(1)).collect();
        if events.len() < 2 {
            return Vec::new();
        }
        let lines = |sheet: &SheetView| {
            let mut lines = sheet.lines(self.labels);
            if !sheet.place.is_changed() {
                lines.insert(0, (self.labels.place, sheet.place.now.clone(), None));
            }
            lines
        };
        let all: Vec<_> = going.iter().map(|sheet| lines(sheet)).collect();
        let Some(first) = all.first() else { return Vec::new() };
        let everywhere =
            first.iter().filter(|line| line.2.is_none() && all.iter().all(|other| other.contains(line)));
        everywhere.map(|(label, now, _)| (*label, now.clone())).collect()
    }

    /// How many answers are still owed.
    pub fn owed(&self) -> usize {
        self.sheets.iter().filter(|sheet| sheet.owes()).count()
            + usize::from(self.rules.as_ref().is_some_and(HouseRules::owes))
    }

    /// The heading over several sheets, and the title of the page: no child's name, since titles stay in histories.
    pub fn heading(&self) -> String {
        match self.owed() {
            0 => self.labels.all_answered.to_owned(),
            n => self.labels.counted(&self.labels.sheets_to_read, n),
        }
    }

    /// Whether one form for everything is of use: two answers or more are owed.
    pub fn offers_all(&self) -> bool {
        self.owed() > 1
    }

    /// Items still owed, for the form that acknowledges all.
    pub fn all_items(&self) -> Vec<&SheetItem> {
        let sheets = self.sheets.iter().filter(|sheet| sheet.owes()).map(|sheet| &sheet.item);
        let rules = self.rules.iter().filter(|rules| rules.owes()).flat_map(|rules| &rules.items);
        sheets.chain(rules).collect()
    }

    /// The words of the button that acknowledges all.
    pub fn all_words(&self) -> String {
        let owing = self.sheets.iter().filter(|sheet| sheet.owes()).map(|sheet| &sheet.given);
        let rules = self.rules.iter().filter(|rules| rules.owes()).flat_map(|rules| &rules.givens);
        let mut names: Vec<String> = Vec::new();
        for name in owing.chain(rules) {
            if !names.contains(name) {
                names.push(name.clone());
            }
        }
        fill(self.labels.act_all, &[&self.labels.list(&names)])
    }

    /// What was noted, in sentences.
    pub fn noted_words(&self) -> Vec<String> {
        self.said(|kind| !matches!(kind, NotedKind::Stale | NotedKind::Empty))
    }

    /// What was not noted because it had changed.
    pub fn stale_words(&self) -> Vec<String> {
        self.said(|kind| kind == NotedKind::Stale)
    }

    /// That a question was empty, in a sentence.
    pub fn empty_words(&self) -> Vec<String> {
        self.said(|kind| kind == NotedKind::Empty)
    }

    fn said(&self, wanted: impl Fn(NotedKind) -> bool) -> Vec<String> {
        let lines = self.noted.iter().filter(|line| wanted(line.kind));
        lines.map(|line| line.words(self.labels)).collect()
    }

    /// The time of the page in words.
    pub fn as_of_words(&self) -> String {
        fill(self.labels.as_of, &[&self.labels.clock(&self.as_of.time, self.twelve)])
    }

    /// The longest question, in characters.
    pub fn question_characters(&self) -> u32 {
        QUESTION_CHARACTERS
    }
}
