//! The sheets of a day on real paper: every child of the event on exactly the right ones, and nobody else's family on any.
//!
//! The command writes them for the demonstration's season; what should stand on them is worked out here from the rows of
//! its workbook, and for some from the text of the PDF that Chromium prints.

#![allow(clippy::print_stdout, reason = "findings are shown")]
#![allow(clippy::unwrap_used, reason = "what cannot be set up fails its test")]

mod support;

use allheard::demo;
use allheard::domain::book::{Book, Row};
use std::collections::{BTreeMap, BTreeSet};
use std::path::{Path, PathBuf};
use std::process::{Command, Output};
use support::peers::{program, ready, run};

/// A season of one child as a folder of files.
const SMALL: &[(&str, &str)] = &[
    (
        "season",
        "setting,value\nversion,1\nname,The Brass Heron\nschool,Fenmouth Dance\nzone,Europe/London\ncountry,GB\n",
    ),
    ("places", "name,door\nCorn Loft,side door\n"),
    ("events", "name,kind,place,date,call,starts\nSaturday,show,Corn Loft,2027-03-27,18:00,19:00\n"),
    ("numbers", "name,length\nKelp,2:00\nGulls,2:30\n"),
    ("running order", "event,place,number,minutes\nSaturday,1,Kelp,\nSaturday,2,Gulls,\n"),
    (
        "children",
        "given name,family name,numbers,guardian 1 name,guardian 1 mobile,guardian 1 collects\n\
         Ada,Reed,Kelp; Gulls,Rosa Reed,07700 900001,yes\n",
    ),
    ("chaperones", "name,mobile\nUma Lock,07700 900040\n"),
    ("duties", "chaperone,event,number,signs in,signs out\nUma Lock,all,Kelp,yes,yes\n"),
];
/// The demonstration's own seed.
const SEED: u64 = 1;

fn allheard(folder: &Path, arguments: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_allheard")).args(arguments).current_dir(folder).output().unwrap()
}

/// Writes the example and the sheets of one event; gives back the folder of the sheets and the example's rows.
fn written(folder: &Path, event: &str, more: &[&str]) -> (PathBuf, Book) {
    assert!(allheard(folder, &["workbook", "example", "s.xlsx"]).status.success());
    let mut arguments =
        vec!["sheets", "s.xlsx", "--event", event, "--out", "paper", "--at", "2027-03-20T09:00"];
    arguments.extend(more);
    let done = allheard(folder, &arguments);
    assert!(done.status.success(), "{}", String::from_utf8_lossy(&done.stderr));
    let (book, _) = allheard::workbook::read(&folder.join("s.xlsx")).unwrap();
    let row = book.rows("events").iter().find(|row| row.text("name") == event).unwrap();
    (folder.join("paper").join(row.text("ref")), book)
}

/// The rows of a page's tables, as lists of cells without markup.
fn rows(page: &Path) -> Vec<Vec<String>> {
    let text = std::fs::read_to_string(page).unwrap();
    text.lines()
        .filter(|line| line.starts_with("<tr><td>"))
        .map(|line| {
            let cells = line.trim_start_matches("<tr><td>").trim_end_matches("</td></tr>").split("</td><td>");
            cells.map(plain).collect()
        })
        .collect()
}

fn plain(text: &str) -> String {
    text.replace("&#39;", "'").replace("&#38;", "&").replace("&amp;", "&")
}

/// The numbers of a child as its row lists them.
fn numbers(row: &Row) -> BTreeSet<String> {
    let names = row.text("numbers").split(';').map(|one| one.split(':').next().unwrap().trim().to_owned());
    names.filter(|name| !name.is_empty()).collect()
}

/// Children of an event by ref, with their numbers there.
fn called(book: &Book, event: &str) -> BTreeMap<String, BTreeSet<String>> {
    let cast =
        book.rows("events").iter().find(|row| row.text("name") == event).unwrap().text("cast").to_owned();
    let order: BTreeSet<String> = book
        .rows("running order")
        .iter()
        .filter(|row| row.text("event") == event)
        .map(|row| row.text("number").to_owned())
        .collect();
    assert!(!order.is_empty());
    book.rows("children")
        .iter()
        .filter(|row| cast.is_empty() || row.text("cast").is_empty() || row.text("cast").contains(&cast))
        .map(|row| {
            (row.text("ref").to_owned(), numbers(row).intersection(&order).cloned().collect::<BTreeSet<_>>())
        })
        .filter(|(_, mine)| !mine.is_empty())
        .collect()
}

fn given(book: &Book) -> BTreeMap<String, String> {
    let rows = book.rows("children").iter();
    rows.map(|row| (row.text("ref").to_owned(), row.text("given name").to_owned())).collect()
}

#[test]
fn every_child_is_on_exactly_the_right_sheets() {
    let folder = tempfile::tempdir().unwrap();
    let event = "Dress rehearsal";
    let (paper, book) = written(folder.path(), event, &[]);
    let (children, given) = (called(&book, event), given(&book));
    assert!(children.len() > 300);
    let all: Vec<&str> = sorted(children.keys().map(|child| given[child].as_str()));

    // The door, the assembly point and the bags have every child once.
    let door = rows(&paper.join("door.html"));
    let at_door: Vec<&[String]> = door.iter().filter(|row| row.len() == 6).map(Vec::as_slice).collect();
    let labels: BTreeSet<&str> = at_door.iter().map(|row| row[0].as_str()).collect();
    assert_eq!((at_door.len(), labels.len()), (children.len(), children.len()), "no two are called the same");
    for page in ["door", "assembly"] {
        let listed = rows(&paper.join(format!("{page}.html")));
        let names = listed.iter().filter(|row| row.len() == if page == "door" { 6 } else { 2 });
        assert_eq!(sorted(names.map(|row| first_word(&row[0], &all))), all, "{page}");
    }

    // A clipboard has the children of her numbers, a line each, and no other.
    let mut clipboards = 0;
    for chaperone in book.rows("chaperones") {
        let hers: BTreeSet<&str> = book
            .rows("duties")
            .iter()
            .filter(|row| row.text("chaperone") == chaperone.text("name"))
            .filter(|row| ["all", event].contains(&row.text("event")) && !row.text("number").is_empty())
            .map(|row| row.text("number"))
            .collect();
        let page = paper.join(format!("clipboard-{}.html", chaperone.text("ref")));
        if hers.is_empty() {
            assert!(!page.exists(), "{}", page.display());
            continue;
        }
        clipboards += 1;
        let lines = rows(&page);
        let listed =
            sorted(lines.iter().filter(|row| !row[1].is_empty()).map(|row| first_word(&row[1], &all)));
        let expect = sorted(children.iter().flat_map(|(child, mine)| {
            let times = mine.iter().filter(|number| hers.contains(number.as_str())).count();
            std::iter::repeat_n(given[child].as_str(), times)
        }));
        assert_eq!(listed, expect, "{}", page.display());
        // Adults stand only where she signs a child out, and only those who collect one of hers.
        let collectors: BTreeSet<String> = book
            .rows("children")
            .iter()
            .filter(|row| numbers(row).iter().any(|number| hers.contains(number.as_str())))
            .flat_map(|row| {
                (1..=4)
                    .filter(|n| row.text(&format!("guardian {n} collects")) == "yes")
                    .map(|n| row.text(&format!("guardian {n} name")).to_owned())
            })
            .collect();
        for cell in lines.iter().map(|row| &row[9]).filter(|cell| !["", "–"].contains(&cell.as_str())) {
            let adults = cell
                .split_once(' ')
                .filter(|(from, _)| *from == "from")
                .map_or(cell.as_str(), |(_, rest)| rest.split_once(' ').map_or("", |(_, adults)| adults));
            for adult in adults.split(" or ").filter(|adult| *adult != "ask the lead who collects") {
                assert!(collectors.contains(adult), "{adult} on {}", page.display());
            }
        }
    }
    assert!(clipboards > 40, "{clipboards}");

    // The wall names no child, and nobody's guardian stands anywhere but on clipboards.
    let wall = std::fs::read_to_string(paper.join("wall.html")).unwrap();
    for label in &labels {
        assert!(!plain(&wall).contains(label), "{label} on the wall");
    }
    let staff: BTreeSet<&str> = book.rows("chaperones").iter().map(|row| row.text("name")).collect();
    for page in ["wall", "door", "assembly", "quick-changes", "chaperones", "tags", "slips"] {
        let text = plain(&std::fs::read_to_string(paper.join(format!("{page}.html"))).unwrap());
        for row in book.rows("children") {
            for name in (1..=4).map(|n| row.text(&format!("guardian {n} name")).to_owned()) {
                // A chaperone, or a child, may have the same name.
                let other = staff.iter().any(|one| one.contains(&name))
                    || labels.iter().any(|label| label.contains(&name));
                assert!(name.is_empty() || other || !text.contains(&name), "{name} on {page}");
            }
        }
    }
}

fn sorted<'a>(names: impl Iterator<Item = &'a str>) -> Vec<&'a str> {
    let mut names: Vec<&str> = names.collect();
    names.sort_unstable();
    names
}

/// The given name a label begins with: the longest that is one of the event's.
fn first_word<'a>(label: &str, names: &[&'a str]) -> &'a str {
    let found =
        names.iter().filter(|name| label.strip_prefix(**name).is_some_and(|rest| rest.starts_with(' ')));
    found.max_by_key(|name| name.len()).copied().unwrap_or_else(|| panic!("{label} is nobody's"))
}

#[test]
fn the_same_workbook_and_moment_give_the_same_paper() {
    let (one, two) = (tempfile::tempdir().unwrap(), tempfile::tempdir().unwrap());
    let (a, book) = written(one.path(), "Sunday show", &[]);
    let (b, _) = written(two.path(), "Sunday show", &[]);
    assert_eq!(book.rows("children").len(), demo::book(SEED).rows("children").len());
    let mut pages = 0;
    for page in std::fs::read_dir(&a).unwrap() {
        let name = page.unwrap().file_name();
        assert_eq!(std::fs::read(a.join(&name)).unwrap(), std::fs::read(b.join(&name)).unwrap(), "{name:?}");
        pages += 1;
    }
    assert!(pages > 50, "{pages}");
    let text = std::fs::read_to_string(a.join("wall.html")).unwrap();
    assert!(
        text.contains("printed 20 March 2027, 09:00") && text.contains("It is no emergency service"),
        "{text}"
    );
}

#[test]
fn chromium_prints_them_on_paper() {
    let tools = [program("chromium"), program("pdftotext"), program("pdfinfo")];
    if !ready("chromium_prints_them_on_paper", &tools) {
        return;
    }
    let folder = tempfile::tempdir().unwrap();
    let event = "Photographs";
    let (paper, _) = written(folder.path(), event, &[]);
    for page in ["photographs", "door", "clipboard-V014"] {
        let html = paper.join(format!("{page}.html"));
        let pdf = allheard::app::sheets::print(tools[0].as_ref().unwrap(), &html).unwrap();
        let text =
            run(Command::new(tools[1].as_ref().unwrap()).args(["-layout", pdf.to_str().unwrap(), "-"]));
        let words: BTreeSet<&str> = text.split_whitespace().collect();
        let cells: Vec<String> = rows(&html).concat();
        assert!(cells.len() > 50, "{page}");
        for word in cells.iter().flat_map(|cell| cell.split_whitespace()) {
            // A long word may be broken at a hyphen at the end of a line; a stop may change sides in a line from the right.
            let word = word.trim_matches(['.', ',', '(', ')']);
            let whole =
                words.contains(word) || word.split('-').all(|part| words.iter().any(|w| w.contains(part)));
            assert!(whole, "{word} of {page} is not on paper");
        }
        let info = run(Command::new(tools[2].as_ref().unwrap()).arg(&pdf));
        let size = info.lines().find(|line| line.starts_with("Page size")).unwrap();
        assert!(["letter", "A4"].iter().any(|paper| size.contains(paper)), "{size}");
        println!("{page}: {}", info.lines().find(|line| line.starts_with("Pages")).unwrap());
    }
}

#[test]
fn the_command_prints_where_a_browser_is_at_hand() {
    if !ready("the_command_prints_where_a_browser_is_at_hand", &[program("chromium")]) {
        return;
    }
    let folder = tempfile::tempdir().unwrap();
    let files = folder.path().join("small");
    std::fs::create_dir(&files).unwrap();
    for (sheet, lines) in SMALL {
        std::fs::write(files.join(format!("{sheet}.csv")), lines).unwrap();
    }
    let done = allheard(folder.path(), &["sheets", "small", "--out", "paper", "--pdf"]);
    assert!(done.status.success(), "{}", String::from_utf8_lossy(&done.stderr));
    let said = String::from_utf8_lossy(&done.stdout).into_owned();
    let (pages, pdfs): (Vec<&str>, Vec<&str>) = said.lines().partition(|line| line.ends_with(".html"));
    assert!(!pages.is_empty() && pages.len() == pdfs.len(), "{said}");
    for pdf in pdfs {
        assert!(std::fs::read(folder.path().join(pdf)).unwrap().starts_with(b"%PDF-"), "{pdf}");
    }
}

#[test]
fn what_cannot_be_printed_is_said() {
    let folder = tempfile::tempdir().unwrap();
    let folder = folder.path();
    assert!(allheard(folder, &["workbook", "example", "s.xlsx"]).status.success());
    let fails = |arguments: &[&str], says: &str| {
        let done = allheard(folder, arguments);
        let said = String::from_utf8_lossy(&done.stderr).into_owned();
        assert!(done.status.code() == Some(1) && said.contains(says), "{said}");
    };
    fails(
        &["sheets", "s.xlsx", "--event", "Dres rehearsal", "--out", "p"],
        "Did you mean 'Dress rehearsal'?",
    );
    fails(&["sheets", "s.xlsx", "--at", "noon", "--out", "p"], "is no instant");
    std::fs::write(folder.join("taken"), "x").unwrap();
    fails(&["sheets", "s.xlsx", "--out", "taken"], "choose another folder with --out");
    std::fs::write(folder.join("no.xlsx"), "x").unwrap();
    let done = allheard(folder, &["sheets", "no.xlsx", "--out", "p"]);
    assert_eq!(done.status.code(), Some(1));
    assert!(!folder.join("p").exists(), "nothing is written for a workbook with errors");
}
