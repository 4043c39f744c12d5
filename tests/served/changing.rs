//! One action at a time through the coordinator's pages: the look, the confirmation, who is told and who is not.

use super::house::{Answer, House};
use super::season::{add, book, set};
use allheard::domain::book::Book;
use allheard::domain::season::Channel;
use allheard::service::ports::Store as _;

/// A season that writes to its chaperones too; May and Lee may be texted.
fn season() -> Book {
    let mut book = book();
    set(&mut book, "children", "Ada", "guardian 1 texts", "yes");
    set(&mut book, "chaperones", "Noor Hadi", "e-mail", "noor@example.org");
    set(&mut book, "chaperones", "Ewa Lis", "e-mail", "ewa@example.org");
    let duty = [
        ("name", "Duties"),
        ("about", "dress rehearsal"),
        ("to", "chaperones"),
        ("counted from", "call"),
        ("days before", "7"),
        ("at", "10:00"),
        ("by", "mail"),
        ("answer owed", "yes"),
        ("wording", "duty"),
    ];
    add(&mut book, "notices", &duty);
    book
}

/// The desk of a coordinator.
struct Desk {
    house: House,
    token: String,
}

impl Desk {
    /// The dress rehearsal's call sheets and duties are out, and all who got one have read it.
    async fn told() -> Desk {
        let house = House::open_with(season()).await;
        house.clock.set("2027-05-28T09:30:00Z");
        house.send().await;
        for address in ["may@example.org", "marisol@example.org", "odd@example.org", "noor@example.org"] {
            let path = format!("/r/{}", house.token(address));
            let page = house.get(&path).await;
            for (item, seen) in page.hidden("item").iter().zip(page.hidden("fingerprint")) {
                house.post(&path, &[("item", item), ("fingerprint", &seen), ("act", "heard")]).await;
            }
        }
        let token = house.office.coordinator_link().await.unwrap();
        Desk { house, token }
    }

    async fn get(&self, path: &str) -> Answer {
        self.house.coordinator_get(&self.token, path).await
    }

    async fn post(&self, path: &str, fields: &[(&str, &str)]) -> Answer {
        self.house.coordinator_post(&self.token, path, fields).await
    }

    /// Confirms what a page shows.
    async fn confirm(&self, path: &str, shown: &Answer) -> Answer {
        let upload = shown.hidden("upload").first().cloned().unwrap_or_else(|| panic!("{}", shown.plain()));
        self.post(path, &[("upload", &upload), ("act", "confirm")]).await
    }

    /// Looks at an action and confirms it.
    async fn act(&self, path: &str, fields: &[(&str, &str)]) -> (Answer, Answer) {
        let shown = self.post(path, fields).await;
        let done = self.confirm(path, &shown).await;
        assert!(done.plain().contains("Done."), "{}", done.plain());
        (shown, done)
    }

    async fn revision(&self) -> i64 {
        self.house.office.store.season().await.unwrap().unwrap().revision
    }

    /// Sends what is due an hour later; gives back to whom mails and texts went.
    async fn sent(&self, at: &str) -> Vec<String> {
        let before = self.house.outbox().len();
        self.house.clock.set(at);
        self.house.send().await;
        let mut new: Vec<String> =
            self.house.outbox().split_off(before).into_iter().map(|(to, _)| to).collect();
        new.sort();
        new
    }

    /// The ref of a child, a guardian or a chaperone: they are given in the order of names.
    async fn reference(&self, name: &str) -> String {
        let desk = self.house.office.desk().await.unwrap();
        let season = &desk.board.season;
        let children = season.children.iter().map(|child| (&child.given, &child.reference));
        let others = season.guardians.iter().map(|guardian| (&guardian.name, &guardian.reference));
        let found = children.chain(others).find(|(one, _)| *one == name);
        found.unwrap_or_else(|| panic!("nobody is called {name}")).1.clone()
    }

    async fn settled(&self) -> u64 {
        self.house.office.event_lists().await.unwrap()[0].settled.0
    }
}

const DRESS: &str = "/season/change/event?event=E001";

#[tokio::test]
async fn an_event_called_off_is_told_to_those_who_knew_of_it_and_undone_before_that_nothing_happened() {
    let desk = Desk::told().await;
    assert_eq!(desk.settled().await, 4);
    let page = desk.get("/season/E001").await;
    assert!(page.text.contains("href=\"/season/change/event?event=E001\""));
    assert!(desk.get(DRESS).await.plain().contains("It is called off"));
    let shown = desk.post(DRESS, &[("act", "call_off")]).await;
    let words = shown.plain();
    assert!(words.contains("Dress rehearsal is called off: check before you confirm"), "{words}");
    assert!(words.contains("Five answers are needed again"), "{words}");
    assert!(words.contains("called off, or back on"), "{words}");
    // May by both her ways, the others by the one they have; nobody of whom nothing is known.
    assert!(words.contains("Five mails and one text are added to the plan"), "{words}");
    assert!(words.contains("sheets to print again"), "{words}");
    assert_eq!((desk.revision().await, desk.settled().await), (1, 4), "only looked at");
    let done = desk.confirm(DRESS, &shown).await;
    assert!(done.plain().contains("Done. Messages: 6 planned"), "{}", done.plain());
    assert_eq!(desk.revision().await, 2);
    // Taken back before anybody was told: everybody keeps her standing, and nothing is sent.
    let changes = desk.get("/season/changes").await;
    assert!(changes.plain().contains("Dress rehearsal is called off"), "{}", changes.plain());
    let revision = changes.hidden("revision")[0].clone();
    let fields = [("revision", revision.as_str()), ("act", "take_back")];
    let shown = desk.post("/season/changes", &fields).await;
    assert!(shown.plain().contains("are taken off the plan"), "{}", shown.plain());
    desk.confirm("/season/changes", &shown).await;
    assert_eq!(desk.settled().await, 4);
    assert_eq!(desk.sent("2027-05-28T11:00:00Z").await, Vec::<String>::new());
    // Called off again and told.
    desk.act(DRESS, &[("act", "call_off")]).await;
    let told = desk.sent("2027-05-28T12:00:00Z").await;
    let everybody = [
        "+447700900021",
        "ewa@example.org",
        "marisol@example.org",
        "may@example.org",
        "noor@example.org",
        "odd@example.org",
    ];
    assert_eq!(told, everybody);
    assert!(
        desk.house.mail("may@example.org").contains("cancelled"),
        "{}",
        desk.house.mail("may@example.org")
    );
    // An old look is no longer the latest.
    let stale = desk.post("/season/changes", &fields).await;
    assert!(stale.plain().contains("Only the latest change can be taken back"), "{}", stale.plain());
    let again = desk.post(DRESS, &[("act", "call_off")]).await;
    assert!(again.plain().contains("'Dress rehearsal' is called off already"), "{}", again.plain());
}

#[tokio::test]
async fn the_weather_is_decided_by_a_stated_hour() {
    let desk = Desk::told().await;
    let decide = [("act", "decide"), ("day", "2027-05-28"), ("hour", "14:00")];
    let (shown, done) = desk.act(DRESS, &decide).await;
    assert!(shown.plain().contains("This sends no new messages and cancels none."), "{}", shown.plain());
    assert!(done.plain().contains("No message changes."), "{}", done.plain());
    // 10:30 in London.
    let season = desk.get("/season").await;
    let words = "Does it take place? Dress rehearsal, Friday 4 June";
    assert!(season.plain().contains(words), "{}", season.plain());
    assert!(season.plain().contains("Decide by Friday 28 May, 14:00: in three hours and 30 minutes."));
    assert!(season.text.contains("/season/change/event?event=E001"));
    let (_, done) = desk.act(DRESS, &[("act", "goes_on")]).await;
    assert!(done.plain().contains("No message changes."));
    assert!(!desk.get("/season").await.plain().contains("Does it take place?"));
    assert_eq!((desk.settled().await, desk.sent("2027-05-28T11:00:00Z").await.len()), (4, 0));
    // Called off, the question is answered too.
    desk.act(DRESS, &decide).await;
    let (shown, _) = desk.act(DRESS, &[("act", "call_off")]).await;
    assert!(shown.plain().contains("decide by: no longer 2027-05-28 14:00"), "{}", shown.plain());
    assert!(!desk.get("/season").await.plain().contains("Does it take place?"));
    assert_eq!(desk.sent("2027-05-28T12:00:00Z").await.len(), 6);
    let wrong = desk.post("/season/change/event?event=E002", &[("act", "decide"), ("hour", "soon")]).await;
    assert!(wrong.plain().contains("'soon' is not a day and time"), "{}", wrong.plain());
    assert!(!wrong.text.contains("value=\"confirm\""));
}

#[tokio::test]
async fn a_new_call_is_told_old_and_new_to_its_own_only() {
    let desk = Desk::told().await;
    let to =
        [("act", "move"), ("date", "2027-06-04"), ("call", "17:00"), ("starts", "18:30"), ("ends", "20:30")];
    let (shown, _) = desk.act(DRESS, &to).await;
    assert!(
        shown.plain().contains("call 17:30 becomes 17:00, park by 17:05 becomes 16:35"),
        "{}",
        shown.plain()
    );
    assert_eq!(desk.sent("2027-05-28T11:00:00Z").await.len(), 6);
    let mail = desk.house.mail("may@example.org");
    assert!(mail.contains("17:30") && mail.contains("17:00"), "{mail}");
    // Another event, of which nobody was told yet: nobody hears anything.
    let first = "/season/change/event?event=E002";
    let (_, done) = desk.act(first, &[("act", "move"), ("call", "17:45")]).await;
    assert!(done.plain().contains("No message changes."), "{}", done.plain());
    let door = [("act", "door"), ("place", "P001"), ("door", "the river door"), ("collect_at", "")];
    let shown = desk.post(DRESS, &door).await;
    assert!(shown.plain().contains("door: stage door in Cooper's Row becomes the river door"));
}

#[tokio::test]
async fn a_number_cut_is_told_to_those_who_dance_nothing_else_there() {
    let desk = Desk::told().await;
    let cut = [("act", "cut"), ("number", "N002"), ("where", "here")];
    let (shown, _) = desk.act(DRESS, &cut).await;
    let words = shown.plain();
    assert!(words.contains("Paper Boats is cut: Dress rehearsal"), "{words}");
    assert!(words.contains("Three children:"), "{words}");
    // Marisol for Tariq, Odd for his; and Ewa, who looked after the number. Ada's mother hears nothing.
    let told = desk.sent("2027-05-28T11:00:00Z").await;
    assert!(
        told.contains(&"marisol@example.org".to_owned()) && told.contains(&"odd@example.org".to_owned()),
        "{told:?}"
    );
    assert!(!told.iter().any(|to| to == "may@example.org" || to == "+447700900021"), "{told:?}");
    let last = desk.post(DRESS, &[("act", "cut"), ("number", "N001"), ("where", "here")]).await;
    assert!(last.plain().contains("It is the last number of 'Dress rehearsal'"), "{}", last.plain());
}

#[tokio::test]
async fn a_child_leaves_and_another_joins_and_neither_is_taken_for_the_other() {
    let desk = Desk::told().await;
    let nia = &format!("/season/change/child?child={}", desk.reference("Nia").await);
    assert!(desk.get(DRESS).await.text.contains(nia));
    assert!(desk.get(nia).await.plain().contains("Nia Quill leaves the season"));
    let (shown, _) = desk.act(nia, &[("act", "leaves")]).await;
    assert!(shown.plain().contains("child, gone"), "{}", shown.plain());
    assert_eq!(desk.sent("2027-05-28T11:00:00Z").await, Vec::<String>::new(), "nobody is told");
    let joins = [
        ("act", "joins"),
        ("given", "Flo"),
        ("family", "Marsh"),
        ("numbers", "Harbour Bells"),
        ("g1_name", "Ines Marsh"),
        ("g1_mail", "ines@example.org"),
        ("g1_brings", "yes"),
    ];
    let (shown, _) = desk.act("/season/change/joins", &joins).await;
    assert!(shown.plain().contains("Two mails are added to the plan"), "{}", shown.plain());
    let stored = desk.house.office.store.season().await.unwrap().unwrap();
    let row = stored.book.rows("children").last().unwrap().clone();
    assert_eq!((row.text("ref"), row.text("given name")), ("C006", "Flo"));
    assert_eq!(row.text("guardian 1 ref"), "G005");
    // When the last of all leaves, the next is still somebody else.
    desk.act("/season/change/child?child=C006", &[("act", "leaves")]).await;
    desk.act("/season/change/joins", &joins).await;
    let stored = desk.house.office.store.season().await.unwrap().unwrap();
    let row = stored.book.rows("children").last().unwrap().clone();
    assert_eq!((row.text("ref"), row.text("guardian 1 ref")), ("C007", "G006"));
    assert_eq!(desk.sent("2027-05-28T12:00:00Z").await, ["ines@example.org"]);
    // What cannot be read keeps her out, with the reason.
    let wrong =
        desk.post("/season/change/joins", &[("act", "joins"), ("given", "Gil"), ("numbers", "Gale")]).await;
    assert!(wrong.plain().contains("'Gale' is not on the sheet 'numbers'"), "{}", wrong.plain());
    let dances = [("act", "dances"), ("numbers", "Paper Boats")];
    let (_, done) = desk.act("/season/change/child?child=C007", &dances).await;
    assert!(done.plain().contains("No message changes."), "{}", done.plain());
}

#[tokio::test]
async fn a_child_who_left_by_mistake_comes_back_with_what_was_heard() {
    let desk = Desk::told().await;
    let ada = format!("/season/change/child?child={}", desk.reference("Ada").await);
    desk.act(&ada, &[("act", "leaves")]).await;
    assert_eq!(desk.settled().await, 3);
    let page = desk.get("/season/changes").await;
    let revision = page.hidden("revision")[0].clone();
    let fields = [("revision", revision.as_str()), ("act", "take_back")];
    let shown = desk.post("/season/changes", &fields).await;
    assert!(shown.plain().contains("child, new") && shown.plain().contains("Ada Finch"), "{}", shown.plain());
    desk.confirm("/season/changes", &shown).await;
    assert_eq!(desk.settled().await, 4);
    assert_eq!(desk.sent("2027-05-28T11:00:00Z").await, Vec::<String>::new());
    // What was done and what took it back both stand in the list; only the latest may be taken back.
    let page = desk.get("/season/changes").await;
    assert!(page.plain().contains("Taken back: Ada Finch leaves"), "{}", page.plain());
    assert_eq!(page.hidden("revision"), ["3"]);
}

#[tokio::test]
async fn what_failed_at_an_old_address_goes_to_the_new_one_once() {
    let desk = Desk::told().await;
    let house = &desk.house;
    let season = house.office.desk().await.unwrap().season;
    let odd = desk.reference("<b>Odd</b> Bold").await;
    let lives = house.office.store.lives(season, None, 0, 100).await.unwrap();
    let hers = lives.iter().find(|(message, _)| message.guardians == [odd.clone()]);
    let key = hers.map(|(message, _)| message.key.clone()).expect("a mail went there");
    house.office.store.bounce(season, &key, house.office.now()).await.unwrap();
    assert_eq!(desk.sent("2027-05-28T10:30:00Z").await, Vec::<String>::new(), "there is no other way");
    let path = format!("/season/change/person?person={odd}");
    let page = desk.get(&path).await;
    assert!(page.text.contains("value=\"odd@example.org\""), "{}", page.plain());
    let new = |mail: &'static str| {
        let cells = [("act", "reached"), ("mobile", ""), ("mail", mail), ("language", ""), ("texts", "")];
        [cells.as_slice(), &[("mails", ""), ("agreed", "")]].concat()
    };
    let (shown, _) = desk.act(&path, &new("bold@example.org")).await;
    let words = shown.plain();
    assert!(words.contains("e-mail: odd@example.org becomes bold@example.org"), "{words}");
    assert!(words.contains("One guardian: ") && words.contains("Two mails are added to the plan"), "{words}");
    // The call sheet that came back; the house rules are due in June.
    assert_eq!(desk.sent("2027-05-28T11:00:00Z").await, ["bold@example.org"]);
    assert_eq!(house.office.plan_tick().await.unwrap(), Default::default(), "planned once");
    // What did arrive is not said again at a third.
    let (shown, _) = desk.act(&path, &new("third@example.org")).await;
    assert!(shown.plain().contains("This sends no new messages and cancels none."), "{}", shown.plain());
    assert_eq!(desk.sent("2027-05-28T12:00:00Z").await, Vec::<String>::new());
    assert_eq!(desk.settled().await, 4, "what was heard was heard");
}

#[tokio::test]
async fn a_chaperone_replaced_hands_over_her_list_and_hers_dies() {
    let desk = Desk::told().await;
    let (noor_ref, ewa_ref) = (desk.reference("Noor Hadi").await, desk.reference("Ewa Lis").await);
    let old = format!("/c/{}", desk.house.office.chaperone_link(&noor_ref).await.unwrap().unwrap());
    assert!(desk.house.get(&old).await.plain().contains("Ada F."));
    let noor = &format!("/season/change/person?person={noor_ref}");
    assert!(desk.get(DRESS).await.text.contains(noor));
    assert!(desk.get(noor).await.plain().contains("Replace this chaperone"));
    let replace = [
        ("act", "replace"),
        ("event", "everywhere"),
        ("known", "new"),
        ("name", "Wren Hale"),
        ("mail", "wren@example.org"),
        ("adult", "yes"),
    ];
    let shown = desk.post(noor, &replace).await;
    let words = shown.plain();
    assert!(words.contains("Wren Hale takes the place of Noor Hadi everywhere"), "{words}");
    assert!(words.contains("Two chaperones: Noor Hadi and Wren Hale"), "{words}");
    assert!(desk.house.get(&old).await.status == 200, "only looked at");
    let done = desk.confirm(noor, &shown).await;
    assert_eq!(desk.house.get(&old).await.status, 410);
    assert!(desk.house.get(&format!("{old}/calendar")).await.status == 410);
    let new = done.text.split("/c/").nth(1).and_then(|rest| rest.split('<').next()).unwrap().to_owned();
    let list = desk.house.get(&format!("/c/{new}")).await;
    assert!(list.plain().contains("Wren") && list.plain().contains("Ada F."), "{}", list.plain());
    // The one is told that she is free, the other her duties; no family hears anything.
    assert_eq!(desk.sent("2027-05-28T11:00:00Z").await, ["noor@example.org", "wren@example.org"]);
    assert_eq!(desk.settled().await, 4);
    // At one event only, the old list goes on opening for the rest.
    let ewa = format!("/c/{}", desk.house.office.chaperone_link(&ewa_ref).await.unwrap().unwrap());
    let at_one = [("act", "replace"), ("event", "E001"), ("known", noor_ref.as_str())];
    desk.act(&format!("/season/change/person?person={ewa_ref}"), &at_one).await;
    assert_eq!(desk.house.get(&ewa).await.status, 200);
    // Noor has duties again, and with them her list.
    assert_eq!(desk.house.get(&old).await.status, 200);
}

#[tokio::test]
async fn what_another_did_meanwhile_is_looked_at_again() {
    let desk = Desk::told().await;
    let first = desk.post(DRESS, &[("act", "move"), ("call", "17:00")]).await;
    let second = desk.post(DRESS, &[("act", "move"), ("call", "16:45")]).await;
    desk.confirm(DRESS, &first).await;
    let shown = desk.confirm(DRESS, &second).await;
    assert!(shown.plain().contains("The season has changed since."), "{}", shown.plain());
    assert!(shown.plain().contains("call: 17:00 becomes 16:45"), "{}", shown.plain());
    assert_eq!(desk.revision().await, 2);
    desk.confirm(DRESS, &shown).await;
    assert_eq!(desk.revision().await, 3);
    // A double tap does nothing twice.
    let twice = desk.confirm(DRESS, &shown).await;
    assert!(twice.plain().contains("that changes nothing"), "{}", twice.plain());
    assert_eq!(desk.revision().await, 3);
    let lost = desk.post(DRESS, &[("upload", "nothing"), ("act", "confirm")]).await;
    assert!(lost.plain().contains("That page was open too long"), "{}", lost.plain());
}

#[tokio::test]
async fn changes_are_the_coordinators() {
    let desk = Desk::told().await;
    for path in [DRESS, "/season/changes", "/season/change/joins", "/season/change/child?child=C001"] {
        assert_eq!(desk.house.get(path).await.status, 403, "{path}");
        assert_eq!(desk.house.post(path, &[("act", "call_off")]).await.status, 403, "{path}");
    }
    for path in
        ["/season/change/event?event=E099", "/season/change/child?child=V001", "/season/change/nothing"]
    {
        assert_eq!(desk.get(path).await.status, 404, "{path}");
    }
    assert_eq!(desk.post(DRESS, &[("act", "leaves")]).await.status, 400);
    assert_eq!(desk.revision().await, 1);
}

/// A change that is taken in between the claim of a message and its attempt: the old words never start.
#[tokio::test]
async fn a_change_that_races_a_send_lets_no_old_word_start() {
    let house = House::open_with(season()).await;
    house.clock.set("2027-05-28T09:30:00Z");
    let office = &house.office;
    office.plan_tick().await.unwrap();
    let (id, revision) = {
        let desk = office.desk().await.unwrap();
        (desk.season, desk.revision)
    };
    let now = office.now();
    let claimed =
        office.store.claim(id, Channel::Mail, 10, 1e6, now, now + office.ways.lease).await.unwrap().messages;
    assert_eq!(claimed.len(), 5);
    let mut book = season();
    set(&mut book, "events", "Dress rehearsal", "call", "17:00");
    let bringing = office.preview(book, Vec::new()).await.unwrap();
    office.bring(&bringing).await.unwrap();
    let attempts: Vec<_> = claimed.iter().map(super::edits::attempt).collect();
    let attempts: Vec<_> = attempts.iter().collect();
    let lease = now + office.ways.lease;
    let allowed = office.store.attempt(id, revision, &attempts, now, lease).await.unwrap();
    assert_eq!(allowed, Vec::<i64>::new());
    assert_eq!(house.mails(), 0);
    // When the claim is given up the same messages leave with today's words.
    house.clock.set("2027-05-28T10:30:00Z");
    office.tend_tick().await.unwrap();
    house.send().await;
    assert_eq!(house.mails(), 5);
    assert!(
        house.mail("may@example.org").contains("17:00") && !house.mail("may@example.org").contains("17:30")
    );
}
