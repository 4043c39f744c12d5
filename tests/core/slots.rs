//! Events by slots, who signs children in and out, and what no published time may say.

use crate::common::{self, board, book as written, with};
use allheard::demo::dice::Dice;
use allheard::domain::board::{Board, Item};
use allheard::domain::book::{Book, Problem, Weight};
use allheard::domain::day::Day;
use allheard::domain::reading;
use allheard::domain::season::{ChaperoneId, ChildId, Dismissal, EventId, NumberId, Person, Slot};
use allheard::domain::sheets::{self, Marks, SheetKind};
use jiff::ToSpan;
use std::collections::BTreeSet;

/// Random seasons held against the rules.
const SEASONS: u64 = 300;

// A studio rehearsal in which each number has its own call, a quarter of an hour before it begins, and twenty minutes. The
// children's numbers are typed in no order.
const STUDIO: &str = "
# season
setting | value
version | 1
name | The Brass Heron
school | Fenmouth Dance
zone | Europe/London
country | GB
# places
ref | name | door | sign-in minutes
P001 | Loft | side door | 5
# events
ref | name | kind | place | date | call | starts | ends | dismissal
E001 | Studio | rehearsal | Loft | 2027-03-20 | 10:00 | 10:15 | 12:30 |
E002 | Show | show | Loft | 2027-03-27 | 13:20 | 14:30 | |
# numbers
ref | name | length
N001 | Kelp | 2:00
N002 | Foghorn | 3:00
N003 | Gulls | 2:30
N004 | Ropewalk | 2:00
N005 | Lanterns | 4:00
# running order
event | place | number | minutes | call
Studio | 1 | Kelp | 20 |
Studio | 2 | Foghorn | 20 | 10:20
Studio | 3 | Gulls | 20 | 10:40
Studio | 4 | Ropewalk | 20 | 11:00
Studio | 5 | Lanterns | 20 | 11:20
Show | 1 | Kelp | |
Show | 2 | Foghorn | |
Show | 3 | Gulls | |
Show | 4 | Ropewalk | |
Show | 5 | Lanterns | |
# children
ref | given name | family name | numbers | g1 ref | g1 name | g1 mobile | g1 collects
C001 | Ada | Reed | Kelp | G001 | Rosa Reed | 07700 900001 | yes
C002 | Bo | Vale | Lanterns; Foghorn | G002 | Nora Vale | 07700 900002 | yes
C003 | Cy | Moss | Lanterns | G003 | Omar Moss | 07700 900003 | yes
C004 | Di | Hill | Ropewalk; Gulls; Kelp | G004 | Pia Hill | 07700 900004 | yes
# chaperones
ref | name
V001 | Uma Lock
V002 | Ivo Wren
V003 | Nan Quill
# duties
chaperone | event | number | signs in | signs out
Uma Lock | all | Kelp | yes | yes
Ivo Wren | all | Foghorn | yes | yes
Ivo Wren | all | Gulls | |
Nan Quill | all | Ropewalk | yes | yes
Nan Quill | all | Lanterns | yes | yes
# notices
ref | name | about | to | counted from | days before | at | by | answer owed | wording
T001 | Studio | rehearsal | everyone | call | 7 | 10:00 | text | yes | call-sheet
T002 | Show | show | everyone | call | 7 | 10:00 | text | yes | call-sheet
";

fn studio() -> Book {
    written(STUDIO)
}

/// Call, when it begins, when the child is collected, who signs in and out.
fn day_of(board: &Board, child: &str, event: &str) -> String {
    let item = board.item(child, event).unwrap();
    let it = board.itinerary(item).unwrap();
    let clock = |at: jiff::civil::DateTime| at.strftime("%H:%M").to_string();
    let who =
        |id: Option<ChaperoneId>| id.map_or("-", |c| board.season.chaperones[c.at()].reference.as_str());
    format!(
        "{} {} {} {} {}",
        clock(it.call),
        it.begins().map_or("-".to_owned(), clock),
        it.collect_from.map_or("-".to_owned(), |from| clock(from.at())),
        who(it.signs_in),
        who(it.signs_out)
    )
}

// By hand: the event begins a quarter of an hour after its call, so each slot does. Kelp 10:15-10:35, Foghorn 10:35-10:55,
// Gulls 10:55-11:15, Ropewalk 11:15-11:35, Lanterns 11:35-11:55.
#[test]
fn a_number_with_a_call_begins_after_it_and_its_children_go_after_their_slot() {
    let board = board(&studio());
    assert_eq!(day_of(&board, "C001", "E001"), "10:00 10:15 10:35 V001 V001");
    // Bo waits from Foghorn to Lanterns; it has begun before Bo is called, so that is not said.
    assert_eq!(day_of(&board, "C002", "E001"), "10:20 - 11:55 V002 V003");
    assert_eq!(day_of(&board, "C003", "E001"), "11:20 - 11:55 V003 V003");
    assert_eq!(day_of(&board, "C004", "E001"), "10:00 10:15 11:35 V001 V003");
    // The show is a show: everyone is called together and leaves after the last number.
    assert_eq!(day_of(&board, "C003", "E002"), "13:20 14:30 14:45 V003 V003");
    let day = Day::of(&board.season, EventId(0));
    assert!(day.calls().is_empty(), "no curtain goes up");
    assert_eq!(day.turns.iter().filter(|t| t.ease != allheard::domain::day::turns::Ease::Easy).count(), 0);
}

#[test]
fn a_number_waits_for_its_slot_and_for_the_one_before_it() {
    let slow = with(&studio(), "running order", "Foghorn", "minutes", "45");
    let slow = board(&slow);
    // Foghorn 10:35-11:20, so Gulls begins at 11:20 instead of 10:55.
    assert_eq!(day_of(&slow, "C004", "E001"), "10:00 10:15 12:00 V001 V003");
    let gap = board(&with(&studio(), "running order", "Lanterns", "call", "13:00"));
    assert_eq!(day_of(&gap, "C003", "E001"), "13:00 - 13:35 V003 V003");
}

#[test]
fn whoever_wants_children_to_stay_until_the_end_says_so() {
    let stays = with(&studio(), "events", "E001", "dismissal", "after the last number");
    assert_eq!(day_of(&board(&stays), "C001", "E001"), "10:00 10:15 12:30 V001 V001");
}

#[test]
fn minutes_count_by_slots_only() {
    let mut book = studio();
    let rows = &mut book.sheet_mut("running order").rows;
    rows.iter_mut().filter(|row| row.text("event") == "Show").for_each(|row| row.set("minutes", "15"));
    assert_eq!(day_of(&board(&book), "C003", "E002"), "13:20 14:30 14:45 V003 V003");
    assert!(hinted(&book, "does not go by slots").contains("'Show'"));
}

fn problems(book: &Book) -> Vec<Problem> {
    reading::season(book).1
}

fn told(book: &Book, weight: Weight, words: &str) -> String {
    let found = problems(book);
    let one = found.iter().find(|p| p.weight == weight && p.reason.contains(words));
    one.map(|p| p.reason.clone()).unwrap_or_else(|| panic!("nothing says {words:?}: {found:#?}"))
}

fn warned(book: &Book, words: &str) -> String {
    told(book, Weight::Warning, words)
}

fn hinted(book: &Book, words: &str) -> String {
    told(book, Weight::Hint, words)
}

fn refused(book: &Book, words: &str) -> String {
    told(book, Weight::Error, words)
}

#[test]
fn times_that_contradict_are_refused_and_early_ones_are_asked_about() {
    let early = with(&studio(), "events", "E001", "dismissal", "11:00");
    let early = with(&early, "events", "E001", "ends", "12:30");
    assert!(refused(&early, "before being called").contains("1 child (row 4) is dismissed"), "{early:?}");
    let cut = with(&studio(), "events", "E002", "dismissal", "14:40");
    let reason = warned(&cut, "with a number still to end");
    assert!(reason.contains("'Lanterns' at 14:4"), "{reason}");
    let late = with(&studio(), "running order", "Kelp", "call", "14:35");
    let mut late = late;
    let rows = &mut late.sheet_mut("running order").rows;
    rows.iter_mut()
        .find(|r| r.text("event") == "Show" && r.text("number") == "Kelp")
        .unwrap()
        .set("call", "14:35");
    rows.iter_mut()
        .find(|r| r.text("event") == "Studio" && r.text("number") == "Kelp")
        .unwrap()
        .set("call", "");
    assert!(refused(&late, "after their first number begins").contains("such as at 14:35 for 'Kelp'"));
    let bare = with(&studio(), "running order", "Gulls", "minutes", "");
    assert!(warned(&bare, "no minutes are written for 1 slot").contains("'Studio'"));
    let crossed = with(&studio(), "running order", "Ropewalk", "call", "10:30");
    assert!(warned(&crossed, "before the number ahead of it").contains("called at 10:30"));
}

/// The cells of the rows of one sheet, those of each table together.
fn sheet(board: &Board, event: u32, kind: SheetKind, whose: &str) -> Vec<String> {
    let all = sheets::of_event(board, EventId(event), Marks::none());
    let found = all.iter().find(|sheet| sheet.kind == kind && sheet.whose == whose).expect("the sheet");
    let mut out = Vec::new();
    for table in &found.tables {
        out.push(format!("## {}", table.heading));
        out.extend(table.rows().map(|row| row.iter().map(|c| c.to_string()).collect::<Vec<_>>().join("|")));
    }
    out
}

#[test]
fn the_paper_of_a_day_by_slots_stands_at_its_own_times() {
    let board = board(&studio());
    let wall = sheet(&board, 0, SheetKind::Wall, "");
    assert_eq!(
        &wall[1..4],
        ["1|Kelp|||10:15|20:00", "2|Foghorn||10:20|10:35|20:00", "3|Gulls||10:40|10:55|20:00"]
    );
    let door = sheet(&board, 0, SheetKind::Door, "");
    assert!(door.contains(&"## 1 child called 11:20, by given name".to_owned()), "{door:#?}");
    assert!(door.contains(&"Cy M.|11:20|Nan Quill|||".to_owned()), "{door:#?}");
    assert!(door.contains(&"11:55|2|0:20".to_owned()), "{door:#?}");
    let clipboard = sheet(&board, 0, SheetKind::Clipboard, "V003");
    assert!(clipboard[0].contains("called 11:00 · on 11:15 · until 11:35"), "{clipboard:#?}");
    let photographs = with(&studio(), "events", "E001", "kind", "photographs");
    let rows = sheet(&common::board(&photographs), 0, SheetKind::Photographs, "");
    let times: Vec<&str> = rows[1..].iter().map(|row| &row[..11]).collect();
    assert_eq!(times, ["10:00|10:15", "10:20|10:35", "10:40|10:55", "11:00|11:15", "11:20|11:35"]);
}

// Bo's numbers are typed with the last one first: the running order decides.
#[test]
fn who_signs_is_who_has_the_first_and_the_last_in_the_running_order() {
    let board = board(&studio());
    assert_eq!(day_of(&board, "C002", "E002"), "13:20 14:30 14:45 V002 V003");
    let door = sheet(&board, 1, SheetKind::Door, "");
    assert!(door.contains(&"Bo V.|13:20|Ivo Wren|||".to_owned()), "{door:#?}");
    let ivo = sheet(&board, 1, SheetKind::Clipboard, "V002");
    let bo = ivo.iter().find(|row| row.contains("Bo V.")).unwrap();
    assert!(bo.contains("|starts with you|QUICK CHANGE into 5 Lanterns, with Nan Quill|"), "{bo}");
    let nan = sheet(&board, 1, SheetKind::Clipboard, "V003");
    let bo = nan.iter().find(|row| row.contains("Bo V.")).unwrap();
    assert!(bo.contains("|–|quick change from 2 Foghorn|ends with you|☐|from 14:45 Nora Vale|"), "{bo}");
}

#[test]
fn a_child_who_goes_back_stands_on_both_clipboards() {
    let back = crate::town::set(&studio(), "signed out by", "first chaperone");
    let board = board(&back);
    assert_eq!(day_of(&board, "C002", "E002"), "13:20 14:30 14:45 V002 V002");
    let nan = sheet(&board, 1, SheetKind::Clipboard, "V003");
    let bo = nan.iter().find(|row| row.contains("Bo V.")).unwrap();
    assert!(bo.contains("|back to Ivo Wren, who signs out|"), "{bo}");
    let ivo = sheet(&board, 1, SheetKind::Clipboard, "V002");
    let at = ivo
        .iter()
        .position(|row| row == "## Back to you at the end")
        .expect("a table of those who come back");
    assert!(ivo[at + 1].starts_with("Bo V.|5 Lanterns|14:4"), "{ivo:#?}");
    assert!(ivo[at + 1].contains("|Nan Quill|from 14:45 Nora Vale|"), "{ivo:#?}");
}

#[test]
fn a_number_that_nearly_everybody_dances_is_a_finale() {
    let mut text = STUDIO.to_owned();
    let more: String = (5..=14)
        .map(|n| {
            let letter = char::from(b'A' + n as u8);
            format!("C{n:03} | Kit{letter} | Oak | Kelp; Lanterns | G{n:03} | Sam{letter} Oak | 07700 9000{n:02} | yes\n")
        })
        .collect();
    text = text.replace("# chaperones", &format!("{more}# chaperones"));
    text = text.replace("Rosa Reed", "Ros Reed").replace("| Kelp | G001", "| Kelp; Lanterns | G001");
    text = text.replace("| Ropewalk; Gulls; Kelp | G004", "| Lanterns; Ropewalk; Gulls; Kelp | G004");
    let book = written(&text);
    assert!(hinted(&book, "taken as a finale").starts_with("14 of 14 children dance it"));
    let finale = board(&book);
    // A child whose only number it is is with whoever leads it.
    assert_eq!(day_of(&finale, "C003", "E002"), "13:20 14:30 14:45 V003 V003");
    // Everybody else stays with whoever has them: nobody is with the chaperone of the finale but whose own it is.
    assert_eq!(day_of(&finale, "C005", "E002"), "13:20 14:30 14:45 V001 V001");
    let uma = sheet(&finale, 1, SheetKind::Clipboard, "V001");
    assert!(uma.iter().any(|row| row.contains("to 5 Lanterns, still with you")), "{uma:#?}");
    let paper = sheets::of_event(&finale, EventId(1), Marks::none());
    let said: String = paper
        .iter()
        .flat_map(|sheet| &sheet.tables)
        .flat_map(|t| t.rows())
        .flatten()
        .map(|c| c.to_string())
        .collect();
    assert!(!said.contains("nobody named"), "{said}");
    let is_no =
        with(&with(&book, "numbers", "N005", "worn already", "no"), "numbers", "N005", "own chaperone", "no");
    assert_eq!(day_of(&board(&is_no), "C005", "E002"), "13:20 14:30 14:45 V001 V003");
}

#[test]
fn an_event_that_nobody_is_told_of_is_found() {
    let mut silent = studio();
    silent.sheet_mut("notices").rows.retain(|row| row.text("ref") != "T001");
    assert_eq!(warned(&silent, "told nothing of 'Studio'"), "4 families are told nothing of 'Studio'");
    let decided = with(&silent, "events", "E001", "for", "chaperones only");
    assert!(problems(&decided).iter().all(|p| !p.reason.contains("families are told nothing")));
    let board = board(&decided);
    assert_eq!(board.programme.children_at(EventId(0)).count(), 0);
    assert!(board.programme.get(Person::Chaperone(ChaperoneId(0)), EventId(0)).is_some());
    assert!(sheets::of_event(&board, EventId(0), Marks::none()).is_empty(), "no sheets");
}

// A class visit is the chaperone's, unless a notice tells families of it.
#[test]
fn a_class_visit_is_the_chaperones_unless_families_are_told() {
    let class = with(&studio(), "events", "E001", "kind", "class");
    let mut class = with(&class, "notices", "T001", "about", "class");
    assert!(board(&class).season.events[0].for_families());
    class.sheet_mut("notices").rows.retain(|row| row.text("ref") != "T001");
    assert!(!board(&class).season.events[0].for_families());
    let said = with(&class, "events", "E001", "for", "families");
    assert!(board(&said).season.events[0].for_families());
}

/// A season of one rehearsal or show by chance: slots or none, calls and lengths in any size, numbers typed in any order.
fn random(seed: u64) -> Book {
    let mut dice = Dice::new(seed, "slots");
    let numbers = 2 + dice.below(8);
    let kind = ["rehearsal", "photographs", "class", "dress rehearsal", "show"][dice.below(5)];
    let dismissal = ["", "after the last number", "after own last number", "11:30", "13:00"][dice.below(5)];
    let by = ["first chaperone", "last chaperone"][dice.below(2)];
    let mut text = format!(
        "# season\nsetting | value\nversion | 1\nname | Twin\nschool | Fenmouth Dance\nzone | Europe/London\ncountry | GB\n\
         signed out by | {by}\n# places\nref | name | door\nP001 | Loft | side door\n# events\n\
         ref | name | kind | for | place | date | call | starts | ends | dismissal\n\
         E001 | Day | {kind} | families | Loft | 2027-03-20 | 10:{:02} | 10:30 | {} | {dismissal}\n# numbers\nref | name | length | worn already | own chaperone\n",
        [0, 10, 30][dice.below(3)],
        ["", "12:30"][dice.below(2)]
    );
    for n in 0..numbers {
        let mut seldom = || if dice.below(6) == 0 { "yes" } else { "no" };
        let (worn, own) = (seldom(), seldom());
        text.push_str(&format!("N{n:03} | Number {n} | {} s | {worn} | {own}\n", 40 + dice.below(400)));
    }
    text.push_str("# running order\nevent | place | number | minutes | call\n");
    let mut order: Vec<usize> = (0..numbers).collect();
    dice.shuffle(&mut order);
    for (place, n) in (1..).zip(&order) {
        let call = if dice.below(2) == 0 {
            String::new()
        } else {
            format!("{}:{:02}", 10 + dice.below(3), 5 * dice.below(12))
        };
        let minutes = if dice.below(3) == 0 { String::new() } else { (5 + dice.below(30)).to_string() };
        text.push_str(&format!("Day | {place} | Number {n} | {minutes} | {call}\n"));
    }
    text.push_str("# children\nref | given name | family name | numbers | g1 ref | g1 name | g1 mobile\n");
    for c in 0..2 + dice.below(9) {
        let mut mine: Vec<usize> = (0..numbers).filter(|_| dice.below(3) == 0).collect();
        if mine.is_empty() {
            mine.push(dice.below(numbers));
        }
        dice.shuffle(&mut mine);
        let list = mine.iter().map(|n| format!("Number {n}")).collect::<Vec<_>>().join("; ");
        let letter = char::from(b'A' + c as u8);
        text.push_str(&format!(
            "C{c:03} | Ada{letter} | Reed | {list} | G{c:03} | Rosa{letter} Reed | 07700 9000{c:02}\n"
        ));
    }
    text.push_str("# chaperones\nref | name\n");
    (0..4).for_each(|v| text.push_str(&format!("V{v:03} | Uma{} Lock\n", char::from(b'A' + v))));
    text.push_str("# duties\nchaperone | event | number | signs in | signs out\n");
    for n in 0..numbers {
        for v in 0..4_u8 {
            if dice.below(4) == 0 {
                let mut mark = || if dice.below(2) == 0 { "yes" } else { "" };
                let (signs_in, signs_out) = (mark(), mark());
                text.push_str(&format!(
                    "Uma{} Lock | Day | Number {n} | {signs_in} | {signs_out}\n",
                    char::from(b'A' + v)
                ));
            }
        }
    }
    written(&text)
}

/// The chaperones of each of a child's numbers in running order, none for those in which children stay with their own:
/// read off the workbook's season again, by another way.
fn takers(board: &Board, child: ChildId) -> Vec<BTreeSet<ChaperoneId>> {
    let stays = |number: NumberId| board.season.numbers[number.at()].own_chaperone;
    let taken = |number| if stays(number) { BTreeSet::new() } else { named(board, number) };
    danced(board, child).map(taken).collect()
}

/// Those who lead the first of a child's numbers that somebody leads: they have a child who dances nothing else.
fn leaders(board: &Board, child: ChildId) -> Option<BTreeSet<ChaperoneId>> {
    danced(board, child).map(|number| named(board, number)).find(|named| !named.is_empty())
}

fn danced(board: &Board, child: ChildId) -> impl Iterator<Item = NumberId> {
    let order = board.season.events[0].order.iter().filter_map(|slot| match slot {
        Slot::Number { number, .. } => Some(*number),
        Slot::Interval(_) => None,
    });
    order.filter(move |n| board.season.children[child.at()].castings.iter().any(|c| c.number == *n))
}

fn named(board: &Board, number: NumberId) -> BTreeSet<ChaperoneId> {
    board.season.duties.iter().filter(|d| d.number == Some(number)).map(|d| d.chaperone).collect()
}

#[test]
fn at_every_minute_exactly_one_adult_has_a_child_and_no_times_contradict() {
    let (mut read, mut slots, mut handed, mut back) = (0, 0, 0, 0);
    for seed in 0..SEASONS {
        let book = random(seed);
        let (season, problems) = reading::season(&book);
        let Some(season) = season else {
            let reasons: Vec<&str> =
                problems.iter().filter(|p| p.weight == Weight::Error).map(|p| p.reason.as_str()).collect();
            let contradicts =
                ["before being called", "after their first number begins", "dismissed before the event"];
            assert!(
                reasons.iter().all(|r| contradicts.iter().any(|c| r.contains(c))),
                "seed {seed}: {reasons:?}"
            );
            continue;
        };
        read += 1;
        let board = Board::of(season);
        let event = &board.season.events[0];
        let day = Day::of(&board.season, EventId(0));
        slots += usize::from(event.by_slots());
        let (passed, backs) = (day.hand_overs(), day.hand_backs());
        back += backs.len();
        for (child, it) in board.programme.children_at(EventId(0)) {
            let parts = day.of_child(child);
            let (first, last) = (parts[0], parts[parts.len() - 1]);
            // No published time contradicts another.
            let begins = day.clock(day.numbers[first.at].starts);
            assert!(it.call <= begins, "seed {seed}: {it:?} begins {begins}");
            if let Some(from) = it.collect_from {
                assert!(it.call <= from.at(), "seed {seed}: {it:?}");
                let off = day.clock(day.numbers[last.at].ends);
                assert!(
                    matches!(event.dismissal, Dismissal::At(_)) || off <= from.at(),
                    "seed {seed}: {it:?} off {off}"
                );
            }
            assert!(it.begins().is_none_or(|at| at >= it.call), "seed {seed}");
            if let Some(call) = day.numbers[first.at].call.filter(|_| event.by_slots()) {
                assert!(
                    day.numbers[first.at].starts >= call,
                    "seed {seed}: a number begins before its own call"
                );
            }
            // Walk through the child's day: one adult at every moment, and each passage is written down.
            let takers = takers(&board, child);
            let led = leaders(&board, child);
            let Some(at_first) = takers.iter().find(|set| !set.is_empty()).or(led.as_ref()) else {
                assert_eq!((it.signs_in, it.signs_out), (None, None), "seed {seed}");
                assert!(parts.iter().all(|part| day.with_whom(part).is_empty()));
                continue;
            };
            let mut with = at_first.clone();
            assert!(
                with.contains(&it.signs_in.unwrap()),
                "seed {seed}: signed in by whoever has the child first"
            );
            for (nth, part) in parts.iter().enumerate() {
                let before = with.clone();
                if !takers[nth].is_empty() {
                    with = takers[nth].clone();
                }
                let said: BTreeSet<ChaperoneId> = day.with_whom(part).iter().copied().collect();
                assert_eq!(said, with, "seed {seed}: {child:?} in part {nth}");
                let changes_hands = nth > 0 && before.is_disjoint(&with);
                let written = passed
                    .iter()
                    .find(|h| day.turns[h.turn].child == child && day.turns[h.turn].into == part.at);
                assert_eq!(written.is_some(), changes_hands, "seed {seed}: {child:?} into part {nth}");
                if let Some(hand_over) = written {
                    handed += 1;
                    assert_eq!(hand_over.from.iter().copied().collect::<BTreeSet<_>>(), before);
                    assert_eq!(hand_over.to.iter().copied().collect::<BTreeSet<_>>(), with);
                }
            }
            // Whoever signs a child in is there before.
            let signer = Person::Chaperone(it.signs_in.unwrap());
            let there = board.itinerary(Item { who: signer, event: Some(EventId(0)) }).unwrap();
            let lead = board.season.settings.lead_minutes.at(event.kind);
            assert!(there.call + i64::from(lead).minutes() <= it.call, "seed {seed}: {there:?} for {it:?}");
            let out = it.signs_out.unwrap();
            let back = backs.iter().find(|b| b.child == child);
            match back {
                Some(back) => {
                    assert!(back.to == out && !with.contains(&out) && at_first.contains(&out), "seed {seed}")
                }
                None => assert!(with.contains(&out), "seed {seed}: signed out by whoever has the child last"),
            }
        }
    }
    println!("{read} read, {slots} by slots, {handed} hand-overs, {back} taken back");
    assert!(read > 150 && slots > 40 && handed > 200 && back > 60, "{read} {slots} {handed} {back}");
}

#[test]
fn half_a_minute_is_no_contradiction() {
    // A number that begins at its call to the second.
    let exact = with(&studio(), "events", "E001", "call", "10:15");
    let board = board(&exact);
    let day = Day::of(&board.season, EventId(0));
    assert_eq!(day.clock(day.numbers[1].starts), board.season.events[0].date.at(10, 35, 0, 0) + 0.minutes());
}
