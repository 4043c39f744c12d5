//! A workbook read after another one says what it says when it is read alone, whatever of the other was taken over.

use allheard::demo;
use allheard::domain::board::Board;
use allheard::domain::book::{Book, Problem, Weight};
use allheard::domain::reading::{self, Earlier, Kept, Reading};
use allheard::domain::season::EventId;
use allheard::domain::sheets;
use jiff::civil::Date;

/// A workbook as it was read, with all that follows.
struct Read {
    book: Book,
    kept: Kept,
    problems: Vec<Problem>,
    board: Board,
}

impl Read {
    fn of(book: Book, before: Option<&Read>) -> Read {
        let earlier = before.map(|before| Earlier {
            book: &before.book,
            kept: &before.kept,
            season: Some((&before.board.season, &before.board.programme)),
        });
        let Reading { season, programme, problems, kept } = reading::read(&book, earlier);
        let errors: Vec<_> = problems.iter().filter(|problem| problem.weight == Weight::Error).collect();
        assert!(errors.is_empty(), "{errors:?}");
        let board = Board::with(season.unwrap(), programme, before.map(|before| &before.board));
        Read { book, kept, problems, board }
    }

    /// How many events were taken over from another.
    fn shared(&self, other: &Read) -> usize {
        let programme = &self.board.programme;
        let events = (0..programme.events() as u32).map(EventId);
        events.filter(|event| programme.shares(&other.board.programme, *event)).count()
    }
}

fn first_row(book: &mut Book, sheet: &str, column: &str, text: &str) -> usize {
    let rows = &book.sheet_mut(sheet).rows;
    rows.iter().position(|row| row.text(column) == text).unwrap()
}

/// A change of the workbook: what it is, how many events it leaves as they are, and how it is made.
type Change = (&'static str, Option<usize>, Box<dyn Fn(&mut Book)>);

/// Every kind of change, one after the other, each with the number of events that it leaves as they are, of six; none
/// where that hangs on who dances what.
fn changes() -> Vec<Change> {
    let dress = |book: &mut Book| first_row(book, "running order", "event", "Dress rehearsal");
    let evening = |book: &mut Book| first_row(book, "running order", "event", "Saturday evening");
    vec![
        ("nothing", Some(6), Box::new(|_| {})),
        (
            "a call of its own for a number",
            Some(5),
            Box::new(move |book| {
                let at = dress(book);
                book.sheet_mut("running order").rows[at].set("call", "15:50");
            }),
        ),
        // What is handed in at the end of any show depends on the quick changes at every show.
        (
            "two numbers of a show change places",
            None,
            Box::new(move |book| {
                let at = evening(book);
                let rows = &mut book.sheet_mut("running order").rows;
                let names = [at + 3, at + 5].map(|at| rows[at].text("number").to_owned());
                rows[at + 3].set("number", &*names[1]);
                rows[at + 5].set("number", &*names[0]);
            }),
        ),
        (
            "a number is cut",
            None,
            Box::new(move |book| {
                let at = evening(book);
                book.sheet_mut("running order").rows.remove(at + 4);
                book.number_rows();
            }),
        ),
        (
            "a duty more",
            Some(5),
            Box::new(|book| {
                let rows = &mut book.sheet_mut("duties").rows;
                let mut row = rows[0].clone();
                row.set("event", "Studio run");
                row.set("room", "");
                row.number = 902;
                rows.push(row);
            }),
        ),
        (
            "a duty goes to somebody else",
            Some(5),
            Box::new(|book| {
                let other = book.rows("chaperones").last().unwrap().text("name").to_owned();
                book.sheet_mut("duties").rows.last_mut().unwrap().set("chaperone", other);
            }),
        ),
        // All others then stand in other rows, which findings name; at the photographs there are none.
        (
            "a duty less at every event",
            Some(1),
            Box::new(|book| {
                book.sheet_mut("duties").rows.remove(3);
                book.number_rows();
            }),
        ),
        (
            "a house rule of an event",
            Some(5),
            Box::new(|book| {
                let mut row = book.rows("house rules")[0].clone();
                for (column, text) in [("ref", ""), ("name", "Water only"), ("event", "Saturday matinee")] {
                    row.set(column, text);
                }
                row.number = 900;
                book.sheet_mut("house rules").rows.push(row);
            }),
        ),
        (
            "an event is elsewhere in time",
            Some(5),
            Box::new(|book| {
                let at = first_row(book, "events", "name", "Studio run");
                book.sheet_mut("events").rows[at].set("call", "09:10");
            }),
        ),
        // Notices of other events are counted from the first show.
        (
            "the first show is a day earlier",
            Some(0),
            Box::new(|book| {
                let at = first_row(book, "events", "name", "Saturday matinee");
                let row = &mut book.sheet_mut("events").rows[at];
                let date: Date = row.text("date").parse().unwrap();
                row.set("date", date.yesterday().unwrap().to_string());
            }),
        ),
        (
            "an event is called off",
            Some(5),
            Box::new(|book| {
                let at = first_row(book, "events", "name", "Studio run");
                book.sheet_mut("events").rows[at].set("cancelled", "yes");
            }),
        ),
        (
            "a figure",
            Some(0),
            Box::new(|book| {
                let rows = &mut book.sheet_mut("season").rows;
                rows.retain(|row| row.text("setting") != "quick change below");
                let mut row = rows[0].clone();
                row.set("setting", "quick change below");
                row.set("value", "5");
                row.number = 901;
                rows.push(row);
            }),
        ),
        (
            "a child dances less",
            Some(0),
            Box::new(|book| {
                let row = &mut book.sheet_mut("children").rows[7];
                let fewer = row.text("numbers").split(';').next().unwrap_or_default().to_owned();
                row.set("numbers", fewer);
                row.set("given name", "Quillon");
            }),
        ),
        ("a door", Some(0), Box::new(|book| book.sheet_mut("places").rows[0].set("door", "the green gate"))),
        (
            "a notice",
            Some(0),
            Box::new(|book| {
                let rows = &mut book.sheet_mut("notices").rows;
                let at = rows.iter().position(|row| row.text("minutes before").is_empty()).unwrap_or(0);
                rows[at].set("name", "Another name");
            }),
        ),
    ]
}

fn check(what: &str, book: &Book, before: &Read, shared: Option<usize>) -> Read {
    let alone = Read::of(book.clone(), None);
    let after = Read::of(book.clone(), Some(before));
    if let Some(shared) = shared {
        assert_eq!(after.shared(before), shared, "{what}: events taken over");
    }
    assert_eq!(after.problems, alone.problems, "{what}");
    let (one, other) = (&after.board, &alone.board);
    assert_eq!(one.season, other.season, "{what}");
    assert!(one.programme.itineraries().eq(other.programme.itineraries()), "{what}: itineraries");
    for id in one.programme.ids() {
        assert_eq!(one.fingerprint_at(id), other.fingerprint_at(id), "{what}: what is told");
        for notice in 0..one.season.notices.len() {
            assert_eq!(one.due(id, notice), other.due(id, notice), "{what}: when");
        }
    }
    for event in (0..one.programme.events() as u32).map(EventId) {
        let of = |board| sheets::of_event(board, event, sheets::Marks::none());
        assert!(of(one) == of(other), "{what}: sheets");
    }
    after
}

#[test]
fn a_workbook_read_after_another_says_what_it_says_alone() {
    let mut book = demo::book(7);
    let mut last = Read::of(book.clone(), None);
    for (what, shared, change) in changes() {
        let was = book.clone();
        change(&mut book);
        let next = check(what, &book, &last, shared);
        // And back again, which is another change.
        let back = Read::of(was, Some(&next));
        assert_eq!(
            (back.problems, &back.board.season),
            (last.problems, &last.board.season),
            "{what}, taken back"
        );
        last = next;
    }
}
