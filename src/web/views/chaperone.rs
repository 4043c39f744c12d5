//! The chaperone's page behind her link: whom to ring, and what came of it.

use askama::Template;
use jiff::civil::{Date, Time};

use super::sheet::owes;
use super::{AsOf, CallCard, StandingMark, Telephone};
use crate::web::labels::{ENGLISH, capitalised, clock};

/// One of her events, to choose from.
#[derive(Debug, Clone)]
pub struct EventChoice {
    /// Relative address of her page for that event, such as `?event=E002`.
    pub href: String,
    /// Name.
    pub name: String,
    /// Local date.
    pub date: Date,
    /// Children of hers not settled there.
    pub open: usize,
    /// Whether it is the one shown.
    pub current: bool,
}

impl EventChoice {
    /// The date in words.
    pub fn day(&self) -> String {
        ENGLISH.day(&self.date)
    }
}

/// Her duty at the event shown.
#[derive(Debug, Clone)]
pub struct WatchView {
    /// Reference of the event, sent back as `event`.
    pub event: String,
    /// Name of the event.
    pub name: String,
    /// Local date.
    pub date: Date,
    /// The children's call, local.
    pub call: Time,
    /// When she is due, local.
    pub due: Time,
    /// Where she is due, in words.
    pub station: String,
    /// Her numbers, or her task where she has none.
    pub numbers: Vec<String>,
    /// Her briefing, local; none where she comes later than that.
    pub briefing: Option<Time>,
    /// When she stands at her place, local; none where she comes later than that.
    pub in_place: Option<Time>,
    /// When the event is over, local; none where that is not known.
    pub over: Option<Time>,
    /// Where her group waits; may be empty.
    pub room: String,
    /// What she brings and wears; may be empty.
    pub kit: String,
    /// Where her own answer stands.
    pub mark: StandingMark,
    /// The fingerprint of what is asked of her, sent back as `fingerprint`.
    pub fingerprint: String,
}

impl WatchView {
    /// The date in words.
    pub fn day(&self) -> String {
        ENGLISH.day(&self.date)
    }

    /// When she is due.
    pub fn due_clock(&self) -> String {
        clock(&self.due)
    }

    /// Whether her own answer is still owed.
    pub fn owes(&self) -> bool {
        owes(self.mark)
    }

    /// Her own standing in words.
    pub fn standing_words(&self) -> &'static str {
        match self.mark {
            StandingMark::Heard => "You have read this",
            StandingMark::HeardBefore => "You read this before it changed",
            StandingMark::CantCome | StandingMark::Away => ENGLISH.duty.cant_come,
            StandingMark::Waiting | StandingMark::NoWay | StandingMark::NotAsked => {
                "We have not heard from you yet"
            }
        }
    }

    /// Times between her coming and the end, with what happens then.
    pub fn moments(&self) -> Vec<(String, &'static str, &'static str)> {
        let duty = &ENGLISH.duty;
        let rows = [
            (self.briefing, duty.briefing, "starts"),
            (self.in_place, duty.station, "starts"),
            (Some(self.call), "The children are called", "starts"),
            (self.over, duty.until, "collect"),
        ];
        rows.into_iter().filter_map(|(at, what, class)| Some((clock(&at?), what, class))).collect()
    }

    /// Her numbers in words.
    pub fn numbers_words(&self) -> String {
        ENGLISH.list(&self.numbers)
    }
}

/// A guardian to ring.
#[derive(Debug, Clone)]
pub struct Ring {
    /// Reference of the guardian, sent back as `guardian`.
    pub guardian: String,
    /// Given name.
    pub given: String,
    /// Number to ring; none if there is none.
    pub telephone: Option<Telephone>,
    /// The language she asked for, in English, where it is not the season's.
    pub language: Option<String>,
    /// Where this guardian stands.
    pub mark: StandingMark,
    /// What was tried, in words, such as "Mail on Monday, text on Wednesday."
    pub tried: String,
}

/// A child not settled.
#[derive(Debug, Clone)]
pub struct OpenChild {
    /// Reference of the child, sent back as `child`.
    pub child: String,
    /// Given name and initial, such as "Ines A."
    pub name: String,
    /// Fingerprint of the facts a call is about, sent back as `fingerprint`.
    pub fingerprint: String,
    /// Where the child stands.
    pub mark: StandingMark,
    /// What matters about the child there, such as "Quick change."; may be empty.
    pub note: String,
    /// Those who may be rung.
    pub rings: Vec<Ring>,
}

/// A child who needs no call: settled, or said not to come.
#[derive(Debug, Clone)]
pub struct SettledChild {
    /// Lasting name of the child.
    pub child: String,
    /// Lasting name of the event.
    pub event: String,
    /// Given name and initial.
    pub name: String,
    /// Where the child stands.
    pub mark: StandingMark,
    /// More in words; may be empty.
    pub note: String,
}

/// A child whose family she greets.
#[derive(Debug, Clone)]
pub struct GreetChild {
    /// Given name and initial.
    pub name: String,
    /// Those who answer for the child.
    pub adults: Vec<GreetAdult>,
}

/// Somebody to greet.
#[derive(Debug, Clone)]
pub struct GreetAdult {
    /// Given name.
    pub given: String,
    /// Number to ring; none if there is none.
    pub telephone: Option<Telephone>,
    /// The language she asked for, in English, where it is not the season's.
    pub language: Option<String>,
}

/// What became of the note just posted.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct PageNotice {
    /// A sentence for the heading, such as "Noted: Marisol said yes, for Ines."
    pub words: String,
    /// False if nothing was noted.
    pub done: bool,
}

/// The page behind `/c/TOKEN`. Each note is a POST with `child`, `event`, `guardian`, `fingerprint` and `act` = `heard`,
/// `heard_in_person`, `no_answer`, `wrong_number`, `will_call_back` or `cant_come`, or with several things at once as on
/// [`super::ChasePage`]; her own answer with `own_heard` or `own_cant_come`.
#[derive(Debug, Template)]
#[template(path = "chaperone.html")]
pub struct ChaperonePage {
    /// Name of the school.
    pub school: String,
    /// Name of the production.
    pub season: String,
    /// When the page was put together.
    pub as_of: AsOf,
    /// Her given name.
    pub given: String,
    /// Her events, soonest first.
    pub events: Vec<EventChoice>,
    /// The event shown; none if she has no duty left.
    pub watch: Option<WatchView>,
    /// What became of the note just posted.
    pub notice: Option<PageNotice>,
    /// Families whose calls fell to her, most urgent first.
    pub calls: Vec<CallCard>,
    /// Children not settled, most urgent first.
    pub open: Vec<OpenChild>,
    /// Children who need no call.
    pub settled: Vec<SettledChild>,
    /// Address of the page about calendars, whose file has the same with `.ics`; none without duties.
    pub calendar_href: Option<String>,
    /// The coordinator's telephone.
    pub telephone: Option<Telephone>,
    /// Children whose families she has been introduced to by name.
    pub greet: Vec<GreetChild>,
    /// A show of hers runs: the same address without a query says what to do next.
    pub live: bool,
}

impl ChaperonePage {
    /// The heading: how many families to ring.
    pub fn heading(&self) -> String {
        let what = match (self.watch.is_some(), self.open.len()) {
            (true, _) if self.calls.len() == 1 => "one person to ring".to_owned(),
            (true, _) if !self.calls.is_empty() => {
                format!("{} people to ring", ENGLISH.number(self.calls.len()))
            }
            (false, _) => "you have no more duties this season".to_owned(),
            (true, 0) if self.settled.iter().any(|child| child.mark == StandingMark::NotAsked) => {
                "nobody to ring: your families have not been asked yet".to_owned()
            }
            (true, 0) => "nobody to ring: all of yours are settled".to_owned(),
            (true, 1) => "one family to ring".to_owned(),
            (true, n) => format!("{} families to ring", ENGLISH.number(n)),
        };
        format!("{}, {what}", self.given)
    }

    /// How many of hers are settled, in a sentence.
    pub fn settled_words(&self) -> String {
        let settled = self.settled.iter().filter(|child| child.mark == StandingMark::Heard).count();
        let all = self.open.len() + self.settled.len();
        let (settled_words, all_words) = (ENGLISH.number(settled), ENGLISH.number(all));
        match (settled, all) {
            (_, 0) => "No children are yours at this event.".to_owned(),
            (0, 1) => "Your one child is not settled yet.".to_owned(),
            (0, _) => format!("None of your {all_words} children is settled yet."),
            (1, 1) => "Your one child is settled.".to_owned(),
            (a, b) if a == b => format!("All {all_words} of your children are settled."),
            (1, _) => format!("One of your {all_words} children is settled."),
            _ => format!("{} of your {all_words} children are settled.", capitalised(&settled_words)),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use jiff::civil::{date, time};

    fn page(open: usize, settled: usize) -> ChaperonePage {
        let child = OpenChild {
            child: "C001".into(),
            name: "Ines A.".into(),
            fingerprint: "b41e77".into(),
            mark: StandingMark::Waiting,
            note: String::new(),
            rings: Vec::new(),
        };
        let done = SettledChild {
            child: "C001".into(),
            event: "E001".into(),
            name: "Bilal R.".into(),
            mark: StandingMark::Heard,
            note: String::new(),
        };
        ChaperonePage {
            school: "Larkmoor".into(),
            season: "The Tide Clock".into(),
            as_of: AsOf { date: date(2027, 6, 3), time: time(18, 42, 0, 0) },
            given: "Noor".into(),
            events: Vec::new(),
            watch: Some(WatchView {
                event: "E002".into(),
                name: "Dress rehearsal".into(),
                date: date(2027, 6, 4),
                call: time(17, 0, 0, 0),
                due: time(16, 0, 0, 0),
                station: "Staff table".into(),
                numbers: vec!["Lamplighters".into()],
                briefing: Some(time(16, 15, 0, 0)),
                in_place: None,
                over: Some(time(20, 30, 0, 0)),
                room: String::new(),
                kit: String::new(),
                mark: StandingMark::Waiting,
                fingerprint: "d07e".into(),
            }),
            notice: None,
            calls: Vec::new(),
            open: vec![child; open],
            settled: vec![done; settled],
            calendar_href: None,
            telephone: None,
            greet: Vec::new(),
            live: false,
        }
    }

    #[test]
    fn the_heading_counts_the_families() {
        assert_eq!(page(3, 11).heading(), "Noor, three families to ring");
        assert_eq!(page(1, 0).heading(), "Noor, one family to ring");
        assert_eq!(page(0, 2).heading(), "Noor, nobody to ring: all of yours are settled");
        let free = ChaperonePage { watch: None, ..page(0, 0) };
        assert_eq!(free.heading(), "Noor, you have no more duties this season");
    }

    #[test]
    fn the_sentence_below_counts_the_settled() {
        assert_eq!(page(3, 11).settled_words(), "Eleven of your 14 children are settled.");
        assert_eq!(page(2, 1).settled_words(), "One of your three children is settled.");
        assert_eq!(page(0, 1).settled_words(), "Your one child is settled.");
        assert_eq!(page(1, 0).settled_words(), "Your one child is not settled yet.");
        assert_eq!(page(2, 0).settled_words(), "None of your two children is settled yet.");
        assert_eq!(page(0, 2).settled_words(), "All two of your children are settled.");
        assert_eq!(page(0, 0).settled_words(), "No children are yours at this event.");
    }
}
