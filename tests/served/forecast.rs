//! The forecast of an event, as answers come.

use super::house::House;

const PAGE: &str = "/season/E001/forecast";

/// Answers as the guardian of an address, for everything her page shows.
async fn hear(house: &House, address: &str) {
    let path = format!("/r/{}", house.token(address));
    let page = house.get(&path).await;
    let (items, seen) = (page.hidden("item"), page.hidden("fingerprint"));
    for (item, seen) in items.iter().zip(&seen) {
        let fields = [("item", item.as_str()), ("fingerprint", seen.as_str()), ("act", "heard")];
        assert_eq!(house.post(&path, &fields).await.status, 200);
    }
}

#[tokio::test]
async fn the_forecast_follows_the_answers() {
    let house = House::told().await;
    let token = house.office.coordinator_link().await.unwrap();
    assert_eq!(house.get(PAGE).await.status, 403);
    assert_eq!(house.coordinator_get(&token, "/season/E999/forecast").await.status, 404);
    let event = house.coordinator_get(&token, "/season/E001").await;
    assert!(event.text.contains(&format!("href=\"{PAGE}\"")), "{}", event.text);

    // Four guardians, one of them with two children in one mail: one case. One cannot be reached, so nobody waits for him.
    let trace = house.trace().await;
    let page = house.coordinator_get(&token, PAGE).await;
    assert_eq!(page.status, 200);
    let plain = page.plain();
    assert!(plain.contains("of 4 heard from by Friday 4 June, 17:30"), "{plain}");
    assert!(plain.contains("Nobody has been heard from so far."), "{plain}");
    assert!(plain.contains("No message has been answered yet, 3 are still open"), "{plain}");
    assert!(plain.contains("half of the answers come within 10 hours by mail and 35 minutes by text"));
    assert!(page.text.contains("class=\"band\"") && page.text.contains("class=\"middle\""));
    assert_eq!(house.trace().await, trace);

    house.clock.set("2027-05-28T12:00:00Z");
    hear(&house, "may@example.org").await;
    house.clock.set("2027-05-29T12:00:00Z");
    let plain = house.coordinator_get(&token, PAGE).await.plain();
    assert!(plain.contains("1 answer to messages, 2 still open"), "{plain}");
    assert!(plain.contains("One has been heard from so far."), "{plain}");
    // May Finch is Ada's, who is in Noor Hadi's number; of the others Noor has Marisol Alder, and Ewa all three.
    assert!(plain.contains("Noor Hadi1 of 2"), "{plain}");
    assert!(plain.contains("Ewa Lis0 of 3"), "{plain}");

    for address in ["marisol@example.org", "odd@example.org"] {
        hear(&house, address).await;
    }
    house.clock.set("2027-06-01T12:00:00Z");
    let plain = house.coordinator_get(&token, PAGE).await.plain();
    assert!(
        plain.contains("3 of 4 heard from by"),
        "after three days of silence nobody counts on it: {plain}"
    );
    assert!(plain.contains("to ring, most likely 1."), "{plain}");
    assert!(plain.contains("Noor Hadi2 of 20"), "{plain}");

    house.clock.set("2027-06-04T17:00:00Z");
    let page = house.coordinator_get(&token, PAGE).await;
    assert!(page.plain().contains("The call has passed: 3 of 4 heard from"), "{}", page.plain());
    assert!(!page.text.contains("class=\"band\""));
}
