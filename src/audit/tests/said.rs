//! Planted faults in what is said: slots, names, kinds of events, and texts that say half of it.

use super::{EVE, MAIL, PHONE, SHEET, Stage, rows};

/// Photographs by slots: Fog has no call of its own, Rain is called at 11:00 and takes ten minutes.
fn with_slots(stage: &mut Stage) {
    let book = &mut stage.books[0].1;
    let event = [
        ("ref", "E003"),
        ("name", "Photographs"),
        ("kind", "photographs"),
        ("place", "Playhouse"),
        ("date", "2027-03-06"),
        ("call", "10:00"),
        ("starts", "10:15"),
    ];
    rows(book, "events", &[&event]);
    rows(
        book,
        "running order",
        &[
            &[("event", "Photographs"), ("place", "1"), ("number", "Fog"), ("minutes", "10")],
            &[
                ("event", "Photographs"),
                ("place", "2"),
                ("number", "Rain"),
                ("call", "11:00"),
                ("minutes", "10"),
            ],
        ],
    );
    let mut other = book.rows("children")[0].clone();
    other.set("ref", "C002");
    other.set("numbers", "Rain");
    book.sheet_mut("children").rows.push(other);
    // Nobody is asked about anything else of hers.
    book.sheet_mut("notices").rows.clear();
}

// By hand: Rain begins a quarter of an hour after its call, as the event does, and is over at 11:25.
#[test]
fn by_slots_children_come_and_go_with_their_own() {
    let told = |end: &str| {
        let mut stage = Stage::empty();
        with_slots(&mut stage);
        stage.mail("2027-02-27T10:00:00Z", "m1", "C002/E003/T009", "20270306T110000Z", end);
        stage
    };
    told("20270306T112500Z").expect([0; 6]);
    told("20270306T103500Z").expect([0, 0, 0, 1, 0, 0]);
    // The first of two slots is hers too, so she comes with the event and stays until her last.
    let mut both = Stage::empty();
    with_slots(&mut both);
    both.mail("2027-02-27T10:00:00Z", "m1", "C001/E003/T009", "20270306T100000Z", "20270306T112500Z");
    both.expect([0; 6]);
    for (words, stale) in [("Be there by 11:00.", 0), ("Be there by 11:00, it begins 10:15.", 1)] {
        let mut stage = Stage::empty();
        with_slots(&mut stage);
        stage.text("2027-02-27T10:00:00Z", "m2", 0, "C002/E003/T009", words);
        stage.expect([0, 0, 0, stale, 0, 0]);
    }
}

/// Uma has Fog and Ivo has Rain; the child's numbers are typed with the last one first.
fn with_chaperones(stage: &mut Stage) {
    let book = &mut stage.books[0].1;
    let named = |reference, name| [("ref", reference), ("name", name)];
    rows(
        book,
        "chaperones",
        &[&named("V001", "Uma Lock"), &named("V002", "Ivo Wren"), &named("V003", "Nan Quill")],
    );
    rows(
        book,
        "duties",
        &[
            &[("chaperone", "Ivo Wren"), ("event", "all"), ("number", "Rain"), ("signs in", "yes")],
            &[("chaperone", "Uma Lock"), ("event", "all"), ("number", "Fog")],
            &[("chaperone", "Nan Quill"), ("event", "all"), ("task", "float")],
        ],
    );
    book.sheet_mut("children").rows[0].set("numbers", "Rain; Fog");
}

#[test]
fn a_mail_names_who_signs_and_nobody_else() {
    let check = |words: &str, back: bool, wrong: u64| {
        let mut stage = Stage::clean();
        stage.lose("m1");
        stage.ledger.retain(|line| line.about.get("message").is_none_or(|key| key != "m1"));
        with_chaperones(&mut stage);
        if back {
            let book = &mut stage.books[0].1;
            rows(book, "season", &[&[("setting", "signed out by"), ("value", "first chaperone")]]);
        }
        let hours = ("20270325T173000Z", "20270325T182500Z");
        stage.mail_saying(SHEET, "m1", "C001/E001/T001", hours, words);
        stage.expect_said([0; 6], [wrong, 0]);
    };
    check("Sign in with Uma Lock.\r\nSign out with Ivo\r\nWren.", false, 0);
    check("Sign in and out with Ivo Wren.", false, 1);
    check("Sign in and out with Uma Lock.", false, 1);
    check("Sign in with Uma Lock, out with Ivo Wren. Nan Quill floats.", false, 1);
    check("Sign in and out with Uma Lock.", true, 0);
    check("Sign in with Uma Lock, out with Ivo Wren.", true, 1);
}

#[test]
fn a_chaperone_comes_as_long_before_the_call_as_the_kind_of_event_wants() {
    for (kind, start) in [("dress rehearsal", "20270325T170000Z"), ("show", "20270325T163000Z")] {
        let mut stage = Stage::empty();
        with_chaperones(&mut stage);
        let book = &mut stage.books[0].1;
        book.sheet_mut("notices").rows.clear();
        book.sheet_mut("events").rows[0].set("kind", kind);
        book.sheet_mut("chaperones").rows[0].set("e-mail", MAIL);
        stage.mail(SHEET, "m1", "V001/E001/T001", start, "20270325T182500Z");
        stage.expect([0; 6]);
        stage.mail(SHEET, "m2", "V001/E001/T002", "20270325T160000Z", "20270325T182500Z");
        stage.expect([0, 0, 0, 1, 0, 0]);
    }
}

#[test]
fn an_event_for_chaperones_only_is_told_to_no_family() {
    let mut stage = Stage::empty();
    let book = &mut stage.books[0].1;
    book.sheet_mut("events").rows[0].set("for", "chaperones only");
    stage.line("2027-03-30T09:00:00Z", "season", &[]);
    stage.expect([0; 6]);
    stage.text(EVE, "m1", 0, "C001/E001/T002", "Tomorrow 17:30.");
    stage.expect([0, 0, 0, 1, 0, 0]);
}

#[test]
fn a_text_says_who_sends_it_what_is_asked_and_when() {
    let check = |words: &str, half: u64| {
        let mut stage = Stage::clean();
        stage.lose("m6");
        stage.text_file(EVE, "m6", PHONE[0], words);
        stage.expect_said([0; 6], [0, half]);
    };
    check("!Fenmouth: be there 17:30. Confirm: https://school.example/r/x", 0);
    check("!Fenmouth: be there 17:30. Reply YES to confirm.", 0);
    check("!Fenmouth: be there 17:30. To confirm ring 01632 960100.", 0);
    check("!Be there 17:30. Confirm: https://school.example/r/x", 1);
    check("!Fenmouth: be there 17:30. STOP ends texts.", 1);
    check("!Fenmouth: be there. Confirm: https://school.example/r/x", 1);
}

#[test]
fn a_text_on_the_eve_names_the_door_in_a_language_of_the_workbook() {
    let check = |words: &str, half: u64| {
        let mut stage = Stage::clean();
        ["m6", "m7"].into_iter().for_each(|key| stage.lose(key));
        stage.text_file(EVE, "m7", PHONE[1], "Be at stage door 17:30.");
        let book = &mut stage.books[0].1;
        book.sheet_mut("places").rows[0].set("door", "stage door");
        let other = [("text", "stage door"), ("language", "es"), ("translation", "puerta de artistas")];
        rows(book, "translations", &[&other]);
        stage.text_file(EVE, "m6", PHONE[0], words);
        stage.expect_said([0; 6], [0, half]);
    };
    check("Be at stage door 17:30.", 0);
    check("Esté en puerta de artistas a las 17:30.", 0);
    check("Be there 17:30.", 1);
}

// Whoever is known not to come is written to no more; what was begun before counts as in flight.
#[test]
fn nobody_is_asked_about_a_child_who_is_not_coming() {
    let about = [("child", "C001"), ("event", "E001"), ("noted_by", "coordinator")];
    let mut stage = Stage::clean();
    stage.line("2027-03-24T17:30:00Z", "not_coming", &about);
    stage.expect([0; 6]);
    let mut stage = Stage::clean();
    stage.line("2027-03-20T10:00:00Z", "not_coming", &about);
    let found = stage.count();
    assert_eq!([found.after_absence, found.lost], [4, 0], "{:#?}", found.examples);
    stage.line("2027-03-21T10:00:00Z", "coming_after_all", &about);
    stage.expect([0; 6]);
}
