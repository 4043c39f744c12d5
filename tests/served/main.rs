//! The pages as a browser meets them: requests in, answers out, with a real database and a clock set by hand.

#![allow(clippy::print_stdout, reason = "figures are shown")]
#![allow(clippy::unwrap_used, reason = "a helper of a test may fail the test")]

mod absence;
mod bringing;
mod calendars;
mod changing;
mod chase;
mod early;
mod edits;
mod family;
mod forecast;
#[allow(dead_code, reason = "other tests use more of it")]
mod house;
mod keys;
#[allow(dead_code, clippy::print_stderr, reason = "other tests use more of it; what is left out is said")]
#[path = "../support/peers.rs"]
mod peers;
mod plan;
mod season;
mod show;
mod staff;
mod texts;

use axum::body::Body;
use axum::http::Request;
use house::House;

#[tokio::test]
async fn every_answer_carries_the_same_headers() {
    let house = House::told().await;
    let token = house.token("may@example.org");
    let entry = house.office.coordinator_link().await.unwrap();
    for path in [
        "/".to_owned(),
        "/sheet.css".to_owned(),
        "/favicon.svg".to_owned(),
        "/healthz".to_owned(),
        "/readyz".to_owned(),
        "/nowhere".to_owned(),
        "/season".to_owned(),
        format!("/r/{token}"),
        format!("/stop/{token}"),
        format!("/enter/{entry}"),
    ] {
        let answer = house.get(&path).await;
        assert!(answer.header("content-security-policy").starts_with("default-src 'none'"), "{path}");
        assert_eq!(answer.header("referrer-policy"), "same-origin", "{path}");
        assert_eq!(answer.header("x-content-type-options"), "nosniff", "{path}");
        assert_eq!(answer.header("x-frame-options"), "DENY", "{path}");
        let kept = if path.contains('.') { "public, max-age=600" } else { "no-store" };
        assert_eq!(answer.header("cache-control"), kept, "{path}");
        assert!(!answer.text.contains("<script") && !answer.text.contains(" style=\""), "{path}");
    }
}

#[tokio::test]
async fn the_plain_addresses_answer_with_and_without_a_season() {
    for house in [House::empty().await, House::open().await] {
        assert_eq!(house.get("/healthz").await.text, "alive\n");
        let ready = house.get("/readyz").await;
        assert_eq!((ready.status.as_u16(), ready.text.as_str()), (200, "ready\n"));
        assert!(house.get("/").await.plain().contains("without a link of your own"));
        assert_eq!(house.get("/sheet.css").await.header("content-type"), "text/css; charset=utf-8");
        assert_eq!(house.get("/r/AAAAAAAAAAAAAAAAAAAAAA").await.status, 404);
        assert_eq!(house.get("/season").await.status, 403);
        let request = Request::delete("/season").body(Body::empty()).unwrap();
        let refused = house.ask(request).await;
        assert_eq!(refused.status, 405);
        assert!(refused.header("allow").contains("GET"));
    }
}

#[tokio::test]
async fn too_large_and_unreadable_forms_are_told_so() {
    let house = House::told().await;
    let path = format!("/r/{}", house.token("may@example.org"));
    let long = "x".repeat(allheard::web::fields::FORM_MAX_OCTETS);
    let answer = house.post(&path, &[("act", "question"), ("question", &long)]).await;
    assert_eq!(answer.status, 413);
    assert!(answer.plain().contains("That file is too big"));
    let request = Request::post(&path).header("content-type", "text/plain").body(Body::from("act=heard"));
    assert_eq!(house.ask(request.unwrap()).await.status, 400);
    let token = house.office.coordinator_link().await.unwrap();
    let octets = vec![0u8; allheard::web::workbook::UPLOAD_MAX_OCTETS + 1];
    assert_eq!(house.upload(&token, &octets).await.status, 413);
    assert_eq!(house.answers().await, 0);
}

#[tokio::test]
async fn refusals_speak_the_readers_language() {
    let house = House::open().await;
    let request = Request::get("/r/AAAAAAAAAAAAAAAAAAAAAA").header("accept-language", "fr, es-MX;q=0.8");
    let answer = house.ask(request.body(Body::empty()).unwrap()).await;
    assert_eq!(answer.status, 404);
    assert!(answer.text.contains("<html lang=\"es\">"));
}

#[tokio::test]
async fn a_store_that_fails_is_a_page_that_says_when_to_come_back() {
    let house = House::told().await;
    let token = house.token("may@example.org");
    house.office.store.close().await;
    for path in [format!("/r/{token}"), format!("/stop/{token}")] {
        let answer = house.get(&path).await;
        assert_eq!(answer.status, 503, "{path}");
        assert_eq!(answer.header("retry-after"), "60");
        assert!(answer.plain().contains("We cannot answer just now"));
    }
    assert_eq!(house.get("/readyz").await.status, 503);
    assert_eq!(house.get("/healthz").await.status, 200);
}

#[tokio::test]
async fn a_flood_of_wrong_links_is_told_to_wait_and_right_ones_still_open() {
    let house = House::told().await;
    let token = house.token("may@example.org");
    for _ in 0..allheard::web::routes::STRANGERS_PER_MINUTE {
        assert_eq!(house.get("/r/AAAAAAAAAAAAAAAAAAAAAA").await.status, 404);
    }
    assert_eq!(house.get("/r/AAAAAAAAAAAAAAAAAAAAAA").await.status, 429);
    assert_eq!(house.get(&format!("/r/{token}")).await.status, 200);
    house.clock.set("2027-05-28T09:32:00Z");
    assert_eq!(house.get("/r/AAAAAAAAAAAAAAAAAAAAAA").await.status, 404);
}
