//! The chase list and the class door, as the coordinator and the chaperones meet them.

use super::house::{Answer, House};
use super::season;
use allheard::service::ports::Store as _;

/// Two days before the dress rehearsal, in the morning.
const NEAR: &str = "2027-06-02T09:00:00Z";

async fn near() -> (House, String) {
    let house = House::told().await;
    house.clock.set(NEAR);
    let token = house.office.coordinator_link().await.unwrap();
    (house, token)
}

/// The card of a guardian, from her name to the end of her line.
fn card(page: &Answer, name: &str) -> String {
    let from = page
        .text
        .find(&format!("<bdi>{name}</bdi>, for"))
        .unwrap_or_else(|| panic!("no {name}: {}", page.plain()));
    let rest = &page.text[from..];
    rest[..rest.find("class=\"write\"").unwrap()].to_owned()
}

/// The fields of the form of a card, with an act.
fn fields(card: &str, act: &str) -> Vec<(String, String)> {
    let form = card.split("<form").nth(1).unwrap().split("</form>").next().unwrap();
    let mut out: Vec<(String, String)> = form
        .split("<input type=\"hidden\" name=\"")
        .skip(1)
        .map(|rest| {
            let mut parts = rest.split('"');
            let name = parts.next().unwrap().to_owned();
            (name, parts.nth(1).unwrap().to_owned())
        })
        .collect();
    assert!(form.contains(&format!("value=\"{act}\"")), "no button {act}: {form}");
    out.push(("act".to_owned(), act.to_owned()));
    out
}

async fn coordinator_does(house: &House, token: &str, name: &str, act: &str) -> Answer {
    let page = house.coordinator_get(token, "/season/chase").await;
    let fields = fields(&card(&page, name), act);
    let fields: Vec<(&str, &str)> = fields.iter().map(|(n, v)| (n.as_str(), v.as_str())).collect();
    house.coordinator_post(token, "/season/chase", &fields).await
}

/// The last line of the ledger, its kind and what it is about.
async fn last_line(house: &House) -> String {
    let season = house.office.desk().await.unwrap().season;
    let lines = house.office.store.ledger(season, 0, 1_000).await.unwrap();
    let last = lines.last().unwrap();
    format!("{} {}", last.entry.kind, last.entry.about)
}

#[tokio::test]
async fn the_coordinator_sees_whom_to_ring_why_when_and_who_does() {
    let (house, token) = near().await;
    assert_eq!(house.get("/season/chase").await.status, 403);
    let page = house.coordinator_get(&token, "/season/chase").await;
    let words = page.plain();
    assert!(words.contains("Four families to speak to"), "{words}");
    assert!(words.contains("Three calls are shared out among 2 chaperones, at most two each."), "{words}");
    assert!(words.contains("Marisol Alder, for Ines A. and Tariq A."), "{words}");
    assert!(words.contains("The event is in two days. Speaks Spanish."), "{words}");
    assert!(words.contains("The event is in two days; no message can reach them."), "{words}");
    assert!(
        words.contains("Best time to ring: today from 17:30. Noor Hadi rings: their chaperone."),
        "{words}"
    );
    assert!(words.contains("No number to ring: at the door, Dress rehearsal, Friday 4 June."), "{words}");
    assert!(words.contains("One mail, on Friday 28 May, 10:30."), "{words}");
    assert!(
        words.contains("be there at 17:30, park by 17:05, Old Weighhouse, stage door in Cooper's Row."),
        "{words}"
    );
    // She who cannot be written to comes first.
    assert!(words.find("Lee Quill").unwrap() < words.find("May Finch").unwrap());
    assert!(page.text.contains("href=\"tel:+447700900021\""));
    assert!(house.coordinator_get(&token, "/season").await.text.contains("href=\"/season/chase\""));
}

#[tokio::test]
async fn one_tap_notes_what_came_of_a_call() {
    let (house, token) = near().await;
    let after = coordinator_does(&house, &token, "May Finch", "no_answer").await;
    assert!(after.plain().contains("Noted: May did not answer."), "{}", after.plain());
    assert!(card(&after, "May Finch").contains("by the coordinator: no answer"));
    let after = coordinator_does(&house, &token, "May Finch", "will_call_back").await;
    assert!(
        card(&after, "May Finch").contains("Best time to ring: on Thursday 3 June from 17:30."),
        "{}",
        after.plain()
    );
    assert!(last_line(&house).await.starts_with("call child="));
    let after = coordinator_does(&house, &token, "May Finch", "heard").await;
    assert!(after.plain().contains("Noted: May said yes, for Ada F., by phone."), "{}", after.plain());
    assert!(!after.plain().contains("May Finch"));
    let line = last_line(&house).await;
    assert!(line.contains("kind=heard noted_by=coordinator road=call"), "{line}");
    // One yes counts for everything that was read out.
    let after = coordinator_does(&house, &token, "Marisol Alder", "heard_in_person").await;
    assert!(after.plain().contains("said yes, for Ines A. and Tariq A., in person."), "{}", after.plain());
    assert_eq!(house.office.event_lists().await.unwrap()[0].settled.0, 3);
    assert!(last_line(&house).await.contains("road=person"));
    let after = coordinator_does(&house, &token, "Lee Quill", "cant_come").await;
    assert!(after.plain().contains("One family to speak to"), "{}", after.plain());
}

#[tokio::test]
async fn a_wrong_number_gets_no_text_and_the_family_is_spoken_to_at_the_door() {
    let (house, token) = near().await;
    let after = coordinator_does(&house, &token, "Marisol Alder", "wrong_number").await;
    assert!(after.plain().contains("Noted: wrong number for Marisol."), "{}", after.plain());
    let marisol = card(&after, "Marisol Alder");
    assert!(!marisol.contains("tel:") && marisol.contains("No number to ring"), "{marisol}");
    assert!(marisol.contains("wrong number"), "{marisol}");
    let trace = house.trace().await;
    assert!(trace.contains("outcome: \"wrong_number\"") && trace.contains("+447700900018"), "{trace}");
    // The ledger's own line holds no number.
    assert!(!last_line(&house).await.contains("7700"));
    // A corrected number is another number.
    let mut book = season::book();
    for row in &mut book.sheet_mut("children").rows {
        if row.text("guardian 1 name") == "Marisol Alder" {
            row.set("guardian 1 mobile", "07700 900019");
        }
    }
    let bringing = house.office.preview(book, Vec::new()).await.unwrap();
    house.office.bring(&bringing).await.unwrap();
    let page = house.coordinator_get(&token, "/season/chase").await;
    assert!(card(&page, "Marisol Alder").contains("tel:+447700900019"));
}

#[tokio::test]
async fn a_chaperone_has_her_share_and_notes_it() {
    let (house, token) = near().await;
    let ewa = format!("/c/{}", house.office.chaperone_link("V001").await.unwrap().unwrap());
    let page = house.get(&ewa).await;
    let words = page.plain();
    assert!(
        words.contains("Ewa, one person to ring") || words.contains("Ewa, two people to ring"),
        "{words}"
    );
    assert!(words.contains("Yours to ring") && words.contains("Lee, for Nia Q."), "{words}");
    assert!(!words.contains("Lee Quill"), "given names only");
    assert!(words.contains("Among your calls above."), "{words}");
    let fields = fields(&card(&page, "Lee"), "heard");
    let fields: Vec<(&str, &str)> = fields.iter().map(|(n, v)| (n.as_str(), v.as_str())).collect();
    let after = house.post(&ewa, &fields).await;
    assert!(after.plain().contains("Noted: Lee said yes, for Nia Q., by phone."), "{}", after.plain());
    assert!(last_line(&house).await.contains("noted_by=V001 road=call"));
    let trace = house.trace().await;
    assert_eq!(house.post(&ewa, &fields).await.status, 200);
    assert_eq!(house.trace().await, trace, "the same note twice is one");
    let page = house.coordinator_get(&token, "/season/chase").await;
    assert!(!page.plain().contains("Lee Quill"));
}

#[tokio::test]
async fn a_call_read_from_old_times_is_not_noted() {
    let (house, token) = near().await;
    let page = house.coordinator_get(&token, "/season/chase").await;
    let fields = fields(&card(&page, "May Finch"), "heard");
    let fields: Vec<(&str, &str)> = fields.iter().map(|(n, v)| (n.as_str(), v.as_str())).collect();
    let mut book = season::book();
    season::set(&mut book, "events", "Dress rehearsal", "call", "17:00");
    let bringing = house.office.preview(book, Vec::new()).await.unwrap();
    house.office.bring(&bringing).await.unwrap();
    let after = house.coordinator_post(&token, "/season/chase", &fields).await;
    assert!(
        after.plain().contains("Nothing was noted: the times of Ada F. have changed"),
        "{}",
        after.plain()
    );
    assert_eq!(house.answers().await, 0);
    let bad = house.coordinator_post(&token, "/season/chase", &[("act", "heard")]).await;
    assert_eq!(bad.status, 400);
}

/// The values of every box to tick.
fn boxes(page: &Answer) -> Vec<String> {
    let start = "name=\"signed\" value=\"";
    page.text.split(start).skip(1).map(|rest| rest.split('"').next().unwrap().to_owned()).collect()
}

#[tokio::test]
async fn signatures_are_entered_in_one_go() {
    let (house, token) = near().await;
    assert_eq!(house.get("/season/door").await.status, 403);
    let page = house.coordinator_get(&token, "/season/door").await;
    let words = page.plain();
    assert!(words.contains("Dress rehearsal: five children still to be heard from"), "{words}");
    assert!(words.find("Ada F.").unwrap() < words.find("Ines A.").unwrap(), "by name");
    let boxes = boxes(&page);
    assert_eq!(boxes.len(), 5);
    let slip = "/season/E001/sheets/slips";
    assert!(page.text.contains(&format!("href=\"{slip}\"")));
    assert!(house.coordinator_get(&token, slip).await.plain().contains("Ada F."));
    let enter = |on: &'static str, at: &'static str| {
        let mut fields = vec![("collector", "V002"), ("on", on), ("at", at), ("act", "signed")];
        fields.extend(boxes[1..3].iter().map(|value| ("signed", value.as_str())));
        fields
    };
    let after = house.coordinator_post(&token, "/season/door", &enter("2027-06-01", "17:45")).await;
    assert!(after.plain().contains("Entered: two signatures."), "{}", after.plain());
    assert!(after.plain().contains("three children still to be heard from"), "{}", after.plain());
    assert_eq!(house.office.event_lists().await.unwrap()[0].settled.0, 2);
    let line = last_line(&house).await;
    assert!(line.starts_with("answer ") && line.contains("noted_by=V002 road=door"), "{line}");
    assert!(house.trace().await.contains("at: 2027-06-01T16:45:00Z"));
    let trace = house.trace().await;
    let again = house.coordinator_post(&token, "/season/door", &enter("2027-06-02", "10:00")).await;
    assert!(
        again.plain().contains("Nothing new was entered. Known already: two signatures."),
        "{}",
        again.plain()
    );
    assert_eq!(house.trace().await, trace);
    let signed = &boxes[1..3];
    let slips = house.coordinator_get(&token, slip).await.plain();
    for (name, value) in [("Ada F.", &boxes[1]), ("Ines A.", &boxes[2])] {
        assert_eq!(slips.contains(name), !signed.contains(value), "{slips}");
    }
    // Nothing can be signed tomorrow, by nobody known, or without saying what.
    for (name, value) in [("on", "2027-06-03"), ("collector", "V099"), ("act", "other"), ("at", "late")] {
        let mut fields = enter("2027-06-02", "09:00");
        fields.iter_mut().filter(|(n, _)| *n == name).for_each(|field| field.1 = value);
        assert_eq!(house.coordinator_post(&token, "/season/door", &fields).await.status, 400, "{name}");
    }
}

#[tokio::test]
async fn a_signature_from_before_a_change_is_not_entered() {
    let (house, token) = near().await;
    let mut book = season::book();
    season::set(&mut book, "events", "Dress rehearsal", "call", "17:00");
    let bringing = house.office.preview(book, Vec::new()).await.unwrap();
    house.office.bring(&bringing).await.unwrap();
    let page = house.coordinator_get(&token, "/season/door?event=E001").await;
    let boxes = boxes(&page);
    let enter = |at: &'static str| {
        let mut fields =
            vec![("collector", "coordinator"), ("on", "2027-06-02"), ("at", at), ("act", "signed")];
        fields.extend(boxes.iter().map(|value| ("signed", value.as_str())));
        fields
    };
    let before = house.coordinator_post(&token, "/season/door?event=E001", &enter("09:30")).await;
    assert!(
        before.plain().contains("Not entered: five signatures, because the times have changed"),
        "{}",
        before.plain()
    );
    assert_eq!(house.answers().await, 0);
    let after = house.coordinator_post(&token, "/season/door?event=E001", &enter("10:00")).await;
    assert!(after.plain().contains("Entered: five signatures."), "{}", after.plain());
    assert!(after.plain().contains("Dress rehearsal: no signature is missing"), "{}", after.plain());
}

/// A slip says "times and rules": the rules have boxes of their own, beside the times and by themselves.
#[tokio::test]
async fn the_house_rules_are_signed_for_at_the_class_door() {
    let (house, token) = near().await;
    assert!(!house.coordinator_get(&token, "/season/door").await.plain().contains("House rules"));
    house.clock.set("2027-06-03T09:30:00Z");
    house.send().await;
    let page = house.coordinator_get(&token, "/season/door?event=E001").await;
    assert!(page.plain().contains("The house rules too: May Finch"), "{}", page.plain());
    assert!(page.text.contains("href=\"?event=-\""));
    let of_rules =
        |page: &Answer| boxes(page).into_iter().filter(|value| value.contains("/-/")).collect::<Vec<_>>();
    let alone = house.coordinator_get(&token, "/season/door?event=-").await;
    assert!(alone.plain().contains("House rules: four children still to be heard from"), "{}", alone.plain());
    assert_eq!(of_rules(&alone), boxes(&alone), "nothing but the rules");
    let both: Vec<String> = boxes(&page).into_iter().filter(|value| value.contains("/G001/")).collect();
    assert_eq!(both.len(), 2, "{both:?}");
    let mut fields = vec![("collector", "V002"), ("on", "2027-06-03"), ("at", "10:30"), ("act", "signed")];
    fields.extend(both.iter().map(|value| ("signed", value.as_str())));
    let after = house.coordinator_post(&token, "/season/door", &fields).await.plain();
    assert!(after.contains("Entered: two signatures."), "{after}");
    let left = house.coordinator_get(&token, "/season/door?event=-").await;
    assert!(left.plain().contains("House rules: three children still"), "{}", left.plain());
    assert!(!boxes(&left).iter().any(|value| value.contains("/G001/")));
}
