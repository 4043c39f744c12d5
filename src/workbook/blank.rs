//! The workbook a coordinator starts from: every setting listed, two example lines a sheet, and the notices of the
//! starting set, each with what it rests on.
//!
//! Names say that they are examples; telephone numbers are from the range kept for fiction in North America (555-0100
//! to 555-0199, ATIS-0300048), mail addresses from a domain kept for examples (RFC 2606).

use crate::domain::book::{Book, Row};
use crate::domain::layout::{SETTINGS, SHEETS};
use crate::domain::published::reminders::STARTERS;

/// Settings that are shown with more than their default; how often is common practice, no source.
const EXAMPLES: [(&str, &str); 2] =
    [("chaperone digest", "Mondays and Thursdays at 18:00"), ("coordinator digest", "daily at 18:00")];

/// The example texts in Spanish.
const SPANISH: [(&str, &str); 8] = [
    ("Example Dress Rehearsal", "Ensayo general de ejemplo"),
    ("Example Show", "Función de ejemplo"),
    ("the stage door in Example Lane, red lamp", "la puerta de artistas en Example Lane, con una luz roja"),
    ("hair up, costume in its bag", "con el pelo recogido y el traje en su bolsa"),
    ("water; shoes marked with initials", "agua; zapatos marcados con iniciales"),
    ("toys and valuables", "juguetes y objetos de valor"),
    ("Staying to the end", "Quedarse hasta el final"),
    ("Food", "Comida"),
];

/// A workbook that passes the check once name, school, zone and country are filled in.
pub fn blank() -> Book {
    let mut book = Book::default();
    for layout in SHEETS {
        book.sheet_mut(layout.name);
    }
    for setting in SETTINGS {
        let example = EXAMPLES.iter().find(|(name, _)| *name == setting.name);
        let value = example.map_or(setting.default, |(_, value)| *value);
        add(&mut book, "season", &[("setting", setting.name), ("value", value)]);
    }
    programme(&mut book);
    people(&mut book);
    rules(&mut book);
    book
}

fn add(book: &mut Book, sheet: &str, cells: &[(&str, &str)]) {
    let rows = &mut book.sheet_mut(sheet).rows;
    let mut row = Row { number: u32::try_from(rows.len() + 2).unwrap_or(u32::MAX), ..Row::default() };
    for (column, text) in cells {
        row.set(column, *text);
    }
    rows.push(row);
}

fn programme(book: &mut Book) {
    add(
        book,
        "places",
        &[
            ("name", "Example Theatre"),
            ("door", "the stage door in Example Lane, red lamp"),
            ("sign-in minutes", "5"),
        ],
    );
    add(
        book,
        "places",
        &[
            ("name", "Example Studio"),
            ("door", "the side door by the bicycle stand"),
            ("collect at", "the front door"),
        ],
    );
    add(
        book,
        "ways",
        &[("place", "Example Theatre"), ("from", "Example car park"), ("walk minutes", "12-18")],
    );
    add(book, "ways", &[("place", "Example Studio"), ("from", "Example tram stop"), ("metres", "300")]);
    add(
        book,
        "rooms",
        &[("place", "Example Theatre"), ("name", "Example Dressing Room"), ("children", "20")],
    );
    add(
        book,
        "rooms",
        &[
            ("place", "Example Theatre"),
            ("name", "Example Booth"),
            ("children", "4"),
            ("quick change", "yes"),
        ],
    );
    let times = [
        ("kind", "dress rehearsal", "Example Dress Rehearsal", "2030-06-13"),
        ("kind", "show", "Example Show", "2030-06-14"),
    ];
    for (column, kind, name, date) in times {
        add(
            book,
            "events",
            &[
                ("name", name),
                (column, kind),
                ("place", "Example Theatre"),
                ("date", date),
                ("call", "17:00"),
                ("starts", "18:00"),
                ("dismissal", "after the last number"),
                ("arrive ready", "hair up, costume in its bag"),
                ("bring", "water; shoes marked with initials"),
                ("leave at home", "toys and valuables"),
                ("turn-in", if kind == "show" { "no" } else { "yes" }),
            ],
        );
    }
    add(
        book,
        "numbers",
        &[
            ("name", "Example Opening"),
            ("length", "2:05"),
            ("changeover", "0:20"),
            ("class", "Example Class"),
            ("pieces", "Cape; hat"),
            ("teacher", "Example Teacher"),
            ("teacher e-mail", "teacher@example.com"),
        ],
    );
    add(
        book,
        "numbers",
        &[("name", "Example Finale"), ("length", "3:00"), ("class", "Everyone"), ("pieces", "Sash")],
    );
    for event in ["Example Dress Rehearsal", "Example Show"] {
        add(book, "running order", &[("event", event), ("place", "1"), ("number", "Example Opening")]);
        add(
            book,
            "running order",
            &[("event", event), ("place", "2"), ("number", "interval"), ("minutes", "15")],
        );
        add(book, "running order", &[("event", event), ("place", "3"), ("number", "Example Finale")]);
    }
}

fn people(book: &mut Book) {
    add(
        book,
        "children",
        &[
            ("given name", "Example"),
            ("family name", "Child-One"),
            ("ages", "5-6"),
            ("numbers", "Example Opening: 4, left, right; Example Finale"),
            ("guardian 1 name", "Example Guardian-One"),
            ("guardian 1 mobile", "+1 212 555 0101"),
            ("guardian 1 e-mail", "guardian-one@example.com"),
            ("guardian 1 brings", "yes"),
            ("guardian 1 texts", "yes"),
            ("guardian 1 mails", "yes"),
            ("guardian 1 agreed", "themselves on the enrolment form, 2030-01-10"),
            ("guardian 2 name", "Example Guardian-Two"),
            ("guardian 2 e-mail", "guardian-two@example.com"),
            ("guardian 2 household", "second home"),
            ("guardian 2 collects", "yes"),
        ],
    );
    add(
        book,
        "children",
        &[
            ("given name", "Example"),
            ("family name", "Child-Two"),
            ("ages", "9-10"),
            ("numbers", "Example Finale"),
            ("guardian 1 name", "Example Guardian-Three"),
            ("guardian 1 e-mail", "guardian-three@example.com"),
            ("guardian 1 language", "es"),
            ("guardian 1 brings", "yes"),
            ("guardian 1 collects", "yes"),
        ],
    );
    for (name, mobile, mail, number) in [
        ("Example Chaperone-One", "+1 212 555 0111", "chaperone-one@example.com", "Example Opening"),
        ("Example Chaperone-Two", "+1 212 555 0112", "chaperone-two@example.com", "Example Finale"),
    ] {
        add(
            book,
            "chaperones",
            &[
                ("name", name),
                ("mobile", mobile),
                ("e-mail", mail),
                ("texts", "yes"),
                ("mails", "yes"),
                ("agreed", "themselves, 2030-01-10"),
                ("adult", "yes"),
                ("vetted until", "2031-12-31"),
            ],
        );
        add(
            book,
            "duties",
            &[
                ("chaperone", name),
                ("event", "all"),
                ("number", number),
                ("room", "Example Dressing Room"),
                ("signs in", "yes"),
                ("signs out", "yes"),
            ],
        );
    }
}

fn rules(book: &mut Book) {
    add(
        book,
        "house rules",
        &[
            ("name", "Staying to the end"),
            ("text", "Every child stays with the chaperones until the last number is over."),
            ("acknowledge", "yes"),
        ],
    );
    add(
        book,
        "house rules",
        &[
            ("name", "Staying to the end"),
            ("language", "es"),
            ("text", "Cada niño o niña está con su acompañante hasta que acaba el último número."),
            ("acknowledge", "yes"),
        ],
    );
    for (language, text) in
        [("", "Water only in the dressing rooms."), ("es", "En los camerinos, solo agua.")]
    {
        add(
            book,
            "house rules",
            &[("name", "Food"), ("language", language), ("text", text), ("acknowledge", "no")],
        );
    }
    for (text, translation) in SPANISH {
        add(book, "translations", &[("text", text), ("language", "es"), ("translation", translation)]);
    }
    for starter in STARTERS {
        let cells = starter.cells();
        let cells: Vec<(&str, &str)> = cells.iter().map(|(column, text)| (*column, text.as_str())).collect();
        add(book, "notices", &cells);
    }
}
