//! A show as it runs, at the stage side and with a chaperone; and another order on paper.

use allheard::web::views::*;
use askama::Template;

use crate::family::telephone;
use jiff::civil::{date, time};

pub fn samples() -> Vec<(&'static str, &'static str, String)> {
    let all = vec![
        ("show", show().render()),
        ("show-before", before().render()),
        ("show-over", over().render()),
        ("show-hostile", hostile().render()),
        ("change", change().render()),
        ("next", next().render()),
        ("next-idle", idle().render()),
        ("next-hostile", hostile_next().render()),
        ("trial", trial().render()),
        ("trial-asked", asked().render()),
    ];
    all.into_iter().map(|(name, html)| (name, "en", html.unwrap())).collect()
}

/// In the middle of the show.
fn as_of() -> AsOf {
    AsOf { date: date(2027, 6, 5), time: time(19, 12, 0, 0) }
}

fn moment(clock: &str, title: &str, more: &str, now: bool) -> ShowMoment {
    ShowMoment { clock: clock.into(), title: title.into(), more: more.into(), now }
}

fn line(clock: &str, was: &str, name: &str, stage: &str, now: bool) -> OrderLine {
    OrderLine {
        clock: clock.into(),
        was: was.into(),
        name: name.into(),
        stage: stage.into(),
        cut: stage == "cut",
        now,
    }
}

fn tick(act: &'static str, number: &str, words: &str) -> Option<Tick> {
    Some(Tick { act, number: number.into(), words: words.into() })
}

fn show() -> ShowPage {
    ShowPage {
        school: "Brackwater School of Dance".into(),
        season: "The Salt Lantern".into(),
        as_of: as_of(),
        event: "Saturday evening".into(),
        href: "/season/E003".into(),
        heading: "Harbour Bells is on".into(),
        down: "The curtain comes down at 21:14, four minutes later than planned.".into(),
        notice: Some(PageNotice { words: "Noted.".into(), done: true }),
        deed: "Qk2b8yXn0u3Rv9aTq1LmZw".into(),
        main: tick("ended", "N004", "Harbour Bells is over"),
        other: tick("begun", "N005", "Paper Boats has begun"),
        held: "Hold Paper Boats for Ada F. and Tomasz K. from the quick-change room.".into(),
        calls: vec![
            moment(
                "19:04",
                "Paper Boats: next",
                "Called, with the beginners, 5 min before it; on at 19:14.",
                true,
            ),
            moment(
                "19:11",
                "Lighthouse Keepers: in two numbers",
                "Called, 9 min before it instead of 11; on at 19:17.",
                false,
            ),
            moment("19:14", "Tin Fish: in three numbers", "Get ready, 10 min before it; on at 19:20.", false),
        ],
        changes: vec![
            moment(
                "19:13",
                "Ada F. and Tomasz K.",
                "Out of Harbour Bells, into Lighthouse Keepers at 19:17. 3 min to change. From Noor to Ewa.",
                true,
            ),
            moment(
                "19:16",
                "Bilal R.",
                "Out of Paper Boats, into Lighthouse Keepers at 19:17. No time to change. From Ewa to Sam.",
                true,
            ),
        ],
        hand_overs: vec![moment(
            "19:13",
            "Freya L.",
            "Out of Harbour Bells, into Ropewalkers at 19:51. From Noor to Grace.",
            true,
        )],
        to_come: vec![
            line("19:11", "19:07", "Harbour Bells", "on now, until about 19:13", true),
            line("19:14", "19:10", "Paper Boats", "", false),
            line("", "", "The Fog Waltz", "cut", false),
            line("19:17", "", "Lighthouse Keepers", "", false),
            line("", "", "Interval", "15 minutes", false),
            line("19:51", "19:47", "Ropewalkers", "", false),
        ],
        past: vec![
            line("19:04", "19:00", "Gulls", "over 19:07", false),
            line("19:08", "19:04", "Tin Fish", "over 19:11", false),
        ],
        again: Some(15),
    }
}

fn before() -> ShowPage {
    ShowPage {
        heading: "Curtain up 19:04: Gulls begins".into(),
        notice: Some(PageNotice {
            words: "Not noted. Gulls comes before Tin Fish and has not been ticked off. Tick it off, cut it or move \
                    it first."
                .into(),
            done: false,
        }),
        main: tick("begun", "N001", "Gulls has begun"),
        other: tick("ended", "N001", "Gulls is over"),
        held: String::new(),
        calls: vec![
            moment("18:54", "The five", "", false),
            moment("18:59", "Beginners", "", false),
            moment(
                "18:59",
                "Gulls: next",
                "Get ready, with the beginners, 5 min before it; on at 19:04.",
                true,
            ),
        ],
        past: Vec::new(),
        again: None,
        ..show()
    }
}

fn over() -> ShowPage {
    ShowPage {
        heading: "The show is over".into(),
        down: "The curtain came down at 21:12, two minutes later than planned.".into(),
        notice: None,
        main: None,
        other: None,
        held: String::new(),
        calls: Vec::new(),
        changes: Vec::new(),
        hand_overs: Vec::new(),
        to_come: Vec::new(),
        ..show()
    }
}

fn hostile() -> ShowPage {
    let mut page = show();
    page.heading = "<script>alert(1)</script> is on".into();
    page.main = tick("ended", "N\" onfocus=\"x", "<script>alert(1)</script> is over");
    page.calls[0].title = "Wolfeschlegelsteinhausenbergerdorff-Featherstonehaugh: next".into();
    page.changes[0].title = "נועה ב.".into();
    page
}

fn pick(value: &str, words: &str) -> Pick {
    Pick { value: value.into(), words: words.into(), chosen: value == "N005" }
}

fn change() -> ChangePage {
    let numbers =
        vec![pick("N005", "Paper Boats"), pick("N006", "Lighthouse Keepers"), pick("N008", "Ropewalkers")];
    let told = |seq, clock: &str, words: &str| ToldLine { seq, clock: clock.into(), words: words.into() };
    ChangePage {
        school: "Brackwater School of Dance".into(),
        season: "The Salt Lantern".into(),
        as_of: as_of(),
        event: "Saturday evening".into(),
        href: "/season/E003/show".into(),
        down: "The curtain comes down at 21:14, four minutes later than planned.".into(),
        notice: Some(PageNotice { words: "Noted.".into(), done: true }),
        deed: "Qk2b8yXn0u3Rv9aTq1LmZw".into(),
        holds: [vec![pick("act 1", "the end of the interval (Ropewalkers)")], numbers.clone()].concat(),
        minutes: vec![1, 2, 3, 4, 5, 10, 15],
        behind: [
            vec![pick("N004", "Harbour Bells")],
            numbers.clone(),
            vec![pick("interval 0", "the interval")],
        ]
        .concat(),
        numbers,
        told: vec![
            told(4, "19:12", "The Fog Waltz is cut"),
            told(3, "19:11", "Harbour Bells has begun"),
            told(1, "18:56", "held 4 min before curtain up"),
        ],
    }
}

fn next() -> NextPage {
    NextPage {
        school: "Brackwater School of Dance".into(),
        season: "The Salt Lantern".into(),
        as_of: as_of(),
        given: "Noor".into(),
        event: "Saturday evening".into(),
        stage: "Harbour Bells is on. The curtain comes down at 21:14, four minutes later than planned."
            .into(),
        things: vec![
            moment(
                "19:12",
                "Tell the stage side if Ada F. is still changing: Paper Boats is next.",
                "",
                true,
            ),
            moment("19:11", "In two numbers: Gulls. Line up: left side.", "Called. On at 19:17.", true),
            moment(
                "19:13",
                "Wait at the quick-change room for Ada K. (out of Kelp, into Foghorn, 3 min).",
                "",
                false,
            ),
            moment("19:16", "Ada K. comes to you from Rosa after Kelp.", "", false),
            moment(
                "",
                "The Fog Waltz is cut: nobody lines up for it. Keep its children with you.",
                "",
                false,
            ),
            moment(
                "",
                "Your children may go out by the door from 21:10, not before.",
                "The curtain comes down later, at about 21:14: they stay until then.",
                false,
            ),
        ],
        later: 3,
        families: "?event=E003&show=families".into(),
        telephone: Some(telephone("0100", "020 7946 0100")),
        again: Some(15),
    }
}

fn idle() -> NextPage {
    NextPage { things: Vec::new(), later: 0, telephone: None, again: None, ..next() }
}

fn hostile_next() -> NextPage {
    let mut page = next();
    page.things[0].title = "<script>alert(1)</script> comes to you from נועה after Kelp.".into();
    page
}

fn form() -> TrialForm {
    let numbers = vec![
        pick("N004", "Harbour Bells"),
        pick("N005", "Paper Boats"),
        pick("interval 0", "interval (15 minutes)"),
        pick("N006", "Lighthouse Keepers"),
    ];
    TrialForm {
        href: "/season/E003/try".into(),
        second: [vec![pick("first", "the beginning")], numbers.clone()].concat(),
        first: numbers,
    }
}

fn trial() -> TrialPage {
    let list = |heading: &str, lines: &[&str]| TrialList {
        heading: heading.into(),
        lines: lines.iter().map(|line| (*line).to_owned()).collect(),
    };
    let start =
        |name: &str, was: &str, now: &str| TrialStart { name: name.into(), was: was.into(), now: now.into() };
    TrialPage {
        school: "Brackwater School of Dance".into(),
        season: "The Salt Lantern".into(),
        as_of: as_of(),
        event: "Saturday evening".into(),
        href: "/season/E003".into(),
        heading: "Paper Boats and Lighthouse Keepers swap places: one child without the time to change"
            .into(),
        down: "The last number ends at 21:10:20 instead of 21:10:00.".into(),
        form: form(),
        lists: vec![
            list(
                "One turnaround without the time comes",
                &["Ada F.: out of Harbour Bells, into Lighthouse Keepers, 0 s to change"],
            ),
            list(
                "One quick change goes",
                &["Tomasz K.: out of Harbour Bells, into Paper Boats, 3 min to change"],
            ),
            list(
                "One hand-over comes",
                &["Ada F.: from Noor after Harbour Bells to Ewa for Lighthouse Keepers"],
            ),
        ],
        starts: vec![
            start("Lighthouse Keepers", "19:38:20", "19:04:10"),
            start("Paper Boats", "19:04:10", "19:38:40"),
        ],
    }
}

fn asked() -> TrialPage {
    TrialPage {
        heading: "Choose two lines of the running order".into(),
        down: String::new(),
        lists: Vec::new(),
        starts: Vec::new(),
        ..trial()
    }
}

/// The form on the event's page.
pub fn on_event() -> TrialForm {
    form()
}
