//! What a guardian can do with the link in her mail.

use axum::body::Body;
use axum::http::Request;

use super::house::{BOUNDARY, House, multipart};
use super::season;

/// The item and fingerprint of the first sheet on a page.
async fn first(house: &House, path: &str) -> (String, String) {
    let page = house.get(path).await;
    (page.hidden("item")[0].clone(), page.hidden("fingerprint")[0].clone())
}

#[tokio::test]
async fn a_guardian_opens_her_link_and_acknowledges() {
    let house = House::told().await;
    let path = format!("/r/{}", house.token("may@example.org"));
    let page = house.get(&path).await;
    assert_eq!(page.status, 200);
    assert!(page.plain().contains("17:30") && page.plain().contains("Please confirm"));
    // Call 17:30 less the longest walk of 20 minutes and 5 for signing in is 17:05.
    assert!(page.plain().contains("17:05"), "{}", page.plain());
    let (item, seen) = first(&house, &path).await;
    let fields = [("item", item.as_str()), ("fingerprint", seen.as_str()), ("act", "heard")];
    let page = house.post(&path, &fields).await;
    assert_eq!(page.status, 200);
    assert!(page.plain().contains("You have read this for Ada: Dress rehearsal."), "{}", page.plain());
    assert_eq!(house.answers().await, 1);
    assert_eq!(house.office.event_lists().await.unwrap()[0].settled, (1, 5));
    assert_eq!(*house.acted.lock().unwrap(), 1);
    // The same form again changes nothing and says the same.
    let trace = house.trace().await;
    let again = house.post(&path, &fields).await;
    assert!(again.plain().contains("You have read this for Ada: Dress rehearsal."));
    assert_eq!(house.trace().await, trace);
}

#[tokio::test]
async fn looking_changes_nothing() {
    let house = House::told().await;
    let token = house.token("may@example.org");
    let before = house.trace().await;
    for path in [format!("/r/{token}"), format!("/stop/{token}"), format!("/r/{token}?act=heard")] {
        for method in ["GET", "HEAD", "OPTIONS"] {
            let request = Request::builder().method(method).uri(&path).body(Body::empty()).unwrap();
            let answer = house.ask(request).await;
            assert_eq!(
                answer.status.as_u16(),
                if method == "OPTIONS" { 405 } else { 200 },
                "{method} {path}"
            );
            assert_eq!(answer.body.is_empty(), method == "HEAD", "{method} {path}");
        }
    }
    assert_eq!(house.trace().await, before);
}

#[tokio::test]
async fn an_answer_about_old_times_is_not_noted() {
    let house = House::told().await;
    let path = format!("/r/{}", house.token("may@example.org"));
    let (item, seen) = first(&house, &path).await;
    let mut book = season::book();
    season::set(&mut book, "events", "Dress rehearsal", "call", "17:00");
    let bringing = house.office.preview(book, Vec::new()).await.unwrap();
    house.office.bring(&bringing).await.unwrap();
    let fields = [("item", item.as_str()), ("fingerprint", seen.as_str()), ("act", "heard")];
    let page = house.post(&path, &fields).await;
    assert!(page.plain().contains("This has changed since you opened it"), "{}", page.plain());
    assert_eq!(house.answers().await, 0);
    // The page shows both, and its own form is about the new ones.
    assert!(page.text.contains("17:30</del>") && page.plain().contains("17:00"));
    let seen = page.hidden("fingerprint")[0].clone();
    let fields = [("item", item.as_str()), ("fingerprint", seen.as_str()), ("act", "heard")];
    assert!(house.post(&path, &fields).await.plain().contains("You have read this for Ada"));
    assert_eq!(house.answers().await, 1);
}

#[tokio::test]
async fn a_child_who_cannot_come_and_a_question_go_to_a_person() {
    let house = House::told().await;
    let path = format!("/r/{}", house.token("may@example.org"));
    let (item, seen) = first(&house, &path).await;
    let about = [("item", item.as_str()), ("fingerprint", seen.as_str())];
    let page = house.post(&path, &[about[0], about[1], ("act", "cant_come")]).await;
    assert!(page.plain().contains("You told us that Ada can't come"), "{}", page.plain());
    let asks = [about[0], about[1], ("act", "question"), ("question", "Is <b>tea</b> served?")];
    let page = house.post(&path, &asks).await;
    assert!(page.plain().contains("We sent your question to the school (Ada"));
    // A question changes no answer: the child still can't come.
    assert!(page.plain().contains("You told us that Ada can't come"));
    let token = house.office.coordinator_link().await.unwrap();
    let season = house.coordinator_get(&token, "/season").await;
    assert!(season.text.contains("Is &#60;b&#62;tea&#60;/b&#62; served?"), "{}", season.text);
    assert!(season.plain().contains("Can't come: Dress rehearsal"), "{}", season.plain());
    let empty = house.post(&path, &[about[0], about[1], ("act", "question"), ("question", "  ")]).await;
    assert_eq!(empty.status, 200);
    assert!(empty.plain().contains("Nothing was written, so nothing was sent."), "{}", empty.plain());
}

#[tokio::test]
async fn one_form_answers_for_two_children_in_her_language() {
    let house = House::told().await;
    let path = format!("/r/{}", house.token("marisol@example.org"));
    let page = house.get(&path).await;
    assert!(page.text.contains("<html lang=\"es\">"));
    assert!(house.get(&format!("{path}?lang=en")).await.text.contains("<html lang=\"en\">"));
    // The form for both, then each sheet.
    let (items, seen) = (page.hidden("item"), page.hidden("fingerprint"));
    let fields: Vec<(&str, &str)> = items[..2]
        .iter()
        .zip(&seen[..2])
        .flat_map(|(item, seen)| [("item", item.as_str()), ("fingerprint", seen.as_str())])
        .chain([("act", "heard")])
        .collect();
    assert_eq!(house.post(&path, &fields).await.status, 200);
    assert_eq!(house.answers().await, 2);
    // An item that the mail was not about, or no item at all, is refused.
    let foreign = [("item", "C002/E001"), ("fingerprint", seen[0].as_str()), ("act", "heard")];
    assert_eq!(house.post(&path, &foreign).await.status, 400);
    assert_eq!(house.post(&path, &[("act", "heard")]).await.status, 400);
    assert_eq!(house.answers().await, 2);
}

#[tokio::test]
async fn stopping_and_starting() {
    let house = House::told().await;
    let path = format!("/stop/{}", house.stop_token("may@example.org"));
    let page = house.get(&path).await;
    assert!(page.plain().contains("Stop all mail to m…@example.org"), "{}", page.plain());
    assert!(house.post(&path, &[("act", "stop")]).await.plain().contains("We have stopped writing to"));
    assert!(house.trace().await.contains("stopped: true"));
    assert!(house.post(&path, &[("act", "start")]).await.plain().contains("Stop all mail to"));
    assert!(!house.trace().await.contains("stopped: true"));
    assert_eq!(house.post(&path, &[("act", "else")]).await.status, 400);
}

/// RFC 8058 3.1: the body is `List-Unsubscribe=One-Click` in either encoding, without cookies, and no redirect.
#[tokio::test]
async fn one_click_stops_in_both_encodings() {
    for in_parts in [false, true] {
        let house = House::told().await;
        let path = format!("/stop/{}", house.stop_token("may@example.org"));
        let answer = if in_parts {
            let body = multipart(&[("List-Unsubscribe", None, b"One-Click")]);
            let kind = format!("multipart/form-data; boundary={BOUNDARY}");
            house.ask(Request::post(&path).header("content-type", kind).body(body.into()).unwrap()).await
        } else {
            house.post(&path, &[("List-Unsubscribe", "One-Click")]).await
        };
        assert_eq!(answer.status, 200);
        assert!(answer.headers.get("set-cookie").is_none());
        assert!(house.trace().await.contains("stopped: true"));
    }
}

#[tokio::test]
async fn dead_and_wrong_links_open_nothing() {
    let house = House::told().await;
    let token = house.token("may@example.org");
    let path = format!("/r/{token}");
    let (item, seen) = first(&house, &path).await;
    for wrong in [
        "/r/AAAAAAAAAAAAAAAAAAAAAA",
        "/r/..%2f",
        "/r/%00",
        "/stop/nothing",
        "/c/nothing",
        "/enter/nothing",
        "/x",
    ] {
        let answer = house.get(wrong).await;
        assert_eq!(answer.status, 404, "{wrong}");
        assert!(answer.plain().contains("There is nothing at this address"), "{wrong}");
    }
    // A guardian's link is none of a chaperone's or the coordinator's.
    for wrong in [format!("/c/{token}"), format!("/enter/{token}")] {
        assert_eq!(house.get(&wrong).await.status, 404);
    }
    // Two days after the last event that is hers the link opens nothing.
    house.clock.set("2027-06-07T19:00:00Z");
    assert_eq!(house.get(&path).await.status, 200);
    house.clock.set("2027-06-08T00:00:00Z");
    let answer = house.get(&path).await;
    assert_eq!(answer.status, 410);
    assert!(answer.plain().contains("01632 960100"));
    let fields = [("item", item.as_str()), ("fingerprint", seen.as_str()), ("act", "heard")];
    assert_eq!(house.post(&path, &fields).await.status, 410);
    assert_eq!(house.answers().await, 0);
}

#[tokio::test]
async fn names_are_words_and_never_markup() {
    let house = House::told().await;
    let page = house.get(&format!("/r/{}", house.token("odd@example.org"))).await;
    assert_eq!(page.status, 200);
    assert!(page.text.contains("&#60;script&#62;alert(1)&#60;/script&#62;"));
    assert!(!page.text.contains("<script"));
}

// Somebody else collects: a request that is told to every address, and counts when a person has rung and accepted it.
#[tokio::test]
async fn a_collector_is_asked_for_told_to_every_address_and_granted_by_a_person() {
    let mut book = super::season::book();
    super::season::set(&mut book, "children", "Ada", "guardian 1 collects", "yes");
    let house = House::open_with(book).await;
    house.clock.set("2027-05-28T09:30:00Z");
    house.send().await;
    let path = format!("/r/{}", house.token("may@example.org"));
    let page = house.get(&path).await;
    assert!(page.plain().contains("Who may pick upMay Finch"), "{}", page.plain());
    let item = page.hidden("item")[0].clone();
    let seen = page.hidden("fingerprint")[0].clone();
    let ask = [
        ("item", item.as_str()),
        ("fingerprint", seen.as_str()),
        ("act", "collector"),
        ("words", "Ana Ruiz; aunt, Friday"),
    ];
    let after = house.post(&path, &ask).await.plain();
    assert!(after.contains("We told the school (Ada, Dress rehearsal)."), "{after}");
    house.office.send_tick().await.unwrap();
    assert!(house.mail("may@example.org").contains("Someone has asked for a change on your page (Ada)."));
    let token = house.office.coordinator_link().await.unwrap();
    let season = house.coordinator_get(&token, "/season").await;
    assert!(season.plain().contains("Somebody else is to collect. Ring the number on file first."));
    let before = house.coordinator_get(&token, "/season/E001/sheets/clipboard-V002").await;
    assert!(!before.plain().contains("Ana Ruiz"));
    let question = season.hidden("question")[0].clone();
    let grant = [("question", question.as_str()), ("act", "grant")];
    let done = house.coordinator_post(&token, "/season", &grant).await;
    assert!(done.plain().contains("Done: they stand on the sheets"), "{}", done.plain());
    let again = house.coordinator_post(&token, "/season", &grant).await;
    assert!(again.plain().contains("Already done. Nothing changed."), "{}", again.plain());
    let desk = house.office.desk().await.unwrap();
    let ada = desk.board.season.children.iter().find(|child| child.given == "Ada").unwrap();
    assert_eq!(ada.also_collects, ["Ana Ruiz, aunt, Friday"]);
    let chaperones: Vec<String> = desk.board.season.chaperones.iter().map(|c| c.reference.clone()).collect();
    drop(desk);
    let mut clipboards = String::new();
    for chaperone in chaperones {
        let path = format!("/season/E001/sheets/clipboard-{chaperone}");
        clipboards.push_str(&house.coordinator_get(&token, &path).await.plain());
    }
    assert!(clipboards.contains("May Finch or Ana Ruiz, aunt, Friday"), "{clipboards}");
    // Nobody is asked again for it.
    assert!(house.get(&path).await.plain().contains("Please confirm"));
    // Nothing written is nothing sent.
    let empty = [("item", item.as_str()), ("fingerprint", seen.as_str()), ("act", "address"), ("words", " ")];
    assert!(house.post(&path, &empty).await.plain().contains("Nothing was written, so nothing was sent."));
}

// One tap ends every link of a family; the next message brings a new one.
#[tokio::test]
async fn a_familys_links_are_ended_in_one_tap() {
    let house = House::told().await;
    let path = format!("/r/{}", house.token("may@example.org"));
    assert_eq!(house.get(&path).await.status, 200);
    let token = house.office.coordinator_link().await.unwrap();
    let household = house.household("May Finch").await;
    let of_family = format!("/season/family/{household}");
    let done = house.coordinator_post(&token, &of_family, &[("act", "end_links")]).await;
    assert!(done.plain().contains("no link sent so far opens anything"), "{}", done.plain());
    let dead = house.get(&path).await;
    assert_eq!(dead.status, 410);
    assert!(dead.plain().contains("01632 960100"), "{}", dead.plain());
    let other = format!("/r/{}", house.token("marisol@example.org"));
    assert_eq!(house.get(&other).await.status, 200, "another family's link goes on");
    let again = house.coordinator_post(&token, &of_family, &[("act", "end_links")]).await;
    assert!(again.plain().contains("no open link"), "{}", again.plain());
}

// A link opens all that was told and is still to come, whatever its message was about, and nothing of anybody else's.
#[tokio::test]
async fn any_link_opens_everything_that_was_told_and_is_still_to_come() {
    let house = House::told().await;
    house.clock.set("2027-05-29T09:30:00Z");
    house.send().await;
    house.clock.set("2027-06-03T09:30:00Z");
    house.send().await;
    let path = format!("/r/{}", house.token("marisol@example.org"));
    let page = house.get(&path).await.plain();
    for words in ["Dress rehearsal", "First show", "Las normas de la casa"] {
        assert!(page.contains(words), "{words}: {page}");
    }
    assert!(page.contains("Ines y Tariq"), "siblings stand together: {page}");
    for stranger in ["May Finch", "Lee Quill", "Ada"] {
        assert!(!page.contains(stranger), "{stranger}: {page}");
    }
}
