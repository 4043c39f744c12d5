//! Edits of people: a child leaves or joins, somebody is reached in another way.

use super::{EditFault, row_mut};
use crate::domain::book::{Book, Row};
use crate::domain::layout::{GUARDIANS_PER_CHILD, guardian_column};

/// How a person is reached, as typed into the columns of the same names.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct ContactText {
    /// Mobile number.
    pub mobile: String,
    /// Mail address.
    pub mail: String,
    /// Language wanted; empty for the season's.
    pub language: String,
    /// May be texted: yes, no, or empty where nobody asked.
    pub texts: String,
    /// May be mailed: yes, no, or empty where nobody asked.
    pub mails: String,
    /// Who agreed, and when.
    pub agreed: String,
}

impl ContactText {
    /// Every column with its text.
    pub fn columns(&self) -> [(&'static str, &str); 6] {
        [
            ("mobile", &self.mobile),
            ("e-mail", &self.mail),
            ("language", &self.language),
            ("texts", &self.texts),
            ("mails", &self.mails),
            ("agreed", &self.agreed),
        ]
    }

    /// What stands in the workbook of a guardian or a chaperone; of several rows the first that says something.
    pub fn of(book: &Book, person: &str) -> Option<ContactText> {
        let text = |column: &str| {
            let guardian = slots(book, person).map(|(row, slot)| row.text(&guardian_column(slot, column)));
            let chaperone = chaperone(book, person).map(|row| row.text(column));
            let mut texts = guardian.chain(chaperone).filter(|text| !text.is_empty());
            texts.next().unwrap_or_default().to_owned()
        };
        let known = slots(book, person).next().is_some() || chaperone(book, person).is_some();
        known.then(|| ContactText {
            mobile: text("mobile"),
            mail: text("e-mail"),
            language: text("language"),
            texts: text("texts"),
            mails: text("mails"),
            agreed: text("agreed"),
        })
    }
}

/// One guardian beside a child who joins.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct GuardianText {
    /// Full name; without one the guardian is left out.
    pub name: String,
    /// How she is reached.
    pub contact: ContactText,
    /// Household word.
    pub household: String,
    /// Brings the child: yes or no.
    pub brings: String,
    /// Collects the child: yes or no.
    pub collects: String,
}

/// A child who joins, as typed.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Joining {
    /// Given name.
    pub given: String,
    /// Family name.
    pub family: String,
    /// Age band.
    pub ages: String,
    /// Numbers as the workbook writes them.
    pub numbers: String,
    /// Cast; empty for every performance.
    pub cast: String,
    /// Guardians, at most as many as stand beside a child.
    pub guardians: Vec<GuardianText>,
}

/// The rows and places in which a guardian of a ref stands.
fn slots<'a>(book: &'a Book, guardian: &'a str) -> impl Iterator<Item = (&'a Row, usize)> {
    book.rows("children").iter().flat_map(move |row| {
        let here = move |slot: &usize| row.text(&guardian_column(*slot, "ref")) == guardian;
        (1..=GUARDIANS_PER_CHILD).filter(here).map(move |slot| (row, slot))
    })
}

fn chaperone<'a>(book: &'a Book, reference: &str) -> Option<&'a Row> {
    book.rows("chaperones").iter().find(|row| row.text("ref") == reference)
}

pub(super) fn also_collects(book: &mut Book, child: &str, who: &str) -> Result<(), EditFault> {
    let row = row_mut(book, "children", child).ok_or(EditFault::Gone("child"))?;
    // A list has semicolons between its parts.
    let who = who.replace(';', ",").split_whitespace().collect::<Vec<_>>().join(" ");
    let known: Vec<&str> =
        row.text("also collects").split(';').map(str::trim).filter(|one| !one.is_empty()).collect();
    if known.iter().any(|one| one.eq_ignore_ascii_case(&who)) {
        return Err(EditFault::Already(format!("{who} may collect already")));
    }
    let all: Vec<&str> = known.into_iter().chain([who.as_str()]).collect();
    let all = all.join("; ");
    row.set("also collects", all);
    Ok(())
}

pub(super) fn leaves(book: &mut Book, child: &str) -> Result<(), EditFault> {
    let rows = &mut book.sheet_mut("children").rows;
    let at = rows.iter().position(|row| row.text("ref") == child).ok_or(EditFault::Gone("child"))?;
    rows.remove(at);
    Ok(())
}

pub(super) fn joins(book: &mut Book, joining: &Joining) {
    let mut row = Row::default();
    for (column, text) in [
        ("given name", &joining.given),
        ("family name", &joining.family),
        ("ages", &joining.ages),
        ("numbers", &joining.numbers),
        ("cast", &joining.cast),
    ] {
        row.set(column, text.trim());
    }
    let named = joining.guardians.iter().filter(|guardian| !guardian.name.trim().is_empty());
    for (slot, guardian) in (1..=GUARDIANS_PER_CHILD).zip(named) {
        let mut set = |part: &str, text: &str| row.set(&guardian_column(slot, part), text.trim());
        set("name", &guardian.name);
        set("household", &guardian.household);
        set("brings", &guardian.brings);
        set("collects", &guardian.collects);
        guardian.contact.columns().into_iter().for_each(|(part, text)| set(part, text));
    }
    book.sheet_mut("children").rows.push(row);
}

/// Only what differs is written, in every row in which she stands, so that no row contradicts another.
pub(super) fn reached(book: &mut Book, person: &str, by: &ContactText) -> Result<(), EditFault> {
    let before = ContactText::of(book, person).ok_or(EditFault::Gone("person"))?;
    let old = before.columns();
    let differing: Vec<(&str, &str)> = by
        .columns()
        .into_iter()
        .zip(old)
        .filter(|((_, new), (_, old))| new.trim() != *old)
        .map(|(new, _)| new)
        .collect();
    if let Some(row) = row_mut(book, "chaperones", person) {
        differing.iter().for_each(|(column, text)| row.set(column, text.trim()));
    }
    for row in &mut book.sheet_mut("children").rows {
        for slot in 1..=GUARDIANS_PER_CHILD {
            if row.text(&guardian_column(slot, "ref")) == person {
                differing.iter().for_each(|(column, text)| {
                    row.set(&guardian_column(slot, column), text.trim());
                });
            }
        }
    }
    Ok(())
}
