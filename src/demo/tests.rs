//! The demo season holds what it promises: sizes, planted cases, and nothing that could be somebody's.

use super::numbers::{BANDS, Dancers, FINALE, FIRST_ACT, PLANS};
use super::planted::*;
use super::season::book;
use super::words::*;
use crate::domain::book::{Book, Cell, Row, Weight};
use crate::domain::layout::{self, ColumnKind};
use std::collections::{BTreeMap, BTreeSet};

const SEEDS: [u64; 4] = [1, 7, 42, 2027];

fn numbers(child: &Row) -> Vec<usize> {
    let names = child.text("numbers").split(';').map(|part| part.split(':').next().unwrap_or("").trim());
    let at = |name| PLANS.iter().position(|p| p.name == name).unwrap_or_else(|| panic!("{name}"));
    let mut numbers: Vec<usize> = names.map(at).collect();
    numbers.sort_unstable();
    numbers
}

fn guardians(book: &Book) -> Vec<(&Row, usize)> {
    let all = book.rows("children").iter().flat_map(|row| (1..=4).map(move |nth| (row, nth)));
    all.filter(|(row, nth)| !row.text(&format!("guardian {nth} name")).is_empty()).collect()
}

fn cell<'a>(guardian: &(&'a Row, usize), column: &str) -> &'a str {
    guardian.0.text(&format!("guardian {} {column}", guardian.1))
}

fn child<'a>(book: &'a Book, name: &str) -> &'a Row {
    let found = book
        .rows("children")
        .iter()
        .find(|r| format!("{} {}", r.text("given name"), r.text("family name")) == name);
    found.unwrap_or_else(|| panic!("no child {name}"))
}

fn guardian<'a>(book: &'a Book, name: &str) -> Vec<(&'a Row, usize)> {
    let found: Vec<_> = guardians(book).into_iter().filter(|g| cell(g, "name") == name).collect();
    assert!(!found.is_empty(), "no guardian {name}");
    found
}

#[test]
fn the_same_seed_gives_the_same_book_and_another_seed_another() {
    assert_eq!(book(7), book(7));
    assert_ne!(book(7), book(8));
}

#[test]
fn sizes_are_as_promised() {
    for seed in SEEDS {
        let book = book(seed);
        assert_eq!(book.rows("children").len(), 350);
        assert_eq!(book.rows("numbers").len(), 44);
        assert_eq!(book.rows("chaperones").len(), 80);
        assert_eq!(book.rows("events").len(), 6);
        let refs: BTreeSet<&str> = guardians(&book).iter().map(|g| cell(g, "ref")).collect();
        assert!((520..=575).contains(&refs.len()), "{} guardians", refs.len());
        let families: BTreeSet<BTreeSet<&str>> = book
            .rows("children")
            .iter()
            .map(|row| guardians(&book).iter().filter(|g| g.0 == row).map(|g| cell(g, "ref")).collect())
            .collect();
        assert_eq!(families.len(), 280);
        let shares = guardians(&book).len() as f64 / 350.0;
        assert!((1.8..2.1).contains(&shares), "{shares} guardians a child");
    }
}

#[test]
fn numbers_are_filled_as_the_trade_fills_them() {
    for seed in SEEDS {
        let book = book(seed);
        let mut sizes = vec![0usize; PLANS.len()];
        let (mut places, mut quick) = (0, 0);
        for row in book.rows("children") {
            let list = numbers(row);
            assert_eq!(list.last(), Some(&FINALE));
            places += list.len() - 1;
            quick += usize::from(list.windows(2).any(|w| w[1] - w[0] < 4 && w[1] != FINALE));
            list.iter().for_each(|n| sizes[*n] += 1);
        }
        assert!((1.45..1.75).contains(&(places as f64 / 350.0)), "{places} places");
        assert!((14..=38).contains(&quick), "{quick} quick changes");
        for (at, size) in sizes.into_iter().enumerate() {
            let fits = match PLANS[at].dancers {
                Dancers::Production => 40..=60,
                Dancers::All => 350..=350,
                Dancers::Band(0) => 6..=10,
                Dancers::Band(_) => 6..=20,
            };
            assert!(fits.contains(&size), "seed {seed}: {size} in {}", PLANS[at].name);
        }
    }
}

#[test]
fn ages_channels_languages_and_households_have_the_shares_assumed() {
    for seed in SEEDS {
        let book = book(seed);
        for band in BANDS {
            let count = book.rows("children").iter().filter(|r| r.text("ages") == band.ages).count();
            assert!(count.abs_diff(350 * band.share / 100) <= 1, "{count} of {}", band.ages);
        }
        let all = guardians(&book);
        let share = |test: &dyn Fn(&(&Row, usize)) -> bool| {
            all.iter().filter(|g| test(g)).count() as f64 / all.len() as f64
        };
        let both = share(&|g| cell(g, "texts") == "yes" && cell(g, "mails") == "yes");
        assert!((0.75..0.90).contains(&both), "both roads {both}");
        let asked = share(&|g| !cell(g, "language").is_empty());
        assert!((0.04..0.15).contains(&asked), "another language {asked}");
        let apart = book.rows("children").iter().filter(|row| {
            let homes: BTreeSet<&str> = (1..=4)
                .map(|n| row.text(&format!("guardian {n} household")))
                .filter(|h| !h.is_empty())
                .collect();
            homes.len() > 1
        });
        let apart = apart.count() as f64 / 350.0;
        assert!((0.11..0.27).contains(&apart), "two households {apart}");
        let new = book.rows("children").iter().filter(|row| row.text("new") == "yes").count();
        assert!((20..70).contains(&new), "{new} new children");
        let bilingual = book.rows("chaperones").iter().filter(|row| !row.text("speaks").is_empty()).count();
        assert!((4..25).contains(&bilingual), "{bilingual} chaperones with another language");
    }
}

#[test]
fn every_cell_is_of_its_kind_and_every_ref_is_filled() {
    let book = book(7);
    for sheet in &book.sheets {
        let layout = layout::sheet(&sheet.name).unwrap();
        let mut refs = BTreeSet::new();
        for (row, number) in sheet.rows.iter().zip(2..) {
            assert_eq!(row.number, number);
            if let Some(letter) = layout.letter {
                assert!(
                    row.text("ref").starts_with(letter)
                        && refs.insert((row.text("ref"), row.text("language"))),
                    "{} {number}",
                    sheet.name
                );
            }
            assert!(
                row.cells.keys().all(|name| layout.columns.iter().any(|c| c.name == name)),
                "{:?}",
                row.cells.keys()
            );
            for column in layout.columns {
                let text = row.text(column.name);
                assert!(!column.required || !text.is_empty(), "{} {number} {}", sheet.name, column.name);
                let good = text.is_empty()
                    || match column.kind {
                        ColumnKind::Count => text.parse::<u32>().is_ok(),
                        ColumnKind::Date => text.len() == 10 && text.parse::<jiff::civil::Date>().is_ok(),
                        ColumnKind::Time => text.len() == 5 && text.parse::<jiff::civil::Time>().is_ok(),
                        ColumnKind::Length => text
                            .split_once(':')
                            .is_some_and(|(m, s)| m.parse::<u32>().is_ok() && s.len() == 2),
                        ColumnKind::YesNo => text == "yes" || text == "no",
                        ColumnKind::Choice(words) => words.contains(&text),
                        ColumnKind::Text | ColumnKind::Phone | ColumnKind::Mail => text == text.trim(),
                    };
                assert!(good, "{} {number} {}: {text}", sheet.name, column.name);
            }
        }
    }
}

#[test]
fn one_ref_is_one_guardian_with_one_name_and_one_contact() {
    let book = book(7);
    let mut known: BTreeMap<&str, [&str; 3]> = BTreeMap::new();
    let mut names = BTreeMap::new();
    for g in guardians(&book) {
        let now = ["name", "mobile", "e-mail"].map(|column| cell(&g, column));
        assert_eq!(*known.entry(cell(&g, "ref")).or_insert(now), now);
        assert_eq!(
            *names.entry(now[0]).or_insert(cell(&g, "ref")),
            cell(&g, "ref"),
            "two guardians of one name"
        );
    }
}

#[test]
fn every_name_refers_to_something() {
    let book = book(7);
    let names = |sheet: &str| book.rows(sheet).iter().map(|r| r.text("name")).collect::<BTreeSet<_>>();
    let (events, numbers, chaperones) = (names("events"), names("numbers"), names("chaperones"));
    assert_eq!(chaperones.len(), 80, "no two chaperones of one name");
    for line in book.rows("running order") {
        assert!(events.contains(line.text("event")));
        assert!(line.text("number") == "interval" || numbers.contains(line.text("number")));
    }
    let mut led = BTreeSet::new();
    for duty in book.rows("duties") {
        assert!(
            chaperones.contains(duty.text("chaperone"))
                && (duty.text("event") == "all" || events.contains(duty.text("event")))
        );
        if duty.text("signs in") == "yes" {
            assert!(numbers.contains(duty.text("number")));
            led.insert(duty.text("number"));
        }
    }
    assert_eq!(led, numbers, "each number has a chaperone who signs in");
    for event in book.rows("events") {
        assert!(names("places").contains(event.text("place")));
    }
}

#[test]
fn only_ranges_reserved_for_fiction_are_used() {
    for seed in SEEDS {
        let mut books = vec![book(seed)];
        books.extend(super::changes(seed, &books[0]).into_iter().map(|(_, book)| book));
        let cells = books.iter().flat_map(|b| &b.sheets).flat_map(|s| &s.rows).flat_map(|r| r.cells.values());
        let mut phones = 0;
        for cell in cells {
            let Cell::Text(text) = cell else { panic!("a fault") };
            if text.contains('@') {
                let host = text.rsplit('@').next().unwrap();
                assert!(["example.org", "example.com", "example.net"].contains(&host), "{text}");
                assert!(text.is_ascii() && !text.contains(' ') && !text.contains(".."), "{text}");
            } else if text.chars().filter(char::is_ascii_digit).count() >= 9 && !text.contains([';', ':']) {
                phones += 1;
                let digits: String = text.chars().filter(char::is_ascii_digit).collect();
                let mobile = digits.starts_with("07700900") && digits.len() == 11;
                let landline = digits.starts_with("01632960") && digits.len() == 11;
                let american =
                    text.starts_with("+1 ") && digits.len() == 11 && digits[4..].starts_with("55501");
                assert!(mobile || landline || american, "{text}");
            }
        }
        assert!(phones > 500);
    }
}

#[test]
fn nobody_shares_a_telephone_but_those_who_are_planted_to() {
    let book = book(7);
    let mut holders: BTreeMap<&str, BTreeSet<&str>> = BTreeMap::new();
    for g in guardians(&book) {
        holders.entry(cell(&g, "mobile")).or_default().insert(cell(&g, "name"));
    }
    for chaperone in book.rows("chaperones") {
        holders.entry(chaperone.text("mobile")).or_default().insert(chaperone.text("name"));
    }
    holders.remove("");
    let shared: Vec<_> = holders.into_values().filter(|names| names.len() > 1).collect();
    assert_eq!(shared.len(), 2);
    for pair in [ONE_PHONE_ONE_HOUSEHOLD, ONE_PHONE_TWO_HOUSEHOLDS] {
        assert!(shared.contains(&BTreeSet::from(pair)));
    }
}

#[test]
fn planted_families_are_there() {
    for seed in SEEDS {
        let book = book(seed);
        let twins = TWINS.map(|name| child(&book, name));
        assert_eq!(twins[0].text("guardian 1 ref"), twins[1].text("guardian 1 ref"));
        let three = FAMILY_OF_THREE.map(|name| numbers(child(&book, name)));
        assert_eq!(three, [vec![0, FINALE], vec![FIRST_ACT - 1, FINALE], vec![FINALE]]);
        assert_eq!(child(&book, BOTH_CASTS).text("cast"), format!("{MATINEE_CAST}; {EVENING_CAST}"));
        let shared = guardian(&book, SHARED_GUARDIAN);
        assert_eq!(shared.len(), 2);
        assert_eq!(cell(&shared[0], "ref"), cell(&shared[1], "ref"));
        assert_ne!(cell(&shared[0], "household"), cell(&shared[1], "household"));
        let one = ONE_PHONE_ONE_HOUSEHOLD.map(|name| cell(&guardian(&book, name)[0], "household"));
        assert_eq!(one[0], one[1]);
        let two = ONE_PHONE_TWO_HOUSEHOLDS.map(|name| cell(&guardian(&book, name)[0], "household"));
        assert_ne!(two[0], two[1]);
        assert!(cell(&guardian(&book, LANDLINE_ONLY)[0], "mobile").starts_with("01632"));
        assert_eq!(cell(&guardian(&book, LANDLINE_ONLY)[0], "e-mail"), "");
        assert!(cell(&guardian(&book, ABROAD)[0], "mobile").starts_with("+1 "));
        let nothing = guardian(&book, NO_WAY)[0];
        assert_eq!(["mobile", "e-mail"].map(|column| cell(&nothing, column)), ["", ""]);
        assert_eq!(cell(&guardian(&book, NOT_ASKED)[0], "texts"), "");
        for name in RIGHT_TO_LEFT {
            assert!(
                child(&book, name).text("given name").chars().all(|c| ('\u{590}'..='\u{6ff}').contains(&c))
            );
        }
        assert!(child(&book, ACCENTS).text("given name").contains('Ł'));
        assert!(child(&book, APOSTROPHE).text("family name").contains('\''));
        assert_eq!(child(&book, BIRTHDAY).text("ages"), "4-5");
        for name in IMPOSSIBLE_CHANGES {
            assert!(numbers(child(&book, name)).windows(2).any(|w| w[1] == w[0] + 1));
        }
    }
}

#[test]
fn planted_chaperones_are_there() {
    let book = book(7);
    let duty = book.rows("duties").iter().find(|d| d.text("chaperone") == GUARDIAN_CHAPERONE).unwrap();
    assert_eq!(duty.text("number"), PLANS[GUARDIAN_CHAPERONE_NUMBER].name);
    let own = guardian(&book, GUARDIAN_CHAPERONE);
    assert!(own.iter().all(|g| !numbers(g.0).contains(&GUARDIAN_CHAPERONE_NUMBER)));
    let chaperone = |name: &str| book.rows("chaperones").iter().find(|c| c.text("name") == name).unwrap();
    assert_eq!(chaperone(GUARDIAN_CHAPERONE).text("mobile"), cell(&own[0], "mobile"));
    let last = book.rows("events").iter().map(|e| e.text("date")).max().unwrap();
    assert!(chaperone(LAPSING_CHAPERONE).text("vetted until") < last);
    assert!(
        book.rows("duties")
            .iter()
            .any(|d| d.text("chaperone") == LAPSING_CHAPERONE && d.text("event") == "all")
    );
    assert_eq!(book.rows("chaperones").iter().filter(|c| c.text("adult") == "no").count(), 2);
}

#[test]
fn planted_hours_are_there() {
    let book = book(7);
    let event = |name: &str| book.rows("events").iter().find(|e| e.text("name") == name).unwrap();
    assert_eq!(event(MATINEE).text("date"), event(EVENING).text("date"));
    assert!(event(MATINEE).text("ends") < event(EVENING).text("call"));
    assert!(event(EVENING).text("ends") > "22:00", "{}", event(EVENING).text("ends"));
    assert_eq!(child(&book, TWO_SHOWS_ONE_DAY).text("cast"), "");
    // Clocks in Europe/London go forward on 28 March 2027 (IANA time zone database).
    let zone = jiff::tz::TimeZone::get("Europe/London").unwrap();
    let day: jiff::civil::Date = event(CLOCK_CHANGE_SHOW).text("date").parse().unwrap();
    let (morning, evening) = (day.at(0, 0, 0, 0), day.at(14, 0, 0, 0));
    assert_ne!(
        zone.to_ambiguous_zoned_datetime(morning).offset(),
        zone.to_ambiguous_zoned_datetime(evening).offset()
    );
}

#[test]
fn every_planted_name_is_in_the_book() {
    let book = book(42);
    for (what, names) in PLANTED {
        for name in *names {
            let known = guardians(&book).iter().any(|g| cell(g, "name") == *name)
                || book
                    .rows("children")
                    .iter()
                    .any(|r| format!("{} {}", r.text("given name"), r.text("family name")) == *name)
                || book.rows("chaperones").iter().any(|c| c.text("name") == *name);
            assert!(known, "{what}: {name}");
        }
    }
}

#[test]
fn the_rest_has_no_impossible_change() {
    let book = book(7);
    let tight = book
        .rows("children")
        .iter()
        .filter(|r| numbers(r).windows(2).any(|w| w[1] == w[0] + 1 && w[1] != FINALE));
    let tight: BTreeSet<String> =
        tight.map(|r| format!("{} {}", r.text("given name"), r.text("family name"))).collect();
    assert_eq!(tight, BTreeSet::from(IMPOSSIBLE_CHANGES.map(str::to_owned)));
}

#[test]
fn house_rules_stand_in_english_and_spanish() {
    let book = book(7);
    for language in ["en", "es"] {
        let rules = book.rows("house rules").iter().filter(|r| r.text("language") == language);
        assert_eq!(rules.count(), HOUSE_RULES.len());
    }
}

#[test]
fn the_book_and_every_changed_book_read_without_an_error() {
    for seed in &SEEDS[..2] {
        let mut books = vec![book(*seed)];
        books.extend(super::changes(*seed, &books[0]).into_iter().map(|(_, book)| book));
        for book in &books {
            let (season, problems) = crate::domain::reading::season(book);
            let errors: Vec<_> = problems.iter().filter(|p| p.weight == Weight::Error).collect();
            assert!(errors.is_empty(), "{errors:#?}");
            let season = season.unwrap();
            assert_eq!(season.children.len(), book.rows("children").len());
            assert_eq!(season.notices.len(), NOTICES.len());
            assert_eq!(season.house_rules.len(), HOUSE_RULES.len());
            let warned = |sheet: &str, column: &str| {
                problems.iter().any(|p| p.sheet == sheet && p.column.as_deref() == Some(column))
            };
            assert!(!warned("running order", "call"), "every call is within its event");
            assert!(warned("children", "cast"), "the child in both casts");
            assert!(warned("chaperones", "vetted until"), "the vetting that lapses");
        }
    }
}
