//! The plan of notices that a season starts from, and what each of them rests on.
//!
//! Most findings are from clinics, courts, family programmes and schools, none from children's theatre: a direction and no
//! promise. Days before and hours are cells and settings of the workbook; where no finding gives them they are planning
//! figures of ours.

use super::{Mark, Source};

/// What was found, in what.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Finding {
    /// What was found, with its figures, as the beginning of a sentence.
    pub words: &'static str,
    /// Where it is published.
    pub source: Source,
}

/// What a notice rests on.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Ground {
    /// A published finding.
    Found(Finding),
    /// What the trade does, for which there is no source.
    Practice(&'static str),
    /// What we assume.
    Ours(&'static str),
}

impl Ground {
    /// The ground in words, with its source or the mark that there is none.
    pub fn words(&self) -> String {
        match self {
            Ground::Found(Finding { words, source }) => format!("{words} ({})", source.words()),
            Ground::Practice(words) => format!("{words} (common practice, no source)"),
            Ground::Ours(words) => format!("{words} (a planning figure of ours)"),
        }
    }
}

/// Several grounds as one sentence.
pub fn sentence(grounds: &[Ground]) -> String {
    let words: Vec<String> = grounds.iter().map(Ground::words).collect();
    if words.is_empty() { String::new() } else { format!("{}.", words.join("; ")) }
}

/// One notice of the starting set, in the words of the workbook.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Starter {
    /// Its name.
    pub name: &'static str,
    /// What it is about.
    pub about: &'static str,
    /// Who gets it.
    pub to: &'static str,
    /// What it is counted from.
    pub from: &'static str,
    /// Days before that.
    pub days: u32,
    /// Local time of day.
    pub at: &'static str,
    /// By which channels.
    pub by: &'static str,
    /// Whether an answer is owed.
    pub owes: bool,
    /// Its wording.
    pub wording: &'static str,
    /// Hours after which the other channel follows; none: it does not.
    pub other_channel: Option<u32>,
    /// What it rests on.
    pub grounds: &'static [Ground],
}

impl Starter {
    /// Its row of the sheet `notices`.
    pub fn cells(&self) -> Vec<(&'static str, String)> {
        let mut cells = vec![
            ("name", self.name.to_owned()),
            ("about", self.about.to_owned()),
            ("to", self.to.to_owned()),
            ("counted from", self.from.to_owned()),
            ("days before", self.days.to_string()),
            ("at", self.at.to_owned()),
            ("by", self.by.to_owned()),
            ("answer owed", if self.owes { "yes" } else { "no" }.to_owned()),
            ("wording", self.wording.to_owned()),
            ("why", sentence(self.grounds)),
        ];
        if let Some(hours) = self.other_channel {
            cells.push(("other channel after", hours.to_string()));
        }
        cells
    }
}

/// What people do beside the messages. Its days before are a setting.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum ReminderStep {
    /// Signatures at the class door.
    ClassDoor,
    /// Calls by volunteers.
    Calls,
    /// From the day of the first show on only what changes is told.
    OnlyChanges,
}

impl ReminderStep {
    /// All steps, in order.
    pub const ALL: [ReminderStep; 3] =
        [ReminderStep::ClassDoor, ReminderStep::Calls, ReminderStep::OnlyChanges];

    /// What is done, and by whom.
    pub fn words(self) -> &'static str {
        match self {
            ReminderStep::ClassDoor => {
                "At the class door, paper and pen in hand: whoever has not answered signs there"
            }
            ReminderStep::Calls => {
                "Volunteers ring those who have still not answered, in their own language, and note what they say"
            }
            ReminderStep::OnlyChanges => {
                "On the days of the shows a message goes only where something changes, old time and new"
            }
        }
    }

    /// What it rests on.
    pub fn grounds(self) -> &'static [Ground] {
        match self {
            ReminderStep::ClassDoor => &[IN_PERSON, CLASS_VISITS],
            ReminderStep::Calls => &[CALLS_LAST],
            ReminderStep::OnlyChanges => &[URGENT],
        }
    }
}

/// A finding whose text was read.
const fn seen(words: &'static str, body: &'static str, document: &'static str, year: u16) -> Ground {
    Ground::Found(Finding { words, source: Source { body, document, year: Some(year), mark: Mark::Seen } })
}

/// News that does not press is wanted by mail.
pub const NEWS_BY_MAIL: Ground = seen(
    "68% of parents want general news by mail",
    "Education press",
    "survey of parents in the United States, 15 October",
    2019,
);
/// What follows a first letter comes back more often.
pub const PRIMER: Ground = seen(
    "12.5% of forms posted after a first letter came back, and 2.5% of those posted without one",
    "Journal of School Health",
    "consent forms by channel, PMC5963279, table 3",
    2017,
);
/// What a text beside a mail brings, and what it does not.
pub const TEXT_BESIDE_MAIL: Ground = seen(
    "A text beside a mail brought answers sooner, though not more of them in the end",
    "Pew Research Center",
    "text messages beside invitations by mail",
    2016,
);
/// A form in a parent's own hand.
pub const IN_PERSON: Ground = seen(
    "35% of forms handed to a parent came back, 8.3% of those sent home with a child and 2.5% of those posted",
    "Journal of School Health",
    "consent forms by channel, PMC5963279, table 3",
    2017,
);
/// Visits to the class.
pub const CLASS_VISITS: Ground = seen(
    "With visits to the class and a reward for it 98% of the forms of 811 pupils were returned",
    "American Journal of Health Behavior",
    "third-grade pupils of one city, 30(5):467",
    2006,
);
/// A word in advance.
pub const IN_ADVANCE: Ground = seen(
    "A short notice in advance by text raised response among theatre-goers",
    "Survey Methods: Insights from the Field",
    "advance notices by text",
    2020,
);
/// A week, three days and a day before.
pub const WEEK_THREE_ONE: Ground = seen(
    "Texts 7, 3 and 1 days before a court date brought failures to appear from 37.9% to about 30%",
    "Science",
    "doi 10.1126/science.abb6591",
    2020,
);
/// Three days and a day before.
pub const THREE_AND_ONE: Ground = seen(
    "Reminded 3 days and 1 day before, 4.4% of patients missed their visit; reminded once, 5.8% (3 days) or 5.3% (1 day)",
    "American Journal of Managed Care",
    "trial with 54,066 patients, 24(8):377",
    2018,
);
/// Three days and a day before, for those most likely to miss.
pub const THREE_AND_ONE_AT_RISK: Ground = seen(
    "Of those most likely to miss, 20.5% did so reminded 3 days and 1 day before, and 25.0% or 24.2% reminded once",
    "American Journal of Managed Care",
    "trial with 54,066 patients, 24(8):377",
    2018,
);
/// Writing down when.
pub const WRITE_IT_DOWN: Ground = seen(
    "Asked to write down date and time, 4.2 points more came than the 33.1% who were not asked to",
    "Proceedings of the National Academy of Sciences",
    "doi 10.1073/pnas.1103170108",
    2011,
);
/// How soon texts are answered.
pub const WITHIN_THE_HOUR: Ground = seen(
    "60% of those who answered a text did so within the hour, so one at 17:00 leaves the evening",
    "Sexual Health",
    "doi 10.1071/SH22021, 168 of 278",
    2022,
);
/// Calls come last.
pub const CALLS_LAST: Ground = Ground::Practice("Calls are kept for those whom no message reached");
/// What is wanted when it presses.
pub const URGENT: Ground = seen(
    "When it presses, 73% of parents want an automatic call and 48% a text; mail is not among their first five",
    "Education press",
    "survey of parents in the United States, 15 October",
    2019,
);
/// Chaperones by name.
pub const NAMES_BEFORE_FACES: Ground = Ground::Practice(
    "Families hear who looks after their child before they meet, and again when they are about to",
);
/// Chaperones' own duties.
pub const DUTIES_FIRST: Ground =
    Ground::Practice("Chaperones know their duties before families are told who is there");
/// Another channel after silence.
pub const OTHER_CHANNEL: Ground =
    Ground::Practice("After silence the other channel is tried before somebody rings");
/// The day before, for chaperones.
pub const DAY_BEFORE_DUTY: Ground =
    Ground::Ours("A word the day before at noon leaves time to find somebody else for a duty");

/// A notice to families about an event, counted from the first show.
const fn event(name: &'static str, about: &'static str, days: u32, grounds: &'static [Ground]) -> Starter {
    Starter {
        name,
        about,
        to: "everyone",
        from: "first show",
        days,
        at: "17:00",
        by: "text",
        owes: false,
        wording: "eve",
        other_channel: None,
        grounds,
    }
}

/// A notice to families about an event, counted from its own call.
const fn before_call(
    name: &'static str,
    about: &'static str,
    days: u32,
    grounds: &'static [Ground],
) -> Starter {
    Starter { from: "call", ..event(name, about, days, grounds) }
}

/// The call sheet, by both channels.
const fn call_sheet(name: &'static str, about: &'static str) -> Starter {
    let sheet = event(name, about, 14, &[IN_ADVANCE, TEXT_BESIDE_MAIL]);
    Starter { at: "18:00", by: "mail and text", owes: true, wording: "call-sheet", ..sheet }
}

/// The call sheet of what is not counted from the first show, a week before its call.
const fn call_sheet_a_week_before(name: &'static str, about: &'static str) -> Starter {
    Starter { from: "call", days: 7, ..call_sheet(name, about) }
}

/// To those only who have not answered: longer, and with the question.
const fn chaser(name: &'static str, about: &'static str, days: u32, grounds: &'static [Ground]) -> Starter {
    Starter { to: "not heard from", owes: true, wording: "reminder", ..event(name, about, days, grounds) }
}

/// Who looks after whom.
const fn introduction(name: &'static str, days: u32) -> Starter {
    let notice = event(name, "show", days, &[NAMES_BEFORE_FACES]);
    Starter { at: "18:00", by: "mail", wording: "introduction", ..notice }
}

/// A chaperone's duty.
const fn duty(name: &'static str, about: &'static str) -> Starter {
    Starter {
        to: "chaperones",
        at: "18:00",
        by: "mail",
        owes: true,
        wording: "duty",
        other_channel: Some(72),
        ..event(name, about, 21, &[DUTIES_FIRST, OTHER_CHANNEL])
    }
}

/// A chaperone's duty at what is not counted from the first show, ten days before its call.
const fn duty_before_call(name: &'static str, about: &'static str) -> Starter {
    Starter { from: "call", days: 10, ..duty(name, about) }
}

/// A chaperone's duty, the day before.
const fn duty_tomorrow(name: &'static str, about: &'static str) -> Starter {
    let notice = event(name, about, 1, &[DAY_BEFORE_DUTY]);
    Starter { to: "chaperones", from: "call", at: "12:00", wording: "duty", ..notice }
}

const WEEK: &[Ground] = &[WEEK_THREE_ONE];
const WEEK_SILENT: &[Ground] = &[WRITE_IT_DOWN, OTHER_CHANNEL];
const TOMORROW: &[Ground] = &[THREE_AND_ONE, WITHIN_THE_HOUR];

/// The notices a blank workbook holds, for every kind of event. Dress rehearsal and shows are counted from the first show
/// alike, so that what is due on one day goes as one message; the rest is counted from its own call.
pub const STARTERS: &[Starter] = &[
    Starter {
        at: "18:00",
        by: "mail",
        owes: true,
        wording: "rules",
        ..event("House rules and all dates", "season", 42, &[NEWS_BY_MAIL, PRIMER])
    },
    Starter { at: "18:00", ..chaser("House rules, reminder", "season", 35, &[TEXT_BESIDE_MAIL]) },
    // The children are at their class anyway: only their chaperones are told.
    duty_tomorrow("Chaperones, class visits, tomorrow", "class"),
    duty_before_call("Chaperones, rehearsals", "rehearsal"),
    call_sheet_a_week_before("Rehearsals, call sheet", "rehearsal"),
    Starter {
        from: "call",
        ..chaser("Rehearsals, three days to go, no answer yet", "rehearsal", 3, &[THREE_AND_ONE_AT_RISK])
    },
    before_call("Rehearsals, tomorrow", "rehearsal", 1, TOMORROW),
    duty_tomorrow("Chaperones, rehearsals, tomorrow", "rehearsal"),
    duty_before_call("Chaperones, photographs", "photographs"),
    call_sheet_a_week_before("Photographs, call sheet", "photographs"),
    Starter {
        from: "call",
        ..chaser("Photographs, three days to go, no answer yet", "photographs", 3, &[THREE_AND_ONE_AT_RISK])
    },
    before_call("Photographs, tomorrow", "photographs", 1, TOMORROW),
    duty_tomorrow("Chaperones, photographs, tomorrow", "photographs"),
    introduction("Meet your chaperone", 34),
    duty("Chaperones, dress rehearsal", "dress rehearsal"),
    duty("Chaperones, shows", "show"),
    call_sheet("Dress rehearsal, call sheet", "dress rehearsal"),
    call_sheet("Shows, call sheet", "show"),
    event("Dress rehearsal, a week to go", "dress rehearsal", 7, WEEK),
    event("Shows, a week to go", "show", 7, WEEK),
    Starter {
        other_channel: Some(48),
        ..chaser("Dress rehearsal, a week to go, no answer yet", "dress rehearsal", 7, WEEK_SILENT)
    },
    Starter {
        other_channel: Some(48),
        ..chaser("Shows, a week to go, no answer yet", "show", 7, WEEK_SILENT)
    },
    introduction("Meet your chaperone, show week", 6),
    event("Dress rehearsal, three days to go", "dress rehearsal", 3, &[THREE_AND_ONE]),
    event("Shows, three days to go", "show", 3, &[THREE_AND_ONE]),
    chaser(
        "Dress rehearsal, three days to go, no answer yet",
        "dress rehearsal",
        3,
        &[THREE_AND_ONE_AT_RISK],
    ),
    chaser("Shows, three days to go, no answer yet", "show", 3, &[THREE_AND_ONE_AT_RISK]),
    before_call("Dress rehearsal, tomorrow", "dress rehearsal", 1, TOMORROW),
    before_call("Shows, tomorrow", "show", 1, TOMORROW),
    duty_tomorrow("Chaperones, dress rehearsal, tomorrow", "dress rehearsal"),
    duty_tomorrow("Chaperones, shows, tomorrow", "show"),
];
