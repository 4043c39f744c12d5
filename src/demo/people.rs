//! Families of the demo season: children, guardians, households and how each guardian can be reached.

use super::dice::Dice;
use super::names::{DemoNames, NAMES};
use super::numbers::{BANDS, Dancers, FINALE, PLANS, PRODUCTIONS};
use super::planted;
use super::words::{EVENING_CAST, MATINEE_CAST};
use std::collections::BTreeSet;
use std::ops::RangeInclusive;
use unicode_normalization::UnicodeNormalization;

/// Children in the season.
pub const CHILDREN: usize = 350;
/// Families made by chance, besides the planted ones: with one, two and three children.
const FAMILIES_BY_SIZE: [usize; 3] = [199, 51, 8];
/// Children in a production number.
const PRODUCTION_SIZE: usize = 50;
/// Share of further numbers that come so soon after another that the change is a quick one: about 6 dancers in 100 (common
/// practice, no source).
const QUICK_SHARE: f64 = 0.13;
/// Numbers between two of a child's numbers that leave an ordinary change.
const COMFORTABLE_GAP: usize = 3;
/// Steps in the running order between two numbers with a quick change between them.
const QUICK_GAPS: RangeInclusive<usize> = 2..=COMFORTABLE_GAP;

/// Which roads an adult gives.
#[derive(Debug, Clone, Copy)]
pub struct Roads {
    /// Gives a mobile that may be texted.
    pub mobile: bool,
    /// Gives a mail address.
    pub mail: bool,
}

/// A guardian or chaperone.
#[derive(Debug, Clone, Default)]
pub struct Adult {
    /// Full name, unlike any other adult's.
    pub name: String,
    /// Mobile as typed.
    pub mobile: Option<String>,
    /// Land line as typed, where there is no mobile.
    pub landline: Option<String>,
    /// Mail address.
    pub mail: Option<String>,
    /// Language wanted; empty for the season's.
    pub language: &'static str,
    /// `yes`, `no` or empty.
    pub texts: &'static str,
    /// `yes`, `no` or empty.
    pub mails: &'static str,
    /// Whether a signed form is at hand.
    pub agreed: bool,
}

impl Adult {
    /// An adult who cannot be reached at all.
    pub fn named(name: &str) -> Adult {
        Adult { name: name.to_owned(), ..Adult::default() }
    }
}

/// One adult's part in one child's life.
#[derive(Debug, Clone)]
pub struct DemoCare {
    /// Position in [`DemoPeople::adults`].
    pub adult: usize,
    /// Household word.
    pub household: String,
    /// Brings.
    pub brings: bool,
    /// Collects.
    pub collects: bool,
}

/// One child.
#[derive(Debug, Clone)]
pub struct Kid {
    /// Given name.
    pub given: String,
    /// Family name.
    pub family: String,
    /// Position in [`BANDS`].
    pub band: usize,
    /// Label of the ages.
    pub ages: String,
    /// Cast or casts; empty for every performance.
    pub cast: String,
    /// Numbers from 0 without the finale, ascending.
    pub numbers: Vec<usize>,
    /// Guardians.
    pub cares: Vec<DemoCare>,
    /// Numbers the child should have; 0 for a planted child, who keeps those given.
    wanted: usize,
}

impl Kid {
    /// A child whose numbers are given.
    pub fn new(given: &str, family: &str, band: usize, numbers: &[usize]) -> Kid {
        Kid {
            given: given.to_owned(),
            family: family.to_owned(),
            band,
            ages: BANDS[band].ages.to_owned(),
            cast: String::new(),
            numbers: numbers.to_vec(),
            cares: Vec::new(),
            wanted: 0,
        }
    }
}

/// Everybody, while the season is being made.
#[derive(Debug)]
pub struct DemoPeople {
    /// Adults, each once.
    pub adults: Vec<Adult>,
    /// Children.
    pub kids: Vec<Kid>,
    dice: Dice,
    mobiles: Vec<u32>,
    landlines: Vec<u32>,
    addresses: usize,
}

impl DemoPeople {
    /// All families of a seed, with numbers and casts given out.
    pub fn new(seed: u64) -> DemoPeople {
        let mut dice = Dice::new(seed, "people");
        // 07700 900000 to 900999 and 01632 960000 to 960999 are kept for drama (Ofcom list); 01632 960100 and 960101 are the school's.
        let mut mobiles: Vec<u32> = (0..1000).collect();
        let mut landlines: Vec<u32> = (200..1000).collect();
        dice.shuffle(&mut mobiles);
        dice.shuffle(&mut landlines);
        let mut people =
            DemoPeople { adults: Vec::new(), kids: Vec::new(), dice, mobiles, landlines, addresses: 100 };
        planted::plant(&mut people);
        people.families();
        people.casts();
        people.first_numbers();
        people.more_numbers();
        for kid in &mut people.kids {
            kid.numbers.sort_unstable();
        }
        let DemoPeople { kids, dice, .. } = &mut people;
        dice.shuffle(kids);
        people
    }

    /// Adds a guardian with contact of the given roads; answers its position.
    pub fn adult(&mut self, name: &str, language: &'static str, roads: Roads) -> usize {
        let adult = self.contact_of(name, roads);
        self.adults.push(Adult { language, ..adult });
        self.adults.len() - 1
    }

    /// An adult with a number and an address nobody else has, not yet among the guardians.
    pub fn contact_of(&mut self, name: &str, roads: Roads) -> Adult {
        let mobile = if roads.mobile { self.mobile() } else { None };
        let mail = roads.mail.then(|| self.mail(name));
        Adult {
            name: name.to_owned(),
            texts: if mobile.is_some() { "yes" } else { "" },
            mails: if mail.is_some() { "yes" } else { "" },
            agreed: mobile.is_some() || mail.is_some(),
            mobile,
            landline: None,
            mail,
            language: "",
        }
    }

    fn mobile(&mut self) -> Option<String> {
        self.mobiles.pop().map(|n| format!("07700 900{n:03}"))
    }

    fn mail(&mut self, name: &str) -> String {
        let host = ["example.org", "example.com", "example.net"][self.dice.below(3)];
        let mut local: String = name
            .nfd()
            .filter(|c| c.is_ascii_alphabetic() || *c == ' ')
            .map(|c| if c == ' ' { '.' } else { c.to_ascii_lowercase() })
            .collect();
        if local.chars().filter(char::is_ascii_alphabetic).count() < 3 {
            local = "family".to_owned();
        }
        self.addresses += 1;
        format!("{}.{}@{host}", local.trim_matches('.'), self.addresses)
    }

    fn families(&mut self) {
        let mut bands = self.band_deck();
        let mut sizes: Vec<usize> = FAMILIES_BY_SIZE
            .iter()
            .enumerate()
            .flat_map(|(at, count)| std::iter::repeat_n(at + 1, *count))
            .collect();
        self.dice.shuffle(&mut sizes);
        let mut taken: BTreeSet<String> = self.adults.iter().map(|a| a.name.clone()).collect();
        taken.extend(self.kids.iter().map(|k| format!("{} {}", k.given, k.family)));
        for (at, size) in sizes.into_iter().enumerate() {
            let bands: Vec<usize> = (0..size).filter_map(|_| bands.pop()).collect();
            self.family(at, &bands, &mut taken);
        }
    }

    /// One band for each child still to be made, so that the whole season has the shares of [`BANDS`].
    fn band_deck(&mut self) -> Vec<usize> {
        let mut deck = Vec::new();
        for (band, plan) in BANDS.iter().enumerate() {
            let planted = self.kids.iter().filter(|k| k.band == band).count();
            deck.extend(std::iter::repeat_n(band, (CHILDREN * plan.share / 100).saturating_sub(planted)));
        }
        while deck.len() + self.kids.len() < CHILDREN {
            deck.push(2);
        }
        self.dice.shuffle(&mut deck);
        deck
    }

    fn family(&mut self, at: usize, bands: &[usize], taken: &mut BTreeSet<String>) {
        let weights: Vec<f64> = NAMES.iter().map(|n| n.weight).collect();
        let names = &NAMES[self.dice.weighted(&weights)];
        let family = self.dice.pick(names.families, "Lane");
        let language = if self.dice.chance(names.wants) { names.language } else { "" };
        let cares = self.guardians(at, names, family, language, taken);
        for band in bands {
            let given = self.unused(names.children, family, taken);
            let mut kid = Kid::new(&given, family, *band, &[]);
            kid.wanted = self.wanted(*band);
            kid.cares.clone_from(&cares);
            self.kids.push(kid);
        }
    }

    /// Guardians of one family: one 22, two 66, three 7, four 5 in a hundred; about 18 in a hundred live in two households.
    fn guardians(
        &mut self,
        at: usize,
        names: &DemoNames,
        family: &str,
        language: &'static str,
        taken: &mut BTreeSet<String>,
    ) -> Vec<DemoCare> {
        let count = 1 + self.dice.weighted(&[22.0, 66.0, 7.0, 5.0]);
        let apart = match count {
            1 => false,
            2 => self.dice.chance(0.17),
            _ => self.dice.chance(0.6),
        };
        let mut cares = Vec::new();
        for nth in 0..count {
            let own = self.dice.chance(0.25) || (apart && nth % 2 == 1);
            let surname = if nth > 0 && own { self.dice.pick(names.families, "Lane") } else { family };
            let name = format!("{} {surname}", self.unused(names.adults, surname, taken));
            let adult = self.reachable(&name, language);
            let house = if apart && nth % 2 == 1 { "b" } else { "a" };
            cares.push(DemoCare {
                adult,
                household: format!("H{:03}{house}", at + 1),
                brings: nth == 0 || self.dice.chance(0.5),
                collects: nth == 0 || self.dice.chance(0.6),
            });
        }
        cares
    }

    /// An adult with both roads 82, text 8, mail 8, neither 2 in a hundred.
    fn reachable(&mut self, name: &str, language: &'static str) -> usize {
        match self.dice.weighted(&[82.0, 8.0, 8.0, 2.0]) {
            0 => self.adult(name, language, Roads { mobile: true, mail: true }),
            1 => self.adult(name, language, Roads { mobile: true, mail: false }),
            2 => {
                let at = self.adult(name, language, Roads { mobile: false, mail: true });
                if self.dice.chance(0.4) {
                    self.adults[at].mobile = self.mobile();
                    self.adults[at].texts = if self.dice.chance(0.5) { "no" } else { "" };
                }
                at
            }
            _ => {
                let at = self.adult(name, language, Roads { mobile: false, mail: false });
                self.adults[at].landline = self.landlines.pop().map(|n| format!("01632 960{n:03}"));
                at
            }
        }
    }

    /// A given name not yet used with this family name; a second one is added with a hyphen when the list runs out.
    fn unused(&mut self, given: &[&str], family: &str, taken: &mut BTreeSet<String>) -> String {
        for _ in 0..200 {
            let mut name = self.dice.pick(given, "Robin").to_owned();
            if taken.contains(&format!("{name} {family}")) && self.dice.chance(0.3) {
                name = format!("{name}-{}", self.dice.pick(given, "Robin"));
            }
            if taken.insert(format!("{name} {family}")) {
                return name;
            }
        }
        let name = format!("Robin {}", taken.len());
        taken.insert(format!("{name} {family}"));
        name
    }

    /// Numbers wanted besides the finale: over all children one 62, two 23, three 9, four 4, more 2 in a hundred; the
    /// youngest have one.
    fn wanted(&mut self, band: usize) -> usize {
        if band == 0 {
            return 1;
        }
        match self.dice.weighted(&[56.0, 27.0, 10.4, 4.6, 2.0]) {
            4 => 5 + self.dice.below(3),
            few => few + 1,
        }
    }

    /// The two youngest bands are halved into two casts; the others dance at every show.
    fn casts(&mut self) {
        let mut next = false;
        for kid in self.kids.iter_mut().filter(|k| k.band < 2 && k.cast.is_empty()) {
            kid.cast = if next { EVENING_CAST } else { MATINEE_CAST }.to_owned();
            next = !next;
        }
    }

    /// Gives every child a number of its band, the emptiest first.
    fn first_numbers(&mut self) {
        for at in 0..self.kids.len() {
            if self.kids[at].wanted > 0 {
                self.give(at, false, |number, kid| PLANS[number].dancers == Dancers::Band(kid.band));
            }
        }
    }

    /// Gives the rest: production numbers to older children first, then numbers of the own band and the next.
    fn more_numbers(&mut self) {
        let mut order: Vec<usize> = (0..self.kids.len()).filter(|at| self.kids[*at].wanted > 1).collect();
        self.dice.shuffle(&mut order);
        for at in order {
            while self.kids[at].numbers.len() < self.kids[at].wanted {
                let given = (self.dice.chance(QUICK_SHARE) && self.give(at, true, near))
                    || (self.kids[at].band >= 2
                        && self.dice.chance(0.95)
                        && self.give(at, false, |number, _| PRODUCTIONS.contains(&number)))
                    || self.give(at, false, near);
                if !given {
                    break;
                }
            }
        }
    }

    /// Gives a child the emptiest number that suits and leaves a comfortable gap, or a short one where the change shall be
    /// quick; answers whether there was one.
    fn give(&mut self, kid: usize, quick: bool, suits: impl Fn(usize, &Kid) -> bool) -> bool {
        let sizes = self.sizes();
        let child = &self.kids[kid];
        let gap = |n: usize| child.numbers.iter().map(|has| has.abs_diff(n)).min().unwrap_or(FINALE);
        let mut fit: Vec<usize> = (0..FINALE)
            .filter(|n| suits(*n, child) && sizes[*n] < room(*n))
            .filter(|n| if quick { QUICK_GAPS.contains(&gap(*n)) } else { gap(*n) > COMFORTABLE_GAP })
            .collect();
        self.dice.shuffle(&mut fit);
        let Some(best) = fit.into_iter().min_by_key(|n| sizes[*n]) else {
            return false;
        };
        self.kids[kid].numbers.push(best);
        true
    }

    fn sizes(&self) -> Vec<usize> {
        let mut sizes = vec![0; FINALE];
        for number in self.kids.iter().flat_map(|k| &k.numbers) {
            sizes[*number] += 1;
        }
        sizes
    }
}

fn near(number: usize, kid: &Kid) -> bool {
    match PLANS[number].dancers {
        Dancers::Band(band) => band >= 1 && band.abs_diff(kid.band) <= 1,
        _ => false,
    }
}

/// Children a number has room for.
fn room(number: usize) -> usize {
    match PLANS[number].dancers {
        Dancers::Band(band) => BANDS[band].cap,
        Dancers::Production => PRODUCTION_SIZE,
        Dancers::All => usize::MAX,
    }
}
