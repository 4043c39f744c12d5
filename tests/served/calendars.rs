//! Calendars that families and chaperones take with them: as a file, by a private address, and in the mails.

use axum::body::Body;
use axum::http::Request;
use jiff::{SignedDuration, Timestamp};
use serde_json::{Value, json};

use super::house::{Answer, House};
use super::peers::{node_package, program, python, read_calendars, ready};
use super::season;

/// Logical lines of a calendar that begin with a word.
fn lines<'a>(calendar: &'a str, start: &str) -> Vec<&'a str> {
    calendar.lines().filter(|line| line.starts_with(start)).collect()
}

/// The private address on a page, without its host.
fn address(page: &Answer) -> String {
    let text = page.text.split("https://brackwater.example").nth(1).expect("an address");
    text.split(['<', '"']).next().unwrap().to_owned()
}

async fn make(house: &House, path: &str) -> String {
    let page = house.post(&format!("{path}/calendar"), &[("act", "make")]).await;
    assert_eq!(page.status, 200);
    assert!(page.text.contains(&format!("webcal://brackwater.example{}", address(&page))));
    address(&page)
}

async fn change(house: &House, at: &str, edits: &[(&str, &str, &str, &str)]) {
    house.clock.set(at);
    let mut book = season::book();
    for (sheet, name, column, text) in edits {
        season::set(&mut book, sheet, name, column, text);
    }
    let bringing = house.office.preview(book, Vec::new()).await.unwrap();
    house.office.bring(&bringing).await.unwrap();
}

#[tokio::test]
async fn a_guardian_downloads_every_event_of_her_own_children() {
    let house = House::told().await;
    let path = format!("/r/{}", house.token("marisol@example.org"));
    let page = house.get(&path).await;
    assert!(page.text.contains(&format!("href=\"{path}/calendar.ics\"")), "{}", page.text);
    assert!(page.text.contains(&format!("href=\"{path}/calendar\"")));
    let file = house.get(&format!("{path}/calendar.ics")).await;
    assert_eq!(file.status, 200);
    assert_eq!(file.header("content-type"), "text/calendar; charset=utf-8");
    assert_eq!(file.header("content-disposition"), "attachment; filename=\"calendar.ics\"");
    let summaries = lines(&file.text, "SUMMARY:");
    assert_eq!(
        summaries,
        [
            "SUMMARY:Ines: Dress rehearsal",
            "SUMMARY:Tariq: Dress rehearsal",
            "SUMMARY:Ines: First show",
            "SUMMARY:Tariq: First show"
        ]
    );
    // 17:30 in June is 16:30 UTC; the words are in her language and say the hour of the wall clock.
    assert_eq!(lines(&file.text, "DTSTART:")[0], "DTSTART:20270604T163000Z");
    let whole = file.text.replace("\r\n ", "");
    assert!(whole.contains("Esté allí: 17:30\\nEmpieza: 18:30"), "{whole}");
    assert!(whole.contains("REFRESH-INTERVAL;VALUE=DURATION:PT60M\r\n"));
    for other in ["Ada", "Nia", "Quill", "May"] {
        assert!(!whole.contains(other), "{other}");
    }
}

/// Hours as CLDR 48 says them for the country, and the coordinator's words in the reader's language.
#[tokio::test]
async fn a_calendar_says_hours_and_doors_as_its_reader_does() {
    let mut book = season::book();
    let rows = &mut book.sheet_mut("season").rows;
    rows.iter_mut().find(|row| row.text("setting") == "country").unwrap().set("value", "US");
    // Numbers as they are dialled from abroad: national ones would be read as another country's.
    for sheet in ["chaperones", "children"] {
        for row in &mut book.sheet_mut(sheet).rows {
            let columns: Vec<String> = row.cells.keys().cloned().collect();
            columns
                .iter()
                .for_each(|column| row.set(column, row.text(column).replace("07700 9", "+44 7700 9")));
        }
    }
    for (text, translation) in
        [("Dress rehearsal", "Ensayo general"), ("stage door in Cooper's Row", "puerta de artistas")]
    {
        let row = [("text", text), ("language", "es"), ("translation", translation)];
        season::add(&mut book, "translations", &row);
    }
    let house = House::open_with(book).await;
    house.clock.set("2027-05-28T09:30:00Z");
    house.send().await;
    let path = format!("/r/{}", house.token("marisol@example.org"));
    let file = house.get(&format!("{path}/calendar.ics")).await.text.replace("\r\n ", "");
    assert!(file.contains("SUMMARY:Ines: Ensayo general"), "{file}");
    assert!(file.contains("puerta de artistas") && !file.contains("stage door"), "{file}");
    assert!(file.contains("Esté allí: 5:30 pm\\nEmpieza: 6:30 pm"), "{file}");
    assert!(!file.contains(": 17:30"), "{file}");
}

#[tokio::test]
async fn looking_makes_no_address_and_reading_one_is_no_answer() {
    let house = House::told().await;
    let path = format!("/r/{}", house.token("may@example.org"));
    let before = house.trace().await;
    for _ in 0..2 {
        let page = house.get(&format!("{path}/calendar")).await;
        assert_eq!(page.status, 200);
        assert!(!page.text.contains("/feed/"));
    }
    let feed = make(&house, &path).await;
    assert!(feed.starts_with("/feed/") && feed.ends_with("/calendar.ics"), "{feed}");
    // 128 bits are 22 characters of base64url (RFC 4648 section 5).
    assert_eq!(feed.len(), "/feed/".len() + 22 + "/calendar.ics".len());
    let read = house.get(&feed).await;
    assert_eq!((read.status.as_u16(), read.header("content-type")), (200, "text/calendar; charset=utf-8"));
    assert_eq!(read.text, house.get(&format!("{path}/calendar.ics")).await.text);
    assert_eq!(house.trace().await, before);
    assert_eq!(house.office.event_lists().await.unwrap()[0].settled, (0, 5));
    // A guardian's page is no calendar, and an address no guardian's page.
    let token = feed.split('/').nth(2).unwrap();
    assert_eq!(house.get(&format!("/r/{token}")).await.status, 404);
    assert_eq!(house.get(&format!("/feed{}/calendar.ics", path.trim_start_matches("/r"))).await.status, 404);
    assert_eq!(house.post(&format!("{path}/calendar"), &[("act", "else")]).await.status, 400);
}

#[tokio::test]
async fn an_address_says_when_nothing_has_changed() {
    let house = House::told().await;
    let path = format!("/r/{}", house.token("may@example.org"));
    let feed = make(&house, &path).await;
    let first = house.get(&feed).await;
    let tag = first.header("etag").to_owned();
    assert_eq!(first.header("cache-control"), "private, no-cache");
    let again = async |tag: &str| {
        house.ask(Request::get(&feed).header("if-none-match", tag).body(Body::empty()).unwrap()).await
    };
    for known in [tag.clone(), format!("W/{tag}"), format!("\"else\", {tag}"), "*".to_owned()] {
        let answer = again(&known).await;
        assert_eq!((answer.status.as_u16(), answer.text.as_str()), (304, ""), "{known}");
        assert_eq!(answer.header("etag"), tag);
    }
    assert_eq!(again("\"else\"").await.status, 200);
    change(&house, "2027-05-29T09:00:00Z", &[("events", "First show", "call", "17:45")]).await;
    let changed = again(&tag).await;
    assert_eq!(changed.status, 200);
    assert_ne!(changed.header("etag"), tag);
    assert_eq!(lines(&changed.text, "DTSTART:")[1], "DTSTART:20270605T164500Z");
    assert_eq!(lines(&changed.text, "UID:"), lines(&first.text, "UID:"));
}

#[tokio::test]
async fn a_new_address_ends_the_old_one_and_all_die_with_the_season() {
    let house = House::told().await;
    let path = format!("/r/{}", house.token("may@example.org"));
    let other = make(&house, &format!("/r/{}", house.token("marisol@example.org"))).await;
    let old = make(&house, &path).await;
    let new = make(&house, &path).await;
    assert_ne!(old, new);
    assert_eq!(house.get(&old).await.status, 404);
    for feed in [&new, &other] {
        assert_eq!(house.get(feed).await.status, 200);
    }
    // The last show ends at 20:00 UTC on 5 June; links outlive it by 48 hours.
    house.clock.set("2027-06-07T19:59:00Z");
    assert_eq!(house.get(&new).await.status, 200);
    house.clock.set("2027-06-07T20:00:00Z");
    let dead = house.get(&new).await;
    assert_eq!(dead.status, 410);
    assert!(dead.plain().contains("01632 960100"));
}

#[tokio::test]
async fn another_site_makes_no_address() {
    let house = House::told().await;
    let path = format!("/r/{}", house.token("may@example.org"));
    let feed = make(&house, &path).await;
    let forged = Request::post(format!("{path}/calendar"))
        .header("content-type", "application/x-www-form-urlencoded")
        .header("origin", "https://elsewhere.example");
    assert_eq!(house.ask(forged.body("act=make".into()).unwrap()).await.status, 403);
    assert_eq!(house.get(&feed).await.status, 200);
}

#[tokio::test]
async fn what_is_called_off_stays_as_cancelled_with_a_higher_sequence() {
    let house = House::told().await;
    let path = format!("/r/{}", house.token("may@example.org"));
    let feed = make(&house, &path).await;
    let before = house.get(&feed).await.text;
    let number = |text: &str| lines(text, "SEQUENCE:")[0][9..].parse::<u32>().unwrap();
    // Nothing is cancelled, and each entry rings.
    assert_eq!(lines(&before, "STATUS:"), ["STATUS:CONFIRMED"; 2]);
    assert_eq!(lines(&before, "TRIGGER:"), ["TRIGGER:-PT120M"; 2]);
    // The show is called off; Ada, who was told of the rehearsal, is not in it any more.
    let edits = [("events", "First show", "cancelled", "yes"), ("children", "Ada", "numbers", "Paper Boats")];
    let numbers = [("events", "Dress rehearsal", "numbers", "Harbour Bells")];
    change(&house, "2027-05-29T09:00:00Z", &[edits[0], edits[1], numbers[0]]).await;
    let after = house.get(&feed).await.text;
    assert_eq!(lines(&after, "STATUS:"), ["STATUS:CANCELLED"; 2]);
    assert_eq!(lines(&after, "TRIGGER:").len(), 0);
    let sorted = |text: &str| {
        let mut uids: Vec<String> = lines(text, "UID:").into_iter().map(str::to_owned).collect();
        uids.sort();
        uids
    };
    assert_eq!(sorted(&before), sorted(&after));
    assert!(number(&after) > number(&before));
}

#[tokio::test]
async fn a_chaperone_has_her_duties_in_her_calendar() {
    let house = House::told().await;
    // Noor Hadi, since refs go by name.
    let token = house.office.chaperone_link("V002").await.unwrap().unwrap();
    let path = format!("/c/{token}");
    let page = house.get(&path).await;
    assert!(page.text.contains(&format!("href=\"{path}/calendar.ics\"")), "{}", page.text);
    let feed = make(&house, &path).await;
    let read = house.get(&feed).await;
    assert_eq!(read.text, house.get(&format!("{path}/calendar.ics")).await.text);
    assert_eq!(lines(&read.text, "SUMMARY:"), ["SUMMARY:Dress rehearsal", "SUMMARY:First show"]);
    assert_eq!(lines(&read.text, "UID:"), ["UID:V002.E001@S1", "UID:V002.E002@S1"]);
    // Half an hour before the children's 17:30, until the last may be collected at 20:30; June is an hour ahead of UTC.
    assert_eq!(lines(&read.text, "DTSTART:")[0], "DTSTART:20270604T160000Z");
    assert_eq!(lines(&read.text, "DTEND:")[0], "DTEND:20270604T193000Z");
    let whole = read.text.replace("\r\n ", "");
    assert!(whole.contains("You are due: 17:00. Old Weighhouse\\, stage door in Cooper's Row"), "{whole}");
    assert!(whole.contains("The children are called: 17:30"));
    assert!(whole.contains("With: Harbour Bells\\nYou sign these children in."), "{whole}");
    // Nobody's child stands in it.
    for child in ["Ines", "Tariq", "Ada", "Nia", "script"] {
        assert!(!whole.contains(child), "{child}");
    }
    let again = make(&house, &path).await;
    assert_eq!(house.get(&feed).await.status, 404);
    assert_eq!(house.get(&again).await.status, 200);
    assert_eq!(house.get(&format!("/r/{token}/calendar")).await.status, 404);
}

/// One season over a week-end on which the clocks change.
struct WeekEnd {
    zone: &'static str,
    saturday: &'static str,
    sunday: &'static str,
    /// When the call sheets of Saturday are sent.
    told: &'static str,
    /// Start and end of Saturday's rehearsal (17:30 to 20:30 on the wall) and Sunday's show (18:00 to 21:00), as UTC.
    wanted: [(&'static str, &'static str); 2],
}

/// Worked out by hand from the clock changes of both zones (IANA time zone data, europe and northamerica).
const WEEK_ENDS: [WeekEnd; 4] = [
    WeekEnd {
        zone: "Europe/London",
        saturday: "2027-10-30",
        sunday: "2027-10-31",
        told: "2027-10-23T09:30:00Z",
        wanted: [
            ("2027-10-30T16:30:00Z", "2027-10-30T19:30:00Z"),
            ("2027-10-31T18:00:00Z", "2027-10-31T21:00:00Z"),
        ],
    },
    WeekEnd {
        zone: "Europe/London",
        saturday: "2028-03-25",
        sunday: "2028-03-26",
        told: "2028-03-18T10:30:00Z",
        wanted: [
            ("2028-03-25T17:30:00Z", "2028-03-25T20:30:00Z"),
            ("2028-03-26T17:00:00Z", "2028-03-26T20:00:00Z"),
        ],
    },
    WeekEnd {
        zone: "America/New_York",
        saturday: "2027-11-06",
        sunday: "2027-11-07",
        told: "2027-10-30T14:30:00Z",
        wanted: [
            ("2027-11-06T21:30:00Z", "2027-11-07T00:30:00Z"),
            ("2027-11-07T23:00:00Z", "2027-11-08T02:00:00Z"),
        ],
    },
    WeekEnd {
        zone: "America/New_York",
        saturday: "2028-03-11",
        sunday: "2028-03-12",
        told: "2028-03-04T15:30:00Z",
        wanted: [
            ("2028-03-11T22:30:00Z", "2028-03-12T01:30:00Z"),
            ("2028-03-12T22:00:00Z", "2028-03-13T01:00:00Z"),
        ],
    },
];

impl WeekEnd {
    /// The season with the call sheets of Saturday sent.
    async fn house(&self) -> House {
        let mut book = season::book();
        let zone = |row: &&mut allheard::domain::book::Row| row.text("setting") == "zone";
        book.sheet_mut("season").rows.iter_mut().find(zone).unwrap().set("value", self.zone);
        season::set(&mut book, "events", "Dress rehearsal", "date", self.saturday);
        season::set(&mut book, "events", "First show", "date", self.sunday);
        let house = House::open_with(book).await;
        house.clock.set(self.told);
        house.send().await;
        house
    }
}

/// What a reader should make of one entry; it rings two hours before it starts.
fn wanted(item: &str, (start, end): (&str, &str), sequence: &Value) -> Value {
    let rings = start.parse::<Timestamp>().unwrap() - SignedDuration::from_hours(2);
    let uid = format!("{}@S1", item.replace('/', "."));
    json!({
        "item": item, "uid": uid, "sequence": sequence, "status": "CONFIRMED",
        "start": start, "end": end, "alarms": [rings.to_string()],
    })
}

#[tokio::test]
async fn three_readers_find_the_hours_of_the_workbook_on_both_sides_of_a_clock_change() {
    let needed = [program("node"), node_package("ical.js"), node_package("node-ical"), python()];
    if !ready("three_readers_find_the_hours_of_the_workbook", &needed) {
        return;
    }
    for week_end in &WEEK_ENDS {
        let house = week_end.house().await;
        let token = house.token("may@example.org");
        let feed = make(&house, &format!("/r/{token}")).await;
        let chaperone = house.office.chaperone_link("V001").await.unwrap().unwrap();
        let duties = make(&house, &format!("/c/{chaperone}")).await;
        let calendars = [
            house.mail_calendar("may@example.org"),
            house.get(&format!("/r/{token}/calendar.ics")).await.text,
            house.get(&feed).await.text,
            house.get(&duties).await.text,
        ];
        let ada = lines(&calendars[1], "X-ALLHEARD-ITEM:")[0][16..].split('/').next().unwrap().to_owned();
        for reader in ["icalendar", "ical.js", "node-ical"] {
            let read = read_calendars(reader, &calendars);
            assert_eq!(read.len(), calendars.len(), "{reader}");
            let sequence = &read[0][0]["sequence"];
            let [saturday, sunday] = week_end.wanted;
            let hers = [("E001", saturday), ("E002", sunday)];
            let family: Vec<Value> = hers
                .iter()
                .map(|(event, times)| wanted(&format!("{ada}/{event}"), *times, sequence))
                .collect();
            // The mail is about the rehearsal only; its entry is the one of the file and the feed.
            assert_eq!(read[0], json!([family[0]]), "{reader} {}", week_end.saturday);
            assert_eq!(read[1], json!(family), "{reader} {}", week_end.saturday);
            assert_eq!(read[2], json!(family), "{reader} {}", week_end.saturday);
            // Chaperones come half an hour before the dress rehearsal and an hour before a show (common practice, no source).
            let earlier = |event: &str, (start, end): (&str, &'static str)| {
                let lead = if event == "E001" { 30 } else { 60 };
                (start.parse::<Timestamp>().unwrap() - SignedDuration::from_mins(lead), end)
            };
            let duties: Vec<Value> = hers
                .iter()
                .map(|(event, times)| {
                    let (due, end) = earlier(event, *times);
                    wanted(&format!("V001/{event}"), (&due.to_string(), end), sequence)
                })
                .collect();
            assert_eq!(read[3], json!(duties), "{reader} {}", week_end.saturday);
        }
    }
}
