//! What the arithmetic of a day shows on paper: changes there is no time for, adults with too many children, chaperones
//! and children who cannot be everywhere that is written.

use super::super::day::Day;
use super::super::day::turns::Ease;
use super::super::itinerary::Programme;
use super::super::season::{ChaperoneId, Dismissal, EventId, EventKind, Season};
use super::desk::{Alike, CASES, Desk, Found, Spot, children_are, counted, row_list};
use super::people::PeopleRows;
use super::{crowding, hours};
use jiff::Span;
use jiff::civil::DateTime;
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
    times_that_contradict(&day, programme, row, &rows.people.children, &mut desk);
    no_time(&day, &rows.people.children, &mut desk);
    in_every_number(&day, &rows.people.children, &mut desk);
    // In class and at photographs the teachers are with the children (common practice, no source).
    if !matches!(event.kind, EventKind::Class | EventKind::Photographs) {
        in_nobodys_charge(&day, row, &rows.people.children, &mut desk);
        too_many(&day, row, &mut desk);
        crowding::run(&day, &day.rooms(programme), rows, &mut desk);
    }
    desk.found()
}

fn dancing_herself(season: &Season, rows: &Rows, desk: &mut Desk) {
    for (chaperone, child) in season.own.dancers.iter().copied() {
        let reason = format!(
            "this chaperone has the name or the mobile of the child in row {} of the sheet 'children'; they count in no ratio \
             from their own ready call until they come off",
            rows.people.children[child.at()]
        );
        let cure = "Give their number to somebody else meanwhile; if they are two people, add something that tells them apart.";
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
        let said = |of: &str| format!("{} in all {} numbers of {of}", children_are(&rows), day.numbers.len());
        let cure = "Check that the numbers were not filled down by mistake.";
        at_events(day, Spot::named("children", *first, "numbers"), said, cure, desk);
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

/// Every child is called before its first number begins, and goes after its last; what is fixed otherwise cannot be told.
fn times_that_contradict(
    day: &Day<'_>,
    programme: &Programme,
    row: u32,
    child_rows: &[u32],
    desk: &mut Desk,
) {
    let event = day.event();
    let (mut before_call, mut late_call, mut cut_short) = (Vec::new(), Vec::new(), Vec::new());
    for (child, it) in programme.children_at(day.id) {
        let parts = day.of_child(child);
        let at = |seconds: i64| day.clock(seconds);
        if let Some(from) = it.collect_from.filter(|from| from.at() < it.call) {
            before_call.push((child_rows[child.at()], from.at(), it.call));
        }
        if !event.ordered {
            continue;
        }
        if let Some(first) = parts.first().filter(|first| at(day.numbers[first.at].starts) < it.call) {
            late_call.push((child_rows[child.at()], first.at, it.call));
        }
        let fixed = it.collect_from.filter(|_| matches!(event.dismissal, Dismissal::At(_)));
        if let (Some(from), Some(last)) = (fixed, parts.last())
            && from.at() < at(day.numbers[last.at].ends)
        {
            cut_short.push((child_rows[child.at()], last.at, from.at()));
        }
    }
    let clock = |at: DateTime| at.strftime("%H:%M").to_string();
    let children = |rows: Vec<u32>| children_are(&rows);
    let name = |at: usize| day.season.numbers[day.numbers[at].number.at()].name.as_str();
    if let Some((_, from, call)) = before_call.first().copied() {
        let who = children(before_call.iter().map(|(row, ..)| *row).collect());
        let reason = format!(
            "{who} dismissed from '{}' before being called, such as at {} with a call at {}",
            event.name,
            clock(from),
            clock(call)
        );
        desk.error(
            Spot::named("events", row, "dismissal"),
            reason,
            "Check the dismissal, the end and the calls.",
        );
    }
    if let Some((_, at, call)) = late_call.first().copied() {
        let who = children(late_call.iter().map(|(row, ..)| *row).collect());
        let reason = format!(
            "{who} called at '{}' after their first number begins, such as at {} for '{}', which begins at {}",
            event.name,
            clock(call),
            name(at),
            clock(day.clock(day.numbers[at].starts))
        );
        let cure = "Give the number an earlier call in the running order, or a later place.";
        desk.error(Spot::row("events", row), reason, cure);
    }
    if let Some((_, at, from)) = cut_short.first().copied() {
        let who = children(cut_short.iter().map(|(row, ..)| *row).collect());
        let reason = format!(
            "{who} dismissed from '{}' at {} with a number still to end, such as '{}' at {}",
            event.name,
            clock(from),
            name(at),
            clock(day.clock(day.numbers[at].ends))
        );
        let cure = "Write a later time, or 'after the last number'.";
        desk.warn(Spot::named("events", row, "dismissal"), reason, cure);
    }
}

/// Children none of whose numbers has a chaperone, at an event where others have one.
fn in_nobodys_charge(day: &Day<'_>, row: u32, child_rows: &[u32], desk: &mut Desk) {
    if !day.season.duties_at(day.id).any(|duty| duty.number.is_some()) {
        return;
    }
    let alone = day.parts.chunk_by(|a, b| a.child == b.child).filter(|parts| parts[0].with.is_none());
    let rows: Vec<u32> = alone.map(|parts| child_rows[parts[0].child.at()]).collect();
    if !rows.is_empty() {
        let said = |at: &str| {
            format!(
                "{} in nobody's charge at {at}: none of their numbers has a chaperone",
                children_are(&rows)
            )
        };
        at_events(day, Spot::row("events", row), said, "Add chaperones on the sheet 'duties'.", desk);
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
    let said = |at: &str| {
        format!(
            "{} ({}) cannot change in time between {}{more}, at {at}",
            counted(rows.len(), "child", "children"),
            row_list(&rows),
            pairs.iter().take(CASES_TOLD).cloned().collect::<Vec<_>>().join(", ")
        )
    };
    let cure = "Move one of the two numbers, or take the child out of one; if it has been rehearsed with a watch, lower \
                'shortest change seconds'.";
    at_events(day, Spot::row("children", *first), said, cure, desk);
}

fn too_many(day: &Day<'_>, row: u32, desk: &mut Desk) {
    let per_adult = day.season.settings.children_per_adult;
    let watches = day.watches();
    let over = watches.iter().filter(|watch| !watch.chaperones.is_empty() && watch.too_many(per_adult));
    let cure = "Add adults on the sheet 'duties'. The figure is the setting 'children per adult'; the school and local \
                law decide.";
    for watch in over {
        let name = |chaperone: &ChaperoneId| day.season.chaperones[chaperone.at()].name.as_str();
        let who: Vec<&str> = watch.chaperones.iter().map(name).collect();
        let with = format!(
            "{} with {} counted",
            counted(watch.children, "child", "children"),
            counted(watch.adults, "adult", "adults")
        );
        let (who, event) = (who.join(" and "), &day.event().name);
        let said = |rest: &str| format!("more than {per_adult} children to an adult are with {who}: {rest}");
        let alike = Alike { many: said(&CASES.to_string()), case: format!("{with} at '{event}'") };
        desk.warn_alike(Spot::row("events", row), said(&alike.case), alike, cure);
    }
}

/// A warning that several events may share.
pub(super) fn at_events(
    day: &Day<'_>,
    spot: Spot<'_>,
    said: impl Fn(&str) -> String,
    cure: &str,
    desk: &mut Desk,
) {
    let case = format!("'{}'", day.event().name);
    let alike = Alike { many: said(&CASES.to_string()), case: case.clone() };
    desk.warn_alike(spot, said(&case), alike, cure);
}
