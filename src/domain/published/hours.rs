//! Published limits of hours for children who perform, by place and age.
//!
//! What the workbook cannot show is not here: breaks and meals, time at a stretch, hours of schooling. Many of these limits
//! bind licensed or paid work only.

use super::{Mark, Source};

/// One limit.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Limit {
    /// Minutes; for a time of day, minutes from the midnight before, more than a day's where it is after the next.
    pub minutes: i64,
    /// Whose it is.
    pub source: Source,
}

/// A number of days.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Days {
    /// How many at most.
    pub days: usize,
    /// Whose it is.
    pub source: Source,
}

/// The limits of one age band. What is not published for it, or needs what the workbook does not hold, is none.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Band {
    /// Youngest and oldest age, in years.
    pub ages: (u8, u8),
    /// At the place in one day.
    pub at_place: Option<Limit>,
    /// Performing and rehearsing in one day.
    pub performing: Option<Limit>,
    /// The same on a day without school, where it differs.
    pub performing_no_school: Option<Limit>,
    /// Not at the place before.
    pub earliest: Option<Limit>,
    /// Not at the place after.
    pub latest: Option<Limit>,
    /// The same before a day without school, where it differs.
    pub latest_no_school: Option<Limit>,
    /// Between two shows of one day.
    pub between_shows: Option<Limit>,
}

/// The limits of one place.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct HoursTable {
    /// Its name in the setting.
    pub name: &'static str,
    /// Its bands, from the youngest up.
    pub bands: &'static [Band],
    /// From leaving on one day to coming on another.
    pub overnight: Option<Limit>,
    /// Days one after the other.
    pub days_running: Option<Days>,
    /// Days out of any seven.
    pub days_in_week: Option<Days>,
}

impl HoursTable {
    /// The limits for an age; none where nothing is published for it.
    pub fn band(&self, age: u8) -> Option<&'static Band> {
        self.bands.iter().find(|band| (band.ages.0..=band.ages.1).contains(&age))
    }
}

const ENGLAND: Source = Source {
    body: "Children (Performances and Activities) (England) Regulations",
    document: "SI 2014/3309, by way of a children's-arts licensing note",
    year: Some(2014),
    mark: Mark::SecondHand,
};
const ENGLAND_SUMMARY: Source =
    Source { document: "SI 2014/3309, as a theatre technicians' forum sums it up", ..ENGLAND };
const SCOTLAND: Source = Source {
    body: "Children (Performances and Activities) (Scotland) Regulations",
    document: "SSI 2014/372, as a Scottish authority's guidance sums it up",
    year: Some(2014),
    mark: Mark::SecondHand,
};
const SCOTLAND_DAYS: Source =
    Source { document: "SSI 2014/372, regulation 26", mark: Mark::Seen, ..SCOTLAND };
const CALIFORNIA: Source = Source {
    body: "California Labor Code and 8 CCR 11760",
    document: "as studio teachers' and legal sites sum them up",
    year: None,
    mark: Mark::SecondHand,
};
const NEW_YORK: Source = Source {
    body: "New York State Department of Labor",
    document: "12 NYCRR Part 186, live performance",
    year: None,
    mark: Mark::Seen,
};
const GUARDIAN: Source = Source {
    body: "NSW Office of the Children's Guardian",
    document: "hours of work, live performance",
    year: Some(2015),
    mark: Mark::Seen,
};

/// A limit in hours and minutes.
const fn limit(hours: i64, minutes: i64, source: Source) -> Option<Limit> {
    Some(Limit { minutes: hours * 60 + minutes, source })
}

const fn days(days: usize, source: Source) -> Option<Days> {
    Some(Days { days, source })
}

const NOTHING: Band = Band {
    ages: (0, 0),
    at_place: None,
    performing: None,
    performing_no_school: None,
    earliest: None,
    latest: None,
    latest_no_school: None,
    between_shows: None,
};

const fn england(ages: (u8, u8), at_place: Option<Limit>, performing: Option<Limit>, latest: i64) -> Band {
    let (earliest, latest) = (limit(7, 0, ENGLAND), limit(latest, 0, ENGLAND));
    Band { ages, at_place, performing, earliest, latest, ..NOTHING }
}

const fn scotland(ages: (u8, u8), at_place: (i64, i64), performing: i64, day: (i64, i64)) -> Band {
    Band {
        ages,
        at_place: limit(at_place.0, at_place.1, SCOTLAND),
        performing: limit(performing, 0, SCOTLAND),
        earliest: limit(day.0, 0, SCOTLAND),
        latest: limit(day.1, 0, SCOTLAND),
        ..NOTHING
    }
}

/// Hours at the place have half an hour for a meal added.
const fn california(ages: (u8, u8), at_place: i64, performing: i64, no_school: i64) -> Band {
    Band {
        ages,
        at_place: limit(at_place, 30, CALIFORNIA),
        performing: limit(performing, 0, CALIFORNIA),
        performing_no_school: limit(no_school, 0, CALIFORNIA),
        earliest: limit(5, 0, CALIFORNIA),
        latest: limit(22, 0, CALIFORNIA),
        latest_no_school: limit(24, 30, CALIFORNIA),
        ..NOTHING
    }
}

const fn new_south_wales(ages: (u8, u8), hours: i64, latest: i64) -> Band {
    Band {
        ages,
        at_place: limit(hours, 0, GUARDIAN),
        performing: limit(hours, 0, GUARDIAN),
        earliest: limit(6, 0, GUARDIAN),
        latest: limit(latest, 0, GUARDIAN),
        ..NOTHING
    }
}

/// The tables, by the names the setting takes.
pub const TABLES: &[HoursTable] = &[
    HoursTable {
        name: "England",
        bands: &[
            england((0, 4), limit(5, 0, ENGLAND), None, 22),
            england((5, 8), limit(8, 0, ENGLAND), None, 23),
            // To the school-leaving age.
            Band {
                between_shows: limit(1, 30, ENGLAND_SUMMARY),
                ..england((9, 16), limit(9, 30, ENGLAND), limit(5, 0, ENGLAND_SUMMARY), 23)
            },
        ],
        overnight: limit(12, 0, ENGLAND),
        days_running: days(6, ENGLAND),
        days_in_week: None,
    },
    HoursTable {
        name: "Scotland",
        bands: &[
            scotland((0, 4), (5, 0), 2, (8, 20)),
            scotland((5, 8), (8, 0), 3, (7, 23)),
            scotland((9, 16), (9, 30), 4, (7, 23)),
        ],
        overnight: limit(12, 0, SCOTLAND),
        days_running: days(6, SCOTLAND_DAYS),
        days_in_week: None,
    },
    HoursTable {
        name: "California",
        bands: &[
            california((2, 5), 6, 3, 3),
            california((6, 8), 8, 4, 6),
            california((9, 15), 9, 5, 7),
            california((16, 17), 10, 6, 8),
        ],
        overnight: limit(12, 0, CALIFORNIA),
        days_running: None,
        days_in_week: None,
    },
    HoursTable {
        name: "New York",
        bands: &[Band {
            ages: (0, 17),
            earliest: limit(5, 0, NEW_YORK),
            latest: limit(24, 0, NEW_YORK),
            latest_no_school: limit(24, 30, NEW_YORK),
            ..NOTHING
        }],
        overnight: limit(12, 0, NEW_YORK),
        days_running: None,
        days_in_week: None,
    },
    HoursTable {
        name: "New South Wales",
        bands: &[
            new_south_wales((3, 5), 4, 21),
            new_south_wales((6, 7), 6, 22),
            new_south_wales((8, 14), 8, 23),
        ],
        overnight: limit(12, 0, GUARDIAN),
        days_running: None,
        days_in_week: days(4, GUARDIAN),
    },
];
