//! The workbook through the coordinator's page.

use super::house::{House, file};
use super::season;
use allheard::service::ports::Store as _;

async fn entered(house: &House) -> String {
    house.office.coordinator_link().await.unwrap()
}

async fn revision(house: &House) -> i64 {
    house.office.store.season().await.unwrap().unwrap().revision
}

/// Guardians of Ada and of the two Alders acknowledge the dress rehearsal.
async fn acknowledge(house: &House) {
    for address in ["may@example.org", "marisol@example.org"] {
        let path = format!("/r/{}", house.token(address));
        let page = house.get(&path).await;
        for (item, seen) in page.hidden("item").iter().zip(page.hidden("fingerprint")) {
            house.post(&path, &[("item", item), ("fingerprint", &seen), ("act", "heard")]).await;
        }
    }
    assert_eq!(house.answers().await, 3);
}

#[tokio::test]
async fn the_same_workbook_changes_nothing() {
    let house = House::told().await;
    let token = entered(&house).await;
    let download = house.coordinator_get(&token, "/season/workbook.xlsx").await;
    assert_eq!(download.status, 200);
    assert!(download.header("content-disposition").contains("attachment"));
    let before = house.trace().await;
    // Both the file as it was typed and the one with its refs filled in.
    for octets in [file(&season::book()), download.body] {
        let page = house.upload(&token, &octets).await;
        assert!(page.plain().contains("This workbook changes nothing"), "{}", page.plain());
        assert!(page.hidden("upload").is_empty());
    }
    let bringing = house.office.preview(season::book(), Vec::new()).await.unwrap();
    assert_eq!(house.office.bring(&bringing).await.unwrap().changed, 0);
    assert_eq!((revision(&house).await, house.trace().await), (1, before));
}

#[tokio::test]
async fn a_changed_call_tells_exactly_what_falls() {
    let house = House::told().await;
    let token = entered(&house).await;
    acknowledge(&house).await;
    let mut book = season::book();
    season::set(&mut book, "events", "Dress rehearsal", "call", "17:00");
    season::set(&mut book, "children", "Nia", "given name", "Niamh");
    let page = house.upload(&token, &file(&book)).await;
    let words = page.plain();
    assert!(words.contains("Three answers are needed again"), "{words}");
    assert!(
        words.contains("Dress rehearsal: call 17:30 becomes 17:00, park by 17:05 becomes 16:35"),
        "{words}"
    );
    assert!(words.contains("3: Ines Alder, Tariq Alder and Ada Finch"), "{words}");
    assert!(words.contains("call: 17:30 becomes 17:00"), "{words}");
    // Nothing has happened yet, and only then it does.
    assert_eq!((revision(&house).await, house.answers().await), (1, 3));
    assert_eq!(house.office.event_lists().await.unwrap()[0].settled.0, 3);
    let upload = page.hidden("upload")[0].clone();
    let fields = [("upload", upload.as_str()), ("act", "confirm")];
    let taken = house.coordinator_post(&token, "/season/workbook", &fields).await;
    assert!(taken.plain().contains("The workbook is saved"), "{}", taken.plain());
    assert_eq!(revision(&house).await, 2);
    assert_eq!(house.office.event_lists().await.unwrap()[0].settled.0, 0);
    // A double tap takes nothing twice.
    let again = house.coordinator_post(&token, "/season/workbook", &fields).await;
    assert!(again.plain().contains("This workbook changes nothing"), "{}", again.plain());
    assert_eq!(revision(&house).await, 2);
    // Exactly those who knew the old times are written to again.
    let mails = house.mails();
    house.clock.set("2027-05-28T10:30:00Z");
    house.send().await;
    assert_eq!(house.mails(), mails + 3);
}

#[tokio::test]
async fn a_change_of_one_number_touches_only_its_own() {
    let house = House::told().await;
    acknowledge(&house).await;
    let mut book = season::book();
    season::set(&mut book, "events", "First show", "call", "17:00");
    season::set(&mut book, "numbers", "Paper Boats", "length", "2:40");
    let bringing = house.office.preview(book, Vec::new()).await.unwrap();
    assert_eq!(bringing.falls, vec![]);
    assert_eq!(bringing.changes.len(), 2);
}

#[tokio::test]
async fn a_workbook_that_is_none_or_wrong_is_told_and_kept_out() {
    let house = House::told().await;
    let token = entered(&house).await;
    let page = house.upload(&token, b"GIF89a, and nothing of a workbook").await;
    assert_eq!(page.status, 200);
    assert!(page.plain().contains("One problem must be fixed first"), "{}", page.plain());
    let mut book = season::book();
    season::set(&mut book, "events", "Dress rehearsal", "call", "half past");
    let page = house.upload(&token, &file(&book)).await;
    assert!(page.plain().contains("must be fixed first"), "{}", page.plain());
    assert!(page.plain().contains("events, row 2"), "{}", page.plain());
    assert!(page.hidden("upload").is_empty());
    // Half the children gone is said aloud.
    let mut book = season::book();
    book.sheet_mut("children").rows.truncate(2);
    let bringing = house.office.preview(book, Vec::new()).await.unwrap();
    let words: Vec<String> = bringing.holds.iter().map(|hold| hold.words()).collect();
    assert_eq!(words, ["2 of 5 children are left", "1 of 4 guardians are left"]);
    assert_eq!(bringing.children, (5, 2));
    assert_eq!(revision(&house).await, 1);
}

#[tokio::test]
async fn a_halved_roster_needs_a_second_look_that_names_what_goes() {
    let house = House::told().await;
    let token = entered(&house).await;
    let mut book = season::book();
    book.sheet_mut("children").rows.truncate(2);
    let page = house.upload(&token, &file(&book)).await;
    assert!(page.plain().contains("2 of 5 children are left."), "{}", page.plain());
    assert!(!page.text.contains("value=\"confirm\"") && page.text.contains("value=\"second\""));
    let upload = page.hidden("upload")[0].clone();
    let say = |act: &'static str, going: &'static str| {
        let fields = [("upload", upload.clone()), ("act", act.to_owned()), ("going", going.to_owned())];
        fields.map(|(name, value)| (name, value))
    };
    let post = async |fields: [(&'static str, String); 3]| {
        let fields: Vec<(&str, &str)> = fields.iter().map(|(name, value)| (*name, value.as_str())).collect();
        house.coordinator_post(&token, "/season/workbook", &fields).await
    };
    let second = post(say("second", "")).await;
    // Three children, and the guardians who stand beside no other.
    assert!(second.plain().contains("Six entries will be deleted: is that right?"), "{}", second.plain());
    assert!(second.plain().contains("child: Nia Quill") && second.text.contains("name=\"going\""));
    // Neither the plain confirmation nor a wrong number takes it in.
    for going in ["", "3", "yes"] {
        let held = post(say("confirm", going)).await;
        assert!(held.plain().contains("Please count them"), "{going}: {}", held.plain());
    }
    assert_eq!(revision(&house).await, 1);
    let taken = post(say("confirm", "6")).await;
    assert!(taken.plain().contains("The workbook is saved"), "{}", taken.plain());
    assert_eq!(revision(&house).await, 2);
}

#[tokio::test]
async fn a_question_about_a_line_is_answered_on_the_page() {
    let house = House::told().await;
    let token = entered(&house).await;
    // A child of the same name, with other numbers and other people: known, or new?
    let mut book = season::book();
    season::set(&mut book, "children", "Ada", "numbers", "Paper Boats");
    for (column, text) in [("name", "Ann Other"), ("mobile", "07700 900050"), ("e-mail", "ann@example.org")] {
        season::set(&mut book, "children", "Ada", &format!("guardian 1 {column}"), text);
    }
    let octets = file(&book);
    for (reply, children) in [("known", 5), ("new", 5)] {
        let house = House::told().await;
        let token = entered(&house).await;
        let page = house.upload(&token, &octets).await;
        let known = page.text.split("type=\"radio\"").skip(1).map(str::to_owned).collect::<Vec<_>>();
        assert_eq!(known.len(), 2, "{}", page.plain());
        let name = known[0].split("name=\"").nth(1).unwrap().split('"').next().unwrap().to_owned();
        let reply = if reply == "new" {
            reply.to_owned()
        } else {
            known[0].split("value=\"").nth(1).unwrap().split('"').next().unwrap().to_owned()
        };
        let upload = page.hidden("upload")[0].clone();
        let fields = [("upload", upload.as_str()), (name.as_str(), reply.as_str()), ("act", "confirm")];
        let shown = house.coordinator_post(&token, "/season/workbook", &fields).await;
        assert_eq!(revision(&house).await, 1);
        let upload = shown.hidden("upload")[0].clone();
        let fields = [("upload", upload.as_str()), ("act", "confirm")];
        let taken = house.coordinator_post(&token, "/season/workbook", &fields).await;
        assert!(taken.plain().contains("The workbook is saved"), "{reply}: {}", taken.plain());
        let stored = house.office.store.season().await.unwrap().unwrap().book;
        let refs: Vec<&str> = stored.rows("children").iter().map(|row| row.text("ref")).collect();
        assert_eq!(refs.len(), children);
        assert_eq!(refs.contains(&"C006"), reply == "new", "{refs:?}");
    }
    assert_eq!(house.coordinator_get(&token, "/season/workbook").await.status, 200);
}

#[tokio::test]
async fn nothing_is_taken_over_what_another_took_in_meanwhile() {
    let house = House::open().await;
    let mut book = season::book();
    season::set(&mut book, "events", "Dress rehearsal", "call", "17:00");
    let first = house.office.preview(book.clone(), Vec::new()).await.unwrap();
    season::set(&mut book, "events", "Dress rehearsal", "call", "16:00");
    let second = house.office.preview(book, Vec::new()).await.unwrap();
    house.office.bring(&first).await.unwrap();
    assert!(house.office.bring(&second).await.is_err());
    assert_eq!(revision(&house).await, 2);
}

#[tokio::test]
async fn days_that_fall_out_of_a_rule_are_told_to_whoever_brings() {
    let mut book = season::book();
    let visit = [
        ("name", "Class visit"),
        ("kind", "class"),
        ("place", "Old Weighhouse"),
        ("date", "2027-05-18"),
        ("call", "16:40"),
        ("starts", "16:45"),
        ("ends", "17:30"),
        ("repeats", "Tuesdays at 16:45"),
        ("repeats until", "2027-06-15"),
    ];
    season::add(&mut book, "events", &visit);
    let house = House::open_with(book.clone()).await;
    let reasons = async |column: &str, text: &str| {
        let mut changed = book.clone();
        season::set(&mut changed, "events", "Class visit", column, text);
        let bringing = house.office.preview(changed, Vec::new()).await.unwrap();
        let told = bringing.problems.iter().filter(|p| p.reason.contains("no longer has"));
        told.map(|p| p.reason.clone()).collect::<Vec<_>>()
    };
    // 20 May is past the first of them.
    assert_eq!(
        reasons("repeats", "Wednesdays at 16:45").await,
        [
            "'Class visit' no longer has 2027-05-25, 2027-06-01, 2027-06-08, 2027-06-15, and families who know of it are told nothing"
        ]
    );
    assert_eq!(reasons("repeats until", "2027-06-14").await.len(), 1);
    assert_eq!(reasons("repeats", "Tuesdays at 17:00").await, Vec::<String>::new());
    assert_eq!(reasons("not on", "2027-06-08").await, Vec::<String>::new());
}
