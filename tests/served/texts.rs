//! What families text back, from the gateway's request to the standing and the reply.

use super::house::{House, encoded};
use super::season;
use allheard::domain::book::Book;
use allheard::domain::season::Channel;
use allheard::domain::segments;
use allheard::domain::standing::Standing;
use allheard::service::hearing::{Became, Incoming};
use allheard::service::ports::{NewReceipt, News, Receipted, Store as _};
use axum::body::Body;
use axum::http::Request;
use std::sync::atomic::{AtomicU32, Ordering};

const MAY: &str = "+447700900021";
const MARISOL: &str = "+447700900018";
static NTH: AtomicU32 = AtomicU32::new(0);

/// The small season with everything sent by text.
fn book() -> Book {
    let mut book = season::book();
    for row in &mut book.sheet_mut("notices").rows {
        row.set("by", "text");
    }
    for row in &mut book.sheet_mut("children").rows {
        if !row.text("guardian 1 mobile").is_empty() && row.text("guardian 1 texts").is_empty() {
            row.set("guardian 1 texts", "yes");
        }
    }
    book
}

async fn told() -> House {
    let house = House::open_with(book()).await;
    house.clock.set("2027-05-28T09:30:00Z");
    house.send().await;
    house
}

/// A text as a gateway passes it on.
async fn text(house: &House, from: &str, words: &str) -> u16 {
    let nth = NTH.fetch_add(1, Ordering::Relaxed);
    text_as(house, from, words, &format!("m{nth}")).await
}

async fn text_as(house: &House, from: &str, words: &str, id: &str) -> u16 {
    let fields = encoded(&[("from", from), ("text", words), ("id", id)]);
    let request = Request::post("/hook/answers")
        .header("content-type", "application/x-www-form-urlencoded")
        .header("x-secret", "whisper")
        .body(Body::from(fields));
    let status = house.ask(request.unwrap()).await.status.as_u16();
    house.office.send_tick().await.unwrap();
    status
}

/// How many recipients stand where, over all events.
async fn standing(house: &House, at: Standing) -> u64 {
    let at = Standing::ALL.iter().position(|s| *s == at).unwrap();
    house.office.event_lists().await.unwrap().iter().map(|list| list.recipients[at]).sum()
}

fn last(house: &House) -> (String, String) {
    house.texts().last().cloned().unwrap()
}

#[tokio::test]
async fn a_bare_yes_is_taken_when_one_question_is_open() {
    let house = told().await;
    assert_eq!(standing(&house, Standing::Heard).await, 0);
    assert_eq!(text(&house, "07700 900021", "Yes, thanks!").await, 200);
    assert_eq!(standing(&house, Standing::Heard).await, 1);
    let (to, words) = last(&house);
    assert_eq!(to, MAY);
    assert!(words.starts_with("Brackwater: Thank you. Ada, Dress rehearsal Fri 4 June: noted."), "{words}");
    assert_eq!(segments::count(&words).segments.len(), 1);
    // A second one answers nothing that is open: it is thanks, and no person is bothered with it.
    assert_eq!(text(&house, MAY, "YES").await, 200);
    assert_eq!(house.office.season_data().await.unwrap().asked.len(), 0);
}

#[tokio::test]
async fn one_message_about_two_children_is_one_question_in_the_readers_language() {
    let house = told().await;
    text(&house, MARISOL, "Sí").await;
    assert_eq!(standing(&house, Standing::Heard).await, 2);
    let (to, words) = last(&house);
    assert_eq!(to, MARISOL);
    assert!(words.starts_with("Brackwater: Gracias."), "{words}");
}

#[tokio::test]
async fn more_questions_are_asked_back_with_numbers() {
    let house = told().await;
    house.clock.set("2027-06-03T09:30:00Z");
    house.send().await;
    text(&house, MAY, "YES").await;
    assert_eq!(standing(&house, Standing::Heard).await, 0, "nothing is guessed");
    let (to, words) = last(&house);
    assert_eq!(to, MAY);
    assert!(words.contains("Reply 1 for Ada,") && words.contains("3 for all"), "{words}");
    assert_eq!(segments::count(&words).segments.len(), 1);
    text(&house, MAY, "4").await;
    assert_eq!(standing(&house, Standing::Heard).await, 0, "there is no fourth");
    text(&house, MAY, "3").await;
    assert_eq!(standing(&house, Standing::Heard).await, 1);
    let data = house.office.season_data().await.unwrap();
    assert_eq!(data.asked.len(), 1, "the number that was none of them waits for a person");
}

#[tokio::test]
async fn one_of_the_numbers_answers_that_alone() {
    let house = told().await;
    // An absence is about one event, so with two children in one message the reply asks which.
    text(&house, MARISOL, "No podemos ir").await;
    assert_eq!(standing(&house, Standing::CantCome).await, 0);
    assert!(last(&house).1.contains("Responda 1"), "{}", last(&house).1);
    text(&house, MARISOL, "2").await;
    assert_eq!(standing(&house, Standing::CantCome).await, 1);
    assert_eq!(standing(&house, Standing::Heard).await, 0);
}

#[tokio::test]
async fn stop_ends_texts_at_once_for_every_child_and_start_undoes_it() {
    let house = told().await;
    let before = house.texts().len();
    text(&house, MARISOL, "STOP").await;
    let (to, words) = last(&house);
    assert_eq!((to.as_str(), house.texts().len()), (MARISOL, before + 1), "one confirmation");
    assert!(words.contains("START"), "{words}");
    assert!(!house.office.desk().await.unwrap().record.usable(Channel::Text, MARISOL));
    house.clock.set("2027-06-03T09:30:00Z");
    house.send().await;
    assert!(house.texts()[before + 1..].iter().all(|(to, _)| to != MARISOL), "nothing more goes there");
    text(&house, MARISOL, "start").await;
    assert!(house.office.desk().await.unwrap().record.usable(Channel::Text, MARISOL));
}

#[tokio::test]
async fn what_no_rule_understands_waits_for_the_coordinator_who_answers_by_the_same_road() {
    let house = told().await;
    for words in ["please don't stop", "can't come, please cancel", "Can her gran collect her?"] {
        text(&house, MAY, words).await;
    }
    assert!(last(&house).1.contains("Someone at the school will answer you."), "{}", last(&house).1);
    let token = house.office.coordinator_link().await.unwrap();
    let page = house.coordinator_get(&token, "/season").await;
    assert!(page.plain().contains("please don't stop (Dress rehearsal)"), "{}", page.plain());
    assert!(page.plain().contains("May Finch, for Ada Finch"));
    let question = page.hidden("question")[0].clone();
    let reply =
        [("question", question.as_str()), ("act", "answer"), ("words", "We won't. See you on Friday.")];
    let page = house.coordinator_post(&token, "/season", &reply).await;
    assert!(page.plain().contains("Your answer goes out now"));
    assert!(!page.plain().contains("please don't stop"));
    house.office.send_tick().await.unwrap();
    assert_eq!(last(&house), (MAY.to_owned(), "Brackwater: We won't. See you on Friday.".to_owned()));
    let again = house.coordinator_post(&token, "/season", &reply).await;
    assert!(again.plain().contains("Already done. Nothing changed."));
    let household = house.household("May Finch").await;
    let family = house.coordinator_get(&token, &format!("/season/family/{household}")).await;
    assert!(family.plain().contains("please don't stop"), "{}", family.plain());
    assert!(family.plain().contains("Now accepted."));
    let all = house.coordinator_get(&token, "/season/messages").await;
    assert!(all.plain().contains("May Finch: call sheet by text"), "{}", all.plain());
}

#[tokio::test]
async fn an_unknown_sender_is_a_question_and_gets_no_reply() {
    let house = told().await;
    let before = house.texts().len();
    assert_eq!(text(&house, "+447700900099", "Who is this?").await, 200);
    assert_eq!(text(&house, "+447700900099", "YES").await, 200);
    assert_eq!(house.texts().len(), before);
    let data = house.office.season_data().await.unwrap();
    assert_eq!(data.asked.len(), 2);
    assert_eq!(data.asked[0].stranger, "+447700900099");
    assert_eq!(standing(&house, Standing::Heard).await, 0);
}

#[tokio::test]
async fn the_same_text_delivered_again_counts_once_even_at_the_same_time() {
    let house = told().await;
    let before = house.texts().len();
    let (one, two, three) = tokio::join!(
        text_as(&house, MAY, "YES", "same"),
        text_as(&house, MAY, "YES", "same"),
        text_as(&house, MAY, "YES", "same")
    );
    assert_eq!((one, two, three), (200, 200, 200));
    assert_eq!(house.answers().await, 1);
    assert_eq!(house.texts().len(), before + 1, "one reply");
}

#[tokio::test]
async fn a_request_that_does_not_prove_itself_changes_nothing() {
    let house = told().await;
    let trace = house.trace().await;
    let fields = encoded(&[("from", MAY), ("text", "STOP"), ("id", "forged")]);
    for secret in [None, Some("guess")] {
        let mut request =
            Request::post("/hook/answers").header("content-type", "application/x-www-form-urlencoded");
        if let Some(secret) = secret {
            request = request.header("x-secret", secret);
        }
        let answer = house.ask(request.body(Body::from(fields.clone())).unwrap()).await;
        assert_eq!(answer.status, 401);
        assert_eq!(answer.text, "not proven\n");
    }
    assert_eq!(house.ask(Request::get("/hook/nothing").body(Body::empty()).unwrap()).await.status, 404);
    let big =
        Request::post("/hook/answers").header("x-secret", "whisper").body(Body::from(vec![b'a'; 10 << 20]));
    assert_eq!(house.ask(big.unwrap()).await.status, 413);
    assert_eq!(house.trace().await, trace);
}

#[tokio::test]
async fn a_store_that_is_away_answers_so_that_the_gateway_tries_again() {
    let house = told().await;
    house.office.store.close().await;
    let fields = encoded(&[("from", MAY), ("text", "YES"), ("id", "late")]);
    let request = Request::post("/hook/answers")
        .header("content-type", "application/x-www-form-urlencoded")
        .header("x-secret", "whisper")
        .body(Body::from(fields));
    assert_eq!(house.ask(request.unwrap()).await.status, 503);
}

#[tokio::test]
async fn a_phone_of_two_households_is_asked_which() {
    let mut book = book();
    season::set(&mut book, "children", "Nia", "guardian 1 mobile", "07700 900021");
    season::set(&mut book, "children", "Nia", "guardian 1 texts", "yes");
    let house = House::open_with(book).await;
    house.clock.set("2027-05-28T09:30:00Z");
    house.send().await;
    text(&house, MAY, "YES").await;
    assert_eq!(standing(&house, Standing::Heard).await, 0);
    let words = last(&house).1;
    assert!(words.contains("Ada") && words.contains("Nia"), "{words}");
    text(&house, MAY, "1").await;
    assert_eq!(standing(&house, Standing::Heard).await, 1);
}

/// A mail as the mailbox hands it on.
fn mail(from: &str, words: &str, id: &str) -> Incoming {
    Incoming {
        channel: Channel::Mail,
        from: from.to_owned(),
        words: words.to_owned(),
        at: "2027-05-28T10:00:00Z".parse().unwrap(),
        external: id.to_owned(),
        token: None,
        about: None,
        automatic: false,
    }
}

#[tokio::test]
async fn a_forged_mail_is_a_hint_for_a_person_and_a_link_of_ours_is_proof() {
    let house = House::told().await;
    house.clock.set("2027-05-28T10:01:00Z");
    let token = Some(house.token("may@example.org"));
    let yes = |id: &str| mail("may@example.org", "Yes, thank you", id);
    assert_eq!(house.office.hear(&yes("a")).await.unwrap(), Became::Question);
    let machine = Incoming { token: token.clone(), automatic: true, ..yes("b") };
    assert_eq!(house.office.hear(&machine).await.unwrap(), Became::Ignored);
    assert_eq!(standing(&house, Standing::Heard).await, 0);
    let proven = Incoming { token, from: "may@work.example".to_owned(), ..yes("c") };
    assert_eq!(house.office.hear(&proven).await.unwrap(), Became::Recorded);
    assert_eq!(house.office.hear(&proven).await.unwrap(), Became::Known);
    assert_eq!(standing(&house, Standing::Heard).await, 1);
}

#[tokio::test]
async fn what_nobody_can_be_asked_back_about_waits_for_a_person() {
    // By mail no reply goes out, so a mail that may mean either of two children must not end unseen.
    let house = House::told().await;
    house.clock.set("2027-05-28T10:01:00Z");
    let token = Some(house.token("marisol@example.org"));
    let absent = Incoming { token, ..mail("marisol@work.example", "We can't come", "a") };
    assert_eq!(house.office.hear(&absent).await.unwrap(), Became::Question);
    let asked = house.office.season_data().await.unwrap().asked;
    assert_eq!((asked.len(), asked[0].items.len(), asked[0].guardian.is_some()), (1, 2, true));
    // Nor a text that comes in at night, long after it was written.
    let house = told().await;
    house.clock.set("2027-06-03T09:30:00Z");
    house.send().await;
    house.clock.set("2027-06-03T22:30:00Z");
    let late = Incoming {
        channel: Channel::Text,
        at: "2027-06-03T22:00:00Z".parse().unwrap(),
        ..mail(MAY, "YES", "late")
    };
    let before = house.texts().len();
    assert_eq!(house.office.hear(&late).await.unwrap(), Became::Question);
    house.office.send_tick().await.unwrap();
    assert_eq!(house.texts().len(), before, "nothing goes out at night");
    assert_eq!(house.office.season_data().await.unwrap().asked.len(), 1);
}

#[tokio::test]
async fn stop_by_mail_holds_however_the_address_is_spelled() {
    let mut book = season::book();
    season::set(&mut book, "children", "Ada", "guardian 1 e-mail", "May.Finch@example.org");
    let house = House::open_with(book).await;
    let usable =
        async || house.office.desk().await.unwrap().record.usable(Channel::Mail, "May.Finch@example.org");
    assert!(usable().await);
    assert_eq!(
        house.office.hear(&mail("may.finch@example.org", "STOP", "a")).await.unwrap(),
        Became::Stopped
    );
    assert!(!usable().await);
    house.clock.set("2027-05-28T09:30:00Z");
    house.send().await;
    assert!(!house.has_mail("May.Finch@example.org"), "nothing goes there any more");
}

#[tokio::test]
async fn the_message_that_a_mail_answers_tells_whoever_reads_it_what_it_is_about() {
    let house = House::told().await;
    house.clock.set("2027-05-28T10:01:00Z");
    let row = house.office.desk().await.unwrap().season;
    let lives = house.office.store.lives(row, None, 0, 10).await.unwrap();
    let hers = house.household("May Finch").await;
    let key = lives.iter().find(|(m, _)| m.household == hers).unwrap().0.key.clone();
    for (from, id) in [("may@example.org", "a"), ("somebody@example.org", "b")] {
        let question = Incoming { about: Some(key.clone()), ..mail(from, "Which door is it?", id) };
        assert_eq!(house.office.hear(&question).await.unwrap(), Became::Question);
    }
    let asked = house.office.season_data().await.unwrap().asked;
    let mut items: Vec<_> = asked.iter().map(|one| (one.guardian.is_some(), one.items.len())).collect();
    items.sort_unstable();
    assert_eq!(items, [(false, 0), (true, 1)], "what is hers, to nobody else");
}

#[tokio::test]
async fn a_host_with_only_a_phone_line_has_a_whole_road() {
    let house = House::in_other_ways(|ways| (ways.pages_public, ways.reply_by_text) = (false, true)).await;
    house.bring(book()).await;
    house.clock.set("2027-05-28T09:30:00Z");
    house.send().await;
    let (_, words) = house.texts().into_iter().find(|(to, _)| to == MAY).unwrap();
    assert!(words.contains("Reply YES to confirm.") && !words.contains("http"), "{words}");
    text(&house, MAY, "yes").await;
    assert_eq!(standing(&house, Standing::Heard).await, 1);
    // Who has a mail address only, or may not be texted, has to be rung: one child each.
    let token = house.office.coordinator_link().await.unwrap();
    let page = house.coordinator_get(&token, "/season").await;
    assert!(page.plain().contains("The families of 2 children cannot answer by message"), "{}", page.plain());
}

#[tokio::test]
async fn a_host_with_only_a_mailbox_has_a_whole_road() {
    use allheard::inbound::letter::{OwnMail, read};
    let house = House::in_other_ways(|ways| (ways.pages_public, ways.reply_by_mail) = (false, true)).await;
    house.bring(season::book()).await;
    house.clock.set("2027-05-28T09:30:00Z");
    house.send().await;
    let words = house.mail("may@example.org");
    assert!(words.contains("answer this mail with the word YES") && !words.contains("http"), "{words}");
    let quoted: String = words.lines().map(|line| format!("> {line}\r\n")).collect();
    let answer = format!("From: may@example.org\r\nMessage-ID: <a@example.org>\r\n\r\nYes\r\n\r\n{quoted}");
    let own = OwnMail {
        domain: "brackwater.example".to_owned(),
        base_url: "https://brackwater.example".to_owned(),
    };
    let incoming = read(answer.as_bytes(), &own).incoming(house.office.now()).unwrap();
    house.office.hear(&incoming).await.unwrap();
    assert_eq!(standing(&house, Standing::Heard).await, 1);
    let token = house.office.coordinator_link().await.unwrap();
    let page = house.coordinator_get(&token, "/season").await;
    assert!(page.plain().contains("The family of one child cannot answer by message"), "{}", page.plain());
}

#[tokio::test]
async fn what_went_out_is_shown_by_when_it_left() {
    let house = told().await;
    house.clock.set("2027-06-03T09:30:00Z");
    house.send().await;
    let (_, lives) = house.office.lives(0, 50).await.unwrap();
    let left: Vec<_> = lives.iter().map(|(_, attempts)| attempts.last().unwrap().at).collect();
    assert!(left.windows(2).all(|pair| pair[0] >= pair[1]) && left.first() > left.last(), "{left:?}");
    let (_, rest) = house.office.lives(2, 50).await.unwrap();
    assert_eq!(rest.len(), lives.len() - 2);
    assert_eq!(rest[0].0.id, lives[2].0.id);
}

#[tokio::test]
async fn receipts_come_in_any_order_and_only_move_forward() {
    let house = told().await;
    let season = house.office.desk().await.unwrap().season;
    let lives = house.office.store.lives(season, None, 0, 10).await.unwrap();
    let key = lives[0].0.key.clone();
    let receipt = |external: &str, news| NewReceipt {
        gateway: "first".to_owned(),
        external: external.to_owned(),
        reference: key.clone(),
        news,
    };
    let told = |receipt: NewReceipt| {
        let office = house.office.clone();
        async move { office.told_by_gateway(&receipt).await.unwrap() }
    };
    assert!(matches!(told(receipt("1", News::Delivered)).await, Receipted::Moved { .. }));
    assert_eq!(told(receipt("1", News::Delivered)).await, Receipted::Known);
    assert_eq!(told(receipt("2", News::Failed)).await, Receipted::Known, "it is there already");
    let stranger = NewReceipt { reference: "never sent".to_owned(), ..receipt("3", News::Delivered) };
    assert_eq!(told(stranger).await, Receipted::Parked);
    let lives = house.office.store.lives(season, None, 0, 10).await.unwrap();
    let delivered = lives.iter().find(|(message, _)| message.key == key).unwrap();
    assert_eq!(delivered.0.state.word(), "delivered");
    assert_eq!(standing(&house, Standing::Heard).await, 0, "delivered is not heard");
}
