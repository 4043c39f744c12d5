//! Children, guardians, households, chaperones and duties.

use super::super::book::{Book, Row};
use super::super::kin::{self, KinDoubt, Mention};
use super::super::layout::guardian_column;
use super::super::phone::Phones;
use super::super::season::{
    self, Casting, ChaperoneId, Child, Consent, Contact, Duty, Guardian, NumberId, Side,
};
use super::super::typed;
use super::super::words::{key, list};
use super::desk::{Desk, Names, Spot, row_list};
use super::programme::Programme;
use super::settings::Head;
use super::{duties, households};
use std::sync::Arc;

/// Characters that a name and a date take at most.
const SEEN_MAX_CHARS: usize = 60;
/// Places in a line-up at most.
const LINE_MAX: u32 = 500;

/// What these sheets say.
pub(super) struct People {
    /// Who people are.
    pub(super) who: Arc<season::People>,
    /// Where they stand.
    pub(super) rows: Arc<PeopleRows>,
    pub(super) duties: Vec<Duty>,
    /// Row of each duty.
    pub(super) duty_rows: Vec<u32>,
}

/// In which row of its sheet each of the people stands.
#[derive(Debug, PartialEq, Eq)]
pub(super) struct PeopleRows {
    pub(super) children: Vec<u32>,
    /// The first, of the guardians of children.
    pub(super) guardians: Vec<u32>,
    pub(super) chaperones: Vec<u32>,
}

/// A position as an id counts it.
pub(super) fn index(at: usize) -> u32 {
    u32::try_from(at).unwrap_or(u32::MAX)
}

/// What the sheets of people say by themselves.
#[derive(Debug, Clone)]
pub(super) struct Known {
    /// Who people are.
    pub(super) who: Arc<season::People>,
    /// Where they stand.
    pub(super) rows: Arc<PeopleRows>,
    names: Arc<Names<ChaperoneId>>,
}

pub(super) fn known(
    book: &Book,
    head: &Head,
    programme: &Programme,
    phones: &mut Phones,
    desk: &mut Desk,
) -> Known {
    let rows = book.rows("children");
    let children: Vec<Child> = rows.iter().map(|row| child(row, programme, desk)).collect();
    let mentions = kin::mentions(book, phones);
    let (person, doubts) = kin::group(&mentions);
    tell_doubts(&doubts, &mentions, rows, desk);
    half_written_guardians(rows, desk);
    let (guardians, guardian_rows) = guardians(rows, &mentions, &person, head, phones, desk);
    let (households, cares) = households::cares(rows, &mentions, &person, &guardians, desk);
    let (chaperones, names) = duties::chaperones(book, head, phones, desk);
    let mut who =
        season::People { children, guardians, households, cares, chaperones, ..season::People::default() };
    who.seat_chaperones();
    let rows = PeopleRows {
        children: rows.iter().map(|row| row.number).collect(),
        guardians: guardian_rows,
        chaperones: book.rows("chaperones").iter().map(|row| row.number).collect(),
    };
    Known { who: Arc::new(who), rows: Arc::new(rows), names: Arc::new(names) }
}

/// Who people are, and what they do.
pub(super) fn with_duties(known: Known, book: &Book, programme: &Programme, desk: &mut Desk) -> People {
    let (duties, duty_rows) = duties::duties(book, programme, &known.names, desk);
    People { who: known.who, rows: known.rows, duties, duty_rows }
}

fn child(row: &Row, programme: &Programme, desk: &mut Desk) -> Child {
    let ages = row.text("ages");
    let band = if ages.is_empty() { Ok(None) } else { typed::ages(ages).map(Some) };
    let ages = band.unwrap_or_else(|reason| {
        desk.error(Spot::cell("children", row, "ages"), reason, "Write a band such as 5-6, no birth date; format the cell as text if the spreadsheet makes a date of it.");
        None
    });
    let mut castings: Vec<Casting> = Vec::new();
    for part in numbers_listed(row.text("numbers"), &programme.number_names) {
        if let Some(casting) = casting(part, row, programme, desk) {
            if castings.iter().any(|c| c.number == casting.number) {
                desk.error(
                    Spot::cell("children", row, "numbers"),
                    "a number is listed twice for this child",
                    "Keep it once.",
                );
            } else {
                castings.push(casting);
            }
        }
    }
    let fetch_lead = fetch_lead(row, desk);
    Child {
        reference: row.text("ref").to_owned(),
        given: row.text("given name").to_owned(),
        family: row.text("family name").to_owned(),
        ages,
        casts: list(row.text("cast")).map(str::to_owned).collect(),
        castings,
        new: typed::yes_no(row.text("new")).unwrap_or(false),
        also_collects: list(row.text("also collects")).map(str::to_owned).collect(),
        fetch_lead,
    }
}

/// The numbers of a cell: between semicolons; also between commas, line ends and "and" where every part is a number's name.
fn numbers_listed<'a>(text: &'a str, names: &Names<NumberId>) -> Vec<&'a str> {
    list(text)
        .flat_map(|part| {
            let parts: Vec<&str> = part
                .split([',', '/', '&', '+', '\n', '\r'])
                .flat_map(|some| some.split(" and "))
                .flat_map(|some| some.split(" y "))
                .map(str::trim)
                .filter(|some| !some.is_empty())
                .collect();
            let all_known = parts.len() > 1 && !names.has(part) && parts.iter().all(|some| names.has(some));
            if all_known { parts } else { vec![part] }
        })
        .collect()
}

/// `yes, seen by Mara Holt, 3 March 2027`: whether the named lead is fetched first, and who has seen the paper. Anything
/// that cannot be read is a yes: a slip must not let a child go.
fn fetch_lead(row: &Row, desk: &mut Desk) -> bool {
    let text = row.text("fetch the lead");
    let spot = Spot::cell("children", row, "fetch the lead");
    let (word, seen) = text.split_once([',', ';']).unwrap_or((text, ""));
    match typed::yes_no(word) {
        _ if text.is_empty() => false,
        Ok(false) => false,
        Ok(true) => {
            if seen.trim().is_empty() {
                desk.warn(
                    spot,
                    "who has seen the paper, and when, is missing",
                    "Write: yes, seen by NAME, DATE.",
                );
            } else if seen.chars().count() > SEEN_MAX_CHARS {
                desk.warn(
                    spot,
                    "this is longer than a name and a date",
                    "Write no reason here: yes, who has seen the paper, and when.",
                );
            }
            true
        }
        Err(_) => {
            desk.error(
                spot,
                "this does not begin with yes or no",
                "Write 'no', or: yes, seen by NAME, DATE. Never the reason.",
            );
            true
        }
    }
}

/// `Lamplighters: 4, left, right`: a number, then place in line, side of entrance, side of exit.
fn casting(part: &str, row: &Row, programme: &Programme, desk: &mut Desk) -> Option<Casting> {
    let spot = Spot::cell("children", row, "numbers");
    let (name, details) = match part.rsplit_once(':') {
        Some((name, details)) if !programme.number_names.has(part) => (name.trim(), details),
        _ => (part, ""),
    };
    let number = programme.number_names.find(name, spot, desk)?;
    let mut casting = Casting { number, line: None, entrance: None, exit: None };
    let mut sides = 0;
    for detail in details.split(',').map(str::trim).filter(|d| !d.is_empty()) {
        let side = match key(detail).as_str() {
            "left" => Some(Side::Left),
            "right" => Some(Side::Right),
            _ => None,
        };
        let line = typed::count(detail)
            .ok()
            .filter(|n| (1..=LINE_MAX).contains(n))
            .and_then(|n| u16::try_from(n).ok());
        match (side, line, sides) {
            (Some(side), _, 0) => casting.entrance = Some(side),
            (Some(side), _, 1) => casting.exit = Some(side),
            (None, Some(line), 0) if casting.line.is_none() => casting.line = Some(line),
            _ => {
                let reason = format!(
                    "'{}' after '{}' is neither a place in line nor a side",
                    typed::shown(detail),
                    typed::shown(name)
                );
                desk.error(
                    spot,
                    reason,
                    "Write place, entrance, exit, such as 'Lamplighters: 4, left, right'.",
                );
            }
        }
        sides += usize::from(side.is_some());
    }
    Some(casting)
}

fn tell_doubts(doubts: &[KinDoubt], mentions: &[Mention], rows: &[Row], desk: &mut Desk) {
    let number = |at: usize| rows[mentions[at].row].number;
    for doubt in doubts {
        match doubt {
            KinDoubt::SameName(all) => {
                let numbers: Vec<u32> = all.iter().map(|at| number(*at)).collect();
                let column = guardian_column(mentions[all[0]].slot, "name");
                let reason = format!(
                    "{} name guardians the same but with different telephone numbers and mail addresses; they are taken as different people",
                    row_list(&numbers)
                );
                desk.warn(
                    Spot::named("children", numbers[0], &column),
                    reason,
                    "If they are one person, write the same number or address in each row.",
                );
            }
            KinDoubt::TwoRefs(first, second) => {
                let column = guardian_column(mentions[*second].slot, "ref");
                let reason = format!(
                    "the same name and contact has another ref in row {}; they are kept apart",
                    number(*first)
                );
                desk.warn(
                    Spot::named("children", number(*second), &column),
                    reason,
                    "If they are one person, write the same ref in both rows.",
                );
            }
            KinDoubt::OneAddress(first, second) => {
                let column = guardian_column(mentions[*second].slot, "name");
                let reason = format!(
                    "another name in row {} has the same telephone number and the same mail address; they are taken as two people, \
                     and each is written to",
                    number(*first)
                );
                desk.warn(
                    Spot::named("children", number(*second), &column),
                    reason,
                    "If they are one person, write the name the same way.",
                );
            }
            KinDoubt::TwoNames(first, second) => {
                let column = guardian_column(mentions[*second].slot, "ref");
                let reason = format!(
                    "the same ref stands beside another name in row {}; the first name is used",
                    number(*first)
                );
                desk.warn(
                    Spot::named("children", number(*second), &column),
                    reason,
                    "Empty the ref if they are two people, or write the name the same way.",
                );
            }
        }
    }
}

/// Contact details beside an empty name would otherwise be dropped without a word.
fn half_written_guardians(rows: &[Row], desk: &mut Desk) {
    for row in rows {
        for n in 2..=super::super::layout::GUARDIANS_PER_CHILD {
            let name = guardian_column(n, "name");
            let written = [
                "mobile",
                "e-mail",
                "language",
                "household",
                "brings",
                "collects",
                "texts",
                "mails",
                "agreed",
            ]
            .iter()
            .any(|part| !row.text(&guardian_column(n, part)).is_empty());
            if row.text(&name).is_empty() && written {
                desk.error(
                    Spot::cell("children", row, &name),
                    format!("guardian {n} has details but no name"),
                    "Write the name, or empty the other cells of this guardian.",
                );
            }
        }
    }
}

/// Consent as written; a refusal anywhere stands.
fn consent(yes_no: &str, agreed: &str) -> Consent {
    match typed::yes_no(yes_no) {
        Ok(true) => Consent::Agreed(agreed.to_owned()),
        Ok(false) => Consent::Refused,
        Err(_) => Consent::Unknown,
    }
}

fn stricter(a: Consent, b: Consent) -> Consent {
    match (&a, &b) {
        (Consent::Refused, _) | (_, Consent::Unknown) => a,
        (_, Consent::Refused) | (Consent::Unknown, _) => b,
        (Consent::Agreed(words), _) if words.is_empty() => b,
        _ => a,
    }
}

/// Ways to reach one person, and whether a language is written.
pub(super) fn contact(
    row: &Row,
    column: impl Fn(&str) -> String,
    sheet: &str,
    head: &Head,
    phones: &mut Phones,
    desk: &mut Desk,
) -> (Contact, bool) {
    let mobile = column("mobile");
    let phone = if row.text(&mobile).is_empty() { None } else { phones.read(row.text(&mobile)).clone().ok() };
    let mail = row.text(&column("e-mail"));
    let mail = if mail.is_empty() { None } else { typed::mail(mail).ok() };
    let tongue = column("language");
    let written = row.text(&tongue);
    let language = if written.is_empty() {
        head.language.clone()
    } else {
        typed::language(written).unwrap_or_else(|reason| {
            desk.error(Spot::cell(sheet, row, &tongue), reason, "Write a code such as en or es.");
            head.language.clone()
        })
    };
    let agreed = column("agreed");
    let contact = Contact {
        phone,
        mail,
        texts: consent(row.text(&column("texts")), row.text(&agreed)),
        mails: consent(row.text(&column("mails")), row.text(&agreed)),
        language,
    };
    (contact, !written.is_empty())
}

fn guardians(
    rows: &[Row],
    mentions: &[Mention],
    person: &[usize],
    head: &Head,
    phones: &mut Phones,
    desk: &mut Desk,
) -> (Vec<Guardian>, Vec<u32>) {
    let mut guardians: Vec<Guardian> = Vec::new();
    let mut first_rows = Vec::new();
    let mut language_written: Vec<bool> = Vec::new();
    for (mention, person) in mentions.iter().zip(person) {
        let row = &rows[mention.row];
        let column = |part: &str| guardian_column(mention.slot, part);
        let (contact, tongue) = contact(row, column, "children", head, phones, desk);
        let Some(known) = guardians.get_mut(*person) else {
            guardians.push(Guardian {
                reference: row.text(&column("ref")).to_owned(),
                name: row.text(&column("name")).to_owned(),
                contact,
            });
            first_rows.push(row.number);
            language_written.push(tongue);
            continue;
        };
        let spot_differs = |part: &str, desk: &mut Desk| {
            let column = column(part);
            let reason = format!(
                "this guardian has another {} in row {}, which is the one used",
                part, first_rows[*person]
            );
            desk.warn(
                Spot::cell("children", row, &column),
                reason,
                "Write the same in every row of this guardian.",
            );
        };
        let known = &mut known.contact;
        match (&known.phone, contact.phone) {
            (Some(a), Some(b)) if *a != b => spot_differs("mobile", desk),
            (None, Some(b)) => known.phone = Some(b),
            _ => {}
        }
        match (&known.mail, contact.mail) {
            (Some(a), Some(b)) if key(&a.0) != key(&b.0) => spot_differs("e-mail", desk),
            (None, Some(b)) => known.mail = Some(b),
            _ => {}
        }
        if tongue && language_written[*person] && known.language != contact.language {
            spot_differs("language", desk);
        } else if tongue {
            known.language = contact.language;
            language_written[*person] = true;
        }
        known.texts = stricter(known.texts.clone(), contact.texts);
        known.mails = stricter(known.mails.clone(), contact.mails);
    }
    (guardians, first_rows)
}
