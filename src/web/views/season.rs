//! The coordinator's pages: the whole season, and one event child by child.

use askama::Template;
use jiff::civil::{Date, Time};

use super::{AsOf, CourseLine, StandingMark, Telephone, TrialForm};
use crate::web::chart::{Counts, Drawing, draw};
use crate::web::labels::{ENGLISH, clock};

/// How many children stand where, from the boxes themselves.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Tally {
    /// One mark a child.
    pub marks: Vec<StandingMark>,
}

impl Tally {
    /// Children in all, without those who are not coming.
    pub fn all(&self) -> usize {
        self.marks.len() - self.count(StandingMark::Away)
    }

    /// Children settled.
    pub fn settled(&self) -> usize {
        self.count(StandingMark::Heard)
    }

    /// Children at a mark.
    pub fn count(&self, mark: StandingMark) -> usize {
        self.marks.iter().filter(|&&one| one == mark).count()
    }

    /// Each mark that occurs besides the settled, with its count.
    pub fn others(&self) -> Vec<(StandingMark, usize)> {
        let rest = StandingMark::ALL.into_iter().filter(|&mark| mark != StandingMark::Heard);
        rest.map(|mark| (mark, self.count(mark))).filter(|&(_, n)| n > 0).collect()
    }

    /// "268 of 350 settled".
    pub fn words(&self) -> String {
        format!("{} of {} settled", self.settled(), self.all())
    }

    /// The whole field in words, for those who do not see it.
    pub fn alt(&self) -> String {
        let rest = self.others().into_iter().map(|(mark, n)| format!(", {n} {}", mark.words()));
        self.words() + &rest.collect::<String>()
    }
}

/// One number of an event.
#[derive(Debug, Clone)]
pub struct NumberRow {
    /// Name.
    pub name: String,
    /// Full names of the chaperones who look after it; empty is said in words.
    pub chaperones: Vec<String>,
    /// Whether its children stay with their own.
    pub own: bool,
    /// Its children.
    pub tally: Tally,
}

impl NumberRow {
    /// Who looks after it, in words.
    pub fn with(&self) -> String {
        if self.chaperones.is_empty() && self.own {
            "children stay with their own".to_owned()
        } else if self.chaperones.is_empty() {
            "no chaperone yet".to_owned()
        } else {
            ENGLISH.list(&self.chaperones)
        }
    }
}

/// The line of settled children over time.
#[derive(Debug, Clone)]
pub struct Picture {
    /// What it is drawn from.
    pub counts: Counts,
    /// Local date of the first count.
    pub from: Date,
    /// Local date and time of the deadline.
    pub deadline: AsOf,
}

impl Picture {
    /// The drawing; none if there is nothing to draw yet.
    pub fn drawing(&self) -> Option<Drawing> {
        draw(&self.counts)
    }

    /// Children settled at the reading.
    pub fn settled(&self) -> u32 {
        let past = self.counts.steps.iter().rev().find(|(at, _)| *at <= self.counts.now_ms);
        past.map_or(0, |&(_, n)| n)
    }

    /// The picture in a sentence.
    pub fn alt(&self) -> String {
        format!(
            "Settled children over time: {} of {} now, counted from {}; all should be settled by {}.",
            self.settled(),
            self.counts.all,
            self.from_words(),
            self.deadline_words()
        )
    }

    /// The first day in words.
    pub fn from_words(&self) -> String {
        ENGLISH.day(&self.from)
    }

    /// The deadline in words.
    pub fn deadline_words(&self) -> String {
        format!("{}, {}", self.deadline.day(&ENGLISH), self.deadline.clock())
    }
}

/// One event on the season's page.
#[derive(Debug, Clone)]
pub struct EventSummary {
    /// Address of the event's page.
    pub href: String,
    /// Name.
    pub name: String,
    /// Local date.
    pub date: Date,
    /// Children's call, local.
    pub call: Time,
    /// Called off.
    pub called_off: bool,
    /// Its children in order of numbers.
    pub tally: Tally,
    /// Its numbers in order.
    pub numbers: Vec<NumberRow>,
    /// The line over time, once something was asked.
    pub picture: Option<Picture>,
}

impl EventSummary {
    /// The date in words.
    pub fn day(&self) -> String {
        ENGLISH.day(&self.date)
    }

    /// The children's call.
    pub fn call_clock(&self) -> String {
        clock(&self.call)
    }
}

/// A guardian without any usable address.
#[derive(Debug, Clone)]
pub struct NoWay {
    /// Full name.
    pub guardian: String,
    /// Full names of the children; none where a chaperone speaks of her own duties.
    pub children: Vec<String>,
    /// Why, in a sentence.
    pub why: String,
}

/// A message that was refused or came back.
#[derive(Debug, Clone)]
pub struct Returned {
    /// Identifier, sent back as `message`.
    pub message: String,
    /// Full name of the guardian.
    pub guardian: String,
    /// Full names of the children; none where a chaperone speaks of her own duties.
    pub children: Vec<String>,
    /// Which message, by which channel, what the other side said.
    pub why: String,
    /// A number to ring.
    pub telephone: Option<Telephone>,
}

/// A message of which nobody can know whether it arrived.
#[derive(Debug, Clone)]
pub struct Uncertain {
    /// Identifier, sent back as `message`.
    pub message: String,
    /// Full name of the guardian.
    pub guardian: String,
    /// Full names of the children; none where a chaperone speaks of her own duties.
    pub children: Vec<String>,
    /// Which message, by which channel, what happened.
    pub why: String,
}

/// An answer of the coordinator that may not have arrived.
#[derive(Debug, Clone)]
pub struct OpenAnswer {
    /// Identifier, sent back as `reply`.
    pub reply: String,
    /// To whom, as far as that is known.
    pub to: String,
    /// What happened.
    pub heading: String,
    /// The words.
    pub words: String,
    /// When, by which channel, and why.
    pub why: String,
}

/// Why nothing is sent.
#[derive(Debug, Clone)]
pub struct HeldRow {
    /// In a sentence.
    pub words: String,
    /// The act that ends it, and its label.
    pub act: (String, &'static str),
}

/// A question, or a "can't come", that waits for a person.
#[derive(Debug, Clone)]
pub struct AskedRow {
    /// Full name of the guardian.
    pub guardian: String,
    /// Full names of the children; none where a chaperone speaks of her own duties.
    pub children: Vec<String>,
    /// What the guardian wrote, or what the answer was, in words.
    pub words: String,
    /// Local date and time.
    pub at: AsOf,
    /// A number to ring.
    pub telephone: Option<Telephone>,
    /// The question's row, sent back as `question`; none if there is nothing to answer or close.
    pub question: Option<i64>,
    /// By which road an answer written here goes; none if there is none.
    pub road: Option<&'static str>,
    /// Whether it can be granted with one tap.
    pub grants: bool,
    /// The rule of the event, where early release is asked for; else empty.
    pub rule: String,
    /// Lasting name of the guardian; empty for a stranger.
    pub reference: String,
    /// Who can't come to what, sent back as `item`; empty of a question.
    pub cannot: Vec<String>,
}

/// An event of which it is decided by a stated hour whether it takes place.
#[derive(Debug, Clone)]
pub struct Decision {
    /// Name of the event and its day, in words.
    pub event: String,
    /// By when, and how long that is from now, in words.
    pub by: String,
    /// Address of the page where it is decided.
    pub href: String,
}

/// Everything that waits for the coordinator.
#[derive(Debug, Clone, Default)]
pub struct Needs {
    /// Events of which it is still to be decided whether they take place.
    pub decisions: Vec<Decision>,
    /// Questions, oldest first.
    pub asked: Vec<AskedRow>,
    /// Messages whose outcome is unknown: POST with `message` and `act` = `arrived` or `send_again`.
    pub uncertain: Vec<Uncertain>,
    /// Messages refused or returned: POST with `message` and `act` = `try_again` or `let_be`.
    pub returned: Vec<Returned>,
    /// The coordinator's own answers that may not have arrived: POST with `reply` and `act` = `answer_again` or `answer_done`.
    pub answers: Vec<OpenAnswer>,
    /// Guardians who cannot be reached.
    pub no_way: Vec<NoWay>,
}

impl Needs {
    /// How many things wait.
    pub fn len(&self) -> usize {
        self.decisions.len()
            + self.asked.len()
            + self.uncertain.len()
            + self.returned.len()
            + self.answers.len()
            + self.no_way.len()
    }

    /// Whether nothing waits.
    pub fn is_empty(&self) -> bool {
        self.len() == 0
    }

    /// The heading.
    pub fn heading(&self) -> String {
        match self.len() {
            0 => "All clear for now".to_owned(),
            1 => "One thing for you to do".to_owned(),
            n => crate::web::labels::capitalised(&format!("{} things for you to do", ENGLISH.number(n))),
        }
    }
}

/// How many messages are in a state.
#[derive(Debug, Clone)]
pub struct MessageCount {
    /// The state in the words of the page, such as "delivered".
    pub words: String,
    /// Messages.
    pub count: u64,
}

/// The page at `/season`.
#[derive(Debug, Template)]
#[template(path = "season.html")]
pub struct SeasonPage {
    /// Whether messages leave.
    pub course: CourseLine,
    /// Why nothing is sent, as long as that is so.
    pub held: Vec<HeldRow>,
    /// Name of the school.
    pub school: String,
    /// Name of the production.
    pub season: String,
    /// When the page was put together.
    pub as_of: AsOf,
    /// Who has confirmed the house rules, in a sentence; none where nobody was asked.
    pub rules: Option<String>,
    /// What is the chaperones' alone and still to come: address, name and day.
    pub visits: Vec<(String, String)>,
    /// Events, soonest first.
    pub events: Vec<EventSummary>,
    /// Index of the next event; none when all are over.
    pub next: Option<usize>,
    /// What waits for a person.
    pub needs: Needs,
    /// Messages by state.
    pub messages: Vec<MessageCount>,
    /// More about sending, such as when the next message leaves; may be empty.
    pub sending: String,
    /// What became of the form just posted.
    pub notice: Option<String>,
}

impl SeasonPage {
    /// The heading: the next event and how many are settled.
    pub fn heading(&self) -> String {
        match self.next.and_then(|at| self.events.get(at)) {
            Some(event) => {
                format!("{} {}: {}", event.name, when(self.as_of.date, event.date), event.tally.words())
            }
            None if self.events.is_empty() => "No season yet: upload the workbook".to_owned(),
            None => "The season is over".to_owned(),
        }
    }
}

/// A date as seen from a day: today, tomorrow, or in words.
fn when(today: Date, date: Date) -> String {
    if date == today {
        "today".to_owned()
    } else if today.tomorrow().is_ok_and(|tomorrow| tomorrow == date) {
        "tomorrow".to_owned()
    } else {
        format!("on {}", ENGLISH.day(&date))
    }
}

/// Where one guardian of a child stands.
#[derive(Debug, Clone)]
pub struct GuardianStanding {
    /// Full name.
    pub name: String,
    /// Brings, collects, or both, in words; may be empty.
    pub part: String,
    /// Where she stands.
    pub mark: StandingMark,
}

/// One child of an event.
#[derive(Debug, Clone)]
pub struct ChildRow {
    /// Child and event, sent back as `item`.
    pub item: String,
    /// Who said that the child is not coming, and when; empty where it comes.
    pub away: String,
    /// Full name.
    pub name: String,
    /// Where the child stands.
    pub mark: StandingMark,
    /// Each guardian.
    pub guardians: Vec<GuardianStanding>,
}

/// A number with its children.
#[derive(Debug, Clone)]
pub struct NumberGroup {
    /// Name and chaperones.
    pub number: NumberRow,
    /// Its children; one in several numbers stands under each.
    pub children: Vec<ChildRow>,
}

/// The page at `/season/EVENT`.
#[derive(Debug, Template)]
#[template(path = "event.html")]
pub struct EventPage {
    /// Name of the school.
    pub school: String,
    /// Name of the production.
    pub season: String,
    /// When the page was put together.
    pub as_of: AsOf,
    /// The event itself.
    pub event: EventSummary,
    /// Place and door, in words.
    pub place: String,
    /// Numbers in order.
    pub groups: Vec<NumberGroup>,
    /// Chaperones with a duty there, and where each is with it.
    pub chaperones: Vec<(String, StandingMark)>,
    /// Sheets to print: address and title.
    pub sheets: Vec<(String, String)>,
    /// How many will be heard from by the call; none for what is called off.
    pub forecast: Option<String>,
    /// Where the event, its children and its chaperones are changed.
    pub change: String,
    /// Where its running is told; none without a running order.
    pub show: Option<String>,
    /// To try another order; none without one.
    pub trial: Option<TrialForm>,
    /// Whether it has begun, so that nobody's coming is noted any more.
    pub over: bool,
    /// What became of the form just posted.
    pub notice: Option<String>,
}

impl EventPage {
    /// How many chaperones have read their duties, in words.
    pub fn chaperones_words(&self) -> String {
        let heard = self.chaperones.iter().filter(|(_, mark)| *mark == StandingMark::Heard).count();
        format!("{heard} of {} have read their duties", self.chaperones.len())
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use jiff::civil::date;

    #[test]
    fn a_tally_says_itself() {
        let tally = Tally {
            marks: vec![
                StandingMark::Heard,
                StandingMark::Waiting,
                StandingMark::Heard,
                StandingMark::NoWay,
                StandingMark::Waiting,
            ],
        };
        assert_eq!(tally.words(), "2 of 5 settled");
        assert_eq!(tally.alt(), "2 of 5 settled, 2 waiting, 1 no way to reach");
    }

    #[test]
    fn near_days_have_names() {
        let today = date(2027, 6, 3);
        assert_eq!(when(today, today), "today");
        assert_eq!(when(today, date(2027, 6, 4)), "tomorrow");
        assert_eq!(when(today, date(2027, 6, 6)), "on Sunday 6 June");
    }

    #[test]
    fn needs_are_counted_in_the_heading() {
        let mut needs = Needs::default();
        assert_eq!(needs.heading(), "All clear for now");
        let nobody = NoWay { guardian: "A".into(), children: vec!["B".into()], why: "No number.".into() };
        needs.no_way = vec![nobody.clone()];
        assert_eq!(needs.heading(), "One thing for you to do");
        needs.no_way.push(nobody);
        assert_eq!(needs.heading(), "Two things for you to do");
    }
}
