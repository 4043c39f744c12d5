//! Lasting names of workbook rows: `C001` for a child, `E003` for an event, `G012` for a guardian.
//!
//! A row with a ref keeps it. A row without one is matched by its content to a row known before, or gets the next
//! free number, in an order that depends on content alone: the same file in another order gets the same refs.
//! Where two readings are possible nothing is assigned and a question is asked.

mod guardians;

use crate::domain::book::{Book, Cell, Row};
use crate::domain::layout::{GUARDIAN_LETTER, GUARDIANS_PER_CHILD, SHEETS, guardian_column, setting_text};
use crate::domain::phone::Phones;
use crate::domain::season::Ref;
use crate::domain::words::{key, list};
use std::collections::{BTreeMap, BTreeSet, HashMap};

/// Digits of a new ref at least.
const DIGITS: usize = 3;
/// Characters of a ref at most.
const REF_MAX_CHARS: usize = 12;

/// Something only a person can decide before a workbook may be taken in.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Question {
    /// Sheet name.
    pub sheet: String,
    /// Row as the spreadsheet numbers it.
    pub row: u32,
    /// The column the answer goes into.
    pub column: String,
    /// What is not clear, one sentence.
    pub reason: String,
    /// How to answer, one sentence.
    pub cure: String,
    /// Refs that may be meant.
    pub candidates: Vec<Ref>,
}

/// What makes a row itself, apart from its ref.
#[derive(Debug, Default, Clone)]
struct Face {
    /// Name by which people know it.
    name: String,
    /// Numbers danced, or the date: what tells two of one name apart.
    marks: BTreeSet<String>,
    /// Ways to reach those it concerns.
    contacts: BTreeSet<String>,
    /// Everything written in the row but refs.
    all: String,
}

impl Face {
    /// Whether something besides the name agrees.
    fn agrees(&self, other: &Face) -> bool {
        !self.marks.is_disjoint(&other.marks) || !self.contacts.is_disjoint(&other.contacts)
    }
}

/// The highest number given out under each letter, also to rows that are gone.
pub type Given = BTreeMap<char, u64>;

/// Gives every row that has a ref column its ref, from the workbook taken in before where there is one.
/// Rows a question is asked about are left without; nothing may be taken in until there are no questions.
pub fn adopt(book: &mut Book, previous: Option<&Book>) -> Vec<Question> {
    let mut phones = Phones::new(setting_text(book, "country"));
    adopt_with(book, previous, &Given::new(), &mut phones)
}

/// As [`adopt`], and no new ref is one that was given out before.
pub fn adopt_above(book: &mut Book, previous: Option<&Book>, given: &Given) -> Vec<Question> {
    let mut phones = Phones::new(setting_text(book, "country"));
    adopt_with(book, previous, given, &mut phones)
}

/// As [`adopt`], with the numbers read so far, in the workbook's country.
pub(super) fn adopt_with(
    book: &mut Book,
    previous: Option<&Book>,
    given: &Given,
    phones: &mut Phones,
) -> Vec<Question> {
    let mut questions = Vec::new();
    for sheet in SHEETS {
        let Some(letter) = sheet.letter else { continue };
        if is_known(book, previous, sheet.name) {
            continue;
        }
        let faces = faces(book.rows(sheet.name), sheet.name, phones);
        let old_rows = previous.map_or(&[][..], |old| old.rows(sheet.name));
        let old_faces = self::faces(old_rows, sheet.name, phones);
        let old: Vec<(Ref, Face)> = old_rows
            .iter()
            .map(|row| row.text("ref").to_uppercase())
            .zip(old_faces)
            .filter(|(r, _)| !r.is_empty())
            .collect();
        let given = given.get(&letter).copied().unwrap_or(0);
        let task = Task { sheet: sheet.name, letter, faces, old, known: previous.is_some(), given };
        task.run(book, &mut questions);
    }
    if !(is_known(book, previous, "children") && is_known(book, previous, "chaperones")) {
        guardians::adopt(book, previous, given, phones, &mut questions);
    }
    questions
}

/// The highest number given out under each letter, once those of a workbook are among them.
pub fn given_with(before: &Given, book: &Book) -> Given {
    let mut given = before.clone();
    let mut note = |letter: char, reference: &str| {
        if let Some(number) = reference.strip_prefix(letter).and_then(|digits| digits.parse::<u64>().ok()) {
            let known = given.entry(letter).or_insert(0);
            *known = number.max(*known);
        }
    };
    for sheet in SHEETS {
        let Some(letter) = sheet.letter else { continue };
        book.rows(sheet.name).iter().for_each(|row| note(letter, row.text("ref")));
    }
    let columns: Vec<String> = (1..=GUARDIANS_PER_CHILD).map(|slot| guardian_column(slot, "ref")).collect();
    for row in book.rows("children") {
        columns.iter().for_each(|column| note(GUARDIAN_LETTER, row.text(column)));
    }
    given
}

/// Whether a sheet is as it was, and so has all its refs.
fn is_known(book: &Book, previous: Option<&Book>, sheet: &str) -> bool {
    let rows = book.rows(sheet);
    let known = previous.is_some_and(|old| old.agrees(book, sheet));
    known && rows.iter().all(|row| !row.text("ref").is_empty())
}

fn faces(rows: &[Row], sheet: &str, phones: &mut Phones) -> Vec<Face> {
    rows.iter().map(|row| face(row, sheet, phones)).collect()
}

fn face(row: &Row, sheet: &str, phones: &mut Phones) -> Face {
    let mut face = Face { name: key(row.text("name")), ..Face::default() };
    for (column, cell) in &row.cells {
        if column == "ref" || column.ends_with(" ref") {
            continue;
        }
        let Cell::Text(text) = cell else { continue };
        face.all.push_str(column);
        face.all.push('\u{1f}');
        face.all.push_str(text);
        face.all.push('\u{1e}');
        if column.ends_with("mobile") {
            face.contacts.insert(phones.key(text));
        } else if column.ends_with("e-mail") {
            face.contacts.insert(key(text));
        }
    }
    match sheet {
        "children" => {
            face.name = key(&format!("{} {}", row.text("given name"), row.text("family name")));
            face.marks =
                list(row.text("numbers")).map(|part| key(part.split(':').next().unwrap_or(part))).collect();
        }
        "events" => {
            face.marks.insert(key(row.text("date")));
        }
        "house rules" => {
            face.marks.insert(key(row.text("event")));
        }
        _ => {}
    }
    face
}

/// The work on one sheet.
struct Task {
    sheet: &'static str,
    letter: char,
    faces: Vec<Face>,
    old: Vec<(Ref, Face)>,
    known: bool,
    /// The highest number given out before.
    given: u64,
}

impl Task {
    fn run(&self, book: &mut Book, questions: &mut Vec<Question>) {
        if !book.sheets.iter().any(|s| s.name == self.sheet) {
            return;
        }
        let rows = &mut book.sheet_mut(self.sheet).rows;
        let mut claimed: BTreeMap<Ref, usize> = BTreeMap::new();
        self.keep_written(rows, &mut claimed, questions);
        let asked = self.match_known(rows, &mut claimed, questions);
        let known = highest(claimed.keys().chain(self.old.iter().map(|(r, _)| r)), self.letter);
        let mut next = known.max(self.given) + 1;
        let mut fresh: Vec<usize> =
            (0..rows.len()).filter(|at| rows[*at].text("ref").is_empty() && !asked.contains(at)).collect();
        fresh.sort_by(|a, b| {
            (&self.faces[*a].name, &self.faces[*a].all).cmp(&(&self.faces[*b].name, &self.faces[*b].all))
        });
        let mut shared: HashMap<(&str, &BTreeSet<String>), Ref> = HashMap::new();
        if self.sheet == "house rules" {
            for (reference, at) in &claimed {
                shared.entry(self.rule(*at)).or_insert_with(|| reference.clone());
            }
        }
        for at in fresh {
            let reference = match shared.get(&self.rule(at)) {
                Some(reference) => reference.clone(),
                None => {
                    next += 1;
                    made(self.letter, next - 1)
                }
            };
            if self.sheet == "house rules" {
                shared.insert(self.rule(at), reference.clone());
            }
            rows[at].set("ref", reference);
        }
    }

    /// Lines of one house rule, in its several languages, share this.
    fn rule(&self, at: usize) -> (&str, &BTreeSet<String>) {
        (&self.faces[at].name, &self.faces[at].marks)
    }

    fn keep_written(
        &self,
        rows: &mut [Row],
        claimed: &mut BTreeMap<Ref, usize>,
        questions: &mut Vec<Question>,
    ) {
        let old: BTreeSet<&Ref> = self.old.iter().map(|(r, _)| r).collect();
        for at in 0..rows.len() {
            let written = rows[at].text("ref").to_uppercase();
            if written.is_empty() {
                continue;
            }
            rows[at].set("ref", written.clone());
            if let Some(problem) = malformed(&written, self.letter) {
                questions.push(self.question(
                    rows,
                    at,
                    problem,
                    "Empty the cell to have one given.",
                    Vec::new(),
                ));
                continue;
            }
            if self.known && !old.contains(&written) {
                let reason = format!("the ref {written} was never given out by this program");
                questions.push(self.question(
                    rows,
                    at,
                    reason,
                    "Empty the cell if this is a new line, or write the ref it had.",
                    Vec::new(),
                ));
            }
            match claimed.get(&written) {
                Some(first) if self.sheet == "house rules" && self.rule(*first) == self.rule(at) => {}
                Some(first) => {
                    let reason = format!(
                        "the ref {written} stands in row {} too, so the program cannot tell the two lines apart",
                        rows[*first].number
                    );
                    questions.push(self.question(
                        rows,
                        at,
                        reason,
                        "Leave the ref on the line it was given to and empty the other.",
                        vec![written],
                    ));
                }
                None => {
                    claimed.insert(written, at);
                }
            }
        }
    }

    /// Matches rows without a ref to rows known before; gives back the rows a question was asked about.
    fn match_known(
        &self,
        rows: &mut [Row],
        claimed: &mut BTreeMap<Ref, usize>,
        questions: &mut Vec<Question>,
    ) -> BTreeSet<usize> {
        let mut asked = BTreeSet::new();
        let open: Vec<usize> = (0..rows.len()).filter(|at| rows[*at].text("ref").is_empty()).collect();
        // First the rows written exactly as before, then those whose name and something else agree.
        let mut left = Vec::new();
        let whole =
            count_by(self.old.iter().filter(|(r, _)| !claimed.contains_key(r)).map(|(_, f)| f.all.as_str()));
        let mine = count_by(open.iter().map(|at| self.faces[*at].all.as_str()));
        let by_all: HashMap<&str, &Ref> = self
            .old
            .iter()
            .filter(|(r, _)| !claimed.contains_key(r))
            .map(|(r, f)| (f.all.as_str(), r))
            .collect();
        for at in open {
            let all = self.faces[at].all.as_str();
            match by_all.get(all) {
                Some(reference)
                    if (whole.get(all), mine.get(all)) == (Some(&1), Some(&1))
                        || self.sheet == "house rules" =>
                {
                    rows[at].set("ref", (*reference).clone());
                    claimed.insert((*reference).clone(), at);
                }
                _ => left.push(at),
            }
        }
        let mut by_name: HashMap<&str, Vec<&(Ref, Face)>> = HashMap::new();
        for old in self.old.iter().filter(|(r, _)| !claimed.contains_key(r)) {
            by_name.entry(&old.1.name).or_default().push(old);
        }
        let rivals = count_by(left.iter().map(|at| self.faces[*at].name.as_str()));
        for at in left {
            let name = self.faces[at].name.as_str();
            let candidates = by_name.get(name).map_or(&[][..], Vec::as_slice);
            match self.decide(at, candidates, rivals.get(name).copied().unwrap_or(0)) {
                Decision::New => {}
                Decision::Is(reference) => {
                    claimed.insert(reference.clone(), at);
                    rows[at].set("ref", reference);
                }
                Decision::Ask(candidates) => {
                    asked.insert(at);
                    let numbers: Vec<String> = candidates.to_vec();
                    let reason =
                        format!("this line may be one known before ({}) or a new one", numbers.join(", "));
                    questions.push(self.question(
                        rows,
                        at,
                        reason,
                        "Write the ref of the line it is, or the next free one if it is new.",
                        candidates,
                    ));
                }
            }
        }
        asked
    }

    fn decide(&self, at: usize, candidates: &[&(Ref, Face)], rivals: usize) -> Decision {
        let face = &self.faces[at];
        let refs =
            || candidates.iter().map(|(r, _)| r.clone()).collect::<BTreeSet<_>>().into_iter().collect();
        let distinct: BTreeSet<&Ref> = candidates.iter().map(|(r, _)| r).collect();
        match (self.sheet, distinct.len()) {
            (_, 0) => Decision::New,
            ("house rules", _) => match candidates.iter().find(|(_, f)| f.marks == face.marks) {
                Some((reference, _)) => Decision::Is(reference.clone()),
                None => Decision::New,
            },
            // A name alone is enough where names are unique by rule.
            ("numbers" | "places" | "notices" | "events", 1) if rivals == 1 => {
                Decision::Is(candidates[0].0.clone())
            }
            ("children" | "chaperones", 1) if rivals == 1 && face.agrees(&candidates[0].1) => {
                Decision::Is(candidates[0].0.clone())
            }
            ("events", _) => {
                let same: Vec<_> = candidates.iter().filter(|(_, f)| f.marks == face.marks).collect();
                match same[..] {
                    [one] => Decision::Is(one.0.clone()),
                    _ => Decision::Ask(refs()),
                }
            }
            _ => Decision::Ask(refs()),
        }
    }

    fn question(
        &self,
        rows: &[Row],
        at: usize,
        reason: String,
        cure: &str,
        candidates: Vec<Ref>,
    ) -> Question {
        Question {
            sheet: self.sheet.to_owned(),
            row: rows[at].number,
            column: "ref".to_owned(),
            reason,
            cure: cure.to_owned(),
            candidates,
        }
    }
}

enum Decision {
    New,
    Is(Ref),
    Ask(Vec<Ref>),
}

fn count_by<'a>(items: impl Iterator<Item = &'a str>) -> HashMap<&'a str, usize> {
    let mut counts = HashMap::new();
    for item in items {
        *counts.entry(item).or_insert(0) += 1;
    }
    counts
}

fn malformed(reference: &str, letter: char) -> Option<String> {
    let digits = reference.strip_prefix(letter).unwrap_or("");
    let fits =
        !digits.is_empty() && digits.bytes().all(|b| b.is_ascii_digit()) && reference.len() <= REF_MAX_CHARS;
    (!fits).then(|| {
        format!(
            "'{}' is not a ref: one is {letter} and digits, such as {letter}001",
            crate::domain::typed::shown(reference)
        )
    })
}

fn made(letter: char, number: u64) -> Ref {
    format!("{letter}{number:0DIGITS$}")
}

fn highest<'a>(refs: impl Iterator<Item = &'a Ref>, letter: char) -> u64 {
    refs.filter_map(|r| r.strip_prefix(letter)?.parse().ok()).max().unwrap_or(0)
}
