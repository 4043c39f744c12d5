//! The awkward cases every demo season has, by name, so that tests and readers can find them.

use super::people::{Adult, DemoCare, DemoPeople, Kid, Roads};
use super::words::{EVENING_CAST, MATINEE_CAST};

/// Twins whose names differ in one letter.
pub const TWINS: [&str; 2] = ["Annelise Vanterpool", "Anneliese Vanterpool"];
/// Three siblings: one in the first number, one in the last before the interval, one in the finale alone.
pub const FAMILY_OF_THREE: [&str; 3] = ["Rufus Pemberlight", "Cosima Pemberlight", "Leopold Pemberlight"];
/// A child in both casts by error.
pub const BOTH_CASTS: &str = "Marigold Tansley";
/// A guardian who is also a chaperone of a number her child is not in.
pub const GUARDIAN_CHAPERONE: &str = "Rosamund Achterberg";
/// The number she looks after, from 0.
pub const GUARDIAN_CHAPERONE_NUMBER: usize = 5;
/// A guardian who belongs to two households, with a child in each.
pub const SHARED_GUARDIAN: &str = "Anselm Fairweather-Nkemelu";
/// A guardian with a land line and nothing else.
pub const LANDLINE_ONLY: &str = "Ignatius Crowthorne";
/// Two guardians of one household with one telephone.
pub const ONE_PHONE_ONE_HOUSEHOLD: [&str; 2] = ["Ottoline Brankley", "Hugo Brankley"];
/// Two guardians of two households with one telephone.
pub const ONE_PHONE_TWO_HOUSEHOLDS: [&str; 2] = ["Dorcas Wetherstone", "Milo Strandgate"];
/// Children whose names are written from right to left.
pub const RIGHT_TO_LEFT: [&str; 2] = ["ليلى الهاشمي", "ליאור בן־חמו"];
/// A child whose name holds letters the short text alphabet lacks.
pub const ACCENTS: &str = "Łucja-Désirée Gürçağlı";
/// A child with apostrophe, hyphens and accents.
pub const APOSTROPHE: &str = "Síle-Máire Ní Dhónaill-O'Hanrahan";
/// A child with matinee and evening on one day, with a short gap.
pub const TWO_SHOWS_ONE_DAY: &str = "Peregrine Oakapple";
/// Children in two numbers with none between, which no change of costume survives.
pub const IMPOSSIBLE_CHANGES: [&str; 2] = ["Tamsin Overbeck", "Jarek Zielonka"];
/// A child who turns five in show week: the age band straddles the birthday.
pub const BIRTHDAY: &str = "Wren Applegarth";
/// A guardian abroad, with a North American number.
pub const ABROAD: &str = "Thaddeus Marchetti-Bloom";
/// A guardian with no telephone and no mail address.
pub const NO_WAY: &str = "Hepzibah Lorne";
/// A guardian whom nobody asked whether she may be texted.
pub const NOT_ASKED: &str = "Clementina Farrow-Diaz";
/// A chaperone whose vetting ends on the Saturday of the shows.
pub const LAPSING_CHAPERONE: &str = "Cordelia Stavebrook";
/// The last day of her vetting.
pub const LAPSING_DATE: &str = "2027-03-27";

/// Every planted case: what it is and by which names to find it.
pub const PLANTED: &[(&str, &[&str])] = &[
    ("twins with near-same names", &TWINS),
    ("a family of three in numbers 1, 22 and 44", &FAMILY_OF_THREE),
    ("a child in both casts by error", &[BOTH_CASTS]),
    ("a guardian who is a chaperone of another group", &[GUARDIAN_CHAPERONE]),
    ("a guardian shared by two households", &[SHARED_GUARDIAN]),
    ("a land line only", &[LANDLINE_ONLY]),
    ("one number, two guardians, one household", &ONE_PHONE_ONE_HOUSEHOLD),
    ("one number, two households", &ONE_PHONE_TWO_HOUSEHOLDS),
    ("right-to-left script", &RIGHT_TO_LEFT),
    ("accents that lengthen a text", &[ACCENTS]),
    ("apostrophe and hyphens", &[APOSTROPHE]),
    ("matinee and evening on one day", &[TWO_SHOWS_ONE_DAY]),
    ("an impossible quick change", &IMPOSSIBLE_CHANGES),
    ("a child turning five in show week", &[BIRTHDAY]),
    ("a guardian abroad", &[ABROAD]),
    ("a guardian with no way to be reached", &[NO_WAY]),
    ("a guardian whose agreement is unknown", &[NOT_ASKED]),
    ("a chaperone whose vetting lapses", &[LAPSING_CHAPERONE]),
];

/// Families planted by [`plant`].
pub const FAMILIES: usize = 22;

/// Adds the planted families to an empty season.
pub fn plant(people: &mut DemoPeople) {
    let both = Roads { mobile: true, mail: true };
    for name in TWINS {
        kid(people, name, 2, &[2], &["Marguerite Vanterpool", "Joost Vanterpool"], "V1", both);
    }
    for (name, (band, numbers)) in FAMILY_OF_THREE.iter().zip([(3, &[0usize][..]), (4, &[21]), (5, &[])]) {
        kid(people, name, band, numbers, &["Sybil Pemberlight"], "P3", both);
    }
    kid(people, BOTH_CASTS, 1, &[8], &["Araminta Tansley", "Jonty Tansley"], "T1", both);
    cast(people, &format!("{MATINEE_CAST}; {EVENING_CAST}"));
    kid(people, "Gideon Achterberg", 4, &[13], &[GUARDIAN_CHAPERONE], "A1", both);
    kid(people, "Linus Fairweather", 3, &[10], &[SHARED_GUARDIAN, "Petra Fairweather"], "F1", both);
    kid(people, "Oriel Nkemelu", 2, &[11], &[SHARED_GUARDIAN, "Adanna Nkemelu"], "N1", both);
    kid(people, "Barnabas Crowthorne", 3, &[15], &[], "C1", both);
    let landline = Adult { landline: Some("01632 960017".to_owned()), ..Adult::named(LANDLINE_ONLY) };
    guardian(people, landline, "C1");
    one_phone(people);
    other_scripts(people);
    kid(people, TWO_SHOWS_ONE_DAY, 3, &[19, 31], &["Philomena Oakapple", "Crispin Oakapple"], "O1", both);
    kid(people, IMPOSSIBLE_CHANGES[0], 3, &[23, 24], &["Gwendoline Overbeck"], "O2", both);
    kid(people, IMPOSSIBLE_CHANGES[1], 2, &[27, 28], &["Halszka Zielonka", "Bronek Zielonka"], "Z1", both);
    kid(people, BIRTHDAY, 0, &[12], &["Jemima Applegarth"], "A2", both);
    cast(people, MATINEE_CAST);
    if let Some(last) = people.kids.last_mut() {
        last.ages = "4-5".to_owned();
    }
    kid(people, "Juniper Marchetti-Bloom", 3, &[5], &["Saskia Marchetti"], "M1", both);
    let abroad = Adult {
        mobile: Some("+1 212 555 0142".to_owned()),
        mail: Some("thaddeus.bloom@example.com".to_owned()),
        agreed: true,
        texts: "yes",
        mails: "yes",
        ..Adult::named(ABROAD)
    };
    guardian(people, abroad, "M2");
    kid(people, "Ezekiel Lorne", 2, &[6], &[], "L1", both);
    guardian(people, Adult::named(NO_WAY), "L1");
    kid(people, "Rosalba Farrow-Diaz", 2, &[16], &[NOT_ASKED], "F2", both);
    if let Some(adult) = people.adults.iter_mut().find(|a| a.name == NOT_ASKED) {
        (adult.texts, adult.mails, adult.agreed) = ("", "", false);
    }
    kid(people, "Casimir Stavebrook", 3, &[36], &[LAPSING_CHAPERONE], "S1", both);
}

fn one_phone(people: &mut DemoPeople) {
    let both = Roads { mobile: true, mail: true };
    kid(people, "Dulcie Brankley", 3, &[28], &ONE_PHONE_ONE_HOUSEHOLD, "B1", both);
    same_phone(people, ONE_PHONE_ONE_HOUSEHOLD);
    kid(people, "Perdita Wetherstone", 2, &[20], &[ONE_PHONE_TWO_HOUSEHOLDS[0]], "W1", both);
    kid(people, "Otto Strandgate", 4, &[26], &[ONE_PHONE_TWO_HOUSEHOLDS[1]], "S2", both);
    same_phone(people, ONE_PHONE_TWO_HOUSEHOLDS);
}

fn other_scripts(people: &mut DemoPeople) {
    let both = Roads { mobile: true, mail: true };
    kid(people, RIGHT_TO_LEFT[0], 1, &[14], &["مريم الهاشمي", "كريم الهاشمي"], "H1", both);
    cast(people, MATINEE_CAST);
    language(people, "ar");
    kid(people, RIGHT_TO_LEFT[1], 3, &[39], &["נועה בן־חמו"], "H2", both);
    language(people, "he");
    kid(people, ACCENTS, 2, &[32], &["Żaneta Gürçağlı", "Şükrü Gürçağlı"], "G1", both);
    kid(people, APOSTROPHE, 4, &[3], &["Gráinne Ní Dhónaill", "Fiachra O'Hanrahan"], "D1", both);
}

/// Adds a child with guardians; an adult already known by that name is shared.
fn kid(
    people: &mut DemoPeople,
    name: &str,
    band: usize,
    numbers: &[usize],
    adults: &[&str],
    household: &str,
    roads: Roads,
) {
    let (given, family) = name.split_once(' ').unwrap_or((name, ""));
    people.kids.push(Kid::new(given, family, band, numbers));
    for name in adults {
        let adult = match people.adults.iter().position(|a| a.name == *name) {
            Some(at) => at,
            None => people.adult(name, "", roads),
        };
        care(people, adult, household);
    }
}

fn guardian(people: &mut DemoPeople, adult: Adult, household: &str) {
    people.adults.push(adult);
    care(people, people.adults.len() - 1, household);
}

fn care(people: &mut DemoPeople, adult: usize, household: &str) {
    if let Some(kid) = people.kids.last_mut() {
        kid.cares.push(DemoCare { adult, household: household.to_owned(), brings: true, collects: true });
    }
}

fn cast(people: &mut DemoPeople, cast: &str) {
    if let Some(kid) = people.kids.last_mut() {
        kid.cast = cast.to_owned();
    }
}

fn language(people: &mut DemoPeople, tag: &'static str) {
    let Some(kid) = people.kids.last() else {
        return;
    };
    for care in &kid.cares {
        people.adults[care.adult].language = tag;
    }
}

fn same_phone(people: &mut DemoPeople, names: [&str; 2]) {
    let mobile = people.adults.iter().find(|a| a.name == names[0]).and_then(|a| a.mobile.clone());
    if let Some(second) = people.adults.iter_mut().find(|a| a.name == names[1]) {
        second.mobile = mobile;
    }
}
