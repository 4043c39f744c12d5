//! A show as it runs: the coordinator tells, and a chaperone reads what is next.

use super::house::{Answer, House};
use super::season;
use allheard::domain::book::{Book, Row};
use allheard::service::ports::Store as _;

/// The season with a running order for the first show, E002: Harbour Bells, Paper Boats, the interval, Last Light.
fn book() -> Book {
    let mut book = season::book();
    let mut add = |sheet: &str, cells: &[(&str, &str)]| {
        let rows = &mut book.sheet_mut(sheet).rows;
        let mut row = Row { number: u32::try_from(rows.len() + 2).unwrap(), ..Row::default() };
        cells.iter().for_each(|(column, text)| row.set(column, *text));
        rows.push(row);
    };
    add("numbers", &[("name", "Last Light"), ("length", "3:00")]);
    for (place, number) in
        [("1", "Harbour Bells"), ("2", "Paper Boats"), ("3", "interval"), ("4", "Last Light")]
    {
        let minutes = if number == "interval" { "15" } else { "" };
        add(
            "running order",
            &[("event", "First show"), ("place", place), ("number", number), ("minutes", minutes)],
        );
    }
    add("duties", &[("chaperone", "Ewa Lis"), ("event", "First show"), ("number", "Last Light")]);
    for (name, reference) in [("Harbour Bells", "N001"), ("Paper Boats", "N002"), ("Last Light", "N003")] {
        season::set(&mut book, "numbers", name, "ref", reference);
    }
    season::set(
        &mut book,
        "children",
        "Ada",
        "numbers",
        "Harbour Bells: 1, left, right; Paper Boats: 2, right, left",
    );
    season::set(&mut book, "children", "Nia", "numbers", "Paper Boats; Last Light");
    book
}

struct Evening {
    house: House,
    token: String,
}

impl Evening {
    /// Curtain up is at 19:00 British Summer Time.
    async fn at(time: &str) -> Evening {
        let house = House::open_with(book()).await;
        let token = house.office.coordinator_link().await.unwrap();
        let evening = Evening { house, token };
        evening.clock(time);
        evening
    }

    fn clock(&self, time: &str) {
        self.house.clock.set(&format!("2027-06-05T{time}Z"));
    }

    async fn show(&self) -> Answer {
        self.house.coordinator_get(&self.token, "/season/E002/show").await
    }

    async fn tell(&self, path: &str, fields: &[(&str, &str)]) -> Answer {
        let deed = self.show().await.hidden("deed").first().cloned().unwrap_or("form".to_owned());
        let fields = [&[("deed", deed.as_str())], fields].concat();
        self.house.coordinator_post(&self.token, path, &fields).await
    }

    async fn tick(&self, act: &str, number: &str) -> String {
        self.tell("/season/E002/show", &[("act", act), ("number", number)]).await.plain()
    }

    async fn change(&self, fields: &[(&str, &str)]) -> String {
        self.tell("/season/E002/show/change", fields).await.plain()
    }

    async fn ask(&self, query: &str) -> String {
        self.house.coordinator_get(&self.token, &format!("/season/E002/try{query}")).await.plain()
    }

    async fn deeds(&self) -> usize {
        let season = self.house.office.desk().await.unwrap().season;
        self.house.office.store.deeds(season, "E002").await.unwrap().len()
    }

    async fn chaperone(&self, reference: &str) -> (String, String) {
        let path = format!("/c/{}", self.house.office.chaperone_link(reference).await.unwrap().unwrap());
        let words = self.house.get(&path).await.plain();
        (path, words)
    }
}

#[tokio::test]
async fn a_show_is_told_number_by_number() {
    let evening = Evening::at("17:50:00").await;
    let page = evening.show().await;
    assert_eq!(page.header("refresh"), "15; url=/season/E002/show");
    let words = page.plain();
    assert!(words.contains("Curtain up 19:00: Harbour Bells begins"), "{words}");
    assert!(words.contains("The curtain comes down at 19:23, as planned."), "{words}");
    assert!(
        words.contains(
            "18:55 Harbour Bells: next Get ready, with the beginners, 5 min before it; on at 19:00."
        ),
        "{words}"
    );
    let words = evening.change(&[("act", "held"), ("number", "act 0"), ("minutes", "4")]).await;
    assert!(
        words.contains("Noted.") && words.contains("The curtain comes down at 19:27, four minutes later"),
        "{words}"
    );
    assert!(words.contains("18:50 held 4 min before curtain up"), "{words}");
    evening.clock("18:04:00");
    let words = evening.tick("begun", "N001").await;
    assert!(words.contains("Harbour Bells is on") && words.contains("Harbour Bells is over"), "{words}");
    evening.clock("18:06:00");
    let words = evening.tick("ended", "N001").await;
    assert!(words.contains("Next: Paper Boats, 19:06"), "{words}");
    // Ada has no time between the two; the number is held for her.
    assert!(words.contains("Hold Paper Boats for Ada F. from the quick-change room."), "{words}");
    assert!(words.contains("No time to change. From Noor to Ewa."), "{words}");
    let words = evening.change(&[("act", "cut"), ("number", "N003")]).await;
    assert!(words.contains("The curtain comes down at 19:08, 14 minutes earlier than planned."), "{words}");
    let words = evening.tick("begun", "N003").await;
    assert!(words.contains("Not noted. Last Light is cut. Take the cut back first."), "{words}");
    let words = evening.change(&[("act", "taken_back"), ("other", "4")]).await;
    assert!(words.contains("Noted.") && !words.contains("Last Light is cut"), "{words}");
    let words = evening.change(&[("act", "moved"), ("number", "N003"), ("other", "N001")]).await;
    assert!(words.contains("Last Light moves after Harbour Bells"), "{words}");
    assert!(evening.show().await.plain().contains("Next: Last Light"), "it stands there now");
    assert_eq!(evening.deeds().await, 6);
}

#[tokio::test]
async fn the_same_form_twice_is_told_once() {
    let evening = Evening::at("18:00:00").await;
    let page = evening.show().await;
    let deed = &page.hidden("deed")[0];
    let fields = [("deed", deed.as_str()), ("act", "begun"), ("number", "N001")];
    let path = "/season/E002/show";
    assert!(evening.house.coordinator_post(&evening.token, path, &fields).await.plain().contains("Noted."));
    evening.clock("18:00:20");
    let again = evening.house.coordinator_post(&evening.token, path, &fields).await.plain();
    assert!(again.contains("Already noted. Nothing changed."), "{again}");
    // Another act of the same page is another deed.
    let other = [("deed", deed.as_str()), ("act", "ended"), ("number", "N001")];
    assert!(evening.house.coordinator_post(&evening.token, path, &other).await.plain().contains("Noted."));
    assert_eq!(evening.deeds().await, 2);
    // A GET tells nothing, however often it is read.
    let trace = evening.house.trace().await;
    for _ in 0..3 {
        evening.show().await;
    }
    assert_eq!((evening.deeds().await, evening.house.trace().await), (2, trace));
}

#[tokio::test]
async fn only_the_coordinator_tells_and_only_on_the_day() {
    let evening = Evening::at("18:00:00").await;
    assert_eq!(evening.house.get("/season/E002/show").await.status, 403);
    assert_eq!(evening.house.get("/season/E002/show/change").await.status, 403);
    assert_eq!(evening.house.get("/season/E002/try?first=N001&second=N002&how=exchange").await.status, 403);
    let fields = [("deed", "form"), ("act", "begun"), ("number", "N001")];
    assert_eq!(evening.house.post("/season/E002/show", &fields).await.status, 403);
    let post = |fields: &'static [(&'static str, &'static str)]| {
        evening.house.coordinator_post(&evening.token, "/season/E002/show", fields)
    };
    assert_eq!(post(&[("deed", ""), ("act", "begun"), ("number", "N001")]).await.status, 400);
    assert_eq!(post(&[("deed", "form"), ("act", "sung"), ("number", "N001")]).await.status, 400);
    assert_eq!(
        post(&[("deed", "form"), ("act", "held"), ("number", "act 0"), ("minutes", "x")]).await.status,
        400
    );
    // An event without a running order has no such page; nor has one that is not there.
    for event in ["E001", "E099"] {
        for page in ["show", "show/change", "try"] {
            let path = format!("/season/{event}/{page}");
            assert_eq!(evening.house.coordinator_get(&evening.token, &path).await.status, 404, "{path}");
        }
    }
    for day in ["2027-06-04T18:00:00Z", "2027-06-06T18:00:00Z"] {
        evening.house.clock.set(day);
        let words = evening.tick("begun", "N001").await;
        assert!(words.contains("The running of a show is told on its own day."), "{words}");
    }
    assert_eq!(evening.deeds().await, 0);
}

#[tokio::test]
async fn a_chaperone_reads_her_next_things_from_her_call_on() {
    let evening = Evening::at("15:59:00").await;
    // Her call is at 17:00, an hour before the children's.
    let (path, words) = evening.chaperone("V001").await;
    let (ewa, noor) = if words.contains("Ewa") { ("V001", "V002") } else { ("V002", "V001") };
    assert!(words.contains("to ring"), "{words}");
    evening.clock("16:00:00");
    assert_eq!(evening.house.get(&path).await.header("refresh"), "15; url=?");
    let (_, words) = evening.chaperone(noor).await;
    assert!(words.contains("Next: Harbour Bells. Line up: left side."), "{words}");
    assert!(
        words.contains("No time to change for Ada F. (out of Harbour Bells, into Paper Boats)"),
        "{words}"
    );
    assert!(words.contains("may go out by the door from 21:00, not before."), "{words}");
    evening.clock("18:00:00");
    evening.tick("begun", "N001").await;
    evening.clock("18:02:05");
    evening.tick("ended", "N001").await;
    let (path, words) = evening.chaperone(ewa).await;
    assert!(words.starts_with("What to do next"), "{words}");
    assert!(
        words.contains("Tell the stage side if Ada F. is still changing: Paper Boats is next."),
        "{words}"
    );
    assert!(words.contains("In two numbers: Last Light. Line up."), "{words}");
    // The families of her children, and the way back.
    let families = evening.house.get(&format!("{path}?event=E002&show=families")).await;
    assert!(families.plain().contains("What to do next") && families.header("refresh").is_empty());
    // Another event of hers is still to be found.
    let other = evening.house.get(&format!("{path}?event=E001")).await.plain();
    assert!(other.contains("Dress rehearsal") && !other.contains("Line up"), "{other}");
    // The show ends two minutes early by a cut; the door stays shut until the published hour.
    evening.change(&[("act", "cut"), ("number", "N003")]).await;
    let (_, words) = evening.chaperone(ewa).await;
    assert!(words.contains("Last Light is cut: nobody lines up for it."), "{words}");
    assert!(words.contains("from 21:00, not before."), "{words}");
    // The next day it is the list again.
    evening.house.clock.set("2027-06-06T09:00:00Z");
    assert!(!evening.chaperone(ewa).await.1.contains("Line up"));
}

#[tokio::test]
async fn another_order_is_tried_on_paper_only() {
    let evening = Evening::at("09:00:00").await;
    let event = evening.house.coordinator_get(&evening.token, "/season/E002").await;
    assert!(event.text.contains("action=\"/season/E002/try\"") && event.text.contains("/season/E002/show"));
    assert!(!evening.house.coordinator_get(&evening.token, "/season/E001").await.text.contains("/try\""));
    let trace = evening.house.trace().await;
    let words = evening.ask("?first=N002&second=N003&how=exchange").await;
    // Ada gets the interval between; Nia has it between either way.
    assert!(
        words.contains("Paper Boats and Last Light swap places: some turnarounds get easier, none harder"),
        "{words}"
    );
    assert!(words.contains("One turnaround without the time goes"), "{words}");
    assert!(words.contains("Ada F.: out of Harbour Bells, into Paper Boats, 0 s to change"), "{words}");
    assert!(words.contains("Paper Boats19:02:25"), "{words}");
    let words = evening.ask("?first=interval+0&second=N001&how=behind").await;
    assert!(words.contains("The interval goes right after Harbour Bells"), "{words}");
    assert!(words.contains("Nia Q.: out of Paper Boats, into Last Light"), "{words}");
    assert!(
        evening.ask("?first=N001&second=first&how=behind").await.contains("That is the order as it stands")
    );
    assert!(evening.ask("?first=N001&second=first&how=exchange").await.contains("Choose two lines"));
    assert!(evening.ask("?first=x&second=%3Cscript%3E&how=behind").await.contains("Choose two lines"));
    assert!(evening.ask("").await.contains("Choose two lines"));
    assert_eq!((evening.house.trace().await, evening.deeds().await, evening.house.mails()), (trace, 0, 0));
}
