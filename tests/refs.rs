//! Lasting names: the same file twice, in another order, or without its refs, keeps every ref it had.

#![allow(clippy::unwrap_used, reason = "a helper of a test may fail the test")]

use allheard::domain::book::{Book, Row};
use allheard::domain::layout::{GUARDIANS_PER_CHILD, SHEETS, guardian_column};
use allheard::domain::reading;
use allheard::domain::refs::{Question, adopt};
use allheard::workbook;
use proptest::prelude::*;
use std::collections::BTreeMap;

fn start() -> Book {
    let mut book = workbook::blank();
    for (name, value) in [
        ("name", "Example Season"),
        ("school", "Example School"),
        ("zone", "Europe/London"),
        ("country", "GB"),
    ] {
        let row = book.sheet_mut("season").rows.iter_mut().find(|r| r.text("setting") == name).unwrap();
        row.set("value", value);
    }
    book
}

/// A school of children with few names and shared guardians, so that likeness is common.
fn school(children: &[(u8, u8, u8)]) -> Book {
    let mut book = start();
    let sheet = &mut book.sheet_mut("children").rows;
    sheet.clear();
    for (at, (name, guardian, second)) in (2_u32..).zip(children) {
        let mut row = Row { number: at, ..Row::default() };
        row.set("given name", format!("Given{name}"));
        row.set("family name", format!("Family{}", at % 60));
        row.set("numbers", if name % 2 == 0 { "Example Opening; Example Finale" } else { "Example Finale" });
        row.set("guardian 1 name", format!("Guardian {}", guardian % 7));
        row.set("guardian 1 e-mail", format!("g{guardian}@example.com"));
        row.set("guardian 2 name", format!("Second {second}"));
        row.set("guardian 2 mobile", format!("07700 900{second:03}"));
        sheet.push(row);
    }
    book
}

fn without_refs(book: &Book) -> Book {
    let mut book = book.clone();
    for row in book.sheets_mut().filter(|s| s.name != "season").flat_map(|s| &mut s.rows) {
        row.cells.retain(|column, _| column != "ref" && !column.ends_with(" ref"));
    }
    book
}

fn shuffled(book: &Book, turns: usize) -> Book {
    let mut book = book.clone();
    for sheet in book.sheets_mut().filter(|s| s.name != "season") {
        let length = sheet.rows.len().max(1);
        sheet.rows.rotate_left(turns % length);
        if turns.is_multiple_of(2) {
            sheet.rows.reverse();
        }
        for (at, row) in (2..).zip(&mut sheet.rows) {
            row.number = at;
        }
    }
    book
}

/// Every row's content and its refs, whatever the order of rows.
fn by_content(book: &Book) -> BTreeMap<String, Vec<String>> {
    let bare = without_refs(book);
    let mut found: BTreeMap<String, Vec<String>> = BTreeMap::new();
    for (sheet, plain) in book.sheets.iter().zip(&bare.sheets) {
        for (row, content) in sheet.rows.iter().zip(&plain.rows) {
            let mut refs = vec![row.text("ref").to_owned()];
            refs.extend((1..=GUARDIANS_PER_CHILD).map(|n| row.text(&guardian_column(n, "ref")).to_owned()));
            found.entry(format!("{} {:?}", sheet.name, content.cells)).or_default().push(refs.join(" "));
        }
    }
    found.values_mut().for_each(|refs| refs.sort());
    found
}

fn adopted(mut book: Book, previous: Option<&Book>) -> (Book, Vec<Question>) {
    let questions = adopt(&mut book, previous);
    (book, questions)
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(24))]

    #[test]
    fn order_and_repetition_change_nothing(children in prop::collection::vec((0..6_u8, 0..20_u8, 0..20_u8), 1..40), turns in 0..50_usize) {
        let (book, questions) = adopted(school(&children), None);
        prop_assert_eq!(&questions, &vec![]);
        let (again, _) = adopted(book.clone(), None);
        prop_assert_eq!(&again, &book);
        let (again, questions) = adopted(book.clone(), Some(&book));
        prop_assert_eq!((&again, &questions), (&book, &vec![]));
        // Another order, refs and all forgotten: the same refs by content, with or without the workbook known before.
        let other = shuffled(&without_refs(&book), turns);
        prop_assert_eq!(by_content(&adopted(other.clone(), None).0), by_content(&book));
        let (matched, questions) = adopted(other, Some(&book));
        prop_assert_eq!(&questions, &vec![]);
        prop_assert_eq!(by_content(&matched), by_content(&book));
    }

    #[test]
    fn refs_are_short_sequential_and_unlike(children in prop::collection::vec((0..6_u8, 0..20_u8, 0..20_u8), 1..40)) {
        let (book, _) = adopted(school(&children), None);
        for sheet in SHEETS {
            let Some(letter) = sheet.letter else { continue };
            let mut refs: Vec<&str> = book.rows(sheet.name).iter().map(|r| r.text("ref")).collect();
            refs.sort_unstable();
            // Lines of one house rule in several languages share a ref.
            refs.dedup();
            let expect: Vec<String> = (1..=refs.len()).map(|n| format!("{letter}{n:03}")).collect();
            prop_assert_eq!(refs, expect);
        }
    }
}

#[test]
fn a_file_written_and_read_again_is_the_same_season() {
    let (book, _) = adopted(school(&[(0, 1, 2), (1, 1, 3), (2, 4, 2), (3, 5, 5)]), None);
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("season.xlsx");
    workbook::write(&book, &path).unwrap();
    let (read, _) = workbook::read(&path).unwrap();
    assert_eq!(read, book);
    let (first, second) = (reading::season(&book).0.unwrap(), reading::season(&read).0.unwrap());
    assert_eq!(format!("{first:?}"), format!("{second:?}"));
    // Without refs the reading gives the same ones.
    assert_eq!(format!("{:?}", reading::season(&without_refs(&book)).0.unwrap()), format!("{first:?}"));
}

#[test]
fn what_changed_keeps_its_ref_and_what_is_new_gets_the_next() {
    let (old, _) = adopted(school(&[(0, 1, 2), (1, 3, 4)]), None);
    let check = |change: &dyn Fn(&mut Vec<Row>), expect: &[&str]| {
        let mut book = without_refs(&old);
        change(&mut book.sheet_mut("children").rows);
        let (book, questions) = adopted(book, Some(&old));
        let found: Vec<String> = book
            .rows("children")
            .iter()
            .map(|r| format!("{} {} {}", r.text("ref"), r.text("guardian 1 ref"), r.text("guardian 2 ref")))
            .collect();
        assert_eq!(found, expect);
        assert_eq!(questions.len(), expect.iter().filter(|e| e.starts_with(' ')).count(), "{questions:?}");
    };
    check(&|_| {}, &["C001 G001 G003", "C002 G002 G004"]);
    check(&|rows| rows[0].set("numbers", "Example Opening"), &["C001 G001 G003", "C002 G002 G004"]);
    check(&|rows| rows[0].set("guardian 2 mobile", "07700 900999"), &["C001 G001 G003", "C002 G002 G004"]);
    check(&|rows| rows[0].set("guardian 1 name", "Somebody Else"), &["C001 G005 G003", "C002 G002 G004"]);
    check(
        &|rows| {
            rows.push(Row {
                cells: rows[0]
                    .cells
                    .clone()
                    .into_iter()
                    .map(|(c, v)| {
                        if c == "given name" {
                            (c, allheard::domain::book::Cell::Text("New".into()))
                        } else {
                            (c, v)
                        }
                    })
                    .collect(),
                number: 9,
            })
        },
        &["C001 G001 G003", "C002 G002 G004", "C003 G001 G003"],
    );
    // Same name, nothing else alike: asked, never guessed.
    check(
        &|rows| {
            for (column, text) in [
                ("numbers", "Example Opening"),
                ("guardian 1 e-mail", "x@example.com"),
                ("guardian 2 mobile", "07700 900998"),
            ] {
                rows[1].set(column, text);
            }
        },
        &["C001 G001 G003", " G005 G006"],
    );
    // A renamed number keeps its ref when the ref is left in place.
    let mut renamed = old.clone();
    renamed.sheet_mut("numbers").rows[0].set("name", "Another Name");
    let (renamed, questions) = adopted(renamed, Some(&old));
    assert_eq!(
        (renamed.rows("numbers")[0].text("ref"), questions),
        (old.rows("numbers")[0].text("ref"), vec![])
    );
}

#[test]
fn doubtful_refs_are_asked_about() {
    let (old, _) = adopted(school(&[(0, 1, 2), (1, 3, 4)]), None);
    let check = |sheet: &str, row: usize, text: &str, previous: Option<&Book>, words: &str| {
        let mut book = old.clone();
        book.sheet_mut(sheet).rows[row].set("ref", text);
        let (_, questions) = adopted(book, previous);
        let found = questions
            .iter()
            .find(|q| q.sheet == sheet && q.reason.contains(words))
            .unwrap_or_else(|| panic!("{questions:?}"));
        assert!(found.row >= 2 && !found.cure.is_empty());
    };
    check("children", 1, "C001", Some(&old), "row 2 too");
    check("children", 1, "C077", Some(&old), "never given out");
    check("children", 1, "Ana", None, "is not a ref");
    check("numbers", 0, "C001", None, "is not a ref");
    let mut lower = old.clone();
    lower.sheet_mut("children").rows[0].set("ref", "c001");
    assert_eq!(adopted(lower, Some(&old)), (old.clone(), vec![]));
    // Two children of one name, both changed: the question names both.
    let mut twins = school(&[(0, 1, 2), (0, 3, 4)]);
    for row in &mut twins.sheet_mut("children").rows {
        row.set("family name", "Same");
    }
    let (twins, _) = adopted(twins, None);
    let mut changed = without_refs(&twins);
    for row in &mut changed.sheet_mut("children").rows {
        row.set("ages", "7-8");
    }
    let (_, questions) = adopted(changed, Some(&twins));
    assert_eq!(questions.iter().map(|q| q.candidates.len()).collect::<Vec<_>>(), [2, 2]);
}

#[test]
fn the_example_season_and_its_changes_keep_every_ref() {
    for seed in [1, 7] {
        let (book, questions) = adopted(allheard::demo::book(seed), None);
        assert_eq!(questions, vec![]);
        assert_eq!(adopted(book.clone(), Some(&book)), (book.clone(), vec![]));
        let (read, problems) = workbook::read_octets(&workbook::to_xlsx(&book).unwrap()).unwrap();
        assert_eq!((read == book, problems), (true, vec![]));
        assert_eq!(adopted(shuffled(&without_refs(&book), 17), Some(&book)).1, vec![]);
        for (_, changed) in allheard::demo::changes(seed, &book) {
            let (changed, questions) = adopted(changed, Some(&book));
            assert_eq!(questions, vec![]);
            assert!(reading::season(&changed).0.is_some());
        }
    }
}
