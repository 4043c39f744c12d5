//! Invented families: pages behind a guardian's links. Telephone numbers are from the range that Ofcom sets aside
//! for drama (020 7946 0000 to 0999), hosts are reserved by RFC 2606.

use allheard::web::labels::{ENGLISH, Labels, SPANISH};
use allheard::web::views::*;
use askama::Template;
use jiff::civil::{Date, Time, date, time};

pub fn samples() -> Vec<(&'static str, &'static str, String)> {
    let pages: Vec<(&'static str, GuardianPage)> = vec![
        ("guardian-changed", guardian(&ENGLISH, vec![changed(&ENGLISH, "Ines")])),
        ("guardian-waiting", guardian(&ENGLISH, vec![plain(&ENGLISH, "Ines", StandingMark::Waiting)])),
        ("guardian-spanish", guardian(&SPANISH, vec![changed(&SPANISH, "Ines")])),
        ("guardian-several", several()),
        ("guardian-noted", noted()),
        ("guardian-cant-come", cant_come()),
        ("guardian-stale", stale()),
        ("guardian-hostile", guardian(&ENGLISH, vec![hostile()])),
        ("guardian-right-to-left", right_to_left()),
        ("duty", guardian(&ENGLISH, vec![duty(&ENGLISH)])),
        ("duty-spanish", guardian(&SPANISH, vec![duty(&SPANISH)])),
    ];
    let mut all: Vec<_> =
        pages.into_iter().map(|(name, page)| (name, page.labels.lang, page.render().unwrap())).collect();
    for (name, page) in stops() {
        all.push((name, page.labels.lang, page.render().unwrap()));
    }
    for (name, page) in calendars() {
        all.push((name, page.labels.lang, page.render().unwrap()));
    }
    for (name, page) in doors() {
        all.push((name, page.labels.lang, page.render().unwrap()));
    }
    all
}

/// Where an address to be copied begins; it is shown in words and fetched by nobody's browser.
pub const CALENDAR_HOST: &str = "https://brackwater.example";

const DAY: Date = date(2027, 6, 4);

fn at(hour: i8, minute: i8) -> Time {
    time(hour, minute, 0, 0)
}

pub fn as_of() -> AsOf {
    AsOf { date: date(2027, 6, 3), time: at(18, 42) }
}

pub fn telephone(last: &str, shown: &str) -> Telephone {
    Telephone { e164: format!("+44207946{last}"), shown: shown.to_owned() }
}

fn guardian(labels: &'static Labels, sheets: Vec<SheetView>) -> GuardianPage {
    let other = if labels.lang == "en" { &SPANISH } else { &ENGLISH };
    GuardianPage {
        labels,
        school: "Brackwater School of Dance".into(),
        season: "The Salt Lantern".into(),
        twelve: false,
        as_of: as_of(),
        others: vec![OtherLanguage {
            href: format!("?lang={}", other.lang),
            lang: other.lang.into(),
            name: other.name.into(),
        }],
        noted: Vec::new(),
        sheets,
        rules: None,
        telephone: Some(telephone("0100", "020 7946 0100")),
        calendar_href: Some("/r/0f3c9a/calendar".into()),
    }
}

fn plain(labels: &Labels, given: &str, standing: StandingMark) -> SheetView {
    let spanish = labels.lang == "es";
    let say = |english: &str, in_spanish: &str| if spanish { in_spanish } else { english }.to_owned();
    SheetView {
        item: SheetItem { item: "C001/E002".into(), fingerprint: "b41e77".into() },
        given: given.into(),
        event: say("Dress rehearsal", "Ensayo general"),
        date: ToldFact::same(DAY),
        place: ToldFact::same("Old Weighhouse Theatre".into()),
        door: ToldFact::same(say(
            "Stage door in Cooper's TimeRow",
            "Puerta de artistas, en Cooper's TimeRow",
        )),
        called_off: false,
        changed: false,
        ribbon: ribbon(labels),
        arrive_ready: ToldFact::same(say(
            "In costume, hair in a low bun, stage make-up done.",
            "Con el traje, el pelo en moño bajo y maquillada.",
        )),
        bring: ToldFact::same(say(
            "Water and a plain snack. Please, no nuts.",
            "Agua y algo sencillo de comer. Sin frutos secos, por favor.",
        )),
        leave_home: ToldFact::same(say("Jewellery, toys and telephones.", "Joyas, juguetes y teléfonos.")),
        hand_in: ToldFact::same(say(
            "After this rehearsal, the blue costume: the staff keep it for the quick change.",
            "Después de este ensayo, el traje azul: lo guardamos para el cambio rápido.",
        )),
        adults_watch: Some(false),
        signs_in: Some("Noor".into()),
        signs_out: Some("Noor".into()),
        collectors: vec!["Marisol Arce".into()],
        beside: vec!["Ewa Lis".into()],
        rules: vec![
            say(
                "Children stay with their chaperone from the door to the door.",
                "Los niños están con su acompañante de puerta a puerta.",
            ),
            say("Nobody leaves before the last number.", "Nadie sale antes del último número."),
        ],
        standing,
        answered: None,
        shift: None,
    }
}

/// A chaperone's own sheet; one number more since she read it.
fn duty(labels: &Labels) -> SheetView {
    let row =
        |kind, hour, minute| TimeRow { kind, time: ToldFact::same(at(hour, minute)), note: String::new() };
    let said = |words: &str| ToldFact::same(words.to_owned());
    SheetView {
        item: SheetItem { item: "V001/E002".into(), fingerprint: "d07e".into() },
        given: "Noor".into(),
        ribbon: vec![
            row(RowKind::Due, 16, 0),
            row(RowKind::Briefing, 16, 15),
            row(RowKind::Station, 16, 45),
            row(RowKind::Starts, 18, 0),
            row(RowKind::Over, 20, 30),
        ],
        arrive_ready: said(""),
        bring: said(""),
        leave_home: said(""),
        hand_in: said(""),
        signs_in: None,
        signs_out: None,
        beside: Vec::new(),
        rules: Vec::new(),
        shift: Some(ShiftView {
            numbers: ToldFact::changed("Harbour Bells".into(), "Harbour Bells; Paper Boats".into()),
            task: said(""),
            signs_in: said("Harbour Bells"),
            signs_out: said("Paper Boats"),
            room: said("Sail loft"),
            kit: said("Badge, pen, dark clothes"),
        }),
        ..plain(labels, "Noor", StandingMark::HeardBefore)
    }
}

fn ribbon(labels: &Labels) -> Vec<TimeRow> {
    let spanish = labels.lang == "es";
    let row = |kind, hour, minute, english: &str, in_spanish: &str| TimeRow {
        kind,
        time: ToldFact::same(at(hour, minute)),
        note: if spanish { in_spanish } else { english }.to_owned(),
    };
    let way = |name: &str, walk| RowKind::ParkBy(WayIn { name: name.into(), walk });
    vec![
        row(way("Quay car park", (15, 20)), 16, 35, "", ""),
        row(RowKind::Call, 17, 0, "", ""),
        row(RowKind::Starts, 18, 0, "", ""),
        row(RowKind::Collect, 20, 30, "At the yard gate, from Noor.", "En el portón del patio, con Noor."),
    ]
}

fn changed(labels: &Labels, given: &str) -> SheetView {
    let mut sheet = plain(labels, given, StandingMark::HeardBefore);
    sheet.ribbon[0].time = ToldFact::changed(at(17, 5), at(16, 35));
    sheet.ribbon[1].time = ToldFact::changed(at(17, 30), at(17, 0));
    let before = if labels.lang == "es" { "Agua." } else { "Water." };
    sheet.bring.was = Some(before.into());
    sheet.answered = Some(AsOf { date: date(2027, 5, 25), time: at(21, 4) });
    sheet
}

fn several() -> GuardianPage {
    let mut brother = plain(&ENGLISH, "Tariq", StandingMark::Heard);
    brother.item = SheetItem { item: "C002/E002".into(), fingerprint: "c0ffee".into() };
    brother.answered = Some(AsOf { date: date(2027, 6, 1), time: at(8, 15) });
    brother.signs_out = Some("Ewa".into());
    let mut matinee = plain(&ENGLISH, "Ines", StandingMark::Waiting);
    matinee.item = SheetItem { item: "C001/E004".into(), fingerprint: "5eed01".into() };
    matinee.event = "Matinee".into();
    matinee.date = ToldFact::same(date(2027, 6, 6));
    matinee.called_off = true;
    let mut page = guardian(&ENGLISH, vec![changed(&ENGLISH, "Ines"), brother, matinee]);
    page.rules = Some(HouseRules {
        items: vec![
            SheetItem { item: "C001/rules".into(), fingerprint: "aa10".into() },
            SheetItem { item: "C002/rules".into(), fingerprint: "aa11".into() },
        ],
        givens: vec!["Ines".into(), "Tariq".into()],
        rules: vec![
            (
                "No early release".into(),
                "Every child stays until the last number. This keeps the doors safe for all.".into(),
            ),
            ("Food".into(), "Water and a plain snack only. Please bring no nuts.".into()),
            ("Costumes".into(), "Each piece goes home in its bag and comes back in its bag.".into()),
        ],
        standing: StandingMark::Waiting,
        answered: None,
    });
    page
}

fn noted() -> GuardianPage {
    let mut sheet = plain(&ENGLISH, "Ines", StandingMark::Heard);
    sheet.answered = Some(as_of());
    let mut page = guardian(&ENGLISH, vec![sheet]);
    page.noted = vec![NotedLine {
        kind: NotedKind::Heard,
        given: "Ines".into(),
        event: "Dress rehearsal".into(),
        rule: String::new(),
    }];
    page
}

fn cant_come() -> GuardianPage {
    let mut sheet = plain(&ENGLISH, "Ines", StandingMark::CantCome);
    sheet.answered = Some(as_of());
    let mut page = guardian(&ENGLISH, vec![sheet]);
    page.noted = [NotedKind::CantCome, NotedKind::Question]
        .map(|kind| NotedLine {
            kind,
            given: "Ines".into(),
            event: "Dress rehearsal".into(),
            rule: String::new(),
        })
        .into();
    page
}

fn stale() -> GuardianPage {
    let mut page = guardian(&ENGLISH, vec![changed(&ENGLISH, "Ines")]);
    page.noted = vec![NotedLine {
        kind: NotedKind::Stale,
        given: "Ines".into(),
        event: "Dress rehearsal".into(),
        rule: String::new(),
    }];
    page
}

fn hostile() -> SheetView {
    let mut sheet = plain(&ENGLISH, "<script>alert(1)</script>", StandingMark::Waiting);
    sheet.item.item = "C003/E002\" onfocus=\"x".into();
    sheet.bring = ToldFact::same(
        "A_very_long_word_without_any_break_that_could_push_the_page_wide_and_wider_still".into(),
    );
    sheet
}

fn right_to_left() -> GuardianPage {
    let mut sheet = changed(&ENGLISH, "נועה");
    sheet.signs_in = Some("ליאת".into());
    sheet.bring = ToldFact::same("מים וכריך קטן.".into());
    guardian(&ENGLISH, vec![sheet])
}

fn stops() -> Vec<(&'static str, StopPage)> {
    let stop = |labels: &'static Labels, channel, address: &str, stopped| StopPage {
        labels,
        school: "Brackwater School of Dance".into(),
        channel,
        address: address.into(),
        givens: vec!["Ines".into(), "Tariq".into()],
        stopped,
        back: Some("/r/0f3c9a".into()),
        telephone: Some(telephone("0100", "020 7946 0100")),
    };
    vec![
        ("stop-mail", stop(&ENGLISH, StopChannel::Mail, "marisol@example.org", false)),
        ("stop-text", stop(&SPANISH, StopChannel::Text, "020 7946 0018", false)),
        ("stop-done", stop(&ENGLISH, StopChannel::Mail, "marisol@example.org", true)),
    ]
}

fn calendars() -> Vec<(&'static str, CalendarPage)> {
    let page = |labels: &'static Labels, back: &str, made| CalendarPage {
        labels,
        school: "Brackwater School of Dance".into(),
        season: "The Salt Lantern".into(),
        others: Vec::new(),
        back: back.into(),
        made,
    };
    let made = Made {
        address: format!("{CALENDAR_HOST}/feed/Zk3v0q9yT1mHc7XbLr2aPw/calendar.ics"),
        open: "webcal://brackwater.example/feed/Zk3v0q9yT1mHc7XbLr2aPw/calendar.ics".into(),
    };
    vec![
        ("calendar-guardian", page(&ENGLISH, "/r/0f3c9a", None)),
        ("calendar-spanish", page(&SPANISH, "/r/0f3c9a", None)),
        ("calendar-made", page(&ENGLISH, "/c/0f3c9a", Some(made))),
    ]
}

fn doors() -> Vec<(&'static str, DoorPage)> {
    let ring = || Some(telephone("0100", "020 7946 0100"));
    vec![
        ("door-gone", DoorPage::gone(&ENGLISH).with_telephone(ring())),
        ("door-gone-spanish", DoorPage::gone(&SPANISH).with_telephone(ring())),
        ("door-not-found", DoorPage::not_found(&ENGLISH)),
        ("door-too-large", DoorPage::too_large(&ENGLISH)),
        ("door-bad-form", DoorPage::bad_form(&ENGLISH)),
        ("door-busy", DoorPage::busy(&ENGLISH).with_telephone(ring())),
    ]
}
