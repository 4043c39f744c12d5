//! The coordinator brings a workbook: invented previews.

use allheard::web::views::*;
use askama::Template;

use crate::family::as_of;

pub fn samples() -> Vec<(&'static str, &'static str, String)> {
    let brings = [
        ("bring-first", None),
        ("bring-problems", Some(problems("Row without a name."))),
        ("bring-preview", Some(preview("Leila Farah"))),
        ("bring-hostile", Some(preview("<script>alert(3)</script>"))),
        ("bring-nothing", Some(nothing())),
    ];
    let mut all: Vec<_> = brings.map(|(name, preview)| (name, "en", bring(preview).render().unwrap())).into();
    all.extend(actions());
    all
}

/// One action: its forms, the look before it is done, the second look, what came of it, and the list of what was done.
fn actions() -> Vec<(&'static str, &'static str, String)> {
    let action = |what: &str| Preview {
        subject: Subject::Action(what.into()),
        questions: Vec::new(),
        ..preview(what)
    };
    let held = |second| Preview {
        holds: vec!["2 of 5 children are left.".into()],
        going: vec!["child: Ines Arce".into(), "guardian: <b>Odd</b> Bold".into()],
        second,
        ..action("the workbook of Tuesday")
    };
    let look = |preview: Option<Preview>, notice: Option<&str>| LookPage {
        school: "Brackwater School of Dance".into(),
        season: "The Salt Lantern".into(),
        as_of: as_of(),
        preview,
        notice: notice.map(Into::into),
        address: None,
        on: vec![("/season/E001".into(), "The event".into())],
    };
    let done = LookPage {
        address: Some(("The list of Wren Hale, for them alone:".into(), "/c/TOKEN".into())),
        ..look(None, Some("Done. Messages: 3 planned."))
    };
    let line = |what: &str, back| MadeChange { at: as_of(), what: what.into(), back };
    let changes = ChangesPage {
        school: "Brackwater School of Dance".into(),
        season: "The Salt Lantern".into(),
        as_of: as_of(),
        notice: None,
        changes: vec![
            line("<i>Dress</i> rehearsal is called off", Some(4)),
            line("The workbook was brought", None),
        ],
    };
    let hostile = "<script>alert(4)</script>";
    vec![
        ("look", "en", look(Some(action("the dress rehearsal is called off")), None).render().unwrap()),
        ("look-hostile", "en", look(Some(action(hostile)), Some(hostile)).render().unwrap()),
        ("look-held", "en", look(Some(held(false)), None).render().unwrap()),
        ("look-second", "en", look(Some(held(true)), None).render().unwrap()),
        ("look-done", "en", done.render().unwrap()),
        ("edit", "en", edit("Ines Arce").render().unwrap()),
        ("edit-hostile", "en", edit(hostile).render().unwrap()),
        ("changes", "en", changes.render().unwrap()),
    ]
}

fn edit(name: &str) -> EditPage {
    let field = |field: &str, label: &str, entry, value: &str| EditField {
        name: field.into(),
        label: label.into(),
        entry,
        value: value.into(),
    };
    let picks = vec![
        Pick { value: "N001".into(), words: name.into(), chosen: false },
        Pick { value: "N002".into(), words: "Paper Boats".into(), chosen: true },
    ];
    EditPage {
        school: "Brackwater School of Dance".into(),
        season: "The Salt Lantern".into(),
        as_of: as_of(),
        heading: format!("ChangeRow {name}, Friday 4 June"),
        back: ("/season/E001".into(), name.into()),
        notice: Some("The form was empty, so nothing changes.".into()),
        forms: vec![
            EditForm {
                act: "call_off",
                title: "It is called off".into(),
                note: String::new(),
                fields: Vec::new(),
                button: "See what it changes".into(),
            },
            EditForm {
                act: "move",
                title: name.into(),
                note: "For every event at this place.".into(),
                fields: vec![
                    field("place", "", PreviewEntry::Hidden, "P001"),
                    field("door", "The door children use", PreviewEntry::Text, name),
                    field("date", "Date", PreviewEntry::Date, "2027-06-04"),
                    field("call", "Children's call", PreviewEntry::Time, "17:30"),
                    field("number", "Number", PreviewEntry::Pick(picks), ""),
                ],
                button: "See what it changes".into(),
            },
        ],
        others: vec![
            ("Chaperones there".into(), vec![("/season/change/person?person=V001".into(), name.into())]),
            (
                "Children there".into(),
                (1..=13)
                    .map(|n| (format!("/season/change/child?child=C{n:03}"), format!("{name} {n}")))
                    .collect(),
            ),
        ],
    }
}

fn bring(preview: Option<Preview>) -> BringPage {
    let first = preview.is_none();
    let say = |words: &str| {
        if first { String::new() } else { words.to_owned() }
    };
    BringPage {
        school: say("Brackwater School of Dance"),
        season: say("The Salt Lantern"),
        as_of: as_of(),
        preview,
        notice: None,
        limit_mebibytes: 10,
    }
}

fn nothing() -> Preview {
    Preview {
        subject: Subject::Workbook("salt-lantern.xlsx".into()),
        upload: "9d2f".into(),
        summary: Vec::new(),
        problems: Vec::new(),
        questions: Vec::new(),
        changes: Vec::new(),
        falls: Vec::new(),
        people: Vec::new(),
        papers: Vec::new(),
        messages: Vec::new(),
        holds: Vec::new(),
        going: Vec::new(),
        second: false,
    }
}

fn problems(reason: &str) -> Preview {
    let problem = |blocks, sheet: &str, row, reason: &str, cure: &str| ProblemRow {
        blocks,
        weight: if blocks { "must be fixed" } else { "please check" },
        sheet: sheet.into(),
        row,
        reason: reason.into(),
        cure: cure.into(),
    };
    Preview {
        problems: vec![
            problem(true, "children", Some(48), reason, "Write the given name, or delete the row."),
            problem(
                true,
                "events",
                Some(3),
                "The date 31 June does not exist.",
                "Write a date such as 2027-06-30.",
            ),
            problem(
                false,
                "numbers",
                None,
                "The Fog Waltz has no chaperone.",
                "Add a row to the sheet duties.",
            ),
        ],
        ..nothing()
    }
}

fn preview(name: &str) -> Preview {
    let change = |kind, what: &str, name: &str, detail: &str| ChangeRow {
        kind,
        what: what.into(),
        name: name.into(),
        detail: detail.into(),
    };
    let choice = |value: &str, words: &str| RefChoice { value: value.into(), words: words.into() };
    Preview {
        questions: vec![OpenQuestion {
            key: "children.48".into(),
            words: format!("Row 48 of children: is {name} the child who was Laila Farah?"),
            choices: vec![choice("C112", "Yes, the same child"), choice("new", "No, another child")],
        }],
        changes: vec![
            change(ChangeRowKind::Changed, "event", "Dress rehearsal", "call 17:30 becomes 17:00"),
            change(ChangeRowKind::Added, "child", name, "in Paper Boats"),
            change(ChangeRowKind::Gone, "guardian", "Bea Lindqvist", "of Olle Lindqvist"),
        ],
        falls: vec![FallRow {
            change: "Dress rehearsal: call 17:30 becomes 17:00".into(),
            children: ["Ines Arce", "Tomasz Kowal", "Bilal Rahmani", "Freya Lund"].map(Into::into).into(),
            count: 28,
        }],
        people: vec![
            ("child", vec![name.into(), "Ines Arce".into()]),
            ("guardian", vec!["Bea Lindqvist".into()]),
        ],
        papers: vec![(
            "Dress rehearsal".into(),
            vec!["Children's door".into(), format!("Clipboard of {name}")],
        )],
        messages: vec![MessageChange {
            heading: "Three mails and one text are added to the plan".into(),
            lines: vec![format!("ChangeRow by mail to {name}: Dress rehearsal, Thursday 3 June, 18:42")],
            more: 3,
        }],
        ..nothing()
    }
}
