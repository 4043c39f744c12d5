//! The arithmetic held against values from published standards. Every item in `vectors/` names its own source.

// A helper of a test fails the test as the test itself would.
#![allow(clippy::unwrap_used)]

use allheard::domain::answer::{Intent, understand};
use allheard::domain::cron_rule::CronRule;
use allheard::domain::quiet::{self, Window};
use allheard::domain::{hash, ics, segments, wall, way};
use jiff::civil::{Date, DateTime, time};
use jiff::tz::TimeZone;
use jiff::{Span, Timestamp, ToSpan};
use serde_json::Value;
use std::str::FromStr;

/// A file of `tests/vectors/`.
fn vectors(name: &str) -> Value {
    let path = format!("{}/tests/vectors/{name}.json", env!("CARGO_MANIFEST_DIR"));
    serde_json::from_str(&std::fs::read_to_string(path).unwrap()).unwrap()
}

/// The items of one list, and that there are as many as the file had when this test was written.
fn items(file: &Value, list: &str, expected: usize) -> Vec<Value> {
    let items = file[list].as_array().unwrap().clone();
    assert_eq!(items.len(), expected, "items in {list}");
    items
}

fn text<'v>(item: &'v Value, field: &str) -> &'v str {
    item[field].as_str().unwrap_or_else(|| panic!("{field} in {item}"))
}

fn number(item: &Value, field: &str) -> usize {
    usize::try_from(item[field].as_u64().unwrap()).unwrap()
}

fn stamp(item: &Value, field: &str) -> Timestamp {
    text(item, field).parse().unwrap()
}

fn zone(item: &Value) -> TimeZone {
    TimeZone::get(text(item, "zone")).unwrap()
}

#[test]
fn wall_times_become_the_instants_of_rfc_5545() {
    for item in items(&vectors("timezones"), "cases", 38) {
        let local: DateTime = text(&item, "local").parse().unwrap();
        let at = wall::instant(&zone(&item), local);
        assert_eq!(at, stamp(&item, "utc"), "{item}");
        let shown: DateTime = text(&item, "wall_after").parse().unwrap();
        assert_eq!(wall::local(&zone(&item), at), shown, "{item}");
    }
}

#[test]
fn days_are_nominal_and_hours_exact() {
    for item in items(&vectors("timezones"), "durations", 9) {
        let anchor = stamp(&item, "event_utc");
        let back: Span = text(&item, "duration").parse().unwrap();
        let zone = zone(&item);
        let trigger = match text(&item, "meaning") {
            "nominal" => {
                let hour = wall::local(&zone, anchor).time();
                wall::days_before(&zone, anchor, -back.get_days(), hour)
            }
            "exact" => wall::minutes_before(anchor, -i64::from(back.get_hours()) * 60),
            other => panic!("unknown meaning {other}"),
        };
        assert_eq!(trigger, stamp(&item, "trigger_utc"), "{item}");
    }
}

#[test]
fn the_canaries_are_those_of_the_zone_data() {
    let listed = items(&vectors("timezones"), "tzdata_canaries", wall::CANARIES.len());
    for (item, canary) in listed.iter().zip(wall::CANARIES) {
        assert_eq!(text(item, "zone"), canary.zone);
        assert_eq!(stamp(item, "utc").as_second(), wall::CANARY_INSTANT);
        assert_eq!(
            text(item, "offset_2026f"),
            format!("{}{:02}:00", if canary.hours < 0 { '-' } else { '+' }, canary.hours.abs())
        );
    }
    assert_eq!(wall::canaries(jiff::tz::db()), vec![]);
}

#[test]
fn quiet_hours_defer_to_the_recipients_morning() {
    let window = Window { from: time(8, 0, 0, 0), until: time(21, 0, 0, 0) };
    for item in items(&vectors("quiet_hours"), "cases", 15) {
        let (zone, planned) = (zone(&item), stamp(&item, "planned_utc"));
        let goes = stamp(&item, "send_utc");
        assert_eq!(window.permitted(&zone, planned), item["allowed"].as_bool().unwrap(), "{item}");
        assert_eq!(window.next_permitted(&zone, planned), goes, "{item}");
        assert_eq!(window.place(&zone, planned, Timestamp::MAX, None), Some(goes), "{item}");
    }
}

#[test]
fn a_direct_answer_has_five_minutes() {
    for item in items(&vectors("keywords"), "confirmation_window", 4) {
        assert_eq!(
            quiet::is_direct_answer(stamp(&item, "received"), stamp(&item, "confirmation_sent")),
            item["within_presumption"].as_bool().unwrap(),
            "{item}"
        );
    }
}

#[test]
fn texts_are_counted_as_the_network_counts_them() {
    let file = vectors("sms_segments");
    for item in items(&file, "cases", 48) {
        let counted = segments::count_as_written(text(&item, "text"));
        assert_eq!(counted.encoding.word(), text(&item, "encoding").to_lowercase(), "{item}");
        assert_eq!(counted.units, number(&item, "units"), "{item}");
        assert_eq!(counted.segments.len(), number(&item, "segments"), "{item}");
        let listed: Vec<usize> = serde_json::from_value(item["segment_units"].clone()).unwrap();
        assert_eq!(counted.segments, listed, "{item}");
        // Composing changes one item alone: the one that holds a decomposed accent on purpose.
        let composed = segments::count(text(&item, "text"));
        assert_eq!(composed == counted, text(&item, "id") != "S42", "{item}");
    }
    let limits = &file["limits"];
    for (limit, field) in [
        (segments::GSM7_SINGLE, "gsm7_single"),
        (segments::GSM7_PART, "gsm7_concat_8bit_ref"),
        (segments::UCS2_SINGLE, "ucs2_single"),
        (segments::UCS2_PART, "ucs2_concat_8bit_ref"),
        (segments::MOST_SEGMENTS, "max_segments"),
    ] {
        assert_eq!(limit, number(limits, field), "{field}");
    }
}

#[test]
fn the_alphabet_is_complete_and_no_larger() {
    let file = vectors("gsm7");
    let mut encodable = String::new();
    for item in items(&file, "base", 128) {
        if item["encodable"].as_bool().unwrap() {
            let code = u8::from_str_radix(&text(&item, "code")[2..], 16).unwrap();
            assert_eq!(segments::septets(text(&item, "char")), Some(vec![code]), "{item}");
            encodable.push_str(text(&item, "char"));
        }
    }
    for item in items(&file, "extension", 10) {
        let code = hash::unhex(&text(&item, "code")[2..]);
        assert_eq!(segments::septets(text(&item, "char")), code, "{item}");
        assert_eq!(segments::count(text(&item, "char")).units, number(&item, "septets"), "{item}");
        encodable.push_str(text(&item, "char"));
    }
    let accepted: Vec<char> =
        ('\0'..=char::MAX).filter(|c| segments::septets(c.encode_utf8(&mut [0; 4])).is_some()).collect();
    let mut listed: Vec<char> = encodable.chars().collect();
    listed.sort_unstable();
    assert_eq!(accepted, listed);
}

#[test]
fn septets_are_packed_lowest_bit_first() {
    for item in items(&vectors("gsm7"), "packing", 12) {
        let words = text(&item, "text");
        let septets = segments::septets(words).unwrap();
        assert_eq!(septets.len(), number(&item, "septets"), "{item}");
        for (octets, field) in [
            (septets, "septets_hex"),
            (segments::pack(words).unwrap(), "packed_hex"),
            (segments::pack_after_header(words).unwrap(), "packed_after_6_octet_udh_hex"),
        ] {
            assert_eq!(hash::hex(&octets).to_uppercase(), text(&item, field), "{field} of {item}");
        }
    }
}

#[test]
fn hmac_gives_the_digests_of_rfc_4231() {
    for item in items(&vectors("hmac"), "cases", 7) {
        let key = hash::unhex(text(&item, "key_hex")).unwrap();
        let data = hash::unhex(text(&item, "data_hex")).unwrap();
        let mac = hash::hex(&hash::hmac_sha256(&key, &data));
        // The RFC prints only the first 128 bits of its fifth case.
        let printed = text(&item, "hmac_sha256");
        assert_eq!(&mac[..printed.len()], printed, "{item}");
        if let Some(whole) = item["untruncated"].as_str() {
            assert_eq!(mac, whole, "{item}");
        } else {
            assert_eq!(mac.len(), printed.len(), "{item}");
        }
    }
}

#[test]
fn walks_take_the_minutes_of_published_speeds() {
    let file = vectors("walking");
    for item in items(&file, "cases", 13) {
        let metres = item["distance_m"].as_f64().unwrap();
        let speed = item["speed_ft_per_s"].as_f64().unwrap();
        let minutes = way::walk_minutes(metres, speed);
        assert_eq!(usize::try_from(minutes).unwrap(), number(&item, "minutes_ceil"), "{item}");
    }
    let speed = |item: &Value| item["ft_per_s"].as_f64().unwrap();
    let speeds = items(&file, "speeds", 10);
    assert_eq!(speed(&speeds[0]), way::FAST_FEET_PER_SECOND);
    assert_eq!(speed(&speeds[1]), way::SLOW_FEET_PER_SECOND);
    for item in &speeds {
        // Ten minutes at the speed in feet are ten minutes at the same speed in metres, to its last printed digit.
        let metres = item["m_per_s"].as_f64().unwrap() * 600.0;
        assert_eq!(way::walk_minutes(metres - 0.06, speed(item)), 10, "{item}");
        assert_eq!(way::walk_minutes(metres + 0.06, speed(item)), 11, "{item}");
    }
}

#[test]
fn calendar_lines_are_folded_within_75_octets() {
    for item in items(&vectors("ics"), "folding", 8) {
        let logical = text(&item, "logical");
        assert_eq!(logical.len(), number(&item, "octets"), "{item}");
        let folded = ics::fold(logical);
        assert_eq!(folded, text(&item, "greedy_folded"), "{item}");
        let lengths: Vec<usize> = folded.split("\r\n").map(str::len).collect();
        let listed: Vec<usize> = serde_json::from_value(item["greedy_line_octets"].clone()).unwrap();
        assert_eq!(lengths, listed, "{item}");
        assert!(lengths.iter().all(|octets| *octets <= ics::LINE_OCTETS), "{item}");
        assert_eq!(folded.replace("\r\n ", ""), logical, "{item}");
    }
}

#[test]
fn calendar_text_is_escaped() {
    for item in items(&vectors("ics"), "text_escape", 9) {
        assert_eq!(ics::escape(text(&item, "text")), text(&item, "escaped"), "{item}");
    }
}

#[test]
fn opting_out_is_understood_and_nothing_else_is() {
    let file = vectors("keywords");
    for item in items(&file, "cases", 42) {
        let intent = understand(text(&item, "text"));
        match text(&item, "expect") {
            "opt_out" => assert_eq!(intent, Intent::Stop, "{item}"),
            "help" => assert_eq!(intent, Intent::Help, "{item}"),
            // None of these sentences is an answer that the program may act on by itself.
            "not_opt_out" | "needs_human" => assert_eq!(intent, Intent::Question, "{item}"),
            other => panic!("unknown expectation {other}"),
        }
    }
    for word in items(&file, "regulatory_words", 7) {
        assert_eq!(understand(word.as_str().unwrap()), Intent::Stop, "{word}");
    }
}

#[test]
fn calendar_lines_are_unfolded_before_they_are_decoded() {
    for item in items(&vectors("ics"), "unfolding", 5) {
        let octets = match item["raw"].as_str() {
            Some(raw) => raw.as_bytes().to_vec(),
            None => hash::unhex(text(&item, "raw_hex")).unwrap(),
        };
        let lines = ics::unfold(&octets);
        assert_eq!(lines.len(), 1, "{item}");
        // Names compare without case; the words after them keep theirs.
        let (name, value) = lines[0].split_once(':').unwrap();
        assert_eq!(format!("{}:{value}", name.to_uppercase()), text(&item, "logical"), "{item}");
    }
}

#[test]
fn calendar_text_is_read_back() {
    let file = vectors("ics");
    for item in items(&file, "text_unescape", 4) {
        assert_eq!(ics::unescape(text(&item, "escaped")), text(&item, "text"), "{item}");
    }
    for item in items(&file, "text_escape", 9) {
        let words = text(&item, "text").replace("\r\n", "\n");
        assert_eq!(ics::unescape(text(&item, "escaped")), words, "{item}");
    }
}

#[test]
fn tokens_have_the_lengths_of_rfc_4648() {
    use base64::Engine;
    use base64::engine::general_purpose::URL_SAFE_NO_PAD;
    for item in items(&vectors("hmac"), "token_sizes", 6) {
        let octets = &hash::sha256(b"token")[..number(&item, "bytes")];
        assert_eq!(octets.len() * 8, number(&item, "bits"), "{item}");
        assert_eq!(hash::hex(octets).len(), number(&item, "hex_chars"), "{item}");
        assert_eq!(URL_SAFE_NO_PAD.encode(octets).len(), number(&item, "base64url_chars"), "{item}");
    }
}

/// The first times of the crate's own reading of an expression after an instant, as UTC without a zone; none if it does
/// not take it.
fn walked(expression: &str, from: &str, most: usize) -> Option<Vec<String>> {
    let from: Timestamp = from.parse().unwrap();
    let from = chrono::DateTime::<chrono::Utc>::from_timestamp(from.as_second(), 0).unwrap();
    let schedule = cron::Schedule::from_str(expression).ok()?;
    Some(schedule.after(&from).take(most).map(|at| at.format("%Y-%m-%dT%H:%M:%S").to_string()).collect())
}

/// The start of the strings of a list, as long as each is there.
fn starts<'v>(list: &'v Value, found: &[String]) -> Vec<(&'v str, String)> {
    let list = list.as_array().unwrap();
    assert_eq!(list.len(), found.len(), "{list:?} {found:?}");
    let wanted = list.iter().map(|one| one.as_str().unwrap().split(' ').next().unwrap());
    wanted.zip(found).map(|(wanted, found)| (wanted, found[..wanted.len()].to_owned())).collect()
}

#[test]
fn rules_that_come_round_fire_when_posix_says() {
    let from = "2026-11-30T23:59:59";
    for item in items(&vectors("cron"), "comparison", 9) {
        let rule = CronRule::read(text(&item, "posix"));
        match &item["posix_next"] {
            // Outside what POSIX allows; other programs take it as Sunday, so it is asked about and not guessed.
            Value::String(_) => assert!(rule.is_err(), "{item}"),
            list if list[0] == "accepted" => assert!(rule.is_ok(), "{item}"),
            list => {
                let rule = rule.unwrap();
                let times = rule.after(from.parse().unwrap()).take(list.as_array().unwrap().len());
                let times: Vec<String> = times.map(|at| at.to_string()).collect();
                for (wanted, found) in starts(list, &times) {
                    assert_eq!(found, wanted, "{item}");
                }
            }
        }
        // The crate's own dialect differs, as listed; a newer one that does not would change what our rules mean.
        let most = item["crate_next"].as_array().map_or(0, Vec::len);
        let found = walked(text(&item, "crate"), "2026-12-01T00:00:00Z", most);
        assert_eq!(found.is_none(), item["crate_next"].is_null(), "{item}");
        for (wanted, found) in found.iter().flat_map(|found| starts(&item["crate_next"], found)) {
            assert_eq!(found, wanted, "{item}");
        }
    }
}

#[test]
fn the_crate_that_walks_reads_what_it_read() {
    for item in items(&vectors("cron"), "crate_acceptance", 32) {
        let found = walked(text(&item, "expr"), "2026-12-01T00:00:00Z", 1);
        assert_eq!(found.is_some(), item["accepted"], "{item}");
        assert_eq!(
            found.and_then(|found| found.first().cloned()).as_deref(),
            item["next"].as_str(),
            "{item}"
        );
        // None of these is a line of a crontab: six fields, signs and names POSIX does not have.
        assert!(CronRule::read(text(&item, "expr")).is_err(), "{item}");
    }
}

#[test]
fn a_daily_rule_fires_once_a_local_day_through_every_clock_change() {
    for item in items(&vectors("cron"), "crate_dst", 4) {
        let zone = zone(&item);
        let line = text(&item, "expr").split_once(' ').unwrap().1.replace("0/30", "0,30");
        let rule = CronRule::read(&line).unwrap();
        let theirs: Vec<Timestamp> = item["fires"]
            .as_array()
            .unwrap()
            .iter()
            .map(|at| at.as_str().unwrap().parse().unwrap())
            .collect();
        let first: Date = text(&item, "start").parse().unwrap();
        let last = zone.to_datetime(theirs[theirs.len() - 1]).date();
        let (from, until) =
            (first.to_datetime(time(0, 0, 0, 0)).saturating_sub(1.second()), last.at(23, 59, 0, 0));
        let ours = rule.instants(&zone, from, until);
        if line.contains(',') {
            // Every half hour: the two around the gap follow each other, with nothing between them.
            let between: Vec<_> = ours.range(theirs[0]..=theirs[1]).copied().collect();
            assert_eq!(between, theirs, "{item}");
            continue;
        }
        let days: Vec<Date> = ours.iter().map(|at| zone.to_datetime(*at).date()).collect();
        let every: Vec<Date> = first.series(1.day()).take_while(|day| *day <= last).collect();
        assert_eq!(days, every, "{item}");
        // Of theirs only the second of an hour that comes twice is not ours.
        let mut seen = Vec::new();
        for at in theirs {
            let local = zone.to_datetime(at);
            assert_eq!(ours.contains(&at), !seen.contains(&local), "{item}");
            seen.push(local);
        }
    }
}

#[test]
fn steps_are_refused_rather_than_read_one_of_two_ways() {
    let rule = &vectors("cron")["vixie_rule"];
    let line = text(rule, "example").split(" -> ").next().unwrap();
    assert!(CronRule::read(line).is_err(), "{rule}");
}

// Unicode CLDR 48.2.0, supplemental timeData: which regions prefer am and pm, and languages that do not there.
#[test]
fn countries_say_times_in_twelve_or_twenty_four_hours() {
    use allheard::domain::published::clocks::is_twelve;
    let file = vectors("hour_cycle");
    for item in &items(&file, "items", 24) {
        let (region, locale) = (text(item, "region"), text(item, "locale"));
        let twelve = item["clock"].as_u64() == Some(12);
        assert_eq!(is_twelve(region, &locale.to_lowercase()), twelve, "{locale}");
        assert_eq!(is_twelve(&region.to_lowercase(), &locale.to_lowercase()), twelve, "{locale}");
    }
    for item in &items(&file, "overrides", 8) {
        let (key, twelve) = (text(item, "key"), text(item, "preferred") == "h");
        let place = key.split_once('-').filter(|(_, region)| region.chars().all(|c| c.is_ascii_uppercase()));
        let Some((language, region)) = place else { continue };
        assert_eq!(is_twelve(region, language), twelve, "{key}");
    }
    // The world's own: whoever is not known.
    assert!(!is_twelve("ZZ", "en"));
}
