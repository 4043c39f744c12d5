//! What the arithmetic of a day shows on paper: changes there is no time for, adults with too many children, chaperones
//! and children who cannot be everywhere that is written.

use super::super::day::Day;
use super::super::day::turns::Ease;
use super::super::itinerary::Programme;
use super::super::season::{EventId, EventKind, Season};
use super::desk::{Desk, Spot, counted, row_list};
use super::people::PeopleRows;
use super::{Found, crowding, hours};
use jiff::Span;
use std::sync::Arc;

/// Cases spelled out in one sentence at most.
const CASES_TOLD: usize = 4;
/// A child in every number of a shorter order than this is nothing unusual (assumption, no source).
const EVERY_NUMBER_FROM: usize = 5;

/// In which row of its sheet each line of the season stands.
#[derive(Debug)]
pub(super) struct Rows {
    pub(super) events: Vec<u32>,
    pub(super) rooms: Vec<u32>,
    pub(super) people: Arc<PeopleRows>,
    pub(super) duties: Vec<u32>,
}

impl Rows {
    /// Whether what belongs to an event stands in the same rows in both.
    fn agree(&self, other: &Rows, [season, before]: [&Season; 2], id: EventId) -> bool {
        fn duties<'a>(rows: &'a Rows, season: &'a Season, id: EventId) -> impl Iterator<Item = u32> + 'a {
            let all = season.duties.iter().zip(&rows.duties);
            all.filter(move |(duty, _)| duty.event == id).map(|(_, row)| *row)
        }
        self.events.get(id.at()) == other.events.get(id.at())
            && self.rooms == other.rooms
            && self.people == other.people
            && duties(self, season, id).eq(duties(other, before, id))
    }
}

/// What was found on the days of a season.
#[derive(Debug)]
pub(super) struct Days {
    rows: Rows,
    /// By event.
    found: Vec<Arc<Found>>,
}

/// Works out the itineraries and looks at each day. What was found before on a day about which nothing differs is told again.
pub(super) fn run(
    season: &Season,
    rows: Rows,
    before: Option<((&Season, &Programme), &Days)>,
    desk: &mut Desk,
) -> (Programme, Days) {
    crowding::of_season(season, &rows, desk);
    dancing_herself(season, &rows, desk);
    let programme = Programme::again(season, before.map(|(before, _)| before));
    let mut found = Vec::with_capacity(season.events.len());
    for id in (0_u32..).map(EventId).take(season.events.len()) {
        let known = before.and_then(|((old, earlier), days)| {
            let same = programme.shares(earlier, id) && rows.agree(&days.rows, [season, old], id);
            days.found.get(id.at()).filter(|_| same)
        });
        let of_day = known.map_or_else(|| Arc::new(look(season, &programme, &rows, id)), Arc::clone);
        desk.again(&of_day);
        found.push(of_day);
    }
    hours::run(season, &programme, &rows, desk);
    (programme, Days { rows, found })
}

/// What is found on the day of an event; nothing where it is called off.
fn look(season: &Season, programme: &Programme, rows: &Rows, id: EventId) -> Found {
    let mut desk = Desk::default();
    let event = &season.events[id.at()];
    if event.cancelled {
        return desk.found();
    }
    let (day, row) = (Day::of(season, id), rows.events[id.at()]);
    announced_too_early(&day, row, &mut desk);
    no_time(&day, &rows.people.children, &mut desk);
    in_every_number(&day, &rows.people.children, &mut desk);
    // In class and at photographs the teachers are with the children (common practice, no source).
    if !matches!(event.kind, EventKind::Class | EventKind::Photographs) {
        too_many(&day, row, &mut desk);
        crowding::run(&day, &day.rooms(programme), rows, &mut desk);
    }
    desk.found()
}

fn dancing_herself(season: &Season, rows: &Rows, desk: &mut Desk) {
    for (chaperone, child) in season.own.dancers.iter().copied() {
        let reason = format!(
            "this chaperone has the name or the mobile of the child in row {} of the sheet 'children'; she counts in no ratio \
             from her own ready call until she comes off",
            rows.people.children[child.at()]
        );
        let cure = "Give her number to somebody else meanwhile; if they are two people, add something that tells them apart.";
        desk.warn(Spot::row("chaperones", rows.people.chaperones[chaperone.at()]), reason, cure);
    }
}

fn in_every_number(day: &Day<'_>, child_rows: &[u32], desk: &mut Desk) {
    if !day.event().ordered || day.numbers.len() < EVERY_NUMBER_FROM {
        return;
    }
    let every =
        day.parts.chunk_by(|a, b| a.child == b.child).filter(|of_child| of_child.len() == day.numbers.len());
    let rows: Vec<u32> = every.map(|of_child| child_rows[of_child[0].child.at()]).collect();
    if let Some(first) = rows.first() {
        let reason = format!(
            "{} ({}) in all {} numbers of '{}'",
            counted(rows.len(), "child is", "children are"),
            row_list(&rows),
            day.numbers.len(),
            day.event().name
        );
        let cure = "Check that the numbers were not filled down by mistake.";
        desk.warn(Spot::named("children", *first, "numbers"), reason, cure);
    }
}

fn announced_too_early(day: &Day<'_>, row: u32, desk: &mut Desk) {
    let event = day.event();
    let (true, Some(announced), Some(ends)) = (event.ordered, event.ends, day.ends()) else { return };
    let (starts, ends) = (day.clock(0), day.clock(ends));
    let same_day = event.date.to_datetime(announced);
    let announced_at =
        if same_day < starts { same_day.saturating_add(Span::new().days(1)) } else { same_day };
    if announced_at < ends {
        let reason = format!(
            "'{}' is announced to end at {}, but its last number ends at {}",
            event.name,
            announced.strftime("%H:%M"),
            ends.strftime("%H:%M")
        );
        let cure = "Write a later end; until then families are told the end of the last number.";
        desk.warn(Spot::named("events", row, "ends"), reason, cure);
    }
}

fn no_time(day: &Day<'_>, child_rows: &[u32], desk: &mut Desk) {
    let impossible: Vec<_> = day.turns.iter().filter(|turn| turn.ease == Ease::Impossible).collect();
    let mut rows: Vec<u32> = impossible.iter().map(|turn| child_rows[turn.child.at()]).collect();
    rows.sort_unstable();
    rows.dedup();
    let Some(first) = rows.first() else { return };
    let name = |at: usize| day.season.numbers[day.numbers[at].number.at()].name.as_str();
    let mut pairs: Vec<String> =
        impossible.iter().map(|turn| format!("'{}' and '{}'", name(turn.from), name(turn.into))).collect();
    pairs.dedup();
    let more = if pairs.len() > CASES_TOLD { " and others" } else { "" };
    let reason = format!(
        "{} ({}) cannot change in time at '{}' between {}{more}",
        counted(rows.len(), "child", "children"),
        row_list(&rows),
        day.event().name,
        pairs.iter().take(CASES_TOLD).cloned().collect::<Vec<_>>().join(", ")
    );
    let cure = "Move one of the two numbers, or take the child out of one; if it has been rehearsed with a watch, lower \
                'shortest change seconds'.";
    desk.warn(Spot::row("children", *first), reason, cure);
}

fn too_many(day: &Day<'_>, row: u32, desk: &mut Desk) {
    let per_adult = day.season.settings.children_per_adult;
    let watches = day.watches();
    let over: Vec<String> = watches
        .iter()
        .filter(|watch| !watch.chaperones.is_empty() && watch.too_many(per_adult))
        .map(|watch| {
            let who: Vec<&str> = watch
                .chaperones
                .iter()
                .map(|chaperone| day.season.chaperones[chaperone.at()].reference.as_str())
                .collect();
            format!("{} ({} of them counted) with {}", who.join(" and "), watch.adults, watch.children)
        })
        .collect();
    if over.is_empty() {
        return;
    }
    let more = if over.len() > CASES_TOLD {
        format!(" and {} more", over.len() - CASES_TOLD)
    } else {
        String::new()
    };
    let reason = format!(
        "at '{}' more than {per_adult} children to an adult are in the care of {}{more}",
        day.event().name,
        over.iter().take(CASES_TOLD).cloned().collect::<Vec<_>>().join(", ")
    );
    let cure = "Add adults on the sheet 'duties'. The figure is the setting 'children per adult'; the school and local \
                law decide.";
    desk.warn(Spot::row("events", row), reason, cure);
}
