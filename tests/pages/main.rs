//! Renders every page with invented data and holds it to what all pages promise: whole HTML, one heading that says
//! the thing, every act a POST form, every field labelled, nothing fetched from elsewhere, no script.
//!
//! With `ALLHEARD_PAGES_OUT=FOLDER` the pages are also written there with their style sheet, to be looked at and to
//! be opened by `tests/peers/pages.mjs`.

#![allow(clippy::unwrap_used, reason = "a page that cannot be read fails its test")]

use std::{env, fs, path::Path};

mod family;
mod forecast;
mod html;
mod live;
mod plan;
mod staff;
mod workbook;

use allheard::web::assets;
use html::{Tag, tags, text_of};

/// Name, language and HTML of every sample.
fn samples() -> Vec<(&'static str, &'static str, String)> {
    let mut all = family::samples();
    all.extend(staff::samples());
    all.extend(live::samples());
    all.extend(forecast::samples());
    all.extend(workbook::samples());
    all.extend(plan::samples());
    all
}

fn page(name: &str) -> String {
    let found = samples().into_iter().find(|(n, _, _)| *n == name);
    found.unwrap_or_else(|| panic!("no sample {name}")).2
}

#[test]
fn written_out_when_asked() {
    let Ok(folder) = env::var("ALLHEARD_PAGES_OUT") else {
        assert!(samples().len() > 15);
        return;
    };
    let folder = Path::new(&folder);
    fs::create_dir_all(folder).unwrap();
    for (name, _, html) in samples() {
        fs::write(folder.join(name).with_extension("html"), html).unwrap();
    }
    for (path, text) in [(assets::STYLE_PATH, assets::STYLE), (assets::ICON_PATH, assets::ICON)] {
        fs::write(folder.join(path.trim_start_matches('/')), text).unwrap();
    }
}

#[test]
fn every_page_is_whole_and_in_its_language() {
    for (name, lang, html) in samples() {
        assert!(html.starts_with("<!doctype html>"), "{name}");
        let tags = tags(&html);
        html::assert_balanced(name, &tags);
        assert_eq!(html::all(&tags, "html")[0].get("lang"), Some(lang), "{name}");
        assert!(!text_of(&html, "title").is_empty(), "{name}: no title");
        assert_eq!(html::all(&tags, "main").len(), 1, "{name}");
        let mut ids: Vec<&str> = tags.iter().filter_map(|tag| tag.get("id")).collect();
        let count = ids.len();
        ids.sort_unstable();
        ids.dedup();
        assert_eq!(ids.len(), count, "{name}: an id twice");
    }
}

#[test]
fn one_main_heading_and_no_level_left_out() {
    for (name, _, html) in samples() {
        let all = tags(&html);
        let levels: Vec<u8> = all
            .iter()
            .filter(|tag| tag.opens && tag.name.len() == 2 && tag.name.starts_with('h') && tag.name != "hr")
            .map(|tag| tag.name.as_bytes()[1] - b'0')
            .collect();
        assert_eq!(levels.iter().filter(|&&level| level == 1).count(), 1, "{name}: {levels:?}");
        assert!(text_of(&html, "h1").len() > 8, "{name}: the heading is no sentence");
        for pair in levels.windows(2).skip_while(|pair| pair[0] != 1) {
            assert!(pair[1] <= pair[0] + 1, "{name}: {levels:?}");
        }
    }
}

#[test]
fn acts_are_post_forms_and_fields_are_labelled() {
    for (name, _, html) in samples() {
        let tags = tags(&html);
        for form in html::all(&tags, "form") {
            // A form that only asks is a GET of an address of ours, and none of its buttons acts.
            if form.get("method") == Some("get") {
                assert!(form.get("action").is_some_and(|to| to.ends_with("/try")), "{name}");
                continue;
            }
            assert_eq!(form.get("method"), Some("post"), "{name}");
            assert_eq!(form.get("action"), None, "{name}: a form posts to the address it was read from");
        }
        for button in html::all(&tags, "button") {
            let asks = inside_get(&html, button.get("value").unwrap_or(""));
            assert_eq!(button.get("name"), Some(if asks { "how" } else { "act" }), "{name}");
            assert!(!button.get("value").unwrap_or("").is_empty(), "{name}");
        }
        let labels: Vec<&str> = html::all(&tags, "label").iter().filter_map(|l| l.get("for")).collect();
        let inputs = html::all(&tags, "input");
        let seen = inputs.iter().filter(|input| input.get("type") != Some("hidden"));
        for field in seen.chain(&html::all(&tags, "textarea")).chain(&html::all(&tags, "select")) {
            let id = field.get("id").unwrap_or_else(|| panic!("{name}: a field without an id"));
            assert!(labels.contains(&id), "{name}: {id} has no label");
        }
        assert_each_inside_a_form(name, &tags);
    }
}

/// Whether a button of a value stands in a form that only asks.
fn inside_get(html: &str, value: &str) -> bool {
    let forms = html.split("<form method=\"get\"").skip(1).filter_map(|rest| rest.split("</form>").next());
    forms.into_iter().any(|form| form.contains(&format!("value=\"{value}\"")))
}

fn assert_each_inside_a_form(name: &str, tags: &[Tag]) {
    let mut inside = false;
    for tag in tags {
        match (tag.name.as_str(), tag.opens) {
            ("form", opens) => inside = opens,
            ("button" | "input" | "textarea" | "select", true) => {
                assert!(inside, "{name}: {} outside a form", tag.name)
            }
            _ => {}
        }
    }
}

#[test]
fn nothing_runs_and_nothing_is_fetched_from_elsewhere() {
    for (name, _, html) in samples() {
        let lower = html.to_lowercase().replace(&format!(">{}/feed/", family::CALENDAR_HOST), ">");
        for banned in ["<script", "http://", "https://", "javascript:", "<iframe", "<style", "@import"] {
            assert!(!lower.contains(banned), "{name}: {banned}");
        }
        for tag in tags(&html) {
            for (attribute, value) in &tag.attributes {
                assert!(!attribute.starts_with("on") && attribute != "style", "{name}: {attribute}");
                if attribute == "href" || attribute == "src" {
                    let own = ["/", "?", "#", "tel:", "webcal://brackwater.example/feed/"]
                        .iter()
                        .any(|start| value.starts_with(start));
                    assert!(own && !value.starts_with("//"), "{name}: {value}");
                }
            }
        }
    }
    assert!(!assets::STYLE.contains("url(") && !assets::STYLE.contains("@import"));
}

#[test]
fn a_name_is_text_wherever_it_stands() {
    let hostile = [
        "guardian-hostile",
        "chaperone-hostile",
        "chase-hostile",
        "class-door-hostile",
        "event-hostile",
        "bring-hostile",
        "look-hostile",
        "edit-hostile",
        "paper-hostile",
        "show-hostile",
        "next-hostile",
        "plan-day-hostile",
        "specimen-hostile",
    ];
    for name in hostile {
        let html = page(name);
        assert!(html.contains("&#60;script&#62;"), "{name}: the planted name is not shown");
        assert!(!html.contains("<script"), "{name}");
        assert!(!html.contains("\" onfocus"), "{name}: a quote broke out of its attribute");
    }
}

#[test]
fn a_change_shows_both_old_and_new() {
    let html = page("guardian-changed");
    assert!(html.contains("17:30</del>"), "old time struck out");
    assert!(html.contains("<time>17:00</time></ins>"), "new time marked");
    assert!(html.contains("This has changed since you last read it"));
    assert!(
        html.contains("you read this before it changed") || html.contains("You read this before it changed")
    );
    let calm = page("guardian-noted");
    assert!(!calm.contains("<del") && !calm.contains("This has changed since"));
}

#[test]
fn an_answer_says_what_was_noted_and_how_to_change_it() {
    let html = page("guardian-noted");
    assert!(html.contains("Thank you, that is noted"));
    assert!(html.contains("You have read this for Ines: Dress rehearsal."));
    assert!(html.contains("The last answer counts."));
    assert!(!html.contains("value=\"heard\""), "nothing left to acknowledge");
    assert!(html.contains("value=\"cant_come\""), "the way to change it");
    let stale = page("guardian-stale");
    assert!(stale.contains("This has changed since you opened it"));
    assert!(!stale.contains("that is noted"));
}

#[test]
fn the_form_for_all_carries_exactly_what_is_owed() {
    let html = page("guardian-several");
    let last = html.split("<form").nth(1).unwrap().split("</form>").next().unwrap();
    let items: Vec<_> = last
        .match_indices("name=\"item\" value=\"")
        .map(|(at, m)| last[at + m.len()..].split('"').next().unwrap().to_owned())
        .collect();
    assert_eq!(
        items,
        ["C001/E002", "C001/E004", "C001/rules", "C002/rules"],
        "the answered sheet is left out"
    );
    assert_eq!(last.matches("name=\"fingerprint\"").count(), items.len());
    assert!(last.contains("read everything for Ines and Tariq"));
    assert!(!page("guardian-changed").contains("Answer for all"), "one sheet needs no second form");
}

#[test]
fn a_called_off_event_asks_for_reading_only() {
    let html = page("guardian-several");
    let from = html.rfind("C001/E004").unwrap();
    let form = &html[from..from + html[from..].find("</form>").unwrap()];
    assert!(form.contains("value=\"heard\"") && !form.contains("value=\"cant_come\""));
    assert!(html.contains("This is called off. Please do not come."));
}

#[test]
fn the_caution_stands_on_every_page_with_times_or_children() {
    for (name, lang, html) in samples() {
        let with_times = [
            "guardian",
            "chaperone",
            "chase",
            "class-door",
            "season",
            "event",
            "family",
            "messages",
            "forecast",
            "show",
            "next",
            "plan",
            "specimen",
            "trial",
            "edit",
            "look",
            "changes",
            "bring",
        ];
        if with_times.iter().any(|start| name.starts_with(start)) {
            let words = if lang == "es" {
                ["no es para emergencias", "En una emergencia"]
            } else {
                ["not for emergencies", "In an emergency"]
            };
            assert!(words.iter().any(|words| html.contains(words)), "{name}");
        }
    }
}

#[test]
fn stopping_and_starting_are_each_one_button() {
    assert!(page("stop-mail").contains("value=\"stop\""));
    assert!(!page("stop-mail").contains("value=\"start\""));
    assert!(page("stop-done").contains("value=\"start\""));
    assert!(!page("stop-done").contains("value=\"stop\""));
}

#[test]
fn a_chaperone_without_a_number_to_ring_is_told_where_to_ask() {
    let html = page("chaperone");
    assert!(html.contains("Noor, three families to ring"));
    assert!(html.contains("href=\"tel:+442079460018\""));
    assert!(html.contains("There is no number to ring. Speak to"));
    let (rings, greet) = html.split_once("id=\"greet\"").expect("families to greet");
    assert_eq!(html.matches("value=\"no_answer\"").count(), rings.matches("href=\"tel:").count());
    // Two of the three adults to greet have a number, and the coordinator has hers.
    assert_eq!(greet.matches("href=\"tel:").count(), 3);
}

#[test]
fn a_call_is_noted_with_one_tap_about_everything_it_was_for() {
    let html = page("chase");
    assert!(html.contains("Two families to speak to"));
    for act in ["heard", "no_answer", "will_call_back", "wrong_number"] {
        assert_eq!(
            html.matches(&format!("value=\"{act}\"")).count(),
            1,
            "{act}: only where there is a number"
        );
    }
    assert_eq!(html.matches("value=\"heard_in_person\"").count(), 2);
    // One child of several can't come: each has a form of its own.
    assert_eq!(html.matches("value=\"cant_come\"").count(), 3);
    assert!(page("chase-empty").contains("Nobody to ring"));
    assert!(page("chaperone-calls").contains("Noor, two people to ring"));
    let door = page("class-door");
    assert_eq!(door.matches("type=\"checkbox\"").count(), 3, "two for the event, one for the rules");
    assert_eq!(door.matches("name=\"act\"").count(), 1, "all signatures in one go");
}

#[test]
fn a_running_show_has_one_large_act_and_marks_what_moved() {
    let html = page("show");
    assert_eq!(html.matches("class=\"main\" name=\"act\" value=\"ended\"").count(), 1);
    assert!(html.contains("<del><span class=\"aside\">planned </span>19:07</del> <time>19:11</time>"));
    assert!(html.contains("<b><del>The Fog Waltz</del></b>"));
    assert!(html.contains("?still=1") && page("show-before").contains(">Refresh</a>"));
    assert!(!page("show-over").contains("<form"), "nothing is left to tell");
    assert_eq!(page("change").matches("value=\"taken_back\"").count(), 3);
}

#[test]
fn a_chaperone_reads_the_most_urgent_thing_as_the_heading() {
    let html = page("next");
    assert!(html.contains("<h1 dir=\"auto\">Tell the stage side if Ada F. is still changing"));
    assert!(html.contains("from 21:10, not before.") && html.contains("3 more things come later."));
    assert!(page("next-idle").contains("Noor, there is nothing for you to do now"));
}

#[test]
fn the_season_says_how_many_and_draws_each_child_once() {
    let html = page("season");
    assert!(html.contains("Dress rehearsal tomorrow: 268 of 350 settled"));
    let field = html.split("aria-label=\"268 of 350 settled, ").nth(1).unwrap();
    let field = field.split("</div>").next().unwrap();
    assert_eq!(field.matches("class=\"box").count(), 350);
    assert_eq!(field.matches("class=\"box heard").count(), 268);
    assert!(html.contains("It arrived") && html.contains("Send it again"));
    assert!(html.contains("class=\"deadline\""));
}

#[test]
fn a_season_is_set_going_by_an_agreement_that_names_what_leaves() {
    let html = page("plan");
    assert!(html.contains("type=\"checkbox\" required") && html.contains("Yes: 622 messages to families"));
    assert!(html.contains("value=\"set_going\"") && html.contains("11 of them cannot leave in time"));
    let going = page("plan-going");
    assert!(going.contains("value=\"pause\"") && !going.contains("value=\"set_going\""));
    assert!(page("season-paused").contains("value=\"go_on\""));
    assert!(
        page("season-empty").contains("then start sending") && page("season").contains("value=\"pause\"")
    );
    assert!(page("specimen").contains("Send a test to me"));
    assert!(!page("specimen-without").contains("<form"), "nowhere to send it to");
}

#[test]
fn a_workbook_with_problems_can_not_be_taken() {
    assert!(!page("bring-problems").contains("value=\"confirm\""));
    let ready = page("bring-preview");
    assert!(ready.contains("value=\"confirm\"") && ready.contains("type=\"radio\" required"));
    assert!(ready.contains("28 answers are needed again"));
}

#[test]
fn what_is_held_is_confirmed_only_at_the_second_look() {
    let first = page("look-held");
    assert!(first.contains("value=\"second\"") && !first.contains("value=\"confirm\""));
    assert!(first.contains("2 of 5 children are left."));
    let second = page("look-second");
    assert!(second.contains("Two entries will be deleted: is that right?"));
    assert!(second.contains("name=\"going\"") && second.contains("value=\"confirm\""));
    assert!(page("look").contains("value=\"confirm\"") && !page("look-done").contains("<form"));
}

#[test]
fn only_the_latest_change_may_be_taken_back() {
    assert_eq!(page("changes").matches("value=\"take_back\"").count(), 1);
}

#[test]
fn the_range_stands_in_words_beside_its_picture() {
    let html = page("forecast");
    for words in [
        "Between 226 and 244 of 260 heard from by Monday 31 May, 17:30",
        "190 have been heard from so far. That leaves 16 to 34 guardians to ring, most likely 25.",
        "<td class=\"n\">15 of 22</td><td class=\"n\">1 to 4</td>",
        "<td class=\"n\">31 of 31</td><td class=\"n\">0</td>",
        "Guardians heard from over time: 190 of 260 now; 226 to 244 by Monday 31 May, 17:30.",
    ] {
        assert!(html.contains(words), "{words}");
    }
    assert!(page("forecast-past").contains("The call has passed: 190 of 260 heard from"));
}
