//! Simulated families: who answers what, and when, on which road.
//!
//! Every decision is drawn from the seed, the address and how many messages that address has had, so that two runs that
//! hand messages over in another order see the same families.

use super::changes::zone;
use super::dice::Dice;
use crate::domain::book::Book;
use jiff::civil::Time;
use jiff::tz::TimeZone;
use jiff::{Timestamp, ToSpan};
use std::collections::BTreeMap;

/// Share of guardians who never answer (an assumption, no source).
pub const NEVER_ANSWERS: f64 = 0.05;
/// Share of guardians who ask for texts to stop (an assumption, no source).
pub const STOPS_TEXTS: f64 = 0.01;
/// Share of addresses that are wrong or dead from the start (an assumption, no source).
pub const DEAD: f64 = 0.06;
/// Chance that the first text, and the first mail, draws an answer (an assumption shaped on published trials).
const FIRST: (f64, f64) = (0.55, 0.35);
/// Chance that the second, third and every later message does.
const LATER: [f64; 3] = [0.30, 0.20, 0.15];
/// Median answering time in minutes and sigma, by text: 61 in 100 within an hour.
const TEXT_MINUTES: (f64, f64) = (35.0, 2.0);
/// Median answering time in minutes and sigma, by mail: 68 in 100 within a day.
const MAIL_MINUTES: (f64, f64) = (600.0, 1.9);
/// Nobody answers later than this many minutes.
const LONGEST_MINUTES: f64 = 60.0 * 24.0 * 21.0;
/// Shares of answers that are "can't come" and questions (an assumption, no source).
const CANT_COME_AND_QUESTION: (f64, f64) = (0.015, 0.025);
/// Nobody answers from this local time on ...
const ASLEEP_FROM: Time = Time::constant(22, 0, 0, 0);
/// ... until this one,
const AWAKE_FROM: Time = Time::constant(6, 30, 0, 0);
/// and then within so many minutes.
const MORNING_MINUTES: usize = 120;

/// What a family does.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum FamilyAct {
    /// Acknowledges.
    Heard,
    /// Says the child can't come.
    CantCome,
    /// Asks something.
    Question,
    /// Asks for no more texts.
    StopTexts,
}

/// An act and its moment.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Reaction {
    /// When.
    pub at: Timestamp,
    /// What.
    pub act: FamilyAct,
}

/// What a gateway says to an address.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum MessageFate {
    /// Takes the message.
    Accept,
    /// Refuses it for good.
    Refuse,
    /// Takes it and reports later that it could not be delivered.
    Bounce,
}

/// The families of one season.
#[derive(Debug)]
pub struct Families {
    seed: u64,
    zone: TimeZone,
    /// First guardian found at each address, by ref.
    people: BTreeMap<String, String>,
    had: BTreeMap<String, Had>,
}

/// What an address has had so far.
#[derive(Debug, Default, Clone, Copy)]
struct Had {
    messages: usize,
    /// Messages that owed an answer since the last answer.
    unanswered: usize,
}

impl Families {
    /// The families of a workbook. A workbook without a readable zone is lived in UTC.
    pub fn new(book: &Book, seed: u64) -> Families {
        let mut families = Families {
            seed,
            zone: zone(book).unwrap_or(TimeZone::UTC),
            people: BTreeMap::new(),
            had: BTreeMap::new(),
        };
        families.learn(book);
        families
    }

    /// Takes in addresses that a later workbook brings.
    pub fn learn(&mut self, book: &Book) {
        let mut lives_at = |person: &str, address: String| {
            if !address.is_empty() {
                self.people.entry(address).or_insert_with(|| person.to_owned());
            }
        };
        for row in book.rows("children") {
            for nth in 1..=4 {
                let guardian = row.text(&format!("guardian {nth} ref"));
                for column in ["mobile", "e-mail"] {
                    lives_at(guardian, plain(row.text(&format!("guardian {nth} {column}"))));
                }
            }
        }
        for row in book.rows("chaperones") {
            for column in ["mobile", "e-mail"] {
                lives_at(row.text("ref"), plain(row.text(column)));
            }
        }
    }

    /// Hands a message to a family: `channel` is `mail` or `text`, `owes` whether an answer is wanted. Answers what the
    /// family does and when; none when it does nothing.
    pub fn receive(&mut self, at: Timestamp, channel: &str, address: &str, owes: bool) -> Option<Reaction> {
        if self.gateway_fate(channel, address) != MessageFate::Accept {
            return None;
        }
        let address = plain(address);
        let person = self.people.get(&address).unwrap_or(&address).clone();
        let had = self.had.entry(address.clone()).or_default();
        had.messages += 1;
        let mut dice = Dice::new(self.seed, &format!("message {address} {}", had.messages));
        let mut habits = Dice::new(self.seed, &format!("habits {person}"));
        let (never, stops, patience) =
            (habits.chance(NEVER_ANSWERS), habits.chance(STOPS_TEXTS), 2 + habits.below(4));
        let text = channel == "text";
        if text && stops && had.messages >= patience {
            let act = (had.messages == patience).then_some(FamilyAct::StopTexts)?;
            return Some(Reaction { at: self.moment(at, text, &mut dice), act });
        }
        if !owes || never {
            return None;
        }
        had.unanswered += 1;
        if !dice.chance(chance(had.unanswered, text)) {
            return None;
        }
        had.unanswered = 0;
        let (cant, question) = CANT_COME_AND_QUESTION;
        let act = match dice.weighted(&[1.0 - cant - question, cant, question]) {
            0 => FamilyAct::Heard,
            1 => FamilyAct::CantCome,
            _ => FamilyAct::Question,
        };
        Some(Reaction { at: self.moment(at, text, &mut dice), act })
    }

    /// What the gateway of a channel says to an address; the same for every message of the season.
    pub fn gateway_fate(&self, channel: &str, address: &str) -> MessageFate {
        let mut dice = Dice::new(self.seed, &format!("fate {channel} {}", plain(address)));
        match (dice.chance(DEAD), dice.chance(0.5)) {
            (false, _) => MessageFate::Accept,
            (true, false) => MessageFate::Refuse,
            (true, true) => MessageFate::Bounce,
        }
    }

    /// The moment of an answer: log-normal after the message, never at night.
    fn moment(&self, at: Timestamp, text: bool, dice: &mut Dice) -> Timestamp {
        let (median, sigma) = if text { TEXT_MINUTES } else { MAIL_MINUTES };
        let seconds = (dice.log_normal(median, sigma).min(LONGEST_MINUTES) * 60.0) as i64 + 1;
        let lie_in = i64::try_from(dice.below(MORNING_MINUTES * 60)).unwrap_or(0);
        let answer = at.saturating_add(seconds.seconds()).unwrap_or(at);
        let local = answer.to_zoned_datetime(self.zone.clone()).datetime();
        let day = match local.time() {
            late if late >= ASLEEP_FROM => local.date().saturating_add(1.day()),
            early if early < AWAKE_FROM => local.date(),
            _ => return answer,
        };
        let morning = day
            .to_datetime(AWAKE_FROM)
            .to_zoned_datetime(self.zone.clone())
            .map(|z| z.timestamp())
            .unwrap_or(answer);
        morning.saturating_add(lie_in.seconds()).unwrap_or(morning)
    }
}

fn chance(unanswered: usize, text: bool) -> f64 {
    match unanswered {
        0 | 1 if text => FIRST.0,
        0 | 1 => FIRST.1,
        later => LATER[(later - 2).min(LATER.len() - 1)],
    }
}

/// An address in one spelling: mail in lower case, telephone numbers international (a leading 0 is the school's country).
fn plain(address: &str) -> String {
    if address.contains('@') {
        return address.trim().to_lowercase();
    }
    let digits: String = address.chars().filter(char::is_ascii_digit).collect();
    match digits.strip_prefix('0') {
        Some(national) => format!("+44{national}"),
        None if digits.is_empty() => String::new(),
        None => format!("+{digits}"),
    }
}

#[cfg(test)]
mod tests {
    use super::super::season::book;
    use super::*;
    use std::collections::BTreeSet;

    const SENT: &str = "2027-03-13T10:00:00Z";

    fn addresses(book: &Book, column: &str) -> Vec<String> {
        let all: BTreeSet<String> = book
            .rows("children")
            .iter()
            .flat_map(|row| (1..=4).map(move |nth| plain(row.text(&format!("guardian {nth} {column}")))))
            .filter(|a| !a.is_empty() && !a.starts_with("+441632"))
            .collect();
        all.into_iter().collect()
    }

    fn share(part: usize, all: usize) -> f64 {
        part as f64 / all as f64
    }

    #[test]
    fn answers_do_not_depend_on_the_order_of_handing_over() {
        let book = book(3);
        let at: Timestamp = SENT.parse().unwrap();
        let mut all = addresses(&book, "mobile");
        let run = |all: &[String]| {
            let mut families = Families::new(&book, 3);
            let pairs =
                all.iter().map(|a| (a.clone(), [(); 3].map(|()| families.receive(at, "text", a, true))));
            pairs.collect::<BTreeMap<_, _>>()
        };
        let forwards = run(&all);
        all.reverse();
        assert_eq!(forwards, run(&all));
        assert!(forwards.values().flatten().flatten().count() > 100);
    }

    #[test]
    fn first_answers_come_as_often_as_assumed() {
        for (channel, column, expected) in [("text", "mobile", FIRST.0), ("mail", "e-mail", FIRST.1)] {
            let (mut asked, mut heard) = (0, 0);
            for seed in 0..6 {
                let book = book(seed);
                let mut families = Families::new(&book, seed);
                for address in addresses(&book, column) {
                    asked += 1;
                    heard += usize::from(
                        families.receive(SENT.parse().unwrap(), channel, &address, true).is_some(),
                    );
                }
            }
            let expected = expected * (1.0 - NEVER_ANSWERS) * (1.0 - DEAD);
            assert!(
                (share(heard, asked) - expected).abs() < 0.03,
                "{channel}: {heard} of {asked}, expected {expected}"
            );
        }
    }

    #[test]
    fn nobody_answers_at_night_and_texts_are_answered_within_the_hour_more_often_than_not() {
        let book = book(5);
        let mut families = Families::new(&book, 5);
        let at: Timestamp = "2027-03-10T12:00:00Z".parse().unwrap();
        let (mut all, mut soon) = (0, 0);
        for address in addresses(&book, "mobile") {
            let Some(reaction) = families.receive(at, "text", &address, true) else {
                continue;
            };
            all += 1;
            soon += usize::from(reaction.at.duration_since(at).as_mins() < 60);
            let time = reaction.at.to_zoned_datetime(families.zone.clone()).time();
            assert!(time >= AWAKE_FROM && time < ASLEEP_FROM, "{time}");
            assert!(reaction.at > at);
        }
        // Published: about 60 in 100 of those who answered a text did so within the hour.
        assert!((0.50..0.72).contains(&share(soon, all)), "{soon} of {all}");
    }

    #[test]
    fn some_addresses_are_dead_for_good_and_some_people_stop_texts() {
        let (mut all, mut dead, mut stops) = (0, 0, 0);
        for seed in 0..6 {
            let book = book(seed);
            let mut families = Families::new(&book, seed);
            for address in addresses(&book, "mobile") {
                all += 1;
                let fate = families.gateway_fate("text", &address);
                assert_eq!(fate, families.gateway_fate("text", &address));
                dead += usize::from(fate != MessageFate::Accept);
                let acts =
                    (0..8).filter_map(|_| families.receive(SENT.parse().unwrap(), "text", &address, false));
                let acts: Vec<FamilyAct> = acts.map(|r| r.act).collect();
                assert!(acts.is_empty() || acts == [FamilyAct::StopTexts], "nothing was owed: {acts:?}");
                stops += acts.len();
            }
        }
        assert!((share(dead, all) - DEAD).abs() < 0.02, "{dead} of {all}");
        assert!((0.003..0.02).contains(&share(stops, all)), "{stops} of {all}");
    }

    #[test]
    fn a_new_address_is_learnt() {
        let first = book(9);
        let mut families = Families::new(&first, 9);
        let (_, second) = super::super::changes(9, &first).swap_remove(1);
        let known = families.people.len();
        families.learn(&second);
        assert_eq!(families.people.len(), known + 1);
    }
}
