//! Published figures at their edges: exactly at a limit nothing is told, one more is.

use crate::common::{board, book as written, with};
use allheard::domain::book::{Book, Weight};
use allheard::domain::hours::{HoursRule, breaches};
use allheard::domain::published::{Mark, hours, ratios};
use allheard::domain::reading;
use jiff::civil::Time;

const SEASON: &str = "# season\nsetting | value\nversion | 1\nname | The Brass Heron\nschool | Fenmouth Dance\n\
    zone | Europe/London\ncountry | GB\n# places\nref | name | door\nP001 | Corn Loft | side door\n\
    # numbers\nref | name | length\nN001 | Kelp | 2:00\n# chaperones\nref | name\nV001 | Uma Lock\n";

/// One event without a running order: children are there from the call, which is the start, to the dismissal, which is
/// the announced end.
type Called = (&'static str, &'static str, &'static str, &'static str);

fn season(ages: &str, events: &[Called]) -> Book {
    let mut text = SEASON.to_owned();
    text.push_str("# events\nref | name | kind | for | place | date | call | starts | ends | dismissal\n");
    for (nth, (kind, date, call, ends)) in events.iter().enumerate() {
        text.push_str(&format!(
            "E{nth:03} | Event {nth} | {kind} | families | Corn Loft | {date} | {call} | {call} | {ends} | {ends}\n"
        ));
    }
    text.push_str(&format!(
        "# children\nref | given name | family name | ages | numbers | g1 ref | g1 name | g1 mobile\n\
         C001 | Ada | Reed | {ages} | Kelp | G001 | Rosa Reed | 07700 900001\n"
    ));
    written(&text)
}

fn table(name: &str) -> &'static hours::HoursTable {
    hours::TABLES.iter().find(|table| table.name == name).unwrap()
}

#[track_caller]
fn check(name: &str, ages: &str, events: &[Called], expect: &[(HoursRule, i64)]) {
    let board = board(&season(ages, events));
    assert_eq!(board.programme.itineraries().count(), events.len());
    let found: Vec<(HoursRule, i64)> = breaches(&board.season, &board.programme, table(name))
        .into_iter()
        .map(|breach| (breach.rule, breach.found))
        .collect();
    assert_eq!(found, expect, "{name} {ages} {events:?}");
}

/// A clock so many minutes after midnight.
fn clock(minutes: i64) -> &'static str {
    let time = Time::midnight().wrapping_add(jiff::Span::new().minutes(minutes));
    Box::leak(time.strftime("%H:%M").to_string().into_boxed_str())
}

// A day in the middle of the week, and days around a weekend; clocks change a week later.
const TUESDAY: &str = "2027-03-16";
const FRIDAY: &str = "2027-03-19";
const SATURDAY: &str = "2027-03-20";
const SUNDAY: &str = "2027-03-21";

/// At the place from late morning for exactly so many minutes, and for one more.
fn at_place(name: &str, ages: &str, minutes: i64) {
    let from = 11 * 60;
    check(name, ages, &[("photographs", TUESDAY, "11:00", clock(from + minutes))], &[]);
    let over = [(HoursRule::AtPlace, minutes + 1)];
    check(name, ages, &[("photographs", TUESDAY, "11:00", clock(from + minutes + 1))], &over);
}

/// Rehearsing without a running order for exactly so many minutes, and for one more.
fn performing(name: &str, ages: &str, date: &'static str, minutes: i64) {
    let from = 11 * 60;
    check(name, ages, &[("rehearsal", date, "11:00", clock(from + minutes))], &[]);
    let over = [(HoursRule::Performing, minutes + 1)];
    check(name, ages, &[("rehearsal", date, "11:00", clock(from + minutes + 1))], &over);
}

/// Called exactly at the earliest and a minute before; released at the latest and a minute after.
fn between(name: &str, ages: &str, date: &'static str, earliest: i64, latest: i64) {
    check(name, ages, &[("photographs", date, clock(earliest), clock(earliest + 60))], &[]);
    let early = [(HoursRule::Earliest, earliest - 1)];
    check(name, ages, &[("photographs", date, clock(earliest - 1), clock(earliest + 60))], &early);
    check(name, ages, &[("photographs", date, clock(latest - 90), clock(latest))], &[]);
    let late = [(HoursRule::Latest, latest + 1)];
    check(name, ages, &[("photographs", date, clock(latest - 90), clock(latest + 1))], &late);
}

fn overnight(name: &str) {
    let evening = ("photographs", FRIDAY, "18:00", "20:00");
    check(name, "8-9", &[evening, ("photographs", SATURDAY, "08:00", "09:00")], &[]);
    let short = [(HoursRule::Overnight, 12 * 60 - 1)];
    check(name, "8-9", &[evening, ("photographs", SATURDAY, "07:59", "09:00")], &short);
}

/// Photographs on so many days from Monday on.
fn running(days: usize) -> Vec<Called> {
    let dates = ["15", "16", "17", "18", "19", "20", "21", "22"];
    let date = |day: &&str| -> &'static str { Box::leak(format!("2027-03-{day}").into_boxed_str()) };
    dates.iter().take(days).map(|day| ("photographs", date(day), "11:00", "12:00")).collect()
}

// Children (Performances and Activities) (England) Regulations, SI 2014/3309.
#[test]
fn england() {
    for (ages, place, latest) in [("4-5", 5 * 60, 22), ("8-9", 8 * 60, 23), ("9-11", 9 * 60 + 30, 23)] {
        at_place("England", ages, place);
        between("England", ages, TUESDAY, 7 * 60, latest * 60);
    }
    performing("England", "9-11", TUESDAY, 5 * 60);
    overnight("England");
    check("England", "9-11", &running(6), &[]);
    check("England", "9-11", &running(7), &[(HoursRule::DaysRunning, 7)]);
    let (first, second) = (("show", SUNDAY, "14:00", "16:00"), ("show", SUNDAY, "17:30", "18:30"));
    check("England", "9-11", &[first, second], &[]);
    let second = ("show", SUNDAY, "17:29", "18:30");
    check("England", "9-11", &[first, second], &[(HoursRule::BetweenShows, 89)]);
    check("England", "9-11", &[first, ("rehearsal", SUNDAY, "17:29", "18:30")], &[]);
    check("England", "17-18", &[("show", SUNDAY, "04:30", "16:00")], &[]);
}

// Children (Performances and Activities) (Scotland) Regulations, SSI 2014/372.
#[test]
fn scotland() {
    for (ages, place, stage, earliest, latest) in
        [("3-4", 5 * 60, 2 * 60, 8, 20), ("5-6", 8 * 60, 3 * 60, 7, 23), ("9-11", 9 * 60 + 30, 4 * 60, 7, 23)]
    {
        at_place("Scotland", ages, place);
        performing("Scotland", ages, TUESDAY, stage);
        between("Scotland", ages, TUESDAY, earliest * 60, latest * 60);
    }
    overnight("Scotland");
    check("Scotland", "9-11", &running(6), &[]);
    check("Scotland", "9-11", &running(7), &[(HoursRule::DaysRunning, 7)]);
}

// California Labor Code 1308.7 and 8 CCR 11760; half an hour at the place is a meal.
#[test]
fn california() {
    for (ages, place, school, none) in
        [("3-4", 6, 3, 3), ("6-8", 8, 4, 6), ("9-11", 9, 5, 7), ("16-17", 10, 6, 8)]
    {
        at_place("California", ages, place * 60 + 30);
        performing("California", ages, TUESDAY, school * 60);
        performing("California", ages, SATURDAY, none * 60);
        between("California", ages, TUESDAY, 5 * 60, 22 * 60);
    }
    between("California", "9-11", FRIDAY, 5 * 60, 24 * 60 + 30);
    between("California", "9-11", SUNDAY, 5 * 60, 22 * 60);
    overnight("California");
}

// 12 NYCRR Part 186, live performance.
#[test]
fn new_york() {
    between("New York", "3-4", TUESDAY, 5 * 60, 24 * 60);
    between("New York", "15-17", SATURDAY, 5 * 60, 24 * 60 + 30);
    overnight("New York");
}

// Hours page of the NSW Office of the Children's Guardian, 2015.
#[test]
fn new_south_wales() {
    for (ages, hours, latest) in [("3-4", 4, 21), ("6-7", 6, 22), ("8-9", 8, 23)] {
        at_place_and_performing("New South Wales", ages, hours * 60);
        between("New South Wales", ages, TUESDAY, 6 * 60, latest * 60);
    }
    overnight("New South Wales");
    check("New South Wales", "8-9", &running(4), &[]);
    check("New South Wales", "8-9", &running(5), &[(HoursRule::DaysInWeek, 5)]);
    check("New South Wales", "2-3", &running(5), &[]);
}

/// The same figure for both.
fn at_place_and_performing(name: &str, ages: &str, minutes: i64) {
    let from = 11 * 60;
    check(name, ages, &[("rehearsal", TUESDAY, "11:00", clock(from + minutes))], &[]);
    let over = [(HoursRule::AtPlace, minutes + 1), (HoursRule::Performing, minutes + 1)];
    check(name, ages, &[("rehearsal", TUESDAY, "11:00", clock(from + minutes + 1))], &over);
}

#[test]
fn two_stays_of_a_day_are_added_and_an_overlap_is_counted_once() {
    let morning = ("photographs", TUESDAY, "09:00", "12:00");
    check("England", "4-5", &[morning, ("photographs", TUESDAY, "13:00", "15:00")], &[]);
    check(
        "England",
        "4-5",
        &[morning, ("photographs", TUESDAY, "13:00", "15:01")],
        &[(HoursRule::AtPlace, 301)],
    );
    check("England", "4-5", &[morning, ("photographs", TUESDAY, "11:00", "14:00")], &[]);
    check("England", "4-5", &[morning, ("class", TUESDAY, "13:00", "16:00")], &[]);
}

#[test]
fn rest_is_counted_in_hours_that_passed() {
    // Clocks go forward on the night to 28 March 2027: twelve hours by the clock are eleven.
    let evening = ("photographs", "2027-03-27", "18:00", "20:00");
    check("England", "8-9", &[evening, ("photographs", "2027-03-28", "09:00", "10:00")], &[]);
    check(
        "England",
        "8-9",
        &[evening, ("photographs", "2027-03-28", "08:00", "10:00")],
        &[(HoursRule::Overnight, 11 * 60)],
    );
}

/// The season with settings.
fn declared(book: &Book, settings: &[(&str, &str)]) -> Book {
    settings.iter().fold(book.clone(), |book, (name, value)| crate::day::set(&book, name, value))
}

const WHO: &str = "the school's lead, 9 January 2027";

#[test]
fn the_check_tells_what_is_beyond_a_limit_whose_it_is_and_who_chose_it() {
    let late = season("4-5", &[("photographs", TUESDAY, "20:00", "22:25")]);
    let told = |book: &Book| -> Vec<_> {
        let (season, problems) = reading::season(book);
        assert!(season.is_some(), "{problems:#?}");
        problems
            .into_iter()
            .filter(|p| p.reason.contains("England") || p.reason.contains("hours limits"))
            .collect()
    };
    assert!(told(&late).is_empty(), "off by default");
    let on = declared(&late, &[("hours limits", "england"), ("hours limits set by", WHO)]);
    let [problem] = &told(&on)[..] else { panic!("{:#?}", told(&on)) };
    assert_eq!((problem.weight, &problem.sheet[..], problem.row), (Weight::Warning, "events", Some(2)));
    assert_eq!(
        problem.reason,
        "1 child (row 2) released as late as 22:25 after 'Event 0'; 22:00 is the latest at ages 0 to 4 in England: Children \
         (Performances and Activities) (England) Regulations, SI 2014/3309, by way of a children's-arts licensing note, 2014 \
         (second-hand)"
    );
    for words in [WHO, "It is advice", "local law decide", "youngest of its band"] {
        assert!(problem.cure.contains(words), "{problem:?}");
    }
    let ageless = with(&on, "children", "C001", "ages", "");
    let [problem] = &told(&ageless)[..] else { panic!("{:#?}", told(&ageless)) };
    assert!(problem.reason.contains("the workbook has no ages for 1 child (row 2)"), "{problem:?}");
}

#[test]
fn a_table_needs_its_name_and_a_person() {
    let book = season("4-5", &[("photographs", TUESDAY, "11:00", "12:00")]);
    for (setting, set_by, name, near) in [
        ("ratio table", "ratio set by", "NSPC", "'NSPCC'"),
        ("hours limits", "hours limits set by", "Scottland", "'Scotland'"),
    ] {
        let fails = |settings: &[(&str, &str)], words: &str, cure: &str| {
            let (season, problems) = reading::season(&declared(&book, settings));
            assert!(season.is_none(), "{settings:?}");
            let problem = problems.iter().find(|p| p.sheet == "season" && p.reason.contains(words));
            let problem = problem.unwrap_or_else(|| panic!("{words}: {problems:#?}"));
            assert!(problem.weight == Weight::Error && problem.row == Some(99) || problem.row.is_none());
            assert!(problem.cure.contains(cure), "{problem:?}");
        };
        fails(&[(setting, name)], "is not a table this program knows", near);
        let known = near.trim_matches('\'');
        fails(&[(setting, known)], &format!("{set_by}: {known} is named"), "Write who decided it and when");
    }
}

#[test]
fn ratios_by_the_youngest_in_the_room() {
    let check = |name: &str, youngest: Option<u8>, expect: &[(usize, usize)]| {
        let table = ratios::TABLES.iter().find(|table| table.name == name).unwrap();
        for (children, adults) in expect {
            let found = table.adults(*children, youngest).map(|(adults, _)| adults);
            assert_eq!(found, Some(*adults), "{name} {youngest:?} {children}");
        }
        assert_eq!(table.adults(1, youngest).is_none(), expect.is_empty(), "{name} {youngest:?}");
    };
    // NSPCC Learning: 1 to 3, 4, 6, 8, 10, and at least two adults.
    check("NSPCC", Some(1), &[(1, 2), (6, 2), (7, 3)]);
    check("NSPCC", Some(2), &[(1, 2), (8, 2), (9, 3)]);
    check("NSPCC", Some(3), &[(8, 2), (9, 3)]);
    check("NSPCC", Some(4), &[(12, 2), (13, 3)]);
    check("NSPCC", Some(8), &[(12, 2), (13, 3)]);
    check("NSPCC", Some(9), &[(16, 2), (17, 3)]);
    check("NSPCC", Some(13), &[(20, 2), (21, 3)]);
    check("NSPCC", Some(19), &[]);
    check("NSPCC", None, &[]);
    // Early years foundation stage: 1 to 3, 4, 8.
    check("early years England", Some(1), &[(3, 1), (4, 2)]);
    check("early years England", Some(2), &[(4, 1), (5, 2)]);
    check("early years England", Some(5), &[(8, 1), (9, 2)]);
    check("early years England", Some(6), &[]);
    // SI 2014/3309: twelve to a chaperone, whatever their ages.
    check("England performance", None, &[(12, 1), (13, 2)]);
    check("England performance", Some(3), &[(12, 1), (13, 2)]);
    // NSW Office of the Children's Guardian: 2, 5, 10.
    check("New South Wales", Some(2), &[(2, 1), (3, 2)]);
    check("New South Wales", Some(5), &[(5, 1), (6, 2)]);
    check("New South Wales", Some(6), &[(10, 1), (11, 2)]);
    // 12 NYCRR Part 186: one adult to twenty.
    check("New York", None, &[(20, 1), (21, 2)]);
}

#[test]
fn a_room_is_held_against_the_table_by_its_youngest() {
    // The Net Store holds Ada (5-6), Bo (9-10) and Cy (7-8) with Uma and Vic until 18:55: enough by one to two, and by one to
    // six; Di (3-4) in the Sail Loft has Wyn alone, and two adults are the least.
    let evening = crate::rooms::evening();
    let found = |book: &Book, room: &str| -> Option<String> {
        let (season, problems) = reading::season(book);
        assert!(season.is_some(), "{problems:#?}");
        problems
            .into_iter()
            .map(|p| p.reason)
            .find(|r| r.starts_with(&format!("'{room}' has too few adults")))
    };
    let nspcc = declared(&evening, &[("ratio table", "nspcc"), ("ratio set by", WHO)]);
    assert_eq!(
        found(&nspcc, "Sail Loft").unwrap(),
        "'Sail Loft' has too few adults (4 children to an adult and two adults at least, the youngest in the room being 3: NSPCC \
         Learning, recommended adult to child ratios for voluntary groups, 2023; chosen by the school's lead, 9 January 2027): 1 \
         child with 0 adults counted at 'Saturday' from 19:00 for 86 minutes, where 2 would be needed"
    );
    let booth = found(&nspcc, "Booth").unwrap();
    assert!(
        booth.contains("(6 children")
            && booth.contains("with 1 adult counted")
            && booth.contains("where 2 would"),
        "{booth}"
    );
    // The season's own figure is the stricter one with three children and two adults of one to one.
    let strict = declared(&nspcc, &[]);
    let strict = with(&strict, "season", "children per adult", "value", "1");
    let reason = found(&strict, "Net Store").unwrap();
    assert!(
        reason.contains("(1 child to an adult: the setting") && reason.contains("where 3 would be needed"),
        "{reason}"
    );
    // No ages: a table by age says nothing, and that is told once.
    let mut ageless = nspcc.clone();
    ageless.sheet_mut("children").rows.iter_mut().for_each(|row| row.set("ages", ""));
    assert!(found(&ageless, "Booth").is_none());
    let problems = reading::season(&ageless).1;
    assert!(
        problems
            .iter()
            .any(|p| p.reason.starts_with("the workbook has no ages for 5 children (rows 2, 3, 4, 5 and 6)"))
    );
}

#[test]
fn every_figure_has_a_source_and_says_when_only_a_summary_was_read() {
    let mut sources: Vec<_> =
        ratios::TABLES.iter().flat_map(|table| table.rows).map(|row| row.source).collect();
    for table in hours::TABLES {
        for band in table.bands {
            let limits = [
                band.at_place,
                band.performing,
                band.performing_no_school,
                band.earliest,
                band.latest,
                band.latest_no_school,
                band.between_shows,
                table.overnight,
            ];
            sources.extend(limits.iter().flatten().map(|limit| limit.source));
        }
        sources.extend(table.days_running.iter().chain(&table.days_in_week).map(|days| days.source));
    }
    assert!(sources.len() > 60, "{}", sources.len());
    for source in &sources {
        assert!(!source.body.is_empty() && !source.document.is_empty());
        assert_eq!(source.words().contains("second-hand"), source.mark == Mark::SecondHand);
        let summed_up = ["sums it up", "sum it up", "sum them up", "by way of"]
            .iter()
            .any(|w| source.document.contains(w));
        assert!(!summed_up || source.mark == Mark::SecondHand, "{}", source.words());
    }
    assert!(sources.iter().any(|source| source.mark == Mark::Seen));
}
