//! Invented plans: what will leave, message by message, and in its own words.

use allheard::web::views::*;
use askama::Template;

use crate::family::as_of;
use crate::staff::course;

pub fn samples() -> Vec<(&'static str, &'static str, String)> {
    let all = vec![
        ("plan", plan().render()),
        ("plan-going", going().render()),
        ("plan-empty", empty().render()),
        ("plan-day", day("Marisol Alder").render()),
        ("plan-day-hostile", day("<script>alert(2)</script>").render()),
        ("specimen", specimen("Ana").render()),
        ("specimen-hostile", specimen("<script>alert(2)</script>").render()),
        ("specimen-without", without().render()),
    ];
    all.into_iter().map(|(name, html)| (name, "en", html.unwrap())).collect()
}

fn burst(what: &str, messages: usize, when: &str, segments: &str, late: &str) -> PlanBurst {
    PlanBurst {
        what: what.into(),
        messages,
        when: when.into(),
        segments: segments.into(),
        cost: "13.78 GBP".into(),
        late: late.into(),
    }
}

fn step(when: &str, href: &'static str, page: &'static str) -> PlanStep {
    let what = "At the class door, paper and pen in hand";
    PlanStep { when: when.into(), what, why: "More forms came back so.".into(), href, page }
}

fn grounds() -> Vec<PlanGround> {
    let ground = |notices: &str, why: &str| PlanGround { notices: notices.into(), why: why.into() };
    vec![
        ground(
            "Dress rehearsal, call sheet; Shows, call sheet",
            "A word in advance helps (an invented study, 2019).",
        ),
        ground("<script>alert(4)</script>", "<script>alert(5)</script>"),
    ]
}

fn plan() -> PlanPage {
    let total = |week: &str, channel, messages, segments: &str, cost: &str| PlanTotal {
        week: week.into(),
        channel,
        messages,
        segments: segments.into(),
        cost: cost.into(),
    };
    PlanPage {
        school: "Brackwater School of Dance".into(),
        season: "The Salt Lantern".into(),
        as_of: as_of(),
        notice: None,
        heading: "1244 messages are planned, the first for Friday 28 May, 10:00".into(),
        course: course(false, None),
        start: Some(StartForm {
            revision: 3,
            agreed: "Yes: 622 messages to families in the next 7 days, for 14.09 GBP; 622 later.".into(),
        }),
        tariffs: String::new(),
        totals: vec![
            total("Monday 24 May", "by mail", 311, "", "0.31 GBP"),
            total("Monday 24 May", "by text", 311, "328 segments", "13.78 GBP"),
        ],
        days: vec![
            PlanDay {
                words: "Friday 28 May".into(),
                href: "/season/plan/2027-05-28".into(),
                bursts: vec![
                    burst(
                        "Dress rehearsal, call sheet, by mail",
                        311,
                        "the first at 10:00:00, the last at 10:01:02",
                        "",
                        "",
                    ),
                    burst("Dress rehearsal, call sheet, by text", 1, "at 10:00:00", "1 segment", ""),
                ],
            },
            PlanDay {
                words: "Friday 4 June".into(),
                href: "/season/plan/2027-06-04".into(),
                bursts: vec![burst(
                    "On the day, by text",
                    311,
                    "the first at 16:55:00, the last at 17:00:00",
                    "311 segments",
                    "11 of them cannot leave in time: they would have to begin by Friday 4 June, 16:54, or the gateway to be faster.",
                )],
            },
        ],
        specimens: vec![PlanWording {
            name: "Call sheet".into(),
            links: vec![
                ("/season/plan/0f".into(), "By mail, English".into()),
                ("/season/plan/1e".into(), "By mail, Spanish".into()),
            ],
        }],
        steps: vec![
            step("From Friday 7 May", "/season/door", "The class door"),
            step("From Sunday 30 May", "/season/chase", "Whom to ring"),
            step("From Friday 4 June", "", ""),
        ],
        grounds: grounds(),
    }
}

fn going() -> PlanPage {
    PlanPage {
        course: course(true, Some(("pause", "Pause sending"))),
        start: None,
        notice: Some("Started: messages are sent when they are due.".into()),
        tariffs: "What some of it costs is not known.".into(),
        ..plan()
    }
}

fn empty() -> PlanPage {
    PlanPage {
        heading: "No messages are planned".into(),
        totals: Vec::new(),
        days: Vec::new(),
        specimens: Vec::new(),
        steps: Vec::new(),
        grounds: Vec::new(),
        ..going()
    }
}

fn day(to: &str) -> PlanDayPage {
    let line = |nth: u32| {
        PlanLine {
        to: to.into(),
        matter: "Dress rehearsal, call sheet, by text".into(),
        href: format!("/season/plan/{nth:032x}"),
        leaves: "Leaves Friday 28 May, 20:30, 2 segments, 0.084 GBP".into(),
        why: "Dress rehearsal, call sheet: 30 minutes before the call, moved from 22:10 to 20:30 by the quiet hours".into(),
    }
    };
    PlanDayPage {
        school: "Brackwater School of Dance".into(),
        season: "The Salt Lantern".into(),
        as_of: as_of(),
        heading: "Friday 28 May: 311 messages leave".into(),
        lines: vec![line(1), line(2)],
        grounds: grounds(),
        later: Some("/season/plan/2027-05-28?skip=50".into()),
    }
}

fn specimen(child: &str) -> SpecimenPage {
    SpecimenPage {
        school: "Brackwater School of Dance".into(),
        season: "The Salt Lantern".into(),
        as_of: as_of(),
        notice: None,
        heading: "What Marisol Alder will read, by text".into(),
        why: "Due Friday 28 May, 10:00. Dress rehearsal, call sheet: 7 days before the call at 10:00.".into(),
        grounds: grounds(),
        subject: String::new(),
        words: format!("{child}: Dress rehearsal Fri 4 June.\nPark by 16:35, door 17:00."),
        language: "en".into(),
        length: "2 segments; ‘Ł’ made it longer.".into(),
        test_to: Some("…0018".into()),
        once: "b7Qm2Xw9Zk4cVh1TnR5sYp".into(),
        test_missing: String::new(),
    }
}

fn without() -> SpecimenPage {
    SpecimenPage {
        subject: "Dress rehearsal: Friday 4 June".into(),
        length: String::new(),
        test_to: None,
        test_missing: "There is no address of yours to send it to.".into(),
        ..specimen("Ana")
    }
}
