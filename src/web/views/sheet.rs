//! One child at one event, as a guardian reads it.

use jiff::civil::{Date, Time};

use super::{AsOf, StandingMark, ToldFact};
use crate::web::labels::{Labels, fill};

/// What an answer is about. Both go back to the server as they came, as the hidden fields `item` and `fingerprint`.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct SheetItem {
    /// Which child and event, or which child's house rules, such as `C001/E002`.
    pub item: String,
    /// The fingerprint of the facts on this page.
    pub fingerprint: String,
}

/// A way in with its walk.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct WayIn {
    /// Name of the car park, stop or gate.
    pub name: String,
    /// Shortest and longest walk in whole minutes.
    pub walk: (u32, u32),
}

/// What happens at a time of the ribbon.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum RowKind {
    /// Park, and walk from there.
    ParkBy(WayIn),
    /// Be at the door: the main mark.
    Call,
    /// The event begins.
    Starts,
    /// Collect the child, not before.
    Collect,
    /// A chaperone comes.
    Due,
    /// Her briefing.
    Briefing,
    /// She stands at her place.
    Station,
    /// The event is over, not before.
    Over,
}

/// One time of the ribbon.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct TimeRow {
    /// What happens.
    pub kind: RowKind,
    /// Local time, with the one told before where it differs.
    pub time: ToldFact<Time>,
    /// More in a sentence; may be empty.
    pub note: String,
}

impl TimeRow {
    /// The style of the row.
    pub fn class(&self) -> &'static str {
        match self.kind {
            RowKind::ParkBy(_) => "walk",
            RowKind::Call | RowKind::Due => "call",
            RowKind::Starts | RowKind::Briefing | RowKind::Station => "starts",
            RowKind::Collect | RowKind::Over => "collect",
        }
    }

    /// What to do, in words.
    pub fn label(&self, labels: &Labels) -> &'static str {
        match self.kind {
            RowKind::ParkBy(_) => labels.park_by,
            RowKind::Call => labels.call,
            RowKind::Starts => labels.starts,
            RowKind::Collect => labels.collect,
            RowKind::Due => labels.duty.call,
            RowKind::Briefing => labels.duty.briefing,
            RowKind::Station => labels.duty.station,
            RowKind::Over => labels.duty.until,
        }
    }

    /// The walk in words; empty for other rows.
    pub fn walk(&self, labels: &Labels) -> String {
        let RowKind::ParkBy(way) = &self.kind else {
            return String::new();
        };
        let (short, long) = (way.walk.0.to_string(), way.walk.1.to_string());
        if short == long {
            fill(labels.walk, &[&way.name, &long])
        } else {
            fill(labels.walk_range, &[&way.name, &short, &long])
        }
    }

    /// The time now.
    pub fn clock(&self, labels: &Labels, twelve: &bool) -> String {
        labels.clock(&self.time.now, *twelve)
    }

    /// The time told before; empty if it is the same.
    pub fn clock_before(&self, labels: &Labels, twelve: &bool) -> String {
        self.time.was.as_ref().map(|was| labels.clock(was, *twelve)).unwrap_or_default()
    }
}

/// What a chaperone does at an event, below the ribbon of her sheet.
#[derive(Debug, Clone)]
pub struct ShiftView {
    /// Numbers whose children are hers; may be empty.
    pub numbers: ToldFact<String>,
    /// Her tasks; may be empty.
    pub task: ToldFact<String>,
    /// Numbers she signs in; may be empty.
    pub signs_in: ToldFact<String>,
    /// Numbers she signs out; may be empty.
    pub signs_out: ToldFact<String>,
    /// Where her group waits; may be empty.
    pub room: ToldFact<String>,
    /// What she brings and wears; may be empty.
    pub kit: ToldFact<String>,
}

/// Today's facts for one child at one event, or for a chaperone.
#[derive(Debug, Clone)]
pub struct SheetView {
    /// What the answer is about.
    pub item: SheetItem,
    /// The child's given name.
    pub given: String,
    /// The event's name.
    pub event: String,
    /// Local date.
    pub date: ToldFact<Date>,
    /// Where.
    pub place: ToldFact<String>,
    /// The door children use.
    pub door: ToldFact<String>,
    /// The event is called off; times and acts to prepare are then not shown.
    pub called_off: bool,
    /// Something is not as the reader acknowledged it, even if no single value below says so.
    pub changed: bool,
    /// Times in order.
    pub ribbon: Vec<TimeRow>,
    /// Costume, hair, make-up; may be empty.
    pub arrive_ready: ToldFact<String>,
    /// May be empty.
    pub bring: ToldFact<String>,
    /// May be empty.
    pub leave_home: ToldFact<String>,
    /// What is handed in and when, in a sentence; may be empty.
    pub hand_in: ToldFact<String>,
    /// Whether adults may watch; none where nobody has said.
    pub adults_watch: Option<bool>,
    /// Chaperone who signs the child in, as families should know her.
    pub signs_in: Option<String>,
    /// Chaperone who signs the child out.
    pub signs_out: Option<String>,
    /// Who may collect the child, as far as the reader may know.
    pub collectors: Vec<String>,
    /// Other chaperones of the child there, where the season introduces them.
    pub beside: Vec<String>,
    /// House rules of this event that are acknowledged with it.
    pub rules: Vec<String>,
    /// Where this guardian's answer stands.
    pub standing: StandingMark,
    /// When she last answered, local.
    pub answered: Option<AsOf>,
    /// What the reader does herself; none on a child's sheet.
    pub shift: Option<ShiftView>,
}

impl SheetView {
    /// Whether anything is marked as changed.
    pub fn is_changed(&self) -> bool {
        self.changed
            || self.date.is_changed()
            || self.place.is_changed()
            || self.door.is_changed()
            || self.ribbon.iter().any(|row| row.time.is_changed())
            || [&self.arrive_ready, &self.bring, &self.leave_home, &self.hand_in]
                .iter()
                .any(|text| text.is_changed())
            || self.shift.iter().any(|shift| {
                [&shift.numbers, &shift.task, &shift.signs_in, &shift.signs_out]
                    .iter()
                    .any(|text| text.is_changed())
            })
    }

    /// Whether an answer is still owed.
    pub fn owes(&self) -> bool {
        owes(self.standing)
    }

    /// The date in words.
    pub fn day(&self, labels: &Labels) -> String {
        labels.day(&self.date.now)
    }

    /// The date told before in words; empty if it is the same.
    pub fn day_before(&self, labels: &Labels) -> String {
        self.date.was.as_ref().map(|date| labels.day(date)).unwrap_or_default()
    }

    /// Rows of plain text below the ribbon: label, words now, words before; empty ones are left out.
    pub fn lines(&self, labels: &Labels) -> Vec<(&'static str, String, Option<String>)> {
        let watching = ToldFact::same(match self.adults_watch {
            Some(true) => labels.may_watch.to_owned(),
            Some(false) => labels.may_not_watch.to_owned(),
            None => String::new(),
        });
        let collectors = ToldFact::same(labels.list(&self.collectors));
        let last_look = ToldFact::same(labels.duty.last_look.to_owned());
        let lines: Vec<(&'static str, &ToldFact<String>)> = match &self.shift {
            None => vec![
                (labels.arrive, &self.arrive_ready),
                (labels.bring, &self.bring),
                (labels.leave_home, &self.leave_home),
                (labels.hand_in, &self.hand_in),
                (labels.who_collects, &collectors),
                (labels.watching, &watching),
            ],
            Some(shift) => vec![
                (labels.duty.numbers, &shift.numbers),
                (labels.duty.signs_in, &shift.signs_in),
                (labels.duty.signs_out, &shift.signs_out),
                (labels.duty.task, &shift.task),
                (labels.duty.room, &shift.room),
                (labels.duty.kit, &shift.kit),
                (labels.duty.at_the_end, &last_look),
            ],
        };
        lines
            .into_iter()
            .filter(|(_, text)| !text.now.is_empty() || text.is_changed())
            .map(|(label, text)| (label, text.now.clone(), text.was.clone()))
            .collect()
    }

    /// Who signs in and out and who else looks after the child, in sentences; empty if nobody is named yet.
    pub fn in_charge(&self, labels: &Labels) -> String {
        let signs = match (&self.signs_in, &self.signs_out) {
            (Some(a), Some(b)) if a == b => vec![fill(labels.signs_both, &[a])],
            (a, b) => {
                let a = a.as_ref().map(|name| fill(labels.signs_in, &[name]));
                let b = b.as_ref().map(|name| fill(labels.signs_out, &[name]));
                a.into_iter().chain(b).collect()
            }
        };
        let beside = (!self.beside.is_empty()).then(|| fill(labels.beside, &[&labels.list(&self.beside)]));
        signs.into_iter().chain(beside).collect::<Vec<_>>().join(" ")
    }

    /// The standing in words.
    pub fn standing_words(&self, labels: &Labels) -> String {
        if self.shift.is_some() && self.standing == StandingMark::CantCome {
            return labels.duty.cant_come.to_owned();
        }
        standing_words(self.standing, labels, &self.given)
    }

    /// When she last answered, in words; empty if never.
    pub fn answered_words(&self, labels: &Labels) -> String {
        answered_words(self.answered.as_ref(), labels)
    }

    /// A name for the fields of its form, unlike that of any other on the page.
    pub fn field(&self) -> String {
        self.item.item.chars().map(|c| if c.is_ascii_alphanumeric() { c } else { '-' }).collect()
    }

    /// Whether the school has confirmed that the child is not coming: then nothing is asked here.
    pub fn is_away(&self) -> bool {
        self.standing == StandingMark::Away
    }

    /// The words of the main button.
    pub fn heard_words(&self, labels: &Labels) -> String {
        let again = self.standing == StandingMark::CantCome;
        match (self.shift.is_some(), again) {
            (true, false) => labels.duty.act_heard.to_owned(),
            (true, true) => labels.duty.act_come_after_all.to_owned(),
            (false, false) => fill(labels.act_heard, &[&self.given]),
            (false, true) => fill(labels.act_come_after_all, &[&self.given]),
        }
    }

    /// The words of the button that says the child, or the reader, can't come.
    pub fn cant_words(&self, labels: &Labels) -> String {
        if self.shift.is_some() {
            return labels.duty.act_cant_come.to_owned();
        }
        fill(labels.act_cant_come, &[&self.given])
    }
}

/// A time of a ribbon that several children share, with the names of those it is for; none for all of them.
#[derive(Debug, Clone)]
pub struct SharedRow<'a> {
    /// The time.
    pub row: &'a TimeRow,
    /// Given names; empty where it is for all.
    pub names: Vec<String>,
}

/// The children of one family at one event: one ribbon, what they share said once.
#[derive(Debug, Clone)]
pub struct FamilyEvent<'a> {
    /// Their sheets, at least one.
    pub sheets: Vec<&'a SheetView>,
    /// Times in order.
    pub ribbon: Vec<SharedRow<'a>>,
}

impl<'a> FamilyEvent<'a> {
    /// Sheets of one event.
    pub fn of(sheets: Vec<&'a SheetView>) -> FamilyEvent<'a> {
        let mut ribbon: Vec<SharedRow<'a>> = Vec::new();
        for sheet in &sheets {
            for row in &sheet.ribbon {
                match ribbon.iter_mut().find(|shared| shared.row == row) {
                    Some(shared) => shared.names.push(sheet.given.clone()),
                    None => ribbon.push(SharedRow { row, names: vec![sheet.given.clone()] }),
                }
            }
        }
        ribbon
            .iter_mut()
            .filter(|shared| shared.names.len() == sheets.len())
            .for_each(|one| one.names.clear());
        // A time after midnight belongs to the end of its day, so the order of each sheet is kept for equal rows.
        let first = sheets[0].ribbon.first().map_or(0, |row| minute_of_day(row.time.now));
        let earliest =
            sheets.iter().filter_map(|sheet| sheet.ribbon.first()).map(|row| minute_of_day(row.time.now));
        let from = earliest.min().unwrap_or(first);
        ribbon.sort_by_key(|one| (minute_of_day(one.row.time.now) - from).rem_euclid(DAY_MINUTES));
        FamilyEvent { sheets, ribbon }
    }

    /// The first of the sheets, for what they have in common.
    pub fn first(&self) -> &'a SheetView {
        self.sheets[0]
    }

    /// Whose it is, and what, in words.
    pub fn names(&self, labels: &Labels) -> String {
        labels.list(&self.sheets.iter().map(|sheet| sheet.given.clone()).collect::<Vec<_>>())
    }

    /// Whether an answer of any of them is owed.
    pub fn owes(&self) -> bool {
        self.sheets.iter().any(|sheet| sheet.owes())
    }

    /// The worst of their standings.
    pub fn standing(&self) -> StandingMark {
        let owing = self.sheets.iter().find(|sheet| sheet.owes());
        owing.unwrap_or(&self.sheets[0]).standing
    }

    /// Their standing in words.
    pub fn standing_words(&self, labels: &Labels) -> String {
        let owing = self.sheets.iter().find(|sheet| sheet.owes());
        owing.unwrap_or(&self.sheets[0]).standing_words(labels)
    }

    /// Whether anything is marked as changed.
    pub fn is_changed(&self) -> bool {
        self.sheets.iter().any(|sheet| sheet.is_changed())
    }

    /// Whether the place is said elsewhere on the page.
    pub fn place_stands_in(&self, elsewhere: &[(&'static str, String)], labels: &Labels) -> bool {
        let place = &self.first().place;
        !place.is_changed()
            && elsewhere.iter().any(|(label, text)| *label == labels.place && *text == place.now)
    }

    /// Who looks after them, once where that is the same for all; with the name where it is not.
    pub fn in_charge(&self, labels: &Labels) -> Vec<(String, String)> {
        let mut out: Vec<(String, String)> = Vec::new();
        let all: Vec<String> = self.sheets.iter().map(|sheet| sheet.in_charge(labels)).collect();
        let same = all.windows(2).all(|pair| pair[0] == pair[1]);
        for (sheet, words) in self.sheets.iter().zip(all) {
            let label = match same {
                true => labels.in_charge.to_owned(),
                false => format!("{}, {}", labels.in_charge, sheet.given),
            };
            if !words.is_empty() && !out.iter().any(|(known, _)| *known == label) {
                out.push((label, words));
            }
        }
        out
    }

    /// When it starts for the first of them, if it takes place.
    pub fn call_clock(&self, labels: &Labels, twelve: &bool) -> String {
        let called = |one: &&SharedRow<'a>| matches!(one.row.kind, RowKind::Call | RowKind::Due);
        self.ribbon.iter().find(called).map_or(String::new(), |one| one.row.clock(labels, twelve))
    }

    /// The style that makes the ribbon longer after a row where more time passes before the next; empty after the last.
    pub fn stretch(&self, row: &usize) -> &'static str {
        let minute = |at: usize| self.ribbon.get(at).map(|shared| minute_of_day(shared.row.time.now));
        let (Some(from), Some(to)) = (minute(*row), minute(*row + 1)) else {
            return "";
        };
        match (to - from).rem_euclid(DAY_MINUTES) {
            ..=20 => " s1",
            21..=45 => " s2",
            46..=90 => " s3",
            _ => " s4",
        }
    }

    /// Lines below the ribbon: label with a name where they differ, words now, words before; without those that stand
    /// elsewhere on the page.
    pub fn lines(
        &self,
        labels: &Labels,
        elsewhere: &[(&'static str, String)],
    ) -> Vec<(String, String, Option<String>)> {
        let all: Vec<_> = self.sheets.iter().map(|sheet| (sheet, sheet.lines(labels))).collect();
        let mut out: Vec<(String, String, Option<String>)> = Vec::new();
        for (sheet, lines) in &all {
            for line in lines {
                let (label, now, was) = line;
                let known =
                    elsewhere.iter().any(|(name, text)| was.is_none() && name == label && text == now);
                let shared = all.iter().all(|(_, other)| other.contains(line));
                let label = match shared {
                    true => (*label).to_owned(),
                    false => format!("{label}, {}", sheet.given),
                };
                let line = (label, now.clone(), was.clone());
                if !known && !out.contains(&line) {
                    out.push(line);
                }
            }
        }
        out
    }
}

const DAY_MINUTES: i32 = 24 * 60;

fn minute_of_day(time: Time) -> i32 {
    i32::from(time.hour()) * 60 + i32::from(time.minute())
}

/// Whether an answer is still owed: what was only told, such as the dates of the first letter, is asked nearer its time.
pub(super) fn owes(standing: StandingMark) -> bool {
    !matches!(
        standing,
        StandingMark::Heard | StandingMark::CantCome | StandingMark::Away | StandingMark::NotAsked
    )
}

/// A guardian's standing in words.
pub(super) fn standing_words(standing: StandingMark, labels: &Labels, given: &str) -> String {
    match standing {
        StandingMark::Heard => labels.heard.to_owned(),
        StandingMark::HeardBefore => labels.heard_before.to_owned(),
        StandingMark::CantCome => fill(labels.cant_come, &[given]),
        StandingMark::Away => fill(labels.not_coming, &[given]),
        StandingMark::Waiting | StandingMark::NoWay => labels.waiting.to_owned(),
        StandingMark::NotAsked => labels.not_asked.to_owned(),
    }
}

/// When a guardian last answered, in words; empty if never.
pub(super) fn answered_words(answered: Option<&AsOf>, labels: &Labels) -> String {
    answered.map(|at| fill(labels.answered_at, &[&at.day(labels), &at.clock()])).unwrap_or_default()
}
