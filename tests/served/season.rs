//! A small invented season. Numbers are from the ranges Ofcom sets aside for drama, hosts are reserved by RFC 2606.

use allheard::domain::book::{Book, Row};

type Line = &'static [(&'static str, &'static str)];

const SETTINGS: [(&str, &str); 7] = [
    ("version", "1"),
    ("name", "The Salt Lantern"),
    ("school", "Brackwater School of Dance"),
    ("zone", "Europe/London"),
    ("country", "GB"),
    ("language", "en"),
    ("telephone", "01632 960100"),
];

const LINES: &[(&str, Line)] = &[
    (
        "places",
        &[("name", "Old Weighhouse"), ("door", "stage door in Cooper's Row"), ("sign-in minutes", "5")],
    ),
    ("ways", &[("place", "Old Weighhouse"), ("from", "Quay car park"), ("walk minutes", "12-18")]),
    (
        "events",
        &[
            ("name", "Dress rehearsal"),
            ("kind", "dress rehearsal"),
            ("place", "Old Weighhouse"),
            ("date", "2027-06-04"),
            ("call", "17:30"),
            ("starts", "18:30"),
            ("ends", "20:30"),
            ("bring", "water"),
        ],
    ),
    (
        "events",
        &[
            ("name", "First show"),
            ("kind", "show"),
            ("place", "Old Weighhouse"),
            ("date", "2027-06-05"),
            ("call", "18:00"),
            ("starts", "19:00"),
            ("ends", "21:00"),
            ("bring", "water"),
        ],
    ),
    ("numbers", &[("name", "Harbour Bells"), ("length", "2:05")]),
    ("numbers", &[("name", "Paper Boats"), ("length", "2:30")]),
    (
        "children",
        &[
            ("given name", "Ines"),
            ("family name", "Alder"),
            ("numbers", "Harbour Bells"),
            ("guardian 1 name", "Marisol Alder"),
            ("guardian 1 mobile", "07700 900018"),
            ("guardian 1 e-mail", "marisol@example.org"),
            ("guardian 1 language", "es"),
        ],
    ),
    (
        "children",
        &[
            ("given name", "Tariq"),
            ("family name", "Alder"),
            ("numbers", "Paper Boats"),
            ("guardian 1 name", "Marisol Alder"),
            ("guardian 1 mobile", "07700 900018"),
            ("guardian 1 e-mail", "marisol@example.org"),
            ("guardian 1 language", "es"),
        ],
    ),
    (
        "children",
        &[
            ("given name", "Ada"),
            ("family name", "Finch"),
            ("numbers", "Harbour Bells"),
            ("guardian 1 name", "May Finch"),
            ("guardian 1 mobile", "07700 900021"),
            ("guardian 1 e-mail", "may@example.org"),
        ],
    ),
    (
        "children",
        &[
            ("given name", "<script>alert(1)</script>"),
            ("family name", "Bold"),
            ("numbers", "Paper Boats"),
            ("guardian 1 name", "<b>Odd</b> Bold"),
            ("guardian 1 e-mail", "odd@example.org"),
        ],
    ),
    (
        "children",
        &[
            ("given name", "Nia"),
            ("family name", "Quill"),
            ("numbers", "Paper Boats"),
            ("guardian 1 name", "Lee Quill"),
            ("guardian 1 mobile", "07700 900030"),
            ("guardian 1 texts", "no"),
        ],
    ),
    ("chaperones", &[("name", "Noor Hadi"), ("mobile", "07700 900040")]),
    ("chaperones", &[("name", "Ewa Lis"), ("mobile", "07700 900041")]),
    (
        "duties",
        &[("chaperone", "Noor Hadi"), ("event", "all"), ("number", "Harbour Bells"), ("signs in", "yes")],
    ),
    ("duties", &[("chaperone", "Ewa Lis"), ("event", "all"), ("number", "Paper Boats"), ("signs in", "yes")]),
    (
        "house rules",
        &[
            ("name", "No early release"),
            ("language", "en"),
            ("text", "Every child stays to the last number."),
        ],
    ),
    (
        "notices",
        &[
            ("name", "Dress rehearsal, call sheet"),
            ("about", "dress rehearsal"),
            ("to", "everyone"),
            ("counted from", "call"),
            ("days before", "7"),
            ("at", "10:00"),
            ("by", "mail"),
            ("answer owed", "yes"),
            ("wording", "call-sheet"),
        ],
    ),
    (
        "notices",
        &[
            ("name", "House rules"),
            ("about", "season"),
            ("to", "everyone"),
            ("counted from", "first show"),
            ("days before", "2"),
            ("at", "10:00"),
            ("by", "mail"),
            ("answer owed", "yes"),
            ("wording", "rules"),
        ],
    ),
];

/// The workbook as a coordinator would type it, without any ref.
pub fn book() -> Book {
    let mut book = Book::default();
    for (name, value) in SETTINGS {
        add(&mut book, "season", &[("setting", name), ("value", value)]);
    }
    for (sheet, cells) in LINES {
        add(&mut book, sheet, cells);
    }
    book
}

/// Adds a line.
pub fn add(book: &mut Book, sheet: &str, cells: &[(&str, &str)]) {
    let rows = &mut book.sheet_mut(sheet).rows;
    let mut row = Row { number: u32::try_from(rows.len() + 2).unwrap(), ..Row::default() };
    cells.iter().for_each(|(column, text)| row.set(column, *text));
    rows.push(row);
}

/// Sets a cell of the line that has a name.
pub fn set(book: &mut Book, sheet: &str, name: &str, column: &str, text: &str) {
    let rows = &mut book.sheet_mut(sheet).rows;
    let named = |row: &&mut Row| row.text("name") == name || row.text("given name") == name;
    rows.iter_mut().find(named).unwrap().set(column, text);
}
