//! Links, sessions and leaving; what holds sending; and what stays on the page until somebody decides.

use super::house::House;
use allheard::domain::season::Channel;
use allheard::gateway::memory::Fate;
use allheard::service::ports::{Doubt, Store as _, Witness};
use jiff::SignedDuration;

#[tokio::test]
async fn leaving_and_ending_a_link_close_the_pages() {
    let house = House::told().await;
    let (one, two) =
        (house.office.coordinator_link().await.unwrap(), house.office.coordinator_link().await.unwrap());
    // The link itself is no cookie, and no other link is one.
    for token in [one.as_str(), &house.token("may@example.org")] {
        let answer = house.with_cookie(token, "/season").await;
        assert_eq!(answer.status, 403);
    }
    let page = house.coordinator_get(&one, "/season/keys").await;
    let words = page.plain();
    assert!(words.contains("The link of this browser") && words.contains("Another link"), "{words}");
    assert!(words.contains("open in one browser") && words.contains("open in no browser"), "{words}");
    assert!(!page.text.contains(&one) && !page.text.contains(&two), "a link is not shown again");
    // The second browser ends the first one's link, and with it its session.
    let ended = house.coordinator_post(&two, "/season/keys", &[("act", "end_others")]).await.plain();
    assert!(ended.contains("One link has ended"), "{ended}");
    assert_eq!(house.coordinator_get(&one, "/season").await.status, 403);
    assert_ne!(house.get(&format!("/enter/{one}")).await.status, 303);
    // Leaving ends this browser alone: the link opens another one.
    let left = house.coordinator_post(&two, "/season/keys", &[("act", "leave")]).await;
    assert!(left.plain().contains("You have left") && left.header("set-cookie").contains("Max-Age=0"));
    assert_eq!(house.coordinator_get(&two, "/season").await.status, 403);
    assert_eq!(house.get(&format!("/enter/{two}")).await.status, 303);
}

#[tokio::test]
async fn the_link_that_stops_opens_nothing_else() {
    let house = House::told().await;
    let (stop, page) = (house.stop_token("may@example.org"), house.token("may@example.org"));
    assert_ne!(stop, page);
    assert_eq!(house.get(&format!("/r/{stop}")).await.status, 404);
    assert_eq!(house.get(&format!("/r/{stop}/calendar")).await.status, 404);
    let family = house.get(&format!("/r/{page}")).await;
    assert!(!family.text.contains("/stop/"), "the family's page has no stop act");
    let asked = house.get(&format!("/stop/{stop}")).await;
    assert!(!asked.text.contains(&page), "nor does the stop page lead to it");
    assert!(house.post(&format!("/stop/{stop}"), &[("act", "stop")]).await.status.is_success());
    // The address hears of it with a way back, and so does the coordinator.
    house.send().await;
    let told = house.mail("may@example.org");
    assert!(
        told.contains("No more messages to this address") && told.contains(&format!("/stop/{stop}")),
        "{told}"
    );
    assert!(house.post(&format!("/stop/{stop}"), &[("act", "start")]).await.status.is_success());
    house.send().await;
    assert!(house.mail("may@example.org").contains("on again"));
}

#[tokio::test]
async fn a_wrong_clock_holds_everything_until_a_witness_or_a_person_agrees() {
    let house = House::open().await;
    let token = house.office.coordinator_link().await.unwrap();
    house.clock.set("2027-05-28T09:30:00Z");
    house.office.plan_tick().await.unwrap();
    house.office.hold(Doubt::Clock, "the clock of this host was set 120 minutes forward").await.unwrap();
    house.office.send_tick().await.unwrap();
    assert_eq!(house.mails(), 0, "nothing leaves");
    let page = house.coordinator_get(&token, "/season").await;
    let words = page.plain();
    assert!(
        words.contains("set 120 minutes forward. It now says Friday 28 May, 10:30. Is that right?"),
        "{words}"
    );
    // Time passing lifts nothing; nor does a witness from before.
    let witness = |minutes: i64| Witness {
        who: "a gateway".to_owned(),
        at: house.office.now(),
        ahead: SignedDuration::from_mins(minutes),
    };
    house.office.note_witness(witness(0));
    house.office.look_at_clocks().await.unwrap();
    house.clock.set("2027-05-28T12:30:00Z");
    house.office.look_at_clocks().await.unwrap();
    house.office.send_tick().await.unwrap();
    assert_eq!(house.mails(), 0);
    let noted = house.coordinator_post(&token, "/season", &[("act", "go_on_clock")]).await.plain();
    assert!(noted.contains("Noted: messages are sent again."), "{noted}");
    house.office.send_tick().await.unwrap();
    let sent = house.mails();
    assert!(sent > 0);
    // A clock that differs from another's by more than two minutes holds; one that agrees afterwards ends it.
    house.clock.set("2027-05-28T13:00:00Z");
    house.office.note_witness(Witness { who: "another gateway".to_owned(), ..witness(3) });
    house.office.look_at_clocks().await.unwrap();
    let held = house.office.holds().await.unwrap();
    assert!(held[0].why.contains("3 minutes ahead of that of another gateway"), "{held:?}");
    house.clock.set("2027-05-28T13:05:00Z");
    house.office.note_witness(Witness { who: "another gateway".to_owned(), ..witness(1) });
    house.office.look_at_clocks().await.unwrap();
    assert!(house.office.holds().await.unwrap().is_empty());
    // A mail that was taken in ten minutes from now says that this clock is behind; an old one says nothing.
    house.clock.set("2027-05-28T13:10:00Z");
    house.office.note_received("2027-05-28T12:00:00Z".parse().unwrap());
    house.office.look_at_clocks().await.unwrap();
    assert!(house.office.holds().await.unwrap().is_empty());
    house.office.note_received("2027-05-28T13:20:00Z".parse().unwrap());
    house.office.look_at_clocks().await.unwrap();
    let held = house.office.holds().await.unwrap();
    assert!(held[0].why.contains("10 minutes behind that of the mail server"), "{held:?}");
    // Lifted elsewhere, as by the command: whoever disagreed has been heard.
    use allheard::service::ports::Store as _;
    assert!(house.office.store.lift(Doubt::Clock).await.unwrap());
    house.office.look_at_clocks().await.unwrap();
    assert!(house.office.holds().await.unwrap().is_empty());
}

#[tokio::test]
async fn a_restored_database_is_found_out_by_its_journal() {
    let house = House::told().await;
    let token = house.office.coordinator_link().await.unwrap();
    let lost = [allheard::service::ports::Lost { key: "ab".repeat(16), number: 1 }];
    house.office.compare_journal("j1", &lost).await.unwrap();
    let words = house.coordinator_get(&token, "/season").await.plain();
    assert!(words.contains("older than what was sent since: 1 messages were sent"), "{words}");
    let noted = house.coordinator_post(&token, "/season", &[("act", "go_on_restored")]).await.plain();
    assert!(noted.contains("Noted: messages are sent again."), "{noted}");
    assert_eq!(house.office.store.journals().await.unwrap(), ["j1"]);
}

// What a person calls arrived was told: whoever got it hears of a later change, and is not asked as if for the first time.
#[tokio::test]
async fn what_arrived_after_the_copy_was_made_counts_as_told() {
    use allheard::domain::graph::State;
    use allheard::service::ports::{Decided, Lost, Store as _};
    let house = House::open().await;
    house.clock.set("2027-05-28T09:30:00Z");
    house.office.plan_tick().await.unwrap();
    let season = house.office.desk().await.unwrap().season;
    let planned = house.office.store.messages_in(season, &[State::Planned], 1_000).await.unwrap();
    let sheet = planned.iter().find(|m| m.wording == "call-sheet" && m.due <= house.office.now()).unwrap();
    house.office.compare_journal("j1", &[Lost { key: sheet.key.clone(), number: 1 }]).await.unwrap();
    let told = async || {
        let desk = house.office.desk().await.unwrap();
        let guardian = desk.board.guardian(&sheet.guardians[0]).unwrap();
        desk.record.told.keys().filter(|(who, _)| *who == guardian).count()
    };
    assert_eq!(told().await, 0);
    assert_eq!(house.office.decide_all(Decided::Arrived).await.unwrap(), 1);
    assert_eq!(told().await, sheet.parts.len());
}

#[tokio::test]
async fn all_that_is_in_doubt_is_decided_in_one_act() {
    let house = House::open().await;
    let token = house.office.coordinator_link().await.unwrap();
    *house.fate.lock().unwrap() = Fate::LostUnsaid;
    house.clock.set("2027-05-28T09:30:00Z");
    house.send().await;
    let page = house.coordinator_get(&token, "/season").await.plain();
    assert!(page.contains("Did it arrive?") && page.contains("All of them arrived"), "{page}");
    let noted = house.coordinator_post(&token, "/season", &[("act", "all_arrived")]).await.plain();
    assert!(noted.contains("Noted: 3 messages arrived."), "{noted}");
    let again = house.coordinator_post(&token, "/season", &[("act", "all_arrived")]).await.plain();
    assert!(again.contains("Already done. Nothing changed."), "{again}");
    let season = house.office.desk().await.unwrap().season;
    let counts = house.office.store.counts(season).await.unwrap();
    let accepted =
        counts.iter().filter(|(state, channel, _)| (state.word(), *channel) == ("accepted", Channel::Mail));
    assert_eq!(accepted.map(|(.., n)| *n).sum::<u64>(), 3);
}
