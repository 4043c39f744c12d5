//! Children, guardians, households, chaperones and duties.

use super::super::book::{Book, Row};
use super::super::kin::{self, Doubt, Mention};
use super::super::layout::guardian_column;
use super::super::phone::Phones;
use super::super::season::{
    Care, Casting, Chaperone, ChaperoneId, Child, ChildId, Consent, Contact, Duty, EventId,
    Guardian, GuardianId, Household, HouseholdId, Side,
};
use super::super::typed;
use super::super::words::{key, list};
use super::desk::{Desk, Names, Spot, row_list};
use super::programme::{Programme, danced};
use super::settings::Head;
use std::collections::{BTreeMap, BTreeSet, HashMap, HashSet};

/// Places in a line-up at most.
const LINE_MAX: u32 = 500;

/// What these sheets say.
pub(super) struct People {
    pub(super) children: Vec<Child>,
    /// Row of each child.
    pub(super) child_rows: Vec<u32>,
    pub(super) guardians: Vec<Guardian>,
    /// First row each guardian stands in.
    pub(super) guardian_rows: Vec<u32>,
    pub(super) households: Vec<Household>,
    pub(super) cares: Vec<Care>,
    pub(super) chaperones: Vec<Chaperone>,
    /// Row of each chaperone.
    pub(super) chaperone_rows: Vec<u32>,
    pub(super) duties: Vec<Duty>,
    /// Row of each duty.
    pub(super) duty_rows: Vec<u32>,
}

fn index(at: usize) -> u32 {
    u32::try_from(at).unwrap_or(u32::MAX)
}

pub(super) fn read(
    book: &Book,
    head: &Head,
    programme: &Programme,
    phones: &mut Phones,
    desk: &mut Desk,
) -> People {
    let rows = book.rows("children");
    let children: Vec<Child> = rows.iter().map(|row| child(row, programme, desk)).collect();
    let mentions = kin::mentions(book, phones);
    let (person, doubts) = kin::group(&mentions);
    tell_doubts(&doubts, &mentions, rows, desk);
    half_written_guardians(rows, desk);
    let (guardians, guardian_rows) = guardians(rows, &mentions, &person, head, phones, desk);
    let (households, cares) = cares(rows, &mentions, &person, &guardians, desk);
    let (chaperones, names) = chaperones(book, head, phones, desk);
    let (duties, duty_rows) = duties(book, programme, &names, desk);
    People {
        children,
        child_rows: rows.iter().map(|row| row.number).collect(),
        guardians,
        guardian_rows,
        households,
        cares,
        chaperones,
        chaperone_rows: book
            .rows("chaperones")
            .iter()
            .map(|row| row.number)
            .collect(),
        duties,
        duty_rows,
    }
}

fn child(row: &Row, programme: &Programme, desk: &mut Desk) -> Child {
    let ages = row.text("ages");
    let band = if ages.is_empty() {
        Ok(None)
    } else {
        typed::ages(ages).map(Some)
    };
    let ages = band.unwrap_or_else(|reason| {
        desk.error(Spot::cell("children", row, "ages"), reason, "Write a band such as 5-6, no birth date; format the cell as text if the spreadsheet makes a date of it.");
        None
    });
    let mut castings: Vec<Casting> = Vec::new();
    for part in list(row.text("numbers")) {
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
    Child {
        reference: row.text("ref").to_owned(),
        given: row.text("given name").to_owned(),
        family: row.text("family name").to_owned(),
        ages,
        casts: list(row.text("cast")).map(str::to_owned).collect(),
        castings,
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
    let mut casting = Casting {
        number,
        line: None,
        entrance: None,
        exit: None,
    };
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

fn tell_doubts(doubts: &[Doubt], mentions: &[Mention], rows: &[Row], desk: &mut Desk) {
    let number = |at: usize| rows[mentions[at].row].number;
    for doubt in doubts {
        match doubt {
            Doubt::SameName(all) => {
                let numbers: Vec<u32> = all.iter().map(|at| number(*at)).collect();
                let column = guardian_column(mentions[all[0]].slot, "name");
                let reason = format!(
                    "{} name guardians alike but with different telephone numbers and mail addresses; they are taken as different people",
                    row_list(&numbers)
                );
                desk.warn(
                    Spot::named("children", numbers[0], &column),
                    reason,
                    "If they are one person, write the same number or address in each row.",
                );
            }
            Doubt::TwoRefs(first, second) => {
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
            Doubt::TwoNames(first, second) => {
                let column = guardian_column(mentions[*second].slot, "ref");
                let reason = format!(
                    "the same ref stands beside another name in row {}; the first name is used",
                    number(*first)
                );
                desk.warn(
                    Spot::named("children", number(*second), &column),
                    reason,
                    "Empty the ref if they are two people, or write the name alike.",
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

fn contact(
    row: &Row,
    column: impl Fn(&str) -> String,
    sheet: &str,
    head: &Head,
    phones: &mut Phones,
    desk: &mut Desk,
) -> (Contact, bool) {
    let mobile = column("mobile");
    let phone = if row.text(&mobile).is_empty() {
        None
    } else {
        phones.read(row.text(&mobile)).clone().ok()
    };
    let mail = row.text(&column("e-mail"));
    let mail = if mail.is_empty() {
        None
    } else {
        typed::mail(mail).ok()
    };
    let tongue = column("language");
    let written = row.text(&tongue);
    let language = if written.is_empty() {
        head.language.clone()
    } else {
        typed::language(written).unwrap_or_else(|reason| {
            desk.error(
                Spot::cell(sheet, row, &tongue),
                reason,
                "Write a code such as en or es.",
            );
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

/// One household word in one row: those guardians live together.
struct Node {
    row: usize,
    word: String,
    people: Vec<usize>,
}

fn household_nodes(
    rows: &[Row],
    mentions: &[Mention],
    person: &[usize],
) -> (Vec<Node>, Vec<usize>) {
    let mut nodes: Vec<Node> = Vec::new();
    let mut at: HashMap<(usize, String), usize> = HashMap::new();
    let mut node_of = Vec::with_capacity(mentions.len());
    for (mention, person) in mentions.iter().zip(person) {
        let word = key(rows[mention.row].text(&guardian_column(mention.slot, "household")));
        let node = *at.entry((mention.row, word.clone())).or_insert_with(|| {
            nodes.push(Node {
                row: mention.row,
                word,
                people: Vec::new(),
            });
            nodes.len() - 1
        });
        nodes[node].people.push(*person);
        node_of.push(node);
    }
    (nodes, node_of)
}

/// Joins the households of siblings through the guardians they share, but never two that were named apart.
fn join_nodes(nodes: &[Node], rows: &[Row], desk: &mut Desk) -> Vec<usize> {
    let mut parent: Vec<usize> = (0..nodes.len()).collect();
    let mut word: Vec<String> = nodes.iter().map(|n| n.word.clone()).collect();
    fn root(parent: &mut [usize], mut at: usize) -> usize {
        while parent[at] != at {
            parent[at] = parent[parent[at]];
            at = parent[at];
        }
        at
    }
    let mut of_person: BTreeMap<usize, Vec<usize>> = BTreeMap::new();
    for (at, node) in nodes.iter().enumerate() {
        for person in &node.people {
            of_person.entry(*person).or_default().push(at);
        }
    }
    let mut clashes: BTreeSet<(usize, usize)> = BTreeSet::new();
    // Named households join first, so that a blank one meets them whole.
    for all in of_person.values() {
        let mut first_of: HashMap<&str, usize> = HashMap::new();
        for &at in all.iter().filter(|at| !nodes[**at].word.is_empty()) {
            let first = *first_of.entry(&nodes[at].word).or_insert(at);
            let (low, high) = (root(&mut parent, first), root(&mut parent, at));
            parent[low.max(high)] = low.min(high);
        }
    }
    for all in of_person.values() {
        let Some((&first, rest)) = all.split_first() else {
            continue;
        };
        for &at in rest
            .iter()
            .filter(|at| nodes[first].word.is_empty() || nodes[**at].word.is_empty())
        {
            let (a, b) = (root(&mut parent, first), root(&mut parent, at));
            let (low, high) = (a.min(b), a.max(b));
            if low != high
                && !word[low].is_empty()
                && !word[high].is_empty()
                && word[low] != word[high]
            {
                clashes.insert((
                    nodes[first].row.min(nodes[at].row),
                    nodes[first].row.max(nodes[at].row),
                ));
                continue;
            }
            if word[low].is_empty() {
                word[low] = word[high].clone();
            }
            parent[high] = low;
        }
    }
    for (a, b) in clashes.into_iter().filter(|(a, b)| a != b) {
        let reason = format!(
            "row {} and this row place the same guardian in households that do not fit together; those named apart stay apart",
            rows[a].number
        );
        desk.warn(
            Spot::row("children", rows[b].number),
            reason,
            "Write the household of each guardian in both rows.",
        );
    }
    (0..nodes.len()).map(|at| root(&mut parent, at)).collect()
}

fn cares(
    rows: &[Row],
    mentions: &[Mention],
    person: &[usize],
    guardians: &[Guardian],
    desk: &mut Desk,
) -> (Vec<Household>, Vec<Care>) {
    let (nodes, node_of) = household_nodes(rows, mentions, person);
    let roots = join_nodes(&nodes, rows, desk);
    // A guardian whose household is named in one row keeps it where another row leaves it blank.
    let mut named: HashMap<usize, usize> = HashMap::new();
    for (at, node) in nodes.iter().enumerate().filter(|(_, n)| !n.word.is_empty()) {
        for person in &node.people {
            named.entry(*person).or_insert(roots[at]);
        }
    }
    let mut home: Vec<usize> = Vec::with_capacity(mentions.len());
    for (at, node) in node_of.iter().enumerate() {
        let root = roots[*node];
        let own = nodes[*node]
            .word
            .is_empty()
            .then(|| named.get(&person[at]).copied())
            .flatten();
        home.push(own.unwrap_or(root));
    }
    let mut members: BTreeMap<usize, BTreeSet<&str>> = BTreeMap::new();
    for (at, root) in home.iter().enumerate() {
        members
            .entry(*root)
            .or_default()
            .insert(&guardians[person[at]].reference);
    }
    let (ids, households) = household_refs(members);
    let mut cares: Vec<Care> = Vec::new();
    let mut seen: HashSet<(usize, usize)> = HashSet::new();
    for (at, mention) in mentions.iter().enumerate() {
        let row = &rows[mention.row];
        let column = |part: &str| guardian_column(mention.slot, part);
        if !seen.insert((mention.row, person[at])) {
            desk.error(
                Spot::named("children", row.number, &column("name")),
                "the same guardian stands twice beside this child",
                "Keep one of the two.",
            );
            continue;
        }
        cares.push(Care {
            child: ChildId(index(mention.row)),
            guardian: GuardianId(index(person[at])),
            household: ids[&home[at]],
            brings: typed::yes_no(row.text(&column("brings"))).unwrap_or(false),
            collects: typed::yes_no(row.text(&column("collects"))).unwrap_or(false),
        });
    }
    (households, cares)
}

/// A household is called after the smallest ref among its guardians, with a letter where two would be called alike.
fn household_refs(
    members: BTreeMap<usize, BTreeSet<&str>>,
) -> (HashMap<usize, HouseholdId>, Vec<Household>) {
    let mut order: Vec<(Vec<&str>, usize)> = members
        .into_iter()
        .map(|(root, refs)| (refs.into_iter().collect(), root))
        .collect();
    order.sort();
    let mut ids = HashMap::new();
    let mut households = Vec::new();
    let mut used: HashMap<&str, u8> = HashMap::new();
    for (refs, root) in &order {
        let smallest = refs.first().copied().unwrap_or_default();
        let times = used.entry(smallest).or_insert(0);
        let reference = match *times {
            0 => format!("H{smallest}"),
            again => format!("H{smallest}-{}", again + 1),
        };
        *times = times.saturating_add(1);
        ids.insert(*root, HouseholdId(index(households.len())));
        households.push(Household { reference });
    }
    (ids, households)
}

fn chaperones(
    book: &Book,
    head: &Head,
    phones: &mut Phones,
    desk: &mut Desk,
) -> (Vec<Chaperone>, Names<ChaperoneId>) {
    let mut chaperones = Vec::new();
    let mut names = Names::new("chaperones");
    for row in book.rows("chaperones") {
        let name = row.text("name");
        if !name.is_empty() && !names.add(name, ChaperoneId(index(chaperones.len()))) {
            desk.error(
                Spot::cell("chaperones", row, "name"),
                "another chaperone has this name, so duties cannot tell them apart",
                "Add something that tells them apart, such as a second name.",
            );
        }
        let (contact, _) = contact(row, str::to_owned, "chaperones", head, phones, desk);
        chaperones.push(Chaperone {
            reference: row.text("ref").to_owned(),
            name: name.to_owned(),
            contact,
            adult: typed::yes_no(row.text("adult")).unwrap_or(true),
            vetted_until: typed::date(row.text("vetted until")).ok(),
        });
    }
    (chaperones, names)
}

fn duties(
    book: &Book,
    programme: &Programme,
    names: &Names<ChaperoneId>,
    desk: &mut Desk,
) -> (Vec<Duty>, Vec<u32>) {
    let mut duties: Vec<Duty> = Vec::new();
    let mut rows = Vec::new();
    let mut seen = HashSet::new();
    let at_event: Vec<_> = programme.events.iter().map(danced).collect();
    for row in book.rows("duties") {
        let chaperone = lookup(names, row, "chaperone", desk);
        let number = if row.text("number").is_empty() {
            Some(None)
        } else {
            lookup(&programme.number_names, row, "number", desk).map(Some)
        };
        let everywhere = key(row.text("event")) == "all";
        let events: Vec<EventId> = if everywhere {
            (0..programme.events.len())
                .map(|at| EventId(index(at)))
                .collect()
        } else {
            lookup(&programme.event_names, row, "event", desk)
                .into_iter()
                .collect()
        };
        let (Some(chaperone), Some(number)) = (chaperone, number) else {
            continue;
        };
        let mut used = false;
        for event in events {
            let not_danced = number.is_some_and(|number| !at_event[event.at()].contains(&number));
            if not_danced && everywhere {
                continue;
            }
            if not_danced {
                desk.warn(
                    Spot::cell("duties", row, "number"),
                    "the number is not danced at this event",
                    "Check the event, or its running order.",
                );
            }
            used = true;
            if !seen.insert((chaperone, event, number, key(row.text("task")))) {
                desk.warn(
                    Spot::row("duties", row.number),
                    "this duty is listed already",
                    "Keep one of the two lines.",
                );
                continue;
            }
            rows.push(row.number);
            duties.push(Duty {
                chaperone,
                event,
                number,
                task: row.text("task").to_owned(),
                signs_in: typed::yes_no(row.text("signs in")).unwrap_or(false),
                signs_out: typed::yes_no(row.text("signs out")).unwrap_or(false),
            });
        }
        if everywhere && !used {
            desk.warn(
                Spot::cell("duties", row, "number"),
                "the number is not danced at any event",
                "Check the number, or the running orders.",
            );
        }
    }
    (duties, rows)
}

fn lookup<Id: Copy + PartialEq>(
    names: &Names<Id>,
    row: &Row,
    column: &str,
    desk: &mut Desk,
) -> Option<Id> {
    let text = row.text(column);
    if text.is_empty() {
        None
    } else {
        names.find(text, Spot::cell("duties", row, column), desk)
    }
}
