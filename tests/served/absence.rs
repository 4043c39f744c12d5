//! Not coming, this once: a family's word is a question until a person confirms it, then it stands on every page and
//! sheet, is told to those who look after the child, and is taken back as easily.

use super::house::House;
use super::season;
use allheard::domain::standing::Standing;
use allheard::service::ports::Store as _;

/// The day before the dress rehearsal, in the morning.
const BEFORE: &str = "2027-06-03T09:00:00Z";

async fn house() -> (House, String) {
    let mut book = season::book();
    for row in &mut book.sheet_mut("chaperones").rows {
        if row.text("name") == "Noor Hadi" {
            row.set("texts", "yes");
        }
    }
    for row in &mut book.sheet_mut("numbers").rows {
        if row.text("name") == "Harbour Bells" {
            row.set("teacher e-mail", "teacher@example.org");
        }
    }
    let house = House::open_with(book).await;
    house.clock.set("2027-05-28T09:30:00Z");
    house.send().await;
    house.clock.set(BEFORE);
    let token = house.office.coordinator_link().await.unwrap();
    (house, token)
}

/// Ada, May Finch, Noor Hadi, Ewa Lis: their refs.
async fn refs(house: &House) -> [String; 4] {
    let desk = house.office.desk().await.unwrap();
    let season = &desk.board.season;
    let child = season.children.iter().find(|child| child.given == "Ada").unwrap();
    let guardian = season.guardians.iter().find(|guardian| guardian.name == "May Finch").unwrap();
    let chaperone = |name| season.chaperones.iter().find(|one| one.name == name).unwrap().reference.clone();
    [child.reference.clone(), guardian.reference.clone(), chaperone("Noor Hadi"), chaperone("Ewa Lis")]
}

async fn act(house: &House, token: &str, path: &str, act: &str) -> String {
    let [ada, ..] = refs(house).await;
    let item = format!("{ada}/E001");
    let page = house.coordinator_post(token, path, &[("item", item.as_str()), ("act", act)]).await;
    assert_eq!(page.status, 200, "{}", page.plain());
    page.plain()
}

async fn standing(house: &House, at: Standing) -> u64 {
    let at = Standing::ALL.iter().position(|s| *s == at).unwrap();
    house.office.event_lists().await.unwrap()[0].recipients[at]
}

async fn kinds(house: &House) -> Vec<String> {
    let season = house.office.desk().await.unwrap().season;
    let lines = house.office.store.ledger(season, 0, 1_000).await.unwrap();
    lines.into_iter().map(|line| line.entry.kind).collect()
}

#[tokio::test]
async fn the_coordinator_notes_it_and_takes_it_back() {
    let (house, token) = house().await;
    let page = act(&house, &token, "/season/E001", "not_coming").await;
    assert!(page.contains("Noted: Ada Finch is not coming, this once."), "{page}");
    assert!(page.contains("noted by the coordinator, 3 June, 10:00."), "{page}");
    assert_eq!(standing(&house, Standing::Away).await, 1);
    // The same again changes nothing.
    act(&house, &token, "/season/E001", "not_coming").await;
    assert_eq!(kinds(&house).await.iter().filter(|kind| *kind == "not_coming").count(), 1);
    // Those who look after the child are told, the family is asked no more.
    house.send().await;
    assert!(house.mail("teacher@example.org").contains("Ada F. is not coming (Dress rehearsal,"));
    let texts = house.texts();
    let noor = texts.iter().find(|(to, _)| to == "+447700900040").expect("Noor is told");
    assert!(noor.1.contains("Ada F. is not coming (Dress rehearsal"), "{}", noor.1);
    assert!(!texts.iter().any(|(to, _)| to == "+447700900041"), "Ewa never has her");
    for at in ["2027-06-03T17:00:00Z", "2027-06-04T09:00:00Z"] {
        house.clock.set(at);
        house.send().await;
    }
    // What is still to come is told to her family as ever.
    assert!(house.mail("may@example.org").contains("First show"));
    assert!(!house.mail("may@example.org").contains("Dress rehearsal"), "{}", house.mail("may@example.org"));
    assert!(house.mail("odd@example.org").contains("Dress rehearsal"), "others are reminded");
    // Still legible, struck through, with who said it and when; still there to be signed in.
    let door = house.coordinator_get(&token, "/season/E001/sheets/door").await;
    assert!(door.text.contains("<s>Ada F.</s>"), "{}", door.plain());
    let [_, _, noor, _] = refs(&house).await;
    let clipboard = house.coordinator_get(&token, &format!("/season/E001/sheets/clipboard-{noor}")).await;
    assert!(clipboard.plain().contains("NOT COMING: noted by the coordinator, 3 June, 10:00"));
    // And back.
    let page = act(&house, &token, "/season/E001", "coming_after_all").await;
    assert!(page.contains("Ada Finch is coming after all"), "{page}");
    assert_eq!(standing(&house, Standing::Away).await, 0);
    house.send().await;
    assert!(house.texts().iter().any(|(_, words)| words.contains("after all")));
}

#[tokio::test]
async fn a_familys_word_is_a_question_until_a_person_confirms_it() {
    let (house, token) = house().await;
    let [ada, may, ..] = refs(&house).await;
    let item = format!("{ada}/E001");
    let link = format!("/r/{}", house.token("may@example.org"));
    let page = house.get(&link).await;
    let fingerprint = page.hidden("fingerprint")[0].clone();
    let fields = [("item", item.as_str()), ("fingerprint", fingerprint.as_str()), ("act", "cant_come")];
    house.post(&link, &fields).await;
    assert_eq!(standing(&house, Standing::CantCome).await, 1);
    assert_eq!(standing(&house, Standing::Away).await, 0);
    let season = house.coordinator_get(&token, "/season").await;
    assert!(season.plain().contains("Can't come: Dress rehearsal"), "{}", season.plain());
    let said = [("guardian", may.as_str()), ("item", item.as_str()), ("act", "not_coming")];
    let after = house.coordinator_post(&token, "/season", &said).await;
    assert!(after.plain().contains("Ada Finch is not coming, this once."), "{}", after.plain());
    assert!(!after.plain().contains("Can't come: Dress rehearsal"));
    let event = house.coordinator_get(&token, "/season/E001").await;
    assert!(event.plain().contains("May Finch said so, noted by the coordinator"), "{}", event.plain());
    let family = house.get(&link).await;
    assert!(family.plain().contains("The school has noted that Ada is not coming"), "{}", family.plain());
    assert!(!family.text.contains("value=\"heard\""));
    // It was a mistake: they are asked again, and what they said before no longer counts.
    let back = [("item", item.as_str()), ("act", "coming_after_all")];
    house.coordinator_post(&token, "/season", &back).await;
    assert_eq!(standing(&house, Standing::CantCome).await, 0);
    assert!(house.get(&link).await.plain().contains("Please confirm"));
}

#[tokio::test]
async fn it_comes_of_a_call_too_and_a_chaperone_takes_it_back() {
    let (house, _) = house().await;
    let [ada, may, noor, ewa] = refs(&house).await;
    let noor = format!("/c/{}", house.office.chaperone_link(&noor).await.unwrap().unwrap());
    let page = house.get(&noor).await;
    let board = house.office.desk().await.unwrap().board.clone();
    let seen = board.fingerprint(board.item(&ada, "E001").unwrap()).to_string();
    assert!(page.plain().contains("Ada F."), "{}", page.plain());
    let fields = [
        ("guardian", may.as_str()),
        ("child", ada.as_str()),
        ("event", "E001"),
        ("fingerprint", seen.as_str()),
        ("act", "cant_come"),
    ];
    let after = house.post(&noor, &fields).await;
    assert!(after.plain().contains("not coming, this once: Ada F."), "{}", after.plain());
    assert_eq!(standing(&house, Standing::Away).await, 1);
    let back = [("child", ada.as_str()), ("event", "E001"), ("act", "coming_after_all")];
    let after = house.post(&noor, &back).await;
    assert!(after.plain().contains("Noted: coming after all."), "{}", after.plain());
    assert_eq!(standing(&house, Standing::Away).await, 0);
    // Not for a child who is never with them.
    let ewa = format!("/c/{}", house.office.chaperone_link(&ewa).await.unwrap().unwrap());
    let after = house.post(&ewa, &back).await;
    assert!(after.plain().contains("that child is not with you there"), "{}", after.plain());
}
