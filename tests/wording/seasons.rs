//! What families read in 300 random seasons, held by the checker that shares no code with the program: who writes, what is
//! asked, the time, the door, the names of those who sign; and after a change the new time.

#![allow(clippy::unwrap_used, reason = "a helper of a test may fail the test")]

use super::wording;
use allheard::audit::{Ledger, Line, Violations, count};
use allheard::demo::dice::Dice;
use allheard::domain::board::Board;
use allheard::domain::book::{Book, Weight};
use allheard::domain::facts::{Facts, Fingerprint};
use allheard::domain::plan::{self, Wanted};
use allheard::domain::reading;
use allheard::domain::record::{Ask, Record};
use allheard::domain::season::Channel;
use allheard::domain::segments::{self, Encoding};
use allheard::domain::standing;
use allheard::gateway::mail::{self, Identity};
use allheard::service::composing::preview;
use allheard::service::office::Ways;
use allheard::service::ports::{Content, Parcel};
use allheard::service::wording::Wording;
use allheard::workbook::blank;
use jiff::{SignedDuration, Timestamp};
use std::collections::{BTreeMap, HashMap};
use std::fs;
use tempfile::TempDir;

#[path = "../common/mod.rs"]
mod common;

/// Random seasons held against the rules.
const SEASONS: u64 = 300;
/// When a season's workbook is brought.
const START: &str = "2027-02-20T10:00:00Z";
/// When it is brought again, changed.
const CHANGED: &str = "2027-03-18T11:00:00Z";
/// Characters of the longest subject (RFC 5322 2.1.1: a line should have no more).
const SUBJECT: usize = 78;

const CHILDREN: [&str; 8] = ["Ada", "Zoë", "Inés", "Łucja", "Bo", "Anna-Mae", "D'Arcy", "Óscar"];
const DOORS: [&str; 4] =
    ["side door in Mill Row", "stage door", "puerta de artistas", "the green gate, Løkke Lane"];

/// A season by chance: events of every kind, families with one guardian or two, brothers and sisters, telephones shared,
/// in two languages, with or without a short name.
fn random(seed: u64) -> Book {
    let mut dice = Dice::new(seed, "wording");
    let (starting, mut book) = (blank(), Book::default());
    for sheet in ["notices", "house rules"] {
        book.sheet_mut(sheet).rows = starting.rows(sheet).to_vec();
    }
    for (nth, row) in (1..).zip(&mut book.sheet_mut("notices").rows) {
        row.set("ref", format!("T{nth:03}"));
    }
    let short = ["", "short name | Fenmouth\n", "short name | FMD Dance\n"][dice.below(3)];
    let (country, zone) =
        [("GB", "Europe/London"), ("US", "Europe/London"), ("ES", "Europe/Madrid")][dice.below(3)];
    let by = ["first chaperone", "last chaperone"][dice.below(2)];
    let mut text = format!(
        "# season\nsetting | value\nversion | 1\nname | The Brass Heron\nschool | Fenmouth Dance\n{short}zone | {zone}\n\
         country | {country}\ntelephone | +44 1632 960100\nsigned out by | {by}\n# places\nref | name | door\n"
    );
    for place in 0..2 {
        let door = DOORS[dice.below(DOORS.len())];
        text.push_str(&format!("P00{place} | House {place} | {door}\n"));
    }
    text.push_str("# ways\nplace | from | walk minutes\n");
    for place in 0..2 {
        if dice.below(3) > 0 {
            text.push_str(&format!(
                "House {place} | Quay car park | {}\n",
                ["4", "9", "12-18"][dice.below(3)]
            ));
        }
    }
    text.push_str(
        "# events\nref | name | kind | for | place | date | call | starts | ends | dismissal | arrive ready | bring\n",
    );
    let kinds = ["class", "rehearsal", "photographs", "dress rehearsal", "show", "show"];
    for (nth, kind) in kinds.iter().enumerate() {
        if *kind != "show" && dice.below(3) == 0 {
            continue;
        }
        let (hour, minute) = (9 + dice.below(9), [0, 10, 35][dice.below(3)]);
        let dismissal = if ["show", "dress rehearsal"].contains(kind) {
            ["after the last number", "after own last number"][dice.below(2)]
        } else {
            ["after the last number", "after own last number", ""][dice.below(3)]
        };
        text.push_str(&format!(
            "E{nth:03} | Day {nth} | {kind} | families | House {} | 2027-03-{:02} | {hour:02}:{minute:02} | {:02}:45 | {:02}:45 | \
             {dismissal} | {} | {}\n",
            dice.below(2),
            20 + nth,
            hour + usize::from(minute == 35 || dice.below(2) == 0),
            hour + 4,
            ["", "hair up; black tights"][dice.below(2)],
            ["", "water"][dice.below(2)],
        ));
    }
    let numbers = 2 + dice.below(6);
    text.push_str("# numbers\nref | name | length | pieces\n");
    for n in 0..numbers {
        let pieces = ["", "grey coat; belt"][dice.below(2)];
        let length = format!("{}:{:02}", dice.below(5), 20 + dice.below(40));
        text.push_str(&format!("N{n:03} | Number {n} | {length} | {pieces}\n"));
    }
    let events: Vec<usize> =
        (0..kinds.len()).filter(|nth| text.contains(&format!("\nE{nth:03} |"))).collect();
    text.push_str("# running order\nevent | place | number\n");
    for event in &events {
        let mut order: Vec<usize> = (0..numbers).collect();
        dice.shuffle(&mut order);
        for (place, n) in (1..).zip(&order) {
            text.push_str(&format!("Day {event} | {place} | Number {n}\n"));
        }
    }
    families(&mut dice, numbers, &mut text);
    text.push_str("# chaperones\nref | name | mobile | texts | e-mail | agreed\n");
    (0..4_u8).for_each(|v| {
        let letter = char::from(b'A' + v);
        text.push_str(&format!(
            "V{v:03} | Uma{letter} Lock | +44 7700 90090{v} | yes | uma{v}@example.com | form\n"
        ));
    });
    text.push_str("# duties\nchaperone | event | number | signs in | signs out\n");
    for n in 0..numbers {
        let letter = char::from(b'A' + u8::try_from(dice.below(4)).unwrap());
        text.push_str(&format!("Uma{letter} Lock | all | Number {n} | yes | yes\n"));
    }
    let given = common::book(&text);
    for sheet in
        ["season", "places", "ways", "events", "numbers", "running order", "children", "chaperones", "duties"]
    {
        book.sheet_mut(sheet).rows = given.rows(sheet).to_vec();
    }
    book
}

fn families(dice: &mut Dice, numbers: usize, text: &mut String) {
    text.push_str(
        "# children\nref | given name | family name | numbers | g1 ref | g1 name | g1 mobile | g1 texts | g1 e-mail | \
         g1 language | g1 agreed | g1 collects | g2 ref | g2 name | g2 mobile | g2 texts | g2 agreed\n",
    );
    let mut child = 0;
    for family in 0..2 + dice.below(5) {
        let language = ["", "es"][dice.below(2)];
        let (texts, mail) = [("yes", "@"), ("yes", ""), ("no", "@")][dice.below(3)];
        let mail = if mail.is_empty() { String::new() } else { format!("g{family}@example.com") };
        // The second guardian has no telephone, one of their own, or the same.
        let second = match dice.below(3) {
            0 => String::from("| | | |"),
            1 => format!("G1{family:02} | Omar Reed{family} | +44 7700 9001{family:02} | yes | form"),
            _ => format!("G1{family:02} | Omar Reed{family} | +44 7700 9000{family:02} | {texts} | form"),
        };
        for _ in 0..1 + dice.below(3) {
            let mut mine: Vec<usize> = (0..numbers).filter(|_| dice.below(3) == 0).collect();
            if mine.is_empty() {
                mine.push(dice.below(numbers));
            }
            dice.shuffle(&mut mine);
            let list = mine.iter().map(|n| format!("Number {n}")).collect::<Vec<_>>().join("; ");
            let name = CHILDREN[dice.below(CHILDREN.len())];
            text.push_str(&format!(
                "C{child:03} | {name} | Reed{family}{child} | {list} | G0{family:02} | Rosa Reed{family} | +44 7700 9000{family:02} | \
                 {texts} | {mail} | {language} | form | yes | {second}\n"
            ));
            child += 1;
        }
    }
}

/// A season's messages, sent on the minute to a folder; nobody answers.
struct Sending<'a> {
    wording: &'a Wording,
    ways: &'a Ways,
    outbox: TempDir,
    ledger: Vec<Line>,
    record: Record,
    old: HashMap<Fingerprint, Facts>,
    texts: usize,
    mails: usize,
    changes: usize,
    dear: usize,
}

impl Sending<'_> {
    /// Sends what is due before an instant.
    fn send(&mut self, board: &Board, wanted: &[Wanted], now: Timestamp, before: Timestamp) {
        for message in wanted.iter().filter(|message| message.due.max(now) < before) {
            let at = message.due.max(now);
            let content = preview((board, &self.record), &self.old, self.wording, message, self.ways, at);
            let content = content.unwrap_or_else(|fault| panic!("{fault}"));
            self.rules(message, &content);
            self.write(board, message, content, at);
            self.note(board, message, at);
        }
    }

    /// What the checker does not look at.
    fn rules(&mut self, message: &Wanted, content: &Content) {
        self.changes += usize::from(message.wording == "change");
        match content {
            Content::Text(text) => {
                self.texts += 1;
                let counted = segments::count(text);
                // Beyond two segments goes only a text with a letter outside the alphabet of texts.
                if counted.segments.len() > 2 {
                    self.dear += 1;
                    assert!(counted.encoding == Encoding::Ucs2, "{text}");
                }
                assert!(!text.contains(['\n', '\r']), "{text}");
            }
            Content::Mail(mail) => {
                self.mails += 1;
                assert!(mail.subject.chars().count() <= SUBJECT, "{}", mail.subject);
                assert!(mail.text.contains("Fenmouth Dance") && mail.html.contains("Fenmouth Dance"));
                let (pages, answers) = (self.ways.pages_public, self.ways.reply_by_mail);
                let asked = match (pages, answers) {
                    (true, _) => mail.text.contains("http://127.0.0.1:8420/r/"),
                    (false, true) => ["YES", "SÍ"].iter().any(|word| mail.text.contains(word)),
                    (false, false) => mail.text.matches("960100").count() > 1,
                };
                assert!(!message.owes || asked, "{}", mail.text);
            }
        }
    }

    fn write(&mut self, board: &Board, message: &Wanted, content: Content, at: Timestamp) {
        let to = standing::address(board, &self.record, message.guardians[0], message.channel);
        let to = to.expect("planned messages have an address").to_owned();
        let parcel = Parcel { message: 1, to, reference: message.key.clone(), at, content };
        let key = &message.key;
        let (name, octets) = match &parcel.content {
            Content::Text(text) => {
                let file = format!("To: {}\nDate: {at}\nReference: {key}\n\n{text}\n", parcel.to);
                (format!("texts/{key}.txt"), file.into_bytes())
            }
            Content::Mail(mail) => {
                let built = mail::build(&parcel, mail, &identity()).expect("a mail");
                (format!("mail/new/{key}.eml"), built.formatted())
            }
        };
        fs::write(self.outbox.path().join(name), octets).expect("a file");
    }

    fn note(&mut self, board: &Board, message: &Wanted, at: Timestamp) {
        let guardian =
            |g: &allheard::domain::season::GuardianId| board.season.guardians[g.at()].reference.clone();
        let items = message.parts.iter().map(|(item, notice)| {
            let (child, event) = board.item_refs(*item);
            format!("{child}/{event}/{}", plan::notice_word(board, *notice).split(' ').next().unwrap_or(""))
        });
        let about = [
            ("message", message.key.clone()),
            ("channel", message.channel.word().to_owned()),
            ("guardians", message.guardians.iter().map(guardian).collect::<Vec<_>>().join(" ")),
            ("items", items.collect::<Vec<_>>().join(" ")),
        ];
        let about = about.into_iter().map(|(name, value)| (name.to_owned(), value)).collect();
        self.ledger.push(Line { at, kind: "attempting".to_owned(), about });
        for (item, notice) in &message.parts {
            let facts = board.fingerprint(*item);
            self.old.entry(facts).or_insert_with(|| board.facts(*item).clone());
            for guardian in &message.guardians {
                let ask = Ask { guardian: *guardian, item: *item, notice: *notice, channel: message.channel };
                let told = plan::tells(board, *notice).then_some(facts);
                self.record.went(ask, told, plan::covers(board, *item, *notice), at);
                if message.channel == Channel::Text {
                    let number = standing::address(board, &self.record, *guardian, Channel::Text);
                    self.record.texted.extend(number.map(str::to_owned));
                }
            }
        }
    }
}

fn identity() -> Identity {
    Identity {
        plus: true,
        from: "Fenmouth Dance <season@school.example>".parse().unwrap(),
        reply_to: None,
        bounces: "bounces@school.example".parse().unwrap(),
        domain: "school.example".to_owned(),
    }
}

/// Another call, ten minutes earlier, and another door.
fn changed(book: &Book, dice: &mut Dice) -> Book {
    let mut book = book.clone();
    let rows = &mut book.sheet_mut("events").rows;
    let at = dice.below(rows.len());
    let call: jiff::civil::Time = rows[at].text("call").parse().unwrap();
    let earlier = call - SignedDuration::from_mins(10);
    rows[at].set("call", earlier.strftime("%H:%M").to_string());
    let doors = &mut book.sheet_mut("places").rows;
    if dice.below(2) == 0 {
        doors[0].set("door", "yard gate in Salt Lane");
    }
    book
}

#[test]
fn three_hundred_seasons_say_who_writes_what_is_asked_when_and_at_which_door() {
    let wording = wording();
    let (start, then): (Timestamp, Timestamp) = (START.parse().unwrap(), CHANGED.parse().unwrap());
    let (mut seasons, mut texts, mut mails, mut changes, mut dear) = (0, 0, 0, 0, 0);
    for seed in 0..SEASONS {
        let mut dice = Dice::new(seed, "ways");
        let book = random(seed);
        let (season, problems) = reading::season(&book);
        let Some(season) = season else {
            let errors: Vec<_> =
                problems.iter().filter(|p| p.weight == Weight::Error).map(|p| &p.reason).collect();
            // Times by chance may contradict.
            assert!(errors.iter().all(|reason| reason.contains("before")), "seed {seed}: {errors:?}");
            continue;
        };
        let ways = Ways {
            pages_public: dice.below(3) > 0,
            reply_by_text: dice.below(2) == 0,
            reply_by_mail: dice.below(2) == 0,
            ..Ways::default()
        };
        let outbox = TempDir::new().expect("a folder");
        for folder in ["mail/new", "texts"] {
            fs::create_dir_all(outbox.path().join(folder)).expect("a folder");
        }
        let mut sending = Sending {
            wording: &wording,
            ways: &ways,
            outbox,
            ledger: Vec::new(),
            record: Record::default(),
            old: HashMap::new(),
            texts: 0,
            mails: 0,
            changes: 0,
            dear: 0,
        };
        let before = Board::of(season);
        sending.send(&before, &plan::plan(&before, &sending.record, start), start, then);
        let mut books = vec![(start, book.clone())];
        let new = changed(&book, &mut dice);
        let board = match reading::season(&new).0 {
            Some(season) => {
                books.push((then, new));
                sending.record.revised_at = then;
                Board::of(season)
            }
            None => before,
        };
        let later = then + SignedDuration::from_hours(24 * 60);
        sending.send(&board, &plan::plan(&board, &sending.record, then), then, later);
        let over = Line { at: later, kind: "season".to_owned(), about: BTreeMap::new() };
        sending.ledger.push(over);
        let found = count(&books, sending.outbox.path(), &Ledger::of(&sending.ledger));
        assert_eq!(found, Violations::default(), "seed {seed}: {:#?}", found.examples);
        seasons += 1;
        texts += sending.texts;
        mails += sending.mails;
        changes += sending.changes;
        dear += sending.dear;
    }
    println!(
        "{seasons} seasons, {texts} texts, {mails} mails, {changes} of a change, {dear} texts beyond two segments"
    );
    assert!(seasons >= 250 && texts > 5_000 && changes > 500, "{seasons} {texts} {mails} {changes}");
}
