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
    brings.map(|(name, preview)| (name, "en", bring(preview).render().unwrap())).into()
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
        file_name: "salt-lantern.xlsx".into(),
        upload: "9d2f".into(),
        problems: Vec::new(),
        questions: Vec::new(),
        changes: Vec::new(),
        falls: Vec::new(),
    }
}

fn problems(reason: &str) -> Preview {
    let problem = |blocks, sheet: &str, row, reason: &str, cure: &str| Problem {
        blocks,
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
    let change = |kind, what: &str, name: &str, detail: &str| Change {
        kind,
        what: what.into(),
        name: name.into(),
        detail: detail.into(),
    };
    let choice = |value: &str, words: &str| Choice { value: value.into(), words: words.into() };
    Preview {
        questions: vec![OpenQuestion {
            key: "children.48".into(),
            words: format!("Row 48 of children: is {name} the child who was Laila Farah?"),
            choices: vec![choice("C112", "Yes, the same child"), choice("new", "No, another child")],
        }],
        changes: vec![
            change(ChangeKind::Changed, "event", "Dress rehearsal", "call 17:30 becomes 17:00"),
            change(ChangeKind::Added, "child", name, "in Paper Boats"),
            change(ChangeKind::Gone, "guardian", "Bea Lindqvist", "of Olle Lindqvist"),
        ],
        falls: vec![Fall {
            change: "Dress rehearsal: call 17:30 becomes 17:00".into(),
            children: ["Ines Arce", "Tomasz Kowal", "Bilal Rahmani", "Freya Lund"].map(Into::into).into(),
            count: 28,
        }],
        ..nothing()
    }
}
