//! Where problems are collected, and how rows and names are told of.

use super::super::book::{Problem, Row, Weight};
use super::super::typed::shown;
use super::super::words::{bare, did_you_mean, key, near};
use std::collections::{HashMap, HashSet};

/// Findings, and how many more there are.
pub(super) type Found = (Vec<Finding>, usize);

/// Problems told of one workbook at most; beyond that a person mends some and looks again.
const PROBLEMS_MAX: usize = 2_000;
/// Rows named in one sentence at most.
const ROWS_NAMED: usize = 8;

/// A place in the workbook.
#[derive(Debug, Clone, Copy)]
pub(super) struct Spot<'a> {
    sheet: &'a str,
    row: Option<u32>,
    column: Option<&'a str>,
}

impl<'a> Spot<'a> {
    pub(super) fn sheet(sheet: &'a str) -> Self {
        Spot { sheet, row: None, column: None }
    }
    pub(super) fn row(sheet: &'a str, row: u32) -> Self {
        Spot { sheet, row: Some(row), column: None }
    }
    pub(super) fn cell(sheet: &'a str, row: &Row, column: &'a str) -> Self {
        Spot::named(sheet, row.number, column)
    }
    pub(super) fn named(sheet: &'a str, row: u32, column: &'a str) -> Self {
        Spot { sheet, row: Some(row), column: Some(column) }
    }
}

/// Where the list of alike cases stands in [`Alike::many`], and where their number; nobody types such signs.
pub(super) const CASES: char = '\u{E000}';
/// See [`CASES`].
pub(super) const COUNT: char = '\u{E001}';
/// Alike cases named in one sentence at most.
const ALIKE_NAMED: usize = 8;

/// What is told once of several cases.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Alike {
    /// The sentence for several, with [`CASES`] and perhaps [`COUNT`] in it.
    pub(super) many: String,
    /// This case in that list.
    pub(super) case: String,
}

/// A problem, and how it is told beside others like it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Finding {
    problem: Problem,
    alike: Option<Alike>,
}

/// Problems found so far.
#[derive(Debug, Default)]
pub(super) struct Desk {
    findings: Vec<Finding>,
    untold: usize,
    errors: bool,
}

impl Desk {
    pub(super) fn error(&mut self, spot: Spot<'_>, reason: impl Into<String>, cure: &str) {
        self.errors = true;
        self.put(Weight::Error, spot, reason.into(), cure, None);
    }

    pub(super) fn warn(&mut self, spot: Spot<'_>, reason: impl Into<String>, cure: &str) {
        self.put(Weight::Warning, spot, reason.into(), cure, None);
    }

    pub(super) fn hint(&mut self, spot: Spot<'_>, reason: impl Into<String>, cure: &str) {
        self.put(Weight::Hint, spot, reason.into(), cure, None);
    }

    /// A warning that is told once for all cases alike.
    pub(super) fn warn_alike(&mut self, spot: Spot<'_>, reason: String, alike: Alike, cure: &str) {
        self.put(Weight::Warning, spot, reason, cure, Some(alike));
    }

    /// A hint that is told once for all cases alike.
    pub(super) fn hint_alike(&mut self, spot: Spot<'_>, reason: String, alike: Alike, cure: &str) {
        self.put(Weight::Hint, spot, reason, cure, Some(alike));
    }

    /// An error that is told once for all cases alike.
    pub(super) fn error_alike(&mut self, spot: Spot<'_>, reason: String, alike: Alike, cure: &str) {
        self.errors = true;
        self.put(Weight::Error, spot, reason, cure, Some(alike));
    }

    fn put(&mut self, weight: Weight, spot: Spot<'_>, reason: String, cure: &str, alike: Option<Alike>) {
        if self.findings.len() >= PROBLEMS_MAX {
            self.untold += 1;
            return;
        }
        let problem = Problem {
            weight,
            sheet: spot.sheet.to_owned(),
            row: spot.row,
            column: spot.column.map(str::to_owned),
            reason,
            cure: cure.to_owned(),
        };
        self.findings.push(Finding { problem, alike });
    }

    pub(super) fn has_errors(&self) -> bool {
        self.errors
    }

    /// The problems as they were found, and how many more there are.
    pub(super) fn found(self) -> Found {
        (self.findings, self.untold)
    }

    /// Problems found before, of what is as it was.
    pub(super) fn again(&mut self, (findings, untold): &Found) {
        self.errors |= findings.iter().any(|finding| finding.problem.weight == Weight::Error);
        let room = PROBLEMS_MAX.saturating_sub(self.findings.len()).min(findings.len());
        self.findings.extend_from_slice(&findings[..room]);
        self.untold += findings.len() - room + untold;
    }

    /// The problems by weight, sheet and row, alike ones as one.
    pub(super) fn finish(mut self) -> Vec<Problem> {
        let place = |name: &str| super::SHEETS.iter().position(|s| s.name == name);
        let by_place = |p: &Problem| (p.weight, place(&p.sheet), p.row);
        self.findings.sort_by_key(|finding| by_place(&finding.problem));
        // A line that comes round again is looked at once a date; what is wrong with it is told once.
        let mut told = HashSet::new();
        self.findings.retain(|Finding { problem: p, .. }| {
            told.insert((p.sheet.clone(), p.row, p.column.clone(), p.reason.clone()))
        });
        let mut problems = together(self.findings);
        if self.untold > 0 {
            problems.push(Problem {
                weight: if self.errors { Weight::Error } else { Weight::Warning },
                sheet: String::new(),
                row: None,
                column: None,
                reason: format!("{} more problems are not listed", self.untold),
                cure: "Fix the ones above and check again.".to_owned(),
            });
        }
        problems
    }
}

/// Alike findings as one, where the first of them stands.
fn together(findings: Vec<Finding>) -> Vec<Problem> {
    let mut out: Vec<(Problem, Option<String>, Vec<String>)> = Vec::new();
    let mut known: HashMap<(String, Option<String>, String, String), usize> = HashMap::new();
    for Finding { problem, alike } in findings {
        let Some(Alike { many, case }) = alike else {
            out.push((problem, None, Vec::new()));
            continue;
        };
        let key = (problem.sheet.clone(), problem.column.clone(), many.clone(), problem.cure.clone());
        match known.get(&key) {
            Some(at) => out[*at].2.push(case),
            None => {
                known.insert(key, out.len());
                out.push((problem, Some(many), vec![case]));
            }
        }
    }
    let told = |(mut problem, many, cases): (Problem, Option<String>, Vec<String>)| {
        if let Some(many) = many.filter(|_| cases.len() > 1) {
            problem.reason = many.replace(CASES, &named(&cases)).replace(COUNT, &cases.len().to_string());
        }
        problem
    };
    out.into_iter().map(told).collect()
}

/// `a`, `a and b`, `a, b and 3 more`.
fn named(cases: &[String]) -> String {
    let shown = if cases.len() > ALIKE_NAMED + 1 { ALIKE_NAMED } else { cases.len() };
    match (&cases[..shown], cases.len() - shown) {
        ([one], 0) => one.clone(),
        ([head @ .., last], 0) => format!("{} and {last}", head.join(", ")),
        (all, more) => format!("{} and {more} more", all.join(", ")),
    }
}

/// `3 rows`, `1 row`.
pub(super) fn counted(count: usize, one: &str, many: &str) -> String {
    format!("{count} {}", if count == 1 { one } else { many })
}

/// `row 5`, `rows 5, 9 and 12`, `rows 5, 9, 12 and 40 more`.
pub(super) fn row_list(rows: &[u32]) -> String {
    let named: Vec<String> = rows.iter().take(ROWS_NAMED).map(u32::to_string).collect();
    let more = rows.len() - named.len();
    match (&named[..], more) {
        ([one], 0) => format!("row {one}"),
        ([head @ .., last], 0) => format!("rows {} and {last}", head.join(", ")),
        (all, more) => format!("rows {} and {more} more", all.join(", ")),
    }
}

/// `2 children (rows 5 and 9) are`, `1 child (row 5) is`.
pub(super) fn children_are(rows: &[u32]) -> String {
    let is = if rows.len() == 1 { "is" } else { "are" };
    format!("{} ({}) {is}", counted(rows.len(), "child", "children"), row_list(rows))
}

/// The names of one sheet, to be looked up from the others.
#[derive(Debug, Clone)]
pub(super) struct Names<Id> {
    /// The sheet they stand on.
    sheet: &'static str,
    by_key: HashMap<String, Vec<Id>>,
    /// The same without accents, for whoever leaves them out.
    by_bare: HashMap<String, Vec<Id>>,
    written: Vec<String>,
    /// Names of lines that could not be read: a complaint about each use would only hide the cause.
    broken: HashSet<String>,
}

impl<Id: Copy + PartialEq> Names<Id> {
    pub(super) fn new(sheet: &'static str) -> Self {
        Names {
            sheet,
            by_key: HashMap::new(),
            by_bare: HashMap::new(),
            written: Vec::new(),
            broken: HashSet::new(),
        }
    }

    /// Adds a name; says whether it was free.
    pub(super) fn add(&mut self, name: &str, id: Id) -> bool {
        let ids = self.by_key.entry(key(name)).or_default();
        if !ids.contains(&id) {
            ids.push(id);
        }
        let free = ids.len() == 1;
        let bare = self.by_bare.entry(bare(name)).or_default();
        if !bare.contains(&id) {
            bare.push(id);
        }
        self.written.push(name.to_owned());
        free
    }

    /// Adds the name of a line that could not be read; looking it up finds nothing and complains of nothing.
    pub(super) fn add_broken(&mut self, name: &str) {
        self.broken.insert(key(name));
    }

    pub(super) fn has(&self, name: &str) -> bool {
        !self.all(name).is_empty()
    }

    /// Every row of that name.
    pub(super) fn all(&self, name: &str) -> &[Id] {
        let exact = self.by_key.get(&key(name));
        exact.or_else(|| self.by_bare.get(&bare(name))).map_or(&[], Vec::as_slice)
    }

    /// The row of that name; an error at the spot when there is none, or more than one.
    pub(super) fn find(&self, name: &str, spot: Spot<'_>, desk: &mut Desk) -> Option<Id> {
        match self.all(name) {
            [one] => Some(*one),
            [_, ..] => {
                let more = if self.sheet == "events" {
                    "Write the date after the name, such as 'Class visit 2027-05-04'."
                } else {
                    "Give each a name of its own."
                };
                desk.error(
                    spot,
                    format!("'{}' names more than one line of the sheet '{}'", shown(name), self.sheet),
                    more,
                );
                None
            }
            [] if self.broken.contains(&key(name)) => None,
            // A slip in the name of a line that could not be read is looked for when that line can be.
            [] if near(name, self.written.iter().map(String::as_str)).is_none()
                && near(name, self.broken.iter().map(String::as_str)).is_some() =>
            {
                None
            }
            [] => {
                let cure = did_you_mean(
                    name,
                    self.written.iter().map(String::as_str),
                    &format!("Add it to the sheet '{}', or use a name that is there.", self.sheet),
                );
                desk.error(spot, format!("'{}' is not on the sheet '{}'", shown(name), self.sheet), &cure);
                None
            }
        }
    }
}
