//! The chaperones of the demo season and their duties.

use super::dice::Dice;
use super::names::{NAMES, VOLUNTEERS};
use super::numbers::{Dancers, FINALE, PLANS};
use super::people::{Adult, DemoPeople, Roads};
use super::planted::{GUARDIAN_CHAPERONE, GUARDIAN_CHAPERONE_NUMBER, LAPSING_CHAPERONE, LAPSING_DATE};
use std::collections::BTreeSet;

/// Chaperones in the season.
pub const CHAPERONES: usize = 80;
/// Chaperones in a production number.
const PRODUCTION_TEAM: usize = 5;
/// How many of a hundred chaperones are guardians of the season.
const GUARDIANS_IN_HUNDRED: usize = 60;
/// Vetting of everyone whose vetting does not lapse.
const VETTED_UNTIL: &str = "2028-08-31";

/// One chaperone with her one duty, which holds for every event.
#[derive(Debug, Clone)]
pub struct Member {
    /// Name and contact.
    pub adult: Adult,
    /// Eighteen or over.
    pub grown: bool,
    /// Last day of a valid vetting; empty for a helper who needs none.
    pub vetted_until: &'static str,
    /// Number from 0.
    pub number: Option<usize>,
    /// Task in words.
    pub task: &'static str,
    /// Signs in.
    pub signs_in: bool,
    /// Signs out.
    pub signs_out: bool,
}

/// What a helper of the quick-change room does.
pub const QUICK_CHANGES: &str = "quick-change room";

/// Posts without a number: task, how many, signs in, signs out.
const POSTS: &[(&str, usize)] =
    &[(QUICK_CHANGES, 3), ("stage door", 3), ("sign-out table", 2), ("float", 6), ("runner", 3)];

/// The whole team, in the order of the workbook.
pub fn team(seed: u64, people: &mut DemoPeople) -> Vec<Member> {
    let mut dice = Dice::new(seed, "team");
    let mut team = Vec::new();
    let mut taken: BTreeSet<String> =
        BTreeSet::from([GUARDIAN_CHAPERONE.to_owned(), LAPSING_CHAPERONE.to_owned()]);
    for (number, task, first, second) in posts_with_numbers() {
        let mut member = Member {
            adult: chaperone(number, first, people, &mut dice, &mut taken),
            grown: true,
            vetted_until: VETTED_UNTIL,
            number: Some(number),
            task,
            signs_in: first,
            // Everybody is in the finale, so children are signed out by the chaperone of their own number.
            signs_out: number != FINALE && second,
        };
        if member.adult.name == LAPSING_CHAPERONE {
            member.vetted_until = LAPSING_DATE;
        }
        team.push(member);
    }
    for (task, count) in POSTS {
        for nth in 0..*count {
            // Two runners are helpers under 18, who do not count as adults.
            let grown = *task != "runner" || nth == 0;
            team.push(Member {
                adult: volunteer(people, &mut dice, &mut taken),
                grown,
                vetted_until: if grown { VETTED_UNTIL } else { "" },
                number: None,
                task,
                signs_in: false,
                signs_out: false,
            });
        }
    }
    team
}

/// Number, task, signs in, signs out: two chaperones where the children are youngest, five in a production number.
fn posts_with_numbers() -> Vec<(usize, &'static str, bool, bool)> {
    let extra = CHAPERONES
        - POSTS.iter().map(|(_, count)| count).sum::<usize>()
        - PLANS.len()
        - 2 * (PRODUCTION_TEAM - 1);
    let mut second: Vec<usize> =
        (0..FINALE).filter(|n| matches!(PLANS[*n].dancers, Dancers::Band(_))).collect();
    second.sort_by_key(|n| match PLANS[*n].dancers {
        Dancers::Band(band) => band,
        _ => usize::MAX,
    });
    second.truncate(extra);
    let mut posts = Vec::new();
    for (number, plan) in PLANS.iter().enumerate() {
        match plan.dancers {
            Dancers::Production => {
                posts.push((number, "chaperone", true, false));
                posts.extend(std::iter::repeat_n(
                    (number, "second chaperone", false, false),
                    PRODUCTION_TEAM - 2,
                ));
                posts.push((number, "second chaperone", false, true));
            }
            Dancers::All => posts.push((number, "finale lead", true, false)),
            Dancers::Band(_) if second.contains(&number) => {
                posts.push((number, "chaperone", true, false));
                posts.push((number, "second chaperone", false, true));
            }
            Dancers::Band(_) => posts.push((number, "chaperone", true, true)),
        }
    }
    posts
}

/// Who takes a number: a planted chaperone, a guardian whose child is not in it, or a volunteer.
fn chaperone(
    number: usize,
    first: bool,
    people: &mut DemoPeople,
    dice: &mut Dice,
    taken: &mut BTreeSet<String>,
) -> Adult {
    let planted = match (number, first) {
        (GUARDIAN_CHAPERONE_NUMBER, true) => Some(GUARDIAN_CHAPERONE),
        (7, true) => Some(LAPSING_CHAPERONE),
        _ => None,
    };
    if let Some(adult) = planted.and_then(|name| people.adults.iter().find(|a| a.name == name)) {
        return adult.clone();
    }
    if dice.below(100) < GUARDIANS_IN_HUNDRED {
        for _ in 0..50 {
            let kid = &people.kids[dice.below(people.kids.len())];
            let Some(care) = kid.cares.first() else {
                continue;
            };
            let adult = &people.adults[care.adult];
            let own = people
                .kids
                .iter()
                .any(|k| k.numbers.contains(&number) && k.cares.iter().any(|c| c.adult == care.adult));
            if !own && adult.mobile.is_some() && adult.texts == "yes" && taken.insert(adult.name.clone()) {
                return adult.clone();
            }
        }
    }
    volunteer(people, dice, taken)
}

/// A chaperone without a child in the season.
fn volunteer(people: &mut DemoPeople, dice: &mut Dice, taken: &mut BTreeSet<String>) -> Adult {
    let families = NAMES.first().map_or(&[][..], |names| names.families);
    loop {
        let name = format!("{} {}", dice.pick(VOLUNTEERS, "Doreen"), dice.pick(families, "Lane"));
        if people.adults.iter().all(|a| a.name != name) && taken.insert(name.clone()) {
            return people.contact_of(&name, Roads { mobile: true, mail: true });
        }
    }
}
