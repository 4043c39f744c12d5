//! The fixed words of the pages that families read, one table a language.
//!
//! The words of the season itself (names, places, rules) come with the data. A `{}` in a text is a gap that
//! [`fill`] closes in order. Sentences are short and plain: the reader is on a phone, perhaps at a bus stop.

use jiff::civil::{Date, Time};

mod english;
mod spanish;

pub use english::ENGLISH;
pub use spanish::SPANISH;

/// Every language that has a table.
pub static LANGUAGES: [&Labels; 2] = [&ENGLISH, &SPANISH];

/// A text with one gap, in its singular and plural form.
#[derive(Debug, Clone, Copy)]
pub struct Counted {
    /// For exactly one.
    pub one: &'static str,
    /// For any other number.
    pub other: &'static str,
}

/// The words of one language.
#[derive(Debug)]
pub struct Labels {
    /// BCP 47 tag, for `lang`.
    pub lang: &'static str,
    /// The language's own name for itself.
    pub name: &'static str,
    /// Days from Monday.
    pub weekdays: [&'static str; 7],
    /// Months from January.
    pub months: [&'static str; 12],
    /// Gaps: weekday, day, month.
    pub date: &'static str,
    /// Behind a time before noon, with the space before it.
    pub am: &'static str,
    /// Behind a time from noon on.
    pub pm: &'static str,
    /// Heading over what is the same at every event.
    pub same_every_time: &'static str,
    /// Nothing stood in the question.
    pub empty_question: &'static str,
    /// Who may collect.
    pub who_collects: &'static str,
    /// Opens the form that says that somebody else collects.
    pub somebody_else: &'static str,
    /// Who it is, in that form.
    pub who_and_when: &'static str,
    /// Opens the form that says that a number or address is wrong.
    pub wrong_address: &'static str,
    /// What is right, in that form.
    pub what_is_right: &'static str,
    /// Sends either.
    pub send_request: &'static str,
    /// It went to the school; gaps: given name, event.
    pub noted_request: &'static str,
    /// Under the box for questions: nothing medical, nothing about custody.
    pub never_write: &'static str,
    /// One to twelve in words, for sheets (the feminine form where there is one).
    pub numbers: [&'static str; 12],

    /// Gap: time.
    pub as_of: &'static str,
    /// Offered above the sheets; for assistive technology only.
    pub other_languages: &'static str,

    /// Heading over several sheets; gap: how many are still to be answered.
    pub sheets_to_read: Counted,
    /// Heading when nothing is owed.
    pub all_answered: &'static str,
    /// Below the heading of several sheets.
    pub read_each: &'static str,
    /// Something differs from what was read before.
    pub changed: &'static str,
    /// Before a struck out value, for those who hear the page.
    pub before: &'static str,
    /// Before a new value, for those who hear the page.
    pub now: &'static str,
    /// The event is called off.
    pub called_off: &'static str,

    /// Row label.
    pub park_by: &'static str,
    /// Gaps: way in, minutes of the walk.
    pub walk: &'static str,
    /// Gaps: way in, shortest and longest minutes.
    pub walk_range: &'static str,
    /// Row label.
    pub call: &'static str,
    /// Row label.
    pub starts: &'static str,
    /// Row label.
    pub collect: &'static str,
    /// Row label.
    pub place: &'static str,
    /// Row label.
    pub arrive: &'static str,
    /// Row label.
    pub bring: &'static str,
    /// Row label.
    pub leave_home: &'static str,
    /// Row label.
    pub hand_in: &'static str,
    /// Row label.
    pub watching: &'static str,
    /// Adults may watch.
    pub may_watch: &'static str,
    /// Adults may not watch.
    pub may_not_watch: &'static str,
    /// Row label: which chaperone.
    pub in_charge: &'static str,
    /// Gap: chaperone who signs in and out alike.
    pub signs_both: &'static str,
    /// Gap: chaperone.
    pub signs_in: &'static str,
    /// Gap: chaperone.
    pub signs_out: &'static str,
    /// Gap: other chaperones of the child.
    pub beside: &'static str,
    /// Heading over house rules.
    pub house_rules: &'static str,
    /// Gap: given names.
    pub rules_for: &'static str,

    /// Standing.
    pub heard: &'static str,
    /// Standing.
    pub heard_before: &'static str,
    /// Standing.
    pub waiting: &'static str,
    /// Standing; gap: given name.
    pub cant_come: &'static str,
    /// Answer to who asks for early release under "nobody leaves early"; gaps: event, given name, time.
    pub stay_to_the_end: &'static str,
    /// The same where each goes after their own number; gaps: event, given name, time.
    pub own_pick_up: &'static str,
    /// Told, and not asked for an answer yet.
    pub not_asked: &'static str,
    /// A person of the school has noted that the child is not coming this once; gap: given name.
    pub not_coming: &'static str,
    /// What to do where that is wrong.
    pub not_coming_wrong: &'static str,
    /// Gaps: date, time.
    pub answered_at: &'static str,
    /// Beside an answered sheet.
    pub change_answer: &'static str,

    /// Button; gap: given name.
    pub act_heard: &'static str,
    /// Button after "can't come"; gap: given name.
    pub act_come_after_all: &'static str,
    /// Button on house rules.
    pub act_rules: &'static str,
    /// Button; gap: given name.
    pub act_cant_come: &'static str,
    /// Opens the question.
    pub ask: &'static str,
    /// Over the text field.
    pub your_question: &'static str,
    /// Button.
    pub send_question: &'static str,
    /// Heading over the form for everything.
    pub all_title: &'static str,
    /// Button; gap: given names.
    pub act_all: &'static str,

    /// Noted; gaps: given name, event.
    pub noted_heard: &'static str,
    /// Noted; gaps: given name, event.
    pub noted_cant_come: &'static str,
    /// Noted; gaps: given name, event.
    pub noted_question: &'static str,
    /// Not noted; gaps: given name, event.
    pub noted_stale: &'static str,
    /// Below what was noted.
    pub noted_how_to_change: &'static str,
    /// Heading over what was noted.
    pub noted_title: &'static str,
    /// Heading when nothing could be noted.
    pub stale_title: &'static str,
    /// Below what was not noted.
    pub stale_what_next: &'static str,

    /// Foot of every sheet.
    pub caution: &'static str,
    /// Gap: telephone number.
    pub ring_us: &'static str,
    /// Link to the page that stops messages.
    pub how_we_reach_you: &'static str,
    /// "and" between the last two of a list.
    pub and: &'static str,
    /// Words of a chaperone's own sheet.
    pub duty: DutyLabels,

    /// Words about calendars.
    pub calendar: CalendarLabels,
    /// Words of the page that stops messages.
    pub stop: StopLabels,
    /// Words of the pages behind a closed door.
    pub door: DoorLabels,
}

/// Words of a chaperone's own sheet, where others speak of a child.
#[derive(Debug)]
pub struct DutyLabels {
    /// Row label.
    pub call: &'static str,
    /// Row label.
    pub briefing: &'static str,
    /// Row label.
    pub station: &'static str,
    /// Row label.
    pub until: &'static str,
    /// Row label.
    pub numbers: &'static str,
    /// Row label.
    pub task: &'static str,
    /// Row label: numbers whose children she signs in.
    pub signs_in: &'static str,
    /// Row label.
    pub signs_out: &'static str,
    /// Row label: where her group waits.
    pub room: &'static str,
    /// Row label: what she brings and wears.
    pub kit: &'static str,
    /// Row label.
    pub at_the_end: &'static str,
    /// The last look.
    pub last_look: &'static str,
    /// Standing.
    pub cant_come: &'static str,
    /// Button.
    pub act_heard: &'static str,
    /// Button after "can't come".
    pub act_come_after_all: &'static str,
    /// Button.
    pub act_cant_come: &'static str,
}

/// Words about calendars, on pages and in the entries themselves.
#[derive(Debug)]
pub struct CalendarLabels {
    /// Heading of the part of a page that leads here.
    pub title: &'static str,
    /// Link to the file.
    pub file: &'static str,
    /// Link to the page about private addresses.
    pub by_itself: &'static str,
    /// Heading of that page.
    pub page_title: &'static str,
    /// What the file is.
    pub what_file: &'static str,
    /// Heading over private addresses.
    pub address_title: &'static str,
    /// What a private address is.
    pub what_address: &'static str,
    /// That it is to be kept, and how it ends.
    pub keep_private: &'static str,
    /// Button.
    pub act_make: &'static str,
    /// Heading when one has been made.
    pub made_title: &'static str,
    /// What to do with it.
    pub made: &'static str,
    /// Link to the private address.
    pub open: &'static str,
    /// Link to the page before.
    pub back: &'static str,
    /// That a calendar may be late, and is no answer; on the page and in each entry.
    pub late: &'static str,
    /// In an entry: when a chaperone is due.
    pub due: &'static str,
    /// In an entry: when the children are called.
    pub children_called: &'static str,
    /// In an entry: a chaperone's numbers or tasks.
    pub with: &'static str,
    /// In an entry: she signs these children in.
    pub you_sign_in: &'static str,
    /// In an entry: she signs these children out.
    pub you_sign_out: &'static str,
}

/// Words of the page that stops messages.
#[derive(Debug)]
pub struct StopLabels {
    /// Heading; gap: address.
    pub mail_title: &'static str,
    /// Heading; gap: telephone number.
    pub text_title: &'static str,
    /// Gap: given names.
    pub what_stops: &'static str,
    /// Where these come from, when no child is named.
    pub what_stops_all: &'static str,
    /// What goes on.
    pub what_goes_on: &'static str,
    /// Button.
    pub act_stop: &'static str,
    /// Heading when done; gap: address or number.
    pub stopped_title: &'static str,
    /// Below it.
    pub stopped: &'static str,
    /// Button.
    pub act_start: &'static str,
    /// Back to the family's page.
    pub back: &'static str,
}

/// Words of the pages behind a closed door.
#[derive(Debug)]
pub struct DoorLabels {
    /// The link is not, or no longer, valid.
    pub gone_title: &'static str,
    /// Why and what to do.
    pub gone: &'static str,
    /// Nothing at this address.
    pub not_found_title: &'static str,
    /// Why and what to do.
    pub not_found: &'static str,
    /// The upload or form was too large.
    pub too_large_title: &'static str,
    /// Why and what to do.
    pub too_large: &'static str,
    /// The form could not be read.
    pub bad_form_title: &'static str,
    /// Why and what to do.
    pub bad_form: &'static str,
    /// The program cannot answer now.
    pub busy_title: &'static str,
    /// Why and what to do.
    pub busy: &'static str,
}

/// The table for a language tag: the tag itself, else its first part, else none.
pub fn labels_for(tag: &str) -> Option<&'static Labels> {
    let primary = tag.split(['-', '_']).next().unwrap_or(tag);
    LANGUAGES.into_iter().find(|labels| labels.lang.eq_ignore_ascii_case(primary))
}

/// Closes the gaps of a text in order. Gaps without a value stay empty; the values are not read for gaps.
pub fn fill(text: &str, values: &[&str]) -> String {
    let mut values = values.iter();
    let mut parts = text.split("{}");
    let mut out = parts.next().unwrap_or_default().to_owned();
    for part in parts {
        if let Some(value) = values.next() {
            out.push_str(&isolated(value));
        }
        out.push_str(part);
    }
    out
}

/// A value that may run from right to left, fenced by directional isolates (Unicode Standard Annex #9, 2.4) so
/// that it does not reorder the sentence around it.
fn isolated(value: &str) -> std::borrow::Cow<'_, str> {
    let right_to_left = |c: char| matches!(u32::from(c), 0x0590..=0x08FF | 0xFB1D..=0xFDFF | 0xFE70..=0xFEFF | 0x1_0800..=0x1_0FFF | 0x1_E800..=0x1_EFFF);
    if value.chars().any(right_to_left) { format!("\u{2068}{value}\u{2069}").into() } else { value.into() }
}

/// A time of day as families read it, such as `17:00`.
pub fn clock(time: &Time) -> String {
    format!("{:02}:{:02}", time.hour(), time.minute())
}

impl Labels {
    /// A local time, with am and pm where the country says times so.
    pub fn clock(&self, time: &Time, twelve: bool) -> String {
        if !twelve {
            return clock(time);
        }
        let hour = match time.hour() % 12 {
            0 => 12,
            hour => hour,
        };
        let half = if time.hour() < 12 { self.am } else { self.pm };
        format!("{hour}:{:02}{half}", time.minute())
    }

    /// A date in words, such as "Friday 4 June"; the year is plain from the season.
    pub fn day(&self, date: &Date) -> String {
        let weekday = self.weekdays[date.weekday().to_monday_zero_offset() as usize % 7];
        let month = self.months[(date.month() as usize + 11) % 12];
        fill(self.date, &[weekday, &date.day().to_string(), month])
    }

    /// A number in words up to twelve, in figures above.
    pub fn number(&self, n: usize) -> String {
        match n.checked_sub(1).and_then(|at| self.numbers.get(at)) {
            Some(word) => (*word).to_owned(),
            None => n.to_string(),
        }
    }

    /// A counted text that begins a sentence.
    pub fn counted(&self, text: &Counted, n: usize) -> String {
        let pattern = if n == 1 { text.one } else { text.other };
        capitalised(&fill(pattern, &[&self.number(n)]))
    }

    /// A list in words: "Ines", "Ines and Mateo", "Ines, Mateo and Noor".
    pub fn list(&self, items: &[String]) -> String {
        match items {
            [] => String::new(),
            [only] => only.clone(),
            [first @ .., last] => format!("{} {} {last}", first.join(", "), self.and),
        }
    }
}

/// The text with its first letter in upper case.
pub fn capitalised(text: &str) -> String {
    let mut chars = text.chars();
    match chars.next() {
        Some(first) => first.to_uppercase().chain(chars).collect(),
        None => String::new(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use jiff::civil::{date, time};

    #[test]
    fn gaps_close_in_order_and_values_are_not_read_for_gaps() {
        assert_eq!(fill("{}: {}.", &["a{}", "b"]), "a{}: b.");
        assert_eq!(fill("{} and {}", &["one"]), "one and ");
        assert_eq!(fill("plain", &["unused"]), "plain");
    }

    #[test]
    fn a_hebrew_name_is_fenced() {
        assert_eq!(fill("{} is here", &["נועה"]), "\u{2068}נועה\u{2069} is here");
        assert_eq!(fill("{} is here", &["Zoë"]), "Zoë is here");
    }

    #[test]
    fn dates_times_and_numbers_in_both_languages() {
        let day = date(2027, 6, 4);
        assert_eq!(ENGLISH.day(&day), "Friday 4 June");
        assert_eq!(SPANISH.day(&day), "viernes 4 de junio");
        assert_eq!(ENGLISH.day(&date(2027, 1, 31)), "Sunday 31 January");
        assert_eq!(clock(&time(7, 5, 0, 0)), "07:05");
        assert_eq!(ENGLISH.number(12), "twelve");
        assert_eq!(ENGLISH.number(13), "13");
        assert_eq!(ENGLISH.number(0), "0");
        assert_eq!(SPANISH.counted(&SPANISH.sheets_to_read, 1), "Una cosa por confirmar");
    }

    #[test]
    fn languages_are_found_by_tag() {
        assert_eq!(labels_for("es-MX").map(|l| l.lang), Some("es"));
        assert_eq!(labels_for("EN").map(|l| l.lang), Some("en"));
        assert!(labels_for("pl").is_none());
    }

    #[test]
    fn lists_in_words() {
        let names = |n: &[&str]| n.iter().map(|s| (*s).to_owned()).collect::<Vec<_>>();
        assert_eq!(ENGLISH.list(&names(&["Ines"])), "Ines");
        assert_eq!(SPANISH.list(&names(&["Ines", "Mateo", "Noor"])), "Ines, Mateo y Noor");
    }
}
