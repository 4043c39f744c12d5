//! Who asks for a child to leave early gets the rule of that event at once, once an event; a person gets it always.

use super::house::{House, encoded};
use super::season;
use allheard::domain::season::Channel;
use allheard::service::hearing::{Became, Incoming};
use axum::body::Body;
use axum::http::Request;

const MAY: &str = "+447700900021";
const MARISOL: &str = "+447700900018";

async fn told() -> House {
    let mut book = season::book();
    for row in &mut book.sheet_mut("notices").rows {
        row.set("by", "text");
    }
    for row in &mut book.sheet_mut("children").rows {
        if !row.text("guardian 1 mobile").is_empty() && row.text("guardian 1 texts").is_empty() {
            row.set("guardian 1 texts", "yes");
        }
    }
    let house = House::open_with(book).await;
    house.clock.set("2027-05-28T09:30:00Z");
    house.send().await;
    house
}

async fn text(house: &House, from: &str, words: &str, id: &str) -> Vec<String> {
    let before = house.texts().len();
    let fields = encoded(&[("from", from), ("text", words), ("id", id)]);
    let request = Request::post("/hook/answers")
        .header("content-type", "application/x-www-form-urlencoded")
        .header("x-secret", "whisper")
        .body(Body::from(fields));
    assert_eq!(house.ask(request.unwrap()).await.status, 200);
    house.office.send_tick().await.unwrap();
    house.texts().split_off(before).into_iter().map(|(_, words)| words).collect()
}

#[tokio::test]
async fn by_text_the_rule_comes_at_once_and_once_an_event() {
    let house = told().await;
    let first = text(&house, MAY, "can I collect Ada early on Friday?", "m1").await;
    assert_eq!(first.len(), 1, "{first:?}");
    assert!(first[0].contains("Nobody leaves Dress rehearsal before the last number."), "{first:?}");
    assert!(first[0].contains("Pick up Ada from 20:30"), "{first:?}");
    let again = text(&house, MAY, "but please could she leave early", "m2").await;
    assert!(again.iter().all(|words| !words.contains("Nobody leaves")), "{again:?}");
    // Another event is another rule.
    let other = text(&house, MAY, "and on Saturday can she go at the interval?", "m3").await;
    assert!(other[0].contains("Nobody leaves First show"), "{other:?}");
    // Innocent words get none.
    let innocent = text(&house, MARISOL, "¿podemos llegar antes?", "m4").await;
    assert!(!innocent.iter().any(|words| words.contains("Nadie sale")), "{innocent:?}");
    let spanish = text(&house, MARISOL, "¿puedo recogerla antes de que termine?", "m5").await;
    assert!(spanish[0].contains("Nadie sale de Dress rehearsal antes del final."), "{spanish:?}");
    // A person gets all of them, with the rule and a number to ring.
    let token = house.office.coordinator_link().await.unwrap();
    let page = house.coordinator_get(&token, "/season").await;
    let words = page.plain();
    assert!(words.contains("Six things for you to do"), "{words}");
    let rule = "Asks for early release. Dress rehearsal: nobody leaves before the last number. Pick Ada up from 20:30.";
    assert!(words.contains(rule), "{words}");
    assert!(page.text.contains(&format!("tel:{MAY}")));
}

#[tokio::test]
async fn by_mail_it_goes_to_the_address_on_file() {
    let house = told().await;
    let heard = house
        .office
        .hear(&Incoming {
            channel: Channel::Mail,
            from: "may@example.org".to_owned(),
            words: "Please may Ada leave early on Friday?".to_owned(),
            at: "2027-05-28T09:40:00Z".parse().unwrap(),
            external: "m1@example.org".to_owned(),
            token: None,
            about: None,
            automatic: false,
        })
        .await;
    assert_eq!(heard.unwrap(), Became::Question);
    house.office.send_tick().await.unwrap();
    assert!(house.mail("may@example.org").contains("Nobody leaves Dress rehearsal before the last number."));
}

#[tokio::test]
async fn on_the_page_it_stands_in_the_answer() {
    let house = House::told().await;
    let link = format!("/r/{}", house.token("may@example.org"));
    let page = house.get(&link).await;
    let (item, seen) = (page.hidden("item")[0].clone(), page.hidden("fingerprint")[0].clone());
    let ask = async |question: &str| {
        let fields = [
            ("item", item.as_str()),
            ("fingerprint", seen.as_str()),
            ("act", "question"),
            ("question", question),
        ];
        house.post(&link, &fields).await.plain()
    };
    let answer = ask("Can I pick her up at 8?").await;
    assert!(
        answer.contains("Dress rehearsal: nobody leaves before the last number. Pick Ada up from 20:30."),
        "{answer}"
    );
    let answer = ask("Can her gran collect her?").await;
    assert!(!answer.contains("nobody leaves"), "{answer}");
}
