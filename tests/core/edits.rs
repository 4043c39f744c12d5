//! What each action changes in the workbook, and when it cannot be done.

use crate::common::{board, with};
use crate::town::book;
use allheard::domain::book::Book;
use allheard::domain::changes::changes;
use allheard::domain::edit::{ContactText, Edit, GuardianText, Joining, Moved, Substitute};
use allheard::domain::touched::touched;

fn event(reference: &str) -> String {
    reference.to_owned()
}

/// What an edit changes, each line in words; or why it cannot be done.
fn told(book: &Book, edit: &Edit) -> Vec<String> {
    match edit.apply(book, &board(book).season) {
        Err(fault) => vec![format!("no: {fault}")],
        Ok(new) => {
            let words = changes(book, &new).into_iter();
            words.map(|c| format!("{:?} {} {}: {}", c.kind, c.what, c.name, c.detail)).collect()
        }
    }
}

fn check(book: &Book, edit: Edit, expect: &[&str]) {
    assert_eq!(told(book, &edit), expect, "{edit:?}");
}

fn visits() -> Book {
    let mut book = book();
    let rows = &mut book.sheet_mut("events").rows;
    let mut row = rows[0].clone();
    for (column, text) in [
        ("ref", "E004"),
        ("name", "Visit"),
        ("kind", "class"),
        ("date", "2027-03-02"),
        ("call", "16:40"),
        ("starts", "16:45"),
        ("ends", "17:30"),
        ("turn-in", ""),
        ("repeats", "Tuesdays at 16:45"),
        ("repeats until", "2027-03-16"),
    ] {
        row.set(column, text);
    }
    rows.push(row);
    book
}

#[test]
fn events_are_called_off_moved_and_decided() {
    let town = book();
    let off =
        with(&with(&town, "events", "E001", "cancelled", "yes"), "events", "E002", "decide by", "14:00");
    check(&town, Edit::CallOff { event: event("E001") }, &["Changed event Dress: cancelled: yes"]);
    check(&off, Edit::CallOff { event: event("E001") }, &["no: 'Dress' is called off already"]);
    check(&off, Edit::Reinstate { event: event("E001") }, &["Changed event Dress: cancelled: no longer yes"]);
    check(&town, Edit::Reinstate { event: event("E001") }, &["no: 'Dress' takes place already"]);
    check(&town, Edit::CallOff { event: event("E009") }, &["no: the event is no longer in the season"]);
    let both = "Changed event Saturday: cancelled: yes; decide by: no longer 14:00";
    check(&off, Edit::CallOff { event: event("E002") }, &[both]);
    let decide = |by: &str| Edit::Decide { event: event("E003"), by: by.to_owned() };
    check(&town, decide("2027-03-28 09:00"), &["Changed event Sunday: decide by: 2027-03-28 09:00"]);
    check(
        &off,
        Edit::GoesOn { event: event("E002") },
        &["Changed event Saturday: decide by: no longer 14:00"],
    );
    let to = |change: &dyn Fn(&mut Moved)| {
        let mut to = Moved::default();
        change(&mut to);
        Edit::Move { event: event("E001"), to }
    };
    // The same time written in another way is no change.
    check(&town, to(&|m| m.call = Some("5 pm".into())), &[]);
    check(&town, to(&|m| m.call = Some("16:30".into())), &["Changed event Dress: call: 17:00 becomes 16:30"]);
    check(&town, to(&|m| m.ends = Some("20:00".into())), &["Changed event Dress: ends: 20:00"]);
    check(&town, to(&|m| m.date = Some("25 March 2027".into())), &[]);
    check(&town, to(&|m| m.place = Some("corn loft".into())), &[]);
}

#[test]
fn a_day_of_a_line_that_comes_round_again_is_called_off_by_itself() {
    let book = visits();
    let day = || event("E004-2027-03-09");
    check(&book, Edit::CallOff { event: day() }, &["Changed event Visit: not on: 2027-03-09"]);
    let off = Edit::CallOff { event: day() }.apply(&book, &board(&book).season).unwrap();
    check(&off, Edit::CallOff { event: day() }, &["no: 'Visit' is called off already"]);
    check(&off, Edit::Reinstate { event: day() }, &["Changed event Visit: not on: no longer 2027-03-09"]);
    let decided = Edit::Decide { event: day(), by: "12:00".into() };
    check(&book, decided.clone(), &["Changed event Visit: decide by: 2027-03-09 12:00"]);
    // The question is about that day and about no other.
    let asked = decided.apply(&book, &board(&book).season).unwrap();
    let open: Vec<String> = board(&asked)
        .season
        .events
        .iter()
        .filter(|event| event.decide_by.is_some())
        .map(|event| event.reference.clone())
        .collect();
    assert_eq!(open, [day()]);
    let to = Moved { call: Some("16:00".into()), ..Moved::default() };
    let moved = told(&book, &Edit::Move { event: day(), to });
    assert!(moved[0].starts_with("no: 'Visit' comes round again"), "{moved:?}");
}

#[test]
fn rows_that_name_an_event_by_its_date_follow_it() {
    let mut two = with(&book(), "events", "E003", "name", "Saturday");
    for row in &mut two.sheet_mut("running order").rows {
        match row.text("event") {
            "Saturday" => row.set("event", "Saturday 2027-03-27"),
            "Sunday" => row.set("event", "Saturday 2027-03-28"),
            _ => {}
        }
    }
    let to = Moved { date: Some("2027-03-29".into()), ..Moved::default() };
    let new = Edit::Move { event: event("E003"), to }.apply(&two, &board(&two).season).unwrap();
    let orders = new.rows("running order").iter().filter(|row| row.text("event") == "Saturday 2027-03-29");
    assert_eq!(orders.count(), 2);
    assert!(board(&new).season.events.iter().all(|event| event.ordered));
}

#[test]
fn a_number_is_cut_where_it_is_danced() {
    let town = book();
    let cut = |number: &str, events: &[&str]| Edit::Cut {
        number: number.to_owned(),
        events: events.iter().map(|one| (*one).to_owned()).collect(),
    };
    check(&town, cut("N002", &["E001"]), &["Changed running order Dress: 5 lines, 6 before"]);
    let new = cut("N002", &["E001", "E002"]).apply(&town, &board(&town).season).unwrap();
    let places: Vec<String> = new
        .rows("running order")
        .iter()
        .filter(|row| row.text("event") == "Dress")
        .map(|row| format!("{} {}", row.text("place"), row.text("number")))
        .collect();
    assert_eq!(places, ["1 Kelp", "2 interval", "3 Gulls", "4 Ropewalk", "5 Finale"]);
    check(&town, cut("N005", &["E003"]), &["no: 'Finale' is not danced at 'Sunday'"]);
    let one = cut("N001", &["E003"]).apply(&town, &board(&town).season).unwrap();
    check(
        &one,
        cut("N003", &["E003"]),
        &["no: it is the last number of 'Sunday': call the event off instead"],
    );
    // Where no order is written the list of numbers is what is danced.
    let mut listed = town.clone();
    listed.sheet_mut("running order").rows.retain(|row| row.text("event") != "Sunday");
    check(
        &listed,
        cut("N003", &["E003"]),
        &["Changed event Sunday: numbers: Kelp; Foghorn; Ropewalk; Finale"],
    );
}

#[test]
fn children_leave_join_and_dance_other_numbers() {
    let town = book();
    check(
        &town,
        Edit::Leaves { child: "C004".into() },
        &["Gone child Di Moss: ", "Gone guardian Pia Moss: ", "Gone guardian Quin Moss: "],
    );
    // A guardian of another child stays.
    check(&town, Edit::Leaves { child: "C005".into() }, &["Gone child Ed Vale: "]);
    check(&town, Edit::Leaves { child: "C044".into() }, &["no: the child is no longer in the season"]);
    let other = Edit::Dances { child: "C004".into(), numbers: "Kelp".into() };
    check(&town, other, &["Changed child Di Moss: numbers: Finale becomes Kelp"]);
    let guardian = GuardianText {
        name: "Ines Marsh".into(),
        contact: ContactText { mail: "ines@example.org".into(), ..ContactText::default() },
        brings: "yes".into(),
        ..GuardianText::default()
    };
    let joining = Joining {
        given: " Flo ".into(),
        family: "Marsh".into(),
        numbers: "Kelp".into(),
        guardians: vec![guardian, GuardianText::default()],
        ..Joining::default()
    };
    let new = Edit::Joins(Box::new(joining)).apply(&town, &board(&town).season).unwrap();
    let row = new.rows("children").last().unwrap();
    assert_eq!((row.number, row.text("given name"), row.text("guardian 1 name")), (7, "Flo", "Ines Marsh"));
    assert_eq!((row.text("guardian 1 e-mail"), row.text("guardian 1 brings")), ("ines@example.org", "yes"));
    assert_eq!(row.text("guardian 2 name"), "");
}

#[test]
fn a_person_is_reached_in_another_way_in_every_row() {
    let town = book();
    let by = |person: &str, change: &dyn Fn(&mut ContactText)| {
        let mut by = ContactText::of(&town, person).unwrap();
        change(&mut by);
        Edit::Reached { person: person.to_owned(), by: Box::new(by) }
    };
    check(&town, by("G001", &|_| {}), &[]);
    let mobile = by("G001", &|by| by.mobile = "07700 900091".into());
    check(&town, mobile.clone(), &["Changed guardian Rosa Reed: mobile: 07700 900001 becomes 07700 900091"]);
    let new = mobile.apply(&town, &board(&town).season).unwrap();
    let rows = new.rows("children").iter().filter(|row| row.text("guardian 1 mobile") == "07700 900091");
    assert_eq!(rows.count(), 2);
    check(
        &town,
        by("V001", &|by| by.mail = "uma@example.org".into()),
        &["Changed chaperone Uma Lock: e-mail: uma@example.org"],
    );
    assert_eq!(ContactText::of(&town, "G099"), None);
}

#[test]
fn duties_pass_on_at_one_event_or_everywhere() {
    let mut town = book();
    let mut row = town.rows("chaperones")[0].clone();
    row.set("ref", "V002");
    row.set("name", "Wim Oke");
    town.sheet_mut("chaperones").rows.push(row);
    let replace = |chaperone: &str, at: Option<&str>, by: &str| Edit::Replace {
        chaperone: chaperone.to_owned(),
        event: at.map(str::to_owned),
        by: Box::new(Substitute::Known(by.to_owned())),
    };
    check(
        &town,
        replace("V001", None, "V002"),
        &["Gone duty Uma Lock, all, Kelp: ", "Added duty Wim Oke, all, Kelp: "],
    );
    check(
        &town,
        replace("V001", Some("E002"), "V002"),
        &[
            "Gone duty Uma Lock, all, Kelp: ",
            "Added duty Uma Lock, Dress, Kelp: ",
            "Added duty Uma Lock, Sunday, Kelp: ",
            "Added duty Wim Oke, Saturday, Kelp: ",
        ],
    );
    check(&town, replace("V002", None, "V001"), &["no: Wim Oke has no duty there"]);
    check(&town, replace("V001", None, "V001"), &["no: Uma Lock has these duties already"]);
    check(&town, replace("V001", None, "V007"), &["no: the chaperone is no longer in the season"]);
    let new = Substitute::New {
        name: "Zoë Lund".into(),
        contact: ContactText { mobile: "07700 900092".into(), texts: "yes".into(), ..ContactText::default() },
        adult: "yes".into(),
        vetted_until: String::new(),
    };
    let edit = Edit::Replace { chaperone: "V001".into(), event: None, by: Box::new(new) };
    check(
        &town,
        edit,
        &[
            "Added chaperone Zoë Lund: ",
            "Gone duty Uma Lock, all, Kelp: ",
            "Added duty Zoë Lund, all, Kelp: ",
        ],
    );
}

/// Whom an edit touches: children, guardians, chaperones, households, events.
fn reach(edit: &Edit) -> [Vec<String>; 4] {
    let town = book();
    let new = edit.apply(&town, &board(&town).season).unwrap();
    let touched = touched((&town, &board(&town)), (&new, &board(&new)));
    [touched.children, touched.guardians, touched.chaperones, touched.events]
        .map(|set| set.into_iter().collect())
}

#[test]
fn an_action_reaches_its_own_and_nobody_else() {
    let check = |edit: Edit, expect: [&[&str]; 4]| {
        let expect = expect.map(|list| list.iter().map(|one| (*one).to_owned()).collect::<Vec<_>>());
        assert_eq!(reach(&edit), expect, "{edit:?}");
    };
    // The night is over at the same rounded minute, so it is only who danced nothing else.
    let cut = Edit::Cut { number: "N005".into(), events: vec!["E002".into()] };
    check(cut, [&["C004"], &["G004", "G005"], &[], &["E002"]]);
    let earlier = Moved { call: Some("12:30".into()), ..Moved::default() };
    let earlier = Edit::Move { event: "E003".into(), to: earlier };
    check(earlier, [&["C001", "C002", "C003", "C005"], &["G001", "G002", "G003"], &["V001"], &["E003"]]);
    check(Edit::Leaves { child: "C004".into() }, [&["C004"], &["G004", "G005"], &[], &["E001", "E002"]]);
    let by = ContactText { mobile: "07700 900091".into(), ..ContactText::of(&book(), "G003").unwrap() };
    let phone = Edit::Reached { person: "G003".into(), by: Box::new(by) };
    check(phone, [&[], &["G003"], &[], &["E001", "E002", "E003"]]);
    let decide = Edit::Decide { event: "E003".into(), by: "09:00".into() };
    check(decide, [&[], &[], &[], &["E003"]]);
}

/// What is counted from the first show, and what is of use until the season is over, concerns everybody.
#[test]
fn only_what_moves_the_ends_of_the_season_is_everybodys_matter() {
    let town = book();
    let check = |edit: Edit, expect: bool| {
        let new = edit.apply(&town, &board(&town).season).unwrap();
        let touched = touched((&town, &board(&town)), (&new, &board(&new)));
        assert_eq!(touched.all_messages, expect, "{edit:?}");
    };
    check(Edit::CallOff { event: event("E001") }, false);
    check(Edit::CallOff { event: event("E002") }, true);
    check(Edit::CallOff { event: event("E003") }, true);
    check(Edit::Leaves { child: "C004".into() }, false);
    check(Edit::Cut { number: "N001".into(), events: vec![event("E001")] }, false);
}
