//! What will leave, in which words, and the deliberate step before anything does.

use super::house::{Answer, House, encoded};
use super::season;
use allheard::domain::season::Channel;
use allheard::gateway::{Carrier, Road, Texts, memory};
use allheard::service::ports::Store as _;
use axum::body::Body;
use axum::http::Request;

/// Brought and not set going, six days before the first call sheets, with a tariff for mail.
async fn brought() -> (House, String) {
    let house = House::in_other_ways(|ways| {
        ways.tariffs.mail = Some("0.01 GBP".parse().unwrap());
        ways.coordinator = vec![(Channel::Mail, "noor@example.org".to_owned())];
    })
    .await;
    house.bring_only(season::book()).await;
    house.clock.set("2027-05-22T09:00:00Z");
    let token = house.office.coordinator_link().await.unwrap();
    (house, token)
}

async fn set_going(house: &House, token: &str, page: &Answer) -> String {
    let revision = page.hidden("revision").remove(0);
    let fields = [("revision", revision.as_str()), ("sure", "yes"), ("act", "set_going")];
    house.coordinator_post(token, "/season/plan", &fields).await.plain()
}

#[tokio::test]
async fn nothing_leaves_before_the_deliberate_step() {
    let (house, token) = brought().await;
    let page = house.coordinator_get(&token, "/season").await;
    assert!(page.plain().contains("Not started yet") && page.text.contains("href=\"/season/plan\""));
    house.clock.set("2027-05-28T09:30:00Z");
    house.send().await;
    assert_eq!(house.mails(), 0, "it was only brought");
    house.clock.set("2027-05-22T09:00:00Z");
    let plan = house.coordinator_get(&token, "/season/plan").await;
    assert!(plan.plain().contains("Yes: 3 messages to families in the next 7 days, for 0.03 GBP; 3 later."));
    let revision = plan.hidden("revision").remove(0);
    let post =
        async |fields: &[(&str, &str)]| house.coordinator_post(&token, "/season/plan", fields).await.plain();
    let unsure = post(&[("revision", &revision), ("act", "set_going")]).await;
    assert!(unsure.contains("Nothing was started: first tick"), "{unsure}");
    let stale = post(&[("revision", "0"), ("sure", "yes"), ("act", "set_going")]).await;
    assert!(stale.contains("Nothing was started: another workbook"), "{stale}");
    // To go on is no way around the step.
    assert_eq!(house.coordinator_post(&token, "/season/plan", &[("act", "go_on")]).await.status, 400);
    house.clock.set("2027-05-28T09:30:00Z");
    house.send().await;
    assert_eq!(house.mails(), 0);
    assert!(set_going(&house, &token, &plan).await.contains("Started: messages are sent"));
    assert!(set_going(&house, &token, &plan).await.contains("Already started"));
    house.send().await;
    assert_eq!(house.mails(), 3);
    let page = house.coordinator_get(&token, "/season").await.plain();
    assert!(page.contains("started by the coordinator on Friday 28 May, 10:30"), "{page}");
}

#[tokio::test]
async fn while_it_is_paused_only_replies_leave_and_what_is_due_is_caught_up_with() {
    let house = House::told().await;
    let token = house.office.coordinator_link().await.unwrap();
    let sent = house.mails();
    let act = async |act: &str| house.coordinator_post(&token, "/season", &[("act", act)]).await.plain();
    assert!(act("pause").await.contains("Paused: nothing planned is sent until you resume."));
    assert!(act("pause").await.contains("Already so."));
    house.clock.set("2027-06-03T09:30:00Z");
    house.send().await;
    assert_eq!(house.mails(), sent, "the house rules were due at 10:00");
    // A parent's own text is answered all the same.
    let fields = encoded(&[("from", "07700 900021"), ("text", "STOP"), ("id", "m1")]);
    let request = Request::post("/hook/answers")
        .header("content-type", "application/x-www-form-urlencoded")
        .header("x-secret", "whisper");
    assert_eq!(house.ask(request.body(Body::from(fields)).unwrap()).await.status, 200);
    house.office.send_tick().await.unwrap();
    assert_eq!(house.texts().last().unwrap().0, "+447700900021");
    assert!(house.coordinator_get(&token, "/season").await.plain().contains("Paused by the coordinator on"));
    assert!(act("go_on").await.contains("Resumed: messages are sent when they are due."));
    house.send().await;
    assert_eq!(house.mails(), sent + 3, "once each, and nothing was lost");
}

#[tokio::test]
async fn what_passes_its_moment_during_a_pause_expires_as_it_would_anyway() {
    let house = House::told().await;
    let sent = house.mails();
    assert!(house.office.pause(allheard::service::ports::Hand::Command).await.unwrap());
    house.clock.set("2027-06-05T20:30:00Z");
    house.office.tend_tick().await.unwrap();
    assert!(house.office.set_going(allheard::service::ports::Hand::Command).await.unwrap());
    house.send().await;
    assert_eq!(house.mails(), sent);
    let season = house.office.desk().await.unwrap().season;
    let expired = allheard::domain::graph::State::Expired;
    assert_eq!(house.office.store.messages_in(season, &[expired], 100).await.unwrap().len(), 3);
}

#[tokio::test]
async fn the_plan_says_what_leaves_when_why_and_at_what_cost() {
    let (house, token) = brought().await;
    let plan = house.coordinator_get(&token, "/season/plan").await;
    let words = plan.plain();
    for expected in [
        "6 messages are planned, the first for Friday 28 May, 10:00",
        "Dress rehearsal, call sheet, by mail",
        "3 messages, at 10:00:00",
        "By mail, Spanish",
    ] {
        assert!(words.contains(expected), "{expected}: {words}");
    }
    assert!(!words.contains("not known"), "{words}");
    for week in ["Monday 24 May", "Monday 31 May"] {
        // Cells of the table of weeks, one after the other: messages and cost.
        let row = format!("{week}, by mail30.03 GBP");
        assert!(words.contains(&row), "{row}: {words}");
    }
    let day = house.coordinator_get(&token, "/season/plan/2027-05-28").await;
    let words = day.plain();
    assert!(words.contains("Friday 28 May: 3 messages leave"), "{words}");
    assert!(words.contains("May Finch: Dress rehearsal, call sheet, by mail"), "{words}");
    assert!(words.contains("Leaves Friday 28 May, 10:00, 0.01 GBP"), "{words}");
    assert!(words.contains("Dress rehearsal, call sheet: 7 days before the call at 10:00."), "{words}");
    assert!(
        house.coordinator_get(&token, "/season/plan/2027-05-29").await.plain().contains("Nothing leaves on")
    );
    assert_eq!(house.coordinator_get(&token, "/season/plan/nothing").await.status, 404);
    for path in ["/season/plan", "/season/plan/2027-05-28"] {
        assert_eq!(house.get(path).await.status, 403, "{path}");
        assert_eq!(house.post(path, &[("act", "set_going")]).await.status, 403, "{path}");
    }
}

#[tokio::test]
async fn the_plan_says_what_its_notices_rest_on_and_what_people_do_beside_them() {
    let house = House::in_other_ways(|_| {}).await;
    let mut book = season::book();
    book.sheet_mut("notices").rows[0].set("why", "A week is enough <b> (common practice, no source).");
    house.bring_only(book).await;
    house.clock.set("2027-05-22T09:00:00Z");
    let token = house.office.coordinator_link().await.unwrap();
    let plan = house.coordinator_get(&token, "/season/plan").await;
    let words = plan.plain();
    // The first show is on 5 June.
    for expected in [
        "From Saturday 8 May. At the class door, paper and pen in hand",
        "From Monday 31 May. Volunteers ring",
        "From Saturday 5 June. On the days of the shows",
        "Journal of School Health",
        "Why these notices",
    ] {
        assert!(words.contains(expected), "{expected}: {words}");
    }
    assert!(plan.text.contains("href=\"/season/door\"") && plan.text.contains("href=\"/season/chase\""));
    let message = plan.text.split("href=\"/season/plan/").filter(|rest| !rest.starts_with("2027")).nth(1);
    let message = format!("/season/plan/{}", message.unwrap().split('"').next().unwrap());
    for path in ["/season/plan", "/season/plan/2027-05-28", &message] {
        let page = house.coordinator_get(&token, path).await;
        assert!(page.plain().contains("A week is enough"), "{path}: {}", page.plain());
        assert!(!page.text.contains("enough <b>"), "{path}");
    }
    // A day of other notices says nothing of this one's.
    let other = house.coordinator_get(&token, "/season/plan/2027-06-03").await;
    assert!(!other.plain().contains("A week is enough") && other.plain().contains("messages leave"));
}

#[tokio::test]
async fn a_burst_beyond_the_gateways_rate_says_when_its_last_leaves_and_how_many_cannot() {
    // One text in 1,000 seconds: of two due ten minutes before the call at 17:30 the second is too late.
    let slow = || {
        let road = Road::Memory(memory::Memory::new(|_, _| memory::Fate::Taken));
        Carrier { road, per_second: 0.001, sessions: 1 }
    };
    let mut book = season::book();
    for row in &mut book.sheet_mut("notices").rows {
        row.set("by", "text");
    }
    for row in &mut book.sheet_mut("children").rows {
        row.set("guardian 1 e-mail", "");
        if !row.text("guardian 1 mobile").is_empty() && row.text("guardian 1 texts").is_empty() {
            row.set("guardian 1 texts", "yes");
        }
    }
    for (column, text) in [("days before", ""), ("at", ""), ("minutes before", "10")] {
        book.sheet_mut("notices").rows[0].set(column, text);
    }
    let house = House::with(Texts::new(vec![slow()]), Vec::new()).await;
    house.bring_only(book).await;
    let token = house.office.coordinator_link().await.unwrap();
    let words = house.coordinator_get(&token, "/season/plan").await.plain();
    let late = "2 messages, at 17:20:00 4 segments, cost not known 1 of them cannot leave in time: they would have to begin by Friday 4 June, 17:13,";
    assert!(words.contains(late), "{words}");
    assert!(words.contains("2 messages, the first at 10:00:00, the last at 10:16:40"), "{words}");
    assert!(words.contains("What some of it costs is not known"), "{words}");
}

#[tokio::test]
async fn a_test_goes_to_the_coordinator_alone_and_counts_for_nothing() {
    let (house, token) = brought().await;
    let plan = house.coordinator_get(&token, "/season/plan").await;
    let sheet = plan.text.split("href=\"/season/plan/").filter(|rest| !rest.starts_with("2027")).nth(1);
    let path = format!("/season/plan/{}", sheet.unwrap().split('"').next().unwrap());
    let page = house.coordinator_get(&token, &path).await;
    assert_eq!(page.status, 200);
    let words = page.plain();
    assert!(words.contains("will read, by mail") && words.contains("7 days before the call"), "{words}");
    assert!(words.contains("n…@example.org"), "{words}");
    let before = house.trace().await;
    let once = page.hidden("once").remove(0);
    let send = async |once: &str| {
        let fields = [("once", once), ("act", "test")];
        house.coordinator_post(&token, &path, &fields).await.plain()
    };
    assert!(send(&once).await.contains("The gateway took the test: look at your mailbox."));
    assert!(send(&once).await.contains("That test was already sent. Nothing was sent again."));
    assert_eq!(house.mails(), 1);
    let mail = house.mail("noor@example.org");
    assert!(mail.starts_with("This is a test, sent to the coordinator only."), "{mail}");
    assert!(mail.contains("17:30") || mail.contains("Dress"), "{mail}");
    assert_eq!(house.trace().await, before, "nobody was told, nothing was answered");
    assert!(!house.office.course().await.unwrap().is_going(), "a test sets nothing going");
    let season = house.office.desk().await.unwrap().season;
    let lines = house.office.store.ledger(season, 0, 100).await.unwrap();
    let tests: Vec<_> = lines.iter().filter(|line| line.entry.kind == "test").collect();
    assert_eq!(tests.len(), 1);
    assert!(tests[0].entry.about.starts_with("channel=mail to=coordinator wording="));
    // Where she has no address the page says what to write where.
    let nobody = House::open().await;
    let token = nobody.office.coordinator_link().await.unwrap();
    let page = nobody.coordinator_get(&token, &path).await;
    assert!(page.plain().contains("write coordinator.mail into the configuration"), "{}", page.plain());
}
