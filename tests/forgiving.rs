//! Workbooks as other people's spreadsheets leave them: one cause is one finding, and nothing is read otherwise than it was
//! meant without a word.

#![allow(clippy::unwrap_used, reason = "a helper of a test may fail the test")]

use allheard::domain::book::{Book, Problem, Weight};
use allheard::domain::reading;
use allheard::workbook::{self, Checked};
use rust_xlsxwriter::{Format, Formula, Workbook};
use std::io::{Cursor, Read, Write};
use std::path::Path;
use zip::write::SimpleFileOptions;

mod common;

/// The blank workbook with its settings filled in.
fn example() -> Book {
    let mut book = workbook::blank();
    for (name, value) in [
        ("name", "Example Season"),
        ("school", "Example School"),
        ("zone", "Europe/London"),
        ("country", "GB"),
        ("short name", "Example"),
        ("named lead", "Example Lead"),
        ("named lead telephone", "020 7946 0018"),
    ] {
        common::set(&mut book, "season", name, "value", value);
    }
    book
}

fn checked(octets: &[u8]) -> Checked {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("season.xlsx");
    std::fs::write(&path, octets).unwrap();
    workbook::check(&path)
}

fn folder_checked(change: impl FnOnce(&Path)) -> Checked {
    let folder = tempfile::tempdir().unwrap();
    workbook::write(&example(), folder.path()).unwrap();
    change(folder.path());
    workbook::check(folder.path())
}

fn reasons(problems: &[Problem]) -> Vec<&str> {
    problems.iter().map(|p| p.reason.as_str()).collect()
}

/// The workbook's sheets in a file of another hand, which may change what it writes.
fn by_another_hand(book: &Book, change: impl FnOnce(&mut Workbook)) -> Vec<u8> {
    let mut file = Workbook::new();
    for sheet in &book.sheets {
        let columns = allheard::domain::layout::sheet(&sheet.name).unwrap().columns;
        let written = file.add_worksheet().set_name(&sheet.name).unwrap();
        for (at, column) in (0_u16..).zip(columns) {
            written.write_string(0, at, column.name).unwrap();
            for (line, row) in (1_u32..).zip(&sheet.rows) {
                written.write_string(line, at, row.text(column.name)).unwrap();
            }
        }
    }
    change(&mut file);
    file.save_to_buffer().unwrap()
}

/// A workbook in which every formula stands without the value that was last worked out.
fn without_values(octets: &[u8]) -> Vec<u8> {
    let mut zip = zip::ZipArchive::new(Cursor::new(octets)).unwrap();
    let mut out = zip::ZipWriter::new(Cursor::new(Vec::new()));
    for at in 0..zip.len() {
        let mut part = zip.by_index(at).unwrap();
        let name = part.name().unwrap().into_owned();
        let mut content = Vec::new();
        part.read_to_end(&mut content).unwrap();
        out.start_file(name, SimpleFileOptions::default()).unwrap();
        let text = String::from_utf8_lossy(&content).replace("</f><v>0</v>", "</f>");
        out.write_all(text.as_bytes()).unwrap();
    }
    out.finish().unwrap().into_inner()
}

fn column(sheet: &str, name: &str) -> u16 {
    let columns = allheard::domain::layout::sheet(sheet).unwrap().columns;
    (0_u16..).zip(columns).find(|(_, column)| column.name == name).unwrap().0
}

#[test]
fn a_file_of_another_hand_reads_as_ours_does() {
    let read = checked(&by_another_hand(&example(), |_| {}));
    assert_eq!(read.problems, vec![]);
    assert_eq!(read.season.unwrap().children.len(), 2);
}

#[test]
fn a_formula_without_its_value_is_named_as_such() {
    let octets = by_another_hand(&example(), |file| {
        let events = file.worksheet_from_name("events").unwrap();
        events.write_formula(1, column("events", "call"), Formula::new("=TIME(17,0,0)")).unwrap();
    });
    let read = checked(&without_values(&octets));
    let [one] = &read.problems[..] else { panic!("{:#?}", read.problems) };
    assert_eq!((one.sheet.as_str(), one.row, one.column.as_deref()), ("events", Some(2), Some("call")));
    assert!(one.reason.contains("a formula, and its value was not saved"), "{one:?}");
    assert!(one.cure.contains("save it"), "{one:?}");
}

#[test]
fn merged_cells_are_named_as_such() {
    let octets = by_another_hand(&example(), |file| {
        let events = file.worksheet_from_name("events").unwrap();
        let at = column("events", "place");
        events.merge_range(1, at, 2, at, "Example Theatre", &Format::new()).unwrap();
    });
    let read = checked(&octets);
    let [one] = &read.problems[..] else { panic!("{:#?}", read.problems) };
    assert_eq!((one.sheet.as_str(), one.row, one.column.as_deref()), ("events", Some(3), Some("place")));
    assert!(one.reason.contains("merged with another") && one.cure.contains("Unmerge"), "{one:?}");
    // Merging where nothing is read, or beyond the lines, is nobody's business.
    let octets = by_another_hand(&example(), |file| {
        let events = file.worksheet_from_name("events").unwrap();
        events.merge_range(60, 0, 9_000, 3, "", &Format::new()).unwrap();
    });
    assert_eq!(checked(&octets).problems, vec![]);
}

#[test]
fn sheets_and_columns_of_somebodys_own_are_left_alone() {
    let octets = by_another_hand(&example(), |file| {
        file.add_worksheet().set_name("Notes").unwrap().write_string(0, 0, "ring the caretaker").unwrap();
        let children = file.worksheet_from_name("children").unwrap();
        let own = u16::try_from(allheard::domain::layout::sheet("children").unwrap().columns.len()).unwrap();
        children.write_string(0, own, "shoe size").unwrap();
        children.write_string(1, own, "12").unwrap();
    });
    let read = checked(&octets);
    assert!(read.season.is_some(), "{:#?}", read.problems);
    assert_eq!(
        reasons(&read.problems),
        [
            "'shoe size' is not a column of this sheet, so it is not read",
            "'Notes' is not a sheet of the workbook, so it is not read"
        ]
    );
}

#[test]
fn one_cause_is_one_finding() {
    // A sheet by nearly its name.
    let renamed = folder_checked(|folder| {
        std::fs::rename(folder.join("places.csv"), folder.join("plcaes.csv")).unwrap();
    });
    assert_eq!(reasons(&renamed.problems), ["'plcaes' is not a sheet of the workbook"]);
    assert!(renamed.season.is_none() && renamed.problems[0].cure.contains("'places'"));
    // A sheet that is not there at all.
    let gone = folder_checked(|folder| std::fs::remove_file(folder.join("children.csv")).unwrap());
    assert_eq!(reasons(&gone.problems), ["the sheet 'children' is missing"]);
    // One as older spreadsheet programs write it: it is read, and what it says is shown.
    let odd = folder_checked(|folder| {
        let path = folder.join("numbers.csv");
        let mut octets = std::fs::read(&path).unwrap();
        let at = octets.windows(7).position(|some| some == b"Opening").unwrap();
        octets.splice(at + 7..at + 7, *b" caf\xe9");
        std::fs::write(path, octets).unwrap();
    });
    let one = odd.problems.iter().find(|one| one.reason.contains("not in UTF-8")).unwrap();
    assert!(one.reason.contains("Opening café'") && one.weight == Weight::Warning, "{one:?}");
    // No country: its telephone numbers are not to blame.
    let mut nowhere = example();
    common::set(&mut nowhere, "season", "country", "value", "");
    let problems = reading::season(&nowhere).1;
    assert_eq!(problems.len(), 1, "{problems:#?}");
    assert!(problems[0].reason.starts_with("country:"));
}

#[test]
fn a_folder_in_utf_16_is_read() {
    let read = folder_checked(|folder| {
        for (nth, sheet) in ["children", "season", "events"].iter().enumerate() {
            let path = folder.join(format!("{sheet}.csv"));
            let text = std::fs::read_to_string(&path).unwrap();
            let text = text.trim_start_matches('\u{FEFF}');
            let units = "\u{FEFF}".encode_utf16().chain(text.encode_utf16());
            let octets: Vec<u8> = match nth {
                0 => units.flat_map(u16::to_be_bytes).collect(),
                _ => units.flat_map(u16::to_le_bytes).collect(),
            };
            std::fs::write(path, octets).unwrap();
        }
    });
    assert_eq!(read.problems, vec![]);
}

#[test]
fn a_length_that_may_be_minutes_or_seconds_is_asked_about() {
    for (text, why) in [("2", "may be minutes or seconds"), ("02:05:00", "longer than an hour")] {
        let mut book = example();
        book.sheet_mut("numbers").rows[0].set("length", text);
        let (season, problems) = reading::season(&book);
        let [one] = &problems[..] else { panic!("{problems:#?}") };
        assert!(season.is_none() && one.weight == Weight::Error && one.reason.contains(why), "{one:?}");
        assert!(one.cure.contains("2:05"), "{one:?}");
    }
}

#[test]
fn alike_findings_are_told_together_and_the_heaviest_first() {
    let mut book = example();
    let pattern = book.rows("children")[1].clone();
    for at in 0..6_u32 {
        let mut row = pattern.clone();
        row.number = 4 + at;
        row.set("family name", format!("Child-{}", char::from(b'A' + u8::try_from(at).unwrap())));
        row.set("guardian 1 name", format!("Nobody {}", char::from(b'A' + u8::try_from(at).unwrap())));
        row.set("guardian 1 e-mail", "");
        book.sheet_mut("children").rows.push(row);
    }
    book.sheet_mut("duties").rows.pop();
    common::set(&mut book, "events", "Example Show", "call", "05:00");
    let (_, problems) = reading::season(&book);
    assert!(problems.is_sorted_by_key(|p| p.weight), "{problems:#?}");
    let all = reasons(&problems).join("\n");
    assert!(all.contains(
        "6 guardians with neither a telephone number nor a mail address: Nobody A (row 4), Nobody B"
    ));
    assert!(
        all.contains("6 children none of whose guardians can be written to: Example Child-A (row 4), "),
        "{all}"
    );
    assert!(all.contains("at 'Example Dress Rehearsal' and 'Example Show'"), "{all}");
    assert!(problems.len() < 9, "{all}");
}

/// What a hurried hand writes, and what is made of it: read, asked about, or refused with the place of the slip.
#[test]
fn what_a_hurried_hand_writes() {
    let with = |sheet: &str, marked: &str, column: &str, value: &str| {
        let mut book = example();
        common::set(&mut book, sheet, marked, column, value);
        reading::season(&book).1
    };
    let first = example().rows("children")[0].text("given name").to_owned();
    let says = |problems: &[Problem], words: &str| problems.iter().any(|p| p.reason.contains(words));
    let names: Vec<String> =
        example().rows("numbers").iter().map(|row| row.text("name").to_owned()).collect();
    // Numbers with anything between them that people put there.
    for between in [", ", " and ", " & ", "/", " + "] {
        let problems = with("children", &first, "numbers", &names[..2].join(between));
        assert!(problems.iter().all(|p| p.weight != Weight::Error), "{between:?}: {problems:#?}");
    }
    assert!(says(&with("children", &first, "numbers", "Nothing, Nowhere"), "not on the sheet 'numbers'"));
    // An abbreviation of a zone is not guessed, and one without a place is asked about.
    let zone = with("season", "zone", "value", "BST");
    assert!(zone[0].cure.contains("Europe/London") && !zone[0].cure.contains("EST"), "{zone:#?}");
    assert!(says(&with("season", "zone", "value", "EST"), "whether and when the clocks change"));
    assert!(says(&with("season", "telephone", "value", "01632 960100 (office)"), "read it as it stands"));
    let place = example().rows("places")[0].text("name").to_owned();
    assert!(says(&with("places", &place, "collect at", "same"), "Pick up: same"));
}

#[test]
fn a_title_above_the_headings_is_passed_over() {
    let read = folder_checked(|folder| {
        for sheet in ["children", "places"] {
            let path = folder.join(format!("{sheet}.csv"));
            let text = std::fs::read_to_string(&path).unwrap();
            let text = text.trim_start_matches('\u{FEFF}');
            std::fs::write(&path, format!("Our {sheet} this spring\n\n{text}")).unwrap();
        }
    });
    let untitled = folder_checked(|_| {});
    let strip = |problems: &[Problem]| problems.iter().map(|p| p.reason.clone()).collect::<Vec<_>>();
    assert_eq!(strip(&read.problems), strip(&untitled.problems));
    assert!(read.season.is_some());
}

// Two headings, both misspelt, are headings and no title; a workbook under another name is no text.
#[test]
fn what_is_no_title_and_what_is_no_text() {
    let slips = folder_checked(|folder| {
        std::fs::write(folder.join("places.csv"), "nmae,dorr\nHall,side door\n").unwrap();
    });
    let cures: Vec<&str> = slips.problems.iter().map(|p| p.cure.as_str()).collect();
    for meant in ["Did you mean 'name'?", "Did you mean 'door'?"] {
        assert!(cures.contains(&meant), "{cures:?}");
    }
    let renamed = folder_checked(|folder| {
        let octets = allheard::workbook::to_xlsx(&example()).unwrap();
        std::fs::write(folder.join("places.csv"), octets).unwrap();
    });
    assert!(renamed.problems.iter().any(|p| p.sheet == "places" && p.reason == "the file holds no text"));
}

#[test]
fn a_heading_of_another_list_is_named_as_ours() {
    let read = folder_checked(|folder| {
        let path = folder.join("children.csv");
        let text = std::fs::read_to_string(&path).unwrap().replace("guardian 1 mobile", "Guardian 1 tel");
        std::fs::write(&path, text).unwrap();
    });
    let one = read.problems.iter().find(|p| p.reason.contains("'Guardian 1 tel'")).unwrap();
    assert_eq!(one.cure, "Did you mean 'guardian 1 mobile'?");
}

#[test]
fn one_person_with_and_without_accents_is_one() {
    let mut book = example();
    let rows = &mut book.sheet_mut("children").rows;
    for (row, name) in rows.iter_mut().zip(["María Núñez", "Maria Nunez"]) {
        for (column, value) in
            [("ref", ""), ("name", name), ("mobile", "(555) 010-0123"), ("e-mail", "maria@example.com")]
        {
            row.set(&format!("guardian 1 {column}"), value);
        }
    }
    let season = reading::season(&book).0.unwrap();
    let theirs: Vec<_> = season.guardians.iter().filter(|g| g.name.contains("Mar")).collect();
    assert_eq!(theirs.len(), 1, "{theirs:?}");
}
