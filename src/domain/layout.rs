//! The layout of the workbook: every sheet, every column, what may stand in it, and the guidance a volunteer reads.
//!
//! The blank workbook, the reader's complaints and the drop-downs all come from this one table.

/// What a column holds.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum ColumnKind {
    /// Free text.
    Text,
    /// Whole number.
    Count,
    /// Date, as the spreadsheet holds it or typed as `2027-06-04` or `4 June 2027`.
    Date,
    /// Local time such as `17:00`, `5:30 pm`.
    Time,
    /// Minutes and seconds such as `2:05`.
    Length,
    /// `yes` or `no`.
    YesNo,
    /// Telephone number.
    Phone,
    /// Mail address.
    Mail,
    /// One of a few words (a drop-down).
    Choice(&'static [&'static str]),
}

/// One column.
#[derive(Debug, Clone, Copy)]
pub struct Column {
    /// Header text, lower case.
    pub name: &'static str,
    /// What it holds.
    pub kind: ColumnKind,
    /// Whether every row needs it.
    pub required: bool,
    /// Guidance shown with the header.
    pub help: &'static str,
}

/// One sheet.
#[derive(Debug, Clone, Copy)]
pub struct Layout {
    /// Name, lower case; also the name of the `.csv` file in a folder of files.
    pub name: &'static str,
    /// Whether a season can do without it.
    pub required: bool,
    /// First letter of the refs of its rows; none for sheets whose rows carry no ref.
    pub letter: Option<char>,
    /// Guidance shown on the first sheet.
    pub help: &'static str,
    /// Columns in order.
    pub columns: &'static [Column],
}

/// Guardians beside a child, at most.
pub const GUARDIANS_PER_CHILD: usize = 4;

const fn column(name: &'static str, kind: ColumnKind, required: bool, help: &'static str) -> Column {
    Column { name, kind, required, help }
}

const REF: Column = column("ref", ColumnKind::Text, false, "Leave blank. Filled in for you.");
/// Words for the kind of an event.
pub const EVENT_KINDS: &[&str] = &["class", "rehearsal", "photographs", "dress rehearsal", "show"];
/// Words for whom an event is for.
pub const CONCERNED: &[&str] = &["families", "chaperones only"];
/// Words for a side of the stage, from the performer facing the audience.
pub const SIDES: &[&str] = &["left", "right"];

/// Words for who gets a notice.
pub const AUDIENCES: &[&str] =
    &["everyone", "not heard from", "one guardian", "turn-in", "chaperones", "chaperones not heard from"];
/// Words for the channels of a notice.
pub const ROADS: &[&str] = &["mail", "text", "mail and text"];
/// Folders of `message-templates/LANGUAGE/` a notice may be worded by.
pub const WORDINGS: &[&str] =
    &["rules", "call-sheet", "reminder", "eve", "turn-in", DUTY_WORDING, INTRODUCTION_WORDING];
/// The wording of notices to chaperones.
pub const DUTY_WORDING: &str = "duty";
/// The wording of notices that introduce chaperones by name to their families.
pub const INTRODUCTION_WORDING: &str = "introduction";
/// Letter of the refs of guardians, who have no sheet of their own.
pub const GUARDIAN_LETTER: char = 'G';

/// The children's sheet: a child's own columns, then one group of columns for each guardian beside it.
macro_rules! child_columns {
    ([$($own:expr),* $(,)?] $($n:literal $first:literal),* $(,)?) => {
        &[
            $($own,)*
            $(
                column(concat!("guardian ", $n, " ref"), ColumnKind::Text, false, "Leave blank."),
                column(concat!("guardian ", $n, " name"), ColumnKind::Text, $first, "Full name."),
                column(concat!("guardian ", $n, " mobile"), ColumnKind::Phone, false, "Mobile number."),
                column(concat!("guardian ", $n, " e-mail"), ColumnKind::Mail, false, "Mail address."),
                column(concat!("guardian ", $n, " language"), ColumnKind::Text, false, "en, es and so on; the season's if blank."),
                column(concat!("guardian ", $n, " household"), ColumnKind::Text, false, "Give people in the same home the same word. Blank = all guardians in this row live together."),
                column(concat!("guardian ", $n, " brings"), ColumnKind::YesNo, false, "'yes' if this adult brings the child."),
                column(concat!("guardian ", $n, " collects"), ColumnKind::YesNo, false, "'yes' if this adult collects the child."),
                column(concat!("guardian ", $n, " texts"), ColumnKind::YesNo, false, "May be texted. Blank = not asked yet: no text is sent."),
                column(concat!("guardian ", $n, " mails"), ColumnKind::YesNo, false, "May be mailed."),
                column(concat!("guardian ", $n, " agreed"), ColumnKind::Text, false, "Who agreed, and when."),
            )*
        ]
    };
}

/// All sheets, in the order of the workbook.
// A table: one line a column is what makes it readable.
#[rustfmt::skip]
pub const SHEETS: &[Layout] = &[
    Layout { name: "season", required: true, letter: None, help: "One line a setting. Name, school, zone and country must be filled in; the rest have defaults.", columns: &[
        column("setting", ColumnKind::Text, true, "See the sheet 'read me' for each setting."),
        column("value", ColumnKind::Text, false, "What it is set to. Blank = the default."),
    ] },
    Layout { name: "places", required: true, letter: Some('P'), help: "Where things happen, and which door children use.", columns: &[
        REF,
        column("name", ColumnKind::Text, true, "Name of the theatre, studio or hall."),
        column("door", ColumnKind::Text, true, "The door children use, as you would tell a stranger: the stage door in Mill Lane."),
        column("collect at", ColumnKind::Text, false, "Where children are collected; blank = the same door."),
        column("sign-in minutes", ColumnKind::Count, false, "How long signing in takes; 5 if blank, an assumption of ours."),
    ] },
    Layout { name: "ways", required: false, letter: None, help: "Car parks and stops, and the walk from each to the door.", columns: &[
        column("place", ColumnKind::Text, true, "A name from the sheet 'places'."),
        column("from", ColumnKind::Text, true, "Name of the car park or stop."),
        column("walk minutes", ColumnKind::Text, false, "Minutes, such as 8, or a range, such as 12-18."),
        column("metres", ColumnKind::Count, false, "Or the distance in whole metres; the walk is then worked out at a slow pace."),
    ] },
    Layout { name: "rooms", required: false, letter: None, help: "Rooms where children wait, at each place; the sheets of the day name them, families never see them.", columns: &[
        column("place", ColumnKind::Text, true, "A name from the sheet 'places'."),
        column("name", ColumnKind::Text, true, "As staff know it: Dressing room 4."),
        column("children", ColumnKind::Count, false, "Most children allowed (ask the venue). Blank = not known."),
        column("quick change", ColumnKind::YesNo, false, "'yes' if children with a quick change come here between two numbers."),
        column("notes", ColumnKind::Text, false, "For your own eyes."),
    ] },
    Layout { name: "events", required: true, letter: Some('E'), help: "One line for each time children are wanted.", columns: &[
        REF,
        column("name", ColumnKind::Text, true, "As families know it: Dress rehearsal, Saturday matinee."),
        column("kind", ColumnKind::Choice(EVENT_KINDS), true, "Pick one."),
        column("for", ColumnKind::Choice(CONCERNED), false, "'chaperones only' where the children are there anyway: families are told nothing and no sheets are made. Blank = families; a class visit is the chaperones' unless a notice tells families of it."),
        column("place", ColumnKind::Text, true, "A name from the sheet 'places'."),
        column("date", ColumnKind::Date, true, "Day, month and year."),
        column("call", ColumnKind::Time, true, "When children must be at the door; a number may have its own in the running order. Where one is called later than this at a class, a rehearsal or photographs, the event goes by slots: a number begins as long after its own call as the event begins after this one, and no earlier."),
        column("starts", ColumnKind::Time, true, "Curtain up, or when it begins."),
        column("ends", ColumnKind::Time, false, "Announced end. Needed where there is no running order."),
        column("dismissal", ColumnKind::Text, false, "'after the last number', 'after own last number', or a time. Blank = after the last number: nobody leaves early; by slots, after their own slot."),
        column("cast", ColumnKind::Text, false, "The cast that performs, where there are two; blank = everyone."),
        column("numbers", ColumnKind::Text, false, "Numbers wanted, with ; between them, where there is no running order; blank = all."),
        column("arrive ready", ColumnKind::Text, false, "Costume, hair, make-up on arrival."),
        column("bring", ColumnKind::Text, false, "What to bring."),
        column("leave at home", ColumnKind::Text, false, "What to leave at home."),
        column("adults may watch", ColumnKind::YesNo, false, "'yes' or 'no' where families should be told; blank = nothing is said, as at a show with an audience."),
        column("turn-in", ColumnKind::YesNo, false, "'yes' if quick-change costumes are handed in at the end of this event."),
        column("cancelled", ColumnKind::YesNo, false, "'yes' if it is called off; leave the line in place."),
        column("repeats", ColumnKind::Text, false, "For what repeats, such as a weekly class visit: days and the time it begins, such as Tuesdays at 16:45 (or a line of a crontab, such as 45 16 * * 2). The call and the end move with it."),
        column("repeats until", ColumnKind::Date, false, "The last day it may take place; 'date' is the first."),
        column("not on", ColumnKind::Text, false, "Days on which it is called off, with ; between them."),
        column("decide by", ColumnKind::Text, false, "If the weather may call it off: the day and time by which you decide, such as 2027-06-04 14:00. A reminder for you; families are told only if it is called off."),
    ] },
    Layout { name: "numbers", required: true, letter: Some('N'), help: "Every dance, song or scene.", columns: &[
        REF,
        column("name", ColumnKind::Text, true, "Name of the number."),
        column("length", ColumnKind::Length, false, "Minutes and seconds, such as 2:05; if blank, the typical (median) length for the class, else 2:05 (a trade figure)."),
        column("changeover", ColumnKind::Length, false, "From its end to the next start; 0:20 if blank. Common practice."),
        column("class", ColumnKind::Text, false, "The class that dances it."),
        column("pieces", ColumnKind::Text, false, "Costume pieces, with ; between them: families are told to hand in these."),
        column("teacher", ColumnKind::Text, false, "Teacher."),
        column("teacher e-mail", ColumnKind::Mail, false, "Where the teacher hears that a child is not coming; blank = they do not."),
        column("worn already", ColumnKind::YesNo, false, "'yes' if nobody changes for it: it is danced in what the children have on. Blank = 'yes' where nearly every child dances it, as in a finale."),
        column("own chaperone", ColumnKind::YesNo, false, "'yes' if children stay with the chaperone they are with, whoever leads it. Blank = 'yes' where nearly every child dances it."),
    ] },
    Layout { name: "running order", required: false, letter: None, help: "One line for each place in each event's order.", columns: &[
        column("event", ColumnKind::Text, true, "A name from the sheet 'events'."),
        column("place", ColumnKind::Count, true, "1 for the first, 2 for the next; intervals have a place too."),
        column("number", ColumnKind::Text, true, "A name from the sheet 'numbers', or 'interval'."),
        column("minutes", ColumnKind::Count, false, "Length of the interval; 15 if blank. Common practice. Beside a number of an event by slots: how long its slot lasts; blank = its own length."),
        column("call", ColumnKind::Time, false, "A call of its own for this number at this event."),
    ] },
    Layout { name: "children", required: true, letter: Some('C'), help: "One line a child, with up to four guardians beside it.", columns: child_columns!([
        REF,
        column("given name", ColumnKind::Text, true, "As used every day."),
        column("family name", ColumnKind::Text, true, "Family name."),
        column("ages", ColumnKind::Text, false, "Age band such as 5-6. No birth dates."),
        column("numbers", ColumnKind::Text, true, "Numbers with ; between them. Place in line and sides after a colon where known: Lamplighters: 4, left, right; Finale"),
        column("cast", ColumnKind::Text, false, "Cast, where there are two; blank = every performance."),
        column("new", ColumnKind::YesNo, false, "'yes' if the child is new to the school: such families are rung sooner."),
        column("also collects", ColumnKind::Text, false, "Who besides the guardians may collect, with ; between them, as accepted: Ana Ruiz, aunt, Saturday 5 June. Ring the number on file before you write anybody here."),
        column("fetch the lead", ColumnKind::Text, false, "'yes' if the named lead must be fetched before anybody collects this child, with who has seen the paper and when: yes, seen by Mara Holt, 3 March 2027. Never the reason. No family sees it."),
    ] 1 true, 2 false, 3 false, 4 false) },
    Layout { name: "chaperones", required: true, letter: Some('V'), help: "Volunteers in charge of children.", columns: &[
        REF,
        column("name", ColumnKind::Text, true, "Full name."),
        column("mobile", ColumnKind::Phone, false, "Mobile number."),
        column("e-mail", ColumnKind::Mail, false, "Mail address."),
        column("language", ColumnKind::Text, false, "en, es and so on; the season's if blank."),
        column("texts", ColumnKind::YesNo, false, "May be texted."),
        column("mails", ColumnKind::YesNo, false, "May be mailed."),
        column("agreed", ColumnKind::Text, false, "Who agreed, and when."),
        column("adult", ColumnKind::YesNo, false, "'yes' if 18 or over; only then counted in a ratio. 'yes' if blank."),
        column("vetted until", ColumnKind::Date, false, "Last day the vetting is valid. Local law may ask for one."),
        column("speaks", ColumnKind::Text, false, "Languages they can ring families in besides their own, with ; between them: es; pl."),
    ] },
    Layout { name: "duties", required: false, letter: None, help: "Who looks after which number at which event.", columns: &[
        column("chaperone", ColumnKind::Text, true, "A name from the sheet 'chaperones'."),
        column("event", ColumnKind::Text, true, "A name from the sheet 'events', or 'all'."),
        column("number", ColumnKind::Text, false, "A name from the sheet 'numbers'; blank for the door, a float and the like."),
        column("task", ColumnKind::Text, false, "In words, such as stage door or float."),
        column("room", ColumnKind::Text, false, "A name from the sheet 'rooms': where this number's children wait, or where a helper without a number stays."),
        column("signs in", ColumnKind::YesNo, false, "'yes' for the chaperone who signs in the children whose first number it is. Blank for all of them = the first listed."),
        column("signs out", ColumnKind::YesNo, false, "'yes' for the chaperone who signs out the children whose last number it is. Blank for all of them = the first listed."),
    ] },
    Layout { name: "house rules", required: false, letter: Some('R'), help: "Rules families are told, and asked to confirm if an answer is wanted; one line for each language.", columns: &[
        REF,
        column("name", ColumnKind::Text, true, "Short name; lines of one name are one rule in several languages."),
        column("event", ColumnKind::Text, false, "A name from the sheet 'events'; blank = the whole season."),
        column("language", ColumnKind::Text, false, "en, es and so on; the season's if blank."),
        column("text", ColumnKind::Text, true, "The rule, in plain words."),
        column("acknowledge", ColumnKind::YesNo, false, "'yes' if families must confirm it, 'no' if they are only told. Blank = yes."),
    ] },
    Layout { name: "translations", required: false, letter: None, help: "What families read in another language; one line a text and language, however often the text stands in the workbook.", columns: &[
        column("text", ColumnKind::Text, true, "As it stands in the workbook: an event's name, a door, what to arrive in, bring or leave at home, the name of a house rule, a costume piece."),
        column("language", ColumnKind::Text, true, "es, pl and so on."),
        column("translation", ColumnKind::Text, true, "The same in that language, worded by a person and checked by another."),
    ] },
    Layout { name: "notices", required: false, letter: Some('T'), help: "Who is told what, when and how.", columns: &[
        REF,
        column("name", ColumnKind::Text, true, "For your own eyes."),
        column("about", ColumnKind::Text, true, "'season' for the season's house rules, a kind of event, or an event's name."),
        column("to", ColumnKind::Choice(AUDIENCES), true, "Who gets it; chaperones are told of their own duties."),
        column("counted from", ColumnKind::Text, true, "call, park by, curtain up, dismissal, first show, or a date."),
        column("days before", ColumnKind::Count, false, "Whole days before, with a time of day beside it."),
        column("at", ColumnKind::Time, false, "Time of day."),
        column("minutes before", ColumnKind::Count, false, "Or exact minutes before; not together with days and a time."),
        column("by", ColumnKind::Choice(ROADS), true, "Mail, text or both. If an address or number is missing, the other is used."),
        column("answer owed", ColumnKind::YesNo, false, "'yes' if an answer is wanted; 'yes' if blank."),
        column("wording", ColumnKind::Choice(WORDINGS), true, "The wording, a folder of message-templates."),
        column("other channel after", ColumnKind::Count, false, "If no answer after this many hours, also try the other channel. Blank = no."),
        column("other guardian after", ColumnKind::Count, false, "If no answer after this many hours, also ask the child's other guardians; beside 'one guardian' only. Blank = no."),
        column("why", ColumnKind::Text, false, "For your own eyes: why there is this notice."),
    ] },
];

/// One setting of the sheet `season`.
#[derive(Debug, Clone, Copy)]
pub struct Setting {
    /// Its name in the first column.
    pub name: &'static str,
    /// Default; empty means it must be filled in.
    pub default: &'static str,
    /// What it means.
    pub help: &'static str,
}

const fn setting(name: &'static str, default: &'static str, help: &'static str) -> Setting {
    Setting { name, default, help }
}

/// The settings, in order. Those without a default must be filled in.
#[rustfmt::skip]
pub const SETTINGS: &[Setting] = &[
    setting("version", "1", "Leave it as it is."),
    setting("ref", "S1", "Leave it as it is, unless one computer runs several seasons."),
    setting("name", "", "Name of the production."),
    setting("school", "", "Name of the school."),
    setting("zone", "", "IANA time zone, such as Europe/London or America/New_York."),
    setting("country", "", "Two-letter country code, for telephone numbers typed without one."),
    setting("language", "en", "Language of those who ask for none."),
    setting("telephone", "-", "Number families may ring with a question; - for none."),
    setting("short name", "-", "What every text begins with, 12 characters at most, so that families see who writes; - for the first words of the school's name."),
    setting("named lead", "-", "Name of whoever decides when somebody unknown comes to collect, or a paper is on file; printed where staff are told to fetch them."),
    setting("named lead telephone", "-", "Where staff ring the named lead on the day."),
    setting("messages from", "08:00", "No message leaves before this local time. Common practice."),
    setting("messages until", "20:30", "No message leaves at or after this local time. Narrower than 21:00, the limit of 47 CFR 64.1200(c)(1) for solicitations; our choice."),
    setting("merge minutes", "60", "Notices for one family due within so many minutes become one message. A planning figure of ours."),
    setting("messages a day", "1", "Messages one person gets on one day at most; changes always go. What would be one too many waits for the next day, or goes all the same where no day is left before the eve. 0 for no limit. A planning figure of ours."),
    setting("class door days before", "28", "Days before the first show from which signatures are asked for at the class door. A planning figure of ours."),
    setting("calls days before", "5", "Days before an event from which families who have not answered are rung. Common practice."),
    setting("chaperone lead at class visits", "0", "Minutes before the call at which chaperones come to a class visit. Common practice."),
    setting("chaperone lead at rehearsals", "30", "Minutes before the children's call. Common practice."),
    setting("chaperone lead at photographs", "30", "Minutes before the children's call. Common practice."),
    setting("chaperone lead at the dress rehearsal", "30", "Minutes before the children's call. Common practice."),
    setting("chaperone lead on show days", "60", "Minutes before the children's call. Common practice."),
    setting("chaperone briefing before call", "45", "Minutes before the children's call; left out where chaperones come later than that. Common practice."),
    setting("chaperones in place before call", "15", "Minutes before the children's call that each is in position. Common practice."),
    setting("chaperones bring", "-", "What chaperones bring and wear, such as their badge, a pen and dark clothes; - for nothing."),
    setting("chaperone digest", "none", "When each chaperone is sent their list, if there is something to say: days and a time, such as Mondays and Thursdays at 18:00, or a line of a crontab; none for never."),
    setting("coordinator digest", "none", "When the coordinator is sent an overview, if there is something to say: days and a time, such as daily at 18:00, or a line of a crontab; none for never."),
    setting("quick change below", "3", "A gap of fewer numbers than this is a quick change; an interval in between is always enough. A trade figure: a dance-teaching magazine, May 2017."),
    setting("ready numbers ahead", "4", "A number gets ready when the number so many places before it starts. Common practice."),
    setting("walk off and on seconds", "40", "Between two of a child's numbers. An assumption: time it yourself."),
    setting("shortest change seconds", "60", "Less than this, walks not counted, is shown as impossible. An assumption: rehearse it."),
    setting("sign-out seconds", "20", "For one child at one table. An assumption: longer where papers are looked at."),
    setting("sign-out tables", "3", "Tables at which children are signed out. An assumption."),
    setting("signed out by", "last chaperone", "'last chaperone': whoever has the child's last number. 'first chaperone': the child is taken back to whoever signed them in, and that hand-over stands on both clipboards."),
    setting("call names", "British", "'British' (the half, 35 minutes before) or 'North American' (half hour, 30 minutes); handbooks of stage management."),
    setting("settled by", "any guardian", "'any guardian', 'each household', or 'brings and collects'."),
    setting("given names in messages", "yes", "'no' leaves children's names out of messages."),
    setting("walking feet per second", "3.0", "Pace for distances: 3.0 is that of MUTCD 2009, section 4E.06, for slower walkers."),
    setting("children per adult", "12", "Planning figure, after the most that English councils allow one chaperone; who set it and when belongs in your own papers. Local law decides."),
    setting("ratio table", "none", "A published table to compare rooms with too: none, NSPCC, early years England, England performance, New South Wales, or New York. Advice; local law decides."),
    setting("ratio set by", "-", "Who chose the table and when; needed where one is named."),
    setting("hours limits", "none", "Published limits of hours to compare each child's days with: none, England, Scotland, California, New York, or New South Wales. Advice; local law decides."),
    setting("hours limits set by", "-", "Who chose the limits and when; needed where they are named."),
];

/// The name of one guardian column, such as `guardian 2 mobile` for (2, "mobile").
pub fn guardian_column(guardian: usize, part: &str) -> String {
    format!("guardian {guardian} {part}")
}

/// The layout of a sheet by name.
pub fn sheet(name: &str) -> Option<&'static Layout> {
    SHEETS.iter().find(|s| s.name == name)
}

/// What a workbook sets a setting to; the default where it says nothing.
pub fn setting_text<'a>(book: &'a super::book::Book, name: &str) -> &'a str {
    let set = book
        .rows("season")
        .iter()
        .find(|row| super::words::key(row.text("setting")) == name)
        .map(|row| row.text("value"))
        .filter(|value| !value.is_empty());
    let default = SETTINGS.iter().find(|s| s.name == name).map_or("", |s| s.default);
    set.unwrap_or(default)
}
