//! From a form to the action it asks for.

use jiff::Timestamp;

use super::forms::{EVERYWHERE, GUARDIANS_ASKED, NOBODY_KNOWN, Subject, to_come};
use crate::domain::edit::{ContactText, Edit, GuardianText, Joining, Moved, Substitute};
use crate::domain::season::{Season, Slot};
use crate::web::fields::Fields;

/// The action; in words why there is none, or nothing where the form is not one of ours.
pub(super) fn edit(
    season: &Season,
    now: Timestamp,
    subject: &Subject,
    fields: &Fields,
) -> Result<Edit, Option<String>> {
    let text = |name: &str| fields.first(name).trim().to_owned();
    match (subject, fields.first("act")) {
        (Subject::Event(event), "call_off") => Ok(Edit::CallOff { event: event.clone() }),
        (Subject::Event(event), "reinstate") => Ok(Edit::Reinstate { event: event.clone() }),
        (Subject::Event(event), "goes_on") => Ok(Edit::GoesOn { event: event.clone() }),
        (Subject::Event(event), "decide") => {
            let by = format!("{} {}", text("day"), text("hour"));
            if by.trim().is_empty() {
                return Err(Some("The form was empty, so nothing changes.".to_owned()));
            }
            Ok(Edit::Decide { event: event.clone(), by })
        }
        (Subject::Event(event), "move") => {
            let given = |name: &str| fields.0.iter().any(|(n, _)| n == name).then(|| text(name));
            let to = Moved {
                date: given("date"),
                call: given("call"),
                starts: given("starts"),
                ends: given("ends"),
                place: given("place"),
            };
            Ok(Edit::Move { event: event.clone(), to })
        }
        (Subject::Event(_), "door") => {
            Ok(Edit::Door { place: text("place"), door: text("door"), collect_at: text("collect_at") })
        }
        (Subject::Event(event), "cut") => {
            let number = text("number");
            let everywhere = text("where") == EVERYWHERE;
            let events = if everywhere { danced(season, now, &number) } else { vec![event.clone()] };
            Ok(Edit::Cut { number, events })
        }
        (Subject::Child(child), "leaves") => Ok(Edit::Leaves { child: child.clone() }),
        (Subject::Child(child), "dances") => {
            Ok(Edit::Dances { child: child.clone(), numbers: text("numbers") })
        }
        (Subject::Joins, "joins") => Ok(Edit::Joins(Box::new(joining(fields)))),
        (Subject::Person(person), "reached") => {
            Ok(Edit::Reached { person: person.clone(), by: Box::new(contact(fields, "")) })
        }
        (Subject::Person(chaperone), "replace") => {
            let known = text("known");
            let by = if known.is_empty() || known == NOBODY_KNOWN {
                let name = text("name");
                if name.is_empty() {
                    return Err(Some("Please name who takes the duties.".to_owned()));
                }
                let contact = contact(fields, "");
                let (adult, vetted_until) = (text("adult"), text("vetted_until"));
                Substitute::New { name, contact, adult, vetted_until }
            } else {
                Substitute::Known(known)
            };
            let event = Some(text("event")).filter(|event| event != EVERYWHERE && !event.is_empty());
            Ok(Edit::Replace { chaperone: chaperone.clone(), event, by: Box::new(by) })
        }
        _ => Err(None),
    }
}

/// The events to come at which a number is danced.
fn danced(season: &Season, now: Timestamp, number: &str) -> Vec<String> {
    let here = |slot: &Slot| match slot {
        Slot::Number { number: id, .. } => season.numbers[id.at()].reference == number,
        Slot::Interval(_) => false,
    };
    to_come(season, now).filter(|event| event.order.iter().any(here)).map(|e| e.reference.clone()).collect()
}

fn contact(fields: &Fields, prefix: &str) -> ContactText {
    let text = |name: &str| fields.first(&format!("{prefix}{name}")).trim().to_owned();
    ContactText {
        mobile: text("mobile"),
        mail: text("mail"),
        language: text("language"),
        texts: text("texts"),
        mails: text("mails"),
        agreed: text("agreed"),
    }
}

fn joining(fields: &Fields) -> Joining {
    let text = |name: &str| fields.first(name).trim().to_owned();
    let guardian = |nth: usize| {
        let prefix = format!("g{nth}_");
        let own = |name: &str| text(&format!("{prefix}{name}"));
        GuardianText {
            name: own("name"),
            contact: contact(fields, &prefix),
            household: own("household"),
            brings: own("brings"),
            collects: own("collects"),
        }
    };
    Joining {
        given: text("given"),
        family: text("family"),
        ages: text("ages"),
        numbers: text("numbers"),
        cast: text("cast"),
        guardians: (1..=GUARDIANS_ASKED).map(guardian).collect(),
    }
}
