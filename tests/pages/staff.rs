//! Invented chaperones and the coordinator: pages with lists.

use allheard::domain::sheets::{PaperCell, PaperSheet, SheetKind, Table};
use allheard::web::chart::Counts;
use allheard::web::views::*;
use askama::Template;
use jiff::civil::{date, time};

use crate::family::{as_of, telephone};

pub fn samples() -> Vec<(&'static str, &'static str, String)> {
    let all = vec![
        ("chaperone", chaperone().render()),
        ("chaperone-settled", all_settled().render()),
        ("chaperone-free", free().render()),
        ("chaperone-hostile", hostile_list().render()),
        ("chaperone-calls", with_calls().render()),
        ("chase", chase("Agnieszka Kowal").render()),
        ("chase-hostile", chase("<script>alert(3)</script>").render()),
        ("chase-empty", ChasePage { calls: Vec::new(), notice: None, ..chase("") }.render()),
        ("class-door", class_door("Tomasz K.").render()),
        ("keys", keys().render()),
        ("class-door-hostile", class_door("<script>alert(3)</script>").render()),
        ("season", season().render()),
        ("season-empty", empty_season().render()),
        ("season-paused", paused_season().render()),
        ("messages", went_out(false).render()),
        ("family", went_out(true).render()),
        ("event", event("Tomasz Kowal").render()),
        ("event-hostile", event("<script>alert(2)</script>").render()),
        ("paper", PaperPage::linked(&paper("Tomasz K."), "da0204e1", "3 June 2027, 12:00").render()),
        (
            "paper-hostile",
            PaperPage::linked(&paper("<script>alert(2)</script>"), "da0204e1", "3 June 2027, 12:00").render(),
        ),
    ];
    all.into_iter().map(|(name, html)| (name, "en", html.unwrap())).collect()
}

fn paper(child: &str) -> PaperSheet {
    let cells = |cells: [&str; 5]| cells.map(|text| PaperCell::Own(text.to_owned()));
    let rows = [
        cells(["19:18", child, "24 Under the Viaduct", "26 Lamplighters", "19:25"]),
        cells(["19:28", "Jarek Z.", "28 Hedgehog Commute", "30 Tin Roof Rain", "19:36"]),
    ];
    let mut table = Table::of(&["Off", "Child", "Out of", "Into", "On"], rows);
    table.heading = "In order of time".into();
    table.note = "Minutes are what is left after the walks off and on.".into();
    PaperSheet {
        kind: SheetKind::QuickChanges,
        whose: String::new(),
        title: "Quick-change room: Saturday evening".into(),
        short: "Quick-change room".into(),
        under: vec!["The Salt Lantern, Saturday 5 June 2027 at Old Weighhouse Theatre · call 18:00".into()],
        tables: vec![table],
    }
}

fn ring(reference: &str, given: &str, last: Option<&str>, tried: &str) -> Ring {
    Ring {
        guardian: reference.into(),
        given: given.into(),
        telephone: last.map(|last| telephone(last, &format!("020 7946 {last}"))),
        language: None,
        mark: StandingMark::Waiting,
        tried: tried.into(),
    }
}

fn open(reference: &str, name: &str, mark: StandingMark, note: &str, rings: Vec<Ring>) -> OpenChild {
    OpenChild {
        child: reference.into(),
        name: name.into(),
        fingerprint: "b41e77".into(),
        mark,
        note: note.into(),
        rings,
    }
}

fn greeted(name: &str, adults: &[(&str, Option<&str>, Option<&str>)]) -> GreetChild {
    let adults = adults.iter().map(|(given, last, language)| GreetAdult {
        given: (*given).into(),
        telephone: last.map(|last| telephone(last, &format!("020 7946 {last}"))),
        language: language.map(Into::into),
    });
    GreetChild { name: name.into(), adults: adults.collect() }
}

fn chaperone() -> ChaperonePage {
    let mut marisol = ring("G001", "Marisol", Some("0018"), "Two texts since Tuesday, no answer.");
    marisol.language = Some("Spanish".into());
    marisol.mark = StandingMark::HeardBefore;
    let settled = |name: &str| SettledChild {
        child: "C001".into(),
        event: "E001".into(),
        name: name.into(),
        mark: StandingMark::Heard,
        note: String::new(),
    };
    let choice = |at: &str, name: &str, day, open, current| EventChoice {
        href: format!("?event={at}"),
        name: name.into(),
        date: date(2027, 6, day),
        open,
        current,
    };
    ChaperonePage {
        school: "Brackwater School of Dance".into(),
        season: "The Salt Lantern".into(),
        as_of: as_of(),
        given: "Noor".into(),
        events: vec![
            choice("E002", "Dress rehearsal", 4, 3, true),
            choice("E003", "First show", 5, 5, false),
            choice("E005", "Last show", 6, 0, false),
        ],
        watch: Some(WatchView {
            event: "E002".into(),
            name: "Dress rehearsal".into(),
            date: date(2027, 6, 4),
            call: time(17, 0, 0, 0),
            due: time(16, 0, 0, 0),
            station: "At the staff table. Badge on.".into(),
            numbers: vec!["Harbour Bells".into(), "Paper Boats".into()],
            briefing: Some(time(16, 15, 0, 0)),
            in_place: Some(time(16, 45, 0, 0)),
            over: Some(time(20, 30, 0, 0)),
            room: "Sail loft".into(),
            kit: "Badge, pen, dark clothes".into(),
            mark: StandingMark::Waiting,
            fingerprint: "d07e".into(),
        }),
        notice: Some(PageNotice {
            words: "Noted: nobody answered at Agnieszka's number, for Tomasz K. Ring again later.".into(),
            done: true,
        }),
        calls: Vec::new(),
        open: vec![
            open("C001", "Ines A.", StandingMark::HeardBefore, "Quick change.", vec![marisol]),
            open(
                "C009",
                "Tomasz K.",
                StandingMark::Waiting,
                "",
                vec![
                    ring(
                        "G011",
                        "Agnieszka",
                        Some("0021"),
                        "Mail on Monday, text on Wednesday. Rung today at 18:40, no answer.",
                    ),
                    ring("G012", "Paweł", Some("0022"), "Mail on Monday."),
                ],
            ),
            open(
                "C014",
                "Ada F.",
                StandingMark::NoWay,
                "",
                vec![ring("G020", "Chidi", None, "Both numbers were wrong.")],
            ),
        ],
        settled: [
            "Bilal R.",
            "Chidera O.",
            "Freya L.",
            "Hana S.",
            "Ji-woo P.",
            "Łucja W.",
            "Mihai D.",
            "Oisín B.",
            "Ruta M.",
            "Sefa T.",
        ]
        .map(settled)
        .into_iter()
        .chain([SettledChild {
            child: "C001".into(),
            event: "E001".into(),
            name: "Yusuf E.".into(),
            mark: StandingMark::CantCome,
            note: "His family told us on Tuesday.".into(),
        }])
        .collect(),
        calendar_href: Some("/c/7d20e4/calendar".into()),
        telephone: Some(telephone("0100", "020 7946 0100")),
        greet: vec![
            greeted("Ines A.", &[("Marisol", Some("0018"), Some("Spanish"))]),
            greeted("Tomasz K.", &[("Agnieszka", Some("0021"), None), ("Paweł", None, None)]),
        ],
        live: false,
    }
}

fn all_settled() -> ChaperonePage {
    let page = chaperone();
    ChaperonePage { open: Vec::new(), notice: None, events: Vec::new(), ..page }
}

fn free() -> ChaperonePage {
    ChaperonePage {
        watch: None,
        open: Vec::new(),
        settled: Vec::new(),
        notice: None,
        events: Vec::new(),
        ..chaperone()
    }
}

fn matter(item: &str, child: &str, event: &str) -> Matter {
    Matter {
        item: item.into(),
        fingerprint: "b41e77".into(),
        child: child.into(),
        event: event.into(),
        words: "Friday 4 June, call 17:00, park by 16:35, Old Weighhouse, stage door. Bring: water.".into(),
    }
}

fn calls(name: &str) -> Vec<CallCard> {
    let agnieszka = CallCard {
        guardian: "G011".into(),
        name: name.into(),
        telephone: Some(telephone("0021", "020 7946 0021")),
        language: Some("Polish".into()),
        children: "Tomasz K. and Zofia K.".into(),
        rules: Vec::new(),
        matters: vec![
            matter("C009/E002", "Tomasz K.", "Dress rehearsal"),
            matter("C010/E002", "Zofia K.", "Dress rehearsal"),
        ],
        reasons: vec!["the event is tomorrow".into(), "two messages had no answer".into()],
        ringer: "Ewa Lis rings: speaks Polish.".into(),
        moment: "Best time to ring: today from 17:30.".into(),
        tried: "Two mails, the last on Monday 31 May, 18:00. Rung on Tuesday 1 June, 18:40 by Ewa Lis: no answer."
            .into(),
    };
    let chidi = CallCard {
        guardian: "G020".into(),
        name: "Chidi".into(),
        telephone: None,
        language: None,
        children: "Ada F.".into(),
        rules: Vec::new(),
        matters: vec![matter("C014/E002", "Ada F.", "Dress rehearsal")],
        reasons: vec!["no message can reach them".into()],
        ringer: String::new(),
        moment: "No number to ring: at the door, Class visit, Thursday 3 June.".into(),
        ..agnieszka.clone()
    };
    vec![agnieszka, chidi]
}

fn chase(name: &str) -> ChasePage {
    ChasePage {
        school: "Brackwater School of Dance".into(),
        season: "The Salt Lantern".into(),
        as_of: as_of(),
        calls: calls(name),
        later: 14,
        shared: "One call is shared out among 6 chaperones, at most one each.".into(),
        near_days: 5,
        notice: Some(PageNotice { words: "Noted: Paweł will call back.".into(), done: true }),
    }
}

fn with_calls() -> ChaperonePage {
    let mut page = chaperone();
    page.calls = calls("Agnieszka");
    page.calls.iter_mut().for_each(|card| card.ringer.clear());
    page.open[1].note = "Among your calls above.".into();
    page.open[1].rings.clear();
    page
}

fn keys() -> KeysPage {
    let row = |link: &str, own| KeyRow {
        link: link.into(),
        made: "made Thursday 3 June, 18:42".into(),
        ends: "ends Sunday 11 July, 21:00".into(),
        browsers: "open in one browser".into(),
        own,
    };
    KeysPage {
        school: "Brackwater School of Dance".into(),
        season: "The Salt Lantern".into(),
        as_of: as_of(),
        links: vec![row("3f2a", true), row("9b1c", false)],
        session_ends: "Thursday 10 June, 18:42".into(),
        notice: None,
    }
}

fn class_door(child: &str) -> ClassDoorPage {
    let signer = |value: &str, name: &str| Signer { value: value.into(), name: name.into() };
    let pick = |value: &str, words: &str| Pick { value: value.into(), words: words.into(), chosen: false };
    ClassDoorPage {
        school: "Brackwater School of Dance".into(),
        season: "The Salt Lantern".into(),
        as_of: as_of(),
        event: "Class visit".into(),
        day: "Thursday 3 June".into(),
        silent: vec![
            SilentRow {
                name: child.into(),
                mark: StandingMark::Waiting,
                signers: vec![
                    signer("C009/E001/G011/b41e77", "Agnieszka Kowal"),
                    signer("C009/E001/G012/b41e77", "Paweł Kowal"),
                ],
                rules: vec![signer("C009/-/G011/0f41aa", "Agnieszka Kowal")],
            },
            SilentRow {
                name: "Yusuf E.".into(),
                mark: StandingMark::NoWay,
                signers: Vec::new(),
                rules: Vec::new(),
            },
        ],
        collectors: vec![pick("coordinator", "The coordinator"), pick("V002", "Noor Haddad")],
        slip: Some("/season/E001/sheets/slips".into()),
        events: [
            ("E001", "Class visit", "Thursday 3 June", true),
            ("E002", "Dress rehearsal", "Friday 4 June", false),
            ("-", "House rules", "", false),
        ]
        .map(|(at, name, day, current)| DoorChoice {
            href: format!("?event={at}"),
            name: name.into(),
            day: day.into(),
            open: 2,
            current,
        })
        .to_vec(),
        notice: None,
    }
}

fn hostile_list() -> ChaperonePage {
    let mut page = chaperone();
    page.open[0].name = "<script>alert(1)</script> Q.".into();
    page.open[0].child = "C\" onfocus=\"x".into();
    page.open[1].name = "נועה ב.".into();
    page.open[1].rings[0].given = "Wolfeschlegelsteinhausenbergerdorff-Featherstonehaugh".into();
    page
}

/// A field of the given counts, spread as answers fall: not in blocks.
fn field(counts: &[(StandingMark, usize)]) -> Tally {
    let all: usize = counts.iter().map(|(_, n)| n).sum();
    let mut sorted: Vec<StandingMark> = counts.iter().flat_map(|&(mark, n)| vec![mark; n]).collect();
    // 137 is prime and larger than no sample's common factor, so that the steps visit every box once.
    let mut marks = vec![StandingMark::NotAsked; all];
    for at in 0..all {
        marks[(at * 137) % all] = sorted[at];
    }
    sorted.clear();
    Tally { marks }
}

fn numbers(tally: &Tally) -> Vec<NumberRow> {
    let names = [
        "Harbour Bells",
        "Paper Boats",
        "Lighthouse Keepers",
        "Tin Fish",
        "The Fog Waltz",
        "Ropewalkers",
        "Gulls",
    ];
    let people = ["Noor Haddad", "Ewa Lis", "Sam Okafor", "Grace Adeyemi", "Priya Raman", "Lars Holm"];
    let mut rows = Vec::new();
    for (at, part) in tally.marks.chunks(25).enumerate() {
        let chaperones = people.get(at % 7).map(|one| (*one).to_owned()).into_iter().collect();
        rows.push(NumberRow {
            own: false,
            name: format!("{}{}", names[at % names.len()], if at < 7 { "" } else { ", older" }),
            chaperones,
            tally: Tally { marks: part.to_vec() },
        });
    }
    rows
}

const HOUR: i64 = 3_600_000;

fn picture(settled: u32, all: u32, ends: i64) -> Picture {
    let steps = (0..=60)
        .map(|at: i64| {
            let part = 1.0 - (-(at as f64) / 22.0).exp();
            (at * 4 * HOUR, (part / 0.9346 * f64::from(settled)).round() as u32)
        })
        .chain([(241 * HOUR, settled)])
        .collect();
    Picture {
        counts: Counts { steps, all, now_ms: 242 * HOUR, deadline_ms: ends * HOUR },
        from: date(2027, 5, 24),
        deadline: AsOf { date: date(2027, 6, 4), time: time(12, 0, 0, 0) },
    }
}

fn summary(name: &str, day: i8, tally: Tally, picture: Option<Picture>) -> EventSummary {
    EventSummary {
        href: format!("/season/E{day:03}"),
        name: name.into(),
        date: date(2027, 6, day),
        call: time(17, 0, 0, 0),
        called_off: false,
        numbers: numbers(&tally),
        tally,
        picture,
    }
}

fn dress() -> Tally {
    field(&[
        (StandingMark::Heard, 268),
        (StandingMark::HeardBefore, 21),
        (StandingMark::Waiting, 54),
        (StandingMark::CantCome, 4),
        (StandingMark::NoWay, 3),
    ])
}

fn season() -> SeasonPage {
    let last = field(&[
        (StandingMark::Heard, 201),
        (StandingMark::Waiting, 96),
        (StandingMark::CantCome, 5),
        (StandingMark::NoWay, 3),
        (StandingMark::NotAsked, 45),
    ]);
    let settled = dress().settled() as u32;
    let count = |words: &str, count| MessageCount { words: words.into(), count };
    SeasonPage {
        held: vec![HeldRow {
            words: "Nothing is sent, because the clock of this host was set 120 minutes forward. It now says Friday 4 June, 12:00. Is that right?".into(),
            act: ("go_on_clock".into(), "The clock is right: go on sending"),
        }],
        rules: Some("House rules: confirmed for 298 of 350 children whose families were asked.".into()),
        visits: vec![("/season/E009".into(), "Class visit, Tuesday 1 June, 16:45".into())],
        course: course(true, Some(("pause", "Pause sending"))),
        school: "Brackwater School of Dance".into(),
        season: "The Salt Lantern".into(),
        as_of: as_of(),
        events: vec![
            summary("Dress rehearsal", 4, dress(), Some(picture(settled, 350, 260))),
            summary("Last show", 6, last, Some(picture(201, 350, 220))),
        ],
        next: Some(0),
        needs: needs(),
        messages: vec![
            count("planned", 412),
            count("waiting to retry", 3),
            count("accepted, no receipt yet", 18),
            count("delivered", 1904),
            count("withdrawn, because the plan changed", 66),
            count("uncertain", 1),
            count("refused or returned", 2),
        ],
        sending: "The next message leaves at 19:00.".into(),
        notice: None,
    }
}

/// What went out, of all or of one family.
fn went_out(family: bool) -> MessagesPage {
    let person = PersonView {
        name: "Marisol Arce".into(),
        standings: vec![
            ("Ines, Dress rehearsal".into(), StandingMark::Heard),
            ("Ines, First show".into(), StandingMark::Waiting),
        ],
        said: vec![Said {
            words: "Which door is it?".into(),
            how: "By text, waits for a person".into(),
            at: as_of(),
        }],
    };
    let life = LifeView {
        to: "Marisol Arce and <b>Bo</b> Arce".into(),
        href: "/season/family/H7".into(),
        matter: "call sheet by text".into(),
        about: "Ines, Dress rehearsal; Tariq, Dress rehearsal".into(),
        state: "Now delivered.".into(),
        steps: vec![
            "Due Friday 28 May, 10:00".into(),
            "Sent by first Friday 28 May, 10:00: waiting to retry (no connection)".into(),
            "Sent by second Friday 28 May, 10:02: accepted".into(),
        ],
    };
    MessagesPage {
        notice: family.then(|| "This family has no open link.".into()),
        school: "Brackwater School of Dance".into(),
        season: "The Salt Lantern".into(),
        as_of: as_of(),
        heading: if family { "Marisol Arce" } else { "Sent messages" }.into(),
        family,
        people: if family { vec![person] } else { Vec::new() },
        lives: vec![life.clone(), life],
        older: (!family).then(|| "/season/messages?skip=50".into()),
    }
}

fn needs() -> Needs {
    Needs {
        decisions: vec![Decision {
            event: "Dress rehearsal, Friday 4 June".into(),
            by: "Decide by Friday 4 June, 14:00: in three hours and ten minutes.".into(),
            href: "/season/change/event?event=E001".into(),
        }],
        asked: vec![AskedRow {
            guardian: "Agnieszka Kowal".into(),
            children: vec!["Tomasz Kowal".into()],
            words: "Can Tomasz leave right after his number? We have a train.".into(),
            at: as_of(),
            telephone: Some(telephone("0021", "020 7946 0021")),
            question: Some(17),
            road: Some("text"),
            rule: "Asks for early release. Dress rehearsal: nobody leaves before the last number.".into(),
            reference: "G021".into(),
            grants: true,
            cannot: vec!["C011/E003".into()],
        }],
        uncertain: vec![Uncertain {
            message: "m-4417".into(),
            guardian: "Marisol Arce".into(),
            children: vec!["Ines Arce".into(), "Tariq Arce".into()],
            why: "The text of 18:30 about the new call. The line broke while it was being handed over."
                .into(),
        }],
        answers: vec![OpenAnswer {
            reply: "7".into(),
            to: "Zehra Evren".into(),
            heading: "Did your answer arrive?".into(),
            words: "The stage door, please.".into(),
            why: "Text, Thursday 3 June, 18:42: no answer in time".into(),
        }],
        returned: vec![Returned {
            message: "81".into(),
            guardian: "Bea Lindqvist".into(),
            children: vec!["Olle Lindqvist".into()],
            why: "The mail of Tuesday came back: there is no such mailbox.".into(),
            telephone: None,
        }],
        no_way: vec![NoWay {
            guardian: "Chidi Faraday".into(),
            children: vec!["Ada Faraday".into()],
            why: "Both numbers were wrong, and there is no mail address. Try the class door.".into(),
        }],
    }
}

/// Whether messages leave.
pub fn course(going: bool, act: Option<(&'static str, &'static str)>) -> CourseLine {
    let words = if going { "Messages are sent when they are due." } else { "Nothing planned is sent." };
    CourseLine { going, words: words.into(), act }
}

fn paused_season() -> SeasonPage {
    SeasonPage { course: course(false, Some(("go_on", "Resume sending"))), ..season() }
}

fn empty_season() -> SeasonPage {
    SeasonPage {
        course: course(false, None),
        events: Vec::new(),
        next: None,
        needs: Needs::default(),
        messages: Vec::new(),
        sending: String::new(),
        notice: Some("Noted: it arrived.".into()),
        ..season()
    }
}

fn event(hostile: &str) -> EventPage {
    let who = |name: &str, part: &str, mark| GuardianStanding { name: name.into(), part: part.into(), mark };
    let child = |name: &str, mark, guardians| ChildRow {
        item: "C011/E003".into(),
        away: if name == "Wren Castellane" {
            "noted by the coordinator, 3 June, 10:00".into()
        } else {
            String::new()
        },
        name: name.into(),
        mark,
        guardians,
    };
    let children = vec![
        child(
            "Ines Arce",
            StandingMark::HeardBefore,
            vec![who("Marisol Arce", "brings and collects", StandingMark::HeardBefore)],
        ),
        child(
            hostile,
            StandingMark::Waiting,
            vec![
                who("Agnieszka Kowal", "brings", StandingMark::Waiting),
                who("Paweł Kowal", "collects", StandingMark::Heard),
            ],
        ),
        child("Ada Faraday", StandingMark::NoWay, vec![who("Chidi Faraday", "", StandingMark::NoWay)]),
        child(
            "Bilal Rahmani",
            StandingMark::Heard,
            vec![who("Samira Rahmani", "brings and collects", StandingMark::Heard)],
        ),
        child("Wren Castellane", StandingMark::NoWay, Vec::new()),
    ];
    let summary = summary("Dress rehearsal", 4, dress(), Some(picture(268, 350, 260)));
    let groups = summary.numbers.iter().take(3).map(|number| NumberGroup {
        number: NumberRow {
            tally: Tally { marks: children.iter().map(|child| child.mark).collect() },
            ..number.clone()
        },
        children: children.clone(),
    });
    EventPage {
        school: "Brackwater School of Dance".into(),
        season: "The Salt Lantern".into(),
        as_of: as_of(),
        groups: groups.collect(),
        chaperones: vec![("Noor Aziz".into(), StandingMark::Waiting), (hostile.into(), StandingMark::Heard)],
        event: summary,
        place: "Old Weighhouse Theatre, stage door in Cooper's Row".into(),
        sheets: vec![
            ("/season/E003/sheets/wall".into(), "Running order".into()),
            ("/season/E003/sheets/clipboard-V001".into(), format!("Clipboard of Ana {hostile}")),
        ],
        forecast: Some("/season/E003/forecast".into()),
        change: "/season/change/event?event=E003".into(),
        show: Some("/season/E003/show".into()),
        trial: Some(crate::live::on_event()),
        over: false,
        notice: Some("Noted: Wren Castellane is not coming, this once.".into()),
    }
}
