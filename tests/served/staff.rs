//! What a chaperone and the coordinator can do with theirs.

use axum::body::Body;
use axum::http::Request;

use super::house::{House, encoded};
use super::season;

async fn chaperone(house: &House, reference: &str) -> String {
    format!("/c/{}", house.office.chaperone_link(reference).await.unwrap().unwrap())
}

/// The form of the child of a ref on a chaperone's page.
fn call<'a>(child: &'a str, guardian: &'a str, seen: &'a str, act: &'a str) -> [(&'a str, &'a str); 5] {
    [("child", child), ("event", "E001"), ("guardian", guardian), ("fingerprint", seen), ("act", act)]
}

#[tokio::test]
async fn a_chaperone_rings_and_the_child_is_settled() {
    let house = House::told().await;
    let path = chaperone(&house, "V002").await;
    let page = house.get(&path).await;
    let words = page.plain();
    assert!(words.contains("Noor, two families to ring"), "{words}");
    // Thirty minutes before the children's call of 17:30, as at any rehearsal.
    assert!(words.contains("17:00"), "{words}");
    assert!(words.contains("Written to once, on Friday 28 May."), "{words}");
    assert!(words.contains("Speaks Spanish."), "{words}");
    assert!(page.text.contains("href=\"tel:+447700900021\""));
    let at = page.hidden("child").iter().position(|child| child == "C002").unwrap();
    // The first fingerprint of the page is that of her own duties.
    let (guardian, seen) = (&page.hidden("guardian")[at], &page.hidden("fingerprint")[at + 1]);
    let after = house.post(&path, &call("C002", guardian, seen, "no_answer")).await;
    assert!(after.plain().contains("Rung on Friday 28 May, 10:30: no answer."), "{}", after.plain());
    let before = house.office.event_lists().await.unwrap()[0].settled.0;
    let after = house.post(&path, &call("C002", guardian, seen, "heard")).await;
    assert!(after.plain().contains("said yes, for"), "{}", after.plain());
    assert!(after.plain().contains("One of your two children is settled."), "{}", after.plain());
    assert_eq!(house.office.event_lists().await.unwrap()[0].settled.0, before + 1);
    let trace = house.trace().await;
    assert_eq!(house.post(&path, &call("C002", guardian, seen, "heard")).await.status, 200);
    assert_eq!(house.trace().await, trace);
}

#[tokio::test]
async fn a_chaperone_sees_the_families_she_is_introduced_to_and_no_others() {
    let house = House::open().await;
    let path = chaperone(&house, "V002").await;
    assert!(
        !house.get(&path).await.text.contains("Families to greet"),
        "nobody is introduced in this season"
    );
    let mut book = season::book();
    season::add(
        &mut book,
        "notices",
        &[
            ("name", "First contact"),
            ("about", "dress rehearsal"),
            ("to", "everyone"),
            ("counted from", "call"),
            ("days before", "6"),
            ("at", "18:00"),
            ("by", "mail"),
            ("answer owed", "no"),
            ("wording", "introduction"),
        ],
    );
    let house = House::open_with(book).await;
    let path = chaperone(&house, "V002").await;
    let page = house.get(&path).await;
    let words = page.plain();
    let greet = words.split_once("Say hello when you next see them, or ring them.").expect("the section").1;
    assert!(
        greet.contains("Ada F. May Ring") && greet.contains("Ines A. Marisol, speaks Spanish Ring"),
        "{greet}"
    );
    assert!(!greet.contains("Tariq") && !greet.contains("Finch") && !greet.contains("Lee"), "{greet}");
    assert!(page.text.contains("href=\"tel:+447700900018\""));
    // When the dress rehearsal is over there is nobody left to greet for it.
    house.clock.set("2027-06-05T12:00:00Z");
    assert!(!house.get(&path).await.text.contains("Families to greet"));
}

#[tokio::test]
async fn a_call_about_old_times_is_not_noted() {
    let house = House::told().await;
    let path = chaperone(&house, "V002").await;
    let page = house.get(&path).await;
    let (child, guardian, seen) =
        (&page.hidden("child")[0], &page.hidden("guardian")[0], &page.hidden("fingerprint")[1]);
    let mut book = season::book();
    season::set(&mut book, "events", "Dress rehearsal", "call", "17:00");
    let bringing = house.office.preview(book, Vec::new()).await.unwrap();
    house.office.bring(&bringing).await.unwrap();
    let after = house.post(&path, &call(child, guardian, seen, "heard")).await;
    assert!(after.plain().contains("Nothing was noted: the times of"), "{}", after.plain());
    assert_eq!(house.answers().await, 0);
}

#[tokio::test]
async fn a_chaperone_notes_nothing_about_children_of_others() {
    let house = House::told().await;
    let (hers, other) = (chaperone(&house, "V002").await, chaperone(&house, "V001").await);
    let page = house.get(&other).await;
    let mine = house.get(&hers).await.hidden("child");
    let at = page.hidden("child").iter().position(|child| !mine.contains(child)).unwrap();
    // Before those of her children stand her own duties and the call that was shared out to her.
    let (child, guardian, seen) =
        (&page.hidden("child")[at], &page.hidden("guardian")[at + 1], &page.hidden("fingerprint")[at + 2]);
    let answer = house.post(&hers, &call(child, guardian, seen, "heard")).await;
    assert_eq!(answer.status, 403);
    // A guardian of another child is not hers to note either.
    let strange = house.post(&hers, &call(&mine[0], guardian, seen, "heard")).await;
    assert_eq!(strange.status, 403);
    assert_eq!(house.answers().await, 0);
    assert!(house.office.chaperone_link("V099").await.unwrap().is_none());
}

#[tokio::test]
async fn forms_of_other_sites_are_refused() {
    let house = House::told().await;
    let path = chaperone(&house, "V002").await;
    let page = house.get(&path).await;
    let (child, guardian, seen) =
        (&page.hidden("child")[0], &page.hidden("guardian")[0], &page.hidden("fingerprint")[1]);
    let fields = call(child, guardian, seen, "heard");
    let coordinator = house.office.coordinator_link().await.unwrap();
    for (path, name, value) in [
        (path.as_str(), "origin", "https://elsewhere.example"),
        (path.as_str(), "sec-fetch-site", "cross-site"),
        ("/season", "origin", "null"),
        ("/season/workbook", "origin", "https://elsewhere.example"),
    ] {
        let request = Request::post(path)
            .header("content-type", "application/x-www-form-urlencoded")
            .header("cookie", format!("allheard={coordinator}"))
            .header(name, value);
        let answer = house.ask(request.body(Body::from(encoded(&fields))).unwrap()).await;
        assert_eq!(answer.status, 403, "{path} {name}");
        assert!(answer.plain().contains("That form did not come from this page"));
    }
    assert_eq!(house.answers().await, 0);
}

#[tokio::test]
async fn the_coordinator_enters_and_counts() {
    let house = House::told().await;
    assert_eq!(house.get("/season").await.status, 403);
    let token = house.office.coordinator_link().await.unwrap();
    let entered = house.get(&format!("/enter/{token}")).await;
    assert_eq!((entered.status.as_u16(), entered.header("location")), (303, "/season"));
    let cookie = entered.header("set-cookie");
    assert!(cookie.ends_with("; Path=/; Max-Age=604800; HttpOnly; SameSite=Strict; Secure"), "{cookie}");
    assert!(!cookie.contains(&token), "the cookie is a secret of its own");
    // From a page of another site a strict cookie would not come along a redirect.
    let request = Request::get(format!("/enter/{token}")).header("sec-fetch-site", "cross-site");
    let tapped = house.ask(request.body(Body::empty()).unwrap()).await;
    assert_eq!(tapped.status, 200);
    assert!(tapped.text.contains("href=\"/season\""));

    let page = house.coordinator_get(&token, "/season").await.plain();
    assert!(page.contains("Dress rehearsal on Friday 4 June: 0 of 5 settled"), "{page}");
    assert!(page.contains("No way to reach: Lee Quill, for Nia Quill"), "{page}");
    assert!(page.contains("accepted3"), "{page}");
    let event = house.coordinator_get(&token, "/season/E001").await;
    assert_eq!(event.status, 200);
    assert!(event.plain().contains("with Noor Hadi"), "{}", event.plain());
    assert!(!event.text.contains("<script"));
    assert_eq!(house.coordinator_get(&token, "/season/E099").await.status, 404);
    assert!(event.text.contains("href=\"/season/E001/sheets/door\""), "{}", event.text);
    let door = house.coordinator_get(&token, "/season/E001/sheets/door").await;
    assert!(door.plain().contains("Children's door: Dress rehearsal"), "{}", door.plain());
    // With the answers as they are: asked, and nobody has answered yet.
    assert!(door.text.contains("<td>not heard from</td>") && !door.text.contains("<script"), "{}", door.text);
    assert_eq!(house.coordinator_get(&token, "/season/E001/sheets/nothing").await.status, 404);
    assert_eq!(house.get("/season/E001/sheets/door").await.status, 403);
    assert_eq!(house.coordinator_get("AAAAAAAAAAAAAAAAAAAAAA", "/season").await.status, 403);
    house.clock.set("2027-09-01T00:00:00Z");
    assert_eq!(house.coordinator_get(&token, "/season").await.status, 403);
}
