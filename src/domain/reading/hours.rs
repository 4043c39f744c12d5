//! Days beyond the limits of hours that the season is held against, one warning for all children of a limit.

use super::super::hours::{Breach, HoursRule, breaches};
use super::super::itinerary::Programme;
use super::super::season::Season;
use super::days::Rows;
use super::desk::{Desk, Spot, counted, row_list};

pub(super) fn run(season: &Season, programme: &Programme, rows: &Rows, desk: &mut Desk) {
    let Some(declared) = &season.settings.hours else { return };
    let ageless = season.children.iter().zip(&rows.people.children).filter(|(child, _)| child.ages.is_none());
    let ageless: Vec<u32> = ageless.map(|(_, row)| *row).collect();
    if let Some(first) = ageless.first() {
        let reason = format!(
            "the workbook has no ages for {} ({}), so the hours limits of {} are not checked for them",
            counted(ageless.len(), "child", "children"),
            row_list(&ageless),
            declared.table.name
        );
        desk.hint(Spot::named("children", *first, "ages"), reason, "Write an age band such as 5-6.");
    }
    let all = breaches(season, programme, declared.table);
    let alike = |breach: &Breach| (breach.event, breach.rule, breach.ages, breach.limit);
    for group in all.chunk_by(|a, b| alike(a) == alike(b)) {
        let Some(first) = group.first() else { continue };
        // The one farthest beyond the limit is told.
        let worst = group.iter().map(|breach| breach.found).max_by_key(|found| (found - first.limit).abs());
        let children: Vec<u32> = group.iter().map(|breach| rows.people.children[breach.child.at()]).collect();
        let event = &season.events[first.event.at()];
        let ages = first.ages.map_or(String::new(), |(from, to)| format!(" at ages {from} to {to}"));
        let reason = format!(
            "{} ({}) {}; {}{ages} in {}: {}",
            counted(children.len(), "child", "children"),
            row_list(&children),
            found(first.rule, worst.unwrap_or(first.found), &event.name),
            allowed(first.rule, first.limit),
            declared.table.name,
            first.source.words()
        );
        let cure = format!(
            "Change the times, or the days of these children; each is taken as old as the youngest of its band. It is advice, \
             chosen by {}: the licensing body and local law decide.",
            declared.set_by
        );
        desk.warn(Spot::row("events", rows.events[first.event.at()]), reason, &cure);
    }
}

/// Hours and minutes.
fn hours(minutes: i64) -> String {
    format!("{}:{:02}", minutes / 60, minutes % 60)
}

/// A time of day; after midnight it says so.
fn clock(minutes: i64) -> String {
    let next = if minutes > 24 * 60 { " after midnight" } else { "" };
    let shown = if minutes > 24 * 60 { minutes - 24 * 60 } else { minutes };
    format!("{:02}:{:02}{next}", shown / 60, shown % 60)
}

fn found(rule: HoursRule, found: i64, event: &str) -> String {
    match rule {
        HoursRule::AtPlace => {
            format!("at the place for up to {} hours on the day of '{event}'", hours(found))
        }
        HoursRule::Performing => {
            format!("on stage or rehearsing for up to {} hours on the day of '{event}'", hours(found))
        }
        HoursRule::Earliest => format!("called as early as {} for '{event}'", clock(found)),
        HoursRule::Latest => format!("released as late as {} after '{event}'", clock(found)),
        HoursRule::Overnight => format!("with as little as {} hours of rest before '{event}'", hours(found)),
        HoursRule::BetweenShows => {
            format!("with as little as {} hours between two shows before '{event}'", hours(found))
        }
        HoursRule::DaysRunning => format!("wanted on up to {found} days running with '{event}'"),
        HoursRule::DaysInWeek => format!("wanted on up to {found} days out of seven with '{event}'"),
    }
}

fn allowed(rule: HoursRule, limit: i64) -> String {
    match rule {
        HoursRule::AtPlace | HoursRule::Performing => format!("{} hours are the most", hours(limit)),
        HoursRule::Earliest => format!("{} is the earliest", clock(limit)),
        HoursRule::Latest => format!("{} is the latest", clock(limit)),
        HoursRule::Overnight | HoursRule::BetweenShows => format!("{} hours are the least", hours(limit)),
        HoursRule::DaysRunning | HoursRule::DaysInWeek => format!("{limit} days are the most"),
    }
}
