//! Published numbers of children to one adult, by the youngest child in a room.

use super::{Mark, Source};

/// One figure.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct RatioRow {
    /// Youngest and oldest age it is for, in years.
    pub ages: (u8, u8),
    /// Children to one adult at most.
    pub children: usize,
    /// Whose figure it is.
    pub source: Source,
}

/// One table.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct RatioTable {
    /// Its name in the setting.
    pub name: &'static str,
    /// At least two adults with any children.
    pub two_adults: bool,
    /// Its figures, from the youngest up.
    pub rows: &'static [RatioRow],
}

/// Every age.
const ANY: (u8, u8) = (0, u8::MAX);

const NSPCC: Source = Source {
    body: "NSPCC Learning",
    document: "recommended adult to child ratios for voluntary groups",
    year: Some(2023),
    mark: Mark::Seen,
};
const EARLY_YEARS: Source = Source {
    body: "Department for Education (England)",
    document: "early years foundation stage framework, as an English county council sums it up",
    year: None,
    mark: Mark::SecondHand,
};
const CHAPERONES: Source = Source {
    body: "Children (Performances and Activities) (England) Regulations",
    document: "SI 2014/3309, as councils' chaperone packs sum it up",
    year: Some(2014),
    mark: Mark::SecondHand,
};
const GUARDIAN: Source = Source {
    body: "NSW Office of the Children's Guardian",
    document: "supervision of children at work",
    year: Some(2015),
    mark: Mark::Seen,
};
const GROUP: Source = Source {
    body: "New York State Department of Labor",
    document: "12 NYCRR Part 186, group certificates",
    year: None,
    mark: Mark::Seen,
};

const fn row(ages: (u8, u8), children: usize, source: Source) -> RatioRow {
    RatioRow { ages, children, source }
}

/// The tables, by the names the setting takes.
pub const TABLES: &[RatioTable] = &[
    RatioTable {
        name: "NSPCC",
        two_adults: true,
        rows: &[
            row((0, 1), 3, NSPCC),
            row((2, 3), 4, NSPCC),
            row((4, 8), 6, NSPCC),
            row((9, 12), 8, NSPCC),
            row((13, 18), 10, NSPCC),
        ],
    },
    // From three on one to thirteen is allowed with a qualified teacher: the stricter figure stands here, since who is
    // qualified is not in the workbook.
    RatioTable {
        name: "early years England",
        two_adults: false,
        rows: &[row((0, 1), 3, EARLY_YEARS), row((2, 2), 4, EARLY_YEARS), row((3, 5), 8, EARLY_YEARS)],
    },
    RatioTable { name: "England performance", two_adults: false, rows: &[row(ANY, 12, CHAPERONES)] },
    RatioTable {
        name: "New South Wales",
        two_adults: false,
        rows: &[row((0, 2), 2, GUARDIAN), row((3, 5), 5, GUARDIAN), row((6, u8::MAX), 10, GUARDIAN)],
    },
    RatioTable { name: "New York", two_adults: false, rows: &[row(ANY, 20, GROUP)] },
];

impl RatioTable {
    /// The figure for a room by its youngest child; none where the table has none, or where it goes by ages and no age is
    /// known.
    pub fn row(&self, youngest: Option<u8>) -> Option<&'static RatioRow> {
        self.rows.iter().find(|row| match youngest {
            Some(age) => (row.ages.0..=row.ages.1).contains(&age),
            None => row.ages == ANY,
        })
    }

    /// Adults that so many children need, with the figure it follows from.
    pub fn adults(&self, children: usize, youngest: Option<u8>) -> Option<(usize, &'static RatioRow)> {
        let row = self.row(youngest)?;
        let least = if self.two_adults && children > 0 { 2 } else { 0 };
        Some((children.div_ceil(row.children).max(least), row))
    }
}
