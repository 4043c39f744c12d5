//! The workbook of the demo season.

use super::dice::Dice;
use super::names::{DemoNames, NAMES};
use super::numbers::{BANDS, Dancers, FINALE, FIRST_ACT, PLANS, PRODUCTIONS};
use super::people::{Adult, DemoPeople, Kid};
use super::team::{Member, QUICK_CHANGES, team};
use super::translations::SPANISH;
use super::words;
use crate::domain::book::{Book, Row};
use crate::domain::layout::{GUARDIANS_PER_CHILD, SHEETS};
use crate::domain::published::reminders::sentence;
use jiff::ToSpan;
use jiff::civil::Time;
use std::collections::BTreeMap;

/// Minutes of the interval.
pub const INTERVAL_MINUTES: i64 = 15;
/// Numbers photographed before a break.
const PHOTOGRAPHS_BLOCK: usize = 8;
/// Minutes of that break.
const PHOTOGRAPHS_BREAK_MINUTES: i64 = 20;
/// Minutes of one number's photographs (an assumption, no source).
const PHOTOGRAPHS_SLOT_MINUTES: i64 = 5;
/// Minutes from a block's call to its first photograph.
const PHOTOGRAPHS_LEAD_MINUTES: i64 = 25;
/// Minutes from the computed to the announced end of a show, for applause.
const APPLAUSE_MINUTES: i64 = 5;
/// Shortest and longest number in seconds.
const SECONDS: (f64, f64) = (80.0, 210.0);
/// Length of a production number and of the finale in seconds.
const LONG_SECONDS: (i64, i64) = (180, 240);
/// Share of children who are new to the school (an assumption, no source).
const NEW_SHARE: f64 = 0.12;
/// Share of chaperones who speak another language than the season's (an assumption, no source).
const BILINGUAL_SHARE: f64 = 0.15;
/// What stands in the column `agreed`.
const AGREED: &str = "enrolment form, 9 January 2027";

/// The workbook of a seed: canonical text in every cell, every ref filled in.
pub fn book(seed: u64) -> Book {
    let mut people = DemoPeople::new(seed);
    let members = team(seed, &mut people);
    let order = Order::new(seed);
    let mut book = Book::default();
    for layout in SHEETS {
        book.sheet_mut(layout.name);
    }
    fixed_sheets(&mut book);
    events(&mut book, &order);
    numbers(&mut book, &order);
    running_orders(&mut book);
    children(&mut book, &people, seed);
    chaperones(&mut book, &members, seed);
    house_rules(&mut book);
    translations(&mut book);
    notices(&mut book);
    book.number_rows();
    book
}

/// Lengths and changeovers in seconds, by position in the running order.
struct Order {
    seconds: Vec<i64>,
    changeover: Vec<i64>,
}

impl Order {
    /// Lengths are normal around the band's mean with deviation 18 s; a changeover is 20 s, or 45 s next to the youngest
    /// (assumptions, no source).
    fn new(seed: u64) -> Order {
        let mut dice = Dice::new(seed, "lengths");
        let young = |at: usize| matches!(PLANS.get(at).map(|p| p.dancers), Some(Dancers::Band(0 | 1)));
        let seconds = PLANS
            .iter()
            .map(|plan| match plan.dancers {
                Dancers::Band(band) => (BANDS[band].mean_seconds + 18.0 * dice.normal())
                    .clamp(SECONDS.0, SECONDS.1)
                    .round() as i64,
                Dancers::Production => LONG_SECONDS.0,
                Dancers::All => LONG_SECONDS.1,
            })
            .collect();
        let changeover =
            (0..PLANS.len()).map(|at| if young(at) || young(at + 1) { 45 } else { 20 }).collect();
        Order { seconds, changeover }
    }

    fn slot(&self, at: usize) -> i64 {
        self.seconds[at] + self.changeover[at]
    }

    /// Minutes from curtain up to the announced end of a show.
    fn show_minutes(&self) -> i64 {
        self.minutes(PLANS.len(), INTERVAL_MINUTES) + APPLAUSE_MINUTES
    }

    /// Minutes of the first numbers and their pauses, rounded up to 5; nothing follows the last number.
    fn minutes(&self, numbers: usize, pauses: i64) -> i64 {
        let seconds = (0..numbers).map(|at| self.slot(at)).sum::<i64>() - self.changeover[numbers - 1];
        ((seconds + 59) / 60 + pauses + 4) / 5 * 5
    }
}

/// Minutes from the first photograph to the end of the last; the finale is not photographed.
fn photographs_minutes() -> i64 {
    let (slots, breaks) = (FINALE as i64, ((FINALE - 1) / PHOTOGRAPHS_BLOCK) as i64);
    up_to_five(slots * PHOTOGRAPHS_SLOT_MINUTES + breaks * PHOTOGRAPHS_BREAK_MINUTES)
}

/// Minutes rounded up to the next five.
fn up_to_five(minutes: i64) -> i64 {
    (minutes + 4) / 5 * 5
}

/// A time of day so many minutes later; wraps at midnight as a clock does.
fn later(time: &str, minutes: i64) -> String {
    let time: Time = time.parse().unwrap_or(Time::midnight());
    clock(time.wrapping_add(minutes.minutes()))
}

fn clock(time: Time) -> String {
    format!("{:02}:{:02}", time.hour(), time.minute())
}

fn length(seconds: i64) -> String {
    format!("{}:{:02}", seconds / 60, seconds % 60)
}

fn row(cells: &[(&str, &str)]) -> Row {
    let mut row = Row::default();
    for (column, text) in cells {
        row.set(column, *text);
    }
    row
}

fn fixed_sheets(book: &mut Book) {
    let settings = words::SETTINGS.iter().map(|(name, value)| row(&[("setting", name), ("value", value)]));
    book.sheet_mut("season").rows.extend(settings);
    book.sheet_mut("places").rows.extend(words::PLACES.iter().map(|cells| row(cells)));
    book.sheet_mut("rooms").rows.extend(words::ROOMS.iter().map(|cells| row(cells)));
    book.sheet_mut("ways").rows.extend(words::WAYS.iter().map(|cells| row(cells)));
}

fn events(book: &mut Book, order: &Order) {
    for cells in words::EVENTS {
        let mut event = row(cells);
        let minutes = match event.text("kind") {
            "show" => Some(order.show_minutes()),
            "photographs" => Some(photographs_minutes()),
            _ => None,
        };
        if let Some(minutes) = minutes {
            let ends = later(event.text("starts"), minutes);
            event.set("ends", ends);
        }
        book.sheet_mut("events").rows.push(event);
    }
}

fn numbers(book: &mut Book, order: &Order) {
    for (at, plan) in PLANS.iter().enumerate() {
        let mut number = row(&[
            ("name", plan.name),
            ("class", plan.class),
            ("pieces", plan.pieces),
            ("teacher", plan.teacher),
        ]);
        number.set("ref", format!("N{:03}", at + 1));
        number.set("length", length(order.seconds[at]));
        number.set("changeover", length(order.changeover[at]));
        book.sheet_mut("numbers").rows.push(number);
    }
}

fn running_orders(book: &mut Book) {
    photographs(book);
    for (event, second_act_call) in [
        (words::DRESS, words::SECOND_ACT_DRESS_CALL),
        (words::MATINEE, ""),
        (words::EVENING, words::SECOND_ACT_EVENING_CALL),
        (words::CLOCK_CHANGE_SHOW, ""),
    ] {
        let mut lines = Lines { book, event, place: 0 };
        for (at, plan) in PLANS.iter().enumerate() {
            if at == FIRST_ACT {
                lines.interval(INTERVAL_MINUTES);
            }
            lines.number(plan.name, if at >= FIRST_ACT { second_act_call } else { "" });
        }
    }
}

/// Photographs go by slots, in blocks with a break between them, each block with a call of its own.
fn photographs(book: &mut Book) {
    let starts =
        words::EVENTS[0].iter().find(|(column, _)| *column == "starts").map_or("10:00", |(_, text)| *text);
    let mut lines = Lines { book, event: words::PHOTOGRAPHS, place: 0 };
    let (mut minutes, mut call) = (0, String::new());
    for (at, plan) in PLANS.iter().enumerate().take(FINALE) {
        if at % PHOTOGRAPHS_BLOCK == 0 {
            if at > 0 {
                lines.interval(PHOTOGRAPHS_BREAK_MINUTES);
                minutes += PHOTOGRAPHS_BREAK_MINUTES;
            }
            call = later(starts, minutes - PHOTOGRAPHS_LEAD_MINUTES);
        }
        let slot = PHOTOGRAPHS_SLOT_MINUTES.to_string();
        lines.line(&[("number", plan.name), ("call", &call), ("minutes", &slot)]);
        minutes += PHOTOGRAPHS_SLOT_MINUTES;
    }
}

/// The running order of one event, line by line.
struct Lines<'a> {
    book: &'a mut Book,
    event: &'static str,
    place: usize,
}

impl Lines<'_> {
    fn number(&mut self, name: &str, call: &str) {
        self.line(&[("number", name), ("call", call)]);
    }

    fn interval(&mut self, minutes: i64) {
        self.line(&[("number", "interval"), ("minutes", &minutes.to_string())]);
    }

    fn line(&mut self, cells: &[(&str, &str)]) {
        self.place += 1;
        let mut line = row(cells);
        line.set("event", self.event);
        line.set("place", self.place.to_string());
        self.book.sheet_mut("running order").rows.push(line);
    }
}

fn children(book: &mut Book, people: &DemoPeople, seed: u64) {
    let mut dice = Dice::new(seed, "line-up");
    // Dice of their own, so that the rest of the season stays what it was.
    let mut newcomers = Dice::new(seed, "newcomers");
    let mut refs: BTreeMap<usize, String> = BTreeMap::new();
    let mut places = vec![0usize; PLANS.len()];
    for (at, kid) in people.kids.iter().enumerate() {
        let mut child = row(&[
            ("given name", &kid.given),
            ("family name", &kid.family),
            ("ages", &kid.ages),
            ("cast", &kid.cast),
        ]);
        child.set("ref", format!("C{:03}", at + 1));
        child.set("numbers", numbers_cell(kid, &mut places, &mut dice));
        child.set("new", if newcomers.chance(NEW_SHARE) { "yes" } else { "" });
        for (care, nth) in kid.cares.iter().take(GUARDIANS_PER_CHILD).zip(1..) {
            let next = format!("G{:03}", refs.len() + 1);
            let reference = refs.entry(care.adult).or_insert(next).clone();
            let adult = &people.adults[care.adult];
            let mut set = |column: &str, text: &str| child.set(&format!("guardian {nth} {column}"), text);
            set("ref", &reference);
            set("household", &care.household);
            set("brings", if care.brings { "yes" } else { "no" });
            set("collects", if care.collects { "yes" } else { "no" });
            contact(adult, &mut set);
        }
        book.sheet_mut("children").rows.push(child);
    }
}

fn contact(adult: &Adult, set: &mut impl FnMut(&str, &str)) {
    set("name", &adult.name);
    set("mobile", adult.mobile.as_deref().or(adult.landline.as_deref()).unwrap_or(""));
    set("e-mail", adult.mail.as_deref().unwrap_or(""));
    set("language", adult.language);
    set("texts", adult.texts);
    set("mails", adult.mails);
    set("agreed", if adult.agreed { AGREED } else { "" });
}

/// The numbers of a child, typed in any order, with place in line and sides where known: in ordinary numbers, for four
/// children of five.
fn numbers_cell(kid: &Kid, places: &mut [usize], dice: &mut Dice) -> String {
    let mut parts = vec![PLANS[FINALE].name.to_owned()];
    for number in &kid.numbers {
        places[*number] += 1;
        let name = PLANS[*number].name;
        if PRODUCTIONS.contains(number) || !dice.chance(0.8) {
            parts.push(name.to_owned());
        } else {
            let side = |dice: &mut Dice| if dice.chance(0.5) { "left" } else { "right" };
            let (entrance, exit) = (side(dice), side(dice));
            parts.push(format!("{name}: {}, {entrance}, {exit}", places[*number]));
        }
    }
    dice.shuffle(&mut parts);
    parts.join("; ")
}

fn chaperones(book: &mut Book, team: &[Member], seed: u64) {
    let mut tongues = Dice::new(seed, "tongues");
    for (at, member) in team.iter().enumerate() {
        let mut chaperone =
            row(&[("vetted until", member.vetted_until), ("adult", if member.grown { "yes" } else { "no" })]);
        chaperone.set("ref", format!("V{:03}", at + 1));
        contact(&member.adult, &mut |column, text| chaperone.set(column, text));
        if tongues.chance(BILINGUAL_SHARE) {
            let others: Vec<&DemoNames> = NAMES.iter().filter(|names| names.wants > 0.0).collect();
            let weights: Vec<f64> = others.iter().map(|names| names.weight).collect();
            chaperone.set("speaks", others[tongues.weighted(&weights)].language);
        }
        book.sheet_mut("chaperones").rows.push(chaperone);
        let yes = |flag: bool| if flag { "yes" } else { "" };
        let duty = row(&[
            ("chaperone", &member.adult.name),
            ("event", "all"),
            ("number", member.number.map_or("", |n| PLANS[n].name)),
            ("task", member.task),
            ("room", room(member)),
            ("signs in", yes(member.signs_in)),
            ("signs out", yes(member.signs_out)),
        ]);
        book.sheet_mut("duties").rows.push(duty);
    }
}

/// Where a chaperone's children wait, or where a helper stays.
fn room(member: &Member) -> &'static str {
    match member.number.map(|at| PLANS[at].dancers) {
        Some(Dancers::Band(band)) => words::BAND_ROOMS[band],
        Some(Dancers::Production | Dancers::All) => words::PRODUCTION_ROOM,
        None if member.task == QUICK_CHANGES => words::QUICK_CHANGE_ROOM,
        None => "",
    }
}

fn house_rules(book: &mut Book) {
    let rows = &mut book.sheet_mut("house rules").rows;
    for (at, (name, event, english, spanish)) in words::HOUSE_RULES.iter().enumerate() {
        for (language, text) in [("en", english), ("es", spanish)] {
            let mut rule = row(&[
                ("name", name),
                ("event", event),
                ("language", language),
                ("text", text),
                ("acknowledge", "yes"),
            ]);
            // Lines of one rule in several languages are one rule and have one ref.
            rule.set("ref", format!("R{:03}", at + 1));
            rows.push(rule);
        }
    }
}

fn translations(book: &mut Book) {
    let rows = &mut book.sheet_mut("translations").rows;
    for (text, translation) in SPANISH {
        rows.push(row(&[("text", text), ("language", "es"), ("translation", translation)]));
    }
}

fn notices(book: &mut Book) {
    let rows = &mut book.sheet_mut("notices").rows;
    for (line, grounds) in words::NOTICES {
        let mut notice = Row::default();
        notice.set("ref", format!("T{:03}", rows.len() + 1));
        for (column, text) in words::NOTICE_COLUMNS.iter().zip(line) {
            notice.set(column, *text);
        }
        notice.set("why", sentence(grounds));
        rows.push(notice);
    }
}
