//! What was published to a guardian or a chaperone, in a canonical form, and its fingerprint.
//!
//! The form is text of our own, versioned and kept beside the digest, so that an upgrade, new zone data or a
//! reworded template never changes a fingerprint: only the published facts do.

use super::hash;
use super::itinerary::Itinerary;
use super::season::{EventId, HouseRule, Number, NumberId, Person, Season};
use super::shift::Shift;
use jiff::civil::DateTime;
use std::collections::BTreeMap;

/// Version written into the first line of the form.
pub const FACTS_VERSION: u32 = 1;

/// The first 128 bits of SHA-256 over a canonical form.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Fingerprint(pub u128);

impl std::fmt::Display for Fingerprint {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "{:032x}", self.0)
    }
}

impl std::str::FromStr for Fingerprint {
    type Err = std::num::ParseIntError;
    fn from_str(hex: &str) -> Result<Self, Self::Err> {
        u128::from_str_radix(hex, 16).map(Fingerprint)
    }
}

/// What a fact is about.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Field {
    /// Called off for this child.
    Cancelled,
    /// Local date.
    Date,
    /// Place.
    Place,
    /// Door.
    Door,
    /// Call.
    Call,
    /// Park by.
    ParkBy,
    /// How to arrive.
    Ready,
    /// What to bring.
    Bring,
    /// Costumes to hand in.
    TurnIn,
    /// Where to collect.
    CollectAt,
    /// Not before when to collect.
    CollectFrom,
    /// House rules to be acknowledged.
    Rules,
    /// A chaperone's briefing.
    Briefing,
    /// When a chaperone stands at her place.
    Station,
    /// When a chaperone's shift is over.
    Until,
    /// Numbers a chaperone looks after.
    Numbers,
    /// A chaperone's tasks.
    Task,
    /// Numbers whose children a chaperone signs in.
    SignsIn,
    /// Numbers whose children a chaperone signs out.
    SignsOut,
}

const FIELDS: &[(Field, &str)] = &[
    (Field::Cancelled, "cancelled"),
    (Field::Date, "date"),
    (Field::Place, "place"),
    (Field::Door, "door"),
    (Field::Call, "call"),
    (Field::ParkBy, "park by"),
    (Field::Ready, "arrive ready"),
    (Field::Bring, "bring"),
    (Field::TurnIn, "turn-in"),
    (Field::CollectAt, "collect at"),
    (Field::CollectFrom, "collect from"),
    (Field::Rules, "rules"),
    (Field::Briefing, "briefing"),
    (Field::Station, "station"),
    (Field::Until, "until"),
    (Field::Numbers, "numbers"),
    (Field::Task, "task"),
    (Field::SignsIn, "signs in"),
    (Field::SignsOut, "signs out"),
];

/// Published facts of one child or chaperone at one event, or of the season's house rules.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Facts {
    values: BTreeMap<Field, String>,
}

/// Everything of a child's itinerary that its facts are made of, besides the event: those who share it are told the same.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub struct Published<'a> {
    event: EventId,
    call: DateTime,
    park_by: Option<DateTime>,
    collect_from: Option<DateTime>,
    turn_in: &'a [NumberId],
}

impl<'a> Published<'a> {
    /// Of a child's itinerary; none for a chaperone's, which is hers alone.
    pub fn of(it: &'a Itinerary) -> Option<Published<'a>> {
        it.shift.is_none().then(|| Published {
            event: it.event,
            call: it.call,
            park_by: it.park_by,
            collect_from: it.collect_from.map(|from| from.at()),
            turn_in: &it.turn_in,
        })
    }
}

/// One fact that differs.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Difference {
    /// Which.
    pub field: Field,
    /// As it was; empty if it was not there.
    pub old: String,
    /// As it is; empty if it is gone.
    pub new: String,
}

impl Facts {
    /// The facts of an itinerary.
    pub fn of(season: &Season, it: &Itinerary) -> Facts {
        let event = &season.events[it.event.at()];
        let place = &season.places[event.place.at()];
        let mut facts = Facts::default();
        facts.set(Field::Date, event.date.to_string());
        facts.set(Field::Place, place.name.clone());
        facts.set(Field::Door, place.door.clone());
        facts.set(Field::Call, clock(it.call));
        facts.set(Field::ParkBy, it.park_by.map(clock).unwrap_or_default());
        if let Some(shift) = &it.shift {
            facts.of_shift(season, shift, &it.numbers);
            return facts;
        }
        facts.set(Field::Ready, event.arrive_ready.clone());
        facts.set(Field::Bring, event.bring.clone());
        let costumes: Vec<String> = it.turn_in.iter().map(|n| costume(&season.numbers[n.at()])).collect();
        facts.set(Field::TurnIn, costumes.join("; "));
        let collect_at = if place.collect_at.is_empty() { &place.door } else { &place.collect_at };
        facts.set(Field::CollectAt, collect_at.clone());
        facts.set(Field::CollectFrom, it.collect_from.map(|from| clock(from.at())).unwrap_or_default());
        facts.set(Field::Rules, rules_text(season, Some(it.event)));
        facts
    }

    /// What is told to a chaperone only.
    fn of_shift(&mut self, season: &Season, shift: &Shift, numbers: &[NumberId]) {
        let time = |at: Option<DateTime>| at.map(clock).unwrap_or_default();
        let names = |numbers: &[NumberId]| {
            let names: Vec<&str> = numbers.iter().map(|n| season.numbers[n.at()].name.as_str()).collect();
            names.join("; ")
        };
        self.set(Field::Briefing, time(shift.briefing));
        self.set(Field::Station, time(shift.station));
        self.set(Field::Until, time(shift.until));
        self.set(Field::Numbers, names(numbers));
        self.set(Field::Task, shift.tasks.join("; "));
        self.set(Field::SignsIn, names(&shift.signs_in));
        self.set(Field::SignsOut, names(&shift.signs_out));
    }

    /// The facts of the season's house rules.
    pub fn of_rules(season: &Season) -> Facts {
        let mut facts = Facts::default();
        facts.set(Field::Rules, rules_text(season, None));
        facts
    }

    /// The facts of a child who is no longer called at an event, or of an event that is called off.
    pub fn cancelled() -> Facts {
        let mut facts = Facts::default();
        facts.set(Field::Cancelled, "yes".to_owned());
        facts
    }

    /// Today's facts for a person and an event (none: the season's rules).
    pub fn today(
        season: &Season,
        programme: &super::itinerary::Programme,
        who: Person,
        event: Option<EventId>,
    ) -> Facts {
        match event {
            None => Facts::of_rules(season),
            Some(event) => match programme.get(who, event) {
                Some(it) => Facts::of(season, it),
                None => Facts::cancelled(),
            },
        }
    }

    fn set(&mut self, field: Field, value: String) {
        if !value.is_empty() {
            self.values.insert(field, value);
        }
    }

    /// One fact; empty if there is none.
    pub fn get(&self, field: Field) -> &str {
        self.values.get(&field).map_or("", String::as_str)
    }

    /// Whether this says the child is not wanted.
    pub fn is_cancelled(&self) -> bool {
        self.values.contains_key(&Field::Cancelled)
    }

    /// The canonical form: a version line, then one `name=value` line a fact, in a fixed order.
    pub fn form(&self) -> String {
        let mut out = format!("facts {FACTS_VERSION}\n");
        for (field, name) in FIELDS {
            if let Some(value) = self.values.get(field) {
                let value = value.replace('\\', "\\\\").replace('\n', "\\n");
                out.push_str(&format!("{name}={value}\n"));
            }
        }
        out
    }

    /// Reads a canonical form back; lines of a name not known today are left out.
    pub fn parse(form: &str) -> Facts {
        let mut facts = Facts::default();
        for line in form.lines().skip(1) {
            let Some((name, value)) = line.split_once('=') else { continue };
            if let Some((field, _)) = FIELDS.iter().find(|(_, n)| *n == name) {
                facts.set(*field, unescape(value));
            }
        }
        facts
    }

    /// The digest of the canonical form.
    pub fn fingerprint(&self) -> Fingerprint {
        let digest = hash::sha256(self.form().as_bytes());
        Fingerprint(digest.iter().take(16).fold(0, |value, byte| (value << 8) | u128::from(*byte)))
    }

    /// What differs from `self` to `new`, in the order of the form.
    pub fn changes_to(&self, new: &Facts) -> Vec<Difference> {
        FIELDS
            .iter()
            .filter(|(field, _)| self.get(*field) != new.get(*field))
            .map(|(field, _)| Difference {
                field: *field,
                old: self.get(*field).to_owned(),
                new: new.get(*field).to_owned(),
            })
            .collect()
    }
}

/// House rules that must be acknowledged for an event, or (none) for the season.
pub fn rules_of(season: &Season, event: Option<EventId>) -> impl Iterator<Item = &HouseRule> {
    season.house_rules.iter().filter(move |rule| rule.event == event && rule.acknowledge)
}

fn rules_text(season: &Season, event: Option<EventId>) -> String {
    rules_of(season, event)
        .map(|rule| rule.texts.get(&season.language).map_or(rule.name.as_str(), String::as_str))
        .collect::<Vec<_>>()
        .join("\n")
}

/// What is handed in after a number: its pieces, with the number they are for; the number alone where none are written.
fn costume(number: &Number) -> String {
    if number.pieces.is_empty() {
        return number.name.clone();
    }
    format!("{} ({})", number.pieces.join(", "), number.name)
}

fn clock(at: DateTime) -> String {
    format!("{:02}:{:02}", at.hour(), at.minute())
}

fn unescape(value: &str) -> String {
    let mut out = String::with_capacity(value.len());
    let mut chars = value.chars();
    while let Some(c) = chars.next() {
        match c {
            '\\' => match chars.next() {
                Some('n') => out.push('\n'),
                Some(other) => out.push(other),
                None => {}
            },
            _ => out.push(c),
        }
    }
    out
}
