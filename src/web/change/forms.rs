//! The forms of each page: what can be done about an event, a child, a person, or a child who joins.

use jiff::Timestamp;

use crate::domain::board::Board;
use crate::domain::book::Book;
use crate::domain::edit::ContactText;
use crate::domain::season::{Event, EventId, Person, Season, Slot};
use crate::web::labels::{ENGLISH, clock};
use crate::web::shown;
use crate::web::views::{EditField, EditForm, EditPage, Pick, PreviewEntry};

/// The value that means every event to come.
pub(super) const EVERYWHERE: &str = "everywhere";
/// The value that means somebody who is no chaperone yet.
pub(super) const NOBODY_KNOWN: &str = "new";
/// The words where nobody asked whether an address may be used.
const NOBODY_ASKED: &str = "nobody asked";
/// Guardians that may be written beside a child who joins; more stand in the workbook.
pub(super) const GUARDIANS_ASKED: usize = 2;

/// What a page is about, by refs.
#[derive(Debug, Clone)]
pub(super) enum Subject {
    /// An event.
    Event(String),
    /// A child.
    Child(String),
    /// A guardian or a chaperone.
    Person(String),
    /// A child who joins.
    Joins,
}

impl Subject {
    /// Where to go on from here.
    pub(super) fn on(&self) -> Vec<(String, String)> {
        let season = ("/season".to_owned(), "The whole season".to_owned());
        match self {
            Subject::Event(event) => vec![(format!("/season/{event}"), "The event".to_owned()), season],
            Subject::Child(_) | Subject::Person(_) | Subject::Joins => vec![season],
        }
    }
}

/// The events that have not begun, soonest first.
pub(super) fn to_come(season: &Season, now: Timestamp) -> impl Iterator<Item = &Event> {
    let numbered = (0_u32..).map(EventId).zip(&season.events);
    numbered
        .filter(move |(id, event)| !event.cancelled && season.curtain_up(*id) > now)
        .map(|(_, event)| event)
}

/// The page; none if what it is about is not in the season.
pub(super) fn page(board: &Board, book: &Book, now: Timestamp, subject: &Subject) -> Option<EditPage> {
    let season = &board.season;
    let mut page = EditPage {
        school: season.school.clone(),
        season: season.name.clone(),
        as_of: shown::as_of(&season.zone, now),
        heading: String::new(),
        back: ("/season".to_owned(), "The whole season".to_owned()),
        notice: None,
        forms: Vec::new(),
        others: Vec::new(),
    };
    match subject {
        Subject::Event(reference) => {
            let id = board.event(reference)?;
            let event = &season.events[id.at()];
            page.heading = format!("Change {}, {}", event.name, ENGLISH.day(&event.date));
            page.back = (format!("/season/{reference}"), event.name.clone());
            page.forms = of_event(season, event);
            page.others = people_at(board, id);
        }
        Subject::Child(reference) => {
            let item = board.item(reference, crate::domain::board::NO_EVENT)?;
            item.who.child()?;
            let name = season.full_name(item.who);
            page.heading = format!("Change what {name} does");
            page.forms = of_child(book, reference, &name)?;
            let guardians = board.cares_of(item.who).map(|care| &season.guardians[care.guardian.at()]);
            let links: Vec<_> = guardians.map(|g| (person_href(&g.reference), g.name.clone())).collect();
            page.others = vec![("Guardians".to_owned(), links)];
        }
        Subject::Person(reference) => {
            let id = board.guardian(reference)?;
            let name = season.guardians[id.at()].name.clone();
            page.heading = format!("Change how {name} is reached");
            let contact = ContactText::of(book, reference)?;
            page.forms.push(EditForm {
                act: "reached",
                title: "Telephone, mail and language".to_owned(),
                note: "Nobody is told. From now on messages go there.".to_owned(),
                fields: contact_fields(&contact, ""),
                button: "See what it changes".to_owned(),
            });
            if season.chaperones.iter().any(|one| one.reference == *reference) {
                page.heading = format!("Change how {name} is reached, or find a replacement");
                page.forms.push(replacement(season, now, reference));
            }
        }
        Subject::Joins => {
            page.heading = "A child joins the season".to_owned();
            page.forms.push(joins());
        }
    }
    Some(page)
}

fn person_href(reference: &str) -> String {
    format!("/season/change/person?person={reference}")
}

fn field(name: &str, label: &str, entry: PreviewEntry, value: impl Into<String>) -> EditField {
    EditField { name: name.to_owned(), label: label.to_owned(), entry, value: value.into() }
}

fn pick(value: &str, words: impl Into<String>, chosen: bool) -> Pick {
    Pick { value: value.to_owned(), words: words.into(), chosen }
}

/// A question with yes, no, and words for neither.
fn yes_no(name: &str, label: &str, value: &str, neither: &str) -> EditField {
    let answers = [("", neither), ("yes", "yes"), ("no", "no")];
    let picks = answers.map(|(word, words)| pick(word, words, word == value)).to_vec();
    field(name, label, PreviewEntry::Pick(picks), value)
}

fn form(act: &'static str, title: &str, note: &str, fields: Vec<EditField>) -> EditForm {
    EditForm {
        act,
        title: title.to_owned(),
        note: note.to_owned(),
        fields,
        button: "See what it changes".to_owned(),
    }
}

fn of_event(season: &Season, event: &Event) -> Vec<EditForm> {
    let mut forms = Vec::new();
    if event.cancelled {
        let note = "Whoever was told that it is called off is told that it takes place, and asked again.";
        forms.push(form("reinstate", "It takes place after all", note, Vec::new()));
        return forms;
    }
    if event.decide_by.is_some() {
        let note = "The question is closed. Nobody is told, since nobody was told that it was open.";
        forms.push(form("goes_on", "It's still on", note, Vec::new()));
    }
    let note = "Families who know of it are told at once, and by every channel they have when it is close.";
    forms.push(form("call_off", "It is called off", note, Vec::new()));
    let decided = event.decide_by;
    let day = decided.map_or(event.date, |by| by.date()).to_string();
    let hour = decided.map(|by| clock(&by.time())).unwrap_or_default();
    forms.push(form(
        "decide",
        "The weather decides",
        "The hour by which you decide: the season's page counts down to it. Families are told only if it is called \
         off.",
        vec![field("day", "Day", PreviewEntry::Date, day), field("hour", "Hour", PreviewEntry::Time, hour)],
    ));
    let places = season.places.iter().zip(0..);
    let places = places.map(|(place, at)| pick(&place.name, place.name.clone(), at == event.place.at()));
    forms.push(form(
        "move",
        "Another time or place",
        "",
        vec![
            field("date", "Date", PreviewEntry::Date, event.date.to_string()),
            field("call", "Children's call", PreviewEntry::Time, clock(&event.call)),
            field("starts", "It begins", PreviewEntry::Time, clock(&event.starts)),
            field(
                "ends",
                "It ends, as announced",
                PreviewEntry::Time,
                event.ends.as_ref().map(clock).unwrap_or_default(),
            ),
            field("place", "Place", PreviewEntry::Pick(places.collect()), ""),
        ],
    ));
    let place = &season.places[event.place.at()];
    forms.push(form(
        "door",
        &format!("Another door at {}", place.name),
        "For every event at this place.",
        vec![
            field("place", "", PreviewEntry::Hidden, place.reference.clone()),
            field("door", "The door children use", PreviewEntry::Text, place.door.clone()),
            field(
                "collect_at",
                "Collected at; blank for the same door",
                PreviewEntry::Text,
                place.collect_at.clone(),
            ),
        ],
    ));
    let numbers: Vec<Pick> = event
        .order
        .iter()
        .filter_map(|slot| match slot {
            Slot::Number { number, .. } => Some(&season.numbers[number.at()]),
            Slot::Interval(_) => None,
        })
        .map(|number| pick(&number.reference, number.name.clone(), false))
        .collect();
    if numbers.len() > 1 {
        let wheres = vec![
            pick("here", format!("at {}", event.name), true),
            pick(EVERYWHERE, "at every event to come", false),
        ];
        forms.push(form(
            "cut",
            "A number is cut",
            "",
            vec![
                field("number", "Number", PreviewEntry::Pick(numbers), ""),
                field("where", "Where", PreviewEntry::Pick(wheres), ""),
            ],
        ));
    }
    forms
}

/// Children and chaperones of an event, each with a page of their own.
fn people_at(board: &Board, event: EventId) -> Vec<(String, Vec<(String, String)>)> {
    let season = &board.season;
    let at_event = board.programme.at(event).iter();
    let (mut children, mut chaperones) = (Vec::new(), Vec::new());
    for it in at_event {
        let reference = season.reference_of(it.who);
        match it.who {
            Person::Child(_) => {
                children.push((format!("/season/change/child?child={reference}"), season.full_name(it.who)));
            }
            Person::Chaperone(_) => chaperones.push((person_href(reference), season.full_name(it.who))),
        }
    }
    let lists = [("Chaperones there", chaperones), ("Children there", children)];
    let mut lists: Vec<_> = lists.into_iter().map(|(title, links)| (title.to_owned(), links)).collect();
    lists.retain(|(_, links)| !links.is_empty());
    lists.iter_mut().for_each(|(_, links)| links.sort_by(|a, b| a.1.cmp(&b.1)));
    lists
}

fn of_child(book: &Book, reference: &str, name: &str) -> Option<Vec<EditForm>> {
    let row = book.rows("children").iter().find(|row| row.text("ref") == reference)?;
    let numbers = field(
        "numbers",
        "Numbers, with ; between them; place in line and sides after a colon",
        PreviewEntry::Text,
        row.text("numbers"),
    );
    Some(vec![
        form(
            "dances",
            "Other numbers",
            "The guardians are told where that changes a time they know.",
            vec![numbers],
        ),
        form(
            "leaves",
            &format!("{name} leaves the season"),
            "Nothing more is sent about the child; the family is not written to.",
            Vec::new(),
        ),
    ])
}

fn contact_fields(contact: &ContactText, prefix: &str) -> Vec<EditField> {
    let name = |name: &str| format!("{prefix}{name}");
    vec![
        field(&name("mobile"), "Mobile number", PreviewEntry::Text, contact.mobile.clone()),
        field(&name("mail"), "Mail address", PreviewEntry::Text, contact.mail.clone()),
        field(
            &name("language"),
            "Language, such as en; blank for the season's",
            PreviewEntry::Text,
            contact.language.clone(),
        ),
        yes_no(&name("texts"), "May be texted", &contact.texts.to_lowercase(), NOBODY_ASKED),
        yes_no(&name("mails"), "May be mailed", &contact.mails.to_lowercase(), NOBODY_ASKED),
        field(&name("agreed"), "Who agreed, and when", PreviewEntry::Text, contact.agreed.clone()),
    ]
}

fn replacement(season: &Season, now: Timestamp, chaperone: &str) -> EditForm {
    let mut events = vec![pick(EVERYWHERE, "everywhere", true)];
    let at = season.chaperones.iter().position(|one| one.reference == chaperone);
    for event in to_come(season, now) {
        let hers = season.duties.iter().any(|duty| {
            Some(duty.chaperone.at()) == at && season.events[duty.event.at()].reference == event.reference
        });
        if hers {
            events.push(pick(
                &event.reference,
                format!("{}, {}", event.name, ENGLISH.day(&event.date)),
                false,
            ));
        }
    }
    let mut known = vec![pick(NOBODY_KNOWN, "somebody new (name below)", true)];
    let others = season.chaperones.iter().filter(|one| one.reference != chaperone);
    known.extend(others.map(|one| pick(&one.reference, one.name.clone(), false)));
    let mut fields = vec![
        field("event", "Where", PreviewEntry::Pick(events), ""),
        field("known", "Who takes the duties", PreviewEntry::Pick(known), ""),
        field("name", "Full name of somebody new", PreviewEntry::Text, ""),
    ];
    fields.extend(contact_fields(&ContactText::default(), ""));
    let answers = [("yes", "yes"), ("no", "no")].map(|(word, words)| pick(word, words, word == "yes"));
    fields.push(field("adult", "Eighteen or over", PreviewEntry::Pick(answers.to_vec()), ""));
    fields.push(field("vetted_until", "Last day the vetting is valid", PreviewEntry::Date, ""));
    form(
        "replace",
        "Replace this chaperone",
        "The new chaperone gets the list. The old list stops opening at once where no duty is left.",
        fields,
    )
}

fn joins() -> EditForm {
    let mut fields = vec![
        field("given", "Given name", PreviewEntry::Text, ""),
        field("family", "Family name", PreviewEntry::Text, ""),
        field("ages", "Ages, such as 5-6; no birth date", PreviewEntry::Text, ""),
        field("numbers", "Numbers, with ; between them", PreviewEntry::Text, ""),
        field("cast", "Cast; blank for every performance", PreviewEntry::Text, ""),
    ];
    for nth in 1..=GUARDIANS_ASKED {
        let which = if nth == 1 { "First guardian" } else { "Second guardian" };
        let prefix = format!("g{nth}_");
        fields.push(field(&format!("{prefix}name"), &format!("{which}: full name"), PreviewEntry::Text, ""));
        fields.extend(contact_fields(&ContactText::default(), &prefix).into_iter().map(|mut one| {
            one.label = format!("{which}: {}", one.label.to_lowercase());
            one
        }));
        let household = format!("{which}: household; the same word for those who live together");
        fields.push(field(&format!("{prefix}household"), &household, PreviewEntry::Text, ""));
        for (part, words) in [("brings", "brings the child"), ("collects", "collects the child")] {
            fields.push(yes_no(&format!("{prefix}{part}"), &format!("{which}: {words}"), "", "not said"));
        }
    }
    let note = "Notices that the others have already had come as one message. Add further guardians in the workbook.";
    form("joins", "Who it is", note, fields)
}
