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
    let order: BTreeSet<String> = order(book, event).into_iter().map(|(number, _)| number).collect();
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

/// The numbers of an event in order, each with the count of intervals before it; where it has no running order, its list.
fn order(book: &Book, event: &str) -> Vec<(String, usize)> {
    let lines = book.rows("running order").iter().filter(|row| row.text("event") == event);
    let row = book.rows("events").iter().find(|row| row.text("name") == event).unwrap();
    let by_slots = !["show", "dress rehearsal"].contains(&row.text("kind"));
    let mut lines: Vec<(usize, &str, bool)> = lines
        .map(|row| (row.text("place").parse().unwrap(), row.text("number"), !row.text("call").is_empty()))
        .collect();
    lines.sort_unstable();
    if lines.is_empty() {
        let row = book.rows("events").iter().find(|row| row.text("name") == event).unwrap();
        return row.text("numbers").split("; ").map(|number| (number.to_owned(), 0)).collect();
    }
    let mut act = 0;
    let mut order = Vec::new();
    for (_, number, called) in lines {
        // Whoever has a call of their own comes to a beginning, as after an interval.
        act += usize::from(by_slots && called && !order.is_empty());
        if number == "interval" {
            act += 1;
        } else {
            order.push((number.to_owned(), act));
        }
    }
    order
}

/// Who takes children over for which number of an event, worked out from the sheets alone.
struct Charges {
    order: Vec<String>,
    taken: BTreeSet<String>,
}

impl Charges {
    fn of(book: &Book, event: &str) -> Charges {
        let order: Vec<String> = order(book, event).into_iter().map(|(number, _)| number).collect();
        let all = book.rows("children").len();
        let finale = |number: &str| {
            book.rows("children").iter().filter(|row| numbers(row).contains(number)).count() * 10 >= all * 9
        };
        let led = |number: &str| {
            let at = |row: &&Row| ["all", event].contains(&row.text("event")) && row.text("number") == number;
            book.rows("duties").iter().any(|row| at(&row))
        };
        let taken = order.iter().filter(|number| led(number) && !finale(number)).cloned().collect();
        Charges { order, taken }
    }
}

/// How many numbers of a child a chaperone has it for: their own, and those for which nobody takes it over after them.
fn with_her(mine: &BTreeSet<String>, hers: &BTreeSet<&str>, charges: &Charges) -> usize {
    let danced: Vec<&String> = charges.order.iter().filter(|number| mine.contains(*number)).collect();
    let first = danced.iter().find(|number| charges.taken.contains(**number));
    let mut with: Option<&str> = first.map(|number| number.as_str());
    let mut count = 0;
    for number in danced {
        if charges.taken.contains(number) {
            with = Some(number);
        }
        // Whoever has the child, and whoever leads the number.
        let has = with.is_some_and(|with| hers.contains(with))
            || (with.is_none() && hers.contains(number.as_str()));
        count += usize::from(has);
    }
    count
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

    // A clipboard has a line for each of its chaperone's numbers of a child, and for each that the child stays with them for.
    let charges = Charges::of(&book, event);
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
            std::iter::repeat_n(given[child].as_str(), with_her(mine, &hers, &charges))
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
    fails(&["sheets", "s.xlsx", "--at", "noon", "--out", "p"], "is not a time");
    std::fs::write(folder.join("taken"), "x").unwrap();
    fails(&["sheets", "s.xlsx", "--out", "taken"], "choose another folder with --out");
    std::fs::write(folder.join("no.xlsx"), "x").unwrap();
    let done = allheard(folder, &["sheets", "no.xlsx", "--out", "p"]);
    assert_eq!(done.status.code(), Some(1));
    assert!(!folder.join("p").exists(), "nothing is written for a workbook with errors");
}

/// What one child is called on paper: no more letters of the family name than tell it from the others of the event.
fn labels(book: &Book, children: &BTreeMap<String, BTreeSet<String>>) -> BTreeMap<String, String> {
    let rows: Vec<&Row> =
        book.rows("children").iter().filter(|row| children.contains_key(row.text("ref"))).collect();
    let short = |row: &Row, letters: usize| -> String {
        row.text("family name").to_lowercase().chars().take(letters).collect()
    };
    let label = |row: &&Row| {
        let family = row.text("family name");
        let alike = |other: &&&Row| {
            other.text("ref") != row.text("ref")
                && other.text("given name").to_lowercase() == row.text("given name").to_lowercase()
        };
        let letters = (1..=family.chars().count())
            .find(|letters| {
                !rows.iter().filter(alike).any(|other| short(other, *letters) == short(row, *letters))
            })
            .unwrap();
        let mut shown: String = family.chars().take(letters).collect();
        shown = shown.chars().next().unwrap().to_uppercase().chain(shown.chars().skip(1)).collect();
        let stop = if letters < family.chars().count() { "." } else { "" };
        (row.text("ref").to_owned(), format!("{} {shown}{stop}", row.text("given name")))
    };
    rows.iter().map(label).collect()
}

fn right_to_left(text: &str) -> bool {
    text.chars().any(|c| ('\u{590}'..='\u{6ff}').contains(&c))
}

/// The words of a name as they can be found on paper; of one written from right to left, the first.
fn words(name: &str) -> Vec<String> {
    let words = name.split_whitespace().map(str::to_owned);
    if right_to_left(name) { words.take(1).collect() } else { words.collect() }
}

/// How often each name stands in a text, the longest first where one begins like another.
fn found<'a>(text: &[String], names: &[(&'a str, Vec<String>)]) -> BTreeMap<&'a str, usize> {
    let mut by_first: BTreeMap<&str, Vec<(&'a str, &[String])>> = BTreeMap::new();
    for (name, words) in names {
        by_first.entry(&words[0]).or_default().push((*name, &words[..]));
    }
    let mut counts = BTreeMap::new();
    let mut at = 0;
    while at < text.len() {
        let here = by_first.get(text[at].as_str()).into_iter().flatten();
        let longest =
            here.filter(|(_, words)| text[at..].starts_with(words)).max_by_key(|(_, words)| words.len());
        match longest {
            Some((name, words)) => {
                *counts.entry(*name).or_insert(0) += 1;
                at += words.len();
            }
            None => at += 1,
        }
    }
    counts
}

/// Turnarounds of a child with fewer than three numbers between them in one act, as pairs of positions.
fn hurried(order: &[(String, usize)], mine: &BTreeSet<String>) -> Vec<(usize, usize)> {
    let at: Vec<usize> = (0..order.len()).filter(|at| mine.contains(&order[*at].0)).collect();
    let pairs = at.windows(2).map(|pair| (pair[0], pair[1]));
    pairs.filter(|(from, into)| into - from < 4 && order[*from].1 == order[*into].1).collect()
}

/// Every page of a folder in one document, each after a line that names it.
fn bound(folder: &Path, leave_out: impl Fn(&str) -> bool) -> (PathBuf, Vec<String>) {
    let mut names: Vec<String> = std::fs::read_dir(folder)
        .unwrap()
        .map(|entry| entry.unwrap().file_name().into_string().unwrap())
        .filter_map(|name| name.strip_suffix(".html").map(str::to_owned))
        .filter(|name| !leave_out(name))
        .collect();
    names.sort();
    let mut whole = String::new();
    for name in &names {
        let page = std::fs::read_to_string(folder.join(format!("{name}.html"))).unwrap();
        let (head, body) = page.split_once("<body class=\"").unwrap();
        let (class, body) = body.split_once("\">").unwrap();
        let body = body.split_once("</body>").unwrap().0;
        if whole.is_empty() {
            whole = format!("{head}<body>");
        }
        whole.push_str(&format!(
            "<div class=\"{class}\" style=\"break-before: page\"><p>@@{name}@@</p>{body}</div>"
        ));
    }
    whole.push_str("</body></html>");
    let path = folder.join("bound.htm");
    std::fs::write(&path, whole).unwrap();
    (path, names)
}

/// The words of each page as Chromium printed them, in the order of the page.
fn printed(chromium: &Path, pdftotext: &Path, bound: &Path) -> BTreeMap<String, Vec<String>> {
    let pdf = allheard::app::sheets::print(chromium, bound).unwrap();
    let text = run(Command::new(pdftotext).args(["-raw", pdf.to_str().unwrap(), "-"]));
    let text: String = text.chars().filter(|c| !('\u{202a}'..='\u{202e}').contains(c)).collect();
    // A word that was broken at its hyphen is one word.
    let text = text.replace("-\n", "-");
    let mut pages: BTreeMap<String, Vec<String>> = BTreeMap::new();
    let mut page = String::new();
    for word in text.split_whitespace() {
        if let Some(name) = word.strip_prefix("@@").and_then(|word| word.strip_suffix("@@")) {
            page = name.to_owned();
            continue;
        }
        let word = word.trim_end_matches([',', ';']);
        // In a line from left to right a stop changes sides around a word from right to left.
        let word = if right_to_left(word) { word.trim_matches('.') } else { word };
        let words = pages.entry(page.clone()).or_default();
        match words.last_mut() {
            // A stop tucked under the letter before it is read as a word of its own.
            Some(last) if word == "." => last.push('.'),
            _ => words.push(word.to_owned()),
        }
    }
    pages
}

/// What the sheets of an event must say of children, worked out from the rows: how often each label stands on each.
fn expected(book: &Book, event: &str, names: &[String]) -> BTreeMap<String, BTreeMap<String, usize>> {
    let children = called(book, event);
    let labels = labels(book, &children);
    let order = order(book, event);
    let ordered = book.rows("running order").iter().any(|row| row.text("event") == event);
    let all = book.rows("children");
    // Nobody changes for a number that nearly everybody dances.
    let finale =
        |number: &str| all.iter().filter(|row| numbers(row).contains(number)).count() * 10 >= all.len() * 9;
    let changed = |order: &[(String, usize)], mine: &BTreeSet<String>| -> Vec<(usize, usize)> {
        let turns = hurried(order, mine).into_iter();
        turns.filter(|(_, into)| !finale(&order[*into].0)).collect()
    };
    let turns = |mine: &BTreeSet<String>| if ordered { changed(&order, mine) } else { Vec::new() };
    let shows: Vec<&str> = book
        .rows("events")
        .iter()
        .filter(|row| row.text("kind") == "show")
        .map(|row| row.text("name"))
        .collect();
    let changing: BTreeSet<String> = shows
        .iter()
        .flat_map(|show| {
            let order = self::order(book, show);
            called(book, show)
                .into_iter()
                .filter(|(_, mine)| !changed(&order, mine).is_empty())
                .collect::<Vec<_>>()
        })
        .map(|(child, _)| child)
        .collect();
    let charges = Charges::of(book, event);
    let mut expect = BTreeMap::new();
    for name in names {
        let hers: Option<BTreeSet<&str>> = name.strip_prefix("clipboard-").map(|reference| {
            let mut all = book.rows("chaperones").iter();
            let chaperone = all.find(|row| row.text("ref") == reference).unwrap().text("name");
            let duties = book.rows("duties").iter().filter(|row| row.text("chaperone") == chaperone);
            let duties = duties
                .filter(|row| ["all", event].contains(&row.text("event")) && !row.text("number").is_empty());
            duties.map(|row| row.text("number")).collect()
        });
        let times = |child: &str, mine: &BTreeSet<String>| match (&hers, name.as_str()) {
            (Some(hers), _) => {
                with_her(mine, hers, &charges)
                    + turns(mine).iter().filter(|(_, into)| hers.contains(order[*into].0.as_str())).count()
            }
            (None, "door" | "assembly" | "tags" | "slips") => 1,
            (None, "quick-changes") => turns(mine).len(),
            (None, "photographs") if changing.contains(child) => mine.len(),
            (None, "photographs" | "wall" | "chaperones" | "rooms") => 0,
            (None, other) => panic!("no rule for the sheet {other}"),
        };
        let counts = children.iter().map(|(child, mine)| (labels[child].clone(), times(child, mine)));
        expect.insert(name.clone(), counts.filter(|(_, times)| *times > 0).collect());
    }
    expect
}

/// Who may be named on a clipboard: the adults who collect a child whom she signs out.
fn collectors(book: &Book, event: &str, reference: &str) -> BTreeSet<String> {
    let chaperone =
        book.rows("chaperones").iter().find(|row| row.text("ref") == reference).unwrap().text("name");
    let all = book.rows("children");
    let dances = |row: &&Row, number: &str| {
        row.text("numbers").split(';').any(|one| one.split(':').next().unwrap().trim() == number)
    };
    // Children stay with whoever has them in a number that nearly everybody dances.
    let finale = |number: &str| all.iter().filter(|row| dances(row, number)).count() * 10 >= all.len() * 9;
    let duties = |number: &str| -> Vec<&Row> {
        let here = |row: &&Row| ["all", event].contains(&row.text("event")) && row.text("number") == number;
        book.rows("duties").iter().filter(here).collect()
    };
    let signer = |number: &str| -> Option<String> {
        let duties = duties(number);
        let marked = duties.iter().find(|row| row.text("signs out") == "yes");
        marked.or(duties.first()).map(|row| row.text("chaperone").to_owned())
    };
    let order = order(book, event);
    let children = called(book, event);
    let mine = all.iter().filter(|row| {
        let Some(here) = children.get(row.text("ref")) else { return false };
        let danced = order.iter().map(|(number, _)| number.as_str()).filter(|number| here.contains(*number));
        let last = danced.rev().find(|number| !finale(number) && !duties(number).is_empty());
        last.and_then(signer).as_deref() == Some(chaperone)
    });
    mine.flat_map(|row| {
        (1..=4)
            .filter(|n| row.text(&format!("guardian {n} collects")) == "yes")
            .map(|n| row.text(&format!("guardian {n} name")).to_owned())
    })
    .collect()
}

// One run of Chromium prints all sheets of an event; every eighth clipboard stands for the others but at one event.
#[test]
fn paper_names_the_right_children_and_no_family_but_the_right_one() {
    let tools = [program("chromium"), program("pdftotext")];
    if !ready("paper_names_the_right_children_and_no_family_but_the_right_one", &tools) {
        return;
    }
    let [chromium, pdftotext] = tools.map(Result::unwrap);
    let folder = tempfile::tempdir().unwrap();
    let folder = folder.path();
    assert!(allheard(folder, &["workbook", "example", "s.xlsx"]).status.success());
    assert!(allheard(folder, &["sheets", "s.xlsx", "--out", "paper"]).status.success());
    let (book, _) = allheard::workbook::read(&folder.join("s.xlsx")).unwrap();
    let staff: BTreeSet<&str> = book.rows("chaperones").iter().map(|row| row.text("name")).collect();
    let guardians: BTreeSet<String> = book
        .rows("children")
        .iter()
        .flat_map(|row| (1..=4).map(|n| row.text(&format!("guardian {n} name")).to_owned()))
        .filter(|name| name.split_whitespace().count() > 1 && !right_to_left(name))
        .collect();
    // Chaperones are named to each other, and some of them are guardians.
    let both: Vec<(&str, Vec<String>)> = guardians
        .iter()
        .map(String::as_str)
        .chain(staff.iter().copied())
        .map(|name| (name, words(name)))
        .collect();
    let (mut sheets, mut kinds) = (0, BTreeSet::new());
    for row in book.rows("events") {
        let event = row.text("name");
        let whole = event == "Dress rehearsal";
        let leave_out = |name: &str| {
            let nth = name.strip_prefix("clipboard-V").and_then(|nth| nth.parse::<usize>().ok());
            !whole && nth.is_some_and(|nth| nth % 8 != 1)
        };
        let (bound, names) = bound(&folder.join("paper").join(row.text("ref")), leave_out);
        let pages = printed(&chromium, &pdftotext, &bound);
        assert_eq!(pages.keys().collect::<Vec<_>>(), names.iter().collect::<Vec<_>>(), "{event}");
        let all = labels(&book, &called(&book, event));
        let known: Vec<(&str, Vec<String>)> =
            all.values().map(|label| (label.as_str(), words(label))).collect();
        let expect = expected(&book, event, &names);
        for name in &names {
            let on_paper: BTreeMap<String, usize> = found(&pages[name], &known)
                .into_iter()
                .map(|(label, times)| (label.to_owned(), times))
                .collect();
            assert_eq!(on_paper, expect[name], "{name} of {event}");
            let adults: BTreeSet<&str> =
                found(&pages[name], &both).into_keys().filter(|n| !staff.contains(n)).collect();
            let may = name.strip_prefix("clipboard-").map(|reference| collectors(&book, event, reference));
            let may: BTreeSet<String> = may.unwrap_or_default();
            let may: BTreeSet<&str> = may
                .iter()
                .map(String::as_str)
                .filter(|name| guardians.contains(*name) && !staff.contains(name))
                .collect();
            assert_eq!(adults, may, "adults on {name} of {event}");
            kinds.insert(name.split_once("-V").map_or(name.as_str(), |(kind, _)| kind).to_owned());
            sheets += 1;
        }
        println!("{event}: {} sheets", names.len());
    }
    assert!(sheets > 100 && kinds.len() == 10, "{sheets} sheets of the kinds {kinds:?}");
}
